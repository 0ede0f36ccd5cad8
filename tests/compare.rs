//! `standoff compare`: differences on the ground, what is significant among many, values, the layer of changes, messages.

use crate::support;

use crate::support::mapping;
mod dense;
mod messages;
mod output;
mod planted;
mod shared;
mod values;

use std::fs;
use std::path::Path;

use mapping::{Measured, Normal, Point, TO_95, place};
use serde_json::Value;
use support::{Ran, standoff};
use tempfile::TempDir;

/// The geodesic and the chord of a few metres are one within less.
const DIFFERENCE_M: f64 = 2e-4;
/// The UTM zone of both mappings.
const ZONE: &str = "EPSG:32630";

/// A folder with `a.gpkg` and `b.gpkg`.
fn site(a: &[Point], b: &[Point], values: [&[Measured]; 2]) -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    for (name, points, values) in [("a.gpkg", a, values[0]), ("b.gpkg", b, values[1])] {
        mapping::write(&folder.path().join(name), ZONE, points, values);
    }
    folder
}

fn compare(folder: &Path, arguments: &[&str]) -> Ran {
    standoff(folder, &[&["compare", "a.gpkg", "b.gpkg"], arguments].concat())
}

/// The comparison as JSON.
fn found(folder: &Path, arguments: &[&str]) -> Value {
    let ran = compare(folder, &[arguments, &["--json"]].concat()).exits(0);
    assert_eq!(ran.err, "");
    serde_json::from_str(&ran.out).unwrap()
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

/// Movements, and the mark that each must have where σ is 0.1 m on each axis in A and in B: 0.14 m together.
const MOVEMENTS: [([f64; 3], &str); 7] = [
    ([0.0, 0.0, 0.0], "no significant change"),
    ([3.0, -4.0, 0.1], "moved"),
    ([0.1, 0.0, 1.0], "rose"),
    ([0.0, -0.1, -2.0], "sank"),
    ([-2.0, 0.0, -1.5], "moved and sank"),
    ([1.0, 1.0, 1.5], "moved and rose"),
    // 2.5 standard errors north: p = exp(−3.1) = 0.044 alone, times a dozen.
    ([0.0, 0.353, 0.0], "no significant change"),
];

fn moved() -> (Vec<Point>, Vec<Point>) {
    let point = |i: usize, by: [f64; 3]| Point::new(format!("N{i}"), place(i).moved(by[0], by[1], by[2])).with_sigma(0.1, 0.1);
    let a = (0..MOVEMENTS.len()).map(|i| point(i, [0.0; 3])).collect();
    // The other way round, so that places in the file mean nothing.
    let b = (0..MOVEMENTS.len()).rev().map(|i| point(i, MOVEMENTS[i].0)).collect();
    (a, b)
}

#[test]
fn movements_on_the_ground_with_their_marks() {
    let (a, b) = moved();
    let folder = site(&a, &b, [&[], &[]]);
    let found = found(folder.path(), &[]);
    assert_eq!((&found["tests"], &found["correction"]), (&14.into(), &"Holm".into()));
    let changes = found["changes"].as_array().unwrap();
    for (i, (by, mark)) in MOVEMENTS.into_iter().enumerate() {
        let change = &changes[i];
        assert_eq!(
            (change["feature"].as_str().unwrap(), change["mark"].as_str().unwrap()),
            (format!("N{i}").as_str(), mark),
            "{change}"
        );
        for (field, want) in ["east_m", "north_m", "up_m"].into_iter().zip(by) {
            assert!((number(&change[field]) - want).abs() < DIFFERENCE_M, "{field}: {change}");
        }
        // √(0.1² + 0.1²)
        assert!((number(&change["sigma_up_m"]) - 0.02f64.sqrt()).abs() < 1e-9);
        assert!((number(&change["sigma_east_m"]) - 0.02f64.sqrt()).abs() < 1e-9);
    }
    // 3 east, −4 north: 5 m towards 180° − arctan(3/4).
    assert!((number(&changes[1]["horizontal_m"]) - 5.0).abs() < DIFFERENCE_M);
    assert!((number(&changes[1]["azimuth_deg"]) - 143.130_102).abs() < 0.01);
    // exp(−d²/2), d² = 0.353² / 0.02.
    let alone = number(&changes[6]["probability_horizontal"]);
    assert!((alone - (-0.5 * 0.353f64.powi(2) / 0.02).exp()).abs() < 1e-3, "{alone}");
    assert!(found["notes"].to_string().contains("1 feature would count as changed if it were the only one looked at"), "{found}");
}

#[test]
fn the_same_differences_where_b_has_another_zone_or_order_of_axes() {
    let (a, b) = moved();
    let folder = site(&a, &b, [&[], &[]]);
    let want = found(folder.path(), &[]);
    for crs in ["EPSG:32631", "EPSG:4326", "EPSG:4979"] {
        fs::remove_file(folder.path().join("b.gpkg")).unwrap();
        mapping::write(&folder.path().join("b.gpkg"), crs, &b, &[]);
        let got = found(folder.path(), &[]);
        for (got, want) in got["changes"].as_array().unwrap().iter().zip(want["changes"].as_array().unwrap()) {
            assert!((number(&got["east_m"]) - number(&want["east_m"])).abs() < DIFFERENCE_M, "{crs}: {got} {want}");
            assert!((number(&got["north_m"]) - number(&want["north_m"])).abs() < DIFFERENCE_M, "{crs}: {got} {want}");
            assert_eq!(got["mark"], want["mark"]);
        }
    }
}

/// Two mappings of points that stand still, by draws from a long ellipse, and one that moved.
#[test]
fn among_many_that_stand_still_the_one_that_moved_is_found() {
    let mut normal = Normal(4);
    let (along_m, across_m) = (0.8, 0.1);
    let mut draw = |i: usize, azimuth_deg: f64, extra: [f64; 2]| {
        let (sin, cos) = azimuth_deg.to_radians().sin_cos();
        let (a, b) = (along_m * normal.next(), across_m * normal.next());
        let by = [a * sin + b * cos + extra[0], a * cos - b * sin + extra[1]];
        let mut point = Point::new(format!("N{i}"), place(i).moved(by[0], by[1], 0.3 * normal.next()));
        point.ellipse = Some([TO_95 * along_m, TO_95 * across_m, azimuth_deg]);
        point.sigma_up_m = Some(0.3);
        point
    };
    let a: Vec<Point> = (0..150).map(|i| draw(i, 30.0, [0.0; 2])).collect();
    // Shot from elsewhere: ellipses of another direction, but for N77, which moved across the common long axis by 1.5 m.
    let (sin, cos) = 30f64.to_radians().sin_cos();
    let b: Vec<Point> =
        (0..150).map(|i| if i == 77 { draw(i, 30.0, [1.5 * cos, -1.5 * sin]) } else { draw(i, 110.0, [0.0; 2]) }).collect();
    let folder = site(&a, &b, [&[], &[]]);
    let found = found(folder.path(), &[]);
    let changed: Vec<&str> = found["changes"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|change| change["mark"] != "no significant change")
        .map(|change| change["feature"].as_str().unwrap())
        .collect();
    assert_eq!(changed, ["N77"]);
    // Without correction, 5 of 100 of 300 tests: 15, standard error 3.8.
    let bare = found["changes"]
        .as_array()
        .unwrap()
        .iter()
        .flat_map(|change| [number(&change["probability_horizontal"]), number(&change["probability_vertical"])]);
    let alone = bare.filter(|probability| *probability < 0.05).count();
    assert!((3..=30).contains(&alone), "{alone}");
}

#[test]
fn features_of_one_mapping_alone_and_of_one_name_are_listed() {
    let (mut a, mut b) = moved();
    a.push(Point::new("gone", place(30)).with_sigma(0.1, 0.1));
    b.push(Point::new("new", place(31)).with_sigma(0.1, 0.1));
    // A metre below the other N2: not one spot.
    b.push(Point::new("N2", place(2)).with_sigma(0.1, 0.1));
    let folder = site(&a, &b, [&[], &[]]);
    let found = found(folder.path(), &[]);
    assert_eq!(found["a"]["only_here"], serde_json::json!(["gone"]));
    assert_eq!(found["b"]["only_here"], serde_json::json!(["new"]));
    assert_eq!(found["a"]["ambiguous"], serde_json::json!(["N2: 2 of B would do"]));
    assert_eq!(found["b"]["ambiguous"].as_array().unwrap().len(), 2);
    assert_eq!(found["changes"].as_array().unwrap().len(), MOVEMENTS.len() - 1);
    let text = compare(folder.path(), &[]).exits(0).out;
    for line in [
        "matched  6 by the feature's name: 4 changed, 2 without significant change, 0 not tested",
        "tests    12 of positions, heights and measured values at 5 % for all of them together, by Holm's correction",
        "only in A: 1 (gone)",
        "only in B: 1 (new)",
    ] {
        assert!(text.lines().any(|found| found == line), "{line}\nis not in\n{text}");
    }
    let row = text.lines().find(|line| line.trim_start().starts_with("N1 ")).unwrap();
    assert_eq!(row.split_whitespace().collect::<Vec<_>>(), ["N1", "+3.000", "-4.000", "+0.100", "<0.001", "1.000", "moved"]);
    assert!(text.contains("\nassumed  Both mappings are taken as on one datum, and as independent but for the errors"), "{text}");
    assert!(text.contains("\ncaution  No significant change is not a finding that a slope or a structure is safe"), "{text}");
}

#[test]
fn a_feature_that_was_shot_several_times_is_compared_by_the_mean_of_its_shots() {
    let (a, mut b) = moved();
    // N0 from two bases in B, 0.2 m apart: 0.1 m from where it was; σ² = 0.01 / 2.
    let of = |east_m: f64, base: &str| Point {
        base: base.into(),
        ..Point::new("N0", place(0).moved(east_m, 0.0, 0.0)).with_sigma(0.1, 0.1)
    };
    b.retain(|point| point.feature != "N0");
    b.extend([of(0.0, "A"), of(0.2, "B")]);
    let folder = site(&a, &b, [&[], &[]]);
    let found = found(folder.path(), &[]);
    let change = &found["changes"][0];
    assert!((number(&change["east_m"]) - 0.1).abs() < DIFFERENCE_M, "{change}");
    assert!((number(&change["sigma_east_m"]) - 0.015f64.sqrt()).abs() < 1e-6, "{change}");
    assert!((number(&change["sigma_up_m"]) - 0.015f64.sqrt()).abs() < 1e-6, "{change}");
    assert_eq!(found["b"]["points"], MOVEMENTS.len());
    assert!(found["notes"].to_string().contains("0 features of A and 1 of B were shot several times"), "{found}");
}

#[test]
fn by_distance_and_by_a_field_that_is_named() {
    let (a, b) = moved();
    let nameless = |points: Vec<Point>| -> Vec<Point> {
        points.into_iter().map(|point| Point { base: point.feature.clone(), feature: String::new(), ..point }).collect()
    };
    let folder = site(&nameless(a), &nameless(b), [&[], &[]]);
    // N1 moved 5 m: beyond the distance.
    let near = found(folder.path(), &["--within", "3"]);
    assert_eq!(near["changes"].as_array().unwrap().len(), MOVEMENTS.len() - 1);
    assert_eq!(near["a"]["only_here"].as_array().unwrap().len(), 1);
    assert!(near["notes"].to_string().contains("a movement above 3 m cannot show here"));
    let named = found(folder.path(), &["--field", "base"]);
    assert_eq!(named["changes"][1]["feature"], "N1");
    assert_eq!(named["changes"].as_array().unwrap().len(), MOVEMENTS.len());
}

#[test]
fn without_stated_uncertainties_nothing_is_called_changed() {
    let (a, mut b) = moved();
    for point in &mut b {
        (point.ellipse, point.sigma_up_m) = (None, None);
    }
    let folder = site(&a, &b, [&[], &[]]);
    let found = found(folder.path(), &[]);
    assert!(found["changes"].as_array().unwrap().iter().all(|change| change["mark"] == "not tested"));
    assert_eq!(found["tests"], 0);
}

/// Two whole mappings of one job through the program, the second after a shot was moved.
#[test]
fn two_runs_of_the_mapping() {
    let folder = tempfile::tempdir().unwrap();
    let base = "base,lat_deg,lon_deg,ellipsoid_height_m,sigma_horizontal_m,sigma_vertical_m\nA,58.2,-2.9,50,0.05,0.08\n";
    fs::write(folder.path().join("bases.csv"), base).unwrap();
    let shots = |last: &str| {
        let head = "feature,base,time,slope_distance_m,true_azimuth_deg,inclination_deg,instrument_height_m\n";
        format!("{head}edge,A,2026-05-04T08:00:00Z,30.0,10,0,1.5\nslip,A,2026-05-04T08:01:00Z,{last}\n")
    };
    fs::write(folder.path().join("shots.csv"), shots("60.0,90,0,1.5")).unwrap();
    standoff(folder.path(), &support::map_invented("spring")).exits(0);
    // Ten metres nearer, and two lower: −10 east, −2 up.
    fs::write(folder.path().join("shots.csv"), shots("50.039984,90,-2.2906,1.5")).unwrap();
    standoff(folder.path(), &support::map_invented("autumn")).exits(0);
    let ran = standoff(folder.path(), &["compare", "spring/spring.gpkg", "autumn/autumn.gpkg", "--json"]).exits(0);
    let found: Value = serde_json::from_str(&ran.out).unwrap();
    let changes = found["changes"].as_array().unwrap();
    assert_eq!(
        (changes[0]["mark"].as_str(), changes[1]["mark"].as_str()),
        (Some("no significant change"), Some("moved and sank"))
    );
    for (field, want) in [("east_m", -10.0), ("north_m", 0.0), ("up_m", -2.0)] {
        // The two shots' own curvature and refraction differ by a tenth of a millimetre.
        assert!((number(&changes[1][field]) - want).abs() < 2.0 * DIFFERENCE_M + 2e-4, "{field}: {}", changes[1]);
    }
    assert!(found["notes"].to_string().contains("2 features err alike in both mappings"), "{found}");
    assert_eq!(found["a"]["first_time"], "2026-05-04T08:00:00Z");
}
