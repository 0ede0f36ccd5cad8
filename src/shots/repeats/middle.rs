//! The middle of a few numbers and their robust scale, as [`crate::numeric::robust`] has them, and the value beyond which one does
//! not belong to the others.

use std::f64::consts::PI;

use crate::numeric::robust::{TO_SIGMA, median, small_sample};

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
    pub(super) fn find(values: &[f64]) -> Option<Middle> {
        let middle = median(values.to_vec())?;
        let scale = match values.len() {
            0..=2 => 0.0,
            n => TO_SIGMA * small_sample(n) * median(values.iter().map(|value| (value - middle).abs()).collect())?,
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
        let middle = Middle::find(&[9.9, 10.0, 10.1, 10.2, 9.1]).unwrap();
        assert!((middle.median - 10.0).abs() < 1e-12 && (middle.scale - 0.178_801_56).abs() < 1e-9, "{middle:?}");
        assert_eq!(Middle::find(&[1.0, 4.0]), Some(Middle { median: 2.5, scale: 0.0, count: 2 }));
        assert_eq!(Middle::find(&[]), None);
        assert_eq!(half_turn_rad(PI), -PI);
        assert!((half_turn_rad(3.0 * PI + 0.1) - (0.1 - PI)).abs() < 1e-12);
    }
}
