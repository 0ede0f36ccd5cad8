//! `standoff calibrate`: corrections by hand, curvature, outliers, honest standard errors, what is said
//! of logs that lack something, and the printed lines in a job.

use crate::common;
use crate::support;

mod by_hand;
mod honesty;
mod in_a_job;
mod messages;

use std::fs;

use serde_json::Value;
use support::{Ran, standoff};

/// Runs the command over a log of these lines.
fn calibrate(log: &str, arguments: &[&str]) -> Ran {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("cal.csv"), log).unwrap();
    standoff(folder.path(), &[&["calibrate", "cal.csv"], arguments].concat())
}

/// The same, as JSON.
fn found(log: &str, arguments: &[&str]) -> Value {
    let ran = calibrate(log, &[arguments, &["--json"]].concat()).exits(0);
    assert_eq!(ran.err, "");
    serde_json::from_str(&ran.out).unwrap()
}

/// The value and the standard error of a correction.
fn correction(found: &Value, quantity: &str) -> (f64, f64) {
    let unit = if quantity == "distance" { "m" } else { "deg" };
    let all = found["corrections"].as_array().unwrap();
    let one = all.iter().find(|one| one["quantity"] == quantity).unwrap_or_else(|| panic!("no {quantity} in {found}"));
    (one[format!("correction_{unit}")].as_f64().unwrap(), one[format!("sigma_{unit}")].as_f64().unwrap())
}

/// Half of the last decimal that the JSON has, and the rounding of the log's own figures.
const PRINTED: f64 = 1.5e-6;

#[track_caller]
fn assert_is((value, sigma): (f64, f64), want: (f64, f64)) {
    assert!((value - want.0).abs() < PRINTED, "correction {value}, by hand {}", want.0);
    assert!((sigma - want.1).abs() < PRINTED, "standard error {sigma}, by hand {}", want.1);
}

#[test]
fn all_three_kinds_in_one_log() {
    // The index is 0.3° too high by each kind, so that the weighted mean is too.
    let log = "measure,role,inclination_deg,horizontal_distance_m\n\
               known_line,,0.3,50\n\
               two_way,forth,1.3,40\ntwo_way,back,-0.7,40\n\
               two_peg,mid_a,0.3,30\ntwo_peg,mid_b,0.3,30\ntwo_peg,near_a,0.3,3\ntwo_peg,near_b,0.3,57\n\
               offset,,12,80\n";
    let found = found(log, &["--inclination", "0", "--refraction", "1"]);
    let (value, sigma) = correction(&found, "inclination");
    // The last kind: one part in 10⁵ from the tangent of the known line's bend at k = 1.
    assert!((value + 0.3).abs() < 1e-3, "{value}");
    let by = found["corrections"][0]["by"].as_array().unwrap();
    let sigmas: Vec<f64> = by.iter().map(|one| one["sigma_deg"].as_f64().unwrap()).collect();
    assert_eq!(by.iter().map(|one| one["measure"].as_str().unwrap()).collect::<Vec<_>>(), ["known_line", "two_way", "two_peg"]);
    let weights: f64 = sigmas.iter().map(|sigma| sigma.powi(-2)).sum();
    assert!((sigma - weights.sqrt().recip()).abs() < 2e-6, "{sigma} {sigmas:?}");
    assert_eq!((found["shots"].as_u64(), found["other_rows"].as_u64()), (Some(7), Some(1)));
}
