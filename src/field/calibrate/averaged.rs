//! Means of repeats, their spread, and the repeats that do not belong to them.
//!
//! Outliers: |x − median| > 3.5 s, with s = 1.4826 c_n MAD, MAD the median of |x − median|. 1.4826
//! makes it the standard error of a normal distribution, c_n takes off its bias in small samples
//! (C. Croux and P. J. Rousseeuw, "Time-efficient algorithms for two highly robust estimators of
//! scale", Computational Statistics 1, 1992). 3.5: B. Iglewicz and D. C. Hoaglin, "How to Detect and
//! Handle Outliers", 1993.
//!
//! Two of three readings may fall together by chance, and a display may round all but one to one
//! figure: s is then no measure of the instrument, and good readings would be lost and the rest look
//! better than they are. So s is never taken below the standard error that the instrument has anyway.

use std::f64::consts::PI;

use crate::numeric::robust::{TO_SIGMA, median, small_sample};

/// Robust standard errors beyond which a repeat is an outlier.
pub const OUTLIER_SIGMAS: f64 = 3.5;
/// Repeats below which nothing can be tested.
pub const LEAST_TO_TEST: usize = 3;

/// Repeats of one reading, averaged.
#[derive(Debug, Clone, PartialEq)]
pub struct Averaged {
    /// Mean of those used.
    pub mean: f64,
    /// How many are used.
    pub used: usize,
    /// Sum of the squares of their deviations from the mean.
    pub squares: f64,
    /// Which lie beyond what the others allow.
    pub is_outlier: Vec<bool>,
    /// Which are used.
    pub is_used: Vec<bool>,
}

impl Averaged {
    /// Averages repeats; `sigma` is the instrument's standard error of one of them. An empty slice
    /// gives a mean that is not a number.
    pub fn average(values: &[f64], sigma: f64, keep_all: bool) -> Averaged {
        let is_outlier = outliers(values, sigma);
        let is_used: Vec<bool> = is_outlier.iter().map(|outlier| keep_all || !outlier).collect();
        let kept = || values.iter().zip(&is_used).filter(|(_, used)| **used).map(|(value, _)| *value);
        let used = kept().count();
        let mean = kept().sum::<f64>() / used as f64;
        let squares = kept().map(|value| (value - mean).powi(2)).sum();
        Averaged { mean, used, squares, is_outlier, is_used }
    }
}

/// The standard error of one reading from the repeats of several groups, and whether the `assumed` one
/// had to stand in because no group has two.
pub fn pooled_sigma(groups: &[&Averaged], assumed: f64) -> (f64, bool) {
    let freedom: usize = groups.iter().map(|group| group.used.saturating_sub(1)).sum();
    if freedom == 0 {
        return (assumed, true);
    }
    let squares: f64 = groups.iter().map(|group| group.squares).sum();
    ((squares / freedom as f64).sqrt(), false)
}

/// Which values lie beyond [`OUTLIER_SIGMAS`] robust standard errors of the median.
fn outliers(values: &[f64], sigma: f64) -> Vec<bool> {
    if values.len() < LEAST_TO_TEST {
        return vec![false; values.len()];
    }
    let Some(middle) = median(values.to_vec()) else { return vec![false; values.len()] };
    let deviations: Vec<f64> = values.iter().map(|value| (value - middle).abs()).collect();
    let robust = TO_SIGMA * small_sample(values.len()) * median(deviations.clone()).unwrap_or(0.0);
    let limit = OUTLIER_SIGMAS * robust.max(sigma);
    deviations.iter().map(|deviation| *deviation > limit).collect()
}

/// Angles turned so that none lies more than half a turn from the direction of their mean: their
/// plain mean is then that on the circle, and 359° and 1° give 0°.
pub fn about_their_mean_rad(angles: &[f64]) -> Vec<f64> {
    let (sin, cos) = angles.iter().fold((0.0, 0.0), |(sin, cos), angle| (sin + angle.sin(), cos + angle.cos()));
    let middle = f64::atan2(sin, cos);
    angles.iter().map(|angle| middle + half_turn_rad(angle - middle)).collect()
}

/// An angle brought into −π ≤ angle < π.
pub fn half_turn_rad(angle_rad: f64) -> f64 {
    (angle_rad + PI).rem_euclid(2.0 * PI) - PI
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn mean_and_spread_by_hand() {
        // Mean 4, deviations −3, −1, 4: squares 9 + 1 + 16 = 26.
        let repeats = Averaged::average(&[1.0, 3.0, 8.0], 10.0, false);
        assert_eq!((repeats.mean, repeats.squares, repeats.used), (4.0, 26.0, 3));
        assert_eq!(pooled_sigma(&[&repeats], 10.0), (13f64.sqrt(), false));
        // A second group of one adds nothing; alone it has no spread.
        let one = Averaged::average(&[5.0], 10.0, false);
        assert_eq!(pooled_sigma(&[&repeats, &one], 10.0), (13f64.sqrt(), false));
        assert_eq!(pooled_sigma(&[&one], 10.0), (10.0, true));
    }

    #[test]
    fn an_outlier_by_hand() {
        // Median 10.0; deviations 0.1, 0, 0.1, 0.2, 0.9: MAD 0.1; s = 1.4826·1.206·0.1 = 0.1788, limit 0.626.
        let values = [9.9, 10.0, 10.1, 10.2, 10.9];
        let repeats = Averaged::average(&values, 0.1, false);
        assert_eq!(repeats.is_outlier, [false, false, false, false, true]);
        assert!((repeats.mean - 10.05).abs() < 1e-12);
        let all = Averaged::average(&values, 0.1, true);
        assert_eq!(all.is_outlier, repeats.is_outlier);
        assert!(all.used == 5 && (all.mean - 10.22).abs() < 1e-12);
        // With an instrument of 1.0 the limit is 3.5: the same reading is in order.
        assert_eq!(Averaged::average(&values, 1.0, false).used, 5);
    }

    #[test]
    fn two_readings_are_not_tested_and_equal_ones_need_a_floor() {
        assert_eq!(Averaged::average(&[0.0, 50.0], 0.1, false).used, 2);
        // Rounded to one figure but for one step: the MAD is 0, and nothing is wrong.
        assert_eq!(Averaged::average(&[5.0, 5.0, 5.0, 5.1], 0.25, false).used, 4);
        assert_eq!(Averaged::average(&[5.0, 5.0, 5.0, 6.0], 0.25, false).used, 3);
    }

    #[test]
    fn angles_are_averaged_on_the_circle() {
        let of = |degrees: &[f64]| {
            let angles: Vec<f64> = degrees.iter().map(|degrees| degrees.to_radians()).collect();
            half_turn_rad(Averaged::average(&about_their_mean_rad(&angles), 1.0, true).mean).to_degrees()
        };
        assert!(of(&[359.0, 1.0]).abs() < 1e-9);
        assert!((of(&[350.0, 351.0, 355.0]) + 8.0).abs() < 1e-9);
        assert!((of(&[179.0, 183.0]).abs() - 179.0).abs() < 1e-9);
    }

    #[test]
    fn few_good_samples_are_called_bad() {
        // Of samples of a normal distribution with the instrument's own σ, hardly one may lose a reading.
        let mut random = normal(7);
        for n in [3usize, 4, 5, 8, 20] {
            let lost = (0..4000)
                .filter(|_| {
                    let values: Vec<f64> = (0..n).map(|_| random()).collect();
                    Averaged::average(&values, 1.0, false).used < n
                })
                .count();
            assert!(lost < 4000 / 100, "n = {n}: {lost} of 4000");
        }
    }

    /// Normal deviates of a fixed seed: the sum of twelve uniform ones, less six.
    fn normal(seed: u64) -> impl FnMut() -> f64 {
        let mut state = seed;
        move || {
            (0..12)
                .map(|_| {
                    // Knuth's linear congruential generator (MMIX); its high bits.
                    state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                    (state >> 11) as f64 / (1u64 << 53) as f64
                })
                .sum::<f64>()
                - 6.0
        }
    }
}
