//! The job file: what one run reads, with which settings, and what it writes.
//!
//! The types here are the job's documentation: each key's meaning, unit and default stand on the
//! field, and `standoff schema job` prints them as a JSON Schema. Nothing is computed here.
//! [`load`] reads a file, [`parse`] its text.

mod calibration;
pub mod catalogue;
mod declination;
mod files;
mod gnss;
mod load;
mod measures;
mod network;
pub(crate) mod settings;
mod writing;

use std::collections::BTreeMap;
use std::path::PathBuf;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::units::Units;
use crate::units::gps_time::LeapSeconds;

pub use calibration::{Calibration, Day};
pub use gnss::{FixKind, GpxHeightKind, Join, JoinBy, OccupationList, OccupationSource, Occupations, Quality, Several};
pub use load::{JobError, is_device_name, is_vector, load, parse};
pub use measures::{Level, Measures};
pub use network::{Network, NetworkOrientation, Reject, Robust};
pub use settings::UNDECIDED;
pub use writing::DateOrder;

/// By how much fore and back azimuths may fail to differ by 180°, in degrees: 1 to 2 are tolerated in
/// hand-compass work (FAO Training Series 16, topographical surveys; from memory).
pub const FORE_BACK_LIMIT_DEG: f64 = 2.0;

/// Shot logs of more bytes together have no ellipses as areas unless the job names that layer: about 50,000 shots.
pub const ELLIPSES_UP_TO_BYTES: u64 = 5_000_000;

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
    #[serde(default = "default_formats")]
    pub formats: Vec<Format>,
    /// The layers to write. Default: all, but for `ellipses` where the shot logs have more than 5 MB together.
    #[serde(default = "default_layers")]
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
    pub network: Option<Network>,
}

/// The page `NAME.report.html`.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Report {
    /// A raster or vector file that lies under the page's map, relative to the job file: an orthophoto, a plan, outlines. It is brought
    /// to the CRS of the layers and into the page. Default: none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub background: Option<PathBuf>,
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

/// Logs of GNSS base positions.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Bases {
    /// Files, relative to the job file; `*` and `?` match names, `**` folders.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub files: Vec<String>,
    /// The CRS of the positions. Required unless every row's comes from `crs_by_value`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub crs: Option<String>,
    /// The CRS on whose ellipsoid heights above the ellipsoid stand, where that is not the one of the positions: `EPSG:4979`
    /// for a GNSS receiver that shows its positions on an older datum. Default: the CRS of the positions; required where that
    /// is on a datum that is not about the earth's centre, such as ED50 or OSGB36.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ellipsoid_heights_crs: Option<String>,
    /// For positions in several systems: the log's column that tells which.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub crs_column: Option<String>,
    /// For positions in several systems: from the column's value to the CRS.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub crs_by_value: BTreeMap<String, String>,
    /// Standard error of each horizontal axis in metres, for points of logs with no `sigma_horizontal_m`; means of a
    /// receiver's fixes have their own.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sigma_horizontal_m: Option<f64>,
    /// Standard error of the height in metres, for points of logs with no `sigma_vertical_m`, likewise.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sigma_vertical_m: Option<f64>,
    /// The coordinate epoch of the positions as a year with its fraction, `2026.4`: needed where a
    /// transformation depends on time. Default: the log's `coordinate_epoch` column.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub epoch: Option<f64>,
    /// The day of the first fix, for NMEA logs whose sentences have no date: `"2026-05-04"`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub date: Option<String>,
    /// The layer to read, for vector files with several point layers.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub layer: Option<String>,
    /// Points that are no bases, by name or pattern (`*`, `?`), such as where the car stood: they are left out and stand in no layer.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub except: Vec<String>,
    /// What the elevations of GPX files are measured from.
    #[serde(default)]
    pub gpx_heights: GpxHeightKind,
    /// What the altitudes of KML placemarks are measured from, where they were measured. Default: as the standard has it,
    /// absolute altitudes are above the geoid, and all others mean nothing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub kml_heights: Option<GpxHeightKind>,
    /// How the fixes of a receiver become bases.
    #[serde(default)]
    pub occupations: Occupations,
    /// What fixes must be good for.
    #[serde(default)]
    pub quality: Quality,
    /// How the files are written.
    #[serde(flatten)]
    pub log: LogFormat,
    /// For logs that are written differently: from a file name or pattern to how it is written, in
    /// place of all of the above.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub per_file: BTreeMap<String, LogFormat>,
    /// The files that `files` stands for, found on loading: path, and name for people.
    #[serde(skip)]
    pub resolved: Vec<(PathBuf, String)>,
}

/// Logs of shots.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Shots {
    /// Files, relative to the job file; `*` and `?` match names, `**` folders.
    pub files: Vec<String>,
    /// How the files are written.
    #[serde(flatten)]
    pub log: LogFormat,
    /// For logs that are written differently: from a file name or pattern to how it is written, in
    /// place of all of the above.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub per_file: BTreeMap<String, LogFormat>,
    /// The files that `files` stands for, found on loading: path, and name for people.
    #[serde(skip)]
    pub resolved: Vec<(PathBuf, String)>,
}

/// How a delimited log is written. What is left out is found from the file and reported.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LogFormat {
    /// Canonical name = the log's own header; several headers together make one base name.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub columns: BTreeMap<String, Headers>,
    /// Canonical name = one value for every row, for what the log does not carry.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub values: BTreeMap<String, String>,
    /// For shots: the log's own word for an echo = what it means: `first`, `last`, `single`, `prism` or `tracking`.
    /// Words such as `first return` need no entry.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub returns: BTreeMap<String, String>,
    /// For shots: the log's own word for a role = the role: `base = "foot"`. Capitals, blanks, hyphens and underscores make no other word.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub roles: BTreeMap<String, String>,
    /// For shots: the log's own word for a kind of measurement = the kind: `Baumhöhe = "height"`. As for roles.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub measures: BTreeMap<String, String>,
    /// For shots: the log's own code = the feature code that is meant. As for roles.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub codes: BTreeMap<String, String>,
    /// For shots: several readings in one row, each with columns and values of its own beside those of all; a reading whose
    /// columns are all blank in a row is none.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub readings: Vec<Reading>,
    /// The sheet of a workbook, or a pattern such as `Day *` for several. Default: the one that has the columns.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sheet: Option<String>,
    /// What the name of the file says, without its folder and ending: `{plot}_{date}_*` makes two columns `plot` and `date`
    /// that stand in every row; `*` is anything.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub file_name: Option<String>,
    /// The same of the name of the sheet.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sheet_name: Option<String>,
    /// The line of the header, the last where it stands over two. Default: found.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub header_line: Option<u64>,
    /// The separator: `,` `;` a tab or `|`. Default: counted on the header line.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub separator: Option<char>,
    /// The decimal sign, `.` or `,`. Default: found for each column from its values; asked for where none tells.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub decimal: Option<char>,
    /// The sign between thousands: `,` `.` a blank or `'`. Default: found likewise.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub thousands: Option<char>,
    /// The order of dates in numbers whose year does not stand first with four digits: `day_month_year`, `month_day_year` or
    /// `year_month_day`. Default: found for each column from its values (one day above 12 tells); asked for where none tells.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub date_order: Option<DateOrder>,
    /// The text encoding, by its WHATWG label: `utf-8`, `windows-1252`, `utf-16le`. Default: found
    /// from a byte order mark, NUL bytes, or invalid UTF-8.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub encoding: Option<String>,
    /// Lines that begin so are comments. Default: `#`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub comment: Option<String>,
    /// The time zone of times that name none: an IANA name such as `Europe/Oslo`, `UTC`, `+02:00`, or
    /// `GPS` for GPS time, which runs ahead of UTC by the leap seconds.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub time_zone: Option<String>,
    /// Added to every time of the log, in seconds, where its clock was off by a constant.
    #[serde(default)]
    pub clock_offset_s: f64,
    /// Whether rows that name no base stand somewhere all the same: in jobs without bases, set on loading.
    #[serde(skip)]
    pub has_no_bases: bool,
    /// The steps of GPS time, found on loading.
    #[serde(skip)]
    pub leap_seconds: Option<std::sync::Arc<LeapSeconds>>,
    /// For bases: the share of positions that lie within the accuracy's radius in a column `radius_m`: 0.68 on most phones, 0.95,
    /// 0.5 (circular error probable), 0.632 (drms), 0.982 (2drms).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub radius_share: Option<f64>,
    /// Further values that mean "no reading", beside empty, `---`, `NaN`, `NA` and the like.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub no_reading: Vec<String>,
}

/// One of several readings in a row.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Reading {
    /// Canonical name = the log's own header.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub columns: BTreeMap<String, Headers>,
    /// Canonical name = one value in every row, such as the role.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub values: BTreeMap<String, String>,
}

impl Bases {
    /// How one of the files is written.
    pub fn format_of(&self, name: &str) -> &LogFormat {
        format_of(&self.per_file, &self.log, name)
    }
}

impl Shots {
    /// How one of the files is written.
    pub fn format_of(&self, name: &str) -> &LogFormat {
        format_of(&self.per_file, &self.log, name)
    }
}

fn format_of<'j>(per_file: &'j BTreeMap<String, LogFormat>, all: &'j LogFormat, name: &str) -> &'j LogFormat {
    let fits = |pattern: &str| pattern == name || glob::Pattern::new(pattern).is_ok_and(|pattern| pattern.matches(name));
    per_file.iter().find(|(pattern, _)| fits(pattern)).map_or(all, |(_, format)| format)
}

/// One header, or several whose values together make one name.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum Headers {
    /// The log's header.
    One(String),
    /// The log's headers, in order.
    Several(Vec<String>),
}

impl LogFormat {
    /// All headers that it names.
    pub fn headers(&self) -> impl Iterator<Item = &str> {
        let columns = std::iter::once(&self.columns).chain(self.readings.iter().map(|reading| &reading.columns));
        columns.flat_map(|columns| columns.values()).flat_map(Headers::as_slice).map(|header| header.trim())
    }
}

impl Headers {
    /// The headers as a slice.
    pub fn as_slice(&self) -> &[String] {
        match self {
            Headers::One(header) => std::slice::from_ref(header),
            Headers::Several(headers) => headers,
        }
    }
}

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

/// Heights: geoid, instrument and target heights.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Heights {
    /// Which geoid joins ellipsoidal and orthometric heights.
    #[serde(default)]
    pub geoid: Geoid,
    /// Use the built-in global geoid for the height of the layers' CRS where PROJ lacks the grid of
    /// its vertical datum; the difference between the two can reach a metre or two.
    #[serde(default)]
    pub allow_global_geoid: bool,
    /// A geoid grid file (GeoTIFF or GTX), relative to the job file: goes before the log's own
    /// separation and the built-in model.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub geoid_grid: Option<PathBuf>,
    /// The CRS on whose ellipsoid that grid's undulations stand: `EPSG:6319` for NAD83(2011). Default: where the CRS of the
    /// layers has a vertical part, that of the geoid model which PROJ's database ties it to, else the datum of the layers;
    /// without a vertical part the datum of the bases.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub geoid_grid_crs: Option<String>,
    /// Standard error of that grid's undulations in metres, as its publisher states it. Default: 0.1.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sigma_geoid_grid_m: Option<f64>,
    /// The CRS on whose ellipsoid logged separations stand. Default: WGS 84 for the sentences of a receiver, the CRS of the
    /// bases for a column of a table.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub separation_crs: Option<String>,
    /// Standard error in metres of the separation that a receiver logs. Default: 1, since receivers hold coarse tables.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sigma_separation_m: Option<f64>,
    /// Height of the instrument's axis over the base's ground point in metres, where neither the shot nor
    /// its base or occupation has an `instrument_height_m`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub instrument_height_m: Option<f64>,
    /// Height of the sighted spot over the feature's ground point in metres, for shots with no
    /// `target_height_m`; 0 where heights are to be those of the sighted spot.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub target_height_m: Option<f64>,
    /// Height of the antenna over the base's ground point in metres, for bases with no
    /// `antenna_height_m`. Logs of points that have no such column are of the ground point.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub antenna_height_m: Option<f64>,
}

/// A geoid.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Geoid {
    /// The built-in global model, EGM96 to degree and order 360.
    #[default]
    Global,
    /// None: heights stay of the kind that the bases have.
    None,
}

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

/// An output format.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema, clap::ValueEnum)]
#[serde(rename_all = "lowercase")]
pub enum Format {
    /// OGC GeoPackage: every layer in one file.
    Gpkg,
    /// GeoJSON by RFC 7946: longitude and latitude on WGS 84.
    Geojson,
    /// Shapefile, with .prj, .cpg and a file that maps the short field names.
    Shp,
    /// FlatGeobuf.
    Fgb,
    /// Comma-separated text, with a .csvt file of types.
    Csv,
    /// DXF: geometry alone, no attributes.
    Dxf,
    /// Styles as Styled Layer Descriptors with the field names of the GeoPackage, for a GIS that loads them from files.
    Sld,
}

impl Format {
    /// As the job file and the command line have it.
    pub const fn word(self) -> &'static str {
        match self {
            Format::Gpkg => "gpkg",
            Format::Geojson => "geojson",
            Format::Shp => "shp",
            Format::Fgb => "fgb",
            Format::Csv => "csv",
            Format::Dxf => "dxf",
            Format::Sld => "sld",
        }
    }

    /// Why a frame without a place on the Earth cannot be written so; none where it can.
    pub const fn wants_the_earth(self) -> Option<&'static str> {
        match self {
            Format::Geojson => Some(
                "GeoJSON has longitudes and latitudes alone (RFC 7946), which a local frame does not have; take geojson out of the formats",
            ),
            Format::Gpkg | Format::Shp | Format::Fgb | Format::Csv | Format::Dxf | Format::Sld => None,
        }
    }
}

/// A layer of the output.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema, clap::ValueEnum)]
#[serde(rename_all = "snake_case")]
#[value(rename_all = "snake_case")]
pub enum LayerName {
    /// The mapped features.
    Features,
    /// The positions that shots were taken from.
    Bases,
    /// Lines from base to feature, for the eye.
    SightLines,
    /// 95 % error ellipses, for the eye.
    Ellipses,
    /// Strings of shots, and the lines of composed measurements.
    Lines,
    /// Strings that close, and the areas of composed measurements.
    Areas,
    /// The shots that make lines and areas.
    Vertices,
    /// Values that rows give together: heights, missing lines, spans.
    Measurements,
    /// The same, one row a measured thing.
    Values,
    /// The points of composed measurements.
    Parts,
    /// Shots along the lines of profiles: chainage, offset, height.
    Profiles,
    /// Bases and features that a network placed.
    Adjusted,
    /// What the adjustment says of each reading.
    Residuals,
    /// What a network found of instruments and of errors that readings share.
    Corrections,
    /// The account of the input: files, and rows held or flagged.
    Ledger,
}

impl LayerName {
    /// Every layer, in the order of writing.
    pub const ALL: [LayerName; 15] = [
        LayerName::Features,
        LayerName::Bases,
        LayerName::SightLines,
        LayerName::Ellipses,
        LayerName::Lines,
        LayerName::Areas,
        LayerName::Vertices,
        LayerName::Measurements,
        LayerName::Values,
        LayerName::Parts,
        LayerName::Profiles,
        LayerName::Adjusted,
        LayerName::Residuals,
        LayerName::Corrections,
        LayerName::Ledger,
    ];
}

fn default_formats() -> Vec<Format> {
    vec![Format::Gpkg]
}

fn default_layers() -> Vec<LayerName> {
    LayerName::ALL.to_vec()
}

fn default_fore_back() -> f64 {
    FORE_BACK_LIMIT_DEG
}

fn default_refraction() -> f64 {
    crate::geodesy::REFRACTION
}
