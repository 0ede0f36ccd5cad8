//! The logs that a job reads, and how each is written.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::files::{FilesError, resolve};
use super::{GpxHeightKind, LogFormat, Occupations, Quality};

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

/// Whether a file's name ends as that of a vector file does: gpkg, shp, geojson, json, fgb. These name their CRS themselves.
pub fn is_vector(path: &Path) -> bool {
    let ending = path.extension().and_then(|ending| ending.to_str()).map(str::to_ascii_lowercase);
    matches!(ending.as_deref(), Some("gpkg" | "shp" | "geojson" | "json" | "fgb"))
}
