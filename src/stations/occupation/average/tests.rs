//! Means of epochs against sums written out, closed forms and draws.

use super::*;
use crate::numeric::monte_carlo::Normal;
use crate::stations::occupation::invented::fix;
use proptest::prelude::*;

fn flat_of(mean: &PlaceMean) -> [f64; 2] {
    LocalPlane::at(fix(0.0, 0.0, 0.0).coordinates).flat(mean.coordinates)
}

#[test]
fn the_mean_of_a_square() {
    let fixes: Vec<Fix> = [(1.0, 1.0), (-1.0, 1.0), (-1.0, -1.0), (1.0, -1.0)]
        .iter()
        .zip(0..)
        .map(|((e, n), i)| fix(f64::from(i), *e, *n))
        .collect();
    let mean = average(&fixes.iter().collect::<Vec<_>>(), 0.0);
    let [e, n] = flat_of(&mean);
    assert!(e.hypot(n) < 2e-3, "{e} {n}");
    assert!((mean.spread_m - 2f64.sqrt()).abs() < 0.01);
    // Uncorrelated: 2 m over √4.
    assert!((mean.sigma_horizontal_m - 1.0).abs() < 1e-9);
    assert_eq!((mean.height, mean.separation_m), (Some(Height::Ellipsoid(32.0)), Some(12.0)));
}

#[test]
fn weights_are_of_the_stated_errors() {
    let mut near = fix(0.0, 0.0, 0.0);
    let mut far = fix(100.0, 5.0, 0.0);
    near.sigma_m = Some([1.0, 1.0, 1.0]);
    far.sigma_m = Some([2.0, 2.0, 2.0]);
    let mean = average(&[&near, &far], 0.0);
    // Weights 1 and 1/4: 5/5 = 1 m. Scatter: (1 + 16/4)/2/1 > 1 scales 1/√1.25 up.
    assert!((flat_of(&mean)[0] - 1.0).abs() < 2e-3);
    assert!((mean.sigma_horizontal_m - (2.5f64 / 1.25).sqrt()).abs() < 5e-3, "{}", mean.sigma_horizontal_m);
}

#[test]
fn an_outlying_epoch_is_set_aside_and_named() {
    let mut fixes: Vec<Fix> = (0..20).map(|i| fix(f64::from(i), 0.1 * f64::from(i % 3), 0.1 * f64::from(i % 2))).collect();
    fixes[7] = fix(7.0, 40.0, 0.0);
    let mean = average(&fixes.iter().collect::<Vec<_>>(), 60.0);
    let aside: Vec<usize> = (0..20).filter(|i| mean.aside[*i].is_some()).collect();
    assert_eq!(aside, [7]);
    assert!((mean.aside[7].unwrap() - 39.9).abs() < 0.15);
    assert!(flat_of(&mean)[0] < 0.2);
}

/// The double sum of the head of this file, term by term.
fn double_sum(sigmas: &[f64], times: &[f64], correlation_s: f64) -> f64 {
    let whole: f64 = sigmas.iter().map(|sigma| sigma.powi(-2)).sum();
    let u: Vec<f64> = sigmas.iter().map(|sigma| sigma.powi(-2) / whole).collect();
    let mut sum = 0.0;
    for i in 0..sigmas.len() {
        for j in 0..sigmas.len() {
            sum += u[i] * u[j] * sigmas[i] * sigmas[j] * (-(times[i] - times[j]).abs() / correlation_s).exp();
        }
    }
    sum.sqrt()
}

#[test]
fn correlated_epochs_tell_little() {
    let (sigmas, times): (Vec<f64>, Vec<f64>) = (0..60).map(|i| (2.0, f64::from(i))).unzip();
    // A minute of epochs with errors that fade over two is hardly better than one of them.
    let together = sigma_of_mean(&sigmas, &times, 120.0);
    assert!(together > 1.8 && together < 2.0, "{together}");
    assert!((sigma_of_mean(&sigmas, &times, 0.0) - 2.0 / 60f64.sqrt()).abs() < 1e-12);
}

/// Epochs of one stand each second whose errors are drawn by the model, `times` as large as stated, with an error of each epoch beside.
fn drawn(normal: &mut Normal, count: usize, times: f64, jitter: f64) -> Vec<Fix> {
    let fade = (-1.0f64 / 120.0).exp();
    let mut off = [times * normal.next(), times * normal.next(), 2.0 * times * normal.next()];
    (0..count)
        .map(|i| {
            let mut next = |x: f64, sigma: f64| fade * x + (1.0 - fade * fade).sqrt() * sigma * normal.next();
            off = [next(off[0], times), next(off[1], times), next(off[2], 2.0 * times)];
            let mut fix = fix(i as f64, off[0] + jitter * normal.next(), off[1] + jitter * normal.next());
            fix.height = Some(Height::Ellipsoid(32.0 + off[2]));
            fix.sigma_m = Some([1.0, 1.0, 2.0]);
            fix
        })
        .collect()
}

/// Of stands whose errors are so many times as large as stated: the share within 95 % horizontally, and the share called contradicted.
fn honest(times: f64, jitter: f64, seed: u64) -> (f64, f64) {
    const STANDS: usize = 1000;
    let mut normal = Normal::seeded(seed);
    let (mut inside, mut told) = (0, 0);
    for _ in 0..STANDS {
        let fixes = drawn(&mut normal, 180, times, jitter);
        let mean = average(&fixes.iter().collect::<Vec<_>>(), 120.0);
        let [e, n] = flat_of(&mean);
        // χ² of two degrees of freedom: 5.991 at 95 %.
        inside += usize::from(e * e + n * n <= 5.991 * mean.sigma_horizontal_m.powi(2));
        told += usize::from(mean.contradicted[0].is_some());
    }
    (inside as f64 / STANDS as f64, told as f64 / STANDS as f64)
}

#[test]
fn a_receiver_that_states_half_of_its_errors_is_contradicted() {
    // Right ones are left alone, with and without an error of each epoch, and hold what they say: 950, √(1000 · 0.95 · 0.05) = 6.9, three of them.
    for (jitter, seed) in [(0.0, 1), (0.2, 2)] {
        let (inside, told) = honest(1.0, jitter, seed);
        assert!(told < 0.01 && (inside - 0.95).abs() < 0.021, "{jitter}: {inside} {told}");
    }
    // Half of the truth: 1 − exp(−5.991/8) = 52.7 % would be inside were nothing said.
    let (inside, told) = honest(2.0, 0.0, 3);
    assert!(told > 0.98, "{told}");
    // The factor itself is known within 1/√(2 · 54) = 10 %, which costs some 1.5 % of the places.
    assert!((inside - 0.935).abs() < 0.021, "{inside}");
}

/// The covariance of the means of two stands against the double sum, and against draws of one process.
#[test]
fn two_stands_have_in_common_what_fades_between_them() {
    let (sigmas, first): (Vec<f64>, Vec<f64>) = (0..60).map(|i| (1.0 + 0.01 * f64::from(i), f64::from(i))).unzip();
    let gap = 60.0;
    let second: Vec<f64> = first.iter().map(|time| time + 59.0 + gap).collect();
    let [_, tail] = ends_of_mean(&sigmas, &first, 120.0);
    let [head, _] = ends_of_mean(&sigmas, &second, 120.0);
    let whole: f64 = sigmas.iter().map(|sigma| sigma.powi(-2)).sum();
    let mut want = 0.0;
    for (a, s) in first.iter().zip(&sigmas) {
        for (b, t) in second.iter().zip(&sigmas) {
            want += (s.powi(-2) / whole) * (t.powi(-2) / whole) * s * t * (-(b - a) / 120.0).exp();
        }
    }
    let got = tail * head * (-gap / 120.0f64).exp();
    assert!((got / want - 1.0).abs() < 1e-12, "{got} {want}");
}

/// Rotated receivers: the mean turns with them. Kinds by HDOP as the table says.
#[test]
fn errors_by_kind_and_dilution() {
    let mut one = fix(0.0, 0.0, 0.0);
    assert_eq!(sigma_of(&one), [2.0, 2.0, 3.6]);
    one.kind = FixKind::Fixed;
    one.hdop = Some(2.0);
    assert_eq!(sigma_of(&one)[0], 0.03);
    one.hdop = None;
    assert_eq!(sigma_of(&one)[0], 0.0225);
}

proptest! {
    #[test]
    fn one_pass_is_the_double_sum(
        values in proptest::collection::vec((0.1f64..5.0, 0.1f64..30.0), 1..40),
        correlation_s in 1.0f64..500.0,
    ) {
        let sigmas: Vec<f64> = values.iter().map(|(sigma, _)| *sigma).collect();
        let times: Vec<f64> = values.iter().scan(0.0, |time, (_, step)| { *time += step; Some(*time) }).collect();
        let (one, sum) = (sigma_of_mean(&sigmas, &times, correlation_s), double_sum(&sigmas, &times, correlation_s));
        prop_assert!((one - sum).abs() < 1e-9 * sum);
    }
}

/// Values that rise by `slope` from second to second, in so many axes: γ(k) = ½ (k · slope)².
fn rising(slope: f64, sigma: f64, count: usize, axes: usize, correlation_s: f64) -> Option<f64> {
    let times: Vec<f64> = (0..count).map(|i| i as f64).collect();
    let x: Vec<f64> = times.iter().map(|time| slope * time).collect();
    drift(&vec![x; axes], &vec![sigma; count], &times, correlation_s)
}

#[test]
fn a_drift_by_its_closed_form() {
    // Two minutes: a lag of ten epochs. s² = ½ (100 − 1) slope² / (exp(−1/120) − exp(−10/120)).
    let want = (49.5f64 * 0.25 / ((-1.0f64 / 120.0).exp() - (-10.0f64 / 120.0).exp())).sqrt();
    for (slope, sigma) in [(0.5, 1.0), (1.5, 3.0)] {
        assert!((rising(slope, sigma, 40, 1, 120.0).unwrap() - want).abs() < 1e-9);
        assert!((rising(slope, sigma, 40, 2, 120.0).unwrap() - want).abs() < 1e-9);
    }
    // Too few for that lag, for any lag, and none without a correlation.
    assert_eq!(rising(0.5, 1.0, 39, 1, 120.0), None);
    assert!(rising(0.5, 1.0, 20, 1, 24.0).is_some());
    assert_eq!(rising(0.5, 1.0, 19, 1, 24.0), None);
    assert_eq!(rising(0.5, 1.0, 40, 1, 0.0), None);
    assert_eq!(drift(&[vec![0.0; 40]], &[1.0; 40], &[7.0; 40], 120.0), None);
}

#[test]
fn a_drift_counts_where_chance_does_not_explain_it() {
    // A lag of two: s² = 1.5 slope² / (exp(−1/24) − exp(−2/24)) = 38.32 slope². The 99.9 % point of χ² over its 15 degrees of freedom is 37.697/15 =
    // 2.513 (any table; 2.523 by the cube), of 30 59.703/30 = 1.990 (1.994): slopes of 0.2566 and 0.2281.
    for (axes, limit) in [(1, 0.2566), (2, 0.2281)] {
        assert_eq!(rising(limit - 0.001, 1.0, 20, axes, 24.0), None);
        assert!(rising(limit + 0.001, 1.0, 20, axes, 24.0).is_some());
    }
}

/// Distances of epochs set aside; the last of them is `east_m` away and has another height.
fn aside(others: &[(f64, f64, f64)], last: (f64, f64), sigma_m: Option<[f64; 3]>) -> Option<f64> {
    let places = others.iter().copied().chain([(last.0, 0.0, last.1)]);
    let fixes: Vec<Fix> = places
        .zip(0..)
        .map(|((e, n, up), i)| Fix {
            height: Some(Height::Ellipsoid(up)),
            separation_m: None,
            sigma_m,
            ..fix(f64::from(i), e, n)
        })
        .collect();
    let aside = average(&fixes.iter().collect::<Vec<_>>(), 0.0).aside;
    assert!(aside[..others.len()].iter().all(Option::is_none));
    aside[others.len()]
}

#[test]
fn four_standard_errors_from_the_median() {
    let here = [(0.0, 0.0, 30.0); 4];
    let near = |got: Option<f64>, want: f64| assert!((got.unwrap() - want).abs() < 0.02, "{got:?} {want}");
    // A fix of its own errs by 2 m in plane and 3.6 m in height.
    assert_eq!(aside(&here, (7.9, 30.0), None), None);
    near(aside(&here, (8.1, 30.0), None), 8.1);
    assert_eq!(aside(&here, (0.0, 44.3), None), None);
    near(aside(&here, (0.0, 44.5), None), 14.5);
    // Stated: √((9 + 16)/2) = 3.536 m.
    assert_eq!(aside(&here, (14.0, 30.0), Some([3.0, 4.0, 1.0])), None);
    near(aside(&here, (14.3, 30.0), Some([3.0, 4.0, 1.0])), 14.3);
    // Where they scatter more: 10 m from the middle are 8.49 standard errors of a bivariate normal law.
    let around = [(10.0, 0.0, 30.0), (-10.0, 0.0, 30.0), (0.0, 10.0, 30.0), (0.0, -10.0, 30.0)];
    assert_eq!(aside(&around, (33.8, 30.0), None), None);
    near(aside(&around, (34.2, 30.0), None), 34.2);
    // The median height is 30; the deviations 20, 0, 20, 0 and the last have the median 20, and 20 / 0.6745 = 29.65.
    let uneven = [(0.0, 0.0, 10.0), (0.0, 0.0, 30.0), (0.0, 0.0, 10.0), (0.0, 0.0, 30.0)];
    assert_eq!(aside(&uneven, (0.0, 148.4), None), None);
    near(aside(&uneven, (0.0, 148.8), None), 118.8);
    // Of two epochs none is the wrong one, of three one is.
    assert_eq!(aside(&here[..1], (90.0, 30.0), None), None);
    near(aside(&here[..2], (90.0, 30.0), None), 90.0);
}

#[test]
fn what_a_mean_has_in_common_with_its_ends() {
    let mut near = fix(0.0, 0.0, 0.0);
    let mut far = fix(100.0, 5.0, 0.0);
    near.sigma_m = Some([1.0, 1.0, 1.0]);
    far.sigma_m = Some([2.0, 2.0, 2.0]);
    let fading = average(&[&near, &far], 100.0).fading.unwrap();
    // uᵢ σᵢ: 0.8 and 0.4; 100 s fade by 1/e. In plane the scatter is √2.5 times what is stated.
    let (head, tail, e) = (0.8 + 0.4 / 1f64.exp(), 0.4 + 0.8 / 1f64.exp(), 2.5f64.sqrt());
    for (got, want) in [(fading.head_m, [e * head, head]), (fading.tail_m, [e * tail, tail])] {
        assert!((got[0] - want[0]).abs() < 5e-3 && (got[1] - want[1]).abs() < 1e-9, "{fading:?}");
    }
    assert_eq!(fading.span, (near.instant, far.instant));
}

#[test]
fn heights_of_one_kind_make_the_height() {
    let with =
        |height: Option<Height>, separation_m: Option<f64>, second: f64| Fix { height, separation_m, ..fix(second, 0.0, 0.0) };
    let (above, below) = (Some(Height::Ellipsoid(50.0)), Some(Height::Orthometric(20.0)));
    let mean = |fixes: &[Fix]| average(&fixes.iter().collect::<Vec<_>>(), 0.0);
    // A separation brings an orthometric height over the ellipsoid.
    let joined = mean(&[with(above, None, 0.0), with(below, Some(34.0), 1.0)]);
    let Some(Height::Ellipsoid(height_m)) = joined.height else { panic!("{joined:?}") };
    assert!((height_m - 52.0).abs() < 1e-9 && joined.separation_m == Some(34.0));
    assert!((joined.sigma_vertical_m - 3.6 / 2f64.sqrt()).abs() < 1e-9);
    // One that cannot be brought there is no part of it, as long as half of them are.
    assert_eq!(mean(&[with(above, None, 0.0), with(below, None, 1.0)]).height, Some(Height::Ellipsoid(50.0)));
    let most = mean(&[with(above, None, 0.0), with(below, None, 1.0), with(below, None, 2.0)]);
    assert_eq!(most.height, Some(Height::Orthometric(20.0)));
    let none = mean(&[with(None, None, 0.0), with(None, None, 1.0)]);
    assert!(none.height.is_none() && none.sigma_vertical_m.is_nan() && none.separation_m.is_none());
}

#[test]
fn a_drift_is_told_where_errors_are_stated() {
    let walk = |sigma_m: Option<[f64; 3]>| {
        let fixes: Vec<Fix> = (0..60).map(|i| Fix { sigma_m, ..fix(f64::from(i), 0.6 * f64::from(i), 0.0) }).collect();
        average(&fixes.iter().collect::<Vec<_>>(), 60.0)
    };
    let stated = walk(Some([2.0, 2.0, 3.6]));
    let [across, up] = stated.contradicted;
    assert!(across.unwrap() > 1.0 && up.is_none(), "{stated:?}");
    let unstated = walk(None);
    assert_eq!(unstated.contradicted, [None, None]);
    assert!((stated.sigma_horizontal_m - unstated.sigma_horizontal_m).abs() < 1e-9);
}

#[test]
fn on_a_grid_coordinates_are_averaged_as_they_are() {
    let at = |second: f64, east_m: f64, north_m: f64| {
        let mut fix = fix(second, 0.0, 0.0);
        fix.coordinates = Coordinates::Projected { east_m, north_m };
        fix
    };
    let mean = average(&[&at(0.0, 500_001.0, 10.0), &at(1.0, 500_003.0, 16.0)], 0.0);
    assert_eq!(mean.coordinates, Coordinates::Projected { east_m: 500_002.0, north_m: 13.0 });
    assert!((mean.spread_m - 10f64.sqrt()).abs() < 1e-9);
    // 3-4-12 is 13.
    assert_eq!(apart_m([1.0, 2.0, 3.0], [4.0, 6.0, 15.0]), 13.0);
    assert_eq!(in_space(Coordinates::Projected { east_m: 7.0, north_m: 8.0 }), [7.0, 8.0, 0.0]);
}

#[test]
fn kinds_of_heights_are_counted_where_there_is_a_height() {
    let of = |heights: &[(Option<Height>, Option<f64>)]| {
        let fixes: Vec<Fix> = heights
            .iter()
            .map(|(height, separation_m)| Fix { height: *height, separation_m: *separation_m, ..fix(0.0, 0.0, 0.0) })
            .collect();
        kind_is_ellipsoid(&fixes.iter().collect::<Vec<_>>())
    };
    let (above, below, none) =
        ((Some(Height::Ellipsoid(50.0)), None), (Some(Height::Orthometric(20.0)), None), (None, Some(12.0)));
    let brought = (Some(Height::Orthometric(20.0)), Some(12.0));
    // Half of them are enough; a separation without a height counts for nothing.
    assert!(of(&[above, below]) && of(&[brought, below]) && of(&[above]) && of(&[above, brought, below, below]));
    assert!(!of(&[above, below, below]) && !of(&[below]) && !of(&[none, none]) && !of(&[]));
    assert!(!of(&[above, none, below, below]) && !of(&[none, brought, none, below, below]));
}

/// γ of both lags by their definition, over epochs at uneven times with uneven standard errors.
#[test]
fn a_drift_of_uneven_epochs() {
    let mut normal = Normal::seeded(5);
    let (correlation_s, count) = (60.0, 90);
    let mut time = 0.0;
    let times: Vec<f64> = (0..count)
        .map(|i| {
            time += if i % 3 == 0 { 1.5 } else { 0.75 };
            time
        })
        .collect();
    let sigmas: Vec<f64> = (0..count).map(|i| 0.2 + 0.05 * (i % 4) as f64).collect();
    // A random walk of 0.3 m a step in one axis and 0.2 m in the other, with a jump of 0.1 m at each epoch.
    let mut walk = |step: f64| -> Vec<f64> {
        let mut at = 0.0;
        (0..count)
            .map(|_| {
                at += step * normal.next();
                at + 0.1 * normal.next()
            })
            .collect()
    };
    let axes = [walk(0.3), walk(0.2)];
    // Of T/12 = 5 s at a mean step of 89 s / 89 the lag is five epochs.
    let mean_step = (times[count - 1] - times[0]) / (count - 1) as f64;
    let lag = (5.0 / mean_step).round() as usize;
    let gamma = |lag: usize| {
        let mut of: Vec<f64> = Vec::new();
        for x in &axes {
            of.extend((lag..count).map(|i| 0.5 * (x[i] - x[i - lag]) * (x[i] - x[i - lag]) / sigmas[i] / sigmas[i - lag]));
        }
        of.iter().sum::<f64>() / of.len() as f64
    };
    let fade = |lag: usize| {
        let of: Vec<f64> = (lag..count).map(|i| f64::exp((times[i - lag] - times[i]) / correlation_s)).collect();
        of.iter().sum::<f64>() / of.len() as f64
    };
    let want = ((gamma(lag) - gamma(1)) / (fade(1) - fade(lag))).sqrt();
    let got = drift(&axes, &sigmas, &times, correlation_s).unwrap();
    assert!(want > 1.0 && (got - want).abs() < 1e-9, "{got} {want}");
}

/// A lag is two epochs at least, and four of them must fit.
#[test]
fn epochs_farther_apart_than_the_lag() {
    let rising = |step_s: f64| {
        let times: Vec<f64> = (0..20).map(|i| step_s * f64::from(i)).collect();
        let x: Vec<f64> = times.iter().map(|time| time * time).collect();
        drift(&[x], &[0.01; 20], &times, 24.0)
    };
    // Steps of 10 s for a lag of 2 s.
    assert!(rising(10.0).is_some());
    // Five epochs make 0.4 s: 20 of them fit; six do not.
    assert!(rising(0.4).is_some() && rising(0.33).is_none());
}

/// Scatter over standard errors by Σ(v/σ)²/(n − 1), never below 1.
#[test]
fn a_scatter_by_its_definition() {
    let of = |squares: &[f64], sigmas: &[f64]| scatter(squares.iter().copied(), sigmas);
    assert!((of(&[4.0, 9.0, 1.0], &[1.0, 2.0, 0.5]) - ((4.0 + 2.25 + 4.0) / 2.0f64).sqrt()).abs() < 1e-12);
    assert!((of(&[4.0, 9.0], &[1.0, 2.0]) - 2.5).abs() < 1e-12);
    assert_eq!((of(&[0.5, 0.25], &[1.0, 1.0]), of(&[100.0], &[1.0]), of(&[], &[])), (1.0, 1.0, 1.0));
}

/// Of places on the two sides of ±180°, and of ones far apart, the plane stands at one of the many.
#[test]
fn the_plane_stands_amid_the_fixes() {
    let at = |lon_deg: f64| {
        let mut fix = fix(0.0, 0.0, 0.0);
        fix.coordinates = Coordinates::Geographic { lat_deg: 60.0, lon_deg };
        fix
    };
    let fixes = [at(10.0), at(179.999_99), at(-179.999_99), at(179.999_98), at(-179.999_98)];
    let plane = LocalPlane::amid(&fixes.iter().collect::<Vec<_>>());
    // 1e-5 degrees of the parallel of 60° are 0.558 m: N cos φ, N = 6 394 209 m.
    let (near, far) = (plane.flat(fixes[1].coordinates), plane.flat(fixes[2].coordinates));
    assert!((far[0] - near[0] - 2e-5f64.to_radians() * 6_394_209.0 * 0.5).abs() < 1e-4 && (far[1] - near[1]).abs() < 1e-4);
    assert!(near[0].abs() < 3.0 && plane.flat(fixes[3].coordinates)[0].abs() < 3.0);
    assert!(plane.flat(Coordinates::Projected { east_m: 0.0, north_m: 0.0 })[0].is_nan());
    let Coordinates::Geographic { lat_deg, lon_deg } = plane.back(plane.flat(fixes[3].coordinates)) else { panic!("no degrees") };
    assert!((lat_deg - 60.0).abs() < 1e-9 && (lon_deg - 179.999_98).abs() < 1e-9);
}

#[test]
fn standard_errors_by_the_kind_of_fix() {
    let of = |kind: FixKind, hdop: Option<f64>| sigma_of(&Fix { kind, hdop, ..fix(0.0, 0.0, 0.0) })[0];
    let kinds = [
        (FixKind::Fixed, 0.015),
        (FixKind::Float, 0.25),
        (FixKind::Differential, 0.8),
        (FixKind::Single, 2.0),
        (FixKind::Unknown, 2.5),
        (FixKind::Estimated, 10.0),
        (FixKind::Manual, 10.0),
        (FixKind::Simulated, 10.0),
    ];
    for (kind, metres) in kinds {
        assert_eq!(of(kind, Some(1.0)), metres);
    }
    // A dilution of 0 is none; 1.5 stands in for it.
    assert_eq!((of(FixKind::Single, Some(0.0)), of(FixKind::Single, Some(-1.0)), of(FixKind::Single, None)), (3.0, 3.0, 3.0));
    // What is stated is taken as it is, a tenth of a millimetre at least.
    let stated = Fix { sigma_m: Some([0.5, 0.0, 0.00009]), ..fix(0.0, 0.0, 0.0) };
    assert_eq!(sigma_of(&stated), [0.5, 1e-4, 1e-4]);
}
