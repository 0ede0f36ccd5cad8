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
