//! How far a shot lies from its reference, in metres and in standard errors.

use super::middle::CRITICAL;

/// A difference from the reference.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Deviation {
    /// In metres.
    pub metres: f64,
    /// In standard errors, with the sign of the metres.
    pub sigmas: f64,
}

impl Deviation {
    pub(super) fn new(metres: f64, variance_m2: f64) -> Deviation {
        Deviation { metres, sigmas: metres / variance_m2.max(LEAST_VARIANCE_M2).sqrt() }
    }

    pub(super) fn is_significant(&self) -> bool {
        self.sigmas.is_nan() || self.sigmas.abs() > CRITICAL
    }
}

/// Least variance of a difference, in square metres: nothing is read finer than a millimetre.
const LEAST_VARIANCE_M2: f64 = 1e-6;
