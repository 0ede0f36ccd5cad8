//! Whether stated uncertainties are honest: the share of errors inside their 95 % ellipses and intervals.
//!
//! An error e with the covariance C (that of the tested point and of its check point together) lies inside its 95 % ellipse where
//! eᵀ C⁻¹ e ≤ χ²(0.95; 2) = 5.991; a height inside its interval where (e / σ)² ≤ χ²(0.95; 1) = 3.841. Of n such errors a share k / n
//! is inside; its 95 % interval is the exact one of Clopper and Pearson. It takes the errors as independent: those of shots from one
//! base are not, so the interval is then too narrow. The factor by which standard errors would have to be multiplied is
//! √(median of eᵀ C⁻¹ e / median of χ²), the medians of χ² being 2 ln 2 and 0.4549: single blunders do not move it.

use serde::Serialize;

use super::probability::clopper_pearson;
use crate::geodesy::covariance::{Covariance, ELLIPSE95, INTERVAL95};
use crate::numeric::robust::median;

/// The share that is stated.
pub const STATED: f64 = 0.95;
/// Errors below which a share tells next to nothing. Common practice, no source.
pub const LEAST_POINTS: usize = 20;
/// Factor below which standard errors fit most errors. Common practice, no source.
const HARDLY_LARGER: f64 = 1.15;
/// Median of chi-squared with one degree of freedom: Φ⁻¹(0.75)².
const MEDIAN_ONE: f64 = 0.454_936_423_119_572_8;
/// Median of chi-squared with two degrees of freedom: 2 ln 2.
const MEDIAN_TWO: f64 = 2.0 * std::f64::consts::LN_2;
/// Least share of the greatest variance that an ellipse's smaller one is taken to have, so that a covariance without a second axis
/// can be inverted: a millionth of the standard error.
const THIN: f64 = 1e-12;

/// eᵀ C⁻¹ e of a horizontal error; none where the covariance is not known or is 0.
pub fn square_horizontal(error_m: [f64; 2], covariance: &Covariance) -> Option<f64> {
    let Covariance { ee, en, nn, .. } = *covariance;
    let floor = THIN * (ee + nn);
    let (ee, nn) = (ee + floor, nn + floor);
    let determinant = ee * nn - en * en;
    let [e, n] = error_m;
    let square = (nn * e * e - 2.0 * en * e * n + ee * n * n) / determinant;
    (determinant > 0.0 && square.is_finite()).then_some(square)
}

/// (e / σ)² of a vertical error; none where the standard error is not known or is 0.
pub fn square_vertical(error_m: f64, sigma_m: f64) -> Option<f64> {
    Some((error_m / sigma_m).powi(2)).filter(|square| square.is_finite())
}

/// How many degrees of freedom squares of errors have.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Freedom {
    /// Heights.
    One,
    /// Positions.
    Two,
}

impl Freedom {
    /// The square at the edge of the 95 % interval or ellipse.
    pub fn edge(self) -> f64 {
        match self {
            Freedom::One => INTERVAL95 * INTERVAL95,
            Freedom::Two => ELLIPSE95 * ELLIPSE95,
        }
    }

    fn median(self) -> f64 {
        match self {
            Freedom::One => MEDIAN_ONE,
            Freedom::Two => MEDIAN_TWO,
        }
    }
}

/// What a share says of the stated uncertainties.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum ShareVerdict {
    /// Errors are greater than stated.
    TooSmall,
    /// The share agrees with 95 %.
    Honest,
    /// Errors are smaller than stated.
    TooLarge,
    /// Too few errors to tell.
    CannotTell,
}

impl ShareVerdict {
    /// By the ends of the interval of a share of so many errors.
    fn judge([low95, high95]: [f64; 2], of: usize) -> ShareVerdict {
        if high95 < STATED {
            ShareVerdict::TooSmall
        } else if low95 > STATED {
            ShareVerdict::TooLarge
        } else if of < LEAST_POINTS {
            ShareVerdict::CannotTell
        } else {
            ShareVerdict::Honest
        }
    }
}

/// A share of errors inside what was stated.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Coverage {
    /// Errors inside.
    pub inside: usize,
    /// Errors with a stated uncertainty.
    pub of: usize,
    /// Inside over all.
    pub share: f64,
    /// Lower end of the share's 95 % interval, after Clopper and Pearson.
    pub low95: f64,
    /// Upper end.
    pub high95: f64,
    /// By what the standard errors would have to be multiplied to fit these errors.
    pub factor: f64,
    /// What it says.
    pub verdict: ShareVerdict,
}

impl Coverage {
    /// Of the squares of errors over their stated uncertainty; none of none.
    pub fn count(squares: &[f64], freedom: Freedom) -> Option<Coverage> {
        let of = squares.len();
        let factor = (median(squares.to_vec())? / freedom.median()).sqrt();
        let inside = squares.iter().filter(|square| **square <= freedom.edge()).count();
        let [low95, high95] = clopper_pearson(inside, of, 0.95);
        let verdict = ShareVerdict::judge([low95, high95], of);
        Some(Coverage { inside, of, share: inside as f64 / of as f64, low95, high95, factor, verdict })
    }

    /// The verdict as a sentence; `what` is what errors are inside of, such as `95 % ellipses`.
    pub fn sentence(&self, what: &str) -> String {
        let percent = |share: f64| format!("{:.0} %", 100.0 * share);
        let seen = format!(
            "{} of {} errors ({}) lie inside their {what}; the true share is {} to {} (95 % interval of Clopper and Pearson)",
            self.inside,
            self.of,
            percent(self.share),
            percent(self.low95),
            percent(self.high95)
        );
        let factor = self.factor;
        match self.verdict {
            ShareVerdict::TooSmall if factor < HARDLY_LARGER => {
                format!("{seen}: most errors fit the stated uncertainties, but too many lie far outside; look for blunders")
            }
            ShareVerdict::TooSmall => format!(
                "{seen}: the stated uncertainties are too small; multiply the standard errors by about {factor:.1}, or look for a shift \
                 or blunders"
            ),
            ShareVerdict::Honest => format!("{seen}: the stated uncertainties agree with the errors"),
            ShareVerdict::TooLarge => format!(
                "{seen}: the stated uncertainties are cautious; standard errors about {factor:.1} times as large would fit these errors"
            ),
            ShareVerdict::CannotTell => {
                format!("{seen}: nothing speaks against the stated uncertainties, but {} errors are too few to tell", self.of)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::monte_carlo::Normal;
    use proptest::prelude::*;

    #[test]
    fn squares_by_hand() {
        // Standard errors 2 east and 1 north, without correlation: (2/2)² + (3/1)² = 10.
        let axes = Covariance { ee: 4.0, nn: 1.0, ..Covariance::default() };
        assert!((square_horizontal([2.0, 3.0], &axes).unwrap() - 10.0).abs() < 1e-9);
        // An error along 45°, σ 1 along it and 0.1 across: 2² along it.
        let s = 0.5f64.sqrt();
        let thin = Covariance::from_arm([s, s, 0.0]) + Covariance::from_arm([0.1 * s, -0.1 * s, 0.0]);
        assert!((square_horizontal([2.0 * s, 2.0 * s], &thin).unwrap() - 4.0).abs() < 1e-9);
        assert!((square_horizontal([2.0 * s, -2.0 * s], &thin).unwrap() - 400.0).abs() < 1e-6);
        assert_eq!(square_vertical(3.0, 1.5), Some(4.0));
    }

    #[test]
    fn what_is_not_known_has_no_square() {
        let unknown = Covariance { ee: f64::NAN, ..Covariance::default() };
        assert_eq!(square_horizontal([1.0, 1.0], &unknown), None);
        assert_eq!(square_horizontal([1.0, 1.0], &Covariance::default()), None);
        assert_eq!(square_vertical(1.0, 0.0), None);
        assert_eq!(square_vertical(1.0, f64::NAN), None);
        assert_eq!(Coverage::count(&[], Freedom::One), None);
        // One axis alone: inside along it, far outside across it.
        let line = Covariance::from_arm([1.0, 0.0, 0.0]);
        assert!((square_horizontal([1.0, 0.0], &line).unwrap() - 1.0).abs() < 1e-6);
        assert!(square_horizontal([0.0, 0.1], &line).unwrap() > 1e6);
        // Across a line of 1000 m there is a millionth of it, 1 mm: 0.1 m are a hundred of these.
        for (arm, across) in [([1000.0, 0.0, 0.0], [0.0, 0.1]), ([0.0, 1000.0, 0.0], [0.1, 0.0])] {
            assert!((square_horizontal(across, &Covariance::from_arm(arm)).unwrap() / 1e4 - 1.0).abs() < 1e-6);
        }
        // No covariance at all, and errors without an end.
        assert_eq!(square_horizontal([1.0, 1.0], &Covariance { ee: 1.0, en: 2.0, nn: 1.0, ..Covariance::default() }), None);
        assert_eq!(square_horizontal([f64::INFINITY, 1.0], &line), None);
        assert_eq!(square_vertical(f64::INFINITY, 1.0), None);
        assert_eq!(square_vertical(0.0, 0.0), None);
    }

    #[test]
    fn what_a_share_says_of_its_interval() {
        let of = |low, high, of| ShareVerdict::judge([low, high], of);
        assert_eq!(of(0.9, 0.949, 3), ShareVerdict::TooSmall);
        assert_eq!(of(0.951, 0.999, 3), ShareVerdict::TooLarge);
        // An end at 95 % holds 95 %; twenty errors tell, fewer do not.
        assert_eq!([of(0.9, 0.95, 20), of(0.95, 0.999, 20), of(0.9, 0.99, 20)], [ShareVerdict::Honest; 3]);
        assert_eq!([of(0.9, 0.95, 19), of(0.95, 0.999, 19)], [ShareVerdict::CannotTell; 2]);
    }

    /// Medians of χ² of 0.4549 and 2 ln 2: of squares with four times these the standard errors are half of what they should be.
    #[test]
    fn a_share_by_hand() {
        let one = Coverage::count(&[0.0, 4.0 * 0.454_936_423_119_572_8, 3.85], Freedom::One).unwrap();
        assert!((one.factor - 2.0).abs() < 1e-12 && (one.share - 2.0 / 3.0).abs() < 1e-15 && (one.inside, one.of) == (2, 3));
        let two = Coverage::count(&[0.0, 8.0 * 2f64.ln(), 5.99], Freedom::Two).unwrap();
        assert!((two.factor - 2.0).abs() < 1e-12 && two.inside == 3);
        // 3.841 and 5.991, the 95 % points (any table).
        assert!((Freedom::One.edge() - 3.841_458_820_694_124).abs() < 1e-9);
        assert!((Freedom::Two.edge() - 5.991_464_547_107_98).abs() < 1e-9);
        assert_eq!([two.low95, two.high95], clopper_pearson(3, 3, 0.95));
    }

    /// Errors drawn from a covariance, as squares over that covariance with its standard errors multiplied by `stated`.
    fn drawn(normal: &mut Normal, count: usize, stated: f64, freedom: Freedom) -> Vec<f64> {
        let (a, b) = (Covariance::from_arm([0.8, 0.5, 0.0]), Covariance::from_arm([-0.1, 0.3, 0.0]));
        let sum = a + b;
        let k = stated * stated;
        let told = Covariance { ee: k * sum.ee, en: k * sum.en, nn: k * sum.nn, ..sum };
        (0..count)
            .map(|_| {
                let (x, y) = (normal.next(), normal.next());
                match freedom {
                    Freedom::Two => square_horizontal([0.8 * x - 0.1 * y, 0.5 * x + 0.3 * y], &told).unwrap(),
                    Freedom::One => square_vertical(0.7 * x, 0.7 * stated).unwrap(),
                }
            })
            .collect()
    }

    /// Four standard errors of a share of 0.95 in 100,000 draws: 4 √(0.95 · 0.05 / 100,000).
    const SHARE_WITHIN: f64 = 0.0028;
    /// Four standard errors of the factor: that of a median is 1 / (2 f √n); for χ² with one degree of freedom, where it is greatest,
    /// f = 0.471, so 0.0034 of 0.455, half of it relative in the square root: 0.0037; four are 0.015.
    const FACTOR_WITHIN: f64 = 0.015;

    #[test]
    fn honest_errors_are_inside_in_95_of_100_and_wrong_ones_are_found() {
        let mut normal = Normal::seeded(2026);
        for freedom in [Freedom::One, Freedom::Two] {
            let honest = Coverage::count(&drawn(&mut normal, 100_000, 1.0, freedom), freedom).unwrap();
            assert!((honest.share - 0.95).abs() < SHARE_WITHIN, "{honest:?}");
            assert!((honest.factor - 1.0).abs() < FACTOR_WITHIN, "{honest:?}");
            let bold = Coverage::count(&drawn(&mut normal, 100_000, 0.5, freedom), freedom).unwrap();
            assert!(bold.verdict == ShareVerdict::TooSmall && (bold.factor - 2.0).abs() < 2.0 * FACTOR_WITHIN, "{bold:?}");
            let shy = Coverage::count(&drawn(&mut normal, 100_000, 2.0, freedom), freedom).unwrap();
            assert!(shy.verdict == ShareVerdict::TooLarge && (shy.factor - 0.5).abs() < FACTOR_WITHIN, "{shy:?}");
        }
    }

    #[test]
    fn honest_uncertainties_are_called_wrong_in_one_of_20_at_most() {
        let mut normal = Normal::seeded(77);
        let runs = 4000;
        for count in [20, 60, 200] {
            let wrong = (0..runs)
                .filter(|_| {
                    let coverage = Coverage::count(&drawn(&mut normal, count, 1.0, Freedom::Two), Freedom::Two).unwrap();
                    coverage.verdict != ShareVerdict::Honest
                })
                .count();
            // The interval is exact, so that it errs in 5 % at most; four standard errors of that are 1.4 %.
            assert!((wrong as f64) < 0.064 * f64::from(runs), "{wrong} of {runs} with {count} errors");
        }
    }

    #[test]
    fn sentences() {
        let of = |inside: f64| {
            let squares: Vec<f64> = (0..25).map(|i| if i < 20 { inside } else { 50.0 }).collect();
            Coverage::count(&squares, Freedom::Two).unwrap().sentence("95 % ellipses")
        };
        // Clopper and Pearson of 20 of 25: 0.593 to 0.932.
        let seen = "20 of 25 errors (80 %) lie inside their 95 % ellipses; the true share is 59 % to 93 % (95 % interval of Clopper and Pearson)";
        assert_eq!(
            of(1.0),
            format!("{seen}: most errors fit the stated uncertainties, but too many lie far outside; look for blunders")
        );
        // √(4.99 / (2 ln 2)) = 1.9.
        assert_eq!(
            of(4.99),
            format!(
                "{seen}: the stated uncertainties are too small; multiply the standard errors by about 1.9, or look for a shift or blunders"
            )
        );
        // 15 % more are hardly larger no longer.
        let by = |factor: f64, verdict: ShareVerdict| {
            Coverage { inside: 20, of: 25, share: 0.8, low95: 0.593, high95: 0.932, factor, verdict }.sentence("95 % ellipses")
        };
        assert!(
            by(1.149, ShareVerdict::TooSmall).ends_with("look for blunders")
                && by(1.15, ShareVerdict::TooSmall).contains("about 1.1,")
        );
        assert_eq!(by(1.0, ShareVerdict::Honest), format!("{seen}: the stated uncertainties agree with the errors"));
        assert_eq!(
            by(0.52, ShareVerdict::TooLarge),
            format!(
                "{seen}: the stated uncertainties are cautious; standard errors about 0.5 times as large would fit these errors"
            )
        );
        let few = Coverage::count(&[1.0, 2.0, 0.5], Freedom::One).unwrap();
        assert!(
            few.verdict == ShareVerdict::CannotTell && few.sentence("intervals").ends_with("but 3 errors are too few to tell")
        );
    }

    proptest! {
        /// Turning an error and its covariance leaves the square as it is.
        #[test]
        fn squares_do_not_depend_on_the_axes(e in -3.0f64..3.0, n in -3.0f64..3.0, a in 0.2f64..2.0, b in 0.2f64..2.0, turn in 0.0f64..6.3) {
            let (sin, cos) = turn.sin_cos();
            let straight = Covariance::from_arm([a, 0.0, 0.0]) + Covariance::from_arm([0.0, b, 0.0]);
            let turned = Covariance::from_arm([a * cos, a * sin, 0.0]) + Covariance::from_arm([-b * sin, b * cos, 0.0]);
            let one = square_horizontal([e, n], &straight).unwrap();
            let other = square_horizontal([e * cos - n * sin, e * sin + n * cos], &turned).unwrap();
            prop_assert!((one - other).abs() < 1e-8 * one.max(1.0), "{one} {other}");
        }
    }
}
