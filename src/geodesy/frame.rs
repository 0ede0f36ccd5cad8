//! East-north-up ↔ earth-centred ↔ geodetic coordinates, exact on any ellipsoid of revolution.
//!
//! Geodetic to earth-centred and the local rotation: IOGP Publication 373-7-2 (EPSG Guidance Note
//! 7-2), coordinate operation methods 9602 and 9836. Earth-centred to geodetic: the iteration of
//! B. R. Bowring, "Transformation from spatial to geographical coordinates", Survey Review 181
//! (1976), two steps of it: an error of the first parametric latitude is squared by each, and multiplied by about the eccentricity squared; at 100 km
//! the first step leaves 2e-11 rad and the second less than rounding.
//!
//! Accuracy: there and back within 1 µm and 1e-12 rad for ellipsoidal heights of −10 to +100 km,
//! the poles and the antimeridian included (held by a test).

use std::f64::consts::PI;

/// An ellipsoid of revolution.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ellipsoid {
    /// Semi-major axis in metres.
    pub semi_major_m: f64,
    /// Flattening, (a − b) / a.
    pub flattening: f64,
}

impl Ellipsoid {
    /// The ellipsoid of WGS 84: EPSG ellipsoid 7030.
    pub const WGS84: Ellipsoid = Ellipsoid { semi_major_m: 6_378_137.0, flattening: 1.0 / 298.257_223_563 };

    /// First eccentricity squared.
    pub fn eccentricity_squared(&self) -> f64 {
        self.flattening * (2.0 - self.flattening)
    }

    /// Radius of curvature in the prime vertical, in metres.
    pub fn prime_vertical_radius_m(&self, lat_rad: f64) -> f64 {
        let sin = lat_rad.sin();
        self.semi_major_m / (1.0 - self.eccentricity_squared() * sin * sin).sqrt()
    }

    /// Gaussian mean radius of curvature √(MN), in metres.
    pub fn mean_radius_m(&self, lat_rad: f64) -> f64 {
        let e2 = self.eccentricity_squared();
        let sin = lat_rad.sin();
        self.semi_major_m * (1.0 - e2).sqrt() / (1.0 - e2 * sin * sin)
    }
}

/// A geodetic position.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Geodetic {
    /// Latitude in radians, north positive.
    pub lat_rad: f64,
    /// Longitude in radians, east positive, −π to π.
    pub lon_rad: f64,
    /// Height above the ellipsoid in metres.
    pub ellipsoid_height_m: f64,
}

/// Earth-centred, earth-fixed coordinates x, y, z in metres.
pub type EarthCentred = [f64; 3];

impl Geodetic {
    /// Earth-centred coordinates on `ellipsoid`.
    pub fn to_earth_centred(&self, ellipsoid: &Ellipsoid) -> EarthCentred {
        let e2 = ellipsoid.eccentricity_squared();
        let nu = ellipsoid.prime_vertical_radius_m(self.lat_rad);
        let (sin_lat, cos_lat) = self.lat_rad.sin_cos();
        let (sin_lon, cos_lon) = self.lon_rad.sin_cos();
        let h = self.ellipsoid_height_m;
        [(nu + h) * cos_lat * cos_lon, (nu + h) * cos_lat * sin_lon, ((1.0 - e2) * nu + h) * sin_lat]
    }

    /// The position of earth-centred coordinates; at a pole the longitude is 0.
    pub fn from_earth_centred([x, y, z]: EarthCentred, ellipsoid: &Ellipsoid) -> Geodetic {
        let a = ellipsoid.semi_major_m;
        let e2 = ellipsoid.eccentricity_squared();
        let b = a * (1.0 - ellipsoid.flattening);
        let second_e2 = e2 / (1.0 - e2);
        let p = (x * x + y * y).sqrt();
        // From the parametric latitude of the point's foot to its latitude; as sine and cosine, for which no angle is wanted before the end.
        let latitude =
            |(sin_beta, cos_beta): (f64, f64)| direction(z + second_e2 * b * sin_beta.powi(3), p - e2 * a * cos_beta.powi(3));
        // First as if the point were on the ellipsoid.
        let (sin, cos) = latitude(direction(a * z, b * p));
        let (sin, cos) = latitude(direction((1.0 - ellipsoid.flattening) * sin, cos));
        let lat = sin.atan2(cos);
        // Height along the normal, free of the division by cos or sin that fails at poles or equator.
        let height = p * cos + z * sin - a * (1.0 - e2 * sin * sin).sqrt();
        let lon = if p == 0.0 { 0.0 } else { y.atan2(x) };
        Geodetic { lat_rad: lat, lon_rad: lon, ellipsoid_height_m: height }
    }
}

/// Sine and cosine of the angle whose tangent is `opposite / adjacent`; 0 and 1 where both are 0.
fn direction(opposite: f64, adjacent: f64) -> (f64, f64) {
    let length = (opposite * opposite + adjacent * adjacent).sqrt();
    if length == 0.0 { (0.0, 1.0) } else { (opposite / length, adjacent / length) }
}

/// A local frame: east, north and up at an origin, up along the ellipsoid's normal.
#[derive(Debug, Clone, Copy)]
pub struct LocalFrame {
    origin: EarthCentred,
    /// Rows: the unit vectors east, north and up in earth-centred coordinates.
    axes: [[f64; 3]; 3],
}

impl LocalFrame {
    /// The frame at a geodetic position.
    pub fn at(origin: &Geodetic, ellipsoid: &Ellipsoid) -> LocalFrame {
        let (sin_lat, cos_lat) = origin.lat_rad.sin_cos();
        let (sin_lon, cos_lon) = origin.lon_rad.sin_cos();
        LocalFrame {
            origin: origin.to_earth_centred(ellipsoid),
            axes: [
                [-sin_lon, cos_lon, 0.0],
                [-sin_lat * cos_lon, -sin_lat * sin_lon, cos_lat],
                [cos_lat * cos_lon, cos_lat * sin_lon, sin_lat],
            ],
        }
    }

    /// The unit vectors east, north and up in earth-centred coordinates.
    pub fn axes(&self) -> &[[f64; 3]; 3] {
        &self.axes
    }

    /// Earth-centred coordinates of a local vector `[east, north, up]` in metres.
    pub fn to_earth_centred(&self, enu: [f64; 3]) -> EarthCentred {
        std::array::from_fn(|i| self.origin[i] + self.axes[0][i] * enu[0] + self.axes[1][i] * enu[1] + self.axes[2][i] * enu[2])
    }

    /// The local vector `[east, north, up]` in metres of earth-centred coordinates.
    pub fn from_earth_centred(&self, point: EarthCentred) -> [f64; 3] {
        let d: [f64; 3] = std::array::from_fn(|i| point[i] - self.origin[i]);
        self.axes.map(|axis| axis[0] * d[0] + axis[1] * d[1] + axis[2] * d[2])
    }
}

/// An angle brought into 0 ≤ angle < 2π.
pub fn full_circle_rad(angle_rad: f64) -> f64 {
    let turned = angle_rad.rem_euclid(2.0 * PI);
    // rem_euclid of a tiny negative number rounds to 2π itself.
    if turned >= 2.0 * PI { 0.0 } else { turned }
}

/// An angle brought into −π ≤ angle < π: the shorter way round between two directions.
pub fn half_circle_rad(angle_rad: f64) -> f64 {
    full_circle_rad(angle_rad + PI) - PI
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// One micrometre: far below anything measured, far above rounding of 6.4e6 m.
    const THERE_AND_BACK_M: f64 = 1e-6;

    fn geodetic(lat_deg: f64, lon_deg: f64, h: f64) -> Geodetic {
        Geodetic { lat_rad: lat_deg.to_radians(), lon_rad: lon_deg.to_radians(), ellipsoid_height_m: h }
    }

    /// At the equator M = b²/a and N = a, so that √(MN) = b; at the poles M = N = a²/b. With a = 6 378 137 m, b = a (1 − f) and
    /// 1/f = 298.257 223 563 these are 6 356 752.3142 and 6 399 593.6258 m. Between, of the two radii of curvature as they are defined.
    #[test]
    fn mean_radius_of_curvature() {
        let ellipsoid = Ellipsoid::WGS84;
        for (lat_deg, published_m) in [(0.0f64, 6_356_752.314_2), (90.0, 6_399_593.625_8), (-90.0, 6_399_593.625_8)] {
            assert!((ellipsoid.mean_radius_m(lat_deg.to_radians()) - published_m).abs() < 1e-4, "{lat_deg}");
        }
        for lat_deg in [-67.0f64, -12.0, 30.0, 52.5] {
            let lat = lat_deg.to_radians();
            let (a, e2) = (6_378_137.0, 0.006_694_379_990_141_317);
            let meridian = a * (1.0 - e2) / (1.0 - e2 * lat.sin().powi(2)).powf(1.5);
            let prime_vertical = a / (1.0 - e2 * lat.sin().powi(2)).sqrt();
            assert!((ellipsoid.mean_radius_m(lat) - (meridian * prime_vertical).sqrt()).abs() < 1e-6, "{lat_deg}");
        }
    }

    #[test]
    fn poles_and_antimeridian() {
        for (lat, lon) in [(90.0, 0.0), (-90.0, 0.0), (0.0, 180.0), (10.0, -179.999_999_9), (89.999_999, 30.0)] {
            for h in [-10_000.0, 0.0, 100_000.0] {
                let there = geodetic(lat, lon, h);
                let back = Geodetic::from_earth_centred(there.to_earth_centred(&Ellipsoid::WGS84), &Ellipsoid::WGS84);
                assert!((back.lat_rad - there.lat_rad).abs() < 1e-12, "{lat} {lon} {h}: {back:?}");
                assert!((back.ellipsoid_height_m - h).abs() < THERE_AND_BACK_M, "{lat} {lon} {h}: {back:?}");
            }
        }
    }

    /// On the ellipsoid x²/a² + y²/a² + z²/b² is 1, and the normal there, (x/a², y/a², z/b²), has the latitude and longitude; a height goes along it.
    #[test]
    fn earth_centred_places_by_the_equation_of_the_ellipsoid() {
        let (a, b) = (6_378_137.0, 6_356_752.314_245_179);
        for (lat_deg, lon_deg) in [(0.0, 0.0), (37.0, -122.0), (-63.5, 171.0), (89.0, 45.0), (-12.0, -91.0)] {
            let at = geodetic(lat_deg, lon_deg, 0.0);
            let [x, y, z] = at.to_earth_centred(&Ellipsoid::WGS84);
            assert!(((x * x + y * y) / (a * a) + z * z / (b * b) - 1.0).abs() < 1e-14);
            let normal = [x / (a * a), y / (a * a), z / (b * b)];
            let length = normal.iter().map(|part| part * part).sum::<f64>().sqrt();
            assert!((normal[2].atan2(normal[0].hypot(normal[1])) - at.lat_rad).abs() < 1e-14);
            assert!((normal[1].atan2(normal[0]) - at.lon_rad).abs() < 1e-14);
            let above = geodetic(lat_deg, lon_deg, 1234.5).to_earth_centred(&Ellipsoid::WGS84);
            for (k, foot) in [x, y, z].into_iter().enumerate() {
                assert!((above[k] - foot - 1234.5 * normal[k] / length).abs() < THERE_AND_BACK_M);
            }
        }
    }

    /// The latitude φ of a point at p from the axis and z above the equator is where (p − e² N cos φ) sin φ = z cos φ, N the radius of the prime
    /// vertical: found by halving, from the equator to the pole.
    #[test]
    fn latitudes_by_halving() {
        let (a, e2) = (6_378_137.0, 0.006_694_379_990_141_317);
        for height_m in [-10_000.0, 0.0, 9_000.0, 100_000.0] {
            for lat_deg in [0.0, 1e-6, 15.0, 30.0, 45.0, 60.0, 75.0, 89.999] {
                let [p, _, z] = geodetic(lat_deg, 0.0, height_m).to_earth_centred(&Ellipsoid::WGS84);
                let beyond =
                    |lat: f64| (p - e2 * a * lat.cos() / (1.0 - e2 * lat.sin().powi(2)).sqrt()) * lat.sin() - z * lat.cos();
                let (mut low, mut high) = (0.0, 0.5 * PI);
                for _ in 0..60 {
                    let middle = 0.5 * (low + high);
                    if beyond(middle) < 0.0 { low = middle } else { high = middle }
                }
                // Rounding of 6.4e6 m: nanometres.
                for (sign, lon) in [(1.0, 0.3f64), (-1.0, -2.7)] {
                    let found = Geodetic::from_earth_centred([p * lon.cos(), p * lon.sin(), sign * z], &Ellipsoid::WGS84);
                    assert!(
                        (sign * found.lat_rad - low).abs() < 3e-15 && (found.lon_rad - lon).abs() < 3e-15,
                        "{lat_deg} {height_m}"
                    );
                    assert!((found.ellipsoid_height_m - height_m).abs() < 1e-8, "{lat_deg} {height_m}: {found:?}");
                }
            }
        }
    }

    #[test]
    fn on_the_axis_the_longitude_is_0() {
        let b = 6_356_752.314_245_179;
        for (x, z, lat_rad) in [(0.0, b + 5.0, 0.5 * PI), (-0.0, -b - 5.0, -0.5 * PI)] {
            let found = Geodetic::from_earth_centred([x, 0.0, z], &Ellipsoid::WGS84);
            assert!((found.lat_rad - lat_rad).abs() < 1e-15 && (found.ellipsoid_height_m - 5.0).abs() < THERE_AND_BACK_M);
            assert_eq!(found.lon_rad, 0.0);
        }
        // In the middle of the earth any latitude would do.
        let centre = Geodetic::from_earth_centred([0.0; 3], &Ellipsoid::WGS84);
        assert_eq!((centre.lat_rad, centre.lon_rad, centre.ellipsoid_height_m), (0.0, 0.0, -6_378_137.0));
    }

    /// East, north and up are where a place goes as its longitude, latitude and height grow.
    #[test]
    fn axes_by_differences() {
        for (lat_deg, lon_deg) in [(52.0, 13.0), (-33.0, -70.0), (71.0, 160.0)] {
            let at = geodetic(lat_deg, lon_deg, 250.0);
            let frame = LocalFrame::at(&at, &Ellipsoid::WGS84);
            let step = 1e-6;
            let moved = [
                Geodetic { lon_rad: at.lon_rad + step, ..at },
                Geodetic { lat_rad: at.lat_rad + step, ..at },
                Geodetic { ellipsoid_height_m: at.ellipsoid_height_m + 6.0, ..at },
            ];
            let origin = at.to_earth_centred(&Ellipsoid::WGS84);
            for (k, to) in moved.into_iter().enumerate() {
                let to = to.to_earth_centred(&Ellipsoid::WGS84);
                let way: [f64; 3] = std::array::from_fn(|i| to[i] - origin[i]);
                let length = way.iter().map(|part| part * part).sum::<f64>().sqrt();
                // A chord of 6 m leaves its tangent by half of 1e-6 rad.
                for (part, axis) in way.iter().zip(frame.axes()[k]) {
                    assert!((part / length - axis).abs() < 1e-6, "{k}: {way:?}");
                }
                let local = frame.from_earth_centred(to);
                for (i, part) in local.into_iter().enumerate() {
                    let want = if i == k { length } else { 0.0 };
                    assert!((part - want).abs() < 1e-5 * length, "{k}: {local:?}");
                }
            }
            assert_eq!(frame.to_earth_centred([0.0; 3]), origin);
        }
    }

    #[test]
    fn circle_edges() {
        assert_eq!(full_circle_rad(-0.0), 0.0);
        assert_eq!(full_circle_rad(2.0 * PI), 0.0);
        assert_eq!(full_circle_rad(-1e-30), 0.0);
        assert!(full_circle_rad(f64::NAN).is_nan());
        assert_eq!((half_circle_rad(PI), half_circle_rad(-PI), half_circle_rad(3.0 * PI)), (-PI, -PI, -PI));
        assert_eq!(half_circle_rad(0.0), 0.0);
        assert!((half_circle_rad(359f64.to_radians() - 1f64.to_radians()) + 2f64.to_radians()).abs() < 1e-12);
        assert!(half_circle_rad(-1e-30 - PI) < PI);
        assert!(half_circle_rad(f64::NAN).is_nan());
    }

    proptest! {
        #[test]
        fn geodetic_there_and_back(lat in -90.0f64..=90.0, lon in -180.0f64..=180.0, h in -10_000.0f64..100_000.0) {
            let there = geodetic(lat, lon, h);
            let xyz = there.to_earth_centred(&Ellipsoid::WGS84);
            let again = Geodetic::from_earth_centred(xyz, &Ellipsoid::WGS84).to_earth_centred(&Ellipsoid::WGS84);
            for i in 0..3 {
                prop_assert!((xyz[i] - again[i]).abs() < THERE_AND_BACK_M);
            }
        }

        #[test]
        fn local_there_and_back(
            lat in -90.0f64..=90.0, lon in -180.0f64..=180.0,
            e in -5000.0f64..5000.0, n in -5000.0f64..5000.0, u in -2000.0f64..2000.0,
        ) {
            let frame = LocalFrame::at(&geodetic(lat, lon, 300.0), &Ellipsoid::WGS84);
            let back = frame.from_earth_centred(frame.to_earth_centred([e, n, u]));
            for (got, want) in back.into_iter().zip([e, n, u]) {
                prop_assert!((got - want).abs() < THERE_AND_BACK_M);
            }
        }
    }
}
