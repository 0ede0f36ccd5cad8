//! `standoff plan`: its numbers against the law of propagation by hand and against a run of the main job, published rules of the
//! field, its chart as XML, and what is said to wrong input.

use crate::support;

use std::fs;
use std::path::Path;

use serde_json::Value;
use support::*;

/// Half of the last of the four decimals of uncertainties and shares in the layers, and the hundredth
/// part of it for the rest: a plan's refraction is that of 45° of latitude.
const FOUR_DECIMALS: f64 = 0.505e-4;

fn plan(folder: &Path, arguments: &[&str]) -> Value {
    let ran = standoff(folder, &[&["plan", "--json"], arguments].concat()).exits(0);
    assert_eq!(ran.err, "");
    serde_json::from_str(&ran.out).unwrap()
}

fn text(arguments: &[&str]) -> String {
    let ran = standoff(Path::new("."), &[&["plan"], arguments].concat()).exits(0);
    assert_eq!(ran.err, "");
    ran.out
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

/// Distances and inclinations that are shot in a whole run and planned.
const DISTANCES: [f64; 4] = [12.0, 40.0, 135.0, 500.0];
const INCLINATIONS: [f64; 4] = [0.0, 12.5, -30.0, 71.0];

/// A job with one base and a shot for each cell; every standard error of the plan is stated in it.
fn job_of_cells(north: &str, azimuth: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &str| fs::write(folder.path().join(name), text).unwrap();
    write("bases.csv", "base,lat_deg,lon_deg,ellipsoid_height_m\nQ1,47.25,11.5,640.0\n");
    let mut shots = format!("shot,base,time,slope_distance_m,{azimuth},inclination_deg,instrument_height_m\n");
    let mut shot = 0;
    for distance in DISTANCES {
        for inclination in INCLINATIONS {
            shot += 1;
            let turned = (f64::from(shot) * 47.3) % 360.0;
            shots += &format!("{shot},Q1,2026-05-04T08:{shot:02}:00Z,{distance},{turned:.1},{inclination},1.6\n");
        }
    }
    write("shots.csv", &shots);
    write(
        "job.toml",
        &format!(
            "title = \"Wall <east> & \\\"Mirador\\\"\"\nname = \"wall\"\ncrs = \"EPSG:32632\"\nformats = [\"csv\"]\n\
             [bases]\nfiles = [\"bases.csv\"]\ncrs = \"EPSG:4979\"\nsigma_horizontal_m = 0.35\nsigma_vertical_m = 0.6\n\
             [shots]\nfiles = [\"shots.csv\"]\n\
             [instrument]\nsigma_distance_m = 0.12\nsigma_distance_ppm = 400\nsigma_azimuth_deg = 0.7\nsigma_inclination_deg = 0.2\n\
             [heights]\ngeoid = \"none\"\ntarget_height_m = 0\n{north}"
        ),
    );
    folder
}

/// Asserts that the plan's table has the numbers that the run wrote for its shots.
#[track_caller]
fn assert_same_numbers(folder: &Path, plan: &Value) {
    standoff(folder, &["map", "job.toml", "--out", "out", "--quiet"]).exits(0);
    let features = table(&folder.join("out/csv/wall.features.csv"));
    let cells = plan["table"].as_array().unwrap();
    assert_eq!((features.len(), cells.len()), (16, 16));
    for (feature, cell) in features.iter().zip(cells) {
        for (name, planned) in [("radius95_m", &cell["radius95_m"]), ("height95_m", &cell["height95_m"])] {
            let mapped: f64 = feature[name].parse().unwrap();
            assert!((mapped - number(planned)).abs() < FOUR_DECIMALS, "{name} of {feature:?} is planned as {planned}");
        }
        for (name, planned) in [("base_share", "base"), ("direction_share", "direction"), ("distance_share", "distance")] {
            let mapped: f64 = feature[name].parse().unwrap();
            let planned = number(&cell["horizontal_shares"][planned]);
            assert!((mapped - planned).abs() < FOUR_DECIMALS, "{name} of {feature:?} is planned as {planned}");
        }
    }
}

const CELLS: [&str; 4] = ["--distances", "12,40,135,500", "--inclinations", "0,12.5,-30,71"];

#[test]
fn the_table_has_the_numbers_of_a_run_of_the_job() {
    let north = "[north]\ndeclination = 4.1\nsigma_declination_deg = 0.4\nsigma_orientation_deg = 0.3\n";
    let folder = job_of_cells(north, "magnetic_azimuth_deg");
    let plan = plan(folder.path(), &[&["--job", "job.toml"], CELLS.as_slice()].concat());
    assert_eq!(plan["errors"]["sigma_declination_deg"]["origin"], "job");
    assert_same_numbers(folder.path(), &plan);
}

/// Radius of the circle that holds 95 % of a bivariate normal distribution with standard errors a and b along its axes: the root of
/// P(r) = 1 − (1/2π) ∫ exp(−r² q(θ)/2) / (a b q(θ)) dθ with q = cos²θ/a² + sin²θ/b² (the density integrated over the radius), by bisection.
fn radius95(a: f64, b: f64) -> f64 {
    const STEPS: usize = 20_000;
    let inside = |r: f64| {
        let sum: f64 = (0..STEPS)
            .map(|i| {
                let (sin, cos) = (std::f64::consts::TAU * (i as f64 + 0.5) / STEPS as f64).sin_cos();
                let q = (cos / a).powi(2) + (sin / b).powi(2);
                (-0.5 * r * r * q).exp() / (a * b * q)
            })
            .sum();
        1.0 - sum / STEPS as f64
    };
    let (mut low, mut high) = (0.0, 10.0 * a.max(b));
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        *(if inside(middle) < 0.95 { &mut low } else { &mut high }) = middle;
    }
    low
}

/// The numbers by hand, from the law of propagation in the vertical plane of the sight and across it; nothing of the library. With
/// D the slope distance and I the inclination: along σ² = (cos I σ_D)² + (D sin I σ_I)², across σ = D cos I σ_A, up
/// σ² = (sin I σ_D)² + (D cos I σ_I)², each with the base's.
#[test]
fn the_table_is_that_of_the_law_of_propagation() {
    let north = "[north]\ndeclination = 4.1\nsigma_declination_deg = 0.4\nsigma_orientation_deg = 0.3\n";
    let folder = job_of_cells(north, "magnetic_azimuth_deg");
    let plan = plan(folder.path(), &[&["--job", "job.toml"], CELLS.as_slice()].concat());
    let cells = plan["table"].as_array().unwrap();
    assert_eq!(cells.len(), 16);
    for cell in cells {
        let (slope, inclination) = (number(&cell["slope_distance_m"]), number(&cell["inclination_deg"]).to_radians());
        let (sin, cos) = inclination.sin_cos();
        let distance = 0.12f64.hypot(400e-6 * slope);
        let azimuth = (0.7f64.powi(2) + 0.4f64.powi(2) + 0.3f64.powi(2)).sqrt().to_radians();
        let tilt = 0.2f64.to_radians();
        let (along, across) = ((cos * distance).hypot(slope * sin * tilt), slope * cos * azimuth);
        let up = (sin * distance).hypot(slope * cos * tilt).hypot(0.6);
        let radius = radius95(along.hypot(0.35), across.hypot(0.35));
        // The cubic that the program uses is good to 0.3 % (Leenhouts 1985, tested beside it).
        let off = number(&cell["radius95_m"]) / radius - 1.0;
        assert!(off.abs() < 0.003, "{cell}: {radius}");
        // Φ⁻¹(0.975); refraction and the lean of verticals are far below a ten-thousandth.
        assert!((number(&cell["height95_m"]) / (1.959_964 * up) - 1.0).abs() < 1e-4, "{cell}: {up}");
        // Shares of the horizontal variance, both axes together.
        let whole = along.powi(2) + across.powi(2) + 2.0 * 0.35f64.powi(2);
        for (part, want) in [
            ("base", 2.0 * 0.35f64.powi(2)),
            ("direction", across.powi(2) + (slope * sin * tilt).powi(2)),
            ("distance", (cos * distance).powi(2)),
        ] {
            assert!((number(&cell["horizontal_shares"][part]) - want / whole).abs() < 1e-4, "{part} of {cell}: {}", want / whole);
        }
    }
}

#[test]
fn options_say_the_same_as_a_job() {
    let folder = job_of_cells("[north]\ndeclination = 4.1\n", "magnetic_azimuth_deg");
    let options = "--sigma-distance 0.12 --sigma-distance-ppm 400 --sigma-azimuth 0.7 --sigma-inclination 0.2 --sigma-base 0.35 \
                   --sigma-base-height 0.6";
    let options: Vec<&str> = options.split_whitespace().chain(CELLS).collect();
    assert_same_numbers(folder.path(), &plan(folder.path(), &options));
    // An option goes before the job.
    let both = plan(folder.path(), &["--job", "job.toml", "--sigma-azimuth", "2"]);
    assert_eq!(both["errors"]["sigma_azimuth_deg"], serde_json::json!({ "value": 2.0, "origin": "given" }));
    assert_eq!(both["errors"]["sigma_distance_m"], serde_json::json!({ "value": 0.12, "origin": "job" }));
}

#[test]
fn a_declination_does_not_count_where_azimuths_are_true() {
    let folder = job_of_cells("[north]\nsigma_orientation_deg = 0.3\n", "true_azimuth_deg");
    let plan = plan(folder.path(), &[&["--job", "job.toml"], CELLS.as_slice()].concat());
    assert_eq!(plan["errors"]["sigma_declination_deg"], serde_json::json!({ "value": 0.0, "origin": "job" }));
    assert!(plan["notes"][0].as_str().unwrap().contains("true or grid north; it does not count"), "{}", plan["notes"]);
    assert_same_numbers(folder.path(), &plan);
}

#[test]
fn what_nobody_states_is_what_a_run_assumes() {
    let folder = job_of_cells("[north]\ndeclination = 4.1\n", "magnetic_azimuth_deg");
    let job = read(&folder.path().join("job.toml"));
    let bare: String = job.lines().filter(|line| !line.starts_with("sigma_")).map(|line| format!("{line}\n")).collect();
    assert!(bare.len() < job.len());
    fs::write(folder.path().join("job.toml"), bare).unwrap();
    let assumed = plan(folder.path(), &CELLS);
    for sigma in assumed["errors"].as_object().unwrap().iter().filter(|(name, _)| name.starts_with("sigma_")) {
        assert_eq!(sigma.1["origin"], "assumed", "{}", sigma.0);
    }
    assert_same_numbers(folder.path(), &assumed);
}

#[test]
fn half_a_degree_of_azimuth_moves_a_point_at_100_m_by_0_87_m() {
    let options = "--sigma-distance 0 --sigma-azimuth 0.5 --sigma-inclination 0 --sigma-declination 0 --sigma-base 0 \
                   --sigma-base-height 0 --distances 100 --inclinations 0";
    let cell = plan(Path::new("."), &options.split_whitespace().collect::<Vec<_>>())["table"][0].clone();
    // 0.87 m by the field rule L tan e; 95 % of an error along one line lies within 1.96 of it.
    assert!((number(&cell["radius95_m"]) / 1.96 - 0.87).abs() < 0.005, "{cell}");
    assert_eq!(number(&cell["height95_m"]), 0.0);
}

#[test]
fn the_farthest_standoff_is_just_within_its_tolerance() {
    let errors = ["--sigma-base", "0.4", "--sigma-base-height", "0.8"];
    let farthest =
        plan(Path::new("."), &[errors.as_slice(), &["--tolerance", "3", "--height-tolerance", "2"]].concat())["farthest"]
            .as_array()
            .unwrap()
            .clone();
    assert_eq!(farthest.len(), 8);
    for standoff in farthest {
        assert_eq!(standoff["outcome"], "found", "{standoff}");
        let slope_m = number(&standoff["farthest_m"]);
        let value = |slope_m: f64| {
            let (distance, inclination) = (slope_m.to_string(), standoff["inclination_deg"].to_string());
            let cell =
                plan(Path::new("."), &[errors.as_slice(), &["--distances", &distance, "--inclinations", &inclination]].concat());
            number(&cell["table"][0][if standoff["axis"] == "horizontal" { "radius95_m" } else { "height95_m" }])
        };
        let tolerance = number(&standoff["tolerance_m"]);
        assert!(value(slope_m) <= tolerance + 1e-9 && value(slope_m + 0.01) > tolerance, "{standoff}");
    }
}

#[test]
fn a_distance_that_is_asked_for_twice_is_one_row() {
    let twice = plan(Path::new("."), &["--distances", "50,10,50", "--inclinations", "0,0"]);
    let rows: Vec<f64> = twice["table"].as_array().unwrap().iter().map(|cell| number(&cell["slope_distance_m"])).collect();
    assert_eq!(rows, [50.0, 10.0]);
}

#[test]
fn a_tolerance_that_is_never_or_always_met_is_said_so() {
    let never = text(&["--tolerance", "3"]);
    assert!(never.contains("       0 deg  not even at the base: the receiver alone has 6.1"), "{never}");
    let always = text(&["--height-tolerance", "500"]);
    assert!(always.contains("       0 deg  met at every distance up to 10 km"), "{always}");
    let short = text(&["--tolerance", "0.5", "--sigma-base", "0.01"]);
    assert!(short.contains("       0 deg  at no distance: the receiver and the distance reading alone have 0.59 m"), "{short}");
}

#[test]
fn a_height_is_measured_best_at_the_distance_of_the_closed_form() {
    // Angles alone, foot as far below the horizon as the top above: half the height away, both at 45°.
    let options = ["--sigma-distance", "0", "--object-height", "24", "--below", "12"];
    let height = &plan(Path::new("."), &options)["height_measurement"];
    assert!((number(&height["standoff_m"]) - 12.0).abs() < 1e-4, "{height}");
    assert!((number(&height["top_inclination_deg"]) - 45.0).abs() < 1e-3, "{height}");
    // There each angle counts 2 D σ: √2 · 2 · 12 m · 0.25°, times 1.96.
    assert!((number(&height["error95_m"]) - 0.290_3).abs() < 1e-4, "{height}");
    for other in ["half_error95_m", "double_error95_m"] {
        assert!(number(&height[other]) > number(&height["error95_m"]), "{height}");
    }
    let sheet = text(&options);
    assert!(
        sheet.contains("  least error    0.29 m (95 %) from 12 m horizontal distance; top at 45 deg, foot at -45 deg\n"),
        "{sheet}"
    );
    let missed = text(&[options.as_slice(), &["--height-tolerance", "0.2"]].concat());
    assert!(missed.contains("0.2 m is met from nowhere"), "{missed}");
    let above = text(&["--object-height", "3", "--below", "-2", "--sigma-index", "0.5"]);
    assert!(above.contains("its foot 2 m above the instrument"), "{above}");
}

#[test]
fn the_sheet_says_what_was_assumed_and_what_dominates() {
    let sheet = text(&["--sigma-base", "0.4", "--sigma-declination", "0"]);
    assert!(sheet.contains("  azimuth                  1 deg  assumed\n"), "{sheet}");
    assert!(sheet.contains("  base, each axis        0.4 m    given\n"), "{sheet}");
    let flat = sheet.split_whitespace().collect::<Vec<_>>().join(" ");
    // √2 · 0.4 m / 1° = 32.4 m.
    assert!(flat.contains("horizontal up to about 32 m the base's position dominates: a better receiver"), "{sheet}");
    assert!(
        flat.contains("from about 32 m on the direction dominates, most of it the azimuth reading: a better compass"),
        "{sheet}"
    );
    assert!(flat.contains("no gain in accuracy justifies an edge, a road or an energised line"), "{sheet}");
    assert!(sheet.lines().all(|line| line.chars().count() <= 100), "{sheet}");
}

#[test]
fn the_chart_is_xml_of_its_own_and_the_same_each_time() {
    let folder = job_of_cells("", "magnetic_azimuth_deg");
    let draw = |name: &str| {
        standoff(folder.path(), &["plan", "--job", "job.toml", "--tolerance", "4", "--svg", name]).exits(0);
        read(&folder.path().join(name))
    };
    let chart = draw("one.svg");
    assert_eq!(chart, draw("two.svg"));
    assert!(chart.contains("<title>Expected uncertainty: Wall &lt;east&gt; &amp; &quot;Mirador&quot;</title>"), "{chart}");
    assert_eq!(chart.matches("<polyline").count(), 8);
    for words in ["slope distance, m", "95 % uncertainty, m", "horizontal, level", "vertical, 30°", "horizontal tolerance 4 m"] {
        assert!(chart.contains(&format!(">{words}</text>")), "no {words:?} in {chart}");
    }
    assert!(!chart.contains("NaN") && !chart.contains("inf"));
    well_formed(&chart);
}

/// Follows the tags of a document that has no comments and no CDATA.
#[track_caller]
fn well_formed(xml: &str) {
    let mut open: Vec<&str> = Vec::new();
    let mut rest = xml;
    while let Some(at) = rest.find('<') {
        let (before, tag) = rest.split_at(at);
        assert!(!before.contains('>'), "{before}");
        for reference in before.split('&').skip(1) {
            assert!(["amp;", "lt;", "gt;", "quot;", "apos;"].iter().any(|known| reference.starts_with(known)), "{reference}");
        }
        let end = tag.find('>').unwrap();
        let inside = &tag[1..end];
        assert_eq!(inside.matches('"').count() % 2, 0, "{inside}");
        let name = inside.trim_start_matches('/').split([' ', '/']).next().unwrap();
        if inside.starts_with('/') {
            assert_eq!(open.pop(), Some(name), "{inside}");
        } else if !inside.ends_with('/') {
            assert!(!open.is_empty() || name == "svg", "{name} stands outside");
            open.push(name);
        }
        rest = &tag[end + 1..];
    }
    assert!(open.is_empty(), "{open:?}");
    assert_eq!(rest, "\n");
}

#[test]
fn nothing_in_doubt_is_planned_without_a_fault() {
    let options = "--sigma-distance 0 --sigma-azimuth 0 --sigma-inclination 0 --sigma-declination 0 --sigma-base 0 \
                   --sigma-base-height 0 --inclinations=-90,0,90 --tolerance 1 --object-height 10 --svg chart.svg";
    let folder = tempfile::tempdir().unwrap();
    let plan = plan(folder.path(), &options.split_whitespace().collect::<Vec<_>>());
    assert!(plan["table"].as_array().unwrap().iter().all(|cell| cell["radius95_m"] == 0.0 && cell["height95_m"] == 0.0));
    assert_eq!(plan["dominance"], serde_json::json!([]));
    assert_eq!(plan["farthest"][0]["outcome"], "beyond_reach");
    let chart = read(&folder.path().join("chart.svg"));
    assert!(!chart.contains("NaN") && !chart.contains("inf"), "{chart}");
    well_formed(&chart);
}

#[test]
fn the_instrument_of_a_job_is_chosen_by_name() {
    let folder = job_of_cells("", "magnetic_azimuth_deg");
    let job = read(&folder.path().join("job.toml"));
    let two = job.replace(
        "[instrument]\n",
        "[instruments.red]\nsigma_azimuth_deg = 0.3\ngreatest_distance_m = 50.0\n[instruments.blue]\n",
    );
    fs::write(folder.path().join("two.toml"), two).unwrap();
    standoff(folder.path(), &["plan", "--job", "two.toml"])
        .fails("the job has several instruments: blue, red; choose one (--instrument)");
    standoff(folder.path(), &["plan", "--job", "two.toml", "--instrument", "green"])
        .fails("the job has no instrument \"green\"; it has: blue, red");
    standoff(folder.path(), &["plan", "--job", "job.toml", "--instrument", "red"])
        .fails("the job has no instrument \"red\"; its instruments have no names: leave it out (--instrument)");
    let red = plan(folder.path(), &["--job", "two.toml", "--instrument", "red"]);
    assert_eq!(red["errors"]["sigma_azimuth_deg"]["value"], 0.3);
    assert_eq!(red["errors"]["sigma_distance_m"]["origin"], "assumed");
    let sheet = standoff(folder.path(), &["plan", "--job", "two.toml", "--instrument", "red", "--tolerance", "4"]).exits(0).out;
    assert!(sheet.contains(" m, but the instrument measures to 50 m\n"), "{sheet}");
}

#[test]
fn a_base_log_with_standard_errors_of_its_own_is_noted() {
    let folder = job_of_cells("", "magnetic_azimuth_deg");
    let bases = "base,lat_deg,lon_deg,ellipsoid_height_m,sigma_horizontal_m\nQ1,47.25,11.5,640.0,0.2\n";
    fs::write(folder.path().join("bases.csv"), bases).unwrap();
    let note = "the base log carries sigma_horizontal_m of its own, row by row; the plan takes 0.35 m: give --sigma-base to plan \
                with another.";
    let notes = plan(folder.path(), &["--job", "job.toml"])["notes"].clone();
    assert!(notes.as_array().unwrap().iter().any(|line| line == note), "{notes}");
    let notes = plan(folder.path(), &["--job", "job.toml", "--sigma-base", "0.2"])["notes"].clone();
    assert!(!notes.as_array().unwrap().iter().any(|line| line.as_str().unwrap().contains("--sigma-base")), "{notes}");
}

#[test]
fn wrong_values_are_wrong_usage_that_says_why() {
    for (option, value, placeholder, why) in [
        ("--sigma-azimuth", "-1", "DEGREES", "must lie between 0 and 180 degrees"),
        ("--sigma-distance", "0,3", "METRES", "not a number"),
        ("--sigma-base", "NaN", "METRES", "not a number"),
        ("--sigma-distance-ppm", "2e6", "PPM", "must lie between 0 and 1000000 parts per million"),
        ("--distances", "0", "METRES", "must be a millimetre or more"),
        ("--distances", "20000", "METRES", "must lie between 0 and 10000 metres"),
        ("--inclinations", "91", "DEGREES", "must lie between -90 and 90 degrees"),
        ("--tolerance", "0", "METRES", "must be a millimetre or more"),
        ("--object-height", "-3", "METRES", "must lie between 0 and 10000 metres"),
    ] {
        let ran = standoff(Path::new("."), &["plan", &format!("{option}={value}")]).exits(2);
        assert_eq!(
            ran.err,
            format!(
                "error: invalid value '{value}' for '{option} <{placeholder}>': {why}\n\nFor more information, try '--help'.\n"
            )
        );
        assert_eq!(ran.out, "");
    }
    let ran = standoff(Path::new("."), &["plan", "--instrument", "red"]).exits(2);
    assert!(ran.err.contains("--job <JOB.toml>"), "{}", ran.err);
}

#[test]
fn files_that_cannot_be_read_or_written_fail_with_their_name() {
    let folder = tempfile::tempdir().unwrap();
    let ran = standoff(folder.path(), &["plan", "--svg", "no-such-folder/plan.svg"]).exits(1);
    assert!(ran.err.starts_with("error: no-such-folder/plan.svg: cannot be written: "), "{}", ran.err);
    assert_eq!(ran.out, "");
    let ran = standoff(folder.path(), &["plan", "--job", "absent.toml"]).exits(1);
    assert!(ran.err.starts_with("error: absent.toml: cannot be read: "), "{}", ran.err);
}
