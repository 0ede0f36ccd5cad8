//! One block of a log: its rows joined with their bases, and what the audit looks at in each.

use crate::intake::IntakeError;
use crate::intake::block::Chunk;
use crate::intake::shot_block::{RowRead, ShotBlock};
use crate::intake::shot_logs::ShotLogs;
use crate::intake::shot_rules::ShotRules;
use crate::records::echo::Echo;
use crate::records::ledger::{Fault, Reason};
use crate::records::shot::{Azimuth, ReadRow};
use crate::shots::audit::{Audit, Audited, id_print, row_print};
use crate::stations::join::Joiner;

/// A block that was read and joined.
pub struct Parsed<'t> {
    /// Its rows.
    pub block: ShotBlock<'t>,
    /// What the audit looks at in each row, or why the row is held.
    pub audits: Vec<Audit>,
    /// Indices of the rows that give a measurement a part and have no point of their own, each with the index of its base.
    pub parts: Vec<(usize, usize)>,
    /// Indices of the rows that join a string to a feature.
    pub joins: Vec<usize>,
}

/// Reads a block of a shot log.
///
/// # Errors
/// As [`ShotBlock::read`].
pub fn parse<'t>(chunk: &Chunk<'t>, joiner: &Joiner, logs: &'t ShotLogs, rules: &ShotRules) -> Result<Parsed<'t>, IntakeError> {
    let block = ShotBlock::read(chunk, &logs.files[chunk.file], &logs.carried, rules)?;
    let (mut parts, mut joins) = (Vec::new(), Vec::new());
    let audits = block.rows_read().iter().enumerate().map(|(index, read)| match read {
        RowRead::Unread(fault) => Err(block.explained(index, fault.clone())),
        RowRead::Join => {
            joins.push(index);
            Err(Fault::new(Reason::Incomplete, "", "", Reason::Incomplete.advice()))
        }
        RowRead::Read(read) => match (&read.fault, read.readings.azimuth) {
            (None, Some(azimuth)) => audited(&block, index, read, azimuth, joiner, logs),
            (Some(fault), _) if may_be_part(fault) && block.is_of_measure(index) => {
                if let Some(unreadable) = &read.unreadable {
                    return Err(block.explained(index, (**unreadable).clone()));
                }
                parts.push((index, base_of(&block, index, read, joiner)?));
                Err((**fault).clone())
            }
            (Some(fault), _) => Err(block.explained(index, (**fault).clone())),
            // A shot without a fault has an azimuth.
            (None, None) => Err(Fault::new(Reason::NoAzimuth, "", "", Reason::NoAzimuth.advice())),
        },
    });
    let audits = audits.collect();
    Ok(Parsed { audits, parts, joins, block })
}

/// Whether a row that is no shot by a fault may still serve a composed measurement.
fn may_be_part(fault: &Fault) -> bool {
    matches!(fault.reason, Reason::NoDistance | Reason::NoAzimuth | Reason::NoInclination)
}

/// The base of a row.
fn base_of(block: &ShotBlock, index: usize, read: &ReadRow, joiner: &Joiner) -> Result<usize, Fault> {
    let found = joiner.base_of(block, index, read.readings.when);
    found.map_err(|fault| block.explained(index, block.for_want_of_time(index, fault)))
}

/// What the audit looks at in a full shot.
fn audited(block: &ShotBlock, index: usize, read: &ReadRow, azimuth: Azimuth, joiner: &Joiner, logs: &ShotLogs) -> Audit {
    let base = base_of(block, index, read, joiner)?;
    let (readings, place) = (&read.readings, block.place(index));
    let row = place.text.trim();
    // The readings of one row are told apart.
    let reading = u64::from(place.reading);
    let mut joined = String::new();
    let id = block.shot_id(index, &mut joined).map(|id| id_print(block.file, readings.date(), base, id) ^ reading);
    Ok(Audited {
        file: block.file,
        base,
        row_print: row_print(row) ^ reading,
        row_at: (offset_in(&logs.files[block.file].text.text, row), row.len()),
        id_print: id,
        is_tracking: readings.echo == Some(Echo::Tracking),
        azimuth,
        distance_m: readings.triangle().map_or(f64::NAN, |triangle| triangle.distance_m()),
        instant: readings.instant(),
        flags: read.flags,
    })
}

/// Where a piece of a text begins in it, in bytes.
fn offset_in(text: &str, piece: &str) -> usize {
    (piece.as_ptr() as usize).wrapping_sub(text.as_ptr() as usize)
}
