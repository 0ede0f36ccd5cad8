//! What the rows of one block came to.

use std::collections::BTreeMap;

use rustc_hash::{FxHashMap, FxHashSet};

use super::composed::joined::Joinable;
use super::composed::row::CollectedRow;
use super::standing::Standing;
use crate::geodesy::register::{Shares, SourceShares};
use crate::intake::delimited::Line;
use crate::intake::shot_block::ShotBlock;
use crate::output::columns::{Batch, LayerKey};
use crate::records::ledger::{Counts, Entry, Fault, Flag, Flags, Outcome};
use crate::records::shot::RowPlace;

/// A computed block.
pub struct Computed<'t> {
    pub file: usize,
    pub counts: Counts,
    pub entries: Vec<Entry>,
    pub batches: Vec<(LayerKey, Batch)>,
    /// Shots mapped, by base.
    pub shots_of_base: FxHashMap<usize, u64>,
    /// Rows that belong to measurements and strings.
    pub collected: Vec<CollectedRow>,
    /// Features that strings join to.
    pub joinable: Vec<Joinable>,
    /// What the audit found of rows that a network accounts for.
    pub network_flags: Vec<((usize, u64), Flags)>,
    /// What the shots of a base share with others, each once.
    pub shares: Vec<(usize, Shares)>,
    /// Shots that wait for the others of their feature.
    pub waiting: Vec<Waiting<'t>>,
    /// Features of the catalogue's layers that wait for what is measured of them.
    pub standing: Vec<Standing>,
    /// Rows by codes that the catalogue does not have.
    pub unknown_codes: BTreeMap<String, u64>,
    /// What the uncertainty of the shots mapped comes from.
    pub sources: SourceShares,
}

impl Computed<'_> {
    /// Rows of several readings have one account each: mapped where any reading is, else collected, else held for the first
    /// fault; a reading that is held beside others is a suspicion of its row. `mapped` are the lines of readings that were mapped.
    pub(super) fn one_account_a_row(&mut self, mapped: &[u64]) {
        let mut lines: BTreeMap<u64, u64> = BTreeMap::new();
        mapped.iter().for_each(|line| *lines.entry(*line).or_default() += 1);
        self.counts.mapped -= lines.values().map(|readings| readings - 1).sum::<u64>();
        let mut collected: FxHashSet<u64> = FxHashSet::default();
        for part in &mut self.collected {
            let line = part.sighting.place.1;
            // The row is told once.
            let is_mapped = part.is_part && lines.contains_key(&line);
            part.is_told = !collected.insert(line) || is_mapped;
        }
        let mut held: FxHashSet<u64> = FxHashSet::default();
        let mut entries = Vec::with_capacity(self.entries.len());
        for mut entry in std::mem::take(&mut self.entries) {
            if let Outcome::Held(fault) = &entry.outcome {
                let is_used = lines.contains_key(&entry.line) || collected.contains(&entry.line);
                if !held.insert(entry.line) || is_used {
                    let of_reason = self.counts.held.entry(fault.reason).or_default();
                    *of_reason -= 1;
                    if *of_reason == 0 {
                        self.counts.held.remove(&fault.reason);
                    }
                    if !is_used {
                        continue;
                    }
                    let mut flags = Flags::default();
                    flags.raise(Flag::ReadingHeld);
                    self.counts.flag(flags);
                    entry.outcome = Outcome::Flagged(flags, fault.sentence.clone());
                }
            }
            entries.push(entry);
        }
        self.entries = entries;
    }

    /// Rows of which only parts are used have no flags of their own: that a remark was joined is told here.
    pub(super) fn tell_of_remarks(&mut self, block: &ShotBlock) {
        let told: FxHashSet<u64> = self.entries.iter().map(|entry| entry.line).collect();
        let parts = self.collected.iter().filter(|part| part.is_part).map(|part| part.sighting.place.1);
        let mut parts: FxHashSet<u64> = parts.filter(|line| !told.contains(line)).collect();
        if parts.is_empty() {
            return;
        }
        for record in (0..block.rows_read().len()).filter_map(|index| block.record(index)) {
            if record.read.flags.has(Flag::RemarkJoined) && parts.remove(&record.place.line) {
                let mut flags = Flags::default();
                flags.raise(Flag::RemarkJoined);
                self.counts.flag(flags);
                self.entries.push(entry(&record.place, Outcome::Flagged(flags, String::new())));
            }
        }
    }

    pub(super) fn hold(&mut self, place: &RowPlace, fault: Fault) {
        self.counts.hold(fault.reason);
        self.entries.push(entry(place, Outcome::Held(fault)));
    }
}

pub(super) fn entry(place: &RowPlace, outcome: Outcome) -> Entry {
    Entry { file: place.file, line: place.line, row: place.text.to_owned(), outcome }
}

/// A row that waits.
pub struct Waiting<'t> {
    /// Its line.
    pub line: Line<'t>,
    /// Index of the file.
    pub file: usize,
    /// Index of the base.
    pub base: usize,
    /// Print of the feature's name with its code; none without a name.
    pub name: Option<u64>,
    /// What the audit found.
    pub flags: Flags,
}
