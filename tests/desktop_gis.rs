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
