//! Reading logs: from bytes to rows whose quantities are in metres and radians.
//!
//! [`text`] decodes a file, [`delimited`] cuts it into rows, [`columns`] knows the canonical names,
//! [`log_layout`] matches a file's headers to them, [`settle`] finds how the values of each column are written ([`numbers`], [`dates`],
//! [`words`]), [`cell`] reads values, and [`bases`] and [`shots`] make rows of each kind. There is no geodesy here.

#[cfg(feature = "gis")]
pub mod base_logs;
pub mod bases;
pub mod block;
pub mod calibration_log;
pub mod carried;
pub mod cell;
#[cfg(feature = "gis")]
pub mod checks;
pub mod columns;
pub mod dates;
pub mod delimited;
mod error;
pub mod extras;
pub mod fixes;
pub mod gpx;
#[cfg(feature = "gis")]
pub mod guess;
pub mod header;
mod headers;
mod inflated;
pub mod kind;
pub mod kml;
pub mod log;
pub mod log_layout;
mod names;
pub mod nmea;
pub mod numbers;
mod reader;
pub mod settle;
pub mod sheets;
pub mod shot_block;
pub mod shot_logs;
pub mod shot_rules;
pub mod shot_survey;
pub mod shots;
pub mod surplus;
mod survey;
pub mod text;
#[cfg(feature = "gis")]
pub mod vector;
pub mod words;
pub mod workbook;
pub mod written;
pub mod xml;

pub use error::{FileError, IntakeError, NoSheet, TextError};
pub use inflated::TooLarge;
pub use names::NameError;
