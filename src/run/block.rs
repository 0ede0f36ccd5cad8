//! One block of a log: lines to rows, rows to readings, joined with their bases.

use super::files::ShotLogs;
use crate::intake::IntakeError;
use crate::intake::block::{Chunk, cut};
use crate::intake::columns::Quantity;
use crate::intake::delimited::Rows;
use crate::intake::shots::{self, ShotRules};
use crate::records::ledger::{Counts, Flag};
use crate::shots::audit::{Audit, Audited, id_print, row_print};
use crate::stations::join::Joiner;

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
                        let base = joiner
                            .base_of(plan, &rows, row, read.when)
                            .map_err(|fault| shots::for_want_of_time(plan, &rows, row, fault))?;
                        parts.push((index, PartRead { base, read }));
                        return Err(fault);
                    }
                    read => read?,
                };
                let base = joiner
                    .base_of(plan, &rows, row, shot.when)
                    .map_err(|fault| shots::for_want_of_time(plan, &rows, row, fault))?;
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
