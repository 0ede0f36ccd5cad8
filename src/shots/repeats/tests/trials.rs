//! Trials with errors drawn at random: the covariance of the mean, its middle, false alarms, and what is found.

use super::*;
use crate::shots::repeats::linear::{inverse, matrix};
use crate::shots::repeats::{SettledRepeats, Verdict, mean, settle};

const PLACE: [f64; 3] = [60.0, 90.0, 15.0];

#[test]
fn errors_of_the_mean_are_as_its_covariance_says() {
    let site = Site::new(&[[0.0; 3], [140.0, -60.0, 8.0]], [0.3, 0.5], HANDHELD);
    let mut normal = Normal(21);
    const TRIALS: usize = 20_000;
    let (mut sums, mut squares, mut own, mut chi) = ([0.0; 3], [0.0; 3], [0.0; 3], 0.0);
    for _ in 0..TRIALS {
        let mut shots = site.drawn(&[0, 0, 1, 0, 1], PLACE, &mut normal);
        shots[1] = level(shots[1]);
        let mean = mean(&site.bases, &shots).unwrap();
        let error: [f64; 3] = std::array::from_fn(|k| [mean.east_m, mean.north_m, mean.up_m.unwrap()][k] - PLACE[k]);
        let c = mean.parts.total();
        let weight = inverse(&matrix(&c), 0.0);
        chi += (0..3).map(|r| (0..3).map(|k| error[r] * weight[r][k] * error[k]).sum::<f64>()).sum::<f64>();
        for (k, variance) in [c.ee, c.nn, c.uu].into_iter().enumerate() {
            sums[k] += error[k];
            squares[k] += error[k] * error[k];
            own[k] += variance;
        }
    }
    let n = TRIALS as f64;
    // χ² of 3 degrees of freedom: mean 3, variance 6. Four standard errors.
    assert!((chi / n - 3.0).abs() < 4.0 * (6.0 / n).sqrt(), "{}", chi / n);
    for k in 0..3 {
        // A variance of n draws has the relative standard error √(2/n).
        assert!((squares[k] / own[k] - 1.0).abs() < 4.0 * (2.0 / n).sqrt(), "{k}: {} {}", squares[k] / n, own[k] / n);
        assert!((sums[k] / n).abs() < 4.0 * (own[k] / n / n).sqrt(), "{k}: {}", sums[k] / n);
    }
}

#[test]
fn a_poor_compass_does_not_shorten_the_distance() {
    // 1° at 500 m spreads shots along an arc: the plain mean of two lies 500 · (1°)²/4 = 0.038 m inside it, one lying off
    // by its own ellipse as far outside, against 0.014 m of the distance.
    let sigmas = Sigmas { azimuth_rad: DEGREE, orientation_rad: DEGREE, inclination_rad: 0.1 * DEGREE, distance_m: 0.02 };
    let site = Site::new(&[[0.0; 3]], [0.0, 0.0], sigmas);
    let mut normal = Normal(8);
    const TRIALS: usize = 4_000;
    let (mut sum, mut squares) = (0.0, 0.0);
    for _ in 0..TRIALS {
        let shots = site.drawn(&[0, 0], [300.0, 400.0, 0.0], &mut normal);
        let mean = mean(&site.bases, &shots).unwrap();
        let error = mean.east_m.hypot(mean.north_m).hypot(mean.up_m.unwrap()) - 500.0;
        sum += error;
        squares += error * error;
    }
    let (bias, variance) = (sum / TRIALS as f64, squares / TRIALS as f64);
    // 0.02²/2, and four standard errors of each.
    assert!(bias.abs() < 4.0 * (0.000_2 / TRIALS as f64).sqrt(), "{bias}");
    assert!((variance / 0.000_2 - 1.0).abs() < 4.0 * (2.0 / TRIALS as f64).sqrt(), "{variance}");
}

/// Over which shots of one feature may be taken: a spot at the foot, a rim, a prism on its rod, one above the instrument.
const RISES_M: [f64; 4] = [1.5, -0.1, 0.2, -2.5];

/// The share of good features of which a shot is not kept.
fn false_alarms(site: &Site, from: &[usize], rises_m: &[f64], trials: usize, seed: u64) -> f64 {
    let mut normal = Normal(seed);
    let alarms = (0..trials)
        .filter(|_| match settle(&site.bases, &site.drawn_over(rises_m, from, PLACE, &mut normal)).unwrap() {
            SettledRepeats::Point { mean, .. } => mean.set_aside > 0,
            _ => true,
        })
        .count();
    alarms as f64 / trials as f64
}

#[test]
fn false_alarms_are_as_rare_as_the_critical_value_says() {
    // Two-sided 3.5: 4.65e-4 a comparison, three comparisons a shot; a reference of few readings is itself uncertain, which
    // the standard error contains. For n shots at most 3 n · 4.65e-4, and four standard errors of the count.
    let site = Site::new(&[[0.0; 3], [140.0, -60.0, 8.0], [-30.0, 180.0, 0.0]], [0.3, 0.5], HANDHELD);
    const TRIALS: usize = 20_000;
    for (from, seed) in
        [(&[0, 0][..], 1), (&[0, 0, 0], 2), (&[0; 10], 3), (&[0, 1], 4), (&[0, 1, 2], 5), (&[0, 1, 0, 1, 2, 0], 6)]
    {
        // Whatever the heights of instrument and target are.
        for rises_m in [&[0.0][..], &RISES_M] {
            let rate = false_alarms(&site, from, rises_m, TRIALS, seed);
            let bound = 3.0 * from.len() as f64 * 4.65e-4;
            println!("false alarms of {from:?}: {rate:.5}, at most {bound:.5}");
            assert!(rate < bound + 4.0 * (bound / TRIALS as f64).sqrt(), "{from:?} {rises_m:?}: {rate} {bound}");
        }
    }
    // It does test: of ten shots of one base some are set aside.
    assert!(false_alarms(&site, &[0; 10], &[0.0], TRIALS, 3) > 1e-3);
    assert!(false_alarms(&site, &[0; 10], &RISES_M, TRIALS, 3) > 1e-3);
}

#[test]
fn a_branch_half_a_metre_before_is_found() {
    branch_found(&[0.0]);
}

#[test]
fn a_branch_is_found_whatever_spots_of_the_feature_the_others_hit() {
    branch_found(&RISES_M);
}

fn branch_found(rises_m: &[f64]) {
    // 0.5 m is 8.2 standard errors of 0.061 m against two others.
    let site = Site::new(&[[0.0; 3]], [0.3, 0.5], HANDHELD);
    let mut normal = Normal(4);
    let mut found = 0;
    for _ in 0..20_000 {
        let mut shots = site.drawn_over(rises_m, &[0, 0, 0], PLACE, &mut normal);
        let rise_m = shots[1].rise_m;
        let v = &mut shots[1].vector;
        // Along the sight, from the instrument's axis.
        let up = v.up_m.unwrap() - rise_m;
        let share = 1.0 - 0.5 / v.horizontal_m.hypot(up);
        (v.east_m, v.north_m, v.horizontal_m, v.up_m) =
            (v.east_m * share, v.north_m * share, v.horizontal_m * share, Some(up * share + rise_m));
        let settled = settle(&site.bases, &shots).unwrap();
        if let SettledRepeats::Point { findings, .. } = settled {
            found += usize::from(findings[1].verdict == Verdict::Foreground && findings[0].verdict == Verdict::Kept);
        }
    }
    // Missed: the pair disagrees (3 comparisons), the shot is off in azimuth or inclination too (2), each 4.65e-4; or it agrees
    // with one of the pair, 0.5/(√2 · 0.05) = 7.07 against 3.5, 1.8e-4 each. 54 of 20 000, and four standard errors.
    assert!(found >= 20_000 - 54 - 29, "{found}");
}
