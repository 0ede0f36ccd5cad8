//! A string and a mast shot from two bases that one known point orients: standard errors against `tests/reference/oriented_bases.py`, a computation from
//! the formulas of the sights alone. The bases' positions turn what they move, the backsights' readings turn all of a base, and the calibration is one.

use std::fmt::Write;

use crate::support::small::Small;
use crate::support::{standoff, table};

/// Stated over computed.
const WITHIN: f64 = 0.02;

/// Bases, known point, and what is shot from which base: metres east, north, up.
const BASES: [(&str, [f64; 3]); 2] = [("P", [0.0, 0.0, 0.0]), ("Q", [150.0, 40.0, 6.0])];
const KNOWN: [f64; 3] = [60.0, -200.0, 0.0];
const SHOTS: [(usize, &str, [f64; 3]); 8] = [
    (0, "K,,backsight,", KNOWN),
    (1, "K,,backsight,", KNOWN),
    (0, ",,,yard", [30.0, 80.0, 0.0]),
    (0, ",,,yard", [90.0, 120.0, 0.0]),
    (1, ",,,yard", [140.0, 110.0, 6.0]),
    (1, ",,close,yard", [120.0, 60.0, 6.0]),
    (0, "mast,height,foot,", [80.0, 60.0, -2.0]),
    (1, "mast,height,top,", [80.0, 60.0, 21.0]),
];

/// Metres east, north, up in degrees and metres at 58.6° N, where a radian is 6 382 246 m along the meridian and 6 393 743 m · cos φ across it.
fn line(name: &str, [e, n, u]: [f64; 3]) -> String {
    let lat_deg = 58.6 + (n / 6_382_246.0).to_degrees();
    let lon_deg = -2.9 + (e / 6_393_743.0 / 58.6f64.to_radians().cos()).to_degrees();
    format!("{name},{lat_deg:.10},{lon_deg:.10},{u}\n")
}

#[test]
fn areas_and_heights_of_two_bases_and_one_known_point() {
    let mut shots = "base,feature,measure,role,string,true_azimuth_deg,inclination_deg,slope_distance_m\n".to_owned();
    for (base, words, point) in SHOTS {
        let (name, from) = BASES[base];
        let [e, n, u] = std::array::from_fn(|k| point[k] - from[k]);
        let (run, azimuth_deg) = (f64::hypot(e, n), f64::atan2(e, n).to_degrees().rem_euclid(360.0));
        writeln!(shots, "{name},{words},{azimuth_deg:.7},{:.7},{:.5}", f64::atan2(u, run).to_degrees(), run.hypot(u)).unwrap();
    }
    let job = Small::new(&shots, "", "");
    let head = "base,lat_deg,lon_deg,ellipsoid_height_m\n";
    job.write("bases.csv", &BASES.iter().fold(head.to_owned(), |text, (name, at)| text + &line(name, *at)));
    job.write("known.csv", &(head.to_owned() + &line("K", KNOWN)));
    // Set-up and correction of azimuths are large, and fall out.
    job.write(
        "job.toml",
        "name = \"yard\"\ncrs = \"EPSG:32630\"\nformats = [\"csv\"]\n[bases]\nfiles = [\"bases.csv\"]\ncrs = \"EPSG:4979\"\nsigma_horizontal_m = 0.6\n\
         sigma_vertical_m = 0.5\n[known]\nfiles = [\"known.csv\"]\ncrs = \"EPSG:4979\"\nsigma_horizontal_m = 0.3\nsigma_vertical_m = 0.3\n\
         [shots]\nfiles = [\"shots.csv\"]\n[heights]\ninstrument_height_m = 0\ntarget_height_m = 0\n[north]\nsigma_orientation_deg = 2\n\
         [instrument]\nrefraction = 0\nsigma_azimuth_deg = 0.4\nsigma_inclination_deg = 0.15\nsigma_distance_m = 0.15\n\
         [[instrument.calibrations]]\nsigma_azimuth_correction_deg = 1.5\nsigma_inclination_correction_deg = 0.25\n\
         sigma_distance_correction_m = 0.4\n",
    );
    standoff(job.folder.path(), &["map", "job.toml", "--out", "out", "--quiet"]).exits(0);
    let read = |layer: &str| table(&job.folder.path().join(format!("out/csv/yard.{layer}.csv")));
    let areas = read("areas");
    let number = |row: &std::collections::BTreeMap<String, String>, field: &str| row[field].parse::<f64>().unwrap();
    let measured = read("measurements");
    let mast = measured.iter().find(|row| row["quantity"] == "height_m").unwrap();
    for (what, got, want) in [
        ("area", number(&areas[0], "area_ellipsoid_m2"), 3750.0),
        ("height", number(mast, "value"), 23.0),
        ("σ of the area", number(&areas[0], "sigma_area_m2"), 105.3497),
        ("σ of the perimeter", number(&areas[0], "sigma_length_m"), 3.1338),
        ("σ of the height", number(mast, "sigma"), 0.7923),
    ] {
        assert!((got / want - 1.0).abs() < WITHIN, "{what}: {got} {want}");
    }
}
