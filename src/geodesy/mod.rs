//! Where things are on the earth: frames, covariances and errors that points share, coordinate reference systems, geoids, magnetic north.
//!
//! Every call to PROJ goes through [`crs`]. No rows and no files but grids live here.

pub mod covariance;
#[cfg(feature = "gis")]
pub mod crs;
pub mod frame;
pub mod geoid;
#[cfg(feature = "gis")]
pub mod height_frame;
pub mod north;
pub mod register;
pub mod similarity;

/// Coefficient of refraction where the job gives none: 0.13, the mean of C. F. Gauss that geodesy
/// commonly takes (common practice, no source).
pub const REFRACTION: f64 = 0.13;

/// First decimal year that is believed as a date of positions.
pub const FIRST_EPOCH: f64 = 1900.0;
/// Last decimal year that is believed as a date of positions.
pub const LAST_EPOCH: f64 = 2100.0;

/// The radius of the sphere that a local frame is computed on, in metres: the Earth's mean radius.
pub const LOCAL_RADIUS_M: f64 = 6_371_000.0;

/// The name of a local frame: metres east and north of a zero that has no place on the Earth.
pub const LOCAL: &str = "local";
