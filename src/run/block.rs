//! One block of a log: lines to rows, rows to readings, joined with their bases.

use std::path::Path;

use super::files::{Log, ShotLogs};
use crate::intake::IntakeError;
use crate::intake::columns::Quantity;
use crate::intake::delimited::{Lines, Row, Rows};
use crate::intake::plan::{LineKind, Plan};
use crate::intake::shots::{self, ShotRules};
use crate::records::ledger::{Counts, Fault, Flag, Reason};
use crate::shots::audit::{Audit, Audited, id_print, row_print};
use crate::stations::join::Joiner;

/// A block of a file's text.
#[derive(Debug, Clone, Copy)]
pub struct Chunk<'t> {
    /// Index of the file.
    pub file: usize,
    /// Whole lines.
    pub text: &'t str,
    /// Number of the first.
    pub first_line: u64,
}

impl<'t> Chunk<'t> {
    /// All of a log's rows as one block.
    pub fn whole(file: usize, log: &'t Log) -> Chunk<'t> {
        let (offset, first_line) = log.plan.body;
        Chunk { file, text: &log.text.text[offset..], first_line }
    }
}

/// A block that was read.
pub struct Parsed<'t> {
    /// Index of the file.
    pub file: usize,
    /// Bytes of text it came from.
    pub bytes: u64,
    /// The rows' fields.
    pub rows: Rows<'t>,
    /// What was read of each row, or why it is held.
    pub rows_read: Vec<Audit>,
    /// By index of the row: what a row gives a measurement that has no point of its own.
    pub parts: Vec<(usize, PartRead)>,
    /// Counts of lines that are no data.
    pub counts: Counts,
}

/// A row that gives a measurement a part.
pub struct PartRead {
    /// Index of the base.
    pub base: usize,
    /// What was read.
    pub read: shots::Part,
}

/// Cuts a block into rows; the fault of a row that cannot be cut stands beside it.
///
/// # Errors
/// When the header stands in it again with its columns in another order.
pub fn cut<'t>(
    chunk: &Chunk<'t>,
    plan: &Plan,
    path: &Path,
    counts: &mut Counts,
) -> Result<(Rows<'t>, Vec<Option<Fault>>), IntakeError> {
    let mut rows = Rows::default();
    for line in Lines::new(chunk.text, plan.separator, chunk.first_line) {
        match plan.kind_of(&line) {
            LineKind::Blank => counts.blank_lines += 1,
            LineKind::Comment => counts.comment_lines += 1,
            LineKind::Header => counts.repeated_headers += 1,
            LineKind::Units => counts.units_lines += 1,
            LineKind::OtherHeader => return Err(IntakeError::other_header(path, line.number)),
            LineKind::Data => rows.push(line, plan.separator),
        }
    }
    let faults = rows.rows().iter().map(|row| shape_fault(plan, &rows, row)).collect();
    Ok((rows, faults))
}

/// What is wrong with a row's shape.
fn shape_fault(plan: &Plan, rows: &Rows, row: &Row) -> Option<Fault> {
    let (got, want) = (row.fields(), plan.headers.len());
    if row.line.unclosed {
        return Some(Fault::new(
            Reason::UnclosedQuote,
            "",
            "",
            "a quoted field begins here and never ends; add the closing quote",
        ));
    }
    if !row.line.ended {
        let last = got.min(want).saturating_sub(1);
        if got < want || plan.claims_column(last) {
            return Some(Fault::new(
                Reason::CutLastLine,
                plan.headers.get(last).map_or("", String::as_str),
                rows.cell(row, last),
                "the last line has no line end and may be cut short; if it is whole, add a line end",
            ));
        }
    }
    if !plan.fits(rows, row) {
        return Some(Fault::new(Reason::FieldCount, "", "", format!("the row has {got} fields, the header {want}")));
    }
    None
}

/// Reads a block of a shot log.
///
/// # Errors
/// As [`cut`].
pub fn parse<'t>(chunk: &Chunk<'t>, joiner: &Joiner, logs: &ShotLogs, rules: &ShotRules) -> Result<Parsed<'t>, IntakeError> {
    let log = &logs.files[chunk.file];
    let plan = &log.plan;
    let mut counts = Counts::default();
    let (rows, faults) = cut(chunk, plan, &log.text.path, &mut counts)?;
    let composes = plan.claim_of(Quantity::Measure).is_some();
    let mut parts = Vec::new();
    let rows_read = rows
        .rows()
        .iter()
        .zip(faults)
        .enumerate()
        .map(|(index, (row, fault))| match fault {
            Some(fault) => Err(fault),
            None => {
                let mut shot = match shots::read(plan, rules, &rows, row) {
                    Err(fault) if composes && shots::may_be_part(&fault, plan, &rows, row) => {
                        let read = shots::read_part(plan, rules, &rows, row)?;
                        let base = joiner.base_of(plan, &rows, row, read.when)?;
                        parts.push((index, PartRead { base, read }));
                        return Err(fault);
                    }
                    read => read?,
                };
                let base = joiner.base_of(plan, &rows, row, shot.when)?;
                if !row.line.ended {
                    shot.flags.raise(Flag::NoLineEnd);
                }
                let date = shot.when.map(|when| when.date);
                let mut joined = String::new();
                let id = plan.name(Quantity::Shot, &rows, row, &mut joined).map(|id| id_print(chunk.file, date, base, id));
                Ok(Audited { file: chunk.file, base, row_print: row_print(row.line.text.trim()), id_print: id, shot })
            }
        })
        .collect();
    counts.read = rows.rows().len() as u64;
    Ok(Parsed { file: chunk.file, bytes: chunk.text.len() as u64, rows, rows_read, parts, counts })
}
