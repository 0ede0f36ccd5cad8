//! When a row was measured.

use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::Offset;

/// When a row was measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct When {
    /// The local date.
    pub date: Date,
    /// The instant, with the offset from UTC that the local time had; none where only the day is known.
    pub instant: Option<(Timestamp, Offset)>,
}

/// A shot's time and the base it names.
#[derive(Debug, Clone, PartialEq)]
pub struct ShotTime {
    /// When.
    pub instant: Timestamp,
    /// Name of the base, where the log has it.
    pub base: Option<String>,
}
