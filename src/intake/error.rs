//! Why a file of a job cannot be used at all.

use std::path::{Path, PathBuf};

use super::gpx::GpxError;
use super::kml::KmlError;
use super::log_layout::{LayoutError, SettingError};
use super::sheets::NoSheet;
use super::text::TextError;
#[cfg(feature = "gis")]
use super::vector::VectorError;
use super::workbook::WorkbookError;
#[cfg(feature = "gis")]
use crate::geodesy::crs::CrsError;

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
    /// The file is not of the kind that it is read as, or is damaged.
    #[error("{}: {problem}", path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// What is wrong and what to write.
        problem: Box<FileError>,
    },
    /// The headers and the job's columns do not fit.
    #[error("{}:{line}: {problem}", path.display())]
    Columns {
        /// The file.
        path: PathBuf,
        /// Line of the header.
        line: u64,
        /// What is wrong and what to write.
        problem: Box<LayoutError>,
    },
    /// A value that every row shares is missing or wrong.
    #[error(transparent)]
    Setting(#[from] SettingError),
}

impl IntakeError {
    /// A file that is not of its kind, or damaged.
    pub(super) fn file(path: &Path, problem: impl Into<FileError>) -> IntakeError {
        IntakeError::File { path: path.to_owned(), problem: Box::new(problem.into()) }
    }

    /// Headers that do not fit.
    pub(super) fn columns(path: &Path, line: u64, problem: impl Into<LayoutError>) -> IntakeError {
        IntakeError::Columns { path: path.to_owned(), line, problem: Box::new(problem.into()) }
    }
}

/// Why a file is not read as what it is taken for.
#[derive(Debug, thiserror::Error)]
pub enum FileError {
    /// Its bytes are no text of a log.
    #[error(transparent)]
    Text(#[from] TextError),
    /// Of a workbook.
    #[error(transparent)]
    Workbook(#[from] WorkbookError),
    /// None of a workbook's sheets is the log, or several are.
    #[error(transparent)]
    Sheet(#[from] NoSheet),
    /// Of a file of waypoints and tracks.
    #[error(transparent)]
    Gpx(#[from] GpxError),
    /// Of a file of placemarks.
    #[error(transparent)]
    Kml(#[from] KmlError),
    /// Of a vector file.
    #[cfg(feature = "gis")]
    #[error(transparent)]
    Vector(#[from] VectorError),
    /// A vector file that names no CRS, for which the job has none either.
    #[error("the file names no CRS; write the one its points are in as crs under [bases]")]
    NoCrs,
    /// The CRS that the job names for it.
    #[cfg(feature = "gis")]
    #[error(transparent)]
    Crs(#[from] CrsError),
    /// Fixes where points with names are wanted.
    #[error(
        "holds fixes of a receiver, but [known] is for points with names; map the base column, or name the file under [bases]"
    )]
    FixesAsKnown,
}
