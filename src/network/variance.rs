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
type ClassKey = (Class, Option<usize>);

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
    let mut factors: BTreeMap<ClassKey, f64> = BTreeMap::new();
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
fn sums_of(network: &Network, scaled: &Network, adjustment: &Adjustment) -> BTreeMap<ClassKey, Sums> {
    let mut sums: BTreeMap<ClassKey, Sums> = BTreeMap::new();
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
fn renew(factors: &mut BTreeMap<ClassKey, f64>, sums: &BTreeMap<ClassKey, Sums>) -> f64 {
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::network::by_station::tests::sample;
    use crate::network::types::Rangefinder;
    use crate::numeric::monte_carlo::Normal;

    /// The sample with drawn errors: of azimuths twice their standard errors, of inclinations half, of distances as given.
    fn drawn() -> Network {
        let mut network = sample();
        let mut normal = Normal::seeded(1979);
        for o in &mut network.observations {
            let times = match o.kind.class() {
                Class::Azimuth => 2.0,
                Class::Inclination => 0.5,
                _ => 1.0,
            };
            o.value += times * o.sigma * normal.next();
        }
        network
    }

    /// With the standard errors multiplied by the factors every Σ ṽ² is its Σ r, within what a change of 1 % at rest leaves.
    #[test]
    fn with_its_factors_each_class_fits() {
        let network = drawn();
        let settings = Settings::default();
        let found = variance_components(&network, &settings).unwrap();
        assert_eq!(found.iter().map(|of| of.class).collect::<Vec<_>>(), [Class::Azimuth, Class::Inclination, Class::Distance]);
        let factor = |class: Class| found.iter().find(|of| of.class == class).unwrap().factor.unwrap();
        let mut scaled = network.clone();
        scaled.observations.iter_mut().for_each(|o| o.sigma *= factor(o.kind.class()));
        let adjustment = adjust(&scaled, &settings).unwrap();
        for of in &found {
            let own = |o: &crate::network::Observation| o.kind.class() == of.class;
            let (mut square, mut redundancy) = (0.0, 0.0);
            for r in &adjustment.solved[0].residuals {
                if let Source::Observation(i) = r.source
                    && own(&scaled.observations[i])
                {
                    square += (r.residual / scaled.observations[i].sigma).powi(2);
                    redundancy += r.redundancy;
                }
            }
            assert!((square / redundancy - 1.0).abs() < 0.03, "{of:?}: {square} {redundancy}");
            assert!((of.redundancy / redundancy - 1.0).abs() < 0.01, "{of:?}: {redundancy}");
            let sigmas: Vec<f64> = scaled.observations.iter().filter(|o| own(o)).map(|o| o.sigma).collect();
            assert_eq!(of.readings, sigmas.len());
            let mean = (sigmas.iter().map(|s| s * s).sum::<f64>() / sigmas.len() as f64).sqrt();
            assert!((of.sigma / mean - 1.0).abs() < 0.02, "{of:?} {mean}");
            let of_factor = of.factor.unwrap() / (2.0 * redundancy).sqrt();
            assert!((of.factor_sigma.unwrap() / of_factor - 1.0).abs() < 0.01, "{of:?} {of_factor}");
        }
        // Four standard errors of each from the factors that the errors were drawn with.
        for (class, times) in [(Class::Azimuth, 2.0), (Class::Inclination, 0.5), (Class::Distance, 1.0)] {
            let of = found.iter().find(|of| of.class == class).unwrap();
            assert!((of.factor.unwrap() - times).abs() < 4.0 * of.factor_sigma.unwrap(), "{of:?}");
        }
    }

    /// The sums by class of a robust solution: squares count by their weights; what was taken out does not count.
    #[test]
    fn sums_are_those_of_the_residuals() {
        let mut network = drawn();
        network.observations[30].value += 40.0 * network.observations[30].sigma;
        let mut scaled = network.clone();
        scaled.observations.iter_mut().for_each(|o| o.sigma *= 1.5);
        let settings = Settings { robust: crate::job::Robust::Huber, ..Settings::default() };
        let mut adjustment = adjust(&scaled, &settings).unwrap();
        let residuals = &mut adjustment.solved[0].residuals;
        let out = residuals.iter().position(|r| r.source == Source::Observation(7)).unwrap();
        residuals[out].used = false;
        assert!(residuals.iter().any(|r| r.weight < 0.5));
        let sums = sums_of(&network, &scaled, &adjustment);
        assert_eq!(sums.len(), 3);
        for ((class, instrument), got) in sums {
            assert_eq!(instrument, None);
            let (mut square, mut redundancy, mut variance, mut readings) = (0.0, 0.0, 0.0, 0);
            for r in &adjustment.solved[0].residuals {
                let Source::Observation(i) = r.source else { continue };
                let o = &scaled.observations[i];
                if i != 7 && o.kind.class() == class {
                    square += r.weight * r.residual * r.residual / (o.sigma * o.sigma);
                    (redundancy, variance, readings) = (redundancy + r.redundancy, variance + o.sigma * o.sigma, readings + 1);
                }
            }
            let near = |got: f64, want: f64| assert!((got / want - 1.0).abs() < 1e-9, "{class:?} {got} {want}");
            near(got.square, square);
            near(got.redundancy, redundancy);
            near(got.variance, variance);
            assert_eq!(got.readings, readings);
        }
    }

    #[test]
    fn a_class_that_little_checks_keeps_its_standard_error() {
        // Instruments of their own for the distances of two bases: each is checked by less than ten.
        let mut network = drawn();
        let instrument = |label: &str| Rangefinder { label: label.into(), sigma_scale: 0.0, sigma_constant_m: 0.0 };
        network.instruments = vec![instrument("one"), instrument("other")];
        for o in network.observations.iter_mut().filter(|o| o.kind.is_range()) {
            o.instrument = Some(usize::from(o.from > 0));
        }
        let found = variance_components(&network, &Settings::default()).unwrap();
        let of = |instrument: usize| found.iter().find(|of| of.instrument == Some(instrument)).unwrap();
        let (few, many) = (of(0), of(1));
        assert!(few.redundancy < LEAST_REDUNDANCY && many.redundancy > LEAST_REDUNDANCY, "{few:?} {many:?}");
        assert_eq!((few.factor, few.factor_sigma), (None, None));
        assert!((few.sigma - 0.1).abs() < 1e-12 && many.factor.is_some(), "{few:?} {many:?}");
    }

    #[test]
    fn factors_stay_in_their_range() {
        // Without errors the factors would be none at all.
        let found = variance_components(&sample(), &Settings::default()).unwrap();
        assert!(found.iter().all(|of| of.factor == Some(RANGE.0)), "{found:?}");
        let (mut factors, mut sums) = (BTreeMap::new(), BTreeMap::new());
        let key = (Class::Azimuth, None);
        let of = |square: f64, redundancy: f64| Sums { square, redundancy, variance: 1.0, readings: 9 };
        // Of ten there is an estimate, of less there is none.
        sums.insert(key, of(40.0, 9.99));
        assert_eq!((renew(&mut factors, &sums), factors.len()), (0.0, 0));
        sums.insert(key, of(40.0, 10.0));
        assert_eq!((renew(&mut factors, &sums), factors[&key]), (1.0, 2.0));
        sums.insert(key, of(2.5, 10.0));
        assert_eq!((renew(&mut factors, &sums), factors[&key]), (0.5, 1.0));
        sums.insert(key, of(1e9, 10.0));
        renew(&mut factors, &sums);
        assert_eq!(factors[&key], RANGE.1);
    }
}
