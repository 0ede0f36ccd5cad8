//! The adjustment from end to end: check, start, judge, split, solve, test.

use rayon::prelude::*;

use super::check::check;
use super::components::{Component, split};
use super::equations::{Equations, Source};
use super::global::GlobalTest;
use super::heights::Heights;
use super::layout::{Layout, NONE};
use super::notes::{BadNetwork, Note, NoteKind};
use super::outliers::{Suspect, look};
use super::reliability::{LEAST_REDUNDANCY, Residual, judge};
use super::solution::{NoSolution, Solver};
use super::solved::{Inner, Rejection, Solved, SolvedInstrument, SolvedStation, covariance_of};
use super::start::{Starts, adjacency, start};
use super::state::State;
use super::types::{Kind, Network, Reject, Robust, Settings};
use super::{datum, geometry, heights, misclosure, quantiles};
use crate::geodesy::correlated::Estimate;

/// Horizontal length below which an azimuth says nothing, in metres, unless its shot is steep and has an inclination.
const PLUMB_M: f64 = 0.05;

/// Rounds in which stations that the solution cannot fix are left out one by one.
const ROUNDS: usize = 25;

/// What an adjustment gives.
#[derive(Debug, Clone, Default)]
pub struct Adjustment {
    /// The components that were solved.
    pub solved: Vec<Solved>,
    /// What was left out and why, and what is weak; the components have notes of their own.
    pub notes: Vec<Note>,
}

impl Adjustment {
    /// The component that holds a station.
    pub fn of(&self, station: usize) -> Option<&Solved> {
        self.solved.iter().find(|s| s.station(station).is_some())
    }

    /// A station after adjustment.
    pub fn station(&self, station: usize) -> Option<&SolvedStation> {
        self.solved.iter().find_map(|s| s.station(station))
    }
}

/// Adjusts a network, each component on its own. Stations that cannot be placed or fixed are left out and named in the
/// notes; an error is given only where the network or the settings make no sense.
pub fn adjust(network: &Network, settings: &Settings) -> Result<Adjustment, BadNetwork> {
    check(network, settings)?;
    let mut out = Adjustment::default();
    let mut used = vec![true; network.observations.len()];
    let starts = begin(network, &mut used, &mut out.notes);
    leave_plumb_sights(network, &starts, &mut used, &mut out.notes);
    let mut open = used.clone();
    for _ in 0..ROUNDS {
        let components = split(network, &open);
        if components.is_empty() {
            break;
        }
        let Heights { held, known, notes } = heights::judge(network, &starts, &open);
        let local = local_places(network, &components);
        let done: Vec<Result<Solved, Note>> =
            components.par_iter().map(|component| one(network, component, &local, &starts, &held, &known, settings)).collect();
        open.fill(false);
        for (component, done) in components.iter().zip(done) {
            match done {
                Ok(mut solved) => {
                    solved.notes.extend(notes.iter().filter_map(|note| share(note, component)));
                    out.solved.push(solved);
                }
                Err(note) => {
                    // What one station spoils is tried again without it.
                    if let (NoteKind::Singular, [station]) = (note.kind, note.stations.as_slice()) {
                        for &i in &component.observations {
                            let o = &network.observations[i];
                            open[i] = o.from != *station && o.to != *station;
                        }
                    }
                    out.notes.push(note);
                }
            }
        }
    }
    Ok(out)
}

/// The part of a note that is about a component.
fn share(note: &Note, component: &Component) -> Option<Note> {
    let own: Vec<usize> = note.stations.iter().copied().filter(|s| component.stations.binary_search(s).is_ok()).collect();
    (!own.is_empty()).then(|| Note { stations: own, ..note.clone() })
}

/// Starting values, without what poor geometry refuses; readings of stations without a start are marked unused.
fn begin(network: &Network, used: &mut [bool], notes: &mut Vec<Note>) -> Starts {
    loop {
        let starts = start(network, used);
        let found = geometry::judge(network, &starts, &adjacency(network, used));
        let refused: Vec<usize> = found.iter().filter(|n| n.kind.refuses()).filter_map(|n| n.stations.first().copied()).collect();
        let refuses = !refused.is_empty();
        notes.extend(found.into_iter().filter(|n| n.kind.refuses() || !refuses));
        for (used, o) in used.iter_mut().zip(&network.observations) {
            *used &= !(refused.contains(&o.from) || refused.contains(&o.to));
        }
        if !refuses {
            for (used, o) in used.iter_mut().zip(&network.observations) {
                *used &= starts.positions[o.from].is_some() && starts.positions[o.to].is_some();
            }
            notes.extend(starts.notes.iter().cloned());
            return starts;
        }
    }
}

/// Leaves out azimuths of sights without a horizontal length and without an inclination to hold them.
fn leave_plumb_sights(network: &Network, starts: &Starts, used: &mut [bool], notes: &mut Vec<Note>) {
    let steep: std::collections::HashSet<(usize, usize, usize)> = network
        .observations
        .iter()
        .filter(|o| o.kind == Kind::Inclination && o.value.abs() > super::observations::STEEP_RAD)
        .map(|o| (o.from, o.to, o.source))
        .collect();
    for (i, o) in network.observations.iter().enumerate() {
        if !(used[i] && o.kind.is_bearing()) || steep.contains(&(o.from, o.to, o.source)) {
            continue;
        }
        let (Some(from), Some(to)) = (starts.positions[o.from], starts.positions[o.to]) else { continue };
        if (0..3).map(|k| (from[k] - to[k]).powi(2)).sum::<f64>().sqrt() > PLUMB_M * 100.0 {
            continue;
        }
        let at = crate::geodesy::frame::Geodetic::from_earth_centred(from, &network.ellipsoid);
        let [e, n, _] = crate::geodesy::frame::LocalFrame::at(&at, &network.ellipsoid).from_earth_centred(to);
        if e.hypot(n) < PLUMB_M {
            used[i] = false;
            let label = |s: usize| &network.stations[s].label;
            let text = format!(
                "The {} from {} to {} is left out: the sight has no horizontal length.",
                o.kind.name(),
                label(o.from),
                label(o.to)
            );
            notes.push(Note::new(NoteKind::AzimuthOfPlumbSight, vec![o.from, o.to], text));
        }
    }
}

/// By the network's station, its place in its component.
fn local_places(network: &Network, components: &[Component]) -> Vec<u32> {
    let mut local = vec![NONE; network.stations.len()];
    for component in components {
        for (k, &s) in component.stations.iter().enumerate() {
            local[s] = k as u32;
        }
    }
    local
}

/// Solves and tests one component.
fn one(
    network: &Network,
    component: &Component,
    local: &[u32],
    starts: &Starts,
    held: &[bool],
    known: &[bool],
    settings: &Settings,
) -> Result<Solved, Note> {
    if let Some(note) = datum::defect(network, component) {
        return Err(note);
    }
    let (misclosures, mut notes) = misclosure::traverses(network, component, starts);
    let layout = Layout::of(network, component, local, held);
    let mut state = State::of(network, component, &layout, starts);
    let mut equations = Equations::of(network, component, &layout, local, &state);
    equations.linearise(&state);
    let sentence = |no: NoSolution| failure(network, component, &layout, no);
    let mut solver = Solver::of(&equations, &layout).map_err(sentence)?;
    let mut rejected: Vec<Rejection> = Vec::new();
    loop {
        let solution = match solver.solve(network, &mut equations, &layout, state.clone(), settings) {
            Err(NoSolution::Restless(_)) => {
                // A gross slip: robust weights stand it off and show it.
                let robust = Settings { robust: Robust::Danish, ..*settings };
                let (stood, _) = solver.iterate(network, &mut equations, &layout, state, &robust).map_err(sentence)?;
                let (residuals, tests) = judge(&equations, &stood.factor, &stood.factor.inverse(), settings);
                let found = look(&equations, &stood.factor, &residuals, &tests, false);
                state = stood.state;
                match (settings.reject, found.decided.into_iter().next()) {
                    (Reject::Auto, Some((item, suspect))) => {
                        let spare = equations.rows.len().saturating_sub(layout.size).max(1);
                        rejected.push(Rejection { suspect, variance_factor: equations.objective() / spare as f64 });
                        equations.items[item].weight = 0.0;
                        continue;
                    }
                    (_, decided) => {
                        solver.solve(network, &mut equations, &layout, state, settings).map_err(|no| match (no, decided) {
                            (NoSolution::Restless(_), Some((_, suspect))) => restless(network, component, &suspect),
                            (no, _) => failure(network, component, &layout, no),
                        })
                    }
                }?
            }
            other => other.map_err(sentence)?,
        };
        let inverse = solution.factor.inverse();
        let (residuals, tests) = judge(&equations, &solution.factor, &inverse, settings);
        let rows: usize = equations.items.iter().filter(|i| i.weight > 0.0).map(|i| i.rows as usize).sum();
        let global = GlobalTest::of(equations.objective(), rows.saturating_sub(layout.size), settings.alpha_global);
        let found = look(&equations, &solution.factor, &residuals, &tests, settings.reject == Reject::Auto);
        if settings.reject == Reject::Auto && !found.decided.is_empty() {
            let variance_factor = global.variance_factor().unwrap_or(0.0);
            for (item, suspect) in found.decided {
                equations.items[item].weight = 0.0;
                rejected.push(Rejection { suspect, variance_factor });
            }
            state = solution.state;
            continue;
        }
        notes.extend(found.undecided.iter().map(|suspect| undecided(network, suspect)));
        let suspect = found.undecided.into_iter().next().or(found.decided.into_iter().next().map(|(_, suspect)| suspect));
        let element = |a: usize, b: usize| solution.factor.element(&inverse, a, b).unwrap_or(0.0);
        let estimate = |column: u32| {
            (column != NONE).then(|| Estimate {
                value: solution.state.other(column),
                sigma: element(column as usize, column as usize).max(0.0).sqrt(),
            })
        };
        let checked = checked_stations(network, component, &residuals);
        let stations = component
            .stations
            .iter()
            .zip(&layout.places)
            .enumerate()
            .map(|(k, (&s, place))| SolvedStation {
                station: s,
                position: solution.state.positions[k],
                covariance: covariance_of(place, element),
                has_height: known[s],
                checked: checked[k],
                orientation: estimate(place.azimuths),
                direction_orientation: estimate(place.directions),
            })
            .collect();
        let instruments = layout
            .instruments
            .iter()
            .enumerate()
            .filter(|(_, columns)| columns.iter().any(|c| *c != NONE))
            .map(|(k, [scale, constant])| SolvedInstrument {
                instrument: k,
                scale: estimate(*scale),
                constant_m: estimate(*constant),
            })
            .collect();
        return Ok(Solved {
            stations,
            instruments,
            residuals,
            global,
            suspect,
            rejected,
            misclosures,
            notes,
            iterations: solution.iterations,
            unknowns: layout.size,
            alpha: settings.alpha,
            critical: quantiles::two_sided(settings.alpha),
            inner: Inner {
                ellipsoid: network.ellipsoid,
                component: component.clone(),
                layout: layout.clone(),
                state: solution.state,
                factor: solution.factor,
            },
        });
    }
}

/// Whether at least one used reading of each station is checked.
fn checked_stations(network: &Network, component: &Component, residuals: &[Residual]) -> Vec<bool> {
    let mut checked = vec![false; component.stations.len()];
    for r in residuals.iter().filter(|r| r.used && r.redundancy >= LEAST_REDUNDANCY) {
        let ends = match r.source {
            Source::Observation(i) => [network.observations[i].from, network.observations[i].to],
            Source::Control(s) => [s, s],
            _ => continue,
        };
        for k in ends.iter().filter_map(|s| component.stations.binary_search(s).ok()) {
            checked[k] = true;
        }
    }
    checked
}

fn failure(network: &Network, component: &Component, layout: &Layout, no: NoSolution) -> Note {
    let station = |unknown: usize| {
        layout
            .station_of(unknown)
            .and_then(|k| component.stations.get(k).copied())
            .or(component.stations.first().copied())
            .unwrap_or(0)
    };
    let label = |s: usize| network.stations.get(s).map_or("", |station| station.label.as_str());
    match no {
        NoSolution::Singular(unknown) => {
            let s = station(unknown);
            let text = format!(
                "Station {}: its readings do not fix it. It is left out; sight it from another side, or add a distance.",
                label(s)
            );
            Note::new(NoteKind::Singular, vec![s], text)
        }
        NoSolution::Restless(unknown) => {
            let s = station(unknown);
            let text = format!(
                "The adjustment did not come to rest, most at station {}: look for a wrong reading there, or give a rough position.",
                label(s)
            );
            Note::new(NoteKind::NotConverged, component.stations.clone(), text)
        }
        NoSolution::Memory => {
            let text = "There is not enough memory to adjust the network: adjust it in parts.".to_string();
            Note::new(NoteKind::NotConverged, component.stations.clone(), text)
        }
    }
}

fn restless(network: &Network, component: &Component, suspect: &Suspect) -> Note {
    let text = format!("The adjustment did not come to rest. {} Take it out, or measure it again.", suspect.sentence(network));
    Note::new(NoteKind::NotConverged, component.stations.clone(), text)
}

fn undecided(network: &Network, suspect: &Suspect) -> Note {
    let all = || std::iter::once(suspect.source).chain(suspect.alike.iter().copied());
    let names: Vec<String> = all().map(|s| s.named(network)).collect();
    let mut stations: Vec<usize> = all().flat_map(|s| s.stations(network)).collect();
    stations.sort_unstable();
    stations.dedup();
    let list = super::notes::listed(names.iter().map(String::as_str));
    let text = format!("One of these is wrong, and nothing tells which: {list}. Measure one of them again.");
    Note::new(NoteKind::Undecided, stations, text)
}
