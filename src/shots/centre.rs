//! From the near face of what was shot to its centre.

use super::reduce::Vector;
use crate::geodesy::covariance::Covariance;

/// The step from the near face of a stem or pole to its centre: half the width on along the azimuth, at the same height.
///
/// With h the horizontal distance and r the half width, an error across the sight grows by (h + r)/h; the
/// error of the half width lies along the sight and is added to the distance's part. A sight straight up or
/// down has no direction to step along: the point stays, and half the square of the half width goes
/// into the variances of east and of north.
pub fn to_centre(vector: &Vector, half_width_m: f64, sigma_half_width_m: f64) -> Vector {
    let length_m = vector.east_m.hypot(vector.north_m);
    if length_m == 0.0 {
        let each_m = half_width_m.hypot(sigma_half_width_m) / 2f64.sqrt();
        return Vector { distance: vector.distance + Covariance::from_sigmas(each_m, 0.0), ..*vector };
    }
    let (sin, cos) = (vector.east_m / length_m, vector.north_m / length_m);
    let scale = (length_m + half_width_m) / length_m;
    Vector {
        east_m: vector.east_m * scale,
        north_m: vector.north_m * scale,
        horizontal_m: vector.horizontal_m + half_width_m,
        direction: widened(&vector.direction, [cos, -sin], scale),
        distance: widened(&vector.distance, [cos, -sin], scale)
            + Covariance::from_arm([sigma_half_width_m * sin, sigma_half_width_m * cos, 0.0]),
        ..*vector
    }
}

/// J C Jᵀ with J = 1 + (scale − 1) a aᵀ: the errors along the horizontal unit vector a times `scale`, the others as they are.
fn widened(c: &Covariance, [e, n]: [f64; 2], scale: f64) -> Covariance {
    let more = scale - 1.0;
    let (jee, jen, jnn) = (1.0 + more * e * e, more * e * n, 1.0 + more * n * n);
    let (top_e, top_n) = (jee * c.ee + jen * c.en, jee * c.en + jen * c.nn);
    let (low_e, low_n) = (jen * c.ee + jnn * c.en, jen * c.en + jnn * c.nn);
    Covariance {
        ee: top_e * jee + top_n * jen,
        en: top_e * jen + top_n * jnn,
        nn: low_e * jen + low_n * jnn,
        eu: jee * c.eu + jen * c.nu,
        nu: jen * c.eu + jnn * c.nu,
        uu: c.uu,
    }
}
