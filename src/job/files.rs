//! The files that a job names: single ones, and those that a pattern stands for.
//!
//! `*`, `?` and `[…]` match within a name, `**` any number of folders. Links to folders are followed where a pattern
//! names them, not below `**`: a link to a folder above itself would have no end. What the job writes is no log of it.

use std::collections::HashSet;
use std::fs;
use std::io;
use std::path::{Component, Path, PathBuf};

use glob::{MatchOptions, Pattern};

use crate::disk;

const WITHIN_A_NAME: MatchOptions =
    MatchOptions { case_sensitive: true, require_literal_separator: true, require_literal_leading_dot: false };

/// Why the files that a job names are not found.
#[derive(Debug, thiserror::Error)]
pub enum FilesError {
    /// None is named.
    #[error("files is empty; name at least one log")]
    NoneNamed,
    /// There is no such file.
    #[error("no file {}", .0.display())]
    Missing(PathBuf),
    /// It cannot be read.
    #[error("{}: cannot be read: {source}", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// The system's reason.
        source: io::Error,
    },
    /// A pattern that is none.
    #[error("\"{pattern}\" is no pattern: {problem}")]
    NoPattern {
        /// The pattern.
        pattern: String,
        /// Why.
        problem: NoPattern,
    },
    /// A folder that a pattern goes through cannot be read.
    #[error("\"{pattern}\": {}: {source}", folder.display())]
    Folder {
        /// The pattern.
        pattern: String,
        /// The folder.
        folder: PathBuf,
        /// The system's reason.
        source: io::Error,
    },
    /// Nothing matches.
    #[error("no file matches \"{pattern}\" in {}", folder.display())]
    NoMatch {
        /// The pattern.
        pattern: String,
        /// Where its files were looked for.
        folder: PathBuf,
    },
}

/// Why a text is no pattern.
#[derive(Debug, thiserror::Error)]
pub enum NoPattern {
    /// Two stars within a name.
    #[error("** stands alone between two slashes")]
    Folders,
    /// Brackets that are not closed, or the like.
    #[error("{}", .0.msg)]
    Pattern(#[from] glob::PatternError),
}

/// Files of patterns, each once with its name for people, those of one pattern in the order of their names. `output` is
/// the folder that the job writes.
///
/// # Errors
/// When a file is not there or is no file, a pattern is none or matches nothing, or a folder cannot be read.
pub fn resolve(patterns: &[String], folder: &Path, output: Option<&Path>) -> Result<Vec<(PathBuf, String)>, FilesError> {
    if patterns.is_empty() {
        return Err(FilesError::NoneNamed);
    }
    let (mut found, mut known): (Vec<(PathBuf, String)>, HashSet<PathBuf>) = Default::default();
    for pattern in patterns {
        let paths = match pattern.contains(['*', '?', '[']) {
            true => matches(pattern, folder, output)?,
            false => vec![single(&folder.join(pattern))?],
        };
        for path in paths {
            // One file under two names is one log.
            let place = fs::canonicalize(&path).unwrap_or_else(|_| path.clone());
            if known.insert(place) {
                let name = path.strip_prefix(folder).unwrap_or(&path).display().to_string();
                found.push((path, name));
            }
        }
    }
    Ok(found)
}

fn single(path: &Path) -> Result<PathBuf, FilesError> {
    match disk::check(path) {
        Ok(()) => Ok(path.to_owned()),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Err(FilesError::Missing(path.to_owned())),
        Err(source) => Err(FilesError::Unreadable { path: path.to_owned(), source }),
    }
}

fn matches(pattern: &str, folder: &Path, output: Option<&Path>) -> Result<Vec<PathBuf>, FilesError> {
    let parts: Vec<PatternPart> = Path::new(pattern)
        .components()
        .map(PatternPart::parse)
        .collect::<Result<_, _>>()
        .map_err(|problem| FilesError::NoPattern { pattern: pattern.to_owned(), problem })?;
    // It need not be there yet.
    let output = output.and_then(|output| Some(fs::canonicalize(output.parent()?).ok()?.join(output.file_name()?)));
    let mut walk = FolderWalk { output, found: Vec::new() };
    let unread = |(folder, source)| FilesError::Folder { pattern: pattern.to_owned(), folder, source };
    walk.below(folder.to_owned(), &parts).map_err(unread)?;
    let mut paths = walk.found;
    paths.sort();
    paths.dedup();
    if paths.is_empty() {
        return Err(FilesError::NoMatch { pattern: pattern.to_owned(), folder: folder.to_owned() });
    }
    Ok(paths)
}

/// A part of a pattern between two slashes.
enum PatternPart {
    /// As it stands.
    Plain(PathBuf),
    /// Names.
    Names(Pattern),
    /// Any number of folders.
    Folders,
}

impl PatternPart {
    fn parse(component: Component) -> Result<PatternPart, NoPattern> {
        let text = component.as_os_str().to_string_lossy();
        if !text.contains(['*', '?', '[']) {
            return Ok(PatternPart::Plain(PathBuf::from(component.as_os_str())));
        }
        if text == "**" {
            return Ok(PatternPart::Folders);
        }
        if text.contains("**") {
            return Err(NoPattern::Folders);
        }
        Ok(PatternPart::Names(Pattern::new(&text)?))
    }
}

struct FolderWalk {
    output: Option<PathBuf>,
    found: Vec<PathBuf>,
}

type Unread = (PathBuf, io::Error);

impl FolderWalk {
    /// Finds the files of the rest of a pattern below a folder.
    fn below(&mut self, at: PathBuf, parts: &[PatternPart]) -> Result<(), Unread> {
        let Some((part, rest)) = parts.split_first() else {
            if at.is_file() {
                self.found.push(at);
            }
            return Ok(());
        };
        match part {
            PatternPart::Plain(name) => self.below(at.join(name), rest),
            PatternPart::Names(pattern) => {
                for path in self.entries(&at)? {
                    let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
                    if pattern.matches_with(&name, WITHIN_A_NAME) {
                        self.below(path, rest)?;
                    }
                }
                Ok(())
            }
            PatternPart::Folders => {
                // `a/**` stands for all files below, `a/**/b` for those of the rest of the pattern in any folder below.
                let all = [PatternPart::Names(Pattern::new("*").unwrap_or_default())];
                self.below(at.clone(), if rest.is_empty() { &all } else { rest })?;
                for path in self.entries(&at)? {
                    if fs::symlink_metadata(&path).is_ok_and(|known| known.is_dir()) {
                        self.below(path, parts)?;
                    }
                }
                Ok(())
            }
        }
    }

    /// What is in a folder, but for what the job writes; nothing where it is none, or is gone by now.
    fn entries(&self, folder: &Path) -> Result<Vec<PathBuf>, Unread> {
        let listed = match fs::read_dir(folder) {
            Ok(listed) => listed,
            Err(error) if matches!(error.kind(), io::ErrorKind::NotFound | io::ErrorKind::NotADirectory) => return Ok(Vec::new()),
            Err(error) => return Err((folder.to_owned(), error)),
        };
        let mut paths = Vec::new();
        for entry in listed {
            match entry {
                Ok(entry) if !self.is_output(&entry) => paths.push(entry.path()),
                Ok(_) => {}
                Err(error) if error.kind() == io::ErrorKind::NotFound => {}
                Err(error) => return Err((folder.to_owned(), error)),
            }
        }
        Ok(paths)
    }

    /// Whether a folder is that of the output, now or while it is made.
    fn is_output(&self, entry: &fs::DirEntry) -> bool {
        let Some(output) = &self.output else { return false };
        let (Some(parent), Some(name)) = (output.parent(), output.file_name()) else { return false };
        let own = entry.file_name();
        let making = format!(".{}.partial", name.to_string_lossy());
        (own == name || own.to_string_lossy() == making)
            && entry.path().parent().is_some_and(|folder| fs::canonicalize(folder).is_ok_and(|folder| folder == parent))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(patterns: &[&str], folder: &Path) -> Result<Vec<String>, FilesError> {
        let patterns: Vec<String> = patterns.iter().map(|pattern| (*pattern).to_owned()).collect();
        let out = folder.join("out");
        Ok(resolve(&patterns, folder, Some(&out))?.into_iter().map(|(_, name)| name).collect())
    }

    fn logs() -> tempfile::TempDir {
        let root = tempfile::tempdir().unwrap();
        for name in ["a.csv", "b.csv", "c.txt", "day1/a.csv", "day1/late/x.csv", "day2/a.csv", "out/t.features.csv"] {
            let path = root.path().join(name);
            fs::create_dir_all(path.parent().unwrap()).unwrap();
            fs::write(path, "x").unwrap();
        }
        root
    }

    #[test]
    fn patterns_find_files_in_the_order_of_their_names() {
        let root = logs();
        let of = |patterns: &[&str]| names(patterns, root.path());
        assert_eq!(of(&["*.csv"]).unwrap(), ["a.csv", "b.csv"]);
        assert_eq!(of(&["b.csv", "*.csv"]).unwrap(), ["b.csv", "a.csv"]);
        assert_eq!(of(&["day?/a.csv"]).unwrap(), ["day1/a.csv", "day2/a.csv"]);
        assert_eq!(of(&["day[1]/*.csv"]).unwrap(), ["day1/a.csv"]);
        // What the job writes is no log.
        assert_eq!(of(&["**/*.csv"]).unwrap(), ["a.csv", "b.csv", "day1/a.csv", "day1/late/x.csv", "day2/a.csv"]);
        assert_eq!(of(&["day1/**"]).unwrap(), ["day1/a.csv", "day1/late/x.csv"]);
        assert_eq!(of(&["day1/../b.c?v"]).unwrap(), ["day1/../b.csv"]);
        assert!(of(&["x*.csv"]).unwrap_err().to_string().starts_with("no file matches \"x*.csv\" in "));
        assert!(of(&["day1"]).unwrap_err().to_string().ends_with("day1: cannot be read: it is a folder, not a file"));
        assert!(of(&["x.csv"]).unwrap_err().to_string().starts_with("no file "));
        assert!(of(&["a[.csv"]).unwrap_err().to_string().starts_with("\"a[.csv\" is no pattern: "));
    }

    #[cfg(unix)]
    #[test]
    fn a_link_round_to_the_top_is_no_end_of_logs_and_one_file_is_one_log() {
        let root = logs();
        std::os::unix::fs::symlink(root.path(), root.path().join("day1/round")).unwrap();
        std::os::unix::fs::symlink(root.path().join("a.csv"), root.path().join("same.csv")).unwrap();
        std::os::unix::fs::symlink(root.path().join("gone.csv"), root.path().join("lost.csv")).unwrap();
        let found = names(&["**/*.csv"], root.path()).unwrap();
        assert_eq!(found, ["a.csv", "b.csv", "day1/a.csv", "day1/late/x.csv", "day2/a.csv"]);
        // Named, the link is followed.
        assert_eq!(names(&["day1/round/day2/*.csv"], root.path()).unwrap(), ["day1/round/day2/a.csv"]);
    }
}
