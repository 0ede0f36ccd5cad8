//! `standoff schema`: what it prints stands in `schemas/`, describes the examples, and refuses what is
//! wrong.

use crate::support;

use std::path::Path;

use serde_json::Value;
use support::*;

const SCHEMAS: [&str; 4] = ["job", "catalogue", "layers", "summary"];

fn printed(of: &str) -> String {
    let ran = standoff(Path::new("."), &["schema", of]).exits(0);
    assert_eq!(ran.err, "");
    ran.out
}

fn schema(of: &str) -> Value {
    serde_json::from_str(&printed(of)).unwrap()
}

/// Asserts validity, showing every fault.
#[track_caller]
fn assert_valid(schema: &Value, instance: &Value) {
    let validator = jsonschema::options().should_validate_formats(true).build(schema).unwrap();
    let faults: Vec<String> =
        validator.iter_errors(instance).map(|fault| format!("{}: {fault}", fault.instance_path())).collect();
    assert_eq!(faults, Vec::<String>::new());
}

fn is_valid(schema: &Value, instance: &Value) -> bool {
    jsonschema::validator_for(schema).unwrap().is_valid(instance)
}

/// A job file as JSON.
fn job(text: &str) -> Value {
    let table: toml::Table = text.parse().unwrap();
    serde_json::to_value(table).unwrap()
}

#[test]
fn the_files_in_schemas_are_what_the_program_prints() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("schemas");
    for of in SCHEMAS {
        assert!(read(&folder.join(format!("{of}.schema.json"))) == printed(of), "schemas/{of}.schema.json is old: make schemas");
    }
    let expected = SCHEMAS.map(|of| format!("{of}.schema.json"));
    assert_eq!(names(&folder), expected.into());
}

#[test]
fn each_is_a_schema() {
    for of in SCHEMAS {
        let schema = schema(of);
        assert_eq!(schema["$schema"], "https://json-schema.org/draft/2020-12/schema");
        assert!(jsonschema::meta::is_valid(&schema), "{of}");
    }
}

#[test]
fn every_key_of_the_job_is_documented() {
    fn walk(schema: &Value, place: &str, undocumented: &mut Vec<String>) {
        for (key, property) in schema["properties"].as_object().into_iter().flatten() {
            if property["description"].as_str().is_none_or(str::is_empty) {
                undocumented.push(format!("{place}.{key}"));
            }
        }
        for (name, inner) in schema["$defs"].as_object().into_iter().flatten() {
            walk(inner, name, undocumented);
        }
    }
    for of in ["job", "catalogue", "summary"] {
        let mut undocumented = Vec::new();
        walk(&schema(of), of, &mut undocumented);
        assert_eq!(undocumented, Vec::<String>::new());
    }
}

#[test]
fn the_jobs_of_the_examples_are_valid() {
    let schema = schema("job");
    for example in &EXAMPLES {
        let folder = example.copy();
        assert_valid(&schema, &job(&read(&folder.path().join("job.toml"))));
    }
    let folder = EXAMPLES[0].copy();
    assert_valid(&schema, &job(&read(&folder.path().join("job-with-heights.toml"))));
}

#[test]
fn the_catalogues_of_the_examples_are_valid_and_others_refused() {
    let schema = schema("catalogue");
    let mut tried = 0;
    for folder in names(&Path::new(env!("CARGO_MANIFEST_DIR")).join("examples")) {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples").join(folder).join("catalogue.toml");
        if !path.exists() {
            continue;
        }
        tried += 1;
        let catalogue = job(&read(&path));
        assert_valid(&schema, &catalogue);
        for (member, value) in [("geometry", "polygon"), ("layers", "stems")] {
            let mut wrong = catalogue.clone();
            wrong["codes"][0][member] = Value::from(value);
            assert!(!is_valid(&schema, &wrong), "{member}");
        }
    }
    assert_eq!(tried, 3);
}

#[test]
fn wrong_jobs_are_refused() {
    let schema = schema("job");
    let right =
        "name = \"a\"\ncrs = \"EPSG:32630\"\n[bases]\nfiles = [\"b.csv\"]\ncrs = \"EPSG:4979\"\n[shots]\nfiles = [\"s.csv\"]\n";
    assert_valid(&schema, &job(right));
    for (was, is) in [
        ("name = \"a\"\n", ""),
        ("name = \"a\"\n", "name = 7\n"),
        ("name = \"a\"\n", "name = \"a\"\nnaem = \"b\"\n"),
        ("name = \"a\"\n", "name = \"a\"\nformats = [\"paper\"]\n"),
        ("files = [\"s.csv\"]", "files = \"s.csv\""),
        ("files = [\"s.csv\"]", "files = [\"s.csv\"]\n[instrument]\nsigma_azimut_deg = 1.0"),
        ("files = [\"s.csv\"]", "files = [\"s.csv\"]\n[north]\ndeclination = \"modell\""),
    ] {
        let wrong = right.replace(was, is);
        assert!(!is_valid(&schema, &job(&wrong)), "{wrong}");
    }
}

#[test]
fn the_canonical_names_that_the_design_lists_are_columns() {
    let schema = schema("job");
    let columns = |log: &str| -> Vec<String> { serde_json::from_value(schema["x-canonical-columns"][log].clone()).unwrap() };
    let (bases, shots) = (columns("bases"), columns("shots"));
    for name in [
        "base",
        "lat_deg",
        "lon_deg",
        "east_m",
        "north_m",
        "east_usft",
        "north_ft",
        "ellipsoid_height_m",
        "orthometric_height_m",
        "sigma_horizontal_m",
        "sigma_vertical_m",
        "antenna_height_m",
        "time",
    ] {
        assert!(bases.iter().any(|column| column == name), "no {name} in {bases:?}");
    }
    for name in [
        "base",
        "shot",
        "time",
        "date",
        "code",
        "feature",
        "string",
        "measure",
        "role",
        "return",
        "instrument",
        "slope_distance_m",
        "slope_distance_ft",
        "slope_distance_usft",
        "slope_distance_yd",
        "horizontal_distance_m",
        "vertical_distance_m",
        "magnetic_azimuth_deg",
        "true_azimuth_deg",
        "grid_azimuth_deg",
        "grid_azimuth_gon",
        "magnetic_azimuth_mil",
        "inclination_deg",
        "inclination_pct",
        "zenith_deg",
        "instrument_height_m",
        "target_height_m",
    ] {
        assert!(shots.iter().any(|column| column == name), "no {name} in {shots:?}");
    }
}

#[test]
fn the_layers_have_the_fields_that_were_promised() {
    let schema = schema("layers");
    let fields = |layer: &str| schema["$defs"][layer]["properties"].as_object().unwrap().clone();
    for name in [
        "feature",
        "code",
        "shot",
        "base",
        "time",
        "easting",
        "northing",
        "lat_deg",
        "lon_deg",
        "ellipsoid_height_m",
        "orthometric_height_m",
        "horizontal_distance_m",
        "true_azimuth_deg",
        "declination_deg",
        "sigma_east_m",
        "sigma_north_m",
        "sigma_up_m",
        "ellipse_major95_m",
        "ellipse_minor95_m",
        "ellipse_azimuth_deg",
        "radius95_m",
        "height95_m",
        "base_share",
        "direction_share",
        "distance_share",
        "source_file",
        "source_line",
    ] {
        assert!(fields("features").contains_key(name), "features have no {name}");
    }
    for layer in LAYERS {
        for (name, field) in fields(layer) {
            let short = field["x-short-name"].as_str().unwrap();
            assert!(short.len() <= 10 && !field["description"].as_str().unwrap().is_empty(), "{name} of {layer}");
        }
    }
}

#[test]
fn the_summaries_of_the_examples_are_valid_and_others_refused() {
    let schema = schema("summary");
    for example in &EXAMPLES {
        let folder = example.copy();
        standoff(folder.path(), &["map", "job.toml", "--out", "out", "--quiet"]).exits(0);
        let summary = json(&folder.path().join("out/summary.json"));
        assert_valid(&schema, &summary);
        for (member, value) in [("shots", Value::Null), ("layers", Value::from(3)), ("caution", Value::from(1))] {
            let mut wrong = summary.clone();
            wrong[member] = value;
            assert!(!is_valid(&schema, &wrong), "{member}");
        }
    }
}

#[test]
fn another_word_is_wrong_usage_that_lists_the_right_ones() {
    let ran = standoff(Path::new("."), &["schema", "jobs"]).exits(2);
    assert_eq!(
        ran.err,
        "error: invalid value 'jobs' for '<OF>'\n  [possible values: job, catalogue, layers, summary]\n\n  \
         tip: a similar value exists: 'job'\n\nFor more information, try '--help'.\n"
    );
}
