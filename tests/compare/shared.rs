//! Two mappings that err by the same: by one base, one calibration. What they share cancels in the change of a feature, and only that.
//!
//! Closed form for a feature straight north at d metres, level: an azimuth's reading moves it east by dα, the correction's error by dγ in both
//! mappings, the base's by the same in both. So the change has the variance 2 d²σα² where both have base and calibration in common; 2 d²(σα² + σγ²)
//! with a calibration each; 2 (d²σα² + σb²) with a base each (JCGM 100:2008, 5.2: what is common to both terms of a difference falls out).

use std::fs;
use std::path::Path;

use serde_json::Value;

use super::number;
use crate::support::mapping::Normal;
use crate::support::standoff;

const SIGMA_AZIMUTH_DEG: f64 = 0.5;
const SIGMA_DISTANCE_M: f64 = 0.2;
const SIGMA_BASE_M: f64 = 2.0;
const SIGMA_CORRECTION_DEG: f64 = 1.5;
const FEATURES: usize = 1_000;
/// Metres to the feature straight north.
const AHEAD_M: f64 = 100.0;

/// A log of features at 40 to 160 m all around a base, with errors of their own readings; `lacking_deg` is taken off the azimuths.
fn shots(lacking_deg: f64, normal: &mut Normal) -> String {
    let mut shots = "feature,base,slope_distance_m,true_azimuth_deg,inclination_deg\n".to_owned();
    for k in 0..FEATURES {
        let (distance_m, azimuth_deg) = match k {
            0 => (AHEAD_M, 0.0),
            _ => (40.0 + 120.0 * (k as f64 * 0.618).fract(), (k as f64 * 137.5) % 360.0),
        };
        let (distance_m, azimuth_deg) =
            (distance_m + SIGMA_DISTANCE_M * normal.next(), azimuth_deg + SIGMA_AZIMUTH_DEG * normal.next() + 720.0);
        shots.push_str(&format!("F{k},Quay,{distance_m:.5},{:.7},0\n", (azimuth_deg - lacking_deg) % 360.0));
    }
    shots
}

/// Maps features at 40 to 160 m all around a base, with errors of their own readings, to the folder `name`.
fn map(folder: &Path, name: &str, correction_deg: f64, lat_deg: f64, normal: &mut Normal) {
    let site = folder.join(format!("{name}-logs"));
    fs::create_dir(&site).unwrap();
    let base = format!("base,lat_deg,lon_deg,ellipsoid_height_m\nQuay,{lat_deg},-2.9,50\n");
    fs::write(site.join("bases.csv"), base).unwrap();
    // The correction is added again; what it is wrong by is in both mappings.
    fs::write(site.join("shots.csv"), shots(correction_deg, normal)).unwrap();
    let job = format!(
        "name = \"{name}\"\ncrs = \"EPSG:32630\"\n[bases]\nfiles = [\"bases.csv\"]\ncrs = \"EPSG:4979\"\nsigma_horizontal_m = {SIGMA_BASE_M}\n\
         sigma_vertical_m = 3.0\n[shots]\nfiles = [\"shots.csv\"]\n[heights]\ninstrument_height_m = 1.5\ntarget_height_m = 1.5\n[instrument]\n\
         sigma_distance_m = {SIGMA_DISTANCE_M}\nsigma_azimuth_deg = {SIGMA_AZIMUTH_DEG}\nsigma_inclination_deg = 0.1\n\
         [[instrument.calibrations]]\nazimuth_correction_deg = {correction_deg}\nsigma_azimuth_correction_deg = {SIGMA_CORRECTION_DEG}\n"
    );
    fs::write(site.join("job.toml"), job).unwrap();
    standoff(folder, &["map", &format!("{name}-logs/job.toml"), "--out", name]).exits(0);
}

fn compared(folder: &Path) -> Value {
    let ran = standoff(folder, &["compare", "spring/spring.gpkg", "autumn/autumn.gpkg", "--json"]).exits(0);
    serde_json::from_str(&ran.out).unwrap()
}

/// σ east of the change of the feature straight north, and the share of features called moved at 5 % if looked at alone.
fn told(found: &Value) -> (f64, f64) {
    let changes = found["changes"].as_array().unwrap();
    assert_eq!(changes.len(), FEATURES);
    let beyond = changes.iter().filter(|change| number(&change["probability_horizontal"]) < 0.05).count();
    let ahead = changes.iter().find(|change| change["feature"] == "F0").unwrap();
    (number(&ahead["sigma_east_m"]), beyond as f64 / FEATURES as f64)
}

#[test]
fn one_base_and_one_calibration_cancel() {
    let (folder, mut normal) = (tempfile::tempdir().unwrap(), Normal(17));
    map(folder.path(), "spring", 2.25, 58.2, &mut normal);
    map(folder.path(), "autumn", 2.25, 58.2, &mut normal);
    let found = compared(folder.path());
    let (sigma_m, share) = told(&found);
    let want = 2f64.sqrt() * AHEAD_M * SIGMA_AZIMUTH_DEG.to_radians();
    assert!((sigma_m / want - 1.0).abs() < 0.02, "{sigma_m} {want}");
    // Four standard errors of 0.05 in 1,000: too many, and too few.
    assert!((share - 0.05).abs() < 4.0 * (0.05f64 * 0.95 / FEATURES as f64).sqrt(), "{share}");
    let notes = found["notes"].to_string();
    assert!(notes.contains("1 000 features err alike in both mappings"), "{notes}");
    assert!(notes.contains("the position of their base") && notes.contains("correction of azimuths"), "{notes}");
}

#[test]
fn another_calibration_or_another_base_does_not() {
    let own = |sigma_deg: f64| (AHEAD_M * sigma_deg.to_radians()).powi(2);
    for (correction_deg, lat_deg, want) in [
        (2.5, 58.2, 2.0 * (own(SIGMA_AZIMUTH_DEG) + own(SIGMA_CORRECTION_DEG))),
        (2.25, 58.200_000_1, 2.0 * (own(SIGMA_AZIMUTH_DEG) + SIGMA_BASE_M.powi(2))),
    ] {
        let (folder, mut normal) = (tempfile::tempdir().unwrap(), Normal(18));
        map(folder.path(), "spring", 2.25, 58.2, &mut normal);
        map(folder.path(), "autumn", correction_deg, lat_deg, &mut normal);
        let (sigma_m, _) = told(&compared(folder.path()));
        assert!((sigma_m / want.sqrt() - 1.0).abs() < 0.02, "{correction_deg} {lat_deg}: {sigma_m} {}", want.sqrt());
    }
}

/// Without the summary beside a layer nothing is known of what it shares: both count as independent, and that is said.
#[test]
fn without_a_summary_nothing_is_taken_off() {
    let (folder, mut normal) = (tempfile::tempdir().unwrap(), Normal(19));
    map(folder.path(), "spring", 2.25, 58.2, &mut normal);
    map(folder.path(), "autumn", 2.25, 58.2, &mut normal);
    fs::remove_file(folder.path().join("autumn/summary.json")).unwrap();
    let found = compared(folder.path());
    let (sigma_m, _) = told(&found);
    let own = |sigma_deg: f64| (AHEAD_M * sigma_deg.to_radians()).powi(2);
    let want = (2.0 * (own(SIGMA_AZIMUTH_DEG) + own(SIGMA_CORRECTION_DEG) + SIGMA_BASE_M.powi(2))).sqrt();
    assert!((sigma_m / want - 1.0).abs() < 0.02, "{sigma_m} {want}");
    assert!(found["notes"].to_string().contains("features were shot from a base of the same name in both."), "{found}");
}

/// Shots of a frame that known points at both its bases moved to the Earth. `off_deg` is what the known points were surveyed apart.
fn map_in_frame(folder: &Path, name: &str, off_deg: f64, normal: &mut Normal) {
    let site = folder.join(format!("{name}-logs"));
    fs::create_dir(&site).unwrap();
    fs::write(site.join("bases.csv"), "base,east_m,north_m,local_height_m\nQuay,0,0,5\nMole,0,200,5\n").unwrap();
    // 200 m along the meridian at 46.1 degrees: 6 368 613 m a radian.
    let (lat_deg, apart_deg) = (46.1 + off_deg, (200.0f64 / 6_368_613.0).to_degrees());
    let known =
        format!("base,lat_deg,lon_deg,ellipsoid_height_m\nQuay,{lat_deg:.10},8.9,5\nMole,{:.10},8.9,5\n", lat_deg + apart_deg);
    fs::write(site.join("known.csv"), known).unwrap();
    fs::write(site.join("shots.csv"), shots(0.0, normal)).unwrap();
    let job = format!(
        "name = \"{name}\"\ncrs = \"local\"\n[bases]\nfiles = [\"bases.csv\"]\nsigma_horizontal_m = 0.01\nsigma_vertical_m = 0.01\n\
         [shots]\nfiles = [\"shots.csv\"]\n[heights]\ninstrument_height_m = 1.5\ntarget_height_m = 1.5\n[instrument]\nrefraction = 0\n\
         sigma_distance_m = {SIGMA_DISTANCE_M}\nsigma_azimuth_deg = {SIGMA_AZIMUTH_DEG}\nsigma_inclination_deg = 0.1\n\
         [local.fit]\ncrs = \"EPSG:32632\"\n[local.fit.known]\nfiles = [\"known.csv\"]\ncrs = \"EPSG:4979\"\nsigma_horizontal_m = 1.5\n\
         sigma_vertical_m = 1.0\n"
    );
    fs::write(site.join("job.toml"), job).unwrap();
    standoff(folder, &["map", &format!("{name}-logs/job.toml"), "--out", name]).exits(0);
}

/// The feature straight north, half way from one known point to the other: moved by half of what each is wrong by, (1.5² + 1.5²)/4 in east, and by
/// 0.01² of its base and the other in the frame. Both mappings have that in common where they were moved by the same known points.
#[test]
fn one_fit_of_a_frame_cancels() {
    let readings = AHEAD_M * SIGMA_AZIMUTH_DEG.to_radians();
    for (off_deg, common_m2) in [(0.0, 0.0), (1e-8, 1.5f64.powi(2) / 2.0)] {
        let (folder, mut normal) = (tempfile::tempdir().unwrap(), Normal(20));
        map_in_frame(folder.path(), "spring", 0.0, &mut normal);
        map_in_frame(folder.path(), "autumn", off_deg, &mut normal);
        let found = compared(folder.path());
        let (sigma_m, share) = told(&found);
        let want = (2.0 * (readings * readings + common_m2)).sqrt();
        assert!((sigma_m / want - 1.0).abs() < 0.02, "{off_deg}: {sigma_m} {want}");
        let is_said = found["notes"].to_string().contains("by the known points of their frame");
        assert_eq!(is_said, off_deg == 0.0, "{found}");
        if off_deg == 0.0 {
            assert!((share - 0.05).abs() < 4.0 * (0.05f64 * 0.95 / FEATURES as f64).sqrt(), "{share}");
        }
    }
}
