//! How azimuths become true azimuths.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// By how much fore and back azimuths may fail to differ by 180°, in degrees: 1 to 2 are tolerated in
/// hand-compass work (FAO Training Series 16, topographical surveys; from memory).
pub const FORE_BACK_LIMIT_DEG: f64 = 2.0;

/// How azimuths become true azimuths.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct North {
    /// `"model"` for the World Magnetic Model at each shot's date and base, or degrees, east positive.
    #[serde(default)]
    pub declination: Declination,
    /// Standard error of a declination given in degrees. Default: 0.5, what a model is commonly good for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sigma_declination_deg: Option<f64>,
    /// Added to the model's declination, in degrees, east positive: what a local survey found it to be off by.
    #[serde(default)]
    pub local_correction_deg: f64,
    /// Standard error of the model's declination with the local correction, in degrees. Default: the model's own.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sigma_local_correction_deg: Option<f64>,
    /// Flag local attraction where the azimuths of a line from both its ends differ from 180 degrees
    /// by more than this, in degrees. Default: 2, what hand-compass work commonly tolerates.
    #[serde(default = "default_fore_back")]
    pub fore_back_limit_deg: f64,
    /// Standard error, in degrees, of an orientation error that all shots of one base share, beside
    /// that of the declination (a compass bias). Default: 0.
    #[serde(default)]
    pub sigma_orientation_deg: f64,
    /// The projected CRS whose grid north `grid_azimuth` columns mean. Default: that of the base if
    /// it is projected, else that of the layers.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub grid_crs: Option<String>,
}

impl Default for North {
    fn default() -> Self {
        North {
            declination: Declination::Model,
            sigma_declination_deg: None,
            local_correction_deg: 0.0,
            sigma_local_correction_deg: None,
            fore_back_limit_deg: default_fore_back(),
            sigma_orientation_deg: 0.0,
            grid_crs: None,
        }
    }
}

/// Where the declination comes from: `"model"`, or a number of degrees.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub enum Declination {
    /// The World Magnetic Model.
    #[default]
    Model,
    /// A fixed value in degrees, east positive.
    Degrees(f64),
}

fn default_fore_back() -> f64 {
    FORE_BACK_LIMIT_DEG
}
