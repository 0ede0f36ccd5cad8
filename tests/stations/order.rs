//! The order of rows, lines and files decides nothing, and neither does the number of threads.

use std::collections::BTreeMap;

use proptest::prelude::*;

use crate::stations::receiver::{Receiver, degrees};
use crate::stations::site::{Mapped, Site, time, unnamed};
use crate::support::assert_same_files;

/// For each shot the base's place and the shot's own, and for each held shot the reason.
fn outcome(run: &Mapped) -> BTreeMap<String, [String; 3]> {
    let mapped =
        run.features.iter().map(|f| (f["shot"].clone(), [f["base"].clone(), f["lat_deg"].clone(), f["lon_deg"].clone()]));
    let held = run.held_of("shots.csv").into_iter().map(|held| {
        let id = held.row.split(',').next().unwrap().to_owned();
        (id, [held.reason.clone(), held.sentence.clone(), String::new()])
    });
    mapped.chain(held).collect()
}

fn shuffled(log: &str, keys: &[u32]) -> String {
    let (head, rows) = log.split_once('\n').unwrap();
    let mut rows: Vec<(u32, &str)> = rows.lines().zip(keys).map(|(row, key)| (*key, row)).collect();
    rows.sort();
    rows.iter().fold(format!("{head}\n"), |log, (_, row)| log + row + "\n")
}

/// Points with times, of which two names come twice, at other places.
fn points() -> String {
    let rows = [("A", 0, 0.0), ("B", 400, 30.0), ("A", 900, 60.0), ("C", 900, 90.0), ("B", 1500, 120.0), ("D", 2000, 150.0)];
    let head = "base,time,lat_deg,lon_deg,ellipsoid_height_m,sigma_horizontal_m,sigma_vertical_m\n".to_owned();
    rows.iter().zip(1..).fold(head, |log, ((base, second, east_m), i)| {
        let [lat, lon] = degrees([*east_m, 0.0]);
        // Each with an error of its own, so that of two at one time one is the better.
        log + &format!("{base},{},{lat:.9},{lon:.9},70,0.{i},1\n", time(*second))
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 10, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn rows_in_any_order(
        seconds in proptest::collection::btree_set(-300i64..6000, 1..25),
        keys in proptest::collection::vec(any::<u32>(), 40),
        base_keys in proptest::collection::vec(any::<u32>(), 6),
        by in prop_oneof![Just("last_before"), Just("nearest"), Just("id")],
    ) {
        let seconds: Vec<i64> = seconds.into_iter().collect();
        let mut shots = unnamed(&seconds);
        // A base column for the join by name; joins by time pass it over.
        shots = shots.lines().enumerate().map(|(i, line)| format!("{line},{}\n", if i == 0 { "base" } else { ["A", "B", "C"][i % 3] })).collect();
        let join = format!("[join]\nby = \"{by}\"\nlimit_s = 2500");
        let one = Site::new("points.csv", points(), &shots).tables(&join).map();
        let log = shuffled(&points(), &base_keys);
        let other = Site::new("points.csv", log, &shuffled(&shots, &keys)).tables(&join).map();
        prop_assert_eq!(outcome(&one), outcome(&other));
    }
}

/// A day with two receivers, of which the second has its own errors.
fn day() -> [String; 2] {
    let mut one = Receiver::two_stands();
    one.walk(320..400, [100.0, 0.0], [180.0, 60.0]);
    one.stand(400..520, [180.0, 60.0]);
    let mut two = Receiver { gst: Some([0.7, 0.9, 1.6]), ..Receiver::new() };
    two.stand(10..110, [0.4, 0.1]);
    two.stand(390..500, [180.3, 60.2]);
    [one.text, two.text]
}

fn site(files: &str) -> Site {
    let [one, two] = day();
    let seconds: Vec<i64> = (0..60).map(|i| 9 * i + 2).collect();
    let mut site = Site::new("one.nmea", one, &unnamed(&seconds));
    site.write("two.nmea", two);
    site.bases = site.bases.replace("[\"one.nmea\"]", files);
    site
}

#[test]
fn files_in_any_order() {
    let one = site("[\"one.nmea\", \"two.nmea\"]").map();
    let other = site("[\"two.nmea\", \"one.nmea\"]").map();
    assert_eq!((one.names(), one.features.len()), (vec!["stop 1", "stop 2", "stop 3"], 60));
    let bases =
        |run: &Mapped| run.joined().into_iter().map(|(shot, base)| (shot.to_owned(), base.to_owned())).collect::<Vec<_>>();
    assert_eq!(bases(&one), bases(&other));
    for (a, b) in one.bases.iter().zip(&other.bases) {
        for field in ["base", "epochs", "shots", "duration_s", "flags"] {
            assert_eq!(a[field], b[field], "{field}");
        }
        let [one, other] =
            [a, b].map(|base| [crate::stations::site::number(base, "easting"), crate::stations::site::number(base, "northing")]);
        // Sums in another order.
        assert!((one[0] - other[0]).hypot(one[1] - other[1]) < 1e-6);
    }
}

/// Lines of one receiver's log in two files, as where it begins a file each hour.
#[test]
fn a_log_in_two_files() {
    let lines: Vec<String> = Receiver::two_stands().text.lines().map(|line| format!("{line}\n")).collect();
    // Second 160, on the way.
    let mut site = Site::new("a.nmea", lines[..320].concat(), &unnamed(&[30, 250]));
    site.write("b.nmea", lines[320..].concat());
    site.bases = site.bases.replace("[\"a.nmea\"]", "[\"b.nmea\", \"a.nmea\"]");
    let run = site.map();
    assert_eq!(run.joined(), [("1", "stop 1"), ("2", "stop 2")]);
    assert_eq!((run.counts("a.nmea"), run.counts("b.nmea")), ([160, 120, 0, 40], [160, 120, 0, 40]));
}

#[test]
fn the_same_bytes_on_any_number_of_threads() {
    let site = site("[\"one.nmea\", \"two.nmea\"]");
    let (one, three) = (site.map_on("1"), site.map_on("3"));
    assert_same_files(&one, &three);
    let moving = site.tables("[join]\nby = \"interpolated\"");
    std::fs::remove_dir_all(&one).unwrap();
    std::fs::remove_dir_all(&three).unwrap();
    assert_same_files(&moving.map_on("1"), &moving.map_on("3"));
}
