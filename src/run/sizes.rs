//! Sizes of features of the catalogue's layers: which a job can have, and those that were measured.

use std::collections::{BTreeSet, HashMap};

use crate::geodesy::register::Estimate;
use crate::output::columns::Column;
use crate::output::layers::features::Feature;
use crate::output::layers::values::Thing;

/// What a feature is measured for that becomes an attribute of it, and the kinds of measurement that give it.
const SIZES: [(&str, &[&str]); 3] =
    [("height_m", &["height", "plane_sight"]), ("width_m", &["width", "plane_sight"]), ("area_m2", &["plane_sight"])];

/// The sizes that features of a job can have, of its kinds of measurement.
pub fn sizes(kinds: &BTreeSet<String>) -> impl Iterator<Item = &'static str> {
    SIZES.iter().filter(|(_, of)| of.iter().any(|kind| kinds.contains(*kind))).map(|(size, _)| *size)
}

/// Heights, widths and areas by code and name.
#[derive(Default)]
pub struct Sizes {
    of: HashMap<(String, String), Vec<(&'static str, Estimate)>>,
}

impl Sizes {
    /// Those of things that were measured.
    pub fn from_things(things: &[Thing]) -> Sizes {
        let mut sizes = Sizes::default();
        for (size, kinds) in SIZES {
            for kind in kinds {
                for thing in things.iter().filter(|thing| thing.measure == *kind) {
                    let Some(estimate) = thing.value(size) else { continue };
                    let key = (thing.code.clone().unwrap_or_default(), thing.name.clone());
                    let known = sizes.of.entry(key).or_default();
                    if !known.iter().any(|(name, _)| *name == size) {
                        known.push((size, estimate));
                    }
                }
            }
        }
        sizes
    }

    /// The columns of a size and of its standard error.
    pub(super) fn columns(&self, size: &str, keys: &[(String, String)]) -> [Column; 2] {
        let found: Vec<Option<Estimate>> =
            keys.iter().map(|key| Some(self.of.get(key)?.iter().find(|(name, _)| *name == size)?.1)).collect();
        let column = |read: fn(Estimate) -> f64| Column::Real(found.iter().map(|one| one.map_or(f64::NAN, read)).collect());
        [column(|one| one.value), column(|one| one.sigma)]
    }

    /// The columns of all sizes of a job for records.
    pub fn columns_of<'r>(&self, kinds: &BTreeSet<String>, records: impl Iterator<Item = &'r Feature<'r>>) -> Vec<Column> {
        let keys: Vec<(String, String)> = records.map(key_of).collect();
        sizes(kinds).flat_map(|size| self.columns(size, &keys)).collect()
    }
}

fn key_of(record: &Feature) -> (String, String) {
    (record.code.unwrap_or_default().to_owned(), record.feature.unwrap_or_default().to_owned())
}

/// Roles of a measurement whose shot is where the feature stands: its row goes to the layer of its code, the others of
/// the measurement to `features`.
pub const PLACES: [&str; 3] = ["foot", "centre", "near_face"];
