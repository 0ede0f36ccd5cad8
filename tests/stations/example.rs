//! The example of a lagoon: a receiver's log, and shots that name no base.

use crate::stations::site::number;
use crate::support::{Example, expected_files_of, files, json, read, standoff, table};

const LAGOON: Example = Example {
    folder: "heron-lagoon",
    name: "heron",
    epsg: 32633,
    mapped: 31,
    repeats: 4,
    composed: 0,
    held: 2,
    bases: 4,
    layers: &[
        ("features", "POINT"),
        ("nests", ""),
        ("nests_cells", "POLYGON"),
        ("landmarks", "POINT"),
        ("stops", ""),
        ("stops_cells", "POLYGON"),
        ("shores", "LINESTRING"),
        ("reeds", "POLYGON"),
        ("bases", "POINT"),
        ("lines", "LINESTRING"),
        ("measurements", ""),
        ("values", ""),
        ("ledger", ""),
    ],
};
/// The example's compass was turned by 1.8 degrees; three readings have errors of half a degree.
const CORRECTION_DEG: f64 = 1.8;
const CORRECTION_NEAR_DEG: f64 = 0.75;

#[test]
fn one_command_maps_it() {
    let folder = LAGOON.copy();
    let ran = standoff(folder.path(), &["map", "job.toml", "--format", "csv"]).exits(0);
    let out = folder.path().join("heron-layers");
    let summary = json(&out.join("summary.json"));
    let counts = ["read", "mapped", "repeats", "held"].map(|key| summary["shots"][key].as_u64().unwrap() as usize);
    let read = LAGOON.mapped + LAGOON.repeats + LAGOON.held;
    assert_eq!(counts, [read, LAGOON.mapped, LAGOON.repeats, LAGOON.held]);
    // That three nests miss their tolerance would tell how far off the crew stood.
    assert_eq!(summary["shots"]["flags"], serde_json::json!({"attribute_value": 1, "unknown_code": 1}));
    assert_eq!(files(&out), expected_files_of(LAGOON.layers, LAGOON.name, &["csv"]));
    assert_eq!(summary["shots"]["held_by_reason"], serde_json::json!({"no_base_in_time": 1, "no_distance": 1}));
    assert!(
        ran.out.starts_with("31 of 37 shots mapped, 1 of 1 measurement composed, 2 of 2 strings drawn, 2 held, 2 flagged"),
        "{}",
        ran.out
    );

    let bases = table(&out.join("csv/heron.bases.csv"));
    let stops: Vec<&str> = bases.iter().map(|base| base["base"].as_str()).collect();
    // The known point, which no shot is from, stands in no output with coarse places.
    assert_eq!(stops, ["stop 1", "stop 2", "stop 3"]);
    assert!(bases.iter().all(|base| base["azimuth_correction_deg"].is_empty()));
    let held: Vec<(String, String)> = table(&out.join("held.csv"))
        .iter()
        .filter(|row| row["source_file"] == "shots.csv")
        .map(|row| (row["source_line"].clone(), row["reason"].clone()))
        .collect();
    assert_eq!(held, [("11".into(), "no_distance".into()), ("21".into(), "no_base_in_time".into())]);

    // Twelve nests, each in the middle of a cell of 500 m; the two that were shot from two stops are there once.
    let nests = table(&out.join("csv/heron.nests.csv"));
    let mut seen: Vec<&str> = nests.iter().map(|nest| nest["feature"].as_str()).collect();
    seen.sort_unstable();
    assert_eq!(seen, ["H01", "H02", "H03", "H04", "H05", "H07", "H08", "H09", "H10", "H11", "H12", "H14"]);
    for nest in &nests {
        assert_eq!(nest["coarse_cell_m"], "500");
        for axis in ["easting", "northing"] {
            assert_eq!(number(nest, axis).rem_euclid(500.0), 250.0, "{}", nest["feature"]);
        }
    }
}

/// What the logs were made from: the width of the inlet and the area of the reed island, by the corners given to both.
const INLET_M: f64 = 69.825;
const REED_ISLAND_M2: f64 = 1934.4;

#[test]
fn the_crews_own_copy_has_the_places() {
    let folder = LAGOON.copy();
    standoff(folder.path(), &["map", "job.toml", "--format", "csv", "--exact-places", "--out", "own"]).exits(0);
    let layer = |name: &str| table(&folder.path().join(format!("own/csv/heron.{name}.csv")));
    for base in &layer("bases")[1..] {
        let correction = number(base, "azimuth_correction_deg");
        assert!((correction - CORRECTION_DEG).abs() < CORRECTION_NEAR_DEG, "{}: {correction}", base["base"]);
        assert!(number(base, "sigma_azimuth_correction_deg") < 1.0);
    }
    let summary = json(&folder.path().join("own/summary.json"));
    assert_eq!(summary["shots"]["flags"], serde_json::json!({"attribute_value": 1, "misses_tolerance": 3, "unknown_code": 1}));
    // A nest that was shot from two stops is one point, better than from one.
    let nests = layer("nests");
    for name in ["H04", "H08"] {
        let nest = nests.iter().find(|nest| nest["feature"] == name).unwrap();
        assert_eq!(nest["shots_used"], "2");
        assert!(number(nest, "radius95_m") < 1.0, "{name}: {}", nest["radius95_m"]);
    }
    let flagged: Vec<&str> = nests.iter().filter(|nest| !nest["flags"].is_empty()).map(|nest| nest["feature"].as_str()).collect();
    assert_eq!(flagged, ["H02", "H09", "H14"]);
    let measured = layer("measurements");
    let inlet = measured.iter().find(|record| record["quantity"] == "horizontal_distance_m").unwrap();
    assert!((number(inlet, "low95")..=number(inlet, "high95")).contains(&INLET_M), "{inlet:?}");
    let island = &layer("reeds")[0];
    let off = (number(island, "area_ellipsoid_m2") - REED_ISLAND_M2).abs();
    assert!(off < 2.0 * number(island, "sigma_area_m2"), "{island:?}");
    // The figures of the README.
    let readme = read(&folder.path().join("README.md"));
    let shore = &layer("shores")[0];
    for words in [
        format!("{:.0} m (standard error {:.1})", number(shore, "length_ellipsoid_m"), number(shore, "sigma_length_m")),
        format!("{:.0} m² ({:.0})", number(island, "area_ellipsoid_m2"), number(island, "sigma_area_m2")),
        format!("{:.1} m ({:.1})", number(inlet, "value"), number(inlet, "sigma")),
    ] {
        assert!(readme.contains(&words), "the README has no {words}");
    }
}
