//! A shot as the raw readings of a network: the inverse of what [`crate::shots::reduce`] makes of it.

use super::types::{Kind, Observation};
use crate::records::triangle::Triangle;
use crate::shots::reduce::{Sight, SightSigmas};

/// The readings of a shot from one station to another, `source` the caller's mark of its row. The standard error of
/// the orientation is not theirs: it stands at the base.
pub fn readings(from: usize, to: usize, sight: &Sight, sigmas: &SightSigmas, source: usize) -> Vec<Observation> {
    let of = |kind: Kind, value: f64, sigma: f64| Observation {
        kind,
        from,
        to,
        value,
        sigma,
        instrument_height_m: sight.instrument_height_m,
        target_height_m: sight.target_height_m,
        instrument: None,
        shared: [None; 2],
        source,
    };
    let distance = |kind: Kind, value: f64| of(kind, value, sigmas.distance_m);
    let inclination = |value: f64| of(Kind::Inclination, value, sigmas.inclination_rad);
    let mut readings = vec![of(Kind::Azimuth, sight.true_azimuth_rad, sigmas.azimuth_rad)];
    match sight.triangle {
        Triangle::Slope { slope_m, inclination_rad } => {
            readings.extend([inclination(inclination_rad), distance(Kind::Slope, slope_m)]);
        }
        Triangle::Horizontal { horizontal_m, inclination_rad } => {
            readings.extend([inclination(inclination_rad), distance(Kind::Horizontal, horizontal_m)]);
        }
        Triangle::HorizontalVertical { horizontal_m, vertical_m } => {
            readings.extend([distance(Kind::Horizontal, horizontal_m), distance(Kind::Vertical, vertical_m)]);
        }
        Triangle::SlopeVertical { slope_m, vertical_m } => {
            readings.extend([distance(Kind::Slope, slope_m), distance(Kind::VerticalWithSlope, vertical_m)]);
        }
        Triangle::Level { horizontal_m } => readings.push(distance(Kind::Horizontal, horizontal_m)),
    }
    readings
}
