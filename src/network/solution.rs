//! Weighted least squares by the iteration of Gauss and Newton with step control.
//!
//! Each step solves Aᵀ W A x = Aᵀ W b. The step is halved until Σ w v² falls by at least a ten-thousandth of what the
//! slope promises (L. Armijo, Pacific J. Math. 16, 1966). The iteration rests when no unknown moves by more than a
//! millionth of its standard error: √(xᵀ N x) < 1e-6, which bounds every |x_i| / σ_i; or when nothing moves by more
//! than rounding of earth-centred coordinates.

use super::cholesky::{Factor, NoFactor, Ordering};
use super::equations::Equations;
use super::layout::Layout;
use super::normals::Normals;
use super::robust;
use super::state::State;
use super::types::{Network, Settings};

/// Greatest move, in standard errors, at rest.
const REST_SIGMAS: f64 = 1e-6;

/// Greatest change of a robust weight at rest.
const REST_WEIGHT: f64 = 1e-4;

/// Move of a coordinate at rest, as a share of the earth's radius: sixteen roundings of earth-centred coordinates, 2e-8 m.
const REST_SHARE: f64 = 16.0 * f64::EPSILON;

/// Length in metres at whose end the rest of a coordinate is the rest of an angle.
const REST_LENGTH_M: f64 = 100.0;

/// Share of the promised fall that a step must bring.
const ARMIJO: f64 = 1e-4;

/// Square of a step, in standard errors, that is taken whole: a hundredth of a standard error, where the sum's fall drowns
/// in the rounding of earth-centred coordinates.
const SMALL: f64 = 1e-4;

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
    pub fn of(equations: &Equations, layout: &Layout) -> Result<Solver, NoSolution> {
        let normals = Normals::of(equations, layout);
        let ordering = Ordering::of(&normals.pattern)?;
        Ok(Solver { normals, ordering })
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
        let mut iteration = 0;
        loop {
            iteration += 1;
            let reweighted = robust::reweight(equations, settings.robust, iteration);
            self.normals.sum(equations);
            let factor = self.ordering.factor(&self.normals.pattern, &self.normals.values)?;
            let step = factor.solve(&self.normals.right);
            // xᵀ N x = xᵀ (Aᵀ W b).
            let decrement: f64 = step.iter().zip(&self.normals.right).map(|(x, g)| x * g).sum();
            if !decrement.is_finite() {
                return Err(NoSolution::Restless(0));
            }
            let quiet = reweighted < REST_WEIGHT
                && (decrement.max(0.0).sqrt() < REST_SIGMAS || still(layout, &step, REST_SHARE * network.ellipsoid.semi_major_m));
            if quiet || iteration >= settings.iterations.max(1) {
                let most = step.iter().enumerate().max_by(|a, b| a.1.abs().total_cmp(&b.1.abs())).map_or(0, |(k, _)| k);
                return Ok((Solution { state, factor, iterations: iteration }, (!quiet).then_some(most)));
            }
            let before = equations.objective();
            let mut share = 1.0;
            let mut next = state.moved(layout, &step, share, &network.ellipsoid);
            equations.linearise(&next);
            for _ in 0..HALVINGS {
                if decrement < SMALL || equations.objective() <= before - 2.0 * ARMIJO * share * decrement {
                    break;
                }
                share *= 0.5;
                next = state.moved(layout, &step, share, &network.ellipsoid);
                equations.linearise(&next);
            }
            state = next;
        }
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
