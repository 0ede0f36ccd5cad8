//! What a mapping's features err by together, by names that mean the same error in every mapping: so that two mappings, or the points of one,
//! can be compared by what they share.
//!
//! An error has the standard error 1; what stands beside it says what one standard error moves or turns. Errors of one set-up, such as those of
//! the readings that oriented a base, are named by the logs that they are in.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What the features shot from a base err by.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SharedOfBase {
    /// Name of the base.
    pub base: String,
    /// Longitude and latitude in degrees on the datum of the layers.
    pub lon_deg: f64,
    /// See `lon_deg`.
    pub lat_deg: f64,
    /// Height above the ellipsoid in metres; null where it is not known.
    pub ellipsoid_height_m: Option<f64>,
    /// Height above the geoid in metres; null where it is not known.
    pub orthometric_height_m: Option<f64>,
    /// Whether these are all errors of the base's position and of its readings that other features can share. Not those of a base that a network
    /// moved, nor of one whose shots have several calibrations or declinations: then those are listed that all of them share.
    pub is_whole: bool,
    /// Errors of its position: the features move by them.
    pub moved_by: Vec<MovedBy>,
    /// Errors of its azimuths: the features turn about it by them.
    pub azimuths_turned_by: Vec<TurnedBy>,
    /// Errors of its inclinations.
    pub inclinations_turned_by: Vec<TurnedBy>,
    /// Errors of its distances.
    pub distances_lengthened_by: Vec<LengthenedBy>,
}

/// What one standard error of a shared error moves a base by.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct MovedBy {
    /// Name of the error: one name, one error.
    pub error: String,
    /// Metres in east, north, up.
    pub metres: [f64; 3],
}

/// What one standard error of a shared error turns azimuths or inclinations by.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TurnedBy {
    /// Name of the error.
    pub error: String,
    /// Degrees.
    pub degrees: f64,
}

/// What one standard error of a shared error lengthens distances by.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LengthenedBy {
    /// Name of the error.
    pub error: String,
    /// Metres.
    pub metres: f64,
}
