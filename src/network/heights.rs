//! Which heights a network can know.
//!
//! Inclinations, vertical distances and height differences join the heights of their ends. A group of stations joined so
//! has heights if one of them has a known height; three slope distances or more to known heights give one too. In any other group the height of
//! one station is held, at the level that the starting values gave it, and none of the group has a height to show.

use super::components::Sets;
use super::notes::{Note, NoteKind, listed};
use super::start::Starts;
use super::types::{Control, Kind, Network};

/// Slope distances that give a station all three coordinates.
const RANGES: usize = 3;

/// The heights of a network, by station.
pub(crate) struct NetworkHeights {
    /// Whether the height is held.
    pub held: Vec<bool>,
    /// Whether the height is known.
    pub known: Vec<bool>,
    pub notes: Vec<Note>,
}

/// Judges the heights under the readings that `used` admits.
pub(crate) fn judge(network: &Network, starts: &Starts, used: &[bool]) -> NetworkHeights {
    let count = network.stations.len();
    let mut sets = Sets::new(count);
    let mut vertical = vec![false; count];
    let mut named = vec![false; count];
    let readings = || network.observations.iter().zip(used).filter(|(_, used)| **used).map(|(o, _)| o);
    for o in readings() {
        (named[o.from], named[o.to]) = (true, true);
        if o.kind.is_vertical() {
            sets.join(o.from, o.to);
            (vertical[o.from], vertical[o.to]) = (true, true);
        }
    }
    let mut tied = vec![false; count];
    for (s, station) in network.stations.iter().enumerate() {
        if station.control.as_ref().is_some_and(Control::has_height) {
            tied[sets.root(s)] = true;
        }
    }
    // Slope distances to heights that are known.
    let mut ranges = vec![0usize; count];
    for o in readings().filter(|o| o.kind == Kind::Slope) {
        for (end, other) in [(o.from, o.to), (o.to, o.from)] {
            let root = sets.root(other);
            ranges[end] += usize::from(tied[root]);
        }
    }
    let mut by_range = vec![false; count];
    for s in 0..count {
        // Where it is roughly: slope distances alone leave two places.
        let is_placed = starts.has_height[s];
        by_range[s] = !vertical[s] && network.stations[s].control.is_none() && ranges[s] >= RANGES && is_placed;
    }
    let mut notes = Vec::new();
    let mut held = vec![false; count];
    let mut known = vec![true; count];
    let mut holder: Vec<Option<usize>> = vec![None; count];
    let mut unknown = Vec::new();
    for s in (0..count).filter(|s| named[*s] && starts.positions[*s].is_some()) {
        let root = sets.root(s);
        if tied[root] || by_range[s] {
            continue;
        }
        known[s] = false;
        unknown.push(s);
        if holder[root].is_none() {
            holder[root] = Some(s);
            held[s] = true;
        }
    }
    if !unknown.is_empty() {
        let names = listed(unknown.iter().map(|s| network.stations[*s].label.as_str()));
        let text =
            format!("No reading gives the height of {names}: it is held at the level of the base, and no height is given.");
        notes.push(Note::new(NoteKind::NoHeight, unknown, text));
    }
    let level: Vec<usize> = {
        let mut level: Vec<usize> = readings()
            .filter(|o| o.kind == Kind::Slope && !(known[o.from] && known[o.to]) && (held[o.from] || held[o.to]))
            .map(|o| if known[o.to] { o.from } else { o.to })
            .collect();
        level.sort_unstable();
        level.dedup();
        level
    };
    if !level.is_empty() {
        let names = listed(level.iter().map(|s| network.stations[*s].label.as_str()));
        let text = format!(
            "The slope distances of {names} have no inclination beside them: they are taken as level. Read inclinations too."
        );
        notes.push(Note::new(NoteKind::SlopeTakenLevel, level, text));
    }
    NetworkHeights { held, known, notes }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geodesy::covariance::Covariance;
    use crate::geodesy::frame::{Ellipsoid, Geodetic};
    use crate::network::start::start;
    use crate::network::types::{Observation, Station};

    /// Three bases with known heights, B without one, and points P, Q, R; roughly placed by what `placed` names.
    fn network(readings: &[(Kind, usize, usize)], placed: &[usize]) -> Network {
        let place = |s: usize| Geodetic {
            lat_rad: 0.8 + 1e-5 * (s % 3) as f64,
            lon_rad: 0.2 + 1e-5 * s as f64,
            ellipsoid_height_m: 300.0,
        };
        let ellipsoid = Ellipsoid::WGS84;
        let stations = (0..7).map(|s| {
            let position = place(s).to_earth_centred(&ellipsoid);
            let covariance = Covariance { uu: if s == 3 { f64::INFINITY } else { 0.01 }, ..Covariance::from_sigmas(0.1, 0.1) };
            Station {
                label: ["A", "K", "L", "B", "P", "Q", "R"][s].into(),
                start: placed.contains(&s).then_some(position),
                control: (s < 4).then_some(Control { position, covariance }),
                sigma_orientation_rad: 0.0,
            }
        });
        let observations = readings.iter().enumerate().map(|(source, (kind, from, to))| Observation {
            kind: *kind,
            from: *from,
            to: *to,
            value: if kind.is_range() { 80.0 } else { 0.1 },
            sigma: 0.01,
            instrument_height_m: 0.0,
            target_height_m: 0.0,
            instrument: None,
            shared: [None; 2],
            source,
        });
        let (stations, observations) = (stations.collect(), observations.collect());
        Network { ellipsoid, refraction: 0.0, stations, instruments: vec![], shared: vec![], observations }
    }

    const P: usize = 4;
    const Q: usize = 5;
    const R: usize = 6;

    /// Stations whose height is held, and those whose height is not known, and what is said.
    fn judged(readings: &[(Kind, usize, usize)], placed: &[usize], unused: usize) -> (Vec<usize>, Vec<usize>, Vec<String>) {
        let network = network(readings, placed);
        let used: Vec<bool> = (0..readings.len()).map(|i| i < readings.len() - unused).collect();
        let heights = judge(&network, &start(&network, &used), &used);
        let which = |of: &dyn Fn(usize) -> bool| (0..7).filter(|s| of(*s)).collect::<Vec<usize>>();
        (which(&|s| heights.held[s]), which(&|s| !heights.known[s]), heights.notes.into_iter().map(|note| note.text).collect())
    }

    #[test]
    fn a_group_has_heights_if_one_of_it_has() {
        use Kind::*;
        let at = [P, Q, R];
        for kind in [Inclination, Vertical, VerticalWithSlope, HeightDifference] {
            // Through the others, whoever read it.
            for readings in [[(kind, 0, P), (kind, P, Q), (kind, R, Q)], [(kind, P, 0), (kind, Q, P), (kind, Q, R)]] {
                assert_eq!(judged(&readings, &at, 0), (vec![], vec![], vec![]), "{kind:?}");
            }
            // Of two groups one is held by its first station; the second, B without a known height too.
            let (held, unknown, notes) = judged(&[(kind, 0, P), (kind, 3, Q), (kind, Q, R)], &at, 0);
            assert_eq!((held, unknown), (vec![3], vec![3, Q, R]));
            assert_eq!(
                notes,
                ["No reading gives the height of B, Q and R: it is held at the level of the base, and no height is given."]
            );
        }
        // What joins no heights: each of its own.
        let (held, unknown, _) = judged(&[(Azimuth, 0, P), (Horizontal, P, Q)], &at, 0);
        assert_eq!((held, unknown), (vec![P, Q], vec![P, Q]));
        // A reading that is not used joins nothing, and who has no reading is not judged.
        let (held, unknown, _) = judged(&[(Azimuth, 0, P), (Inclination, 0, P)], &at, 1);
        assert_eq!((held, unknown), (vec![P], vec![P]));
    }

    #[test]
    fn three_slope_distances_to_known_heights_give_one() {
        use Kind::*;
        let three = [(Slope, 0, P), (Slope, P, 1), (Slope, 2, P)];
        let level = |names: &str| {
            format!(
                "The slope distances of {names} have no inclination beside them: they are taken as level. Read inclinations too."
            )
        };
        assert_eq!(judged(&three, &[P], 0), (vec![], vec![], vec![]));
        // Two are too few, and so are three of which one is to a height that is not known, and three without a rough place.
        for (readings, placed, unused) in
            [(three.to_vec(), vec![P], 1), (vec![(Slope, 0, P), (Slope, P, 1), (Slope, 3, P)], vec![P], 0)]
        {
            let (held, unknown, notes) = judged(&readings, &placed, unused);
            assert!(held.contains(&P) && unknown.contains(&P), "{readings:?} {held:?}");
            assert!(notes.iter().any(|note| note.contains("slope distances of") && note.contains('P')), "{notes:?}");
        }
        // With an inclination beside them the place is of a group, and that of the group counts.
        let (held, _, _) = judged(&[&three[..], &[(Inclination, P, Q)]].concat(), &[P, Q], 0);
        assert_eq!(held, [P]);
        let (_, _, notes) = judged(&[(Azimuth, 0, P), (Slope, 0, P), (Azimuth, 1, Q), (Slope, Q, 1)], &[P, Q], 0);
        assert_eq!(notes[1], level("P and Q"));
    }
}
