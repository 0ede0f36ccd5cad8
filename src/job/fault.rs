//! What is wrong with a job or a catalogue: with its text, its values, the files that it names.

use std::path::PathBuf;

use super::catalogue::fault::CatalogueFault;
use super::files::FilesError;
use super::value_fault::ValueFault;
use crate::units::gps_time::LeapSecondsError;

/// What is wrong with a job or a catalogue.
#[derive(Debug, thiserror::Error)]
pub enum JobFault {
    /// Its text.
    #[error(transparent)]
    Text(#[from] TextFault),
    /// A value of a job.
    #[error(transparent)]
    Value(#[from] ValueFault),
    /// A value of a catalogue.
    #[error(transparent)]
    Catalogue(#[from] CatalogueFault),
    /// A file that the job names.
    #[error(transparent)]
    File(#[from] FilesError),
    /// The job's table of leap seconds.
    #[error(transparent)]
    LeapSeconds(#[from] LeapSecondsFile),
}

/// What is wrong with the text of settings.
#[derive(Debug, thiserror::Error)]
pub enum TextFault {
    /// Standard input cannot be read.
    #[error(transparent)]
    Unreadable(std::io::Error),
    /// It is no text.
    #[error("it is not text in UTF-8")]
    NotUtf8,
    /// It is no TOML.
    #[error("not TOML: {0}")]
    NotToml(String),
    /// What a starter job leaves open.
    #[error("{what} is still undecided: put in place of {mark} what its comment asks for{}", also_in(others))]
    Undecided {
        /// The key, or the name that is open.
        what: String,
        /// What stands there.
        mark: String,
        /// Others that are open: line, and key.
        others: Vec<(usize, String)>,
    },
    /// A key that there is not.
    #[error("unknown key {name}{}{}", in_table(path), or_known(nearest.as_ref(), known))]
    UnknownKey {
        /// The key.
        name: String,
        /// The tables that it stands in.
        path: Vec<String>,
        /// The key that it is likest to.
        nearest: Option<String>,
        /// The keys that there are.
        known: Vec<String>,
    },
    /// A value of another type.
    #[error("{} must be {}, not {found}", path.join("."), wanted.join(" or "))]
    WrongType {
        /// The key.
        path: Vec<String>,
        /// The types that it may have, in words.
        wanted: Vec<&'static str>,
        /// The type that it has.
        found: &'static str,
    },
    /// A value that its key cannot have, or a key that is missing, in the words of the reader of TOML.
    #[error("{0}")]
    NotRead(String),
}

/// Why the job's table of leap seconds is not read.
#[derive(Debug, thiserror::Error)]
pub enum LeapSecondsFile {
    /// The file.
    #[error(transparent)]
    File(#[from] FilesError),
    /// What is in it.
    #[error("{}: {problem}", path.display())]
    Table {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        problem: LeapSecondsError,
    },
}

fn also_in(others: &[(usize, String)]) -> String {
    let others: Vec<String> = others.iter().map(|(line, what)| format!("line {line} ({what})")).collect();
    if others.is_empty() { String::new() } else { format!("; also in {}", others.join(", ")) }
}

fn in_table(path: &[String]) -> String {
    if path.is_empty() { String::new() } else { format!(" in [{}]", path.join(".")) }
}

fn or_known(nearest: Option<&String>, known: &[String]) -> String {
    match nearest {
        Some(near) => format!("; did you mean {near}?"),
        None => format!("; known keys: {}", known.join(", ")),
    }
}
