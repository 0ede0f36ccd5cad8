//! The names of what lies in a folder.

use std::fs;
use std::path::Path;

use super::WriteError;

/// The summary's name; it lists the files that a run wrote.
pub const SUMMARY: &str = "summary.json";

/// Names of what is in a folder, sorted.
///
/// # Errors
/// When the folder cannot be read.
pub fn names(folder: &Path) -> Result<Vec<String>, WriteError> {
    let mut names = Vec::new();
    for entry in fs::read_dir(folder).map_err(WriteError::file(folder, "reading the folder"))? {
        let entry = entry.map_err(WriteError::file(folder, "reading the folder"))?;
        names.push(entry.file_name().to_string_lossy().into_owned());
    }
    names.sort();
    Ok(names)
}

/// Names of the files in a folder and in those within, sorted, with `/` between; an empty folder within stands by its own name.
///
/// # Errors
/// When a folder cannot be read.
pub fn files_in(folder: &Path) -> Result<Vec<String>, WriteError> {
    let mut found = Vec::new();
    for name in names(folder)? {
        let path = folder.join(&name);
        let is_folder = fs::symlink_metadata(&path).is_ok_and(|known| known.is_dir());
        let inside = if is_folder { files_in(&path)? } else { Vec::new() };
        match inside.is_empty() {
            true => found.push(name),
            false => found.extend(inside.into_iter().map(|file| format!("{name}/{file}"))),
        }
    }
    found.sort();
    Ok(found)
}
