//! The examples with catalogues, strings and measurements: what their READMEs say of held and flagged rows, and values
//! against the corners, heights and widths that their readings were made from.

use crate::support;

use std::collections::BTreeMap;

use serde_json::{Value, json};
use support::*;
use tempfile::TempDir;

type Record = BTreeMap<String, String>;

/// An example in a folder of its own, mapped.
struct Mapped {
    folder: TempDir,
    name: &'static str,
    summary: Value,
}

impl Mapped {
    fn example(index: usize) -> Mapped {
        let example = &EXAMPLES[index];
        let folder = example.copy();
        standoff(folder.path(), &["map", "job.toml", "--out", "out", "--format", "csv", "--quiet"]).exits(0);
        let summary = json(&folder.path().join("out/summary.json"));
        Mapped { folder, name: example.name, summary }
    }

    fn layer(&self, layer: &str) -> Vec<Record> {
        records(&self.folder.path().join(format!("out/csv/{}.{layer}.csv", self.name)))
    }

    /// Rows of the ledger that were held or flagged for a reason, as `file:line`.
    fn rows(&self, record: &str, code: &str) -> Vec<String> {
        let of = |row: &Record| row["record"] == record && row["code"].split(' ').any(|word| word == code);
        let ledger = self.layer("ledger").into_iter().filter(of);
        ledger.map(|row| format!("{}:{}", row["source_file"], row["source_line"])).collect()
    }

    /// The one record of a layer with this name.
    fn named(&self, layer: &str, name: &str) -> Record {
        self.layer(layer).into_iter().find(|record| record["name"] == name).unwrap_or_else(|| panic!("{layer} has no {name}"))
    }

    /// Asserts that a measured value is the true one within its 95 % interval, and that the README rounds it so.
    #[track_caller]
    fn assert_measured(&self, name: &str, quantity: &str, true_value: f64, in_readme: &str) {
        let records = self.layer("measurements");
        let record = records.iter().find(|record| record["name"] == name && record["quantity"] == quantity).unwrap();
        assert!(
            (number(record, "low95")..=number(record, "high95")).contains(&true_value),
            "{name}: {true_value} is not in {record:?}"
        );
        self.assert_readme(record, "value", "sigma", in_readme);
    }

    /// The same of a length or an area of a string, within two standard errors.
    #[track_caller]
    fn assert_string(&self, record: &Record, field: &str, sigma: &str, true_value: f64, in_readme: &str) {
        assert!((number(record, field) - true_value).abs() < 2.0 * number(record, sigma), "{true_value}: {record:?}");
        self.assert_readme(record, field, sigma, in_readme);
    }

    /// Asserts that the README has these words, that they begin with the rounded value, and end with its rounded standard error in
    /// brackets where they have any.
    #[track_caller]
    fn assert_readme(&self, record: &Record, field: &str, sigma: &str, words: &str) {
        assert!(self.readme().contains(words), "the README has no {words}");
        let (value, bracket) = words.split_once('(').map_or((words, None), |(value, bracket)| (value, Some(bracket)));
        assert_rounds_to(number(record, field), value);
        if let Some(bracket) = bracket {
            assert_rounds_to(number(record, sigma), bracket.trim_start_matches("standard error "));
        }
    }

    fn readme(&self) -> String {
        read(&self.folder.path().join("README.md"))
    }
}

#[track_caller]
fn number(record: &Record, field: &str) -> f64 {
    record[field].parse().unwrap_or_else(|_| panic!("{field} of {record:?}"))
}

/// Asserts that a value, with as many decimals as stand in some words, is the number they begin with.
#[track_caller]
fn assert_rounds_to(value: f64, words: &str) {
    let digits: String = words.chars().take_while(|c| c.is_ascii_digit() || *c == '.').collect();
    let decimals = digits.split_once('.').map_or(0, |(_, decimals)| decimals.len());
    assert_eq!(format!("{value:.decimals$}"), digits, "{words}");
}

#[test]
fn of_the_line_what_is_flagged_is_what_its_readme_says() {
    let line = Mapped::example(1);
    assert_eq!(line.summary["shots"]["flags"], json!({"attribute_value": 1, "misses_tolerance": 1, "unknown_code": 1}));
    assert_eq!(line.rows("flagged", "misses_tolerance"), ["poles.csv:15"]);
    assert_eq!(line.rows("flagged", "attribute_value"), ["yard.csv:7"]);
    assert_eq!(line.rows("flagged", "unknown_code"), ["yard.csv:17"]);
    // The alias has the layer of its code.
    let anchors: Vec<String> = line.layer("anchors").into_iter().map(|anchor| anchor["code"].clone()).collect();
    assert_eq!(anchors, ["anchor", "anchor", "anchor", "guy"]);
    // 22 poles once each, and the feet of two service poles.
    let poles = line.layer("poles");
    assert_eq!(poles.len(), 24);
    let names: std::collections::BTreeSet<&str> = poles.iter().map(|pole| pole["feature"].as_str()).collect();
    assert_eq!(names.len(), 24);
}

#[test]
fn of_the_line_heights_the_missing_line_and_strings_are_the_true_ones() {
    // Made from: tops 29.0 ft and 24.6 ft over their feet; anchors 11.0 and 35.2 survey feet apart east and north; corners
    // of fence and yard in survey feet.
    const FOOT_M: f64 = 0.3048;
    const SURVEY_FOOT_M: f64 = 1200.0 / 3937.0;
    let line = Mapped::example(1);
    line.assert_measured("113-S", "height_m", 29.0 * FOOT_M, "8.68 m for `113-S` (standard error 0.18)");
    line.assert_measured("118-S", "height_m", 24.6 * FOOT_M, "7.40 m (0.12)");
    line.assert_measured("118-S", "lean_deg", (3.4f64.hypot(1.2) * SURVEY_FOOT_M).atan2(24.6 * FOOT_M).to_degrees(), "7° (2.7°)");
    line.assert_measured("112 guys", "horizontal_distance_m", 11.0f64.hypot(35.2) * SURVEY_FOOT_M, "11.3 m (1.2)");
    let fence = [[432.0, 906.0], [525.0, 926.0], [643.0, 949.0], [764.0, 973.0f64]];
    let length_m: f64 = fence.windows(2).map(|w| (w[1][0] - w[0][0]).hypot(w[1][1] - w[0][1])).sum::<f64>() * SURVEY_FOOT_M;
    line.assert_string(&line.named("fences", "F1"), "length_ellipsoid_m", "sigma_length_m", length_m, "103 m (0.5)");
    let yard = [[402.0, 901.0], [471.0, 915.0], [460.0, 976.0], [389.0, 961.0]];
    let area_m2 = area(&yard) * SURVEY_FOOT_M * SURVEY_FOOT_M;
    line.assert_string(&line.named("yards", "pump yard"), "area_ellipsoid_m2", "sigma_area_m2", area_m2, "404 m² (4)");
}

#[test]
fn of_the_plots_what_is_held_and_flagged_is_what_their_readme_says() {
    let plot = Mapped::example(2);
    assert_eq!(
        plot.summary["shots"]["flags"],
        json!({"attribute_missing": 1, "attribute_value": 2, "azimuth_repeats": 7, "misses_tolerance": 6, "unknown_code": 1})
    );
    assert_eq!(plot.rows("flagged", "attribute_value"), ["stems.csv:10", "stems.csv:23"]);
    assert_eq!(plot.rows("flagged", "attribute_missing"), ["stems.csv:19"]);
    assert_eq!(plot.rows("flagged", "unknown_code"), ["edge.csv:7"]);
    assert_eq!(plot.rows("held", "incomplete"), ["heights.csv:14", "heights.csv:15"]);
    assert_eq!(plot.rows("held", "no_distance"), ["stems.csv:6", "stems.csv:39"]);
    let stems = plot.layer("stems");
    let poor = stems.iter().filter(|stem| stem["flags"] == "misses_tolerance");
    assert!(poor.clone().count() == 6 && poor.clone().all(|stem| stem["base"] == "Q09/2"));
    // Half of the diameter on to the centre: stems.csv, line 2, 3.37 m to the face of a stem of 350 mm. One has no diameter.
    let of = |name: &str| stems.iter().find(|stem| stem["feature"] == name).unwrap();
    assert_eq!(
        (of("Q07-001")["horizontal_distance_m"].as_str(), of("Q07-016")["horizontal_distance_m"].as_str()),
        ("3.545", "11.64")
    );
    for name in ["Q09-026", "Q09-027", "Q09-028"] {
        let spread_m: f64 = of(name)["spread_m"].parse().unwrap();
        assert!(of(name)["shots_used"] == "2" && (0.25..0.55).contains(&spread_m), "{name}: {spread_m}");
    }
}

#[test]
fn of_the_plots_heights_and_strings_are_the_true_ones() {
    let plot = Mapped::example(2);
    for (stem, true_m, in_readme) in
        [("Q09-027", 24.6, "24.4 m"), ("Q09-026", 18.2, "18.0 m"), ("Q09-028", 16.9, "16.9 m"), ("Q11-035", 27.1, "27.1 m")]
    {
        plot.assert_measured(stem, "height_m", true_m, in_readme);
    }
    let warned: Vec<String> =
        plot.layer("measurements").into_iter().filter(|m| !m["warnings"].is_empty()).map(|m| m["name"].clone()).collect();
    assert_eq!(warned, ["Q11-035", "Q11-035"]);
    let edge = [[700.5, 183.0], [702.5, 233.0], [759.5, 230.5], [757.5, 181.0]];
    plot.assert_string(
        &plot.named("plots", "Q07 edge"),
        "area_ellipsoid_m2",
        "sigma_area_m2",
        area(&edge),
        "2836 m² (standard error 51)",
    );
    let track = [[697.0, 207.0], [711.0, 211.0], [726.5, 209.5], [742.0, 212.5], [758.0, 209.0f64]];
    let length_m: f64 = track.windows(2).map(|w| (w[1][0] - w[0][0]).hypot(w[1][1] - w[0][1])).sum();
    plot.assert_string(&plot.named("tracks", "skid 1"), "length_ellipsoid_m", "sigma_length_m", length_m, "62.0 m (1.0)");
}

/// Of the features shot more than once the least and the greatest of a field, as the README rounds them.
fn spread_of_repeats(layer: &[Record]) -> [f64; 2] {
    let values = layer.iter().filter(|record| number(record, "shots_used") > 1.0).map(|record| number(record, "spread_m"));
    values.fold([f64::MAX, 0.0], |[least, greatest], value| [least.min(value), greatest.max(value)])
}

#[test]
fn of_the_line_radii_and_spreads_are_those_of_its_readme() {
    let line = Mapped::example(1);
    let poles = line.layer("poles");
    let [least, greatest] = spread_of_repeats(&poles);
    assert!(line.readme().contains("`spread_m` 0.1 to 0.6"));
    assert_rounds_to(least, "0.1");
    assert_rounds_to(greatest, "0.6");
    assert!(line.readme().contains("(`radius95_m` 0.4 m for 105, 113 and 0.5 m for 119)"));
    for (name, radius) in [("105", "0.4"), ("113", "0.4"), ("119", "0.5")] {
        assert_rounds_to(number(poles.iter().find(|pole| pole["feature"] == name).unwrap(), "radius95_m"), radius);
    }
    let twice: Vec<&str> = poles.iter().filter(|pole| pole["shots_used"] == "2").map(|pole| pole["feature"].as_str()).collect();
    assert_eq!(std::collections::BTreeSet::from_iter(twice), ["105", "107", "111", "112", "113", "118", "119", "121"].into());
}

#[test]
fn of_the_plots_spreads_convergence_and_inclination_are_those_of_its_readme() {
    let plot = Mapped::example(2);
    let readme = plot.readme();
    let [least, greatest] = spread_of_repeats(&plot.layer("stems"));
    assert!(readme.contains("`spread_m` 0.3 to 0.5") && readme.contains("grid north turns by 4.7° between the zones"));
    assert_rounds_to(least, "0.3");
    assert_rounds_to(greatest, "0.5");
    // At the edge of two zones of 6°, tan γ = tan 3° sin φ to either side.
    let lat = number(&plot.layer("bases")[2], "lat_deg").to_radians();
    assert_rounds_to(2.0 * (3f64.to_radians().tan() * lat.sin()).atan().to_degrees(), "4.7");
    let tall = plot.layer("measurements").into_iter().find(|record| record["name"] == "Q11-035").unwrap();
    assert!(readme.contains("seen at 63°") && tall["warnings"].contains("was seen at 63°"), "{tall:?}");
    let tolerance = read(&plot.folder.path().join("catalogue.toml"));
    assert!(readme.contains("a tolerance of 2.4 m") && tolerance.contains("tolerance_horizontal95_m = 2.4"));
}

#[test]
fn of_the_cliff_radii_and_spreads_are_those_of_its_readme() {
    let cliff = Mapped::example(0);
    let features = cliff.layer("features");
    let of = |name: &str| features.iter().find(|feature| feature["feature"] == name).unwrap();
    for name in ["N08", "N13", "M1"] {
        assert!(matches!(of(name)["shots_used"].as_str(), "2" | "3"));
        // "within about 1 m", "about 0.5 m".
        assert!(number(of(name), "spread_m") < 1.25, "{name}");
        assert_rounds_to(number(of(name), "radius95_m"), "0.5");
    }
    // "a nest shot from one headland at 200 m about 5 m".
    let one =
        |feature: &&Record| feature["shots_used"] == "1" && (190.0..210.0).contains(&number(feature, "horizontal_distance_m"));
    let far: Vec<&Record> = features.iter().filter(one).collect();
    assert!(!far.is_empty());
    far.iter().for_each(|nest| assert_rounds_to(number(nest, "radius95_m"), "5"));
    let readme = cliff.readme();
    assert!(readme.contains("within about 1 m of it") && readme.contains("about 0.5 m") && readme.contains("at 200 m about 5 m"));
}

/// Area of a ring by its corners, without the first again.
fn area(corners: &[[f64; 2]]) -> f64 {
    let next = corners.iter().cycle().skip(1);
    corners.iter().zip(next).map(|(a, b)| a[0] * b[1] - b[0] * a[1]).sum::<f64>().abs() / 2.0
}
