//! The adjustment from end to end: check, start, judge, split, solve, test.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::bad::BadNetwork;
use super::check::check;
use super::component::Task;
use super::components::{Component, split};
use super::heights::NetworkHeights;
use super::layout::NONE;
use super::notes::{Note, NoteKind};
use super::solved::{Solved, SolvedStation};
use super::start::{Starts, adjacency, start};
use super::types::{Kind, Network, Settings};
use super::{geometry, heights};
use crate::units::Units;

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
    /// By station: the component that holds it.
    component_of: Vec<Option<u32>>,
    /// Where it began.
    pub(crate) begun: Begun,
}

impl Adjustment {
    /// The component that holds a station.
    pub fn component_with(&self, station: usize) -> Option<&Solved> {
        let component = (*self.component_of.get(station)?)?;
        self.solved.get(component as usize)
    }

    /// A station after adjustment.
    pub fn station(&self, station: usize) -> Option<&SolvedStation> {
        self.component_with(station)?.station(station)
    }

    /// Notes by station which component holds it.
    fn index(&mut self, stations: usize) {
        self.component_of = vec![None; stations];
        for (k, solved) in self.solved.iter().enumerate() {
            for station in &solved.stations {
                self.component_of[station.station] = u32::try_from(k).ok();
            }
        }
    }
}

/// Adjusts a network, each component on its own. Stations that cannot be placed or fixed are left out and named in the
/// notes; an error is given only where the network or the settings make no sense.
pub fn adjust(network: &Network, settings: &Settings) -> Result<Adjustment, BadNetwork> {
    check(network, settings)?;
    let begun = Begun::begin(network, &settings.units);
    let mut adjustment = begun.adjust(network, settings, true);
    adjustment.begun = begun;
    Ok(adjustment)
}

/// A network with its starting values: for one adjustment or for several with other standard errors.
#[derive(Debug, Clone, Default)]
pub(crate) struct Begun {
    starts: Starts,
    /// By reading: whether it takes part.
    used: Vec<bool>,
    /// What was left out.
    notes: Vec<Note>,
}

impl Begun {
    /// Starting values for a network that was checked.
    pub fn begin(network: &Network, units: &Units) -> Begun {
        let mut used = vec![true; network.observations.len()];
        let mut notes = Vec::new();
        let starts = begin(network, &mut used, &mut notes, units);
        leave_plumb_sights(network, &starts, &mut used, &mut notes);
        Begun { starts, used, notes }
    }

    /// Begins the next adjustment where another one ended.
    pub fn move_to(&mut self, adjustment: &Adjustment) {
        for station in adjustment.solved.iter().flat_map(|solved| &solved.stations) {
            self.starts.positions[station.station] = Some(station.position);
        }
    }

    /// Adjusts it; `tells` whether misclosures are wanted.
    pub fn adjust(&self, network: &Network, settings: &Settings, tells: bool) -> Adjustment {
        let Begun { starts, used, notes } = self;
        let mut out = Adjustment { notes: notes.clone(), ..Adjustment::default() };
        let mut open = used.clone();
        for _ in 0..ROUNDS {
            let components = split(network, &open);
            if components.is_empty() {
                break;
            }
            let NetworkHeights { held, known, notes } = heights::judge(network, starts, &open);
            let local = local_places(network, &components);
            let shares = shares(&notes, &components, network.stations.len());
            let one = |component: &Component| {
                Task { network, component, local: &local, starts, held: &held, known: &known, settings, tells }.solve()
            };
            let done: Vec<Result<Solved, Note>> = components.par_iter().map(one).collect();
            open.fill(false);
            for ((component, done), shares) in components.iter().zip(done).zip(shares) {
                match done {
                    Ok(mut solved) => {
                        solved.notes.extend(shares);
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
        out.index(network.stations.len());
        out
    }
}

/// The parts of notes that are about each component.
fn shares(notes: &[Note], components: &[Component], stations: usize) -> Vec<Vec<Note>> {
    let mut component_of = vec![None; stations];
    for (k, component) in components.iter().enumerate() {
        component.stations.iter().for_each(|&s| component_of[s] = Some(k));
    }
    let mut shares: Vec<Vec<Note>> = vec![Vec::new(); components.len()];
    for note in notes {
        let mut own: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
        for &s in &note.stations {
            if let Some(k) = component_of[s] {
                own.entry(k).or_default().push(s);
            }
        }
        for (k, stations) in own {
            shares[k].push(Note { stations, ..note.clone() });
        }
    }
    shares
}

/// Starting values, without what poor geometry refuses; readings of stations without a start are marked unused.
fn begin(network: &Network, used: &mut [bool], notes: &mut Vec<Note>, units: &Units) -> Starts {
    loop {
        let starts = start(network, used);
        let found = geometry::judge(network, &starts, &adjacency(network, used), units);
        let refused: Vec<usize> = found.iter().filter(|n| n.kind.refuses()).filter_map(|n| n.stations.first().copied()).collect();
        let refuses = !refused.is_empty();
        notes.extend(found.into_iter().filter(|n| n.kind.refuses() || !refuses));
        let mut is_refused = vec![false; network.stations.len()];
        refused.iter().for_each(|&s| is_refused[s] = true);
        for (used, o) in used.iter_mut().zip(&network.observations) {
            *used &= !(is_refused[o.from] || is_refused[o.to]);
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::network::surveyed::Surveyed;
    use crate::network::types::Control;

    const SHOT: [Kind; 3] = [Kind::Azimuth, Kind::Slope, Kind::Inclination];

    fn adjusted(survey: &Surveyed) -> Adjustment {
        adjust(&survey.network, &Settings::default()).unwrap()
    }

    /// How far a station is from its true place, in metres.
    fn off_m(survey: &Surveyed, adjustment: &Adjustment, s: usize) -> f64 {
        let [e, n, u] = survey.frame(s).from_earth_centred(adjustment.station(s).unwrap().position);
        e.hypot(n).hypot(u)
    }

    /// Two components, of which the second comes first by its stations, and a station that nothing reads.
    fn two() -> Surveyed {
        let mut two = Surveyed::at(&[[0.0; 3], [900.0, 0.0, 0.0], [60.0, 80.0, 5.0], [950.0, 70.0, 8.0], [5.0; 3]], &[0, 1]);
        two.read_all(&SHOT, 1, 3);
        two.read_all(&SHOT, 0, 2);
        two
    }

    #[test]
    fn a_station_is_looked_up_in_its_component() {
        let two = two();
        let adjustment = adjusted(&two);
        assert_eq!(adjustment.solved.len(), 2);
        let of = |s: usize| {
            adjustment.component_with(s).map(|solved| solved.stations.iter().map(|s| s.station).collect::<Vec<usize>>())
        };
        assert_eq!((of(0), of(2)), (Some(vec![0, 2]), Some(vec![0, 2])));
        assert_eq!((of(1), of(3)), (Some(vec![1, 3]), Some(vec![1, 3])));
        assert_eq!((of(4), of(5)), (None, None));
        assert!((0..4).all(|s| adjustment.station(s).unwrap().station == s && off_m(&two, &adjustment, s) < 1e-3));
        assert!(adjustment.station(4).is_none());
    }

    #[test]
    fn places_in_components_are_counted_in_each() {
        let two = two();
        let components = split(&two.network, &[true; 6]);
        assert_eq!(local_places(&two.network, &components), [0, 0, 1, 1, NONE]);
        let note = |stations: Vec<usize>| Note::new(NoteKind::NoHeight, stations, "Low.".to_owned());
        let shares = shares(&[note(vec![0, 2, 3]), note(vec![1]), note(vec![4])], &components, 5);
        assert_eq!(shares, [vec![note(vec![0, 2])], vec![note(vec![3]), note(vec![1])]]);
    }

    /// A station that its readings do not fix is left out with a word, and the others of its component are adjusted without it.
    #[test]
    fn what_its_readings_do_not_fix_is_left_out() {
        let mut survey =
            Surveyed::at(&[[0.0; 3], [80.0, 60.0, 3.0], [20.0, 90.0, 4.0], [-50.0, 40.0, 2.0], [-60.0, 9.0, 1.0]], &[0]);
        survey.read_all(&SHOT, 0, 1);
        for s in [2, 3] {
            survey.network.stations[s].start = Some(survey.truth[s]);
            survey.read(Kind::Slope, 0, s);
        }
        survey.read_all(&SHOT, 0, 4);
        let adjustment = adjusted(&survey);
        let said: Vec<(NoteKind, &[usize])> = adjustment.notes.iter().map(|note| (note.kind, note.stations.as_slice())).collect();
        let mut left_out = said.clone();
        left_out.sort_unstable();
        assert_eq!(left_out, [(NoteKind::Singular, &[2][..]), (NoteKind::Singular, &[3][..])]);
        assert!(adjustment.solved.len() == 1 && [1, 4].into_iter().all(|s| off_m(&survey, &adjustment, s) < 1e-3));
        assert!([2, 3].into_iter().all(|s| adjustment.station(s).is_none()));
    }

    /// Points that cross flatly are refused, and then what hangs on them; what is weak is told once, what has no start at all too.
    #[test]
    fn what_crosses_flatly_is_refused_before_it_is_solved() {
        let flat = |degrees: f64| [100.0 / (0.5f64 * degrees.to_radians()).tan(), 0.0, 0.0];
        let mut survey = Surveyed::at(
            &[[0.0, 100.0, 0.0], [0.0, -100.0, 0.0], flat(5.0), flat(20.0), flat(60.0), [30.0, 20.0, 0.0], [40.0, 9.0, 0.0]],
            &[0, 1],
        );
        for s in [2, 3, 4] {
            survey.read(Kind::Azimuth, 0, s);
            survey.read(Kind::Azimuth, 1, s);
        }
        survey.read(Kind::Azimuth, 2, 5);
        survey.read(Kind::Azimuth, 6, 0);
        let (mut used, mut notes) = (vec![true; survey.network.observations.len()], Vec::new());
        let starts = begin(&survey.network, &mut used, &mut notes, &Units::default());
        let said: Vec<(NoteKind, usize)> = notes.iter().map(|note| (note.kind, note.stations[0])).collect();
        let lacking = [(NoteKind::GeometryRefused, 2), (NoteKind::GeometryPoor, 3), (NoteKind::NotStarted, 6)];
        assert_eq!(said, lacking);
        assert_eq!(used, [false, false, true, true, true, true, false, false]);
        let placed: Vec<bool> = starts.positions.iter().map(Option::is_some).collect();
        assert_eq!(placed, [true, true, false, true, true, false, false]);
    }

    /// What is left of an azimuth up a plumb line, by how far aside and up the place is.
    fn plumb(aside_m: f64, up_m: f64, steep: bool, kind: Kind) -> (bool, Vec<Note>) {
        let mut survey = Surveyed::at(&[[0.0; 3], [0.6 * aside_m, 0.8 * aside_m, up_m], [50.0, 0.0, 0.0]], &[0, 1, 2]);
        survey.heights_m = [0.0; 2];
        survey.read(kind, 0, 1);
        survey.read(Kind::Slope, 0, 1);
        survey.read(Kind::Azimuth, 0, 2);
        if steep {
            let inclination = survey.read(Kind::Inclination, 0, 1);
            survey.network.observations[inclination].source = 0;
        }
        let (mut used, mut notes) = (vec![true; survey.network.observations.len()], Vec::new());
        leave_plumb_sights(&survey.network, &survey.start(), &mut used, &mut notes);
        assert!(used[1..].iter().all(|used| *used));
        (used[0], notes)
    }

    #[test]
    fn an_azimuth_up_a_plumb_line_is_left_out() {
        let (used, notes) = plumb(0.049, 3.0, false, Kind::Azimuth);
        assert!(!used && notes.len() == 1);
        assert_eq!((notes[0].kind, &notes[0].stations), (NoteKind::AzimuthOfPlumbSight, &vec![0, 1]));
        assert_eq!(notes[0].text, "The azimuth from S0 to S1 is left out: the sight has no horizontal length.");
        assert!(!plumb(0.049, -4.9, false, Kind::Direction).0);
        for (aside_m, up_m, steep) in [(0.051, 3.0, false), (0.049, 5.01, false), (0.049, 3.0, true)] {
            let (used, notes) = plumb(aside_m, up_m, steep, Kind::Azimuth);
            assert!(used && notes.is_empty(), "{aside_m} {up_m} {steep}");
        }
        // An inclination that is not steep holds no azimuth, nor does one of another shot.
        assert!(!plumb(0.049, 0.5, true, Kind::Azimuth).0);
        // What is left out already is not told again.
        let mut survey = Surveyed::at(&[[0.0; 3], [0.01, 0.0, 3.0]], &[0, 1]);
        survey.read(Kind::Azimuth, 0, 1);
        let mut notes = Vec::new();
        leave_plumb_sights(&survey.network, &survey.start(), &mut [false], &mut notes);
        assert!(notes.is_empty());
    }

    /// The next adjustment begins where the last one ended.
    #[test]
    fn it_goes_on_from_an_adjustment() {
        let mut survey = Surveyed::at(&[[0.0; 3], [80.0, 60.0, 3.0], [100.0, -10.0, 6.0]], &[0, 2]);
        [0, 2].into_iter().for_each(|s| survey.read_all(&SHOT, s, 1));
        survey.network.observations[0].value += 0.05;
        let control = survey.network.stations[2].control.unwrap();
        survey.network.stations[2].control = Some(Control { covariance: Default::default(), ..control });
        let first = adjusted(&survey);
        let mut begun = first.begun.clone();
        let before = begun.adjust(&survey.network, &Settings::default(), false);
        begun.move_to(&first);
        let after = begun.adjust(&survey.network, &Settings::default(), false);
        assert!(before.solved[0].iterations > 2 && after.solved[0].iterations == 1, "{}", after.solved[0].iterations);
        let [one, other] = [&first, &after].map(|adjustment| adjustment.station(1).unwrap().position);
        assert!((0..3).all(|k| (one[k] - other[k]).abs() < 1e-6));
        assert!(first.solved[0].misclosures.is_empty() && after.solved[0].misclosures.is_empty());
    }
}
