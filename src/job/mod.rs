//! The job file: what one run reads, with which settings, and what it writes.
//!
//! The types here are the job's documentation: each key's meaning, unit and default stand on the
//! field, and `standoff schema job` prints them as a JSON Schema. Nothing is computed here.
//! [`load`] reads a file, [`parse`] its text.

mod builder;
mod calibration;
pub mod catalogue;
mod checks;
mod declination;
mod error;
pub(crate) mod fault;
mod files;
mod gnss;
mod heights;
mod instrument;
mod load;
mod local;
mod log_format;
mod logs;
mod measures;
mod network;
mod north;
mod outputs;
pub(crate) mod settings;
mod valid;
pub(crate) mod value_fault;
mod writing;

use std::collections::BTreeMap;
use std::path::PathBuf;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::units::Units;

pub use builder::JobBuilder;
pub use calibration::{Calibration, CalibrationFault, Day};
pub use checks::Checks;
pub use error::JobError;
pub use fault::{JobFault, LeapSecondsFile, TextFault};
pub use files::{FilesError, NoPattern};
pub use gnss::{FixKind, GpxHeightKind, Join, JoinBy, OccupationList, OccupationSource, Occupations, Quality, Several};
pub use heights::{Geoid, Heights};
pub use instrument::Instrument;
pub use load::{load, parse};
pub use local::{Local, LocalFit};
pub use log_format::{Headers, LogFormat, Reading};
pub use logs::is_vector;
pub use logs::{Bases, Shots};
pub use measures::{Level, LevelFault, Measures, MeasuresFault, NoLevel};
pub use network::{NetworkFault, NetworkOrientation, NetworkSettings, Reject, Robust};
pub use north::{Declination, FORE_BACK_LIMIT_DEG, North};
pub use outputs::{ELLIPSES_UP_TO_BYTES, Format, LayerName};
pub use settings::UNDECIDED;
pub use valid::is_device_name;
pub use value_fault::{InstrumentFault, ValueFault};
pub use writing::{DateOrder, SignFault};

/// One run's settings.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Job {
    /// A line for people: what was mapped, and where.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub title: Option<String>,
    /// The short name that the written files begin with; letters, digits, `-` and `_`.
    pub name: String,
    /// The coordinate reference system of the layers, in any form that PROJ reads: `EPSG:32630`,
    /// a compound `EPSG:32630+5773`, WKT, a PROJ string; `local` for a frame without a place on the Earth, in metres east,
    /// north and up of the zero that the bases are given from. Default: that of `[bases]`.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub crs: String,
    /// The output folder, relative to the job file. Default: the job's name with `-layers` behind it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub out: Option<PathBuf>,
    /// The formats to write, each but the GeoPackage in a folder of its name. Default: GeoPackage.
    #[serde(default = "outputs::default_formats")]
    pub formats: Vec<Format>,
    /// The layers to write. Default: all, but for `ellipses` where the shot logs have more than 5 MB together.
    #[serde(default = "outputs::default_layers")]
    pub layers: Vec<LayerName>,
    /// Allow a datum step that PROJ can only make as a null ("ballpark") transformation, off by an
    /// unknown amount that can reach hundreds of metres. Default: refuse.
    #[serde(default)]
    pub allow_ballpark: bool,
    /// Allow a less accurate transformation where the best one of the place needs a grid file that is not
    /// installed. Default: refuse, and name the grid, unless no more is lost than the strictest tolerance of the catalogue bears.
    #[serde(default)]
    pub allow_missing_grids: bool,
    /// Allow bases more than 100 km outside the area that the CRS of their positions is meant for. Default: refuse, and say where
    /// they would lie, since such positions are commonly in another zone or in a local grid.
    #[serde(default)]
    pub allow_outside_area: bool,
    /// The logs of GNSS positions. Without them only what rows of one stand give together is computed.
    #[serde(default)]
    pub bases: Bases,
    /// The logs of shots.
    pub shots: Shots,
    /// How shots find their bases.
    #[serde(default)]
    pub join: Join,
    /// Points of known position that crews shoot back to; bases are known without it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub known: Option<Bases>,
    /// What ties the frame of `crs = "local"` to the Earth.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub local: Option<Local>,
    /// The catalogue of feature codes, relative to the job file: layers, titles, tolerances and attributes by code.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub catalogue: Option<PathBuf>,
    /// Write the exact places of layers that the catalogue keeps coarse: for the crew's own use.
    #[serde(skip)]
    pub exact_places: bool,
    /// A newer table of leap seconds for GPS time, as the IERS publishes it (`leap-seconds.list`),
    /// relative to the job file. Default: the table inside the program.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub leap_seconds: Option<PathBuf>,
    /// The one instrument of the job. Use `instruments` where there are several.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub instrument: Option<Instrument>,
    /// Several instruments by name; the shots' `instrument` column chooses.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub instruments: BTreeMap<String, Instrument>,
    /// How azimuths become true azimuths.
    #[serde(default)]
    pub north: North,
    /// Heights: geoid, instrument and target heights.
    #[serde(default)]
    pub heights: Heights,
    /// Composed measurements: level surfaces, thresholds of the user's, limits.
    #[serde(default)]
    pub measures: Measures,
    /// The page that is written beside the layers.
    #[serde(default)]
    pub report: Report,
    /// The units of everything that a person reads. Default: metres and degrees.
    #[serde(default)]
    pub units: Units,
    /// Limits of the checks on rows.
    #[serde(default)]
    pub checks: Checks,
    /// Adjusts shots that check each other. Default: none are adjusted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub network: Option<NetworkSettings>,
}

/// The page `NAME.report.html`.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Report {
    /// A raster or vector file that lies under the page's map, relative to the job file: an orthophoto, a plan, outlines. It is brought
    /// to the CRS of the layers and into the page. Default: none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub background: Option<PathBuf>,
    /// Write the drawings of the page as SVG files, too: sections, elevations, piles, heights. Default: false.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub drawings: bool,
}

/// The stand of rows that name none, in a job without bases.
pub const ONE_STAND: &str = "the stand";

impl Job {
    /// Whether no place is known at all.
    pub fn has_no_bases(&self) -> bool {
        self.bases.files.is_empty()
    }

    /// Whether the layers have no place on the Earth.
    pub fn is_local(&self) -> bool {
        self.has_no_bases() || self.crs == crate::geodesy::LOCAL
    }
}
