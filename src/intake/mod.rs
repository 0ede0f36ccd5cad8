//! Reading logs: from bytes to rows whose quantities are in metres and radians.
//!
//! [`text`] decodes a file, [`delimited`] cuts it into rows, [`columns`] knows the canonical names,
//! [`log_layout`] matches a file's headers to them, [`settle`] finds how the values of each column are written ([`numbers`], [`dates`],
//! [`words`]), [`cell`] reads values, and [`bases`] and [`shots`] make rows of each kind. There is no geodesy here.

#[cfg(feature = "gis")]
pub mod base_logs;
pub mod bases;
pub mod block;
pub mod calibration_log;
pub mod carried;
pub mod cell;
#[cfg(feature = "gis")]
pub mod checks;
pub mod columns;
pub mod dates;
pub mod delimited;
pub mod extras;
pub mod fixes;
pub mod gpx;
#[cfg(feature = "gis")]
pub mod guess;
pub mod header;
mod headers;
mod inflated;
pub mod kind;
pub mod kml;
pub mod log;
pub mod log_layout;
mod names;
pub mod nmea;
pub mod numbers;
mod reader;
pub mod settle;
pub mod sheets;
pub mod shot_block;
pub mod shot_logs;
pub mod shot_rules;
pub mod shot_survey;
pub mod shots;
pub mod surplus;
mod survey;
pub mod text;
#[cfg(feature = "gis")]
pub mod vector;
pub mod words;
pub mod workbook;
pub mod xml;

use std::path::{Path, PathBuf};

impl IntakeError {
    /// The header stands in a file again with its columns in another order.
    pub fn other_header(path: &Path, line: u64) -> IntakeError {
        let problem = "the header stands here again with its columns in another order; split the file at this line".to_owned();
        IntakeError::Columns { path: path.to_owned(), line, problem }
    }
}

/// A file that cannot be used at all: the run fails before anything is written.
#[derive(Debug, thiserror::Error)]
pub enum IntakeError {
    /// The file cannot be opened or read.
    #[error("{}: cannot be read: {source}", path.display())]
    Read {
        /// The file.
        path: PathBuf,
        /// The system's reason.
        source: std::io::Error,
    },
    /// The encoding label is unknown, or the text is not in it.
    #[error("{}: {problem}", path.display())]
    Encoding {
        /// The file.
        path: PathBuf,
        /// What is wrong and what to write.
        problem: String,
    },
    /// The headers and the job's columns do not fit.
    #[error("{}:{line}: {problem}", path.display())]
    Columns {
        /// The file.
        path: PathBuf,
        /// Line of the header.
        line: u64,
        /// What is wrong and what to write.
        problem: String,
    },
    /// A value that every row shares is missing or wrong.
    #[error("{problem}")]
    Setting {
        /// What is wrong and what to write.
        problem: String,
    },
}
