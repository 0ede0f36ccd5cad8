//! The third step of a run: the logs in blocks through reading, audit and computation, in parallel and in order.
//!
//! Blocks of a log are read and computed in parallel and handed on in the order of the logs (`windows`), so that the outcome does not
//! depend on the number of threads. Memory: the text of the logs, what the audit keeps of each shot (docs/performance.md), and a few
//! windows of rows.

use std::collections::BTreeMap;

use super::composed::joined::Joinable;
use super::composed::row::CollectedRow;
use super::computed::Waiting;
use super::prepare::Prepared;
use super::stage::Stage;
use super::standing::Standing;
use super::tally::{Tally, write_entries};
use super::{RunError, base_entries, windows};
use crate::intake::block::Chunk;
use crate::output::contract::Sink;
use crate::records::ledger::Flags;
use crate::shots::audit::Auditor;

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
    let chunks = stage.logs.chunks();
    let (mut done, total) = (0, chunks.iter().map(|chunk| chunk.text.len() as u64).sum());
    let texts = stage.logs.files.iter().map(|log| log.text.text.as_str()).collect();
    let auditor = Auditor::new(prepared.job.checks.azimuth_repeats, texts, rows_of(&chunks));
    windows::compute_all(stage, &prepared.shot_rules, auditor, &chunks, |window, bytes| {
        done += bytes;
        progress(done, total);
        for mut block in window {
            streamed.collected.append(&mut block.collected);
            streamed.joinable.append(&mut block.joinable);
            streamed.waiting.append(&mut block.waiting);
            streamed.standing.append(&mut block.standing);
            streamed.audited.extend(block.network_flags.drain(..));
            tally.add(&block);
            for (layer, batch) in block.batches {
                sink.write(layer, batch)?;
            }
            write_entries(sink, wants_ledger, false, &names, &block.entries)?;
        }
        Ok(())
    })?;
    Ok(streamed)
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

/// The base rows that were held or flagged, before the shots.
fn write_bases_held(prepared: &Prepared, stage: &Stage, sink: &mut dyn Sink, wants_ledger: bool) -> Result<(), RunError> {
    let entries = base_entries::base_entries(stage.table);
    let names: Vec<&str> = prepared.base_logs.files.iter().map(|file| file.info.name.as_str()).collect();
    write_entries(sink, wants_ledger, true, &names, &entries)
}
