//! Grids in GeoTIFF that PROJ's database names, in a folder of `PROJ_DATA`: of invented values, so that what
//! the program makes of them is told by arithmetic.

use crate::support;
use crate::support::geotiff;

use std::fs;
use std::path::Path;

use gdal::vector::LayerAccess;
use geotiff::{Band, Image};
use standoff::inside::geodesy::crs::{Crs, OperationRules, Transform};
use support::*;
use tempfile::TempDir;

const GEOID: &str = "us_nga_egm96_15.tif";
const GEOID_OLD_NAME: &str = "egm96_15.gtx";
const SHIFTS: &str = "uk_os_OSTN15_NTv2_OSGBtoETRS.tif";
const SHIFTS_OPERATION: &str = "Inverse of OSGB36 to WGS 84 (9)";

/// Layers print metres with four decimals; the grid keeps undulations of 50 m within 2 µm.
const PRINTED_M: f64 = 0.000_1;
/// Layers print degrees with nine decimals; PROJ keeps shifts as 4-byte radians, 2⁻²⁴ of 3 seconds, and its
/// inverse stops at 1e-12 rad.
const PRINTED_DEG: f64 = 1e-9;

/// Where the grids lie: by half degrees from 57 N 4 W.
const SOUTH: f64 = 57.0;
const WEST: f64 = -4.0;
const STEP: f64 = 0.5;
const ROWS: usize = 6;
const COLUMNS: usize = 5;

/// Bases, none of them on a node.
const PLACES: [[f64; 3]; 3] = [[58.6, -2.9, 60.5], [58.52, -3.07, 70.25], [57.93, -2.31, 12.0]];

fn undulation_m(row: usize, column: usize) -> f64 {
    f64::from((50.0 + 7.0 * (row as f64 * 1.7 + 2.0).sin() * (column as f64 * 2.3 + 1.0).cos()) as f32)
}

/// Shifts from the old datum to the new in arc-seconds, east and north positive.
fn north_seconds(row: usize, column: usize) -> f64 {
    f64::from((-1.5 + 0.25 * (row as f64 * 1.3).sin() * (column as f64 * 0.9 + 0.4).cos()) as f32)
}

fn east_seconds(row: usize, column: usize) -> f64 {
    f64::from((-4.0 + 0.5 * (row as f64 * 0.7 + 1.0).cos() * (column as f64 * 1.1).sin()) as f32)
}

fn west_seconds(row: usize, column: usize) -> f64 {
    -east_seconds(row, column)
}

/// The bilinear mean of the four nodes around a position.
fn bilinear(value: fn(usize, usize) -> f64, lat: f64, lon: f64) -> f64 {
    let (y, x) = ((lat - SOUTH) / STEP, (lon - WEST) / STEP);
    let (row, column) = (y.floor() as usize, x.floor() as usize);
    let (y, x) = (y.fract(), x.fract());
    (1.0 - y) * ((1.0 - x) * value(row, column) + x * value(row, column + 1))
        + y * ((1.0 - x) * value(row + 1, column) + x * value(row + 1, column + 1))
}

/// The new datum's position of one on the old.
fn to_new(lat: f64, lon: f64) -> [f64; 2] {
    [lat + bilinear(north_seconds, lat, lon) / 3600.0, lon + bilinear(east_seconds, lat, lon) / 3600.0]
}

/// The old datum's position of one on the new: the shift is that of where it leads from.
fn to_old(lat: f64, lon: f64) -> [f64; 2] {
    let [mut old_lat, mut old_lon] = [lat, lon];
    for _ in 0..20 {
        let [new_lat, new_lon] = to_new(old_lat, old_lon);
        (old_lat, old_lon) = (old_lat + lat - new_lat, old_lon + lon - new_lon);
    }
    [old_lat, old_lon]
}

fn image<'a>(items: &'a [(&'a str, &'a str)], bands: Vec<Band<'a>>) -> Image<'a> {
    Image { south: SOUTH, west: WEST, row_step: STEP, column_step: STEP, rows: ROWS, columns: COLUMNS, items, bands }
}

fn write_geoid(path: &Path) {
    let band = Band { description: "geoid_undulation", unit: "metre", items: &[], value: &undulation_m };
    geotiff::write(path, &[image(&[("TYPE", "VERTICAL_OFFSET_GEOGRAPHIC_TO_VERTICAL")], vec![band])]);
}

fn write_shifts(path: &Path, positive: &str) {
    let band = |description, value| Band { description, unit: "arc-second", items: &[], value };
    let positive_value: [(&str, &str); 1] = [("positive_value", positive)];
    let longitudes: &dyn Fn(usize, usize) -> f64 = if positive == "west" { &west_seconds } else { &east_seconds };
    let bands = vec![
        band("latitude_offset", &north_seconds),
        Band { items: &positive_value, ..band("longitude_offset", longitudes) },
        band("latitude_offset_accuracy", &|_, _| 0.1),
        band("longitude_offset_accuracy", &|_, _| 0.1),
    ];
    geotiff::write(path, &[image(&[("TYPE", "HORIZONTAL_OFFSET")], bands)]);
}

/// A job, a folder of grids, and one for temporary files.
struct Site {
    folder: TempDir,
}

impl Site {
    fn new(bases: &str, bases_crs: &str, crs: &str) -> Site {
        let folder = tempfile::tempdir().unwrap();
        let site = Site { folder };
        fs::create_dir(site.path("grids")).unwrap();
        fs::create_dir(site.path("temporary")).unwrap();
        fs::write(site.path("bases.csv"), bases).unwrap();
        let shots = "shot,base,slope_distance_m,inclination_deg,true_azimuth_deg\n1,B0,100,5,90\n2,B1,120,-4,180\n3,B2,60,1,20\n";
        fs::write(site.path("shots.csv"), shots).unwrap();
        let job = format!(
            "name = \"cove\"\ncrs = \"{crs}\"\nformats = [\"csv\", \"gpkg\"]\n[bases]\nfiles = [\"bases.csv\"]\ncrs = \"{bases_crs}\"\n\
             [shots]\nfiles = [\"shots.csv\"]\n[heights]\ninstrument_height_m = 1.5\ntarget_height_m = 0\n"
        );
        fs::write(site.path("job.toml"), job).unwrap();
        site
    }

    /// Bases in latitude and longitude on WGS 84.
    fn geographic(crs: &str) -> Site {
        let head = "base,lat_deg,lon_deg,ellipsoid_height_m\n".to_owned();
        let rows = PLACES.iter().enumerate().map(|(i, [lat, lon, h])| format!("B{i},{lat},{lon},{h}\n"));
        Site::new(&(head + &rows.collect::<String>()), "EPSG:4979", crs)
    }

    fn path(&self, name: &str) -> std::path::PathBuf {
        self.folder.path().join(name)
    }

    fn grid(&self, name: &str) -> std::path::PathBuf {
        self.path("grids").join(name)
    }

    fn map(&self) -> Ran {
        let mut command = program();
        command.current_dir(self.folder.path()).args(["map", "job.toml", "--out", "out"]);
        command.env("PROJ_DATA", self.path("grids")).env("TMPDIR", self.path("temporary"));
        let ran = run(command);
        if cfg!(unix) {
            assert!(names(&self.path("temporary")).is_empty(), "copies of grids are left");
        }
        ran
    }

    /// Name and grids of the operations that were chosen.
    fn operations(&self) -> Vec<(String, Vec<String>)> {
        let summary = json(&self.path("out/summary.json"));
        let operations = summary["operations"].as_array().unwrap().iter();
        let text = |value: &serde_json::Value| value.as_str().unwrap().to_owned();
        operations
            .map(|operation| (text(&operation["name"]), operation["grids"].as_array().unwrap().iter().map(text).collect()))
            .collect()
    }

    /// Numbers of a layer's records.
    fn numbers<const N: usize>(&self, layer: &str, columns: [&str; N]) -> Vec<[f64; N]> {
        let records = table(&self.path("out").join(format!("csv/cove.{layer}.csv")));
        records.iter().map(|record| columns.map(|column| record[column].parse().unwrap())).collect()
    }

    /// Third coordinates of a layer's points.
    fn third(&self, layer: &str) -> Vec<f64> {
        let dataset = gdal::Dataset::open(self.path("out/cove.gpkg")).unwrap();
        let mut layer = dataset.layer_by_name(layer).unwrap();
        layer.features().map(|feature| feature.geometry().unwrap().get_point(0).2).collect()
    }
}

/// What the program says of a vertical CRS without its grid.
fn no_geoid(crs: &str, want: &str) -> String {
    format!(
        "crs: from WGS 84 (EPSG:4979) to {crs} at base B0: the best transformation (WGS 84 to EGM96 height (1), accuracy 1 m) needs the grid \
         file {GEOID}, which {want}. Grid files come from the national mapping agency or from PROJ's data collection; put the file \
         in a folder and name the folder in the environment variable PROJ_DATA. Or write allow_global_geoid = true under [heights] \
         in the job to use the built-in global geoid in its place, good to about a metre, or name a CRS without a vertical part: \
         ellipsoidal and orthometric heights are written as attributes all the same."
    )
}

fn assert_heights_by_the_grid(site: &Site) {
    for layer in ["bases", "features"] {
        let points = site.numbers(layer, ["lat_deg", "lon_deg", "ellipsoid_height_m"]);
        let third = site.third(layer);
        assert_eq!((points.len(), third.len()), (PLACES.len(), PLACES.len()));
        for ([lat, lon, h], z) in points.into_iter().zip(third) {
            // Of a base the height is as it was read; of a feature, printed.
            let printed_m = if layer == "bases" { 0.0 } else { 0.000_05 };
            let want = h - bilinear(undulation_m, lat, lon);
            assert!((z - want).abs() < PRINTED_M + printed_m, "{layer} at {lat} {lon}: {z} against {want}");
        }
    }
}

#[test]
fn a_vertical_grid_takes_the_undulation_off() {
    for (crs, name, operation) in [
        ("EPSG:4326+5773", "WGS 84 + EGM96 height", "WGS 84 to EGM96 height (1)"),
        ("EPSG:4326+EPSG:5773", "WGS 84 + EGM96 height", "WGS 84 to EGM96 height (1)"),
    ] {
        let site = Site::geographic(crs);
        site.map().fails(&no_geoid(name, "is not installed"));
        assert!(!site.path("out").exists());
        write_geoid(&site.grid(GEOID));
        site.map().exits(0);
        assert_eq!(site.operations(), [(operation.to_owned(), vec![GEOID.to_owned()])]);
        assert_heights_by_the_grid(&site);
    }
}

#[test]
fn a_vertical_grid_serves_under_a_map_projection() {
    let site = Site::geographic("EPSG:32630+5773");
    write_geoid(&site.grid(GEOID));
    site.map().exits(0);
    let operations = site.operations();
    assert!(operations.iter().any(|(_, grids)| grids == &[GEOID]), "{operations:?}");
    let bases = site.numbers("bases", ["lat_deg", "lon_deg", "ellipsoid_height_m"]);
    for ([lat, lon, h], z) in bases.into_iter().zip(site.third("bases")) {
        assert!((z - (h - bilinear(undulation_m, lat, lon))).abs() < PRINTED_M, "{z}");
    }
}

/// GTX by its published layout: everything big-endian, rows from the south.
#[test]
fn a_grid_of_the_older_name_and_format_serves_as_before() {
    let site = Site::geographic("EPSG:4326+5773");
    let mut bytes = Vec::new();
    [SOUTH, WEST, STEP, STEP].iter().for_each(|number| bytes.extend(number.to_be_bytes()));
    [ROWS as i32, COLUMNS as i32].iter().for_each(|count| bytes.extend(count.to_be_bytes()));
    for (row, column) in (0..ROWS).flat_map(|row| (0..COLUMNS).map(move |column| (row, column))) {
        bytes.extend((undulation_m(row, column) as f32).to_be_bytes());
    }
    fs::write(site.grid(GEOID_OLD_NAME), bytes).unwrap();
    site.map().exits(0);
    assert_heights_by_the_grid(&site);
    // It stands in for a file of the newer name that cannot be read.
    fs::write(site.grid(GEOID), "not a grid").unwrap();
    fs::remove_dir_all(site.path("out")).unwrap();
    site.map().exits(0);
    assert_heights_by_the_grid(&site);
}

/// Latitude and longitude of the layers against arithmetic, and their eastings and northings against the
/// projection alone.
fn assert_on_the_old_datum(site: &Site) {
    let bases = site.numbers("bases", ["lat_deg", "lon_deg", "easting", "northing"]);
    assert_eq!(bases.len(), PLACES.len());
    let rules = OperationRules::default();
    let (old, grid) = (Crs::new("EPSG:4277").unwrap(), Crs::new("EPSG:27700").unwrap());
    let project = Transform::new(&old, &grid, None, rules).unwrap();
    for ([lat, lon, east, north], [from_lat, from_lon, _]) in bases.into_iter().zip(PLACES) {
        let [want_lat, want_lon] = to_old(from_lat, from_lon);
        assert!((lat - want_lat).abs() < PRINTED_DEG, "{lat} against {want_lat}, from {from_lat}");
        assert!((lon - want_lon).abs() < PRINTED_DEG, "{lon} against {want_lon}, from {from_lon}");
        let mut point = [[want_lon, want_lat, 0.0]];
        project.apply(&mut point).unwrap();
        let [want_east, want_north, _] = point[0];
        assert!((east - want_east).abs() < 2.0 * PRINTED_M && (north - want_north).abs() < 2.0 * PRINTED_M, "{east} {north}");
        // The shift is to the east and north here, by some 65 and 46 m.
        assert!(lon > from_lon && lat > from_lat);
    }
}

#[test]
fn a_horizontal_grid_shifts_positions_onto_its_datum() {
    for positive in ["east", "west"] {
        let site = Site::geographic("EPSG:27700");
        write_shifts(&site.grid(SHIFTS), positive);
        site.map().exits(0);
        assert_eq!(site.operations(), [(SHIFTS_OPERATION.to_owned(), vec![SHIFTS.to_owned()])]);
        assert_on_the_old_datum(&site);
    }
}

#[test]
fn a_horizontal_grid_shifts_positions_off_its_datum() {
    for positive in ["east", "west"] {
        let head = "base,lat_deg,lon_deg,ellipsoid_height_m\n".to_owned();
        let rows = PLACES.iter().enumerate().map(|(i, [lat, lon, h])| format!("B{i},{lat},{lon},{h}\n"));
        let site =
            Site::new(&(head + &rows.collect::<String>()), "EPSG:4277\"\nellipsoid_heights_crs = \"EPSG:4979", "EPSG:4326");
        write_shifts(&site.grid(SHIFTS), positive);
        site.map().exits(0);
        let operations = site.operations();
        assert!(operations.iter().any(|(_, grids)| grids == &[SHIFTS]), "{operations:?}");
        let bases = site.numbers("bases", ["lat_deg", "lon_deg"]);
        assert_eq!(bases.len(), PLACES.len());
        for ([lat, lon], [from_lat, from_lon, _]) in bases.into_iter().zip(PLACES) {
            let [want_lat, want_lon] = to_new(from_lat, from_lon);
            assert!((lat - want_lat).abs() < PRINTED_DEG, "{lat} against {want_lat}, from {from_lat}");
            assert!((lon - want_lon).abs() < PRINTED_DEG, "{lon} against {want_lon}, from {from_lon}");
        }
    }
}

#[test]
fn a_damaged_grid_is_refused_with_its_name_and_the_reason() {
    let site = Site::geographic("EPSG:4326+5773");
    let path = site.grid(GEOID);
    write_geoid(&path);
    let whole = fs::read(&path).unwrap();
    let refused = |bytes: &[u8], reason: &str| {
        fs::write(&path, bytes).unwrap();
        let want = format!("cannot be used: {} is there, but {reason}", path.display());
        site.map().fails(&no_geoid("WGS 84 + EGM96 height", &want));
        assert!(!site.path("out").exists());
    };
    refused(b"", "it is no GeoTIFF file, or a damaged one");
    refused(b"a page that says the file has moved", "it is no GeoTIFF file, or a damaged one");
    refused(&whole[..whole.len() - 20], "it is cut short or damaged");
    // And one of another kind under its name.
    write_shifts(&path, "south");
    let want = format!(
        "cannot be used: {} is there, but its longitude offsets are positive towards \"south\", which is neither east nor west",
        path.display()
    );
    site.map().fails(&no_geoid("WGS 84 + EGM96 height", &want));
}

#[test]
fn a_damaged_grid_of_shifts_leaves_the_way_that_the_job_may_allow() {
    let site = Site::geographic("EPSG:27700");
    fs::write(site.grid(SHIFTS), "a page that says the file has moved").unwrap();
    site.map().fails(&format!(
        "crs: from WGS 84 (EPSG:4979) to OSGB36 at base B0: the best transformation ({SHIFTS_OPERATION}, accuracy 1 m) needs the grid file \
         {SHIFTS}, which cannot be used: {} is there, but it is no GeoTIFF file, or a damaged one. Grid files come from the national \
         mapping agency or from PROJ's data collection; put the file in a folder and name the folder in the environment variable \
         PROJ_DATA. Or write allow_missing_grids = true in the job to use Inverse of OSGB36 to WGS 84 (6) (accuracy 2 m) instead.",
        site.grid(SHIFTS).display()
    ));
    let job = read(&site.path("job.toml")).replace("formats", "allow_missing_grids = true\nformats");
    fs::write(site.path("job.toml"), job).unwrap();
    let ran = site.map().exits(0);
    assert!(ran.out.contains(&format!("for want of {SHIFTS}.")), "{}", ran.out);
}

/// PROJ also looks in the folder where the program runs, and takes what it can open for a grid that it can use.
#[test]
fn a_grid_outside_the_folders_of_grids_counts_as_not_installed() {
    let site = Site::geographic("EPSG:4326+5773");
    write_geoid(&site.path(GEOID));
    site.map().fails(&no_geoid("WGS 84 + EGM96 height", "is not installed"));
}

/// The environment can ask PROJ to fetch grids over a network and to keep them in the home of the person: neither is done.
#[test]
fn no_grid_is_fetched_and_none_is_kept_at_home() {
    let site = Site::geographic("EPSG:4326+5773");
    fs::create_dir(site.path("home")).unwrap();
    let mut command = program();
    command.current_dir(site.folder.path()).args(["map", "job.toml", "--out", "out"]);
    command.env("PROJ_NETWORK", "ON").env("PROJ_NETWORK_ENDPOINT", "http://127.0.0.1:9").env("HOME", site.path("home"));
    command.env("PROJ_DATA", site.path("grids")).env_remove("XDG_DATA_HOME").env_remove("PROJ_USER_WRITABLE_DIRECTORY");
    run(command).fails(&no_geoid("WGS 84 + EGM96 height", "is not installed"));
    assert!(names(&site.path("home")).is_empty(), "{:?}", names(&site.path("home")));
    // And with the grid at hand it serves as ever.
    write_geoid(&site.grid(GEOID));
    let mut command = program();
    command.current_dir(site.folder.path()).args(["map", "job.toml", "--out", "out"]);
    command.env("PROJ_NETWORK", "ON").env("PROJ_NETWORK_ENDPOINT", "http://127.0.0.1:9").env("HOME", site.path("home"));
    command.env("PROJ_DATA", site.path("grids")).env_remove("XDG_DATA_HOME").env_remove("PROJ_USER_WRITABLE_DIRECTORY");
    run(command).exits(0);
    assert!(names(&site.path("home")).is_empty(), "{:?}", names(&site.path("home")));
    assert_heights_by_the_grid(&site);
}

/// An old way to name a CRS, of which PROJ speaks on standard error by itself.
#[test]
fn an_old_form_of_a_crs_is_refused_in_one_line() {
    for (definition, instead) in [
        ("+init=epsg:32630", "EPSG:32630"),
        ("init=IGNF:LAMB93", "IGNF:LAMB93"),
        ("+init=epsg:32630 +type=crs", "EPSG:32630"),
        ("+init=nothing", "an authority code such as EPSG:32630"),
    ] {
        Site::geographic(definition)
            .map()
            .fails(&format!("crs: \"{definition}\" is an old way to name a coordinate reference system; write {instead}"));
    }
}
