//! What a person edited in the GeoPackage of a former run, carried over to a new one: by feature and shot, and never lost in silence.
//!
//! Each GeoPackage keeps a journal of what is edited in it (`write/gpkg/journal`). Names, codes, attributes and columns of the log are carried
//! over, and deletions. What was computed comes from the log again; what was drawn has no log. Both are listed with what no longer fits.

mod apply;
pub mod edit;
mod own;
mod read;
mod record;
#[cfg(test)]
mod tests;

use std::collections::{HashMap, HashSet};
use std::path::{Path, PathBuf};

use crate::output::columns::Field;
pub use edit::{Edit, EditKey, EditKind, EditOutcome, NAMES, NotCarried};
pub use read::well_known;

/// The edits of a GeoPackage cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum EditsError {
    /// It cannot be read.
    #[error("{}: {source}", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// Why.
        source: rusqlite::Error,
    },
    /// There is none.
    #[error("{}: no such file", path.display())]
    NoFile {
        /// The file.
        path: PathBuf,
    },
    /// It has no journal.
    #[error(
        "{} keeps no record of what was edited in it: it was not written by this program, or by an earlier version of it, or a program has copied \
         its layers into a new file; edit the file that map wrote", path.display()
    )]
    NoJournal {
        /// The file.
        path: PathBuf,
    },
    /// A layer has lost its part of it.
    #[error(
        "the layer {layer} of {} was rebuilt by another program and no longer records what is edited in it, so that edits of it cannot be told \
         from what was measured; make them in a file as map wrote it", path.display()
    )]
    Rebuilt {
        /// The file.
        path: PathBuf,
        /// The layer.
        layer: String,
    },
}

/// The edits of a former GeoPackage.
#[derive(Debug, Default)]
pub struct Edits {
    file: String,
    edits: Vec<Edit>,
    /// By layer and record: the edits of it.
    rows: HashMap<String, HashMap<EditKey, Vec<RecordEdits>>>,
}

/// The edits of one record.
#[derive(Debug, Default)]
struct RecordEdits {
    edits: Vec<usize>,
    /// Its line, where others have the same key.
    line: Option<i64>,
    is_found: bool,
}

impl Edits {
    /// Those of a GeoPackage.
    ///
    /// # Errors
    /// When it cannot be read or has no whole record of what was edited.
    pub fn read(path: &Path) -> Result<Edits, EditsError> {
        let (edits, shared) = read::read(path)?;
        let file = path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
        Ok(Edits::new(file, edits, &shared))
    }

    /// `shared` are keys that several records of a layer have.
    fn new(file: String, mut edits: Vec<Edit>, shared: &[(String, EditKey)]) -> Edits {
        // A feature's ellipse goes with it, and has its name.
        let follows = |edit: &Edit| match &edit.kind {
            EditKind::Deleted => edit.layer != ELLIPSES && edit.key.shot.is_some(),
            EditKind::Changed { field, .. } => field == "feature" && edit.layer != ELLIPSES,
            EditKind::Added => false,
        };
        let followers: Vec<Edit> = edits
            .iter()
            .filter(|edit| follows(edit))
            .map(|edit| Edit { layer: ELLIPSES.to_owned(), follows: true, ..edit.clone() })
            .collect();
        edits.extend(followers);
        let mut rows: HashMap<String, HashMap<EditKey, Vec<RecordEdits>>> = HashMap::new();
        let of_layers: HashSet<(&str, &EditKey)> = shared.iter().map(|(layer, key)| (layer.as_str(), key)).collect();
        let of_any: HashSet<&EditKey> = shared.iter().map(|(_, key)| key).collect();
        for (index, edit) in edits.iter().enumerate().filter(|(_, edit)| edit.kind != EditKind::Added) {
            let is_shared = of_layers.contains(&(edit.layer.as_str(), &edit.key)) || (edit.follows && of_any.contains(&edit.key));
            let of_key = rows.entry(edit.layer.clone()).or_default().entry(edit.key.clone()).or_default();
            let line = edit.line.filter(|_| is_shared);
            match of_key.iter_mut().find(|row| row.line == line) {
                Some(row) => row.edits.push(index),
                None => of_key.push(RecordEdits { edits: vec![index], line, is_found: false }),
            }
        }
        Edits { file, edits, rows }
    }

    /// All edits with what became of them.
    pub fn told(&self) -> impl Iterator<Item = &Edit> {
        self.edits.iter().filter(|edit| !edit.follows)
    }

    /// What became of them, in a sentence; none where nothing was edited.
    pub fn sentence(&self) -> Option<String> {
        let count = |is: fn(&Edit) -> bool| self.told().filter(|edit| is(edit)).count();
        let carried = count(|edit| matches!((&edit.kind, edit.outcome), (EditKind::Changed { .. }, EditOutcome::Carried(_))));
        let deleted = count(|edit| matches!((&edit.kind, edit.outcome), (EditKind::Deleted, EditOutcome::Carried(_))));
        let left = count(|edit| matches!(edit.outcome, EditOutcome::Left(_)));
        let many = |count: usize, of: &str| format!("{count} {of}{}", if count == 1 { "" } else { "s" });
        Some(format!(
            "Edits of {}: {} and {} carried over, {} not; edits.csv lists each, and why.",
            self.file,
            many(carried, "value"),
            many(deleted, "deletion"),
            left
        ))
        .filter(|_| self.told().next().is_some())
    }

    /// Withholds what a discreet output may not tell: values of edits that stand nowhere in it.
    pub fn withhold(&mut self) {
        for edit in &mut self.edits {
            if let (EditKind::Changed { old, new, .. }, EditOutcome::Left(_)) = (&mut edit.kind, edit.outcome) {
                (*old, *new) = (None, None);
            }
        }
    }
}

/// The layer that follows the features.
const ELLIPSES: &str = "ellipses";

/// Whether a person's value of a field stands: names, codes, attributes, columns of the log.
fn is_persons(field: &Field) -> bool {
    !field.is_own() || ["feature", "name", "code"].contains(&&*field.name)
}
