//! Datums that are taken as one: the note in plain words, and the part of every standard error that it is.

use super::common::Run;
use super::{field, number};

/// Standard errors and shares are written to four decimals.
const WRITTEN: f64 = 0.000_06;

const PLACE: [(&str, f64, f64, f64); 1] = [("A", 46.1, 8.9, 512.3)];

fn map(bases_crs: &str, crs: &str) -> Run {
    field(bases_crs, crs, &PLACE).map()
}

#[test]
fn the_accuracy_of_the_step_is_in_every_standard_error() {
    // The same numbers on ETRS89, where nothing is between bases and layers.
    let (step, none) = (map("EPSG:4979", "EPSG:25832"), map("EPSG:4937", "EPSG:25832"));
    assert_eq!((step.base_column("sigma_datum_m"), none.base_column("sigma_datum_m")), (vec!["1"], vec!["0"]));
    assert_eq!(none.summary["operations"], serde_json::json!([]));
    let (with, without) = (&step.features[0], &none.features[0]);
    for field in ["easting", "northing", "ellipsoid_height_m", "true_azimuth_deg"] {
        assert_eq!(with[field], without[field], "nothing is moved");
    }
    // Level eastwards over 100 m: base 0.5 m; distance 0.2 m; azimuth 0.5°; inclination 0.2°, height 1 m.
    let across = 100.0 * 0.5f64.to_radians();
    let up = 100.0 * 0.2f64.to_radians();
    for (field, square) in
        [("sigma_east_m", 0.25 + 0.04), ("sigma_north_m", 0.25 + across * across), ("sigma_up_m", 1.0 + up * up)]
    {
        assert!((number(without, field) - square.sqrt()).abs() < WRITTEN, "{field} {}", without[field]);
        assert!((number(with, field) - (square + 1.0).sqrt()).abs() < WRITTEN, "{field} {}", with[field]);
    }
    let own = 0.04 + across * across;
    assert!((number(without, "base_share") - 0.5 / (0.5 + own)).abs() < WRITTEN);
    assert!((number(with, "base_share") - 2.5 / (2.5 + own)).abs() < WRITTEN);
}

#[test]
fn the_note_says_that_two_datums_are_taken_as_one() {
    let run = map("EPSG:4979", "EPSG:25832");
    let note = "The transformation from WGS 84 (EPSG:4979) to ETRS89 (EPSG:4937) (Inverse of ETRS89 to WGS 84 (1)) moves nothing: \
        the two datums are taken as one, and may differ by about 1 m. Name the exact frame of the bases, with its epoch, to do \
        better. The 1 m are in the standard errors of the features.";
    assert_eq!(run.summary["notes"], serde_json::json!([note]));
    let operation = &run.summary["operations"][0];
    assert_eq!((&operation["from"], &operation["to"]), (&"WGS 84 (EPSG:4979)".into(), &"ETRS89 (EPSG:4937)".into()));
    assert_eq!((&operation["accuracy_m"], &operation["null_within_accuracy"]), (&1.0.into(), &true.into()));
    assert_eq!((&operation["ballpark"], &operation["time_dependent"]), (&false.into(), &false.into()));
    assert!(operation["area_of_use"].as_str().unwrap().starts_with("Europe - onshore and offshore: Albania;"));
    // On the terminal too.
    assert!(String::from_utf8_lossy(&run.output.stdout).contains("the two datums are taken as one"));
    // Nothing to say where nothing is between.
    assert_eq!(map("EPSG:4937", "EPSG:25832").summary["notes"], serde_json::json!([]));
    assert_eq!(map("EPSG:4979", "EPSG:32632").summary["notes"], serde_json::json!([]));
}

#[test]
fn a_step_that_moves_is_told_with_its_accuracy() {
    let run = map("EPSG:4979", "EPSG:2056");
    let operation = &run.summary["operations"][0];
    assert_eq!((&operation["accuracy_m"], &operation["null_within_accuracy"]), (&1.0.into(), &false.into()));
    let notes = run.summary["notes"].as_array().unwrap();
    assert_eq!(notes.len(), 1, "{notes:?}");
    assert!(
        notes[0].as_str().unwrap().ends_with(" is good to 1 m, which is in the standard errors of the features."),
        "{notes:?}"
    );
    assert_eq!(run.base_column("sigma_datum_m"), ["1"]);
}

#[test]
fn two_steps_add_in_quadrature() {
    // Bases on an old ellipsoid are first brought to WGS 84, and from there to ETRS89.
    let run = field("EPSG:4149", "EPSG:25832", &PLACE).with("BASES", "ellipsoid_heights_crs = \"EPSG:4979\"").map();
    let accuracies: Vec<f64> =
        run.summary["operations"].as_array().unwrap().iter().map(|operation| operation["accuracy_m"].as_f64().unwrap()).collect();
    assert_eq!(accuracies.len(), 2);
    let whole = accuracies[0].hypot(accuracies[1]);
    assert!((number(&run.bases[0], "sigma_datum_m") - whole).abs() < WRITTEN, "{accuracies:?}");
    let east = (0.25f64 + 0.04 + whole * whole).sqrt();
    assert!((number(&run.features[0], "sigma_east_m") - east).abs() < WRITTEN);
}
