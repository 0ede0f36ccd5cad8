//! Fixes: the positions that a GNSS receiver logged one after the other, from any kind of log.
//!
//! A fix belongs to no base yet: occupations make bases of fixes.

use std::sync::Arc;

use jiff::Timestamp;

use super::bases::{Coordinates, Height};
use crate::job::{FixKind, Quality};
use crate::records::ledger::{Fault, Reason};

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

/// What is wrong with a fix or a point by the job's rules: its kind, and its horizontal and position dilutions, each with
/// the name that it has in the log.
pub fn poor(kind: Option<FixKind>, dilutions: [(&str, Option<f64>); 2], kind_name: &str, rules: &Quality) -> Option<Fault> {
    let least = rules.least_fix;
    if let Some(kind) = kind.filter(|kind| *kind < least) {
        let say = format!("the fix is {}; the job wants {} or better", kind.word(), least.word());
        return Some(Fault::new(Reason::PoorFix, kind_name, kind.word(), say));
    }
    for ((name, value), greatest) in dilutions.into_iter().zip([rules.greatest_hdop, rules.greatest_pdop]) {
        if let (Some(value), Some(greatest)) = (value, greatest)
            && value > greatest
        {
            let say = format!("{name} {value} is above {greatest}, the largest that the job allows");
            return Some(Fault::new(Reason::PoorFix, name, &value.to_string(), say));
        }
    }
    None
}

impl FixKind {
    /// Every kind, the least trusted first.
    pub const ALL: [FixKind; 8] = [
        FixKind::Simulated,
        FixKind::Manual,
        FixKind::Estimated,
        FixKind::Unknown,
        FixKind::Single,
        FixKind::Differential,
        FixKind::Float,
        FixKind::Fixed,
    ];

    /// The word in layers and jobs.
    pub fn word(self) -> &'static str {
        match self {
            FixKind::Simulated => "simulated",
            FixKind::Manual => "manual",
            FixKind::Estimated => "estimated",
            FixKind::Unknown => "unknown",
            FixKind::Single => "single",
            FixKind::Differential => "differential",
            FixKind::Float => "float",
            FixKind::Fixed => "fixed",
        }
    }
}
