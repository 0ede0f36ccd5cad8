//! What is wrong with a catalogue: a variant a cause, its sentence beside it.

use super::GeometryKind;

/// What is wrong with a value of a catalogue.
#[derive(Debug, thiserror::Error)]
pub enum CatalogueFault {
    /// It has no code.
    #[error("the catalogue has no codes; write at least one [[codes]]")]
    NoCode,
    /// A code without letters.
    #[error("a code is empty")]
    EmptyCode,
    /// A pattern of codes that is none.
    #[error("\"{word}\" is no family of codes: {problem}")]
    NoFamily {
        /// The pattern.
        word: String,
        /// Why.
        problem: glob::PatternError,
    },
    /// One word of two codes.
    #[error("\"{word}\" stands for {other} already; capitals do not tell codes apart")]
    WordOfTwoCodes {
        /// The word.
        word: String,
        /// The code that it stands for.
        other: String,
    },
    /// A length that is none.
    #[error("{0} must be metres, zero or above")]
    NoLength(&'static str),
    /// A height that is none.
    #[error("target_height_m must be metres")]
    NoTargetHeight,
    /// An attribute that stands twice at a code.
    #[error("{0} stands twice")]
    Twice(String),
    /// An attribute that is not described.
    #[error("there is no [attributes.{name}]; the catalogue has: {}", known.join(", "))]
    NoAttribute {
        /// Its name.
        name: String,
        /// Those that are described.
        known: Vec<String>,
    },
    /// An attribute that is required and is none of the code's.
    #[error("{name} is required and not among the attributes of {code}")]
    RequiredOfOthers {
        /// Its name.
        name: String,
        /// The code.
        code: String,
    },
    /// A layer for unknown codes that are held.
    #[error("rows of unknown codes are held (action = \"hold\"), and so need no layer")]
    LayerOfHeld,
    /// A layer that no code has.
    #[error("no code has the layer {0}")]
    UnusedLayer(String),
    /// Cells that are none.
    #[error("coarse_cell_m is {0}; write the side of a cell in metres, above zero")]
    NoCell(f64),
    /// Cells of lines or areas.
    #[error("coarse_cell_m is for layers of points; a line or area would still show its shape")]
    CellsOfShapes,
    /// Two geometries in one layer.
    #[error("the layer {layer} has {} of {other} and cannot have {} too; name another layer", kind(*has), kind(*wants))]
    TwoGeometries {
        /// The layer.
        layer: String,
        /// What it has.
        has: GeometryKind,
        /// A code that it has them of.
        other: String,
        /// What it should have as well.
        wants: GeometryKind,
    },
    /// A name that no layer can have.
    #[error(transparent)]
    LayerId(#[from] NoLayerId),
    /// Two layers that differ by capitals alone.
    #[error("the layer {layer} differs from {other} by capitals alone; spell both alike")]
    Capitals {
        /// One.
        layer: String,
        /// The other.
        other: String,
    },
    /// Of an attribute.
    #[error(transparent)]
    Attribute(#[from] AttributeFault),
}

/// Why a name is none for a layer.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NoLayerId {
    /// Other letters than every format takes.
    #[error("\"{0}\" cannot name a layer; use small letters, digits and _, a letter first, 40 at most")]
    Letters(String),
    /// A name of GeoPackage's own.
    #[error("\"{0}\" is kept by GeoPackage; name the layer otherwise")]
    OfGeoPackage(String),
    /// A layer of the program's own.
    #[error("\"{0}\" is one of the program's own layers; name the layer otherwise")]
    OfProgram(String),
}

/// What is wrong with the settings of an attribute, which each variant names first.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum AttributeFault {
    /// A name that no field can have.
    #[error("\"{0}\" cannot name an attribute; use letters, digits and _, a letter first")]
    Name(String),
    /// A list and a range.
    #[error("{0} has a list and a range; keep one of them")]
    ListAndRange(String),
    /// A range of texts.
    #[error("{0} is a text and cannot have least or greatest; give it a list, or another type")]
    RangeOfText(String),
    /// A list of real numbers.
    #[error("{0} is a real number and cannot have a list; give it least and greatest, or another type")]
    ListOfReal(String),
    /// A word in a list of whole numbers.
    #[error("{0} is a whole number, and its list has \"{1}\"")]
    WordOfIntegers(String, String),
    /// Bounds that are no numbers.
    #[error("least and greatest of {0} must be numbers")]
    Bounds(String),
    /// A least above the greatest.
    #[error("least ({least}) of {name} is above greatest ({greatest})")]
    Reversed {
        /// Its name.
        name: String,
        /// The least.
        least: f64,
        /// The greatest.
        greatest: f64,
    },
}

fn kind(kind: GeometryKind) -> &'static str {
    match kind {
        GeometryKind::Line => "lines",
        GeometryKind::Area => "areas",
        GeometryKind::Point | GeometryKind::None => "points",
    }
}
