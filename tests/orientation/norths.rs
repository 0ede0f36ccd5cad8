//! Which north an azimuth means, and what turns it: rows and files that name theirs, convergence at each
//! base, corrections of the model, calibrations by date.

use super::common::{Field, HEAD, Run, shot};
use super::{SIGMA_BASE_M, SIGMA_READING_DEG, WRITTEN_DEG, WRITTEN_M, assert_near, field, number};

/// Adds tables behind those of a job.
fn with(mut field: Field, tables: &str) -> Field {
    field.job += tables;
    field
}

fn assert_azimuths(run: &Run, want: &[f64]) {
    let got = run.numbers("true_azimuth_deg");
    assert_eq!(got.len(), want.len());
    for (got, want) in got.into_iter().zip(want) {
        assert_near(got, *want, WRITTEN_DEG);
    }
}

#[test]
fn a_row_names_its_north() {
    let words = ["M", "T", "G", "magnetic", "True", "GRID", "X", ""];
    let rows: String = words.iter().enumerate().map(|(i, word)| format!("A,{i},2026-05-04,5{i}.0,{word},0,100\n")).collect();
    let log = "base,shot,date,azimuth_deg,azimuth_north,inclination_deg,slope_distance_m\n".to_owned() + &rows;
    let run = with(Field::new(log), "[north]\ndeclination = 3.0\n").map();
    let convergence = number(&run.bases[0], "convergence_deg");
    assert!(convergence < -0.07, "{convergence}");
    assert_azimuths(&run, &[53.0, 51.0, 52.0 + convergence, 56.0, 54.0, 55.0 + convergence]);
    assert_eq!(run.column("declination_deg"), ["3", "", "", "3", "", ""]);
    let held: Vec<_> = run.held.iter().map(|row| [1, 2, 3, 4].map(|i| row[i].as_str())).collect();
    assert_eq!(held, [["8", "no_azimuth", "azimuth_north", "X"], ["9", "no_azimuth", "azimuth_north", ""]]);
    assert_eq!(run.held[0][5], "azimuth_north \"X\" is no north; write magnetic, true or grid");
    assert!(run.held[1][5].contains("which north the azimuth means is not said"), "{}", run.held[1][5]);
}

#[test]
fn a_file_of_another_north() {
    let log = |id: u32| format!("{HEAD}{}", shot("A", id, "80.0", "0", "100")).replace("true_azimuth_deg", "Bearing");
    let mut field = Field::new(log(1));
    field.write("compass.csv", log(2));
    field.job = field.job.replace("[\"shots.csv\"]", "[\"shots.csv\", \"compass.csv\"]");
    let claims = "[shots.columns]\ntrue_azimuth_deg = \"Bearing\"\n[shots.per_file.\"compass.csv\".columns]\nmagnetic_azimuth_deg = \"Bearing\"\n";
    let run = with(field, &format!("{claims}[north]\ndeclination = -4.0\n")).map();
    assert_azimuths(&run, &[80.0, 76.0]);
    assert_eq!(run.column("declination_deg"), ["", "-4"]);
}

/// Convergence of a transverse Mercator projection by the first terms of its series: Δλ sin φ (1 + Δλ² cos²φ
/// (1 + 3η² + 2η⁴)/3), η² = e'² cos²φ; the next is below 1e-6° here.
fn convergence_deg(lat_deg: f64, from_meridian_deg: f64) -> f64 {
    let (s, c) = lat_deg.to_radians().sin_cos();
    let (l, eta2) = (from_meridian_deg.to_radians(), 0.006_739_496_742 * c * c);
    (l * s * (1.0 + l * l * c * c * (1.0 + 3.0 * eta2 + 2.0 * eta2 * eta2) / 3.0)).to_degrees()
}

#[test]
fn convergence_is_that_of_each_base() {
    // 309 km apart, on both sides of the central meridian.
    let rows = "W,1,2026-05-04T08:00:01Z,90.0,0,100,x\nE,2,2026-05-04T08:00:02Z,90.0,0,100,x\n";
    let log = HEAD.replace("true_azimuth_deg", "grid_azimuth_deg") + rows;
    let run = field(&[("W", 46.0, 8.0), ("E", 46.0, 12.0)], &log, "").map();
    let (west, east) = (convergence_deg(46.0, -1.0), convergence_deg(46.0, 3.0));
    assert!((west + 0.719).abs() < 0.001 && (east - 2.159).abs() < 0.001, "{west} {east}");
    assert_azimuths(&run, &[90.0 + west, 90.0 + east]);
    for (base, want) in run.bases.iter().zip([west, east]) {
        assert_near(number(base, "convergence_deg"), want, 2e-6);
    }
}

/// Standard error northwards of a level shot of 100 m at an azimuth, by that of the orientation.
fn north_m(azimuth_deg: f64, sigma_deg: f64) -> f64 {
    let (s, c) = azimuth_deg.to_radians().sin_cos();
    let turn = SIGMA_READING_DEG.hypot(sigma_deg).to_radians() * 100.0;
    (SIGMA_BASE_M.powi(2) + (turn * s).powi(2) + (0.2 * c).powi(2)).sqrt()
}

#[test]
fn a_local_correction_of_the_model() {
    let log = format!("{HEAD}{}", shot("A", 1, "87.0", "0", "100")).replace("true_azimuth_deg", "magnetic_azimuth_deg");
    let of = |lines: &str| with(Field::new(&log), &format!("[north]\n{lines}\n")).map();
    let (plain, corrected) = (of(""), of("local_correction_deg = 1.25\nsigma_local_correction_deg = 0.15"));
    let declination = |run: &Run| run.numbers("declination_deg")[0];
    assert!((1.0..6.0).contains(&declination(&plain)), "{}", declination(&plain));
    assert_near(declination(&corrected), declination(&plain) + 1.25, WRITTEN_DEG);
    assert_azimuths(&corrected, &[87.0 + declination(&plain) + 1.25]);
    // Its standard error stands in place of the model's.
    assert_near(corrected.numbers("sigma_north_m")[0], north_m(corrected.numbers("true_azimuth_deg")[0], 0.15), WRITTEN_M);
    // Without one the model's stays: what is left after the reading is what it was.
    let unsure = of("local_correction_deg = 1.25");
    let model_deg = |run: &Run| {
        let (s, c) = run.numbers("true_azimuth_deg")[0].to_radians().sin_cos();
        let square = run.numbers("sigma_north_m")[0].powi(2) - SIGMA_BASE_M.powi(2) - (0.2 * c).powi(2);
        ((square.sqrt() / s / 100.0).to_degrees().powi(2) - SIGMA_READING_DEG.powi(2)).sqrt()
    };
    assert_near(model_deg(&unsure), model_deg(&plain), 0.001);
    assert!(model_deg(&plain) > 0.2, "{}", model_deg(&plain));
    // A fixed declination is the job's own and not corrected.
    assert_eq!(declination(&of("declination = 3.0\nlocal_correction_deg = 1.25")), 3.0);
}

#[test]
fn calibrations_by_date_turn_the_azimuth() {
    let days = ["2026-04-30", "2026-05-01", "2026-05-31", "2026-06-01"];
    let rows: String = days.iter().enumerate().map(|(i, day)| format!("A,{i},{day},90.0,0,100,x\n")).collect();
    let log = HEAD.replace("time", "date") + &rows;
    let calibration = "azimuth_correction_deg = -0.75\n[[instrument.calibrations]]\nfrom = \"2026-05-01\"\nto = \"2026-05-31\"\n\
        azimuth_correction_deg = 1.5\nsigma_azimuth_correction_deg = 0.3";
    let run = Field::new(log).with("INSTRUMENT", calibration).map();
    assert_azimuths(&run, &[89.25, 91.5, 91.5, 89.25]);
    let sigmas = run.numbers("sigma_north_m");
    assert_near(sigmas[1], north_m(91.5, 0.3), WRITTEN_M);
    assert_near(sigmas[0], north_m(89.25, 0.0), WRITTEN_M);
    assert!(sigmas[1] - sigmas[0] > 0.1);
}
