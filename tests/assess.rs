//! `standoff assess`: errors on the ground, matching, figures of standards and what they ask for, honesty of uncertainties, messages; and
//! that check points take no part in the mapping.

use crate::support;

mod honesty;
use crate::support::mapping;
mod matches;
mod messages;
mod published;
mod shared;

use std::fmt::Write;
use std::fs;
use std::path::Path;

use mapping::{Place, Point, place};
use serde_json::Value;
use support::{Ran, standoff, table};
use tempfile::TempDir;

/// Coordinates are written to 1e-9 of a degree, a tenth of a millimetre; the geodesic and the chord of a few metres are one within less.
const ERROR_M: f64 = 2e-4;

/// A check point: name, place, standard errors.
type Check = (String, Place, Option<(f64, f64)>);

/// A folder with `layer.gpkg` in a projected CRS and `checks.csv` in latitude and longitude.
fn site(points: &[Point], checks: &[Check]) -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    mapping::write(&folder.path().join("layer.gpkg"), "EPSG:32630", points, &[]);
    fs::write(folder.path().join("checks.csv"), check_table(checks)).unwrap();
    folder
}

fn check_table(checks: &[Check]) -> String {
    let mut text = "name,lat_deg,lon_deg,ellipsoid_height_m,sigma_horizontal_m,sigma_vertical_m\n".to_owned();
    for (name, Place { lat_deg, lon_deg, height_m }, sigmas) in checks {
        let (horizontal, vertical) = sigmas.map_or_else(Default::default, |(h, v)| (h.to_string(), v.to_string()));
        writeln!(text, "{name},{lat_deg:.10},{lon_deg:.10},{height_m:.5},{horizontal},{vertical}").unwrap();
    }
    text
}

fn assess(folder: &Path, arguments: &[&str]) -> Ran {
    standoff(folder, &[&["assess", "layer.gpkg", "--check", "checks.csv"], arguments].concat())
}

/// The assessment as JSON.
fn found(folder: &Path, arguments: &[&str]) -> Value {
    let ran = assess(folder, &[arguments, &["--json"]].concat()).exits(0);
    assert_eq!(ran.err, "");
    serde_json::from_str(&ran.out).unwrap()
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

/// Points P0, P1, … that are off by some errors east, north and up, and their check points.
fn displaced(errors: &[[f64; 3]]) -> (Vec<Point>, Vec<Check>) {
    let points =
        errors.iter().enumerate().map(|(i, [east, north, up])| Point::new(format!("P{i}"), place(i).moved(*east, *north, *up)));
    let checks = (0..errors.len()).map(|i| (format!("P{i}"), place(i), None));
    (points.collect(), checks.collect())
}

/// Errors without a pattern, of a size that a mapping has.
const ERRORS: [[f64; 3]; 6] =
    [[0.5, 0.0, 0.1], [0.0, -0.7, -0.2], [-1.25, 0.8, 0.0], [3.0, 4.0, 1.5], [-0.01, -0.02, -0.003], [20.0, -15.0, 2.0]];

#[test]
fn errors_are_metres_on_the_ground_and_true_east_and_north() {
    let (points, checks) = displaced(&ERRORS);
    let folder = site(&points, &checks);
    let found = found(folder.path(), &["--out", "errors.csv"]);
    let errors = found["point_errors"].as_array().unwrap();
    assert_eq!(errors.len(), ERRORS.len());
    for (error, want) in errors.iter().zip(ERRORS) {
        for (field, want) in ["east_m", "north_m", "up_m"].into_iter().zip(want) {
            assert!((number(&error[field]) - want).abs() < ERROR_M, "{field} {want}: {error}");
        }
        assert_eq!(error["height_kind"], "ellipsoidal");
    }
    // The same by hand: RMSE east = √((0.25 + 0 + 1.5625 + 9 + 0.0001 + 400) / 6).
    assert!((number(&found["errors"]["east"]["rmse_m"]) - (410.8126f64 / 6.0).sqrt()).abs() < ERROR_M);
    // Mean up: 3.397 / 6.
    assert!((number(&found["errors"]["up"]["mean_m"]) - 3.397 / 6.0).abs() < ERROR_M);
    let rows = table(&folder.path().join("errors.csv"));
    assert_eq!(rows.len(), ERRORS.len());
    assert_eq!((rows[3]["name"].as_str(), rows[3]["check_line"].as_str()), ("P3", "5"));
    assert!((rows[3]["error_horizontal_m"].parse::<f64>().unwrap() - 5.0).abs() < ERROR_M);
}

#[test]
fn the_same_errors_whatever_the_crs_of_the_layer_and_of_the_check_points() {
    let (points, checks) = displaced(&ERRORS);
    let folder = site(&points, &checks);
    let want = found(folder.path(), &[])["errors"].clone();
    // Geographic, another zone, feet; and check points in another zone's metres.
    for crs in ["EPSG:4326", "EPSG:32631", "+proj=utm +zone=30 +units=ft +datum=WGS84"] {
        fs::remove_file(folder.path().join("layer.gpkg")).unwrap();
        mapping::write(&folder.path().join("layer.gpkg"), crs, &points, &[]);
        let got = found(folder.path(), &["--check-crs", "EPSG:4979"])["errors"].clone();
        for axis in ["east", "north", "radial", "up"] {
            for field in ["mean_m", "rmse_m", "least_m", "greatest_m"] {
                let (got, want) = (number(&got[axis][field]), number(&want[axis][field]));
                assert!((got - want).abs() < ERROR_M, "{crs} {axis} {field}: {got}, {want}");
            }
        }
    }
}

#[test]
fn check_points_never_take_part_in_the_mapping_and_assessing_changes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    support::invent_logs(folder.path(), 2000, "x");
    standoff(folder.path(), &[support::map_invented("before"), vec!["--format", "gpkg", "--format", "geojson"]].concat())
        .exits(0);
    let features = support::json(&folder.path().join("before/geojson/before.features.geojson"));
    let mut checks = "name,lat_deg,lon_deg,ellipsoid_height_m\n".to_owned();
    for feature in features["features"].as_array().unwrap().iter().take(40) {
        let p = &feature["properties"];
        writeln!(checks, "{},{},{},{}", p["shot"].as_str().unwrap(), p["lat_deg"], p["lon_deg"], p["ellipsoid_height_m"])
            .unwrap();
    }
    // Beside the logs, under a name that a careless reader of the folder would pick up.
    fs::write(folder.path().join("points.csv"), checks).unwrap();
    let ran = standoff(folder.path(), &["assess", "before/before.gpkg", "--check", "points.csv", "--json"]).exits(0);
    let found: Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!(found["matched"], 40);
    // The layer against itself, as written to 1e-9 of a degree.
    assert!(number(&found["errors"]["radial"]["greatest_m"]) < ERROR_M && number(&found["errors"]["up"]["greatest_m"]) < ERROR_M);
    let names = support::files(&folder.path().join("before"));
    // Mapped again with the check points there, after the assessment: the same bytes, and no file more.
    fs::rename(folder.path().join("before"), folder.path().join("kept")).unwrap();
    standoff(folder.path(), &[support::map_invented("before"), vec!["--format", "gpkg", "--format", "geojson"]].concat())
        .exits(0);
    support::assert_same_files(&folder.path().join("kept"), &folder.path().join("before"));
    assert_eq!(names, support::files(&folder.path().join("before")));
}

#[test]
fn an_example_of_the_repository_reads_as_a_person_would_have_it() {
    let (points, mut checks) = displaced(&ERRORS[..5]);
    checks.iter_mut().for_each(|check| check.2 = Some((0.02, 0.03)));
    checks.push(("P9".into(), place(9), None));
    let points: Vec<Point> = points.into_iter().map(|point| point.with_sigma(1.0, 0.8)).collect();
    let folder = site(&points, &checks);
    let text = assess(folder.path(), &[]).exits(0).out;
    for line in [
        "tested   layer.gpkg, layer features: 5 points in WGS 84 / UTM zone 30N (EPSG:32630)",
        "against  checks.csv: 6 check points in WGS 84",
        "matched  5 by the feature's name or the shot; 5 points tested",
        "           P9, line 7: no point of the layer by the feature's name or the shot",
        "  east         5    +0.448     1.566     1.471    -1.250    +3.000",
        "    not met: it asks for at least 20 check points, and 5 were compared",
        "caution  Mapping grade. A statement of accuracy that the law or a contract asks for is made by, or under, a person licensed for it, \
         who answers for the check points being independent, better, and well spread over the area.",
    ] {
        assert!(text.lines().any(|found| found.starts_with(line)), "{line}\nis not in\n{text}");
    }
    assert!(!text.contains("Tested"), "{text}");
}
