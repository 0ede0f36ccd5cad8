//! Mapped features that strings join to: remembered as they come up, and found by name.
//!
//! The survey of the logs tells which names are wanted, so that a log of a million shots costs nothing for them. A feature that was shot
//! several times, or that a network placed, is joined to where it was mapped, with all that it errs by.

use std::collections::BTreeMap;

use super::row::CollectedRow;
use crate::geodesy::register::Located;
use crate::records::roles::JOIN;
use crate::run::stage::Stage;
use crate::shots::reduce::Vector;

/// A mapped feature that a string joins to.
#[derive(Debug, Clone)]
pub struct Joinable {
    /// Name of the feature.
    feature: String,
    /// Index of the file, and line, of its first row.
    place: (usize, u64),
    /// Index of the base that its vector is counted from.
    pub base: usize,
    /// The vector.
    pub vector: Vector,
    /// The point with all that it errs by, where that is not the vector's.
    pub located: Option<Box<Located>>,
}

impl Stage<'_> {
    /// A feature as it is mapped, where a string joins to its name.
    pub fn joinable(
        &self,
        feature: Option<&str>,
        place: (usize, u64),
        (base, vector): (usize, &Vector),
        located: impl FnOnce() -> Option<Located>,
    ) -> Option<Joinable> {
        let name = feature.filter(|name| self.logs.joins.contains(*name))?;
        Some(Joinable { feature: name.to_owned(), place, base, vector: *vector, located: located().map(Box::new) })
    }
}

/// Features by name, each at the first of its rows.
pub struct JoinableFeatures(BTreeMap<String, Joinable>);

/// Why a row joins to no feature.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NoFeature {
    /// It names none.
    #[error("the row names no feature to join to; write its name in the column of features")]
    Unnamed,
    /// No mapped feature has the name.
    #[error("no mapped feature is called {0}; look for a shot of it that was held, or mend the name")]
    Unknown(String),
}

impl JoinableFeatures {
    /// Of the features that were remembered, and of rows that belong to measurements and strings.
    pub fn gather(remembered: Vec<Joinable>, collected: &[CollectedRow]) -> JoinableFeatures {
        let mut named: BTreeMap<String, Joinable> = BTreeMap::new();
        let own = collected.iter().filter(|row| row.sighting.role != JOIN).filter_map(|row| {
            Some(Joinable {
                feature: row.feature.clone()?,
                place: row.sighting.place,
                base: row.sighting.base,
                vector: row.sighting.vector?,
                located: None,
            })
        });
        for found in remembered.into_iter().chain(own) {
            let known = named.get(&found.feature).is_some_and(|known| known.place <= found.place);
            if !known {
                named.insert(found.feature.clone(), found);
            }
        }
        JoinableFeatures(named)
    }

    /// The feature of a name.
    ///
    /// # Errors
    /// Why there is none to join to.
    pub fn find(&self, name: Option<&str>) -> Result<&Joinable, NoFeature> {
        let Some(name) = name.filter(|name| !name.is_empty()) else {
            return Err(NoFeature::Unnamed);
        };
        match self.0.get(name) {
            None => Err(NoFeature::Unknown(name.to_owned())),
            Some(found) => Ok(found),
        }
    }
}
