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
        if self.decrement < SMALL && !self.is_robust {
            return next;
        }
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
