//! Mean, standard deviation and root mean square of errors along one axis, or of radial ones.
//!
//! mean = Σe / n; s = √(Σ(e − mean)² / (n − 1)); RMSE = √(Σe² / n): the divisors of FGDC-STD-007.3-1998 and of the
//! ASPRS standards (from memory; the worked example in tests/reference/nssda.csv has them so). A mean that differs from 0 by
//! more than chance is found by Student's t = mean / (s / √n) with n − 1 degrees of freedom.

use serde::Serialize;

use super::probability::student_two_sided;

/// Chance below which a mean is called a shift.
pub const SHIFT_PROBABILITY: f64 = 0.05;

/// What errors along one axis come to. Metres.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Moments {
    /// How many errors.
    pub points: usize,
    /// Mean.
    pub mean_m: f64,
    /// Standard deviation about the mean; none of one error.
    pub standard_deviation_m: Option<f64>,
    /// Root mean square error, about 0.
    pub rmse_m: f64,
    /// The least.
    pub least_m: f64,
    /// The greatest.
    pub greatest_m: f64,
    /// Probability of a mean so far from 0 by chance alone, where there is no shift; none of one error or of equal ones.
    pub shift_probability: Option<f64>,
}

impl Moments {
    /// Of some errors in metres; none of no errors.
    pub fn from_errors(errors_m: &[f64]) -> Option<Moments> {
        let points = errors_m.len();
        let n = points as f64;
        let (least_m, greatest_m) = errors_m.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), e| (a.min(*e), b.max(*e)));
        if points == 0 {
            return None;
        }
        let mean_m = errors_m.iter().sum::<f64>() / n;
        let rmse_m = (errors_m.iter().map(|e| e * e).sum::<f64>() / n).sqrt();
        let squares: f64 = errors_m.iter().map(|e| (e - mean_m).powi(2)).sum();
        let standard_deviation_m = (points > 1).then(|| (squares / (n - 1.0)).sqrt());
        let shift_probability = standard_deviation_m
            .filter(|deviation| *deviation > 0.0)
            .map(|deviation| student_two_sided(mean_m / (deviation / n.sqrt()), n - 1.0));
        Some(Moments { points, mean_m, standard_deviation_m, rmse_m, least_m, greatest_m, shift_probability })
    }

    /// Whether the mean differs from 0 by more than chance explains.
    pub fn is_shifted(&self) -> bool {
        self.shift_probability.is_some_and(|probability| probability < SHIFT_PROBABILITY)
    }
}

/// What horizontal and vertical errors come to.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct ErrorMoments {
    /// Eastward.
    pub east: Moments,
    /// Northward.
    pub north: Moments,
    /// Lengths of the horizontal errors: RMSE is √(RMSE_east² + RMSE_north²).
    pub radial: Moments,
    /// Upward, where heights were compared.
    pub up: Option<Moments>,
}

impl ErrorMoments {
    /// Of horizontal errors (east, north) and of vertical ones, in metres; none of no horizontal ones.
    pub fn from_errors(horizontal_m: &[[f64; 2]], up_m: &[f64]) -> Option<ErrorMoments> {
        let axis = |i: usize| horizontal_m.iter().map(|error| error[i]).collect::<Vec<f64>>();
        let lengths: Vec<f64> = horizontal_m.iter().map(|[east, north]| east.hypot(*north)).collect();
        // Lengths are never about 0: a shift of them says nothing.
        let radial = Moments { shift_probability: None, ..Moments::from_errors(&lengths)? };
        Some(ErrorMoments {
            east: Moments::from_errors(&axis(0))?,
            north: Moments::from_errors(&axis(1))?,
            radial,
            up: Moments::from_errors(up_m),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rounding of sums of a few numbers.
    const ROUNDING_M: f64 = 1e-12;

    #[test]
    fn by_hand() {
        // 1, 2, 3, 6: mean 3; squares about it 4 + 1 + 0 + 9 = 14, over 3; squares about 0: 50, over 4.
        let moments = Moments::from_errors(&[1.0, 2.0, 3.0, 6.0]).unwrap();
        assert!((moments.mean_m - 3.0).abs() < ROUNDING_M);
        assert!((moments.standard_deviation_m.unwrap() - (14.0f64 / 3.0).sqrt()).abs() < ROUNDING_M);
        assert!((moments.rmse_m - 12.5f64.sqrt()).abs() < ROUNDING_M);
        assert_eq!((moments.least_m, moments.greatest_m), (1.0, 6.0));
        // t = 3 / (2.1602 / 2) = 2.7775 with 3 degrees of freedom: between 3.182 (5 %) and 2.353 (10 %) of Student's table.
        let chance = moments.shift_probability.unwrap();
        assert!((0.05..0.10).contains(&chance) && !moments.is_shifted(), "{chance}");
        assert!(Moments::from_errors(&[1.0, 1.1, 0.9, 1.05]).unwrap().is_shifted());
    }

    #[test]
    fn few_or_equal_errors_claim_nothing() {
        let one = Moments::from_errors(&[0.2]).unwrap();
        assert_eq!((one.standard_deviation_m, one.shift_probability, one.is_shifted()), (None, None, false));
        assert_eq!(Moments::from_errors(&[0.5, 0.5]).unwrap().shift_probability, None);
        assert_eq!(Moments::from_errors(&[]), None);
        // One of twenty is no shift yet.
        let by = |probability| Moments { shift_probability: Some(probability), ..one }.is_shifted();
        assert!(by(0.0499) && !by(0.05));
    }

    /// 0.9, 1.1 and 1 m east: t = 1 / (0.1 / √3) = 17.32; with two degrees of freedom 1 − t / √(2 + t²) of such means are farther off.
    #[test]
    fn a_shift_by_the_closed_form() {
        let errors = ErrorMoments::from_errors(&[[0.9, 0.1], [1.1, -0.1], [1.0, 0.0]], &[]).unwrap();
        let t = 300f64.sqrt();
        assert!((errors.east.shift_probability.unwrap() - (1.0 - t / (2.0 + t * t).sqrt())).abs() < 1e-10);
        assert!(errors.east.is_shifted() && !errors.north.is_shifted());
        // Lengths have none, however far from 0 they are.
        assert_eq!((errors.radial.shift_probability, errors.up), (None, None));
    }

    #[test]
    fn radial_errors_join_the_axes() {
        let errors = ErrorMoments::from_errors(&[[3.0, -4.0], [0.0, 5.0]], &[1.0]).unwrap();
        assert!((errors.radial.rmse_m - 5.0).abs() < ROUNDING_M);
        assert!((errors.east.rmse_m.hypot(errors.north.rmse_m) - errors.radial.rmse_m).abs() < ROUNDING_M);
        assert_eq!((errors.up.unwrap().points, errors.radial.shift_probability), (1, None));
    }
}
