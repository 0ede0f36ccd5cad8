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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::network::adjust;
    use crate::network::equations::tests::every_kind;
    use crate::network::reliability::tests::inverse_of_normals;
    use crate::network::types::Kind;
    use crate::network::without::tests::with_blunder;

    /// A solved component beside its network.
    fn solved(network: &Network, settings: &Settings) -> Solved {
        let mut adjustment = adjust(network, settings).unwrap();
        assert!(adjustment.solved.len() == 1 && adjustment.notes.is_empty(), "{:?}", adjustment.notes);
        adjustment.solved.remove(0)
    }

    /// Estimates with their standard errors out of the whole inverse of the normal equations.
    #[test]
    fn estimates_are_sums_of_unknowns() {
        let mut network = every_kind();
        for (k, o) in network.observations.iter_mut().enumerate() {
            o.value += o.sigma * (((5 * k) % 7) as f64 - 3.0) / 2.0;
        }
        network.observations.iter_mut().filter(|o| o.kind == Kind::Azimuth).for_each(|o| o.value += 0.01);
        let solved = solved(&network, &Settings::default());
        let inner = &solved.inner;
        let local: Vec<u32> = (0..network.stations.len() as u32).collect();
        let mut equations = Equations::list(&network, &inner.component, &inner.layout, &local, &inner.state);
        equations.linearise(&inner.state);
        let q = inverse_of_normals(&equations, inner.layout.size);
        let held = |got: Option<Estimate>, columns: &[u32]| {
            let columns: Vec<usize> = columns.iter().map(|c| *c as usize).collect();
            let value: f64 = columns.iter().map(|c| inner.state.others[*c]).sum();
            let variance: f64 = columns.iter().map(|a| columns.iter().map(|b| q[*a][*b]).sum::<f64>()).sum();
            let got = got.unwrap();
            assert!(
                value != 0.0 && (got.value - value).abs() < 1e-12 && (got.sigma / variance.sqrt() - 1.0).abs() < 1e-6,
                "{got:?} {value} {variance}"
            );
        };
        let shared = &inner.layout.shared;
        for (station, place) in solved.stations.iter().zip(&inner.layout.places) {
            if station.station < 4 {
                held(station.orientation, &[place.azimuths, shared[0], shared[1]]);
            } else {
                assert_eq!(station.orientation, None);
            }
            match station.station {
                1 => held(station.direction_orientation, &[place.directions]),
                _ => assert_eq!(station.direction_orientation, None),
            }
            let c = station.covariance;
            for (k, got) in [c.ee, c.en, c.eu, c.nn, c.nu, c.uu].into_iter().enumerate() {
                let (a, b) = [(0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2)][k];
                let first = place.first as usize;
                let want = if station.station == 0 { 0.0 } else { q[first + a][first + b] };
                // The plane of the shot straight up is that of the start.
                let within = if station.station == 11 { 1e-5 } else { 1e-8 };
                assert!((got - want).abs() < within, "{} {k}: {got} {want}", station.station);
            }
        }
        let [instrument] = solved.instruments.as_slice() else { panic!("{:?}", solved.instruments) };
        let columns = inner.layout.instruments[0];
        held(instrument.scale, &columns[..1]);
        held(instrument.constant_m, &columns[1..]);
        assert_eq!(solved.shared.iter().map(|of| of.shared).collect::<Vec<usize>>(), [0, 1, 2]);
        solved.shared.iter().zip(shared).for_each(|(of, column)| held(Some(of.added), &[*column]));
        assert_eq!((solved.unknowns, solved.alpha), (inner.layout.size, Settings::default().alpha));
        assert!((solved.critical - quantiles::two_sided(solved.alpha)).abs() < 1e-12);
        // Rows less unknowns.
        assert_eq!(solved.global.redundancy, equations.rows.len() - inner.layout.size);
        assert!((solved.global.statistic / equations.objective() - 1.0).abs() < 1e-6);
    }

    /// A blunder is taken out where that is asked for: what is left is the network without it. Else it is named and kept.
    #[test]
    fn a_blunder_is_taken_out_or_named() {
        const READING: usize = 22;
        let network = with_blunder(READING, 30.0);
        let named = solved(&network, &Settings::default());
        assert_eq!(named.suspect.as_ref().map(|suspect| suspect.source), Some(Source::Observation(READING)));
        assert!(named.rejected.is_empty() && named.residuals.iter().all(|r| r.used));

        let auto = Settings { reject: Reject::Auto, ..Settings::default() };
        let taken = solved(&network, &auto);
        let [rejection] = taken.rejected.as_slice() else { panic!("{:?}", taken.rejected) };
        assert_eq!(Some(&rejection.suspect), named.suspect.as_ref());
        assert!((rejection.variance_factor - named.global.variance_factor().unwrap()).abs() < 1e-9);
        assert!(taken.suspect.is_none() && taken.notes.is_empty());
        let mut fewer = network.clone();
        fewer.observations.remove(READING);
        let want = solved(&fewer, &Settings::default());
        for (one, other) in taken.stations.iter().zip(&want.stations) {
            assert!((0..3).all(|k| (one.position[k] - other.position[k]).abs() < 1e-5), "{}", one.station);
            assert!((one.covariance.ee / other.covariance.ee - 1.0).abs() < 1e-5);
        }
        assert_eq!(taken.global.redundancy, want.global.redundancy);
        assert!((taken.global.statistic - want.global.statistic).abs() < 1e-4);
        let out: Vec<Source> = taken.residuals.iter().filter(|r| !r.used).map(|r| r.source).collect();
        assert_eq!(out, [Source::Observation(READING)]);
    }

    /// Two distances that differ and nothing else that checks them: neither is taken out.
    #[test]
    fn what_cannot_be_told_apart_is_kept() {
        let mut survey = crate::network::surveyed::Surveyed::at(&[[0.0; 3], [60.0, 80.0, 5.0]], &[0]);
        survey.read_all(&[Kind::Azimuth, Kind::Horizontal, Kind::Horizontal, Kind::Vertical], 0, 1);
        survey.network.observations[2].value += 1.0;
        for reject in [Reject::Auto, Reject::Propose] {
            let solved = solved(&survey.network, &Settings { reject, ..Settings::default() });
            assert!(solved.rejected.is_empty() && solved.notes.len() == 1, "{:?}", solved.notes);
            let note = &solved.notes[0];
            assert_eq!((note.kind, &note.stations), (NoteKind::Undecided, &vec![0, 1]));
            assert_eq!(
                note.text,
                "One of these is wrong, and nothing tells which: the horizontal distance from S0 to S1 and the horizontal distance from S0 to S1. Measure one \
                 of them again."
            );
            let suspect = solved.suspect.unwrap();
            assert_eq!((suspect.source, suspect.alike), (Source::Observation(1), vec![Source::Observation(2)]));
            assert!((suspect.blunder.abs() - 1.0).abs() < 1e-6 && (suspect.residual.abs() - 0.5).abs() < 1e-6);
            // The point is checked in its distance, and the known place by none of its own.
            assert!(solved.stations.iter().all(|station| station.checked));
        }
        survey.network.observations.remove(2);
        let solved = solved(&survey.network, &Settings::default());
        assert!(
            solved.stations.iter().all(|station| !station.checked) && solved.suspect.is_none() && solved.global.redundancy == 0
        );
    }

    /// A hundredth is the least redundancy that checks; what is taken out and what is of no station does not.
    #[test]
    fn who_is_checked() {
        let network = every_kind();
        let component = Component { stations: (0..network.stations.len()).collect(), observations: Vec::new() };
        let slope = network.observations.iter().position(|o| (o.kind, o.from, o.to) == (Kind::Slope, 1, 5)).unwrap();
        let of = |source: Source, redundancy: f64, used: bool| {
            let residual = Residual {
                source,
                axis: 0,
                residual: 0.0,
                sigma: 1.0,
                sigma_residual: 1.0,
                redundancy,
                normalised: None,
                blunder: None,
                detectable: None,
                used,
                weight: 1.0,
            };
            let checked = checked_stations(&network, &component, &[residual]);
            checked.iter().enumerate().filter(|(_, checked)| **checked).map(|(s, _)| s).collect::<Vec<usize>>()
        };
        assert_eq!(of(Source::Observation(slope), 0.01, true), [1, 5]);
        assert_eq!(of(Source::Control(3), 0.5, true), [3]);
        for (source, redundancy, used) in [
            (Source::Observation(slope), 0.0099, true),
            (Source::Observation(slope), 0.5, false),
            (Source::Orientation(1), 0.5, true),
            (Source::Scale(0), 0.5, true),
            (Source::Shared(0), 0.5, true),
        ] {
            assert!(of(source, redundancy, used).is_empty(), "{source:?} {redundancy} {used}");
        }
    }

    #[test]
    fn a_failure_names_a_station() {
        let network = every_kind();
        let solved = solved(&network, &Settings::default());
        let Inner { component, layout, .. } = &solved.inner;
        let of = |no: NoSolution| failure(&network, component, layout, no);
        let unknown = layout.places[4].first as usize + 1;
        let note = of(NoSolution::Singular(unknown));
        assert_eq!((note.kind, &note.stations), (NoteKind::Singular, &vec![4]));
        assert_eq!(
            note.text,
            "Station S4: its readings do not fix it. It is left out; sight it from another side, or add a distance."
        );
        // What is of no station is told of the first.
        assert_eq!(of(NoSolution::Singular(layout.shared[0] as usize)).stations, [0]);
        let note = of(NoSolution::Restless(unknown));
        assert_eq!((note.kind, &note.stations), (NoteKind::NotConverged, &component.stations));
        assert_eq!(
            note.text,
            "The adjustment did not come to rest, most at station S4: look for a wrong reading there, or give a rough position."
        );
        let note = of(NoSolution::Memory);
        assert_eq!((note.kind, &note.stations), (NoteKind::NotConverged, &component.stations));
        assert_eq!(note.text, "There is not enough memory to adjust the network: adjust it in parts.");

        let suspect = Suspect {
            source: Source::Control(2),
            normalised: 5.2,
            residual: -0.2,
            blunder: 0.25,
            statistic: 27.04,
            quotient: 2.5,
            alike: vec![Source::Control(1), Source::Scale(0)],
        };
        let note = restless(&network, component, &suspect, &Units::default());
        assert_eq!((note.kind, &note.stations), (NoteKind::NotConverged, &component.stations));
        assert_eq!(
            note.text,
            "The adjustment did not come to rest. The position of S2 does not fit the others: it seems off by 0.25 m (normalised residual 5.2). Take it out, \
             or measure it again."
        );
        let note = undecided(&network, &suspect);
        assert_eq!((note.kind, &note.stations), (NoteKind::Undecided, &vec![1, 2]));
        assert_eq!(
            note.text,
            "One of these is wrong, and nothing tells which: the position of S2, the position of S1 and the scale of R. Measure one of them again."
        );
    }

    /// Weights that do not rest in the iterations that are allowed: least squares stand in their place, and a note says so.
    #[test]
    fn least_squares_stand_where_weights_do_not_rest() {
        let mut network = with_blunder(22, 20.0);
        for k in [3, 14, 25, 31, 40, 47] {
            let o = &mut network.observations[k];
            o.value += 4.0 * o.sigma;
        }
        // Without orientations and shared errors least squares begin where they end.
        network.shared.clear();
        network.observations.iter_mut().for_each(|o| o.shared = [None; 2]);
        network.stations.iter_mut().for_each(|station| station.sigma_orientation_rad = 0.0);
        let squares = solved(&network, &Settings::default());
        for (station, solved) in network.stations.iter_mut().zip(&squares.stations) {
            station.start = Some(solved.position);
        }
        let once = Settings { iterations: 1, ..Settings::default() };
        assert_eq!(solved(&network, &once).iterations, 1);
        for robust in [Robust::Huber, Robust::Danish] {
            let got = solved(&network, &Settings { robust, ..once });
            assert_eq!(got.notes.iter().map(|note| note.kind).collect::<Vec<NoteKind>>(), [NoteKind::NotRobust]);
            assert_eq!(got.iterations, 1);
            for (one, other) in got.stations.iter().zip(&squares.stations) {
                assert!((0..3).all(|k| (one.position[k] - other.position[k]).abs() < 1e-5), "{}", one.station);
            }
            let rests = solved(&network, &Settings { robust, ..Settings::default() });
            assert!(rests.notes.is_empty() && rests.residuals.iter().any(|r| r.weight < 0.5), "{robust:?}");
        }
    }

    #[test]
    fn robust_weights_that_do_not_rest_are_given_up() {
        let network = every_kind();
        let solved = solved(&network, &Settings::default());
        let component = &solved.inner.component;
        let (starts, settings) = (Starts::default(), Settings::default());
        let task = Task {
            network: &network,
            component,
            local: &[],
            starts: &starts,
            held: &[],
            known: &[],
            settings: &settings,
            tells: false,
        };
        for (robust, word) in [(Robust::Huber, "huber"), (Robust::Danish, "danish")] {
            let note = task.not_robust(robust);
            assert_eq!((note.kind, &note.stations), (NoteKind::NotRobust, &component.stations));
            assert_eq!(
                note.text,
                format!(
                    "The robust weights ({word}) of S0, S1, S2, S3, S4, S5 and 6 more did not come to rest: they are adjusted by least squares instead, \
                     where a wrong reading keeps its whole weight. Look at the readings that fail their test."
                )
            );
        }
    }
}
