//! The output folder: made beside its final place, flushed to disk, and put in place in one step.
//!
//! Where the system can exchange two folders at once (Linux), a run that is killed leaves either the
//! former output or the new one, whole. Elsewhere the former one is set aside for the moment between
//! two renames.

use std::fs::{self, File, TryLockError};
use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use rayon::prelude::*;

use super::WriteError;
use super::former::Former;
use super::listing::{SUMMARY, files_in, names};
use super::parts::HashedFiles;
use super::seal::{OutputFile, recorded};

/// Stands in a folder that is not finished.
const MARKER: &str = ".unfinished";
/// Files that are flushed side by side.
const FLUSHED_SIDE_BY_SIDE: usize = 4;
const MARKED: &str =
    "A run of standoff writes here, or was ended while it did. The next run to the same place removes this folder.\n";

/// Folders that are not finished, to be removed where a signal ends the program.
static UNFINISHED: Mutex<Vec<PathBuf>> = Mutex::new(Vec::new());

fn unfinished() -> MutexGuard<'static, Vec<PathBuf>> {
    UNFINISHED.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Removes what is not finished, for a program that is told to end. No folder is begun or put in place while the guard
/// lives.
#[must_use = "what is not finished stays away only as long as this lives"]
pub fn abandon() -> impl Sized {
    const ATTEMPTS: u32 = 50;
    let folders = unfinished();
    for folder in folders.iter() {
        // Other threads may be writing: what they make meanwhile is in the way.
        for _ in 0..ATTEMPTS {
            match fs::remove_dir_all(folder) {
                Err(error) if error.kind() == ErrorKind::DirectoryNotEmpty => std::thread::sleep(Duration::from_millis(10)),
                _ => break,
            }
        }
    }
    folders
}

/// A folder on its way.
pub struct Folder {
    /// As the person names it.
    named: PathBuf,
    /// Where it really is: links are followed.
    out: PathBuf,
    partial: PathBuf,
    former: Option<Former>,
    replace: bool,
    /// Holds the lock on the partial folder.
    lock: Option<File>,
}

impl Folder {
    /// Makes an empty folder beside `out`; removes what a killed run left there. With `replace`, a former output may have
    /// been changed and added to.
    ///
    /// # Errors
    /// When `out` is not ours to replace, another run is at it, or the system refuses.
    pub fn beside(named: &Path, replace: bool) -> Result<Folder, WriteError> {
        let out = followed(named)?;
        let former = former(&out, replace).map_err(|error| error.called(named))?;
        let name = out.file_name().map(|name| name.to_string_lossy().into_owned()).ok_or_else(|| WriteError::File {
            path: named.to_owned(),
            doing: "naming the output folder",
            source: std::io::Error::other("the path has no last part"),
        })?;
        let partial = out.with_file_name(format!(".{name}.partial"));
        if let Some(parent) = partial.parent().filter(|parent| !parent.as_os_str().is_empty()) {
            fs::create_dir_all(parent).map_err(WriteError::file(parent, "creating the folder"))?;
        }
        let mut folders = unfinished();
        if fs::symlink_metadata(&partial).is_ok() {
            let _lock = lock(&partial, named)?;
            if !Former::is_left_behind(&partial, MARKER) {
                return Err(WriteError::InTheWay { path: partial });
            }
            fs::remove_dir_all(&partial).map_err(WriteError::file(&partial, "removing what an earlier run left"))?;
        }
        match fs::create_dir(&partial) {
            Err(error) if error.kind() == ErrorKind::AlreadyExists => return Err(WriteError::Busy { path: named.to_owned() }),
            made => made.map_err(WriteError::file(&partial, "creating the folder"))?,
        }
        let lock = lock(&partial, named)?;
        folders.push(partial.clone());
        drop(folders);
        let folder = Folder { named: named.to_owned(), out, partial, former, replace, lock };
        let marker = folder.partial.join(MARKER);
        fs::write(&marker, MARKED).map_err(WriteError::file(&marker, "writing"))?;
        Ok(folder)
    }

    /// Where files are written for now.
    pub fn path(&self) -> &Path {
        &self.partial
    }

    /// A folder within it by its name, made where it is not there yet; the folder itself for none.
    ///
    /// # Errors
    /// When the system refuses.
    pub fn within(&self, name: Option<&str>) -> Result<PathBuf, WriteError> {
        let Some(name) = name else { return Ok(self.partial.clone()) };
        let path = self.partial.join(name);
        fs::create_dir_all(&path).map_err(WriteError::file(&path, "creating the folder"))?;
        Ok(path)
    }

    /// Removes a layer's files, known by the start of their names, from the folders within, and such a folder with its last file.
    ///
    /// # Errors
    /// When the system refuses.
    pub fn remove_starting(&self, stem: &str) -> Result<(), WriteError> {
        for folder in folders_in(&self.partial)? {
            let present = names(&folder)?;
            let (gone, kept): (Vec<&String>, Vec<&String>) = present.iter().partition(|name| name.starts_with(stem));
            for name in gone {
                let path = folder.join(name);
                fs::remove_file(&path).map_err(WriteError::file(&path, "removing"))?;
            }
            if kept.is_empty() {
                fs::remove_dir(&folder).map_err(WriteError::file(&folder, "removing"))?;
            }
        }
        Ok(())
    }

    /// Flushes the files so far to the disk, and gives each with its length and its hash, in the order of their names. Of what was
    /// `hashed` while it was written only the rest is read.
    ///
    /// # Errors
    /// When one cannot be read or flushed.
    pub fn files(&self, hashed: &HashedFiles) -> Result<Vec<OutputFile>, WriteError> {
        let mut names = files_in(&self.partial)?;
        names.retain(|name| name != MARKER);
        let flush_all = |names: &[String]| names.iter().try_for_each(|name| flush(&self.partial.join(name)));
        let known = |name: &String| {
            let path = self.partial.join(name);
            recorded(&self.partial, name, hashed.take(&path).as_ref()).map_err(WriteError::file(&path, "reading it back"))
        };
        // The disk writes while the files are read. Who waits for it has a thread of its own: the others have work to do.
        std::thread::scope(|scope| {
            let parts = names.chunks(names.len().div_ceil(FLUSHED_SIDE_BY_SIDE).max(1));
            let waiting: Vec<_> = parts.map(|part| scope.spawn(move || flush_all(part))).collect();
            let known = names.par_iter().map(known).collect();
            for flushed in waiting {
                match flushed.join() {
                    Ok(flushed) => flushed?,
                    Err(panic) => std::panic::resume_unwind(panic),
                }
            }
            known
        })
    }

    /// Writes the summary beside the files and puts the folder in place; returns where it is, as the person names it.
    ///
    /// # Errors
    /// When the system refuses, or when something was added to the former folder or changed in it since the run began; the
    /// former folder then stays.
    pub fn commit(mut self, summary: &str) -> Result<PathBuf, WriteError> {
        let path = self.partial.join(SUMMARY);
        fs::write(&path, summary).map_err(WriteError::file(&path, "writing"))?;
        flush(&path)?;
        let marker = self.partial.join(MARKER);
        fs::remove_file(&marker).map_err(WriteError::file(&marker, "removing"))?;
        folders_in(&self.partial)?.iter().try_for_each(|folder| sync_folder(folder))?;
        sync_folder(&self.partial)?;
        // A signal waits until the folders have changed places.
        let mut folders = unfinished();
        match (&self.former, self.out.exists()) {
            (Some(former), true) => {
                former.check_again(&self.out, self.replace).map_err(|error| error.called(&self.named))?;
                if let Ok(known) = fs::metadata(&self.out) {
                    let _ = fs::set_permissions(&self.partial, known.permissions());
                }
                exchange(&self.partial, &self.out).map_err(WriteError::file(&self.named, "putting the new folder in place"))?;
                // What is at the partial path now is the former output. What came at the last moment goes back.
                if let Err(error) = former.check_again(&self.partial, self.replace) {
                    exchange(&self.partial, &self.out)
                        .map_err(WriteError::file(&self.named, "putting the former folder back"))?;
                    drop(folders);
                    return Err(error.called(&self.named));
                }
                remove_former(&self.partial).map_err(WriteError::file(&self.partial, "removing the former output"))?;
            }
            (None, true) => {
                drop(folders);
                // It came while the run worked.
                let stranger = files_in(&self.out).ok().and_then(|present| present.first().cloned()).unwrap_or_default();
                return Err(WriteError::Strange { path: self.named.clone(), stranger });
            }
            (_, false) => {
                fs::rename(&self.partial, &self.out).map_err(WriteError::file(&self.named, "putting the new folder in place"))?;
            }
        }
        if let Some(parent) = self.out.parent().filter(|parent| !parent.as_os_str().is_empty()) {
            sync_folder(parent)?;
        }
        self.lock = None;
        folders.retain(|folder| *folder != self.partial);
        Ok(self.named.clone())
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        // After a commit nothing is there any more.
        if self.lock.take().is_some() {
            let mut folders = unfinished();
            let _ = fs::remove_dir_all(&self.partial);
            folders.retain(|folder| *folder != self.partial);
        }
    }
}

/// Where a path leads: a link to a folder stays a link, and the folder is what is replaced.
fn followed(named: &Path) -> Result<PathBuf, WriteError> {
    let is_link = fs::symlink_metadata(named).is_ok_and(|known| known.is_symlink());
    if !is_link {
        return Ok(named.to_owned());
    }
    fs::canonicalize(named)
        .map_err(|_| WriteError::Dangling { path: named.to_owned(), target: fs::read_link(named).unwrap_or_default() })
}

/// What is at the place of the output; none where nothing is.
fn former(out: &Path, replace: bool) -> Result<Option<Former>, WriteError> {
    if !out.exists() {
        return Ok(None);
    }
    let refused = |why: &str| WriteError::File {
        path: out.to_owned(),
        doing: "replacing the output folder",
        source: std::io::Error::other(why.to_owned()),
    };
    if !out.is_dir() {
        return Err(refused("it is a file"));
    }
    if is_mounted(out) {
        return Err(refused("it is a disk of its own; name a folder in it"));
    }
    Former::read(out, replace).map(Some)
}

/// Whether a folder is the root of a file system: no other folder can take its place.
#[cfg(unix)]
fn is_mounted(folder: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    let device = |path: &Path| fs::metadata(path).ok().map(|known| known.dev());
    let Ok(real) = fs::canonicalize(folder) else { return false };
    real.parent().is_some_and(|parent| device(parent) != device(&real))
}

#[cfg(not(unix))]
fn is_mounted(_: &Path) -> bool {
    false
}

/// Removes a former output, its summary last: what is left of it where that is cut off is still known.
fn remove_former(folder: &Path) -> std::io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        if entry.file_name() == SUMMARY {
            continue;
        }
        match entry.file_type()?.is_dir() {
            true => fs::remove_dir_all(entry.path())?,
            false => fs::remove_file(entry.path())?,
        }
    }
    fs::remove_dir_all(folder)
}

fn flush(path: &Path) -> Result<(), WriteError> {
    let file = File::open(path).map_err(WriteError::file(path, "flushing"))?;
    file.sync_all().map_err(WriteError::file(path, "flushing"))
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

/// The folders that lie in a folder, sorted; no links to such.
fn folders_in(folder: &Path) -> Result<Vec<PathBuf>, WriteError> {
    let is_folder = |path: &PathBuf| fs::symlink_metadata(path).is_ok_and(|known| known.is_dir());
    Ok(names(folder)?.into_iter().map(|name| folder.join(name)).filter(is_folder).collect())
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
    use super::super::seal::{sealed, zeros};
    use super::*;

    /// A summary of some files, as far as it is looked at here.
    fn summary(folder: &Folder) -> String {
        let files = serde_json::to_value(folder.files(&HashedFiles::default()).unwrap()).unwrap();
        let text = serde_json::json!({
            "software": { "standoff": "1" }, "parameters": {}, "shots": { "held_by_reason": {} }, "files": files, "seal": zeros(),
        });
        sealed(&text.to_string())
    }

    fn begun(out: &Path, text: &str) -> Folder {
        let folder = Folder::beside(out, false).unwrap();
        fs::write(folder.path().join("a.txt"), text).unwrap();
        folder
    }

    fn made(out: &Path, text: &str) {
        let folder = begun(out, text);
        let summary = summary(&folder);
        folder.commit(&summary).unwrap();
    }

    fn read(out: &Path) -> String {
        fs::read_to_string(out.join("a.txt")).unwrap()
    }

    #[test]
    fn the_former_output_stays_until_the_new_one_is_whole() {
        let root = tempfile::tempdir().unwrap();
        let out = root.path().join("layers");
        made(&out, "one");
        drop(begun(&out, "two"));
        assert_eq!(read(&out), "one");
        made(&out, "three");
        assert_eq!(read(&out), "three");
        assert_eq!(names(root.path()).unwrap(), ["layers"]);
        assert_eq!(names(&out).unwrap(), ["a.txt", SUMMARY]);
    }

    #[test]
    fn a_folder_with_strange_files_is_not_replaced() {
        let root = tempfile::tempdir().unwrap();
        let out = root.path().join("mine");
        fs::create_dir(&out).unwrap();
        fs::write(out.join("notes.txt"), "keep me").unwrap();
        for replace in [false, true] {
            let Err(WriteError::Strange { stranger, .. }) = Folder::beside(&out, replace) else { panic!("replaced") };
            assert_eq!(stranger, "notes.txt");
        }
        // A summary of another program, whatever it lists.
        fs::write(out.join(SUMMARY), "{\"files\": [\"notes.txt\"], \"software\": {}}").unwrap();
        assert!(matches!(Folder::beside(&out, true), Err(WriteError::Strange { .. })));
        assert!(out.join("notes.txt").exists());
    }

    #[test]
    fn what_was_changed_or_added_is_replaced_only_where_that_is_asked_for() {
        let root = tempfile::tempdir().unwrap();
        let mut outputs = 0;
        let mut change = |file: &str, text: &str| {
            outputs += 1;
            let out = root.path().join(outputs.to_string());
            made(&out, "one");
            fs::write(out.join(file), text).unwrap();
            let refused = Folder::beside(&out, false).err().unwrap();
            drop(Folder::beside(&out, true).unwrap());
            refused.to_string()
        };
        // Of the same length, longer, another file, the summary.
        assert!(change("a.txt", "two").contains("a.txt was changed since"));
        assert!(change("a.txt", "one and more").contains("a.txt was changed since"));
        assert!(change("b.txt", "").contains("holds b.txt, which this program did not write"));
        let out = root.path().join("seal");
        made(&out, "one");
        let told = fs::read_to_string(out.join(SUMMARY)).unwrap();
        fs::write(out.join(SUMMARY), told.replace("\"1\"", "\"2\"")).unwrap();
        assert!(matches!(Folder::beside(&out, false), Err(WriteError::Changed { .. })));
        // What the person took out of it is no work of theirs, and a new date is no change.
        let out = root.path().join("less");
        made(&out, "one");
        File::open(out.join(SUMMARY)).unwrap().set_modified(std::time::SystemTime::UNIX_EPOCH).unwrap();
        drop(Folder::beside(&out, false).unwrap());
        fs::remove_file(out.join("a.txt")).unwrap();
        drop(Folder::beside(&out, false).unwrap());
    }

    #[test]
    fn work_saved_while_a_run_goes_on_is_not_replaced() {
        let root = tempfile::tempdir().unwrap();
        for (name, touch) in [("added", "note.txt"), ("changed", "a.txt")] {
            for replace in [false, true] {
                let out = root.path().join(format!("{name}-{replace}"));
                made(&out, "one");
                let folder = Folder::beside(&out, replace).unwrap();
                let summary = summary(&folder);
                fs::write(out.join(touch), "mine").unwrap();
                let done = folder.commit(&summary);
                // To replace what was changed was asked for; a new file was not there to be asked about.
                assert_eq!(done.is_ok(), replace && touch == "a.txt", "{name} {replace}");
                assert_eq!(out.join(touch).exists() && fs::read_to_string(out.join(touch)).unwrap() == "mine", done.is_err());
                assert!(!root.path().join(format!(".{name}-{replace}.partial")).exists());
            }
        }
        // A folder that comes where none was.
        let out = root.path().join("new");
        let folder = begun(&out, "one");
        fs::create_dir(&out).unwrap();
        fs::write(out.join("note.txt"), "mine").unwrap();
        let summary = summary(&folder);
        assert!(matches!(folder.commit(&summary), Err(WriteError::Strange { .. })));
        assert_eq!(names(&out).unwrap(), ["note.txt"]);
    }

    #[test]
    fn a_folder_of_the_user_with_the_name_of_ours_is_not_touched() {
        let root = tempfile::tempdir().unwrap();
        let (out, partial) = (root.path().join("layers"), root.path().join(".layers.partial"));
        fs::create_dir(&partial).unwrap();
        fs::write(partial.join("thesis.txt"), "years").unwrap();
        assert!(matches!(Folder::beside(&out, true), Err(WriteError::InTheWay { .. })));
        assert_eq!(names(&partial).unwrap(), ["thesis.txt"]);
        // What a killed run left is known by its mark, and removed.
        fs::write(partial.join(MARKER), "").unwrap();
        made(&out, "one");
        // So is a former output that was being removed.
        fs::rename(&out, &partial).unwrap();
        fs::remove_file(partial.join("a.txt")).unwrap();
        made(&out, "two");
        assert_eq!(names(root.path()).unwrap(), ["layers"]);
    }

    #[cfg(unix)]
    #[test]
    fn a_link_to_a_folder_stays_a_link() {
        let root = tempfile::tempdir().unwrap();
        let (target, link) = (root.path().join("store/layers"), root.path().join("layers"));
        fs::create_dir_all(&target).unwrap();
        std::os::unix::fs::symlink("store/layers", &link).unwrap();
        made(&link, "one");
        made(&link, "two");
        assert_eq!(read(&target), "two");
        assert!(fs::symlink_metadata(&link).unwrap().is_symlink());
        assert_eq!(names(&root.path().join("store")).unwrap(), ["layers"]);
        fs::rename(&target, root.path().join("store/moved")).unwrap();
        assert!(matches!(Folder::beside(&link, true), Err(WriteError::Dangling { .. })));
    }

    #[test]
    fn two_runs_do_not_write_to_one_place() {
        let root = tempfile::tempdir().unwrap();
        let out = root.path().join("layers");
        let _first = Folder::beside(&out, false).unwrap();
        assert!(matches!(Folder::beside(&out, false), Err(WriteError::Busy { .. })));
    }
}
