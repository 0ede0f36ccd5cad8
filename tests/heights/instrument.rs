//! The heights of the instrument over the base's ground point, of the sighted spot over the feature's and of the antenna:
//! never assumed where a height hangs on them.

use std::fs;

use super::common::{Field, HEAD};
use super::support::{self, standoff};
use super::{assert_written, heights, number};

const SENTENCE: &str = "the instrument height is not known; write it in the row, or instrument_height_m under [heights] (0 where \
    the base's height is that of the instrument's axis)";

/// A job that says nothing of instrument heights.
fn unsaid(shots: &str) -> Field {
    let mut field = Field::new(shots);
    field.job = field.job.replace("instrument_height_m = 1.5\n", "");
    field
}

const ROW: &str = "A,1,2026-05-04T08:00:01Z,90,0,100,x\n";

#[test]
fn a_shot_without_it_is_held() {
    let run = unsaid(&(HEAD.to_owned() + ROW)).map();
    assert_eq!(run.held, [["shots.csv", "2", "no_instrument_height", "", "", SENTENCE]]);
    assert_eq!(run.mapped(), 0);
}

#[test]
fn zero_is_said_like_any_other() {
    let rise = |metres: &str| {
        let field = heights(unsaid(&(HEAD.to_owned() + ROW)), &format!("instrument_height_m = {metres}"));
        let run = field.map();
        number(&run.features[0], "ellipsoid_height_m") - number(&run.bases[0], "ellipsoid_height_m")
    };
    // A level sight over 100 m rises by 100²/2R, less what refraction takes: 0.7 mm.
    let level = rise("0");
    assert!((0.0005..0.001).contains(&level), "{level}");
    assert_written(rise("1.62"), level + 1.62);
    assert_written(rise("-0.5"), level - 0.5);
}

#[test]
fn the_row_goes_before_the_base_and_the_base_before_the_job() {
    let shots = "base,shot,time,true_azimuth_deg,inclination_deg,slope_distance_m,instrument_height_m\n\
        A,1,2026-05-04T08:00:01Z,90,0,100,1.4\nA,2,2026-05-04T08:00:02Z,91,0,100,\nB,3,2026-05-04T08:00:03Z,92,0,100,\n";
    let field = unsaid(shots);
    field.write(
        "bases.csv",
        "base,lat_deg,lon_deg,ellipsoid_height_m,instrument_height_m\nA,46.1,8.9,500,1.2\nB,46.101,8.901,500,\n",
    );
    let run = heights(field, "instrument_height_m = 1.0").map();
    let up = run.numbers("ellipsoid_height_m").iter().map(|metres| (metres * 100.0).round() / 100.0).collect::<Vec<_>>();
    assert_eq!(up, [501.4, 501.2, 501.0]);
}

#[test]
fn it_is_not_needed_where_nothing_vertical_comes_of_it() {
    // Horizontal distances alone.
    let level = "base,shot,time,true_azimuth_deg,horizontal_distance_m\nA,1,2026-05-04T08:00:01Z,90,100\n";
    let run = unsaid(level).map();
    assert_eq!((run.mapped(), run.column("height_kind")), (1, vec!["none"]));
    assert_eq!(run.column("ellipsoid_height_m"), [""]);
    assert_eq!(run.summary["shots"]["without_height"], 1);
    // A base without a height.
    let field = unsaid(&(HEAD.to_owned() + ROW));
    field.write("bases.csv", "base,lat_deg,lon_deg\nA,46.1,8.9\n");
    let run = field.map();
    assert_eq!((run.mapped(), run.column("height_kind"), run.column("ellipsoid_height_m")), (1, vec!["none"], vec![""]));
    // A horizontal and a vertical distance do need it.
    let vertical =
        "base,shot,time,true_azimuth_deg,horizontal_distance_m,vertical_distance_m\nA,1,2026-05-04T08:00:01Z,90,100,2\n";
    assert_eq!(unsaid(vertical).map().held[0][2], "no_instrument_height");
}

#[test]
fn it_can_be_said_on_the_command_line() {
    let job = Field::new(HEAD.to_owned() + ROW);
    let plain = ["map", "--bases", "bases.csv", "--shots", "shots.csv", "--crs", "EPSG:32632", "--format", "csv"];
    let mapped = |out: &str, more: &[&str], status: i32| {
        standoff(job.folder.path(), &[&plain, ["--out", out].as_slice(), more].concat()).exits(status);
        support::records(&job.path(out).join(format!("csv/{out}.features.csv")))
    };
    let height = |features: &[std::collections::BTreeMap<String, String>]| number(&features[0], "ellipsoid_height_m");
    let by_job = job.map();
    assert_written(height(&mapped("said", &["--instrument-height", "1.5", "--target-height", "0"], 0)), height(&by_job.features));
    assert_written(
        height(&mapped("below", &["--instrument-height", "-0.25", "--target-height", "0"], 0)),
        height(&by_job.features) - 1.75,
    );
    // Unsaid: held, and told.
    assert!(mapped("unsaid", &["--strict"], 3).is_empty());
    assert!(fs::read_to_string(job.path("unsaid/held.csv")).unwrap().contains("no_instrument_height"));
}

const TARGET: &str = "the target height is not known; write it in the row, or target_height_m under [heights] (0 where heights are to be \
    those of the sighted spot)";

#[test]
fn a_target_height_that_nobody_says_is_no_zero() {
    let unsaid = |shots: &str| {
        let mut field = Field::new(shots);
        field.job = field.job.replace("target_height_m = 0\n", "");
        field
    };
    let run = unsaid(&(HEAD.to_owned() + ROW)).map();
    assert_eq!(run.held, [["shots.csv", "2", "no_target_height", "", "", TARGET]]);
    // A column that is empty in one row; the other is 0.4 m lower than the sighted spot.
    let shots = "base,shot,time,true_azimuth_deg,inclination_deg,slope_distance_m,target_height_m\n\
        A,1,2026-05-04T08:00:01Z,90,0,100,0.4\nA,2,2026-05-04T08:00:02Z,91,0,100,\n";
    let run = unsaid(shots).map();
    assert_eq!(run.held, [["shots.csv", "3", "no_target_height", "", "", TARGET]]);
    let rise = number(&run.features[0], "ellipsoid_height_m") - number(&run.bases[0], "ellipsoid_height_m");
    assert!((rise - 1.1).abs() < 0.001, "{rise}");
    // Nothing vertical comes of a horizontal distance alone.
    let level = "base,shot,time,true_azimuth_deg,horizontal_distance_m\nA,1,2026-05-04T08:00:01Z,90,100\n";
    assert_eq!(unsaid(level).map().mapped(), 1);
}

#[test]
fn an_empty_antenna_height_is_no_zero() {
    let map = |heights_say: &str| {
        let field = Field::new(&(HEAD.to_owned() + ROW));
        let bases = "base,lat_deg,lon_deg,ellipsoid_height_m,antenna_height_m\nA,46.1,8.9,512.3,\nB,46.101,8.901,514.1,2.0\n";
        field.write("bases.csv", bases);
        heights(field, heights_say).map()
    };
    let run = map("");
    let say = "antenna_height_m is empty: nothing says how high the antenna stood; write it in the row, or antenna_height_m under [heights]";
    assert_eq!(run.held[0], ["bases.csv", "2", "no_height", "antenna_height_m", "", say]);
    assert_eq!(run.held[1][2], "base_held");
    assert_written(number(&run.bases[0], "ellipsoid_height_m"), 512.1);
    assert_written(number(&map("antenna_height_m = 0").bases[0], "ellipsoid_height_m"), 512.3);
}
