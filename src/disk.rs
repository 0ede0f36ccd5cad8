//! Files of the person's choosing, opened for reading: ordinary ones alone.
//!
//! A device or a pipe in place of a file would be read for ever, and the files that a system makes up of its own state
//! (Linux: those under `/proc` and `/sys`) hold things that belong in no message. Both are refused before a byte is read.

use std::fs::{File, FileType};
use std::io::{Error, ErrorKind, Read, Result};
use std::path::Path;

/// What stands for standard input on the command line.
pub const STANDARD_INPUT: &str = "-";

/// Opens an ordinary file.
///
/// # Errors
/// The system's reason, or what it is instead of a file.
pub fn open(path: &Path) -> Result<File> {
    check(path)?;
    let file = File::open(path)?;
    // What it was a moment ago says little of what was opened.
    regular(file.metadata()?.file_type())?;
    not_of_the_system(&file)?;
    Ok(file)
}

/// Whether a path leads to an ordinary file.
///
/// # Errors
/// As [`open`].
pub fn check(path: &Path) -> Result<()> {
    regular(std::fs::metadata(path)?.file_type())
}

/// The bytes of an ordinary file.
///
/// # Errors
/// As [`open`].
pub fn read(path: &Path) -> Result<Vec<u8>> {
    let mut file = open(path)?;
    let mut bytes = Vec::with_capacity(file.metadata().map_or(0, |known| known.len() as usize));
    file.read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// Reads until `room` is full or nothing is left; how many bytes came.
///
/// # Errors
/// The system's reason.
pub fn fill(file: &mut impl Read, room: &mut [u8]) -> Result<usize> {
    let mut filled = 0;
    while filled < room.len() {
        match file.read(&mut room[filled..]) {
            Ok(0) => break,
            Ok(more) => filled += more,
            Err(error) if error.kind() == ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
    Ok(filled)
}

/// The text of an ordinary file in UTF-8.
///
/// # Errors
/// As [`open`], and where it is not UTF-8.
pub fn read_text(path: &Path) -> Result<String> {
    String::from_utf8(read(path)?).map_err(|_| Error::other("it is not text in UTF-8"))
}

/// All of standard input, which may have this many bytes.
///
/// # Errors
/// The system's reason, or where it has more.
pub fn read_standard_input(most_bytes: u64) -> Result<Vec<u8>> {
    let mut bytes = Vec::new();
    std::io::stdin().lock().take(most_bytes + 1).read_to_end(&mut bytes)?;
    match bytes.len() as u64 > most_bytes {
        true => Err(Error::other(format!("it does not end within {} MB", most_bytes >> 20))),
        false => Ok(bytes),
    }
}

fn regular(kind: FileType) -> Result<()> {
    if kind.is_file() {
        return Ok(());
    }
    let what = if kind.is_dir() { "a folder" } else { other(kind) };
    Err(Error::other(format!("it is {what}, not a file")))
}

#[cfg(unix)]
fn other(kind: FileType) -> &'static str {
    use std::os::unix::fs::FileTypeExt;
    match kind {
        _ if kind.is_fifo() => "a pipe",
        _ if kind.is_socket() => "a socket",
        _ => "a device",
    }
}

#[cfg(not(unix))]
fn other(_: FileType) -> &'static str {
    "a device"
}

/// Linux makes the files under `/proc` and `/sys` up as they are read.
#[cfg(target_os = "linux")]
fn not_of_the_system(file: &File) -> Result<()> {
    // PROC_SUPER_MAGIC and SYSFS_MAGIC of linux/magic.h.
    const MADE_UP: [u64; 2] = [0x9fa0, 0x6265_6572];
    match rustix::fs::fstatfs(file) {
        Ok(found) if MADE_UP.contains(&(found.f_type as u64)) => {
            Err(Error::other("it shows the state of the system and is no log"))
        }
        _ => Ok(()),
    }
}

#[cfg(not(target_os = "linux"))]
fn not_of_the_system(_: &File) -> Result<()> {
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_ordinary_file_is_read_whole() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.csv");
        std::fs::write(&path, "base\n").unwrap();
        assert_eq!(read_text(&path).unwrap(), "base\n");
        std::fs::write(&path, b"\xff").unwrap();
        assert_eq!(read_text(&path).unwrap_err().to_string(), "it is not text in UTF-8");
    }

    #[test]
    fn a_folder_is_no_file() {
        let folder = tempfile::tempdir().unwrap();
        assert_eq!(read(folder.path()).unwrap_err().to_string(), "it is a folder, not a file");
    }

    /// A source that gives a few bytes at a time, and is interrupted between them.
    struct Halting(Vec<u8>, bool);

    impl Read for Halting {
        fn read(&mut self, room: &mut [u8]) -> Result<usize> {
            self.1 = !self.1;
            if self.1 {
                return Err(ErrorKind::Interrupted.into());
            }
            let length = room.len().min(3).min(self.0.len());
            room[..length].copy_from_slice(&self.0[..length]);
            self.0.drain(..length);
            Ok(length)
        }
    }

    #[test]
    fn what_comes_in_pieces_fills_the_room() {
        let (mut source, mut room) = (Halting((0..20).collect(), false), [0; 16]);
        assert_eq!(fill(&mut source, &mut room).unwrap(), 16);
        assert_eq!(room.as_slice(), (0..16).collect::<Vec<u8>>());
        assert_eq!(fill(&mut source, &mut room).unwrap(), 4);
        assert_eq!(fill(&mut source, &mut room).unwrap(), 0);
    }

    #[cfg(target_os = "linux")]
    #[test]
    fn devices_pipes_and_what_the_system_shows_are_refused_unread() {
        let folder = tempfile::tempdir().unwrap();
        let pipe = folder.path().join("pipe");
        assert!(std::process::Command::new("mkfifo").arg(&pipe).status().unwrap().success());
        let said = |path: &Path| read(path).unwrap_err().to_string();
        assert_eq!(said(&pipe), "it is a pipe, not a file");
        assert_eq!(said(Path::new("/dev/zero")), "it is a device, not a file");
        assert_eq!(said(Path::new("/proc/self/environ")), "it shows the state of the system and is no log");
    }
}
