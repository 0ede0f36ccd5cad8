//! One line between two points: its values by name, and the sentences where errors or the earth's surface hide one.

use crate::geodesy::register::Estimate;
use crate::measure::NamedValue;
use crate::units::Units;

/// Fall of the earth's surface, in metres, from which it is told.
const FALL_TOLD_M: f64 = 0.01;

/// The values of one line; what its errors hide is none.
pub(super) struct LineValues {
    pub labels: [String; 2],
    pub slope: Estimate,
    pub horizontal: Estimate,
    pub vertical: Estimate,
    pub azimuth: Option<Estimate>,
    pub grade: Option<Estimate>,
    pub inclination: Option<Estimate>,
    pub fall_m: f64,
    /// Of what is said of it.
    pub units: Units,
}

impl LineValues {
    /// The values by name, and what is to be said of them.
    pub fn values_and_warnings(&self) -> (Vec<NamedValue>, Vec<String>) {
        let degrees = |e: Estimate| Estimate { value: e.value.to_degrees(), sigma: e.sigma.to_degrees() };
        let all = [
            ("slope_distance_m", Some(self.slope)),
            ("horizontal_distance_m", Some(self.horizontal)),
            ("vertical_distance_m", Some(self.vertical)),
            ("azimuth_deg", self.azimuth.map(degrees)),
            ("grade_pct", self.grade),
            ("inclination_deg", self.inclination.map(degrees)),
        ];
        let values = all.into_iter().filter_map(|(name, estimate)| Some(NamedValue { name, estimate: estimate? })).collect();
        let [from, to] = &self.labels;
        let said = |metres: f64| self.units.length().said(metres, 2);
        let mut warnings = Vec::new();
        if self.inclination.is_none() {
            warnings.push(format!(
                "{from} to {to}: the two points are {} apart, which is within the error of that length ({} at 95 %); \
                 no azimuth, grade or inclination is given",
                said(self.slope.value),
                said(self.slope.half95())
            ));
        } else if self.grade.is_none() {
            warnings.push(format!(
                "{from} to {to}: the horizontal length {} is within its own error ({} at 95 %); no azimuth and no grade are given",
                said(self.horizontal.value),
                said(self.horizontal.half95())
            ));
        }
        if self.fall_m > FALL_TOLD_M.max(self.vertical.sigma) {
            warnings.push(format!(
                "{from} to {to}: the vertical distance is from the horizontal plane at {from}; over {} the earth's surface falls \
                 {} below it",
                self.units.length().said(self.horizontal.value, 0),
                said(self.fall_m)
            ));
        }
        (values, warnings)
    }
}
