//! `edits.csv`: what was edited in the GeoPackage of a former run, and what became of each edit.

use std::borrow::Cow;
use std::path::Path;

use gdal::vector::Geometry;

use super::WriteError;
use super::gpkg::journal::GEOMETRY;
use crate::output::edits::{EditKind, EditOutcome, Edits, well_known};

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
        let [old, new] = [old, new].map(|value| shown(field, value.unwrap_or_default()));
        writer
            .write_record([outcome, &reason, &edit.layer, &feature, &shot, &file, &line, word, field, &old, &new])
            .map_err(WriteError::format(&path, "writing"))?;
    }
    writer.flush().map_err(WriteError::file(&path, "writing"))
}

/// A value as people read it: a place as well-known text, where the journal has the bytes of the GeoPackage.
fn shown<'v>(field: &str, value: &'v str) -> Cow<'v, str> {
    if field != GEOMETRY {
        return Cow::Borrowed(value);
    }
    let bytes = |hex: &str| {
        (0..hex.len()).step_by(2).map(|i| u8::from_str_radix(hex.get(i..i + 2)?, 16).ok()).collect::<Option<Vec<u8>>>()
    };
    let text = well_known(value).and_then(bytes).and_then(|wkb| Geometry::from_wkb(&wkb).ok()?.wkt().ok());
    text.map_or(Cow::Borrowed(value), Cow::Owned)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Header of a GeoPackage's geometry (OGC 12-128, clause 2.1.3) and the well-known binary of a point in little-endian order, by hand.
    #[test]
    fn a_place_is_shown_as_text() {
        let doubles = |values: &[f64]| {
            values.iter().flat_map(|value| value.to_le_bytes()).map(|byte| format!("{byte:02X}")).collect::<String>()
        };
        let flat = format!("47500001E8640000{}{}", "0101000000", doubles(&[12.5, -3.25]));
        assert_eq!(shown("geom", &flat), "POINT (12.5 -3.25)");
        // Type 1001 has a third coordinate; the flags 3 tell of an envelope of four numbers.
        let solid = format!("47500003E8640000{}{}{}", doubles(&[1.0, 1.0, 2.0, 2.0]), "01E9030000", doubles(&[1.0, 2.0, 3.5]));
        assert_eq!(shown("geom", &solid), "POINT (1 2 3.5)");
        for odd in ["", "47", "47500001E8640000", "47500001E8640000zz", "no geometry", "°°°°°°°°"] {
            assert_eq!(shown("geom", odd), odd);
        }
        assert_eq!(shown("feature", &flat), flat);
    }
}
