//! A block of a shot log: its rows as records, whatever their columns are called.

use std::borrow::Cow;
use std::sync::Arc;

use super::IntakeError;
use super::block::{Chunk, cut, explained, no_row, shape_fault};
use super::carried::Carried;
use super::columns::Quantity;
use super::delimited::{Line, Row, Rows};
use super::log::Log;
use super::log_layout::LogLayout;
use super::reader::Reader;
use super::shot_rules::ShotRules;
use super::shots::read_row;
use crate::numeric::signs::{self, Signs};
use crate::records::ledger::{Counts, Fault};
use crate::records::names::label;
use crate::records::roles::JOIN;
use crate::records::shot::{Cells, Conditions, KeptShot, Membership, ReadRow, RowPlace, ShotRecord, Words};
use crate::records::when::When;

/// What became of a row.
// Nearly all rows are read: a box for them would be one more allocation a row.
#[allow(clippy::large_enum_variant)]
#[derive(Debug, Clone)]
pub enum RowRead {
    /// It is no row of the table, or nothing of it can be read.
    Unread(Fault),
    /// It joins a string to a feature that was shot elsewhere, and has no readings of its own.
    Join,
    /// It was read.
    Read(ReadRow),
}

/// The rows of a block, each read once.
pub struct ShotBlock<'t> {
    /// Index of the file.
    pub file: usize,
    /// Counts of its lines that are no data, and of its rows.
    pub counts: Counts,
    rows: Rows<'t>,
    layout: &'t LogLayout,
    carried: &'t [Carried],
    rows_read: Vec<RowRead>,
}

impl<'t> ShotBlock<'t> {
    /// Cuts and reads a block. `carried` are the columns that its logs carry through.
    ///
    /// # Errors
    /// When the header stands in it again with its columns in another order.
    pub fn read(
        chunk: &Chunk<'t>,
        log: &'t Log,
        carried: &'t [Carried],
        rules: &ShotRules,
    ) -> Result<ShotBlock<'t>, IntakeError> {
        let mut counts = Counts::default();
        let (rows, faults) = cut(chunk, &log.layout, &log.text.path, &mut counts)?;
        Ok(ShotBlock::read_rows(chunk.file, rows, faults, counts, log, carried, rules))
    }

    /// Reads rows of a block once more, by their lines.
    pub fn read_lines(file: usize, lines: &[Line<'t>], log: &'t Log, carried: &'t [Carried], rules: &ShotRules) -> ShotBlock<'t> {
        let mut rows = log.layout.rows();
        lines.iter().for_each(|line| log.layout.push(&mut rows, *line));
        let faults = rows.rows().iter().map(|row| shape_fault(&log.layout, &rows, row)).collect();
        ShotBlock::read_rows(file, rows, faults, Counts::default(), log, carried, rules)
    }

    fn read_rows(
        file: usize,
        rows: Rows<'t>,
        faults: Vec<Option<Fault>>,
        mut counts: Counts,
        log: &'t Log,
        carried: &'t [Carried],
        rules: &ShotRules,
    ) -> ShotBlock<'t> {
        let layout = &log.layout;
        let has_strings = log.has_strings();
        let read = |(row, fault): (&Row, Option<Fault>)| match fault {
            Some(fault) => RowRead::Unread(fault),
            // A row of several readings that has only some of them is no fault yet: a count below the names would be a measurement.
            None if layout.has_readings() && layout.is_total(&rows, row) => RowRead::Unread(no_row(layout, row)),
            None if has_strings && joins_a_string(layout, &rows, row) => RowRead::Join,
            None => read_row(layout, rules, &rows, row).map_or_else(RowRead::Unread, RowRead::Read),
        };
        let rows_read = rows.rows().iter().zip(faults).map(read).collect();
        counts.read = match layout.has_readings() {
            true => rows.rows().chunk_by(|a, b| a.line.number == b.line.number).count() as u64,
            false => rows.rows().len() as u64,
        };
        ShotBlock { file, counts, rows, layout, carried, rows_read }
    }

    /// What became of each row.
    pub fn rows_read(&self) -> &[RowRead] {
        &self.rows_read
    }

    /// Whether a line may give several readings, each a row here.
    pub fn has_readings(&self) -> bool {
        self.layout.has_readings()
    }

    /// Whether its log names bases.
    pub fn names_bases(&self) -> bool {
        self.layout.claim_of(Quantity::Base).is_some()
    }

    /// A row's line.
    pub fn line(&self, index: usize) -> Line<'t> {
        self.rows.rows()[index].line
    }

    /// Where a row stands.
    pub fn place(&self, index: usize) -> RowPlace<'t> {
        let row = &self.rows.rows()[index];
        RowPlace { file: self.file, line: row.line.number, text: row.line.text, reading: row.reading }
    }

    /// The name of a row's base, as bases are found by it; a name of several columns is joined into `joined`.
    pub fn base<'r>(&'r self, index: usize, joined: &'r mut String) -> Option<&'r str> {
        self.layout.name(Quantity::Base, &self.rows, &self.rows.rows()[index], joined)
    }

    /// The shot id of a row, likewise.
    pub fn shot_id<'r>(&'r self, index: usize, joined: &'r mut String) -> Option<&'r str> {
        self.layout.name(Quantity::Shot, &self.rows, &self.rows.rows()[index], joined)
    }

    /// Whether a row says which measurement it belongs to.
    pub fn is_of_measure(&self, index: usize) -> bool {
        self.text(index, Quantity::Measure).is_some()
    }

    /// The record of a row; none of one that was not read.
    pub fn record(&self, index: usize) -> Option<ShotRecord<'_>> {
        let RowRead::Read(read) = &self.rows_read[index] else { return None };
        let text = |quantity| self.text(index, quantity);
        let words = Words {
            feature: self.named(index, Quantity::Feature),
            shot: self.named(index, Quantity::Shot),
            code: text(Quantity::Code),
            string: text(Quantity::String),
            measure: text(Quantity::Measure),
            role: text(Quantity::Role),
            echo: text(Quantity::Return),
        };
        Some(ShotRecord::new(read, words, self.place(index), index, self))
    }

    /// What a row says for a measurement or a string.
    pub fn membership(&self, index: usize) -> Membership {
        let of = |quantity| self.named(index, quantity).map(Cow::into_owned);
        let signs = self.layout.claim_of(Quantity::Order).map_or(Signs::POINT, |claim| claim.signs);
        Membership {
            measure: of(Quantity::Measure),
            feature: of(Quantity::Feature),
            string: of(Quantity::String),
            order: of(Quantity::Order).and_then(|cell| signs::real(&cell, signs)),
            code: of(Quantity::Code),
            role: of(Quantity::Role),
            shot: of(Quantity::Shot),
            level: of(Quantity::Level),
            conditions: Conditions {
                air_temperature_c: of(Quantity::AirTemperature),
                wind_m_s: of(Quantity::Wind),
                conductor_temperature_c: of(Quantity::ConductorTemperature),
                load_a: of(Quantity::Load),
                words: of(Quantity::Conditions),
            },
        }
    }

    /// The date and time of a row that was not read; none where they cannot be.
    pub fn when(&self, index: usize) -> Option<When> {
        self.layout.when(self.text(index, Quantity::Date), self.text(index, Quantity::Time)).ok().flatten()
    }

    /// A fault as the account has it: that a row is a total or a note beside the table, where it is.
    pub fn explained(&self, index: usize, fault: Fault) -> Fault {
        explained(fault, self.layout, &self.rows, &self.rows.rows()[index])
    }

    /// What a fault for want of a date or time says: where the row has one that cannot be read, that.
    pub fn for_want_of_time(&self, index: usize, fault: Fault) -> Fault {
        self.reader(index).for_want_of_time(fault)
    }

    /// Why the date or time of a row cannot be read, in a sentence.
    pub fn unread_time(&self, index: usize) -> Option<String> {
        self.reader(index).when().err().map(|fault| fault.sentence)
    }

    /// The header of the column of bases, for messages.
    pub fn header_of_base(&self) -> &str {
        self.layout.header(Quantity::Base)
    }

    /// The header of the column of codes.
    pub fn header_of_code(&self) -> &str {
        self.layout.header(Quantity::Code)
    }

    /// The header of the column of dates, and what stands there.
    pub fn date_as_it_stands(&self, index: usize) -> (&str, &str) {
        self.as_it_stands(index, Quantity::Date)
    }

    /// The header of the column of times, and what stands there.
    pub fn time_as_it_stands(&self, index: usize) -> (&str, &str) {
        self.as_it_stands(index, Quantity::Time)
    }

    /// The header of the first of the columns of dates and times that the log has, and what it says there.
    pub fn date_or_time(&self, index: usize) -> (&str, &str) {
        let column = [Quantity::Date, Quantity::Time].into_iter().find(|quantity| self.layout.claim_of(*quantity).is_some());
        column.map_or(("", ""), |quantity| {
            let (header, stands) = self.as_it_stands(index, quantity);
            (header, self.text(index, quantity).unwrap_or(stands))
        })
    }

    /// The fault of a row without a base's name, or without a time.
    pub fn no_base(&self, index: usize, reason: crate::records::ledger::Reason, what: &str) -> Fault {
        self.layout.no_reading(&self.rows, &self.rows.rows()[index], reason, &[Quantity::Base], what)
    }

    /// See [`ShotBlock::no_base`].
    pub fn no_time(&self, index: usize, reason: crate::records::ledger::Reason, what: &str) -> Fault {
        self.layout.no_reading(&self.rows, &self.rows.rows()[index], reason, &[Quantity::Time, Quantity::Date], what)
    }

    fn reader(&self, index: usize) -> Reader<'_, 't> {
        Reader { layout: self.layout, rows: &self.rows, row: &self.rows.rows()[index] }
    }

    fn text(&self, index: usize, quantity: Quantity) -> Option<&str> {
        self.layout.text(quantity, &self.rows, &self.rows.rows()[index])
    }

    fn as_it_stands(&self, index: usize, quantity: Quantity) -> (&str, &str) {
        (self.layout.header(quantity), self.layout.raw(quantity, &self.rows, &self.rows.rows()[index]))
    }

    /// A name for people.
    fn named(&self, index: usize, quantity: Quantity) -> Option<Cow<'_, str>> {
        let mut joined = String::new();
        match self.text(index, quantity) {
            Some(text) => Some(Cow::Borrowed(text)),
            None => {
                self.layout.name(quantity, &self.rows, &self.rows.rows()[index], &mut joined).map(|name| Cow::Owned(label(name)))
            }
        }
    }
}

impl Cells for ShotBlock<'_> {
    fn cell(&self, row: usize, column: usize) -> (&str, Signs) {
        match self.carried[column].index_by_file[self.file] {
            Some(extra) => (self.rows.cell(&self.rows.rows()[row], self.layout.extras[extra].0), self.layout.extra_signs[extra]),
            None => ("", Signs::POINT),
        }
    }
}

/// Whether a row joins a string to a feature that was shot elsewhere.
pub(super) fn joins_a_string(layout: &LogLayout, rows: &Rows, row: &Row) -> bool {
    layout.text(Quantity::Role, rows, row) == Some(JOIN)
        && layout.text(Quantity::String, rows, row).is_some()
        && layout.text(Quantity::Measure, rows, row).is_none()
}

/// A row for later.
pub(super) fn kept(
    layout: &LogLayout,
    rows: &Rows,
    row: &Row,
    file: usize,
    read: &ReadRow,
    (cells, signs): (Vec<String>, Arc<[Signs]>),
) -> KeptShot {
    let text = |quantity| layout.text(quantity, rows, row).map(str::to_owned);
    let name = |quantity| layout.name(quantity, rows, row, &mut String::new()).map(str::to_owned);
    KeptShot {
        read: read.clone(),
        place: (file, row.line.number),
        reading: row.reading,
        row: row.line.text.to_owned(),
        base: name(Quantity::Base),
        log_names_bases: layout.claim_of(Quantity::Base).is_some(),
        feature_key: name(Quantity::Feature),
        code: text(Quantity::Code),
        role: text(Quantity::Role),
        shot: name(Quantity::Shot).as_deref().map(label),
        echo: text(Quantity::Return),
        instrument: text(Quantity::Instrument),
        stands_alone: layout.text(Quantity::Measure, rows, row).is_none() && layout.text(Quantity::String, rows, row).is_none(),
        cells,
        signs,
    }
}
