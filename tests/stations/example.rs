//! The example of a lagoon: a receiver's log, and shots that name no base.

use crate::site::number;
use crate::support::{Example, json, standoff, table};

const LAGOON: Example = Example { folder: "heron-lagoon", name: "heron", epsg: 32633, mapped: 18, held: 2, bases: 4 };
/// The example's compass was turned by 1.8 degrees; three readings have errors of half a degree.
const CORRECTION_DEG: f64 = 1.8;
const CORRECTION_NEAR_DEG: f64 = 0.75;

#[test]
fn one_command_maps_it() {
    let folder = LAGOON.copy();
    let ran = standoff(folder.path(), &["map", "job.toml", "--format", "csv"]).exits(0);
    let out = folder.path().join("heron-layers");
    let summary = json(&out.join("summary.json"));
    let counts = ["read", "mapped", "held"].map(|key| summary["shots"][key].as_u64().unwrap() as usize);
    assert_eq!(counts, [LAGOON.mapped + LAGOON.held, LAGOON.mapped, LAGOON.held]);
    assert_eq!(summary["shots"]["held_by_reason"], serde_json::json!({"no_base_in_time": 1, "no_distance": 1}));
    assert!(ran.out.starts_with("18 of 20 shots mapped, 2 held"), "{}", ran.out);

    let bases = table(&out.join("heron.bases.csv"));
    let names: Vec<&str> = bases.iter().map(|base| base["base"].as_str()).collect();
    assert_eq!(names, ["tower", "stop 1", "stop 2", "stop 3"]);
    for base in &bases[1..] {
        let correction = number(base, "azimuth_correction_deg");
        assert!((correction - CORRECTION_DEG).abs() < CORRECTION_NEAR_DEG, "{}: {correction}", base["base"]);
        assert!(number(base, "sigma_azimuth_correction_deg") < 1.0);
    }
    let held: Vec<(String, String)> = table(&out.join("held.csv"))
        .iter()
        .filter(|row| row["source_file"] == "shots.csv")
        .map(|row| (row["source_line"].clone(), row["reason"].clone()))
        .collect();
    assert_eq!(held, [("11".into(), "no_distance".into()), ("21".into(), "no_base_in_time".into())]);

    // A nest that was shot from two stops lies at one place, within what the standard errors say.
    let features = table(&out.join("heron.features.csv"));
    for nest in ["H04", "H08"] {
        let seen: Vec<_> = features.iter().filter(|shot| shot["feature"] == nest).collect();
        let [a, b] = seen[..] else { panic!("{nest}") };
        let [de, dn] = ["easting", "northing"].map(|axis| number(a, axis) - number(b, axis));
        let allowed = number(a, "radius95_m").hypot(number(b, "radius95_m"));
        assert!(de.hypot(dn) < allowed, "{nest}: {:.2} m apart, {allowed:.2} m allowed", de.hypot(dn));
    }
}
