//! The current estimate of one component: places with their frames, orientations, scales and constants.

use super::components::Component;
use super::layout::{Layout, NONE};
use super::start::Starts;
use super::types::{Kind, Network, Observation};
use crate::geodesy::frame::{EarthCentred, Ellipsoid, Geodetic, LocalFrame};

/// The estimate. Places by the station's place in the component, the other unknowns by their column.
#[derive(Debug, Clone)]
pub(crate) struct State {
    pub positions: Vec<EarthCentred>,
    pub frames: Vec<LocalFrame>,
    pub heights_m: Vec<f64>,
    pub radii_m: Vec<f64>,
    pub others: Vec<f64>,
}

impl State {
    /// The starting values of a component.
    pub fn start(network: &Network, component: &Component, layout: &Layout, starts: &Starts) -> State {
        let mut others = vec![0.0; layout.size];
        for (&s, place) in component.stations.iter().zip(&layout.places) {
            for (column, orientation) in [(place.azimuths, starts.azimuths[s]), (place.directions, starts.directions[s])] {
                if let (Some(slot), Some(value)) = (others.get_mut(column as usize), orientation) {
                    *slot = value;
                }
            }
        }
        let count = component.stations.len();
        let mut state = State {
            positions: component.stations.iter().map(|&s| starts.positions[s].unwrap_or([0.0; 3])).collect(),
            frames: Vec::with_capacity(count),
            heights_m: Vec::with_capacity(count),
            radii_m: Vec::with_capacity(count),
            others,
        };
        for position in &state.positions {
            let (frame, height, radius) = stand(*position, &network.ellipsoid);
            state.frames.push(frame);
            state.heights_m.push(height);
            state.radii_m.push(radius);
        }
        state
    }

    /// An unknown that is not a coordinate; 0 where there is none.
    pub fn other(&self, column: u32) -> f64 {
        self.others.get(column as usize).copied().unwrap_or(0.0)
    }

    /// What has to be added to a reading to make it an azimuth; 0 for what is no bearing.
    pub fn orientation(&self, layout: &Layout, local: &[u32], o: &Observation) -> f64 {
        let place = &layout.places[local[o.from] as usize];
        match o.kind {
            Kind::Azimuth => self.other(place.azimuths) + self.shared(layout, o),
            Kind::Direction => self.other(place.directions),
            // An inclination goes with the azimuths of its base, or with its directions where it has no others.
            Kind::Inclination if place.azimuths == NONE && place.directions != NONE => self.other(place.directions),
            Kind::Inclination => place.turns().map(|column| self.other(column)).sum(),
            _ => 0.0,
        }
    }

    /// What the shared errors of a reading add to it.
    pub fn shared(&self, layout: &Layout, o: &Observation) -> f64 {
        o.shared.iter().flatten().map(|k| self.other(layout.shared[*k])).sum()
    }

    /// The estimate moved by `share` of a step.
    pub fn moved(&self, layout: &Layout, step: &[f64], share: f64, ellipsoid: &Ellipsoid) -> State {
        let mut next = self.clone();
        for (k, place) in layout.places.iter().enumerate() {
            let first = place.first as usize;
            if place.size == 0 {
                continue;
            }
            let up = if place.size == 3 { share * step[first + 2] } else { 0.0 };
            let position = self.frames[k].to_earth_centred([share * step[first], share * step[first + 1], up]);
            let mut geodetic = Geodetic::from_earth_centred(position, ellipsoid);
            if place.size == 2 {
                geodetic.ellipsoid_height_m = self.heights_m[k];
                next.positions[k] = geodetic.to_earth_centred(ellipsoid);
            } else {
                next.positions[k] = position;
            }
            next.frames[k] = LocalFrame::at(&geodetic, ellipsoid);
            next.heights_m[k] = geodetic.ellipsoid_height_m;
            next.radii_m[k] = ellipsoid.mean_radius_m(geodetic.lat_rad);
        }
        for place in &layout.places {
            for column in [place.azimuths, place.directions] {
                if let (Some(value), Some(step)) = (next.others.get_mut(column as usize), step.get(column as usize)) {
                    *value += share * step;
                }
            }
        }
        for column in layout.instruments.iter().flatten().chain(&layout.shared) {
            if let (Some(value), Some(step)) = (next.others.get_mut(*column as usize), step.get(*column as usize)) {
                *value += share * step;
            }
        }
        next
    }
}

fn stand(position: EarthCentred, ellipsoid: &Ellipsoid) -> (LocalFrame, f64, f64) {
    let geodetic = Geodetic::from_earth_centred(position, ellipsoid);
    (LocalFrame::at(&geodetic, ellipsoid), geodetic.ellipsoid_height_m, ellipsoid.mean_radius_m(geodetic.lat_rad))
}
