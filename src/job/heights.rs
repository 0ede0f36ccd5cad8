//! Heights: the geoid, and the heights of instruments, targets and antennas.

use std::path::PathBuf;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

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
