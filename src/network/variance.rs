//! Variance components: the standard errors that azimuths, inclinations and distances really had.
//!
//! For each class s² = Σ ṽ² / Σ r, ṽ the residuals over their standard errors and r the redundancy numbers; the
//! standard errors are multiplied by s and the network solved again until every s is 1 (W. Förstner's simplified
//! form of Helmert's estimator, "Ein Verfahren zur Schätzung von Varianz- und Kovarianzkomponenten", Allgemeine
//! Vermessungs-Nachrichten 86, 1979; from memory). The standard error of s is s / √(2 Σ r). A class with less redundancy
//! than [`LEAST_REDUNDANCY`] is left as it was given, and so are positions and priors.

use std::collections::BTreeMap;

use super::bad::BadNetwork;
use super::equations::Source;
use super::run::{Adjustment, adjust};
use super::types::{Class, Network, Settings};

/// Redundancy from which a class has an estimate: 10, where its standard error is 22 % (own choice).
pub const LEAST_REDUNDANCY: f64 = 10.0;

/// Change of a factor at rest: what a change of 1 % leaves to the next solution is far below the standard error of the factor.
const REST: f64 = 0.01;

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
    Ok(variance_components_of(network, settings, &adjust(network, settings)?))
}

/// The same of a network whose adjustment is at hand: it is the first of the solutions, and the next ones begin there.
pub fn variance_components_of(network: &Network, settings: &Settings, first: &Adjustment) -> Vec<ClassSigma> {
    let mut factors: BTreeMap<Key, f64> = BTreeMap::new();
    let mut sums = sums_of(network, network, first);
    let mut begun = first.begun.clone();
    begun.move_to(first);
    for round in 1.. {
        let change = renew(&mut factors, &sums);
        if change < REST || round == ROUNDS {
            break;
        }
        let mut scaled = network.clone();
        for o in &mut scaled.observations {
            o.sigma *= factors.get(&(o.kind.class(), o.instrument)).copied().unwrap_or(1.0);
        }
        let next = begun.adjust(&scaled, settings, false);
        begun.move_to(&next);
        sums = sums_of(network, &scaled, &next);
    }
    sums.into_iter()
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
        .collect()
}

/// The sums of the used readings of an adjustment, by class.
fn sums_of(network: &Network, scaled: &Network, adjustment: &Adjustment) -> BTreeMap<Key, Sums> {
    let mut sums: BTreeMap<Key, Sums> = BTreeMap::new();
    for r in adjustment.solved.iter().flat_map(|solved| &solved.residuals).filter(|r| r.used) {
        let Source::Observation(i) = r.source else { continue };
        let (Some(o), Some(own)) = (network.observations.get(i), scaled.observations.get(i)) else { continue };
        let sums = sums.entry((o.kind.class(), o.instrument)).or_default();
        sums.square += r.weight * (r.residual / own.sigma).powi(2);
        sums.redundancy += r.redundancy;
        sums.variance += own.sigma * own.sigma;
        sums.readings += 1;
    }
    sums
}

/// Multiplies the factors by what a solution says of them; the greatest change.
fn renew(factors: &mut BTreeMap<Key, f64>, sums: &BTreeMap<Key, Sums>) -> f64 {
    let mut change: f64 = 0.0;
    for (key, Sums { square, redundancy, .. }) in sums {
        if *redundancy >= LEAST_REDUNDANCY {
            let s = (square / redundancy).sqrt();
            change = change.max((s - 1.0).abs());
            let factor = factors.entry(*key).or_insert(1.0);
            *factor = (*factor * s).clamp(RANGE.0, RANGE.1);
        }
    }
    change
}
