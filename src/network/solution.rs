//! Weighted least squares by the iteration of Gauss and Newton with step control.
//!
//! Each step solves Aᵀ W A x = Aᵀ W b. The step is halved until Σ w v² falls by at least a ten-thousandth of what the
//! slope promises (L. Armijo, Pacific J. Math. 16, 1966). The iteration rests when no unknown moves by more than a
//! millionth of its standard error: √(xᵀ N x) < 1e-6, which bounds every |x_i| / σ_i; or when nothing moves by more
//! than rounding of earth-centred coordinates.
//!
//! Near the solution N hardly changes from step to step: its factor serves for the next ones too, as long as these shrink well (the chord
//! form of Newton's method: C. T. Kelley, "Iterative Methods for Linear and Nonlinear Equations", SIAM 1995, section 5.4). The factor that is
//! given out is that of the solution.
//!
//! Robust weights are renewed at each step, and the sum is that of their loss ([`super::reweighting`]); they come to rest
//! slowly, so that a step that lowers it is also tried longer, and more of them are allowed.

use super::cholesky::{Factor, NoFactor, Ordering};
use super::equations::{Equations, Source};
use super::layout::Layout;
use super::normals::Normals;
use super::reweighting::{self, Law};
use super::state::State;
use super::types::{Network, Settings};
use crate::geodesy::frame::Ellipsoid;
use crate::job::Robust;

/// Greatest move, in standard errors, at rest.
const REST_SIGMAS: f64 = 1e-6;

/// Greatest change of a robust weight at rest, and greatest move in standard errors there.
const REST_WEIGHT: f64 = 1e-4;
const REST_ROBUST_SIGMAS: f64 = 1e-5;

/// How many times as many iterations robust estimation has: its steps shrink by a constant share only.
const ROBUST_PATIENCE: usize = 10;

/// Doublings of a robust step.
const DOUBLINGS: usize = 5;

/// Move of a coordinate at rest, as a share of the earth's radius: sixteen roundings of earth-centred coordinates, 2e-8 m.
const REST_SHARE: f64 = 16.0 * f64::EPSILON;

/// Length in metres at whose end the rest of a coordinate is the rest of an angle.
const REST_LENGTH_M: f64 = 100.0;

/// Share of the promised fall that a step must bring.
const ARMIJO: f64 = 1e-4;

/// Square of a step, in standard errors, that is taken whole: a hundredth of a standard error, where the sum's fall drowns
/// in the rounding of earth-centred coordinates.
const SMALL: f64 = 1e-4;

/// Mean square of a step in standard errors, an unknown's, below which its factor serves for the next one too: five standard errors.
const NEAR: f64 = 25.0;

/// Share of its square that a step by such a factor may have of the one before.
const SHRINKS: f64 = 1e-3;

/// Halvings of one step.
const HALVINGS: usize = 12;

/// A solved component.
#[derive(Debug, Clone)]
pub(crate) struct Solution {
    pub state: State,
    pub factor: Factor,
    pub iterations: usize,
}

/// Why a component has no solution.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum NoSolution {
    /// An unknown is not determined.
    Singular(usize),
    /// No memory.
    Memory,
    /// The iteration did not rest; the unknown that moved most.
    Restless(usize),
}

impl From<NoFactor> for NoSolution {
    fn from(no: NoFactor) -> NoSolution {
        match no {
            NoFactor::Singular(unknown) => NoSolution::Singular(unknown),
            NoFactor::Memory => NoSolution::Memory,
        }
    }
}

/// The equations' sparse structure, for several solutions of the same component.
#[derive(Debug, Clone)]
pub(crate) struct Solver {
    normals: Normals,
    ordering: Ordering,
}

impl Solver {
    /// Prepares for equations linearised once.
    pub fn prepare(equations: &Equations, layout: &Layout) -> Result<Solver, NoSolution> {
        let normals = Normals::lay_out(equations, layout);
        let ordering = Ordering::find(&normals.pattern)?;
        Ok(Solver { normals, ordering })
    }

    /// Factor and inverse where some items of linearised equations weigh more by a share; the equations are left as they were.
    pub fn with_more(
        &mut self,
        equations: &mut Equations,
        share: f64,
        is_of: impl Fn(&Source) -> bool,
    ) -> Option<(Factor, Vec<f64>)> {
        let weights: Vec<f64> = equations.items.iter().map(|item| item.weight).collect();
        equations.items.iter_mut().filter(|item| is_of(&item.source)).for_each(|item| item.weight *= 1.0 + share);
        self.normals.sum(equations);
        equations.items.iter_mut().zip(weights).for_each(|(item, weight)| item.weight = weight);
        let factor = self.ordering.factor(&self.normals.pattern, &self.normals.values).ok()?;
        let inverse = factor.inverse();
        Some((factor, inverse))
    }

    /// Solves from a state; the equations are left linearised at the solution.
    pub fn solve(
        &mut self,
        network: &Network,
        equations: &mut Equations,
        layout: &Layout,
        state: State,
        settings: &Settings,
    ) -> Result<Solution, NoSolution> {
        let (solution, restless) = self.iterate(network, equations, layout, state, settings)?;
        restless.map_or(Ok(solution), |unknown| Err(NoSolution::Restless(unknown)))
    }

    /// Where the iteration got to, and the unknown that moved most if it did not come to rest.
    pub fn iterate(
        &mut self,
        network: &Network,
        equations: &mut Equations,
        layout: &Layout,
        mut state: State,
        settings: &Settings,
    ) -> Result<(Solution, Option<usize>), NoSolution> {
        equations.linearise(&state);
        let is_robust = settings.robust != Robust::None;
        let (most, rest) = match is_robust {
            true => (settings.iterations.max(1).saturating_mul(ROBUST_PATIENCE), REST_ROBUST_SIGMAS),
            false => (settings.iterations.max(1), REST_SIGMAS),
        };
        let mut iteration = 0;
        let mut kept: Option<(Factor, f64)> = None;
        loop {
            iteration += 1;
            let law = Law::at(settings.robust, iteration);
            let reweighted = reweighting::reweight(equations, law);
            self.normals.sum(equations);
            let Stride { factor, step, decrement, is_new } = self.stride(kept.take())?;
            if !decrement.is_finite() {
                return Err(NoSolution::Restless(0));
            }
            let quiet = reweighted < REST_WEIGHT
                && law == Law::at(settings.robust, most)
                && (decrement.max(0.0).sqrt() < rest || still(layout, &step, REST_SHARE * network.ellipsoid.semi_major_m));
            if quiet || iteration >= most {
                let most = step.iter().enumerate().max_by(|a, b| a.1.abs().total_cmp(&b.1.abs())).map_or(0, |(k, _)| k);
                let factor = if is_new { factor } else { self.factor()? };
                return Ok((Solution { state, factor, iterations: iteration }, (!quiet).then_some(most)));
            }
            let walk = Walk { layout, step: &step, ellipsoid: &network.ellipsoid, law, decrement, is_robust };
            state = walk.from(&state, equations);
            let is_near = !is_robust && decrement < NEAR * step.len() as f64;
            kept = is_near.then_some((factor, decrement));
        }
    }

    fn factor(&self) -> Result<Factor, NoSolution> {
        Ok(self.ordering.factor(&self.normals.pattern, &self.normals.values)?)
    }

    /// The next step: by a factor of an earlier state where that brings it far enough, given with its step's square; else by a new one.
    fn stride(&self, kept: Option<(Factor, f64)>) -> Result<Stride, NoSolution> {
        let by = |factor: Factor, is_new: bool| {
            let step = factor.solve(&self.normals.right);
            // xᵀ N x = xᵀ (Aᵀ W b).
            let decrement: f64 = step.iter().zip(&self.normals.right).map(|(x, g)| x * g).sum();
            Stride { factor, step, decrement, is_new }
        };
        if let Some((factor, before)) = kept {
            let stride = by(factor, false);
            if stride.decrement < SHRINKS * before {
                return Ok(stride);
            }
        }
        Ok(by(self.factor()?, true))
    }
}

/// A step, and the factor that gave it.
struct Stride {
    factor: Factor,
    step: Vec<f64>,
    /// xᵀ N x.
    decrement: f64,
    /// Whether the factor is that of this state.
    is_new: bool,
}

/// A step and how far it is taken.
struct Walk<'a> {
    layout: &'a Layout,
    step: &'a [f64],
    ellipsoid: &'a Ellipsoid,
    law: Law,
    /// xᵀ N x.
    decrement: f64,
    is_robust: bool,
}

impl Walk<'_> {
    /// The state after it; the equations are left linearised there.
    fn from(&self, state: &State, equations: &mut Equations) -> State {
        let before = reweighting::objective(equations, self.law);
        let moved = |share: f64, equations: &mut Equations| {
            let next = state.moved(self.layout, self.step, share, self.ellipsoid);
            equations.linearise(&next);
            next
        };
        let mut share = 1.0;
        let mut next = moved(share, equations);
        let mut after = reweighting::objective(equations, self.law);
        for _ in 0..HALVINGS {
            if self.decrement < SMALL || after <= before - 2.0 * ARMIJO * share * self.decrement {
                break;
            }
            share *= 0.5;
            next = moved(share, equations);
            after = reweighting::objective(equations, self.law);
        }
        if !self.is_robust || share < 1.0 {
            return next;
        }
        for _ in 0..DOUBLINGS {
            let longer = moved(2.0 * share, equations);
            let then = reweighting::objective(equations, self.law);
            // Also false where a sum is no number.
            #[allow(clippy::neg_cmp_op_on_partial_ord)]
            if !(then < after) {
                equations.linearise(&next);
                break;
            }
            (share, next, after) = (2.0 * share, longer, then);
        }
        next
    }
}

/// Whether a step moves nothing beyond rounding.
fn still(layout: &Layout, step: &[f64], rest_m: f64) -> bool {
    let mut coordinate = vec![false; step.len()];
    for place in &layout.places {
        for c in place.first..place.first + u32::from(place.size) {
            coordinate[c as usize] = true;
        }
    }
    step.iter().zip(&coordinate).all(|(x, metre)| x.abs() < if *metre { rest_m } else { rest_m / REST_LENGTH_M })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::network::by_station::tests::sample;
    use crate::network::components::split;
    use crate::network::start::start;
    use crate::network::without::tests::with_blunder;

    /// Looks at a network before its first step: its equations and the state that they are linearised at.
    fn begun(network: &Network, see: impl FnOnce(&mut Equations, &Layout, State)) {
        let used = vec![true; network.observations.len()];
        let component = split(network, &used).remove(0);
        let local: Vec<u32> = (0..network.stations.len() as u32).collect();
        let layout = Layout::number(network, &component, &local, &vec![false; network.stations.len()]);
        let state = State::start(network, &component, &layout, &start(network, &used));
        let mut equations = Equations::list(network, &component, &layout, &local, &state);
        equations.linearise(&state);
        see(&mut equations, &layout, state);
    }

    fn misclosures(equations: &Equations) -> Vec<f64> {
        equations.rows.iter().map(|row| row.misclosure).collect()
    }

    /// The step of Gauss and Newton, and xᵀ N x.
    fn newton(solver: &mut Solver, equations: &Equations) -> (Vec<f64>, f64) {
        solver.normals.sum(equations);
        let step = solver.factor().unwrap().solve(&solver.normals.right);
        let decrement = step.iter().zip(&solver.normals.right).map(|(x, g)| x * g).sum();
        (step, decrement)
    }

    /// The share of a step that is taken, by trying one after the other: the first half of a half that lowers the sum by what it should, and of robust
    /// estimation the longest double in a row that lowers it further.
    fn share_taken(equations: &mut Equations, state: &State, walk: &Walk) -> f64 {
        let mut sum = |share: f64| {
            equations.linearise(&state.moved(walk.layout, walk.step, share, walk.ellipsoid));
            reweighting::objective(equations, walk.law)
        };
        let before = sum(0.0);
        let halves: Vec<f64> = (0..=12).map(|k| 0.5f64.powi(k)).collect();
        let enough = |share: &f64, sum: f64| before - sum >= 2e-4 * share * walk.decrement;
        let first = halves.iter().copied().find(|share| enough(share, sum(*share))).unwrap_or(halves[12]);
        if !walk.is_robust || first < 1.0 {
            return first;
        }
        let mut share = 1.0;
        while share < 32.0 && sum(2.0 * share) < sum(share) {
            share *= 2.0;
        }
        share
    }

    /// Steps that are too long by far are halved; those that are too short are doubled by robust estimation alone.
    #[test]
    fn a_step_is_taken_as_far_as_it_helps() {
        let network = with_blunder(22, 20.0);
        begun(&network, |equations, layout, state| {
            let mut solver = Solver::prepare(equations, layout).unwrap();
            let (step, decrement) = newton(&mut solver, equations);
            let mut shares = Vec::new();
            for times in [1.0, 3.0, 9.0, 40.0, -1.0, 0.3, 0.1, 0.01] {
                for robust in [Robust::None, Robust::Huber, Robust::Danish] {
                    let law = Law::at(robust, 9);
                    let step: Vec<f64> = step.iter().map(|x| times * x).collect();
                    // What the slope promises of a step that is as many times as long.
                    let decrement = times * decrement;
                    let walk = Walk {
                        layout,
                        step: &step,
                        ellipsoid: &network.ellipsoid,
                        law,
                        decrement,
                        is_robust: robust != Robust::None,
                    };
                    equations.linearise(&state);
                    let got = walk.from(&state, equations);
                    let after = misclosures(equations);
                    // Left linearised where it went.
                    equations.linearise(&got);
                    assert_eq!(after, misclosures(equations), "{times} {robust:?}");
                    // Where the promise is less than a hundredth of a standard error the step is taken whole.
                    let share = if decrement < 1e-4 && !walk.is_robust { 1.0 } else { share_taken(equations, &state, &walk) };
                    let share = if decrement < 0.0 { 1.0 } else { share };
                    let want = state.moved(layout, &step, share, &network.ellipsoid);
                    assert_eq!(got.positions, want.positions, "{times} {robust:?} {share}");
                    shares.push(share);
                }
            }
            // All of it was asked for.
            for share in [0.125, 0.25, 0.5, 1.0, 2.0, 4.0, 32.0] {
                assert!(shares.contains(&share), "{shares:?}");
            }
        });
    }

    /// A step of less than a hundredth of a standard error is taken whole, though it raises the sum.
    #[test]
    fn a_small_step_is_taken_whole() {
        let network = with_blunder(22, 20.0);
        begun(&network, |equations, layout, state| {
            let mut solver = Solver::prepare(equations, layout).unwrap();
            let (step, _) = newton(&mut solver, equations);
            let back: Vec<f64> = step.iter().map(|x| -0.1 * x).collect();
            let walk = |decrement: f64, robust: Robust| {
                let law = Law::at(robust, 9);
                Walk { layout, step: &back, ellipsoid: &network.ellipsoid, law, decrement, is_robust: robust != Robust::None }
            };
            let whole = state.moved(layout, &back, 1.0, &network.ellipsoid).positions;
            for robust in [Robust::None, Robust::Huber] {
                equations.linearise(&state);
                assert_eq!(walk(0.99e-4, robust).from(&state, equations).positions, whole);
                equations.linearise(&state);
                let least = state.moved(layout, &back, 0.5f64.powi(12), &network.ellipsoid).positions;
                assert_eq!(walk(1.01e-4, robust).from(&state, equations).positions, least);
            }
        });
    }

    /// A factor of an earlier state serves where its step's square is a thousandth of the one before.
    #[test]
    fn a_factor_serves_as_long_as_steps_shrink() {
        let network = with_blunder(22, 5.0);
        begun(&network, |equations, layout, _| {
            let mut solver = Solver::prepare(equations, layout).unwrap();
            let (step, decrement) = newton(&mut solver, equations);
            let mut heavier = equations.clone();
            heavier.items.iter_mut().for_each(|item| item.weight = 4.0);
            let (old, _) = solver.with_more(&mut heavier, 0.0, |_| false).unwrap();
            solver.normals.sum(equations);
            // By a factor of four times the weights the step is a quarter.
            let quarter = 0.25 * decrement;
            for (before, is_new) in [(1.001 * quarter / 1e-3, false), (0.999 * quarter / 1e-3, true)] {
                let stride = solver.stride(Some((old.clone(), before))).unwrap();
                let share = if is_new { 1.0 } else { 0.25 };
                assert_eq!(stride.is_new, is_new);
                assert!((stride.decrement / (share * decrement) - 1.0).abs() < 1e-9, "{} {decrement}", stride.decrement);
                let most = step.iter().fold(0.0f64, |most, x| most.max(x.abs()));
                assert!(stride.step.iter().zip(&step).all(|(got, want)| (got - share * want).abs() < 1e-9 * most));
            }
            assert!(solver.stride(None).unwrap().is_new);
        });
    }

    /// At rest the slope of the sum of losses is none: of robust estimation with the weights of the residuals as they are.
    #[test]
    fn at_rest_nothing_is_left_to_gain() {
        let network = with_blunder(22, 20.0);
        for robust in [Robust::None, Robust::Huber, Robust::Danish] {
            let settings = Settings { robust, ..Settings::default() };
            begun(&network, |equations, layout, state| {
                let mut solver = Solver::prepare(equations, layout).unwrap();
                let solution = solver.solve(&network, equations, layout, state, &settings).unwrap();
                let at = misclosures(equations);
                equations.linearise(&solution.state);
                assert_eq!(at, misclosures(equations));
                let changed = reweighting::reweight(equations, Law::at(robust, 99));
                assert!(changed < 1e-4, "{robust:?}: {changed}");
                let (step, decrement) = newton(&mut solver, equations);
                // In standard errors, of all unknowns together; weights that change by 1e-4 at most move them by some of that.
                let rest = if robust == Robust::None { 1e-6 } else { 1e-3 };
                assert!(decrement.max(0.0).sqrt() < rest, "{robust:?}: {decrement}");
                // The factor that is given out is that of the solution.
                let of_solution = solution.factor.solve(&solver.normals.right);
                assert!(step.iter().zip(&of_solution).all(|(a, b)| (a - b).abs() < 1e-3 * a.abs() + 1e-9), "{robust:?}");
                let blunder = equations.items.iter().find(|item| item.source == Source::Observation(22)).unwrap();
                assert!(if robust == Robust::None { blunder.weight == 1.0 } else { blunder.weight < 0.2 }, "{robust:?}");
                assert!(solution.iterations > 2 && solution.iterations < if robust == Robust::None { 9 } else { 200 });
            });
        }
    }

    /// What does not come to rest in the iterations that are allowed is told, with the unknown that moved most; robust estimation has ten times as many.
    #[test]
    fn iterations_come_to_an_end() {
        let mut network = with_blunder(22, 20.0);
        for k in [3, 14, 25, 31, 40, 47] {
            let o = &mut network.observations[k];
            o.value += 4.0 * o.sigma;
        }
        let of = |iterations: usize, robust: Robust| {
            let settings = Settings { robust, iterations, ..Settings::default() };
            let mut got = None;
            begun(&network, |equations, layout, state| {
                let mut solver = Solver::prepare(equations, layout).unwrap();
                let (step, _) = newton(&mut solver, equations);
                let (solution, restless) = solver.iterate(&network, equations, layout, state, &settings).unwrap();
                let most = (0..step.len()).reduce(|a, b| if step[b].abs() > step[a].abs() { b } else { a });
                got = Some((solution.iterations, restless, most));
            });
            got.unwrap()
        };
        // One iteration moves nothing: the step that would be taken is that of the start.
        let (iterations, restless, most) = of(1, Robust::None);
        assert!(iterations == 1 && restless.is_some() && restless == most);
        assert_eq!(of(0, Robust::None).0, 1);
        let (iterations, restless, _) = of(2, Robust::None);
        assert!(iterations == 2 && restless.is_some());
        let (iterations, restless, _) = of(50, Robust::None);
        assert!(iterations > 2 && restless.is_none());
        assert_eq!(of(iterations, Robust::None), (iterations, None, most));
        assert!(of(iterations - 1, Robust::None).1.is_some());
        // Of ten times none the tenth is the last.
        for robust in [Robust::Huber, Robust::Danish] {
            assert!(of(0, robust).0 == 10 && of(1, robust).1.is_some(), "{robust:?} {:?}", of(1, robust));
        }
    }

    #[test]
    fn what_moves_by_rounding_alone_is_still() {
        begun(&sample(), |_, layout, _| {
            let place = layout.places[5].first as usize;
            let angle = layout.places[1].azimuths as usize;
            let still = |unknown: usize, by: f64| {
                let mut step = vec![0.0; layout.size];
                step[unknown] = by;
                super::still(layout, &step, 2e-8)
            };
            for sign in [1.0, -1.0] {
                for axis in 0..3 {
                    assert!(still(place + axis, sign * 1.9e-8) && !still(place + axis, sign * 2.1e-8));
                }
                // At the end of a hundred metres.
                assert!(still(angle, sign * 1.9e-10) && !still(angle, sign * 2.1e-10));
            }
        });
    }

    /// Items that weigh more by a share, and weights as they were after it.
    #[test]
    fn some_weigh_more() {
        let network = with_blunder(22, 0.0);
        begun(&network, |equations, layout, _| {
            equations.items[2].weight = 0.5;
            let mut solver = Solver::prepare(equations, layout).unwrap();
            let is_of = |source: &Source| matches!(source, Source::Observation(k) if k % 2 == 0);
            let (factor, inverse) = solver.with_more(equations, 0.5, is_of).unwrap();
            let weights: Vec<f64> = equations.items.iter().map(|item| item.weight).collect();
            assert!(weights.iter().enumerate().all(|(k, weight)| *weight == if k == 2 { 0.5 } else { 1.0 }));
            equations.items.iter_mut().filter(|item| is_of(&item.source)).for_each(|item| item.weight *= 1.5);
            let q = crate::network::reliability::tests::inverse_of_normals(equations, layout.size);
            for (k, row) in q.iter().enumerate() {
                assert!((factor.element(&inverse, k, k).unwrap() / row[k] - 1.0).abs() < 1e-6, "{k}");
            }
        });
    }
}
