//! Which heights a network can know.
//!
//! Inclinations, vertical distances and height differences join the heights of their ends. A group of stations joined so
//! has heights if one of them has a known height; three slope distances or more to known heights give one too. In any other group the height of
//! one station is held, at the level that the starting values gave it, and none of the group has a height to show.

use super::components::Sets;
use super::notes::{Note, NoteKind, listed};
use super::start::Starts;
use super::types::{Kind, Network};

/// Slope distances that give a station all three coordinates.
const RANGES: usize = 3;

/// The heights of a network, by station.
pub(crate) struct Heights {
    /// Whether the height is held.
    pub held: Vec<bool>,
    /// Whether the height is known.
    pub known: Vec<bool>,
    pub notes: Vec<Note>,
}

/// Judges the heights under the readings that `used` admits.
pub(crate) fn judge(network: &Network, starts: &Starts, used: &[bool]) -> Heights {
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
        if station.control.as_ref().is_some_and(|c| c.is_fixed() || c.has_height()) {
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
        let is_placed = network.stations[s].start.is_some() || starts.has_height[s];
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
    Heights { held, known, notes }
}
