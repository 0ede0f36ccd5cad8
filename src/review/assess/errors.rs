//! The error of each tested point: tested minus check, east, north and up, on the ground.

use serde::Serialize;

use super::check_points::{CheckPoint, CheckPoints};
use super::honesty::{Freedom, square_horizontal, square_vertical};
use crate::geodesy::covariance::Covariance;
use crate::geodesy::frame::{Ellipsoid, Geodetic};
use crate::review::finished::{MappedPoint, PointArms, horizontal_difference_m};
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
    pub arms: Option<PointArms>,
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
