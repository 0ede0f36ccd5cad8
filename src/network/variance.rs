//! Variance components: the standard errors that azimuths, inclinations and distances really had.
//!
//! For each class s² = Σ ṽ² / Σ r, ṽ the residuals over their standard errors and r the redundancy numbers; the
//! standard errors are multiplied by s and the network solved again until every s is 1 (W. Förstner's simplified
//! form of Helmert's estimator, "Ein Verfahren zur Schätzung von Varianz- und Kovarianzkomponenten", Allgemeine
//! Vermessungs-Nachrichten 86, 1979; from memory). The standard error of s is s / √(2 Σ r). A class with less redundancy
//! than [`LEAST_REDUNDANCY`] is left as it was given, and so are positions and priors.

use std::collections::BTreeMap;

use super::adjust;
use super::equations::Source;
use super::notes::BadNetwork;
use super::types::{Class, Network, Settings};

/// Redundancy from which a class has an estimate: 10, where its standard error is 22 % (own choice).
pub const LEAST_REDUNDANCY: f64 = 10.0;

/// Change of a factor at rest.
const REST: f64 = 0.002;

/// Solutions after which the factors are taken as they are.
const ROUNDS: usize = 25;

/// Range that a factor is kept in.
const RANGE: (f64, f64) = (1e-3, 1e3);

/// A class, and the instrument that its readings name.
type Key = (Class, Option<usize>);

/// Sums over the used readings of a class.
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    /// Of squared residuals over variances.
    square: f64,
    /// Of redundancy numbers.
    redundancy: f64,
    /// Of variances.
    variance: f64,
    readings: usize,
}

/// The standard error of one class of readings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClassSigma {
    /// The class.
    pub class: Class,
    /// The instrument, where readings name one.
    pub instrument: Option<usize>,
    /// What the standard errors given have to be multiplied by; none where too few readings check the class.
    pub factor: Option<f64>,
    /// Standard error of the factor.
    pub factor_sigma: Option<f64>,
    /// Mean (root mean square) standard error of the class's readings after that, in metres or radians.
    pub sigma: f64,
    /// Redundancy of the class.
    pub redundancy: f64,
    /// Readings of the class that were used.
    pub readings: usize,
}

/// The standard errors of a network's readings by class and instrument, from all its components together.
pub fn variance_components(network: &Network, settings: &Settings) -> Result<Vec<ClassSigma>, BadNetwork> {
    let key = |i: usize| network.observations.get(i).map(|o| (o.kind.class(), o.instrument));
    let mut factors: BTreeMap<Key, f64> = BTreeMap::new();
    let mut scaled = network.clone();
    let mut sums: BTreeMap<Key, Sums> = BTreeMap::new();
    for _ in 0..ROUNDS {
        for (scaled, own) in scaled.observations.iter_mut().zip(&network.observations) {
            scaled.sigma = own.sigma * factors.get(&(own.kind.class(), own.instrument)).copied().unwrap_or(1.0);
        }
        sums.clear();
        for solved in adjust(&scaled, settings)?.solved {
            for r in solved.residuals.iter().filter(|r| r.used) {
                let Source::Observation(i) = r.source else { continue };
                let Some(key) = key(i) else { continue };
                let sums = sums.entry(key).or_default();
                sums.square += r.weight * (r.residual / r.sigma).powi(2);
                sums.redundancy += r.redundancy;
                sums.variance += r.sigma * r.sigma;
                sums.readings += 1;
            }
        }
        let mut change: f64 = 0.0;
        for (key, Sums { square, redundancy, .. }) in &sums {
            if *redundancy >= LEAST_REDUNDANCY {
                let s = (square / redundancy).sqrt();
                change = change.max((s - 1.0).abs());
                let factor = factors.entry(*key).or_insert(1.0);
                *factor = (*factor * s).clamp(RANGE.0, RANGE.1);
            }
        }
        if change < REST {
            break;
        }
    }
    Ok(sums
        .into_iter()
        .map(|((class, instrument), Sums { redundancy, variance, readings, .. })| {
            let factor = factors.get(&(class, instrument)).copied();
            ClassSigma {
                class,
                instrument,
                factor,
                factor_sigma: factor.map(|f| f / (2.0 * redundancy).sqrt()),
                sigma: (variance / readings.max(1) as f64).sqrt(),
                redundancy,
                readings,
            }
        })
        .collect())
}
