//! Poor geometry, missing readings and defects of datum: refused or flagged by name, and the rest solved.

use crate::networks::{COMPASS, Site, horizontal};
use standoff::inside::geodesy::covariance::Covariance;
use standoff::network::{Adjustment, Kind, NoteKind, Settings, adjust};

const FIXED: Covariance = Covariance { ee: 0.0, en: 0.0, eu: 0.0, nn: 0.0, nu: 0.0, uu: 0.0 };

fn solve(site: &Site) -> Adjustment {
    adjust(&site.network, &Settings::default()).unwrap()
}

/// Two bases 100 m apart and a point on the bisector, seen under an angle.
fn crossing(angle_deg: f64) -> (Site, usize) {
    let mut site = Site::new(1);
    let a = site.known("B1", [-50.0, 0.0, 0.0], FIXED);
    let b = site.known("B2", [50.0, 0.0, 0.0], FIXED);
    let point = site.point("P1", [0.0, 50.0 / (0.5 * angle_deg).to_radians().tan(), 0.0]);
    site.read(Kind::Azimuth, a, point, 0.001, 0.0);
    site.read(Kind::Azimuth, b, point, 0.001, 0.0);
    (site, point)
}

#[test]
fn crossing_angles() {
    for (angle, want) in [
        (90.0, None),
        (31.0, None),
        (149.0, None),
        (29.0, Some(NoteKind::GeometryPoor)),
        (151.0, Some(NoteKind::GeometryPoor)),
        (11.0, Some(NoteKind::GeometryPoor)),
        (9.0, Some(NoteKind::GeometryRefused)),
        (171.0, Some(NoteKind::GeometryRefused)),
    ] {
        let (site, point) = crossing(angle);
        let solved = solve(&site);
        assert_eq!(solved.notes.first().map(|n| n.kind), want, "{angle}: {:?}", solved.notes);
        assert_eq!(solved.station(point).is_some(), want != Some(NoteKind::GeometryRefused), "{angle}");
    }
    let (site, _) = crossing(9.0);
    assert_eq!(
        solve(&site).notes[0].text,
        "Point P1: its best lines, from B1 and B2, cross at 9.0°: that fixes nothing, and it is left out. Sight it from another side."
    );
}

#[test]
fn a_refused_point_does_not_spoil_the_others() {
    let (mut site, _) = crossing(5.0);
    let good = site.point("P2", [10.0, 60.0, 0.0]);
    for base in [0, 1] {
        site.shoot(base, good, COMPASS, 0.0);
    }
    let solved = solve(&site);
    assert!(horizontal(site.error(good, solved.station(good).unwrap().position)) < 1e-5);
    assert!(solved.station(2).is_none());
}

/// A base on directions to three points on a circle of radius 100 m about the origin, the base at a radius.
fn resection(radius: f64) -> (Site, usize) {
    let mut site = Site::new(2);
    for (label, azimuth) in [("K1", 20.0f64), ("K2", 110.0), ("K3", 190.0)] {
        let (sin, cos) = azimuth.to_radians().sin_cos();
        site.known(label, [100.0 * sin, 100.0 * cos, 0.0], FIXED);
    }
    let (sin, cos) = 290f64.to_radians().sin_cos();
    let base = site.point("B1", [radius * sin, radius * cos, 0.0]);
    site.network.stations[base].start = Some(site.truth[base]);
    for target in 0..3 {
        site.read(Kind::Direction, base, target, 0.0005, 0.0);
    }
    (site, base)
}

#[test]
fn the_danger_circle() {
    for (radius, want) in [
        (20.0, None),
        (50.0, None),
        (400.0, Some(NoteKind::GeometryPoor)),
        (93.0, Some(NoteKind::GeometryPoor)),
        (100.0, Some(NoteKind::GeometryRefused)),
        (100.5, Some(NoteKind::GeometryRefused)),
    ] {
        let (site, base) = resection(radius);
        let solved = solve(&site);
        assert_eq!(solved.notes.first().map(|n| n.kind), want, "{radius}: {:?}", solved.notes);
        assert_eq!(solved.station(base).is_some(), want != Some(NoteKind::GeometryRefused), "{radius}");
    }
    let (site, _) = resection(100.0);
    assert_eq!(
        solve(&site).notes[0].text,
        "Base B1: K1, K2 and K3 lie with it on one circle, the danger circle, or nearly so. It is left out: sight another known \
         point, or measure a distance."
    );
    let (site, _) = resection(400.0);
    assert!(solve(&site).notes[0].text.contains("are seen from it within too narrow an angle"));
    // A distance mends it.
    let (mut site, base) = resection(100.0);
    site.read(Kind::Horizontal, base, 0, 0.05, 0.0);
    let solved = solve(&site);
    assert!(solved.station(base).is_some(), "{:?}", solved.notes);
}

#[test]
fn known_points_in_one_line_with_the_base() {
    let mut site = Site::new(3);
    for (label, north) in [("K1", 100.0), ("K2", 250.0), ("K3", -80.0)] {
        site.known(label, [0.0, north, 0.0], FIXED);
    }
    let base = site.point("B1", [0.0, 0.0, 0.0]);
    site.network.stations[base].start = Some(site.truth[base]);
    for target in 0..3 {
        site.read(Kind::Direction, base, target, 0.0005, 0.0);
    }
    let solved = solve(&site);
    assert_eq!(solved.notes[0].kind, NoteKind::GeometryRefused);
    assert!(solved.notes[0].text.contains("stand in one line with it"), "{}", solved.notes[0].text);
}

#[test]
fn defects_of_datum_are_named() {
    // No known position, with rough positions to start from.
    let mut site = Site::new(4);
    for (label, place) in [("B1", [0.0, 0.0, 0.0]), ("B2", [100.0, 0.0, 0.0]), ("P1", [50.0, 80.0, 0.0])] {
        let s = site.point(label, place);
        site.network.stations[s].start = Some(site.truth[s]);
    }
    for (a, b) in [(0, 1), (1, 0), (0, 2), (1, 2)] {
        site.shoot(a, b, COMPASS, 0.0);
    }
    let solved = solve(&site);
    assert!(solved.solved.is_empty());
    assert_eq!(
        solved.notes[0].text,
        "B1, B2 and P1 have no GNSS base and no known point among them: nothing ties them to the datum. Add one."
    );
    // One known position and distances only.
    let mut site = Site::new(4);
    site.known("B1", [0.0, 0.0, 0.0], FIXED);
    for (label, place) in [("B2", [100.0, 0.0, 0.0]), ("P1", [50.0, 80.0, 0.0])] {
        let s = site.point(label, place);
        site.network.stations[s].start = Some(site.truth[s]);
    }
    for (a, b) in [(0, 1), (1, 0), (0, 2), (1, 2)] {
        site.read(Kind::Horizontal, a, b, 0.05, 0.0);
    }
    let solved = solve(&site);
    assert!(solved.solved.is_empty() && solved.notes[0].kind == NoteKind::DatumDefect, "{:?}", solved.notes);
    assert!(solved.notes[0].text.contains("they can turn about it"), "{}", solved.notes[0].text);
}

#[test]
fn what_cannot_be_started_is_named_with_what_it_lacks() {
    let mut site = Site::new(5);
    let base = site.known("B1", [0.0; 3], FIXED);
    let other = site.known("B2", [100.0, 0.0, 0.0], FIXED);
    let one = site.point("P1", [50.0, 50.0, 0.0]);
    let two = site.point("P2", [50.0, 70.0, 0.0]);
    let far = site.point("P3", [50.0, 90.0, 0.0]);
    site.read(Kind::Azimuth, base, one, 0.005, 0.0);
    site.read(Kind::Horizontal, base, two, 0.1, 0.0);
    site.read(Kind::Horizontal, other, two, 0.1, 0.0);
    site.shoot(one, far, COMPASS, 0.0);
    let texts: Vec<String> = solve(&site).notes.iter().map(|n| n.text.clone()).collect();
    assert_eq!(
        texts,
        [
            "Station P1: 1 bearing to placed stations do not fix it. It needs an azimuth and a distance from one base, two azimuths that \
             cross, two distances and an azimuth, or directions to three known points.",
            "Station P2: two places fit its readings equally. Add a distance or an azimuth, or give a rough position.",
            "Station P3: none of its 1 sighted stations has a position. Tie one of them to a GNSS base or a known point.",
        ]
    );
}

#[test]
fn a_station_that_its_readings_do_not_fix_is_left_out_and_the_rest_solved() {
    let mut site = Site::new(6);
    let base = site.known("B1", [0.0; 3], FIXED);
    let point = site.point("P1", [60.0, 50.0, 5.0]);
    site.shoot(base, point, COMPASS, 0.0);
    site.shoot(base, point, COMPASS, 0.0);
    // A rough position and one distance.
    let loose = site.point("P2", [-40.0, 50.0, 0.0]);
    site.network.stations[loose].start = Some(site.truth[loose]);
    site.read(Kind::Horizontal, base, loose, 0.1, 0.0);
    let solved = solve(&site);
    assert!(solved.notes.iter().any(|n| n.kind == NoteKind::Singular && n.stations == [loose]), "{:?}", solved.notes);
    assert!(horizontal(site.error(point, solved.station(point).unwrap().position)) < 1e-5);
}

#[test]
fn numbers_that_make_no_sense_are_refused() {
    let good = || {
        let mut site = Site::new(7);
        let base = site.known("B1", [0.0; 3], FIXED);
        let point = site.point("P1", [60.0, 50.0, 5.0]);
        site.shoot(base, point, COMPASS, 0.0);
        site.network
    };
    let text = |network: &standoff::network::Network| adjust(network, &Settings::default()).unwrap_err().to_string();
    let mut network = good();
    network.observations[0].sigma = 0.0;
    assert_eq!(text(&network), "The azimuth from B1 to P1 has the standard error 0; it must be above 0.");
    let mut network = good();
    network.observations[2].value = -3.0;
    assert_eq!(text(&network), "The slope distance from B1 to P1 is -3 m; a distance must be above 0.");
    let mut network = good();
    network.observations[1].value = f64::NAN;
    assert_eq!(text(&network), "The inclination from B1 to P1 is not a number, or its instrument or target height is not.");
    let mut network = good();
    network.observations[1].to = 9;
    assert_eq!(text(&network), "Reading 1 names a station that is not in the network.");
    let mut network = good();
    network.observations[1].to = 0;
    assert_eq!(text(&network), "The inclination from B1 to B1 begins and ends at one station.");
    let settings = Settings { alpha: 0.0, ..Settings::default() };
    assert!(adjust(&good(), &settings).is_err());
    assert!(
        adjust(&standoff::network::Network { stations: vec![], observations: vec![], ..good() }, &Settings::default())
            .unwrap()
            .solved
            .is_empty()
    );
}
