//! Rows of base logs as types: positions as they were recorded, and where they came from.

use std::sync::Arc;

use jiff::Timestamp;

use super::ledger::{Fault, Flags};
use super::when::When;

/// A height and what it is measured from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Height {
    /// Above the ellipsoid, in metres.
    Ellipsoid(f64),
    /// Above the geoid or a vertical datum, in metres.
    Orthometric(f64),
}

impl Height {
    /// The same kind of height, `by` metres higher.
    pub fn raised(self, by: f64) -> Height {
        match self {
            Height::Ellipsoid(metres) => Height::Ellipsoid(metres + by),
            Height::Orthometric(metres) => Height::Orthometric(metres + by),
        }
    }
}

/// Coordinates in the base's CRS.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Coordinates {
    /// Degrees.
    Geographic {
        /// Latitude.
        lat_deg: f64,
        /// Longitude.
        lon_deg: f64,
    },
    /// Metres.
    Projected {
        /// Easting.
        east_m: f64,
        /// Northing.
        north_m: f64,
    },
}

/// What is kept of the fixes that made a base.
#[derive(Debug, Clone, PartialEq)]
pub struct Occupation {
    /// Epochs used.
    pub epochs: u64,
    /// Epochs set aside as outlying.
    pub aside: u64,
    /// From the first epoch used to the last, in seconds; of several occupations, their sum.
    pub duration_s: f64,
    /// Root mean square of the epochs' horizontal distances from their mean, in metres.
    pub spread_m: f64,
    /// Occupations that were merged.
    pub occupations: u64,
    /// How its error fades in time; none where it is not of one receiver's epochs.
    pub fading: Option<Fading>,
}

/// The error of the mean of an occupation as it hangs together with that of another one: the covariance of two, the second a gap t after the
/// first, is tail · head · exp(−t/T), horizontally and in height (a first-order Gauss-Markov process; T is `correlation_s` of the job).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fading {
    /// First and last instant of its epochs.
    pub span: (Timestamp, Timestamp),
    /// Σ uᵢ σᵢ exp(−(tᵢ − first)/T) in metres, of each horizontal axis and of the height.
    pub head_m: [f64; 2],
    /// Σ uᵢ σᵢ exp(−(last − tᵢ)/T) likewise.
    pub tail_m: [f64; 2],
    /// T in seconds.
    pub correlation_s: f64,
}

impl Fading {
    /// The covariances with that of another occupation, which begins after this has ended, horizontally and in height.
    pub fn covariance_with(&self, later: &Fading) -> [f64; 2] {
        let fade = self.fade(self.span.1, later.span.0);
        std::array::from_fn(|k| self.tail_m[k] * later.head_m[k] * fade)
    }

    /// Of a sum of shares of this and of a later one: each share of both, horizontally and in height.
    #[must_use]
    pub fn joined(&self, later: &Fading, shares: [[f64; 2]; 2]) -> Fading {
        let begins = self.fade(self.span.0, later.span.0);
        let ends = self.fade(self.span.1, later.span.1);
        Fading {
            span: (self.span.0, later.span.1),
            head_m: std::array::from_fn(|k| shares[k][0] * self.head_m[k] + shares[k][1] * later.head_m[k] * begins),
            tail_m: std::array::from_fn(|k| shares[k][0] * self.tail_m[k] * ends + shares[k][1] * later.tail_m[k]),
            ..*self
        }
    }

    fn fade(&self, from: Timestamp, to: Timestamp) -> f64 {
        let seconds = to.duration_since(from).as_secs_f64().max(0.0);
        if self.correlation_s > 0.0 { (-seconds / self.correlation_s).exp() } else { 0.0 }
    }
}

/// What a receiver said of its fixes at a base.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct FixQuality {
    /// Kinds of fix with their counts, best first: `fixed 58, float 2`.
    pub kinds: Option<String>,
    /// The worst horizontal dilution of precision.
    pub worst_hdop: Option<f64>,
    /// The worst position dilution of precision.
    pub worst_pdop: Option<f64>,
}

/// A time at which a base was occupied.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Window {
    /// Name of the base.
    pub name: String,
    /// Beginning.
    pub from: Timestamp,
    /// End.
    pub to: Timestamp,
    /// Antenna height over the ground point in metres, where the list gives it.
    pub antenna_height_m: Option<f64>,
    /// Instrument height over the ground point in metres, where the list gives it.
    pub instrument_height_m: Option<f64>,
}

/// A row or fix that went into a base.
#[derive(Debug, Clone, PartialEq)]
pub struct Provenance {
    /// Index of the file.
    pub file: usize,
    /// Line in it.
    pub line: u64,
    /// The row as it stands.
    pub raw: Arc<str>,
}

/// A base as it was recorded.
#[derive(Debug, Clone, PartialEq)]
pub struct BaseRow {
    /// Name; parts of a name made of several columns have `NAME_JOINT` between.
    pub name: String,
    /// The log's header of the name.
    pub name_header: String,
    /// Index of the file.
    pub file: usize,
    /// Line in the file.
    pub line: u64,
    /// The row as it stands.
    pub raw: String,
    /// Position.
    pub coordinates: Coordinates,
    /// Height of the ground point: the antenna height is taken off. None where the log has no heights.
    pub height: Option<Height>,
    /// The CRS of the file it is from, where that is not the one of `[bases]`.
    pub crs: Option<String>,
    /// The log's value that chooses the CRS.
    pub crs_value: Option<String>,
    /// Standard error of each horizontal axis in metres, where the log gives it.
    pub sigma_horizontal_m: Option<f64>,
    /// Standard error of the height in metres, where the log gives it.
    pub sigma_vertical_m: Option<f64>,
    /// Instrument height in metres, where the base log gives it.
    pub instrument_height_m: Option<f64>,
    /// When it was recorded.
    pub when: Option<When>,
    /// When it was occupied: beginnings and ends; empty where the log has no times.
    pub windows: Vec<(Timestamp, Timestamp)>,
    /// Height of the geoid above the ellipsoid that the receiver used, in metres.
    pub separation_m: Option<f64>,
    /// Epoch of the coordinates as a year with its fraction, where the log gives it.
    pub coordinate_epoch: Option<f64>,
    /// Whether it is a known point of `[known]`.
    pub is_known: bool,
    /// What the receiver said of its fixes.
    pub quality: FixQuality,
    /// All rows or fixes that it was made of; empty for a point of one row.
    pub origins: Vec<Provenance>,
    /// The fixes that made it; none for a point that was logged as such.
    pub occupation: Option<Occupation>,
    /// The carried columns.
    pub extras: Vec<String>,
    /// Suspicions so far.
    pub flags: Flags,
}

impl BaseRow {
    /// Every row or fix that it was made of.
    pub fn all_origins(&self) -> Vec<Provenance> {
        match self.origins.as_slice() {
            [] => vec![Provenance { file: self.file, line: self.line, raw: self.raw.as_str().into() }],
            several => several.to_vec(),
        }
    }
}

/// A base row that was held.
#[derive(Debug, Clone, PartialEq)]
pub struct HeldBase {
    /// Its name, where it has one.
    pub name: Option<String>,
    /// File index, line, and the row as it stands.
    pub place: (usize, u64, String),
    /// Why.
    pub fault: Fault,
}
