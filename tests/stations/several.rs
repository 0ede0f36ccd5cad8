//! Several positions of one base: occupied again, by two receivers, logged twice.

use crate::stations::receiver::{Receiver, degrees, sigma_of_mean};
use crate::stations::site::{Mapped, PRINTED_M, Site, assert_at, assert_near, named, time, unnamed};

/// At A for a minute, at B, and at A again, so many metres from where it was.
fn again(off_m: f64) -> String {
    let mut receiver = Receiver { gst: Some([1.0, 1.0, 2.0]), ..Receiver::new() };
    receiver.stand(0..60, [0.0, 0.0]);
    receiver.stand(1000..1060, [100.0, 0.0]);
    receiver.stand(2000..2060, [off_m, 0.0]);
    receiver.text
}

fn shots() -> String {
    named(&[("A", 30), ("B", 1030), ("A", 2030)])
}

#[test]
fn occupations_that_agree_are_one() {
    let run = Site::new("log.nmea", again(1.0), &shots()).map();
    assert_eq!(run.names(), ["A", "B"]);
    let a = run.base("A");
    assert_at(a, [0.5, 0.0]);
    assert_eq!((a["epochs"].as_str(), a["flags"].as_str()), ("120", ""));
    // 59 s twice; each mean has the error of a minute, both together 1/√2 of it.
    assert_near(a, "duration_s", 118.0, PRINTED_M);
    assert_near(a, "sigma_horizontal_m", sigma_of_mean(1.0, 60) / 2f64.sqrt(), PRINTED_M);
    assert_near(a, "sigma_vertical_m", sigma_of_mean(2.0, 60) / 2f64.sqrt(), PRINTED_M);
    assert_eq!(run.counts("log.nmea"), [180, 180, 0, 0]);
    assert_at(run.shot("3"), [40.5, 0.0]);
}

#[test]
fn occupations_are_kept_apart_where_the_job_says_so() {
    let run = Site::new("log.nmea", again(1.0), &shots()).bases("[bases.occupations]\nreoccupied = \"apart\"").map();
    assert_eq!(run.names(), ["A", "B", "A"]);
    assert!(run.bases.iter().all(|base| base["flags"].is_empty()));
    assert_at(run.shot("1"), [40.0, 0.0]);
    assert_at(run.shot("3"), [41.0, 0.0]);
}

#[test]
fn occupations_that_disagree_are_never_averaged() {
    let run = Site::new("log.nmea", again(30.0), &shots()).map();
    assert_eq!(run.names(), ["A", "B", "A"]);
    let flags: Vec<&str> = run.bases.iter().map(|base| base["flags"].as_str()).collect();
    assert_eq!(flags, ["occupations_disagree", "", "occupations_disagree"]);
    assert_at(run.shot("1"), [40.0, 0.0]);
    assert_at(run.shot("3"), [70.0, 0.0]);
    assert!(run.notes().iter().any(|note| note.starts_with("Base A: two occupations lie 30.00 m apart, 0.00 m in height")));
    assert_eq!(run.summary["bases"]["flags"], serde_json::json!({"occupations_disagree": 2}));
}

/// Two logs of one stop, 0.6 m apart, with standard errors of 1 m and 2 m.
fn two_receivers(rules: &str) -> Mapped {
    let log = |east_m, sigma| {
        let mut receiver = Receiver { gst: Some([sigma, sigma, 2.0 * sigma]), ..Receiver::new() };
        receiver.stand(0..60, [east_m, 0.0]);
        receiver.text
    };
    let mut site = Site::new("one.nmea", log(0.0, 2.0), &unnamed(&[30]));
    site.write("two.nmea", log(0.6, 1.0));
    site.bases = site.bases.replace("[\"one.nmea\"]", "[\"one.nmea\", \"two.nmea\"]");
    site.bases(rules).map()
}

#[test]
fn two_receivers_at_one_time() {
    let run = two_receivers("");
    assert_eq!(run.names(), ["stop 1"]);
    // Weights 1/4 and 1: 0.6 · 1/1.25.
    assert_at(run.base("stop 1"), [0.48, 0.0]);
    assert_near(run.base("stop 1"), "sigma_horizontal_m", sigma_of_mean(1.0, 60) / 1.25f64.sqrt(), PRINTED_M);
    assert_eq!((run.counts("one.nmea"), run.counts("two.nmea")), ([60, 60, 0, 0], [60, 60, 0, 0]));
}

#[test]
fn two_receivers_apart() {
    let run = two_receivers("[bases.occupations]\nreceivers = \"apart\"");
    assert_eq!(run.names(), ["stop 1", "stop 1"]);
    // Of two at one time the better one.
    assert_at(run.shot("1"), [40.6, 0.0]);
}

/// The point P twice, an hour and 1 m apart, with standard errors of 1 m and 2 m.
fn points(rules: &str) -> Mapped {
    let mut log = "base,time,lat_deg,lon_deg,ellipsoid_height_m,sigma_horizontal_m,sigma_vertical_m\n".to_owned();
    for (second, east_m, up_m, sigma) in [(0, 0.0, 70.0, 1), (3600, 1.0, 71.0, 2)] {
        let [lat, lon] = degrees([east_m, 0.0]);
        log += &format!("P,{},{lat:.9},{lon:.9},{up_m},{sigma},{sigma}\n", time(second));
    }
    Site::new("points.csv", log, &named(&[("P", 60), ("P", 3660)])).bases(rules).map()
}

#[test]
fn a_point_that_was_logged_twice() {
    let run = points("");
    assert_at(run.shot("1"), [40.0, 0.0]);
    assert_at(run.shot("2"), [40.0, 0.0]);
    let flags: Vec<&str> = run.bases.iter().map(|base| base["flags"].as_str()).collect();
    assert_eq!(flags, ["", "repeated_base"]);
    assert_eq!(run.counts("points.csv"), [2, 2, 0, 0]);
}

#[test]
fn a_point_that_was_logged_twice_and_apart() {
    let run = points("[bases.occupations]\nreoccupied = \"apart\"");
    assert_at(run.shot("1"), [40.0, 0.0]);
    assert_at(run.shot("2"), [41.0, 0.0]);
}

#[test]
fn a_point_that_was_logged_twice_and_averaged() {
    let run = points("[bases.occupations]\nreoccupied = \"merge\"");
    assert_eq!(run.names(), ["P"]);
    // Weights 1 and 1/4, less 2 m of pole.
    assert_at(run.base("P"), [0.2, 0.0]);
    assert_near(run.base("P"), "ellipsoid_height_m", 68.2, PRINTED_M);
    assert_near(run.base("P"), "sigma_horizontal_m", 0.8f64.sqrt(), PRINTED_M);
    assert_at(run.shot("2"), [40.2, 0.0]);
    assert_eq!(run.counts("points.csv"), [2, 2, 0, 0]);
}

/// A standard error that nobody stated is told of, merged or not.
#[test]
fn assumed_errors_of_merged_points_are_told() {
    let log = "base,lat_deg,lon_deg,ellipsoid_height_m\nP,46.1,8.9,70\nP,46.10001,8.9,70\n";
    let site = || Site::new("points.csv", log, &named(&[("P", 60)]));
    for run in [site().map(), site().bases("[bases.occupations]\nreoccupied = \"merge\"").map()] {
        let told =
            |word: &str| run.notes().iter().any(|note| note.starts_with(&format!("The standard error of base {word} is not")));
        assert!(told("positions") && told("heights"), "{:?}", run.notes());
    }
}

/// A point without a time and an occupation of its name far away: neither can be meant for certain.
#[test]
fn a_point_and_an_occupation_far_apart() {
    let mut site = Site::new("log.nmea", again(0.0), &shots());
    site.write("points.csv", "base,lat_deg,lon_deg,ellipsoid_height_m,sigma_horizontal_m,sigma_vertical_m\nA,46.11,8.9,70,1,1\n");
    site.write("list.csv", format!("base,start,end\nA,{},{}\nB,{},{}\n", time(0), time(59), time(1000), time(1059)));
    site.bases = site.bases.replace("[\"log.nmea\"]", "[\"log.nmea\", \"points.csv\"]");
    let run = site.bases("[bases.occupations.list]\nfiles = [\"list.csv\"]").map();
    assert_eq!(run.joined(), [("2", "B")]);
    // Each fix of A is held with it; the 60 of the third stop are in no occupation.
    assert_eq!(run.counts("log.nmea"), [180, 60, 60, 60]);
    assert!(run.held()[..60].iter().all(|(file, _, reason)| (*file, *reason) == ("log.nmea", "ambiguous_base")));
    let others = [("points.csv", 2, "ambiguous_base"), ("shots.csv", 2, "ambiguous_base"), ("shots.csv", 4, "ambiguous_base")];
    assert_eq!(run.held()[60..], others);
}
