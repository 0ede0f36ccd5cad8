//! Five crews' files, from `init` to the truth. Edits are those that a crew makes of the job that `init` wrote, five at most, and one
//! run of `check` says that it is right; `formats` is the test's own.

use super::*;

/// Trees: heights from a log with a row a tree, without any base: no edit.
#[test]
fn heights_without_bases_from_a_wide_log() {
    let evening = Evening::with(&["2-trees/heights_wide.csv"]);
    let checked = evening.job(&["heights_wide.csv"], &[]);
    evening.map();
    // Three remarks have a comma of their own without quotes.
    assert!(checked.out.contains("42 of 42 measurements composed, 0 held, 3 flagged"), "{}", checked.out);
    expect_heights(&evening);
}

/// And from one with a row a shot: no edit either, since a column with decimal commas tells the unit.
#[test]
fn heights_without_bases_from_a_long_log() {
    let evening = Evening::with(&["2-trees/heights_long.csv"]);
    evening.job(&["heights_long.csv"], &[]);
    evening.map();
    expect_heights(&evening);
}

/// `expected` is what the rounded readings themselves give, by HD (tan I_top - tan I_foot) alone; the program's own reduction
/// holds refraction and the curvature of the Earth too, less than a millimetre at 30 m; values are printed to the millimetre.
const READINGS_M: f64 = 0.002;

fn expect_heights(evening: &Evening) {
    let truth: serde_json::Value = serde_json::from_str(&fs::read_to_string(data().join("2-trees/truth.json")).unwrap()).unwrap();
    let found = evening.values("height_m");
    let truth = truth["heights"].as_object().unwrap();
    assert_eq!(found.len(), truth.len(), "{found:?}");
    for (name, of) in truth {
        // The parts of a name stand apart with a blank or a stroke, as the program joins them.
        let own = found.iter().find(|(own, _)| own.replace(['/', ' ', '_'], "-") == *name);
        let (_, height) = own.unwrap_or_else(|| panic!("no {name} in {found:?}"));
        let expected = of["expected"].as_f64().unwrap();
        assert!((height - expected).abs() < READINGS_M, "{name}: {height} for {expected}");
    }
}

/// Stems about the middle of a plot, by a hand compass set to true north: the CRS, the share of the accuracy's radius and the north.
#[test]
fn stems_about_the_middle_of_a_plot() {
    let evening = Evening::with(&["2-trees/centre.csv", "2-trees/stems.csv"]);
    let edits = [
        ("crs = \"??\"", "crs = \"EPSG:3006\""),
        ("radius_share = \"??\"", "radius_share = 0.68"),
        ("\"??_azimuth_deg\"", "true_azimuth_deg"),
    ];
    evening.job(&["centre.csv", "stems.csv"], &edits);
    evening.map();
    // A distance above what the instrument measures, and an azimuth in letters.
    let held: Vec<String> = evening.held().into_iter().map(|(_, _, reason)| reason).collect();
    assert_eq!(held, ["not_a_number", "not_a_number"]);
    let features = evening.layer("features");
    let truth = truth("2-trees/truth.json");
    for feature in &features {
        let at = &truth["stems"][feature["shot"].as_str()];
        let off =
            (number(feature, "easting") - at[0].as_f64().unwrap()).hypot(number(feature, "northing") - at[1].as_f64().unwrap());
        // The centre is 4 m wrong at most; what stands in its radius is the crew's.
        assert!(off < 2.0 * number(feature, "radius95_m"), "stem {} is {off} m off", feature["shot"]);
    }
    assert_eq!(features.len(), 45);
}

/// Poles in state plane from stops of a phone and a sheet of shots, as text and as a workbook with titles, real dates, a total and a
/// formula: the CRS of the layers, the kind of height, and the share of the accuracy's radius.
#[test]
fn poles_in_state_plane() {
    for files in [&["stops.csv", "shots_excel.csv"][..], &["feeder.xlsx"]] {
        let from: Vec<String> = files.iter().map(|file| format!("1-poles/{file}")).collect();
        let evening = Evening::with(&from.iter().map(String::as_str).collect::<Vec<_>>());
        let edits = [
            ("crs   = \"EPSG:32616\"", "crs = \"EPSG:6447\""),
            ("\"??_height_ft\"", "orthometric_height_ft"),
            ("radius_share = \"??\"", "radius_share = 0.68"),
        ];
        evening.job(files, &edits);
        let ran = evening.map();
        let held = evening.held();
        // The sight without a return, the total, and in the workbook the row of the formula.
        let reasons: Vec<&str> = held.iter().map(|(_, _, reason)| reason.as_str()).collect();
        assert_eq!(reasons.iter().filter(|reason| **reason == "no_row").count(), 1, "{held:?}\n{}", ran.out);
        assert_eq!(held.len(), files.len().abs_diff(1) + if files.len() == 1 { 3 } else { 1 }, "{held:?}\n{}", ran.out);
        expect_poles(&evening);
    }
}

fn expect_poles(evening: &Evening) {
    let truth = truth("1-poles/truth.json");
    let features = evening.layer("features");
    let mut worst: f64 = 0.0;
    for (name, at) in truth["poles"].as_object().unwrap().iter().filter(|(_, at)| at.is_array()) {
        let feature = features.iter().find(|feature| feature["feature"] == *name).unwrap_or_else(|| panic!("no pole {name}"));
        worst = worst.max(off_m(feature, at) / number(feature, "radius95_m"));
    }
    // 38 poles or so within their 95 % circles, a few beyond: none twice as far.
    assert!(worst < 2.0, "a pole lies {worst} times its 95 % radius off");
    let heights = evening.values("height_m");
    for (name, height) in truth["poles"].as_object().unwrap().iter().filter(|(name, _)| name.ends_with("_H")) {
        let own = heights[name.trim_end_matches("_H")] / 0.3048;
        // Angles to a tenth of a degree over 100 to 440 ft: 1.8 thousandths of the distance, each way.
        assert!((own - height.as_f64().unwrap()).abs() < 2.0, "{name}: {own}");
    }
}

/// Nests from waypoints, of which two are no bases and are left out by `init` itself: the catalogue and the code.
#[test]
fn nests_from_waypoints() {
    let evening = Evening::with(&["3-nests/Waypoints_23-JUN-26.gpx", "3-nests/notes.txt", "3-nests/catalogue.toml"]);
    let edits = [
        ("crs   = \"EPSG:32622\"", "catalogue = \"catalogue.toml\"\ncrs = \"EPSG:32622\""),
        ("[instrument]", "[shots.values]\ncode = \"nest\"\n[instrument]"),
    ];
    let checked = evening.job(&["Waypoints_23-JUN-26.gpx", "notes.txt"], &edits);
    assert!(checked.out.contains("Left out by except under [bases]: 2 points, TRUCK, LUNCH"), "{}", checked.out);
    // The public layer: places to 1 km, and no waypoint that no shot uses.
    evening.map();
    let public = layers_text(&evening.folder.path().join("out"));
    assert!(!public.contains("TRUCK") && !public.contains("LUNCH"));
    evening.run(&["map", "job.toml", "--exact-places", "--out", "exact"]).exits(0);
    let truth = truth("3-nests/truth.json");
    let folder = evening.folder.path().join("exact");
    let nests = table(&find(&folder, ".nests.csv"));
    assert_eq!(nests.len(), truth["nests"].as_object().unwrap().len());
    for nest in &nests {
        let off = off_m(nest, &truth["nests"][nest["feature"].as_str()]);
        assert!(off < 2.0 * number(nest, "radius95_m"), "{} is {off} m off", nest["feature"]);
    }
    // The shot that brought no echo.
    assert_eq!(table(&folder.join("held.csv")).len(), 1);
}

/// A face in two months: the CRS, the instrument's height, and its standard errors.
const FACE: [(&str, &str); 3] = [
    ("crs = \"??\"", "crs = \"EPSG:25832\""),
    ("instrument_height_m = \"??\"", "instrument_height_m = 1.60"),
    (
        "# sigma_distance_m = 0.3\n# sigma_azimuth_deg = 1\n# sigma_inclination_deg = 0.25",
        "sigma_distance_m = 0.05\nsigma_azimuth_deg = 0.3\nsigma_inclination_deg = 0.1",
    ),
];

/// A mapped month of the face.
fn month(file: &str) -> Evening {
    let evening = Evening::with(&["4-rock-face/standpunkte.csv", &format!("4-rock-face/{file}")]);
    evening.job(&["standpunkte.csv", file], &FACE);
    evening.map();
    assert_eq!(evening.held().len(), 0);
    evening
}

#[test]
fn a_rock_face_in_two_months() {
    for (file, name) in [("monat1.csv", "truth1.json"), ("monat2.csv", "truth2.json")] {
        let evening = month(file);
        let truth = truth(&format!("4-rock-face/{name}"));
        for plane in ["K1", "J2"] {
            evening.expect(plane, "dip_deg", &truth[plane]["dip"]);
            evening.expect(plane, "dip_direction_deg", &truth[plane]["dipdir"]);
        }
        for overhang in ["OH1", "OH2", "OH3"] {
            evening.expect(overhang, "height_m", &truth[overhang]);
        }
        evening.expect("Haufen", "volume_m3", &truth["V"]);
    }
}

/// Two of the bolts moved by more than their errors hide: 1.4 m and 0.16 m; the second stays below what such shots can tell.
#[test]
fn bolts_that_moved() {
    let (first, second) = (month("monat1.csv"), month("monat2.csv"));
    let of = |evening: &Evening| evening.folder.path().join("out/job.gpkg");
    let compared = first.run(&["compare", &of(&first).display().to_string(), &of(&second).display().to_string()]).exits(0);
    let moved: Vec<&str> = compared.out.lines().filter(|line| line.contains("Bolzen")).collect();
    assert!(moved.iter().any(|line| line.contains("Bolzen3")), "{}", compared.out);
    let truth = truth("4-rock-face/truth2.json");
    let places = [&first, &second].map(|evening| places(&evening.layer("features")));
    for (name, shift) in truth.as_object().unwrap().iter().filter(|(name, _)| name.starts_with("Bolzen")) {
        let of_axis = |axis: usize| places[1][name][axis] - places[0][name][axis] - shift[axis].as_f64().unwrap();
        // 0.3° over 60 m is 0.3 m, twice: 0.5 m standard error of a shift by one shot a month; grid north is 1.7° off true north.
        assert!((0..3).all(|axis| of_axis(axis).abs() < 1.5), "{name}: {places:?}");
    }
}

/// The piles alone, where no point has a name of its own, and `compare` has nothing but values.
#[test]
fn piles_alone() {
    let (first, second) = (month("vol1.csv"), month("vol2.csv"));
    first.expect("Haufen", "volume_m3", &truth("4-rock-face/truth1.json")["V"]);
    second.expect("Haufen", "volume_m3", &truth("4-rock-face/truth2.json")["V"]);
    let of = |evening: &Evening| evening.folder.path().join("out/job.gpkg");
    let compared = first.run(&["compare", &of(&first).display().to_string(), &of(&second).display().to_string()]).exits(0);
    assert!(compared.out.contains("volume"), "{}", compared.out);
}

/// A span over a road, two sign faces by angles onto a plane, a bar, a wall: the datum, the north, the instrument's height and
/// its standard errors. The compass is oriented by a backsight.
#[test]
fn a_span_and_signs() {
    let evening = Evening::with(&["5-span-and-signs/pkt.csv", "5-span-and-signs/shots.csv"]);
    let edits = [
        ("crs = \"??\"", "crs = \"EPSG:4979\""),
        ("\"??_azimuth_deg\"", "magnetic_azimuth_deg"),
        ("instrument_height_m = \"??\"", "instrument_height_m = 1.55"),
        FACE[2],
    ];
    evening.job(&["pkt.csv", "shots.csv"], &edits);
    evening.map();
    assert_eq!(evening.held().len(), 0);
    let truth = truth("5-span-and-signs/truth.json");
    for (name, quantity, expected) in [
        ("SP1", "span_m", &truth["span"]),
        ("SP1", "sag_m", &truth["sag"]),
        ("SG1", "width_m", &truth["SG1"][0]),
        ("SG1", "height_m", &truth["SG1"][1]),
        ("SG2", "width_m", &truth["SG2"][0]),
        ("SG2", "height_m", &truth["SG2"][1]),
        ("BAR", "height_m", &truth["BAR"]),
    ] {
        evening.expect(name, quantity, expected);
    }
    let pieces = [
        ("shot 13 (ground)", "crown"),
        ("shot 14 (ground)", "left lane"),
        ("shot 15 (ground)", "right lane"),
        ("shot 16 (object)", "truck"),
    ];
    for (piece, of) in pieces {
        let rows = evening.layer("measurements");
        let row = rows.iter().find(|row| row["quantity"] == "vertical_distance_m" && row["target"].ends_with(piece)).unwrap();
        within(row, truth[of].as_f64().unwrap());
    }
    let rows = evening.layer("measurements");
    let legs: Vec<&Record> = rows
        .iter()
        .filter(|row| row["name"] == "W1" && row["quantity"] == "slope_distance_m" && !row["target"].is_empty())
        .collect();
    for (row, of) in legs.into_iter().zip(truth["W1"].as_array().unwrap()) {
        within(row, of.as_f64().unwrap());
    }
}

fn truth(file: &str) -> serde_json::Value {
    serde_json::from_str(&fs::read_to_string(data().join(file)).unwrap()).unwrap()
}

/// How far a feature lies from a latitude and longitude, in metres; degrees of arc by the mean radius of the Earth.
pub(super) fn off_m(feature: &Record, at: &serde_json::Value) -> f64 {
    const DEGREE_M: f64 = 111_195.0;
    let lat = number(feature, "lat_deg");
    let north_m = (lat - at[0].as_f64().unwrap()) * DEGREE_M;
    let east_m = (number(feature, "lon_deg") - at[1].as_f64().unwrap()) * DEGREE_M * lat.to_radians().cos();
    north_m.hypot(east_m)
}

/// A value must hold the truth within half as much again as its 95 % interval: of some twenty values one may lie beyond.
fn within(row: &Record, truth: f64) {
    let value = number(row, "value");
    let half = (number(row, "high95") - number(row, "low95")) / 2.0;
    assert!((value - truth).abs() < 1.5 * half, "{}: {value} ± {half} for {truth}", row["quantity"]);
}

fn find(folder: &Path, ending: &str) -> PathBuf {
    let folders = [folder.to_owned(), folder.join("csv")];
    let mut found = folders.iter().filter_map(|folder| fs::read_dir(folder).ok()).flatten().map(|entry| entry.unwrap().path());
    found.find(|path| path.file_name().unwrap().to_string_lossy().ends_with(ending)).unwrap_or_else(|| panic!("no {ending}"))
}

/// All that stands in the layers.
fn layers_text(folder: &Path) -> String {
    let folders = [folder.to_owned(), folder.join("csv")];
    let paths = folders.iter().filter_map(|folder| fs::read_dir(folder).ok()).flatten().map(|entry| entry.unwrap().path());
    let is_layer = |path: &PathBuf| path.extension().is_some_and(|extension| extension == "csv" || extension == "gpkg");
    let layers: Vec<PathBuf> = paths.filter(is_layer).collect();
    assert!(layers.iter().any(|path| path.to_string_lossy().ends_with(".bases.csv")), "{layers:?}");
    layers.iter().map(|path| String::from_utf8_lossy(&fs::read(path).unwrap()).into_owned()).collect()
}

impl Evening {
    /// Writes the job that `init` makes of some logs, edited, and runs `check` on it once.
    pub(super) fn job(&self, logs: &[&str], edits: &[(&str, &str)]) -> Ran {
        assert!(edits.len() <= 5, "more edits than a crew has patience for");
        let job = self.run(&[&["init"], logs].concat()).exits(0).out;
        let job = edited(job, edits);
        self.write("job.toml", job.replacen("name  = \"job\"", "formats = [\"csv\", \"gpkg\"]\nname  = \"job\"", 1));
        self.run(&["check", "job.toml"]).exits(0)
    }

    /// A value of a whole measurement must hold the truth.
    fn expect(&self, name: &str, quantity: &str, truth: &serde_json::Value) {
        let rows = self.layer("measurements");
        let row = rows.iter().find(|row| row["name"] == name && row["quantity"] == quantity && row["target"].is_empty());
        within(row.unwrap_or_else(|| panic!("no {quantity} of {name}")), truth.as_f64().unwrap());
    }
}

/// Each edit must find its place.
fn edited(mut job: String, edits: &[(&str, &str)]) -> String {
    for (from, to) in edits {
        assert!(job.contains(from), "no {from} in\n{job}");
        job = job.replacen(from, to, 1);
    }
    assert!(
        !job.lines().any(|line| line.split("  #").next().is_some_and(|body| body.contains("??") && !body.starts_with('#'))),
        "{job}"
    );
    job
}
