//! Positional accuracy by the standards of the ASPRS for digital geospatial data: the first edition (2014) and the second (2023, in
//! its version of 2024).
//!
//! First edition: RMSE_x, RMSE_y, RMSE_r and RMSE_z of the check points, and their 95 % figures by the forms of the US national
//! standard ([`super::nssda`]); at least 20 check points; check points three times as good as the data. From memory.
//! Second edition: RMSE with the error of the check points' own survey in it, RMSE_H = √(RMSE_H1² + RMSE_H2²), RMSE_V likewise, and
//! RMSE_3D = √(RMSE_H² + RMSE_V²), 1 being the fit to the check points and 2 their survey; at least 30 check points; no 95 % figure.
//! The 30 points, RMSE in place of 95 %, the check points' error and a three-dimensional term were read in a trade paper of
//! December 2023; the formulas and the wording are from memory. RMSE_H is radial: RMSE_H1² = RMSE_x² + RMSE_y², and the survey's
//! part is taken as twice the mean square of each axis's standard error.

use serde::Serialize;

/// Check points that the first edition asks for.
pub const LEAST_POINTS_2014: usize = 20;
/// Check points that the second edition asks for.
pub const LEAST_POINTS_2024: usize = 30;
/// How many times better than the data the first edition wants its check points.
pub const TIMES_BETTER: f64 = 3.0;

/// An RMSE with the check points' error in it. Metres.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Joined {
    /// Fit of the data to the check points.
    pub fit_m: f64,
    /// Error of the check points' survey.
    pub survey_m: f64,
    /// Both together.
    pub rmse_m: f64,
}

impl Joined {
    fn of(fit_m: f64, survey_m: f64) -> Joined {
        Joined { fit_m, survey_m, rmse_m: fit_m.hypot(survey_m) }
    }
}

/// The second edition's figures.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SecondEdition {
    /// RMSE_H; none where a check point's horizontal standard error is not known.
    pub horizontal: Option<Joined>,
    /// RMSE_V; none without heights, or where a check point's vertical standard error is not known.
    pub vertical: Option<Joined>,
    /// RMSE_3D in metres; none where either is missing.
    pub rmse_3d_m: Option<f64>,
}

/// √mean(σ²); none where any is not known, or there are none.
fn root_mean_square(sigmas_m: &[Option<f64>]) -> Option<f64> {
    let squares: f64 = sigmas_m.iter().map(|sigma| sigma.map(|sigma| sigma * sigma)).sum::<Option<f64>>()?;
    (!sigmas_m.is_empty()).then(|| (squares / sigmas_m.len() as f64).sqrt())
}

/// The second edition's figures of a radial RMSE and one of heights, with the standard errors of the check points behind each:
/// of each horizontal axis, and of the height. Metres.
pub fn second_edition(
    rmse_radial_m: f64,
    sigmas_horizontal_m: &[Option<f64>],
    rmse_up_m: Option<f64>,
    sigmas_vertical_m: &[Option<f64>],
) -> SecondEdition {
    let horizontal = root_mean_square(sigmas_horizontal_m).map(|sigma| Joined::of(rmse_radial_m, 2f64.sqrt() * sigma));
    let vertical = rmse_up_m.zip(root_mean_square(sigmas_vertical_m)).map(|(fit, sigma)| Joined::of(fit, sigma));
    let rmse_3d_m = horizontal.zip(vertical).map(|(h, v)| h.rmse_m.hypot(v.rmse_m));
    SecondEdition { horizontal, vertical, rmse_3d_m }
}

/// Whether check points are some times better than the data: their RMS standard error of one axis against an RMSE of one axis.
/// None where a standard error is not known.
pub fn is_source_better(sigmas_m: &[Option<f64>], rmse_m: f64, times: f64) -> Option<bool> {
    root_mean_square(sigmas_m).map(|sigma| times * sigma <= rmse_m)
}

/// The first edition's sentence on what was found. From memory.
pub fn sentence_2014_horizontal(rmse_x_m: f64, rmse_y_m: f64, accuracy95_m: f64) -> String {
    let cm = |metres: f64| format!("{:.1} cm", 100.0 * metres);
    format!(
        "Actual positional accuracy was found to be RMSEx = {} and RMSEy = {} which equates to Positional Horizontal Accuracy = +/- {} \
         at 95% confidence level",
        cm(rmse_x_m),
        cm(rmse_y_m),
        cm(accuracy95_m)
    )
}

/// The same for heights: the first edition's non-vegetated vertical accuracy. From memory.
pub fn sentence_2014_vertical(rmse_z_m: f64, accuracy95_m: f64) -> String {
    format!(
        "Actual NVA accuracy was found to be RMSEz = {:.1} cm, equating to +/- {:.1} cm at 95% confidence level",
        100.0 * rmse_z_m,
        100.0 * accuracy95_m
    )
}

/// The second edition's sentence on what was found; `what` is `horizontal`, `vertical` or `three-dimensional`, `symbol` the
/// standard's. From memory.
pub fn sentence_2024(what: &str, symbol: &str, rmse_m: f64) -> String {
    format!("The tested {what} positional accuracy was found to be {symbol} = {:.1} cm", 100.0 * rmse_m)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rounding of a few operations.
    const ROUNDING_M: f64 = 1e-12;

    #[test]
    fn the_survey_of_the_check_points_is_in_it() {
        // Horizontal: 0.05 fit; σ 0.03 and 0.01 an axis: mean square 0.0005, twice 0.001. Vertical: 0.12 and 0.05 make 0.13.
        let edition = second_edition(0.05, &[Some(0.03), Some(0.01)], Some(0.12), &[Some(0.05), Some(0.05)]);
        let (horizontal, vertical) = (edition.horizontal.unwrap(), edition.vertical.unwrap());
        assert!((horizontal.rmse_m - 0.0035f64.sqrt()).abs() < ROUNDING_M);
        assert!((vertical.rmse_m - 0.13).abs() < ROUNDING_M);
        assert!((edition.rmse_3d_m.unwrap() - (0.0035f64 + 0.0169).sqrt()).abs() < ROUNDING_M);
    }

    #[test]
    fn an_unknown_survey_gives_no_figure() {
        let edition = second_edition(0.05, &[Some(0.03), None], Some(0.12), &[Some(0.05)]);
        assert_eq!((edition.horizontal, edition.rmse_3d_m), (None, None));
        assert!(edition.vertical.is_some());
        assert_eq!(second_edition(0.05, &[], None, &[]).vertical, None);
        assert_eq!(is_source_better(&[Some(0.1), Some(0.1)], 0.31, TIMES_BETTER), Some(true));
        assert_eq!(is_source_better(&[Some(0.1), Some(0.1)], 0.29, TIMES_BETTER), Some(false));
        assert_eq!(is_source_better(&[None], 0.29, 1.0), None);
    }

    #[test]
    fn sentences() {
        assert_eq!(
            sentence_2024("horizontal", "RMSEH", 0.1216),
            "The tested horizontal positional accuracy was found to be RMSEH = 12.2 cm"
        );
        assert!(sentence_2014_horizontal(0.09082, 0.08089, 0.21015).contains("RMSEx = 9.1 cm and RMSEy = 8.1 cm"));
        assert!(
            sentence_2014_vertical(0.03318, 0.06504).ends_with("RMSEz = 3.3 cm, equating to +/- 6.5 cm at 95% confidence level")
        );
    }
}
