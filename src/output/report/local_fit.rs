//! What the fit of a local frame to a CRS says: its parameters, and how well the known points agree.

use crate::units::Units;
use schemars::JsonSchema;
use serde::Serialize;

/// The fit of a local frame to a CRS.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct LocalFitSummary {
    /// The CRS that the frame was moved to.
    pub crs: String,
    /// What azimuths of the frame are turned by, from true north at the middle of the known points, in degrees, east positive.
    pub rotation_deg: f64,
    /// Its standard error.
    pub sigma_rotation_deg: f64,
    /// Standard errors of the shift in east and north, at the middle of the points, in metres.
    pub sigma_shift_m: [f64; 2],
    /// What is added to heights of the frame, in metres; null where no known point has a height.
    pub height_shift_m: Option<f64>,
    /// Its standard error.
    pub sigma_height_shift_m: Option<f64>,
    /// What distances of the frame would have to be stretched by, in parts per million, if that were free: it is held at 0.
    pub free_scale_ppm: f64,
    /// Its standard error.
    pub sigma_free_scale_ppm: f64,
    /// Weighted sum of the squares of the horizontal residuals, its degrees of freedom, and what it stays below in 999 of 1000 such fits.
    pub square: f64,
    /// See `square`.
    pub freedom: usize,
    /// See `square`.
    pub critical: f64,
    /// The points.
    pub points: Vec<FittedPoint>,
}

/// A known point in the fit.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct FittedPoint {
    /// Name.
    pub name: String,
    /// Whether it is a base of the frame; else a feature that was shot.
    pub is_base: bool,
    /// Known less fitted coordinates in metres: east, north, and up where both have a height.
    pub residual_m: [Option<f64>; 3],
    /// The greater of the horizontal residuals over its standard error; null where nothing checks it.
    pub normalised: Option<f64>,
}

impl LocalFitSummary {
    /// For people, in their units.
    pub fn lines(&self, units: &Units) -> Vec<String> {
        let (length, angle) = (units.length(), units.angle());
        let height = match (self.height_shift_m, self.sigma_height_shift_m) {
            (Some(shift), Some(sigma)) => {
                format!("heights raised by {}, standard error {}", length.said(shift, 3), length.said(sigma, 3))
            }
            _ => "no known point has a height, so that the layers have none".to_owned(),
        };
        let mut lines = vec![
            format!(
                "{} known points move the frame to {}: turned by {:.4} {}, standard error {:.4}; standard errors of the shift {} \
                 east, {} north; {height}",
                self.points.len(),
                self.crs,
                angle.value(self.rotation_deg),
                angle.words,
                angle.value(self.sigma_rotation_deg),
                length.said(self.sigma_shift_m[0], 3),
                length.said(self.sigma_shift_m[1], 3),
            ),
            format!(
                "the scale is held at 1; set free it would be {:+.0} ppm, standard error {:.0} ppm; weighted square of the residuals {:.2} \
                 with {} to spare (below {:.2} in 999 of 1000)",
                self.free_scale_ppm, self.sigma_free_scale_ppm, self.square, self.freedom, self.critical
            ),
        ];
        for point in &self.points {
            let shown = |residual: Option<f64>| residual.map_or("-".to_owned(), |metres| format!("{:+.3}", length.value(metres)));
            let [east, north, up] = point.residual_m.map(shown);
            let times = point.normalised.map_or(String::new(), |times| format!(", {times:.1} standard errors"));
            lines.push(format!("{}: known less fitted {east} east, {north} north, {up} up, {}{times}", point.name, length.words));
        }
        lines
    }
}
