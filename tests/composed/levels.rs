//! Sights onto level surfaces of known height: water, floors.

use super::*;

const WITH_LEVEL: &str = "shot,base,measure,role,feature,level,true_azimuth_deg,inclination_deg,slope_distance_m\n";
/// One sight 30 degrees down, without a distance.
const SIGHT: &str = "1,A,plane_sight,sight,raft,,90,-30,\n";
/// Bases with heights above a vertical datum.
const ORTHOMETRIC: &str = "base,lat_deg,lon_deg,orthometric_height_m\nA,58.6,-2.9,60\n";
/// Falling of the earth and layers' decimals over 40 m.
const NEAR_M: f64 = 1e-3;
/// The geoid slopes by less than 1 in 10,000 there: 4 mm of height over 40 m, twice that along a sight 30 degrees down.
const GEOID_M: f64 = 8e-3;

fn run(bases: &str, heights: &str, rows: &str, end: &str) -> Run {
    Run::of(&Logs { bases, header: WITH_LEVEL, rows, heights, end, ..LOGS })
}

fn part(run: &Run, field: &str) -> f64 {
    run.layer("parts")[0][field].parse().unwrap()
}

/// Standard error of the distance down to a level: the rise of 21.5 m has the errors of base and level, over the sine; the
/// sight's own angle moves it by 21.5 cos/sin² of it.
fn sigma_m(level: f64) -> f64 {
    let (sin, cos) = 30f64.to_radians().sin_cos();
    let angle = 21.5 * cos / (sin * sin) * 0.1f64.to_radians();
    (1.0f64.hypot(level) / sin).hypot(angle)
}

#[test]
fn a_level_above_the_ellipsoid() {
    let end = "[measures.levels.tarn]\nellipsoid_height_m = 40\nsigma_m = 0.4";
    let run = run(LOGS.bases, "", SIGHT, end);
    // The axis is 61.5 m up: 21.5 m / sin 30.
    let (distance, sigma) = run.value("raft", "distance_m");
    assert_near(distance, 43.0, NEAR_M);
    assert_near(sigma, sigma_m(0.4), NEAR_M);
    assert_near(part(&run, "ellipsoid_height_m"), 40.0, NEAR_M);
    // The height is that of the level, its error too: the base's cancels.
    assert_near(part(&run, "sigma_up_m"), 0.4, NEAR_M);
    let method = run.layer("measurements")[0]["method"].clone();
    assert!(method.contains("the level tarn, 40.00 m above the ellipsoid (standard error 0.40 m)"), "{method}");
    assert_eq!(run.summary["shots"]["composed"], json!(1));
}

#[test]
fn a_level_above_the_geoid_from_bases_above_the_ellipsoid() {
    let end = "[measures.levels.tarn]\northometric_height_m = -10\nsigma_m = 0.4";
    let run = run(LOGS.bases, "", SIGHT, end);
    // The layer gives back the height that was put in, by the geoid at the point.
    assert_near(part(&run, "orthometric_height_m"), -10.0, NEAR_M);
    let undulation = part(&run, "ellipsoid_height_m") + 10.0;
    assert!((45.0..55.0).contains(&undulation), "{undulation}");
    // The geoid stands between the two heights with its error.
    assert_near(part(&run, "sigma_up_m"), 0.4f64.hypot(standoff::inside::geodesy::geoid::SIGMA_M), NEAR_M);
}

#[test]
fn a_level_and_bases_of_one_vertical_datum_need_no_geoid() {
    let end = "[measures.levels.tarn]\northometric_height_m = 40\nsigma_m = 0.4";
    for (heights, near_m) in [("", GEOID_M), ("geoid = \"none\"", NEAR_M)] {
        let run = run(ORTHOMETRIC, heights, SIGHT, end);
        let (distance, sigma) = run.value("raft", "distance_m");
        assert_near(distance, 43.0, near_m);
        assert_near(sigma, sigma_m(0.4), NEAR_M);
        assert_near(part(&run, "orthometric_height_m"), 40.0, NEAR_M);
        assert_near(part(&run, "sigma_up_m"), 0.4, NEAR_M);
    }
}

#[test]
fn heights_of_two_kinds_without_a_geoid_are_refused() {
    let above_geoid = "[measures.levels.tarn]\northometric_height_m = -10\nsigma_m = 0.4";
    assert_eq!(
        run(LOGS.bases, "geoid = \"none\"", SIGHT, above_geoid).held(),
        "plane_sight of raft: [measures.levels.tarn] gives a height above the geoid, base A has one above the ellipsoid, and no geoid is \
         known between them; write the level's ellipsoid_height_m, or name a geoid under [heights]"
    );
    let above_ellipsoid = "[measures.levels.tarn]\nellipsoid_height_m = 40\nsigma_m = 0.4";
    let refused = run(ORTHOMETRIC, "geoid = \"none\"", SIGHT, above_ellipsoid).held();
    assert!(refused.contains("write the level's orthometric_height_m, or name a geoid"), "{refused}");
    let flat = "base,lat_deg,lon_deg\nA,58.6,-2.9\n";
    let refused = run(flat, "", SIGHT, above_ellipsoid).held();
    assert!(refused.contains("base A has no height"), "{refused}");
}

#[test]
fn a_row_names_its_level() {
    let rows =
        "1,A,plane_sight,sight,raft,tarn,90,-30,\n2,A,plane_sight,sight,buoy,,90,-30,\n3,A,plane_sight,sight,reed 2,,90,-30,\n";
    let end = "[measures.levels.tarn]\nellipsoid_height_m = 40\nsigma_m = 0.1\n\
               [measures.levels.sump]\nellipsoid_height_m = 30\nsigma_m = 0.1\nfeatures = [\"reed *\"]\n\
               [measures.levels.pool]\nellipsoid_height_m = 20\nsigma_m = 0.1";
    let run = run(LOGS.bases, "", rows, end);
    assert_near(run.value("raft", "distance_m").0, 43.0, NEAR_M);
    assert_near(run.value("reed 2", "distance_m").0, 63.0, NEAR_M);
    let refused = run.held();
    assert!(refused.contains("may be onto several levels (pool, tarn)"), "{refused}");
}

#[test]
fn without_a_level_the_sentence_says_how_to_write_one() {
    let refused = run(LOGS.bases, "", SIGHT, "").held();
    assert!(refused.contains("[measures.levels.NAME] with its height"), "{refused}");
}
