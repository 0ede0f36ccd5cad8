//! What a reading should be between two places, and how it answers to a move of the target.
//!
//! v = R_P (Q − P) + (0, 0, target height − instrument height), with R_P the east, north and up axes at the base P, is
//! the sight in the base's own horizon; nothing is laid out in a plane. Then
//! azimuth = atan2(e, n), slope = |v|, horizontal = √(e² + n²), inclination = atan2(u, horizontal) + bend, and the
//! vertical distances are u raised by the bend: that of [`Bend`], by which shots are reduced. Source: any text on
//! adjustment, e.g. C. D. Ghilani, "Adjustment Computations", chapters on horizontal and three-dimensional networks.
//!
//! Partials are by v; those of refraction (below 1e-6) and of the turning vertical (d/R) are left out of the partials
//! only: the residuals are exact.
//!
//! Steep sights: near the plumb line azimuth and inclination are no smooth functions of the place. There an azimuth
//! read with an inclination above [`STEEP_RAD`] is held as the offset from its line over the horizontal distance that
//! was read, and the inclination is measured in the vertical plane of that azimuth, through the zenith.

use super::types::Kind;
use crate::shots::reduce::Bend;

/// Inclination from which a sight is steep: 85°. Own choice: there an error of 0.5° still moves the foot by a tenth
/// of the horizontal distance only.
pub(crate) const STEEP_RAD: f64 = 85.0 * std::f64::consts::PI / 180.0;

/// Least horizontal distance of a steep azimuth, as a share of the slope distance: keeps its weight finite.
pub(crate) const STEEP_SHARE: f64 = 1e-3;

/// How a reading is computed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Model {
    /// By its kind.
    Plain(Kind),
    /// Azimuth of a steep sight over the horizontal distance read.
    SteepAzimuth { horizontal_m: f64 },
    /// Inclination of a steep sight in the plane of an azimuth.
    SteepInclination { azimuth_rad: f64 },
}

/// A reading computed, with its partials by east, north and up of the sight.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Predicted {
    pub value: f64,
    pub by: [f64; 3],
}

/// Computes a reading of a sight `[e, n, u]` where sights bend so. None where the sight has no length that the reading
/// could stand on.
pub(crate) fn predict(kind: Kind, [e, n, u]: [f64; 3], bend: Bend) -> Option<Predicted> {
    let h = e.hypot(n);
    let s = h.hypot(u);
    let bend_rad = bend.angle_rad(h);
    let computed = |value: f64, by: [f64; 3]| Some(Predicted { value, by });
    match kind {
        Kind::Azimuth | Kind::Direction if h > 0.0 => computed(e.atan2(n), [n / (h * h), -e / (h * h), 0.0]),
        Kind::Inclination if s > 0.0 => {
            let along = if h > 0.0 { [e / h, n / h] } else { [0.0, 0.0] };
            computed(u.atan2(h) + bend_rad, [-u * along[0] / (s * s), -u * along[1] / (s * s), h / (s * s)])
        }
        Kind::Slope if s > 0.0 => computed(s, [e / s, n / s, u / s]),
        Kind::Horizontal if h > 0.0 => computed(h, [e / h, n / h, 0.0]),
        Kind::Vertical if h > 0.0 => computed(u + bend_rad * s * s / h, [0.0, 0.0, 1.0]),
        Kind::VerticalWithSlope => computed(u + bend_rad * h, [0.0, 0.0, 1.0]),
        _ => None,
    }
}

/// A steep azimuth: observed minus computed is atan-free, −offset/h about the observed azimuth; so this gives the
/// misclosure itself (observed minus computed) and the partials of the computed value.
pub(crate) fn steep_azimuth(azimuth_rad: f64, [e, n, _]: [f64; 3], horizontal_m: f64) -> Predicted {
    let (sin, cos) = azimuth_rad.sin_cos();
    // To the right of the line is a greater azimuth.
    let right = e * cos - n * sin;
    Predicted { value: -right / horizontal_m, by: [cos / horizontal_m, -sin / horizontal_m, 0.0] }
}

/// A steep inclination in the vertical plane of an azimuth: it runs on through the zenith.
pub(crate) fn steep_inclination(azimuth_rad: f64, [e, n, u]: [f64; 3], bend: Bend) -> Option<Predicted> {
    let (sin, cos) = azimuth_rad.sin_cos();
    let along = e * sin + n * cos;
    let square = along * along + u * u;
    (square > 0.0).then(|| Predicted {
        value: u.atan2(along) + bend.angle_rad(along),
        by: [-u * sin / square, -u * cos / square, along / square],
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::records::triangle::Triangle;
    use crate::shots::reduce::{Sight, SightSigmas, reduce};
    use proptest::prelude::*;

    const EARTH_M: f64 = 6_371_000.0;
    const NO_BEND: Bend = Bend::NONE;

    #[test]
    fn no_sight_has_no_azimuth() {
        assert!(predict(Kind::Azimuth, [0.0, 0.0, 5.0], NO_BEND).is_none());
        assert!(predict(Kind::Slope, [0.0; 3], NO_BEND).is_none());
        let up = predict(Kind::Inclination, [0.0, 0.0, 5.0], NO_BEND).unwrap();
        assert!((up.value.to_degrees() - 90.0).abs() < 1e-12 && up.by == [0.0; 3]);
        for kind in [Kind::Azimuth, Kind::Direction, Kind::Horizontal, Kind::Vertical] {
            assert!(predict(kind, [0.0, 0.0, 5.0], NO_BEND).is_none() && predict(kind, [0.0, 1e-9, 5.0], NO_BEND).is_some());
        }
        assert!(predict(Kind::Inclination, [0.0; 3], NO_BEND).is_none());
        assert_eq!(predict(Kind::VerticalWithSlope, [0.0, 0.0, 5.0], NO_BEND).unwrap().value, 5.0);
        assert!(predict(Kind::HeightDifference, [3.0, 4.0, 5.0], NO_BEND).is_none());
        assert!(steep_inclination(0.5, [0.0; 3], NO_BEND).is_none());
    }

    /// In the plane of its azimuth a steep inclination is that of any sight, refraction included, and runs on beyond the zenith.
    #[test]
    fn steep_readings_go_on_through_the_zenith() {
        let bend = Bend::from_refraction(0.13, EARTH_M);
        let azimuth = 0.7f64;
        let at = |along: f64, right: f64, up: f64| {
            let (sin, cos) = azimuth.sin_cos();
            [along * sin + right * cos, along * cos - right * sin, up]
        };
        let plain = predict(Kind::Inclination, at(300.0, 0.0, 900.0), bend).unwrap();
        let steep = steep_inclination(azimuth, at(300.0, 0.0, 900.0), bend).unwrap();
        assert!((plain.value - steep.value).abs() < 1e-15);
        assert!((0..3).all(|k| (plain.by[k] - steep.by[k]).abs() < 1e-15), "{plain:?} {steep:?}");
        // What is aside of the plane does not count.
        assert!((steep_inclination(azimuth, at(300.0, 50.0, 900.0), bend).unwrap().value - steep.value).abs() < 1e-12);
        let beyond = steep_inclination(azimuth, at(-1.0, 0.0, 100.0), NO_BEND).unwrap().value;
        assert!((beyond - std::f64::consts::FRAC_PI_2 - 0.01f64.atan()).abs() < 1e-12, "{beyond}");
        // 2 m to the right over 4 m the azimuth is half a radian greater than what was read.
        assert!((steep_azimuth(azimuth, at(0.3, 2.0, 90.0), 4.0).value + 0.5).abs() < 1e-12);
    }

    proptest! {
        /// The readings computed from a reduced sight are those it was reduced from.
        #[test]
        fn undoes_the_reduction(a in 0.1f64..6.2, s in 5.0f64..1000.0, i in -60.0f64..60.0, k in 0.0f64..0.3) {
            let sigmas = SightSigmas { azimuth_rad: 0.0, inclination_rad: 0.0, distance_m: 0.0 };
            let (i, bend) = (i.to_radians(), Bend::from_refraction(k, EARTH_M));
            // 1e-9 rad and 10 µm: refraction squared, left out.
            for (triangle, readings) in [
                (Triangle::Slope { slope_m: s, inclination_rad: i }, [(Kind::Slope, s), (Kind::Inclination, i)]),
                (Triangle::Horizontal { horizontal_m: s, inclination_rad: i }, [(Kind::Horizontal, s), (Kind::Inclination, i)]),
                (Triangle::HorizontalVertical { horizontal_m: s, vertical_m: s * i.tan() }, [(Kind::Horizontal, s), (Kind::Vertical, s * i.tan())]),
                (Triangle::SlopeVertical { slope_m: s, vertical_m: s * i.sin() }, [(Kind::Slope, s), (Kind::VerticalWithSlope, s * i.sin())]),
            ] {
                let sight = Sight { true_azimuth_rad: a, triangle, instrument_height_m: 0.0, target_height_m: 0.0, refraction: k };
                let v = reduce(&sight, &sigmas, EARTH_M);
                let enu = [v.east_m, v.north_m, v.up_m.unwrap()];
                let azimuth = predict(Kind::Azimuth, enu, bend).unwrap().value;
                prop_assert!(crate::geodesy::frame::half_circle_rad(azimuth - a).abs() < 1e-12);
                for (kind, reading) in readings {
                    let got = predict(kind, enu, bend).unwrap().value;
                    let tolerance = if kind == Kind::Inclination { 1e-9 } else { 1e-5 };
                    prop_assert!((got - reading).abs() < tolerance, "{kind:?} {got} {reading}");
                }
            }
        }

        /// Partials against differences of the function.
        #[test]
        fn partials(e in -500.0f64..500.0, n in 10.0f64..500.0, u in -300.0f64..300.0, azimuth in 0.0f64..6.2) {
            let step = 1e-4;
            let kinds = [Kind::Azimuth, Kind::Inclination, Kind::Slope, Kind::Horizontal, Kind::Vertical, Kind::VerticalWithSlope];
            for kind in kinds {
                let of = |v: [f64; 3]| predict(kind, v, NO_BEND).unwrap();
                check(|v| of(v).value, of([e, n, u]).by, [e, n, u], step)?;
            }
            let steep = |v: [f64; 3]| steep_inclination(azimuth, v, NO_BEND).unwrap();
            check(|v| steep(v).value, steep([e, n, 900.0]).by, [e, n, 900.0], step)?;
            let line = |v: [f64; 3]| steep_azimuth(azimuth, v, 7.0);
            check(|v| -line(v).value, line([e, n, u]).by, [e, n, u], step)?;
        }
    }

    fn check(f: impl Fn([f64; 3]) -> f64, by: [f64; 3], at: [f64; 3], step: f64) -> Result<(), TestCaseError> {
        for (axis, by) in by.into_iter().enumerate() {
            let moved = |d: f64| f(std::array::from_fn(|k| at[k] + if k == axis { d } else { 0.0 }));
            let slope = (moved(step) - moved(-step)) / (2.0 * step);
            prop_assert!((slope - by).abs() < 1e-6 * (1.0 + slope.abs()), "{slope} {by}");
        }
        Ok(())
    }
}
