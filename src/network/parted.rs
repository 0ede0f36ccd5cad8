//! The covariance of a component's unknowns by what it comes from.
//!
//! With the whitened rows A, their weights W and Q = (AᵀWA)⁻¹ the unknowns are x = Q AᵀW l, so that a row i with the variance 1/wᵢ adds wᵢ (Q aᵢ)(Q aᵢ)ᵀ to
//! their covariance, and all rows together Q AᵀWA Q = Q (law of propagation; any text on adjustment). Rows of one source are summed.
//!
//! It costs a solution of the normal equations for each unknown asked for, and numbers as many as there are rows, which are kept. A component that would
//! take more than [`MOST_NUMBERS`] goes by [`super::by_station`].

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use super::cholesky::Factor;
use super::equations::{EquationRow, Equations, Source};
use super::types::{Class, Network};
use crate::geodesy::register::ErrorSource as OfError;

/// Rows times unknowns above which sources are not told apart: 32 MB.
const MOST_NUMBERS: usize = 4_000_000;

/// What the covariance of unknowns is made of.
#[derive(Debug)]
pub(crate) struct Parted {
    /// Rows by source, each with the root of its weight.
    rows: Vec<(OfError, Vec<(EquationRow, f64)>)>,
    /// By unknown: √wᵢ aᵢᵀ Q e for the rows in turn.
    columns: Mutex<HashMap<usize, Arc<Vec<f64>>>>,
}

impl Parted {
    /// Of linearised equations; none of too many.
    pub fn split(equations: &Equations, unknowns: usize) -> Option<Parted> {
        if equations.rows.len().saturating_mul(unknowns) > MOST_NUMBERS {
            return None;
        }
        let mut rows: Vec<(OfError, Vec<(EquationRow, f64)>)> = Vec::new();
        for item in equations.items.iter().filter(|item| item.weight > 0.0) {
            let source = source_of(equations.network, item.source);
            let at = rows.iter().position(|(known, _)| *known == source).unwrap_or_else(|| {
                rows.push((source, Vec::new()));
                rows.len() - 1
            });
            let of_item = equations.rows.iter().skip(item.first as usize).take(item.rows as usize);
            rows[at].1.extend(of_item.map(|row| (*row, item.weight.sqrt())));
        }
        Some(Parted { rows, columns: Mutex::default() })
    }

    /// The covariance of some unknowns by source, each by rows.
    pub fn covariance(&self, factor: &Factor, which: &[usize]) -> Vec<(OfError, Vec<f64>)> {
        let columns: Vec<Arc<Vec<f64>>> = which.iter().map(|unknown| self.column(factor, *unknown)).collect();
        let (size, mut from) = (which.len(), 0);
        let parts = self.rows.iter().map(|(source, rows)| {
            let to = from + rows.len();
            let mut part = vec![0.0; size * size];
            for r in 0..size {
                for c in 0..=r {
                    let (one, other) = (columns[r].get(from..to), columns[c].get(from..to));
                    let sum: f64 = one.into_iter().flatten().zip(other.into_iter().flatten()).map(|(a, b)| a * b).sum();
                    (part[r * size + c], part[c * size + r]) = (sum, sum);
                }
            }
            from = to;
            (*source, part)
        });
        parts.collect()
    }

    fn column(&self, factor: &Factor, unknown: usize) -> Arc<Vec<f64>> {
        let known = self.columns.lock().unwrap_or_else(PoisonError::into_inner).get(&unknown).cloned();
        known.unwrap_or_else(|| {
            let mut unit = vec![0.0; factor.size()];
            unit.iter_mut().skip(unknown).take(1).for_each(|one| *one = 1.0);
            let solved = factor.solve(&unit);
            let along = |(row, root): &(EquationRow, f64)| {
                root * row.entries().map(|(column, partial)| partial * solved.get(column).copied().unwrap_or(0.0)).sum::<f64>()
            };
            let column: Arc<Vec<f64>> = Arc::new(self.rows.iter().flat_map(|(_, rows)| rows.iter().map(along)).collect());
            self.columns.lock().unwrap_or_else(PoisonError::into_inner).insert(unknown, Arc::clone(&column));
            column
        })
    }
}

/// What an equation's error comes from.
pub(crate) fn source_of(network: &Network, source: Source) -> OfError {
    match source {
        Source::Observation(i) => match network.observations[i].kind.class() {
            Class::Azimuth => OfError::AzimuthReadings,
            Class::Inclination => OfError::InclinationReadings,
            Class::Distance | Class::Height => OfError::DistanceReadings,
        },
        Source::Control(_) => OfError::BasePositions,
        Source::Orientation(_) => OfError::Orientations,
        Source::Scale(_) | Source::Constant(_) => OfError::DistanceCorrections,
        Source::Shared(k) => {
            // Of azimuths the first shared error is the declination, the second the instrument's correction.
            let user = network.observations.iter().find(|o| o.shared.contains(&Some(k)));
            match user.map(|o| (o.kind.class(), o.shared[0] == Some(k))) {
                Some((Class::Azimuth, true)) => OfError::Declination,
                Some((Class::Azimuth, false)) => OfError::AzimuthCorrections,
                Some((Class::Inclination, _)) => OfError::InclinationCorrections,
                _ => OfError::DistanceCorrections,
            }
        }
    }
}
