//! The `[network]` table: shots that check each other are adjusted together.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Adjusts shots that check each other: features shot more than once or from several bases, backsights and foresights
/// between bases, bases without a GNSS position. The table alone, `[network]`, turns it on. All these shots are held in memory.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
#[schemars(rename = "Network")]
pub struct NetworkSettings {
    /// What becomes of a reading that fails its test.
    pub reject: Reject,
    /// Estimation that gives large residuals less weight.
    pub robust: Robust,
    /// Probability of calling one good reading wrong.
    pub alpha: f64,
    /// Probability with which a blunder of the smallest detectable size is found.
    pub power: f64,
    /// Probability that the global test fails a good network.
    pub alpha_global: f64,
    /// What the azimuths of a base know of north.
    pub orientation: NetworkOrientation,
    /// Prior standard error of each instrument's scale, in parts per million: it is then found by the network. Default: no scale.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sigma_scale_ppm: Option<f64>,
    /// Prior standard error of each instrument's distance constant in metres: found likewise. Default: no constant.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sigma_constant_m: Option<f64>,
}

impl Default for NetworkSettings {
    fn default() -> Self {
        NetworkSettings {
            reject: Reject::Propose,
            robust: Robust::None,
            alpha: 0.001,
            power: 0.8,
            alpha_global: 0.05,
            orientation: NetworkOrientation::Prior,
            sigma_scale_ppm: None,
            sigma_constant_m: None,
        }
    }
}

/// What becomes of a reading that fails its test.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Reject {
    /// The worst one is named, and kept.
    #[default]
    Propose,
    /// The worst one is taken out, the network solved and tested again, until none fails.
    Auto,
}

/// Estimation that gives large residuals less weight.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Robust {
    /// Least squares.
    #[default]
    None,
    /// P. J. Huber's function.
    Huber,
    /// The Danish method.
    Danish,
}

/// What the azimuths of a base know of north.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum NetworkOrientation {
    /// Declination and compass, with their standard error as a prior.
    #[default]
    Prior,
    /// Nothing: each base's azimuths, whatever north their column names, are readings of a circle whose zero points anywhere. The
    /// network turns it, or a backsight. Shots from a base that neither orients are held.
    Free,
}

/// A value of the network that is out of range, by its key.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum NetworkFault {
    /// No probability.
    #[error("{0} is {1}; a probability lies between 0 and 1")]
    Probability(&'static str, f64),
    /// No standard error.
    #[error("{0} is a standard error: zero or above")]
    Sigma(&'static str),
}

impl super::Job {
    /// Whether the azimuths are readings of circles whose zeros point anywhere.
    pub fn has_free_circles(&self) -> bool {
        self.network.as_ref().is_some_and(|network| network.orientation == NetworkOrientation::Free)
    }
}

impl NetworkSettings {
    /// The first value that is out of range, with its key.
    pub(super) fn fault(&self) -> Option<(&'static str, NetworkFault)> {
        for (key, value) in [("alpha", self.alpha), ("power", self.power), ("alpha_global", self.alpha_global)] {
            if !(value > 0.0 && value < 1.0) {
                return Some((key, NetworkFault::Probability(key, value)));
            }
        }
        for (key, value) in [("sigma_scale_ppm", self.sigma_scale_ppm), ("sigma_constant_m", self.sigma_constant_m)] {
            if value.is_some_and(|value| !(value.is_finite() && value >= 0.0)) {
                return Some((key, NetworkFault::Sigma(key)));
            }
        }
        None
    }
}
