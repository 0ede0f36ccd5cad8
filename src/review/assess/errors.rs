//! The error of each tested point: tested minus check, east, north and up, on the ground.

use serde::Serialize;

use super::check_points::{CheckPoint, CheckPoints};
use super::honesty::{Freedom, square_horizontal, square_vertical};
use crate::geodesy::covariance::Covariance;
use crate::geodesy::frame::{Ellipsoid, Geodetic};
use crate::review::finished::{MappedPoint, RecordedPointArms, horizontal_difference_m};
use crate::stations::base::HeightKind;

/// A tested point's error. Metres on the ground; east and north are true.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PointError {
    /// Name of the check point, else of the tested point.
    pub name: String,
    /// Line in the table of check points.
    pub check_line: u64,
    /// Base that the tested point was shot from.
    pub base: Option<String>,
    /// Whether a network placed the tested point.
    pub is_adjusted: bool,
    /// Input file and line that the tested point came from.
    pub source: Option<String>,
    /// Eastward error.
    pub east_m: f64,
    /// Northward error.
    pub north_m: f64,
    /// Length of the horizontal error.
    pub horizontal_m: f64,
    /// Upward error; none where the two have no kind of height in common.
    pub up_m: Option<f64>,
    /// The kind of height compared.
    pub height_kind: Option<&'static str>,
    /// Standard errors of the errors east, north and up, of the tested point, its check point and the datum step together; none where the
    /// tested point states none.
    pub sigmas_m: [Option<f64>; 3],
    /// Standard error of the check point, each horizontal axis.
    pub check_sigma_horizontal_m: Option<f64>,
    /// Standard error of the check point's height.
    pub check_sigma_vertical_m: Option<f64>,
    /// eᵀ C⁻¹ e; none where the tested point states no uncertainty.
    pub square_horizontal: Option<f64>,
    /// (e / σ)².
    pub square_vertical: Option<f64>,
    /// Whether the error lies inside its 95 % ellipse.
    pub inside_ellipse95: Option<bool>,
    /// Whether the error of the height lies inside its 95 % interval.
    pub inside_height95: Option<bool>,
    /// What the tested point errs by together with others; none where that is not known.
    #[serde(skip)]
    pub arms: Option<RecordedPointArms>,
    /// Latitude and longitude of the tested point, radians.
    #[serde(skip)]
    pub at_rad: [f64; 2],
    /// Axes on which it stands far from the others: `east`, `north`, `up`.
    pub outlying: Vec<&'static str>,
}

/// The error of a tested point against its check point, both on one datum. The standard errors of the check point and of the datum step are
/// joined to that of the tested point.
pub fn error_of(tested: &MappedPoint, check: &CheckPoint, checks: &CheckPoints, ellipsoid: &Ellipsoid) -> PointError {
    // On the ground: at the tested point's height where the check point has none.
    let height_m = if check.heights.has_any() { check.at.ellipsoid_height_m } else { tested.at.ellipsoid_height_m };
    let from = Geodetic { ellipsoid_height_m: height_m, ..check.at };
    let [east_m, north_m] = horizontal_difference_m(&from, &tested.at, ellipsoid);
    let datum_m = checks.step.as_ref().map_or(0.0, |step| step.accuracy_m);
    let known = Covariance::from_sigmas(check.sigma_horizontal_m.unwrap_or(0.0).hypot(datum_m), 0.0);
    let joint = tested.covariance.map(|covariance| covariance + known);
    let square_horizontal = joint.and_then(|joint| square_horizontal([east_m, north_m], &joint));
    let up = check.heights.to(&tested.heights);
    let sigma_up_m = up.and_then(|up| {
        // A datum step moves ellipsoidal heights alone.
        let datum_m = if up.kind == HeightKind::Ellipsoid { datum_m } else { 0.0 };
        Some(up.sigma_second_m?.hypot(up.sigma_first_m.unwrap_or(0.0)).hypot(datum_m))
    });
    let square_vertical = up.zip(sigma_up_m).and_then(|(up, sigma_m)| square_vertical(up.metres, sigma_m));
    let stated = |sigma_m: Option<f64>| sigma_m.filter(|sigma_m| *sigma_m > 0.0 && sigma_m.is_finite());
    PointError {
        name: check.name.clone().unwrap_or_else(|| tested.label()),
        check_line: check.line,
        base: tested.base.clone(),
        is_adjusted: tested.is_adjusted,
        source: tested.source.as_ref().map(|(file, line)| format!("{file}:{line}")),
        east_m,
        north_m,
        horizontal_m: east_m.hypot(north_m),
        up_m: up.map(|up| up.metres),
        height_kind: up.map(|up| up.kind.word()),
        sigmas_m: [joint.map(|joint| joint.ee.sqrt()), joint.map(|joint| joint.nn.sqrt()), sigma_up_m].map(stated),
        check_sigma_horizontal_m: check.sigma_horizontal_m,
        check_sigma_vertical_m: check.heights.sigma_m,
        square_horizontal,
        square_vertical,
        inside_ellipse95: square_horizontal.map(|square| square <= Freedom::Two.edge()),
        inside_height95: square_vertical.map(|square| square <= Freedom::One.edge()),
        arms: None,
        at_rad: [tested.at.lat_rad, tested.at.lon_rad],
        outlying: Vec::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geodesy::covariance::{ELLIPSE95, INTERVAL95};
    use crate::geodesy::crs::Operation;
    use crate::review::finished::invented::point;
    use crate::review::finished::{DatumStep, HeightKnown};

    fn heights(ellipsoid_m: Option<f64>, orthometric_m: Option<f64>, sigma_m: Option<f64>) -> HeightKnown {
        HeightKnown { ellipsoid_m, orthometric_m, kind: None, sigma_m, sigma_geoid_m: None }
    }

    /// A check point 500 m over the ellipsoid, and a tested one so far from it east and north, with equal errors and none aslant.
    fn error(east_m: f64, north_m: f64, step_m: Option<f64>, change: impl Fn(&mut MappedPoint, &mut CheckPoint)) -> PointError {
        let ellipsoid = Ellipsoid::WGS84;
        let at = Geodetic { lat_rad: 0.8, lon_rad: 0.2, ellipsoid_height_m: 500.0 };
        let frame = crate::geodesy::frame::LocalFrame::at(&at, &ellipsoid);
        let place = Geodetic::from_earth_centred(frame.to_earth_centred([east_m, north_m, 0.0]), &ellipsoid);
        let mut tested = MappedPoint {
            base: Some("B".into()),
            source: Some(("log.csv".into(), "7".into())),
            heights: heights(Some(501.2), None, Some(0.4)),
            covariance: Some(Covariance::from_sigmas(0.3, 0.0)),
            ..point("oak", Geodetic { ellipsoid_height_m: 501.2, ..place })
        };
        let mut check =
            CheckPoint { name: None, line: 3, at, heights: heights(Some(500.0), None, Some(0.3)), sigma_horizontal_m: Some(0.4) };
        change(&mut tested, &mut check);
        let operation = Operation {
            from: String::new(),
            to: String::new(),
            name: String::new(),
            accuracy_m: step_m,
            ballpark: false,
            grids: Vec::new(),
            area_of_use: None,
            time_dependent: false,
            null_within_accuracy: false,
            passed_over: None,
        };
        let step = step_m.map(|accuracy_m| DatumStep { operation, accuracy_m, others: 0 });
        let checks = CheckPoints { points: Vec::new(), crs: String::new(), is_crs_of_layer: false, step };
        error_of(&tested, &check, &checks, &ellipsoid)
    }

    fn near(got: f64, want: f64) {
        assert!((got - want).abs() < 1e-5, "{got} {want}");
    }

    #[test]
    fn an_error_over_what_both_points_err_by() {
        let found = error(0.6, -0.8, None, |_, _| ());
        near(found.east_m, 0.6);
        near(found.north_m, -0.8);
        near(found.horizontal_m, 1.0);
        near(found.up_m.unwrap(), 1.2);
        // 0.3 and 0.4 m make 0.5 m an axis, so that 1 m is two of them; 0.4 and 0.3 m of height make 0.5 m.
        found.sigmas_m.into_iter().for_each(|sigma| near(sigma.unwrap(), 0.5));
        near(found.square_horizontal.unwrap(), 4.0);
        near(found.square_vertical.unwrap(), 5.76);
        assert_eq!((found.inside_ellipse95, found.inside_height95), (Some(true), Some(false)));
        assert_eq!(
            (found.name.as_str(), found.source.as_deref(), found.height_kind),
            ("oak", Some("log.csv:7"), Some("ellipsoidal"))
        );
        // With a step of 1.2 m between the datums: 1.3 m.
        let found = error(0.6, -0.8, Some(1.2), |_, _| ());
        found.sigmas_m.into_iter().for_each(|sigma| near(sigma.unwrap(), 1.3));
        near(found.square_horizontal.unwrap(), 1.0 / 1.69);
        // It moves no orthometric height.
        let orthometric = |tested: &mut MappedPoint, check: &mut CheckPoint| {
            (tested.heights, check.heights) = (heights(None, Some(20.0), Some(0.4)), heights(None, Some(20.3), Some(0.3)));
        };
        let found = error(0.6, -0.8, Some(1.2), orthometric);
        near(found.up_m.unwrap(), -0.3);
        near(found.sigmas_m[2].unwrap(), 0.5);
    }

    #[test]
    fn inside_and_outside_of_what_is_stated() {
        for share in [0.999, 1.001] {
            let found = error(share * ELLIPSE95 * 0.5, 0.0, None, |_, _| ());
            assert_eq!(found.inside_ellipse95, Some(share < 1.0));
            let found = error(0.0, 0.0, None, |tested, _| tested.heights.ellipsoid_m = Some(500.0 - share * INTERVAL95 * 0.5));
            assert_eq!(found.inside_height95, Some(share < 1.0));
        }
        // What is not stated is not judged.
        let found = error(0.6, -0.8, None, |tested, _| (tested.covariance, tested.heights.sigma_m) = (None, None));
        assert_eq!((found.sigmas_m, found.square_horizontal, found.square_vertical), ([None; 3], None, None));
        let found = error(0.6, -0.8, None, |tested, check| {
            (tested.covariance, check.sigma_horizontal_m) = (Some(Covariance::default()), None);
            (tested.heights.sigma_m, check.heights.sigma_m) = (Some(0.0), None);
        });
        assert_eq!((found.sigmas_m, found.square_vertical), ([None; 3], None));
        // Where the check point has no height the ground is the tested point's.
        let high = |height_m: Option<f64>| {
            let found = error(1000.0, 0.0, None, |tested, check| {
                tested.at.ellipsoid_height_m = 6_000.0;
                (check.heights, check.at.ellipsoid_height_m) = (heights(height_m, None, None), height_m.unwrap_or(0.0));
            });
            found.east_m
        };
        let radius_m = 6_389_000.0;
        assert!((high(None) / high(Some(500.0)) - 1.0 - 5_500.0 / radius_m).abs() < 2e-6, "{} {}", high(None), high(Some(500.0)));
    }
}
