//! Why a finished layer is not read, or its points are not brought to a datum.

use std::path::PathBuf;

use crate::geodesy::crs::CrsError;
use crate::intake::log_layout::HeadersFound;
use crate::intake::vector::VectorError;

/// A finished layer that is not read.
#[derive(Debug, thiserror::Error)]
#[error("{}: {flaw}", path.display())]
pub struct LayerError {
    /// Its file.
    pub path: PathBuf,
    /// What is wrong.
    pub flaw: LayerFlaw,
}

/// What is wrong with a finished layer.
#[derive(Debug, thiserror::Error)]
pub enum LayerFlaw {
    /// Its file cannot be read, or has no such layer.
    #[error(transparent)]
    Vector(#[from] VectorError),
    /// A GeoPackage has not the usual layer of points, and no other is named.
    #[error("{0}; name the layer of points")]
    NoneNamed(VectorError),
    /// It names no CRS.
    #[error("the layer names no CRS; write it anew with the CRS that its coordinates are in")]
    NoCrs,
    /// PROJ cannot use its CRS.
    #[error(transparent)]
    Crs(#[from] CrsError),
    /// It has no field of that name.
    #[error("the layer has no field \"{wanted}\"{there}")]
    NoField {
        /// The name.
        wanted: String,
        /// What it has in its stead.
        there: HeadersFound,
    },
    /// There is no way to its datum.
    #[error(transparent)]
    NoWay(#[from] NoWay),
    /// A position that its CRS does not reach.
    #[error("the position {x} {y} of feature {number} lies outside what {crs} can express")]
    Outside {
        /// Easting or longitude, as it stands.
        x: f64,
        /// Northing or latitude, as it stands.
        y: f64,
        /// Number of the feature.
        number: u64,
        /// The CRS.
        crs: String,
    },
}

/// Why points are not brought from one datum to another, in the words of a command without a job.
#[derive(Debug, thiserror::Error)]
pub enum NoWay {
    /// A grid file is missing.
    #[error(
        "from {from} to {to}: the best transformation ({operation}, {accuracy}) needs the grid file {grids}, which {want}; put it in a \
         folder and name the folder in the environment variable PROJ_DATA"
    )]
    MissingGrid {
        /// The one CRS.
        from: String,
        /// The other.
        to: String,
        /// The transformation.
        operation: String,
        /// How good it is, in words.
        accuracy: String,
        /// The file.
        grids: String,
        /// What is the matter with it.
        want: String,
    },
    /// Only a null step is known.
    #[error(
        "from {from} to {to}: PROJ knows no transformation but a null (\"ballpark\") one, off by an unknown amount; bring both into \
         one CRS first"
    )]
    BallparkOnly {
        /// The one CRS.
        from: String,
        /// The other.
        to: String,
    },
    /// The ground moves between the two, and nothing tells the date.
    #[error(
        "from {from} to {to}: the transformation ({operation}) depends on the date, because the ground moves in one of the two; \
         give the year and fraction when {whose} fixed, such as 2026.4"
    )]
    NeedsEpoch {
        /// The one CRS.
        from: String,
        /// The other.
        to: String,
        /// The transformation.
        operation: String,
        /// Whose positions, with a verb: `B was`.
        whose: &'static str,
    },
    /// Anything else that PROJ refuses.
    #[error(transparent)]
    Crs(CrsError),
}

impl NoWay {
    /// A refusal of PROJ; `whose` positions have a date, with a verb.
    pub(super) fn new(error: CrsError, whose: &'static str) -> NoWay {
        match error {
            CrsError::MissingGrid { from, to, operation, accuracy, grids, want, .. } => {
                NoWay::MissingGrid { from, to, operation, accuracy, grids, want }
            }
            CrsError::BallparkOnly { from, to } => NoWay::BallparkOnly { from, to },
            CrsError::NeedsEpoch { from, to, operation } => NoWay::NeedsEpoch { from, to, operation, whose },
            other => NoWay::Crs(other),
        }
    }
}
