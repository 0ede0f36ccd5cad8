//! What became of the rows of base logs, once the bases are settled: their counts and their entries in the ledger.

use std::collections::HashSet;

use crate::intake::base_logs::BaseLogs;
use crate::records::ledger::{Counts, Entry, Outcome};
use crate::stations::base::BaseTable;

/// The counts of each file, once the bases are settled.
pub fn counts(logs: &BaseLogs, table: &BaseTable) -> Vec<Counts> {
    let mut counts: Vec<Counts> = logs.files.iter().map(|file| file.info.counts.clone()).collect();
    for held in &table.held {
        counts[held.place.0].hold(held.fault.reason);
    }
    // A fix may lie between the times of several shots, and serve a base for each.
    let mut used = HashSet::new();
    for base in table.bases.iter().filter(|base| !base.from_network) {
        counts[base.row.file].flag(base.flags);
        if base.row.origins.is_empty() {
            counts[base.row.file].mapped += 1;
        }
        for origin in &base.row.origins {
            counts[origin.file].mapped += u64::from(used.insert(origin.raw.as_ptr()));
        }
    }
    counts
}

/// The ledger's entries of base rows, in the order of the logs.
pub fn base_entries(table: &BaseTable) -> Vec<Entry> {
    let held = table.held.iter().map(|held| {
        let (file, line, row) = held.place.clone();
        Entry { file, line, row, outcome: Outcome::Held(held.fault.clone()) }
    });
    let flagged = table.bases.iter().filter(|base| !base.flags.is_empty()).map(|base| Entry {
        file: base.row.file,
        line: base.row.line,
        row: base.row.raw.clone(),
        outcome: Outcome::Flagged(base.flags, String::new()),
    });
    let mut entries: Vec<Entry> = held.chain(flagged).collect();
    entries.sort_by_key(|entry| (entry.file, entry.line));
    entries
}
