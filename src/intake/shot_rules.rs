//! What the reading of shots needs from the job: instruments with their calibrations, heights, limits.

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::job::catalogue::Catalogue;
use crate::job::{Checks, Heights, Instrument};
use crate::records::kit::Kits;
use crate::units::Units;

/// What the reading of shots needs from the job.
#[derive(Debug, Clone)]
pub struct ShotRules {
    pub(super) kits: BTreeMap<String, Kits>,
    /// The kits of rows that name none.
    pub(super) only: Option<Kits>,
    /// By number of a calibration less one, its instrument and values.
    calibrations: Vec<String>,
    pub(super) target_height_m: Option<f64>,
    pub(super) catalogue: Option<Arc<Catalogue>>,
    pub(super) steep_rad: f64,
    pub(super) agreement_sigmas: f64,
    /// The units of what is said.
    pub(super) units: Units,
}

impl ShotRules {
    /// Settles the instruments and limits of a job.
    pub fn new(
        instrument: Option<&Instrument>,
        instruments: &BTreeMap<String, Instrument>,
        heights: &Heights,
        checks: &Checks,
    ) -> ShotRules {
        let (mut last, mut calibrations) = (0, Vec::new());
        let mut numbered = |name: &str, instrument: &Instrument| {
            let mut kits = Kits::from(instrument);
            kits.number(&mut last);
            calibrations.extend(kits.calibrations().map(|kit| format!("{name}: {}", kit.corrections())));
            kits
        };
        let kits: BTreeMap<String, Kits> =
            instruments.iter().map(|(name, instrument)| (name.clone(), numbered(name, instrument))).collect();
        let only = match (instrument, kits.len()) {
            (Some(one), _) => Some(numbered("the instrument", one)),
            (None, 0) => Some(Kits::from(&Instrument { refraction: crate::geodesy::REFRACTION, ..Instrument::default() })),
            (None, 1) => kits.values().next().cloned(),
            _ => None,
        };
        ShotRules {
            kits: kits.into_iter().collect(),
            only,
            calibrations,
            target_height_m: heights.target_height_m,
            catalogue: None,
            steep_rad: checks.steep_deg.to_radians(),
            agreement_sigmas: checks.agreement_sigmas,
            units: Units::default(),
        }
    }

    /// The instrument and the values of a calibration by its number, from 1; none of 0.
    pub fn calibration(&self, number: u32) -> Option<&str> {
        self.calibrations.get((number as usize).checked_sub(1)?).map(String::as_str)
    }

    /// With the units of what is said of rows.
    #[must_use]
    pub fn with_units(self, units: Units) -> ShotRules {
        ShotRules { units, ..self }
    }

    /// With what a catalogue says of codes: target heights and near faces.
    #[must_use]
    pub fn with_catalogue(mut self, catalogue: Option<Arc<Catalogue>>) -> ShotRules {
        self.catalogue = catalogue;
        self
    }
}
