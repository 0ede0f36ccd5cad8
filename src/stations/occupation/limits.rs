//! Tests of the limits of an occupation: each just inside and just outside.

use super::average::{average, sigma_of};
use super::invented::{at, epoch, fix};
use super::merge::apart;
use super::*;
use crate::job::FixKind;
use crate::records::base_row::{Coordinates, Height};
use crate::units::Units;

/// Which of some fixes is set aside.
fn aside(fixes: &[Fix]) -> Vec<usize> {
    let mean = average(&fixes.iter().collect::<Vec<_>>(), 0.0);
    (0..fixes.len()).filter(|i| mean.aside[*i].is_some()).collect()
}

/// Eight fixes at some places and heights, and one more.
fn around(places: [[f64; 2]; 8], heights_m: [f64; 8], sigma_m: [f64; 3], one: [f64; 3]) -> Vec<Fix> {
    let all = places.iter().zip(heights_m).map(|([e, n], up)| [*e, *n, up]).chain([one]);
    let made = all.enumerate().map(|(i, [e, n, up])| {
        let mut fix = fix(i as f64, e, n);
        (fix.height, fix.sigma_m) = (Some(Height::Ellipsoid(up)), Some(sigma_m));
        fix
    });
    made.collect()
}

const STILL: [[f64; 2]; 8] = [[0.0; 2]; 8];
const LEVEL: [f64; 8] = [32.0; 8];

/// Without scatter it is the stated error that counts: √(½(1² + 2²)) = 1.581 m horizontally, 3 m in height, four times these.
#[test]
fn four_stated_standard_errors() {
    let sigma_m = [1.0, 2.0, 3.0];
    assert_eq!(aside(&around(STILL, LEVEL, sigma_m, [6.30, 0.0, 32.0])), [] as [usize; 0]);
    assert_eq!(aside(&around(STILL, LEVEL, sigma_m, [6.35, 0.0, 32.0])), [8]);
    for sign in [-1.0, 1.0] {
        assert_eq!(aside(&around(STILL, LEVEL, sigma_m, [0.0, 0.0, 32.0 + sign * 11.99])), [] as [usize; 0]);
        assert_eq!(aside(&around(STILL, LEVEL, sigma_m, [0.0, 0.0, 32.0 + sign * 12.01])), [8]);
    }
}

/// With scatter beyond what is stated it is the scatter: the median distance over 1.1774 (a Rayleigh law's median) and the median deviation
/// over 0.6745, four times these. Here 2 m: 6.795 m; and 1 m: 5.930 m.
#[test]
fn four_robust_standard_errors() {
    let ring = [[2.0, 0.0], [-2.0, 0.0], [0.0, 2.0], [0.0, -2.0], [2.0, 0.0], [-2.0, 0.0], [0.0, 2.0], [0.0, -2.0]];
    let sigma_m = [0.01; 3];
    assert_eq!(aside(&around(ring, LEVEL, sigma_m, [0.0, 6.77, 32.0])), [] as [usize; 0]);
    assert_eq!(aside(&around(ring, LEVEL, sigma_m, [0.0, 6.82, 32.0])), [8]);
    let heights_m = [31.0, 31.0, 31.0, 31.0, 32.0, 33.0, 33.0, 33.0];
    assert_eq!(aside(&around(STILL, heights_m, sigma_m, [0.0, 0.0, 37.92])), [] as [usize; 0]);
    assert_eq!(aside(&around(STILL, heights_m, sigma_m, [0.0, 0.0, 37.94])), [8]);
}

/// Standard errors that a receiver's kind of fix stands for, at a dilution of 1: the table of docs/where-we-stood.md.
#[test]
fn standard_errors_by_kind_of_fix() {
    for (kind, horizontal_m) in [
        (FixKind::Fixed, 0.015),
        (FixKind::Float, 0.25),
        (FixKind::Differential, 0.8),
        (FixKind::Single, 2.0),
        (FixKind::Unknown, 2.5),
        (FixKind::Estimated, 10.0),
        (FixKind::Manual, 10.0),
        (FixKind::Simulated, 10.0),
    ] {
        let mut fix = fix(0.0, 0.0, 0.0);
        fix.kind = kind;
        for (hdop, times) in [(Some(1.0), 1.0), (Some(0.7), 0.7), (Some(0.0), 1.5), (None, 1.5)] {
            fix.hdop = hdop;
            let want = times * horizontal_m;
            let [east_m, north_m, up_m] = sigma_of(&fix);
            assert!((east_m - want).abs() < 1e-12 && east_m == north_m && (up_m - 1.8 * want).abs() < 1e-12, "{kind:?} {hdop:?}");
        }
    }
}

/// Two occupations on a grid agree within three standard errors of their difference, in place and in height.
#[test]
fn three_standard_errors_between_two_occupations() {
    let on_grid = |east_m: f64, north_m: f64, up_m: f64| {
        let mut row = gathered_at_a_place();
        row.coordinates = Coordinates::Projected { east_m: 500_000.0 + east_m, north_m: 5_000_000.0 + north_m };
        row.height = Some(Height::Ellipsoid(up_m));
        (row.sigma_horizontal_m, row.sigma_vertical_m) = (Some(0.3), Some(0.6));
        row
    };
    let zero = on_grid(0.0, 0.0, 100.0);
    // 3 · 0.3 · √2 = 1.2728 m, and 3 · 0.6 · √2 = 2.5456 m.
    for (east_m, north_m, up_m, agrees) in [
        (1.272, 0.0, 100.0, true),
        (1.274, 0.0, 100.0, false),
        (0.0, -1.272, 100.0, true),
        (0.0, -1.274, 100.0, false),
        (0.0, 0.0, 102.545, true),
        (0.0, 0.0, 102.546, false),
        (0.0, 0.0, 97.454, false),
    ] {
        let (distance_m, height_m, said) = apart(&zero, &on_grid(east_m, north_m, up_m));
        assert!((distance_m - f64::hypot(east_m, north_m)).abs() < 1e-9 && (height_m - (up_m - 100.0).abs()).abs() < 1e-9);
        assert_eq!(said, agrees, "{east_m} {north_m} {up_m}");
    }
}

/// A base of some epochs.
fn gathered_at_a_place() -> BaseRow {
    let epochs = (0..30).map(|i| epoch(fix(f64::from(i), 0.0, 0.0))).collect();
    let windows = vec![Window { name: "A".into(), from: at(0.0), to: at(29.0), ..Window::default() }];
    let (occupations, quality) = (Occupations::default(), Quality::default());
    let rules = Rules { occupations: &occupations, quality: &quality, antenna_height_m: 0.0, units: Units::default() };
    gather(epochs, Some(windows), &rules, 1).rows.remove(0)
}

/// The least number of epochs that a base is made of, as a job sets it.
#[test]
fn the_least_number_of_epochs() {
    let windows = vec![Window { name: "A".into(), from: at(0.0), to: at(9.0), ..Window::default() }];
    for (least_epochs, bases) in [(9, 1), (10, 1), (11, 0)] {
        let epochs = (0..10).map(|i| epoch(fix(f64::from(i), 0.0, 0.0))).collect();
        let (occupations, quality) = (Occupations::default(), Quality { least_epochs, ..Quality::default() });
        let rules = Rules { occupations: &occupations, quality: &quality, antenna_height_m: 0.0, units: Units::default() };
        let gathered = gather(epochs, Some(windows.clone()), &rules, 1);
        assert_eq!((gathered.rows.len(), gathered.held.len()), (bases, 10 * (1 - bases)), "{least_epochs}");
    }
}
