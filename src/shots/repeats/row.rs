//! One shot against the mean: its difference, what its readings move, its weight.

use super::Repeat;
use super::linear::{Matrix3, Vector3, apply, carried, inverse, matrix, minus};
use super::middle::half_turn_rad;
use super::sight::{Polar, between, sighted};
use crate::geodesy::covariance::Covariance;

/// Least variance of a shot's own readings in any direction where weights are made, in square metres: 0.1 mm. It only
/// bounds weights; the covariance of the mean has no floor.
const LEAST_VARIANCE_M2: f64 = 1e-8;

/// Difference of azimuth beyond which a shot's errors are not turned to the mean's sight.
const TURNED_WITHIN_RAD: f64 = 0.35;

/// A shot against the mean, in its base's axes.
pub(super) struct ShotDeviation {
    /// Its group.
    pub(super) group: usize,
    /// Shot minus mean.
    pub(super) residual: Vector3,
    pub(super) direction: Covariance,
    /// Of its inclination alone, that of its azimuth being the rest of the direction's.
    pub(super) inclination: Covariance,
    pub(super) distance: Covariance,
    /// Metres by a radian of azimuth, a radian of inclination, a metre of distance.
    pub(super) by: [Vector3; 3],
    /// Inverse of its own covariance; zeros for a height that it lacks.
    pub(super) weight: Matrix3,
}

/// A shot against a mean at `at` in its base's axes.
pub(super) fn row(shot: &Repeat, group: usize, at: Vector3) -> ShotDeviation {
    let has_height = shot.vector.up_m.is_some();
    let seen = sighted(shot);
    let target = [at[0], at[1], if has_height { at[2] - shot.rise_m } else { 0.0 }];
    let (from, to) = (Polar::from_vector(seen), Polar::from_vector(target));
    let turned = half_turn_rad(from.azimuth_rad - to.azimuth_rad);
    let (mut residual, mut across, mut turn) = (minus(seen, target), UNIT, UNIT);
    if turned.abs() < TURNED_WITHIN_RAD && from.horizontal_m > 0.0 && to.horizontal_m > 0.0 {
        let (a, b) = (from.triad(), to.triad());
        let parts =
            [to.horizontal_m * turned, from.range_m - to.range_m, to.range_m * (from.inclination_rad - to.inclination_rad)];
        residual = std::array::from_fn(|k| parts[0] * b.across[k] + parts[1] * b.along[k] + parts[2] * b.normal[k]);
        // An error of direction grows with the distance.
        across = between(&a, &b, to.horizontal_m / from.horizontal_m, 1.0, to.range_m / from.range_m);
        turn = between(&a, &b, 1.0, 1.0, 1.0);
    }
    let (direction, distance) = (carried(&across, &shot.vector.direction), carried(&turn, &shot.vector.distance));
    let inclination = carried(&across, &shot.vector.direction_by_reading()[1]);
    let by = [
        apply(&across, shot.vector.by_azimuth_m()),
        apply(&across, shot.vector.by_inclination_m),
        apply(&turn, shot.vector.by_distance_m),
    ];
    let m = matrix(&(direction + distance));
    let weight = inverse_in(&m, has_height, LEAST_VARIANCE_M2);
    ShotDeviation { group, residual, direction, inclination, distance, by, weight }
}

/// The inverse of a symmetric matrix; without height that of its horizontal part, with zeros for the height.
pub(super) fn inverse_in(m: &Matrix3, has_height: bool, floor: f64) -> Matrix3 {
    if has_height {
        return inverse(m, floor);
    }
    let [[ee, en], [_, nn]] = inverse(&[[m[0][0], m[0][1]], [m[1][0], m[1][1]]], floor);
    [[ee, en, 0.0], [en, nn, 0.0], [0.0; 3]]
}

pub(super) const UNIT: Matrix3 = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
