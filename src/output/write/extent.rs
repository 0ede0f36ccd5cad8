//! What a layer came to hold.

use std::collections::BTreeMap;

use super::places;
use crate::job::Format;
use crate::output::columns::{Batch, Layer};

/// What a layer came to hold.
#[derive(Debug, Clone, PartialEq)]
pub struct Extent {
    /// The layer's name in files.
    pub layer: String,
    /// Records.
    pub records: u64,
    /// Least x, least y, greatest x, greatest y in the CRS of the layers; none without geometry.
    pub bounds: Option<[f64; 4]>,
    /// By format: the file to open for it, from the output folder.
    pub files: BTreeMap<&'static str, String>,
}

impl Extent {
    pub(super) fn new(layer: &Layer, job: &str, formats: &[Format]) -> Extent {
        let file = |format: &Format| Some((format.word(), places::file_of(*format, job, layer)?));
        Extent { layer: layer.id.clone(), records: 0, bounds: None, files: formats.iter().filter_map(file).collect() }
    }

    pub(super) fn see(&mut self, batch: &Batch) {
        self.records += batch.len as u64;
        for position in (0..batch.len).flat_map(|i| batch.positions(i)) {
            let [west, south, east, north] = self.bounds.get_or_insert([position.x, position.y, position.x, position.y]);
            *west = west.min(position.x);
            *south = south.min(position.y);
            *east = east.max(position.x);
            *north = north.max(position.y);
        }
    }
}
