//! Features of the catalogue's layers that are measured: their heights, widths and areas become attributes, and each stands once in
//! its layer, whatever number of its rows could be where it stands.
//!
//! Rows of measurements in such layers wait until all are composed. Of the rows of one feature that of its foot stands there, else of
//! its centre, else of its near face; where the feature was shot by itself too, that shot does. The others are features like any.

use std::collections::{BTreeMap, BTreeSet};

use super::mapped_feature::MappedFeature;
use super::sizes::{self, PLACES, Sizes};
use crate::job::LayerName;
use crate::output::columns::{Batch, LayerKey};

/// What tells a feature of a layer of the catalogue: the layer, its code, its name.
pub type FeatureKey = (LayerKey, Option<String>, String);

/// Whether a feature waits for what is measured of it.
pub fn waits(feature: &MappedFeature) -> bool {
    let record = &feature.record;
    matches!(feature.class.layer, LayerKey::Coded(_)) && record.measure.is_some() && record.feature.is_some()
}

/// The places of features in the catalogue's layers.
pub fn places(mapped: &[MappedFeature]) -> BTreeSet<FeatureKey> {
    let coded = mapped.iter().filter(|feature| matches!(feature.class.layer, LayerKey::Coded(_)));
    coded.filter_map(|feature| place(feature)).collect()
}

fn place(feature: &MappedFeature) -> Option<FeatureKey> {
    Some((feature.class.layer, feature.record.code.map(str::to_owned), feature.record.feature?.to_owned()))
}

/// Measured features of one layer, of one block.
pub struct Standing {
    layer: LayerKey,
    places: Vec<(FeatureKey, usize)>,
    /// The records as the layer has them; `sizes_at` is where their sizes stand, if the layer has any.
    coded: Batch,
    sizes_at: Option<usize>,
    /// The records as the layer of features has them; none where they may not stand there.
    own: Option<Batch>,
}

impl Standing {
    /// Features with their records in both layers.
    pub fn new(
        layer: LayerKey,
        features: &[&MappedFeature],
        coded: Batch,
        sizes_at: Option<usize>,
        own: Option<Batch>,
    ) -> Standing {
        let rank = |role: Option<&str>| PLACES.iter().position(|place| role == Some(place)).unwrap_or(PLACES.len());
        let of = |feature: &&MappedFeature| (place(feature).unwrap_or((layer, None, String::new())), rank(feature.record.role));
        Standing { layer, places: features.iter().map(of).collect(), coded, sizes_at, own }
    }
}

/// The records of measured features, each once in its layer; `stood` are those that stand there by a shot of their own.
pub fn settle(
    standing: Vec<Standing>,
    sizes: &Sizes,
    kinds: &BTreeSet<String>,
    stood: &BTreeSet<FeatureKey>,
) -> Vec<(LayerKey, Batch)> {
    let mut best: BTreeMap<&FeatureKey, (usize, usize, usize)> = BTreeMap::new();
    for (block, of_layer) in standing.iter().enumerate() {
        for (row, (place, rank)) in of_layer.places.iter().enumerate().filter(|(_, (place, _))| !stood.contains(place)) {
            let found = (*rank, block, row);
            best.entry(place).and_modify(|known| *known = (*known).min(found)).or_insert(found);
        }
    }
    let chosen: BTreeSet<(usize, usize)> = best.into_values().map(|(_, block, row)| (block, row)).collect();
    let mut batches = Vec::new();
    for (block, of_layer) in standing.iter().enumerate() {
        let (there, elsewhere): (Vec<usize>, Vec<usize>) =
            (0..of_layer.coded.len).partition(|row| chosen.contains(&(block, *row)));
        if !there.is_empty() {
            let mut batch = of_layer.coded.select(&there);
            if let Some(at) = of_layer.sizes_at {
                let key = |row: &usize| {
                    let (_, code, name) = &of_layer.places[*row].0;
                    (code.clone().unwrap_or_default(), name.clone())
                };
                let keys: Vec<(String, String)> = there.iter().map(key).collect();
                let columns = sizes::sizes(kinds).flat_map(|size| sizes.columns(size, &keys));
                batch.columns.iter_mut().skip(at).zip(columns).for_each(|(column, known)| *column = known);
            }
            batches.push((of_layer.layer, batch));
        }
        if let Some(own) = of_layer.own.as_ref().filter(|_| !elsewhere.is_empty()) {
            batches.push((LayerName::Features.into(), own.select(&elsewhere)));
        }
    }
    batches
}
