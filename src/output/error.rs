//! Why an output cannot be written.

use std::path::{Path, PathBuf};

use gdal::errors::GdalError;

use super::page::background::BackgroundError;
use crate::geodesy::crs::CrsError;

/// The output cannot be written.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// The account cannot be put into words.
    #[error("summary.json cannot be made: {0}")]
    Summary(serde_json::Error),
    /// The data of the page's map cannot be put into words.
    #[error("the page cannot be made: {0}")]
    Page(serde_json::Error),
    /// The file system says no.
    #[error("{}: {doing}: {source}", path.display())]
    File {
        /// The file or folder.
        path: PathBuf,
        /// What was tried.
        doing: &'static str,
        /// The system's reason.
        source: std::io::Error,
    },
    /// The output folder is not ours.
    #[error(
        "{} holds {stranger}, which this program did not write; the output folder is replaced as a whole, \
         so name another, or empty it", path.display()
    )]
    Strange {
        /// The folder.
        path: PathBuf,
        /// A file in it.
        stranger: String,
    },
    /// Something was added to a former output.
    #[error(
        "{} holds {added}, which this program did not write; the output folder is replaced as a whole, so keep that elsewhere, \
         name another folder, or have it thrown away", path.display()
    )]
    Added {
        /// The folder.
        path: PathBuf,
        /// A file in it.
        added: String,
    },
    /// A file of a former output is no longer as it was written.
    #[error(
        "{} was changed since this program wrote it (an edit, or a GIS that opened it for writing); keep it elsewhere, name another \
         folder, or have the change thrown away", path.join(changed).display()
    )]
    Changed {
        /// The folder.
        path: PathBuf,
        /// A file in it.
        changed: String,
    },
    /// The output folder is a link that leads nowhere.
    #[error(
        "{} is a link to {}, where nothing is; make that folder, or name another", path.display(), target.display()
    )]
    Dangling {
        /// The link.
        path: PathBuf,
        /// Where it leads.
        target: PathBuf,
    },
    /// A folder of the user has the name of the one that the output is made in.
    #[error(
        "{} is in the way: the output is made in a folder of that name, and this program did not make what is there; rename it, or \
         name another folder", path.display()
    )]
    InTheWay {
        /// The folder.
        path: PathBuf,
    },
    /// Another run writes to the same place.
    #[error("another run is writing to {}; wait for it, or name another folder", path.display())]
    Busy {
        /// The folder.
        path: PathBuf,
    },
    /// A format's library failed.
    #[error("{}: {doing}: {source}", path.display())]
    Format {
        /// The file.
        path: PathBuf,
        /// What was tried.
        doing: &'static str,
        /// The library's reason.
        source: FormatError,
    },
    /// The file under the page's map.
    #[error("{}: reading the page's background: {source}", path.display())]
    Background {
        /// The file.
        path: PathBuf,
        /// Why it is not read.
        source: BackgroundError,
    },
    /// PROJ fails where longitudes and latitudes are looked at in a plane.
    #[error("choosing the plane that the project is looked at in: {0}")]
    Plane(CrsError),
    /// A format wants coordinates in a system that cannot be reached.
    #[error("the {format} layers want WGS 84: {source}; or leave the format out")]
    Wgs84 {
        /// The format.
        format: &'static str,
        /// Why.
        source: CrsError,
    },
}

impl WriteError {
    /// The same of a folder by the name that the person has for it.
    pub(super) fn called(mut self, name: &Path) -> WriteError {
        match &mut self {
            WriteError::Strange { path, .. } | WriteError::Added { path, .. } | WriteError::Changed { path, .. } => {
                *path = name.to_owned();
            }
            _ => {}
        }
        self
    }

    pub(super) fn file(path: &Path, doing: &'static str) -> impl FnOnce(std::io::Error) -> WriteError + use<> {
        let path = path.to_owned();
        move |source| WriteError::File { path, doing, source }
    }

    pub(super) fn format<E: Into<FormatError>>(path: &Path, doing: &'static str) -> impl FnOnce(E) -> WriteError + use<E> {
        let path = path.to_owned();
        move |error| WriteError::Format { path, doing, source: error.into() }
    }
}

/// Why a format's library failed.
#[derive(Debug, thiserror::Error)]
pub enum FormatError {
    /// GDAL, without its numbers and the names of its functions.
    #[error("{}", without_numbers(.0))]
    Gdal(#[from] GdalError),
    /// SQLite.
    #[error(transparent)]
    Sqlite(#[from] rusqlite::Error),
    /// Comma-separated text.
    #[error(transparent)]
    Csv(#[from] csv::Error),
    /// The shapes of a Shapefile.
    #[error(transparent)]
    Shapes(#[from] shapefile::Error),
    /// Its table.
    #[error(transparent)]
    Table(#[from] dbase::Error),
    /// The name of a field of that table.
    #[error("{0}")]
    FieldName(&'static str),
    /// A system that the format wants.
    #[error(transparent)]
    Crs(#[from] CrsError),
}

impl From<&'static str> for FormatError {
    fn from(why: &'static str) -> FormatError {
        FormatError::FieldName(why)
    }
}

fn without_numbers(error: &GdalError) -> String {
    match error {
        GdalError::CplError { msg, .. } | GdalError::NullPointer { msg, .. } if !msg.is_empty() => msg.clone(),
        GdalError::OgrError { .. } => "the format does not take it".to_owned(),
        other => other.to_string(),
    }
}
