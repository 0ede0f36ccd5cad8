//! Where north is, run through the program: backsights, lines sighted from both ends, corrections of the
//! model's declination, the north that a row or a file names, convergence, and calibrations by date.
//!
//! Bases lie on one meridian, so that the azimuths between them are 0 and 180 degrees, and the distances
//! the radius of curvature of the meridian times the difference of latitude.

use crate::common;

mod backsights;
mod both_ends;
mod circles;
mod norths;

use std::collections::BTreeMap;

use common::Field;

/// Degrees are written to nine decimals, less in some fields; the log's have four.
pub const WRITTEN_DEG: f64 = 0.000_06;
/// Metres are written to four decimals.
pub const WRITTEN_M: f64 = 0.000_06;
/// Standard error of a reading in the job of these tests, in degrees.
pub const SIGMA_READING_DEG: f64 = 0.5;
/// Standard error of each axis of a base, in metres.
pub const SIGMA_BASE_M: f64 = 0.5;

/// Headers of a log with roles.
pub const ROLES: &str = "base,shot,date,role,feature,true_azimuth_deg,inclination_deg,slope_distance_m\n";

/// A field with bases of name, latitude and longitude, and tables behind the job's own.
pub fn field(bases: &[(&str, f64, f64)], shots: &str, tables: &str) -> Field {
    let rows: String = bases.iter().map(|(name, lat, lon)| format!("{name},{lat},{lon},500\n")).collect();
    let mut field = Field::new(shots);
    field.write("bases.csv", format!("base,lat_deg,lon_deg,ellipsoid_height_m\n{rows}"));
    field.job += tables;
    field
}

/// Metres along the meridian at 46.1° for a difference of latitude in degrees, 500 m over WGS 84.
pub fn meridian_m(degrees: f64) -> f64 {
    let (a, f) = (6_378_137.0, 1.0 / 298.257_223_563);
    let e2: f64 = f * (2.0 - f);
    let sin = 46.1f64.to_radians().sin();
    (a * (1.0 - e2) / (1.0 - e2 * sin * sin).powf(1.5) + 500.0) * degrees.to_radians()
}

/// A number of a record; null is NaN.
pub fn number(record: &BTreeMap<String, String>, field: &str) -> f64 {
    if record[field].is_empty() { f64::NAN } else { record[field].parse().unwrap() }
}

/// Asserts that two numbers are one within a tolerance.
#[track_caller]
pub fn assert_near(got: f64, want: f64, within: f64) {
    assert!((got - want).abs() < within, "{got}, not {want}");
}
