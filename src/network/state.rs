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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::network::components::split;
    use crate::network::equations::tests::every_kind;
    use crate::network::start::start;

    /// Looks at the start of a network, with the height of station 10 held.
    fn at_start(network: &Network, see: impl Fn(&Layout, &State, &Starts)) {
        let used = vec![true; network.observations.len()];
        let component = split(network, &used).remove(0);
        let local: Vec<u32> = (0..network.stations.len() as u32).collect();
        let held: Vec<bool> = (0..network.stations.len()).map(|s| s == 10).collect();
        let layout = Layout::number(network, &component, &local, &held);
        let starts = start(network, &used);
        see(&layout, &State::start(network, &component, &layout, &starts), &starts);
    }

    /// Latitude and height of a station's position, and the radius of the earth there: √(MN) by the radii of the meridian and of the prime vertical.
    fn stands(state: &State, k: usize, ellipsoid: &Ellipsoid) -> Geodetic {
        let geodetic = Geodetic::from_earth_centred(state.positions[k], ellipsoid);
        let e2 = ellipsoid.eccentricity_squared();
        let root = (1.0 - e2 * geodetic.lat_rad.sin().powi(2)).sqrt();
        let (meridian, vertical) = (ellipsoid.semi_major_m * (1.0 - e2) / root.powi(3), ellipsoid.semi_major_m / root);
        assert!((state.heights_m[k] - geodetic.ellipsoid_height_m).abs() < 1e-6);
        assert!((state.radii_m[k] - (meridian * vertical).sqrt()).abs() < 1e-3);
        assert!(
            (0..9).all(|i| (state.frames[k].axes()[i / 3][i % 3] - LocalFrame::at(&geodetic, ellipsoid).axes()[i / 3][i % 3])
                .abs()
                < 1e-12)
        );
        geodetic
    }

    #[test]
    fn it_begins_where_the_starts_are() {
        let network = every_kind();
        at_start(&network, |layout, state, starts| {
            for s in 0..network.stations.len() {
                assert_eq!(Some(state.positions[s]), starts.positions[s]);
                stands(state, s, &network.ellipsoid);
            }
            // The circle at S1 has its zero at one radian; all else begins at nothing.
            let circle = layout.places[1].directions;
            assert!((state.other(circle) - 1.0).abs() < 1e-3 && Some(state.other(circle)) == starts.directions[1]);
            assert!((0..layout.size as u32).filter(|column| *column != circle).all(|column| state.other(column) == 0.0));
            assert_eq!(state.other(NONE), 0.0);
        });
    }

    /// A share of a step moves coordinates in their own frames and adds to all else; a height that is held stays.
    #[test]
    fn it_moves_by_a_share_of_a_step() {
        let network = every_kind();
        at_start(&network, |layout, state, _| {
            let step: Vec<f64> = (0..layout.size).map(|k| 0.4 + 0.1 * ((7 * k) % 5) as f64).collect();
            let next = state.moved(layout, &step, 0.5, &network.ellipsoid);
            let mut coordinates = vec![false; layout.size];
            for (k, place) in layout.places.iter().enumerate() {
                let first = place.first as usize;
                let went = state.frames[k].from_earth_centred(next.positions[k]);
                let size = place.size as usize;
                assert!((0..size).all(|axis| (went[axis] - 0.5 * step[first + axis]).abs() < 1e-6), "{k}: {went:?}");
                coordinates[first..first + size].fill(true);
                stands(&next, k, &network.ellipsoid);
                if size < 3 {
                    assert!((next.heights_m[k] - state.heights_m[k]).abs() < 1e-6, "{k}");
                }
            }
            assert_eq!(next.positions[0], state.positions[0]);
            for k in (0..layout.size).filter(|k| !coordinates[*k]) {
                assert!((next.others[k] - state.others[k] - 0.5 * step[k]).abs() < 1e-12, "{k}");
            }
        });
    }

    /// What is added to a bearing: of azimuths the base's and what they share, of directions the circle's.
    #[test]
    fn bearings_are_turned() {
        let network = every_kind();
        let local: Vec<u32> = (0..network.stations.len() as u32).collect();
        at_start(&network, |layout, state, _| {
            let mut state = state.clone();
            state.others.iter_mut().enumerate().for_each(|(k, other)| *other = 0.001 * (k + 1) as f64);
            let of = |column: u32| 0.001 * (f64::from(column) + 1.0);
            let place = &layout.places[1];
            let shared = of(layout.shared[0]) + of(layout.shared[1]);
            let reading = |kind: Kind, from: usize, shared: [Option<usize>; 2]| Observation {
                kind,
                from,
                to: 4,
                shared,
                ..network.observations[0]
            };
            let turn = |kind: Kind, from: usize, shared: [Option<usize>; 2]| {
                state.orientation(layout, &local, &reading(kind, from, shared))
            };
            let near = |got: f64, want: f64| assert!((got - want).abs() < 1e-12, "{got} {want}");
            near(turn(Kind::Azimuth, 1, [Some(0), Some(1)]), of(place.azimuths) + shared);
            near(turn(Kind::Azimuth, 1, [None, Some(2)]), of(place.azimuths) + of(layout.shared[2]));
            near(turn(Kind::Direction, 1, [None; 2]), of(place.directions));
            // An inclination is measured in the plane of an azimuth: with that of the base and what its azimuths share.
            near(turn(Kind::Inclination, 1, [None; 2]), of(place.azimuths) + shared);
            near(turn(Kind::Slope, 1, [Some(2), None]), 0.0);
            let mut circle_alone = layout.clone();
            circle_alone.places[1].azimuths = NONE;
            near(state.orientation(&circle_alone, &local, &reading(Kind::Inclination, 1, [None; 2])), of(place.directions));
            circle_alone.places[1].directions = NONE;
            near(state.orientation(&circle_alone, &local, &reading(Kind::Inclination, 1, [None; 2])), shared);
            near(state.shared(layout, &reading(Kind::Slope, 1, [Some(2), Some(0)])), of(layout.shared[2]) + of(layout.shared[0]));
        });
    }
}
