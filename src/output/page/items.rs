//! The records that a page shows, as the layers have them. Reals are NaN and texts empty where the layer has null.

use std::sync::Arc;

use crate::output::columns::LayerKey;
use crate::output::style::Look;

/// A layer of point features.
pub struct PageLayer {
    /// Which.
    pub key: LayerKey,
    /// Its title.
    pub title: String,
    /// How it is drawn.
    pub look: Look,
}

/// A point feature.
pub struct PageFeature {
    /// Index among the layers of point features.
    pub layer: usize,
    pub name: String,
    pub code: Arc<str>,
    /// What the catalogue says that the code is.
    pub code_title: Arc<str>,
    pub base: Arc<str>,
    /// Local time with its offset, or the day.
    pub time: String,
    /// Easting and northing, or longitude and latitude, in the unit of the layers' CRS.
    pub at: [f64; 2],
    /// Height of the kind in `height_kind`.
    pub height_m: f64,
    /// `ellipsoidal`, `orthometric` or `none`.
    pub height_kind: Arc<str>,
    /// Codes of flags with spaces between.
    pub flags: Arc<str>,
    pub file: Arc<str>,
    pub line: i64,
    /// Horizontal distance from the base.
    pub distance_m: f64,
    /// From true north.
    pub azimuth_deg: f64,
    pub declination_deg: f64,
    /// Standard errors east, north and up.
    pub sigma_m: [f64; 3],
    /// Semi-major and semi-minor axis of the 95 % ellipse in metres, azimuth of the major one in degrees from true north.
    pub ellipse: [f64; 3],
    pub radius95_m: f64,
    /// Half of the 95 % interval of the height.
    pub height95_m: f64,
    /// Shares of base, direction and distance in the horizontal variance.
    pub shares: [f64; 3],
    pub spread_m: f64,
    /// Side of the cell that the position is the middle of; NaN for an exact one.
    pub cell_m: f64,
    /// Shots that the point is made of, and shots that a test left out.
    pub used: i64,
    pub aside: i64,
}

/// A base.
pub struct PageBase {
    pub name: String,
    pub at: [f64; 2],
    pub sigma_horizontal_m: f64,
    pub sigma_vertical_m: f64,
    pub convergence_deg: f64,
    /// Added to its azimuths by backsights, and the standard error of that.
    pub correction_deg: f64,
    pub sigma_correction_deg: f64,
    /// Root mean square distance of its fixes from their mean.
    pub spread_m: f64,
    pub hdop: f64,
    pub shots: i64,
    pub backsights: Option<i64>,
    pub epochs: Option<i64>,
    pub fix_kind: String,
    pub flags: String,
    pub file: String,
    pub placed_by: String,
    pub line: Option<i64>,
}

/// A line or an area.
pub struct PageLine {
    pub name: String,
    pub code: String,
    /// `string`, or the kind of measurement that it is of.
    pub origin: String,
    /// Easting, northing, third coordinate.
    pub corners: Vec<[f64; 3]>,
    pub length_m: f64,
    pub sigma_length_m: f64,
    pub area_m2: f64,
    pub sigma_area_m2: f64,
    pub bases: String,
    pub warnings: String,
    pub flags: String,
    pub caution: String,
}

/// A value of a measurement.
pub struct Measurement {
    pub measure: String,
    pub name: String,
    /// Name of the value with its unit behind it.
    pub quantity: String,
    /// The piece of the measurement that it is of; empty for the whole.
    pub target: String,
    pub method: String,
    pub warnings: String,
    pub bases: String,
    pub file: String,
    pub line: i64,
    pub conditions: String,
    pub caution: String,
    pub time: String,
    pub value: f64,
    /// Half of the 95 % interval.
    pub half95: f64,
    pub threshold_m: f64,
    pub against_threshold: String,
}

/// A point that a measurement gives.
pub struct MeasurementPoint {
    pub measure: String,
    pub name: String,
    pub role: String,
    pub at: [f64; 3],
}

/// A shot of a measurement that is a feature of its own.
pub struct MeasuredPoint {
    pub measure: String,
    pub name: String,
    pub role: String,
    pub shot: String,
    pub code: String,
    pub at: [f64; 3],
}

/// A shot of a profile.
pub struct Profiled {
    pub profile: String,
    pub shot: String,
    pub code: String,
    pub height_kind: String,
    pub chainage_m: f64,
    pub height_m: f64,
    pub sigma_height_m: f64,
}

/// A reading of a network after adjustment.
pub struct PageResidual {
    pub kind: String,
    pub from: String,
    pub to: String,
    pub unit: String,
    pub outcome: String,
    pub file: String,
    pub line: Option<i64>,
    pub residual: f64,
    pub redundancy: f64,
    pub normalised: f64,
    pub critical: f64,
    pub smallest_blunder: f64,
}

/// A row that was set aside.
pub struct PageHeld {
    pub file: String,
    pub line: u64,
    pub column: String,
    pub value: String,
    pub sentence: String,
}

/// A row that was mapped with a suspicion.
pub struct PageSuspect {
    pub file: String,
    pub line: i64,
    pub sentence: String,
}
