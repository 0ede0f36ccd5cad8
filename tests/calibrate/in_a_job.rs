//! The printed lines in a job: shots come to the right place, at the right dates and with the shared error.

use std::fs;

use standoff::inside::geodesy::frame::{Ellipsoid, Geodetic, LocalFrame};

use super::common::Field;
use super::support::standoff;

/// The lines print 0.0001° and 0.0001 m, the log 0.00001°: at 100 m well below a millimetre.
const PRINTED_M: f64 = 0.001;
/// Planted: what the instrument reads too low.
const AZIMUTH_DEG: f64 = 1.7;
const INCLINATION_DEG: f64 = -0.35;
const DISTANCE_M: f64 = 0.12;

fn at(lat_deg: f64, lon_deg: f64, ellipsoid_height_m: f64) -> Geodetic {
    Geodetic { lat_rad: lat_deg.to_radians(), lon_rad: lon_deg.to_radians(), ellipsoid_height_m }
}

/// True azimuth and inclination in degrees, slope distance in metres from the axis 1.5 m over base A, as read.
fn reading(to: &Geodetic) -> String {
    let axis = at(46.1, 8.9, 513.8);
    let frame = LocalFrame::at(&axis, &Ellipsoid::WGS84);
    let [east, north, up] = frame.from_earth_centred(to.to_earth_centred(&Ellipsoid::WGS84));
    let horizontal = east.hypot(north);
    format!(
        "{:.6},{:.6},{:.4}",
        east.atan2(north).to_degrees().rem_euclid(360.0) - AZIMUTH_DEG,
        up.atan2(horizontal).to_degrees() - INCLINATION_DEG,
        horizontal.hypot(up) - DISTANCE_M
    )
}

/// Metres that a feature lies from a point.
fn metres_off(feature: &std::collections::BTreeMap<String, String>, point: &Geodetic) -> f64 {
    let number = |field: &str| feature[field].parse::<f64>().unwrap();
    let found = at(number("lat_deg"), number("lon_deg"), number("ellipsoid_height_m"));
    let (a, b) = (found.to_earth_centred(&Ellipsoid::WGS84), point.to_earth_centred(&Ellipsoid::WGS84));
    a.iter().zip(b).map(|(a, b)| (a - b).powi(2)).sum::<f64>().sqrt()
}

const LINE_END: &str = "46.1007,8.9006,530.0";

/// A field whose calibration log is claimed by the job's own columns, and the lines that come of it.
fn calibrated(feature: &Geodetic) -> (Field, String) {
    let shot = |day: &str, id: u32| format!("A,{id},{day},{},x\n", reading(feature));
    let shots = format!(
        "base,shot,date,bearing,tilt,slope distance,note\n{}{}{}",
        shot("2026-03-31", 1),
        shot("2026-04-01", 2),
        shot("", 3)
    );
    let columns =
        "[shots.columns]\ntrue_azimuth_deg = \"bearing\"\ninclination_deg = \"tilt\"\nslope_distance_m = \"slope distance\"\n";
    let field = Field::new(shots).with("SHOTS", columns).with("INSTRUMENT", "refraction = 0.0");
    let line = reading(&at(46.1007, 8.9006, 530.0));
    let mut log = "measure,base,date,bearing,tilt,slope distance,instrument_height_m,target_height_m\n".to_owned();
    for _ in 0..3 {
        log += &format!("known_line,A,2026-04-01,{line},1.5,0\n");
    }
    fs::write(field.path("cal.csv"), log).unwrap();
    fs::write(field.path("job.toml"), &field.job).unwrap();
    let arguments =
        ["calibrate", "cal.csv", "--job", "job.toml", "--from", "46.1,8.9,512.3", "--to", LINE_END, "--sigma-points", "0.6"];
    let ran = standoff(field.folder.path(), &arguments).exits(0);
    let lines = ran.out.split_once("before with to = the day before:\n\n").unwrap().1.to_owned();
    (field, lines)
}

#[test]
fn a_shot_comes_to_the_right_place_from_the_day_of_the_calibration_on() {
    let feature = at(46.0995, 8.9011, 540.0);
    let (field, lines) = calibrated(&feature);
    assert!(lines.starts_with("[[instrument.calibrations]]\nfrom = \"2026-04-01\"\n"), "{lines}");
    let run = field.with("INSTRUMENT", &lines).map();
    let by_shot = |id: &str| run.features.iter().find(|feature| feature["shot"] == id).unwrap();
    let right = metres_off(by_shot("2"), &feature);
    assert!(right < PRINTED_M, "{right}");
    // The day before: 100 m · 1.7° and more.
    let wrong = metres_off(by_shot("1"), &feature);
    assert!(wrong > 2.5, "{wrong}");
    // Without a date it cannot be told which.
    let sentence = "the instrument has corrections by date (calibrations), and the row has no date to choose them by; map a date \
                    or time column, or write date under [shots.values]";
    assert_eq!(run.held, [["shots.csv", "4", "no_date", "date", "", sentence].map(str::to_owned)]);
}

#[test]
fn the_error_of_the_correction_widens_that_of_the_feature() {
    let feature = at(46.0995, 8.9011, 540.0);
    let (field, lines) = calibrated(&feature);
    let of = |key: &str| -> f64 {
        lines.lines().find_map(|line| line.strip_prefix(&format!("sigma_{key} = "))).unwrap().parse().unwrap()
    };
    let sigma = of("azimuth_correction_deg");
    let run = field.with("INSTRUMENT", &lines).map();
    let number = |id: &str, field: &str| -> f64 {
        run.features.iter().find(|feature| feature["shot"] == id).unwrap()[field].parse().unwrap()
    };
    let variance = |id: &str| number(id, "sigma_east_m").powi(2) + number(id, "sigma_north_m").powi(2);
    // (d σ_A)² + (σ_S cos I)² + (u σ_I)² more than on the day before, beside what the corrected readings themselves change.
    let distance = number("2", "horizontal_distance_m");
    let up = number("2", "ellipsoid_height_m") - 512.3;
    let want = (distance * sigma.to_radians()).powi(2)
        + (of("distance_correction_m") * distance / distance.hypot(up)).powi(2)
        + (up * of("inclination_correction_deg").to_radians()).powi(2);
    let got = variance("2") - variance("1");
    assert!(sigma > 0.3 && (got / want - 1.0).abs() < 0.05, "{got} against {want}");
}

#[test]
fn the_instrument_of_a_job_with_several() {
    let (field, _) = calibrated(&at(46.0995, 8.9011, 540.0));
    let of = |job: &str, arguments: &[&str]| {
        fs::write(field.path("job.toml"), job).unwrap();
        let plain = ["calibrate", "cal.csv", "--job", "job.toml", "--from", "46.1,8.9,512.3", "--to", LINE_END];
        standoff(field.folder.path(), &[plain.as_slice(), arguments].concat())
    };
    let one = field.job.replace("[instrument]", "[instruments.\"no 7\"]");
    assert!(of(&one, &[]).exits(0).out.contains("\n[[instruments.\"no 7\".calibrations]]\n"));
    let two = format!("{one}\n[instruments.new]\n");
    of(&two, &[]).fails("the job has several instruments (new, no 7); choose one (--instrument)");
    of(&two, &["--instrument", "odd"]).fails("the job has no [instruments.odd]; it has: new, no 7");
    assert!(of(&two, &["--instrument", "new"]).exits(0).out.contains("\n[[instruments.new.calibrations]]\n"));
}

#[test]
fn a_job_with_calibrations_that_overlap_is_refused() {
    let (field, lines) = calibrated(&at(46.0995, 8.9011, 540.0));
    let message = field.with("INSTRUMENT", &format!("{lines}{lines}")).refusal();
    assert!(
        message.ends_with(
            "[[instrument.calibrations]]: the calibrations \"from 2026-04-01 on\" and \"from 2026-04-01 on\" overlap; end the \
             first the day before the next begins"
        ),
        "{message}"
    );
}

/// The job of shots of heights, as a starter job has it, reads a calibration log that has some of its columns, and no column of measures: 12.3 −
/// (12.0 + 12.2) / 2.
#[test]
fn a_job_of_other_measurements_reads_a_log_of_one_kind_with_some_of_its_columns() {
    let columns = "[shots.columns]\nbase = \"Stn\"\nfeature = [\"Plot\", \"Tree\"]\nmagnetic_azimuth_deg = \"Bearing\"\ninclination_deg = \"Tilt\"\n\
                   slope_distance_m = \"Slope distance\"\ndate = \"Day\"\ntime = \"Clock\"\ninstrument_height_m = \"Instrument height\"\n";
    let values = "[shots.values]\nmeasure = \"height\"\nrole = \"top\"\n";
    let readings =
        "[[shots.readings]]\ncolumns = { horizontal_distance_m = \"Level distance\" }\nvalues = { role = \"distance\" }\n";
    for more in ["", values, &format!("{values}{readings}")] {
        let field = Field::new("").with("SHOTS", &format!("{columns}{more}"));
        fs::write(field.path("job.toml"), &field.job).unwrap();
        fs::write(field.path("cal.csv"), "Nr;Slope distance\n1;12,0\n2;12,2\n").unwrap();
        let ran = standoff(field.folder.path(), &["calibrate", "cal.csv", "--job", "job.toml", "--distance", "12.3", "--json"]);
        let found: serde_json::Value = serde_json::from_str(&ran.exits(0).out).unwrap();
        assert!((super::correction(&found, "distance").0 - 0.2).abs() < super::PRINTED, "{more}: {found}");
    }
    // Where the job's own values are of a calibration, they stand.
    let field = Field::new("").with("SHOTS", "[shots.values]\nmeasure = \"two_way\"\n");
    fs::write(field.path("job.toml"), &field.job).unwrap();
    fs::write(field.path("cal.csv"), "role,inclination_deg,slope_distance_m\nforth,1.3,40\nback,-0.7,40\n").unwrap();
    let ran = standoff(field.folder.path(), &["calibrate", "cal.csv", "--job", "job.toml", "--json"]).exits(0);
    let found: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    // Half the sum of both ways is the index; the correction takes it off.
    assert!((super::correction(&found, "inclination").0 + 0.3).abs() < 1e-3, "{found}");
}
