//! The logs that a job reads, and how each is written.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::files::{FilesError, resolve};
use super::{DateOrder, GpxHeightKind, Occupations, Quality};
use crate::units::gps_time::LeapSeconds;

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

    /// Finds the files that the patterns stand for; `output` is the folder that the job writes.
    ///
    /// # Errors
    /// When a pattern matches nothing.
    pub(super) fn resolve(&mut self, folder: &Path, output: Option<&Path>) -> Result<(), FilesError> {
        self.resolved = resolve(&self.files, folder, output)?;
        Ok(())
    }
}

impl Shots {
    /// How one of the files is written.
    pub fn format_of(&self, name: &str) -> &LogFormat {
        format_of(&self.per_file, &self.log, name)
    }

    /// Finds the files that the patterns stand for; `output` is the folder that the job writes.
    ///
    /// # Errors
    /// When a pattern matches nothing.
    pub(super) fn resolve(&mut self, folder: &Path, output: Option<&Path>) -> Result<(), FilesError> {
        self.resolved = resolve(&self.files, folder, output)?;
        Ok(())
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
