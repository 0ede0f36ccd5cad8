//! The program against published values: `tests/reference/` has the tables, each value with its
//! source. Each test counts its rows, so that none is lost in silence.

#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used)]

use std::collections::HashMap;
use std::f64::consts::PI;

use geo::{Destination, Distance, Geodesic, Point};
use jiff::civil::Date;
use standoff::covariance::Covariance;
use standoff::crs::{Crs, Rules, Transform};
use standoff::frame::{Ellipsoid, Geodetic, LocalFrame};
use standoff::north;
use standoff::reduce::{Sight, SightSigmas, Triangle, reduce};
use standoff::units::{AngleUnit, LengthUnit};

type Row = HashMap<String, String>;

fn table(name: &str) -> Vec<Row> {
    let path = format!("{}/tests/reference/{name}.csv", env!("CARGO_MANIFEST_DIR"));
    let rows: Vec<Row> = csv::Reader::from_path(path).unwrap().deserialize().map(|row| row.unwrap()).collect();
    assert!(rows.iter().all(|row| !row["source"].is_empty()), "every value names its source");
    rows
}

fn number(row: &Row, column: &str) -> f64 {
    row[column].parse().unwrap()
}

fn geodetic(lat_deg: f64, lon_deg: f64, h: f64) -> Geodetic {
    Geodetic { lat_rad: lat_deg.to_radians(), lon_rad: lon_deg.to_radians(), ellipsoid_height_m: h }
}

/// The day that a decimal year falls on, and the fraction of a year between them.
fn day_of(decimal_year: f64) -> (Date, f64) {
    let year = decimal_year.floor() as i16;
    let first = Date::new(year, 1, 1).unwrap();
    let days = (decimal_year.fract() * f64::from(first.days_in_year())).round();
    // The last instant of a model's span is the first of a year that it does not cover.
    let date = first + jiff::Span::new().days(days as i64);
    (date, 0.5 / f64::from(first.days_in_year()))
}

/// Half of the last printed digit of the report's declinations, in degrees.
const PRINTED_D_DEG: f64 = 0.005;
/// Single precision of the model's synthesis, and of its coefficients, in nT.
const SINGLE_PRECISION_NT: f64 = 0.3;

#[test]
fn declination_of_the_published_test_points() {
    let mut counted = 0;
    for row in table("wmm_test_values") {
        let (date, half_day) = day_of(number(&row, "decimal_year"));
        let at = geodetic(number(&row, "lat_deg"), number(&row, "lon_deg"), number(&row, "height_km") * 1000.0);
        let got = north::declination(&at, date).unwrap();
        assert_eq!(north::model_name(date), row["model"], "{date}");
        let apart = (got.declination_rad.to_degrees() - number(&row, "D_deg") + 180.0).rem_euclid(360.0) - 180.0;
        let field = number(&row, "H_nT");
        let allowed = PRINTED_D_DEG + half_day * number(&row, "dD_deg_per_yr").abs() + (SINGLE_PRECISION_NT / field).to_degrees();
        assert!(apart.abs() < allowed, "{row:?}: {got:?}, {apart} apart, {allowed} allowed");
        assert!((got.horizontal_field_nt - field).abs() < SINGLE_PRECISION_NT + 200.0 * half_day, "{row:?}: {got:?}");
        counted += 1;
    }
    assert_eq!(counted, 224);
}

#[test]
fn declination_has_the_published_standard_error() {
    let constants = table("wmm_error_model");
    let find = |model: &str, quantity: &str| {
        number(constants.iter().find(|row| row["model"] == model && row["quantity"] == quantity).unwrap(), "value")
    };
    for (model, date) in [("WMM2020", Date::constant(2022, 7, 2)), ("WMM2025", Date::constant(2026, 5, 4))] {
        let (constant, by_field) = (find(model, "sigma_D_const"), find(model, "sigma_D_coef"));
        for (lat, lon) in [(46.0, 9.0), (-33.0, 151.0), (70.0, -40.0), (0.0, 0.0), (84.0, 20.0)] {
            let got = north::declination(&geodetic(lat, lon, 0.0), date).unwrap();
            let want = constant.hypot(by_field / got.horizontal_field_nt);
            // Single precision of a value below 10°.
            assert!((got.sigma_rad.to_degrees() - want).abs() < 1e-5, "{model} {lat} {lon}: {got:?}, published {want}");
        }
    }
    for date in [Date::constant(2019, 12, 31), Date::constant(2030, 1, 1)] {
        assert!(matches!(north::declination(&geodetic(46.0, 9.0, 0.0), date), Err(north::NorthError::Date { .. })), "{date}");
    }
}

#[test]
fn yearly_change_of_the_published_test_points() {
    /// Known cells of the published rates are off by as much beside their rounding (degrees a year),
    /// and so is the rate from two days in single precision.
    const CELLS: f64 = 0.007;
    let mut counted = 0;
    for row in table("wmm_test_values").iter().filter(|row| number(row, "H_nT") > 6000.0) {
        let (date, _) = day_of(number(row, "decimal_year"));
        let at = geodetic(number(row, "lat_deg"), number(row, "lon_deg"), number(row, "height_km") * 1000.0);
        let got = north::yearly_change_rad(&at, date).unwrap().to_degrees();
        let decimals = row["dD_deg_per_yr"].split_once('.').map_or(0, |(_, part)| part.len());
        let printed = 0.5 * 0.1f64.powi(decimals as i32);
        assert!((got - number(row, "dD_deg_per_yr")).abs() < printed + CELLS, "{row:?}: {got}");
        counted += 1;
    }
    assert!(counted > 150, "{counted}");
}

fn ellipsoid(name: &str) -> Ellipsoid {
    match name {
        "WGS84" => Ellipsoid::WGS84,
        // EPSG ellipsoid 7019.
        "GRS80" => Ellipsoid { semi_major_m: 6_378_137.0, flattening: 1.0 / 298.257_222_101 },
        other => panic!("{other}"),
    }
}

#[test]
fn earth_centred_and_topocentric_examples() {
    let mut counted = 0;
    for row in table("topocentric") {
        let on = ellipsoid(&row["ellipsoid"]);
        let tolerance = number(&row, "tolerance_m");
        let near = |got: [f64; 3], want: [&str; 3]| {
            for (got, want) in got.into_iter().zip(want) {
                assert!((got - number(&row, want)).abs() <= tolerance, "{row:?}: {got} for {want}");
            }
        };
        let point = || geodetic(number(&row, "lat"), number(&row, "lon"), number(&row, "h"));
        match row["method"].as_str() {
            "geocentric to topocentric (EPSG 9836)" => {
                // Its origin, 55 N 5 E at 200 m, stands in the note.
                let frame = LocalFrame::at(&geodetic(55.0, 5.0, 200.0), &on);
                near(frame.to_earth_centred([0.0; 3]), ["X0", "Y0", "Z0"]);
                near(
                    frame.from_earth_centred([number(&row, "X"), number(&row, "Y"), number(&row, "Z")]),
                    ["U_east", "V_north", "W_up"],
                );
            }
            "geographic to topocentric (EPSG 9837)" => {
                let frame = LocalFrame::at(&geodetic(number(&row, "lat0"), number(&row, "lon0"), number(&row, "h0")), &on);
                near(frame.from_earth_centred(point().to_earth_centred(&on)), ["U_east", "V_north", "W_up"]);
            }
            "geographic to geocentric (EPSG 9602)" => {
                near(point().to_earth_centred(&on), ["X", "Y", "Z"]);
                let back = Geodetic::from_earth_centred([number(&row, "X"), number(&row, "Y"), number(&row, "Z")], &on);
                assert!((back.ellipsoid_height_m - number(&row, "h")).abs() <= tolerance, "{row:?}: {back:?}");
            }
            "topocentric to geographic (EPSG 9837 reverse)" => {
                let frame = LocalFrame::at(&geodetic(number(&row, "lat0"), number(&row, "lon0"), number(&row, "h0")), &on);
                let end = frame.to_earth_centred([number(&row, "U_east"), number(&row, "V_north"), number(&row, "W_up")]);
                near(end, ["X", "Y", "Z"]);
                let want = point().to_earth_centred(&on);
                for (got, want) in end.into_iter().zip(want) {
                    assert!((got - want).abs() <= tolerance, "{row:?}: {got} {want}");
                }
            }
            other => panic!("{other}"),
        }
        counted += 1;
    }
    assert_eq!(counted, 14);
}

#[test]
fn earth_centred_coordinates_agree_with_proj() {
    /// A micrometre, for heights of -10 to +10 km.
    const AGREEMENT_M: f64 = 1e-6;
    use gdal::spatial_ref::{AxisMappingStrategy, CoordTransform, SpatialRef};
    let system = |code| {
        let mut srs = SpatialRef::from_epsg(code).unwrap();
        srs.set_axis_mapping_strategy(AxisMappingStrategy::TraditionalGisOrder);
        srs
    };
    let transform = CoordTransform::new(&system(4979), &system(4978)).unwrap();
    for lat in [-90.0, -89.999, -45.3, 0.0, 12.7, 60.1, 89.5, 90.0] {
        for (lon, h) in [(-180.0, -10_000.0), (-77.7, 0.0), (0.0, 250.0), (33.3, 10_000.0), (180.0, 10_000.0)] {
            let (mut x, mut y, mut z) = ([lon], [lat], [h]);
            transform.transform_coords(&mut x, &mut y, &mut z).unwrap();
            let got = geodetic(lat, lon, h).to_earth_centred(&Ellipsoid::WGS84);
            for (got, want) in got.into_iter().zip([x[0], y[0], z[0]]) {
                assert!((got - want).abs() < AGREEMENT_M, "{lat} {lon} {h}: {got} {want}");
            }
        }
    }
}

#[test]
fn projection_convergence_and_scale_examples() {
    /// What PROJ 9.5 gives for the string; the table prints positions to 1e-10 of a degree, 11 µm.
    const PRINTED_POSITION_M: f64 = 1.2e-5;
    /// Arc-seconds: what the published convergences agree to.
    const CONVERGENCE_DEG: f64 = 0.01 / 3600.0;
    const SCALE: f64 = 5e-8;
    let (mut counted, mut with_convergence, mut with_scale) = (0, 0, 0);
    for row in table("projection_examples") {
        let crs = Crs::new(&row["crs_or_proj_string"]).unwrap_or_else(|error| panic!("{}: {error}", row["name"]));
        let geographic = crs.geographic_3d().unwrap();
        let transform =
            Transform::new(&geographic, &crs, None, Rules::default()).unwrap_or_else(|error| panic!("{}: {error}", row["name"]));
        // The string counts longitudes from its own meridian, 17°40' west of Greenwich; the row from Greenwich.
        let ferro = if row["crs_or_proj_string"].contains("+pm=ferro") { 17.0 + 40.0 / 60.0 } else { 0.0 };
        let (lat, lon) = (number(&row, "lat"), number(&row, "lon") + ferro);
        let mut point = [[lon, lat, 0.0]];
        transform.apply(&mut point).unwrap();
        let tolerance = number(&row, "tolerance_m") / crs.unit_factor();
        let apart =
            |east: &str, north: &str| (point[0][0] - number(&row, east)).abs().max((point[0][1] - number(&row, north)).abs());
        assert!(apart("easting", "northing") <= tolerance, "{}: {:?}", row["name"], point[0]);
        assert!(
            apart("easting_proj", "northing_proj") <= PRINTED_POSITION_M / crs.unit_factor(),
            "{}: {:?}",
            row["name"],
            point[0]
        );
        let factors = crs.grid_factors(lon.to_radians(), lat.to_radians());
        if !row["convergence_deg"].is_empty() {
            let got = factors.unwrap().convergence_rad.to_degrees();
            assert!((got - number(&row, "convergence_deg")).abs() < CONVERGENCE_DEG, "{}: convergence {got}", row["name"]);
            with_convergence += 1;
        }
        if !row["scale_factor"].is_empty() {
            let got = factors.unwrap().scale;
            assert!((got - number(&row, "scale_factor")).abs() < SCALE, "{}: scale {got}", row["name"]);
            with_scale += 1;
        }
        counted += 1;
    }
    assert_eq!(counted, 45);
    assert!(with_convergence >= 8 && with_scale >= 8, "{with_convergence} {with_scale}");
}

/// A level shot's end point on the ellipsoid.
fn level_end(lat: f64, lon: f64, azimuth_deg: f64, s: f64) -> Point {
    let base = geodetic(lat, lon, 0.0);
    let sight = Sight {
        true_azimuth_rad: azimuth_deg.to_radians(),
        triangle: Triangle::Level { horizontal_m: s },
        instrument_height_m: 0.0,
        target_height_m: 0.0,
        refraction: 0.0,
    };
    let sigmas = SightSigmas { azimuth_rad: 0.0, orientation_rad: 0.0, inclination_rad: 0.0, distance_m: 0.0 };
    let vector = reduce(&sight, &sigmas, 6_371_000.0);
    let frame = LocalFrame::at(&base, &Ellipsoid::WGS84);
    let end = Geodetic::from_earth_centred(frame.to_earth_centred([vector.east_m, vector.north_m, 0.0]), &Ellipsoid::WGS84);
    Point::new(end.lon_rad.to_degrees(), end.lat_rad.to_degrees())
}

/// How far a level shot of `s` metres from height 0 may end from the geodesic of the same length.
///
/// The shot lies in the plane that touches the ellipsoid at the base; seen from below, its end is
/// R·atan(s/R) away, s³/3R² too short, with the least radius of curvature (6335 km, along the
/// meridian at the equator). The normal section differs from the geodesic, and the normals at both
/// ends are skew, by terms of e²s³/R²: a hundredth of that. Rounding: 50 nm.
fn geometry_m(s: f64) -> f64 {
    1.01 * s.powi(3) / (3.0 * 6_335_439f64.powi(2)) + 5e-8
}

#[test]
fn level_shots_end_where_the_geodesic_does() {
    let mut counted = 0;
    for row in table("geodesic") {
        let s = number(&row, "s12");
        if row["ellipsoid"] != "WGS84" || s > 5000.0 || number(&row, "lat1").abs() == 90.0 {
            continue;
        }
        let end = level_end(number(&row, "lat1"), number(&row, "lon1"), number(&row, "azi1"), s);
        let apart = Geodesic.distance(end, Point::new(number(&row, "lon2"), number(&row, "lat2")));
        assert!(apart < geometry_m(s), "{row:?}: {apart} m apart, {} allowed", geometry_m(s));
        counted += 1;
    }
    assert!(counted >= 33, "{counted} rows");
    let mut random = Random(20_260_504);
    for _ in 0..2000 {
        let (lat, lon) = (random.between(-89.0, 89.0), random.between(-180.0, 180.0));
        let (azimuth, s) = (random.between(0.0, 360.0), random.between(1.0, 5000.0));
        let want = Geodesic.destination(Point::new(lon, lat), azimuth, s);
        let apart = Geodesic.distance(level_end(lat, lon, azimuth, s), want);
        assert!(apart < geometry_m(s), "{lat} {lon} {azimuth} {s}: {apart}");
        // And no less than the least of it, or the bound would prove nothing.
        assert!(apart > 0.95 * s.powi(3) / (3.0 * 6_400_000f64.powi(2)) - 5e-8, "{lat} {lon} {azimuth} {s}: {apart}");
    }
}

#[test]
fn units_have_their_exact_size() {
    let mut counted = 0;
    for row in table("angles_units") {
        let value = row["si_value"].parse::<f64>().unwrap_or(f64::NAN);
        let got = match row["unit"].as_str() {
            "international foot" => LengthUnit::Foot.to_metres(1.0),
            "US survey foot" => LengthUnit::UsSurveyFoot.to_metres(1.0),
            "yard" => LengthUnit::Yard.to_metres(1.0),
            "degree" => AngleUnit::Degree.to_radians(1.0),
            "gon (grad)" => AngleUnit::Gon.to_radians(1.0),
            "mil (6400 to the circle)" => AngleUnit::Mil.to_radians(1.0),
            _ => continue,
        };
        assert!((got - value).abs() <= value * f64::EPSILON, "{}: {got}", row["unit"]);
        counted += 1;
    }
    assert_eq!(counted, 6);
}

#[test]
fn handbook_curvature_and_refraction() {
    const MILE_M: f64 = 1609.344;
    const FOOT_M: f64 = 0.3048;
    let mut counted = 0;
    for row in table("curvature_refraction").iter().filter(|row| row["type"] != "constant") {
        let d = number(row, "distance")
            * match row["distance_unit"].as_str() {
                "km" => 1000.0,
                "mile" => MILE_M,
                "kft" => 1000.0 * FOOT_M,
                other => panic!("{other}"),
            };
        let unit = if row["result_unit"] == "ft" { FOOT_M } else { 1.0 };
        // A level sight of length d on a sphere-like part of the ellipsoid: latitude 35° has the mean radius of 6371 km.
        let base = geodetic(35.0, 10.0, 0.0);
        let radius = Ellipsoid::WGS84.mean_radius_m(base.lat_rad);
        let rise = |k: f64| {
            let sight = Sight {
                true_azimuth_rad: 45f64.to_radians(),
                triangle: Triangle::Slope { slope_m: d, inclination_rad: 0.0 },
                instrument_height_m: 0.0,
                target_height_m: 0.0,
                refraction: k,
            };
            let sigmas = SightSigmas { azimuth_rad: 0.0, orientation_rad: 0.0, inclination_rad: 0.0, distance_m: 0.0 };
            let vector = reduce(&sight, &sigmas, radius);
            let frame = LocalFrame::at(&base, &Ellipsoid::WGS84);
            let end = frame.to_earth_centred([vector.east_m, vector.north_m, vector.up_m.unwrap()]);
            (Geodetic::from_earth_centred(end, &Ellipsoid::WGS84).ellipsoid_height_m, vector.up_m.unwrap())
        };
        // The columns have R = 6371 km and three values of k.
        for (k, column) in [(1.0 / 7.0, "computed_k_1_7"), (0.13, "computed_k_0_13"), (0.14, "computed_k_0_14")] {
            let (combined, refraction) = rise(k);
            let got = match row["effect"].as_str() {
                "combined" => combined,
                "curvature" => combined - refraction,
                _ => -refraction,
            } / unit;
            let want = number(row, column);
            // 0.1 % of radius along the azimuth, and half of the fifth decimal.
            assert!((got - want).abs() < 1e-3 * want + 5e-6, "{} {column}: {got} {want}", row["id"]);
        }
        counted += 1;
    }
    assert_eq!(counted, 15);
}

#[test]
fn handbook_heights_by_slope_distance_and_angle() {
    let sight = |slope_m: f64, inclination_deg: f64, instrument: f64, target: f64| {
        let sight = Sight {
            true_azimuth_rad: 0.0,
            triangle: Triangle::Slope { slope_m, inclination_rad: inclination_deg.to_radians() },
            instrument_height_m: instrument,
            target_height_m: target,
            refraction: 0.0,
        };
        let sigmas = SightSigmas { azimuth_rad: 0.0, orientation_rad: 0.0, inclination_rad: 0.0, distance_m: 0.0 };
        let vector = reduce(&sight, &sigmas, 6_371_000.0);
        (vector.horizontal_m, vector.up_m.unwrap())
    };
    let rows = table("heights");
    let find = |id: &str| rows.iter().find(|row| row["id"] == id).unwrap();
    // Zenith angle and slope distance (Geoscience Australia's library tests); the heights stand in `method`.
    for (id, instrument, target) in [("H7", 0.0, 0.0), ("H8", 1.62, 0.05), ("H9", 2.05, 0.0)] {
        let row = find(id);
        let (_, up) = sight(number(row, "distance"), 90.0 - number(row, "angle_top"), instrument, target);
        assert!((up - number(row, "height_published")).abs() < 1e-5, "{id}: {up}");
    }
    // H10 reads 264.7° on the second face. Both faces add up to 360°, so that it is 5.3° down; its
    // source takes it as 5.3° up. The horizontal distance is the same.
    let (horizontal, _) = sight(number(find("H10"), "distance"), 90.0 - (360.0 - number(find("H10"), "angle_top")), 1.4, 0.0);
    assert!((horizontal - 3.236_13).abs() < 1e-5, "{horizontal}");
    // The top above the eye by the sine, and a horizontal distance by the cosine; feet, printed to a tenth.
    let (_, up) = sight(number(find("H4"), "distance"), number(find("H4"), "angle_top"), 0.0, 0.0);
    assert!((up - number(find("H4"), "height_top_published")).abs() < 0.05, "{up}");
    let (horizontal, _) = sight(number(find("H5"), "distance"), number(find("H5"), "angle_top"), 0.0, 0.0);
    assert!((horizontal - number(find("H5"), "height_published")).abs() < 0.05, "{horizontal}");
}

/// A small generator with a fixed seed (xorshift, G. Marsaglia 2003) and normal deviates (Box and Muller 1958).
struct Random(u64);

impl Random {
    fn unit(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    fn normal(&mut self) -> f64 {
        (-2.0 * (1.0 - self.unit()).ln()).sqrt() * (2.0 * PI * self.unit()).cos()
    }
}

#[test]
fn covariance_against_a_monte_carlo_run() {
    const DRAWS: usize = 200_000;
    let (slope_m, azimuth_rad, inclination_rad) = (140.0, 215f64.to_radians(), 17f64.to_radians());
    let sigmas = SightSigmas {
        azimuth_rad: 0.6f64.to_radians(),
        orientation_rad: 0.4f64.to_radians(),
        inclination_rad: 0.25f64.to_radians(),
        distance_m: 0.3,
    };
    let base = Covariance::of_axes(0.5, 0.8);
    let shoot = |da: f64, di: f64, ds: f64| {
        let sight = Sight {
            true_azimuth_rad: azimuth_rad + da,
            triangle: Triangle::Slope { slope_m: slope_m + ds, inclination_rad: inclination_rad + di },
            instrument_height_m: 1.5,
            target_height_m: 0.0,
            refraction: 0.13,
        };
        reduce(&sight, &sigmas, 6_371_000.0)
    };
    let straight = shoot(0.0, 0.0, 0.0);
    let stated = base + straight.direction + straight.distance + Covariance::of_arm(straight.orientation_arm_m);
    let mut random = Random(77);
    let (ellipse, radius) = (stated.ellipse95(), stated.radius95_m());
    let (mut sums, mut in_ellipse, mut in_circle, mut in_height) = ([0.0; 6], 0, 0, 0);
    for _ in 0..DRAWS {
        let da = sigmas.azimuth_rad.mul_add(random.normal(), sigmas.orientation_rad * random.normal());
        let drawn = shoot(da, sigmas.inclination_rad * random.normal(), sigmas.distance_m * random.normal());
        let e = drawn.east_m - straight.east_m + base.ee.sqrt() * random.normal();
        let n = drawn.north_m - straight.north_m + base.nn.sqrt() * random.normal();
        let u = drawn.up_m.unwrap() - straight.up_m.unwrap() + base.uu.sqrt() * random.normal();
        for (sum, product) in sums.iter_mut().zip([e * e, e * n, e * u, n * n, n * u, u * u]) {
            *sum += product / DRAWS as f64;
        }
        let (sin, cos) = ellipse.azimuth_rad.sin_cos();
        let (along, across) = (e * sin + n * cos, n * sin - e * cos);
        in_ellipse += usize::from((along / ellipse.major_m).hypot(across / ellipse.minor_m) <= 1.0);
        in_circle += usize::from(e.hypot(n) <= radius);
        in_height += usize::from(u.abs() <= standoff::covariance::INTERVAL95 * stated.uu.sqrt());
    }
    // A variance of 200,000 draws is good to 0.32 %; four of that, and the curvature of the way left out by the Jacobian.
    let scale = |a: f64, b: f64| 0.015 * (a * b).sqrt();
    let wanted = [stated.ee, stated.en, stated.eu, stated.nn, stated.nu, stated.uu];
    let scales = [
        scale(stated.ee, stated.ee),
        scale(stated.ee, stated.nn),
        scale(stated.ee, stated.uu),
        scale(stated.nn, stated.nn),
        scale(stated.nn, stated.uu),
        scale(stated.uu, stated.uu),
    ];
    for ((got, want), allowed) in sums.iter().zip(wanted).zip(scales) {
        assert!((got - want).abs() < allowed, "{sums:?} stated {stated:?}");
    }
    // The share inside: binomial standard error 0.05 %; four of that, and 0.3 % for the radius' formula.
    for (count, allowed) in [(in_ellipse, 0.002), (in_height, 0.002), (in_circle, 0.005)] {
        let share = count as f64 / DRAWS as f64;
        assert!((share - 0.95).abs() < allowed, "{share}");
    }
}
