//! Traverses: misclosures before adjustment, and the truth back from readings without error.

use crate::networks::{COMPASS, Site, horizontal};
use standoff::inside::geodesy::covariance::Covariance;
use standoff::network::{Adjustment, Kind, NoteKind, Settings, adjust};

/// A hundredth of a millimetre: rest of the iteration and rounding of earth-centred coordinates, of readings without error.
const EXACT_M: f64 = 1e-5;

/// Half a millimetre: fore and back distances are levelled in two horizons (rise · length / R), closures take their mean.
const CARRIED_M: f64 = 5e-4;

const FIXED: Covariance = Covariance { ee: 0.0, en: 0.0, eu: 0.0, nn: 0.0, nu: 0.0, uu: 0.0 };

fn solve(site: &Site) -> Adjustment {
    adjust(&site.network, &Settings::default()).unwrap()
}

/// All stations that are sighted come back to the truth.
fn at_truth(site: &Site, adjustment: &Adjustment) {
    let named = |s: usize| site.network.observations.iter().any(|o| o.from == s || o.to == s);
    for s in (0..site.truth.len()).filter(|s| named(*s)) {
        let station = adjustment.station(s).unwrap();
        let error = site.error(s, station.position);
        assert!(station.has_height && horizontal(error) < EXACT_M && error[2].abs() < EXACT_M, "{s}: {error:?}");
    }
}

/// Bases chained by fore and back shots, directions without orientation, started by a sight to a known point.
fn traverse(closed_on_known: bool, blunder_m: f64) -> (Site, Vec<usize>) {
    let mut site = Site::new(5);
    let start = site.known("A", [0.0, 0.0, 0.0], FIXED);
    let mark = site.known("M", [-150.0, 40.0, 20.0], FIXED);
    let places = [("T1", [120.0, 30.0, 6.0]), ("T2", [230.0, -40.0, 14.0]), ("T3", [340.0, 20.0, 9.0])];
    let mut chain = vec![start];
    for (label, place) in places {
        chain.push(site.point(label, place));
    }
    if closed_on_known {
        chain.push(site.known("Z", [450.0, 90.0, 20.0], FIXED));
        let end_mark = site.known("N", [500.0, 300.0, 35.0], FIXED);
        site.orientations[chain[4]] = [0.0, -2.0];
        site.read(Kind::Direction, chain[4], end_mark, 0.0005, 0.0);
    }
    for (k, s) in chain.iter().enumerate() {
        site.orientations[*s][1] = 0.7 * k as f64;
    }
    site.network.observations.clear();
    site.read(Kind::Direction, start, mark, 0.0005, 0.0);
    if closed_on_known {
        site.read(Kind::Direction, chain[4], 5, 0.0005, 0.0);
        assert_eq!(site.network.stations[5].label, "Z");
        site.network.observations.pop();
        site.read(Kind::Direction, chain[4], 6, 0.0005, 0.0);
    }
    for (a, b) in (0..chain.len() - 1).map(|k| (chain[k], chain[k + 1])) {
        for (from, to) in [(a, b), (b, a)] {
            site.read(Kind::Direction, from, to, 0.0005, 0.0);
            site.read(Kind::Inclination, from, to, 0.0005, 0.0);
            let s = site.read(Kind::Slope, from, to, 0.01, 0.0);
            if from == chain[1] || to == chain[1] {
                site.network.observations[s].value +=
                    if (from, to) == (chain[1], chain[2]) || (from, to) == (chain[2], chain[1]) { blunder_m } else { 0.0 };
            }
        }
    }
    (site, chain)
}

#[test]
fn a_traverse_between_two_known_points() {
    let (site, chain) = traverse(true, 0.0);
    let solved = solve(&site);
    at_truth(&site, &solved);
    let [closure] = solved.solved[0].misclosures.as_slice() else { panic!("{:?}", solved.solved[0].misclosures) };
    assert!(closure.stations == chain || closure.stations.iter().rev().eq(chain.iter()), "{closure:?}");
    assert!(
        closure.linear_m() < CARRIED_M && closure.up_m.unwrap().abs() < 1e-3 && closure.angular_rad.unwrap().abs() < 1e-7,
        "{closure:?}"
    );
    assert!(solved.solved[0].notes.is_empty(), "{:?}", solved.solved[0].notes);

    // One leg half a metre too long: the closure is half a metre along that leg, and 1 : length / 0.5.
    let (site, _) = traverse(true, 0.5);
    let solved = solve(&site);
    let closure = &solved.solved[0].misclosures[0];
    assert!((closure.linear_m() - 0.5).abs() < 0.005, "{closure:?}");
    assert!((closure.ratio() - closure.length_m / closure.linear_m()).abs() < 1e-9);
    assert_eq!(solved.solved[0].global.passed(), Some(false));
}

#[test]
fn a_hanging_traverse_is_allowed_with_a_warning() {
    let (site, chain) = traverse(false, 0.0);
    let solved = solve(&site);
    at_truth(&site, &solved);
    let note = solved.solved[0].notes.iter().find(|n| n.kind == NoteKind::HangingTraverse).unwrap();
    assert_eq!(note.stations, chain[1..]);
    assert_eq!(
        note.text,
        "The traverse to T1, T2 and T3 hangs: nothing closes it, and no blunder in it would show. Close it on a GNSS base or a known point."
    );
}

#[test]
fn a_traverse_by_compass_that_closes_on_itself() {
    let mut site = Site::new(6);
    let places = [[0.0, 0.0, 0.0], [100.0, 20.0, 3.0], [130.0, 120.0, -4.0], [20.0, 140.0, 2.0]];
    for (k, place) in places.into_iter().enumerate() {
        let label = format!("T{}", k + 1);
        let s = if k == 0 { site.known(&label, place, FIXED) } else { site.point(&label, place) };
        site.network.stations[s].sigma_orientation_rad = 0.01;
    }
    for k in 0..4 {
        site.shoot(k, (k + 1) % 4, COMPASS, 0.0);
        site.shoot((k + 1) % 4, k, COMPASS, 0.0);
    }
    let solved = solve(&site);
    at_truth(&site, &solved);
    let [closure] = solved.solved[0].misclosures.as_slice() else { panic!("{:?}", solved.solved[0].misclosures) };
    assert_eq!(closure.stations.first(), closure.stations.last());
    assert_eq!(closure.stations.len(), 5);
    assert!(closure.linear_m() < 2.0 * CARRIED_M && closure.up_m.unwrap().abs() < 1e-3, "{closure:?}");
    assert!(!solved.solved[0].notes.iter().any(|n| n.kind == NoteKind::HangingTraverse));
}

/// The sign of what a leg from `a` to `b` does to a closure: whether its traverse goes that way.
fn walked(stations: &[usize], a: usize, b: usize) -> f64 {
    if stations.windows(2).any(|leg| leg == [a, b]) { 1.0 } else { -1.0 }
}

#[test]
fn a_misclosure_is_what_is_carried_less_what_is_known() {
    // The leg from T1 to T2, 110 m east, 70 m south and 8 m up, half a metre too long both ways.
    let (site, chain) = traverse(true, 0.5);
    let closure = solve(&site).solved[0].misclosures[0].clone();
    let sign = walked(&closure.stations, chain[1], chain[2]);
    let run = 110f64.hypot(70.0).hypot(8.0);
    // Fore and back are read over an instrument 1.1 m higher than the target: 0.5 m times the changes of cosine and sine, below 5 mm.
    for (got, along) in [(closure.east_m, 110.0), (closure.north_m, -70.0), (closure.up_m.unwrap(), 8.0)] {
        assert!((got - sign * 0.5 * along / run).abs() < 0.005, "{closure:?}");
    }
    let legs = [120f64.hypot(30.0), 110f64.hypot(70.0), 110f64.hypot(60.0), 110f64.hypot(70.0)];
    assert!((closure.length_m - legs.iter().sum::<f64>() - 0.5).abs() < 0.05, "{closure:?}");

    // One direction a milliradian too great, at T2 to T3.
    let (mut site, chain) = traverse(true, 0.0);
    let turned = site.network.observations.iter_mut().find(|o| (o.from, o.to, o.kind) == (chain[2], chain[3], Kind::Direction));
    turned.unwrap().value += 0.001;
    let closure = solve(&site).solved[0].misclosures[0].clone();
    let sign = walked(&closure.stations, chain[2], chain[3]);
    assert!((closure.angular_rad.unwrap() - sign * 0.001).abs() < 1e-6, "{closure:?}");
    // What stands behind it is turned: from T2 to Z, or from T2 to A, by a milliradian.
    let (east, north) = if sign > 0.0 { (220.0, 130.0) } else { (-230.0, 40.0) };
    let turned = sign * 0.001;
    assert!(
        (closure.east_m - turned * north).abs() < CARRIED_M && (closure.north_m + turned * east).abs() < CARRIED_M,
        "{closure:?}"
    );
}

#[test]
fn fore_and_back_azimuths_are_taken_as_their_mean() {
    let mut site = Site::new(6);
    let places = [[0.0, 0.0, 0.0], [100.0, 20.0, 3.0], [130.0, 120.0, -4.0], [20.0, 140.0, 2.0]];
    for (k, place) in places.into_iter().enumerate() {
        let label = format!("T{}", k + 1);
        if k == 0 {
            site.known(&label, place, FIXED)
        } else {
            site.point(&label, place)
        };
    }
    for k in 0..4 {
        site.shoot(k, (k + 1) % 4, COMPASS, 0.0);
        site.shoot((k + 1) % 4, k, COMPASS, 0.0);
    }
    // From T2 back to T1: four milliradians too great, so that the mean is two off.
    let back = site.network.observations.iter_mut().find(|o| (o.from, o.to, o.kind) == (1, 0, Kind::Azimuth)).unwrap();
    back.value += 0.004;
    let closure = solve(&site).solved[0].misclosures[0].clone();
    let sign = walked(&closure.stations, 1, 0);
    assert!((closure.angular_rad.unwrap() - sign * 0.004).abs() < 1e-6, "{closure:?}");
    // To the right of the way from T2 to T1, 100 m west and 20 m south: 20 to the west and 100 to the north.
    assert!((closure.east_m + sign * 0.002 * 20.0).abs() < CARRIED_M, "{closure:?}");
    assert!((closure.north_m - sign * 0.002 * 100.0).abs() < CARRIED_M, "{closure:?}");
}

/// A way of three legs between two known points, each read as `read` says.
fn between_known(read: impl Fn(&mut Site, usize, usize)) -> standoff::network::Misclosure {
    let mut site = Site::new(9);
    let places = [[0.0, 0.0, 0.0], [150.0, 40.0, 12.0], [280.0, -60.0, 5.0], [400.0, 30.0, 20.0]];
    for (k, place) in places.into_iter().enumerate() {
        let label = format!("T{}", k + 1);
        if k % 3 == 0 {
            site.known(&label, place, FIXED)
        } else {
            site.point(&label, place)
        };
    }
    (0..3).for_each(|k| read(&mut site, k, k + 1));
    // A base is where something is read: the last point too.
    let beside = site.point("P", [430.0, 60.0, 25.0]);
    site.shoot(3, beside, COMPASS, 0.0);
    let solved = solve(&site);
    let [closure] = solved.solved[0].misclosures.as_slice() else { panic!("{:?}", solved.solved[0].misclosures) };
    closure.clone()
}

#[test]
fn legs_that_are_read_one_way_only() {
    let fore = between_known(|site, a, b| {
        site.shoot(a, b, COMPASS, 0.0);
    });
    let back = between_known(|site, a, b| {
        site.shoot(b, a, COMPASS, 0.0);
    });
    for closure in [fore, back] {
        assert_eq!(closure.angular_rad, None);
        assert!(closure.linear_m() < 2.0 * CARRIED_M && closure.up_m.unwrap().abs() < 2e-3, "{closure:?}");
    }
}

#[test]
fn legs_of_every_kind_of_reading() {
    let kinds = |kinds: &'static [Kind]| {
        between_known(move |site, a, b| {
            for kind in kinds {
                site.read(*kind, a, b, 0.01, 0.0);
            }
        })
    };
    for heights in [Kind::Vertical, Kind::HeightDifference] {
        let closure = match heights {
            Kind::Vertical => kinds(&[Kind::Azimuth, Kind::Horizontal, Kind::Vertical]),
            _ => kinds(&[Kind::Azimuth, Kind::Horizontal, Kind::HeightDifference]),
        };
        // The horizon falls by d²/2R from a height difference, 2 mm a leg; refraction lifts a vertical distance by 0.3 mm.
        assert!(closure.linear_m() < 2.0 * CARRIED_M && closure.up_m.unwrap().abs() < 7e-3, "{closure:?}");
    }
    let level = kinds(&[Kind::Azimuth, Kind::Horizontal]);
    assert_eq!(level.up_m, None);
    assert!(level.linear_m() < 2.0 * CARRIED_M, "{level:?}");
}
