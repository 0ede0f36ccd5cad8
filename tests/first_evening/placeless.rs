//! Jobs without bases, and local frames.

use super::*;

#[test]
fn without_bases_only_what_rows_give_together_is_told() {
    let evening = Evening::with(&[]);
    evening.write(
        "shots.csv",
        "base,shot,feature,measure,role,slope_distance_m,magnetic_azimuth_deg,inclination_deg\n\
         S,1,L,missing_line,from,30,0,0\nS,2,L,missing_line,to,40,90,0\n\
         S,3,M,missing_line,from,30,0,0\nT,4,M,missing_line,to,40,90,0\n\
         S,5,,,,12,3,0\n",
    );
    evening.write("job.toml", "name = \"alone\"\nformats = [\"csv\", \"gpkg\", \"shp\"]\n[shots]\nfiles = [\"shots.csv\"]\n");
    let ran = evening.map();
    // A right angle of 30 and 40 m: 50 m (3-4-5), but for the curvature of the Earth, far below a millimetre here.
    let lengths = evening.values("horizontal_distance_m");
    assert!((lengths["L"] - 50.0).abs() < 0.001, "{lengths:?}");
    assert_eq!(lengths.len(), 1, "{lengths:?}");
    let mut held: Vec<(u64, String)> = evening.held().into_iter().map(|(_, line, reason)| (line, reason)).collect();
    held.sort();
    assert_eq!(
        held,
        [(4, "incomplete"), (5, "incomplete"), (6, "no_base")].map(|(line, reason)| (line, reason.to_owned())),
        "{}",
        ran.out
    );
    let written: Vec<String> = walk(&evening.folder.path().join("out"));
    assert!(
        !written.iter().any(|name| name.contains("features") || name.contains("bases") || name.ends_with(".prj")),
        "{written:?}"
    );
    assert!(ran.out.contains("The job has no bases"), "{}", ran.out);
}

fn walk(folder: &Path) -> Vec<String> {
    let mut names = Vec::new();
    for entry in fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()) {
        if entry.is_dir() {
            names.extend(walk(&entry))
        } else {
            names.push(entry.file_name().unwrap().to_string_lossy().into_owned())
        }
    }
    names
}

const LOCAL: &str = "name = \"yard\"\ncrs = \"local\"\nformats = [\"csv\", \"gpkg\", \"shp\", \"fgb\"]\n[bases]\nfiles = [\"bases.csv\"]\n\
    [shots]\nfiles = [\"shots.csv\"]\n[instrument]\nrefraction = 0\n[heights]\ninstrument_height_m = 1.5\ntarget_height_m = 0\n";

fn local() -> Evening {
    let evening = Evening::with(&[]);
    evening.write("bases.csv", "base,east_m,north_m,local_height_m\nA,0,0,0\nB,100,0,2\n");
    evening.write(
        "shots.csv",
        "base,shot,feature,horizontal_distance_m,magnetic_azimuth_deg,inclination_deg\nA,1,P,50,90,0\nB,2,Q,50,0,45\n",
    );
    evening.write("job.toml", LOCAL);
    evening
}

/// By hand: P = (50, 0, 1.5); Q = (100, 50, 2 + 1.5 + 50). The plane's scale and the curvature of the Earth over 100 m move them
/// by less than a millimetre (100² / 2R = 0.8 mm).
#[test]
fn points_of_a_local_frame_are_east_north_and_up_of_its_zero() {
    let evening = local();
    let ran = evening.map();
    let found = places(&evening.layer("features"));
    for (name, expected) in [("P", [50.0, 0.0, 1.5]), ("Q", [100.0, 50.0, 53.5])] {
        for axis in 0..3 {
            assert!((found[name][axis] - expected[axis]).abs() < 0.001, "{name}: {:?}", found[name]);
        }
    }
    for record in evening.layer("features").iter().chain(&evening.layer("bases")) {
        assert_eq!((record["lat_deg"].as_str(), record["lon_deg"].as_str()), ("", ""), "a local frame has no place: {record:?}");
    }
    assert!(ran.out.contains("CRS      a local frame, metres east and north of its zero"), "{}", ran.out);
    // The undefined Cartesian system of the GeoPackage standard (requirement 11) is -1.
    let gpkg = walk_paths(&evening.folder.path().join("out"))
        .into_iter()
        .find(|path| path.extension().is_some_and(|e| e == "gpkg"))
        .unwrap();
    let connection = rusqlite::Connection::open(gpkg).unwrap();
    let ids: Vec<i64> = connection
        .prepare("SELECT DISTINCT srs_id FROM gpkg_geometry_columns")
        .unwrap()
        .query_map([], |row| row.get(0))
        .unwrap()
        .map(Result::unwrap)
        .collect();
    assert_eq!(ids, [-1]);
    assert!(!walk(&evening.folder.path().join("out")).iter().any(|name| name.ends_with(".prj")));
}

fn walk_paths(folder: &Path) -> Vec<PathBuf> {
    let mut paths = Vec::new();
    for entry in fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()) {
        if entry.is_dir() { paths.extend(walk_paths(&entry)) } else { paths.push(entry) }
    }
    paths
}

#[test]
fn what_a_local_frame_cannot_be_is_refused() {
    let evening = local();
    evening.write("job.toml", LOCAL.replace("\"csv\", ", "\"geojson\", "));
    let said = evening.run(&["map", "job.toml", "--out", "out"]).exits(1).err;
    assert!(said.contains("GeoJSON has longitudes and latitudes alone (RFC 7946)"), "{said}");
    evening.write("job.toml", LOCAL.replace("files = [\"bases.csv\"]", "files = [\"bases.csv\"]\ncrs = \"EPSG:32632\""));
    let said = evening.run(&["map", "job.toml", "--out", "out"]).exits(1).err;
    assert!(said.contains("crs = \"local\" is for bases in local coordinates"), "{said}");
    evening.write(
        "job.toml",
        LOCAL.replace("[bases]\nfiles = [\"bases.csv\"]\n", "").replace("crs = \"local\"", "crs = \"EPSG:32632\""),
    );
    let said = evening.run(&["map", "job.toml", "--out", "out"]).exits(1).err;
    assert!(said.contains("a job without bases has no place in any crs"), "{said}");
}
