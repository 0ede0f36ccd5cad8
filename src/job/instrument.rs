//! An instrument: standard errors, corrections and range.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Calibration;

/// An instrument: standard errors (one sigma), corrections and range.
///
/// The defaults are those of a hand-held laser rangefinder with a built-in compass (common
/// practice, no source); a run that relies on one says so in its summary.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Instrument {
    /// Standard error of a distance, in metres. Default: 0.3.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sigma_distance_m: Option<f64>,
    /// Part of the distance's standard error that grows with distance, in parts per million. Default: 0.
    #[serde(default)]
    pub sigma_distance_ppm: f64,
    /// Standard error of one azimuth reading, in degrees. Default: 1.0.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sigma_azimuth_deg: Option<f64>,
    /// Standard error of one inclination reading, in degrees. Default: 0.25.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sigma_inclination_deg: Option<f64>,
    /// Added to every azimuth reading, in degrees.
    #[serde(default)]
    pub azimuth_correction_deg: f64,
    /// Added to every inclination reading, in degrees, up positive.
    #[serde(default)]
    pub inclination_correction_deg: f64,
    /// Added to every measured distance, in metres.
    #[serde(default)]
    pub distance_correction_m: f64,
    /// Added to distances whose `return` is `prism`, in metres, beside the correction of all: the reflector constant.
    #[serde(default)]
    pub reflector_constant_m: f64,
    /// Coefficient of refraction k: the ratio of the Earth's radius to that of the line of sight.
    #[serde(default = "default_refraction")]
    pub refraction: f64,
    /// The shortest distance the instrument measures, in metres.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub least_distance_m: Option<f64>,
    /// The longest distance the instrument measures, in metres.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub greatest_distance_m: Option<f64>,
    /// Corrections by date, as `standoff calibrate` writes them. A date in none of the ranges uses the
    /// corrections above.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub calibrations: Vec<Calibration>,
}

fn default_refraction() -> f64 {
    crate::geodesy::REFRACTION
}
