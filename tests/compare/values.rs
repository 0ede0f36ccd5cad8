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
