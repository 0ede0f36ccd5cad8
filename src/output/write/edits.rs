//! `edits.csv`: what was edited in the GeoPackage of a former run, and what became of each edit.

use std::path::Path;

use super::WriteError;
use crate::output::edits::{EditKind, EditOutcome, Edits};

/// The file's name.
pub const NAME: &str = "edits.csv";

/// Writes the file; none where nothing was edited.
///
/// # Errors
/// When it cannot be written.
pub fn write_beside(folder: &Path, edits: &Edits) -> Result<(), WriteError> {
    if edits.told().next().is_none() {
        return Ok(());
    }
    let path = folder.join(NAME);
    let mut writer = csv::Writer::from_path(&path).map_err(WriteError::format(&path, "creating"))?;
    let header = [
        "outcome",
        "reason",
        "layer",
        "feature",
        "shot",
        "source_file",
        "source_line",
        "edit",
        "field",
        "old_value",
        "new_value",
    ];
    writer.write_record(header).map_err(WriteError::format(&path, "writing"))?;
    for edit in edits.told() {
        let (outcome, reason) = match edit.outcome {
            EditOutcome::Carried(_) => ("carried", String::new()),
            EditOutcome::Left(why) => ("not_carried", why.to_string()),
        };
        let (word, field, old, new) = match &edit.kind {
            EditKind::Changed { field, old, new } => ("changed", field.as_str(), old.as_deref(), new.as_deref()),
            EditKind::Deleted => ("deleted", "", None, None),
            EditKind::Added => ("added", "", None, None),
        };
        let text = |value: &Option<String>| value.clone().unwrap_or_default();
        let line = edit.line.map(|line| line.to_string()).unwrap_or_default();
        let (feature, shot, file) = (text(&edit.key.feature), text(&edit.key.shot), text(&edit.key.file));
        let (old, new) = (old.unwrap_or_default(), new.unwrap_or_default());
        writer
            .write_record([outcome, &reason, &edit.layer, &feature, &shot, &file, &line, word, field, old, new])
            .map_err(WriteError::format(&path, "writing"))?;
    }
    writer.flush().map_err(WriteError::file(&path, "writing"))
}
