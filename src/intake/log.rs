//! A log of rows: its text with the layout that its rows are read by, and what the account says of its file.

use std::path::Path;

use super::block::Chunk;
use super::columns::{LogKind, Quantity};
use super::log_layout::LogLayout;
use super::text::{self, Text};
use super::written::Written;
use super::{IntakeError, sheets, workbook};
use crate::job::LogFormat;
use crate::records::ledger::Counts;

/// An input file, for the account.
#[derive(Debug, Clone)]
pub struct InputFile {
    /// Name as the job has it, relative to the job.
    pub name: String,
    /// Whether it is a base log or a list of occupations, not a shot log.
    pub is_bases: bool,
    /// Size in bytes.
    pub bytes: u64,
    /// SHA-256 of its bytes.
    pub sha256: String,
    /// Encoding it was read in.
    pub encoding: &'static str,
    /// What kind of log it is: `delimited`, `workbook`, `nmea`, `gpx`, `kml`, `vector`.
    pub kind: &'static str,
    /// Separator of a delimited log.
    pub separator: Option<char>,
    /// How its values are written.
    pub written: Written,
    /// Its counts.
    pub counts: Counts,
}

/// A log ready to be cut into rows.
pub struct Log {
    /// For the account.
    pub info: InputFile,
    /// Its text.
    pub text: Text,
    /// How it is read.
    pub(super) layout: LogLayout,
    /// What the person is to know of it, in sentences.
    pub told: Vec<String>,
}

impl Log {
    /// A shot log from its decoded text.
    ///
    /// # Errors
    /// When its headers cannot be understood, or lack what every row needs.
    pub fn read_shots(text: Text, name: &str, format: &LogFormat) -> Result<Log, IntakeError> {
        planned(text, name, LogKind::Shots, format)
    }

    /// An error where the instants of its rows are needed, and its times have no zone.
    ///
    /// # Errors
    /// See above; the message says what to write.
    pub fn with_instants(&self) -> Result<(), IntakeError> {
        match &self.layout.without_zone {
            Some(problem) => Err(IntakeError::columns(&self.text.path, self.layout.header_line, problem.clone())),
            None => Ok(()),
        }
    }

    /// A base log from its decoded text.
    ///
    /// # Errors
    /// When its headers cannot be understood, or lack what every row needs.
    pub fn read_bases(text: Text, name: &str, format: &LogFormat) -> Result<Log, IntakeError> {
        planned(text, name, LogKind::Bases, format)
    }

    /// All of its rows as one block; `file` is its index.
    pub fn whole(&self, file: usize) -> Chunk<'_> {
        let (offset, first_line) = self.layout.body;
        Chunk { file, text: &self.text.text[offset..], first_line }
    }

    /// Counts of what stands above the header.
    pub fn counts_above(&self) -> Counts {
        let (blank_lines, comment_lines) = self.layout.above;
        Counts { blank_lines, comment_lines, other_lines: self.layout.title.len() as u64, ..Counts::default() }
    }

    fn claims(&self, quantity: Quantity) -> bool {
        self.layout.claim_of(quantity).is_some()
    }

    /// Whether its rows name their base.
    pub fn names_bases(&self) -> bool {
        self.claims(Quantity::Base)
    }

    /// Whether its rows have roles.
    pub fn has_roles(&self) -> bool {
        self.claims(Quantity::Role)
    }

    /// Whether its rows may belong to composed measurements.
    pub fn has_measures(&self) -> bool {
        self.claims(Quantity::Measure)
    }

    /// Whether its rows may belong to strings.
    pub fn has_strings(&self) -> bool {
        self.claims(Quantity::String)
    }

    /// Whether its positions are latitudes and longitudes.
    pub fn has_latitudes(&self) -> bool {
        self.claims(Quantity::Latitude)
    }

    /// Whether its rows give the standard errors of their positions and of their heights.
    pub fn gives_sigmas(&self) -> (bool, bool) {
        (self.claims(Quantity::SigmaHorizontal), self.claims(Quantity::SigmaVertical))
    }

    /// Whether its azimuths count from magnetic north.
    pub fn has_magnetic_azimuths(&self) -> bool {
        self.claims(Quantity::MagneticAzimuth)
    }
}

/// A file as logs: one, or one for each sheet of a workbook that is meant.
pub(super) fn open(path: &Path, name: &str, kind: LogKind, format: &LogFormat) -> Result<Vec<Log>, IntakeError> {
    if !workbook::is_workbook(path) {
        return Ok(vec![planned(text::read(path, format.encoding.as_deref())?, name, kind, format)?]);
    }
    let tables = sheets::choose(path, name, kind, format)?.into_iter();
    tables.map(|table| read_sheet(table, kind)).collect()
}

/// A sheet with its layout.
pub(super) fn read_sheet(table: sheets::SheetLog, kind: LogKind) -> Result<Log, IntakeError> {
    let mut log = planned(table.text, &table.name, kind, &table.format)?;
    (log.info.kind, log.info.separator) = ("workbook", None);
    log.told.splice(0..0, table.told);
    Ok(log)
}

/// A decoded delimited log with its layout.
pub(super) fn planned(text: Text, name: &str, kind: LogKind, format: &LogFormat) -> Result<Log, IntakeError> {
    let layout = LogLayout::new(&text, kind, format)?;
    let info = InputFile {
        name: name.to_owned(),
        is_bases: kind != LogKind::Shots,
        bytes: text.bytes,
        sha256: text.sha256.clone(),
        encoding: text.encoding,
        kind: "delimited",
        separator: Some(layout.separator as char),
        written: layout.written.clone(),
        counts: Counts::default(),
    };
    let notes = [header_note(&info.name, &layout), table_note(&info.name, &layout), zone_note(&info.name, &layout)];
    let told = notes.into_iter().flatten().collect();
    Ok(Log { info, text, layout, told })
}

/// What became of times without a zone.
fn zone_note(name: &str, layout: &LogLayout) -> Option<String> {
    let ask = layout.without_zone.as_ref()?;
    Some(format!("{name}: {ask}. Nothing here needs the time of day, so that the day alone is kept."))
}

/// What is not read of a file with two tables, and how it can be.
fn table_note(name: &str, layout: &LogLayout) -> Option<String> {
    let [first, last] = layout.table_above?;
    Some(format!(
        "{name}: lines {first} to {last} read like a table of their own, above the one that begins in line {}; they are not read. \
         Save each table as a file of its own, or write header_line = {first} to read the upper one.",
        layout.header_line
    ))
}

/// Where the header was found, if it is not the first line.
fn header_note(name: &str, layout: &LogLayout) -> Option<String> {
    let line = layout.header_line;
    let place = if layout.is_double { format!("lines {} and {line}", line - 1) } else { format!("line {line}") };
    match layout.title.first() {
        Some(title) => Some(format!("{name}: the header was found in {place}, below the title \"{title}\".")),
        None if layout.is_double => Some(format!("{name}: the header stands over {place}.")),
        None => None,
    }
}
