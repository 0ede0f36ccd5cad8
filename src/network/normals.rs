//! The normal equations N = Aᵀ W A of one component: their sparse pattern, and the sums over the rows.
//!
//! The pattern is that of the lower triangle, by columns. It also holds each station's coordinates and orientations
//! among themselves, so that their covariances are always at hand.

use super::equations::{Equations, WeightedRows};
use super::layout::{Layout, NONE};

/// Lower triangle by columns, diagonal first in each.
#[derive(Debug, Clone)]
pub(crate) struct Pattern {
    pub starts: Vec<usize>,
    pub rows: Vec<usize>,
}

/// The pattern, and for each row of the equations where its products go.
#[derive(Debug, Clone)]
pub(crate) struct Normals {
    pub pattern: Pattern,
    /// Positions of the products of a row's entries, the pairs (a, b ≤ a) in turn, for all rows in turn.
    slots: Vec<u32>,
    pub values: Vec<f64>,
    pub right: Vec<f64>,
}

impl Normals {
    /// The pattern of linearised equations.
    pub fn lay_out(equations: &Equations, layout: &Layout) -> Normals {
        let mut columns: Vec<Vec<u32>> = (0..layout.size).map(|j| vec![j as u32]).collect();
        let mut pair = |a: usize, b: usize| columns[a.min(b)].push(a.max(b) as u32);
        for row in &equations.rows {
            for (k, (a, _)) in row.entries().enumerate() {
                for (b, _) in row.entries().take(k) {
                    pair(a, b);
                }
            }
        }
        for place in &layout.places {
            let own: Vec<usize> = (place.first..place.first + u32::from(place.size))
                .chain(place.turns().chain([place.directions]).filter(|c| *c != NONE))
                .map(|c| c as usize)
                .collect();
            for (k, a) in own.iter().enumerate() {
                own.iter().take(k).for_each(|b| pair(*a, *b));
            }
        }
        let mut starts = vec![0];
        let mut rows = Vec::new();
        for column in &mut columns {
            column.sort_unstable();
            column.dedup();
            rows.extend(column.iter().map(|r| *r as usize));
            starts.push(rows.len());
        }
        let pattern = Pattern { starts, rows };
        let mut slots = Vec::new();
        for row in &equations.rows {
            for (k, (a, _)) in row.entries().enumerate() {
                for (b, _) in row.entries().take(k + 1) {
                    slots.push(pattern.slot(a.max(b), a.min(b)).map_or(u32::MAX, |s| s as u32));
                }
            }
        }
        let (count, size) = (pattern.rows.len(), layout.size);
        Normals { pattern, slots, values: vec![0.0; count], right: vec![0.0; size] }
    }

    /// Sums Aᵀ W A and Aᵀ W b.
    pub fn sum(&mut self, equations: &Equations) {
        self.values.fill(0.0);
        self.right.fill(0.0);
        let mut slots = self.slots.iter();
        for WeightedRows { first, rows, weight, .. } in &equations.items {
            for row in &equations.rows[*first as usize..*first as usize + *rows as usize] {
                for (k, (a, p)) in row.entries().enumerate() {
                    let p = weight * p;
                    self.right[a] += p * row.misclosure;
                    for ((_, q), slot) in row.entries().take(k + 1).zip(slots.by_ref()) {
                        if let Some(value) = self.values.get_mut(*slot as usize) {
                            *value += p * q;
                        }
                    }
                }
            }
        }
    }
}

impl Pattern {
    /// Where the element (row ≥ column) stands.
    pub fn slot(&self, row: usize, column: usize) -> Option<usize> {
        let (from, to) = (*self.starts.get(column)?, *self.starts.get(column + 1)?);
        self.rows.get(from..to)?.binary_search(&row).ok().map(|k| from + k)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::network::equations::tests::every_kind;
    use crate::network::without::tests::at_solution;

    /// The sums in the pattern against dense ones; outside of it there is nothing, but each station's own unknowns are always in it.
    #[test]
    fn sums_are_those_of_dense_matrices() {
        at_solution(&every_kind(), |equations, factor, _| {
            let size = factor.size();
            equations.items[3].weight = 0.25;
            equations.rows.iter_mut().enumerate().for_each(|(k, row)| row.misclosure = ((3 * k) % 7) as f64 - 3.0);
            let (mut dense, mut right) = (vec![vec![0.0; size]; size], vec![0.0; size]);
            for item in &equations.items {
                for row in &equations.rows[item.first as usize..][..item.rows as usize] {
                    for (a, p) in row.entries() {
                        right[a] += item.weight * p * row.misclosure;
                        row.entries().for_each(|(b, q)| dense[a][b] += item.weight * p * q);
                    }
                }
            }
            let mut normals = Normals::lay_out(equations, equations.layout);
            // Summed again it is the same.
            for _ in 0..2 {
                normals.sum(equations);
                for column in 0..size {
                    assert!((normals.right[column] - right[column]).abs() < 1e-9 * (1.0 + right[column].abs()));
                    assert_eq!(normals.pattern.rows[normals.pattern.starts[column]], column);
                    for (row, of_row) in dense.iter().enumerate().skip(column) {
                        let want = of_row[column];
                        match normals.pattern.slot(row, column) {
                            Some(slot) => {
                                assert!((normals.values[slot] - want).abs() < 1e-9 * (1.0 + want.abs()), "{row} {column}")
                            }
                            None => assert_eq!(want, 0.0, "{row} {column}"),
                        }
                    }
                }
            }
            for place in &equations.layout.places {
                let mut own: Vec<usize> = (place.first..place.first + u32::from(place.size)).map(|c| c as usize).collect();
                own.extend(place.turns().chain(place.directions_turn()).map(|c| c as usize));
                for a in &own {
                    assert!(own.iter().all(|b| normals.pattern.slot(*a.max(b), *a.min(b)).is_some()));
                }
            }
            assert_eq!((normals.pattern.slot(size, size), normals.pattern.slot(0, size + 1)), (None, None));
        });
    }
}
