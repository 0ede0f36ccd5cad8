//! Before and beside the field: expected uncertainties, and an instrument's corrections from calibration shots.
//!
//! Nothing here feeds a mapping run but through the job file.

pub mod calibrate;
pub mod plan;
