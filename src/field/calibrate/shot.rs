//! A shot of a calibration, and a row that is none.

use super::{CalibrationRole, Measure};
use crate::records::shot::Readings;

/// A shot of a calibration.
#[derive(Debug, Clone, PartialEq)]
pub struct CalibrationShot {
    /// File.
    pub file: String,
    /// Line.
    pub line: u64,
    /// The kind of calibration.
    pub measure: Measure,
    /// The part it plays.
    pub role: Option<CalibrationRole>,
    /// Name of the base, where the log has one.
    pub base: String,
    /// Name of the feature, where the log has one.
    pub feature: String,
    /// Name of the instrument, where the log has one.
    pub instrument: String,
    /// What was read, uncorrected.
    pub readings: Readings,
}

/// A row that could not be read.
#[derive(Debug, Clone, PartialEq)]
pub struct HeldRow {
    /// File.
    pub file: String,
    /// Line.
    pub line: u64,
    /// Why.
    pub sentence: String,
}
