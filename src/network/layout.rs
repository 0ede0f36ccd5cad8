//! The unknowns of one component and where each stands in its normal equations.
//!
//! A station not held fixed has east, north and up as increments in its own local frame, or east and north alone where
//! its height is held. A base has one orientation for its azimuths and one for its directions, where it has them; an
//! instrument its scale and constant; each error that readings share one for the component.

use super::components::Component;
use super::types::{Kind, Network};

/// No unknown.
pub(crate) const NONE: u32 = u32::MAX;

/// Where the unknowns of a station stand.
#[derive(Debug, Clone, Copy)]
pub(crate) struct StationColumns {
    /// First of its coordinates.
    pub first: u32,
    /// Coordinates: 0, 2 or 3.
    pub size: u8,
    /// Orientation of its azimuths.
    pub azimuths: u32,
    /// Orientation of its directions.
    pub directions: u32,
    /// Shared errors of its azimuths, those of the first azimuth read there.
    pub turned_by: [u32; 2],
}

impl StationColumns {
    /// The unknown that is added to its directions.
    pub fn directions_turn(&self) -> impl Iterator<Item = u32> + Clone + use<> {
        [self.directions].into_iter().filter(|column| *column != NONE)
    }

    /// The unknowns that are added to its azimuths.
    pub fn turns(&self) -> impl Iterator<Item = u32> + Clone + use<> {
        [self.azimuths, self.turned_by[0], self.turned_by[1]].into_iter().filter(|column| *column != NONE)
    }
}

/// The unknowns of one component.
#[derive(Debug, Clone)]
pub(crate) struct Layout {
    /// By the station's place in the component.
    pub places: Vec<StationColumns>,
    /// Scale and constant, by the instrument's index in the network.
    pub instruments: Vec<[u32; 2]>,
    /// Shared errors, by index in the network.
    pub shared: Vec<u32>,
    /// Unknowns in all.
    pub size: usize,
}

impl Layout {
    /// The unknowns of a component. `holds_height` tells, by the network's station, whose height is held.
    pub fn number(network: &Network, component: &Component, local: &[u32], holds_height: &[bool]) -> Layout {
        let mut size = 0u32;
        let mut next = |count: u32| {
            let first = size;
            size += count;
            first
        };
        let mut bearings = vec![[false; 2]; component.stations.len()];
        let mut ranges = vec![false; network.instruments.len()];
        let mut shares = vec![false; network.shared.len()];
        let mut turned_by = vec![[None; 2]; component.stations.len()];
        for &i in &component.observations {
            let o = &network.observations[i];
            match o.kind {
                Kind::Azimuth => {
                    let from = local[o.from] as usize;
                    if !bearings[from][0] {
                        turned_by[from] = o.shared;
                    }
                    bearings[from][0] = true;
                }
                Kind::Direction => bearings[local[o.from] as usize][1] = true,
                _ => {}
            }
            if let (Some(k), true) = (o.instrument, o.kind.is_range()) {
                ranges[k] = true;
            }
            o.shared.iter().flatten().for_each(|k| shares[*k] = true);
        }
        let mut places: Vec<StationColumns> = component
            .stations
            .iter()
            .zip(&bearings)
            .map(|(&s, [azimuths, directions])| {
                let station = &network.stations[s];
                let size = match station.control {
                    Some(control) if control.is_fixed() => 0,
                    _ if holds_height[s] => 2,
                    _ => 3,
                };
                StationColumns {
                    first: next(size),
                    size: size as u8,
                    azimuths: if *azimuths && station.sigma_orientation_rad > 0.0 { next(1) } else { NONE },
                    directions: if *directions { next(1) } else { NONE },
                    turned_by: [NONE; 2],
                }
            })
            .collect();
        let instruments = network
            .instruments
            .iter()
            .zip(&ranges)
            .map(|(instrument, used)| {
                [instrument.sigma_scale, instrument.sigma_constant_m].map(|s| if *used && s > 0.0 { next(1) } else { NONE })
            })
            .collect();
        let shared: Vec<u32> = shares.iter().map(|used| if *used { next(1) } else { NONE }).collect();
        for (place, by) in places.iter_mut().zip(turned_by) {
            place.turned_by = by.map(|k| k.map_or(NONE, |k| shared[k]));
        }
        Layout { places, instruments, shared, size: size as usize }
    }

    /// The station (by its place in the component) that an unknown belongs to.
    pub fn station_of(&self, unknown: usize) -> Option<usize> {
        self.places.iter().position(|p| {
            let first = p.first as usize;
            (first..first + p.size as usize).contains(&unknown)
                || p.azimuths as usize == unknown
                || p.directions as usize == unknown
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::network::components::split;
    use crate::network::equations::tests::every_kind;

    fn layout(network: &Network, held: &[usize]) -> Layout {
        let component = split(network, &vec![true; network.observations.len()]).remove(0);
        let count = network.stations.len();
        assert_eq!(component.stations.len(), count);
        let local: Vec<u32> = (0..count as u32).collect();
        Layout::number(network, &component, &local, &(0..count).map(|s| held.contains(&s)).collect::<Vec<bool>>())
    }

    /// Each unknown stands once: those of the stations in their order, then those of instruments, then shared errors.
    #[test]
    fn each_unknown_has_its_place() {
        let mut network = every_kind();
        network.stations[2].sigma_orientation_rad = 0.0;
        let layout = layout(&network, &[0, 10]);
        let mut unknowns = Vec::new();
        for (s, place) in layout.places.iter().enumerate() {
            // S0 is fixed; of S10 the height is held; azimuths are read at S0 to S3, those of S2 without an error of their base; a free circle stands at S1.
            assert_eq!(place.size, [(0, 0), (10, 2)].into_iter().find(|(t, _)| *t == s).map_or(3, |(_, size)| size), "{s}");
            assert_eq!((place.azimuths != NONE, place.directions != NONE), (matches!(s, 0 | 1 | 3), s == 1), "{s}");
            let own: Vec<u32> = (place.first..place.first + u32::from(place.size))
                .chain([place.azimuths, place.directions].into_iter().filter(|column| *column != NONE))
                .collect();
            for unknown in &own {
                assert_eq!(layout.station_of(*unknown as usize), Some(s));
            }
            let shared = if s < 4 { [layout.shared[0], layout.shared[1]] } else { [NONE; 2] };
            assert_eq!(place.turned_by, shared, "{s}");
            let turns: Vec<u32> = [place.azimuths].into_iter().chain(shared).filter(|column| *column != NONE).collect();
            assert_eq!(place.turns().collect::<Vec<u32>>(), turns);
            assert_eq!(place.directions_turn().count(), usize::from(s == 1));
            unknowns.extend(own);
        }
        let others: Vec<u32> = layout.instruments.iter().flatten().chain(&layout.shared).copied().collect();
        assert_eq!(others.len(), 2 + 3);
        assert!(others.iter().all(|unknown| layout.station_of(*unknown as usize).is_none()));
        unknowns.extend(others);
        assert_eq!(unknowns, (0..layout.size as u32).collect::<Vec<u32>>());
        assert!(layout.station_of(layout.size).is_none() && layout.station_of(NONE as usize + 1).is_none());
    }

    /// The turns of a station are by the shared errors of the first azimuth that was read there.
    #[test]
    fn the_first_azimuth_tells_what_is_shared() {
        let mut network = every_kind();
        let mut of_second = network.observations.iter_mut().filter(|o| o.kind == Kind::Azimuth && o.from == 2);
        of_second.next().unwrap().shared = [Some(1), None];
        let layout = layout(&network, &[]);
        assert_eq!(layout.places[2].turned_by, [layout.shared[1], NONE]);
        assert_eq!(layout.places[3].turned_by, [layout.shared[0], layout.shared[1]]);
    }

    /// What no reading names is no unknown, nor is what is known without an error.
    #[test]
    fn what_is_not_read_is_no_unknown() {
        let mut network = every_kind();
        let of = |network: &Network| {
            let layout = layout(network, &[]);
            (
                layout.instruments[0].map(|column| column != NONE),
                layout.shared.iter().map(|column| *column != NONE).collect::<Vec<bool>>(),
            )
        };
        network.instruments[0].sigma_scale = 0.0;
        assert_eq!(of(&network), ([false, true], vec![true; 3]));
        (network.instruments[0].sigma_scale, network.instruments[0].sigma_constant_m) = (f64::INFINITY, 0.0);
        assert_eq!(of(&network), ([true, false], vec![true; 3]));
        // An inclination has neither scale nor constant.
        network.observations.iter_mut().filter(|o| o.kind.is_range()).for_each(|o| o.instrument = None);
        network.observations.iter_mut().filter(|o| o.kind == Kind::Inclination).for_each(|o| o.instrument = Some(0));
        network.observations.iter_mut().filter(|o| o.kind == Kind::Azimuth).for_each(|o| o.shared[1] = None);
        assert_eq!(of(&network), ([false, false], vec![true, false, true]));
    }
}
