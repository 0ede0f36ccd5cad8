//! Memory that stays bounded however many features a job has: every one is counted; a share of them is kept whole, and
//! all of them are counted in the cells of a grid.

use std::collections::BTreeMap;

use rustc_hash::FxHashMap;

/// Features that are kept whole at the most.
pub const MOST_KEPT: usize = 20_000;
/// Cells that are kept at the most.
const MOST_CELLS: usize = 3_000;

/// Every first, second, fourth, eighth … of what is offered, so that no more than [`MOST_KEPT`] are kept.
pub struct Share<T> {
    /// What is kept, in order.
    pub kept: Vec<T>,
    /// How many were offered.
    pub seen: u64,
    /// One of so many is kept.
    pub stride: u64,
    most: usize,
}

impl<T> Share<T> {
    /// An empty share.
    pub fn new(most: usize) -> Share<T> {
        Share { kept: Vec::new(), seen: 0, stride: 1, most }
    }

    /// Counts one, and keeps what `make` gives where it is its turn.
    pub fn offer(&mut self, make: impl FnOnce() -> T) {
        let turn = self.seen.is_multiple_of(self.stride);
        self.seen += 1;
        if !turn {
            return;
        }
        self.kept.push(make());
        if self.kept.len() > self.most {
            let mut index = 0;
            self.kept.retain(|_| {
                index += 1;
                index % 2 == 1
            });
            self.stride *= 2;
        }
    }

    /// Whether some were left out.
    pub fn is_part(&self) -> bool {
        self.stride > 1
    }
}

/// Counts of points in the cells of a grid, whose cells grow with the area.
pub struct Cells {
    side: f64,
    counts: FxHashMap<(i64, i64), u64>,
    most: usize,
}

impl Default for Cells {
    fn default() -> Cells {
        Cells { side: 1.0 / 1024.0, counts: FxHashMap::default(), most: MOST_CELLS }
    }
}

impl Cells {
    /// Counts a point.
    pub fn see(&mut self, x: f64, y: f64) {
        let key = ((x / self.side).floor() as i64, (y / self.side).floor() as i64);
        *self.counts.entry(key).or_default() += 1;
        while self.counts.len() > self.most {
            self.side *= 2.0;
            for ((x, y), count) in std::mem::take(&mut self.counts) {
                *self.counts.entry((x.div_euclid(2), y.div_euclid(2))).or_default() += count;
            }
        }
    }

    /// The side of a cell in the unit of the points, and the south-western corner and count of each that is not empty, in order.
    pub fn list(&self) -> (f64, Vec<([f64; 2], u64)>) {
        let sorted: BTreeMap<_, _> = self.counts.iter().collect();
        let corner = |&(x, y): &(i64, i64)| [x as f64 * self.side, y as f64 * self.side];
        (self.side, sorted.into_iter().map(|(key, count)| (corner(key), *count)).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_share_keeps_every_so_many_and_counts_all() {
        let mut share = Share::new(10);
        (0..45u64).for_each(|i| share.offer(|| i));
        assert_eq!((share.seen, share.stride, share.is_part()), (45, 8, true));
        assert_eq!(share.kept, [0, 8, 16, 24, 32, 40]);
        let mut all = Share::new(10);
        (0..10u64).for_each(|i| all.offer(|| i));
        assert_eq!((all.kept.len(), all.is_part()), (10, false));
    }

    #[test]
    fn cells_grow_and_lose_nothing() {
        let mut cells = Cells { side: 1.0, most: 4, ..Cells::default() };
        (-8..8).for_each(|i| cells.see(f64::from(i), 0.5));
        let (side, list) = cells.list();
        assert_eq!(side, 4.0);
        assert_eq!(list, [([-8.0, 0.0], 4), ([-4.0, 0.0], 4), ([0.0, 0.0], 4), ([4.0, 0.0], 4)]);
    }
}
