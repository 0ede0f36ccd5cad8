//! Which check point belongs to which point.

use super::*;

fn left<'v>(found: &'v Value, list: &str) -> Vec<(&'v str, u64, &'v str)> {
    let all = found[list].as_array().unwrap().iter();
    all.map(|one| (one["name"].as_str().unwrap_or(""), one["line"].as_u64().unwrap(), one["why"].as_str().unwrap())).collect()
}

#[test]
fn by_name_what_is_ambiguous_is_told_and_not_guessed() {
    let (mut points, mut checks) = displaced(&ERRORS[..4]);
    // Two points of one feature, one of them a part of a measurement; one that only its shot names; a check point twice.
    points[1].feature = "P0".into();
    points[0].role = "top";
    points[2].feature = String::new();
    points[2].shot = "P2".into();
    checks.push(("P3".into(), place(3), None));
    checks.push(("P7".into(), place(7), None));
    let folder = site(&points, &checks);
    let found = found(folder.path(), &[]);
    assert_eq!(found["matched"], 1);
    assert_eq!(found["point_errors"][0]["name"], "P2");
    assert_eq!(
        left(&found, "ambiguous"),
        [
            ("P0", 2, "2 points of the layer would do: P0, P0"),
            ("P3", 5, "another check point belongs to P3 too"),
            ("P3", 6, "another check point belongs to P3 too")
        ]
    );
    let no_match = "no point of the layer by the feature's name or the shot";
    assert_eq!(left(&found, "unmatched"), [("P1", 3, no_match), ("P7", 7, no_match)]);
}

#[test]
fn each_shot_of_a_feature_is_tested_against_its_one_check_point() {
    let (mut points, checks) = displaced(&[[0.5, 0.0, 0.0], [0.0, 0.7, 0.0], [0.0, 0.0, 0.3]]);
    points.push(Point::new("P1", place(1).moved(-2.0, 0.0, 0.0)));
    let folder = site(&points, &checks);
    let found = found(folder.path(), &[]);
    assert_eq!((&found["matched"], &found["tested"]), (&Value::from(3), &Value::from(4)));
    assert!((number(&found["point_errors"][2]["east_m"]) + 2.0).abs() < ERROR_M, "{found}");
    assert!(found["notes"].to_string().contains("The 4 points are of 3 features"), "{found}");
    assert_eq!(found["standards"][0]["missing"][0], "it asks for at least 20 check points, and 3 were compared");
}

#[test]
fn by_a_field_that_is_named() {
    let (mut points, checks) = displaced(&ERRORS[..3]);
    for (i, point) in points.iter_mut().enumerate() {
        (point.feature, point.base) = (format!("other {i}"), format!("P{i}"));
    }
    let folder = site(&points, &checks);
    let found = found(folder.path(), &["--field", "base"]);
    assert_eq!((&found["matched"], &found["matched_by"]), (&Value::from(3), &Value::from("by the field base")));
    assess(folder.path(), &["--field", "bases"]).fails("layer.gpkg: the layer has no field \"bases\"; did you mean \"base\"?");
}

#[test]
fn by_distance_only_what_is_alone_within_it() {
    // Errors of 0.5, 0.7, 1.48, 5 m; place 4 has two points near its check point.
    let (mut points, mut checks) = displaced(&ERRORS[..4]);
    points.push(Point::new("x", place(4).moved(0.3, 0.0, 0.0)));
    points.push(Point::new("y", place(4).moved(-0.9, 0.0, 0.0)));
    checks.push(("Q".into(), place(4), None));
    // No names at all are needed.
    let text = check_table(&checks).replace("name,", "nr,");
    let folder = site(&points, &checks);
    fs::write(folder.path().join("checks.csv"), text).unwrap();
    let two = found(folder.path(), &["--within", "2"]);
    assert_eq!((&two["matched"], &two["check_points"]), (&Value::from(3), &Value::from(5)));
    assert_eq!(left(&two, "unmatched"), [("", 5, "no point of the layer within 2 m")]);
    assert_eq!(left(&two, "ambiguous"), [("", 6, "2 points of the layer would do: x, y")]);
    let notes: Vec<&str> = two["notes"].as_array().unwrap().iter().map(|note| note.as_str().unwrap()).collect();
    assert!(notes.iter().any(|note| note.starts_with("Matched by distance: an error above 2 m cannot show here.")), "{notes:?}");
    // Below 0.9 m one of the two is left.
    assert_eq!(found(folder.path(), &["--within", "0.8"])["matched"], 3);
    assert_eq!(found(folder.path(), &["--within", "6"])["matched"], 4);
}

#[test]
fn heights_are_compared_like_with_like() {
    let (mut points, checks) = displaced(&[[0.0, 0.0, 0.5], [0.0, 0.0, 0.25], [0.0, 0.0, 0.0]]);
    points[0].orthometric_m = Some(1.0);
    points[1].orthometric_m = Some(2.0);
    let folder = site(&points, &checks);
    let mut text = "name,lat_deg,lon_deg,orthometric_height_m\n".to_owned();
    for (i, (name, at, _)) in checks.iter().enumerate() {
        writeln!(text, "{name},{:.10},{:.10},{}", at.lat_deg, at.lon_deg, i as f64 + 0.9).unwrap();
    }
    fs::write(folder.path().join("checks.csv"), text).unwrap();
    let found = found(folder.path(), &[]);
    assert_eq!(found["errors"]["up"]["points"], 2);
    assert!((number(&found["errors"]["up"]["mean_m"]) - 0.1).abs() < 1e-9);
    assert_eq!(found["point_errors"][0]["height_kind"], "orthometric");
    assert_eq!(found["point_errors"][2]["up_m"], Value::Null);
    let notes = found["notes"].to_string();
    assert!(notes.contains("1 of 3 points has no kind of height in common"), "{notes}");
}

#[test]
fn check_points_from_a_layer_and_with_headers_of_their_own() {
    let (points, checks) = displaced(&ERRORS[..3]);
    let folder = site(&points, &checks);
    let truth: Vec<Point> = checks.iter().map(|(name, place, _)| Point::new(name.clone(), *place)).collect();
    mapping::write(&folder.path().join("checks.geojson"), "EPSG:4326", &truth, &[]);
    let ran = standoff(folder.path(), &["assess", "layer.gpkg", "--check", "checks.geojson", "--json"]).exits(0);
    let found: Value = serde_json::from_str(&ran.out).unwrap();
    // GeoJSON has seven decimals of a degree: a centimetre.
    assert!((number(&found["point_errors"][2]["east_m"]) + 1.25).abs() < 0.02, "{found}");
    assert_eq!(found["matched"], 3);
    let text = check_table(&checks).replace("name,", "Pt No,");
    fs::write(folder.path().join("checks.csv"), text).unwrap();
    assert_eq!(super::found(folder.path(), &["--check-name", "Pt No"])["matched"], 3);
}
