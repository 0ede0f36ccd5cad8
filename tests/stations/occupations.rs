//! From fixes to bases: by the receiver's stops, by a list, by the shots, by a column, each fix alone.

use crate::stations::receiver::{Receiver, SINGLE_M, degrees, sigma_of_mean};
use crate::stations::site::{NEAR_M, PRINTED_M, Site, assert_at, assert_near, named, time, unnamed};

#[test]
fn stops_of_a_receiver() {
    let shots = unnamed(&[60, 110, 150, 250, 300]);
    let run = Site::new("log.nmea", Receiver::two_stands().text, &shots).map();
    assert_eq!(run.names(), ["stop 1", "stop 2"]);
    // 320 fixes, of which 80 are of the walk; the RMC sentences are no fixes of their own.
    assert_eq!(run.counts("log.nmea"), [320, 240, 0, 80]);
    assert_eq!(run.counts("shots.csv"), [5, 5, 0, 0]);
    // The third shot was taken on the way: the stop before it counts.
    assert_eq!(run.joined(), [("1", "stop 1"), ("2", "stop 1"), ("3", "stop 1"), ("4", "stop 2"), ("5", "stop 2")]);
    for (name, east_m, second) in [("stop 1", 0.0, 0), ("stop 2", 100.0, 200)] {
        let base = run.base(name);
        assert_at(base, [east_m, 0.0]);
        assert_eq!([&base["epochs"], &base["epochs_aside"], &base["fix_kind"]], ["120", "0", "single 120"]);
        assert_eq!(base["time"], time(second).replace('Z', ".000Z"));
        assert_near(base, "duration_s", 119.0, PRINTED_M);
        // 20 m above the sea, 50 m of geoid, less 2 m of pole.
        assert_near(base, "ellipsoid_height_m", 68.0, PRINTED_M);
        assert_near(base, "sigma_horizontal_m", sigma_of_mean(SINGLE_M, 120), PRINTED_M);
        assert_near(base, "sigma_vertical_m", sigma_of_mean(1.8 * SINGLE_M, 120), PRINTED_M);
        assert_near(base, "spread_m", 0.0, NEAR_M);
    }
    assert_eq!((run.base("stop 1")["shots"].as_str(), run.base("stop 2")["shots"].as_str()), ("3", "2"));
    assert_at(run.shot("1"), [40.0, 0.0]);
    assert_at(run.shot("5"), [140.0, 0.0]);
    assert_near(run.shot("5"), "ellipsoid_height_m", 69.5, NEAR_M);
    assert!(
        run.ran.out.starts_with("5 of 5 shots mapped, 0 held, 0 flagged; 2 bases of 240 fixes and points, 0 held, 80 outside")
    );
}

#[test]
fn stops_too_short_are_none() {
    let site = Site::new("log.nmea", Receiver::two_stands().text, &unnamed(&[250]));
    let run = site.bases("[bases.occupations]\nleast_duration_s = 119").map();
    assert_eq!(run.names(), ["stop 1", "stop 2"]);
    let site = Site::new("log.nmea", Receiver::two_stands().text, &unnamed(&[250]));
    let message = site.bases("[bases.occupations]\nleast_duration_s = 119.5").refused();
    assert!(message.starts_with("no base can be used: 0 of 320 rows were held"), "{message}");
}

/// Scatter of 0.3 m to each side, and one epoch 40 m off.
#[test]
fn the_mean_of_a_stop_and_its_outlying_epoch() {
    let mut receiver = Receiver::new();
    for second in 0..60 {
        let east_m = if second == 31 { 40.0 } else { [0.3, -0.3][second as usize % 2] };
        receiver.fix(second, [east_m, 5.0], 0.0);
    }
    let run = Site::new("log.nmea", receiver.text, &unnamed(&[59])).map();
    // Lines 2 n + 1 and 2 n + 2 are of second n.
    assert_eq!(run.held(), [("log.nmea", 64, "outlying_epoch")]);
    let held = &run.held[0];
    assert!(held.sentence.ends_with("m from the mean of base stop 1: set aside as outlying"), "{}", held.sentence);
    let metres: f64 = held.sentence.split(' ').next().unwrap().parse().unwrap();
    // Of 60 epochs, 30 lie at +0.3 m and 29 at −0.3 m: the median is at +0.3 m or between.
    assert!((39.6..=40.1).contains(&metres), "{metres}");
    assert_eq!(run.counts("log.nmea"), [60, 59, 1, 0]);
    let base = run.base("stop 1");
    // 30 · 0.3 − 29 · 0.3 over 59.
    assert_at(base, [0.3 / 59.0, 5.0]);
    assert_eq!([&base["epochs"], &base["epochs_aside"]], ["59", "1"]);
    assert_near(base, "spread_m", 0.3, 1e-3);
}

#[test]
fn a_list_of_occupations() {
    let list = format!(
        "base,start,end\nA,{},{}\nB,{},{}\nC,{},{}\nD,{},{}\n",
        time(10),
        time(50),
        time(210),
        time(260),
        time(5000),
        time(5100),
        time(60),
        time(50)
    );
    let shots = named(&[("A", 30), ("B", 240), ("C", 5050), ("D", 55), ("E", 60)]);
    let site = Site::new("log.nmea", Receiver::two_stands().text, &shots);
    site.write("list.csv", list);
    let run = site.bases("[bases.occupations.list]\nfiles = [\"list.csv\"]").map();
    assert_eq!(run.names(), ["A", "B"]);
    // Both ends count: 41 and 51 fixes.
    assert_eq!(run.counts("log.nmea"), [320, 92, 0, 228]);
    assert_eq!(run.counts("list.csv"), [4, 2, 2, 0]);
    assert_eq!(run.summary["bases"]["read"], 324, "the list is a log of bases");
    assert_eq!(run.counts("shots.csv"), [5, 2, 3, 0]);
    assert_eq!((run.base("A")["epochs"].as_str(), run.base("B")["epochs"].as_str()), ("41", "51"));
    assert_at(run.base("B"), [100.0, 0.0]);
    let mut held: Vec<(&str, u64, &str, &str)> = run
        .held
        .iter()
        .map(|held| (held.source_file.as_str(), held.source_line, held.reason.as_str(), held.sentence.as_str()))
        .collect();
    held.sort();
    let between = "no usable fix of a receiver lies between 2026-05-04T09:23:20Z and 2026-05-04T09:25:00Z";
    let backwards = "end 2026-05-04T08:00:50Z is before the start";
    assert_eq!(
        held,
        [
            ("list.csv", 4, "few_epochs", between),
            ("list.csv", 5, "not_a_time", backwards),
            ("shots.csv", 4, "base_held", format!("base C was held: {between}").as_str()),
            ("shots.csv", 5, "base_held", format!("base D was held: {backwards}").as_str()),
            ("shots.csv", 6, "unknown_base", "no base log has a base E"),
        ]
    );
}

#[test]
fn the_shots_tell_when_their_bases_were_occupied() {
    let shots = named(&[("A", 30), ("A", 60), ("B", 240), ("B", 250)]);
    let run = Site::new("log.nmea", Receiver::two_stands().text, &shots).map();
    // 30 s before the first shot and behind the last: 0 to 90 and 210 to 280.
    assert_eq!((run.base("A")["epochs"].as_str(), run.base("B")["epochs"].as_str()), ("91", "71"));
    assert_eq!(run.counts("log.nmea"), [320, 162, 0, 158]);
    assert_at(run.base("A"), [0.0, 0.0]);
    assert_at(run.base("B"), [100.0, 0.0]);
    assert_at(run.shot("3"), [140.0, 0.0]);
}

/// Epochs at which the receiver says that it moves are not of the base, even inside the margin.
#[test]
fn margins_that_reach_into_the_walk() {
    let site = Site::new("log.nmea", Receiver::two_stands().text, &named(&[("A", 100), ("B", 230)]));
    let run = site.bases("[bases.occupations]\nmargin_s = 60").map();
    // From 40 to 160, and from half the way, 170 (which is after 165), to 290: at rest are 40 to 119 and 200 to 290.
    assert_eq!((run.base("A")["epochs"].as_str(), run.base("B")["epochs"].as_str()), ("80", "91"));
    assert_at(run.base("A"), [0.0, 0.0]);
    assert_at(run.base("B"), [100.0, 0.0]);
}

#[test]
fn runs_of_shots_without_names() {
    let site = Site::new("log.nmea", Receiver::two_stands().text, &unnamed(&[30, 60, 240, 250]));
    let run = site.bases("[bases.occupations]\nfrom = \"shots\"\nbreak_s = 100").map();
    assert_eq!(run.joined(), [("1", "setup 1"), ("2", "setup 1"), ("3", "setup 2"), ("4", "setup 2")]);
    assert_eq!(run.counts("log.nmea"), [320, 162, 0, 158]);
    assert_at(run.base("setup 2"), [100.0, 0.0]);
}

/// A log of fixes that names the base in a column: A, B, and A again two hours later.
fn column_log() -> String {
    let mut log = "base,time,lat_deg,lon_deg,ellipsoid_height_m\n".to_owned();
    for (base, first, east_m) in [("A", 0, 0.0), ("B", 60, 100.0), ("A", 7200, 1.0), ("", 9000, 500.0)] {
        for i in 0..10 {
            let [lat, lon] = degrees([east_m, 0.0]);
            log += &format!("{base},{},{lat:.9},{lon:.9},70.0\n", time(first + i));
        }
    }
    log
}

#[test]
fn a_column_of_the_log_names_the_base() {
    let site = Site::new("fixes.csv", column_log(), &named(&[("A", 5), ("B", 65), ("A", 7300)]));
    let run = site.bases("[bases.occupations]\nfrom = \"column\"").map();
    assert_eq!(run.counts("fixes.csv"), [40, 30, 0, 10]);
    // Two occupations of A, 1 m apart, agree: one mean.
    assert_eq!(run.names(), ["A", "B"]);
    assert_at(run.base("A"), [0.5, 0.0]);
    assert_near(run.base("A"), "ellipsoid_height_m", 68.0, PRINTED_M);
    assert_eq!(run.base("A")["epochs"], "20");
    assert_eq!(run.features.len(), 3);
}

/// Kept apart, the time of the shot tells which occupation is meant.
#[test]
fn a_column_names_a_base_again_and_apart() {
    let site = Site::new("fixes.csv", column_log(), &named(&[("A", 5), ("B", 65), ("A", 7300)]));
    let run = site.bases("[bases.occupations]\nfrom = \"column\"\nreoccupied = \"apart\"").map();
    assert_eq!(run.names(), ["A", "B", "A"]);
    assert_at(run.shot("1"), [40.0, 0.0]);
    assert_at(run.shot("3"), [41.0, 0.0]);
    assert!(run.bases.iter().all(|base| base["flags"].is_empty()), "they agree");
}

#[test]
fn each_fix_is_a_base() {
    let mut receiver = Receiver::new();
    receiver.walk(0..10, [0.0, 0.0], [20.0, 0.0]);
    let site = Site::new("log.nmea", receiver.text, &unnamed(&[3, 20]));
    let run = site.bases("[bases.occupations]\nfrom = \"each\"").tables("[join]\nby = \"nearest\"").map();
    assert_eq!(run.counts("log.nmea"), [10, 10, 0, 0]);
    assert_eq!(run.bases.len(), 10);
    assert_eq!(run.joined(), [("1", "at 2026-05-04T08:00:03Z"), ("2", "at 2026-05-04T08:00:09Z")]);
    assert_at(run.shot("1"), [6.0 + 40.0, 0.0]);
    assert_near(run.base("at 2026-05-04T08:00:03Z"), "sigma_horizontal_m", SINGLE_M, PRINTED_M);
}
