//! Means by hand, of a published table, and of a pull.

use super::*;
use crate::geodesy::register::{Cause, ErrorId, covariance_of};
use crate::shots::repeats::{RepeatsFault, mean, pull};

/// Rounding of earth-centred coordinates, twice.
const ROUNDING_M: f64 = 1e-8;
/// Rounding of variances.
const ROUNDING_M2: f64 = 1e-9;

#[test]
fn two_shots_of_one_base_by_hand() {
    let mut site = Site::new(&[[0.0; 3]], [0.5, 0.8], Sigmas { orientation_rad: 0.01, ..HANDHELD });
    site.sigmas.distance_m = 0.1;
    let near = site.shot(0, [0.0, 100.0, 0.0], Off::default(), [0.0; 3]);
    site.sigmas.distance_m = 0.2;
    let far = site.shot(0, [0.0, 100.5, 0.0], Off::default(), [0.0; 3]);
    let mean = mean(&site.bases, &[near, far]).unwrap();
    // Weights 1/0.01 and 1/0.04: 0.8 and 0.2, so 100.1 m; variance 1/(100 + 25) = 0.008 m².
    assert!((mean.north_m - 100.1).abs() < ROUNDING_M && mean.east_m.abs() < ROUNDING_M, "{mean:?}");
    assert!((mean.parts.distance.nn - 0.008).abs() < ROUNDING_M2, "{mean:?}");
    // Azimuths of equal weight, 0.3° each: (100.1 · 0.3π/180)²/2. Heights likewise with 0.2°.
    let half = |degrees: f64| (100.1 * degrees.to_radians()).powi(2) / 2.0;
    // Across, the orientation's 100.1 m · 0.01 is whole beside them.
    assert!((mean.parts.direction.ee - half(0.3) - 1.001f64.powi(2)).abs() < ROUNDING_M2, "{mean:?}");
    assert!((mean.own.ee - half(0.3)).abs() < ROUNDING_M2, "{mean:?}");
    assert!((mean.parts.direction.uu - half(0.2)).abs() < ROUNDING_M2, "{mean:?}");
    // Shared: the base's 0.25 and 0.64 m², whole.
    assert!((mean.parts.base.ee - 0.25).abs() < ROUNDING_M2 && (mean.parts.base.uu - 0.64).abs() < ROUNDING_M2, "{mean:?}");
    // Distances from the mean 0.1 and 0.4 m: √((0.01 + 0.16)/2).
    assert!((mean.spread.horizontal_rms_m - 0.085f64.sqrt()).abs() < ROUNDING_M, "{mean:?}");
    assert!((mean.spread.apart.horizontal_m - 0.5).abs() < ROUNDING_M, "{mean:?}");
    // Ranges 0.25 m to either side of their mean: √(2 · 0.0625/1); stated √((0.01 + 0.04)/2).
    let ranges = mean.spread.ranges.unwrap();
    assert!((ranges.deviation_m - 0.125f64.sqrt()).abs() < ROUNDING_M && ranges.freedom == 1, "{ranges:?}");
    assert!((ranges.stated_m - 0.025f64.sqrt()).abs() < ROUNDING_M, "{ranges:?}");
    assert_eq!((mean.used, mean.set_aside), (2, 0));
}

#[test]
fn a_hundred_shots_do_not_better_what_is_shared() {
    let site = Site::new(&[[0.0; 3]], [2.0, 3.0], HANDHELD);
    let shot = site.off(0, [30.0, 40.0, 5.0], [0.0; 3]);
    let (one, hundred) = (mean(&site.bases, &[shot]).unwrap(), mean(&site.bases, &[shot; 100]).unwrap());
    for (one, hundred, share) in [
        (one.parts.base, hundred.parts.base, 1.0),
        (covariance_of(&one.arms), covariance_of(&hundred.arms), 1.0),
        (one.own, hundred.own, 0.01),
    ] {
        for (one, hundred) in [(one.ee, hundred.ee), (one.en, hundred.en), (one.nn, hundred.nn), (one.uu, hundred.uu)] {
            assert!((hundred - share * one).abs() < ROUNDING_M2, "{one} {hundred} {share}");
        }
    }
    // A single shot stays what it is.
    let vector = one.one.unwrap();
    for (got, want) in [
        (vector.east_m, shot.vector.east_m),
        (vector.up_m.unwrap(), shot.vector.up_m.unwrap()),
        (vector.direction.ee, shot.vector.direction.ee),
        (vector.direction.eu, shot.vector.direction.eu),
        (vector.distance.nu, shot.vector.distance.nu),
        (vector.by_inclination_m[2], shot.vector.by_inclination_m[2]),
        (vector.by_distance_m[0], shot.vector.by_distance_m[0]),
    ] {
        assert!((got - want).abs() < ROUNDING_M, "{got} {want}");
    }
}

#[test]
fn two_bases_by_hand() {
    // Two bases 200 m apart on a line through the feature between them: east is distance for both.
    let sigmas = Sigmas { azimuth_rad: 0.001, orientation_rad: 0.002, inclination_rad: 0.001, distance_m: 0.3 };
    let mut site = Site::new(&[[0.0; 3], [200.0, 0.0, 0.0]], [0.4, 0.4], sigmas);
    site.bases[1].errors = BaseErrors::from_covariance(1, &Covariance::from_sigmas(1.2, 1.2), sigmas.orientation_rad);
    let (a, b) = (site.off(0, [100.0, 0.0, 0.0], [0.0; 3]), site.off(1, [101.0, 0.0, 0.0], [0.0; 3]));
    // From base 1 three times: its own 0.09 shrinks to 0.03, its base's 1.44 does not.
    let mean = mean(&site.bases, &[a, b, b, b]).unwrap();
    // Variances of the two: 0.16 + 0.09 = 0.25, 1.44 + 0.03 = 1.47. Weights 4 and 1/1.47.
    let (p, q) = (4.0, 1.0 / 1.47);
    // The bases' verticals differ by 3e-5 rad, which moves east and height by less than a millimetre at 0.6 mm of curvature.
    const CURVATURE_M: f64 = 1e-5;
    assert!((mean.east_m - (100.0 * p + 101.0 * q) / (p + q)).abs() < CURVATURE_M, "{mean:?}");
    assert!((mean.parts.total().ee - 1.0 / (p + q)).abs() < CURVATURE_M, "{mean:?}");
    let (v, w) = (p / (p + q), q / (p + q));
    assert!((mean.parts.base.ee - (v * v * 0.16 + w * w * 1.44)).abs() < CURVATURE_M, "{mean:?}");
    assert!((mean.parts.distance.ee - (v * v * 0.09 + w * w * 0.03)).abs() < CURVATURE_M, "{mean:?}");
    // Three of each base's position, and its orientation.
    assert_eq!(mean.arms.len(), 8);
    let east = mean.arms.iter().find(|(id, _)| *id == ErrorId::new(Cause::Position, 1, 0)).unwrap().1[0];
    assert!((east - w * 1.2).abs() < CURVATURE_M, "{mean:?}");
    assert_eq!(mean.one, None);
}

#[test]
fn published_weighted_mean() {
    // The page prints the second reading as 241.16 in its sums; its mean is that of 242.16, which the table holds.
    let text = include_str!("../../../../tests/reference/least_squares.csv");
    let rows: Vec<Vec<&str>> =
        text.lines().map(|line| line.split(',').collect()).filter(|row: &Vec<_>| row[0] == "LS8").collect();
    let number =
        |kind: &str, what: &str| -> f64 { rows.iter().find(|row| row[1] == kind && row[3] == what).unwrap()[4].parse().unwrap() };
    let unit = number("computed", "sigma of unit weight");
    let readings: Vec<(f64, f64)> = rows
        .iter()
        .filter(|row| row[1] == "input")
        .map(|row| (row[4].parse().unwrap(), row[6][..8].trim_start_matches("weight ").parse().unwrap()))
        .collect();
    assert_eq!(readings.len(), 6);
    assert_eq!(readings.iter().map(|(_, weight)| weight).sum::<f64>(), 9.0);
    let mut site = Site::new(&[[0.0; 3]], [0.0, 0.0], HANDHELD);
    let shots: Vec<Repeat> = readings
        .iter()
        .map(|(length, weight)| {
            site.sigmas.distance_m = unit / weight.sqrt();
            level(site.shot(0, [0.0, *length, 0.0], Off::default(), [0.0; 3]))
        })
        .collect();
    let mean = mean(&site.bases, &shots).unwrap();
    // The table prints millimetres, and nine digits of the computed one.
    assert!((mean.north_m - number("published", "weighted mean")).abs() < 0.000_5, "{mean:?}");
    assert!((mean.parts.distance.nn.sqrt() - number("computed", "std dev of weighted mean")).abs() < 1e-9, "{mean:?}");
    assert_eq!(mean.up_m, None);
}

#[test]
fn heights_come_from_the_shots_that_have_one() {
    // A level sight from 1 m above the base, so that its distance and its height have no error in common.
    let site = Site { rise_m: 1.0, ..Site::new(&[[0.0; 3]], [0.1, 0.2], Sigmas { distance_m: 0.1, ..HANDHELD }) };
    let high = site.off(0, [0.0, 100.0, 1.0], [0.0; 3]);
    let flat = level(site.off(0, [0.0, 100.4, 1.0], [0.0; 3]));
    let mean = mean(&site.bases, &[flat, high, flat]).unwrap();
    // Equal weights: (100 + 2 · 100.4)/3.
    assert!((mean.north_m - 300.8 / 3.0).abs() < ROUNDING_M, "{mean:?}");
    assert!((mean.up_m.unwrap() - 1.0).abs() < ROUNDING_M, "{mean:?}");
    assert!(mean.spread.up_rms_m.unwrap() < ROUNDING_M && mean.spread.apart.up_m.is_none(), "{mean:?}");
    // The error of the height is that of the one reading, at the mean's distance; the base's is whole.
    let one = (300.8 / 3.0 * HANDHELD.inclination_rad).powi(2);
    assert!((mean.parts.direction.uu - one).abs() < ROUNDING_M2, "{mean:?}");
    assert!((mean.parts.distance.nn - 0.01 / 3.0).abs() < ROUNDING_M2, "{mean:?}");
    assert!((mean.parts.base.uu - 0.04).abs() < ROUNDING_M2, "{mean:?}");
}

#[test]
fn two_bases_without_heights_meet_in_the_plane() {
    // North from one base and east from the other, 100 m each, azimuths of equal errors: across one sight is along the other.
    let sigmas = Sigmas { azimuth_rad: 0.004, orientation_rad: 0.003, inclination_rad: 0.0, distance_m: 0.1 };
    let site = Site::new(&[[0.0; 3], [-100.0, 100.0, 0.0]], [0.0, 0.0], sigmas);
    let (a, b) = (level(site.off(0, [0.0, 100.2, 0.0], [0.0; 3])), level(site.off(1, [0.4, 100.0, 0.0], [0.0; 3])));
    let mean = mean(&site.bases, &[a, b]).unwrap();
    // East: 0.0 with 0.4² + 0.3² = 0.25 m², 0.4 with 0.01. North: 100.2 with 0.01, 100.0 with 0.25. Second order (0.4 m)²/100 m.
    const SECOND_ORDER_M: f64 = 2e-3;
    assert!((mean.east_m - 0.4 * 25.0 / 26.0).abs() < SECOND_ORDER_M, "{mean:?}");
    assert!((mean.north_m - (100.2 * 25.0 + 100.0) / 26.0).abs() < SECOND_ORDER_M, "{mean:?}");
    let total = mean.parts.total();
    assert!((total.ee - 0.25 / 26.0).abs() < 1e-4 && (total.nn - 0.25 / 26.0).abs() < 1e-4, "{mean:?}");
    assert_eq!((mean.up_m, total.uu), (None, 0.0));
}

#[test]
fn a_pull_keeps_the_variance_of_one_reading() {
    let site = Site::new(&[[0.0; 3]], [0.1, 0.2], Sigmas { distance_m: 0.1, ..HANDHELD });
    let reading = |metres: f64| site.shot(0, [0.0, 50.0 + metres, 0.0], Off::default(), [0.0; 3]);
    // Median 50.0; one reading of a branch 4 m before.
    let readings = [-0.1, 0.0, -4.0, 0.1, 0.0].map(reading);
    let pulled = pull(&site.bases, &readings).unwrap();
    assert!((pulled.north_m - 50.0).abs() < ROUNDING_M, "{pulled:?}");
    assert_eq!((pulled.used, pulled.set_aside), (4, 1));
    // 0.1² of one reading and (0.01 + 0 + 0.01 + 0)/3 of the spread.
    assert!((pulled.parts.distance.nn - (0.01 + 0.02 / 3.0)).abs() < ROUNDING_M2, "{pulled:?}");
    let whole = (50.0 * HANDHELD.azimuth_rad.hypot(HANDHELD.orientation_rad)).powi(2);
    assert!((pulled.parts.direction.ee - whole).abs() < ROUNDING_M2, "{pulled:?}");
    assert!((pulled.spread.horizontal_rms_m - 0.005f64.sqrt()).abs() < ROUNDING_M, "{pulled:?}");
    // A hundred times the same reading are worth one.
    let (one, many) = (pull(&site.bases, &[reading(0.0)]).unwrap(), pull(&site.bases, &[reading(0.0); 100]).unwrap());
    assert!((one.parts.total().nn - many.parts.total().nn).abs() < ROUNDING_M2);
    assert!((one.parts.total().ee - many.parts.total().ee).abs() < ROUNDING_M2);
}

#[test]
fn faults_name_the_shot() {
    let site = Site::new(&[[0.0; 3], [10.0, 0.0, 0.0]], [0.1, 0.1], HANDHELD);
    let good = site.off(0, [0.0, 50.0, 0.0], [0.0; 3]);
    assert_eq!(mean(&site.bases, &[]), Err(RepeatsFault::NoShots));
    let lost = Repeat { base: 7, ..good };
    let fault = mean(&site.bases, &[good, lost]).unwrap_err();
    assert_eq!(
        fault.to_string(),
        "Shot 2 names base number 7, but there are only 2 bases; check how shots and bases were joined."
    );
    let mut wild = good;
    wild.vector.distance.nn = f64::NAN;
    assert_eq!(crate::shots::repeats::settle(&site.bases, &[wild, good]), Err(RepeatsFault::NotFinite { shot: 1 }));
    assert_eq!(pull(&site.bases, &[good, Repeat { base: 1, ..good }]), Err(RepeatsFault::TwoBases { shot: 2 }));
}

#[test]
fn exact_and_vertical_shots_have_a_mean() {
    let exact = Sigmas { azimuth_rad: 0.0, orientation_rad: 0.0, inclination_rad: 0.0, distance_m: 0.0 };
    let site = Site::new(&[[0.0; 3]], [0.0, 0.0], exact);
    let shot = site.off(0, [3.0, 4.0, 1.0], [0.0; 3]);
    let both = mean(&site.bases, &[shot, shot]).unwrap();
    assert!((both.north_m - 4.0).abs() < ROUNDING_M && both.parts.total().ee == 0.0, "{both:?}");
    let site = Site::new(&[[0.0; 3]], [0.1, 0.1], HANDHELD);
    for sigmas in [exact, HANDHELD] {
        let site = Site { sigmas, ..site.clone() };
        // Straight up and a little to either side of it.
        let shots = [[0.0, 0.0, 20.0], [0.01, 0.0, 20.0], [0.0, -0.01, 20.0]].map(|at| site.off(0, at, [0.0; 3]));
        let up = mean(&site.bases, &shots).unwrap();
        assert!(up.east_m.abs() < 0.011 && up.north_m.abs() < 0.011 && (up.up_m.unwrap() - 20.0).abs() < 1e-4, "{up:?}");
    }
}
