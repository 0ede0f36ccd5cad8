//! `standoff map`: with a job file and without, its options, and what it says when it cannot.

use crate::support;

use std::fs;
use std::path::Path;

use support::*;
use tempfile::TempDir;

/// Logs with canonical headers; invented.
const BASES: &str = "base,lat_deg,lon_deg,ellipsoid_height_m\nA,58.6,-2.9,60.5\nB,58.61,-2.91,70.25\n";
const SHOTS: &str = "shot,base,slope_distance_m,inclination_deg,true_azimuth_deg\n1,A,100,5,90\n2,A,120,-4,180\n3,B,50,0,10\n";
const JOB: &str = "name = \"cove\"\ncrs = \"EPSG:32630\"\nformats = [\"csv\"]\n[bases]\nfiles = [\"bases.csv\"]\ncrs = \"EPSG:4979\"\n\
    [shots]\nfiles = [\"shots.csv\"]\n[heights]\ninstrument_height_m = 1.5\ntarget_height_m = 0\n";

fn logs() -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    write(&folder, "bases.csv", BASES);
    write(&folder, "shots.csv", SHOTS);
    write(&folder, "job.toml", JOB);
    folder
}

fn write(folder: &TempDir, name: &str, text: &str) {
    fs::write(folder.path().join(name), text).unwrap();
}

#[test]
fn the_readme_shows_what_the_example_prints() {
    let readme = read(&Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md"));
    let shown: Vec<&str> = readme
        .lines()
        .skip_while(|line| !line.contains("shots mapped"))
        .take_while(|line| line.starts_with("    "))
        .map(|line| &line[4..])
        .collect();
    assert!(shown.len() > 5, "README.md shows {} lines", shown.len());
    let folder = EXAMPLES[0].copy();
    let ran = standoff(folder.path(), &["map", "job.toml"]).exits(0);
    let printed: Vec<&str> = ran.out.lines().collect();
    assert_eq!(printed[..shown.len()], shown);
    assert_eq!(printed.len(), shown.len() + 2, "{}", ran.out);
    assert!(printed[shown.len()].starts_with("page     "), "{}", ran.out);
    assert!(printed[shown.len() + 1].starts_with("written  "), "{}", ran.out);
}

#[test]
fn the_held_rows_of_the_example_are_those_of_its_readme() {
    let folder = EXAMPLES[0].copy();
    standoff(folder.path(), &["map", "job.toml", "--out", "out"]).exits(0);
    let held: Vec<[String; 3]> = table(&folder.path().join("out/held.csv"))
        .into_iter()
        .map(|row| ["source_file", "source_line", "reason"].map(|column| row[column].clone()))
        .collect();
    let expected = [
        ["monday.csv", "8", "no_distance"],
        ["monday.csv", "15", "no_distance"],
        ["monday.csv", "25", "azimuth_range"],
        ["tuesday/east-morning.csv", "6", "no_distance"],
        ["tuesday/east-morning.csv", "16", "unknown_base"],
        ["tuesday/west-evening.csv", "6", "cut_last_line"],
    ];
    assert_eq!(held, expected.map(|row| row.map(str::to_owned)));
}

#[test]
fn the_layers_lie_beside_the_job_and_bear_its_name() {
    let folder = logs();
    let elsewhere = tempfile::tempdir().unwrap();
    let job = folder.path().join("job.toml");
    let place = folder.path().join("cove-layers");
    let ran = standoff(elsewhere.path(), &["map", job.to_str().unwrap()]).exits(0);
    assert_eq!(files(&place), expected_files("cove", &["csv"]));
    assert_eq!(ran.out.lines().last().unwrap(), format!("written  {}", place.display()));
    assert!(names(elsewhere.path()).is_empty());
    // An output folder named in the job lies beside it too; one named by --out where the run is.
    write(&folder, "job.toml", &format!("out = \"layers/today\"\n{JOB}"));
    standoff(elsewhere.path(), &["map", job.to_str().unwrap()]).exits(0);
    assert_same_files(&folder.path().join("layers/today"), &place);
    standoff(elsewhere.path(), &["map", job.to_str().unwrap(), "--out", "here"]).exits(0);
    assert_same_files(&elsewhere.path().join("here"), &place);
}

#[test]
fn logs_with_canonical_headers_need_no_job() {
    let folder = logs();
    standoff(folder.path(), &["map", "job.toml", "--out", "job"]).exits(0);
    let mut arguments = map_invented("plain");
    arguments.extend(["--format", "csv", "--instrument-height", "1.5"]);
    standoff(folder.path(), &arguments).exits(0);
    assert_eq!(files(&folder.path().join("plain")), expected_files("plain", &["csv"]), "named after the folder");
    for layer in LAYERS {
        let (plain, job) = (format!("plain/csv/plain.{layer}.csv"), format!("job/csv/cove.{layer}.csv"));
        assert_eq!(read(&folder.path().join(plain)), read(&folder.path().join(job)));
    }
    // By default the format of a job.
    let mut arguments = map_invented("some layers");
    arguments.extend(["--instrument-height", "1.5"]);
    standoff(folder.path(), &arguments).exits(0);
    assert_eq!(files(&folder.path().join("some layers")), expected_files("some_layers", &["gpkg"]));
}

#[test]
fn positions_without_a_job_are_in_the_crs_of_the_layers_unless_they_are_angles() {
    // Eastings and northings go from run to run as they are printed, to a tenth of a millimetre.
    const PRINTED_M: f64 = 0.000_2;
    let folder = logs();
    let map = |bases: &str, crs: &str, more: &[&str]| {
        let arguments = [
            "map",
            "--bases",
            bases,
            "--shots",
            "shots.csv",
            "--crs",
            crs,
            "--format",
            "csv",
            "--out",
            "out",
            "--target-height",
            "0",
            "--instrument-height",
            "1.5",
        ];
        standoff(folder.path(), &[&arguments, more].concat()).exits(0);
        let base = &table(&folder.path().join("out/csv/out.bases.csv"))[0];
        ["easting", "northing", "lat_deg", "lon_deg"].map(|column| base[column].parse::<f64>().unwrap())
    };
    let plane = |[east, north, ..]: [f64; 4]| {
        format!("base,east_m,north_m,ellipsoid_height_m\nA,{east},{north},60.5\nB,{},{},70.25\n", east + 100.0, north + 100.0)
    };
    let same_place = |one: [f64; 4], other: [f64; 4]| {
        assert!((one[0] - other[0]).abs() < PRINTED_M && (one[1] - other[1]).abs() < PRINTED_M, "{one:?} {other:?}");
    };
    let angles = map("bases.csv", "EPSG:32630", &[]);
    assert_eq!(angles[2..], [58.6, -2.9]);
    // The same place by its easting and northing, in the layers' CRS and in another.
    write(&folder, "plane.csv", &plane(angles));
    same_place(map("plane.csv", "EPSG:32630", &[]), angles);
    let mercator = map("bases.csv", "EPSG:3395", &[]);
    assert!((mercator[0] - angles[0]).abs() > 100_000.0, "{mercator:?}");
    write(&folder, "mercator.csv", &plane(mercator));
    same_place(map("mercator.csv", "EPSG:32630", &["--bases-crs", "EPSG:3395"]), angles);
}

#[test]
fn formats_and_layers_on_the_command_line_replace_those_of_the_job() {
    let folder = logs();
    standoff(folder.path(), &["map", "job.toml", "--out", "out", "--format", "fgb", "--format", "geojson", "--format", "fgb"])
        .exits(0);
    assert_eq!(files(&folder.path().join("out")), expected_files("cove", &["fgb", "geojson"]));
    standoff(folder.path(), &["map", "job.toml", "--out", "out", "--layers", "features,ledger"]).exits(0);
    let mut expected = expected_files("cove", &["csv"]);
    expected.retain(|name| !["bases", "sight_lines", "ellipses"].iter().any(|layer| name.contains(layer)));
    assert_eq!(files(&folder.path().join("out")), expected);
    let summary = json(&folder.path().join("out/summary.json"));
    let layers: Vec<&str> = summary["layers"].as_array().unwrap().iter().map(|layer| layer["name"].as_str().unwrap()).collect();
    assert_eq!(layers, ["features", "ledger"]);
    // The job's own choice holds where the command line has none.
    write(&folder, "job.toml", &format!("layers = [\"bases\"]\n{JOB}"));
    standoff(folder.path(), &["map", "job.toml", "--out", "out"]).exits(0);
    let files: Vec<String> = files(&folder.path().join("out")).into_iter().collect();
    assert_eq!(
        files,
        [
            "cove.report.html",
            "csv/cove.bases.csv",
            "csv/cove.bases.csvt",
            "csv/cove.bases.prj",
            "csv/cove.bases.qml",
            "csv/datapackage.json",
            "held.csv",
            "summary.json",
        ]
    );
}

#[test]
fn several_logs_may_be_named() {
    let folder = logs();
    write(&folder, "more-bases.csv", "base,ellipsoid_height_m,lon_deg,lat_deg\nC,80,-2.92,58.62\n");
    write(&folder, "more-shots.csv", "base,shot,true_azimuth_deg,inclination_deg,slope_distance_m\nC,1,270,1,75\n");
    let arguments = [
        "map",
        "--bases",
        "bases.csv",
        "--bases",
        "more-bases.csv",
        "--shots",
        "shots.csv",
        "--shots",
        "more-shots.csv",
        "--crs",
        "EPSG:32630",
        "--instrument-height",
        "1.5",
        "--target-height",
        "0",
        "--out",
        "out",
        "--format",
        "csv",
    ];
    standoff(folder.path(), &arguments).exits(0);
    let bases: Vec<(String, String)> = table(&folder.path().join("out/csv/out.bases.csv"))
        .into_iter()
        .map(|row| (row["base"].clone(), row["shots"].clone()))
        .collect();
    assert_eq!(bases, [("A", "2"), ("B", "1"), ("C", "1")].map(|(base, shots)| (base.to_owned(), shots.to_owned())));
    let features: Vec<String> = table(&folder.path().join("out/csv/out.features.csv"))
        .into_iter()
        .map(|row| format!("{}:{}", row["source_file"], row["source_line"]))
        .collect();
    assert_eq!(features, ["shots.csv:2", "shots.csv:3", "shots.csv:4", "more-shots.csv:2"]);
}

#[test]
fn wrong_usage_says_what_is_right() {
    let folder = logs();
    let tip = "\n\nFor more information, try '--help'.\n";
    for (arguments, message) in [
        (
            vec!["map"],
            "error: the following required arguments were not provided:\n  <JOB.toml>\n\nUsage: standoff map <JOB.toml>",
        ),
        (
            vec!["map", "job.toml", "--bases", "bases.csv"],
            "error: the argument '[JOB.toml]' cannot be used with '--bases <FILE>'\n\nUsage: standoff map <JOB.toml>",
        ),
        (
            vec!["map", "--bases", "bases.csv"],
            "error: the following required arguments were not provided:\n  --shots <FILE>\n  --crs <CRS>\n  --out <DIR>\n\n\
             Usage: standoff map --bases <FILE> --shots <FILE> --crs <CRS> --out <DIR> [JOB.toml]",
        ),
        (vec!["map", "job.toml", "--threads", "0"], "error: invalid value '0' for '--threads <N>': 0 is not in 1..=65535"),
        (
            vec!["map", "job.toml", "--format", "gml"],
            "error: invalid value 'gml' for '--format <FORMAT>'\n  [possible values: gpkg, geojson, shp, fgb, csv, dxf, kml, kmz, gpx, jsonfg, sld]\n\n  tip: a similar value exists: 'kml'",
        ),
        (
            vec!["map", "job.toml", "--layers", "features,ledgers"],
            "error: invalid value 'ledgers' for '--layers <LAYER>'\n  \
             [possible values: features, bases, sight_lines, ellipses, lines, areas, vertices, measurements, values, parts, profiles, adjusted, residuals, corrections, ledger]\n\n  tip: a similar value exists: 'ledger'",
        ),
        (
            vec!["map", "job.toml", "--stric"],
            "error: unexpected argument '--stric' found\n\n  tip: a similar argument exists: '--strict'\n\n\
             Usage: standoff map --strict <JOB.toml>",
        ),
    ] {
        let ran = standoff(folder.path(), &arguments).exits(2);
        assert_eq!(ran.err, format!("{message}{tip}"));
        assert_eq!(ran.out, "");
    }
    assert_eq!(names(folder.path()), ["bases.csv", "job.toml", "shots.csv"].map(str::to_owned).into());
}

#[test]
fn jobs_that_cannot_run_fail_in_one_sentence_with_the_place_and_a_remedy() {
    let folder = logs();
    let before = names(folder.path());
    standoff(folder.path(), &["map", "nowhere.toml"])
        .fails("nowhere.toml: cannot be read: No such file or directory (os error 2)");
    for (was, is, message) in [
        ("name = ", "nmae = ", "job.toml:1: unknown key nmae; did you mean name?"),
        (
            "name = \"cove\"",
            "name = \"a/b\"",
            "job.toml:1: name = \"a/b\": use letters, digits, - and _; files are named after it",
        ),
        (
            "[\"csv\"]",
            "[\"gml\"]",
            "job.toml:3: unknown variant `gml`, expected one of `gpkg`, `geojson`, `shp`, `fgb`, `csv`, `dxf`, `kml`, `kmz`, `gpx`, `jsonfg`, `sld`",
        ),
        ("shots.csv", "schots.csv", "job.toml:8: no file ./schots.csv"),
        (
            "EPSG:32630",
            "EPSG:99999",
            "crs: \"EPSG:99999\" is not a coordinate reference system that PROJ knows; write an authority code such as EPSG:32630, \
             a compound such as EPSG:32630+5773, or WKT",
        ),
    ] {
        write(&folder, "job.toml", &JOB.replace(was, is));
        standoff(folder.path(), &["map", "job.toml", "--out", "out"]).fails(message);
        assert_eq!(names(folder.path()), before, "something was written");
    }
}

#[test]
fn a_null_transformation_is_refused_unless_the_job_allows_it() {
    let folder = logs();
    let job = JOB.replace("EPSG:4979", "+proj=longlat +ellps=clrk66 +type=crs\"\nellipsoid_heights_crs = \"EPSG:4979");
    write(&folder, "job.toml", &job);
    standoff(folder.path(), &["map", "job.toml", "--out", "out"]).fails(
        "bases.crs: from unknown to WGS 84 (EPSG:4979): PROJ knows no transformation but a null (\"ballpark\") one, off by an \
         unknown amount. Choose a CRS on a datum that unknown is tied to, or write allow_ballpark = true in the job to accept it",
    );
    write(&folder, "job.toml", &job.replace("formats", "allow_ballpark = true\nformats"));
    let ran = standoff(folder.path(), &["map", "job.toml", "--out", "out"]).exits(0);
    assert!(ran.out.contains("(a null transformation)) has no published accuracy"), "{}", ran.out);
    let summary = json(&folder.path().join("out/summary.json"));
    assert!(summary["operations"].as_array().unwrap().iter().any(|operation| operation["ballpark"] == true), "{summary}");
}

#[test]
fn a_missing_grid_is_refused_by_name_unless_the_job_allows_the_next_best() {
    let folder = logs();
    let job = JOB.replace("EPSG:32630", "EPSG:27700");
    write(&folder, "job.toml", &job);
    let grid = "uk_os_OSTN15_NTv2_OSGBtoETRS.tif";
    standoff(folder.path(), &["map", "job.toml", "--out", "out"]).fails(&format!(
        "crs: from WGS 84 (EPSG:4979) to OSGB36 at base A: the best transformation (Inverse of OSGB36 to WGS 84 (9), accuracy 1 m) needs the \
         grid file {grid}, which is not installed. Grid files come from the national mapping agency or from PROJ's data collection; \
         put the file in a folder and name the folder in the environment variable PROJ_DATA. Or write allow_missing_grids = true in \
         the job to use Inverse of OSGB36 to WGS 84 (6) (accuracy 2 m) instead."
    ));
    write(&folder, "job.toml", &job.replace("formats", "allow_missing_grids = true\nformats"));
    let ran = standoff(folder.path(), &["map", "job.toml", "--out", "out"]).exits(0);
    assert!(
        ran.out.contains(&format!(
            "is good to 2 m, which is in the standard errors of the features. It stands in for Inverse of OSGB36 to WGS 84 (9) \
             (accuracy 1 m) for want of {grid}."
        )),
        "{}",
        ran.out
    );
    // Computed with pyproj 3.7.2 (PROJ 9.5.1), the transformation named above by its name among those of
    // TransformerGroup("EPSG:4979", "EPSG:27700", always_xy=True), at -2.9, 58.6, 60.0. Without any shift the place would be 347700.57,
    // 968314.00, by the transformations beside it 3 m and more off; layers have a tenth of a millimetre.
    let base = &table(&folder.path().join("out/csv/cove.bases.csv"))[0];
    let [east, north] = ["easting", "northing"].map(|column| base[column].parse::<f64>().unwrap());
    assert!((east - 347_793.508_9).abs() < 1e-3 && (north - 968_354.101_6).abs() < 1e-3, "{east} {north}");
}

#[test]
fn a_vertical_datum_without_its_grid_is_refused_with_two_ways_on() {
    let folder = EXAMPLES[0].copy();
    standoff(folder.path(), &["map", "job-with-heights.toml", "--out", "out"]).fails(
        "crs: from WGS 84 (EPSG:4979) to WGS 84 / UTM zone 30N + ODN height at base SK-W1: the best transformation (ETRS89 to ODN height (2) using \
         ETRS89 to WGS 84 (1) + UTM zone 30N, accuracy 2.008 m) needs the grid file uk_os_OSGM15_GB.tif, which is not installed. Grid \
         files come from the national mapping agency or from PROJ's data collection; put the file in a folder and name the folder in \
         the environment variable PROJ_DATA. Or write allow_global_geoid = true under [heights] in the job to use the built-in global \
         geoid in its place, good to about a metre, or name a CRS without a vertical part: ellipsoidal and orthometric heights are \
         written as attributes all the same.",
    );
    let job = read(&folder.path().join("job-with-heights.toml")).replace("# allow_global_geoid", "allow_global_geoid");
    write(&folder, "job.toml", &job);
    let ran = standoff(folder.path(), &["map", "job.toml", "--out", "out"]).exits(0);
    assert!(
        ran.out.contains("\nheight   ODN height, by EGM96 (degree and order 360, built in) in place of its own grid\n"),
        "{}",
        ran.out
    );
}
