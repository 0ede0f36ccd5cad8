//! A shot as the instrument saw it: azimuth, inclination and range, and the three directions along which its errors lie.
//!
//! along = (cos I sin A, cos I cos A, sin I), across = (cos A, −sin A, 0) to the right, normal = (−sin I sin A, −sin I
//! cos A, cos I) upward; all in the base's east, north, up. A shot without height is seen in the plane: I = 0.

use super::Repeat;
use super::linear::{Matrix3, Vector3};
use crate::geodesy::covariance::Covariance;

/// Azimuth, inclination and range of a vector.
#[derive(Debug, Clone, Copy)]
pub(super) struct Polar {
    pub(super) azimuth_rad: f64,
    pub(super) inclination_rad: f64,
    pub(super) range_m: f64,
    pub(super) horizontal_m: f64,
}

/// The unit vectors across, along and normal to a sight.
#[derive(Debug, Clone, Copy)]
pub(super) struct Triad {
    pub(super) across: Vector3,
    pub(super) along: Vector3,
    pub(super) normal: Vector3,
}

impl Polar {
    pub(super) fn from_vector([e, n, u]: Vector3) -> Polar {
        let horizontal_m = e.hypot(n);
        Polar { azimuth_rad: e.atan2(n), inclination_rad: u.atan2(horizontal_m), range_m: horizontal_m.hypot(u), horizontal_m }
    }

    /// The vector of it.
    pub(super) fn vector(&self) -> Vector3 {
        self.triad().along.map(|x| x * self.range_m)
    }

    /// The directions of the level sight under it.
    pub(super) fn level(&self) -> Triad {
        Polar { inclination_rad: 0.0, ..*self }.triad()
    }

    pub(super) fn triad(&self) -> Triad {
        let (sin_a, cos_a) = self.azimuth_rad.sin_cos();
        let (sin_i, cos_i) = self.inclination_rad.sin_cos();
        Triad {
            across: [cos_a, -sin_a, 0.0],
            along: [cos_i * sin_a, cos_i * cos_a, sin_i],
            normal: [-sin_i * sin_a, -sin_i * cos_a, cos_i],
        }
    }
}

/// The vector from the instrument's axis over the base's ground point to what was sighted; in the plane without height.
pub(super) fn sighted(shot: &Repeat) -> Vector3 {
    let up = shot.vector.up_m.map_or(0.0, |up| up - shot.rise_m);
    [shot.vector.east_m, shot.vector.north_m, up]
}

/// The covariance of what the shot has alone.
pub(super) fn own(shot: &Repeat) -> Covariance {
    shot.vector.direction + shot.vector.distance
}

/// Σ sₖ toₖ fromₖᵀ: what brings errors along one sight's directions to those of another, scaled.
pub(super) fn between(from: &Triad, to: &Triad, across: f64, along: f64, normal: f64) -> Matrix3 {
    std::array::from_fn(|r| {
        std::array::from_fn(|c| {
            across * to.across[r] * from.across[c] + along * to.along[r] * from.along[c] + normal * to.normal[r] * from.normal[c]
        })
    })
}
