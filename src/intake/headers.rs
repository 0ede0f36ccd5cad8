//! Headers of rows that are made of something else than delimited text.

use std::collections::HashSet;

/// Headers in order, each with a name of its own: GeoPackage columns differ by more than case.
#[derive(Default)]
pub struct UniqueHeaders {
    names: Vec<String>,
    taken: HashSet<String>,
}

impl UniqueHeaders {
    /// Adds `name`, or where a header has it already, `name` with `prefix` before it, as often as it takes.
    pub fn push(&mut self, name: &str, prefix: &str) {
        let mut free = name.to_owned();
        while !self.taken.insert(free.to_lowercase()) {
            free.insert_str(0, prefix);
        }
        self.names.push(free);
    }

    /// The headers.
    pub fn names(self) -> Vec<String> {
        self.names
    }
}
