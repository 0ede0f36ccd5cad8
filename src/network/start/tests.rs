//! Starts against true places, from readings without error, for each way that a station can be started.

use super::*;
use crate::geodesy::covariance::Covariance;
use crate::geodesy::frame::Ellipsoid;
use crate::network::types::{Control, Observation, Station};

/// Instrument and target over the ground, in metres.
const HEIGHTS: [f64; 2] = [1.5, 0.4];

/// What one horizon for all neighbours moves a place by, 200 m from the farthest: meridians converge by 200 m · tan φ / R, 7 mm.
const PLANE_M: f64 = 0.02;

/// Three known bases and a point P, with the true place of each.
struct Ground {
    network: Network,
    truth: Vec<EarthCentred>,
}

const P: usize = 3;

impl Ground {
    fn with(point: [f64; 3]) -> Ground {
        let ellipsoid = Ellipsoid::WGS84;
        let frame = LocalFrame::at(&Geodetic { lat_rad: 0.8, lon_rad: 0.2, ellipsoid_height_m: 300.0 }, &ellipsoid);
        let places = [[0.0, 0.0, 0.0], [150.0, 20.0, 8.0], [60.0, 170.0, -12.0], point];
        let truth: Vec<EarthCentred> = places.iter().map(|at| frame.to_earth_centred(*at)).collect();
        let stations = truth.iter().enumerate().map(|(s, position)| Station {
            label: ["A", "B", "C", "P"][s].into(),
            start: None,
            control: (s != P).then_some(Control { position: *position, covariance: Covariance::from_sigmas(0.1, 0.1) }),
            sigma_orientation_rad: 0.0,
        });
        let stations = stations.collect();
        let network = Network { ellipsoid, refraction: 0.0, stations, instruments: vec![], shared: vec![], observations: vec![] };
        Ground { network, truth }
    }

    fn frame(&self, s: usize) -> LocalFrame {
        LocalFrame::at(&Geodetic::from_earth_centred(self.truth[s], &self.network.ellipsoid), &self.network.ellipsoid)
    }

    fn height_m(&self, position: EarthCentred) -> f64 {
        Geodetic::from_earth_centred(position, &self.network.ellipsoid).ellipsoid_height_m
    }

    /// A reading without error; circles are turned by one radian.
    fn read(&mut self, kind: Kind, from: usize, to: usize) {
        let [instrument_height_m, target_height_m] = HEIGHTS;
        let [e, n, u] = self.frame(from).from_earth_centred(self.truth[to]);
        let (run, u) = (e.hypot(n), u + target_height_m - instrument_height_m);
        let value = match kind {
            Kind::Azimuth => e.atan2(n),
            Kind::Direction => e.atan2(n) - 1.0,
            Kind::Inclination => u.atan2(run),
            Kind::Slope => run.hypot(u),
            Kind::Horizontal => run,
            Kind::Vertical | Kind::VerticalWithSlope => u,
            Kind::HeightDifference => {
                self.height_m(self.truth[to]) - self.height_m(self.truth[from]) + target_height_m - instrument_height_m
            }
        };
        let source = self.network.observations.len();
        let of = Observation {
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
        };
        self.network.observations.push(of);
    }

    fn start(&self) -> Starts {
        start(&self.network, &vec![true; self.network.observations.len()])
    }
}

/// What is read, from where to where.
type Readings = Vec<(Kind, usize, usize)>;

fn started(point: [f64; 3], readings: &Readings) -> (Ground, Starts) {
    let mut ground = Ground::with(point);
    readings.iter().for_each(|(kind, from, to)| ground.read(*kind, *from, *to));
    let starts = ground.start();
    (ground, starts)
}

#[test]
fn a_place_with_its_height() {
    use Kind::*;
    let (a, b, c) = (0, 1, 2);
    let ways: Vec<Readings> = vec![
        vec![(Azimuth, a, P), (Slope, a, P), (Inclination, a, P)],
        vec![(Azimuth, a, P), (Horizontal, a, P), (Vertical, a, P)],
        vec![(Azimuth, a, P), (Slope, a, P), (VerticalWithSlope, a, P)],
        vec![(Azimuth, a, P), (Horizontal, a, P), (Inclination, a, P)],
        vec![(Azimuth, a, P), (Horizontal, a, P), (HeightDifference, b, P)],
        vec![(Azimuth, a, P), (Horizontal, a, P), (Inclination, c, P)],
        // Read at the point itself.
        vec![(Azimuth, P, a), (Slope, P, a), (Inclination, P, a)],
        vec![(Azimuth, P, a), (Horizontal, P, a), (Vertical, P, a)],
        vec![(Azimuth, P, b), (Slope, P, b), (VerticalWithSlope, P, b)],
        // Half from the one end, half from the other.
        vec![(Azimuth, P, b), (Slope, b, P), (Inclination, P, b)],
        vec![(Azimuth, b, P), (Slope, P, b), (Inclination, b, P)],
        // Lines that cross.
        vec![(Azimuth, a, P), (Azimuth, b, P), (Inclination, b, P)],
        vec![(Azimuth, a, P), (Azimuth, P, c), (Inclination, P, a)],
        vec![(Horizontal, a, P), (Horizontal, b, P), (Horizontal, c, P), (Inclination, c, P)],
        vec![(Horizontal, P, a), (Horizontal, b, P), (Horizontal, P, c), (Vertical, P, c)],
        vec![(Azimuth, a, P), (Horizontal, b, P), (Horizontal, c, P), (Vertical, b, P)],
        // A resection.
        vec![(Direction, P, a), (Direction, P, b), (Direction, P, c), (Inclination, P, a)],
        vec![(Direction, P, a), (Direction, P, b), (Horizontal, P, a), (Horizontal, P, c), (Inclination, P, b)],
        // In space: slope distances of which not all have an inclination beside them.
        vec![(Slope, a, P), (Slope, b, P), (Slope, c, P), (Inclination, a, P)],
        vec![(Slope, P, a), (Slope, P, b), (Slope, P, c), (Inclination, P, c)],
        vec![(Slope, a, P), (Slope, b, P), (Slope, c, P), (HeightDifference, b, P)],
        vec![(Slope, a, P), (Slope, b, P), (Slope, c, P), (Vertical, P, b)],
        // A slope distance is lowered by the height that another neighbour gives.
        vec![(Slope, a, P), (Inclination, a, P), (Slope, b, P), (Horizontal, c, P)],
    ];
    for up in [45.0, -60.0] {
        for readings in &ways {
            let (ground, starts) = started([70.0, 60.0, up], readings);
            let Some(got) = starts.positions[P] else { panic!("{readings:?}: {:?}", starts.notes) };
            let off = ground.frame(P).from_earth_centred(got);
            // A slope distance is levelled by the rise of the ground, not of the sight (1.1 m · 60 / 92), and by an inclination that was read at
            // the other end over other heights.
            let has = |wanted: &[Kind]| readings.iter().any(|(kind, ..)| wanted.contains(kind));
            let crossed = readings.iter().any(|(kind, from, to)| *kind == Slope && readings.contains(&(Inclination, *to, *from)));
            let of_ground = crossed || has(&[Vertical, VerticalWithSlope, HeightDifference]) && has(&[Slope]);
            let within = if of_ground { 1.5 } else { PLANE_M };
            assert!(off.iter().all(|metres| metres.abs() < within), "{readings:?}, {up} m up: {off:?}");
            assert!(starts.has_height[P] && starts.notes.is_empty(), "{readings:?}");
            if readings.iter().any(|(kind, from, _)| (*kind, *from) == (Kind::Direction, P)) {
                assert!((starts.directions[P].unwrap() - 1.0).abs() < 1e-3, "{readings:?}");
            }
        }
    }
}

#[test]
fn a_place_without_a_height_is_at_the_level_of_a_base() {
    use Kind::*;
    let ways: Vec<(Readings, usize)> = vec![
        (vec![(Azimuth, 0, P), (Horizontal, 0, P)], 0),
        (vec![(Azimuth, 1, P), (Horizontal, 1, P)], 1),
        (vec![(Azimuth, 0, P), (Azimuth, 1, P)], 0),
        (vec![(Horizontal, 0, P), (Horizontal, 1, P), (Horizontal, 2, P)], 0),
        (vec![(Direction, P, 0), (Direction, P, 1), (Direction, P, 2)], 0),
    ];
    for (readings, level) in ways {
        let (ground, starts) = started([70.0, 60.0, 25.0], &readings);
        let got = starts.positions[P].unwrap();
        let [east, north, _] = ground.frame(P).from_earth_centred(got);
        assert!(east.hypot(north) < PLANE_M && !starts.has_height[P], "{readings:?}: {east} {north}");
        // Over 100 m the horizon rises by 0.8 mm from the level.
        assert!((ground.height_m(got) - ground.height_m(ground.truth[level])).abs() < 2e-3, "{readings:?}");
    }
}

#[test]
fn a_plumb_shot_is_raised_along_its_slope() {
    // 40 m straight up from A: its tangent says nothing, the slope does.
    let (ground, starts) =
        started([0.3, 0.2, 40.0], &vec![(Kind::Azimuth, 0, P), (Kind::Slope, 0, P), (Kind::Inclination, 0, P)]);
    let off = ground.frame(P).from_earth_centred(starts.positions[P].unwrap());
    assert!(off.iter().all(|metres| metres.abs() < PLANE_M), "{off:?}");
}

#[test]
fn of_several_shots_the_one_nearest_to_the_others() {
    // Shots from three bases; that of A, which comes first, is 9 m too short.
    let mut ground = Ground::with([70.0, 60.0, 25.0]);
    for base in 0..3 {
        [Kind::Azimuth, Kind::Slope, Kind::Inclination].into_iter().for_each(|kind| ground.read(kind, base, P));
    }
    ground.network.observations[1].value -= 9.0;
    let off = ground.frame(P).from_earth_centred(ground.start().positions[P].unwrap());
    assert!(off.iter().all(|metres| metres.abs() < PLANE_M), "{off:?}");
}

#[test]
fn what_is_lacking_is_counted() {
    let text = |readings: &Readings| started([70.0, 60.0, 25.0], readings).1.notes[0].text.clone();
    let fixes = "to placed stations do not fix it";
    let one = text(&vec![(Kind::Horizontal, 0, P)]);
    assert!(one.starts_with(&format!("Station P: 1 distance {fixes}")), "{one}");
    // Two lines that are one: to a base and back.
    let (mut ground, _) = started([70.0, 60.0, 25.0], &vec![(Kind::Azimuth, 0, P), (Kind::Direction, P, 1)]);
    let of = |ground: &Ground| ground.start().notes[0].text.clone();
    assert!(of(&ground).starts_with(&format!("Station P: 2 bearings {fixes}")), "{}", of(&ground));
    // A distance that is far too short to meet the line.
    ground.network.observations.truncate(1);
    ground.read(Kind::Horizontal, 1, P);
    ground.network.observations[1].value = 20.0;
    assert!(of(&ground).starts_with(&format!("Station P: 1 bearing and 1 distance {fixes}")), "{}", of(&ground));
    ground.network.observations[0].kind = Kind::Horizontal;
    ground.network.observations[0].value = 20.0;
    assert!(of(&ground).starts_with(&format!("Station P: 2 distances {fixes}")), "{}", of(&ground));
}
