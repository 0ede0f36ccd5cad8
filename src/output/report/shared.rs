//! What a mapping's features err by together, by names that mean the same error in every mapping: so that two mappings, or the points of one,
//! can be compared by what they share.
//!
//! What was shot from one base follows from what the base errs by; the rest, points of several bases and measured values, have what they err by beside
//! them.
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
    /// Whether these are all errors of the base's position and of its readings that other features can share. Not those of one whose shots have
    /// several calibrations or declinations: then those are listed that all of them share.
    pub is_whole: bool,
    /// Of a base that a network moved: what its place and its orientation err by in all, the readings of the network among it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub in_network: Option<OfNetwork>,
    /// Errors of its position: the features move by them.
    pub moved_by: Vec<MovedBy>,
    /// Errors of its azimuths: the features turn about it by them.
    pub azimuths_turned_by: Vec<TurnedBy>,
    /// Errors of its inclinations.
    pub inclinations_turned_by: Vec<TurnedBy>,
    /// Errors of its distances.
    pub distances_lengthened_by: Vec<LengthenedBy>,
}

/// What a base errs by after a network, whatever it comes from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct OfNetwork {
    /// Variance of its place, east and north together, in square metres.
    pub position_m2: f64,
    /// Covariance of east and north with the error of its azimuths, in metres times radians.
    pub position_with_azimuths_m: [f64; 2],
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

/// What points and values err by that no base alone tells: points that several bases or a network placed, and measured values.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SharedArms {
    /// Names of the errors, which `points` and `values` count from 0.
    pub errors: Vec<String>,
    /// Points that several bases or a network placed.
    #[serde(serialize_with = "one_a_line")]
    pub points: Vec<PointShared>,
    /// Measured values, and lengths and areas of strings, each of a name and quantity that no other has.
    #[serde(serialize_with = "one_a_line")]
    pub values: Vec<ValueShared>,
}

/// What a point errs by.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PointShared {
    /// The first of its rows: name of the log.
    pub file: String,
    /// See `file`: the line.
    pub line: u64,
    /// Whether these are all errors that it has in common with others of its own mapping: not of a point of a network, whose readings others have, too.
    pub is_whole: bool,
    /// Number of each error, and metres in east, north and up by which one standard error of it moves the point.
    pub by: Vec<(usize, [f64; 3])>,
}

/// What a value errs by.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ValueShared {
    /// Kind of measurement; `line` or `area` for what is drawn by strings.
    pub measure: String,
    /// What was measured.
    pub name: String,
    /// Name of the value with its unit.
    pub quantity: String,
    /// Number of each error, and by how much one standard error of it changes the value.
    pub by: Vec<(usize, f64)>,
}

/// Each element in one line, however the others stand.
fn one_a_line<T: Serialize, S: serde::Serializer>(list: &[T], serializer: S) -> Result<S::Ok, S::Error> {
    let lines: Result<Vec<_>, _> = list.iter().map(serde_json::value::to_raw_value).collect();
    lines.map_err(serde::ser::Error::custom)?.serialize(serializer)
}
