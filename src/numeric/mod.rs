//! Arithmetic that knows nothing of the trade: medians, quantiles and robust scales, Cholesky's decomposition, draws of a
//! covariance, how numbers are written.
//!
//! No units, no rows, no files.

pub mod cholesky;
pub mod monte_carlo;
pub mod quantiles;
pub mod robust;
pub mod signs;
pub mod words;
