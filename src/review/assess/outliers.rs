//! Errors that stand far from the others, or far outside their own stated uncertainty: named, never removed.
//!
//! Two judges that look at different things. The other errors tell which points are unlike the rest, whatever is stated: by median and MAD. The
//! stated uncertainty tells which errors it does not explain, however the others lie. A weak shot from afar is unlike the others and
//! well inside its ellipse; a good one that hit the wrong target may lie among the others and far outside its own. So both are asked
//! and it is said which of them speaks.
//!
//! MAD = median |e − median(e)|; 1.4826 MAD estimates the standard deviation of normal errors (1 / Φ⁻¹(0.75)). An error is named
//! where |e − median| > 3.5 · 1.4826 MAD: B. Iglewicz and D. Hoaglin, "How to Detect and Handle Outliers" (1993), from memory.
//! Among normal errors it names about one in 2000. Fewer than five errors, or more than half of them equal, tell nothing.

use serde::Serialize;

use crate::geodesy::covariance::INTERVAL95;
use crate::numeric::robust::median;

/// Standard deviations of normal errors in one MAD: 1 / Φ⁻¹(0.75).
const TO_SIGMA: f64 = 1.482_602_218_505_602;
/// Robust standard deviations from the median beyond which an error is named.
pub const LIMIT: f64 = 3.5;
/// Errors needed.
pub const LEAST_POINTS: usize = 5;

/// Which of the judges names an error.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Speaks {
    /// Unlike the other errors, and not explained by its stated uncertainty either.
    Both,
    /// Unlike the other errors, and inside its own 95 % interval: a weak shot, that says so.
    OthersAlone,
    /// Unlike the other errors; its stated uncertainty neither explains it nor contradicts it, or there is none.
    Others,
    /// Like the other errors, and far outside its own stated uncertainty.
    Stated,
}

impl Speaks {
    /// By the robust standard deviations from the median, and the stated standard errors, that an error lies off; none where neither names it.
    pub fn judge(robust: Option<f64>, stated: Option<f64>) -> Option<Speaks> {
        let (is_unlike, is_beyond) = (robust.is_some_and(|score| score > LIMIT), stated.is_some_and(|score| score > LIMIT));
        match (is_unlike, is_beyond) {
            (true, true) => Some(Speaks::Both),
            (true, false) if stated.is_some_and(|score| score <= INTERVAL95) => Some(Speaks::OthersAlone),
            (true, false) => Some(Speaks::Others),
            (false, true) => Some(Speaks::Stated),
            (false, false) => None,
        }
    }

    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Speaks::Both => "both speak: look for a blunder",
            Speaks::OthersAlone => "the other errors speak alone: its stated uncertainty explains it",
            Speaks::Others => "the other errors speak",
            Speaks::Stated => "its stated uncertainty speaks alone: among the other errors it is none of the great ones",
        }
    }
}

/// Median and robust standard deviation of errors.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RobustSpread {
    /// Median in metres.
    pub median_m: f64,
    /// 1.4826 MAD, in metres.
    pub sigma_m: f64,
}

impl RobustSpread {
    /// Of errors in metres; none of fewer than [`LEAST_POINTS`] or where most are equal.
    pub fn estimate(errors_m: &[f64]) -> Option<RobustSpread> {
        if errors_m.len() < LEAST_POINTS {
            return None;
        }
        let median_m = median(errors_m.to_vec())?;
        let apart: Vec<f64> = errors_m.iter().map(|error| (error - median_m).abs()).collect();
        let sigma_m = TO_SIGMA * median(apart)?;
        (sigma_m > 0.0).then_some(RobustSpread { median_m, sigma_m })
    }

    /// How many robust standard deviations an error lies from the median.
    pub fn score(&self, error_m: f64) -> f64 {
        (error_m - self.median_m).abs() / self.sigma_m
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::monte_carlo::Normal;

    #[test]
    fn one_far_error_is_named_and_pulls_nothing() {
        // Median: the mean of 0.1 and 0.2.
        let errors = [-0.1, 0.0, 0.1, 0.2, 0.3, 10.0];
        let robust = RobustSpread::estimate(&errors).unwrap();
        assert!((robust.median_m - 0.15).abs() < 1e-12, "{robust:?}");
        // From 0.15: 0.25, 0.15, 0.05, 0.05, 0.15, 9.85: median 0.15.
        assert!((robust.sigma_m - 0.15 * TO_SIGMA).abs() < 1e-12, "{robust:?}");
        let named: Vec<f64> = errors.into_iter().filter(|error| robust.score(*error) > LIMIT).collect();
        assert_eq!(named, [10.0]);
    }

    #[test]
    fn which_of_the_two_speaks() {
        assert_eq!(Speaks::judge(Some(10.6), Some(0.8)), Some(Speaks::OthersAlone));
        assert_eq!(Speaks::judge(Some(10.6), Some(2.5)), Some(Speaks::Others));
        assert_eq!(Speaks::judge(Some(10.6), None), Some(Speaks::Others));
        assert_eq!(Speaks::judge(Some(10.6), Some(3.6)), Some(Speaks::Both));
        assert_eq!(Speaks::judge(Some(3.4), Some(3.6)), Some(Speaks::Stated));
        assert_eq!(Speaks::judge(None, Some(3.6)), Some(Speaks::Stated));
        assert_eq!(Speaks::judge(Some(3.4), Some(3.4)), None);
        // At the limits themselves, and at the edge of its own interval.
        assert_eq!((Speaks::judge(Some(3.5), None), Speaks::judge(None, Some(3.5))), (None, None));
        assert_eq!(Speaks::judge(Some(3.6), Some(INTERVAL95)), Some(Speaks::OthersAlone));
        assert_eq!(Speaks::judge(Some(3.6), Some(1.97)), Some(Speaks::Others));
        let begins = |speaks: Speaks, with: &str| assert!(speaks.words().starts_with(with), "{}", speaks.words());
        begins(Speaks::Both, "both speak");
        begins(Speaks::OthersAlone, "the other errors speak alone");
        begins(Speaks::Stated, "its stated uncertainty speaks alone");
        assert_eq!(Speaks::Others.words(), "the other errors speak");
    }

    #[test]
    fn too_few_or_equal_errors_tell_nothing() {
        assert_eq!(RobustSpread::estimate(&[0.0, 0.1, 0.2, 50.0]), None);
        assert_eq!(RobustSpread::estimate(&[0.0, 0.0, 0.0, 0.0, 50.0]), None);
        // Five are enough: about their median of 0.1 they lie by 0, 0.1 twice, 0.2 and 49.8. An error of 1.1 is ten of these from it.
        let robust = RobustSpread::estimate(&[0.0, 0.1, 0.2, 0.3, 50.0].map(|error| error - 0.1)).unwrap();
        assert!((robust.median_m - 0.1).abs() < 1e-12 && (robust.sigma_m - 0.1 * TO_SIGMA).abs() < 1e-12, "{robust:?}");
        assert!([1.1, -0.9].iter().all(|error| (robust.score(*error) - 10.0 / TO_SIGMA).abs() < 1e-9));
    }

    #[test]
    fn normal_errors_have_their_standard_deviation_and_hardly_any_outlier() {
        let mut normal = Normal::seeded(11);
        let errors: Vec<f64> = (0..100_000).map(|_| 0.4 + 2.0 * normal.next()).collect();
        let robust = RobustSpread::estimate(&errors).unwrap();
        // Standard error of a median is 1.25 σ/√n = 0.008, of 1.4826 MAD 1.17 σ/√n = 0.007: four of them.
        assert!((robust.median_m - 0.4).abs() < 0.032 && (robust.sigma_m - 2.0).abs() < 0.03, "{robust:?}");
        let named = errors.iter().filter(|error| robust.score(**error) > LIMIT).count();
        // 100,000 · P(|z| > 3.5) = 46.5, standard error 6.8: four of them, and the estimate of σ moves it by 17 % a percent.
        assert!((15..90).contains(&named), "{named}");
    }
}
