//! The temporary folder for copies of grids: made when the first is wanted, gone when the program ends.
//!
//! On Unix none but the user can enter it. A program that is killed leaves its folder behind; the next one
//! that needs such a folder removes it. A lock on a file inside tells that a folder is still in use.

use std::ffi::{OsStr, OsString};
use std::fs::{self, DirBuilder, File};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::time::{Duration, SystemTime};

const PREFIX: &str = "standoff-grids-";
const LOCK: &str = "in-use";
/// A folder this old whose lock is free was left behind; a younger one may be about to take its lock.
const SETTLED: Duration = Duration::from_secs(600);

struct GridFolder {
    path: PathBuf,
    /// Locked until the process ends.
    _lock: File,
    files: u32,
}

static FOLDER: Mutex<Option<GridFolder>> = Mutex::new(None);

/// A path for a new file in the folder. Its name ends in `name`.
///
/// # Errors
/// When the folder cannot be made.
pub(super) fn new_path(name: &OsStr) -> io::Result<PathBuf> {
    let mut kept = FOLDER.lock().unwrap_or_else(|poisoned| poisoned.into_inner());
    let folder = match &mut *kept {
        Some(folder) => folder,
        None => {
            let parent = std::env::temp_dir();
            remove_abandoned(&parent);
            let made = make(&parent)?;
            crate::geodesy::crs::raw::at_the_end(remove);
            kept.insert(made)
        }
    };
    folder.files += 1;
    let mut numbered = OsString::from(format!("{}-", folder.files));
    numbered.push(name);
    Ok(folder.path.join(numbered))
}

/// Makes a folder that did not exist before.
fn make(parent: &Path) -> io::Result<GridFolder> {
    const ATTEMPTS: u32 = 100;
    let mut builder = DirBuilder::new();
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    let since = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH).unwrap_or_default().as_nanos();
    let mut attempt = 0;
    let path = loop {
        let path = parent.join(format!("{PREFIX}{}-{since}-{attempt}", std::process::id()));
        match builder.create(&path) {
            Ok(()) => break path,
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists && attempt < ATTEMPTS => attempt += 1,
            Err(error) => return Err(error),
        }
    };
    let lock = File::create_new(path.join(LOCK))?;
    // Where locks are not to be had, nobody can take it for abandoned either.
    let _ = lock.lock();
    Ok(GridFolder { path, _lock: lock, files: 0 })
}

/// Removes folders of processes that ended without doing it, as far as that is allowed.
fn remove_abandoned(parent: &Path) {
    let Ok(entries) = fs::read_dir(parent) else { return };
    for entry in entries.flatten().filter(|entry| entry.file_name().to_string_lossy().starts_with(PREFIX)) {
        let path = entry.path();
        let is_settled = || {
            let changed = entry.metadata().ok().filter(fs::Metadata::is_dir)?.modified().ok()?;
            Some(changed.elapsed().ok()? > SETTLED)
        };
        let lock = path.join(LOCK);
        let is_file = || lock.symlink_metadata().is_ok_and(|found| found.is_file());
        if is_settled() == Some(true) && is_file() && File::open(&lock).is_ok_and(|lock| lock.try_lock().is_ok()) {
            let _ = fs::remove_dir_all(&path);
        }
    }
}

/// Removes the folder at once, for a program that a signal ends.
pub(super) fn remove_now() {
    remove();
}

/// Removes the folder. Nothing is to be done about a failure: the program is ending.
extern "C" fn remove() {
    if let Some(folder) = FOLDER.try_lock().ok().and_then(|mut kept| kept.take()) {
        let GridFolder { path, _lock, .. } = folder;
        drop(_lock);
        let _ = fs::remove_dir_all(path);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn folders_left_behind_go_and_those_in_use_stay() {
        let parent = tempfile::tempdir().unwrap();
        let old = SystemTime::now() - 2 * SETTLED;
        let (used, left, young) = (make(parent.path()).unwrap(), make(parent.path()).unwrap(), make(parent.path()).unwrap());
        let stranger = parent.path().join("other");
        fs::create_dir(&stranger).unwrap();
        for path in [&used.path, &left.path, &stranger] {
            fs::write(path.join("grid.gtx"), "").unwrap();
            File::open(path).unwrap().set_modified(old).unwrap();
        }
        let [left, young] = [left, young].map(|GridFolder { path, _lock, .. }| path);
        remove_abandoned(parent.path());
        assert_eq!([&used.path, &left, &young, &stranger].map(|path| path.exists()), [true, false, true, true]);
    }

    #[cfg(unix)]
    #[test]
    fn none_but_the_user_can_enter() {
        use std::os::unix::fs::PermissionsExt;
        let parent = tempfile::tempdir().unwrap();
        let folder = make(parent.path()).unwrap();
        assert_eq!(fs::metadata(&folder.path).unwrap().permissions().mode() & 0o777, 0o700);
    }
}
