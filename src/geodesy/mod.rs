//! Where things are on the earth: frames, covariances and errors that points share, coordinate reference systems, geoids, magnetic north.
//!
//! Every call to PROJ goes through [`crs`]. No rows and no files but grids live here.

pub mod correlated;
pub mod covariance;
pub mod crs;
pub mod frame;
pub mod geoid;
pub mod north;
