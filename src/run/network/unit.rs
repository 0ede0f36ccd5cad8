//! The unit that a reading of a network is shown in.

use super::AdjustedNetwork;
use crate::network::{Network, Source};
use crate::units::Units;

/// The unit that a reading is shown in.
#[derive(Clone, Copy)]
pub(super) enum ReadingUnit {
    Metre,
    Degree,
    PerMillion,
}

impl ReadingUnit {
    pub(super) fn of_observation(network: &AdjustedNetwork, observation: usize) -> ReadingUnit {
        ReadingUnit::of_source(&network.built.network, Source::Observation(observation))
    }

    /// The unit of an observation's residual.
    pub(super) fn of_source(network: &Network, source: Source) -> ReadingUnit {
        let is_angle = match source {
            Source::Observation(index) => network.observations[index].kind.is_angle(),
            Source::Orientation(_) => true,
            Source::Shared(index) => network.observations.iter().any(|o| o.shared.contains(&Some(index)) && o.kind.is_angle()),
            Source::Control(_) | Source::Constant(_) => false,
            Source::Scale(_) => return ReadingUnit::PerMillion,
        };
        if is_angle { ReadingUnit::Degree } else { ReadingUnit::Metre }
    }

    pub(super) fn word(self) -> &'static str {
        match self {
            ReadingUnit::Metre => "m",
            ReadingUnit::Degree => "deg",
            ReadingUnit::PerMillion => "ppm",
        }
    }

    pub(super) fn of_si(self, value: f64) -> f64 {
        match self {
            ReadingUnit::Metre => value,
            ReadingUnit::Degree => value.to_degrees(),
            ReadingUnit::PerMillion => value * 1e6,
        }
    }

    pub(super) fn show(self, value: f64, units: &Units) -> String {
        match units.of_unit(self.word()) {
            Some(shown) => format!("{:+.3} {}", shown.value(self.of_si(value)), shown.word()),
            None => format!("{:+.3} {}", self.of_si(value), self.word()),
        }
    }
}
