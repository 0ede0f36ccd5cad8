//! What the errors come to by each standard, with the sentence for metadata, or what is missing for it.

use std::collections::BTreeSet;

use serde::Serialize;

use super::moments::Errors;
use super::nssda::{self, Form};
use super::{asprs, errors::PointError};

/// A figure of a standard.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Claim {
    /// The standard.
    pub standard: &'static str,
    /// `horizontal`, `vertical` or `three-dimensional`.
    pub what: &'static str,
    /// What the figure is.
    pub figure: String,
    /// The figure in metres; none where it cannot be computed.
    pub value_m: Option<f64>,
    /// The sentence for metadata; none where a condition of the standard is not met.
    pub sentence: Option<String>,
    /// Conditions that are not met, in sentences.
    pub missing: Vec<String>,
}

const NSSDA: &str = "NSSDA (FGDC-STD-007.3-1998)";
const FIRST: &str = "ASPRS edition 1 (2014)";
const SECOND: &str = "ASPRS edition 2 (2024)";

impl Claim {
    fn new(
        standard: &'static str,
        what: &'static str,
        figure: String,
        value_m: f64,
        sentence: String,
        missing: Vec<String>,
    ) -> Claim {
        Claim { standard, what, figure, value_m: Some(value_m), sentence: missing.is_empty().then_some(sentence), missing }
    }
}

/// The figures of all standards for some errors.
pub fn claims(errors: &Errors, points: &[PointError]) -> Vec<Claim> {
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
        claims.push(Claim::new(NSSDA, "vertical", figure, accuracy95_m, nssda::sentence(accuracy95_m, "vertical"), missing));
        let better = source_is_worse(&vertical_sigmas, up.rmse_m, asprs::TIMES_BETTER);
        let missing = [few(tall_checks, asprs::LEAST_POINTS_2014), better].into_iter().flatten().collect();
        let sentence = asprs::sentence_2014_vertical(up.rmse_m, accuracy95_m);
        claims.push(Claim::new(FIRST, "vertical", "RMSEz".to_owned(), up.rmse_m, sentence, missing));
    }
    let rmse_up_m = errors.up.map(|up| up.rmse_m);
    let edition = asprs::second_edition(errors.radial.rmse_m, &horizontal_sigmas, rmse_up_m, &vertical_sigmas);
    let mut second = |what: &'static str, symbol: &str, value_m: Option<f64>, count: usize| {
        let unknown = value_m.is_none().then(|| {
            "the standard errors of the check points go into it; give them in sigma_horizontal_m and sigma_vertical_m".to_owned()
        });
        let missing: Vec<String> = [few(count, asprs::LEAST_POINTS_2024), unknown].into_iter().flatten().collect();
        let sentence = value_m.map(|metres| asprs::sentence_2024(what, symbol, metres)).filter(|_| missing.is_empty());
        claims.push(Claim { standard: SECOND, what, figure: symbol.to_owned(), value_m, sentence, missing });
    };
    second("horizontal", "RMSEH", edition.horizontal.map(|joined| joined.rmse_m), checks);
    if errors.up.is_some() {
        second("vertical", "RMSEV", edition.vertical.map(|joined| joined.rmse_m), tall_checks);
        second("three-dimensional", "RMSE3D", edition.rmse_3d_m, tall_checks);
    }
    claims
}

fn horizontal_claims(errors: &Errors, count: usize, sigmas: &[Option<f64>], claims: &mut Vec<Claim>) {
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
    let accuracy95_m = horizontal.accuracy95_m;
    let sentence = nssda::sentence(accuracy95_m, "horizontal");
    claims.push(Claim::new(NSSDA, "horizontal", format!("accuracy at 95 %, {form}"), accuracy95_m, sentence, missing));
    let worse = source_is_worse(sigmas, least_m, asprs::TIMES_BETTER);
    let missing = [few(count, asprs::LEAST_POINTS_2014), uneven, worse].into_iter().flatten().collect();
    let sentence = asprs::sentence_2014_horizontal(east_m, north_m, accuracy95_m);
    claims.push(Claim::new(FIRST, "horizontal", "RMSEr".to_owned(), errors.radial.rmse_m, sentence, missing));
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
mod tests {
    use super::*;

    fn point(line: u64, east_m: f64, north_m: f64, up_m: Option<f64>, sigma_m: Option<f64>) -> PointError {
        PointError {
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

    fn of(points: &[PointError]) -> Vec<Claim> {
        let horizontal: Vec<[f64; 2]> = points.iter().map(|point| [point.east_m, point.north_m]).collect();
        let up: Vec<f64> = points.iter().filter_map(|point| point.up_m).collect();
        claims(&Errors::of(&horizontal, &up).unwrap(), points)
    }

    /// Errors of ±0.3 east, ±0.4 north, ±0.5 up.
    fn even(count: usize, sigma_m: Option<f64>) -> Vec<PointError> {
        let sign = |i: usize| if i.is_multiple_of(2) { 1.0 } else { -1.0 };
        (0..count).map(|i| point(i as u64, 0.3 * sign(i), 0.4 * sign(i / 2), Some(0.5 * sign(i)), sigma_m)).collect()
    }

    #[test]
    fn with_points_enough_every_sentence_stands() {
        let claims = of(&even(30, Some(0.05)));
        assert_eq!(claims.len(), 7);
        for claim in &claims {
            assert!(claim.missing.is_empty() && claim.sentence.is_some(), "{claim:?}");
        }
        // 2.4477 · 0.35 = 0.8567; 1.96 · 0.5.
        assert_eq!(claims[0].sentence.as_deref(), Some("Tested 0.86 meters horizontal accuracy at 95% confidence level"));
        assert_eq!(claims[2].sentence.as_deref(), Some("Tested 0.98 meters vertical accuracy at 95% confidence level"));
    }

    #[test]
    fn a_sentence_is_kept_back_for_what_is_missing() {
        for (count, sigma_m, standing) in
            [(19, Some(0.05), 0), (20, Some(0.05), 4), (29, Some(0.05), 4), (30, None, 4), (30, Some(0.11), 6)]
        {
            let claims = of(&even(count, sigma_m));
            let stand = claims.iter().filter(|claim| claim.sentence.is_some()).count();
            assert_eq!(stand, standing, "{count} points, {sigma_m:?}: {claims:#?}");
            assert!(claims.iter().all(|claim| claim.sentence.is_some() == claim.missing.is_empty()));
        }
        // A feature that was shot twice has one check point still.
        let mut twice = even(20, Some(0.05));
        twice[19].check_line = 0;
        assert_eq!(of(&twice)[0].missing, ["it asks for at least 20 check points, and 19 were compared"]);
        let claims = of(&even(19, None));
        assert_eq!(claims[0].missing, ["it asks for at least 20 check points, and 19 were compared"]);
        assert!((claims[0].value_m.unwrap() - 2.4477 * 0.35).abs() < 1e-9);
    }

    #[test]
    fn uneven_axes_get_a_figure_but_no_sentence() {
        let points: Vec<PointError> = (0..20).map(|i| point(i, 1.0, if i % 2 == 0 { 0.1 } else { -0.1 }, None, None)).collect();
        let claims = of(&points);
        assert!(claims[0].sentence.is_none() && claims[0].missing[0].contains("0.10 of the greater"), "{claims:#?}");
        assert!((claims[0].value_m.unwrap() - 1.96).abs() < 0.03);
    }
}
