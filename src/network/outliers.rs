//! The search for the one worst observation.
//!
//! Each reading is tested by w², each position as a whole by T, against the chi-square quantile 1 − α of its degrees of
//! freedom; the one with the greatest quotient of statistic and critical value is proposed (iterative data snooping,
//! W. Baarda 1968). A reading that nothing checks is never proposed.
//!
//! Two observations whose normalised residuals are one number but for the sign (correlation ρ = −aᵢ Q aⱼᵀ / √(rᵢ rⱼ) of
//! ±1) check each other and nothing else does: nothing tells which of the two is wrong, and neither is taken out; nor is
//! a lesser suspect at the same stations, which may only feel their blunder.
//!
//! In a large network several readings are taken out before the next solution: after each, the tests of the others are those of the
//! network without it ([`super::without`]), and the worst of them is the next.

use super::cholesky::Factor;
use super::equations::{Equations, Source};
use super::reliability::{Residual, Test};
use super::types::Network;
use super::without::{ReadingPart, Without};
use crate::units::Units;

/// Correlation of two normalised residuals from which they are one. Own choice: at 0.99 the two differ by 0.14 standard
/// errors, which decides nothing.
const ALIKE: f64 = 0.99;

/// Relative difference below which the quotients of two positions are one.
const SAME: f64 = 1e-3;

/// Readings that are taken out of one solution at most, and failing tests that are looked through.
const LOOKED_THROUGH: usize = 200;

/// An observation that fails its test.
#[derive(Debug, Clone, PartialEq)]
pub struct Suspect {
    /// What it is.
    pub source: Source,
    /// Normalised residual; for a position of the coordinate that shows it most.
    pub normalised: f64,
    /// Residual (adjusted minus observed) of the same, in metres or radians.
    pub residual: f64,
    /// Its error, if it alone is wrong, in metres or radians.
    pub blunder: f64,
    /// Test statistic, w² or T.
    pub statistic: f64,
    /// Statistic over critical value, above 1.
    pub quotient: f64,
    /// Others that fit the blunder equally.
    pub alike: Vec<Source>,
}

impl Suspect {
    /// The suspicion as a sentence.
    pub fn sentence(&self, network: &Network, units: &Units) -> String {
        let angle = match self.source {
            Source::Observation(i) => network.observations.get(i).is_some_and(|o| o.kind.is_angle()),
            Source::Orientation(_) => true,
            Source::Shared(k) => network.observations.iter().any(|o| o.shared.contains(&Some(k)) && o.kind.is_angle()),
            _ => false,
        };
        let off = match self.source {
            Source::Scale(_) => format!("{:.0} parts in a million", 1e6 * self.blunder),
            _ if angle => units.angle().said(self.blunder.to_degrees(), 2),
            _ => units.length().said(self.blunder, 2),
        };
        let what = self.source.named(network);
        let mut letters = what.chars();
        let what: String =
            letters.next().map(|first| first.to_uppercase().collect::<String>() + letters.as_str()).unwrap_or_default();
        format!("{what} does not fit the others: it seems off by {off} (normalised residual {:.1}).", self.normalised)
    }
}

impl Source {
    /// The observation in words.
    pub fn named(self, network: &Network) -> String {
        let label = |s: usize| network.stations.get(s).map_or("", |station| station.label.as_str());
        match self {
            Source::Observation(i) => match network.observations.get(i) {
                Some(o) => format!("the {} from {} to {}", o.kind.name(), label(o.from), label(o.to)),
                None => String::new(),
            },
            Source::Control(s) => format!("the position of {}", label(s)),
            Source::Orientation(s) => format!("the orientation of {}", label(s)),
            Source::Scale(k) => format!("the scale of {}", network.instruments.get(k).map_or("", |i| i.label.as_str())),
            Source::Constant(k) => format!("the constant of {}", network.instruments.get(k).map_or("", |i| i.label.as_str())),
            Source::Shared(k) => network.shared.get(k).map_or(String::new(), |shared| shared.label.clone()),
        }
    }

    /// The stations that it is about.
    pub fn stations(self, network: &Network) -> Vec<usize> {
        match self {
            Source::Observation(i) => network.observations.get(i).map_or(Vec::new(), |o| vec![o.from, o.to]),
            Source::Control(s) | Source::Orientation(s) => vec![s],
            Source::Scale(_) | Source::Constant(_) | Source::Shared(_) => Vec::new(),
        }
    }
}

/// What the tests come to.
#[derive(Debug, Default)]
pub(crate) struct Suspects {
    /// The worst that can be told from all others, by its item: the one to take out; then those that fail without it.
    pub decided: Vec<(usize, Suspect)>,
    /// Worse ones that cannot.
    pub undecided: Vec<Suspect>,
}

/// Looks through the failing tests, the worst first, for the one to take out or for `several`.
pub(crate) fn look(equations: &Equations, factor: &Factor, residuals: &[Residual], tests: &[Test], several: bool) -> Suspects {
    let mut suspects = Suspects::default();
    let mut touched: Vec<usize> = Vec::new();
    let mut without = Without::prepare(equations, factor, tests);
    for _ in 0..LOOKED_THROUGH {
        let Some(worst) = without.worst() else { break };
        without.pass(worst);
        let Some(item) = equations.items.get(tests[worst].item) else { continue };
        let stations = item.source.stations(equations.network);
        if stations.iter().any(|s| touched.contains(s)) {
            continue;
        }
        let part = without.part(worst);
        let Some(suspect) = suspect(&without, residuals, worst, part.as_ref()) else { continue };
        if !suspect.alike.is_empty() {
            touched.extend(stations);
            touched.extend(suspect.alike.iter().flat_map(|s| s.stations(equations.network)));
            suspects.undecided.push(suspect);
            continue;
        }
        suspects.decided.push((tests[worst].item, suspect));
        match part {
            Some(part) if several && !without.is_full() => without.take_out(part),
            _ => break,
        }
    }
    suspects
}

/// An observation as a suspect; `part` of a reading.
fn suspect(without: &Without, residuals: &[Residual], worst: usize, part: Option<&ReadingPart>) -> Option<Suspect> {
    let Without { equations, tests, .. } = without;
    let test = &tests[worst];
    let item = equations.items.get(test.item)?;
    let suspect = |normalised, residual, blunder, alike| {
        let (statistic, quotient) = (test.statistic, test.quotient());
        Suspect { source: item.source, normalised, residual, blunder, statistic, quotient, alike }
    };
    let Some(part) = part else {
        let size = |r: &&Residual| r.normalised.unwrap_or(0.0).abs();
        let shown = residuals.iter().filter(|r| r.source == item.source).max_by(|a, b| size(a).total_cmp(&size(b)))?;
        let alike = tests
            .iter()
            .filter(|t| t.item != test.item && (t.quotient() / test.quotient() - 1.0).abs() < SAME)
            .filter_map(|t| equations.items.get(t.item).map(|item| item.source))
            .collect();
        return Some(suspect(shown.normalised?, shown.residual, shown.blunder?, alike));
    };
    let (sigma, misclosure) = (item.lower[0][0], without.misclosure(worst));
    let normalised = -misclosure / test.redundancy.sqrt();
    Some(suspect(normalised, -misclosure * sigma, misclosure * sigma / test.redundancy, same_reading(without, worst, part)))
}

/// Readings whose normalised residuals are that of the suspected one but for the sign.
fn same_reading(without: &Without, worst: usize, part: &ReadingPart) -> Vec<Source> {
    let Without { equations, tests, .. } = without;
    let others = tests.iter().enumerate();
    others
        // Equal statistics come first: most readings are ruled out by them.
        .filter(|(k, t)| *k != worst && t.statistic > 0.9 * ALIKE * ALIKE * tests[worst].statistic)
        .filter_map(|(k, t)| Some((k, equations.items.get(t.item)?)))
        .filter(|(k, other)| other.rows == 1 && without.correlation(part, *k).abs() > ALIKE)
        .map(|(_, other)| other.source)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::network::equations::tests::every_kind;
    use crate::network::types::Kind;

    #[test]
    fn each_source_is_named_with_the_size_of_its_error() {
        let network = every_kind();
        let of = |kind: Kind| network.observations.iter().position(|o| o.kind == kind).unwrap();
        for (source, blunder, said, stations) in [
            (
                Source::Observation(of(Kind::Azimuth)),
                0.02,
                "The azimuth from S0 to S1 does not fit the others: it seems off by 1.15°",
                vec![0, 1],
            ),
            (
                Source::Observation(of(Kind::Slope)),
                -0.5,
                "The slope distance from S0 to S1 does not fit the others: it seems off by -0.50 m",
                vec![0, 1],
            ),
            (Source::Control(2), 0.25, "The position of S2 does not fit the others: it seems off by 0.25 m", vec![2]),
            (Source::Orientation(1), -0.01, "The orientation of S1 does not fit the others: it seems off by -0.57°", vec![1]),
            (Source::Scale(0), 250e-6, "The scale of R does not fit the others: it seems off by 250 parts in a million", vec![]),
            (Source::Constant(0), 0.12, "The constant of R does not fit the others: it seems off by 0.12 m", vec![]),
            (Source::Shared(0), 0.03, "The declination does not fit the others: it seems off by 1.72°", vec![]),
            (Source::Shared(2), 0.03, "The distance correction does not fit the others: it seems off by 0.03 m", vec![]),
        ] {
            let (residual, statistic, quotient, alike) = (-blunder, 27.04, 2.5, vec![]);
            let suspect = Suspect { source, normalised: -5.2, residual, blunder, statistic, quotient, alike };
            assert_eq!(suspect.sentence(&network, &Units::default()), format!("{said} (normalised residual -5.2)."));
            assert_eq!(source.stations(&network), stations);
        }
        assert_eq!(Source::Observation(9999).named(&network), "");
        assert!(Source::Observation(9999).stations(&network).is_empty());
    }
}
