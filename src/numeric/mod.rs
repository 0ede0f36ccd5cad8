//! Arithmetic that knows nothing of the trade: medians and robust scales, draws of a covariance.
//!
//! No units, no rows, no files.

pub mod monte_carlo;
pub mod robust;
pub mod words;
