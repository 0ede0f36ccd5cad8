//! The tests of readings as they would be without some that were taken out, in the network linearised at its solution.
//!
//! Without the whitened row a (weight w, misclosure b, redundancy r = 1 − w a Q aᵀ) N loses w aᵀ a, and with y = Q aᵀ and g = 1/w − a y
//! (J. Sherman, W. J. Morrison, Ann. Math. Statist. 21, 1950; here for a row taken away)
//!
//! Q' = Q + y yᵀ / g, and since Aᵀ W b = 0 at the solution the unknowns move by −y b / g:
//! b_j' = b_j + (a_j y) b / g, a_j Q' a_jᵀ = a_j Q a_jᵀ + (a_j y)² / g.
//!
//! The move is that of the linear network. What a curved one adds is of second order in the blunder: where that is large against its
//! standard error, the others must fail by that much more to be taken out at once; the next solution tells.

use super::cholesky::Factor;
use super::equations::{EquationRow, Equations, WeightedRows};
use super::reliability::{LEAST_REDUNDANCY, Test};

/// Normalised residual of a blunder from which the whole of what it does to another one may be wrong. Own choice: a hundred standard
/// errors of an azimuth are some thirty degrees, of a distance half of a short sight.
const CURVED: f64 = 100.0;

/// Correlation of two normalised residuals below which one does not feel the other: it would move by less than a ten-thousandth.
const APART: f64 = 1e-6;

/// Numbers that the answers of what was taken out may fill: 128 MB.
const ROOM: usize = 16_000_000;

/// Tests without what was taken out.
pub(crate) struct Without<'a> {
    pub equations: &'a Equations<'a>,
    factor: &'a Factor,
    /// As they are now; in the order of the first ones.
    pub tests: Vec<Test>,
    /// By test: what it is still held to.
    states: Vec<TestState>,
    taken: Vec<ReadingPart>,
}

/// A test's share in what changes.
#[derive(Debug, Clone, Copy)]
struct TestState {
    /// Observed minus computed, whitened.
    misclosure: f64,
    /// What a curved network may have added to the normalised residual.
    curved: f64,
    /// Looked at already, taken out or not.
    passed: bool,
}

/// A reading's part in the solution.
pub(crate) struct ReadingPart {
    test: usize,
    /// y.
    answer: Vec<f64>,
    /// g.
    gap: f64,
}

impl<'a> Without<'a> {
    /// With all readings.
    pub fn prepare(equations: &'a Equations, factor: &'a Factor, tests: &[Test]) -> Without<'a> {
        let state = |test: &Test| TestState {
            misclosure: equations.items.get(test.item).and_then(|item| row(equations, item)).map_or(0.0, |row| row.misclosure),
            curved: 0.0,
            passed: false,
        };
        Without { equations, factor, tests: tests.to_vec(), states: tests.iter().map(state).collect(), taken: Vec::new() }
    }

    /// The test that fails most among those not looked at. Positions are judged while nothing is taken out.
    pub fn worst(&self) -> Option<usize> {
        let fails = |(k, test): (usize, &Test)| {
            let state = &self.states[k];
            let alone = self.equations.items.get(test.item).is_some_and(|item| item.rows == 1);
            let least = test.statistic.sqrt() - state.curved;
            let fails = !state.passed && least > 0.0 && least * least > test.critical;
            (fails && (alone || self.taken.is_empty())).then_some((k, test.quotient()))
        };
        self.tests.iter().enumerate().filter_map(fails).reduce(|a, b| if b.1 > a.1 { b } else { a }).map(|(k, _)| k)
    }

    /// Notes that a test was looked at.
    pub fn pass(&mut self, test: usize) {
        self.states[test].passed = true;
    }

    /// Whether no more can be taken out before the next solution.
    pub fn is_full(&self) -> bool {
        (self.taken.len() + 1) * self.factor.size() > ROOM
    }

    /// Observed minus computed of a reading, whitened.
    pub fn misclosure(&self, test: usize) -> f64 {
        self.states[test].misclosure
    }

    /// A reading's part; none of a position.
    pub fn part(&self, test: usize) -> Option<ReadingPart> {
        let item = self.equations.items.get(self.tests[test].item).filter(|item| item.rows == 1)?;
        let row = row(self.equations, item)?;
        let mut right = vec![0.0; self.factor.size()];
        row.entries().for_each(|(column, partial)| right[column] = partial);
        let mut answer = self.factor.solve(&right);
        let gap = self.tests[test].redundancy / item.weight;
        for part in &self.taken {
            let share = product(row, &part.answer);
            if share * share > APART * APART * gap * part.gap {
                answer.iter_mut().zip(&part.answer).for_each(|(y, other)| *y += other * share / part.gap);
            }
        }
        Some(ReadingPart { test, answer, gap })
    }

    /// ρ of the normalised residuals of a reading and of another one.
    pub fn correlation(&self, part: &ReadingPart, other: usize) -> f64 {
        let item = self.equations.items.get(self.tests[other].item);
        let Some((item, row)) = item.and_then(|item| Some((item, row(self.equations, item)?))) else { return 0.0 };
        product(row, &part.answer) / (part.gap * self.tests[other].redundancy / item.weight).sqrt()
    }

    /// Takes a reading out.
    pub fn take_out(&mut self, part: ReadingPart) {
        let misclosure = self.states[part.test].misclosure;
        let size = self.tests[part.test].statistic.sqrt();
        let curved = size * (size / CURVED).min(1.0);
        for (test, state) in self.tests.iter_mut().zip(&mut self.states) {
            let Some(item) = self.equations.items.get(test.item).filter(|item| item.rows == 1 && item.weight > 0.0) else {
                continue;
            };
            let Some(row) = row(self.equations, item) else { continue };
            let share = product(row, &part.answer);
            if share * share <= APART * APART * part.gap * test.redundancy / item.weight {
                continue;
            }
            state.curved += curved * share.abs() / (part.gap * test.redundancy.max(LEAST_REDUNDANCY) / item.weight).sqrt();
            state.misclosure += share * misclosure / part.gap;
            test.redundancy -= item.weight * share * share / part.gap;
            let checked = test.redundancy >= LEAST_REDUNDANCY;
            test.statistic = if checked { state.misclosure * state.misclosure / test.redundancy } else { 0.0 };
        }
        self.taken.push(part);
    }
}

fn row<'a>(equations: &'a Equations, item: &WeightedRows) -> Option<&'a EquationRow> {
    equations.rows.get(item.first as usize)
}

fn product(row: &EquationRow, answer: &[f64]) -> f64 {
    row.entries().map(|(column, partial)| partial * answer[column]).sum()
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::network::adjust;
    use crate::network::by_station::tests::sample;
    use crate::network::reliability::judge;
    use crate::network::reliability::tests::inverse_of_normals;
    use crate::network::solution::Solver;
    use crate::network::types::{Network, Settings};

    /// Rounding of an elimination of forty unknowns, and what the iteration leaves of Aᵀ W b: a millionth of a standard error.
    const ROUNDING: f64 = 1e-5;

    /// The sample with errors, and one reading that is off by some of its standard errors.
    pub(crate) fn with_blunder(reading: usize, sigmas: f64) -> Network {
        let mut network = sample();
        for (k, o) in network.observations.iter_mut().enumerate() {
            o.value += o.sigma * (((5 * k) % 7) as f64 - 3.0) / 2.0;
        }
        network.observations[reading].value += sigmas * network.observations[reading].sigma;
        network
    }

    /// Looks at the equations of a network at its solution, with their factor and tests; some readings count half there.
    pub(crate) fn at_solution(network: &Network, see: impl Fn(&mut Equations, &Factor, &[Test])) {
        let settings = Settings::default();
        let adjustment = adjust(network, &settings).unwrap();
        let inner = &adjustment.solved[0].inner;
        let local: Vec<u32> = (0..network.stations.len() as u32).collect();
        let mut equations = Equations::list(network, &inner.component, &inner.layout, &local, &inner.state);
        equations.linearise(&inner.state);
        let mut solver = Solver::prepare(&equations, &inner.layout).unwrap();
        let (factor, inverse) = solver.with_more(&mut equations, 0.0, |_| false).unwrap();
        let (_, tests) = judge(&equations, &factor, &inverse, &settings);
        see(&mut equations, &factor, &tests);
    }

    /// Statistic and redundancy of each reading when the linear network is solved anew by full matrices: x = N⁻¹ Aᵀ W b.
    fn anew(equations: &Equations, size: usize) -> Vec<(f64, f64)> {
        let q = inverse_of_normals(equations, size);
        let mut right = vec![0.0; size];
        for item in &equations.items {
            for row in &equations.rows[item.first as usize..][..item.rows as usize] {
                row.entries().for_each(|(column, partial)| right[column] += item.weight * partial * row.misclosure);
            }
        }
        let x: Vec<f64> = q.iter().map(|row| row.iter().zip(&right).map(|(q, b)| q * b).sum()).collect();
        let of_item = |item: &WeightedRows| {
            let row = &equations.rows[item.first as usize];
            let left = row.misclosure - row.entries().map(|(column, partial)| partial * x[column]).sum::<f64>();
            let share: f64 = row.entries().map(|(c, p)| row.entries().map(|(d, r)| p * r * q[c][d]).sum::<f64>()).sum();
            let redundancy = 1.0 - item.weight * share;
            (left * left / redundancy, redundancy)
        };
        equations.items.iter().map(of_item).collect()
    }

    #[test]
    fn tests_without_readings_are_those_of_the_network_solved_without_them() {
        let network = with_blunder(20, 9.0);
        at_solution(&network, |equations, factor, tests| {
            let size = factor.size();
            let first = equations.items.len() - network.observations.len();
            let mut fewer = equations.clone();
            let mut without = Without::prepare(equations, factor, tests);
            // An azimuth, a distance at the same stations, an inclination far away: by items, which are tests here.
            for item in [first + 20, first + 22, first + 40, first + 18] {
                let part = without.part(item).unwrap();
                let row = row(equations, &equations.items[item]).unwrap();
                assert!(
                    (without.misclosure(item).powi(2) / without.tests[item].redundancy - without.tests[item].statistic).abs()
                        < ROUNDING
                );
                // ρ from the full inverse without what is gone: −aᵢ Q aⱼᵀ / √(rᵢ rⱼ), the other sign than that of a normalised residual's pull.
                let q = inverse_of_normals(&fewer, size);
                for (k, other) in equations
                    .items
                    .iter()
                    .enumerate()
                    .filter(|(k, other)| other.rows == 1 && *k != item && fewer.items[*k].weight > 0.0)
                {
                    let other_row = &equations.rows[other.first as usize];
                    let product: f64 =
                        row.entries().map(|(c, p)| other_row.entries().map(|(d, r)| p * r * q[c][d]).sum::<f64>()).sum();
                    let want = product / (without.tests[item].redundancy * without.tests[k].redundancy).sqrt();
                    let got = without.correlation(&part, k);
                    assert!((got - want).abs() < ROUNDING, "{item} {k}: {got} {want}");
                }
                fewer.items[item].weight = 0.0;
                without.take_out(part);
                let want = anew(&fewer, size);
                for (k, test) in without.tests.iter().enumerate() {
                    let of = &fewer.items[test.item];
                    if of.rows > 1 || of.weight == 0.0 {
                        continue;
                    }
                    let (statistic, redundancy) = want[test.item];
                    assert!((test.redundancy - redundancy).abs() < ROUNDING, "{k}: {test:?} {redundancy}");
                    assert!((test.statistic - statistic).abs() < ROUNDING * (1.0 + statistic), "{k}: {test:?} {statistic}");
                }
            }
        });
    }

    #[test]
    fn as_many_are_taken_out_as_there_is_room_for() {
        at_solution(&sample(), |equations, factor, tests| {
            let mut without = Without::prepare(equations, factor, tests);
            assert!(!without.is_full());
            // With the next one the answers fill the room.
            let most = ROOM / factor.size();
            without.taken = (0..most - 1).map(|test| ReadingPart { test, answer: Vec::new(), gap: 1.0 }).collect();
            assert!(!without.is_full());
            without.taken.push(ReadingPart { test: 0, answer: Vec::new(), gap: 1.0 });
            assert!(without.is_full());
        });
    }

    /// Where little is left to check a reading it has no statistic; a position is not taken out so.
    #[test]
    fn what_the_rest_no_longer_checks_has_no_statistic() {
        let network = with_blunder(20, 0.0);
        at_solution(&network, |equations, factor, tests| {
            let position = equations.items.iter().position(|item| item.rows == 3).unwrap();
            let mut without = Without::prepare(equations, factor, tests);
            assert!(without.part(position).is_none());
            // All readings to one feature go but three: an azimuth, an inclination and a distance, which nothing checks then.
            let first = equations.items.len() - network.observations.len();
            let to_it: Vec<usize> = (0..network.observations.len()).filter(|k| network.observations[*k].to == 5).collect();
            assert!(to_it.len() > 3);
            for k in &to_it[3..] {
                let part = without.part(first + k).unwrap();
                without.take_out(part);
            }
            for k in &to_it[..3] {
                let test = &without.tests[first + k];
                assert!(test.redundancy.abs() < ROUNDING && test.statistic == 0.0, "{test:?}");
            }
            // Others are still checked.
            assert!(without.tests.iter().filter(|test| test.statistic > 0.0).count() > network.observations.len() / 2);
        });
    }

    /// The worst is the first of the quotients; a blunder takes from the statistics of others what it may have bent there.
    #[test]
    fn a_great_blunder_may_have_bent_the_others() {
        for (sigmas, reading) in [(30.0, 20), (400.0, 22)] {
            let network = with_blunder(reading, sigmas);
            at_solution(&network, |equations, factor, tests| {
                let first = equations.items.len() - network.observations.len();
                let item = first + reading;
                let mut without = Without::prepare(equations, factor, tests);
                assert_eq!(without.worst(), Some(item));
                let size = without.tests[item].statistic.sqrt();
                let part = without.part(item).unwrap();
                let felt: Vec<f64> = (0..without.tests.len()).map(|k| without.correlation(&part, k).abs()).collect();
                without.pass(item);
                without.take_out(part);
                let bent = size * (size / CURVED).min(1.0);
                let mut worst: Option<(usize, f64)> = None;
                for (k, test) in without.tests.iter().enumerate().filter(|(k, _)| *k != item) {
                    if equations.items[test.item].rows > 1 {
                        continue;
                    }
                    let curved = if felt[k] > 1e-4 { bent * felt[k] } else { 0.0 };
                    assert!(
                        (without.states[k].curved - curved).abs() < 1e-3 * bent.max(1.0),
                        "{k}: {} {curved}",
                        without.states[k].curved
                    );
                    let least = test.statistic.sqrt() - without.states[k].curved;
                    if least > test.critical.sqrt() && worst.is_none_or(|(_, most)| test.quotient() > most) {
                        worst = Some((k, test.quotient()));
                    }
                }
                assert_eq!(without.worst(), worst.map(|(k, _)| k));
            });
        }
    }
}
