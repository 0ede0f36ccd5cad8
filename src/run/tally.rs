//! The counts that a run keeps from its first row to its last, and the ledger's records of rows.

use std::collections::BTreeMap;

use super::RunError;
use super::batches;
use super::computed::Computed;
use super::prepare::Prepared;
use super::raw_arms::RawArms;
use super::settlement::Settlement;
use super::stage::Stage;
use crate::geodesy::register::{Shares, SourceShares};
use crate::intake::log::Log;
use crate::job::LayerName;
use crate::output::asked::Asked;
use crate::output::contract::Sink;
use crate::output::layers::ledger::LedgerRecord;
use crate::output::layers::values::Thing;
use crate::records::ledger::{Counts, Entry, Outcome};

/// What is counted.
pub struct Tally<'p> {
    /// The shot logs' names.
    pub names: Vec<&'p str>,
    /// Whether the ledger is written.
    pub wants_ledger: bool,
    /// By shot log.
    pub counts: Vec<Counts>,
    /// Shots mapped, by base.
    pub shots_of_base: Vec<u64>,
    /// What the shots of each base share with others, each once.
    pub shares: Vec<Vec<Shares>>,
    /// Rows by codes that the catalogue does not have.
    pub unknown_codes: BTreeMap<String, u64>,
    /// Measurements asked for and composed.
    pub measurements: Asked,
    /// Strings asked for and drawn.
    pub strings: Asked,
    /// Measured things.
    pub things: Vec<Thing>,
    /// What the uncertainty of the points comes from.
    pub sources: SourceShares,
    /// What points of several bases and values err by together with others.
    pub arms: RawArms,
}

impl<'p> Tally<'p> {
    /// Nothing counted yet but what stands above the headers.
    pub fn new(prepared: &'p Prepared, stage: &Stage) -> Tally<'p> {
        let files = &prepared.shot_logs.files;
        Tally {
            names: files.iter().map(|file| file.info.name.as_str()).collect(),
            wants_ledger: prepared.job.layers.contains(&LayerName::Ledger),
            counts: files.iter().map(Log::counts_above).collect(),
            shots_of_base: vec![0; stage.table.bases.len()],
            shares: vec![Vec::new(); stage.table.bases.len()],
            unknown_codes: BTreeMap::new(),
            measurements: Asked::default(),
            strings: Asked::default(),
            things: Vec::new(),
            sources: SourceShares::default(),
            arms: RawArms::default(),
        }
    }

    /// Counts a computed block.
    pub fn add(&mut self, block: &Computed) {
        block.unknown_codes.iter().for_each(|(code, rows)| *self.unknown_codes.entry(code.clone()).or_default() += rows);
        self.counts[block.file].add(&block.counts);
        for (base, shares) in &block.shares {
            // More than one: it does not matter how many.
            if self.shares[*base].len() < 2 && !self.shares[*base].iter().any(|known| known.are_of(shares)) {
                self.shares[*base].push(*shares);
            }
        }
        block.shots_of_base.iter().for_each(|(base, shots)| self.shots_of_base[*base] += shots);
        self.sources.join(&block.sources);
    }

    /// Writes and counts what waited; gives what is to be said of it.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn settle(&mut self, settled: Settlement, sink: &mut dyn Sink) -> Result<Vec<String>, RunError> {
        let Settlement {
            batches,
            entries,
            counts,
            shots_of_base,
            unknown_codes,
            measurements,
            strings,
            things,
            sources,
            arms,
            notes,
            joinable: _,
            standing: _,
        } = settled;
        self.things.extend(things);
        self.sources.join(&sources);
        self.arms.join(arms);
        self.measurements.add(measurements);
        self.strings.add(strings);
        for (layer, batch) in batches {
            sink.write(layer, batch)?;
        }
        write_entries(sink, self.wants_ledger, false, &self.names, &entries)?;
        counts.iter().for_each(|(file, of_file)| self.counts[*file].add(of_file));
        shots_of_base.iter().for_each(|(base, shots)| self.shots_of_base[*base] += shots);
        unknown_codes.into_iter().for_each(|(code, rows)| *self.unknown_codes.entry(code).or_default() += rows);
        Ok(notes)
    }
}

/// Writes the records of rows: the held ones for themselves, and all of them to the ledger.
///
/// # Errors
/// When they cannot be written.
pub fn write_entries(
    sink: &mut dyn Sink,
    wants_ledger: bool,
    of_bases: bool,
    names: &[&str],
    entries: &[Entry],
) -> Result<(), RunError> {
    for entry in entries {
        if matches!(entry.outcome, Outcome::Held(_)) {
            sink.held(names[entry.file], entry)?;
        }
    }
    if wants_ledger && !entries.is_empty() {
        let records: Vec<LedgerRecord> =
            entries.iter().map(|entry| LedgerRecord::Row(names[entry.file], of_bases, entry)).collect();
        sink.write(LayerName::Ledger.into(), batches::ledger_batch(&records))?;
    }
    Ok(())
}
