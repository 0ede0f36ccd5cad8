//! Why a vector file is not read, and why a feature of one is no point.

use super::FileKind;
use super::holds::Holds;
use crate::numeric::words::counted;

/// Why a vector file is not read. The file itself is named by who asked for it.
#[derive(Debug, thiserror::Error)]
pub enum VectorError {
    /// Its name ends as that of no vector file.
    #[error("is no vector file by its name: it ends in none of .gpkg, .shp, .geojson, .json, .fgb")]
    OtherEnding,
    /// The system refuses it.
    #[error("cannot be read: {0}")]
    Unreadable(#[source] std::io::Error),
    /// It is of another kind, or damaged.
    #[error("is no {}, or it is damaged: copy it anew", .0.name())]
    Damaged(FileKind),
    /// Fewer features can be read than it says to have.
    #[error(
        "is damaged: of the {} of layer \"{layer}\" only {found} can be read; copy it anew",
        counted(*expected, "feature", "features")
    )]
    FeaturesLost {
        /// Features that it says to have.
        expected: u64,
        /// Those that can be read.
        found: u64,
        /// Their layer.
        layer: String,
    },
    /// The value of a field cannot be read.
    #[error("the value of {field} of feature {number} cannot be read")]
    Value {
        /// The field.
        field: String,
        /// The feature, counted from 1.
        number: u64,
    },
    /// The layer that is named holds something else.
    #[error("layer \"{layer}\" holds no points but {}", holds.word())]
    NotOfPoints {
        /// Its name.
        layer: String,
        /// What it holds.
        holds: Holds,
    },
    /// No layer has the name.
    #[error("has no layer \"{layer}\": {there}")]
    NoSuchLayer {
        /// The name.
        layer: String,
        /// The layers that it has.
        there: LayersThere,
    },
    /// None of its layers holds points.
    #[error("has no layer of points: {0}")]
    NoPointLayer(LayersThere),
    /// Several layers hold points, and none is named.
    #[error("has {} layers of points: name one of {}", .0.len(), quoted(.0))]
    SeveralLayers(Vec<String>),
    /// Changes of a database stand in a log beside it.
    #[error(
        "has changes that are not yet in it but in {0}-wal beside it; open it in the program that wrote it and close that again"
    )]
    ChangesBeside(String),
    /// A file that belongs to it is not there.
    #[error("{0} is missing beside it; copy all files of the Shapefile together")]
    Missing(String),
    /// A file of it ends early.
    #[error("{0} is shorter than it says: it was cut short; copy the Shapefile anew")]
    Cut(String),
    /// JSON that ends in the middle of a line.
    #[error("ends in the middle of line {0}: it was cut short; copy it anew")]
    JsonCut(usize),
    /// Text that is no JSON.
    #[error("is no sound JSON at line {line}, column {column}")]
    Json {
        /// Line, from 1.
        line: usize,
        /// Column, from 1.
        column: usize,
    },
}

/// The layers that a file has, with what each holds.
#[derive(Debug)]
pub struct LayersThere(pub(super) Vec<(String, Holds)>);

impl std::fmt::Display for LayersThere {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let names: Vec<String> = self.0.iter().map(|(name, holds)| format!("\"{name}\" ({})", holds.word())).collect();
        if names.is_empty() { f.write_str("it has no layers") } else { write!(f, "it has {}", names.join(", ")) }
    }
}

fn quoted(names: &[String]) -> String {
    names.iter().map(|name| format!("\"{name}\"")).collect::<Vec<_>>().join(", ")
}

/// Why a feature is no point; it is skipped.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NoPoint {
    /// It has none.
    #[error("it has no geometry")]
    NoGeometry,
    /// Its geometry has no coordinates.
    #[error("its geometry is empty")]
    Empty,
    /// It is a collection of so many points.
    #[error("it is {0} points in one; make single points of it")]
    Several(usize),
    /// Its geometry is a line, an area, or of another kind.
    #[error("its geometry is {0}, not a point")]
    Other(&'static str),
    /// Its coordinates are not finite.
    #[error("its coordinates are no numbers: {0} {1}")]
    NotFinite(f64, f64),
}
