//! Networks that are read without error, for tests: what each reading should be is computed here by formulas of their own.

use super::components::{Component, split};
use super::start::{Starts, start};
use super::types::{Control, Kind, Network, Observation, Station};
use crate::geodesy::covariance::Covariance;
use crate::geodesy::frame::{EarthCentred, Ellipsoid, Geodetic, LocalFrame};

/// Stations at places that are known to the test, and readings between them.
pub(crate) struct Surveyed {
    pub network: Network,
    /// The true place of each station.
    pub truth: Vec<EarthCentred>,
    /// Heights of the instrument and of the target over the ground.
    pub heights_m: [f64; 2],
    /// Azimuth to which the zero of each station's circle points.
    pub zeros_rad: Vec<f64>,
}

impl Surveyed {
    /// Stations at east, north and up of an origin at 45.8° north; those of `known` have a position.
    pub fn at(places: &[[f64; 3]], known: &[usize]) -> Surveyed {
        let ellipsoid = Ellipsoid::WGS84;
        let frame = LocalFrame::at(&Geodetic { lat_rad: 0.8, lon_rad: 0.2, ellipsoid_height_m: 300.0 }, &ellipsoid);
        let truth: Vec<EarthCentred> = places.iter().map(|at| frame.to_earth_centred(*at)).collect();
        let stations = truth.iter().enumerate().map(|(s, position)| Station {
            label: format!("S{s}"),
            start: None,
            control: known.contains(&s).then_some(Control { position: *position, covariance: Covariance::from_sigmas(0.1, 0.1) }),
            sigma_orientation_rad: 0.0,
        });
        let stations = stations.collect();
        let network = Network { ellipsoid, refraction: 0.0, stations, instruments: vec![], shared: vec![], observations: vec![] };
        Surveyed { network, heights_m: [1.5, 0.4], zeros_rad: vec![1.0; truth.len()], truth }
    }

    /// East, north and up at the true place of a station.
    pub fn frame(&self, s: usize) -> LocalFrame {
        LocalFrame::at(&Geodetic::from_earth_centred(self.truth[s], &self.network.ellipsoid), &self.network.ellipsoid)
    }

    /// Height of a place over the ellipsoid.
    pub fn height_m(&self, position: EarthCentred) -> f64 {
        Geodetic::from_earth_centred(position, &self.network.ellipsoid).ellipsoid_height_m
    }

    /// Adds a reading without error; its index. Refraction raises inclinations, and vertical distances with the distance that is held.
    pub fn read(&mut self, kind: Kind, from: usize, to: usize) -> usize {
        let [instrument_height_m, target_height_m] = self.heights_m;
        let [e, n, u] = self.frame(from).from_earth_centred(self.truth[to]);
        let (run, u) = (e.hypot(n), u + target_height_m - instrument_height_m);
        let raised_rad = u.atan2(run) + 0.5 * self.network.refraction * run / self.network.ellipsoid.semi_major_m;
        let value = match kind {
            Kind::Azimuth => e.atan2(n),
            Kind::Direction => e.atan2(n) - self.zeros_rad[from],
            Kind::Inclination => raised_rad,
            Kind::Slope => run.hypot(u),
            Kind::Horizontal => run,
            Kind::Vertical => run * raised_rad.tan(),
            Kind::VerticalWithSlope => run.hypot(u) * raised_rad.sin(),
            Kind::HeightDifference => {
                self.height_m(self.truth[to]) - self.height_m(self.truth[from]) + target_height_m - instrument_height_m
            }
        };
        let source = self.network.observations.len();
        self.network.observations.push(Observation {
            kind,
            from,
            to,
            value,
            sigma: 0.01,
            instrument_height_m,
            target_height_m,
            instrument: None,
            shared: [None; 2],
            source,
        });
        source
    }

    /// Adds several readings between two stations.
    pub fn read_all(&mut self, kinds: &[Kind], from: usize, to: usize) {
        kinds.iter().for_each(|kind| {
            self.read(*kind, from, to);
        });
    }

    /// What it starts from by all its readings.
    pub fn start(&self) -> Starts {
        start(&self.network, &vec![true; self.network.observations.len()])
    }

    /// The first of its components.
    pub fn component(&self) -> Component {
        split(&self.network, &vec![true; self.network.observations.len()]).remove(0)
    }
}
