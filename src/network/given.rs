//! What a network was given from outside (measured positions, orientations of set-ups, errors that readings share), and what one standard error of each
//! does to all unknowns.
//!
//! With the whitened rows A, their weights W and Q = (AᵀWA)⁻¹ the unknowns are x = Q AᵀW l, so that one standard error of row i moves them by
//! wᵢ Q aᵢ (law of propagation; any text on adjustment). A row of a measured position is whitened by the lower root of its covariance: its axes are the
//! entries of [`crate::geodesy::register::position_arms`] in turn.

use super::cholesky::Factor;
use super::equations::{EquationRow, Equations, Source};

/// Rows times elements of the factor above which nothing is said, for it would take longer than the adjustment: some 0.1 s.
const MOST_WORK: usize = 50_000_000;

/// The rows that no reading of the network's own gives: of what, which axis, the row, its weight.
#[derive(Debug, Clone, Default)]
pub(crate) struct Given(Vec<(Source, usize, EquationRow, f64)>);

impl Given {
    /// Of linearised equations.
    pub fn from_equations(equations: &Equations) -> Given {
        let items = equations.items.iter().filter(|item| item.weight > 0.0 && !matches!(item.source, Source::Observation(_)));
        let rows = items.flat_map(|item| {
            let of_item = equations.rows.iter().skip(item.first as usize).take(item.rows as usize).enumerate();
            of_item.map(|(axis, row)| (item.source, axis, *row, item.weight))
        });
        Given(rows.collect())
    }

    /// Which axis of what (0 where it has one), and by how much one standard error of it moves each unknown; none where that would take too long.
    pub fn moves(&self, factor: &Factor) -> Option<Vec<(Source, usize, Vec<f64>)>> {
        let Given(rows) = self;
        if rows.len().saturating_mul(factor.lower().len()) > MOST_WORK {
            return None;
        }
        let moved = rows.iter().map(|(source, axis, row, weight)| {
            let mut right = vec![0.0; factor.size()];
            for (column, partial) in row.entries() {
                right.iter_mut().skip(column).take(1).for_each(|sum| *sum += weight * partial);
            }
            (*source, *axis, factor.solve(&right))
        });
        Some(moved.collect())
    }
}

#[cfg(test)]
mod tests {
    use super::{Given, MOST_WORK};
    use crate::geodesy::frame::LocalFrame;
    use crate::network::by_station::tests::sample;
    use crate::network::equations::tests::every_kind;
    use crate::network::reliability::tests::inverse_of_normals;
    use crate::network::without::tests::at_solution;
    use crate::network::{Settings, Source, adjust};
    use crate::numeric::cholesky::semi_root;

    /// What one standard error of each row moves by full matrices, w Q a; of readings and of what is taken out nothing is told.
    #[test]
    fn moves_are_those_of_full_matrices() {
        at_solution(&every_kind(), |equations, factor, _| {
            // By the factor of all weights as they were.
            let q = inverse_of_normals(equations, factor.size());
            let given: Vec<usize> =
                (0..equations.items.len()).filter(|k| !matches!(equations.items[*k].source, Source::Observation(_))).collect();
            (equations.items[given[0]].weight, equations.items[given[1]].weight) = (0.0, 0.5);
            let mut told = Given::from_equations(equations).moves(factor).unwrap().into_iter();
            for item in given.into_iter().skip(1).map(|k| equations.items[k]) {
                for axis in 0..item.rows as usize {
                    let (source, of, by) = told.next().unwrap();
                    assert_eq!((source, of), (item.source, axis));
                    let row = &equations.rows[item.first as usize + axis];
                    for (unknown, got) in by.into_iter().enumerate() {
                        let want: f64 =
                            item.weight * row.entries().map(|(column, partial)| q[unknown][column] * partial).sum::<f64>();
                        assert!((got - want).abs() < 1e-7 * (1.0 + want.abs()), "{source:?} {axis} {unknown}: {got} {want}");
                    }
                }
            }
            assert!(told.next().is_none());
            // Where it would take too long nothing is told.
            let one = Given::from_equations(equations).0[0];
            assert!(Given(vec![one; 1 + MOST_WORK / factor.lower().len()]).moves(factor).is_none());
        });
    }

    /// A hundredth of a standard error more in a known position, along a column of the root of its covariance, against the adjustment of that network.
    #[test]
    fn a_known_position_that_is_moved_moves_all_as_told() {
        const STEP: f64 = 0.01;
        let network = sample();
        let before = adjust(&network, &Settings::default()).unwrap();
        let told = before.solved[0].given().unwrap();
        // Three axes of four positions, four orientations, three shared errors.
        assert_eq!(told.len(), 12 + 4 + 3);
        for axis in 0..3 {
            let mut moved = network.clone();
            let control = moved.stations[1].control.as_mut().unwrap();
            let c = control.covariance;
            let root = semi_root(&[c.ee, c.en, c.eu, c.en, c.nn, c.nu, c.eu, c.nu, c.uu], 3);
            let at = crate::geodesy::frame::Geodetic::from_earth_centred(control.position, &network.ellipsoid);
            let by = std::array::from_fn(|k| STEP * root[3 * k + axis]);
            control.position = LocalFrame::at(&at, &network.ellipsoid).to_earth_centred(by);
            let after = adjust(&moved, &Settings::default()).unwrap();
            let (_, _, by) = told.iter().find(|(source, of, _)| (*source, *of) == (Source::Control(1), axis)).unwrap();
            let mut most: f64 = 0.0;
            for station in 0..network.stations.len() {
                let frame = before.solved[0].frame_of(station).unwrap();
                let went = frame.from_earth_centred(after.station(station).unwrap().position);
                let unknowns = before.solved[0].unknowns_of(station).unwrap().place;
                for (unknown, metres) in unknowns.into_iter().zip(went) {
                    // Second order of 3 mm in 200 m, and where the iteration rests.
                    assert!((by[unknown] - metres / STEP).abs() < 2e-4, "{axis} {station}: {} {}", by[unknown], metres / STEP);
                    most = most.max(by[unknown].abs());
                }
            }
            assert!(most > 0.05, "{axis}: {most}");
        }
    }
}
