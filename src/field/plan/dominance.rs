//! Which part of the uncertainty is the largest, from which distance on, and what would improve it.
//!
//! Parts are those of the layers: base, direction, distance, by their share in the variance. The
//! distance at which another part becomes the largest is found by halving on the same covariances.

use serde::Serialize;

use super::{Axis, Expected, PlannedSight, REACH_M, edge};
use crate::geodesy::covariance::Covariance;

/// The first step from the base, in metres, and the ratio of one step to the next: another part that
/// led over less than a fiftieth of the distance alone would be passed over.
const FIRST_STEP_M: f64 = 0.1;
const STEP: f64 = 1.02;

/// Variances that differ by less than this ratio are a tie: rounding must not make one lead.
const TIE: f64 = 1e-9;

/// A part of the variance, as in the layers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum ErrorPart {
    /// The base.
    Base,
    /// Azimuth, orientation and inclination.
    Direction,
    /// The distance.
    Distance,
}

/// A single source of error.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum LargestError {
    /// The base.
    Base,
    /// The azimuth reading.
    Azimuth,
    /// Declination and compass bias.
    Orientation,
    /// The inclination reading.
    Inclination,
    /// The distance.
    Distance,
}

impl LargestError {
    /// The words for people.
    pub fn words(self) -> &'static str {
        match self {
            LargestError::Base => "the base",
            LargestError::Azimuth => "the azimuth reading",
            LargestError::Orientation => "the orientation (declination, compass bias)",
            LargestError::Inclination => "the inclination",
            LargestError::Distance => "the distance",
        }
    }

    /// What to improve where this source dominates.
    pub fn advice(self, axis: Axis) -> &'static str {
        match (self, axis) {
            (LargestError::Base, Axis::Horizontal) => "a better receiver or a longer occupation helps, a better compass does not",
            (LargestError::Base, Axis::Vertical) => {
                "a better height of the base (longer occupation, a known level) helps, a better inclination does not"
            }
            (LargestError::Azimuth, _) => {
                "a better compass, repeated readings or angles turned from a backsight help, a better receiver does not"
            }
            (LargestError::Orientation, _) => {
                "a backsight to a known point helps; repeated readings and a better receiver do not: all shots of the base share it"
            }
            (LargestError::Inclination, _) => {
                "a steady support, repeated readings or a better inclination sensor help, a better receiver does not"
            }
            (LargestError::Distance, _) => {
                "a better rangefinder or a clearer target helps, a better compass or receiver does not"
            }
        }
    }
}

/// A stretch of distances with one largest part.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Stretch {
    /// Slope distance where it begins, in metres.
    pub from_m: f64,
    /// Slope distance where another part takes over, in metres; none up to [`REACH_M`].
    pub to_m: Option<f64>,
    /// The largest part.
    pub part: ErrorPart,
    /// The largest source in it.
    pub source: LargestError,
}

/// The first of those with the largest variance, where any is above 0.
fn largest<T: Copy>(parts: &[(T, f64)]) -> Option<T> {
    let mut best: Option<(T, f64)> = None;
    for (part, variance) in parts {
        if *variance > best.map_or(0.0, |(_, most)| most * (1.0 + TIE)) {
            best = Some((*part, *variance));
        }
    }
    best.map(|(part, _)| part)
}

/// The largest part and the largest source in it; none where nothing is in doubt.
pub fn leader(expected: &Expected, axis: Axis) -> Option<(ErrorPart, LargestError)> {
    let of = |covariance: Covariance| axis.variance(&covariance);
    let part = largest(&[
        (ErrorPart::Base, of(expected.base)),
        (ErrorPart::Direction, of(expected.direction())),
        (ErrorPart::Distance, of(expected.distance)),
    ])?;
    let source = match part {
        ErrorPart::Base => LargestError::Base,
        ErrorPart::Distance => LargestError::Distance,
        ErrorPart::Direction => largest(&[
            (LargestError::Azimuth, of(expected.azimuth)),
            (LargestError::Orientation, of(expected.orientation)),
            (LargestError::Inclination, of(expected.inclination)),
        ])?,
    };
    Some((part, source))
}

/// The stretches from the base to [`REACH_M`] at an inclination.
pub fn stretches(setup: &PlannedSight, axis: Axis, inclination_rad: f64) -> Vec<Stretch> {
    let leads = |slope_m: f64| leader(&setup.sighting(slope_m, inclination_rad), axis);
    let mut found = Vec::new();
    let (mut from_m, mut last_m, mut current) = (0.0, 0.0, leads(0.0));
    let stretch = |leader: Option<(ErrorPart, LargestError)>, from_m: f64, to_m: Option<f64>| {
        leader.map(|(part, source)| Stretch { from_m, to_m, part, source })
    };
    while last_m < REACH_M {
        let next_m = (last_m * STEP).clamp(FIRST_STEP_M, REACH_M);
        let next = leads(next_m);
        if next != current {
            let end_m = edge(last_m, next_m, |slope_m| leads(slope_m) == current);
            found.extend(stretch(current, from_m, Some(end_m)));
            (from_m, current) = (end_m, next);
        }
        last_m = next_m;
    }
    found.extend(stretch(current, from_m, None));
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::field::plan::errors::{PlanErrors, Sigma};

    #[test]
    fn the_cross_over_from_base_to_azimuth_is_where_their_variances_meet() {
        let mut errors = PlanErrors::assumed();
        errors.sigma_base_horizontal_m = Sigma::given(0.4);
        errors.sigma_azimuth_deg = Sigma::given(1.0);
        errors.sigma_declination_deg = Sigma::given(0.0);
        errors.sigma_distance_m = Sigma::given(0.1);
        let found = stretches(&errors.setup(), Axis::Horizontal, 0.0);
        // 2 σb² = S² σA²: S = √2 · 0.4 / 0.017453 = 32.41 m.
        let meet = 2f64.sqrt() * 0.4 / 1f64.to_radians();
        assert_eq!(found.len(), 2, "{found:?}");
        assert_eq!((found[0].part, found[0].source), (ErrorPart::Base, LargestError::Base));
        assert!((found[0].to_m.unwrap() - meet).abs() < 1e-6, "{found:?}");
        assert_eq!((found[1].part, found[1].source, found[1].to_m), (ErrorPart::Direction, LargestError::Azimuth, None));
    }

    #[test]
    fn a_better_receiver_than_rangefinder_leaves_the_distance_first() {
        let mut errors = PlanErrors::assumed();
        errors.sigma_base_horizontal_m = Sigma::given(0.02);
        errors.sigma_declination_deg = Sigma::given(2.0);
        let found = stretches(&errors.setup(), Axis::Horizontal, 0.0);
        let parts: Vec<_> = found.iter().map(|stretch| stretch.source).collect();
        assert_eq!(parts, [LargestError::Distance, LargestError::Orientation]);
        // σS² = S² (1² + 2²) deg².
        assert!((found[0].to_m.unwrap() - 0.3 / 5f64.sqrt().to_radians()).abs() < 1e-6, "{found:?}");
    }

    #[test]
    fn straight_up_the_distance_makes_the_height() {
        let mut errors = PlanErrors::assumed();
        errors.sigma_base_height_m = Sigma::given(0.01);
        let found = stretches(&errors.setup(), Axis::Vertical, 80f64.to_radians());
        assert_eq!(found[0].source, LargestError::Distance);
        let level = stretches(&errors.setup(), Axis::Vertical, 0.0);
        assert_eq!(
            level.iter().map(|stretch| stretch.source).collect::<Vec<_>>(),
            [LargestError::Base, LargestError::Inclination]
        );
    }

    #[test]
    fn nothing_in_doubt_has_no_leader() {
        let mut errors = PlanErrors::assumed();
        errors.all_mut().into_iter().for_each(|sigma| *sigma = Sigma::given(0.0));
        assert!(stretches(&errors.setup(), Axis::Horizontal, 0.0).is_empty());
        // Only an azimuth: it leads from the base on.
        errors.sigma_azimuth_deg = Sigma::given(1.0);
        let found = stretches(&errors.setup(), Axis::Horizontal, 0.0);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].source, LargestError::Azimuth);
    }
}
