//! A run that writes nothing.

use super::WriteError;
use crate::job::catalogue::Catalogue;
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
}

impl Discard {
    /// A sink that keeps what a page shows, too.
    pub fn with_page() -> Discard {
        Discard { wants_page: true, ..Discard::default() }
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
        self.page = self.wants_page.then(|| Page::new(&setup.with_layers(layers)));
        Ok(())
    }

    fn write(&mut self, key: LayerKey, batch: Batch) -> Result<(), WriteError> {
        let Some(page) = &mut self.page else { return Ok(()) };
        match self.disclosure.is_discreet() {
            false => page.write(key, &batch),
            true => {
                if let Some(told) = self.disclosure.batch(key, &batch) {
                    page.write(key, &told);
                }
            }
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
