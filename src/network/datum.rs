//! What ties a component to the datum: a place, a turn and a scale.
//!
//! Without a known position the network is free; with one known position and no azimuth it can turn about it; with one
//! known position, azimuths and no distance it can grow (defect of datum, any text on free networks).

use super::components::Component;
use super::notes::{Note, NoteKind, listed};
use super::types::{Kind, Network};

/// The defect of a component, if it has one.
pub(crate) fn defect(network: &Network, component: &Component) -> Option<Note> {
    let names = || listed(component.stations.iter().map(|s| network.stations[*s].label.as_str()));
    let note = |text: String| Some(Note::new(NoteKind::DatumDefect, component.stations.clone(), text));
    let readings = || component.observations.iter().map(|&i| &network.observations[i]);
    let mut known = component.stations.iter().filter(|s| network.stations[**s].control.is_some());
    let Some(first) = known.next() else {
        return note(format!(
            "{} have no GNSS base and no known point among them: nothing ties them to the datum. Add one.",
            names()
        ));
    };
    if known.next().is_some() || !readings().any(|o| o.kind.is_bearing() || o.kind.is_range()) {
        return None;
    }
    let label = &network.stations[*first].label;
    if !readings().any(|o| o.kind == Kind::Azimuth && network.stations[o.from].sigma_orientation_rad.is_finite()) {
        return note(format!(
            "{} have one known position, {label}, and no azimuth from north: they can turn about it. Add an azimuth or a second known point.",
            names()
        ));
    }
    if !readings().any(|o| o.kind.is_range()) {
        return note(format!(
            "{} have one known position, {label}, and no distance: their size is open. Add a distance or a second known point.",
            names()
        ));
    }
    None
}
