//! What the errors come to by each standard, and which of its conditions are not met.

use std::collections::BTreeSet;

use serde::Serialize;

use super::moments::ErrorMoments;
use super::nssda::{self, Form};
use super::{asprs, errors::PointError};

/// A figure of a standard.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StandardFigure {
    /// The standard.
    pub standard: &'static str,
    /// `horizontal`, `vertical` or `three-dimensional`.
    pub what: &'static str,
    /// What the figure is.
    pub figure: String,
    /// The figure in metres; none where it cannot be computed.
    pub value_m: Option<f64>,
    /// Conditions that are not met, in sentences.
    pub missing: Vec<String>,
}

/// What stands beside the figures.
pub const BEFORE_A_CLAIM: &str = "What a standard asks for is summarised here, and its own wording is not given: read the standard before you claim \
                                  an accuracy by it.";

const NSSDA: &str = "NSSDA (FGDC-STD-007.3-1998)";
const FIRST: &str = "ASPRS edition 1 (2014)";
/// Of no standard's name: see [`asprs`].
const SURVEYED: &str = "with the check points' own errors in it";

/// The figures of all standards for some errors.
pub fn claims(errors: &ErrorMoments, points: &[PointError]) -> Vec<StandardFigure> {
    let horizontal_sigmas: Vec<Option<f64>> = points.iter().map(|point| point.check_sigma_horizontal_m).collect();
    let tall: Vec<&PointError> = points.iter().filter(|point| point.up_m.is_some()).collect();
    let vertical_sigmas: Vec<Option<f64>> = tall.iter().map(|point| point.check_sigma_vertical_m).collect();
    // A feature that was shot several times has one check point.
    let checks = points.iter().map(|point| point.check_line).collect::<BTreeSet<u64>>().len();
    let tall_checks = tall.iter().map(|point| point.check_line).collect::<BTreeSet<u64>>().len();
    let mut claims = Vec::new();
    horizontal_claims(errors, checks, &horizontal_sigmas, &mut claims);
    if let Some(up) = errors.up {
        let accuracy95_m = nssda::vertical95_m(up.rmse_m);
        let better = source_is_worse(&vertical_sigmas, up.rmse_m, 1.0);
        let missing = [few(tall_checks, nssda::LEAST_POINTS), better].into_iter().flatten().collect();
        let figure = "accuracy at 95 %, 1.9600 RMSE".to_owned();
        claims.push(StandardFigure { standard: NSSDA, what: "vertical", figure, value_m: Some(accuracy95_m), missing });
        let better = source_is_worse(&vertical_sigmas, up.rmse_m, asprs::TIMES_BETTER);
        let missing = [few(tall_checks, asprs::LEAST_POINTS_2014), better].into_iter().flatten().collect();
        claims.push(StandardFigure {
            standard: FIRST,
            what: "vertical",
            figure: "RMSEz".to_owned(),
            value_m: Some(up.rmse_m),
            missing,
        });
    }
    let rmse_up_m = errors.up.map(|up| up.rmse_m);
    let surveyed = asprs::with_survey(errors.radial.rmse_m, &horizontal_sigmas, rmse_up_m, &vertical_sigmas);
    let mut with = |what: &'static str, value_m: Option<f64>| {
        let unknown = value_m.is_none().then(|| {
            "the standard errors of the check points go into it; give them in sigma_horizontal_m and sigma_vertical_m".to_owned()
        });
        let missing = unknown.into_iter().collect();
        claims.push(StandardFigure { standard: SURVEYED, what, figure: "RMSE".to_owned(), value_m, missing });
    };
    with("horizontal", surveyed.horizontal.map(|joined| joined.rmse_m));
    if errors.up.is_some() {
        with("vertical", surveyed.vertical.map(|joined| joined.rmse_m));
        with("three-dimensional", surveyed.rmse_3d_m);
    }
    claims
}

fn horizontal_claims(errors: &ErrorMoments, count: usize, sigmas: &[Option<f64>], claims: &mut Vec<StandardFigure>) {
    let (east_m, north_m) = (errors.east.rmse_m, errors.north.rmse_m);
    let horizontal = nssda::horizontal(east_m, north_m);
    let uneven = (horizontal.form == Form::Neither).then(|| {
        format!(
            "no form of the standard applies: the smaller of the two RMSE is {:.2} of the greater, below 0.6; the figure is an \
             approximate 95 % circle",
            horizontal.axes_ratio
        )
    });
    let form = match horizontal.form {
        Form::EqualAxes => "1.7308 RMSEr",
        Form::NearlyEqualAxes => "2.4477 times the mean of both RMSE",
        Form::Neither => "approximate circle",
    };
    // An axis of the check points against the better axis of the data.
    let least_m = east_m.min(north_m);
    let worse = source_is_worse(sigmas, least_m, 1.0);
    let missing = [few(count, nssda::LEAST_POINTS), uneven.clone(), worse].into_iter().flatten().collect();
    let (figure, value_m) = (format!("accuracy at 95 %, {form}"), Some(horizontal.accuracy95_m));
    claims.push(StandardFigure { standard: NSSDA, what: "horizontal", figure, value_m, missing });
    let worse = source_is_worse(sigmas, least_m, asprs::TIMES_BETTER);
    let missing = [few(count, asprs::LEAST_POINTS_2014), uneven, worse].into_iter().flatten().collect();
    let (figure, value_m) = ("RMSEr".to_owned(), Some(errors.radial.rmse_m));
    claims.push(StandardFigure { standard: FIRST, what: "horizontal", figure, value_m, missing });
}

fn few(count: usize, least: usize) -> Option<String> {
    (count < least).then(|| format!("it asks for at least {least} check points, and {count} were compared"))
}

/// What is wrong with check points that are not known to be better than the data by a factor.
fn source_is_worse(sigmas: &[Option<f64>], rmse_m: f64, times: f64) -> Option<String> {
    let is_better = asprs::is_source_better(sigmas, rmse_m, times)?;
    let wanted = if times > 1.0 { format!("{times} times as good as the data") } else { "better than the data".to_owned() };
    (!is_better).then(|| format!("it asks for check points that are {wanted}; by their standard errors these are not"))
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    pub fn point(line: u64, east_m: f64, north_m: f64, up_m: Option<f64>, sigma_m: Option<f64>) -> PointError {
        PointError {
            arms: None,
            name: "P".into(),
            check_line: line,
            base: None,
            is_adjusted: false,
            source: None,
            east_m,
            north_m,
            horizontal_m: east_m.hypot(north_m),
            up_m,
            height_kind: None,
            sigmas_m: [None; 3],
            check_sigma_horizontal_m: sigma_m,
            check_sigma_vertical_m: sigma_m,
            square_horizontal: None,
            square_vertical: None,
            inside_ellipse95: None,
            inside_height95: None,
            at_rad: [0.0; 2],
            outlying: Vec::new(),
        }
    }

    fn claimed(points: &[PointError]) -> Vec<StandardFigure> {
        let horizontal: Vec<[f64; 2]> = points.iter().map(|point| [point.east_m, point.north_m]).collect();
        let up: Vec<f64> = points.iter().filter_map(|point| point.up_m).collect();
        claims(&ErrorMoments::from_errors(&horizontal, &up).unwrap(), points)
    }

    /// Errors of ±0.3 east, ±0.4 north, ±0.5 up.
    fn even(count: usize, sigma_m: Option<f64>) -> Vec<PointError> {
        let sign = |i: usize| if i.is_multiple_of(2) { 1.0 } else { -1.0 };
        (0..count).map(|i| point(i as u64, 0.3 * sign(i), 0.4 * sign(i / 2), Some(0.5 * sign(i)), sigma_m)).collect()
    }

    #[test]
    fn with_points_enough_nothing_is_missing() {
        let claims = claimed(&even(30, Some(0.05)));
        assert_eq!(claims.len(), 7);
        assert!(claims.iter().all(|claim| claim.missing.is_empty()), "{claims:#?}");
        let value = |index: usize| claims[index].value_m.unwrap();
        // 2.4477 · 0.35, 0.5, 1.96 · 0.5; with the survey √(0.25 + 2 · 0.0025), √(0.25 + 0.0025) and both together.
        for (index, want) in
            [(0, 0.856_695), (1, 0.5), (2, 0.98), (4, 0.255f64.sqrt()), (5, 0.2525f64.sqrt()), (6, 0.5075f64.sqrt())]
        {
            assert!((value(index) - want).abs() < 1e-9, "{index}: {claims:#?}");
        }
    }

    #[test]
    fn what_a_standard_asks_for_and_is_not_met_is_told() {
        for (count, sigma_m, met) in
            [(19, Some(0.05), 3), (20, Some(0.05), 7), (30, None, 4), (20, Some(0.11), 6), (20, Some(0.17), 5)]
        {
            let claims = claimed(&even(count, sigma_m));
            let all_met = claims.iter().filter(|claim| claim.missing.is_empty()).count();
            assert_eq!(all_met, met, "{count} points, {sigma_m:?}: {claims:#?}");
        }
        // A feature that was shot twice has one check point still.
        let mut twice = even(20, Some(0.05));
        twice[19].check_line = 0;
        assert_eq!(claimed(&twice)[0].missing, ["it asks for at least 20 check points, and 19 were compared"]);
        let worse = claimed(&even(20, Some(0.6)));
        let told: Vec<&[String]> = worse.iter().take(4).map(|claim| claim.missing.as_slice()).collect();
        let better =
            ["it asks for check points that are better than the data; by their standard errors these are not".to_owned()];
        let thrice =
            ["it asks for check points that are 3 times as good as the data; by their standard errors these are not".to_owned()];
        assert_eq!(told, [&better[..], &thrice, &better, &thrice]);
        let claims = claimed(&even(19, None));
        assert_eq!(claims[0].missing, ["it asks for at least 20 check points, and 19 were compared"]);
        assert!((claims[0].value_m.unwrap() - 2.4477 * 0.35).abs() < 1e-9);
    }

    #[test]
    fn uneven_axes_get_a_figure_and_are_told() {
        let points: Vec<PointError> = (0..20).map(|i| point(i, 1.0, if i % 2 == 0 { 0.1 } else { -0.1 }, None, None)).collect();
        let claims = claimed(&points);
        assert!(claims[0].missing[0].contains("0.10 of the greater"), "{claims:#?}");
        assert!((claims[0].value_m.unwrap() - 1.96).abs() < 0.03);
    }
}
