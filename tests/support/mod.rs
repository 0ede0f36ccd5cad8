//! What the tests of whole runs share: the program and what a run of it came to, examples copied to
//! a folder of their own, an invented log of any length, and comparing folders.

// Each test file uses a part of it.
#![allow(dead_code)]

pub mod geotiff;
pub mod mapping;
pub mod small;

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::Command;
use std::time::Duration;

use serde_json::Value;
use tempfile::TempDir;

/// Every format, by its name on the command line.
pub const FORMATS: [&str; 11] = ["gpkg", "geojson", "shp", "fgb", "csv", "dxf", "kml", "kmz", "gpx", "jsonfg", "sld"];
/// Every layer of logs without strings, measurements and a catalogue.
pub const LAYERS: [&str; 5] = ["features", "bases", "sight_lines", "ellipses", "ledger"];

/// A layer and its geometry as a GeoPackage names it; none of a table.
pub type Layer = (&'static str, &'static str);

/// The same with their geometries, in the order of the GeoPackage.
pub const PLAIN: [Layer; 5] =
    [("features", "POINT"), ("bases", "POINT"), ("sight_lines", "LINESTRING"), ("ellipses", "POLYGON"), ("ledger", "")];
/// A run that takes longer has hung.
const PATIENCE: Duration = Duration::from_secs(300);

/// An example of the repository, and what is known of it from its README and its job.
pub struct Example {
    /// Folder in `examples/`.
    pub folder: &'static str,
    /// What its files are named after.
    pub name: &'static str,
    /// EPSG code of its layers.
    pub epsg: i32,
    /// Features that shots became, in all layers of points together.
    pub mapped: usize,
    /// Further shots to features that have a record already.
    pub repeats: usize,
    /// Rows that served measurements without being points of their own.
    pub composed: usize,
    /// Rows held.
    pub held: usize,
    pub bases: usize,
    /// Its layers, in the order of the GeoPackage; those of its catalogue stand behind `features`.
    pub layers: &'static [Layer],
}

/// The examples.
pub const EXAMPLES: [Example; 3] = [
    Example {
        folder: "cliff-nests",
        name: "skerrow",
        epsg: 32630,
        mapped: 25,
        repeats: 17,
        composed: 0,
        held: 6,
        bases: 3,
        layers: &PLAIN,
    },
    Example {
        folder: "rural-line",
        name: "tarrow",
        epsg: 6543,
        mapped: 41,
        repeats: 8,
        composed: 0,
        held: 6,
        bases: 6,
        layers: &[
            ("features", "POINT"),
            ("poles", "POINT"),
            ("anchors", "POINT"),
            ("fences", "LINESTRING"),
            ("yards", "POLYGON"),
            ("bases", "POINT"),
            ("sight_lines", "LINESTRING"),
            ("ellipses", "POLYGON"),
            ("lines", "LINESTRING"),
            ("vertices", "POINT"),
            ("measurements", ""),
            ("values", ""),
            ("parts", "POINT"),
            ("ledger", ""),
        ],
    },
    Example {
        folder: "forest-plot",
        name: "velmerholz",
        epsg: 25832,
        mapped: 63,
        repeats: 3,
        composed: 12,
        held: 7,
        bases: 6,
        layers: &[
            ("features", "POINT"),
            ("stems", "POINT"),
            ("plots", "POLYGON"),
            ("tracks", "LINESTRING"),
            ("bases", "POINT"),
            ("sight_lines", "LINESTRING"),
            ("ellipses", "POLYGON"),
            ("vertices", "POINT"),
            ("measurements", ""),
            ("values", ""),
            ("ledger", ""),
        ],
    },
];

/// Those of some layers that have geometry.
pub fn drawn(layers: &[Layer]) -> Vec<&'static str> {
    layers.iter().filter(|(_, geometry)| !geometry.is_empty()).map(|(layer, _)| *layer).collect()
}

/// Those of some layers that have a record for each feature: `features`, and points of the catalogue behind it.
pub fn of_features(layers: &[Layer]) -> Vec<&'static str> {
    layers
        .iter()
        .take_while(|(layer, _)| *layer != "bases")
        .filter(|(_, geometry)| *geometry == "POINT")
        .map(|(layer, _)| *layer)
        .collect()
}

impl Example {
    /// A copy of its folder.
    pub fn copy(&self) -> TempDir {
        let folder = tempfile::tempdir().unwrap();
        copy(&Path::new(env!("CARGO_MANIFEST_DIR")).join("examples").join(self.folder), folder.path());
        folder
    }

    /// A copy of its folder with its layers in all formats in `out`.
    pub fn mapped_in_all_formats(&self) -> TempDir {
        let folder = self.copy();
        let mut arguments = vec!["map", "job.toml", "--out", "out", "--quiet"];
        FORMATS.iter().for_each(|format| arguments.extend(["--format", format]));
        standoff(folder.path(), &arguments).exits(0);
        folder
    }
}

/// Copies a folder, but for layers that someone has made in it.
pub fn copy(from: &Path, to: &Path) {
    for entry in fs::read_dir(from).unwrap().map(|entry| entry.unwrap()) {
        let target = to.join(entry.file_name());
        // Layers that someone has made in the example's folder are no part of it.
        if entry.file_name().to_string_lossy().ends_with("-layers") {
            continue;
        }
        if entry.path().is_dir() {
            fs::create_dir(&target).unwrap();
            copy(&entry.path(), &target);
        } else {
            fs::copy(entry.path(), target).unwrap();
        }
    }
}

/// What a run came to.
#[derive(Debug)]
pub struct Ran {
    /// Exit status; none where a signal ended it.
    pub status: Option<i32>,
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub err: String,
}

impl Ran {
    /// The run, which must have had this exit status.
    #[track_caller]
    pub fn exits(self, status: i32) -> Ran {
        assert_eq!(self.status, Some(status), "\nstandard output:\n{}\nstandard error:\n{}", self.out, self.err);
        self
    }

    /// The run, which must have failed with this message alone.
    #[track_caller]
    pub fn fails(self, message: &str) -> Ran {
        assert_eq!(self.err, format!("error: {message}\n"));
        assert_eq!(self.out, "");
        self.exits(1)
    }
}

/// The program, with none of the variables that change what it writes.
pub fn program() -> Command {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("standoff"));
    for variable in
        ["CI", "NO_COLOR", "CLICOLOR", "CLICOLOR_FORCE", "COLUMNS", "SOURCE_DATE_EPOCH", "PROJ_DATA", "PROJ_LIB", "GDAL_DATA"]
    {
        command.env_remove(variable);
    }
    command
}

/// A check that has to be left out, since this machine lacks or forbids something: said past the test harness, which would keep it
/// back, and a failure where CI runs (`.ci/tools tests` installs what can be installed).
pub fn left_out(what_is_missing: &str, is_installed_by_ci: bool) {
    let is_ci = std::env::var_os("CI").is_some();
    assert!(!(is_ci && is_installed_by_ci), "{what_is_missing}: a check that CI has to make");
    std::io::stderr().write_all(format!("left out, {what_is_missing}\n").as_bytes()).unwrap();
}

/// Runs a command to its end.
pub fn run(command: Command) -> Ran {
    let output = assert_cmd::Command::from_std(command).timeout(PATIENCE).output().unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    Ran { status: output.status.code(), out: text(output.stdout), err: text(output.stderr) }
}

/// Runs the program in a folder.
pub fn standoff(folder: &Path, arguments: &[&str]) -> Ran {
    let mut command = program();
    command.current_dir(folder).args(arguments);
    run(command)
}

/// A text file.
#[track_caller]
pub fn read(path: &Path) -> String {
    fs::read_to_string(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

/// A JSON file.
#[track_caller]
pub fn json(path: &Path) -> Value {
    serde_json::from_str(&read(path)).unwrap()
}

/// A CSV file's records by column.
#[track_caller]
pub fn table(path: &Path) -> Vec<BTreeMap<String, String>> {
    csv::Reader::from_path(path).unwrap().deserialize().map(|row| row.unwrap()).collect()
}

/// The records of a layer in a CSV file; none where it has none, for then it is not written.
pub fn records(path: &Path) -> Vec<BTreeMap<String, String>> {
    if path.exists() { table(path) } else { Vec::new() }
}

/// Names of what is in a folder.
pub fn names(folder: &Path) -> BTreeSet<String> {
    fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned()).collect()
}

/// Names of the files in a folder and in those within, with `/` between.
pub fn files(folder: &Path) -> BTreeSet<String> {
    let inside = |name: String| match folder.join(&name).is_dir() {
        true => files(&folder.join(&name)).into_iter().map(|file| format!("{name}/{file}")).collect(),
        false => vec![name],
    };
    names(folder).into_iter().flat_map(inside).collect()
}

/// Names of the files that a job of a name writes in some formats.
pub fn expected_files(name: &str, formats: &[&str]) -> BTreeSet<String> {
    expected_files_of(&PLAIN, name, formats)
}

/// Names of the files that a job of a name writes in some formats where it has these layers.
pub fn expected_files_of(layers: &[Layer], name: &str, formats: &[&str]) -> BTreeSet<String> {
    let mut files: BTreeSet<String> = ["held.csv".to_owned(), "summary.json".to_owned(), format!("{name}.report.html")].into();
    // A row for each measured thing, whatever the formats are.
    if layers.iter().any(|(layer, _)| *layer == "values") {
        files.insert(format!("{name}.values.csv"));
    }
    for format in formats {
        for (layer, geometry) in layers {
            let is_table = geometry.is_empty();
            let endings: &[&str] = match *format {
                "geojson" => &["geojson"],
                "jsonfg" => &["json"],
                "fgb" => &["fgb"],
                "csv" if is_table => &["csv", "csvt"],
                "csv" => &["csv", "csvt", "prj"],
                "shp" if is_table => &["dbf", "cpg", "fields.csv", "dbf.xml"],
                "shp" => &["shp", "shx", "dbf", "prj", "cpg", "fields.csv", "shp.xml"],
                _ => &[],
            };
            // A style beside what is drawn, and the one that the most used open desktop GIS loads by itself: that of a table has the
            // titles of its fields.
            let styles: &[&str] = match *format {
                "geojson" | "jsonfg" | "fgb" | "shp" if !is_table => &["sld", "qml"],
                "sld" if !is_table => &["sld"],
                "geojson" | "jsonfg" | "fgb" | "shp" | "csv" => &["qml"],
                _ => &[],
            };
            files.extend(endings.iter().chain(styles).map(|ending| format!("{format}/{name}.{layer}.{ending}")));
        }
        match *format {
            "gpkg" => drop(files.insert(format!("{name}.gpkg"))),
            "csv" => drop(files.insert("csv/datapackage.json".to_owned())),
            "dxf" | "kml" | "kmz" | "gpx" => drop(files.insert(format!("{format}/{name}.{format}"))),
            _ => {}
        }
    }
    files
}

/// The first difference between the files of two folders, if any.
pub fn difference(one: &Path, other: &Path) -> Option<String> {
    let (ours, theirs) = (files(one), files(other));
    if ours != theirs {
        return Some(format!("{ours:?}\nagainst\n{theirs:?}"));
    }
    ours.into_iter().find_map(|name| {
        let (ours, theirs) = (fs::read(one.join(&name)).unwrap(), fs::read(other.join(&name)).unwrap());
        if ours == theirs {
            return None;
        }
        let at = ours.iter().zip(&theirs).position(|(a, b)| a != b).unwrap_or(ours.len().min(theirs.len()));
        Some(format!("{name}: {} against {} bytes, different from byte {at}", ours.len(), theirs.len()))
    })
}

/// Asserts that two folders have the same files, byte for byte.
#[track_caller]
pub fn assert_same_files(one: &Path, other: &Path) {
    if let Some(difference) = difference(one, other) {
        panic!("{} and {} differ: {difference}", one.display(), other.display());
    }
}

/// What an invented log holds.
#[derive(Debug, Clone, Copy)]
pub struct Invented {
    pub mapped: u64,
    pub no_distance: u64,
    pub repeated_rows: u64,
    pub frozen_azimuths: u64,
}

impl Invented {
    pub fn held(&self) -> u64 {
        self.no_distance + self.repeated_rows
    }
}

/// Bases of an invented log.
const INVENTED_BASES: usize = 20;
/// Shots in a row with one azimuth; the program flags six and more.
const FROZEN: usize = 7;

/// Writes `bases.csv` and `shots.csv` with canonical headers: `rows` invented shots (a multiple of
/// 2000), of which about one in 900 has no distance, one in 1700 is written twice, and seven in 1300
/// have a frozen azimuth. The column `remark` holds `remark` in every row, to make the text as long
/// as a test wants it.
pub fn invent_logs(folder: &Path, rows: usize, remark: &str) -> Invented {
    let mut bases = "base,lat_deg,lon_deg,ellipsoid_height_m,sigma_horizontal_m,sigma_vertical_m\n".to_owned();
    for base in 0..INVENTED_BASES {
        let step = base as f64;
        bases += &format!("B{base:02},{:.8},{:.8},{:.3},0.4,0.8\n", 58.5 + 0.003 * step, -2.9 + 0.004 * step, 60.5 + step);
    }
    let mut shots =
        "shot,base,time,slope_distance_m,true_azimuth_deg,inclination_deg,instrument_height_m,code,remark\n".to_owned();
    let mut invented = Invented { mapped: 0, no_distance: 0, repeated_rows: 0, frozen_azimuths: 0 };
    for i in 0..rows {
        let base = i * INVENTED_BASES / rows;
        let is_frozen = i % 1300 >= 1300 - FROZEN;
        // A step without a common divisor runs through all tenths.
        let azimuth = match i * 1013 % 3600 {
            _ if is_frozen => 777,
            777 => 778,
            other => other,
        };
        let (distance, inclination) = (50 + i * 787 % 2950, (i * 331 % 400) as i64 - 200);
        let distance = if i % 900 == 899 && !is_frozen { "---".to_owned() } else { tenths(distance as i64) };
        let (hour, minute, second) = (i / 3600 % 24, i / 60 % 60, i % 60);
        let line = format!(
            "{},B{base:02},2026-05-{:02}T{hour:02}:{minute:02}:{second:02}Z,{distance},{},{},1.5,tree,{remark}\n",
            i + 1,
            1 + i / 86_400,
            tenths(azimuth as i64),
            tenths(inclination),
        );
        shots += &line;
        if distance == "---" {
            invented.no_distance += 1;
            continue;
        }
        invented.mapped += 1;
        invented.frozen_azimuths += u64::from(is_frozen);
        if i % 1700 == 1699 && !is_frozen {
            shots += &line;
            invented.repeated_rows += 1;
        }
    }
    fs::write(folder.join("bases.csv"), bases).unwrap();
    fs::write(folder.join("shots.csv"), shots).unwrap();
    invented
}

fn tenths(value: i64) -> String {
    format!("{}{}.{}", if value < 0 { "-" } else { "" }, value.abs() / 10, value.abs() % 10)
}

/// Arguments that map the invented logs of the folder to `out`.
pub fn map_invented(out: &str) -> Vec<&str> {
    vec!["map", "--bases", "bases.csv", "--shots", "shots.csv", "--crs", "EPSG:32630", "--target-height", "0", "--out", out]
}
