//! Where the crew stood: occupations, clocks, bases on their datum, joins of shots with bases, orientation by backsights.
//!
//! No file is opened here.

pub mod base;
pub mod clock;
pub mod join;
pub mod occupation;
pub mod orientation;
