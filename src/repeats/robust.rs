//! Medians and the robust scale of a few numbers.
//!
//! Scale: 1.4826 c_n MAD, MAD the median of |x − median|. 1.4826 makes it the standard error of a normal
//! distribution, c_n takes off its bias in small samples (C. Croux and P. J. Rousseeuw, "Time-efficient algorithms for
//! two highly robust estimators of scale", Computational Statistics 1, 1992). Cost n log n.

use std::f64::consts::PI;

/// Robust standard errors beyond which a reading does not belong to the others: 3.5, of B. Iglewicz and D. C. Hoaglin,
/// "How to Detect and Handle Outliers", 1993. A normal reading passes it once in 2 150.
pub const CRITICAL: f64 = 3.5;

/// The median and the scale of numbers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Middle {
    /// The median.
    pub(super) median: f64,
    /// Robust scale; 0 of fewer than three numbers, where two may agree by chance.
    pub(super) scale: f64,
    /// How many.
    pub(super) count: usize,
}

impl Middle {
    /// Of numbers; none of none.
    pub(super) fn of(values: &[f64]) -> Option<Middle> {
        let middle = median(values.to_vec())?;
        let scale = match values.len() {
            0..=2 => 0.0,
            n => 1.4826 * small_sample(n) * median(values.iter().map(|value| (value - middle).abs()).collect())?,
        };
        Some(Middle { median: middle, scale, count: values.len() })
    }

    /// Variance of the median, in units of the variance of one number: 1/n of one or two, where it is the mean; else
    /// π/2n, its limit for many normal numbers, which is above that of a few (1.35/3 of three).
    pub(super) fn share(&self) -> f64 {
        let factor = if self.count <= 2 { 1.0 } else { 0.5 * PI };
        factor / self.count.max(1) as f64
    }
}

/// The factor c_n of Croux and Rousseeuw for the median absolute deviation.
fn small_sample(n: usize) -> f64 {
    match n {
        0..=2 => 1.196,
        3 => 1.495,
        4 => 1.363,
        5 => 1.206,
        6 => 1.200,
        7 => 1.140,
        8 => 1.129,
        9 => 1.107,
        _ => n as f64 / (n as f64 - 0.8),
    }
}

/// The median; none of no values.
pub(super) fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let half = values.len() / 2;
    let upper = *values.get(half)?;
    match values.len() % 2 {
        1 => Some(upper),
        _ => Some(0.5 * (values.get(half - 1)? + upper)),
    }
}

/// An angle brought into −π ≤ angle < π.
pub(super) fn half_turn_rad(angle_rad: f64) -> f64 {
    if (-PI..PI).contains(&angle_rad) { angle_rad } else { (angle_rad + PI).rem_euclid(2.0 * PI) - PI }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn middle_by_hand() {
        // Median 10.0; deviations 0.1, 0, 0.1, 0.2, 0.9: MAD 0.1; 1.4826 · 1.206 · 0.1 = 0.178 80.
        let middle = Middle::of(&[9.9, 10.0, 10.1, 10.2, 9.1]).unwrap();
        assert!((middle.median - 10.0).abs() < 1e-12 && (middle.scale - 0.178_801_56).abs() < 1e-9, "{middle:?}");
        assert_eq!(Middle::of(&[1.0, 4.0]), Some(Middle { median: 2.5, scale: 0.0, count: 2 }));
        assert_eq!(Middle::of(&[]), None);
        assert_eq!(half_turn_rad(PI), -PI);
        assert!((half_turn_rad(3.0 * PI + 0.1) - (0.1 - PI)).abs() < 1e-12);
    }
}
