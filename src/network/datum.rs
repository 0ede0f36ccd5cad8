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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::network::by_station::tests::sample;

    /// What is said of the sample with readings of some kinds alone and the first stations known.
    fn said(kinds: &[Kind], known: usize, orientation: f64) -> Option<String> {
        let mut network = sample();
        network.observations.retain(|o| kinds.contains(&o.kind));
        for (s, station) in network.stations.iter_mut().enumerate() {
            station.control = station.control.filter(|_| s < known);
            station.sigma_orientation_rad = orientation;
        }
        let component = Component {
            stations: (0..network.stations.len()).collect(),
            observations: (0..network.observations.len()).collect(),
        };
        let note = defect(&network, &component)?;
        assert_eq!((note.kind, &note.stations), (NoteKind::DatumDefect, &component.stations));
        Some(note.text)
    }

    #[test]
    fn place_turn_and_size() {
        use Kind::*;
        let names = "S0, S1, S2, S3, S4, S5 and 5 more have";
        let all = [Azimuth, Inclination, Slope];
        assert_eq!(
            said(&all, 0, 0.004),
            Some(format!("{names} no GNSS base and no known point among them: nothing ties them to the datum. Add one."))
        );
        assert_eq!((said(&all, 1, 0.004), said(&all, 1, 0.0), said(&all, 2, 0.004)), (None, None, None));
        let turn = format!(
            "{names} one known position, S0, and no azimuth from north: they can turn about it. Add an azimuth or a second known point."
        );
        assert_eq!(said(&all, 1, f64::INFINITY), Some(turn.clone()));
        assert_eq!(said(&[Inclination, Slope], 1, 0.0), Some(turn));
        assert_eq!(
            said(&[Azimuth, Inclination], 1, 0.0),
            Some(format!(
                "{names} one known position, S0, and no distance: their size is open. Add a distance or a second known point."
            ))
        );
        // Two known positions turn it and give its size; heights alone have neither.
        assert_eq!(
            (said(&[Azimuth], 2, f64::INFINITY), said(&[Slope], 2, 0.0), said(&[Inclination], 1, 0.0)),
            (None, None, None)
        );
    }
}
