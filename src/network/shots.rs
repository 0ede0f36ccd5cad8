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
