//! Shots to bases by name and by time.

use crate::stations::receiver::{Receiver, degrees};
use crate::stations::site::{Mapped, Site, assert_at, named, time, unnamed};

/// Points with times: name, second, metres east.
fn points(points: &[(&str, i64, f64)]) -> String {
    let head = "base,time,lat_deg,lon_deg,ellipsoid_height_m,sigma_horizontal_m,sigma_vertical_m\n".to_owned();
    points.iter().fold(head, |log, (name, second, east_m)| {
        let [lat, lon] = degrees([*east_m, 0.0]);
        log + &format!("{name},{},{lat:.9},{lon:.9},70,0.5,1\n", time(*second))
    })
}

/// A at 8:00, B at 8:10, C at 8:30.
fn three() -> String {
    points(&[("A", 0, 0.0), ("B", 600, 100.0), ("C", 1800, 200.0)])
}

fn joined(shots: &str, join: &str) -> Mapped {
    Site::new("points.csv", three(), shots).tables(&format!("[join]\n{join}")).map()
}

#[test]
fn the_last_base_before_the_shot() {
    let run = joined(&unnamed(&[0, 300, 599, 600, 1799, 1800, 5400, 5401, -60]), "by = \"last_before\"");
    let bases: Vec<&str> = run.joined().into_iter().map(|(_, base)| base).collect();
    assert_eq!(bases, ["A", "A", "A", "B", "B", "C", "C"]);
    let held: Vec<(u64, &str)> = run.held.iter().map(|held| (held.source_line, held.sentence.as_str())).collect();
    assert_eq!(
        held,
        [
            (9, "the nearest base in time, C, was occupied 60 min 1 s before the shot; limit_s under [join] is 3600"),
            (10, "no base was occupied before the shot; the first, A, came 60 s later: is a clock off?"),
        ]
    );
    assert!(run.held.iter().all(|held| held.reason == "no_base_in_time" && held.log_column == "time"));
    assert_eq!(run.held[1].value, time(-60));
    assert_at(run.shot("4"), [140.0, 0.0]);
}

#[test]
fn the_base_nearest_in_time() {
    let run = joined(&unnamed(&[-60, 299, 300, 301, 1199, 1201]), "by = \"nearest\"");
    let bases: Vec<&str> = run.joined().into_iter().map(|(_, base)| base).collect();
    // Of two as near the earlier.
    assert_eq!(bases, ["A", "A", "A", "B", "B", "C"]);
}

#[test]
fn no_base_near_enough() {
    let run = joined(&unnamed(&[-120, -121, 120, 1200, 1680]), "by = \"nearest\"\nlimit_s = 120");
    assert_eq!(run.joined(), [("1", "A"), ("3", "A"), ("5", "C")]);
    assert_eq!(run.held(), [("shots.csv", 3, "no_base_in_time"), ("shots.csv", 5, "no_base_in_time")]);
    assert_eq!(
        run.held[0].sentence,
        "the nearest base in time, A, was occupied 2 min 1 s behind the shot; limit_s under [join] is 120"
    );
}

#[test]
fn names_and_times_may_differ_and_the_job_says_which_counts() {
    let shots = named(&[("A", 700), ("B", 700)]);
    assert_eq!(joined(&shots, "by = \"id\"").joined(), [("1", "A"), ("2", "B")]);
    assert_eq!(joined(&shots, "by = \"last_before\"").joined(), [("1", "B"), ("2", "B")]);
    // Names go first unless the job says otherwise.
    assert_eq!(joined(&shots, "").joined(), [("1", "A"), ("2", "B")]);
}

#[test]
fn a_base_without_a_time_is_found_by_name_alone() {
    let site = || Site::new("points.csv", "base,lat_deg,lon_deg,ellipsoid_height_m\nA,46.1,8.9,70\n", &named(&[("A", 0)]));
    assert_eq!(site().map().joined(), [("1", "A")]);
    let run = site().tables("[join]\nby = \"nearest\"").map();
    assert_eq!(run.held[0].sentence, "no base has a time; map the base log's time column, or name the bases in the shot log");
}

/// P stands twice in the log, an hour and 50 m apart.
#[test]
fn the_time_tells_which_of_two_places_a_name_means() {
    let log = points(&[("P", 0, 0.0), ("Q", 1800, 20.0), ("P", 3600, 50.0)]);
    let shots =
        named(&[("P", 300), ("P", 3599), ("P", 3600), ("P", 9000), ("P", -600), ("Q", 10), ("P", -3601)]) + "P,8,,90,0,40\n";
    let run = Site::new("points.csv", log, &shots).map();
    for (shot, east_m) in [("1", 0.0), ("2", 0.0), ("3", 50.0), ("4", 50.0), ("5", 0.0), ("6", 20.0)] {
        assert_at(run.shot(shot), [east_m + 40.0, 0.0]);
    }
    let flags: Vec<(&str, &str)> = run.bases.iter().map(|base| (base["base"].as_str(), base["flags"].as_str())).collect();
    assert_eq!(flags, [("P", "occupations_disagree"), ("Q", ""), ("P", "occupations_disagree")]);
    assert_eq!(run.held(), [("shots.csv", 8, "no_base_in_time"), ("shots.csv", 9, "ambiguous_base")]);
    assert_eq!(
        run.held[1].sentence,
        "base P was occupied 2 times at different places, and the shot has no time to tell which is meant"
    );
}

/// The same name at two places that the receiver itself stood at.
#[test]
fn a_name_used_again_for_another_mark() {
    let shots = named(&[("P", 40), ("P", 60), ("P", 250), ("P", 270)]);
    let run = Site::new("log.nmea", Receiver::two_stands().text, &shots).bases("[bases.occupations]\nbreak_s = 100").map();
    assert_eq!(run.names(), ["P", "P"]);
    assert!(run.bases.iter().all(|base| base["flags"] == "occupations_disagree"));
    for (shot, east_m) in [("1", 0.0), ("2", 0.0), ("3", 100.0), ("4", 100.0)] {
        assert_at(run.shot(shot), [east_m + 40.0, 0.0]);
    }
    let note = "Base P: two occupations lie 100.00 m apart, 0.00 m in height, more than 3 standard errors: they are kept apart, and \
                the time of a shot tells which is meant. Was the mark the same?";
    assert!(run.notes().contains(&note), "{:?}", run.notes());
}

/// B was occupied by the list, and the receiver slept: its shots are not those of A.
#[test]
fn an_occupation_without_fixes_lends_its_shots_to_no_other_base() {
    let mut receiver = Receiver::new();
    receiver.stand(0..120, [0.0, 0.0]);
    receiver.stand(900..1020, [200.0, 0.0]);
    let site = Site::new("log.nmea", receiver.text, &unnamed(&[60, 300, 450, 520, 950]));
    let list = [("A", 0, 119), ("B", 400, 500), ("C", 900, 1019)];
    let rows: String = list.iter().map(|(base, from, to)| format!("{base},{},{}\n", time(*from), time(*to))).collect();
    site.write("list.csv", format!("base,start,end\n{rows}"));
    let run = site.bases("[bases.occupations.list]\nfiles = [\"list.csv\"]").map();
    // At 300 s A was the last; at 450 and 520 s B.
    assert_eq!(run.joined(), [("1", "A"), ("2", "A"), ("5", "C")]);
    let held: Vec<(u64, &str)> = run.held_of("shots.csv").iter().map(|held| (held.source_line, held.reason.as_str())).collect();
    assert_eq!(held, [(4, "no_base_in_time"), (5, "no_base_in_time")]);
    let say = format!(
        "base B was occupied then, and has no position: no usable fix of a receiver lies between {} and {}",
        time(400),
        time(500)
    );
    assert!(run.held_of("shots.csv").iter().all(|held| held.sentence == say), "{:?}", run.held);
}
