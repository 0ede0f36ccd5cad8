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
