//! The page `NAME.report.html`: a whole job for people who have no GIS, in one file that asks for nothing from anywhere.
//!
//! It is one more taker of the batches that make the layers. It keeps of them what it shows (`collect`), in bounded memory
//! (`sample`), and draws and words it when the run is over. Nothing is computed here, and nothing is told that the layers,
//! `held.csv` and the summary do not tell: what is withheld from those never comes here.
//!
//! | file | subject |
//! | --- | --- |
//! | `collect`, `items`, `read`, `sample` | what is kept of the batches |
//! | `heading`, `map`, `values`, `drawings`, `good`, `todo`, `method` | one part of the page each |
//! | `groups`, `plane`, `data`, `background` | what the drawn map and the interactive one share |
//! | `table`, `svg`, `chart`, `vectors`, `shell` | tables; drawings; the file around it all |
//! | `sheet` | pages of the same shell without a map of features, for the other commands |
//!
//! The script is bundled from `report/` into `report/dist/page.js`, so that a build needs no Node.

pub(crate) mod background;
pub(crate) mod chart;
mod collect;
mod data;
mod drawings;
mod feature_columns;
pub(crate) mod good;
mod groups;
mod heading;
mod items;
mod map;
mod map_part;
mod method;
mod plane;
mod read;
mod sample;
pub(crate) mod sheet;
pub(crate) mod shell;
pub mod svg;
pub(crate) mod table;
mod todo;
mod values;
pub(crate) mod vectors;

use crate::output::WriteError;
use crate::output::columns::{Batch, LayerKey};
use crate::output::contract::{Account, Setup};
use crate::output::report::summary::CAUTION;
use crate::records::ledger::Entry;
use collect::Collected;
pub use drawings::Figure;
use groups::Groups;
use map::MapNorths;
use plane::MapPlane;
use shell::{PagePart, Shell};

/// A page on its way.
pub struct Page {
    collected: Collected,
}

impl Page {
    /// Begins with what is known before the first record.
    pub fn new(setup: &Setup) -> Page {
        Page { collected: Collected::new(setup) }
    }

    /// Takes records of a layer.
    pub fn write(&mut self, key: LayerKey, batch: &Batch) {
        self.collected.write(key, batch);
    }

    /// Takes a row that was held.
    pub fn held(&mut self, file: &str, entry: &Entry) {
        self.collected.held(file, entry);
    }

    /// The drawings of the measured things, one a figure.
    pub fn figures(&self) -> Vec<Figure> {
        drawings::figures(&self.collected)
    }

    /// The page, when the run is over.
    ///
    /// # Errors
    /// When the background that the job names cannot be used, or the data of the map cannot be written.
    pub fn html(mut self, account: &Account) -> Result<String, WriteError> {
        self.collected.keep_greatest();
        let collected = &self.collected;
        let groups = Groups::from_collected(collected);
        let plane = MapPlane::new(collected.bounds, collected.projected, collected.unit_m);
        let norths = MapNorths::from_collected(collected);
        let factor = map::ellipse_factor(collected, &plane);
        let background = collected
            .background
            .as_ref()
            .map(|path| {
                background::read(path, &plane, &collected.wkt)
                    .map_err(|source| WriteError::Background { path: path.clone(), source })
            })
            .transpose()?;
        let background = background.as_ref();
        let parts: Vec<PagePart> = [
            map_part::part(collected, account, &groups, &plane, &norths, factor, background),
            values::part(collected),
            drawings::part(collected),
            good::part(collected, account),
            todo::part(collected, account),
            Some(method::part(collected, account)),
        ]
        .into_iter()
        .flatten()
        .collect();
        let data = data::json(collected, &groups, &plane, &norths, factor, background).map_err(WriteError::Page)?;
        let shell = Shell {
            title: table::clean(&collected.title),
            days: heading::days(collected),
            lead: heading::sentences(collected, account),
            waiting: heading::waiting(account),
            caution: CAUTION.to_owned(),
            parts,
            data,
        };
        Ok(shell.html())
    }
}
