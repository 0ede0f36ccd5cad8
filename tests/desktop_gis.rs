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
    let said = in_desktop_gis("open.py", folder.path(), &packages);
    assert_eq!(said.lines().filter(|line| line.contains(" shown ")).count(), EXAMPLES.len(), "{said}");
    let named = |line: &str| line.starts_with("names ") && !line.ends_with(" 0");
    assert_eq!(said.lines().filter(|line| named(line)).count(), EXAMPLES.len(), "{said}");
}

/// A job of a field, an open string and points about a base.
fn field_about(folder: &Path, name: &str, crs: &str, [lat, lon]: [&str; 2]) {
    let write = |file: &str, text: &str| std::fs::write(folder.join(file), text).unwrap();
    write("bases.csv", &format!("base,lat_deg,lon_deg,ellipsoid_height_m\nA,{lat},{lon},60\n"));
    let mut rows = "shot,base,role,string,true_azimuth_deg,inclination_deg,slope_distance_m\n".to_owned();
    for (i, azimuth) in [10, 80, 150, 200, 290].into_iter().enumerate() {
        rows += &format!("{i},A,{},field,{azimuth},0,80\n{},A,,,{azimuth},0,120\n", if i == 4 { "close" } else { "" }, i + 10);
    }
    rows += "20,A,,path,75,0,90\n21,A,,path,265,0,70\n22,A,end,path,120,0,140\n";
    write("shots.csv", &rows);
    write(
        "job.toml",
        &format!(
            "name = \"{name}\"\ncrs = \"{crs}\"\n[bases]\nfiles = [\"bases.csv\"]\ncrs = \"EPSG:4979\"\nsigma_horizontal_m = 0.02\n\
             sigma_vertical_m = 0.02\n[shots]\nfiles = [\"shots.csv\"]\n[instrument]\nsigma_distance_m = 0.02\nsigma_azimuth_deg = 0.01\n\
             sigma_inclination_deg = 0.01\n[heights]\ninstrument_height_m = 1.5\ntarget_height_m = 1.5\n"
        ),
    );
}

/// Heights of two masts, 16 sights onto a wall 30 m north of a base in rows of four, and a yard with a well in its middle.
fn things_measured(folder: &Path) {
    field_about(folder, "gable", "EPSG:32630", ["58.6", "-2.9"]);
    let mut rows = "shot,base,feature,string,measure,role,true_azimuth_deg,inclination_deg,slope_distance_m\n".to_owned();
    for (i, feature) in ["M1", "M2"].into_iter().enumerate() {
        rows += &format!("{i}f,A,{feature},,height,foot,{},-2,40\n{i}t,A,{feature},,height,top,{},25,\n", 100 * i, 100 * i);
    }
    // East and up of spots on the wall.
    let on_wall = |shot: String, role: &str, [east, up]: [f64; 2], has_distance: bool| {
        let level = f64::hypot(east, 30.0);
        let distance = if has_distance { f64::hypot(level, up).to_string() } else { String::new() };
        let [azimuth, tilt] = [east.atan2(30.0), up.atan2(level)].map(f64::to_degrees);
        format!("{shot},A,wall,,plane_sight,{role},{},{tilt},{distance}\n", azimuth.rem_euclid(360.0))
    };
    for (i, corner) in [[-5.0, 0.0], [5.0, 0.0], [5.0, 6.0], [-5.0, 6.0]].into_iter().enumerate() {
        rows += &on_wall(format!("{i}p"), &format!("plane_{}", i + 1), corner, true);
    }
    for i in 0..16 {
        let spot = [-4.5 + 3.0 * f64::from(i % 4), 1.0 + 1.5 * f64::from(i / 4)];
        rows += &on_wall(format!("{i}s"), "sight", spot, false);
    }
    for (i, azimuth) in [200, 210, 220].into_iter().enumerate() {
        rows += &format!("{i}h,A,Hedge,hedge,,{},{azimuth},0,50\n", if i == 2 { "end" } else { "" });
    }
    // Corners of a square of 30 m round a spot 60 m to the east.
    for (i, [east, north]) in [[45.0, -15.0], [75.0, -15.0], [75.0, 15.0], [45.0, 15.0]].into_iter().enumerate() {
        let (azimuth, distance) = (f64::atan2(east, north).to_degrees(), f64::hypot(east, north));
        rows += &format!("{i}y,A,yard,yard,,{},{azimuth},0,{distance}\n", if i == 3 { "close" } else { "" });
    }
    rows += "w,A,well,,,,90,0,60\n";
    std::fs::write(folder.join("shots.csv"), rows).unwrap();
    standoff(folder, &["map", "job.toml", "--out", "out", "--format", "gpkg", "--quiet"]).exits(0);
}

/// Foot and top of each mast are told apart, the 16 spots of a wall are labelled once, and the corners of a hedge not at all; the yard has its
/// name in spite of the well.
#[test]
#[ignore = "needs QGIS: make test-gis"]
fn points_of_measurements_are_labelled_by_what_they_are() {
    let folder = tempfile::tempdir().unwrap();
    things_measured(folder.path());
    let said = in_desktop_gis("open.py", folder.path(), &[folder.path().join("out/gable.gpkg")]);
    assert!(said.contains("parts gable.gpkg 20 of 5 kinds"), "{said}");
    // Where they are shown beside the features, the foot and the top of a mast, which are in one place, have both their names.
    assert!(said.contains("unnamed parts gable.gpkg []"), "{said}");
    let labels = said.lines().find(|line| line.starts_with("labels gable")).unwrap_or_else(|| panic!("{said}"));
    for name in ["yard", "well", "hedge", "wall", "M1", "M2", "A"] {
        assert!(labels.contains(&format!("'{name}'")), "{name} in {labels}");
    }
}

/// Longitudes and latitudes on both sides of ±180°, and round a pole: the project shows the few hundred metres of the job, in the plane of
/// UTM or UPS, and not the whole globe.
#[test]
#[ignore = "needs QGIS: make test-gis"]
fn a_job_across_180_degrees_or_round_a_pole_opens_in_one_piece() {
    let folder = tempfile::tempdir().unwrap();
    let jobs = [("across", "-16.8", "179.9997", "EPSG:32701"), ("north", "89.9998", "40", "EPSG:5041")];
    let packages = jobs.map(|(name, lat, lon, _)| {
        field_about(folder.path(), name, "EPSG:4326", [lat, lon]);
        standoff(folder.path(), &["map", "job.toml", "--out", name, "--format", "gpkg", "--quiet"]).exits(0);
        folder.path().join(name).join(format!("{name}.gpkg"))
    });
    let opened = in_desktop_gis("open.py", folder.path(), &packages);
    for (name, _, _, plane) in jobs {
        let line = opened.lines().find(|line| line.starts_with(name)).unwrap_or_else(|| panic!("{opened}"));
        assert!(line.contains(plane), "{line}");
        let size: f64 = line.rsplit(' ').next().unwrap().parse().unwrap();
        assert!((200.0..400.0).contains(&size), "{line}");
    }
}

/// What a script prints that opens files in the desktop GIS; its faults end the test.
fn in_desktop_gis(script: &str, pictures: &Path, files: &[PathBuf]) -> String {
    let opened = Command::new("/usr/bin/python3")
        .arg(format!("tests/desktop_gis/{script}"))
        .arg(pictures)
        .args(files)
        .env("XDG_RUNTIME_DIR", pictures)
        .output()
        .expect("python3 of the system, with python3-qgis");
    let (said, errors) = (String::from_utf8_lossy(&opened.stdout), String::from_utf8_lossy(&opened.stderr));
    assert!(opened.status.success(), "{said}{errors}");
    said.into_owned()
}

/// GeoJSON by RFC 7946 (section 3.1.9), against what GEOS leaves of the same shapes on either side.
#[test]
#[ignore = "needs QGIS: make test-gis"]
fn geojson_is_cut_at_180_degrees_where_geos_cuts_it() {
    let folder = tempfile::tempdir().unwrap();
    let jobs = [("reef", "EPSG:32760", ["-16.8", "179.9997"]), ("floe", "EPSG:32601", ["71", "-179.9999"])];
    let outputs = jobs.map(|(name, crs, at)| {
        field_about(folder.path(), name, crs, at);
        let arguments = ["map", "job.toml", "--out", name, "--format", "gpkg", "--format", "geojson", "--quiet"];
        standoff(folder.path(), &arguments).exits(0);
        folder.path().join(name)
    });
    let said = in_desktop_gis("antimeridian.py", folder.path(), &outputs);
    for (name, ..) in jobs {
        assert!(said.lines().any(|line| line.starts_with(&format!("cut {name} 1 lines 1 areas "))), "{said}");
    }
}

#[test]
#[ignore = "needs QGIS: make test-gis"]
fn files_of_other_formats_open_with_their_styles_where_they_are_dragged_in() {
    let folder = tempfile::tempdir().unwrap();
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let outputs = EXAMPLES.map(|example| {
        let (out, job) = (folder.path().join(example), format!("examples/{example}/job.toml"));
        let mut arguments = vec!["map", &job, "--out", out.to_str().unwrap(), "--quiet"];
        ["gpkg", "geojson", "jsonfg", "shp", "fgb", "csv", "dxf"]
            .iter()
            .for_each(|format| arguments.extend(["--format", format]));
        standoff(root, &arguments).exits(0);
        out
    });
    let said = in_desktop_gis("files.py", folder.path(), &outputs);
    for format in ["geojson ", "jsonfg ", "shp ", "fgb ", "csv ", "dxf "] {
        assert_eq!(said.lines().filter(|line| line.starts_with(format)).count(), EXAMPLES.len(), "{said}");
    }
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

/// Names that could be taken for codes of DXF, and signs of other scripts, as CAD reads them.
#[test]
#[ignore = "needs tools in an environment of its own: make test-gis"]
fn names_in_a_drawing_are_those_of_the_log() {
    let folder = tempfile::tempdir().unwrap();
    field_about(folder.path(), "odd", "EPSG:32630", ["58.6", "-2.9"]);
    let names = [
        "50%%d",
        "%%",
        "100%",
        "a%%%u",
        "a^b",
        "^J",
        "5^",
        "\\U+0041",
        "\\M+1",
        "{\\P} \\~",
        "Åsa 5°",
        "Łódź 北 – €",
        "\u{416}".repeat(35).as_str(),
    ]
    .map(str::to_owned);
    let mut rows = "shot,base,feature,true_azimuth_deg,inclination_deg,slope_distance_m\n".to_owned();
    names.iter().enumerate().for_each(|(i, name)| rows += &format!("{i},A,{name},{},0,{}\n", 20 * i, 60 + i));
    std::fs::write(folder.path().join("shots.csv"), rows).unwrap();
    let mut arguments = vec!["map", "job.toml", "--out", "out", "--quiet"];
    ["gpkg", "geojson", "dxf"].iter().for_each(|format| arguments.extend(["--format", format]));
    standoff(folder.path(), &arguments).exits(0);
    let out = folder.path().join("out");
    let read = Command::new(GIS_PYTHON).arg("tests/desktop_gis/formats.py").arg(&out).output().expect("make test-gis makes it");
    let said = String::from_utf8_lossy(&read.stdout).into_owned() + &String::from_utf8_lossy(&read.stderr);
    assert!(read.status.success() && said.contains("dxf odd.dxf"), "{said}");
    let told: serde_json::Value =
        serde_json::from_str(&std::fs::read_to_string(out.join("geojson/odd.features.geojson")).unwrap()).unwrap();
    let known: Vec<&str> =
        told["features"].as_array().unwrap().iter().map(|feature| feature["properties"]["feature"].as_str().unwrap()).collect();
    assert_eq!(known, names);
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
