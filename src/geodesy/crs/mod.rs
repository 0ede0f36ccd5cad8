//! Coordinate reference systems and the operations between them: every call to PROJ.
//!
//! `proj.db` is inside the program; grid files are not. Those in GeoTIFF, which this PROJ does not read,
//! are handed to it as converted copies (`grid_files.rs`). Each operation is chosen by the rules of
//! [`OperationRules`], never in silence: what was chosen, and how good it is, stands in [`Operation`]. Between datums it is chosen for
//! the place ([`ByPlace`]), since the best operation of a country is seldom that of a whole continent.
//!
//! Coordinates are easting, northing or longitude, latitude (degrees) in this order, whatever the
//! order of the authority, with the height third.
//!
//! Some operations move with time: plates drift by centimetres a year against the frames that
//! satellites are tracked in. Those need the date of the positions in decimal years ([`CoordinateEpoch`]), and
//! refuse to work without it, though PROJ itself would fall back on a date of its own.

mod error;
#[cfg(test)]
mod geoid_grids;
mod grid_files;
mod null_shift;
mod operation;
mod places;
mod raw;
mod system;

pub use error::CrsError;
pub use operation::{CoordinateEpoch, Operation, OperationRules, Transform};
pub use places::ByPlace;
pub use system::{AreaOfUse, Crs, CrsKind, GridFactors};

/// Name and version of the PROJ library inside the program.
pub fn proj_version() -> String {
    raw::version()
}

/// Keeps GDAL to what is inside the program: no drivers or projection data from folders of the machine,
/// and its own messages off standard error; what matters of them reaches the user as an error.
pub fn seclude_gdal() {
    gdal::config::set_error_handler(|_, _, _| {});
    // Fails for names with a NUL alone.
    let _ = gdal::config::set_config_option("GDAL_DRIVER_PATH", "disable");
    raw::seclude_gdal();
}

/// Removes the copies of grids at once, for a program that a signal ends.
pub(crate) fn remove_copies() {
    grid_files::remove_copies();
}
