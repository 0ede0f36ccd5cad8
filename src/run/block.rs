//! One block of a log: lines to rows, rows to readings, joined with their bases.

use crate::intake::IntakeError;
use crate::intake::block::{Chunk, cut, explained};
use crate::intake::columns::Quantity;
use crate::intake::delimited::Rows;
use crate::intake::shot_logs::{ShotLogs, joins_a_string};
use crate::intake::shots::{self, ShotRules};
use crate::records::echo::Echo;
use crate::records::ledger::{Counts, Fault, Flag, Reason};
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
    /// Indices of the rows that join a string to a feature, and have no readings of their own.
    pub joins: Vec<usize>,
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
    let (mut parts, mut joins) = (Vec::new(), Vec::new());
    let [has_strings, has_returns] = [Quantity::String, Quantity::Return].map(|quantity| plan.claim_of(quantity).is_some());
    let rows_read = rows
        .rows()
        .iter()
        .zip(faults)
        .enumerate()
        .map(|(index, (row, fault))| match fault {
            Some(fault) => Err(explained(fault, plan, &rows, row)),
            None if has_strings && joins_a_string(plan, &rows, row) => {
                joins.push(index);
                Err(Fault::new(Reason::Incomplete, "", "", Reason::Incomplete.advice()))
            }
            None => {
                let mut shot = match shots::read(plan, rules, &rows, row) {
                    Err(fault) if composes && shots::may_be_part(&fault, plan, &rows, row) => {
                        let remark = |fault| explained(shots::for_want_of_time(plan, &rows, row, fault), plan, &rows, row);
                        let read =
                            shots::read_part(plan, rules, &rows, row).map_err(|fault| explained(fault, plan, &rows, row))?;
                        let base = joiner.base_of(plan, &rows, row, read.when).map_err(remark)?;
                        parts.push((index, PartRead { base, read }));
                        return Err(fault);
                    }
                    read => read.map_err(|fault| explained(fault, plan, &rows, row))?,
                };
                let base = joiner
                    .base_of(plan, &rows, row, shot.when)
                    .map_err(|fault| explained(shots::for_want_of_time(plan, &rows, row, fault), plan, &rows, row))?;
                if !row.line.ended {
                    shot.flags.raise(Flag::NoLineEnd);
                }
                let date = shot.when.map(|when| when.date);
                let mut joined = String::new();
                // The readings of one row are told apart.
                let reading = u64::from(row.reading);
                let id =
                    plan.name(Quantity::Shot, &rows, row, &mut joined).map(|id| id_print(chunk.file, date, base, id) ^ reading);
                let is_tracking = has_returns && plan.echo(&rows, row) == Some(Echo::Tracking);
                let row_print = row_print(row.line.text.trim()) ^ reading;
                Ok(Audited { file: chunk.file, base, row_print, id_print: id, is_tracking, shot })
            }
        })
        .collect();
    counts.read = match plan.has_readings() {
        true => rows.rows().chunk_by(|a, b| a.line.number == b.line.number).count() as u64,
        false => rows.rows().len() as u64,
    };
    Ok(Parsed { file: chunk.file, bytes: chunk.text.len() as u64, rows, rows_read, parts, joins, counts })
}
