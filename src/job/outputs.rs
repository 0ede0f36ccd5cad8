//! What a run writes: its formats and its layers.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Shot logs of more bytes together have no ellipses as areas unless the job names that layer: about 50,000 shots.
pub const ELLIPSES_UP_TO_BYTES: u64 = 5_000_000;

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
    /// DXF: geometry, and points as blocks with name, code and heights.
    Dxf,
    /// KML 2.2: one document for a globe, longitude and latitude on WGS 84, values with their standard errors in balloons.
    Kml,
    /// The same in one compressed file.
    Kmz,
    /// GPX 1.1: features and bases as waypoints to walk back to.
    Gpx,
    /// JSON-FG: coordinates in the layers' CRS, and the same on WGS 84 for readers of GeoJSON.
    Jsonfg,
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
            Format::Kml => "kml",
            Format::Kmz => "kmz",
            Format::Gpx => "gpx",
            Format::Jsonfg => "jsonfg",
            Format::Sld => "sld",
        }
    }

    /// Why a frame without a place on the Earth cannot be written so; none where it can.
    pub const fn wants_the_earth(self) -> Option<&'static str> {
        match self {
            Format::Geojson => Some(
                "GeoJSON has longitudes and latitudes alone (RFC 7946), which a local frame does not have; take geojson out of the formats",
            ),
            Format::Kml | Format::Kmz => Some(
                "KML has longitudes and latitudes alone, which a local frame does not have; take kml and kmz out of the formats",
            ),
            Format::Gpx => {
                Some("GPX has longitudes and latitudes alone, which a local frame does not have; take gpx out of the formats")
            }
            Format::Jsonfg => Some(
                "JSON-FG names the CRS by its authority's code, which a local frame does not have; take jsonfg out of the formats",
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

pub(super) fn default_formats() -> Vec<Format> {
    vec![Format::Gpkg]
}

pub(super) fn default_layers() -> Vec<LayerName> {
    LayerName::ALL.to_vec()
}
