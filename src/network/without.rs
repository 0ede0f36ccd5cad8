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
use super::equations::{EquationRow, Equations, Item};
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
    states: Vec<State>,
    taken: Vec<ReadingPart>,
}

/// A test's share in what changes.
#[derive(Debug, Clone, Copy)]
struct State {
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
        let state = |test: &Test| State {
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

fn row<'a>(equations: &'a Equations, item: &Item) -> Option<&'a EquationRow> {
    equations.rows.get(item.first as usize)
}

fn product(row: &EquationRow, answer: &[f64]) -> f64 {
    row.entries().map(|(column, partial)| partial * answer[column]).sum()
}
