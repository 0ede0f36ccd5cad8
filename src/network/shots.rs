//! A shot as the raw readings of a network: the inverse of what [`crate::shots::reduce`] makes of it.

use super::types::{Kind, Observation};
use crate::records::triangle::Triangle;
use crate::shots::reduce::Sight;

/// The readings of a shot that an adjustment takes, whatever of them is there, in metres and radians.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Sides {
    /// True azimuth, declination included; the reading of a free circle as it stands.
    pub azimuth_rad: Option<f64>,
    /// Inclination, up positive.
    pub inclination_rad: Option<f64>,
    /// Slope distance.
    pub slope_m: Option<f64>,
    /// Horizontal distance; beside a slope distance it is none of the readings.
    pub horizontal_m: Option<f64>,
    /// Vertical distance, up positive.
    pub vertical_m: Option<f64>,
    /// Height of the instrument's axis over the ground point where it stands.
    pub instrument_height_m: f64,
    /// Height of the sighted spot over the target's ground point.
    pub target_height_m: f64,
}

impl Sides {
    /// Those of a triangle, without a direction and heights.
    pub fn from_triangle(triangle: &Triangle) -> Sides {
        let (slope_m, horizontal_m) = triangle.slope_or_horizontal_m();
        let vertical_m = triangle.vertical_m();
        let inclination_rad = if vertical_m.is_none() { triangle.inclination_rad() } else { None };
        Sides { inclination_rad, slope_m, horizontal_m, vertical_m, ..Sides::default() }
    }
}

impl From<&Sight> for Sides {
    fn from(sight: &Sight) -> Sides {
        Sides {
            azimuth_rad: Some(sight.true_azimuth_rad),
            instrument_height_m: sight.instrument_height_m,
            target_height_m: sight.target_height_m,
            ..Sides::from_triangle(&sight.triangle)
        }
    }
}

/// What is known of the errors of a shot's readings. That of the orientation is not theirs: it stands at the base.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct ReadingErrors {
    /// Standard errors of azimuth, inclination (radians) and distances (metres), each of the reading alone.
    pub sigma_azimuth_rad: f64,
    /// See `sigma_azimuth_rad`.
    pub sigma_inclination_rad: f64,
    /// See `sigma_azimuth_rad`.
    pub sigma_distance_m: f64,
    /// Standard error of a vertical distance in metres, where it is another than that of distances.
    pub sigma_vertical_m: Option<f64>,
    /// Indices of the network's shared errors that are in the azimuth, in the inclination and in the distance.
    pub shared_azimuth: [Option<usize>; 2],
    /// See `shared_azimuth`.
    pub shared_inclination: Option<usize>,
    /// See `shared_azimuth`.
    pub shared_distance: Option<usize>,
}

/// The two ends of a shot, and what its readings have in common.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SightLine {
    /// Index of the station where the instrument stands.
    pub from: usize,
    /// Index of the station sighted.
    pub to: usize,
    /// Whether its azimuth is a reading of a circle whose zero points anywhere.
    pub has_free_circle: bool,
    /// Index of its instrument, where the scale or constant of that is to be found.
    pub instrument: Option<usize>,
    /// The caller's mark of its row.
    pub source: usize,
}

/// The readings of a shot.
pub fn readings(line: &SightLine, sides: &Sides, errors: &ReadingErrors) -> impl Iterator<Item = Observation> + use<> {
    let SightLine { from, to, has_free_circle, instrument, source } = *line;
    let Sides { azimuth_rad, inclination_rad, slope_m, horizontal_m, vertical_m, instrument_height_m, target_height_m } = *sides;
    let bearing = if has_free_circle { Kind::Direction } else { Kind::Azimuth };
    let vertical = if slope_m.is_some() { Kind::VerticalWithSlope } else { Kind::Vertical };
    let (sigma_distance_m, shared_distance) = (errors.sigma_distance_m, [errors.shared_distance, None]);
    let all = [
        (bearing, azimuth_rad, errors.sigma_azimuth_rad, errors.shared_azimuth),
        (Kind::Inclination, inclination_rad, errors.sigma_inclination_rad, [errors.shared_inclination, None]),
        (Kind::Slope, slope_m, sigma_distance_m, shared_distance),
        (Kind::Horizontal, horizontal_m.filter(|_| slope_m.is_none()), sigma_distance_m, shared_distance),
        (vertical, vertical_m, errors.sigma_vertical_m.unwrap_or(sigma_distance_m), [None; 2]),
    ];
    all.into_iter().filter_map(move |(kind, value, sigma, shared)| {
        let value = value?;
        Some(Observation { kind, from, to, value, sigma, instrument_height_m, target_height_m, instrument, shared, source })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const LINE: SightLine = SightLine { from: 2, to: 5, has_free_circle: false, instrument: Some(1), source: 9 };

    const ERRORS: ReadingErrors = ReadingErrors {
        sigma_azimuth_rad: 0.01,
        sigma_inclination_rad: 0.02,
        sigma_distance_m: 0.3,
        sigma_vertical_m: None,
        shared_azimuth: [Some(0), Some(1)],
        shared_inclination: Some(2),
        shared_distance: Some(3),
    };

    fn sight(triangle: Triangle) -> Sight {
        Sight { true_azimuth_rad: 1.2, triangle, instrument_height_m: 1.5, target_height_m: 0.4, refraction: 0.13 }
    }

    /// The readings of a shot, with their standard errors and what they share.
    fn of(line: &SightLine, sides: &Sides, errors: &ReadingErrors) -> Vec<(Kind, f64, f64, [Option<usize>; 2])> {
        let one = |o: Observation| {
            assert_eq!((o.from, o.to, o.instrument, o.source), (2, 5, Some(1), 9));
            assert_eq!((o.instrument_height_m, o.target_height_m), (sides.instrument_height_m, sides.target_height_m));
            (o.kind, o.value, o.sigma, o.shared)
        };
        readings(line, sides, errors).map(one).collect()
    }

    #[test]
    fn each_triangle_as_it_was_read() {
        let azimuth = (Kind::Azimuth, 1.2, 0.01, [Some(0), Some(1)]);
        let inclination = (Kind::Inclination, 0.1, 0.02, [Some(2), None]);
        let length = |kind: Kind, value: f64| (kind, value, 0.3, [Some(3), None]);
        let vertical = |kind: Kind| (kind, 7.0, 0.3, [None; 2]);
        for (triangle, want) in [
            (Triangle::Slope { slope_m: 50.0, inclination_rad: 0.1 }, vec![azimuth, inclination, length(Kind::Slope, 50.0)]),
            (
                Triangle::Horizontal { horizontal_m: 40.0, inclination_rad: 0.1 },
                vec![azimuth, inclination, length(Kind::Horizontal, 40.0)],
            ),
            (
                Triangle::HorizontalVertical { horizontal_m: 40.0, vertical_m: 7.0 },
                vec![azimuth, length(Kind::Horizontal, 40.0), vertical(Kind::Vertical)],
            ),
            (
                Triangle::SlopeVertical { slope_m: 50.0, vertical_m: 7.0 },
                vec![azimuth, length(Kind::Slope, 50.0), vertical(Kind::VerticalWithSlope)],
            ),
        ] {
            let sides = Sides::from(&sight(triangle));
            assert_eq!((sides.instrument_height_m, sides.target_height_m), (1.5, 0.4));
            assert_eq!(of(&LINE, &sides, &ERRORS), want, "{triangle:?}");
            assert_eq!(of(&LINE, &Sides::from_triangle(&triangle), &ERRORS), want[1..], "{triangle:?}");
        }
    }

    #[test]
    fn a_circle_and_what_stands_beside_a_slope() {
        let sides = Sides {
            azimuth_rad: Some(0.5),
            slope_m: Some(50.0),
            horizontal_m: Some(40.0),
            vertical_m: Some(30.0),
            ..Sides::default()
        };
        let free = SightLine { has_free_circle: true, ..LINE };
        let errors = ReadingErrors { sigma_vertical_m: Some(0.05), ..ERRORS };
        let want = [
            (Kind::Direction, 0.5, 0.01, [Some(0), Some(1)]),
            (Kind::Slope, 50.0, 0.3, [Some(3), None]),
            (Kind::VerticalWithSlope, 30.0, 0.05, [None; 2]),
        ];
        assert_eq!(of(&free, &sides, &errors), want);
        assert!(of(&LINE, &Sides::default(), &ERRORS).is_empty());
    }
}
