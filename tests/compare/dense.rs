//! What two mappings share, in closed form: a point of two bases by dense generalised least squares, the height of a mast by its two sights.
//!
//! A point shot from two bases is x = G y, y its place by each, G = (HᵀV⁻¹H)⁻¹ HᵀV⁻¹, H two identities, V all that y errs by. Mapped again, what both
//! mappings share falls out of the difference, and it has the variance 2 G U Gᵀ, U what is of one mapping alone (any text on least squares). The rest of V,
//! and a step between datums, are in it where they are not one error.

use std::fs;
use std::path::Path;

use serde_json::Value;

use super::number;
use crate::support::standoff;

const SIGMA_BASE_M: f64 = 0.7;
const SIGMA_SETUP_DEG: f64 = 0.4;
const SIGMA_DECLINATION_DEG: f64 = 0.8;
const SIGMA_AZIMUTH_DEG: f64 = 0.3;
const SIGMA_INCLINATION_DEG: f64 = 0.2;
const SIGMA_DISTANCE_M: f64 = 0.1;
/// Of the calibration's corrections.
const SIGMA_TURN_DEG: f64 = 0.9;
const SIGMA_TILT_DEG: f64 = 0.5;
const SIGMA_LONGER_M: f64 = 0.6;

/// The second base from the first, what both see, and the mast: metres east and north; up of foot and top.
const SECOND: [f64; 2] = [150.0, 40.0];
const BOTH: [f64; 2] = [60.0, 110.0];
const MAST: ([f64; 2], [f64; 2]) = ([50.0, -30.0], [-2.0, 21.0]);

/// Maps both to the folder `name`; the correction is of another calibration where it differs. On an old datum the step to that of the layers is
/// good to some metres.
fn map(folder: &Path, name: &str, correction_deg: f64) {
    let site = folder.join(format!("{name}-logs"));
    fs::create_dir(&site).unwrap();
    // A radian of the international ellipsoid at 46.1° N: 6 368 850 m along the meridian, 6 389 576 m · cos φ across it.
    let (lat, lon) =
        (46.1 + (SECOND[1] / 6_368_850.0).to_degrees(), (SECOND[0] / 6_389_576.0 / 46.1f64.to_radians().cos()).to_degrees());
    fs::write(site.join("bases.csv"), format!("base,lat_deg,lon_deg\nP,46.1,8.9\nQ,{lat:.10},{:.10}\n", 8.9 + lon)).unwrap();
    let mut shots = "base,feature,measure,role,magnetic_azimuth_deg,inclination_deg,slope_distance_m\n".to_owned();
    let (at, [foot, top]) = MAST;
    for (base, words, from, to, up) in [
        ("P", "both,,", [0.0; 2], BOTH, 0.0),
        ("Q", "both,,", SECOND, BOTH, 0.0),
        ("P", "mast,height,foot", [0.0; 2], at, foot),
        ("P", "mast,height,top", [0.0; 2], at, top),
    ] {
        let ([e, n], run) = ([to[0] - from[0], to[1] - from[1]], f64::hypot(to[0] - from[0], to[1] - from[1]));
        let azimuth_deg = (f64::atan2(e, n).to_degrees() - 2.0 - correction_deg).rem_euclid(360.0);
        shots.push_str(&format!("{base},{words},{azimuth_deg:.7},{:.7},{:.5}\n", up.atan2(run).to_degrees(), run.hypot(up)));
    }
    // A set-up is one in the logs that it is in: each mapping has another log.
    shots.push_str(&format!("P,only in {name},,,10,0,20\n"));
    fs::write(site.join("shots.csv"), shots).unwrap();
    let job = format!(
        "name = \"{name}\"\ncrs = \"EPSG:32632\"\n[bases]\nfiles = [\"bases.csv\"]\ncrs = \"EPSG:4230\"\nsigma_horizontal_m = {SIGMA_BASE_M}\n\
         [shots]\nfiles = [\"shots.csv\"]\n[north]\ndeclination = 2\nsigma_declination_deg = {SIGMA_DECLINATION_DEG}\n\
         sigma_orientation_deg = {SIGMA_SETUP_DEG}\n[heights]\ninstrument_height_m = 1.5\ntarget_height_m = 1.5\n[instrument]\nrefraction = 0\n\
         sigma_distance_m = {SIGMA_DISTANCE_M}\nsigma_azimuth_deg = {SIGMA_AZIMUTH_DEG}\nsigma_inclination_deg = {SIGMA_INCLINATION_DEG}\n\
         [[instrument.calibrations]]\nazimuth_correction_deg = {correction_deg}\nsigma_azimuth_correction_deg = {SIGMA_TURN_DEG}\n\
         sigma_inclination_correction_deg = {SIGMA_TILT_DEG}\nsigma_distance_correction_m = {SIGMA_LONGER_M}\n"
    );
    fs::write(site.join("job.toml"), job).unwrap();
    standoff(folder, &["map", &format!("{name}-logs/job.toml"), "--out", name, "--quiet"]).exits(0);
}

type Matrix4 = [[f64; 4]; 4];

/// Adds what one error moves both places by.
fn add(to: &mut Matrix4, arm: [f64; 4]) {
    (0..16).for_each(|k| to[k / 4][k % 4] += arm[k / 4] * arm[k % 4]);
}

/// The inverse of a symmetric positive matrix by Gauss and Jordan.
fn inverse<const N: usize>(mut a: [[f64; N]; N]) -> [[f64; N]; N] {
    let mut made: [[f64; N]; N] = std::array::from_fn(|r| std::array::from_fn(|c| if r == c { 1.0 } else { 0.0 }));
    for p in 0..N {
        let pivot = a[p][p];
        (0..N).for_each(|c| (a[p][c], made[p][c]) = (a[p][c] / pivot, made[p][c] / pivot));
        for r in (0..N).filter(|r| *r != p) {
            let share = a[r][p];
            (0..N).for_each(|c| (a[r][c], made[r][c]) = (a[r][c] - share * a[p][c], made[r][c] - share * made[p][c]));
        }
    }
    made
}

/// Variances of east and north of the change of the point, by what is of one mapping and by all but the datum.
fn of_both() -> [[f64; 2]; 2] {
    let (mut alone, mut shared): (Matrix4, Matrix4) = Default::default();
    let (mut turn, mut longer) = ([0.0; 4], [0.0; 4]);
    for (k, from) in [[0.0; 2], SECOND].into_iter().enumerate() {
        let [e, n] = [BOTH[0] - from[0], BOTH[1] - from[1]];
        let at = |arm: [f64; 2]| std::array::from_fn(|i| if i / 2 == k { arm[i % 2] } else { 0.0 });
        let (across, along) = ([n, -e], [e / e.hypot(n), n / e.hypot(n)]);
        for deg in [SIGMA_AZIMUTH_DEG, SIGMA_SETUP_DEG] {
            add(&mut alone, at(across.map(|metres| metres * deg.to_radians())));
        }
        add(&mut alone, at(along.map(|share| share * SIGMA_DISTANCE_M)));
        add(&mut shared, at([SIGMA_BASE_M, 0.0]));
        add(&mut shared, at([0.0, SIGMA_BASE_M]));
        (0..2).for_each(|i| (turn[2 * k + i], longer[2 * k + i]) = (across[i], along[i]));
    }
    for deg in [SIGMA_TURN_DEG, SIGMA_DECLINATION_DEG] {
        add(&mut shared, turn.map(|metres| metres * deg.to_radians()));
    }
    add(&mut shared, longer.map(|share| share * SIGMA_LONGER_M));
    let whole: Matrix4 = std::array::from_fn(|r| std::array::from_fn(|c| alone[r][c] + shared[r][c]));
    let w = inverse(whole);
    let normal: [[f64; 2]; 2] =
        std::array::from_fn(|r| std::array::from_fn(|c| w[r][c] + w[r + 2][c] + w[r][c + 2] + w[r + 2][c + 2]));
    let q = inverse(normal);
    // G, two by four.
    let g: [[f64; 4]; 2] =
        std::array::from_fn(|r| std::array::from_fn(|c| (0..2).map(|k| q[r][k] * (w[k][c] + w[k + 2][c])).sum()));
    let change = |of: &Matrix4| -> [f64; 2] {
        std::array::from_fn(|r| 2.0 * (0..16).map(|k| g[r][k / 4] * of[k / 4][k % 4] * g[r][k % 4]).sum::<f64>())
    };
    [change(&alone), change(&whole)]
}

/// The same of the mast: the foot and the top answer to an inclination with their horizontal distance, to a distance with the sine.
fn of_mast() -> [f64; 2] {
    let ([e, n], ups) = MAST;
    let run = e.hypot(n);
    let sines = ups.map(|up: f64| up / run.hypot(up));
    let own = sines.map(|sine| (run * SIGMA_INCLINATION_DEG.to_radians()).powi(2) + (sine * SIGMA_DISTANCE_M).powi(2));
    let alone = own[0] + own[1];
    // The correction of inclinations moves both ends alike.
    [2.0 * alone, 2.0 * (alone + ((sines[1] - sines[0]) * SIGMA_LONGER_M).powi(2))]
}

#[test]
fn what_is_shared_falls_out_and_nothing_else() {
    let sigma = |variance: f64| variance.sqrt();
    for (correction_deg, is_one) in [(0.5, true), (0.75, false)] {
        let folder = tempfile::tempdir().unwrap();
        map(folder.path(), "spring", 0.5);
        map(folder.path(), "autumn", correction_deg);
        let ran = standoff(folder.path(), &["compare", "spring/spring.gpkg", "autumn/autumn.gpkg", "--json"]).exits(0);
        let found: Value = serde_json::from_str(&ran.out).unwrap();
        let both = found["changes"].as_array().unwrap().iter().find(|change| change["feature"] == "both").unwrap();
        let mast = found["values"].as_array().unwrap().iter().find(|value| value["quantity"] == "height_m").unwrap();
        let [alone, whole] = of_both();
        let [mast_alone, mast_whole] = of_mast();
        let wanted = match is_one {
            true => vec![
                ("east", &both["sigma_east_m"], alone[0]),
                ("north", &both["sigma_north_m"], alone[1]),
                ("mast", &mast["sigma"], mast_alone),
            ],
            false => vec![("mast", &mast["sigma"], mast_whole)],
        };
        for (what, got, want) in wanted {
            assert!((number(got) / sigma(want) - 1.0).abs() < 0.02, "{correction_deg} {what}: {} {}", number(got), sigma(want));
        }
        // Under another calibration its errors are in both, those of bases, declination and datum still in neither.
        if !is_one {
            for (what, got, axis) in [("east", &both["sigma_east_m"], 0), ("north", &both["sigma_north_m"], 1)] {
                let got = number(got);
                assert!(got > 1.1 * sigma(alone[axis]) && got < 0.98 * sigma(whole[axis]), "{what}: {got}");
            }
        }
        let notes = found["notes"].to_string();
        for (words, is_said) in
            [("the declination", true), ("the position of their base", true), ("correction of azimuths", is_one), ("step ", true)]
        {
            assert_eq!(notes.contains(words), is_said, "{correction_deg} {words}: {notes}");
        }
    }
}
