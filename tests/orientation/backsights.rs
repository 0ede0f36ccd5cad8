//! Sights to points of known position: the correction of a base's azimuths and its standard error.

use std::collections::BTreeMap;

use standoff::inside::geodesy::frame::{Ellipsoid, Geodetic, LocalFrame};
use standoff::inside::numeric::monte_carlo::Normal;

use super::common::{Field, Run};
use super::{ROLES, SIGMA_BASE_M, SIGMA_READING_DEG, WRITTEN_DEG, WRITTEN_M, assert_near, field, meridian_m, number};

/// K lies this far north of A, in degrees: 100 m, where the positions' errors weigh.
const NORTH_DEG: f64 = 0.0009;
/// Standard error of the known points, in metres.
const SIGMA_KNOWN_M: f64 = 0.1;
const LEVEL: &str = "A,9,2026-05-04,,tree,88.0,0,100\n";

fn shots(sights: &str) -> String {
    format!("{ROLES}{sights}{LEVEL}")
}

/// A base A with known points north (K) and south (L) of it.
fn with_known(sights: &str, tables: &str) -> Field {
    let known = "[known]\nfiles = [\"known.csv\"]\ncrs = \"EPSG:4979\"\nsigma_horizontal_m = 0.1\nsigma_vertical_m = 0.1\n";
    let field = field(&[("A", 46.1, 8.9)], &shots(sights), &format!("{known}{tables}"));
    field.write("known.csv", "base,lat_deg,lon_deg,ellipsoid_height_m\nK,46.1009,8.9,500\nL,46.0991,8.9,500\n");
    field
}

/// What is left across a line of a standard error at its end, in degrees.
fn across_deg(sigma_m: f64) -> f64 {
    (sigma_m / meridian_m(NORTH_DEG)).to_degrees()
}

#[track_caller]
fn assert_orientation(run: &Run, correction_deg: f64, sigma_deg: f64, sights: &str) {
    let base = &run.bases[0];
    assert_near(number(base, "azimuth_correction_deg"), correction_deg, WRITTEN_DEG);
    assert_near(number(base, "sigma_azimuth_correction_deg"), sigma_deg, WRITTEN_DEG);
    assert_eq!(base["backsights"], sights);
    // The level shot of 100 m near east: its standard error northwards.
    let tree = run.features.iter().find(|feature| feature["feature"] == "tree").unwrap();
    assert_near(number(tree, "true_azimuth_deg"), 88.0 + correction_deg, WRITTEN_DEG);
    let turn = SIGMA_READING_DEG.hypot(sigma_deg).to_radians() * 100.0;
    let (s, c) = (88.0 + correction_deg).to_radians().sin_cos();
    let north = (SIGMA_BASE_M.powi(2) + (turn * s).powi(2) + (0.2 * c).powi(2)).sqrt();
    assert_near(number(tree, "sigma_north_m"), north, WRITTEN_M);
}

#[test]
fn to_a_known_point() {
    // Due north, read as 358.
    let run = with_known("A,1,2026-05-04,backsight,K,358.0,0,100\n", "").map();
    let sigma = (SIGMA_READING_DEG.powi(2) + across_deg(SIGMA_KNOWN_M).powi(2) + across_deg(SIGMA_BASE_M).powi(2)).sqrt();
    // By hand: 0.5²; 0.1 m and 0.5 m over 100.05 m are 0.0573° and 0.2863°.
    assert_near(sigma, 0.579_01, 0.000_05);
    assert_orientation(&run, 2.0, sigma, "1");
    // A known point is a base without shots and without a correction.
    assert_eq!(run.base_column("shots"), ["2", "0", "0"]);
    assert_eq!(run.base_column("backsights"), ["1", "", ""]);
    // The other way round the circle.
    let run = with_known("A,1,2026-05-04,backsight,L,181.5,0,100\n", "").map();
    assert_orientation(&run, -1.5, sigma, "1");
}

#[test]
fn to_another_base() {
    let bases = [("A", 46.1, 8.9), ("B", 46.1009, 8.9)];
    let run = field(&bases, &shots("A,1,2026-05-04,backsight,B,358.0,0,100\n"), "").map();
    let sigma = (SIGMA_READING_DEG.powi(2) + 2.0 * across_deg(SIGMA_BASE_M).powi(2)).sqrt();
    assert_orientation(&run, 2.0, sigma, "1");
    // B is none the wiser.
    assert_eq!(run.base_column("azimuth_correction_deg")[1], "");
}

#[test]
fn several_sights_are_averaged() {
    let sights = "A,1,2026-05-04,backsight,K,358.0,0,100\nA,2,2026-05-04,backsight,L,178.4,0,100\n";
    let run = with_known(sights, "").map();
    // Moved east, the base sees the point north of it farther left and that south of it farther right: its own error cancels.
    let own = SIGMA_READING_DEG.hypot(across_deg(SIGMA_KNOWN_M));
    assert_orientation(&run, 1.8, own / 2f64.sqrt(), "2");
    // Twice the same way it stays. Without distances, so that the two are no repeats of a point.
    let sights = "A,1,2026-05-04,backsight,K,358.0,0,\nA,2,2026-05-04,backsight,K,358.4,0,\n";
    let run = with_known(sights, "").map();
    // So does the error of the known point, which both sights have.
    let stays = across_deg(SIGMA_BASE_M).powi(2) + across_deg(SIGMA_KNOWN_M).powi(2);
    assert_orientation(&run, 1.8, (SIGMA_READING_DEG.powi(2) / 2.0 + stays).sqrt(), "2");
}

/// A reading that does not hide what the error of a base does: 0.09 m over 100 m.
const SIGMA_FINE_DEG: f64 = 0.05;

/// Bases, each with a known point and two features on one line, and all errors drawn: how many of the features that lie so far
/// along the line, in parts of the way to the known point, are within their 95 % ellipses.
fn inside(shares: [f64; 2], bases: usize) -> [usize; 2] {
    let mut normal = Normal::seeded(20_260_504);
    let at = |lat: f64, lon: f64| Geodetic { lat_rad: lat.to_radians(), lon_rad: lon.to_radians(), ellipsoid_height_m: 500.0 };
    let frame = LocalFrame::at(&at(46.1, 8.9), &Ellipsoid::WGS84);
    let row = |name: String, enu: [f64; 3]| {
        let at = Geodetic::from_earth_centred(frame.to_earth_centred(enu), &Ellipsoid::WGS84);
        format!("{name},{:.10},{:.10},{:.4}\n", at.lat_rad.to_degrees(), at.lon_rad.to_degrees(), at.ellipsoid_height_m)
    };
    let (mut logged, mut known, mut shots) = (String::new(), String::new(), ROLES.to_owned());
    let mut truth = Vec::new();
    for i in 0..bases {
        let place = [40.0 * (i % 32) as f64, 40.0 * (i / 32) as f64, 0.0];
        let (azimuth, distance) = (0.1 + 2.399_96 * i as f64, 100.0);
        let along = |share: f64| [place[0] + share * distance * azimuth.sin(), place[1] + share * distance * azimuth.cos(), 0.0];
        let mut off = |at: [f64; 3], sigma_m: f64| at.map(|x| x + sigma_m * normal.next());
        logged += &row(format!("B{i}"), off(place, SIGMA_BASE_M));
        known += &row(format!("K{i}"), off(along(1.0), SIGMA_KNOWN_M));
        let base =
            LocalFrame::at(&Geodetic::from_earth_centred(frame.to_earth_centred(place), &Ellipsoid::WGS84), &Ellipsoid::WGS84);
        // Circles are turned anyhow, and every reading errs.
        let zero = 17.0 * i as f64;
        for (name, share, role) in [("K", 1.0, "backsight"), ("X", shares[0], ""), ("Y", shares[1], "")] {
            let [e, n, u] = base.from_earth_centred(frame.to_earth_centred(along(share)));
            let u = u - 1.5;
            let read = (e.atan2(n).to_degrees() - zero + SIGMA_FINE_DEG * normal.next()).rem_euclid(360.0);
            let inclination = u.atan2(e.hypot(n)).to_degrees() + 0.2 * normal.next();
            let slope = e.hypot(n).hypot(u) + 0.2 * normal.next();
            shots += &format!("B{i},{i}{name},2026-05-04,{role},{name}{i},{read:.5},{inclination:.5},{slope:.4}\n");
            truth.push((format!("{name}{i}"), frame.to_earth_centred(along(share))));
        }
    }
    let tables = "[known]\nfiles = [\"known.csv\"]\ncrs = \"EPSG:4979\"\nsigma_horizontal_m = 0.1\nsigma_vertical_m = 0.1\n";
    let mut field = field(&[], &shots, tables);
    field.job = field.job.replace("sigma_azimuth_deg = 0.5", &format!("sigma_azimuth_deg = {SIGMA_FINE_DEG}"));
    field.write("bases.csv", format!("base,lat_deg,lon_deg,ellipsoid_height_m\n{logged}"));
    field.write("known.csv", format!("base,lat_deg,lon_deg,ellipsoid_height_m\n{known}"));
    let output = field.command(&["map", "job.toml"]);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let features = csv::Reader::from_path(field.path("t-layers/csv/t.features.csv")).unwrap().into_deserialize();
    let features: Vec<BTreeMap<String, String>> = features.map(|row| row.unwrap()).collect();
    let mut found = [0; 2];
    let truth: BTreeMap<String, [f64; 3]> = truth.into_iter().collect();
    for feature in &features {
        let which = match feature["feature"].as_bytes()[0] {
            b'X' => 0,
            b'Y' => 1,
            _ => continue,
        };
        let at = Geodetic {
            lat_rad: number(feature, "lat_deg").to_radians(),
            lon_rad: number(feature, "lon_deg").to_radians(),
            ellipsoid_height_m: 500.0,
        };
        let [e, n, _] = LocalFrame::at(&at, &Ellipsoid::WGS84).from_earth_centred(truth[&feature["feature"]]);
        let (s, c) = number(feature, "ellipse_azimuth_deg").to_radians().sin_cos();
        let (along, across) = (e * s + n * c, e * c - n * s);
        let (major, minor) = (number(feature, "ellipse_major95_m"), number(feature, "ellipse_minor95_m"));
        found[which] += usize::from((along / major).powi(2) + (across / minor).powi(2) <= 1.0);
    }
    found
}

#[test]
fn ellipses_hold_what_they_say_towards_the_backsight_and_behind() {
    const BASES: usize = 1000;
    let [towards, behind] = inside([0.6, -1.5], BASES);
    // 950 of 1,000, and three standard errors of a binomial count, √(1000 · 0.95 · 0.05) = 6.9.
    for (name, inside) in [("towards", towards), ("behind", behind)] {
        assert!((929..=971).contains(&inside), "{name}: {inside} of {BASES}");
    }
}

#[test]
fn without_a_distance_it_is_held_and_orients_all_the_same() {
    let run = with_known("A,1,2026-05-04,backsight,K,358.0,,\n", "").map();
    let sentence = "the backsight has no distance: it serves the orientation of its base alone";
    assert_eq!(run.held, [["shots.csv", "2", "direction_only", "role", "backsight", sentence]]);
    assert_eq!(run.base_column("azimuth_correction_deg")[0], "2");
    assert_eq!(run.mapped(), 1);
    assert_near(run.numbers("true_azimuth_deg")[0], 90.0, WRITTEN_DEG);
}

#[test]
fn to_a_name_that_is_not_known() {
    let sights = "A,1,2026-05-04,backsight,Q,358.0,0,100\nA,2,2026-05-04,backsight,,358.0,0,100\n\
        A,3,2026-05-04,backsight,A,358.0,0,100\n";
    let run = with_known(sights, "").map();
    assert_eq!(run.base_column("azimuth_correction_deg"), ["", "", ""]);
    let say = |line: u32, target: &str, which: &str| {
        format!("shots.csv:{line}: the backsight is to {target}, which is {which}: it does not orient its base.")
    };
    let unknown = "no other base or known point";
    let notes = serde_json::json!([
        say(2, "\"Q\"", unknown),
        say(3, "nothing that is named", unknown),
        say(4, "\"A\"", "the base itself")
    ]);
    assert_eq!(run.summary["notes"], notes);
    // They are features like others.
    assert_eq!(run.mapped(), 4);
    assert_near(run.numbers("true_azimuth_deg")[3], 88.0, WRITTEN_DEG);
}

/// Cells of a workbook lose the zeros before a number: the base or known point that is meant is named.
#[test]
fn to_a_name_with_other_zeros_before_it() {
    let sights = format!("{ROLES}1,1,2026-05-04,backsight,002,358.0,0,100\n1,9,2026-05-04,,tree,88.0,0,100\n");
    let run = field(&[("1", 46.1, 8.9), ("2", 46.1009, 8.9)], &sights, "").map();
    let say = "shots.csv:2: the backsight is to \"002\", which is no other base or known point; there is \"2\" (are the leading zeros right?): \
        it does not orient its base.";
    assert_eq!(run.summary["notes"], serde_json::json!([say]));
}

#[test]
fn from_every_north() {
    let declination = "[north]\ndeclination = 3.0\n";
    let log = |north: &str, back: f64, tree: f64| {
        let head = ROLES.replace("true_azimuth_deg", north);
        format!("{head}A,1,2026-05-04,backsight,B,{back:.7},0,100\nA,9,2026-05-04,,tree,{tree:.7},0,100\n")
    };
    // Convergence: 0.1° west of the central meridian (spherical; the ellipsoid adds less than a millionth of it).
    let convergence = ((-0.1f64).to_radians().tan() * 46.1f64.to_radians().sin()).atan().to_degrees();
    for (north, turn) in [("true_azimuth_deg", 0.0), ("magnetic_azimuth_deg", 3.0), ("grid_azimuth_deg", convergence)] {
        let bases = [("A", 46.1, 8.9), ("B", 46.1009, 8.9)];
        let run = field(&bases, &log(north, 358.0 - turn, 88.0 - turn), declination).map();
        assert_near(number(&run.bases[0], "azimuth_correction_deg"), 2.0, WRITTEN_DEG);
        // The declination's own error is in what the sight found.
        let sigma = (SIGMA_READING_DEG.powi(2) + 2.0 * across_deg(SIGMA_BASE_M).powi(2)).sqrt();
        assert_near(number(&run.bases[0], "sigma_azimuth_correction_deg"), sigma, WRITTEN_DEG);
        let tree = run.features.iter().find(|feature| feature["feature"] == "tree").unwrap();
        assert_near(number(tree, "true_azimuth_deg"), 90.0, WRITTEN_DEG);
        let north_m = (SIGMA_BASE_M.powi(2) + (SIGMA_READING_DEG.hypot(sigma).to_radians() * 100.0).powi(2)).sqrt();
        assert_near(number(tree, "sigma_north_m"), north_m, WRITTEN_M);
        assert_eq!(tree["declination_deg"], if north.starts_with("magnetic") { "3" } else { "" });
    }
}
