//! `[local]`: what ties a local frame to the Earth.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Bases;

/// A job in a local frame: `crs = "local"`.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Local {
    /// Moves the frame to a CRS by points that are known in both. Default: the layers stay in the frame.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fit: Option<LocalFit>,
}

/// The fit of a local frame to a CRS: a turn and a shift by least squares, and a shift in height. Bases, and features that were shot, are
/// found among the known points by their names.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LocalFit {
    /// The CRS that the layers come to be in.
    pub crs: String,
    /// Two or more points with their names and positions; `crs` of theirs is that of the layers where it is left out.
    pub known: Bases,
}

impl super::Job {
    /// How the local frame is moved to a CRS, if it is.
    pub fn local_fit(&self) -> Option<&LocalFit> {
        self.local.as_ref().and_then(|local| local.fit.as_ref())
    }
}
