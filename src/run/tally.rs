//! The counts that a run keeps from its first row to its last, and the ledger's records of rows.

use std::collections::{BTreeMap, BTreeSet};

use super::RunError;
use super::composed::Joinable;
use super::map_block::{self, Computed, Stage};
use super::prepare::Prepared;
use super::shared::RawArms;
use super::standing::FeatureKey;
use crate::geodesy::register::{Shares, SourceShares};
use crate::intake::log::Log;
use crate::job::LayerName;
use crate::output::columns::{Batch, LayerKey};
use crate::output::contract::Sink;
use crate::output::layers::ledger::Record;
use crate::output::layers::values::Thing;
use crate::output::outcome::Asked;
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

/// What rows that waited came to: repeats, the network, measurements and strings alike.
#[derive(Default)]
pub struct Settlement {
    /// Records of layers, in order.
    pub batches: Vec<(LayerKey, Batch)>,
    /// The rows' records for the ledger, the held ones among them.
    pub entries: Vec<Entry>,
    /// Counts by file.
    pub counts: BTreeMap<usize, Counts>,
    /// Shots mapped, by base.
    pub shots_of_base: BTreeMap<usize, u64>,
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
    /// For the person.
    pub notes: Vec<String>,
    /// Features that strings join to.
    pub joinable: Vec<Joinable>,
    /// Features that stand in layers of the catalogue.
    pub standing: BTreeSet<FeatureKey>,
}

impl Settlement {
    /// Adds what other rows came to.
    pub fn join(&mut self, other: Settlement) {
        self.batches.extend(other.batches);
        self.entries.extend(other.entries);
        other.counts.iter().for_each(|(file, of_file)| self.counts.entry(*file).or_default().add(of_file));
        other.shots_of_base.iter().for_each(|(base, shots)| *self.shots_of_base.entry(*base).or_default() += shots);
        other.unknown_codes.into_iter().for_each(|(code, rows)| *self.unknown_codes.entry(code).or_default() += rows);
        self.measurements.add(other.measurements);
        self.strings.add(other.strings);
        self.things.extend(other.things);
        self.sources.join(&other.sources);
        self.arms.join(other.arms);
        self.notes.extend(other.notes);
        self.joinable.extend(other.joinable);
        self.standing.extend(other.standing);
    }
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
        let records: Vec<Record> = entries.iter().map(|entry| Record::Row(names[entry.file], of_bases, entry)).collect();
        sink.write(LayerName::Ledger.into(), map_block::ledger_batch(&records))?;
    }
    Ok(())
}
