//! Root mean square errors as the ASPRS asks for them in the first edition of its accuracy standards (2014), and with the error of the
//! check points' own survey in them.
//!
//! First edition: RMSE_x, RMSE_y, RMSE_r and RMSE_z of the check points; the worked example of tests/reference/nssda.csv has them so. That it
//! asks for 20 check points, three times as good as the data, is from memory, and said so where it is shown. With the check points'
//! survey in it: √(fit² + survey²) of independent errors (the law of propagation), the survey's radial part being twice the mean square
//! of an axis's standard error, and both parts together in three dimensions. The second edition (2023) is reported to ask for such
//! figures; its forms and its wording could not be read, so nothing here bears its name.

use serde::Serialize;

/// Check points that the first edition asks for.
pub const LEAST_POINTS_2014: usize = 20;
/// How many times better than the data the first edition wants its check points.
pub const TIMES_BETTER: f64 = 3.0;

/// An RMSE with the check points' error in it. Metres.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct JoinedRmse {
    /// Fit of the data to the check points.
    pub fit_m: f64,
    /// Error of the check points' survey.
    pub survey_m: f64,
    /// Both together.
    pub rmse_m: f64,
}

impl JoinedRmse {
    fn join(fit_m: f64, survey_m: f64) -> JoinedRmse {
        JoinedRmse { fit_m, survey_m, rmse_m: fit_m.hypot(survey_m) }
    }
}

/// Root mean square errors with the check points' survey in them.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct WithSurvey {
    /// Horizontal; none where a check point's horizontal standard error is not known.
    pub horizontal: Option<JoinedRmse>,
    /// Vertical; none without heights, or where a check point's vertical standard error is not known.
    pub vertical: Option<JoinedRmse>,
    /// Of both together in metres; none where either is missing.
    pub rmse_3d_m: Option<f64>,
}

/// √mean(σ²); none where any is not known, or there are none.
fn root_mean_square(sigmas_m: &[Option<f64>]) -> Option<f64> {
    let squares: f64 = sigmas_m.iter().map(|sigma| sigma.map(|sigma| sigma * sigma)).sum::<Option<f64>>()?;
    (!sigmas_m.is_empty()).then(|| (squares / sigmas_m.len() as f64).sqrt())
}

/// The figures of a radial RMSE and one of heights, with the standard errors of the check points behind each:
/// of each horizontal axis, and of the height. Metres.
pub fn with_survey(
    rmse_radial_m: f64,
    sigmas_horizontal_m: &[Option<f64>],
    rmse_up_m: Option<f64>,
    sigmas_vertical_m: &[Option<f64>],
) -> WithSurvey {
    let horizontal = root_mean_square(sigmas_horizontal_m).map(|sigma| JoinedRmse::join(rmse_radial_m, 2f64.sqrt() * sigma));
    let vertical = rmse_up_m.zip(root_mean_square(sigmas_vertical_m)).map(|(fit, sigma)| JoinedRmse::join(fit, sigma));
    let rmse_3d_m = horizontal.zip(vertical).map(|(h, v)| h.rmse_m.hypot(v.rmse_m));
    WithSurvey { horizontal, vertical, rmse_3d_m }
}

/// Whether check points are some times better than the data: their RMS standard error of one axis against an RMSE of one axis.
/// None where a standard error is not known.
pub fn is_source_better(sigmas_m: &[Option<f64>], rmse_m: f64, times: f64) -> Option<bool> {
    root_mean_square(sigmas_m).map(|sigma| times * sigma <= rmse_m)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rounding of a few operations.
    const ROUNDING_M: f64 = 1e-12;

    #[test]
    fn the_survey_of_the_check_points_is_in_it() {
        // Horizontal: 0.05 fit; σ 0.03 and 0.01 an axis: mean square 0.0005, twice 0.001. Vertical: 0.12 and 0.05 make 0.13.
        let edition = with_survey(0.05, &[Some(0.03), Some(0.01)], Some(0.12), &[Some(0.05), Some(0.05)]);
        let (horizontal, vertical) = (edition.horizontal.unwrap(), edition.vertical.unwrap());
        assert!((horizontal.rmse_m - 0.0035f64.sqrt()).abs() < ROUNDING_M);
        assert!((vertical.rmse_m - 0.13).abs() < ROUNDING_M);
        assert!((edition.rmse_3d_m.unwrap() - (0.0035f64 + 0.0169).sqrt()).abs() < ROUNDING_M);
    }

    #[test]
    fn an_unknown_survey_gives_no_figure() {
        let edition = with_survey(0.05, &[Some(0.03), None], Some(0.12), &[Some(0.05)]);
        assert_eq!((edition.horizontal, edition.rmse_3d_m), (None, None));
        assert!(edition.vertical.is_some());
        assert_eq!(with_survey(0.05, &[], None, &[]).vertical, None);
        assert_eq!(is_source_better(&[Some(0.1), Some(0.1)], 0.31, TIMES_BETTER), Some(true));
        assert_eq!(is_source_better(&[Some(0.1), Some(0.1)], 0.29, TIMES_BETTER), Some(false));
        assert_eq!(is_source_better(&[None], 0.29, 1.0), None);
    }
}
