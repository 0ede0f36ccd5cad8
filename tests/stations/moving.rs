//! A receiver that moves while the crew shoots: its position at each shot, between two fixes.

use crate::stations::receiver::{Receiver, SINGLE_M};
use crate::stations::site::{PRINTED_M, Site, assert_at, assert_near, unnamed};

const INTERPOLATED: &str = "[join]\nby = \"interpolated\"";

/// 3 m/s east, a fix each 4 s up to 40 s, without those of some seconds.
fn boat(without: &[i64]) -> String {
    let mut receiver = Receiver::new();
    for second in (0..=40).step_by(4).filter(|second| !without.contains(second)) {
        receiver.fix(second, [3.0 * second as f64, 0.0], 3.0);
    }
    receiver.text
}

#[test]
fn between_fixes_and_at_them() {
    let run = Site::new("boat.nmea", boat(&[]), &unnamed(&[5, 8, 38, 41, -1])).tables(INTERPOLATED).map();
    let names = ["at 2026-05-04T08:00:05Z", "at 2026-05-04T08:00:08Z", "at 2026-05-04T08:00:38Z"];
    assert_eq!(run.names(), names);
    // The fixes at 4, 8, 36 and 40 s.
    assert_eq!(run.counts("boat.nmea"), [11, 4, 0, 7]);
    for ((name, east_m), shot) in names.iter().zip([15.0, 24.0, 114.0]).zip(["1", "2", "3"]) {
        assert_at(run.base(name), [east_m, 0.0]);
        assert_at(run.shot(shot), [east_m + 40.0, 0.0]);
        assert_near(run.base(name), "ellipsoid_height_m", 68.0, PRINTED_M);
    }
    // At a fix its own error; between them 0.5 · 0.5 m/s² · (t − a)(b − t) more.
    for (name, bend_m) in names.iter().zip([0.25 * 3.0, 0.0, 0.25 * 4.0]) {
        assert_near(run.base(name), "sigma_horizontal_m", SINGLE_M.hypot(bend_m), PRINTED_M);
        assert_near(run.base(name), "sigma_vertical_m", (1.8 * SINGLE_M).hypot(bend_m), PRINTED_M);
    }
    let say = "no two fixes within 10 s of each other lie around";
    let held: Vec<(u64, &str, String)> =
        run.held.iter().map(|held| (held.source_line, held.reason.as_str(), held.sentence.clone())).collect();
    assert_eq!(
        held,
        [
            (5, "no_base_in_time", format!("{say} 2026-05-04T08:00:41Z")),
            (6, "no_base_in_time", format!("{say} 2026-05-04T07:59:59Z")),
        ]
    );
}

#[test]
fn a_gap_is_bridged_only_where_the_job_allows_it() {
    let log = boat(&[20, 24, 28]);
    let run = Site::new("boat.nmea", &log, &unnamed(&[5, 24])).tables(INTERPOLATED).map();
    assert_eq!(run.held(), [("shots.csv", 3, "no_base_in_time")]);
    let run = Site::new("boat.nmea", &log, &unnamed(&[5, 24])).tables(&format!("{INTERPOLATED}\ngap_s = 16")).map();
    assert_eq!(run.features.len(), 2);
    let base = run.base("at 2026-05-04T08:00:24Z");
    assert_at(base, [72.0, 0.0]);
    // 8 s to each side: 0.25 · 64 m.
    assert_near(base, "sigma_horizontal_m", SINGLE_M.hypot(16.0), PRINTED_M);
}

#[test]
fn of_two_receivers_the_better_one() {
    let mut good = Receiver { gst: Some([0.1, 0.1, 0.2]), ..Receiver::new() };
    good.walk(0..20, [0.0, 1.0], [60.0, 1.0]);
    let site = Site::new("boat.nmea", boat(&[]), &unnamed(&[6, 38]));
    site.write("good.nmea", good.text);
    let mut site = site.tables(INTERPOLATED);
    site.bases = site.bases.replace("[\"boat.nmea\"]", "[\"boat.nmea\", \"good.nmea\"]");
    let run = site.map();
    // Only the first log reaches to 38 s.
    assert_at(run.base("at 2026-05-04T08:00:06Z"), [18.0, 1.0]);
    assert_near(run.base("at 2026-05-04T08:00:06Z"), "sigma_horizontal_m", 0.1, PRINTED_M);
    assert_at(run.base("at 2026-05-04T08:00:38Z"), [114.0, 0.0]);
    assert_eq!((run.counts("boat.nmea"), run.counts("good.nmea")), ([11, 2, 0, 9], [20, 1, 0, 19]));
}

#[test]
fn a_shot_without_a_time_has_no_place() {
    let shots = unnamed(&[5]) + "2,,90,0,40\n";
    let run = Site::new("boat.nmea", boat(&[]), &shots).tables(INTERPOLATED).map();
    assert_eq!(run.held(), [("shots.csv", 3, "no_time")]);
}
