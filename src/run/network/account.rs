//! What came of the network, in numbers for the summary: components, tests, traverses, corrections, scatter, warnings.

use std::collections::BTreeMap;

use super::AdjustedNetwork;
use super::unit::ReadingUnit;
use crate::geodesy::register::Estimate;
use crate::intake::shot_logs::ShotLogs;
use crate::network::{self, Class, Misclosure, Network, NoteKind, Settings, Solved, Source, Suspect};
use crate::output::report::network::{
    ComponentSummary, CorrectionSummary, GlobalOutcome, NetworkSummary, Ranked, ScatterSummary, TestSummary, TraverseSummary,
};

/// Names of a component that are shown.
const NAMES: usize = 6;

/// The summary of an adjusted network.
pub fn summary(adjusted: &AdjustedNetwork, settings: &Settings, logs: &ShotLogs) -> NetworkSummary {
    let network = &adjusted.built.network;
    let solved = &adjusted.adjustment.solved;
    let numbered = || solved.iter().enumerate().map(|(k, solved)| (k as u64 + 1, solved));
    let mut components: Vec<ComponentSummary> = numbered().map(|(number, solved)| component(number, solved, network)).collect();
    let sum = |of: &dyn Fn(&ComponentSummary) -> u64| components.iter().map(of).sum::<u64>();
    let (stations, readings) = (sum(&|c| c.stations), sum(&|c| c.readings));
    let (unknowns, freedom) = (sum(&|c| c.unknowns), sum(&|c| c.freedom));
    components.sort_by(|a, b| strangeness(b).total_cmp(&strangeness(a)).then(a.network.cmp(&b.network)));
    let test = |number: u64, solved: &Solved, suspect: &Suspect| test(adjusted, logs, number, solved, suspect);
    let failing = numbered().filter_map(|(number, solved)| Some(test(number, solved, solved.suspect.as_ref()?)));
    let rejected = numbered().flat_map(|(number, solved)| {
        solved.rejected.iter().map(move |rejection| test(number, solved, &rejection.suspect)).collect::<Vec<_>>()
    });
    let mut traverses: Vec<TraverseSummary> = numbered()
        .flat_map(|(number, solved)| solved.misclosures.iter().map(move |misclosure| traverse(network, number, misclosure)))
        .collect();
    traverses.sort_by(|a, b| a.ratio.unwrap_or(f64::INFINITY).total_cmp(&b.ratio.unwrap_or(f64::INFINITY)));
    NetworkSummary {
        stations,
        readings,
        unknowns,
        freedom,
        components: Ranked::keep_first(components),
        failing: worst_first(failing.collect()),
        rejected: worst_first(rejected.collect()),
        traverses: Ranked::keep_first(traverses),
        corrections: Ranked::keep_first(corrections(adjusted)),
        scatter: network::variance_components_of(network, settings, &adjusted.adjustment)
            .iter()
            .filter_map(|class| scatter(network, class))
            .collect(),
        warnings: Ranked::keep_first(warnings(adjusted)),
    }
}

fn worst_first(mut tests: Vec<TestSummary>) -> Ranked<TestSummary> {
    tests.sort_by(|a, b| b.normalised.abs().total_cmp(&a.normalised.abs()));
    Ranked::keep_first(tests)
}

/// A number of some digits behind the point: what lies behind them is no information.
fn rounded(value: f64, decimals: i32) -> f64 {
    let unit = 10f64.powi(decimals);
    // Adding 0 makes −0 a 0.
    (value * unit).round() / unit + 0.0
}

/// How far the variance factor is off for its freedom, in standard errors of it: |T − r| / √(2r).
fn strangeness(component: &ComponentSummary) -> f64 {
    let freedom = component.freedom as f64;
    component.variance_factor.map_or(-1.0, |factor| (factor - 1.0).abs() * (freedom / 2.0).sqrt())
}

fn component(number: u64, solved: &Solved, network: &Network) -> ComponentSummary {
    let global = &solved.global;
    let freedom = global.redundancy as f64;
    let names = solved.stations.iter().map(|station| network.stations[station.station].label.clone());
    ComponentSummary {
        network: number,
        stations: solved.stations.len() as u64,
        names: names.take(NAMES).collect(),
        unchecked: solved.stations.iter().filter(|station| !station.checked).count() as u64,
        readings: solved.residuals.iter().filter(|r| matches!(r.source, Source::Observation(_))).count() as u64,
        unknowns: solved.unknowns as u64,
        freedom: global.redundancy as u64,
        variance_factor: global.variance_factor().map(|factor| rounded(factor, 4)),
        expected: (global.redundancy > 0).then(|| [global.lower, global.upper].map(|limit| rounded(limit / freedom, 4))),
        outcome: match global.passed() {
            None => GlobalOutcome::Untested,
            Some(true) => GlobalOutcome::Fits,
            Some(false) if global.statistic > global.upper => GlobalOutcome::TooLarge,
            Some(false) => GlobalOutcome::TooSmall,
        },
    }
}

fn test(adjusted: &AdjustedNetwork, logs: &ShotLogs, number: u64, solved: &Solved, suspect: &Suspect) -> TestSummary {
    let network = &adjusted.built.network;
    let row = match suspect.source {
        Source::Observation(index) => Some(adjusted.shots[network.observations[index].source].record.place),
        _ => None,
    };
    let unit = ReadingUnit::of_source(network, suspect.source);
    TestSummary {
        network: number,
        observation: suspect.source.named(network),
        file: row.map(|(file, _)| logs.files[file].info.name.clone()),
        line: row.map(|(_, line)| line),
        normalised: rounded(suspect.normalised, 3),
        critical: rounded(solved.critical, 3),
        blunder: rounded(unit.of_si(suspect.blunder), 4),
        unit: unit.word().to_owned(),
        undecided: !suspect.alike.is_empty(),
    }
}

fn traverse(network: &Network, number: u64, misclosure: &Misclosure) -> TraverseSummary {
    let ratio = misclosure.ratio();
    TraverseSummary {
        network: number,
        stations: misclosure.stations.iter().map(|station| network.stations[*station].label.clone()).collect(),
        length_m: rounded(misclosure.length_m, 3),
        misclosure_m: rounded(misclosure.linear_m(), 4),
        east_m: rounded(misclosure.east_m, 4),
        north_m: rounded(misclosure.north_m, 4),
        up_m: misclosure.up_m.map(|up_m| rounded(up_m, 4)),
        ratio: ratio.is_finite().then(|| rounded(ratio, 0)),
        angular_deg: misclosure.angular_rad.map(|angle| rounded(angle.to_degrees(), 4)),
    }
}

/// What the network found of instruments and of errors that readings share.
pub fn corrections(adjusted: &AdjustedNetwork) -> Vec<CorrectionSummary> {
    let network = &adjusted.built.network;
    let mut found = Vec::new();
    for (k, solved) in adjusted.adjustment.solved.iter().enumerate() {
        let mut readings: BTreeMap<(bool, usize), u64> = BTreeMap::new();
        for residual in solved.residuals.iter().filter(|residual| residual.used) {
            let Source::Observation(index) = residual.source else { continue };
            let o = &network.observations[index];
            let named = o.instrument.filter(|_| o.kind.is_range()).map(|instrument| (false, instrument));
            for key in named.into_iter().chain(o.shared.iter().flatten().map(|shared| (true, *shared))) {
                *readings.entry(key).or_default() += 1;
            }
        }
        let mut add = |kind: &str, instrument: Option<&str>, key, unit: ReadingUnit, estimate: Option<Estimate>, prior: f64| {
            let Some(estimate) = estimate else { return };
            found.push(CorrectionSummary {
                network: k as u64 + 1,
                kind: kind.to_owned(),
                instrument: instrument.map(str::to_owned),
                value: rounded(unit.of_si(estimate.value), 5),
                sigma: rounded(unit.of_si(estimate.sigma), 5),
                prior_sigma: prior.is_finite().then(|| rounded(unit.of_si(prior), 5)),
                unit: unit.word().to_owned(),
                readings: readings.get(&key).copied().unwrap_or(0),
            });
        };
        for instrument in &solved.instruments {
            let of = &network.instruments[instrument.instrument];
            let (label, key) = (Some(of.label.as_str()), (false, instrument.instrument));
            add("scale", label, key, ReadingUnit::PerMillion, instrument.scale, of.sigma_scale);
            add("distance constant", label, key, ReadingUnit::Metre, instrument.constant_m, of.sigma_constant_m);
        }
        for shared in &solved.shared {
            let of = &network.shared[shared.shared];
            let unit = ReadingUnit::of_source(network, Source::Shared(shared.shared));
            let name = of.label.strip_prefix("the ").unwrap_or(&of.label);
            add(name, None, (true, shared.shared), unit, Some(shared.added), of.sigma);
        }
    }
    found
}

fn scatter(network: &Network, class: &network::ClassSigma) -> Option<ScatterSummary> {
    let unit = match class.class {
        Class::Azimuth | Class::Inclination => ReadingUnit::Degree,
        Class::Distance | Class::Height => ReadingUnit::Metre,
    };
    Some(ScatterSummary {
        readings_of: class.class.name().to_owned(),
        instrument: class.instrument.map(|index| network.instruments[index].label.clone()),
        factor: rounded(class.factor?, 4),
        sigma_factor: rounded(class.factor_sigma?, 4),
        sigma: rounded(unit.of_si(class.sigma), 5),
        unit: unit.word().to_owned(),
        readings: class.readings as u64,
    })
}

/// What was left out first, then what is weak.
fn warnings(adjusted: &AdjustedNetwork) -> Vec<String> {
    let mut said = Vec::new();
    let several = &adjusted.built.several;
    if let Some(first) = several.first() {
        said.push(format!(
            "{} feature names, such as \"{first}\", stand for shots to several places and are left out.",
            several.len()
        ));
    }
    said.extend(adjusted.adjustment.notes.iter().map(|note| note.text.clone()));
    let weak = adjusted.adjustment.solved.iter().flat_map(|solved| &solved.notes);
    // Levels without heights are told by the layers.
    said.extend(weak.filter(|note| note.kind != NoteKind::NoHeight).map(|note| note.text.clone()));
    said
}
