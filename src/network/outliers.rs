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
//! In a large network several readings are taken out before the next solution: after the worst, each whose |w| would
//! still fail less Σ |ρ| |w| of those before it, so that it fails with all their blunders gone, whatever their signs.

use super::cholesky::Factor;
use super::equations::{Equations, Item, Source};
use super::reliability::{Residual, Test};
use super::types::Network;

/// Correlation of two normalised residuals from which they are one. Own choice: at 0.99 the two differ by 0.14 standard
/// errors, which decides nothing.
const ALIKE: f64 = 0.99;

/// Relative difference below which the quotients of two positions are one.
const SAME: f64 = 1e-3;

/// Failing tests that are looked through.
const LOOKED_THROUGH: usize = 50;

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
    pub fn sentence(&self, network: &Network) -> String {
        let angle = match self.source {
            Source::Observation(i) => network.observations.get(i).is_some_and(|o| o.kind.is_angle()),
            Source::Orientation(_) => true,
            Source::Shared(k) => network.observations.iter().any(|o| o.shared.contains(&Some(k)) && o.kind.is_angle()),
            _ => false,
        };
        let off = match self.source {
            Source::Scale(_) => format!("{:.0} parts in a million", 1e6 * self.blunder),
            _ if angle => format!("{:.2}°", self.blunder.to_degrees()),
            _ => format!("{:.2} m", self.blunder),
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
    let mut failing: Vec<&Test> = tests.iter().filter(|t| t.quotient > 1.0).collect();
    failing.sort_by(|a, b| b.quotient.total_cmp(&a.quotient));
    let mut suspects = Suspects::default();
    let mut touched: Vec<usize> = Vec::new();
    let mut chosen: Vec<Pull> = Vec::new();
    for test in failing.into_iter().take(LOOKED_THROUGH) {
        let Some(item) = equations.items.get(test.item) else { continue };
        let felt: f64 = chosen.iter().map(|pull| pull.size * pull.correlation(equations, item, test).abs()).sum();
        let critical = (test.statistic / test.quotient).sqrt();
        if test.statistic.sqrt() - felt <= critical || (item.rows > 1 && !chosen.is_empty()) {
            continue;
        }
        let Some(suspect) = suspect(equations, factor, residuals, tests, test) else { continue };
        let stations = suspect.source.stations(equations.network);
        if stations.iter().any(|s| touched.contains(s)) {
            continue;
        }
        if suspect.alike.is_empty() {
            suspects.decided.push((test.item, suspect));
            if item.rows > 1 || !several {
                break;
            }
            chosen.extend(Pull::of(equations, factor, item, test));
        } else {
            touched.extend(stations);
            touched.extend(suspect.alike.iter().flat_map(|s| s.stations(equations.network)));
            suspects.undecided.push(suspect);
        }
    }
    suspects
}

/// What a reading's blunder does to the normalised residuals of others.
struct Pull {
    /// N⁻¹ aᵀ.
    answer: Vec<f64>,
    redundancy: f64,
    weight: f64,
    /// |w|.
    size: f64,
}

impl Pull {
    fn of(equations: &Equations, factor: &Factor, item: &Item, test: &Test) -> Option<Pull> {
        let own = equations.rows.get(item.first as usize)?;
        let mut row = vec![0.0; equations.layout.size];
        for (column, partial) in own.entries() {
            row[column] = partial;
        }
        let answer = factor.solve(&row);
        Some(Pull { answer, redundancy: test.redundancy, weight: item.weight, size: test.statistic.sqrt() })
    }

    /// ρ of its normalised residual and that of another reading.
    fn correlation(&self, equations: &Equations, other: &Item, test: &Test) -> f64 {
        let Some(row) = equations.rows.get(other.first as usize) else { return 0.0 };
        let product: f64 = row.entries().map(|(c, p)| p * self.answer[c]).sum();
        (self.weight * other.weight).sqrt() * product / (self.redundancy * test.redundancy).sqrt()
    }
}

fn suspect(equations: &Equations, factor: &Factor, residuals: &[Residual], tests: &[Test], test: &Test) -> Option<Suspect> {
    let item = equations.items.get(test.item)?;
    let size = |r: &&Residual| r.normalised.unwrap_or(0.0).abs();
    let of = |source: Source| residuals.iter().filter(move |r| r.source == source);
    let shown = of(item.source).max_by(|a, b| size(a).total_cmp(&size(b)))?;
    let alike = match item.rows {
        1 => same_reading(equations, factor, tests, item, test),
        _ => tests
            .iter()
            .filter(|t| t.item != test.item && (t.quotient / test.quotient - 1.0).abs() < SAME)
            .filter_map(|t| equations.items.get(t.item).map(|item| item.source))
            .collect(),
    };
    Some(Suspect {
        source: item.source,
        normalised: shown.normalised?,
        residual: shown.residual,
        blunder: shown.blunder?,
        statistic: test.statistic,
        quotient: test.quotient,
        alike,
    })
}

/// Readings whose normalised residuals are that of `item` but for the sign.
fn same_reading(equations: &Equations, factor: &Factor, tests: &[Test], item: &Item, test: &Test) -> Vec<Source> {
    let Some(pull) = Pull::of(equations, factor, item, test) else { return Vec::new() };
    tests
        .iter()
        // Equal statistics come first: most readings are ruled out by them.
        .filter(|t| t.item != test.item && t.statistic > 0.9 * ALIKE * ALIKE * test.statistic)
        .filter_map(|t| Some((equations.items.get(t.item)?, t)))
        .filter(|(other, t)| other.rows == 1 && pull.correlation(equations, other, t).abs() > ALIKE)
        .map(|(other, _)| other.source)
        .collect()
}
