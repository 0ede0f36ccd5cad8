//! What a run used: operations between datums, geoids.

use schemars::JsonSchema;
use serde::Serialize;

use crate::geodesy::crs::Operation;

/// A transformation and the bases that it serves: it is chosen for the place of each.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct OperationUse {
    /// The transformation.
    #[serde(flatten)]
    pub operation: Operation,
    /// Number of bases that it serves.
    pub bases: u64,
    /// The first twenty of them.
    pub base_names: Vec<String>,
}

/// A geoid model.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct GeoidSummary {
    /// Its name.
    pub name: String,
    /// Where it is from: `grid` (a file of the job), `log` (the receiver), `global` (built in).
    pub source: String,
    /// Its standard error in metres.
    pub sigma_m: f64,
    /// SHA-256 of the grid file.
    pub sha256: Option<String>,
}
