//! A run that writes nothing.

use super::WriteError;
use super::view::MappedBreadth;
use crate::job::catalogue::Catalogue;
use crate::job::{Format, Job, LayerName};
use crate::output::columns::{Batch, LayerKey};
use crate::output::contract::{Account, Setup, Sink};
use crate::output::disclosure::{Disclosure, Guarded};
use crate::output::page::Page;
use crate::records::ledger::Entry;

/// A sink that writes nothing and keeps the held rows, and what a page shows where one is wanted, for checking.
#[derive(Default)]
pub struct Discard {
    /// The held rows: file and entry.
    pub held: Vec<(String, Entry)>,
    /// Whether the catalogue keeps places coarse: what was computed here does not.
    pub keeps_places_coarse: bool,
    wants_page: bool,
    page: Option<Page>,
    /// What the page may tell: it is a file that others may get.
    disclosure: Disclosure,
    /// Where all that may leave would lie, and in which formats; none where a layer is kept coarse, which is in a grid.
    spread: Option<MappedBreadth>,
    formats: Vec<Format>,
}

impl Discard {
    /// The layers that a job must have for what is told of it without a page: features alone run every stage, but how wide the layers would
    /// be in longitudes is known by all of them.
    pub fn layers_for(job: &Job) -> Vec<LayerName> {
        if MappedBreadth::is_for(job) { job.layers.clone() } else { vec![LayerName::Features] }
    }

    /// A sink that keeps what a page shows, too.
    pub fn with_page() -> Discard {
        Discard { wants_page: true, ..Discard::default() }
    }

    /// What a person must know who would open a layer of the output alone, when the run is over: the sentence that an output gives, by what
    /// it would draw.
    ///
    /// # Errors
    /// When PROJ fails as a whole.
    pub fn note(&self) -> Result<Option<String>, WriteError> {
        self.spread.as_ref().map_or(Ok(None), |spread| Ok(spread.told(&self.formats)?.1))
    }

    /// The page, when the run is over; none where none was wanted.
    ///
    /// # Errors
    /// When the background that the job names cannot be used.
    pub fn page(&mut self, account: &Account) -> Result<Option<String>, WriteError> {
        let account = self.disclosure.account(account);
        self.page.take().map(|page| page.html(&account)).transpose()
    }
}

impl Sink for Discard {
    fn begin(&mut self, setup: &Setup) -> Result<(), WriteError> {
        self.keeps_places_coarse = setup.catalogue.is_some_and(Catalogue::has_coarse);
        self.disclosure = Disclosure::new(setup.catalogue, setup.crs.unit_factor());
        let layers = self.disclosure.layers(setup.layers.clone());
        (self.spread, self.formats) = (MappedBreadth::from_setup(setup), setup.job.formats.clone());
        self.page = self.wants_page.then(|| Page::new(&setup.with_layers(layers)));
        Ok(())
    }

    fn write(&mut self, key: LayerKey, batch: Batch) -> Result<(), WriteError> {
        if self.page.is_none() && self.spread.is_none() {
            return Ok(());
        }
        let batch = match self.disclosure.is_discreet() {
            false => batch,
            true => match self.disclosure.batch(key, &batch) {
                None => return Ok(()),
                Some(told) => told,
            },
        };
        if let Some(page) = &mut self.page {
            page.write(key, &batch);
        }
        if let Some(spread) = &mut self.spread {
            spread.see(key, &batch);
        }
        Ok(())
    }

    fn guard(&mut self, guarded: Guarded) {
        self.disclosure.guard(guarded);
    }

    fn held(&mut self, file: &str, entry: &Entry) -> Result<(), WriteError> {
        if let Some(page) = &mut self.page {
            page.held(file, &self.disclosure.entry(entry));
        }
        self.held.push((file.to_owned(), entry.clone()));
        Ok(())
    }
}
