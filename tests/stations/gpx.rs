//! GPX files as logs of where the crew stood: waypoints are bases, points of tracks are fixes.

use crate::stations::receiver::degrees;
use crate::stations::site::{PRINTED_M, Site, assert_at, assert_near, named, time, unnamed};

fn gpx(inner: &str) -> String {
    format!("<?xml version=\"1.0\"?>\n<gpx version=\"1.1\" xmlns=\"http://www.topografix.com/GPX/1/1\">\n{inner}</gpx>\n")
}

fn point(element: &str, east_m: f64, children: &str) -> String {
    let [lat, lon] = degrees([east_m, 0.0]);
    format!("<{element} lat=\"{lat:.9}\" lon=\"{lon:.9}\">{children}</{element}>\n")
}

/// A fix each second: a minute at 0 m, and another at 100 m.
fn track() -> String {
    let stands = [(0, 0.0), (200, 100.0)];
    let points = stands.iter().flat_map(|(first, east_m)| {
        (0..60).map(move |i| point("trkpt", *east_m, &format!("<ele>20</ele><time>{}</time>", time(first + i))))
    });
    format!("<trk><trkseg>\n{}</trkseg></trk>\n", points.collect::<String>())
}

#[test]
fn waypoints_are_bases() {
    let waypoints = [
        point("wpt", 0.0, "<ele>20</ele><geoidheight>50</geoidheight><name>A</name><desc>on the dike</desc>"),
        point("wpt", 100.0, "<ele>20</ele><geoidheight>50</geoidheight><name>B</name>"),
        point("wpt", 200.0, "<ele>20</ele><name>C</name><fix>none</fix>"),
        point("wpt", 300.0, "<ele>20</ele><desc>unnamed</desc>"),
    ];
    let shots = named(&[("A", 0), ("B", 1), ("C", 2)]);
    let run = Site::new("marks.gpx", gpx(&waypoints.concat()), &shots).map();
    assert_eq!(run.names(), ["A", "B"]);
    assert_eq!(run.counts("marks.gpx"), [4, 2, 2, 0]);
    // The XML and the root stand on lines 1 and 2.
    let held: Vec<(u64, &str)> = run.held_of("marks.gpx").iter().map(|held| (held.source_line, held.reason.as_str())).collect();
    assert_eq!(held, [(5, "no_fix"), (6, "no_base")]);
    assert_eq!(run.held_of("shots.csv").len(), 1);
    assert_at(run.base("B"), [100.0, 0.0]);
    assert_near(run.base("B"), "ellipsoid_height_m", 68.0, PRINTED_M);
    assert_eq!(run.base("A")["desc"], "on the dike");
    assert_eq!((run.base("A")["source_line"].as_str(), run.base("B")["source_line"].as_str()), ("3", "4"));
}

#[test]
fn what_elevations_are_above() {
    let waypoint = gpx(&point("wpt", 0.0, "<ele>20</ele><name>A</name>"));
    let site = || Site::new("marks.gpx", &waypoint, &named(&[("A", 0)]));
    let run = site().map();
    assert_near(run.base("A"), "orthometric_height_m", 18.0, PRINTED_M);
    assert_eq!(run.base("A")["height_kind"], "orthometric");
    let run = site().bases("gpx_heights = \"ellipsoid\"").map();
    assert_near(run.base("A"), "ellipsoid_height_m", 18.0, PRINTED_M);
    assert_eq!(run.base("A")["height_kind"], "ellipsoidal");
}

#[test]
fn tracks_are_fixes() {
    let run = Site::new("day.gpx", gpx(&track()), &unnamed(&[30, 230])).map();
    assert_eq!(run.names(), ["stop 1", "stop 2"]);
    assert_eq!(run.joined(), [("1", "stop 1"), ("2", "stop 2")]);
    assert_at(run.base("stop 1"), [0.0, 0.0]);
    assert_at(run.shot("2"), [140.0, 0.0]);
    assert_near(run.base("stop 2"), "orthometric_height_m", 18.0, PRINTED_M);
    assert_eq!(run.counts("day.gpx"), [120, 120, 0, 0]);
}

/// A file with both: a base that is a waypoint needs no fixes, one that is none has those around its
/// shots; a track point without a time is held.
#[test]
fn waypoints_and_tracks_in_one_file() {
    let cut = point("trkpt", 0.0, "<ele>20</ele>");
    let inner = point("wpt", 3.0, "<ele>20</ele><name>A</name>") + &track().replace("</trkseg>", &format!("{cut}</trkseg>"));
    let run = Site::new("day.gpx", gpx(&inner), &named(&[("A", 30), ("B", 230)])).map();
    assert_eq!(run.names(), ["A", "B"]);
    assert_eq!(run.joined(), [("1", "A"), ("2", "B")]);
    assert_at(run.base("A"), [3.0, 0.0]);
    assert_at(run.base("B"), [100.0, 0.0]);
    // A waypoint, 120 fixes of which 60 are of B, and one that is held. Two lines stand above the waypoint, one above the track.
    assert_eq!(run.counts("day.gpx"), [122, 61, 1, 60]);
    assert_eq!(run.held(), [("day.gpx", 125, "not_a_time")]);
}

#[test]
fn waypoints_meet_the_rules_on_fixes() {
    let waypoints = [
        point("wpt", 0.0, "<ele>20</ele><name>A</name><fix>dgps</fix><hdop>0.9</hdop>"),
        point("wpt", 100.0, "<ele>20</ele><name>B</name><fix>3d</fix><hdop>0.9</hdop>"),
        point("wpt", 200.0, "<ele>20</ele><name>C</name><fix>dgps</fix><hdop>4</hdop>"),
    ];
    let site = Site::new("marks.gpx", gpx(&waypoints.concat()), &named(&[("A", 0), ("B", 1), ("C", 2)]));
    let run = site.bases("[bases.quality]\nleast_fix = \"differential\"\ngreatest_hdop = 3.0").map();
    assert_eq!(run.joined(), [("1", "A")]);
    let held: Vec<(u64, &str)> = run.held_of("marks.gpx").iter().map(|held| (held.source_line, held.sentence.as_str())).collect();
    assert_eq!(
        held,
        [
            (4, "the fix is single; the job wants differential or better"),
            (5, "hdop 4 is above 3, the largest that the job allows")
        ]
    );
}

#[test]
fn a_file_that_was_cut() {
    let whole = gpx(&track());
    let message = Site::new("day.gpx", &whole[..whole.len() / 2], &unnamed(&[30])).refused();
    assert!(message.contains("day.gpx"), "{message}");
}
