//! How many things the logs ask for, and how many came of it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// How many of some kind the logs ask for, and how many came of it.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Asked {
    /// Named by rows of the logs.
    pub asked: u64,
    /// Made.
    pub made: u64,
}

impl Asked {
    /// So many, and all of them made.
    pub fn all(made: u64) -> Asked {
        Asked { asked: made, made }
    }

    /// Adds those of other rows.
    pub fn add(&mut self, other: Asked) {
        self.asked += other.asked;
        self.made += other.made;
    }
}
