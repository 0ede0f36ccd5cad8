//! Grid files for PROJ: where they are, and copies of those in GeoTIFF that it can read.
//!
//! The PROJ inside the program has no TIFF library, and the grids that its database names are GeoTIFF
//! files ("Geodetic TIFF grids", PROJ's documentation). GDAL, which is inside too, reads them: vertical
//! grids become GTX, horizontal shifts NTv2, with the same nodes and the same 4-byte values. Velocities,
//! geocentric translations and shifts in three dimensions fit neither, and are refused.
//!
//! A copy is made once per grid and process, when PROJ first asks for it, in a temporary folder that none
//! but the user can enter and that goes when the program ends. A grid that cannot be converted counts as
//! not installed; [`problem`] says why.

mod folder;
mod gtx;
mod ntv2;
#[cfg(test)]
mod tests;
mod tiff;

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{self, BufWriter, Read, Write};
use std::path::{Path, PathBuf};
use std::sync::Mutex;

use crate::geodesy::geoid::NoLattice;
use tiff::GridContents;

/// Why grids that were found cannot be used, by PROJ's names of them.
static PROBLEMS: Mutex<BTreeMap<String, String>> = Mutex::new(BTreeMap::new());

/// Removes all copies at once, for a program that a signal ends.
pub(super) fn remove_copies() {
    folder::remove_now();
}

/// Why a grid file is of no use.
#[derive(Debug, thiserror::Error)]
enum GridProblem {
    #[error("it cannot be read: {0}")]
    Read(io::Error),
    #[error("it is no GeoTIFF file, or a damaged one")]
    NotTiff,
    #[error("it is cut short or damaged")]
    Damaged,
    #[error("{0}")]
    Layout(NoLattice),
    #[error("it holds {0}; only vertical grids and horizontal shifts can be used")]
    Kind(String),
    #[error("it does not say what it holds")]
    Unnamed,
    #[error("it has no band {0}")]
    NoBand(&'static str),
    #[error("its longitude offsets are positive towards \"{0}\", which is neither east nor west")]
    Positive(String),
    #[error("the unit of its values is \"{0}\"")]
    Unit(String),
    #[error("it is meant for {0} interpolation; only bilinear can be used")]
    Interpolation(String),
    #[error("it holds {0} vertical grids; a file of one can be used")]
    SeveralVertical(usize),
    #[error("it has {0} nodes, more than the copy can have")]
    Large(u64),
    #[error("the value at latitude {lat_deg:.4}, longitude {lon_deg:.4} is {value}, which is no {what}")]
    Value { lat_deg: f64, lon_deg: f64, value: f64, what: &'static str },
    #[error("no copy of it could be written to {}: {error}", folder.display())]
    Copy { folder: PathBuf, error: io::Error },
}

/// What a writer of a copy stops at.
#[derive(Debug)]
enum Stop {
    /// The grid is of no use.
    Grid(GridProblem),
    /// The copy cannot be written.
    Copy(io::Error),
}

impl From<GridProblem> for Stop {
    fn from(problem: GridProblem) -> Stop {
        Stop::Grid(problem)
    }
}

impl From<io::Error> for Stop {
    fn from(error: io::Error) -> Stop {
        Stop::Copy(error)
    }
}

impl From<gdal::errors::GdalError> for Stop {
    fn from(_: gdal::errors::GdalError) -> Stop {
        Stop::Grid(GridProblem::Damaged)
    }
}

/// The file that PROJ is to read for a name: the one in the folders of `PROJ_DATA` (or `PROJ_LIB`), or its
/// copy. Asked once per name and process.
pub(super) fn find(name: &str) -> Option<PathBuf> {
    let folders = std::env::var_os("PROJ_DATA").or_else(|| std::env::var_os("PROJ_LIB"))?;
    let path = std::env::split_paths(&folders).map(|folder| folder.join(name)).find(|path| path.is_file())?;
    if !is_named_tiff(&path) && !is_tiff(&path) {
        return Some(path);
    }
    match convert(&path) {
        Ok(copy) => Some(copy),
        Err(problem) => {
            let problem = format!("{} is there, but {problem}", path.display());
            PROBLEMS.lock().unwrap_or_else(|poisoned| poisoned.into_inner()).insert(name.to_owned(), problem);
            None
        }
    }
}

/// Why a grid that was found cannot be used, in a clause that names the file; none where there is no such
/// file or nothing is wrong with it.
pub(super) fn problem(name: &str) -> Option<String> {
    PROBLEMS.lock().unwrap_or_else(|poisoned| poisoned.into_inner()).get(name).cloned()
}

/// Whether a name ends as those of TIFF files do.
pub(super) fn is_named_tiff(name: &Path) -> bool {
    name.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("tif") || ending.eq_ignore_ascii_case("tiff"))
}

/// Whether a file begins as TIFF or BigTIFF does, of either byte order.
pub(super) fn is_tiff(path: &Path) -> bool {
    let mut head = [0; 4];
    let read = File::open(path).and_then(|mut file| file.read_exact(&mut head));
    read.is_ok() && [b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"].contains(&&head)
}

/// A copy of a GeoTIFF grid that PROJ can read.
fn convert(source: &Path) -> Result<PathBuf, GridProblem> {
    // Before GDAL sees the name, which it may take for something else than a file.
    File::open(source).map_err(GridProblem::Read)?;
    let contents = tiff::open(source)?;
    let ending = match &contents {
        GridContents::Vertical(_) => "gtx",
        GridContents::Horizontal(_) => "gsb",
    };
    let mut name = source.file_name().unwrap_or_default().to_owned();
    name.push(".");
    name.push(ending);
    let no_copy = |error| GridProblem::Copy { folder: std::env::temp_dir(), error };
    let copy = folder::new_path(&name).map_err(no_copy)?;
    if copy.to_str().is_none() {
        return Err(no_copy(io::Error::new(io::ErrorKind::InvalidFilename, "its name is not UTF-8")));
    }
    let write = || -> Result<(), Stop> {
        let mut out = BufWriter::new(File::create_new(&copy)?);
        match &contents {
            GridContents::Vertical(grid) => gtx::write(&mut out, grid)?,
            GridContents::Horizontal(grids) => ntv2::write(&mut out, grids)?,
        }
        Ok(out.flush()?)
    };
    write().map_err(|stop| {
        // What is left of it goes with the folder.
        let _ = std::fs::remove_file(&copy);
        match stop {
            Stop::Grid(problem) => problem,
            Stop::Copy(error) => no_copy(error),
        }
    })?;
    Ok(copy)
}
