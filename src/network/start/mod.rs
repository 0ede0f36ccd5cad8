//! Starting values by closed forms.
//!
//! Known and rough positions first; then, from what stands, polar shots (and with them traverses, base by base), and
//! where no polar shot serves, intersections by azimuths, distances or both (slope distances without inclinations
//! in space), and resections by directions and distances. A station that stands lets its neighbours be tried again, until nothing
//! moves. Then what hangs together by free circles is laid out in a chart of its own and turned onto the known positions in it
//! ([`charts`]). What cannot be started is named with what it lacks.
//!
//! A polar shot is reduced in the base's own horizon; the others meet in the horizon of one neighbour, good to the
//! earth's curvature, which a starting value can bear.

mod charts;
mod loci;
mod readings;
mod spheres;

use std::collections::VecDeque;

use self::loci::{Meeting, meet};
use self::readings::{Near, Space};
use super::notes::{Note, NoteKind};
use super::types::{Kind, Network};
use crate::geodesy::frame::{EarthCentred, Geodetic, LocalFrame, half_circle_rad};

/// What a network starts from.
#[derive(Debug, Clone, Default)]
pub(crate) struct Starts {
    /// Positions by station; none where nothing gives one.
    pub positions: Vec<Option<EarthCentred>>,
    /// Whether the height of the position is measured.
    pub has_height: Vec<bool>,
    /// Orientations of the azimuths by station, in radians.
    pub azimuths: Vec<Option<f64>>,
    /// Orientations of the directions by station, in radians.
    pub directions: Vec<Option<f64>>,
    /// Stations without a start, named with what they lack.
    pub notes: Vec<Note>,
}

/// Readings by the stations that they name.
pub(crate) fn adjacency(network: &Network, used: &[bool]) -> Vec<Vec<usize>> {
    let mut readings: Vec<Vec<usize>> = vec![Vec::new(); network.stations.len()];
    for (i, o) in network.observations.iter().enumerate().filter(|(i, _)| used.get(*i) == Some(&true)) {
        readings[o.from].push(i);
        readings[o.to].push(i);
    }
    readings
}

/// Starts a network from the readings that `used` admits.
pub(crate) fn start(network: &Network, used: &[bool]) -> Starts {
    let readings = adjacency(network, used);
    let mut search = StartSearch::new(network, &readings, None);
    search.run();
    search.starts
}

struct StartSearch<'a> {
    network: &'a Network,
    readings: &'a [Vec<usize>],
    starts: Starts,
    /// Stations to be tried by a polar shot, and by anything else.
    polar: VecDeque<usize>,
    other: VecDeque<usize>,
    /// What a chart need not be laid out beyond: stations that stand and are oriented already.
    known: Option<&'a Starts>,
}

impl<'a> StartSearch<'a> {
    fn new(network: &'a Network, readings: &'a [Vec<usize>], known: Option<&'a Starts>) -> StartSearch<'a> {
        let count = network.stations.len();
        let starts = Starts {
            positions: vec![None; count],
            has_height: vec![false; count],
            azimuths: vec![None; count],
            directions: vec![None; count],
            notes: Vec::new(),
        };
        StartSearch { network, readings, starts, polar: VecDeque::new(), other: VecDeque::new(), known }
    }

    fn run(&mut self) {
        let count = self.network.stations.len();
        self.starts.azimuths = self.network.stations.iter().map(|s| s.sigma_orientation_rad.is_finite().then_some(0.0)).collect();
        let mut given = Vec::new();
        for (s, station) in self.network.stations.iter().enumerate() {
            let at = station.start.or(station.control.map(|c| c.position));
            if at.is_some() {
                self.starts.positions[s] = at;
                self.starts.has_height[s] = station.control.is_none_or(|c| c.has_height()) || station.start.is_some();
                given.push(s);
            }
        }
        for s in given {
            self.settled(s);
        }
        self.spread();
        charts::fit(self);
        for s in 0..count {
            if self.starts.positions[s].is_none() && !self.readings[s].is_empty() {
                let text = self.lacking(s);
                self.starts.notes.push(Note::new(NoteKind::NotStarted, vec![s], text));
            }
        }
    }

    /// Tries what waits, until nothing does.
    fn spread(&mut self) {
        loop {
            if let Some(s) = self.polar.pop_front() {
                if self.starts.positions[s].is_none() && !self.by_polar(s) {
                    self.other.push_back(s);
                }
            } else if let Some(s) = self.other.pop_front() {
                if self.starts.positions[s].is_none() {
                    self.by_loci(s);
                }
            } else {
                break;
            }
        }
    }

    /// A station has a position: orientations follow, and its neighbours can be tried.
    fn settled(&mut self, s: usize) {
        let network = self.network;
        let mut turned = vec![s];
        for &i in &self.readings[s] {
            let o = &network.observations[i];
            if o.kind.is_bearing() && self.orient(i) && o.from != s {
                turned.push(o.from);
            }
        }
        // Beyond what stands and is oriented a chart would only say again what is known.
        turned.retain(|t| self.known.is_none_or(|known| known.positions[*t].is_none() || known.directions[*t].is_none()));
        for t in turned {
            for &i in &self.readings[t] {
                let o = &network.observations[i];
                let other = if o.from == t { o.to } else { o.from };
                if self.starts.positions[other].is_none() {
                    self.polar.push_back(other);
                }
            }
        }
    }

    /// Finds the orientation of a base from one bearing whose ends both stand; whether it is new.
    fn orient(&mut self, i: usize) -> bool {
        let o = &self.network.observations[i];
        let slot = match o.kind {
            Kind::Direction => &mut self.starts.directions[o.from],
            _ => &mut self.starts.azimuths[o.from],
        };
        if slot.is_some() {
            return false;
        }
        let (Some(from), Some(to)) = (self.starts.positions[o.from], self.starts.positions[o.to]) else { return false };
        let frame = LocalFrame::at(&Geodetic::from_earth_centred(from, &self.network.ellipsoid), &self.network.ellipsoid);
        let [e, n, _] = frame.from_earth_centred(to);
        if e.hypot(n) < 1e-3 {
            return false;
        }
        *slot = Some(half_circle_rad(e.atan2(n) - o.value));
        true
    }

    fn by_polar(&mut self, s: usize) -> bool {
        let near = Near::gather(self.network, &self.readings[s], &self.starts, s);
        match near.polar() {
            Some((position, height)) => {
                self.place(s, position, height);
                true
            }
            None => false,
        }
    }

    fn by_loci(&mut self, s: usize) {
        let near = Near::gather(self.network, &self.readings[s], &self.starts, s);
        match near.in_space() {
            Space::At(position) => return self.place(s, position, true),
            Space::Two => return,
            Space::None => {}
        }
        let Meeting::At(plane) = meet(&near.loci()) else { return };
        if let Some((position, height)) = near.raise(plane) {
            self.place(s, position, height);
        }
    }

    fn place(&mut self, s: usize, position: EarthCentred, height: bool) {
        self.starts.positions[s] = Some(position);
        self.starts.has_height[s] = height;
        self.settled(s);
    }

    /// The sentence about a station that has no start.
    fn lacking(&self, s: usize) -> String {
        let label = &self.network.stations[s].label;
        let near = Near::gather(self.network, &self.readings[s], &self.starts, s);
        let loci = near.loci();
        if near.in_space() == Space::Two {
            return format!(
                "Station {label}: two places fit its slope distances equally, one over the other. Read an inclination, or give a rough position."
            );
        }
        if loci.len() >= 2 && meet(&loci) == Meeting::Two {
            return format!(
                "Station {label}: two places fit its readings equally. Add a distance or an azimuth, or give a rough position."
            );
        }
        let (bearings, ranges, unplaced) = near.counts();
        if bearings + ranges == 0 {
            return format!(
                "Station {label}: none of its {unplaced} sighted stations has a position. Tie one of them to a GNSS base or a known point."
            );
        }
        let had = match (bearings, ranges) {
            (b, 0) => format!("{b} bearing{}", if b == 1 { "" } else { "s" }),
            (0, r) => format!("{r} distance{}", if r == 1 { "" } else { "s" }),
            (b, r) => format!("{b} bearing{} and {r} distance{}", if b == 1 { "" } else { "s" }, if r == 1 { "" } else { "s" }),
        };
        format!(
            "Station {label}: {had} to placed stations do not fix it. It needs an azimuth and a distance from one base, two azimuths that \
             cross, two distances and an azimuth, or directions to three known points."
        )
    }
}

#[cfg(test)]
mod tests;
