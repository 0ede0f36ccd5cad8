//! Logs of calibration shots: rows whose readings stand as they were read, without any correction of an instrument.

use super::IntakeError;
use super::block::{Chunk, cut};
use super::columns::Quantity;
use super::delimited::{Row, Rows};
use super::log_layout::LogLayout;
use super::shots::bare_readings;
use super::text::Text;
use super::words::plain;
use crate::job::LogFormat;
use crate::records::ledger::{Counts, Fault};
use crate::records::names::label;
use crate::records::shot::Readings;

/// Kinds of calibrations.
const KINDS: [&str; 3] = ["known_line", "two_way", "two_peg"];

/// A row of such a log. Words that the log does not have are empty.
#[derive(Debug, Clone)]
pub struct BareShot {
    /// Kind of calibration.
    pub measure: String,
    /// The part that it plays.
    pub role: String,
    /// Name of the base.
    pub base: String,
    /// Name of the feature.
    pub feature: String,
    /// Name of the instrument.
    pub instrument: String,
    /// What was read.
    pub readings: Result<Readings, Fault>,
}

/// The rows of a log, and how its columns are called.
#[derive(Debug, Clone)]
pub struct BareLog {
    /// Whether it has a column of measures.
    pub has_measures: bool,
    /// Header of the column of measures.
    pub measure_header: String,
    /// Header of the column of roles.
    pub role_header: String,
    /// Line and content of each row; an error where it is no row of the table.
    pub rows: Vec<(u64, Result<BareShot, Fault>)>,
}

/// Reads a log of calibration shots, which may lack what no calibration of its rows asks for.
///
/// # Errors
/// When the log cannot be used as a whole.
pub fn read(text: &Text, format: &LogFormat) -> Result<BareLog, IntakeError> {
    let layout = LogLayout::for_calibration(text, &calibration_format(format))?;
    let (offset, first_line) = layout.body;
    let chunk = Chunk { file: 0, text: &text.text[offset..], first_line };
    let (rows, faults) = cut(&chunk, &layout, &text.path, &mut Counts::default())?;
    let read =
        |(row, fault): (&Row, Option<Fault>)| (row.line.number, fault.map_or_else(|| Ok(bare_shot(&layout, &rows, row)), Err));
    Ok(BareLog {
        has_measures: layout.claim_of(Quantity::Measure).is_some(),
        measure_header: layout.header(Quantity::Measure).to_owned(),
        role_header: layout.header(Quantity::Role).to_owned(),
        rows: rows.rows().iter().zip(faults).map(read).collect(),
    })
}

/// How a log of calibration shots is written, by a job whose shots are of something else: what the job says of all their rows (a height, a
/// role in it, several readings of a row) says nothing of these.
fn calibration_format(format: &LogFormat) -> LogFormat {
    let mut own = format.clone();
    own.values.retain(|name, value| {
        let is_of_shots = name == "measure" && !KINDS.contains(&plain(value).as_str()) || name == "role";
        !is_of_shots
    });
    let readings = std::mem::take(&mut own.readings);
    for (name, headers) in readings.iter().flat_map(|reading| &reading.columns) {
        // A column that several readings have is none of one sight.
        if readings.iter().filter(|reading| reading.columns.contains_key(name)).count() == 1 {
            own.columns.entry(name.clone()).or_insert_with(|| headers.clone());
        }
    }
    own
}

fn bare_shot(layout: &LogLayout, rows: &Rows, row: &Row) -> BareShot {
    let word = |quantity| layout.text(quantity, rows, row).unwrap_or_default().trim().to_owned();
    let name = |quantity| layout.name(quantity, rows, row, &mut String::new()).map(label).unwrap_or_default();
    BareShot {
        measure: word(Quantity::Measure),
        role: word(Quantity::Role),
        base: name(Quantity::Base),
        feature: name(Quantity::Feature),
        instrument: word(Quantity::Instrument),
        readings: bare_readings(layout, rows, row),
    }
}
