//! The third step of a run: the logs in blocks through reading, audit and computation, in parallel and in order.
//!
//! Blocks of a log are read and computed in parallel and handed on in the order of the logs, so that the outcome does not
//! depend on the number of threads. Memory: the text of the logs, what the audit keeps of each shot (docs/performance.md), and a few windows
//! of rows.

use std::collections::BTreeMap;
use std::sync::mpsc::sync_channel;

use rayon::prelude::*;

use super::block::{self, Parsed};
use super::composed::joined::Joinable;
use super::composed::row::CollectedRow;
use super::computed::{Computed, Waiting};
use super::prepare::Prepared;
use super::stage::Stage;
use super::standing::Standing;
use super::tally::{Tally, write_entries};
use super::{RunError, base_entries};
use crate::geodesy::crs::CrsError;
use crate::intake::IntakeError;
use crate::intake::block::Chunk;
use crate::intake::shot_rules::ShotRules;
use crate::output::contract::Sink;
use crate::records::ledger::Flags;
use crate::shots::audit::{Audit, Auditor};

/// Blocks that are computed together.
const WINDOW_BLOCKS: usize = 16;
/// Windows that may wait for the writer.
const WINDOWS_WAITING: usize = 2;

/// A window of computed blocks, for the writer.
type ComputedWindow<'t> = Vec<Computed<'t>>;

/// What waits behind the stream.
#[derive(Default)]
pub struct Streamed<'t> {
    /// Rows that belong to measurements and strings.
    pub collected: Vec<CollectedRow>,
    /// Features that strings join to.
    pub joinable: Vec<Joinable>,
    /// Shots that wait for the others of their feature.
    pub waiting: Vec<Waiting<'t>>,
    /// Features of the catalogue's layers that wait for what is measured of them.
    pub standing: Vec<Standing>,
    /// What the audit found of rows that a network accounts for.
    pub audited: BTreeMap<(usize, u64), Flags>,
}

/// Maps what needs no other row.
///
/// # Errors
/// When a log changes under the run, PROJ fails as a whole or the output cannot be written.
pub fn stream<'t>(
    prepared: &Prepared,
    stage: &'t Stage,
    sink: &mut dyn Sink,
    tally: &mut Tally,
    progress: &(dyn Fn(u64, u64) + Sync),
) -> Result<Streamed<'t>, RunError> {
    let wants_ledger = tally.wants_ledger;
    write_bases_held(prepared, stage, sink, wants_ledger)?;
    let names = tally.names.clone();
    let mut streamed = Streamed::default();
    // The writer has a thread of its own; a failure there ends the computation at the next window.
    let (sender, receiver) = sync_channel::<ComputedWindow>(WINDOWS_WAITING);
    std::thread::scope(|scope| -> Result<(), RunError> {
        let names = &names;
        let writer = scope.spawn(move || -> Result<(), RunError> {
            for window in receiver {
                write_window(sink, names, window, wants_ledger)?;
            }
            Ok(())
        });
        let (rules, azimuth_repeats) = (&prepared.shot_rules, prepared.job.checks.azimuth_repeats);
        let computed = compute_all(stage, rules, azimuth_repeats, progress, |mut window| {
            for block in &mut window {
                streamed.collected.append(&mut block.collected);
                streamed.joinable.append(&mut block.joinable);
                streamed.waiting.append(&mut block.waiting);
                streamed.standing.append(&mut block.standing);
                streamed.audited.extend(block.network_flags.drain(..));
                tally.add(block);
            }
            sender.send(window).is_ok()
        });
        drop(sender);
        let written = match writer.join() {
            Ok(written) => written,
            Err(panic) => std::panic::resume_unwind(panic),
        };
        written.and(computed)
    })?;
    Ok(streamed)
}

/// Reads, audits and computes all windows; stops where `hand_on` says that nobody takes them.
fn compute_all<'t>(
    stage: &'t Stage,
    rules: &ShotRules,
    azimuth_repeats: u32,
    progress: &(dyn Fn(u64, u64) + Sync),
    mut hand_on: impl FnMut(ComputedWindow<'t>) -> bool,
) -> Result<(), RunError> {
    let chunks = stage.logs.chunks();
    let total: u64 = chunks.iter().map(|chunk| chunk.text.len() as u64).sum();
    let mut done = 0;
    let texts = stage.logs.files.iter().map(|log| log.text.text.as_str()).collect();
    let mut auditor = Auditor::new(azimuth_repeats, texts, rows_of(&chunks));
    let mut audit = |window: &mut [Parsed], ahead: Option<&Vec<Parsed>>| {
        let next = ahead.into_iter().flatten().flat_map(|parsed| parsed.audits.iter());
        let mut rows: Vec<&mut [Audit]> = window.iter_mut().map(|parsed| parsed.audits.as_mut_slice()).collect();
        auditor.window(&mut rows, next);
    };
    let mut windows = chunks.chunks(WINDOW_BLOCKS);
    let mut read_next = || windows.next().map(|chunks| parse(chunks, stage, rules)).transpose();
    let (mut now, mut next) = (read_next()?, read_next()?);
    let audit_first = || now.iter_mut().for_each(|first| audit(first, next.as_ref()));
    let ((), ahead) = rayon::join(audit_first, &mut read_next);
    let mut ahead = ahead?;
    while let Some(window) = now {
        done += window.iter().map(|parsed| parsed.bytes).sum::<u64>();
        let compute = || window.par_iter().map(|parsed| stage.map_block(parsed)).collect::<Result<Vec<_>, CrsError>>();
        // While one window is computed, the next is audited and the last of those behind it is read.
        let audit_next = || next.iter_mut().for_each(|window| audit(window, ahead.as_ref()));
        let (computed, ((), after)) = rayon::join(compute, || rayon::join(audit_next, &mut read_next));
        let computed = computed.map_err(|source| RunError::Crs { what: "crs", source })?;
        progress(done, total);
        if !hand_on(computed) {
            return Ok(());
        }
        (now, next, ahead) = (next, ahead, after?);
    }
    Ok(())
}

/// About how many rows some blocks have: their lines.
fn rows_of(chunks: &[Chunk]) -> usize {
    let of_file = |chunks: &[Chunk]| match chunks {
        [first, .., last] => (last.first_line - first.first_line) as usize + last.lines(),
        [only] => only.lines(),
        [] => 0,
    };
    chunks.chunk_by(|a, b| a.file == b.file).map(of_file).sum()
}

/// Reads the blocks of a window.
fn parse<'t>(chunks: &[Chunk<'t>], stage: &'t Stage, rules: &ShotRules) -> Result<Vec<Parsed<'t>>, RunError> {
    let parsed = chunks.par_iter().map(|chunk| block::parse(chunk, stage.joiner, stage.logs, rules));
    Ok(parsed.collect::<Result<Vec<_>, IntakeError>>()?)
}

fn write_window(sink: &mut dyn Sink, names: &[&str], window: ComputedWindow<'_>, wants_ledger: bool) -> Result<(), RunError> {
    for block in window {
        for (layer, batch) in block.batches {
            sink.write(layer, batch)?;
        }
        write_entries(sink, wants_ledger, false, names, &block.entries)?;
    }
    Ok(())
}

/// The base rows that were held or flagged, before the shots.
fn write_bases_held(prepared: &Prepared, stage: &Stage, sink: &mut dyn Sink, wants_ledger: bool) -> Result<(), RunError> {
    let entries = base_entries::base_entries(stage.table);
    let names: Vec<&str> = prepared.base_logs.files.iter().map(|file| file.info.name.as_str()).collect();
    write_entries(sink, wants_ledger, true, &names, &entries)
}
