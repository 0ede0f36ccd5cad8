//! Antenna heights: what must be told, and which of several counts.

use crate::stations::receiver::{Receiver, degrees};
use crate::stations::site::{PRINTED_M, Site, assert_near, named, time, unnamed};

#[test]
fn a_receiver_log_without_an_antenna_height() {
    let site = || Site::new("log.nmea", Receiver::two_stands().text, &unnamed(&[30])).heights("");
    assert_eq!(
        site().refused(),
        "the fixes of a receiver are of its antenna, and nothing says how high it stood over the ground point; write antenna_height_m \
         = 2.0 under [heights] (0 where the heights are of the ground already), or give antenna_height_m in the list of occupations"
    );
    let run = site().heights("antenna_height_m = 0.0").map();
    assert_near(run.base("stop 1"), "ellipsoid_height_m", 70.0, PRINTED_M);
}

#[test]
fn the_antenna_heights_of_a_list_go_first() {
    let list = |columns: &str, a: &str, b: &str| {
        format!("base,start,end{columns}\nA,{},{}{a}\nB,{},{}{b}\n", time(0), time(100), time(210), time(300))
    };
    let map = |heights: &str, list: String| {
        let site = Site::new("log.nmea", Receiver::two_stands().text, &named(&[("A", 30), ("B", 250)])).heights(heights);
        site.write("list.csv", list);
        site.bases("[bases.occupations.list]\nfiles = [\"list.csv\"]")
    };
    // One of the rows has none: the job's.
    let run = map("antenna_height_m = 2.0", list(",antenna_height_m,instrument_height_m", ",1.25,1.6", ",,")).map();
    assert_near(run.base("A"), "ellipsoid_height_m", 68.75, PRINTED_M);
    assert_near(run.base("B"), "ellipsoid_height_m", 68.0, PRINTED_M);
    // The list's instrument height goes before the job's 1.5 m.
    assert_near(run.shot("1"), "ellipsoid_height_m", 70.35, 1e-3);
    assert_near(run.shot("2"), "ellipsoid_height_m", 69.5, 1e-3);
    // All rows have one: the job needs none.
    let run = map("", list(",antenna_height_m", ",1.25", ",1.0")).map();
    assert_near(run.base("B"), "ellipsoid_height_m", 69.0, PRINTED_M);
    // One has none, and neither has the job.
    assert!(map("", list(",antenna_height_m", ",1.25", ",")).refused().starts_with("the fixes of a receiver are of its antenna"));
}

/// A column of a log of fixes serves as the list's does.
#[test]
fn antenna_heights_in_a_log_of_fixes() {
    let [lat, lon] = degrees([0.0, 0.0]);
    let rows = |cell: &str| (0..30).map(|i| format!("A,{},{lat:.9},{lon:.9},70,{cell}\n", time(i))).collect::<String>();
    let site = |cell: &str, heights: &str| {
        let log = "base,time,lat_deg,lon_deg,ellipsoid_height_m,antenna_height_m\n".to_owned() + &rows(cell);
        Site::new("fixes.csv", log, &named(&[("A", 5)])).bases("[bases.occupations]\nfrom = \"column\"").heights(heights)
    };
    assert_near(site("1.4", "").map().base("A"), "ellipsoid_height_m", 68.6, PRINTED_M);
    assert_near(site("1.4", "antenna_height_m = 2.0").map().base("A"), "ellipsoid_height_m", 68.6, PRINTED_M);
    assert_near(site("", "antenna_height_m = 2.0").map().base("A"), "ellipsoid_height_m", 68.0, PRINTED_M);
    let refused = site("", "").refused();
    assert!(refused.starts_with("no base can be used: 30 of 30 rows were held"), "{refused}");
    assert!(
        refused.contains("antenna_height_m is empty: nothing says how high the antenna stood; write it in the row"),
        "{refused}"
    );
}

/// The crew's antenna does not stand on a point that others surveyed.
#[test]
fn known_points_are_not_lowered() {
    let site = Site::new("log.nmea", Receiver::two_stands().text, &unnamed(&[30]));
    site.write("known.csv", "base,lat_deg,lon_deg,ellipsoid_height_m\ntower,46.101,8.9,90\n");
    let known = "[known]\nfiles = [\"known.csv\"]\ncrs = \"EPSG:4979\"\nsigma_horizontal_m = 0.1\nsigma_vertical_m = 0.2";
    let run = site.tables(known).map();
    assert_near(run.base("tower"), "ellipsoid_height_m", 90.0, PRINTED_M);
    assert_near(run.base("tower"), "sigma_vertical_m", 0.2, PRINTED_M);
    assert_near(run.base("stop 1"), "ellipsoid_height_m", 68.0, PRINTED_M);
    assert_eq!(run.counts("known.csv"), [1, 1, 0, 0]);
}

/// Fixes without heights need no antenna height: shots are mapped in the plane.
#[test]
fn fixes_without_heights() {
    let [lat, lon] = degrees([0.0, 0.0]);
    let log: String = (0..30).map(|i| format!("{},{lat:.9},{lon:.9}\n", time(i))).collect();
    let run = Site::new("fixes.csv", "time,lat_deg,lon_deg\n".to_owned() + &log, &unnamed(&[10])).heights("").map();
    assert_eq!(run.base("stop 1")["height_kind"], "none");
    assert_eq!(run.shot("1")["ellipsoid_height_m"], "");
}
