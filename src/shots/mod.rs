//! A shot from its base to a point: reduced to a vector, located, joined with further shots of one feature, audited.
//!
//! No file is opened here.

pub mod audit;
pub mod centre;
#[cfg(feature = "gis")]
pub mod locate;
pub mod located;
#[cfg(feature = "gis")]
pub mod north;
pub mod reduce;
pub mod repeats;
#[cfg(feature = "gis")]
pub mod sighting;
