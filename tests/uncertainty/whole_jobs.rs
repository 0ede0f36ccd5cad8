//! Draws of every error through a whole job: a thousand crews, each with its own base, set-up, declination and instrument, map the same small
//! site, and whatever the program states as a 95 % ellipse or interval must hold the truth in 95 of 100 of them.
//!
//! The sites lie far enough apart that not even the declination's error is one of two. The truth is by formulas of this file alone: the site's points
//! in the axes of the true base, and the mapped points brought back there with the radii of curvature of the ellipsoid.

use std::collections::HashMap;
use std::fmt::Write;
use std::fs;

use jiff::civil::date;
use standoff::inside::geodesy::frame::Geodetic;
use standoff::inside::geodesy::north::declination;

use crate::support::mapping::Normal;
use crate::support::{standoff, table};

const SITES: usize = 1_000;
/// Standard errors of all that errs.
const BASE_M: f64 = 0.8;
const BASE_UP_M: f64 = 1.2;
const SETUP_DEG: f64 = 0.7;
const DECLINATION_DEG: f64 = 0.6;
const AZIMUTH_DEG: f64 = 0.5;
const INCLINATION_DEG: f64 = 0.2;
const DISTANCE_M: f64 = 0.15;
const AZIMUTH_CORRECTION_DEG: f64 = 0.5;
const INCLINATION_CORRECTION_DEG: f64 = 0.15;
const DISTANCE_CORRECTION_M: f64 = 0.2;
/// Four standard errors of a share of 0.95 in a thousand.
const WITHIN: f64 = 0.0276;

/// Points of the site, metres east, north and up of the base's ground: one shot once, one shot four times, foot and top of a mast, the corners of a
/// yard, the toe and the crest of a pile.
const ONCE: [f64; 3] = [90.0, 60.0, 12.0];
const FOUR: [f64; 3] = [-70.0, 110.0, -8.0];
const MAST: [[f64; 3]; 2] = [[40.0, -80.0, -3.0], [40.0, -80.0, 15.0]];
const YARD: [[f64; 3]; 4] = [[-60.0, -50.0, 1.0], [-140.0, -60.0, 2.0], [-150.0, -120.0, 1.0], [-50.0, -130.0, 0.0]];
const TOE: [[f64; 3]; 6] =
    [[60.0, 0.0, 0.0], [70.0, -17.0, 0.0], [90.0, -17.0, 0.0], [100.0, 0.0, 0.0], [90.0, 17.0, 0.0], [70.0, 17.0, 0.0]];
const CREST: [f64; 3] = [80.0, 0.0, 9.0];

/// Radii of curvature of the WGS 84 ellipsoid along the meridian and across it, in metres.
fn radii_m(lat_rad: f64) -> (f64, f64) {
    let (a, e2) = (6_378_137.0, 0.006_694_379_990_14);
    let w = (1.0 - e2 * lat_rad.sin().powi(2)).sqrt();
    (a * (1.0 - e2) / w.powi(3), a / w)
}

/// The true place of a site's base: degrees.
fn place(site: usize) -> (f64, f64) {
    (-48.0 + 4.0 * (site / 40) as f64, -177.0 + 9.0 * (site % 40) as f64)
}

/// What one crew's instrument and set-up are wrong by.
struct Wrong {
    azimuth_deg: f64,
    inclination_deg: f64,
    distance_m: f64,
}

/// A shot as that crew reads it: magnetic azimuth, inclination, slope distance.
fn shot(point: [f64; 3], declination_deg: f64, wrong: &Wrong, normal: &mut Normal) -> String {
    let [e, n, u] = point;
    let azimuth_deg = e.atan2(n).to_degrees() - declination_deg + wrong.azimuth_deg + AZIMUTH_DEG * normal.next();
    let inclination_deg = u.atan2(e.hypot(n)).to_degrees() + wrong.inclination_deg + INCLINATION_DEG * normal.next();
    let distance_m = e.hypot(n).hypot(u) + wrong.distance_m + DISTANCE_M * normal.next();
    format!("{:.6},{inclination_deg:.6},{distance_m:.5}", azimuth_deg.rem_euclid(360.0))
}

/// Logs and job of all crews.
fn site(folder: &std::path::Path) {
    let mut normal = Normal(20_261);
    let mut bases = "base,lat_deg,lon_deg,ellipsoid_height_m\n".to_owned();
    let mut shots =
        "base,date,instrument,feature,code,measure,role,string,magnetic_azimuth_deg,inclination_deg,slope_distance_m\n"
            .to_owned();
    let mut job = format!(
        "name = \"draws\"\ncrs = \"EPSG:4979\"\nformats = [\"csv\"]\nlayers = [\"features\", \"lines\", \"areas\", \"measurements\"]\n[bases]\nfiles = [\"bases.csv\"]\ncrs = \"EPSG:4979\"\n\
         sigma_horizontal_m = {BASE_M}\nsigma_vertical_m = {BASE_UP_M}\n[shots]\nfiles = [\"shots.csv\"]\n[heights]\ninstrument_height_m = 0\n\
         target_height_m = 0\ngeoid = \"none\"\n[north]\nsigma_orientation_deg = {SETUP_DEG}\nsigma_local_correction_deg = {DECLINATION_DEG}\n"
    );
    for site in 0..SITES {
        let (lat_deg, lon_deg) = place(site);
        let (m, n) = radii_m(lat_deg.to_radians());
        let [east, north, up] = [BASE_M, BASE_M, BASE_UP_M].map(|sigma| sigma * normal.next());
        let (lat, lon) = (lat_deg + (north / m).to_degrees(), lon_deg + (east / n / lat_deg.to_radians().cos()).to_degrees());
        writeln!(bases, "B{site},{lat:.10},{lon:.10},{:.4}", 100.0 + up).unwrap();
        let at = Geodetic { lat_rad: lat_deg.to_radians(), lon_rad: lon_deg.to_radians(), ellipsoid_height_m: 100.0 };
        let declination_deg = declination(&at, date(2026, 5, 4)).unwrap().declination_rad.to_degrees();
        let wrong = Wrong {
            azimuth_deg: SETUP_DEG * normal.next() + DECLINATION_DEG * normal.next() + AZIMUTH_CORRECTION_DEG * normal.next(),
            inclination_deg: INCLINATION_CORRECTION_DEG * normal.next(),
            distance_m: DISTANCE_CORRECTION_M * normal.next(),
        };
        let mut row = |names: String, point: [f64; 3]| {
            let reading = shot(point, declination_deg, &wrong, &mut normal);
            writeln!(shots, "B{site},2026-05-04,I{site},{names},{reading}").unwrap();
        };
        row(format!("once {site},,,,"), ONCE);
        (0..4).for_each(|_| row(format!("four {site},,,,"), FOUR));
        row(format!("mast {site},,height,foot,"), MAST[0]);
        row(format!("mast {site},,height,top,"), MAST[1]);
        YARD.iter().enumerate().for_each(|(k, corner)| {
            row(format!(",,,{},yard {site}", if k == 3 { "close" } else { "" }), *corner);
        });
        TOE.iter().for_each(|point| row(format!("pile {site},,volume,toe,"), *point));
        row(format!("pile {site},,volume,top,"), CREST);
        write!(
            job,
            "[instruments.I{site}]\nrefraction = 0\nsigma_azimuth_deg = {AZIMUTH_DEG}\nsigma_inclination_deg = {INCLINATION_DEG}\n\
             sigma_distance_m = {DISTANCE_M}\n[[instruments.I{site}.calibrations]]\n\
             sigma_azimuth_correction_deg = {AZIMUTH_CORRECTION_DEG}\nsigma_inclination_correction_deg = {INCLINATION_CORRECTION_DEG}\n\
             sigma_distance_correction_m = {DISTANCE_CORRECTION_M}\n"
        )
        .unwrap();
    }
    for (name, text) in [("bases.csv", bases), ("shots.csv", shots), ("job.toml", job)] {
        fs::write(folder.join(name), text).unwrap();
    }
}

type Row = std::collections::BTreeMap<String, String>;

fn number(row: &Row, field: &str) -> f64 {
    row.get(field).and_then(|cell| cell.parse().ok()).unwrap_or_else(|| panic!("{field} of {row:?}"))
}

/// The number of the site in a name such as `mast 17`.
fn site_of(name: &str) -> usize {
    name.rsplit(' ').next().and_then(|number| number.parse().ok()).unwrap_or_else(|| panic!("{name}"))
}

/// Shares of truths inside, by what was stated.
#[derive(Default)]
struct Shares(HashMap<&'static str, (usize, usize)>);

impl Shares {
    fn count(&mut self, what: &'static str, is_inside: bool) {
        let (inside, of) = self.0.entry(what).or_default();
        (*inside, *of) = (*inside + usize::from(is_inside), *of + 1);
    }

    /// A value with its standard error against the truth.
    fn interval(&mut self, what: &'static str, value: f64, sigma: f64, truth: f64) {
        self.count(what, (value - truth).abs() <= 1.959_964 * sigma);
    }
}

/// Plane area and circumference of corners in the order of the ring.
fn area_and_length_m(corners: &[[f64; 3]]) -> (f64, f64) {
    let sides = corners.iter().zip(corners.iter().cycle().skip(1));
    let (twice, length) = sides
        .fold((0.0, 0.0), |(area, length), (a, b)| (area + a[0] * b[1] - b[0] * a[1], length + (a[0] - b[0]).hypot(a[1] - b[1])));
    (0.5 * f64::abs(twice), length)
}

#[test]
fn what_is_stated_holds_the_truth_in_95_of_100() {
    let folder = tempfile::tempdir().unwrap();
    site(folder.path());
    standoff(folder.path(), &["map", "job.toml", "--out", "out", "--quiet"]).exits(0);
    let read = |layer: &str| table(&folder.path().join(format!("out/csv/draws.{layer}.csv")));
    let mut shares = Shares::default();
    for row in read("features") {
        let (name, truth) = match row["feature"].split(' ').next() {
            Some("once") => ("a shot's", ONCE),
            Some("four") => ("a mean's", FOUR),
            _ => continue,
        };
        let (lat_deg, lon_deg) = place(site_of(&row["feature"]));
        // The true point, from the true base: along the meridian and across it at its own latitude, and the level that falls away.
        let (m, n) = radii_m(lat_deg.to_radians());
        let [e, nn, u] = truth;
        let lat_rad = lat_deg.to_radians() + nn / m;
        let lon_rad = lon_deg.to_radians() + e / n / lat_rad.cos();
        let up_m = 100.0 + u + (e * e / n + nn * nn / m) / 2.0;
        let north_m = (number(&row, "lat_deg").to_radians() - lat_rad) * m;
        let east_m = (number(&row, "lon_deg").to_radians() - lon_rad) * n * lat_rad.cos();
        let (sin, cos) = number(&row, "ellipse_azimuth_deg").to_radians().sin_cos();
        let along = (east_m * sin + north_m * cos) / number(&row, "ellipse_major95_m");
        let across = (east_m * cos - north_m * sin) / number(&row, "ellipse_minor95_m");
        let (ellipse, height) = match name {
            "a shot's" => ("ellipse of a shot", "height of a shot"),
            _ => ("ellipse of a mean", "height of a mean"),
        };
        shares.count(ellipse, along * along + across * across <= 1.0);
        shares.interval(height, number(&row, "ellipsoid_height_m"), number(&row, "sigma_up_m"), up_m);
    }
    let (area, length) = area_and_length_m(&YARD);
    // The yard is measured on the ellipsoid, 100 m below.
    let down = |lat_deg: f64| {
        let (m, n) = radii_m(lat_deg.to_radians());
        1.0 - 100.0 / (m * n).sqrt()
    };
    // The outlines of the piles are areas, too.
    for row in read("areas").into_iter().filter(|row| row["name"].starts_with("yard")) {
        let down = down(place(site_of(&row["name"])).0);
        shares.interval("area", number(&row, "area_ellipsoid_m2"), number(&row, "sigma_area_m2"), area * down * down);
        shares.interval("length", number(&row, "length_ellipsoid_m"), number(&row, "sigma_length_m"), length * down);
    }
    let (base_m2, _) = area_and_length_m(&TOE);
    for row in read("measurements") {
        let truth = match (row["measure"].as_str(), row["quantity"].as_str()) {
            ("height", "height_m") => MAST[1][2] - MAST[0][2],
            // A pyramid over the toe's hexagon.
            ("volume", "volume_m3") => base_m2 * CREST[2] / 3.0,
            _ => continue,
        };
        let (low, high) = (number(&row, "low95"), number(&row, "high95"));
        shares.count(if row["measure"] == "height" { "height of a mast" } else { "volume" }, (low..=high).contains(&truth));
    }
    let mut told: Vec<(&str, f64, usize)> =
        shares.0.iter().map(|(what, (inside, of))| (*what, *inside as f64 / *of as f64, *of)).collect();
    told.sort_by(|a, b| a.0.cmp(b.0));
    assert_eq!(told.len(), 8, "{told:?}");
    for (what, share, of) in &told {
        assert!(*of >= SITES - 5, "{what}: {of} of {SITES}");
        assert!((share - 0.95).abs() < WITHIN, "{what}: {share}; all: {told:?}");
    }
}
