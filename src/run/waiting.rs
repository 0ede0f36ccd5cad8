//! Rows that wait for the others of their feature: little is kept of each, and it is read again when it is settled.
//!
//! A row's text stays in memory as long as its log does. So what waits is where it stands, its base and what the audit found: 80 bytes
//! a row, whatever its columns are. Once all rows are known they are settled in packs of whole features, read, reduced and placed
//! again by the same way as in the stream.

use rayon::prelude::*;
use rustc_hash::FxHashMap;

use super::RunError;
use super::computed::Waiting;
use super::repeated::{self, Apart, RepeatedShot};
use super::settlement::Settlement;
use super::sizes::Sizes;
use super::stage::{Stage, not_projected};
use crate::geodesy::crs::CrsError;
use crate::intake::delimited::Line;
use crate::intake::shot_block::ShotBlock;
use crate::intake::shot_rules::ShotRules;
use crate::output::contract::Sink;
use crate::records::ledger::{Entry, Fault, Outcome};

/// Rows of one pack, or one feature's where these are more.
const ROWS_AT_ONCE: usize = 8_192;
/// Packs that are settled together.
const PACKS_AT_ONCE: usize = 8;

/// Settles rows that waited, and writes what becomes of them; the batches of the settlement are written.
///
/// # Errors
/// When PROJ fails as a whole or the output cannot be written.
pub fn settle(
    stage: &Stage,
    rules: &ShotRules,
    waiting: &[Waiting],
    combine: bool,
    sizes: &Sizes,
    sink: &mut dyn Sink,
) -> Result<Settlement, RunError> {
    let (mut whole, mut apart) = (Settlement::default(), Apart::default());
    for window in packs(waiting).chunks(PACKS_AT_ONCE) {
        let settle = |pack: &Vec<usize>| -> Result<(Settlement, Apart), CrsError> {
            let (rows, held) = stage.read_again(waiting, pack, rules)?;
            let (mut settled, apart) = repeated::settle(stage, &rows, combine, sizes)?;
            for entry in held {
                if let Outcome::Held(fault) = &entry.outcome {
                    settled.counts.entry(entry.file).or_default().hold(fault.reason);
                }
                settled.entries.push(entry);
            }
            Ok((settled, apart))
        };
        let settled: Result<Vec<_>, CrsError> = window.par_iter().map(settle).collect();
        for (mut settled, of_pack) in settled.map_err(RunError::crs("crs"))? {
            for (layer, batch) in std::mem::take(&mut settled.batches) {
                sink.write(layer, batch)?;
            }
            whole.join(settled);
            apart.join(of_pack);
        }
    }
    whole.notes.extend(apart.sentence());
    whole.entries.sort_by_key(|entry| (entry.file, entry.line));
    Ok(whole)
}

/// Packs of rows, each with all rows of its features, in the order in which features begin; in a pack the rows are in their order.
/// Rows without a name that follow each other stay together, since they may be readings of one pull.
fn packs(waiting: &[Waiting]) -> Vec<Vec<usize>> {
    let mut first_of: FxHashMap<u64, usize> = FxHashMap::default();
    let mut begins: Vec<usize> = Vec::with_capacity(waiting.len());
    for (index, row) in waiting.iter().enumerate() {
        begins.push(match row.name {
            Some(name) => *first_of.entry(name).or_insert(index),
            None if index > 0 && waiting[index - 1].name.is_none() => begins[index - 1],
            None => index,
        });
    }
    let mut order: Vec<usize> = (0..waiting.len()).collect();
    order.sort_by_key(|index| begins[*index]);
    let mut packs: Vec<Vec<usize>> = Vec::new();
    for feature in order.chunk_by(|a, b| begins[*a] == begins[*b]) {
        match packs.last_mut().filter(|pack| pack.len() + feature.len() <= ROWS_AT_ONCE) {
            Some(pack) => pack.extend(feature),
            None => packs.push(feature.to_vec()),
        }
    }
    packs.iter_mut().for_each(|pack| pack.sort_unstable());
    packs
}

impl Stage<'_> {
    /// The rows of a pack, read, reduced and placed again; and those that are held after all.
    fn read_again(
        &self,
        waiting: &[Waiting],
        pack: &[usize],
        rules: &ShotRules,
    ) -> Result<(Vec<RepeatedShot>, Vec<Entry>), CrsError> {
        let mut lines: FxHashMap<usize, Vec<Line>> = FxHashMap::default();
        let mut stands = Vec::with_capacity(pack.len());
        for row in pack.iter().map(|index| &waiting[*index]) {
            let of_file = lines.entry(row.file).or_default();
            stands.push(of_file.len());
            of_file.push(row.line);
        }
        let logs = self.logs;
        let read = |(file, lines)| (file, ShotBlock::read_lines(file, lines, &logs.files[file], &logs.carried, rules));
        let blocks: FxHashMap<usize, ShotBlock> = lines.iter().map(|(file, lines)| (*file, lines.as_slice())).map(read).collect();
        let (mut sighted, mut rows, mut held) = (Vec::with_capacity(pack.len()), Vec::with_capacity(pack.len()), Vec::new());
        let hold = |row: &Waiting, fault: Fault| Entry {
            file: row.file,
            line: row.line.number,
            row: row.line.text.to_owned(),
            outcome: Outcome::Held(fault),
        };
        let mut recent = None;
        for (index, at) in pack.iter().zip(&stands) {
            let row = &waiting[*index];
            match self.sight(&blocks[&row.file], *at, (row.base, row.flags), &mut recent) {
                Ok(shot) => sighted.push((*index, shot)),
                Err(fault) => held.push(hold(row, fault)),
            }
        }
        let placed = self.place(sighted.iter().map(|(_, shot)| shot))?;
        for ((index, shot), placed) in sighted.iter().zip(placed) {
            let row = &waiting[*index];
            match placed.is_there() {
                true => rows.push(self.row(shot, placed, *index)),
                false => held.push(hold(row, not_projected())),
            }
        }
        Ok((rows, held))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::records::ledger::Flags;

    fn waiting(names: &[Option<u64>]) -> Vec<Waiting<'static>> {
        let line = |number| Line { number, text: "", ended: true, unclosed: false, may_have_quotes: false };
        let row = |(index, name): (u64, &Option<u64>)| Waiting {
            line: line(index + 1),
            file: 0,
            base: 0,
            name: *name,
            flags: Flags::default(),
        };
        (0..).zip(names).map(row).collect()
    }

    #[test]
    fn packs_hold_whole_features_in_the_order_in_which_these_begin() {
        // Two rows of each of three times as many features as rows in a pack: first all, then all again backwards.
        let many = 3 * ROWS_AT_ONCE as u64;
        let names: Vec<Option<u64>> = (0..many).chain((0..many).rev()).map(Some).collect();
        let rows = waiting(&names);
        let packs = packs(&rows);
        assert_eq!(packs.len(), 6);
        assert!(packs.iter().all(|pack| pack.len() == ROWS_AT_ONCE && pack.is_sorted()));
        let firsts: Vec<usize> = packs.iter().flat_map(|pack| pack[..pack.len() / 2].to_vec()).collect();
        assert!(firsts.iter().copied().eq(0..many as usize), "features out of their order");
        for pack in &packs {
            let mut named: Vec<u64> = pack.iter().filter_map(|index| names[*index]).collect();
            named.sort_unstable();
            assert!(named.chunk_by(|a, b| a == b).all(|rows| rows.len() == 2), "a feature in two packs");
        }
    }

    #[test]
    fn rows_without_a_name_stay_with_their_neighbours() {
        let rows = waiting(&[None, None, Some(7), None, Some(7), None, None]);
        assert_eq!(packs(&rows), [[0, 1, 2, 3, 4, 5, 6]]);
        assert_eq!(packs(&[]), Vec::<Vec<usize>>::new());
    }

    #[test]
    fn what_waits_is_small() {
        assert!(std::mem::size_of::<Waiting>() <= 80, "{} bytes", std::mem::size_of::<Waiting>());
    }
}
