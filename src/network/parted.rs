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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::network::by_station::tests::sample;
    use crate::network::reliability::tests::inverse_of_normals;
    use crate::network::solution::Solver;
    use crate::network::types::{Kind, Rangefinder, Settings};
    use crate::network::{adjust, equations::tests::every_kind};

    /// The part of each source by full matrices, Q AᵀWA Q with the rows of the source alone; together they are Q.
    #[test]
    fn parts_are_those_of_full_matrices() {
        let network = every_kind();
        let adjustment = adjust(&network, &Settings::default()).unwrap();
        let inner = &adjustment.solved[0].inner;
        let local: Vec<u32> = (0..network.stations.len() as u32).collect();
        let mut equations = Equations::list(&network, &inner.component, &inner.layout, &local, &inner.state);
        equations.linearise(&inner.state);
        // Some count half, and one is taken out.
        let count = equations.items.len();
        for (k, weight) in [(count - 1, 0.0), (count - 5, 0.5), (2, 0.5)] {
            equations.items[k].weight = weight;
        }
        let size = inner.layout.size;
        let q = inverse_of_normals(&equations, size);
        let (factor, _) = Solver::prepare(&equations, &inner.layout).unwrap().with_more(&mut equations, 0.0, |_| false).unwrap();
        let parted = Parted::split(&equations, size).unwrap();
        let which = [4, 0, size - 1, 17, size - 6];
        let got = parted.covariance(&factor, &which);
        let mut sum = vec![0.0; which.len() * which.len()];
        for (source, part) in &got {
            let mut own = vec![vec![0.0; size]; size];
            for item in equations.items.iter().filter(|item| source_of(&network, item.source) == *source) {
                for row in &equations.rows[item.first as usize..][..item.rows as usize] {
                    row.entries().for_each(|(a, p)| row.entries().for_each(|(b, r)| own[a][b] += item.weight * p * r));
                }
            }
            for (k, got) in part.iter().enumerate() {
                let (a, b) = (which[k / which.len()], which[k % which.len()]);
                let want: f64 = (0..size).map(|c| (0..size).map(|d| q[a][c] * own[c][d] * q[d][b]).sum::<f64>()).sum();
                assert!((got - want).abs() < 1e-9 * (1.0 + want.abs()), "{source:?} {a} {b}: {got} {want}");
                sum[k] += got;
            }
        }
        assert_eq!(got.len(), 8);
        for (k, sum) in sum.into_iter().enumerate() {
            let want = q[which[k / which.len()]][which[k % which.len()]];
            assert!((sum - want).abs() < 1e-9 * (1.0 + want.abs()), "{k}: {sum} {want}");
        }
        // Asked again in another order it says the same.
        let again = parted.covariance(&factor, &[17, 4]);
        for ((_, one), (_, other)) in got.iter().zip(&again) {
            assert_eq!([other[0], other[1], other[3]], [one[18], one[15], one[0]]);
        }
    }

    /// Beyond four million numbers the parts are not told so.
    #[test]
    fn a_large_network_is_not_parted_so() {
        let network = sample();
        let adjustment = adjust(&network, &Settings::default()).unwrap();
        let inner = &adjustment.solved[0].inner;
        let local: Vec<u32> = (0..network.stations.len() as u32).collect();
        let mut equations = Equations::list(&network, &inner.component, &inner.layout, &local, &inner.state);
        equations.rows.truncate(100);
        let most = MOST_NUMBERS / 100;
        assert!(Parted::split(&equations, most).is_some() && Parted::split(&equations, most + 1).is_none());
        assert!(Parted::split(&equations, usize::MAX).is_none());
    }

    #[test]
    fn what_an_error_comes_from() {
        let mut network = every_kind();
        network.instruments.push(Rangefinder { label: "R2".into(), sigma_scale: 0.0, sigma_constant_m: 0.0 });
        let mut of_inclination = network.shared[2].clone();
        of_inclination.label = "the inclination correction".into();
        network.shared.push(of_inclination);
        network.observations.iter_mut().filter(|o| o.kind == Kind::Inclination).for_each(|o| o.shared[0] = Some(3));
        let reading = |kind: Kind| Source::Observation(network.observations.iter().position(|o| o.kind == kind).unwrap());
        for (source, want) in [
            (reading(Kind::Azimuth), OfError::AzimuthReadings),
            (reading(Kind::Direction), OfError::AzimuthReadings),
            (reading(Kind::Inclination), OfError::InclinationReadings),
            (reading(Kind::Slope), OfError::DistanceReadings),
            (reading(Kind::Vertical), OfError::DistanceReadings),
            (reading(Kind::HeightDifference), OfError::DistanceReadings),
            (Source::Control(1), OfError::BasePositions),
            (Source::Orientation(1), OfError::Orientations),
            (Source::Scale(0), OfError::DistanceCorrections),
            (Source::Constant(1), OfError::DistanceCorrections),
            (Source::Shared(0), OfError::Declination),
            (Source::Shared(1), OfError::AzimuthCorrections),
            (Source::Shared(2), OfError::DistanceCorrections),
            (Source::Shared(3), OfError::InclinationCorrections),
        ] {
            assert_eq!(source_of(&network, source), want, "{source:?}");
        }
    }
}
