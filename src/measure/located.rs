//! What composed measurements share: shots that must be whole, points with their covariance, and vectors of three.
//!
//! A point f of correlated points has the covariance G C Gᵀ (law of propagation, as in [`crate::geodesy::register`]). Its six
//! elements follow from variances alone, cov(a, b) = (var(a + b) − var a − var b)/2. Metres.

use super::{FoundPoint, Group, Refusal, RoleShot};
use crate::geodesy::covariance::{Covariance, INTERVAL95};
use crate::geodesy::register::{CorrelatedPoints, Origin};
use crate::shots::reduce::Vector;

/// The vector of a shot that has azimuth, distance and height.
///
/// # Errors
/// Says which reading the row lacks.
pub fn whole<'g>(group: &Group<'_>, sighting: &'g RoleShot) -> Result<(usize, &'g Vector), Refusal> {
    let lacks = |what: &str| {
        Err(format!(
            "{} of {}: {} (role {}) {what}; shoot it again with azimuth, inclination and distance",
            group.measure, group.name, sighting.label, sighting.role
        )
        .into())
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
        Some(up) if [vector.east_m, vector.north_m, up].iter().any(|x| !x.is_finite()) => {
            lacks("has a reading that is not a finite number")
        }
        Some(_) => Ok((sighting.base, vector)),
    }
}

/// The point of a whole shot, with the base's errors, in the base's frame.
pub fn part_of_shot(group: &Group<'_>, sighting: &RoleShot, role: &'static str) -> Option<FoundPoint> {
    let (base, vector) = (group.base(sighting), sighting.vector.as_ref()?);
    Some(FoundPoint {
        role,
        at: base.frame.to_earth_centred([vector.east_m, vector.north_m, vector.up_m?]),
        base: sighting.base,
        covariance: vector.covariance(base),
    })
}

/// A point that follows from correlated points, given in their frame, with its covariance in a base's frame.
pub fn part_of_points(
    correlated: &CorrelatedPoints,
    base: (usize, &Origin),
    role: &'static str,
    at: impl Fn(&[[f64; 3]]) -> [f64; 3],
) -> FoundPoint {
    let covariance =
        covariance_of(correlated, |points| base.1.frame.from_earth_centred(correlated.frame().to_earth_centred(at(points))));
    FoundPoint { role, at: correlated.frame().to_earth_centred(at(correlated.points())), base: base.0, covariance }
}

/// The covariance of three values of correlated points.
pub fn covariance_of(correlated: &CorrelatedPoints, values: impl Fn(&[[f64; 3]]) -> [f64; 3]) -> Covariance {
    let [ee, nn, uu, en, eu, nu] = correlated
        .estimates(|points| {
            let [e, n, u] = values(points);
            [e, n, u, e + n, e + u, n + u]
        })
        .map(|estimate| estimate.sigma * estimate.sigma);
    Covariance { ee, nn, uu, en: 0.5 * (en - ee - nn), eu: 0.5 * (eu - ee - uu), nu: 0.5 * (nu - nn - uu) }
}

/// Half of the 95 % interval of a vector's direction in the plane, in radians; none where the vector may be none, so that it has no direction.
///
/// A direction at the angle θ from the vector (length L, variance `along_m2` along it, `across_m2` across, covariance `both_m2`) is within the
/// interval where the component across it, L sin θ, is within 1.96 of its own standard errors: tan θ is between the roots of
/// (L² − k² along) t² + 2 k² both t − k² across = 0; the wider side is given, on the safe side where they differ (E. C. Fieller, "Some problems in interval estimation",
/// Journal of the Royal Statistical Society B 16, 1954; from memory). Near L = k σ it grows to 90°, where the law of propagation, σ/L, stays
/// below 30° and too small.
pub fn direction_half95(length_m: f64, along_m2: f64, both_m2: f64, across_m2: f64) -> Option<f64> {
    let k2 = INTERVAL95 * INTERVAL95;
    let (a, b, c) = (length_m * length_m - k2 * along_m2, k2 * both_m2, k2 * across_m2);
    let root = (b * b + a * c).sqrt();
    (a > 0.0).then(|| ((root + b.abs()) / a).atan())
}

/// What the law of propagation leaves out of the variance of a vector's length: its error across. With b across, |v| is near
/// L + b²/2L, so that E(b²/2L)² = 3 σ⁴/4L² is added; of a vector that may be none it is the whole of σ², since there both axes
/// count alike. Against draws it is right within a tenth down to L = 3 σ, and on the safe side below.
pub fn length_excess_m2(length_m: f64, across_m2: f64) -> f64 {
    (0.75 * across_m2 * across_m2 / (length_m * length_m)).min(across_m2)
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::trial::{Field, HANDHELD};
    use crate::numeric::monte_carlo::Normal;

    /// By draws about a vector of a length of so many standard errors: the interval holds the true direction in 95 of 100, where the law of
    /// propagation holds it less often. Of vectors that are too short to have a direction nothing is said.
    #[test]
    fn directions_of_short_vectors() {
        let mut normal = Normal::seeded(1954);
        for (length, along, across) in [(3.6, 1.0, 1.0), (5.0, 1.0, 1.0), (4.0, 0.6, 1.0), (20.0, 1.0, 1.0)] {
            let (draws, mut told, mut inside, mut first_order) = (100_000, 0, 0, 0);
            for _ in 0..draws {
                let [x, y] = [length + along * normal.next(), across * normal.next()];
                let (seen, off) = (x.hypot(y), y.atan2(x));
                // Along and across as they lie from the vector that was seen.
                let (sin, cos) = off.sin_cos();
                let (a, c) = (along * along, across * across);
                let of_seen = (a * cos * cos + c * sin * sin, (c - a) * sin * cos, a * sin * sin + c * cos * cos);
                let Some(half) = direction_half95(seen, of_seen.0, of_seen.1, of_seen.2) else { continue };
                told += 1;
                inside += u32::from(off.abs() <= half);
                first_order += u32::from(off.abs() <= INTERVAL95 * of_seen.2.sqrt() / seen);
            }
            let share = |count: u32| f64::from(count) / f64::from(told);
            // Four standard errors of a share of 0.95 in 100,000: 0.0028; that some draws are not told of moves it by a little more.
            // Where the axes differ the interval has two sides, and the wider one holds more.
            let most = if along == across { 0.956 } else { 0.985 };
            assert!((0.944..most).contains(&share(inside)), "{length}: {}", share(inside));
            assert!(told > 90_000 && share(first_order) < share(inside), "{length}: {told} {}", share(first_order));
        }
        assert_eq!(direction_half95(1.9, 1.0, 0.0, 1.0), None);
        // At 2.45 standard errors: asin(1.96 / 2.45) = 53.13°.
        assert!((direction_half95(2.45, 1.0, 0.0, 1.0).unwrap().to_degrees() - 53.13).abs() < 0.05);
    }

    #[test]
    fn what_a_shot_lacks_is_said() {
        let said = |change: fn(&mut RoleShot)| {
            let mut field = Field::new(HANDHELD, [1.0, 1.0]);
            change(field.shot(0, "to", [30.0, 40.0, 5.0]));
            let group = field.group("missing_line");
            whole(&group, &group.sightings[0]).map(|(base, vector)| (base, *vector)).map_err(|refusal| refusal.to_string())
        };
        let lacks = |what: &str| {
            Err(format!("missing_line of North wall: S1 (role to) {what}; shoot it again with azimuth, inclination and distance"))
        };
        assert!(said(|_| {}).is_ok_and(|(base, vector)| base == 0 && (vector.north_m - 40.0).abs() < 1e-6));
        assert_eq!(said(|row| (row.vector, row.true_azimuth_rad) = (None, None)), lacks("has no azimuth"));
        assert_eq!(said(|row| (row.vector, row.slope_m) = (None, None)), lacks("has no distance"));
        assert_eq!(said(|row| row.vector = None), lacks("gives no point"));
        let level: fn(&mut RoleShot) = |row| (row.vector, row.slope_m, row.horizontal_m) = (None, None, Some(9.0));
        assert_eq!(said(level), lacks("gives no point"));
        let flat: fn(&mut RoleShot) = |row| row.vector.as_mut().unwrap().up_m = None;
        assert_eq!(said(flat), lacks("has neither inclination nor vertical distance, so no height"));
        let odd: [fn(&mut RoleShot); 3] = [
            |row| row.vector.as_mut().unwrap().east_m = f64::NAN,
            |row| row.vector.as_mut().unwrap().north_m = f64::INFINITY,
            |row| row.vector.as_mut().unwrap().up_m = Some(f64::NAN),
        ];
        odd.into_iter().for_each(|change| assert_eq!(said(change), lacks("has a reading that is not a finite number")));
    }

    #[test]
    fn a_part_is_the_shot_with_its_base() {
        let mut field = Field::new(HANDHELD, [1.0, 2.0]).with_base([60.0, 10.0, 3.0], [0.5, 0.4]);
        field.shot(1, "to", [30.0, 40.0, 5.0]);
        let group = field.group("missing_line");
        let part = part_of_shot(&group, &group.sightings[0], "end").unwrap();
        assert_eq!((part.role, part.base), ("end", 1));
        let at = field.bases[0].frame.from_earth_centred(part.at);
        assert!(length(from_to(at, [30.0, 40.0, 5.0])) < 1e-6, "{at:?}");
        assert_eq!(part.covariance, group.sightings[0].vector.unwrap().covariance(&field.bases[1]));
        let mut flat = group.sightings[0].clone();
        flat.vector.as_mut().unwrap().up_m = None;
        assert!(part_of_shot(&group, &flat, "end").is_none());
        assert!(part_of_shot(&group, &RoleShot { vector: None, ..flat }, "end").is_none());
    }

    /// In the axes of a base some kilometres off, which lean: the variance along any direction stays what it is.
    #[test]
    fn a_part_of_points_is_told_in_the_axes_of_its_base() {
        let mut field = Field::new(HANDHELD, [1.0, 2.0]).with_base([-25_000.0, 30_000.0, 40.0], [0.5, 0.4]);
        field.shot(0, "a", [30.0, 40.0, 25.0]);
        field.shot(0, "b", [-20.0, 30.0, -5.0]);
        let vectors: Vec<(usize, &Vector)> = field.sightings.iter().map(|row| (row.base, row.vector.as_ref().unwrap())).collect();
        let correlated = crate::shots::located::correlated(&field.bases, &vectors).unwrap();
        let middle = |points: &[[f64; 3]]| moved(points[0], 0.5, from_to(points[0], points[1]));
        for base in [0, 1] {
            let part = part_of_points(&correlated, (base, &field.bases[base]), "middle", middle);
            assert_eq!((part.role, part.base), ("middle", base));
            assert_eq!(part.at, correlated.frame().to_earth_centred(middle(correlated.points())));
            let c = part.covariance;
            for w in [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [0.6, 0.8, 0.0], [0.0, 0.6, 0.8], [0.8, 0.0, 0.6]] {
                let [e, n, u] = field.bases[base].frame.axes().map(|axis| dot(axis, w));
                let got = c.ee * e * e + c.nn * n * n + c.uu * u * u + 2.0 * (c.en * e * n + c.eu * e * u + c.nu * n * u);
                let own = correlated.frame().axes().map(|axis| dot(axis, w));
                let want = correlated.estimate(|points| dot(own, middle(points))).sigma.powi(2);
                // The step of the differences is a millimetre, of places earth-centred.
                assert!((got - want).abs() < 1e-4, "{base} {w:?}: {got} {want}");
            }
        }
    }

    #[test]
    fn what_a_length_lacks_by_the_error_across() {
        // 3/4 · 1/4, and not more than the whole of it.
        assert_eq!(length_excess_m2(2.0, 1.0), 0.1875);
        assert_eq!(length_excess_m2(4.0, 2.0), 0.1875);
        assert_eq!(length_excess_m2(0.5, 1.0), 1.0);
        // With both axes and what they have in common: (16 − 3.84) t² + 2 · 1.92 t − 3.84 = 0 for k² = 3.84 and L = 4.
        let half = direction_half95(4.0, 1.0, 0.5, 1.0).unwrap();
        let (t, k2) = (half.tan(), INTERVAL95 * INTERVAL95);
        assert!(((16.0 - k2) * t * t - k2 * t - k2).abs() < 1e-12, "{t}");
        assert_eq!(direction_half95(4.0, 1.0, -0.5, 1.0), Some(half));
        assert_eq!(unit([3.0, 4.0, 12.0]), [3.0 / 13.0, 4.0 / 13.0, 12.0 / 13.0]);
        assert_eq!(cross([1.0, 2.0, 3.0], [4.0, 6.0, 5.0]), [-8.0, 7.0, -2.0]);
    }
}
