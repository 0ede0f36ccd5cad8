//! What the uncertainty of a mapping comes from: shares by hand for small jobs, and that they add up for all kinds of jobs.
//!
//! The share of a source in a point is its part of the variance of east and north together, or of the height; that of a job is the mean over its
//! points (definition in docs/uncertainty.md). Parts of level sights in closed form: at the distance d an azimuth that is off by α moves a point
//! dα across, a distance by itself, an inclination dι in height, the base by itself (JCGM 100:2008, 5.1.2: the parts of a variance are its terms).

use std::collections::BTreeMap;
use std::path::Path;

use serde_json::Value;

use crate::support::small::Small;
use crate::support::{copy, json, standoff};

/// The earth falls away below a level sight of 300 m by 7 mm, and so much in a share.
const WITHIN: f64 = 2e-4;

/// An example in a folder of its own.
fn copy_of(example: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    copy(&Path::new("examples").join(example), folder.path());
    folder
}

type Shares = BTreeMap<String, f64>;

fn told(summary: &Value, direction: &str) -> (u64, Shares) {
    let of = &summary["uncertainty_sources"][direction];
    let share = |share: &Value| (share["source"].as_str().unwrap().to_owned(), share["share"].as_f64().unwrap());
    (of["points"].as_u64().unwrap(), of["shares"].as_array().unwrap().iter().map(share).collect())
}

/// The mean over points of the shares of parts, each with its variance at each point.
fn means(parts: &[(&str, &[f64])]) -> Shares {
    let points = parts[0].1.len();
    let total: Vec<f64> = (0..points).map(|point| parts.iter().map(|(_, variances)| variances[point]).sum()).collect();
    let mean = |variances: &[f64]| (0..points).map(|point| variances[point] / total[point]).sum::<f64>() / points as f64;
    parts.iter().map(|(source, variances)| ((*source).to_owned(), mean(variances))).collect()
}

#[track_caller]
fn assert_shares(got: &Shares, want: &Shares) {
    assert!(got.keys().eq(want.keys()), "{got:?}\n{want:?}");
    for (source, share) in want {
        assert!((got[source] - share).abs() < WITHIN, "{source}: {} is not {share}\n{got:?}\n{want:?}", got[source]);
    }
    assert!((got.values().sum::<f64>() - 1.0).abs() < 1e-9, "{got:?}");
}

/// A shot of 100 m, one of 300 m, and the mean of four of 200 m: own readings count a quarter there, and what they share counts in full.
#[test]
fn by_hand_for_single_shots_and_a_mean() {
    let rows = "1,A,F1,100,0,0\n2,A,F2,300,90,0\n3,A,F3,200,60.0001,0\n4,A,F3,200,59.9999,0\n5,A,F3,200,60.0002,0\n6,A,F3,200,59.9998,0\n";
    let more = "[north]\ndeclination = 2\nsigma_declination_deg = 0.5\nsigma_orientation_deg = 0.3\n[[instrument.calibrations]]\n\
                sigma_azimuth_correction_deg = 0.4\nsigma_inclination_correction_deg = 0.15\nsigma_distance_correction_m = 0.25\n";
    let job = Small::new(&format!("shot,base,feature,slope_distance_m,magnetic_azimuth_deg,inclination_deg\n{rows}"), "", more);
    let summary = job.map();
    let (distances, shots) = ([100.0, 300.0, 200.0], [1.0, 1.0, 4.0]);
    let by =
        |variance: &dyn Fn(f64, f64) -> f64| -> Vec<f64> { distances.iter().zip(shots).map(|(d, n)| variance(*d, n)).collect() };
    let turned = |d: f64, deg: f64| (d * deg.to_radians()).powi(2);
    let (points, shares) = told(&summary, "horizontal");
    assert_eq!(points, 3);
    assert_shares(
        &shares,
        &means(&[
            // Half a metre in east and in north.
            ("base_positions", &by(&|_, _| 0.5)),
            ("orientations", &by(&|d, _| turned(d, 0.3))),
            ("declination", &by(&|d, _| turned(d, 0.5))),
            ("azimuth_corrections", &by(&|d, _| turned(d, 0.4))),
            ("azimuth_readings", &by(&|d, n| turned(d, 0.5) / n)),
            ("distance_readings", &by(&|_, n| 0.04 / n)),
            ("distance_corrections", &by(&|_, _| 0.0625)),
        ]),
    );
    let (points, shares) = told(&summary, "vertical");
    assert_eq!(points, 3);
    assert_shares(
        &shares,
        &means(&[
            ("base_positions", &by(&|_, _| 1.0)),
            ("inclination_readings", &by(&|d, n| turned(d, 0.1) / n)),
            ("inclination_corrections", &by(&|d, _| turned(d, 0.15))),
        ]),
    );
    // At 100 m of 3.1 m² by hand: base 0.5, orientation 0.2742, declination 0.7615, calibration 0.4874 and 0.0625, readings 0.7615 and 0.04.
    let first = 0.5 + 0.274_16 + 0.761_54 + 0.487_39 + 0.0625 + 0.761_54 + 0.04;
    let alone = by(&|d, n| 0.5 + turned(d, 0.3) + 2.0 * turned(d, 0.5) + turned(d, 0.4) + 0.04 / n + 0.0625);
    assert!((alone[0] - first).abs() < 1e-4, "{alone:?} {first}");
}

/// The terminal and the page name the three greatest of place and height, in words.
#[test]
fn three_are_named() {
    let rows = "1,A,F1,100,0,0\n";
    let job = Small::new(&format!("shot,base,feature,slope_distance_m,true_azimuth_deg,inclination_deg\n{rows}"), "", "");
    let ran = standoff(job.folder.path(), &["map", "job.toml", "--out", "out"]).exits(0);
    // 0.5² twice; (100 · 0.5°)² = 0.7615; 0.2² = 0.04: of 1.3015 they are 58.5, 38.4 and 3.1 of 100. Up: 1² and (100 · 0.1°)² = 0.0305.
    let (place, height) = (
        "in place: azimuth readings 59 %, positions of the bases 38 %, distance readings 3 %",
        "in height: positions of the bases 97 %, inclination readings 3 %",
    );
    for sentence in [place, height] {
        assert!(ran.out.contains(&format!("errors   {sentence}\n")), "{}", ran.out);
    }
    let page = std::fs::read_to_string(job.folder.path().join("out/cove.report.html")).unwrap();
    assert!(page.contains(place) && page.contains(height) && page.contains("Where the uncertainty comes from"));
}

/// A base 1 m wrong eastwards, oriented by a point 100 m north of it, sees all turned by −1/100: a feature 100 m north moves by 1 − 1 = 0, one 100 m
/// south by 1 + 1 = 2. Both are the base's position, one entry of the register.
#[test]
fn a_base_that_turns_what_it_moves_is_one_source() {
    let rows = "1,A,K,backsight,100,0,0\n2,A,north,,100,0,0\n3,A,south,,100,180,0\n";
    let known = "[known]\nfiles = [\"known.csv\"]\ncrs = \"EPSG:4979\"\nsigma_horizontal_m = 0.001\nsigma_vertical_m = 0.1\n";
    let job = Small::new(&format!("shot,base,feature,role,slope_distance_m,true_azimuth_deg,inclination_deg\n{rows}"), "", known);
    // 100 m along the meridian at 58.6°: a(1 − e²)/(1 − e² sin²φ)^1.5 = 6 382 246 m a radian.
    let lat_deg = 58.6 + (100.0f64 / 6_382_246.0).to_degrees();
    job.write("known.csv", &format!("base,lat_deg,lon_deg,ellipsoid_height_m\nK,{lat_deg:.10},-2.9,60\n"));
    let (points, shares) = told(&job.map(), "horizontal");
    // The sight to the known point is mapped as well: it lies as the feature north of the base.
    assert_eq!(points, 3);
    let turned = (100.0 * 0.5f64.to_radians()).powi(2);
    assert_shares(
        &shares,
        &means(&[
            // In north 0.5²; in east nothing, and 2² · 0.5².
            ("base_positions", &[0.25, 0.25, 0.25 + 1.0]),
            ("orientations", &[turned; 3]),
            ("azimuth_readings", &[turned; 3]),
            ("distance_readings", &[0.04; 3]),
        ]),
    );
}

/// Single shots, means, a network, measurements, a fit: each point counts once, and the shares of its sources are the whole.
#[test]
fn shares_add_up_in_every_kind_of_job() {
    for (example, must_have) in [
        ("rural-line", "base_positions"),
        ("canopy-traverse", "orientations"),
        ("forest-plot", "distance_readings"),
        ("span-survey", "azimuth_readings"),
    ] {
        let folder = copy_of(example);
        let of = |name: &str, threads: &str| {
            standoff(folder.path(), &["map", "job.toml", "--out", name, "--threads", threads, "--quiet"]).exits(0);
            json(&folder.path().join(name).join("summary.json"))
        };
        let (summary, other) = (of("out", "1"), of("other", "2"));
        assert_eq!(summary["uncertainty_sources"], other["uncertainty_sources"], "{example}");
        let mapped = summary["shots"]["mapped"].as_u64().unwrap();
        for direction in ["horizontal", "vertical"] {
            let (points, shares) = told(&summary, direction);
            let without = if direction == "vertical" { summary["shots"]["without_height"].as_u64().unwrap() } else { 0 };
            assert_eq!(points, mapped - without, "{example} {direction}");
            let whole = if points > 0 { 1.0 } else { 0.0 };
            assert!((shares.values().sum::<f64>() - whole).abs() < 1e-9, "{example} {direction}: {shares:?}");
            assert!(shares.values().all(|share| (0.0..=1.0).contains(share)), "{example} {direction}: {shares:?}");
        }
        assert!(told(&summary, "horizontal").1.contains_key(must_have), "{example}: {}", summary["uncertainty_sources"]);
    }
}

/// Where places are kept coarse nothing is told: that part of an error which grows with the distance tells the distance.
#[test]
fn nothing_where_places_are_coarse() {
    let folder = copy_of("cliff-nests");
    let coarse = "[[codes]]\ncode = \"nest\"\ntitle = \"Nest\"\nlayer = \"nests\"\ngeometry = \"point\"\n[layers.nests]\ncoarse_cell_m = 1000\n";
    std::fs::write(folder.path().join("coarse.toml"), coarse).unwrap();
    let job = std::fs::read_to_string(folder.path().join("job.toml")).unwrap();
    std::fs::write(folder.path().join("job.toml"), format!("catalogue = \"coarse.toml\"\n{job}")).unwrap();
    let ran = standoff(folder.path(), &["map", "job.toml", "--out", "out"]).exits(0);
    let out: &Path = &folder.path().join("out");
    for direction in ["horizontal", "vertical"] {
        assert_eq!(told(&json(&out.join("summary.json")), direction), (0, Shares::new()));
    }
    // Nor by which errors: an arm tells distance and direction.
    let summary = json(&out.join("summary.json"));
    assert_eq!(summary["shared_errors"], serde_json::json!([]));
    assert_eq!(summary["shared_arms"], serde_json::json!({ "errors": [], "points": [], "values": [] }));
    let page = std::fs::read_to_string(out.join("skerrow.report.html")).unwrap();
    assert!(!page.contains("Where the uncertainty comes from") && !ran.out.contains("errors   "), "{}", ran.out);
}
