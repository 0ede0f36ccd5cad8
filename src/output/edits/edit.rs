//! One edit: which record, what was done, what became of it.

/// What a record was when the run wrote it.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Default)]
pub struct EditKey {
    /// Its name.
    pub feature: Option<String>,
    /// Shot id.
    pub shot: Option<String>,
    /// Input file.
    pub file: Option<String>,
}

/// What was done.
#[derive(Debug, Clone, PartialEq)]
pub enum EditKind {
    /// A value was changed.
    Changed {
        /// The field.
        field: String,
        /// As the run wrote it; none for null.
        old: Option<String>,
        /// As the person left it.
        new: Option<String>,
    },
    /// The record was deleted.
    Deleted,
    /// A record was added.
    Added,
}

/// What became of an edit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum EditOutcome {
    /// It stands in the new output, in the record with this number there; 0 for a deletion.
    Carried(i64),
    /// It does not, and why.
    Left(NotCarried),
}

/// Why an edit is not carried over.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NotCarried {
    /// Its record is gone.
    #[error("no record of this run is of that feature and shot")]
    NoRecord,
    /// A computed value was changed.
    #[error("the value is computed from the logs; change it there")]
    Computed,
    /// A geometry was changed.
    #[error("places are computed from the logs; change it there")]
    Moved,
    /// The value before the edit is no longer what the run gives.
    #[error("the log says something else now than when it was edited, and that stands")]
    LogDiffers,
    /// The new value does not read as the field's type.
    #[error("it is no value of the field's type")]
    NoValue,
    /// The field is gone.
    #[error("the run writes no such field; a column of the log or an attribute of the catalogue would be kept")]
    NoField,
    /// A record was added.
    #[error("it was drawn in the GIS, and a run writes what was measured")]
    Drawn,
    /// A layer was added.
    #[error("the layer was added in the GIS, and a run writes its own; it stays in the file it is in")]
    DrawnLayer,
    /// An earlier record took the edit.
    #[error("several records of this run fit, and the first has it")]
    Twice,
}

/// An edit.
#[derive(Debug, Clone, PartialEq)]
pub struct Edit {
    /// The layer's name in files.
    pub layer: String,
    /// Which record.
    pub key: EditKey,
    /// Its line in the input file.
    pub line: Option<i64>,
    /// What was done.
    pub kind: EditKind,
    /// What became of it.
    pub outcome: EditOutcome,
    /// Whether it only follows another: the ellipse of a feature.
    pub(super) follows: bool,
}

/// Fields that name a record; the first that a layer has does.
pub const NAMES: [&str; 4] = ["feature", "name", "base", "profile"];
