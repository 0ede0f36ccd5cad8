//! A shot as its log has it: what one row says, or one of the several readings of a row.
//!
//! Every quantity is optional, in metres and radians, with the corrections of its instrument; whatever comes after intake takes
//! these, and knows nothing of columns.

use std::borrow::Cow;
use std::sync::Arc;

use super::echo::Echo;
use super::kit::Kit;
use super::ledger::{Fault, Flags};
use super::names;
use super::triangle::Triangle;
use super::when::When;
use crate::geodesy::north::NorthKind;
use crate::numeric::signs::Signs;

/// An azimuth as it was read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Azimuth {
    /// The north that it is counted from.
    pub north: NorthKind,
    /// In radians, the instrument's correction included, 0 ≤ azimuth < 2π.
    pub azimuth_rad: f64,
    /// The number in the log, to see repeats.
    pub as_read: f64,
}

/// What was measured. A value that is not there, or cannot be understood, is none.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Readings {
    /// Azimuth.
    pub azimuth: Option<Azimuth>,
    /// Inclination, up positive.
    pub inclination_rad: Option<f64>,
    /// Slope distance.
    pub slope_m: Option<f64>,
    /// Horizontal distance.
    pub horizontal_m: Option<f64>,
    /// Vertical distance, up positive.
    pub vertical_m: Option<f64>,
    /// Height of the instrument's axis over the base's ground point.
    pub instrument_height_m: Option<f64>,
    /// Height of the sighted spot over the feature's ground point.
    pub target_height_m: Option<f64>,
    /// Diameter of what was shot at its near face, with its standard error.
    pub face_diameter_m: Option<(f64, f64)>,
    /// Date and time.
    pub when: Option<When>,
    /// The echo that was kept.
    pub echo: Option<Echo>,
}

impl Readings {
    /// The sides that were measured; none where they make no triangle.
    pub fn triangle(&self) -> Option<Triangle> {
        match (self.slope_m, self.horizontal_m, self.vertical_m, self.inclination_rad) {
            (Some(slope_m), _, _, Some(inclination_rad)) => Some(Triangle::Slope { slope_m, inclination_rad }),
            (None, Some(horizontal_m), _, Some(inclination_rad)) => Some(Triangle::Horizontal { horizontal_m, inclination_rad }),
            (_, Some(horizontal_m), Some(vertical_m), None) => Some(Triangle::HorizontalVertical { horizontal_m, vertical_m }),
            (Some(slope_m), None, Some(vertical_m), None) => Some(Triangle::SlopeVertical { slope_m, vertical_m }),
            (_, Some(horizontal_m), None, None) => Some(Triangle::Level { horizontal_m }),
            (_, None, None, None) | (None, None, _, _) => None,
        }
    }

    /// The north and the azimuth in radians.
    pub fn bearing(&self) -> Option<(NorthKind, f64)> {
        self.azimuth.map(|azimuth| (azimuth.north, azimuth.azimuth_rad))
    }

    /// The day.
    pub fn date(&self) -> Option<jiff::civil::Date> {
        self.when.map(|when| when.date)
    }

    /// The instant.
    pub fn instant(&self) -> Option<jiff::Timestamp> {
        self.when.and_then(|when| when.instant).map(|(instant, _)| instant)
    }
}

/// What intake made of a row that is of the table and names a known instrument.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadRow {
    /// What was measured.
    pub readings: Readings,
    /// The instrument on that day.
    pub kit: Kit,
    /// Suspicions of the row alone; of one that makes no full shot only that its remark was joined.
    pub flags: Flags,
    /// Why it makes no full shot: the first thing that is missing or cannot be understood.
    pub fault: Option<Box<Fault>>,
    /// What is there and cannot be understood, beside anything that is merely missing.
    pub unreadable: Option<Box<Fault>>,
}

/// The words of a row.
#[derive(Debug, Clone, Default)]
pub struct Words<'t> {
    /// Name of the feature, as people read it.
    pub feature: Option<Cow<'t, str>>,
    /// Shot id, likewise.
    pub shot: Option<Cow<'t, str>>,
    /// Feature code.
    pub code: Option<&'t str>,
    /// Name of the string.
    pub string: Option<&'t str>,
    /// Kind of measurement.
    pub measure: Option<&'t str>,
    /// Role.
    pub role: Option<&'t str>,
    /// The echo in the log's word.
    pub echo: Option<&'t str>,
}

/// Where a row stands.
#[derive(Debug, Clone, Copy)]
pub struct RowPlace<'t> {
    /// Index of the file.
    pub file: usize,
    /// Line in it.
    pub line: u64,
    /// The row as it stands.
    pub text: &'t str,
    /// Which of the several readings of the line it is.
    pub reading: u16,
}

/// Carried columns of rows.
pub trait Cells: Sync {
    /// The text of a row in a carried column, and how its numbers are written.
    fn cell(&self, row: usize, column: usize) -> (&str, Signs);
}

/// One shot: readings, words, lineage.
#[derive(Clone)]
pub struct ShotRecord<'t> {
    /// What was read.
    pub read: &'t ReadRow,
    /// What it is called.
    pub words: Words<'t>,
    /// Where it stands.
    pub place: RowPlace<'t>,
    row: usize,
    cells: &'t dyn Cells,
}

impl<'t> ShotRecord<'t> {
    /// Of the row with this index among those of `cells`.
    pub fn new(read: &'t ReadRow, words: Words<'t>, place: RowPlace<'t>, row: usize, cells: &'t dyn Cells) -> ShotRecord<'t> {
        ShotRecord { read, words, place, row, cells }
    }

    /// What was measured.
    pub fn readings(&self) -> &'t Readings {
        &self.read.readings
    }

    /// Index of the row in its block.
    pub fn row(&self) -> usize {
        self.row
    }

    /// The file and line.
    pub fn file_and_line(&self) -> (usize, u64) {
        (self.place.file, self.place.line)
    }

    /// The text of a carried column, and how its numbers are written.
    pub fn cell(&self, column: usize) -> (&'t str, Signs) {
        self.cells.cell(self.row, column)
    }
}

/// A shot that outlives the block that it was read in: one that an adjustment takes.
#[derive(Debug, Clone)]
pub struct KeptShot {
    /// What was read.
    pub read: ReadRow,
    /// Index of the file, and line.
    pub place: (usize, u64),
    /// Which of the several readings of the line it is.
    pub reading: u16,
    /// The row as it stands.
    pub row: String,
    /// Name of the base, as bases are found by it.
    pub base: Option<String>,
    /// Whether its log names bases.
    pub log_names_bases: bool,
    /// Name of the feature, as points are found by it.
    pub feature_key: Option<String>,
    /// Code, role, shot id, echo and instrument as the log has them.
    pub code: Option<String>,
    /// See `code`.
    pub role: Option<String>,
    /// See `code`.
    pub shot: Option<String>,
    /// See `code`.
    pub echo: Option<String>,
    /// See `code`.
    pub instrument: Option<String>,
    /// Whether it belongs to no measurement and no string.
    pub stands_alone: bool,
    /// Texts of all carried columns, and how their numbers are written; empty of a sight to a base or known point.
    pub cells: Vec<String>,
    /// See `cells`.
    pub signs: Arc<[Signs]>,
}

impl KeptShot {
    /// Name of the feature for people.
    pub fn feature(&self) -> Option<String> {
        self.feature_key.as_deref().map(names::label)
    }

    /// What tells it from another row: the row itself, where an id or an instant says that rows alike are one; none else.
    pub fn identity(&self) -> Option<&str> {
        let is_told = self.shot.is_some() || self.read.readings.instant().is_some();
        is_told.then(|| self.row.trim())
    }
}

/// Conditions of the day, as a row has them.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Conditions {
    /// Temperature of the air, degrees Celsius.
    pub air_temperature_c: Option<String>,
    /// Speed of the wind, metres a second.
    pub wind_m_s: Option<String>,
    /// Temperature of the conductor, degrees Celsius.
    pub conductor_temperature_c: Option<String>,
    /// Current in the conductor, amperes.
    pub load_a: Option<String>,
    /// Others in words.
    pub words: Option<String>,
}

/// What a row says for the measurement or string that it belongs to.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Membership {
    /// Kind of measurement.
    pub measure: Option<String>,
    /// Name of the feature.
    pub feature: Option<String>,
    /// Name of the string.
    pub string: Option<String>,
    /// Number in the string.
    pub order: Option<f64>,
    /// Feature code.
    pub code: Option<String>,
    /// Role.
    pub role: Option<String>,
    /// Shot id.
    pub shot: Option<String>,
    /// Name of the level surface that it is sighted on.
    pub level: Option<String>,
    /// Conditions of the day.
    pub conditions: Conditions,
}
