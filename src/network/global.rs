//! The global test of a solution: does Σ v²/σ² fit the standard errors that were given?
//!
//! T = Σ ṽ² is chi-square with r degrees of freedom; the test is two-sided (any text on adjustment, e.g. C. D. Ghilani,
//! "Adjustment Computations", chapter on the chi-square test).

use super::quantiles;

/// The outcome of the global test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GlobalTest {
    /// Σ v²/σ².
    pub statistic: f64,
    /// Degrees of freedom.
    pub redundancy: usize,
    /// The statistic below which the standard errors given are too great.
    pub lower: f64,
    /// The statistic above which they are too small, or a reading is wrong.
    pub upper: f64,
}

impl GlobalTest {
    /// The test of a statistic at significance `alpha`.
    pub fn judge(statistic: f64, redundancy: usize, alpha: f64) -> GlobalTest {
        GlobalTest {
            statistic,
            redundancy,
            lower: quantiles::chi_square(0.5 * alpha, redundancy),
            upper: quantiles::chi_square(1.0 - 0.5 * alpha, redundancy),
        }
    }

    /// The variance factor, Σ v²/σ² over the degrees of freedom; none without redundancy.
    pub fn variance_factor(&self) -> Option<f64> {
        (self.redundancy > 0).then(|| self.statistic / self.redundancy as f64)
    }

    /// Whether the residuals fit the standard errors; none without redundancy.
    pub fn passed(&self) -> Option<bool> {
        (self.redundancy > 0).then_some(self.lower <= self.statistic && self.statistic <= self.upper)
    }

    /// The outcome as a sentence.
    pub fn sentence(&self) -> String {
        let Some(factor) = self.variance_factor() else {
            return "There is no redundant reading: nothing can be tested.".to_string();
        };
        let r = self.redundancy as f64;
        let range = format!(
            "variance factor {factor:.2}, expected {:.2} to {:.2}, {} redundant",
            self.lower / r,
            self.upper / r,
            self.redundancy
        );
        if self.statistic > self.upper {
            format!(
                "The residuals are larger than the standard errors given allow ({range}): look for a wrong reading, or the standard errors are too small."
            )
        } else if self.statistic < self.lower {
            format!("The residuals are smaller than the standard errors given ({range}): the standard errors may be too large.")
        } else {
            format!("The residuals fit the standard errors given ({range}).")
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_sides() {
        // Chi-square table, 10 degrees of freedom: 3.247 and 20.483 at 2.5 % and 97.5 %.
        let test = GlobalTest::judge(10.0, 10, 0.05);
        assert!((test.lower - 3.247).abs() < 0.0005 && (test.upper - 20.483).abs() < 0.0005, "{test:?}");
        assert_eq!(test.passed(), Some(true));
        assert_eq!(GlobalTest::judge(3.2, 10, 0.05).passed(), Some(false));
        assert_eq!(GlobalTest::judge(20.5, 10, 0.05).passed(), Some(false));
        assert_eq!(GlobalTest::judge(0.0, 0, 0.05).passed(), None);
        // The limits themselves fit.
        for (statistic, passed, said) in [
            (
                3.0,
                true,
                "The residuals fit the standard errors given (variance factor 0.30, expected 0.30 to 2.00, 10 redundant).",
            ),
            (
                20.0,
                true,
                "The residuals fit the standard errors given (variance factor 2.00, expected 0.30 to 2.00, 10 redundant).",
            ),
            (
                2.9,
                false,
                "The residuals are smaller than the standard errors given (variance factor 0.29, expected 0.30 to 2.00, 10 redundant): the standard errors \
                 may be too large.",
            ),
            (
                20.1,
                false,
                "The residuals are larger than the standard errors given allow (variance factor 2.01, expected 0.30 to 2.00, 10 redundant): look for a wrong \
                 reading, or the standard errors are too small.",
            ),
        ] {
            let test = GlobalTest { statistic, redundancy: 10, lower: 3.0, upper: 20.0 };
            assert_eq!((test.passed(), test.sentence().as_str()), (Some(passed), said));
            assert!((test.variance_factor().unwrap() - statistic / 10.0).abs() < 1e-12);
        }
        let none = GlobalTest::judge(0.0, 0, 0.05);
        assert_eq!(
            (none.variance_factor(), none.sentence().as_str()),
            (None, "There is no redundant reading: nothing can be tested.")
        );
        assert_eq!(
            test.sentence(),
            "The residuals fit the standard errors given (variance factor 1.00, expected 0.32 to 2.05, 10 redundant)."
        );
    }
}
