//! Fixes: the positions that a GNSS receiver logged one after the other, from any kind of log.
//!
//! A fix belongs to no base yet: occupations make bases of fixes.

use std::sync::Arc;

use jiff::Timestamp;

use super::base_row::{Coordinates, Height, Provenance};
use super::ledger::Fault;
use crate::job::FixKind;

/// One epoch of a receiver.
#[derive(Debug, Clone, PartialEq)]
pub struct Fix {
    /// Index of the file.
    pub file: usize,
    /// Line in it.
    pub line: u64,
    /// When, in UTC as the receiver's log has it.
    pub instant: Timestamp,
    /// Position of the antenna.
    pub coordinates: Coordinates,
    /// Height of the antenna, of the kind that the log records.
    pub height: Option<Height>,
    /// Height of the geoid above the ellipsoid that the receiver itself took off, in metres.
    pub separation_m: Option<f64>,
    /// Kind of fix.
    pub kind: FixKind,
    /// Satellites used.
    pub satellites: Option<u32>,
    /// Horizontal dilution of precision.
    pub hdop: Option<f64>,
    /// Position dilution of precision.
    pub pdop: Option<f64>,
    /// Standard errors of east, north and height in metres, as the receiver states them.
    pub sigma_m: Option<[f64; 3]>,
    /// Speed over ground in metres a second.
    pub speed_m_s: Option<f64>,
}

/// What a log that is no receiver's own says beside a fix.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Beside {
    /// The CRS of the file, where that is not the one of `[bases]`.
    pub crs: Option<Arc<str>>,
    /// Whether the height is that of the ground point: the row gave the antenna height, and it is taken off.
    pub is_of_ground: bool,
    /// Instrument height in metres.
    pub instrument_height_m: Option<f64>,
    /// Epoch of the coordinates as a year with its fraction.
    pub coordinate_epoch: Option<f64>,
}

/// A line of a log that gives no fix.
#[derive(Debug, Clone, PartialEq)]
pub struct HeldLine {
    /// Line, counted from 1.
    pub line: u64,
    /// The line as it stands.
    pub raw: String,
    /// Why.
    pub fault: Fault,
}

/// What one log of fixes holds, in the order of the log.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct FixLog {
    /// The fixes.
    pub fixes: Vec<Fix>,
    /// Lines that were held.
    pub held: Vec<HeldLine>,
    /// Lines that are sound and of no use here: sentences of other kinds, blank lines.
    pub other_lines: u64,
}

/// A fix with the name of the base that its log gives it, if any, and the line as it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Epoch {
    /// The fix.
    pub fix: Fix,
    /// What its log says beside it.
    pub beside: Beside,
    /// Name of the base.
    pub name: Option<String>,
    /// The line of the log.
    pub raw: Arc<str>,
}

impl Epoch {
    /// Where it stands.
    pub fn origin(&self) -> Provenance {
        Provenance { file: self.fix.file, line: self.fix.line, raw: self.raw.clone() }
    }
}
