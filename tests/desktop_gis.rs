//! What a person sees who opens the output in a desktop GIS: QGIS from Debian (python3-qgis), offscreen. It is large, so
//! these tests are run by name (`make test-gis`, which `.ci/run` does); they fail where it is missing.

use std::path::{Path, PathBuf};
use std::process::Command;

use crate::support::standoff;

/// Every example whose folder has a job.
const EXAMPLES: [&str; 7] =
    ["canopy-traverse", "cliff-nests", "forest-plot", "headland-nests", "heron-lagoon", "rural-line", "span-survey"];

fn mapped(example: &str, into: &Path) -> PathBuf {
    let out = into.join(example);
    let job = format!("examples/{example}/job.toml");
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let ran = standoff(root, &["map", &job, "--out", out.to_str().unwrap(), "--format", "gpkg"]);
    assert_eq!(ran.status, Some(0), "{example}: {}", ran.err);
    let files = std::fs::read_dir(&out).unwrap().map(|entry| entry.unwrap().path());
    files.into_iter().find(|path| path.extension().is_some_and(|ending| ending == "gpkg")).unwrap()
}

#[test]
#[ignore = "needs QGIS: make test-gis"]
fn each_layer_of_each_example_takes_its_style_and_the_project_opens() {
    let folder = tempfile::tempdir().unwrap();
    let packages: Vec<PathBuf> = EXAMPLES.iter().map(|example| mapped(example, folder.path())).collect();
    let opened = Command::new("/usr/bin/python3")
        .arg("tests/desktop_gis/open.py")
        .arg(folder.path())
        .args(&packages)
        .env("XDG_RUNTIME_DIR", folder.path())
        .output()
        .expect("python3 of the system, with python3-qgis");
    let (said, errors) = (String::from_utf8_lossy(&opened.stdout), String::from_utf8_lossy(&opened.stderr));
    assert!(opened.status.success(), "{said}{errors}");
    assert_eq!(said.lines().filter(|line| line.contains(" shown ")).count(), EXAMPLES.len(), "{said}{errors}");
}

/// The environment of its own that `make test-gis` makes.
const GIS_PYTHON: &str = "target/gis-venv/bin/python";

#[test]
#[ignore = "needs tools in an environment of its own: make test-gis"]
fn formats_are_sound_to_other_readers_and_published_schemas() {
    let folder = tempfile::tempdir().unwrap();
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let outputs: Vec<PathBuf> = EXAMPLES
        .iter()
        .map(|example| {
            let (out, job) = (folder.path().join(example), format!("examples/{example}/job.toml"));
            let mut arguments = vec!["map", &job, "--out", out.to_str().unwrap(), "--quiet"];
            ["gpkg", "geojson", "csv", "dxf", "kml", "kmz", "gpx", "jsonfg"]
                .iter()
                .for_each(|format| arguments.extend(["--format", format]));
            let ran = standoff(root, &arguments);
            assert_eq!(ran.status, Some(0), "{example}: {}", ran.err);
            out
        })
        .collect();
    let read =
        Command::new(GIS_PYTHON).arg("tests/desktop_gis/formats.py").args(&outputs).output().expect("make test-gis makes it");
    let (said, errors) = (String::from_utf8_lossy(&read.stdout), String::from_utf8_lossy(&read.stderr));
    assert!(read.status.success(), "{said}{errors}");
    for format in ["kml ", "gpx ", "dxf ", "iso ", "package "] {
        assert_eq!(said.lines().filter(|line| line.starts_with(format)).count(), EXAMPLES.len(), "{said}{errors}");
    }
    for format in ["jsonfg ", "geojson "] {
        assert!(said.lines().filter(|line| line.starts_with(format)).count() > 3 * EXAMPLES.len(), "{said}");
    }
}

#[test]
#[ignore = "needs QGIS: make test-gis"]
fn what_is_edited_in_the_desktop_gis_comes_back_in_the_next_run() {
    let folder = tempfile::tempdir().unwrap();
    let path = mapped("cliff-nests", folder.path());
    let edited = Command::new("/usr/bin/python3")
        .arg("tests/desktop_gis/edit.py")
        .arg(&path)
        .args(["features", "N11", "N11a", "N17"])
        .env("XDG_RUNTIME_DIR", folder.path())
        .output()
        .expect("python3 of the system, with python3-qgis");
    let said = String::from_utf8_lossy(&edited.stdout).into_owned() + &String::from_utf8_lossy(&edited.stderr);
    assert!(edited.status.success(), "{said}");
    // Nothing is left that another program waits for.
    let beside = crate::support::names(path.parent().unwrap());
    assert!(!beside.iter().any(|name| name.ends_with("-wal") || name.ends_with("-shm")), "{beside:?}");
    let out = folder.path().join("next");
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let arguments = ["map", "examples/cliff-nests/job.toml", "--out", out.to_str().unwrap(), "--format", "csv"];
    let ran = standoff(root, &[&arguments[..], &["--keep-edits", path.to_str().unwrap()]].concat());
    assert_eq!(ran.status, Some(0), "{}", ran.err);
    // Names alone were touched: that all of a record is written again makes no edits.
    assert!(ran.out.contains("1 value and 1 deletion carried over, 0 not"), "{}", ran.out);
    let names: Vec<String> =
        crate::support::table(&out.join("csv/skerrow.features.csv")).into_iter().map(|row| row["feature"].clone()).collect();
    assert!(names.contains(&"N11a".to_owned()) && !names.contains(&"N11".to_owned()) && !names.contains(&"N17".to_owned()));
}
