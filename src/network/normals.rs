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
