//! Measured values of both files.

use super::*;

#[test]
fn values_of_one_name_are_compared_with_their_uncertainty() {
    let (a, b) = moved();
    let before: &[Measured] = &[
        ("height", "T1", "height_m", 20.0, 0.3),
        ("height", "T2", "height_m", 18.0, 0.3),
        ("volume", "S1", "volume_m3", 400.0, 5.0),
        ("height", "T8", "height_m", 11.0, 0.3),
    ];
    let after: &[Measured] = &[
        ("height", "T1", "height_m", 22.0, 0.4),
        ("height", "T2", "height_m", 18.2, 0.4),
        ("volume", "S1", "volume_m3", 340.0, 5.0),
        ("height", "T9", "height_m", 11.0, 0.3),
    ];
    let folder = site(&a, &b, [before, after]);
    let found = found(folder.path(), &[]);
    let values = found["values"].as_array().unwrap();
    let told: Vec<(&str, f64, f64, &str)> = values
        .iter()
        .map(|v| (v["name"].as_str().unwrap(), number(&v["difference"]), number(&v["sigma"]), v["mark"].as_str().unwrap()))
        .collect();
    assert_eq!(told.len(), 3);
    // √(0.3² + 0.4²) = 0.5; √(5² + 5²) = 7.07.
    for ((name, difference, sigma, mark), want) in told.iter().zip([
        ("T1", 2.0, 0.5, "increased"),
        ("T2", 0.2, 0.5, "no significant change"),
        ("S1", -60.0, 50f64.sqrt(), "decreased"),
    ]) {
        assert_eq!((*name, *mark), (want.0, want.3));
        assert!((difference - want.1).abs() < 1e-9 && (sigma - want.2).abs() < 1e-9);
    }
    assert_eq!(found["values_only_a"], serde_json::json!(["height T8 height_m"]));
    assert_eq!(found["values_only_b"], serde_json::json!(["height T9 height_m"]));
    let text = compare(folder.path(), &[]).exits(0).out;
    assert!(
        text.contains("  height T1 height_m  20.000 to 22.000: +2.000, standard error 0.500, p <0.001  increased\n"),
        "{text}"
    );
}

/// Two months of a heap: every shot bears its name, so that no point has one of its own. The volumes are compared, and nothing is ambiguous.
#[test]
fn values_alone_where_no_point_has_a_name_of_its_own() {
    let toe = |by: f64| -> Vec<Point> {
        (0..9).map(|i| Point { role: "toe", ..Point::new("heap", place(i).moved(by, 0.0, 0.0)).with_sigma(0.1, 0.1) }).collect()
    };
    let volume = |value: f64| ("volume", "heap", "volume_m3", value, 4.0);
    let folder = site(&toe(0.0), &toe(1.5), [&[volume(232.8)], &[volume(409.1)]]);
    let found = found(folder.path(), &[]);
    assert_eq!((found["changes"].as_array().unwrap().len(), found["tests"].as_u64()), (0, Some(1)));
    assert_eq!(found["values"][0]["mark"], "increased");
    for side in ["a", "b"] {
        assert_eq!((&found[side]["ambiguous"], &found[side]["only_here"]), (&serde_json::json!([]), &serde_json::json!([])));
    }
    let notes = found["notes"].to_string();
    assert!(notes.contains("9 points of A and 9 of B are shots of measurements and have no name of their own"), "{notes}");
    // By distance as well.
    let near = super::found(folder.path(), &["--within", "2"]);
    assert_eq!((&near["a"]["ambiguous"], &near["values"][0]["mark"]), (&serde_json::json!([]), &"increased".into()));
}

/// A value that would be called changed among values alone is not, among the tests of all points too: one family. With 14 tests of points
/// that stand still and one value at p = 0.02, Holm gives 0.02 · 15.
#[test]
fn points_and_values_are_one_family() {
    let (a, _) = moved();
    // 2.326 of √(0.3² + 0.4²): p = 0.0200 of both sides.
    let folder = site(&a, &a, [&[("height", "T1", "height_m", 20.0, 0.3)], &[("height", "T1", "height_m", 21.163, 0.4)]]);
    let found = found(folder.path(), &[]);
    assert_eq!(found["tests"], 15);
    let value = &found["values"][0];
    assert!((number(&value["probability"]) - 0.02).abs() < 1e-3, "{value}");
    assert!((number(&value["corrected"]) / number(&value["probability"]) - 15.0).abs() < 1e-9, "{value}");
    assert_eq!(value["mark"], "no significant change");
}
