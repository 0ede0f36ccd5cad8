//! Keys of the job on where the crew stood: occupations, the quality of fixes, and the join by time.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::LogFormat;

/// How the fixes of a receiver become bases.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Occupations {
    /// What tells when the receiver stood at a base. Default: the list where there is one, else the
    /// shots' own times where they name their bases, else stops.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub from: Option<OccupationSource>,
    /// A delimited list of occupations.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub list: Option<OccupationList>,
    /// Stops: the shortest, in seconds.
    pub least_duration_s: f64,
    /// Stops: the greatest speed of a receiver that stands, in metres a second.
    pub greatest_speed_m_s: f64,
    /// Stops: the greatest distance of an epoch from the middle of its stop, in metres.
    pub greatest_spread_m: f64,
    /// Shots: an occupation begins so long before its first shot and ends so long behind its last, in seconds.
    pub margin_s: f64,
    /// Shots: shots of one base further apart than this belong to two occupations, in seconds.
    pub break_s: f64,
    /// The time over which errors of a receiver's positions fade, in seconds: epochs nearer than this
    /// tell little more than one of them (common practice, no source).
    pub correlation_s: f64,
    /// What to do with several occupations of one base. Default: `merge` where they come from fixes;
    /// of rows of points at one place the first is used.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reoccupied: Option<Several>,
    /// What to do with occupations by two receivers at one time.
    pub receivers: Several,
}

impl Default for Occupations {
    fn default() -> Self {
        Occupations {
            from: None,
            list: None,
            least_duration_s: 20.0,
            greatest_speed_m_s: 0.5,
            greatest_spread_m: 5.0,
            margin_s: 30.0,
            break_s: 900.0,
            correlation_s: 120.0,
            reoccupied: None,
            receivers: Several::Merge,
        }
    }
}

/// What tells when the receiver stood at a base.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum OccupationSource {
    /// The list named by `list`: base, start, end.
    List,
    /// The base column of a delimited log of fixes.
    Column,
    /// The times of the shots that name the base, but for bases that were logged as points; without base
    /// names, runs of shots.
    Shots,
    /// The receiver itself: it stood still.
    Stops,
    /// Each fix is a base of its own.
    Each,
}

/// What to do with several positions of one base.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Several {
    /// One position, their weighted mean, where they agree within their uncertainty; else apart, and flagged.
    Merge,
    /// Each on its own; the time of a shot tells which is meant.
    Apart,
}

/// A list of occupations with the canonical columns `base`, `start`, `end`, and optionally `date`,
/// `antenna_height_m`, `instrument_height_m`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct OccupationList {
    /// Files, relative to the job file.
    pub files: Vec<String>,
    /// How the files are written.
    #[serde(flatten)]
    pub log: LogFormat,
    /// The files that `files` stands for, found on loading: path, and name for people.
    #[serde(skip)]
    pub resolved: Vec<(std::path::PathBuf, String)>,
}

/// What a fix, and a base made of fixes, must be good for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Quality {
    /// The least kind of fix, this and better ones are taken. Default: simulated, manual and estimated ones are held.
    pub least_fix: FixKind,
    /// The largest horizontal dilution of precision.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub greatest_hdop: Option<f64>,
    /// The largest position dilution of precision.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub greatest_pdop: Option<f64>,
    /// The least number of epochs that make a base.
    pub least_epochs: u32,
}

impl Default for Quality {
    fn default() -> Self {
        Quality { least_fix: FixKind::Unknown, greatest_hdop: None, greatest_pdop: None, least_epochs: 1 }
    }
}

/// What GPX elevations are measured from.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum GpxHeightKind {
    /// Mean sea level, as the standard says.
    #[default]
    Orthometric,
    /// The ellipsoid.
    Ellipsoid,
}

/// How shots find their bases.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Join {
    /// By what. Default: by the base's name where the shot logs have it, else the last base before the shot.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub by: Option<JoinBy>,
    /// A shot further in time from its base than this, in seconds, is held.
    pub limit_s: f64,
    /// Interpolation: the largest gap between two fixes, in seconds.
    pub gap_s: f64,
}

impl Default for Join {
    fn default() -> Self {
        Join { by: None, limit_s: 3600.0, gap_s: 10.0 }
    }
}

/// By what shots find their bases.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum JoinBy {
    /// By name; the time decides where a name stands for several positions.
    Id,
    /// The base that was occupied last before the shot, or at it.
    LastBefore,
    /// The base nearest in time.
    Nearest,
    /// The receiver's own position at the time of the shot, between two fixes: for a receiver that moves.
    Interpolated,
}

/// How a receiver says that it got a fix. The order is that of trust, least first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum FixKind {
    /// Made up by a simulator.
    Simulated,
    /// Typed in by hand.
    Manual,
    /// Estimated by dead reckoning.
    Estimated,
    /// The log does not say.
    Unknown,
    /// Stand-alone.
    Single,
    /// Corrected by code differences, from the ground or from satellites.
    Differential,
    /// Carrier phase with ambiguities not yet fixed.
    Float,
    /// Carrier phase with fixed ambiguities.
    Fixed,
}
