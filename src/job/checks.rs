//! Limits of the checks on rows.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Limits of the checks on rows. A check that only raises a suspicion flags the row and maps it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Checks {
    /// Flag azimuths that repeat exactly over this many shots in a row: a frozen compass. 0: never.
    pub azimuth_repeats: u32,
    /// Flag shots steeper than this, in degrees: their azimuth means little.
    pub steep_deg: f64,
    /// Put the vertices of an area that crosses itself in an order without a crossing. Default: draw it as a line and say so.
    pub repair_areas: bool,
    /// Make one point of the shots that have one feature name and code, a weighted mean; those that a test finds to have hit
    /// something else are left out and flagged. False: every shot is a point.
    pub combine_repeats: bool,
    /// Distances that must agree may differ by this many standard errors.
    pub agreement_sigmas: f64,
    /// West, south, east, north in degrees: flag bases outside, and say so where a swap of latitude
    /// and longitude or a lost minus sign would explain it. Default: the area of use of the layers' CRS.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub area_deg: Option<[f64; 4]>,
}

impl Default for Checks {
    fn default() -> Self {
        Checks {
            azimuth_repeats: 6,
            steep_deg: 80.0,
            repair_areas: false,
            combine_repeats: true,
            agreement_sigmas: 4.0,
            area_deg: None,
        }
    }
}
