//! Where the crew stood: occupations, clocks, bases on their datum, joins of shots with bases, orientation by backsights.
//!
//! No file is opened here.

#[cfg(feature = "gis")]
pub mod base;
pub mod clock;
#[cfg(feature = "gis")]
pub mod errors;
#[cfg(feature = "gis")]
mod heights;
#[cfg(feature = "gis")]
pub mod join;
#[cfg(feature = "gis")]
pub mod occupation;
#[cfg(feature = "gis")]
pub mod orientation;
#[cfg(feature = "gis")]
mod recorded;
