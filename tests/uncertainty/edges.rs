//! Edges of single shots where a place or a standard error went wrong: by geometry, and by the law of propagation written out.

use crate::support::small::{Record, Small};

/// Layers have four decimals.
const PRINTED: f64 = 1e-4;

fn number(record: &Record, field: &str) -> f64 {
    record[field].parse().unwrap_or_else(|_| panic!("{field} is \"{}\"", record[field]))
}

#[track_caller]
fn assert_near(got: f64, want: f64, within: f64) {
    assert!((got - want).abs() <= within, "{got} is not {want} within {within}");
}

/// A sight read as 90° by an instrument that reads 0.3° too low stands at 90.3°: past the zenith, at 89.7° on the other side. So a shot eastwards
/// read as 90° and one westwards read as 89.4° meet in one point, 257 m · sin 0.3° = 1.346 m west of the base; likewise below.
#[test]
fn a_sight_past_the_zenith_comes_down_on_the_other_side() {
    let rows = "1,A,east,257,90,90\n2,A,west,257,270,89.4\n3,A,down,257,90,-90\n4,A,other,257,270,-89.4\n";
    for (correction_deg, one, other) in [(0.3, "east", "west"), (-0.3, "down", "other")] {
        let corrected = format!(
            "[[instrument.calibrations]]\ninclination_correction_deg = {correction_deg}\nsigma_inclination_correction_deg = 0.2\n"
        );
        let header = "shot,base,feature,slope_distance_m,true_azimuth_deg,inclination_deg\n";
        let job = Small::new(&format!("{header}{rows}"), "", &corrected);
        job.map();
        let [one, other] = [one, other].map(|name| job.feature("features", name));
        for field in
            ["easting", "northing", "ellipsoid_height_m", "sigma_east_m", "sigma_north_m", "sigma_up_m", "horizontal_distance_m"]
        {
            assert_near(number(&one, field), number(&other, field), 2.0 * PRINTED);
        }
        let offset_m = 257.0 * 0.3f64.to_radians().sin();
        assert_near(number(&one, "horizontal_distance_m"), offset_m, PRINTED);
        // 58.6° north: a radian of longitude is 3 331 204 m on WGS 84; heights of 300 m change it by 0.1 mm in 1.3 m.
        let west_m = (-2.9 - number(&one, "lon_deg")).to_radians() * 3_331_204.0;
        assert_near(west_m, offset_m, 0.003);
        // One standard error of the correction swings the point by 257 m times 0.2°, as one of the reading by 0.1°.
        let along = 257.0 * 0.3f64.to_radians().cos();
        let want = (0.25 + (along * 0.1f64.to_radians()).powi(2) + (along * 0.2f64.to_radians()).powi(2)).sqrt();
        assert_near(number(&one, "sigma_east_m"), want, 1e-3);
    }
}

/// What grows with a distance grows with each distance's own length: 100 ppm of a vertical distance of 500 m are 5 cm, of one of nothing are nothing,
/// however long the horizontal distance beside it is.
#[test]
fn the_error_of_a_vertical_distance_grows_with_its_own_length() {
    let rows = "1,A,level,2000,,0,0\n2,A,steep,2000,,0,500\n3,A,slope,,2000,0,0\n";
    let header = "shot,base,feature,horizontal_distance_m,slope_distance_m,true_azimuth_deg,vertical_distance_m\n";
    let job = Small::new(&format!("{header}{rows}"), "", "");
    let text = std::fs::read_to_string(job.folder.path().join("job.toml")).unwrap();
    job.write("job.toml", &text.replace("#INSTRUMENT", "sigma_distance_ppm = 100"));
    job.map();
    // The base's metre in height, 0.2 m of the reading.
    for (name, along_m) in [("level", 0.0), ("steep", 0.05), ("slope", 0.0)] {
        let feature = job.feature("features", name);
        assert_near(number(&feature, "sigma_up_m"), (1.0f64 + 0.04 + along_m * along_m).sqrt(), PRINTED);
        // Along the sight: half a metre of the base, 0.2 m and 100 ppm of 2000 m.
        assert_near(number(&feature, "sigma_north_m"), (0.25f64 + 0.04 + 0.04).sqrt(), PRINTED);
    }
}
