//! What rows that waited came to: one result of repeats, the network, measurements and strings.

use std::collections::{BTreeMap, BTreeSet};

use super::composed::joined::Joinable;
use super::raw_arms::RawArms;
use super::standing::FeatureKey;
use crate::geodesy::register::SourceShares;
use crate::output::asked::Asked;
use crate::output::columns::{Batch, LayerKey};
use crate::output::layers::values::Thing;
use crate::records::ledger::{Counts, Entry};

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
