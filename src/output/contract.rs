//! What a run and its output agree on: what is known before the first record ([`Setup`]), who takes the records
//! ([`Sink`]), and what became of the rows ([`Account`]).

use super::WriteError;
use super::asked::Asked;
use super::columns::{Batch, Layer, LayerKey};
use super::disclosure::Guarded;
use super::layers::values::Thing;
use super::report::bases::BaseReport;
use super::report::local_fit::LocalFitSummary;
use super::report::network::NetworkSummary;
use super::report::shared::{SharedArms, SharedOfBase};
use super::report::sources::UncertaintySources;
use super::report::used::{GeoidSummary, OperationUse};
use crate::geodesy::crs::{Crs, OperationRules};
use crate::intake::log::InputFile;
use crate::job::Job;
use crate::job::catalogue::Catalogue;
use crate::records::ledger::{Counts, Entry};

/// What is known before the first record is written.
pub struct Setup<'j> {
    /// The job.
    pub job: &'j Job,
    /// The CRS of the layers.
    pub crs: &'j Crs,
    /// The catalogue of the job, with what it keeps coarse.
    pub catalogue: Option<&'j Catalogue>,
    /// The layers wanted, with all their fields.
    pub layers: Vec<Layer>,
    /// What may be used between datums.
    pub rules: OperationRules,
    /// Whether any record can have a height: without one, layers have two dimensions.
    pub has_z: bool,
    /// Longitude and latitude of the bases in degrees on the datum of the layers.
    pub places_deg: Vec<[f64; 2]>,
}

impl<'j> Setup<'j> {
    /// The same with other layers, as the output tells them.
    pub fn with_layers(&self, layers: Vec<Layer>) -> Setup<'j> {
        Setup { layers, places_deg: self.places_deg.clone(), ..*self }
    }
}

/// Takes the records of a run.
pub trait Sink: Send {
    /// Called once, before anything else.
    ///
    /// # Errors
    /// When the output cannot be begun.
    fn begin(&mut self, setup: &Setup) -> Result<(), WriteError>;

    /// Takes records of a layer, in order.
    ///
    /// # Errors
    /// When they cannot be written.
    fn write(&mut self, layer: LayerKey, batch: Batch) -> Result<(), WriteError>;

    /// Learns which measurements and strings have a place among their rows that the catalogue keeps coarse; called once,
    /// before any record of them.
    fn guard(&mut self, _guarded: Guarded) {}

    /// Takes a row that was held.
    ///
    /// # Errors
    /// When it cannot be written.
    fn held(&mut self, file: &str, entry: &Entry) -> Result<(), WriteError>;
}

/// What became of a run.
#[derive(Debug, Clone)]
pub struct Account {
    /// The input files with their counts, bases first.
    pub files: Vec<InputFile>,
    /// Counts of all shot logs together.
    pub shots: Counts,
    /// Counts of all base logs together.
    pub bases: Counts,
    /// Composed measurements.
    pub measurements: Asked,
    /// Lines and areas.
    pub strings: Asked,
    /// Measured things: measurements first, then lines and areas.
    pub things: Vec<Thing>,
    /// Bases used, without those that a network placed.
    pub bases_used: u64,
    /// Bases that a network placed.
    pub bases_placed: u64,
    /// Whether a network placed anything.
    pub is_adjusted: bool,
    /// Operations used between datums and for heights, each with its bases.
    pub operations: Vec<OperationUse>,
    /// What the features of each base err by together with others.
    pub shared_errors: Vec<SharedOfBase>,
    /// What points that several bases or a network placed err by, and measured values.
    pub shared_arms: SharedArms,
    /// What the uncertainty of the points mapped comes from.
    pub uncertainty_sources: UncertaintySources,
    /// Magnetic models used.
    pub magnetic_models: Vec<&'static str>,
    /// The geoids used.
    pub geoids: Vec<GeoidSummary>,
    /// What came of the network; none without one.
    pub network: Option<NetworkSummary>,
    /// What the fit of a local frame to a CRS says; none without one.
    pub local_fit: Option<LocalFitSummary>,
    /// Each base and what became of it.
    pub stations: Vec<BaseReport>,
    /// What the third coordinate of the layers is.
    pub third: String,
    /// The CRS of the layers.
    pub crs: String,
    /// Assumptions and warnings for the person, in sentences.
    pub notes: Vec<String>,
    /// How many of them, the first, are about settings and models alone; the others speak of rows and places.
    pub notes_on_settings: usize,
}

impl Account {
    /// Rows held, of bases and of shots.
    pub fn held_total(&self) -> u64 {
        self.shots.held_total() + self.bases.held_total()
    }
}
