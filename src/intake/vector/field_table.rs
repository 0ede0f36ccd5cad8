//! A layer of a vector file as a plain table: its fields without its geometry.

use std::path::Path;

use gdal::vector::LayerAccess;

use super::error::VectorError;
use super::{FileKind, features, open, whole};

/// The fields of a layer, as text.
#[derive(Debug, Clone, PartialEq)]
pub struct FieldTable {
    /// Names of the fields.
    pub headers: Vec<String>,
    /// Values of each feature in the order of the fields, empty for null.
    pub rows: Vec<Vec<String>>,
}

/// Reads the fields of a layer, whatever its geometry; none where the file has no layer of that name.
///
/// # Errors
/// When the file cannot be read or is damaged.
pub fn read_fields(path: &Path, layer: &str) -> Result<Option<FieldTable>, VectorError> {
    let kind = FileKind::from_path(path).ok_or(VectorError::OtherEnding)?;
    crate::disk::open(path).map_err(VectorError::Unreadable)?;
    let open_options = whole::check(path, kind)?;
    let dataset = open(path, kind, open_options)?;
    let Some(index) = dataset.layers().position(|found| found.name() == layer) else { return Ok(None) };
    let mut found = dataset.layer(index).map_err(|_| VectorError::Damaged(kind))?;
    let (fields, indices) = features::fields(&found);
    let mut rows = Vec::new();
    for (number, feature) in (1..).zip(found.features()) {
        rows.push(features::cells(&feature, number, &fields, &indices)?);
    }
    Ok(Some(FieldTable { headers: fields.into_iter().map(|(name, _)| name).collect(), rows }))
}
