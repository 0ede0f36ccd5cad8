//! What composed measurements share: shots that must be whole, points with their covariance, and vectors of three.
//!
//! A point f of the joint points has the covariance G C Gᵀ (law of propagation, as in [`crate::geodesy::correlated`]). Its six
//! elements follow from variances alone, cov(a, b) = (var(a + b) − var a − var b)/2. Metres.

use super::{Group, Part, Refusal, Sighting};
use crate::geodesy::correlated::{Joint, Origin};
use crate::geodesy::covariance::Covariance;
use crate::shots::reduce::Vector;

/// The vector of a shot that has azimuth, distance and height.
///
/// # Errors
/// Says which reading the row lacks.
pub fn whole<'g>(group: &Group<'_>, sighting: &'g Sighting) -> Result<(usize, &'g Vector), Refusal> {
    let lacks = |what: &str| {
        Err(format!(
            "{} of {}: shot {} (role {}) {what}; shoot it again with azimuth, inclination and distance",
            group.measure, group.name, sighting.label, sighting.role
        ))
    };
    let Some(vector) = &sighting.vector else {
        return lacks(if sighting.true_azimuth_rad.is_none() {
            "has no azimuth"
        } else if sighting.slope_m.is_none() && sighting.horizontal_m.is_none() {
            "has no distance"
        } else {
            "gives no point"
        });
    };
    match vector.up_m {
        None => lacks("has neither inclination nor vertical distance, so no height"),
        Some(up) if !(vector.east_m + vector.north_m + up).is_finite() => lacks("has a reading that is not a finite number"),
        Some(_) => Ok((sighting.base, vector)),
    }
}

/// The point of a whole shot, with the base's errors, in the base's frame.
pub fn part_of_shot(group: &Group<'_>, sighting: &Sighting, role: &'static str) -> Option<Part> {
    let (base, vector) = (group.base(sighting), sighting.vector.as_ref()?);
    Some(Part {
        role,
        at: base.frame.to_earth_centred([vector.east_m, vector.north_m, vector.up_m?]),
        base: sighting.base,
        covariance: base.covariance + vector.direction + vector.distance + Covariance::of_arm(vector.orientation_arm_m),
    })
}

/// A point that follows from joint points, given in their frame, with its covariance in a base's frame.
pub fn part_of_points(joint: &Joint, base: (usize, &Origin), role: &'static str, at: impl Fn(&[[f64; 3]]) -> [f64; 3]) -> Part {
    let covariance = covariance_of(joint, |points| base.1.frame.from_earth_centred(joint.frame().to_earth_centred(at(points))));
    Part { role, at: joint.frame().to_earth_centred(at(joint.points())), base: base.0, covariance }
}

/// The covariance of three values of joint points.
pub fn covariance_of(joint: &Joint, values: impl Fn(&[[f64; 3]]) -> [f64; 3]) -> Covariance {
    let [ee, nn, uu, en, eu, nu] = joint
        .estimates(|points| {
            let [e, n, u] = values(points);
            [e, n, u, e + n, e + u, n + u]
        })
        .map(|estimate| estimate.sigma * estimate.sigma);
    Covariance { ee, nn, uu, en: 0.5 * (en - ee - nn), eu: 0.5 * (eu - ee - uu), nu: 0.5 * (nu - nn - uu) }
}

/// a + s·b.
pub fn moved(a: [f64; 3], s: f64, b: [f64; 3]) -> [f64; 3] {
    std::array::from_fn(|k| a[k] + s * b[k])
}

/// The vector from one point to another.
pub fn from_to(from: [f64; 3], to: [f64; 3]) -> [f64; 3] {
    moved(to, -1.0, from)
}

/// a · b.
pub fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

/// a × b.
pub fn cross(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

/// |a|.
pub fn length(a: [f64; 3]) -> f64 {
    dot(a, a).sqrt()
}

/// a / |a|; not finite for a vector without length.
pub fn unit(a: [f64; 3]) -> [f64; 3] {
    let length = length(a);
    a.map(|x| x / length)
}
