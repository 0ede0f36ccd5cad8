//! The example of a span survey, against the curves that its readings were made from.

use super::*;

const HOLLOW: Example = Example {
    folder: "span-survey",
    name: "hollow",
    epsg: 2193,
    mapped: 37,
    repeats: 0,
    composed: 0,
    held: 0,
    bases: 2,
    layers: &[
        ("features", "POINT"),
        ("bases", "POINT"),
        ("sight_lines", "LINESTRING"),
        ("ellipses", "POLYGON"),
        ("lines", "LINESTRING"),
        ("measurements", ""),
        ("values", ""),
        ("parts", "POINT"),
        ("profiles", "POINT"),
        ("ledger", ""),
    ],
};

/// Values of the README: span, quantity, what stands behind the target, metres. The readings have errors by the standard errors of the job.
const TRUE: [(&str, &str, &str, f64); 10] = [
    ("K06-K07", "span_m", "", 94.000),
    ("K06-K07", "sag_m", "", 1.454),
    ("K06-K07", "vertical_distance_m", "track crown", 5.120),
    ("K06-K07", "vertical_distance_m", "gateway", 5.726),
    ("K06-K07", "straight_distance_m", "hay stack", 3.276),
    ("K07-K08", "span_m", "", 71.000),
    ("K07-K08", "sag_m", "", 0.900),
    ("K07-K08", "vertical_distance_m", "verge", 6.214),
    ("K07-K08", "vertical_distance_m", "fence post", 5.111),
    ("K07-K08", "straight_distance_m", "willow bough", 2.884),
];

/// The least good of them is the length of a span, from azimuths of 0.3 degrees at 85 m.
const LARGEST_SIGMA_M: f64 = 0.35;

#[test]
fn sags_and_clearances_are_the_true_ones_within_their_intervals() {
    let folder = HOLLOW.copy();
    let ran = standoff(folder.path(), &["map", "job.toml", "--out", "out"]).exits(0);
    assert!(ran.out.starts_with("37 of 37 shots mapped, 3 of 3 measurements composed, 0 held"), "{}", ran.out);
    assert_eq!(files(&folder.path().join("out")), expected_files_of(HOLLOW.layers, HOLLOW.name, &["gpkg", "geojson", "csv"]));
    let records = table(&folder.path().join("out/csv/hollow.measurements.csv"));
    for (name, quantity, what, metres) in TRUE {
        let found = records.iter().find(|record| {
            record["name"] == name && record["quantity"] == quantity && (what.is_empty() || record["target"].ends_with(what))
        });
        let found = found.unwrap_or_else(|| panic!("no {quantity} {what} of {name}"));
        let number = |field: &str| found[field].parse::<f64>().unwrap();
        assert!((number("low95")..=number("high95")).contains(&metres), "{name} {quantity} {what}: {metres} is not in {found:?}");
        // An interval that held everything would tell nothing.
        assert!(number("sigma") < LARGEST_SIGMA_M, "{found:?}");
    }
}

#[test]
fn its_readme_tells_the_same_values_and_answers() {
    let folder = HOLLOW.copy();
    let readme = read(&folder.path().join("README.md"));
    for (_, _, _, metres) in TRUE {
        assert!(readme.contains(&format!("| {metres:.3} |")), "{metres}");
    }
    standoff(folder.path(), &["map", "job.toml", "--out", "out", "--quiet"]).exits(0);
    let records = table(&folder.path().join("out/csv/hollow.measurements.csv"));
    let undecided: Vec<&str> = records
        .iter()
        .filter(|record| {
            record["quantity"] == "vertical_distance_m" && record["against_user_threshold"].starts_with("cannot tell")
        })
        .map(|record| record["target"].rsplit(", ").next().unwrap())
        .collect();
    assert_eq!(undecided, ["track crown", "fence post"]);
    assert!(records.iter().filter(|record| record["measure"] == "span").all(|record| !record["caution"].is_empty()));
    // The track has six shots; two of them are the ends of its line.
    let profile = table(&folder.path().join("out/csv/hollow.profiles.csv"));
    assert_eq!(profile.len(), 6);
    assert_eq!((profile[0]["role"].as_str(), profile[5]["role"].as_str()), ("start", "end"));
}
