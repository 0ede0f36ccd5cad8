//! One component from its equations to its tests.

use std::sync::Arc;

use super::by_station::ByStation;
use super::cholesky::Factor;
use super::components::Component;
use super::equations::{Equations, Source};
use super::given::Given;
use super::global::GlobalTest;
use super::layout::{Layout, NONE};
use super::notes::{Note, NoteKind};
use super::outliers::{Suspect, Suspects, look};
use super::parted::Parted;
use super::reliability::{LEAST_REDUNDANCY, Residual, judge};
use super::solution::{NoSolution, Solution, Solver};
use super::solved::{Inner, Rejection, Solved, SolvedInstrument, SolvedShared, SolvedStation, covariance_of};
use super::start::Starts;
use super::state::State;
use super::types::{Network, Settings};
use super::{datum, misclosure, quantiles};
use crate::geodesy::register::Estimate;
use crate::job::{Reject, Robust};
use crate::units::Units;

/// A component to be solved.
pub(crate) struct Task<'a> {
    pub network: &'a Network,
    pub component: &'a Component,
    /// By the network's station, its place in its component.
    pub local: &'a [u32],
    pub starts: &'a Starts,
    /// By the network's station, whether its height is held.
    pub held: &'a [bool],
    /// By the network's station, whether its height is known.
    pub known: &'a [bool],
    pub settings: &'a Settings,
    /// Whether misclosures are wanted, and what the uncertainty of a large network comes from.
    pub tells: bool,
}

/// A solution with its tests.
struct Judged {
    solution: Solution,
    inverse: Vec<f64>,
    residuals: Vec<Residual>,
    global: GlobalTest,
    parted: Option<Parted>,
    by_station: Option<ByStation>,
    given: Given,
}

impl Task<'_> {
    /// Solves and tests it.
    pub fn solve(&self) -> Result<Solved, Note> {
        let Task { network, component, settings, .. } = *self;
        if let Some(note) = datum::defect(network, component) {
            return Err(note);
        }
        let (misclosures, mut notes) = match self.tells {
            true => misclosure::traverses(network, component, self.starts),
            false => Default::default(),
        };
        let layout = Layout::number(network, component, self.local, self.held);
        let mut state = State::start(network, component, &layout, self.starts);
        let mut equations = Equations::list(network, component, &layout, self.local, &state);
        equations.linearise(&state);
        let mut solver = Solver::prepare(&equations, &layout).map_err(|no| self.failure(&layout, no))?;
        let mut rejected: Vec<Rejection> = Vec::new();
        // Robust estimation that does not come to rest is given up for all that follows.
        let mut settings = *settings;
        loop {
            let solution = match solver.solve(network, &mut equations, &layout, state.clone(), &settings) {
                Err(_) if settings.robust != Robust::None => {
                    notes.push(self.not_robust(settings.robust));
                    settings.robust = Robust::None;
                    continue;
                }
                Err(NoSolution::Restless(_)) => {
                    match self.stand_off(&mut solver, &mut equations, &layout, state, &settings, &mut rejected)? {
                        Stood::At(solution) => solution,
                        Stood::Without(next) => {
                            state = next;
                            continue;
                        }
                    }
                }
                other => other.map_err(|no| self.failure(&layout, no))?,
            };
            let inverse = solution.factor.inverse();
            let (residuals, tests) = judge(&equations, &solution.factor, &inverse, &settings);
            let rows: usize = equations.items.iter().filter(|i| i.weight > 0.0).map(|i| i.rows as usize).sum();
            let global = GlobalTest::judge(equations.objective(), rows.saturating_sub(layout.size), settings.alpha_global);
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
            let parted = Parted::split(&equations, layout.size);
            let given = Given::from_equations(&equations);
            let by_station = (parted.is_none() && self.tells)
                .then(|| ByStation::split(&mut solver, &mut equations, &layout, &solution.factor, &inverse));
            let by_station = by_station.flatten();
            let judged = Judged { solution, inverse, residuals, global, parted, by_station, given };
            return Ok(Solved { misclosures, notes, rejected, ..self.solved(judged, found, layout) });
        }
    }

    /// What to do where a gross slip keeps the iteration from resting: robust weights stand it off and show it.
    fn stand_off(
        &self,
        solver: &mut Solver,
        equations: &mut Equations,
        layout: &Layout,
        state: State,
        settings: &Settings,
        rejected: &mut Vec<Rejection>,
    ) -> Result<Stood, Note> {
        let robust = Settings { robust: Robust::Danish, ..*settings };
        let stood = solver.iterate(self.network, equations, layout, state, &robust);
        let (stood, _) = stood.map_err(|no| self.failure(layout, no))?;
        let (residuals, tests) = judge(equations, &stood.factor, &stood.factor.inverse(), settings);
        let found = look(equations, &stood.factor, &residuals, &tests, false);
        let decided = found.decided.into_iter().next();
        if let (Reject::Auto, Some((item, suspect))) = (settings.reject, &decided) {
            let spare = equations.rows.len().saturating_sub(layout.size).max(1);
            rejected.push(Rejection { suspect: suspect.clone(), variance_factor: equations.objective() / spare as f64 });
            equations.items[*item].weight = 0.0;
            return Ok(Stood::Without(stood.state));
        }
        let solution = solver.solve(self.network, equations, layout, stood.state, settings);
        solution.map(Stood::At).map_err(|no| match (no, decided) {
            (NoSolution::Restless(_), Some((_, suspect))) => restless(self.network, self.component, &suspect, &settings.units),
            (no, _) => self.failure(layout, no),
        })
    }

    /// The component as it is given out; traverses, notes and rejections are the caller's.
    fn solved(&self, judged: Judged, found: Suspects, layout: Layout) -> Solved {
        let Judged { solution, inverse, residuals, global, parted, by_station, given } = judged;
        let Task { network, component, settings, .. } = *self;
        let unknowns = Unknowns { factor: &solution.factor, inverse: &inverse, state: &solution.state };
        let checked = checked_stations(network, component, &residuals);
        let places = component.stations.iter().zip(&layout.places).enumerate();
        let stations = places
            .map(|(k, (&s, place))| SolvedStation {
                station: s,
                position: solution.state.positions[k],
                covariance: covariance_of(place, |a, b| unknowns.element(a, b)),
                has_height: self.known[s],
                checked: checked[k],
                orientation: unknowns.sum(place.turns()),
                direction_orientation: unknowns.sum(place.directions_turn()),
            })
            .collect();
        let alone = |column: u32| unknowns.sum([column].into_iter().filter(|column| *column != NONE));
        let instruments = layout.instruments.iter().enumerate().filter(|(_, columns)| columns.iter().any(|c| *c != NONE));
        let instruments = instruments
            .map(|(k, [scale, constant])| SolvedInstrument { instrument: k, scale: alone(*scale), constant_m: alone(*constant) })
            .collect();
        let shared = layout.shared.iter().enumerate();
        let shared = shared.filter_map(|(k, column)| Some(SolvedShared { shared: k, added: alone(*column)? })).collect();
        Solved {
            stations,
            instruments,
            shared,
            residuals,
            global,
            suspect: found.undecided.into_iter().next().or(found.decided.into_iter().next().map(|(_, suspect)| suspect)),
            rejected: Vec::new(),
            misclosures: Vec::new(),
            notes: Vec::new(),
            iterations: solution.iterations,
            unknowns: layout.size,
            alpha: settings.alpha,
            critical: quantiles::two_sided(settings.alpha),
            inner: Inner {
                ellipsoid: network.ellipsoid,
                component: component.clone(),
                layout,
                state: solution.state,
                factor: Arc::new(solution.factor),
                inverse: inverse.into(),
                parted: parted.map(Arc::new),
                by_station: by_station.map(Arc::new),
                given: Arc::new(given),
            },
        }
    }

    /// The note that robust estimation was given up.
    fn not_robust(&self, robust: Robust) -> Note {
        let label = |s: &usize| self.network.stations[*s].label.as_str();
        let names = super::notes::listed(self.component.stations.iter().map(label));
        let word = match robust {
            Robust::Huber => "huber",
            _ => "danish",
        };
        let text = format!(
            "The robust weights ({word}) of {names} did not come to rest: they are adjusted by least squares instead, where a wrong \
             reading keeps its whole weight. Look at the readings that fail their test."
        );
        Note::new(NoteKind::NotRobust, self.component.stations.clone(), text)
    }

    fn failure(&self, layout: &Layout, no: NoSolution) -> Note {
        failure(self.network, self.component, layout, no)
    }
}

/// What came of standing off a gross slip.
enum Stood {
    /// A solution with all readings.
    At(Solution),
    /// A reading was taken out; where to go on from.
    Without(State),
}

/// The unknowns of a solution with their covariances.
struct Unknowns<'a> {
    factor: &'a Factor,
    inverse: &'a [f64],
    state: &'a State,
}

impl Unknowns<'_> {
    /// Covariance of two unknowns that a reading or a station names together.
    fn element(&self, a: usize, b: usize) -> f64 {
        self.factor.element(self.inverse, a, b).unwrap_or(0.0)
    }

    /// The sum of unknowns of one station; none of none.
    fn sum(&self, columns: impl Iterator<Item = u32> + Clone) -> Option<Estimate> {
        columns.clone().next()?;
        let value = columns.clone().map(|column| self.state.other(column)).sum();
        let pairs = columns.clone().flat_map(|a| columns.clone().map(move |b| (a as usize, b as usize)));
        let variance: f64 = pairs.map(|(a, b)| self.element(a, b)).sum();
        Some(Estimate { value, sigma: variance.max(0.0).sqrt() })
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

fn restless(network: &Network, component: &Component, suspect: &Suspect, units: &Units) -> Note {
    let said = suspect.sentence(network, units);
    let text = format!("The adjustment did not come to rest. {said} Take it out, or measure it again.");
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
