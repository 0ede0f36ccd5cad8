//! Every form of a network, from readings without error: the truth must come back, whatever the way.

use crate::networks;
use crate::networks::{COMPASS, GNSS, Site, horizontal};
use standoff::inside::geodesy::covariance::Covariance;
use standoff::inside::geodesy::frame::{Ellipsoid, Geodetic};
use standoff::inside::geodesy::register::{BaseErrors, Origin};
use standoff::inside::records::triangle::Triangle;
use standoff::inside::shots::located::correlated;
use standoff::inside::shots::reduce::{Sight, SightSigmas, reduce};
use standoff::network::{
    Adjustment, Kind, NoteKind, Rangefinder, ReadingErrors, Role, Settings, Sides, SightLine, adjust, components, readings,
};

/// A hundredth of a millimetre: rest of the iteration and rounding of earth-centred coordinates, of readings without error.
const EXACT_M: f64 = 1e-5;

/// A millimetre: what a height wrong by 30 m moves a point 200 m off, since verticals are not parallel (30 · 200 / R).
const LEVEL_M: f64 = 1e-3;

/// A tenth of a millimetre, the agreement asked of the two ways to one point.
const BOTH_WAYS_M: f64 = 1e-4;

const FIXED: Covariance = Covariance { ee: 0.0, en: 0.0, eu: 0.0, nn: 0.0, nu: 0.0, uu: 0.0 };

fn solve(site: &Site) -> Adjustment {
    adjust(&site.network, &Settings::default()).unwrap()
}

/// All stations come back to the truth; `flat` ones in plane only.
fn at_truth(site: &Site, adjustment: &Adjustment, flat: &[usize]) {
    let named = |s: usize| site.network.observations.iter().any(|o| o.from == s || o.to == s);
    for s in (0..site.truth.len()).filter(|s| named(*s)) {
        let station = adjustment.station(s).unwrap_or_else(|| panic!("station {s}: {:?}", adjustment.notes));
        let error = site.error(s, station.position);
        assert_eq!(station.has_height, !flat.contains(&s), "{s}");
        let exact = if flat.contains(&s) { LEVEL_M } else { EXACT_M };
        assert!(horizontal(error) < exact, "{s}: {error:?}");
        assert!(flat.contains(&s) || error[2].abs() < EXACT_M, "{s}: {error:?}");
    }
}

#[test]
fn one_shot_is_the_closed_form() {
    for (azimuth, up) in [(0.3, 20.0), (2.0, -150.0), (5.9, 0.0)] {
        let mut site = Site::new(1);
        let base = site.known("B1", [10.0, 20.0, 5.0], GNSS);
        site.network.stations[base].sigma_orientation_rad = 0.006;
        let (sin, cos) = f64::sin_cos(azimuth);
        let point = site.point("P1", [10.0 + 400.0 * sin, 20.0 + 400.0 * cos, up]);
        let first = site.shoot(base, point, COMPASS, 0.0);
        assert_eq!(components(&site.network), [Role::Alone, Role::Polar { from: base }]);
        let solved = solve(&site);
        let station = solved.station(point).unwrap();
        assert!(!station.checked && solved.solved[0].global.redundancy == 0);

        let shot = &site.network.observations[first..];
        let at = Geodetic::from_earth_centred(site.truth[base], &Ellipsoid::WGS84);
        let sight = Sight {
            true_azimuth_rad: shot[0].value,
            triangle: Triangle::Slope { slope_m: shot[2].value, inclination_rad: shot[1].value },
            instrument_height_m: 1.5,
            target_height_m: 0.4,
            refraction: networks::REFRACTION,
        };
        let sigmas = SightSigmas {
            azimuth_rad: COMPASS.azimuth_rad,
            inclination_rad: COMPASS.inclination_rad,
            distance_m: COMPASS.slope_m,
        };
        let vector = reduce(&sight, &sigmas, Ellipsoid::WGS84.mean_radius_m(at.lat_rad));
        let frame = networks::frame(site.truth[base]);
        let closed = frame.to_earth_centred([vector.east_m, vector.north_m, vector.up_m.unwrap()]);
        let radius = Ellipsoid::WGS84.mean_radius_m(at.lat_rad);
        let origin = Origin {
            label: "B1".to_string(),
            frame,
            ellipsoid: Ellipsoid::WGS84,
            errors: BaseErrors::from_covariance(0, &GNSS, 0.006),
            earth_radius_m: radius,
        };
        // In the axes at the point, as the network has it.
        let covariance = correlated(&[origin], &[(0, &vector)]).unwrap().covariance_of(0);
        for k in 0..3 {
            assert!((closed[k] - station.position[k]).abs() < BOTH_WAYS_M);
        }
        same_sigmas(&covariance, &station.covariance);

        // A point carried from the adjusted base is the same again.
        let (carried, covariance) = solved.solved[0].carry(base, &vector).unwrap();
        for k in 0..3 {
            assert!((carried[k] - station.position[k]).abs() < BOTH_WAYS_M);
        }
        same_sigmas(&covariance, &station.covariance);
    }
}

/// Every way of giving a shot, through the closed form and through the network. At 60 m, where what is
/// left out of refraction is below a hundredth of a millimetre.
#[test]
fn every_triangle_both_ways() {
    let (slope_m, inclination_rad) = (60.0, 0.4f64);
    let (horizontal_m, vertical_m) = (slope_m * inclination_rad.cos(), slope_m * inclination_rad.sin());
    for triangle in [
        Triangle::Slope { slope_m, inclination_rad },
        Triangle::Horizontal { horizontal_m, inclination_rad },
        Triangle::HorizontalVertical { horizontal_m, vertical_m },
        Triangle::SlopeVertical { slope_m, vertical_m },
        Triangle::Level { horizontal_m },
    ] {
        let mut site = Site::new(1);
        let base = site.known("B1", [10.0, 20.0, 5.0], GNSS);
        site.network.stations[base].sigma_orientation_rad = 0.006;
        let point = site.point("P1", [0.0; 3]);
        let sight = Sight { true_azimuth_rad: 2.2, triangle, instrument_height_m: 1.6, target_height_m: 0.2, refraction: 0.13 };
        let sigmas = SightSigmas { azimuth_rad: 0.004, inclination_rad: 0.003, distance_m: 0.2 };
        let line = SightLine { from: base, to: point, has_free_circle: false, instrument: None, source: 0 };
        let errors = ReadingErrors {
            sigma_azimuth_rad: sigmas.azimuth_rad,
            sigma_inclination_rad: sigmas.inclination_rad,
            sigma_distance_m: sigmas.distance_m,
            ..ReadingErrors::default()
        };
        site.network.observations = readings(&line, &Sides::from(&sight), &errors).collect();
        let solved = solve(&site);
        let station = solved.station(point).unwrap();
        let frame = networks::frame(site.truth[base]);
        let earth_radius_m = Ellipsoid::WGS84.mean_radius_m(46.5f64.to_radians());
        let vector = reduce(&sight, &sigmas, earth_radius_m);
        let [e, n, u] = frame.from_earth_centred(station.position);
        assert!((e - vector.east_m).abs() < BOTH_WAYS_M && (n - vector.north_m).abs() < BOTH_WAYS_M, "{triangle:?}");
        assert_eq!(station.has_height, vector.up_m.is_some());
        assert!((u - vector.up_m.unwrap_or(u)).abs() < BOTH_WAYS_M, "{triangle:?} {u} {vector:?}");
        let all =
            GNSS + vector.direction + vector.distance + Covariance::from_arm(vector.by_azimuth_m().map(|metres| metres * 0.006));
        let level = Covariance { eu: 0.0, nu: 0.0, uu: 0.0, ..all };
        same_sigmas(if station.has_height { &all } else { &level }, &station.covariance);
    }
}

/// Standard errors along the axes and along their diagonals.
fn same_sigmas(a: &Covariance, b: &Covariance) {
    let along = |c: &Covariance, [e, n, u]: [f64; 3]| {
        (c.ee * e * e + c.nn * n * n + c.uu * u * u + 2.0 * (c.en * e * n + c.eu * e * u + c.nu * n * u)).sqrt()
    };
    for way in [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [0.7, 0.7, 0.0], [0.7, 0.0, 0.7], [0.0, 0.7, -0.7]] {
        assert!((along(a, way) - along(b, way)).abs() < BOTH_WAYS_M, "{way:?}: {a:?} {b:?}");
    }
}

#[test]
fn a_point_carried_from_a_checked_base_is_the_point_in_the_network() {
    let mut site = crate::networks::random(11, 3, 12, 1.0);
    let base = 4;
    let hung = site.point("H", [200.0, 260.0, 10.0]);
    let first = site.shoot(base, hung, COMPASS, 1.0);
    assert_eq!(components(&site.network)[hung], Role::Polar { from: base });
    assert!(matches!(components(&site.network)[base], Role::Network { redundant: true, .. }));
    let solved = solve(&site);
    let with = solved.station(hung).unwrap().clone();
    assert!(!with.checked && solved.station(base).unwrap().checked);
    let shot: Vec<_> = site.network.observations.drain(first..).collect();
    let without = solve(&site);
    let sight = Sight {
        true_azimuth_rad: shot[0].value,
        triangle: Triangle::Slope { slope_m: shot[2].value, inclination_rad: shot[1].value },
        instrument_height_m: 1.5,
        target_height_m: 0.4,
        refraction: networks::REFRACTION,
    };
    let sigmas =
        SightSigmas { azimuth_rad: COMPASS.azimuth_rad, inclination_rad: COMPASS.inclination_rad, distance_m: COMPASS.slope_m };
    let vector = reduce(&sight, &sigmas, Ellipsoid::WGS84.mean_radius_m(46.5f64.to_radians()));
    let (carried, covariance) = without.component_with(base).unwrap().carry(base, &vector).unwrap();
    for k in 0..3 {
        assert!((carried[k] - with.position[k]).abs() < BOTH_WAYS_M, "{carried:?} {:?}", with.position);
    }
    same_sigmas(&covariance, &with.covariance);
}

#[test]
fn repeated_shots_are_the_mean() {
    let mut site = Site::new(2);
    let base = site.known("B1", [0.0; 3], FIXED);
    let point = site.point("P1", [80.0, 60.0, 0.0]);
    for noise in [1.0, -1.0, 2.0] {
        site.read(Kind::Azimuth, base, point, 0.001, 0.0);
        site.read(Kind::Horizontal, base, point, 0.03, noise);
    }
    let solved = solve(&site);
    let station = solved.station(point).unwrap();
    // Mean of +1, −1 and +2 times 3 cm: 2 cm along the sight, 3 cm / √3 standard error.
    let error = site.error(point, station.position);
    assert!((error[0] - 0.016).abs() < EXACT_M && (error[1] - 0.012).abs() < EXACT_M, "{error:?}");
    let along = 0.64 * station.covariance.ee + 0.36 * station.covariance.nn + 2.0 * 0.48 * station.covariance.en;
    assert!((along.sqrt() - 0.03 / 3f64.sqrt()).abs() < EXACT_M);
    assert_eq!(solved.solved[0].global.redundancy, 4);
    assert!(!station.has_height);
}

#[test]
fn intersections() {
    for kinds in [
        vec![(0, Kind::Azimuth), (1, Kind::Azimuth)],
        vec![(0, Kind::Horizontal), (1, Kind::Horizontal), (2, Kind::Horizontal)],
        vec![(0, Kind::Azimuth), (1, Kind::Horizontal), (2, Kind::Azimuth)],
        vec![(0, Kind::Horizontal), (0, Kind::Azimuth)],
        vec![(0, Kind::Azimuth), (1, Kind::Azimuth), (1, Kind::Inclination)],
        vec![(0, Kind::Azimuth), (1, Kind::Azimuth), (1, Kind::HeightDifference)],
        vec![(0, Kind::Horizontal), (1, Kind::Azimuth), (2, Kind::Horizontal), (2, Kind::Vertical)],
        vec![(0, Kind::Slope), (0, Kind::Azimuth), (0, Kind::VerticalWithSlope)],
    ] {
        let mut site = Site::new(3);
        for (label, place) in [("B1", [0.0, 0.0, 4.0]), ("B2", [200.0, 10.0, -6.0]), ("B3", [90.0, 210.0, 11.0])] {
            site.known(label, place, FIXED);
        }
        let point = site.point("P1", [110.0, 95.0, 30.0]);
        for (base, kind) in &kinds {
            site.read(*kind, *base, point, if matches!(kind, Kind::Azimuth | Kind::Inclination) { 0.002 } else { 0.05 }, 0.0);
        }
        let flat = !kinds
            .iter()
            .any(|(_, k)| matches!(k, Kind::Inclination | Kind::Vertical | Kind::VerticalWithSlope | Kind::HeightDifference));
        let solved = solve(&site);
        at_truth(&site, &solved, if flat { &[3] } else { &[] });
        let told = solved.solved[0].notes.iter().any(|n| n.kind == NoteKind::NoHeight && n.stations == [point]);
        assert_eq!(told, flat, "{kinds:?}: {:?}", solved.solved[0].notes);
    }
}

#[test]
fn resections() {
    for kinds in [
        vec![(0, Kind::Direction), (1, Kind::Direction), (2, Kind::Direction)],
        vec![(0, Kind::Horizontal), (1, Kind::Horizontal), (2, Kind::Horizontal)],
        vec![(0, Kind::Direction), (1, Kind::Direction), (1, Kind::Horizontal), (0, Kind::Horizontal)],
        vec![(0, Kind::Azimuth), (1, Kind::Azimuth)],
        vec![(2, Kind::Azimuth), (2, Kind::Horizontal)],
        vec![(0, Kind::Direction), (1, Kind::Direction), (2, Kind::Direction), (2, Kind::Inclination)],
    ] {
        let mut site = Site::new(4);
        for (label, place) in [("K1", [0.0, 0.0, 4.0]), ("K2", [200.0, 10.0, -6.0]), ("K3", [90.0, 210.0, 11.0])] {
            site.known(label, place, FIXED);
        }
        let base = site.point("B1", [60.0, 55.0, 30.0]);
        site.orientations[base] = [0.0, 1.234];
        for (target, kind) in &kinds {
            site.read(*kind, base, *target, if kind == &Kind::Horizontal { 0.05 } else { 0.002 }, 0.0);
        }
        let flat = !kinds.iter().any(|(_, k)| *k == Kind::Inclination);
        let solved = solve(&site);
        assert!(solved.solved.len() == 1, "{kinds:?} {:?}", solved.notes);
        at_truth(&site, &solved, if flat { &[3] } else { &[] });
        if let Some(found) = solved.station(base).unwrap().direction_orientation {
            assert!((found.value - 1.234).abs() < 1e-7, "{found:?}");
        }
    }
}

#[test]
fn steep_shots_to_the_plumb_line() {
    for (e, n) in [(0.0, 0.0), (0.5, -0.3), (0.001, 0.0)] {
        let mut site = Site::new(7);
        let base = site.known("B1", [0.0; 3], GNSS);
        site.network.stations[base].sigma_orientation_rad = 0.006;
        let point = site.point("P1", [e, n, 25.0]);
        site.shoot(base, point, COMPASS, 0.0);
        site.shoot(base, point, COMPASS, 1.0);
        let solved = solve(&site);
        let station = solved.station(point).unwrap_or_else(|| panic!("{:?}", solved.notes));
        let error = site.error(point, station.position);
        // Four standard errors of the place: 24 m times 0.003 in plane, 0.15 m along the sight.
        assert!(horizontal(error) < 4.0 * 24.0 * 0.003 && error[2].abs() < 0.6, "{error:?}");
        assert!(station.covariance.ee.is_finite() && station.covariance.ee > 0.0);
    }
    // An azimuth alone of a sight straight up is left out, and told.
    let mut site = Site::new(7);
    let base = site.known("B1", [0.0; 3], FIXED);
    let other = site.known("B2", [50.0, 0.0, 0.0], FIXED);
    let point = site.point("P1", [0.0, 0.0, 4.0]);
    site.shoot(other, point, COMPASS, 0.0);
    site.read(Kind::Azimuth, base, point, 0.005, 0.0);
    let solved = solve(&site);
    assert!(solved.notes.iter().any(|n| n.kind == NoteKind::AzimuthOfPlumbSight), "{:?}", solved.notes);
    assert!(horizontal(site.error(point, solved.station(point).unwrap().position)) < EXACT_M);
}

#[test]
fn an_instrument_with_a_constant_and_a_scale() {
    let mut site = crate::networks::random(21, 3, 15, 0.0);
    site.network.instruments.push(Rangefinder {
        label: "R1".to_string(),
        sigma_scale: f64::INFINITY,
        sigma_constant_m: f64::INFINITY,
    });
    for o in &mut site.network.observations {
        if o.kind == Kind::Slope {
            o.instrument = Some(0);
            o.value = o.value * 1.002 + 0.3;
        }
    }
    let solved = solve(&site);
    at_truth(&site, &solved, &[]);
    let found = &solved.solved[0].instruments[0];
    assert!((found.scale.unwrap().value - 0.002).abs() < 1e-7, "{found:?}");
    assert!((found.constant_m.unwrap().value - 0.3).abs() < EXACT_M, "{found:?}");
}

#[test]
fn joint_covariance_of_two_points() {
    let site = crate::networks::random(31, 3, 10, 1.0);
    let solved = solve(&site);
    let (a, b) = (9, 12);
    let correlated = solved.component_with(a).unwrap().correlated_points(&[a, b]).unwrap();
    same_sigmas(&correlated.covariance_of(0), &solved.station(a).unwrap().covariance);
    same_sigmas(&correlated.covariance_of(1), &solved.station(b).unwrap().covariance);
    // What they share cancels in their distance: a new base error of 10 m for all would not move it. Here it is enough
    // that the distance is better known than two independent points would have it.
    let length = |p: &[[f64; 3]]| (0..3).map(|k| (p[0][k] - p[1][k]).powi(2)).sum::<f64>().sqrt();
    let distance = correlated.estimate(length);
    let truth: f64 = (0..3).map(|k| (site.truth[a][k] - site.truth[b][k]).powi(2)).sum::<f64>().sqrt();
    assert!((distance.value - truth).abs() < 4.0 * distance.sigma, "{distance:?} {truth}");
    assert!(solved.component_with(a).unwrap().correlated_points(&[a, 10_000]).is_none());
}

#[test]
fn sigmas_of_a_rangefinder_do_not_need_a_compass() {
    // Slope distances alone to a rough position.
    let mut site = Site::new(8);
    for (label, place) in [("B1", [0.0, 0.0, 0.0]), ("B2", [90.0, 0.0, 3.0]), ("B3", [30.0, 80.0, -2.0])] {
        site.known(label, place, FIXED);
    }
    let point = site.point("P1", [40.0, 30.0, 50.0]);
    site.network.stations[point].start = Some(site.frame.to_earth_centred([45.0, 33.0, 40.0]));
    for base in 0..3 {
        site.read(Kind::Slope, base, point, 0.05, 0.0);
    }
    at_truth(&site, &solve(&site), &[]);
}

/// Bases on rolling ground about a tower, its top 60 m over them and nearly over one of them.
fn tower(seed: u64, noise: f64, inclination_from: Option<usize>) -> (Site, usize) {
    let mut site = Site::new(seed);
    let around = [[60.0, 0.0, 0.0], [5.0, 70.0, 3.0], [-65.0, 10.0, -2.0], [-5.0, -55.0, 4.0], [80.0, 60.0, 1.0]];
    let bases: Vec<usize> = around.iter().enumerate().map(|(k, at)| site.known(&format!("B{}", k + 1), *at, GNSS)).collect();
    let turn: Vec<f64> = (0..2).map(|_| 30.0 * (networks::uniform(&mut site.normal) - 0.5)).collect();
    let top = site.point("T", [turn[0], turn[1], 60.0]);
    for base in &bases[..4] {
        let off = noise * site.normal.next();
        site.read(Kind::Slope, *base, top, 0.15, off);
    }
    if let Some(base) = inclination_from {
        let off = noise * site.normal.next();
        site.read(Kind::Inclination, bases[base], top, 0.003, off);
    }
    (site, top)
}

#[test]
fn slope_distances_and_one_inclination_to_a_high_point() {
    // The inclination beside one of the distances, and from a base of its own.
    for from in [0, 2, 4] {
        let (site, top) = tower(3, 0.0, Some(from));
        let solved = solve(&site);
        assert!(solved.notes.is_empty(), "{:?}", solved.notes);
        let error = site.error(top, solved.station(top).unwrap().position);
        assert!(horizontal(error) < EXACT_M && error[2].abs() < EXACT_M, "{error:?}");
    }
    // With the errors of the readings: every one of 300 is placed, and none farther off than six standard errors.
    for seed in 0..300 {
        let (site, top) = tower(seed, 1.0, Some(seed as usize % 5));
        let solved = solve(&site);
        let station = solved.station(top).unwrap_or_else(|| panic!("{seed}: {:?}", solved.notes));
        let error = site.error(top, station.position);
        let c = station.covariance;
        for (off, variance) in error.into_iter().zip([c.ee, c.nn, c.uu]) {
            assert!(off.abs() < 6.0 * variance.sqrt(), "{seed}: {error:?} {c:?}");
        }
    }
}

#[test]
fn slope_distances_alone_to_a_high_point_leave_two_places() {
    let (mut site, top) = tower(3, 0.0, None);
    // On level ground the place under them fits exactly.
    for base in 0..4 {
        let [e, n, _] = site.frame.from_earth_centred(site.truth[base]);
        site.truth[base] = site.frame.to_earth_centred([e, n, 0.0]);
        site.network.stations[base].control.as_mut().unwrap().position = site.truth[base];
    }
    for i in 0..site.network.observations.len() {
        let o = site.network.observations[i];
        site.network.observations[i].value = site.true_value(o.kind, o.from, o.to, [o.instrument_height_m, o.target_height_m]);
    }
    let solved = solve(&site);
    assert!(solved.station(top).is_none());
    assert_eq!(
        solved.notes[0].text,
        "Station T: two places fit its slope distances equally, one over the other. Read an inclination, or give a rough position."
    );
    // From bases that lie at several heights themselves they have one place.
    let mut site = Site::new(3);
    let around = [[60.0, 0.0, 0.0], [5.0, 70.0, 45.0], [-65.0, 10.0, -30.0], [-5.0, -55.0, 20.0]];
    let bases: Vec<usize> = around.iter().map(|at| site.known("B", *at, GNSS)).collect();
    let top = site.point("T", [4.0, -7.0, 60.0]);
    bases.iter().for_each(|base| {
        site.read(Kind::Slope, *base, top, 0.15, 0.0);
    });
    let solved = solve(&site);
    let station = solved.station(top).unwrap_or_else(|| panic!("{:?}", solved.notes));
    let error = site.error(top, station.position);
    assert!(station.has_height && horizontal(error) < EXACT_M && error[2].abs() < EXACT_M, "{error:?}");
}

#[test]
fn a_slope_distance_is_lowered_by_a_height_that_another_shot_gives() {
    // Two distances and an inclination beside one of them, and an azimuth to choose: 50 m up, 60 m off.
    let mut site = Site::new(3);
    let a = site.known("A", [0.0; 3], GNSS);
    let b = site.known("B", [80.0, 0.0, 0.0], GNSS);
    let top = site.point("T", [40.0, 45.0, 50.0]);
    site.read(Kind::Slope, a, top, 0.15, 0.0);
    site.read(Kind::Inclination, a, top, 0.003, 0.0);
    site.read(Kind::Slope, b, top, 0.15, 0.0);
    site.read(Kind::Azimuth, b, top, 0.005, 0.0);
    let solved = solve(&site);
    at_truth(&site, &solved, &[]);
}
