//! The output folder: made beside its final place, flushed to disk, and put in place in one step.
//!
//! Where the system can exchange two folders at once (Linux), a run that is killed leaves either the
//! former output or the new one, whole. Elsewhere the former one is set aside for the moment between
//! two renames.

use std::fs::{self, File, TryLockError};
use std::path::{Path, PathBuf};

use super::WriteError;

/// The summary's name; it lists the files that a run wrote.
pub const SUMMARY: &str = "summary.json";

/// A folder on its way.
pub struct Folder {
    out: PathBuf,
    partial: PathBuf,
    /// Holds the lock on the partial folder.
    lock: Option<File>,
}

impl Folder {
    /// Makes an empty folder beside `out`; removes what a killed run left there.
    ///
    /// # Errors
    /// When `out` holds strange files, another run is at it, or the system refuses.
    pub fn beside(out: &Path) -> Result<Folder, WriteError> {
        refuse_strangers(out)?;
        let name = out.file_name().map(|name| name.to_string_lossy().into_owned()).ok_or_else(|| WriteError::File {
            path: out.to_owned(),
            doing: "naming the output folder",
            source: std::io::Error::other("the path has no last part"),
        })?;
        let partial = out.with_file_name(format!(".{name}.partial"));
        if let Some(parent) = partial.parent().filter(|parent| !parent.as_os_str().is_empty()) {
            fs::create_dir_all(parent).map_err(WriteError::file(parent, "creating the folder"))?;
        }
        if partial.exists() {
            drop(lock(&partial, out)?);
            fs::remove_dir_all(&partial).map_err(WriteError::file(&partial, "removing what an earlier run left"))?;
        }
        fs::create_dir(&partial).map_err(WriteError::file(&partial, "creating the folder"))?;
        let lock = lock(&partial, out)?;
        Ok(Folder { out: out.to_owned(), partial, lock })
    }

    /// Where files are written for now.
    pub fn path(&self) -> &Path {
        &self.partial
    }

    /// Names of the files so far, sorted.
    ///
    /// # Errors
    /// When the folder cannot be read.
    pub fn files(&self) -> Result<Vec<String>, WriteError> {
        names(&self.partial)
    }

    /// Flushes every file and puts the folder in place; returns where it is.
    ///
    /// # Errors
    /// When the system refuses; the former folder then stays.
    pub fn commit(mut self) -> Result<PathBuf, WriteError> {
        for name in self.files()? {
            let path = self.partial.join(name);
            let file = File::open(&path).map_err(WriteError::file(&path, "flushing"))?;
            file.sync_all().map_err(WriteError::file(&path, "flushing"))?;
        }
        sync_folder(&self.partial)?;
        if self.out.exists() {
            exchange(&self.partial, &self.out).map_err(WriteError::file(&self.out, "putting the new folder in place"))?;
            // What is at the partial path now is the former output.
            fs::remove_dir_all(&self.partial).map_err(WriteError::file(&self.partial, "removing the former output"))?;
        } else {
            fs::rename(&self.partial, &self.out).map_err(WriteError::file(&self.out, "putting the new folder in place"))?;
        }
        if let Some(parent) = self.out.parent().filter(|parent| !parent.as_os_str().is_empty()) {
            sync_folder(parent)?;
        }
        self.lock = None;
        Ok(self.out.clone())
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        // After a commit nothing is there any more.
        if self.lock.take().is_some() {
            let _ = fs::remove_dir_all(&self.partial);
        }
    }
}

fn lock(partial: &Path, out: &Path) -> Result<Option<File>, WriteError> {
    let Ok(folder) = File::open(partial) else { return Ok(None) };
    match folder.try_lock() {
        Ok(()) => Ok(Some(folder)),
        Err(TryLockError::WouldBlock) => Err(WriteError::Busy { path: out.to_owned() }),
        // A system that cannot lock folders.
        Err(TryLockError::Error(_)) => Ok(Some(folder)),
    }
}

fn names(folder: &Path) -> Result<Vec<String>, WriteError> {
    let mut names = Vec::new();
    for entry in fs::read_dir(folder).map_err(WriteError::file(folder, "reading the folder"))? {
        let entry = entry.map_err(WriteError::file(folder, "reading the folder"))?;
        names.push(entry.file_name().to_string_lossy().into_owned());
    }
    names.sort();
    Ok(names)
}

/// A folder may be replaced when it is empty or holds nothing but what its summary lists.
fn refuse_strangers(out: &Path) -> Result<(), WriteError> {
    if !out.exists() {
        return Ok(());
    }
    let strange = |stranger: String| WriteError::Strange { path: out.to_owned(), stranger };
    if !out.is_dir() {
        return Err(WriteError::File {
            path: out.to_owned(),
            doing: "replacing the output folder",
            source: std::io::Error::other("it is a file"),
        });
    }
    let present = names(out)?;
    let listed: Vec<String> = fs::read_to_string(out.join(SUMMARY))
        .ok()
        .and_then(|text| serde_json::from_str::<serde_json::Value>(&text).ok())
        .and_then(|summary| serde_json::from_value(summary.get("files")?.clone()).ok())
        .unwrap_or_default();
    match present.into_iter().find(|name| name != SUMMARY && !listed.contains(name)) {
        Some(stranger) => Err(strange(stranger)),
        None => Ok(()),
    }
}

fn sync_folder(folder: &Path) -> Result<(), WriteError> {
    // Windows cannot open folders so, and needs no such flush.
    match File::open(folder) {
        Ok(file) => file.sync_all().map_err(WriteError::file(folder, "flushing the folder")),
        Err(_) => Ok(()),
    }
}

#[cfg(target_os = "linux")]
fn exchange(new: &Path, old: &Path) -> std::io::Result<()> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    match renameat_with(CWD, new, CWD, old, RenameFlags::EXCHANGE) {
        Ok(()) => Ok(()),
        Err(rustix::io::Errno::INVAL | rustix::io::Errno::NOSYS) => exchange_by_two_renames(new, old),
        Err(error) => Err(error.into()),
    }
}

#[cfg(not(target_os = "linux"))]
fn exchange(new: &Path, old: &Path) -> std::io::Result<()> {
    exchange_by_two_renames(new, old)
}

fn exchange_by_two_renames(new: &Path, old: &Path) -> std::io::Result<()> {
    let aside = new.with_extension("former");
    fs::rename(old, &aside)?;
    if let Err(error) = fs::rename(new, old) {
        fs::rename(&aside, old)?;
        return Err(error);
    }
    fs::rename(&aside, new)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_former_output_stays_until_the_new_one_is_whole() {
        let root = tempfile::tempdir().unwrap();
        let out = root.path().join("layers");
        let write = |text: &str, commit: bool| {
            let folder = Folder::beside(&out).unwrap();
            fs::write(folder.path().join("a.txt"), text).unwrap();
            fs::write(folder.path().join(SUMMARY), "{\"files\": [\"a.txt\"]}").unwrap();
            if commit {
                folder.commit().unwrap();
            }
        };
        let read = || fs::read_to_string(out.join("a.txt")).unwrap();
        write("one", true);
        write("two", false);
        assert_eq!(read(), "one");
        write("three", true);
        assert_eq!(read(), "three");
        assert_eq!(names(root.path()).unwrap(), ["layers"]);
    }

    #[test]
    fn a_folder_with_strange_files_is_not_replaced() {
        let root = tempfile::tempdir().unwrap();
        let out = root.path().join("mine");
        fs::create_dir(&out).unwrap();
        fs::write(out.join("notes.txt"), "keep me").unwrap();
        let Err(WriteError::Strange { stranger, .. }) = Folder::beside(&out) else { panic!("replaced") };
        assert_eq!(stranger, "notes.txt");
        assert!(out.join("notes.txt").exists());
    }

    #[test]
    fn two_runs_do_not_write_to_one_place() {
        let root = tempfile::tempdir().unwrap();
        let out = root.path().join("layers");
        let _first = Folder::beside(&out).unwrap();
        assert!(matches!(Folder::beside(&out), Err(WriteError::Busy { .. })));
    }
}
