//! Which bases are near each other.

use std::collections::BTreeMap;

use super::{Base, BaseTable};

/// Bases so near each other share the error of a declination, in metres: crustal fields, which make most of a model's error, extend over tens to
/// hundreds of kilometres (our own choice).
const NEAR_M: f64 = 100_000.0;

impl BaseTable {
    /// Numbers the groups of bases that are near each other: in one cube of some 100 km or in cubes that touch, and so on from base to base.
    pub fn number_neighbours(&mut self) {
        let cell = |base: &Base| {
            let place = base.at.to_earth_centred(self.datums[base.datum].crs.ellipsoid());
            place.map(|metres| (metres / NEAR_M).floor() as i64)
        };
        let cells: Vec<[i64; 3]> = self.bases.iter().map(cell).collect();
        let mut group_of: BTreeMap<[i64; 3], Option<u32>> = cells.iter().map(|cell| (*cell, None)).collect();
        let mut groups = 0;
        for first in &cells {
            let mut open = vec![*first];
            while let Some(cell) = open.pop() {
                let Some(group @ None) = group_of.get_mut(&cell) else { continue };
                *group = Some(groups);
                let around = (0..27).map(|k| [cell[0] + k / 9 - 1, cell[1] + k / 3 % 3 - 1, cell[2] + k % 3 - 1]);
                open.extend(around.filter(|cell| group_of.get(cell) == Some(&None)));
            }
            groups += 1;
        }
        for (base, cell) in self.bases.iter_mut().zip(&cells) {
            base.neighbours = group_of[cell].unwrap_or_default();
        }
    }
}
