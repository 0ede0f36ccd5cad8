//! One edit: which record, what was done, what became of it.

/// What a record was when the run wrote it.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Default)]
pub struct Key {
    /// Its name.
    pub feature: Option<String>,
    /// Shot id.
    pub shot: Option<String>,
    /// Input file.
    pub file: Option<String>,
}

/// What was done.
#[derive(Debug, Clone, PartialEq)]
pub enum Kind {
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
pub enum Outcome {
    /// It stands in the new output, in the record with this number there; 0 for a deletion.
    Carried(i64),
    /// It does not, and why.
    Left(&'static str),
}

/// An edit.
#[derive(Debug, Clone, PartialEq)]
pub struct Edit {
    /// The layer's name in files.
    pub layer: String,
    /// Which record.
    pub key: Key,
    /// Its line in the input file.
    pub line: Option<i64>,
    /// What was done.
    pub kind: Kind,
    /// What became of it.
    pub outcome: Outcome,
    /// Whether it only follows another: the ellipse of a feature.
    pub(super) follows: bool,
}

/// Fields that name a record; the first that a layer has does.
pub const NAMES: [&str; 4] = ["feature", "name", "base", "profile"];
