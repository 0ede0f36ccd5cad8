//! Two whole jobs of a thousand sites in which nothing changed. Each site has its own instrument and its own two bases, wrong once for both mappings;
//! set-ups and readings are drawn anew for each. What the mappings share cancels in the changes of means of two bases, of network points and of measured
//! values, and what is stated of the rest must hold: of a thousand changes 50 are called at 5 % if looked at alone.

use std::collections::BTreeMap;
use std::fmt::Write;
use std::fs;
use std::path::Path;

use jiff::civil::date;
use serde_json::Value;
use standoff::inside::geodesy::frame::Geodetic;
use standoff::inside::geodesy::north::declination;

use super::number;
use crate::support::mapping::Normal;
use crate::support::standoff;

const SITES: usize = 1_000;
/// Standard errors of what both mappings share, large beside those of readings and set-ups: taken as independent, not one change would be called.
const BASE_M: f64 = 0.8;
const DECLINATION_DEG: f64 = 1.0;
const AZIMUTH_CORRECTION_DEG: f64 = 1.2;
const INCLINATION_CORRECTION_DEG: f64 = 0.6;
const DISTANCE_CORRECTION_M: f64 = 0.5;
/// Of each mapping by itself.
const SETUP_DEG: f64 = 0.15;
const AZIMUTH_DEG: f64 = 0.2;
const INCLINATION_DEG: f64 = 0.1;
const DISTANCE_M: f64 = 0.1;
/// Sites with a pile: standard errors of volumes are by draws, which take their time.
const PILES: usize = 250;

/// The second base from the first, and points of a site, metres east, north and up: one shot from both bases; foot and top of a mast; corners of a yard; toe and
/// crest of a pile.
const SECOND: [f64; 3] = [130.0, 20.0, 3.0];
const BOTH: [f64; 3] = [60.0, 110.0, 8.0];
const MAST: [[f64; 3]; 2] = [[40.0, -80.0, -3.0], [40.0, -80.0, 17.0]];
const YARD: [[f64; 3]; 4] = [[20.0, 90.0, 1.0], [100.0, 100.0, 2.0], [110.0, 160.0, 1.0], [10.0, 170.0, 0.0]];
const TOE: [[f64; 3]; 6] =
    [[60.0, 0.0, 0.0], [70.0, -17.0, 0.0], [90.0, -17.0, 0.0], [100.0, 0.0, 0.0], [90.0, 17.0, 0.0], [70.0, 17.0, 0.0]];
const CREST: [f64; 3] = [80.0, 0.0, 9.0];

/// The true place of a site's first base, far from the others: degrees.
fn place(site: usize) -> (f64, f64) {
    (-48.0 + 4.0 * (site / 40) as f64, -177.0 + 9.0 * (site % 40) as f64)
}

/// Metres in degrees of latitude and longitude on the ellipsoid of WGS 84.
fn degrees([east, north, _]: [f64; 3], lat_deg: f64) -> (f64, f64) {
    let (a, e2, lat) = (6_378_137.0, 0.006_694_379_990_14, lat_deg.to_radians());
    let w = (1.0 - e2 * lat.sin().powi(2)).sqrt();
    ((north / (a * (1.0 - e2) / w.powi(3))).to_degrees(), (east / (a / w) / lat.cos()).to_degrees())
}

/// What is wrong at each site in both mappings: its bases as they are recorded, and azimuths in all, inclinations, distances.
struct Wrong {
    bases: String,
    by: Vec<[f64; 3]>,
}

fn wrong() -> Wrong {
    let mut normal = Normal(4_711);
    let mut wrong = Wrong { bases: "base,lat_deg,lon_deg,ellipsoid_height_m\n".to_owned(), by: Vec::new() };
    for site in 0..SITES {
        let (lat_deg, lon_deg) = place(site);
        for (name, at) in [("P", [0.0; 3]), ("Q", SECOND)] {
            let off: [f64; 3] = at.map(|metres| metres + BASE_M * normal.next());
            let (lat, lon) = degrees(off, lat_deg);
            writeln!(wrong.bases, "{name}{site},{:.10},{:.10},{:.4}", lat_deg + lat, lon_deg + lon, 100.0 + off[2]).unwrap();
        }
        let turned = DECLINATION_DEG * normal.next() + AZIMUTH_CORRECTION_DEG * normal.next();
        wrong.by.push([turned, INCLINATION_CORRECTION_DEG * normal.next(), DISTANCE_CORRECTION_M * normal.next()]);
    }
    wrong
}

/// Log and job of one mapping; `network` are lines of its job and leaves all but the shots from both bases out.
fn site(folder: &Path, wrong: &Wrong, network: &str, seed: u64) {
    let mut normal = Normal(seed);
    let mut shots =
        "base,date,instrument,feature,measure,role,string,magnetic_azimuth_deg,inclination_deg,slope_distance_m\n".to_owned();
    let mut job = format!(
        "name = \"draws\"\ncrs = \"EPSG:4979\"\nformats = [\"gpkg\"]\nlayers = [\"features\", \"lines\", \"areas\", \"measurements\"]\n{network}\n[bases]\n\
         files = [\"bases.csv\"]\ncrs = \"EPSG:4979\"\nsigma_horizontal_m = {BASE_M}\nsigma_vertical_m = {BASE_M}\n[shots]\nfiles = [\"shots.csv\"]\n\
         [heights]\ninstrument_height_m = 0\ntarget_height_m = 0\ngeoid = \"none\"\n[north]\nsigma_orientation_deg = {SETUP_DEG}\n\
         sigma_local_correction_deg = {DECLINATION_DEG}\n"
    );
    for (number, by) in wrong.by.iter().enumerate() {
        let (lat_deg, lon_deg) = place(number);
        let at = Geodetic { lat_rad: lat_deg.to_radians(), lon_rad: lon_deg.to_radians(), ellipsoid_height_m: 100.0 };
        let declination_deg = declination(&at, date(2026, 5, 4)).unwrap().declination_rad.to_degrees();
        let turned = [0, 1].map(|_| by[0] + SETUP_DEG * normal.next());
        let mut row = |of_second: bool, names: &str, point: [f64; 3]| {
            let (base, from) = if of_second { ("Q", SECOND) } else { ("P", [0.0; 3]) };
            let [e, n, u] = std::array::from_fn(|k| point[k] - from[k]);
            let azimuth_deg =
                e.atan2(n).to_degrees() - declination_deg + turned[usize::from(of_second)] + AZIMUTH_DEG * normal.next();
            let inclination_deg = u.atan2(e.hypot(n)).to_degrees() + by[1] + INCLINATION_DEG * normal.next();
            let distance_m = e.hypot(n).hypot(u) + by[2] + DISTANCE_M * normal.next();
            writeln!(
                shots,
                "{base}{number},2026-05-04,I{number},{names},{:.6},{inclination_deg:.6},{distance_m:.5}",
                azimuth_deg.rem_euclid(360.0)
            )
            .unwrap();
        };
        row(false, &format!("both {number},,,"), BOTH);
        row(true, &format!("both {number},,,"), BOTH);
        if network.is_empty() {
            row(false, &format!("mast {number},height,foot,"), MAST[0]);
            row(true, &format!("mast {number},height,top,"), MAST[1]);
            row(false, &format!("post {number},height,foot,"), MAST[0]);
            row(false, &format!("post {number},height,top,"), MAST[1]);
            for (k, corner) in YARD.into_iter().enumerate() {
                row(k % 2 == 1, &format!(",,{},yard {number}", if k == 3 { "close" } else { "" }), corner);
            }
            if number < PILES {
                TOE.into_iter().enumerate().for_each(|(k, point)| row(k > 2, &format!("pile {number},volume,toe,"), point));
                row(false, &format!("pile {number},volume,top,"), CREST);
            }
        }
        write!(
            job,
            "[instruments.I{number}]\nrefraction = 0\nsigma_azimuth_deg = {AZIMUTH_DEG}\nsigma_inclination_deg = {INCLINATION_DEG}\n\
             sigma_distance_m = {DISTANCE_M}\n[[instruments.I{number}.calibrations]]\n\
             sigma_azimuth_correction_deg = {AZIMUTH_CORRECTION_DEG}\nsigma_inclination_correction_deg = {INCLINATION_CORRECTION_DEG}\n\
             sigma_distance_correction_m = {DISTANCE_CORRECTION_M}\n"
        )
        .unwrap();
    }
    fs::create_dir(folder).unwrap();
    for (name, text) in [("bases.csv", wrong.bases.as_str()), ("shots.csv", &shots), ("job.toml", &job)] {
        fs::write(folder.join(name), text).unwrap();
    }
}

/// Shares of changes beyond 5 % by kind, with how many there are, of a comparison of two mappings.
fn compared(network: &str) -> (BTreeMap<String, (f64, usize)>, Value) {
    let folder = tempfile::tempdir().unwrap();
    let wrong = wrong();
    for (name, seed) in [("spring", 31), ("autumn", 32)] {
        site(&folder.path().join(name), &wrong, network, seed);
        standoff(folder.path(), &["map", &format!("{name}/job.toml"), "--out", &format!("{name}-out"), "--quiet"]).exits(0);
    }
    let ran = standoff(folder.path(), &["compare", "spring-out/draws.gpkg", "autumn-out/draws.gpkg", "--json"]).exits(0);
    let found: Value = serde_json::from_str(&ran.out).unwrap();
    let mut counts: BTreeMap<String, (usize, usize)> = BTreeMap::new();
    let mut count = |kind: String, probability: &Value| {
        let (beyond, of) = counts.entry(kind).or_default();
        (*beyond, *of) = (*beyond + usize::from(number(probability) < 0.05), *of + 1);
    };
    for change in found["changes"].as_array().unwrap().iter().filter(|c| c["feature"].as_str().unwrap().starts_with("both")) {
        count("place of a mean".to_owned(), &change["probability_horizontal"]);
        count("height of a mean".to_owned(), &change["probability_vertical"]);
    }
    for value in found["values"].as_array().unwrap() {
        let kind = value["name"].as_str().unwrap().split(' ').next().unwrap();
        count(format!("{kind} {}", value["quantity"].as_str().unwrap()), &value["probability"]);
    }
    (counts.into_iter().map(|(kind, (beyond, of))| (kind, (beyond as f64 / of as f64, of))).collect(), found)
}

#[track_caller]
fn assert_held(shares: &BTreeMap<String, (f64, usize)>, kinds: &[&str]) {
    for kind in kinds {
        let (share, of) = shares[*kind];
        let most = if kind.starts_with("pile") { PILES } else { SITES };
        assert!(of >= most - 10, "{kind}: {of} of {most}; all: {shares:?}");
        // Four standard errors of a share of 0.05.
        let within = 4.0 * (0.05f64 * 0.95 / of as f64).sqrt();
        assert!((share - 0.05).abs() < within, "{kind}: {share}; all: {shares:?}");
    }
}

#[test]
fn values_and_means_of_two_bases() {
    let (shares, found) = compared("");
    assert_held(
        &shares,
        &[
            "place of a mean",
            "height of a mean",
            "mast height_m",
            "post height_m",
            "yard area_ellipsoid_m2",
            "yard length_ellipsoid_m",
            "pile volume_m3",
        ],
    );
    let notes = found["notes"].to_string();
    assert!(notes.contains("measured values err alike in both mappings"), "{notes}");
}

#[test]
fn points_of_networks() {
    let (shares, found) = compared("[network]");
    assert_held(&shares, &["place of a mean", "height of a mean"]);
    let notes = found["notes"].to_string();
    assert!(notes.contains("by correction of azimuths; by correction of distances; by correction of inclinations; by the declination; by the position"), "{notes}");
}
