//! Why a file of a job cannot be used at all.

use std::path::{Path, PathBuf};

use super::gpx::GpxError;
use super::kind::NoLog;
use super::kml::KmlError;
use super::log_layout::error::{LayoutError, SettingError};
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

/// Why no sheet of a workbook is taken as the log. `table` is the job's.
#[derive(Debug, thiserror::Error)]
pub enum NoSheet {
    /// None has a cell.
    #[error("the workbook has no sheet with cells")]
    Empty,
    /// None has the name that the job gives.
    #[error("sheet = \"{wanted}\" under [{table}]: the workbook has the sheets {}", there.join(", "))]
    NoneNamed {
        /// The job's name or pattern.
        wanted: String,
        /// The table.
        table: &'static str,
        /// The sheets that there are.
        there: Vec<String>,
    },
    /// None has the columns.
    #[error(
        "no sheet has the columns of [{table}]; name it with sheet = \"…\" there, or mend its columns:{}",
        each_in_a_line(faults)
    )]
    NoneFits {
        /// The table.
        table: &'static str,
        /// What each lacks.
        faults: Vec<IntakeError>,
    },
    /// Several have the columns.
    #[error(
        "the sheets {} all have the columns of [{table}]; write there which one it is, such as sheet = \"{}\", or sheet = \"*\" for all",
        fitting.join(", "),
        fitting.first().map_or("", String::as_str)
    )]
    SeveralFit {
        /// Their names.
        fitting: Vec<String>,
        /// The table.
        table: &'static str,
    },
}

fn each_in_a_line(faults: &[IntakeError]) -> String {
    faults.iter().map(|fault| format!("\n  {fault}")).collect()
}

/// Why bytes are not read as text.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TextError {
    /// They are of another kind of file.
    #[error(transparent)]
    NoLog(#[from] NoLog),
    /// The job's label of the encoding names none.
    #[error("\"{0}\" names no encoding; write utf-8, windows-1252, iso-8859-15 or utf-16le")]
    UnknownLabel(String),
    /// They are not UTF-8 at this byte.
    #[error("not UTF-8 at byte {0}; name its encoding in the job: encoding = \"windows-1252\"")]
    NotUtf8(usize),
    /// Not all of them are in the encoding of this name.
    #[error("not {0} throughout; name its encoding in the job")]
    NotThroughout(&'static str),
}
