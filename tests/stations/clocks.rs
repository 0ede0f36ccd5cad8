//! Clocks: logs without a date, midnight, GPS time, local time, clocks that are off, a week counter that has turned over.

use crate::stations::receiver::{Receiver, at};
use crate::stations::site::{Site, assert_at, named, time, unnamed};

fn undated() -> Receiver {
    Receiver { rmc: false, ..Receiver::new() }
}

const NO_DATE: &str = "no RMC or ZDA sentence tells the day; write the date of the log's first fix under [bases]";

#[test]
fn a_log_of_times_alone_needs_the_date() {
    let mut receiver = undated();
    receiver.stand(0..60, [0.0, 0.0]);
    let site = || Site::new("log.nmea", &receiver.text, &unnamed(&[30]));
    assert_eq!(site().refused(), format!("no base can be used: 60 of 60 rows were held; the first: {NO_DATE}"));
    let run = site().bases("date = \"2026-05-04\"").map();
    assert_eq!(run.counts("log.nmea"), [60, 60, 0, 0]);
    assert_eq!(run.joined(), [("1", "stop 1")]);
    assert_eq!(run.base("stop 1")["time"], "2026-05-04T08:00:00.000Z");
    assert!(site().bases("date = \"4 May\"").refused().contains("date = \"4 May\": write a day such as \"2026-05-04\""));
}

/// Beside points, such a log is held sentence by sentence.
#[test]
fn sentences_without_a_day_are_held() {
    let mut receiver = undated();
    receiver.stand(0..3, [0.0, 0.0]);
    let mut site = Site::new("log.nmea", receiver.text, &named(&[("P", 1)]));
    site.write("points.csv", "base,lat_deg,lon_deg,ellipsoid_height_m\nP,46.1,8.9,70\n");
    site.bases = site.bases.replace("[\"log.nmea\"]", "[\"log.nmea\", \"points.csv\"]");
    let run = site.map();
    let expected: Vec<(&str, u64, &str)> = (1..=3).map(|line| ("log.nmea", line, "fix_without_date")).collect();
    assert_eq!(run.held(), expected);
    assert_eq!((run.held[0].sentence.as_str(), run.held[0].value.as_str()), (NO_DATE, "080000.00"));
    assert_eq!(run.joined(), [("1", "P")]);
}

/// A stop that begins two minutes before midnight of 4 May, by RMC and by GGA alone.
#[test]
fn over_midnight() {
    let second = 16 * 3600;
    for rmc in [true, false] {
        let mut receiver = Receiver { rmc, ..Receiver::new() };
        receiver.stand(second - 120..second + 120, [10.0, 20.0]);
        let site = Site::new("log.nmea", receiver.text, &unnamed(&[second - 10, second + 30]));
        let run = site.bases("date = \"2026-05-04\"").map();
        assert_eq!(run.counts("log.nmea"), [240, 240, 0, 0]);
        let base = run.base("stop 1");
        assert_eq!((base["epochs"].as_str(), base["duration_s"].as_str()), ("240", "239"));
        assert_eq!(base["time"], "2026-05-04T23:58:00.000Z");
        assert_eq!(run.features.len(), 2);
        assert_at(run.shot("2"), [50.0, 20.0]);
    }
}

#[test]
fn a_receiver_whose_clock_is_an_hour_slow() {
    let mut receiver = Receiver { start: at(-3600), ..Receiver::new() };
    receiver.stand(0..60, [0.0, 0.0]);
    let run = Site::new("log.nmea", receiver.text, &unnamed(&[30, -1])).bases("clock_offset_s = 3600").map();
    assert_eq!(run.base("stop 1")["time"], "2026-05-04T08:00:00.000Z");
    assert_eq!(run.joined(), [("1", "stop 1")]);
    assert_eq!(run.held(), [("shots.csv", 3, "no_base_in_time")]);
    assert_eq!(run.held[0].sentence, "no base was occupied before the shot; the first, stop 1, came 1 s later: is a clock off?");
}

/// GPS − UTC is 18 s since 2017.
#[test]
fn shots_in_gps_time() {
    let shots = unnamed(&[17, 18, 137, 138]).replace('Z', "");
    let site = || Site::new("log.nmea", Receiver::two_stands().text, &shots).shots("time_zone = \"GPS\"");
    let run = site().map();
    // 07:59:59 is before the first fix.
    assert_eq!(run.held(), [("shots.csv", 2, "no_base_in_time")]);
    let times: Vec<&str> = run.features.iter().map(|shot| shot["time"].as_str()).collect();
    assert_eq!(times, ["2026-05-04T08:00:00.000Z", "2026-05-04T08:01:59.000Z", "2026-05-04T08:02:00.000Z"]);

    // An invented step of 2026, in the form of the published list: seconds since 1900.
    let mut site = site();
    site.write("steps.list", "#@ 3985977600\n3692217600 37 # 1 Jan 2017\n3976214400 38 # 1 Jan 2026\n");
    site.top = "leap_seconds = \"steps.list\"".into();
    let run = site.map();
    let times: Vec<&str> = run.features.iter().map(|shot| shot["time"].as_str()).collect();
    assert_eq!(times, ["2026-05-04T08:01:58.000Z", "2026-05-04T08:01:59.000Z"]);
    assert_eq!(run.held().len(), 2);
    site.write("steps.list", "# nothing\n");
    assert!(site.refused().contains("the table has no steps"));
}

/// Summer time ended in Oslo on 25 October 2026 at 3 h, so that 02:30 came twice.
#[test]
fn local_time_on_the_night_that_the_clocks_went_back() {
    let mut receiver = Receiver { start: "2026-10-25T00:00:00Z".parse().unwrap(), ..Receiver::new() };
    receiver.stand(0..60, [0.0, 0.0]);
    receiver.stand(7200..7260, [100.0, 0.0]);
    let shots = "shot,time,true_azimuth_deg,inclination_deg,slope_distance_m\n\
                 1,2026-10-25 01:59:59,90,0,40\n2,2026-10-25T02:00:30+02:00,90,0,40\n3,2026-10-25 02:30:00,90,0,40\n\
                 4,2026-10-25 03:00:30,90,0,40\n";
    let run = Site::new("log.nmea", receiver.text, shots).shots("time_zone = \"Europe/Oslo\"").map();
    assert_eq!(run.held(), [("shots.csv", 2, "no_base_in_time"), ("shots.csv", 4, "ambiguous_time")]);
    assert_eq!(run.joined(), [("2", "stop 1"), ("4", "stop 2")]);
    assert_eq!(run.shot("4")["time"], "2026-10-25T02:00:30.000Z");
}

/// Shots 5 s inside their stops at either end, by a clock an hour fast.
const LATE: [i64; 10] = [3605, 3630, 3660, 3690, 3714, 3805, 3830, 3860, 3890, 3914];

#[test]
fn a_clock_that_seems_to_be_off_is_told_and_left() {
    let site = || Site::new("log.nmea", Receiver::two_stands().text, &unnamed(&LATE)).tables("[join]\nlimit_s = 7200");
    let run = site().map();
    let note = "The shots' clock seems to be off: 0 % of the shots fall into an occupation, and 100 % would with -3600 s (give or \
                take 5 s) added to their times. If that is so, write clock_offset_s = -3600 under [shots]; nothing was changed.";
    assert!(run.notes().contains(&note), "{:?}", run.notes());
    assert!(run.joined().iter().all(|(_, base)| *base == "stop 2"));
    assert_eq!(run.shot("1")["time"], time(3605).replace('Z', ".000Z"));

    let run = site().shots("clock_offset_s = -3600").map();
    assert!(!run.notes().iter().any(|note| note.contains("clock")), "{:?}", run.notes());
    assert_eq!(run.shot("1")["time"], time(5).replace('Z', ".000Z"));
    assert_eq!((run.base("stop 1")["shots"].as_str(), run.base("stop 2")["shots"].as_str()), ("5", "5"));
}

/// Windows that the shots themselves open move with their clock: the receiver's stops tell.
#[test]
fn a_clock_that_is_off_where_the_shots_tell_the_occupations() {
    let shots: Vec<(&str, i64)> = LATE.iter().map(|second| (if *second < 3800 { "A" } else { "B" }, *second)).collect();
    let mut receiver = Receiver::two_stands();
    receiver.walk(320..4200, [100.0, 0.0], [5000.0, 0.0]);
    receiver.stand(4200..4230, [5000.0, 0.0]);
    let mut site = Site::new("log.nmea", receiver.text, &named(&shots));
    site.write("points.csv", "base,lat_deg,lon_deg,ellipsoid_height_m\nP,46.1,8.9,70\n");
    site.bases = site.bases.replace("[\"log.nmea\"]", "[\"log.nmea\", \"points.csv\"]");
    let run = site.bases("[bases.occupations]\nfrom = \"shots\"").map();
    assert!(run.notes().iter().any(|note| note.contains("write clock_offset_s = -3600 under [shots]")), "{:?}", run.notes());
    // Walking all the while, the receiver made neither base.
    assert_eq!((run.features.len(), run.held().len()), (0, 10));
}

#[test]
fn a_week_counter_that_has_turned_over() {
    // 1024 weeks before 4 May 2026.
    let mut receiver = Receiver { start: "2006-09-18T08:00:00Z".parse().unwrap(), ..Receiver::new() };
    receiver.stand(0..60, [0.0, 0.0]);
    let note = "The receiver's dates lie 1024 weeks behind the shots': its GPS week counter has turned over. Write clock_offset_s = \
                619315200 under [bases].";
    let run = Site::new("log.nmea", &receiver.text, &unnamed(&[30])).map();
    assert!(run.notes().contains(&note), "{:?}", run.notes());
    assert_eq!(run.held(), [("shots.csv", 2, "no_base_in_time")]);
    let mended = "clock_offset_s = 619315200";
    let run = Site::new("log.nmea", &receiver.text, &unnamed(&[30])).bases(mended).map();
    assert_eq!((run.base("stop 1")["time"].as_str(), run.features.len()), ("2026-05-04T08:00:00.000Z", 1));
    assert!(!run.notes().contains(&note));

    // Where the shots name their bases, no base comes about, and the message says why.
    let message = Site::new("log.nmea", &receiver.text, &named(&[("A", 30)])).refused();
    assert!(message.starts_with("no base can be used") && message.contains(note), "{message}");
    let run = Site::new("log.nmea", &receiver.text, &named(&[("A", 30)])).bases(mended).map();
    assert_eq!(run.joined(), [("1", "A")]);
}
