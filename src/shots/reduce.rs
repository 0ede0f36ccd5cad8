//! A sighting to a local east-north-up vector and its covariance.
//!
//! e = S cos I sin A, n = S cos I cos A, u = S sin I + instrument height − target height, with A
//! the true azimuth, I the inclination and S the slope distance; a horizontal distance gives
//! S cos I directly. Source: the polar sighting of any surveying text, e.g. C. D. Ghilani,
//! "Elementary Surveying", ch. 8 and 15. Covariance: the exact Jacobian of these.
//!
//! Refraction: the sight bends towards the earth, so that the target seems too high by the angle k·H / 2R, H the
//! horizontal distance ([`Bend`]). Earth curvature needs no term here: [`crate::geodesy::frame`] is rigorous.
//!
//! What the bend does to each triangle: with an inclination (or a vertical distance of the slope distance, which is S sin I), the
//! straight line to the target is inclined by I − bend. A horizontal distance is held: what it is said to be stays, and
//! the rise alone is lowered.
//!
//! Valid for S > 0 and |I| ≤ 90°, and a little beyond, where a correction takes a sight past the zenith: it comes down on the other side. Near 90° the
//! azimuth means nothing and the covariance shows it.

use crate::geodesy::covariance::Covariance;
use crate::geodesy::register::Shares;
use crate::records::triangle::Triangle;

/// How refraction bends sights at a place.
///
/// Air whose refractive index falls with height by dn/dh = −k/R (n itself is 1 but for a few parts in 10⁴) lies in layers, along which
/// n cos I stays what it is (Snell's law). So cos I dn = n sin I dI along the ray, and with dh = sin I ds its curvature is
/// −dI/ds = −(dn/dh) cos I / n = (k/R)·cos I: that of a level ray is the k-fold of the earth's, and a plumb ray is straight. Over the
/// slope distance S the ray turns by (k/R)·cos I·S; the chord of an arc lies half of that off its first tangent, so that the
/// line to the target is inclined less than the sight by k·S·cos I / 2R = k·H / 2R. Source of the law: any text on
/// optics; of the level sight, k·d / 2R: C. D. Ghilani, "Elementary Surveying", ch. 4. Left out: that I changes along the ray, below
/// 0.1 mm over 2 km at 70°.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bend {
    /// k / 2R, per metre.
    per_m: f64,
}

impl Bend {
    /// Of straight sights.
    pub const NONE: Bend = Bend { per_m: 0.0 };

    /// By the coefficient of refraction and the mean radius of the earth in metres.
    pub fn from_refraction(refraction: f64, earth_radius_m: f64) -> Bend {
        Bend { per_m: refraction / (2.0 * earth_radius_m) }
    }

    /// By how much a target over a horizontal distance is seen too high, in radians. Over a distance of less than nothing, as behind
    /// the zenith of a plane that a sight stands in, it is seen nearer to the zenith all the same.
    pub fn angle_rad(self, horizontal_m: f64) -> f64 {
        self.per_m * horizontal_m
    }
}

/// A sighting: a direction, a triangle, and the heights at its ends.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sight {
    /// True azimuth, corrections and declination included, in radians.
    pub true_azimuth_rad: f64,
    /// What was measured in the vertical plane, instrument corrections included.
    pub triangle: Triangle,
    /// Height of the instrument's axis over the base's ground point, in metres.
    pub instrument_height_m: f64,
    /// Height of the sighted spot over the feature's ground point, in metres.
    pub target_height_m: f64,
    /// Coefficient of refraction.
    pub refraction: f64,
}

/// Standard errors of one sighting's readings alone; what they share with others is [`Shares`] and of their base.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SightSigmas {
    /// Of the azimuth reading, in radians.
    pub azimuth_rad: f64,
    /// Of the inclination, in radians.
    pub inclination_rad: f64,
    /// Of each measured distance, in metres.
    pub distance_m: f64,
}

/// A reduced sighting: the vector from the base's ground point to the feature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Vector {
    /// East in metres.
    pub east_m: f64,
    /// North in metres.
    pub north_m: f64,
    /// Up in metres; none where nothing vertical was measured.
    pub up_m: Option<f64>,
    /// Horizontal distance in metres.
    pub horizontal_m: f64,
    /// From the direction readings of this shot alone.
    pub direction: Covariance,
    /// From the distance of this shot alone.
    pub distance: Covariance,
    /// Metres (east, north, up) by which a radian of error in the instrument's correction of inclinations moves the point.
    pub by_inclination_m: [f64; 3],
    /// Metres by which a metre of error in its correction of distances moves it.
    pub by_distance_m: [f64; 3],
    /// What its readings share with others.
    pub shares: Shares,
}

impl Vector {
    /// Metres by which a radian of error in the azimuth moves the point, to the right.
    pub fn by_azimuth_m(&self) -> [f64; 3] {
        [self.north_m, -self.east_m, 0.0]
    }

    /// A vector without errors.
    pub fn exact(east_m: f64, north_m: f64, up_m: Option<f64>) -> Vector {
        Vector {
            east_m,
            north_m,
            up_m,
            horizontal_m: east_m.hypot(north_m),
            direction: Covariance::default(),
            distance: Covariance::default(),
            by_inclination_m: [0.0; 3],
            by_distance_m: [0.0; 3],
            shares: Shares::default(),
        }
    }
}

/// Reduces a sighting on an earth of mean radius `earth_radius_m`.
pub fn reduce(sight: &Sight, sigmas: &SightSigmas, earth_radius_m: f64) -> Vector {
    reduce_with_vertical(sight, sigmas, sigmas.distance_m, earth_radius_m)
}

/// The same with a standard error of vertical distances of their own: what of it grows with a distance grows with the vertical one.
pub fn reduce_with_vertical(sight: &Sight, sigmas: &SightSigmas, sigma_vertical_m: f64, earth_radius_m: f64) -> Vector {
    let (sin_a, cos_a) = sight.true_azimuth_rad.sin_cos();
    let along = |h: f64, u: f64| [h * sin_a, h * cos_a, u];
    let bend = |horizontal_m: f64| Bend::from_refraction(sight.refraction, earth_radius_m).angle_rad(horizontal_m);
    // Horizontal distance, rise, and how both answer to inclination and to each distance.
    let (horizontal, rise, by_inclination, by_distance) = match sight.triangle {
        Triangle::Slope { slope_m: s, inclination_rad } => {
            let (sin, cos) = (inclination_rad - bend(s * inclination_rad.cos())).sin_cos();
            (s * cos, Some(s * sin), (-s * sin, s * cos), [Some((cos, sin)), None])
        }
        Triangle::Horizontal { horizontal_m: h, inclination_rad } => {
            let tan = (inclination_rad - bend(h)).tan();
            (h, Some(h * tan), (0.0, h * (1.0 + tan * tan)), [Some((1.0, tan)), None])
        }
        Triangle::HorizontalVertical { horizontal_m: h, vertical_m: v } => {
            // At a fixed horizontal distance h the rise answers to the inclination with h/cos² = s²/h, and the bend is k h/2R.
            let s = h.hypot(v);
            (h, Some(v - bend(s) * s), (0.0, 0.0), [Some((1.0, 0.0)), Some((0.0, 1.0))])
        }
        Triangle::SlopeVertical { slope_m: s, vertical_m: v } => {
            // The instrument's vertical distance is S sin I: slope distance and inclination in other words.
            let h = ((s - v) * (s + v)).sqrt();
            let (sin, cos) = bend(h).sin_cos();
            (h * cos + v * sin, Some(v * cos - h * sin), (0.0, 0.0), [Some((s / h, 0.0)), Some((-v / h, 1.0))])
        }
        Triangle::Level { horizontal_m: h } => (h, None, (0.0, 0.0), [Some((1.0, 0.0)), None]),
    };
    let by_azimuth = [horizontal * cos_a, -horizontal * sin_a, 0.0];
    let by_inclination_m = along(by_inclination.0, by_inclination.1);
    let scaled = |arm: [f64; 3], sigma: f64| arm.map(|a| a * sigma);
    let mut direction = Covariance::from_arm(scaled(by_azimuth, sigmas.azimuth_rad));
    direction += Covariance::from_arm(scaled(by_inclination_m, sigmas.inclination_rad));
    let mut distance = Covariance::default();
    for (by, sigma_m) in by_distance.into_iter().zip([sigmas.distance_m, sigma_vertical_m]) {
        if let Some((h, u)) = by {
            distance += Covariance::from_arm(scaled(along(h, u), sigma_m));
        }
    }
    Vector {
        east_m: horizontal * sin_a,
        north_m: horizontal * cos_a,
        up_m: rise.map(|rise| rise + sight.instrument_height_m - sight.target_height_m),
        horizontal_m: horizontal.abs(),
        direction,
        distance,
        by_inclination_m,
        // Slope and horizontal distances are corrected, vertical ones are not: the first of each triangle.
        by_distance_m: by_distance[0].map_or([0.0; 3], |(h, u)| along(h, u)),
        shares: Shares::default(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const EARTH_M: f64 = 6_371_000.0;

    /// What is left out at first order, h·tan I/cos² I·(k h/2R)² in the worst corner of the ranges drawn.
    const SECOND_ORDER_M: f64 = 1e-5;

    fn sight(azimuth_deg: f64, triangle: Triangle) -> Sight {
        Sight {
            true_azimuth_rad: azimuth_deg.to_radians(),
            triangle,
            instrument_height_m: 0.0,
            target_height_m: 0.0,
            refraction: 0.0,
        }
    }

    fn sigmas() -> SightSigmas {
        SightSigmas { azimuth_rad: 0.5f64.to_radians(), inclination_rad: 0.2f64.to_radians(), distance_m: 0.3 }
    }

    #[test]
    fn east_is_the_sine() {
        let vector = reduce(&sight(30.0, Triangle::Level { horizontal_m: 100.0 }), &sigmas(), EARTH_M);
        assert!((vector.east_m - 50.0).abs() < 1e-12);
        assert!((vector.north_m - 86.602_540_378_443_86).abs() < 1e-12);
        assert_eq!(vector.up_m, None);
    }

    #[test]
    fn half_a_degree_at_100_m_is_0_87_m() {
        // Field rule: angle off 0.5° at 100 m moves the point 0.87 m (L tan e, computed).
        let mut one = sigmas();
        one.distance_m = 0.0;
        let vector = reduce(&sight(0.0, Triangle::Level { horizontal_m: 100.0 }), &one, EARTH_M);
        assert!((vector.direction.ee.sqrt() - 0.87).abs() < 0.005, "{vector:?}");
        assert!(vector.direction.nn < 1e-20);
    }

    #[test]
    fn a_vertical_sight_keeps_its_height() {
        let up = Triangle::Slope { slope_m: 20.0, inclination_rad: 90f64.to_radians() };
        let vector = reduce(&sight(123.0, up), &sigmas(), EARTH_M);
        assert!((vector.up_m.unwrap() - 20.0).abs() < 1e-12);
        assert!(vector.horizontal_m.abs() < 1e-12);
    }

    #[test]
    fn refraction_lowers_the_target() {
        let mut bent = sight(0.0, Triangle::Slope { slope_m: 1000.0, inclination_rad: 0.0 });
        bent.refraction = 0.13;
        let vector = reduce(&bent, &sigmas(), EARTH_M);
        // k d² / 2R
        assert!((vector.up_m.unwrap() + 0.13 * 1e6 / (2.0 * EARTH_M)).abs() < 1e-9);
    }

    proptest! {
        /// The four ways of giving one triangle reduce to one vector.
        #[test]
        fn every_triangle_agrees(azimuth in 0.0f64..360.0, s in 1.0f64..2000.0, i in -80.0f64..80.0) {
            let (sin, cos) = i.to_radians().sin_cos();
            let (h, v, inclination_rad) = (s * cos, s * sin, i.to_radians());
            let of = |triangle| reduce(&sight(azimuth, triangle), &sigmas(), EARTH_M);
            let first = of(Triangle::Slope { slope_m: s, inclination_rad });
            for other in [
                of(Triangle::Horizontal { horizontal_m: h, inclination_rad }),
                of(Triangle::HorizontalVertical { horizontal_m: h, vertical_m: v }),
                of(Triangle::SlopeVertical { slope_m: s, vertical_m: v }),
            ] {
                // A micrometre: rounding of the square root in the last of them.
                prop_assert!((first.east_m - other.east_m).abs() < 1e-6);
                prop_assert!((first.north_m - other.north_m).abs() < 1e-6);
                prop_assert!((first.up_m.unwrap() - other.up_m.unwrap()).abs() < 1e-6);
            }
        }

        /// Refraction turns each of them down by k h / 2R, h the horizontal distance, to its first order.
        #[test]
        fn every_triangle_is_bent_alike(s in 1.0f64..2000.0, i in -70.0f64..70.0, k in 0.0f64..0.3) {
            let (sin, cos) = i.to_radians().sin_cos();
            let (h, v, inclination_rad) = (s * cos, s * sin, i.to_radians());
            let moved = |triangle| {
                let of = |k: f64| reduce(&Sight { refraction: k, ..sight(0.0, triangle) }, &sigmas(), EARTH_M);
                let (straight, bent) = (of(0.0), of(k));
                [bent.north_m - straight.north_m, straight.up_m.unwrap() - bent.up_m.unwrap()]
            };
            let angle = k * h / (2.0 * EARTH_M);
            // A line of fixed length turns by the angle; at a fixed horizontal distance the rise answers with 1/cos² of the
            // inclination.
            for (triangle, want) in [
                (Triangle::Slope { slope_m: s, inclination_rad }, [v * angle, h * angle]),
                (Triangle::SlopeVertical { slope_m: s, vertical_m: v }, [v * angle, h * angle]),
                (Triangle::Horizontal { horizontal_m: h, inclination_rad }, [0.0, h / (cos * cos) * angle]),
                (Triangle::HorizontalVertical { horizontal_m: h, vertical_m: v }, [0.0, h / (cos * cos) * angle]),
            ] {
                let got = moved(triangle);
                prop_assert!((got[0] - want[0]).abs() < SECOND_ORDER_M && (got[1] - want[1]).abs() < SECOND_ORDER_M, "{got:?} {want:?}");
            }
        }

        /// The Jacobian of each way of giving a triangle against differences of the function itself.
        #[test]
        fn covariance_is_that_of_small_changes(a in 0.0f64..360.0, s in 5.0f64..500.0, i in -70.0f64..70.0) {
            let (azimuth_rad, inclination_rad) = (a.to_radians(), i.to_radians());
            let (horizontal_m, vertical_m) = (s * inclination_rad.cos(), s * inclination_rad.sin());
            let (sig, sigma_vertical_m) = (sigmas(), 0.07);
            // What changes: inclination, the first distance, the vertical one.
            let ways: [&dyn Fn(f64, f64, f64) -> Triangle; 4] = [
                &|di, ds, _| Triangle::Slope { slope_m: s + ds, inclination_rad: inclination_rad + di },
                &|di, dh, _| Triangle::Horizontal { horizontal_m: horizontal_m + dh, inclination_rad: inclination_rad + di },
                &|_, dh, dv| Triangle::HorizontalVertical { horizontal_m: horizontal_m + dh, vertical_m: vertical_m + dv },
                &|_, ds, dv| Triangle::SlopeVertical { slope_m: s + ds, vertical_m: vertical_m + dv },
            ];
            for way in ways {
                let reduced = |da: f64, triangle: Triangle| {
                    let bent = Sight { true_azimuth_rad: azimuth_rad + da, refraction: 0.13, ..sight(0.0, triangle) };
                    reduce_with_vertical(&bent, &sig, sigma_vertical_m, EARTH_M)
                };
                let step = 1e-6;
                let by = |change: &dyn Fn(f64) -> Vector| {
                    let at = |v: Vector| [v.east_m, v.north_m, v.up_m.unwrap()];
                    let (plus, minus) = (at(change(step)), at(change(-step)));
                    std::array::from_fn::<f64, 3, _>(|j| (plus[j] - minus[j]) / (2.0 * step))
                };
                let arms = [
                    (by(&|d| reduced(d, way(0.0, 0.0, 0.0))), sig.azimuth_rad),
                    (by(&|d| reduced(0.0, way(d, 0.0, 0.0))), sig.inclination_rad),
                    (by(&|d| reduced(0.0, way(0.0, d, 0.0))), sig.distance_m),
                    (by(&|d| reduced(0.0, way(0.0, 0.0, d))), sigma_vertical_m),
                ];
                let mut want = Covariance::default();
                arms.iter().for_each(|(arm, sigma)| want += Covariance::from_arm(arm.map(|x| x * sigma)));
                let v = reduced(0.0, way(0.0, 0.0, 0.0));
                let got = v.direction + v.distance;
                // How the bend itself answers is left out: far less than a part in ten thousand of the standard errors of both axes.
                for (got, want, one, other) in [
                    (got.ee, want.ee, want.ee, want.ee),
                    (got.en, want.en, want.ee, want.nn),
                    (got.eu, want.eu, want.ee, want.uu),
                    (got.nn, want.nn, want.nn, want.nn),
                    (got.nu, want.nu, want.nn, want.uu),
                    (got.uu, want.uu, want.uu, want.uu),
                ] {
                    prop_assert!((got - want).abs() < 1e-9 + 1e-4 * (one * other).sqrt(), "{got} {want}");
                }
            }
        }
    }
}
