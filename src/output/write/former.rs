//! What stands where the output is to go: nothing, an output of this program as it left it, or somebody's own work.
//!
//! A summary has the length and the BLAKE3 hash of each file beside it, and a seal: the SHA-256 of its own text with zeros in
//! place of the seal. So an output is known by more than its names, and what was added to it or changed in it is seen.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use rayon::prelude::*;
use serde_json::Value;
use sha2::{Digest, Sha256};

use super::WriteError;
use super::listing::{SUMMARY, files_in};
use super::seal::{OutputFile, SEAL_DIGITS, hex, recorded, zeros};
use crate::disk;

/// An output folder that may be replaced, as it was when it was looked at.
#[derive(Debug, Default, PartialEq)]
pub struct Former {
    stamps: BTreeMap<String, Stamp>,
}

/// What shows cheaply that a file was touched.
#[derive(Debug, PartialEq)]
struct Stamp {
    bytes: u64,
    modified: Option<SystemTime>,
    number: u64,
}

/// What a summary of ours says.
struct FormerSummary {
    files: Vec<OutputFile>,
    is_as_written: bool,
}

/// The summary in a folder; none where there is none, or where it is not one of this program.
fn summary(folder: &Path) -> Option<FormerSummary> {
    let text = disk::read_text(&folder.join(SUMMARY)).ok()?;
    let known: Value = serde_json::from_str(&text).ok()?;
    known.get("software")?.get("standoff")?.as_str()?;
    known.get("parameters")?.as_object()?;
    known.get("shots")?.get("held_by_reason")?.as_object()?;
    let seal = known.get("seal").and_then(Value::as_str).filter(|seal| seal.len() == SEAL_DIGITS);
    let is_as_written = seal.is_some_and(|seal| {
        let blank = text.replacen(seal, &zeros(), 1);
        hex(&Sha256::digest(blank.as_bytes())) == seal
    });
    let files = serde_json::from_value(known.get("files")?.clone()).unwrap_or_default();
    Some(FormerSummary { files, is_as_written })
}

impl Former {
    /// Looks at what is in a folder. With `replace`, an output of this program may hold what was added or changed.
    ///
    /// # Errors
    /// When it is not ours to replace, or cannot be read.
    pub fn read(folder: &Path, replace: bool) -> Result<Former, WriteError> {
        let (path, present) = (folder.to_owned(), files_in(folder)?);
        if present.is_empty() {
            return Ok(Former::default());
        }
        let Some(summary) = summary(folder) else {
            let stranger = present.iter().find(|name| *name != SUMMARY).unwrap_or(&present[0]).clone();
            return Err(WriteError::Strange { path, stranger });
        };
        if !replace {
            let listed: BTreeMap<&str, &OutputFile> = summary.files.iter().map(|file| (file.name.as_str(), file)).collect();
            let is_added = |name: &&String| *name != SUMMARY && !listed.contains_key(name.as_str());
            if let Some(added) = present.iter().find(is_added) {
                return Err(WriteError::Added { path, added: added.clone() });
            }
            let is_changed = |name: &&String| match listed.get(name.as_str()) {
                // By the length first: a long file need not be read to see that it grew.
                Some(file) => {
                    fs::symlink_metadata(folder.join(name)).map_or(true, |known| !known.is_file() || known.len() != file.bytes)
                        || recorded(folder, name, None).map_or(true, |found| found != **file)
                }
                None => !summary.is_as_written,
            };
            if let Some(changed) = present.par_iter().find_first(is_changed) {
                return Err(WriteError::Changed { path, changed: changed.clone() });
            }
        }
        Ok(Former { stamps: stamps(folder, &present)? })
    }

    /// Whether a folder is as it was when it was looked at: `at` is where it is now.
    ///
    /// # Errors
    /// When something was added or changed since.
    pub fn check_again(&self, at: &Path, replace: bool) -> Result<(), WriteError> {
        let present = files_in(at)?;
        if stamps(at, &present)? == self.stamps {
            return Ok(());
        }
        // Touched is not yet changed.
        let now = Former::read(at, replace)?;
        let added = now.stamps.keys().find(|name| !self.stamps.contains_key(*name));
        match added.filter(|_| replace) {
            // What came while the run worked is not what the person meant to be replaced.
            Some(added) => Err(WriteError::Added { path: at.to_owned(), added: added.clone() }),
            None => Ok(()),
        }
    }

    /// Whether a folder is a part of what a run of this program made: what a killed run left behind.
    pub fn is_left_behind(folder: &Path, marker: &str) -> bool {
        let Ok(present) = files_in(folder) else { return false };
        present.is_empty() || present.iter().any(|name| name == marker) || Former::read(folder, false).is_ok()
    }
}

fn stamps(folder: &Path, present: &[String]) -> Result<BTreeMap<String, Stamp>, WriteError> {
    let of = |name: &String| {
        let path: PathBuf = folder.join(name);
        let known = fs::symlink_metadata(&path).map_err(WriteError::file(&path, "looking at it"))?;
        Ok((name.clone(), Stamp { bytes: known.len(), modified: known.modified().ok(), number: number(&known) }))
    };
    present.iter().map(of).collect()
}

#[cfg(unix)]
fn number(known: &fs::Metadata) -> u64 {
    std::os::unix::fs::MetadataExt::ino(known)
}

#[cfg(not(unix))]
fn number(_: &fs::Metadata) -> u64 {
    0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hashes_are_those_of_the_published_vectors() {
        // BLAKE3's own test vectors (test_vectors.json of its reference repository): the bytes 0, 1, 2 … 250, 0, 1 …, of
        // lengths 0, 1 and 1,024.
        let folder = tempfile::tempdir().unwrap();
        for (length, hash) in [
            (0, "af1349b9f5f9a1a6a0404dea36dcc9499bcb25c9adc112b7cc9a93cae41f3262"),
            (1, "2d3adedff11b61f14c886e35afa036736dcd87a74d27b5c1510225d0f592e213"),
            (1024, "42214739f095a406f3fc83deb889744ac00df831c10daa55189b5d121c855af7"),
        ] {
            let bytes: Vec<u8> = (0..251u8).cycle().take(length).collect();
            fs::write(folder.path().join("file"), bytes).unwrap();
            let wanted = OutputFile { name: "file".into(), bytes: length as u64, blake3: hash.into() };
            assert_eq!(recorded(folder.path(), "file", None).unwrap(), wanted);
        }
    }
}
