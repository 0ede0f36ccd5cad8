//! Azimuths that are readings of free circles: what orients them, and that no shot reaches a map without an orientation.
//!
//! Readings are computed from true places; the places that come out are compared with these.

use std::collections::{BTreeMap, BTreeSet};

use proptest::prelude::*;
use serde_json::{Value, json};
use standoff::inside::geodesy::frame::{EarthCentred, Ellipsoid, Geodetic, LocalFrame};

use crate::support::small::Small;

/// Readings have five decimals and three, over at most 600 m: 0.1 mm and 1 mm; layers have four and nine.
const WITHIN_M: f64 = 0.02;
const HEADER: &str = "shot,base,feature,role,measure,string,true_azimuth_deg,inclination_deg,slope_distance_m\n";
const FREE: &str = "[network]\norientation = \"free\"\n";
const INSTRUMENT_HEIGHT_M: f64 = 1.5;

/// An invented site: bases with circles turned by so many degrees, points, and the log of their shots.
#[derive(Default, Clone)]
struct Site {
    bases: Vec<(String, [f64; 3], f64, bool)>,
    points: BTreeMap<String, [f64; 3]>,
    rows: Vec<String>,
}

fn frame() -> LocalFrame {
    let origin = Geodetic { lat_rad: 58.6f64.to_radians(), lon_rad: -2.9f64.to_radians(), ellipsoid_height_m: 60.0 };
    LocalFrame::at(&origin, &Ellipsoid::WGS84)
}

impl Site {
    fn base(&mut self, name: &str, at: [f64; 3], zero_deg: f64) {
        self.bases.push((name.into(), at, zero_deg, true));
    }

    /// A base that no log has a position of.
    fn station(&mut self, name: &str, at: [f64; 3], zero_deg: f64) {
        self.bases.push((name.into(), at, zero_deg, false));
    }

    fn point(&mut self, name: &str, at: [f64; 3]) {
        self.points.insert(name.into(), at);
    }

    /// Azimuth on the circle, inclination and slope distance from a base to a place.
    fn reading(&self, base: usize, to: [f64; 3]) -> [f64; 3] {
        let (_, at, zero_deg, _) = &self.bases[base];
        let (from, to) = (frame().to_earth_centred(*at), frame().to_earth_centred(to));
        let [e, n, u] =
            LocalFrame::at(&Geodetic::from_earth_centred(from, &Ellipsoid::WGS84), &Ellipsoid::WGS84).from_earth_centred(to);
        let u = u - INSTRUMENT_HEIGHT_M;
        let h = e.hypot(n);
        [(e.atan2(n).to_degrees() - zero_deg).rem_euclid(360.0), u.atan2(h).to_degrees(), h.hypot(u)]
    }

    /// A full shot of a base to a point or another base; beside its feature its role, measure and string.
    fn shot(&mut self, base: usize, to: &str, beside: &str) {
        let place = self.points.get(to).copied().or_else(|| self.bases.iter().find(|base| base.0 == to).map(|base| base.1));
        let [azimuth, inclination, slope] = self.reading(base, place.unwrap());
        let (number, name) = (self.rows.len() + 1, &self.bases[base].0);
        self.rows.push(format!("{number},{name},{to},{beside},{azimuth:.5},{inclination:.5},{slope:.3}"));
    }

    fn job(&self, tables: &str) -> Small {
        let rows: String = self.rows.iter().map(|row| format!("{row}\n")).collect();
        let job = Small::new(&format!("{HEADER}{rows}"), "", tables);
        let mut bases = "base,lat_deg,lon_deg,ellipsoid_height_m\n".to_owned();
        for (name, at, _, _) in self.bases.iter().filter(|base| base.3) {
            let at = Geodetic::from_earth_centred(frame().to_earth_centred(*at), &Ellipsoid::WGS84);
            let (lat, lon) = (at.lat_rad.to_degrees(), at.lon_rad.to_degrees());
            bases += &format!("{name},{lat:.10},{lon:.10},{:.4}\n", at.ellipsoid_height_m);
        }
        job.write("bases.csv", &bases);
        job
    }

    fn true_place(&self, name: &str) -> EarthCentred {
        let of_base = || self.bases.iter().find(|base| base.0 == name).map(|base| base.1);
        frame().to_earth_centred(self.points.get(name).copied().or_else(of_base).unwrap_or_else(|| panic!("{name}")))
    }

    /// How far a record's place is from the true place of a name, in metres.
    fn miss_m(&self, record: &BTreeMap<String, String>, name: &str) -> f64 {
        let number = |field: &str| record[field].parse::<f64>().unwrap_or_else(|_| panic!("{field}: {record:?}"));
        let at = Geodetic {
            lat_rad: number("lat_deg").to_radians(),
            lon_rad: number("lon_deg").to_radians(),
            ellipsoid_height_m: number("ellipsoid_height_m"),
        };
        let (got, want) = (at.to_earth_centred(&Ellipsoid::WGS84), self.true_place(name));
        (0..3).map(|k| (got[k] - want[k]).powi(2)).sum::<f64>().sqrt()
    }

    /// Maps and holds every place that comes out to the true one: features, stations, vertices, parts. Names of the mapped features.
    fn mapped_true(&self, job: &Small) -> (Value, BTreeSet<String>) {
        let summary = job.map();
        (summary, self.true_places(job))
    }

    fn true_places(&self, job: &Small) -> BTreeSet<String> {
        let mut names = BTreeSet::new();
        let vertex = |record: &BTreeMap<String, String>| {
            let row = self.rows.iter().find(|row| record["source_line"] == (row_line(row)).to_string()).unwrap();
            row.split(',').nth(2).unwrap().to_owned()
        };
        for record in job.layer("features") {
            assert!(self.miss_m(&record, &record["feature"]) < bearable_m(&record), "{record:?}");
            names.insert(record["feature"].clone());
        }
        for record in job.layer("adjusted") {
            assert!(self.miss_m(&record, &record["name"]) < bearable_m(&record), "{record:?}");
        }
        for record in job.layer("vertices") {
            assert!(self.miss_m(&record, &vertex(&record)) < bearable_m(&record), "{record:?}");
        }
        names
    }
}

/// How far a place may miss: readings are written to half a millimetre, a four-hundredth of a distance's standard error, and a geometry
/// that stretches these errors stretches that alike. Where two distances nearly touch, two places fit, and their distance from each
/// other is a small part of the stated error along the touch (σ of 70 m for places 4 m apart): a tenth of it is borne.
fn bearable_m(record: &BTreeMap<String, String>) -> f64 {
    let sigma = |axis: &str| record.get(&format!("sigma_{axis}_m")).and_then(|sigma| sigma.parse::<f64>().ok()).unwrap_or(0.0);
    WITHIN_M.max(sigma("east").hypot(sigma("north")) / 10.0)
}

/// The line of a row in the log: its shot number, below the header.
fn row_line(row: &str) -> u64 {
    row.split(',').next().unwrap().parse::<u64>().unwrap() + 1
}

/// Three bases about a pond, their circles turned anyhow.
fn pond() -> Site {
    let mut site = Site::default();
    site.base("A", [0.0, 0.0, 0.0], 77.0);
    site.base("B", [210.0, 40.0, 3.0], 201.0);
    site.base("C", [90.0, 260.0, -2.0], 333.0);
    for (name, at) in [("P1", [120.0, 90.0, 6.0]), ("P2", [60.0, 150.0, 1.0]), ("P3", [150.0, 170.0, -4.0])] {
        site.point(name, at);
    }
    site
}

#[test]
fn three_and_more_shots_to_a_feature_from_free_circles_are_one_feature() {
    // Before its circle is oriented an azimuth of one base says nothing about that of another.
    let mut site = pond();
    for name in ["P1", "P2", "P3"] {
        (0..3).for_each(|base| site.shot(base, name, ",,"));
        site.shot(0, name, ",,");
    }
    let (summary, names) = site.mapped_true(&site.job(FREE));
    assert_eq!(names.len(), 3);
    assert_eq!((summary["shots"]["mapped"].clone(), summary["shots"]["repeats"].clone()), (json!(3), json!(9)));
    assert!(!summary["network"].to_string().contains("several places"), "{}", summary["network"]);
    // A single shot of a base that the features orient is mapped by its orientation.
    site.point("P4", [-40.0, 80.0, 0.0]);
    site.shot(2, "P4", ",,");
    assert!(site.mapped_true(&site.job(FREE)).1.contains("P4"));
}

#[test]
fn a_name_of_several_places_is_found_once_the_circles_are_oriented() {
    let mut site = pond();
    for name in ["P1", "P2", "P3"] {
        (0..3).for_each(|base| site.shot(base, name, ",,"));
    }
    // One shot of each base to a tree of its own, all of them called tree.
    for (base, at) in [[20.0, 60.0, 0.0], [190.0, 120.0, 0.0], [60.0, 230.0, 0.0], [110.0, 200.0, 0.0]].into_iter().enumerate() {
        site.point("tree", at);
        site.shot(base.min(2), "tree", ",,");
    }
    let job = site.job(FREE);
    let summary = job.map();
    let network = summary["network"].to_string();
    assert!(network.contains("such as \\\"tree\\\", stand for shots to several places"), "{network}");
    for name in ["P1", "P2", "P3"] {
        assert!(site.miss_m(&job.feature("features", name), name) < WITHIN_M, "{name}");
    }
    assert_eq!(summary["shots"]["mapped"], json!(3 + 4));
}

#[test]
fn two_circles_that_share_two_features_orient_each_other() {
    let mut site = pond();
    for name in ["P1", "P2"] {
        (0..2).for_each(|base| site.shot(base, name, ",,"));
    }
    let (summary, names) = site.mapped_true(&site.job(FREE));
    assert_eq!((names.len(), summary["shots"]["held"].clone()), (2, json!(0)), "{summary}");
    // Of one feature two places fit: on either side of the line between the bases.
    site.rows.truncate(2);
    let summary = site.job(FREE).map_nothing();
    assert_eq!(summary["shots"]["held_by_reason"], json!({"no_orientation": 2}), "{summary}");
}

#[test]
fn a_circle_that_nothing_orients_maps_nothing_and_says_what_would() {
    let mut site = pond();
    site.shot(0, "P1", ",,");
    site.shot(0, "P2", ",,");
    site.shot(0, "P2", ",,");
    let job = site.job(FREE);
    let summary = job.map_nothing();
    assert_eq!(summary["shots"]["held_by_reason"], json!({"no_orientation": 3}));
    assert!(job.layer("features").is_empty());
    let (code, sentence) = &job.ledger()[&2];
    assert_eq!(code, "no_orientation");
    assert_eq!(
        sentence,
        "the azimuth is a circle reading (orientation = \"free\"), and nothing orients the circle of base A: sight a base or known \
         point from it (role = backsight), or two features that an oriented base has shot too"
    );
    // As said: a backsight does.
    site.shot(0, "C", "backsight,,");
    assert_eq!(site.mapped_true(&site.job(FREE)).1.len(), 2);
    // `check` says the same as `map`.
    site.rows.pop();
    let job = site.job(FREE);
    let said = crate::support::standoff(job.folder.path(), &["check", "job.toml"]).exits(3);
    assert!(said.out.contains("nothing orients the circle of base A"), "{}", said.out);
}

#[test]
fn a_traverse_between_two_bases_with_free_circles_and_no_third_point() {
    let mut site = Site::default();
    site.base("GL1", [0.0, 0.0, 0.0], 12.0);
    for (name, at, zero) in
        [("T1", [60.0, 25.0, 2.0], 140.0), ("T2", [110.0, -10.0, 5.0], 255.0), ("T3", [190.0, 30.0, 4.0], 31.0)]
    {
        site.station(name, at, zero);
    }
    site.base("GL2", [260.0, 10.0, 8.0], 310.0);
    let names: Vec<String> = site.bases.iter().map(|base| base.0.clone()).collect();
    for k in 0..4 {
        site.shot(k, &names[k + 1], "foresight,,");
        site.shot(k + 1, &names[k], "backsight,,");
    }
    for (k, name) in names.iter().enumerate() {
        let (stem, [e, n, u]) = (format!("S{k}"), site.bases[k].1);
        site.point(&stem, [e + 15.0, n - 20.0, u + 1.0]);
        site.shot(k, &stem, ",,");
        assert_eq!(&site.bases[k].0, name);
    }
    // Instruments and targets stand 1.5 m over their marks.
    let (summary, mapped) = site.mapped_true(&site.job(FREE));
    assert_eq!((mapped.len(), summary["shots"]["held"].clone()), (5, json!(0)), "{summary}");
    assert_eq!(summary["shots"]["composed"], json!(8));
    // Without the far base it can turn about the near one: nothing of it is mapped.
    site.bases[4].3 = false;
    let summary = site.job(FREE).map_nothing();
    assert_eq!(summary["shots"]["held"], summary["shots"]["read"]);
}

#[test]
fn fore_and_back_readings_of_free_circles_are_no_local_attraction() {
    let mut site = pond();
    for (base, to) in [(0, "B"), (1, "A"), (1, "C"), (2, "B")] {
        site.shot(base, to, "foresight,,");
    }
    let summary = site.job(FREE).map();
    assert_eq!(summary["notes"], json!([]));
    let job = site.job(FREE);
    job.map();
    assert!(job.layer("bases").iter().all(|base| !base["flags"].contains("local_attraction")));
}

#[test]
fn a_declination_has_no_part_in_a_circle_reading() {
    // The column says magnetic, and there is no date: a circle needs none.
    let mut site = pond();
    site.shot(0, "B", "backsight,,");
    site.shot(0, "P1", ",,");
    let job = site.job(FREE);
    let log = std::fs::read_to_string(job.folder.path().join("shots.csv")).unwrap();
    job.write("shots.csv", &log.replace("true_azimuth_deg", "magnetic_azimuth_deg"));
    let (_, names) = site.mapped_true(&job);
    assert!(names.contains("P1"));
    assert_eq!(job.feature("features", "P1")["declination_deg"], "");
}

/// What a base shoots, drawn: to which of six points, how often, and as what.
#[derive(Debug, Clone)]
struct Drawn {
    base: usize,
    point: usize,
    times: usize,
    beside: &'static str,
}

fn drawn() -> impl Strategy<Value = Drawn> {
    let beside = prop_oneof![
        6 => Just(",,"),
        1 => Just("from,missing_line,"),
        1 => Just("to,missing_line,"),
        1 => Just(",,shore"),
        1 => Just("foot,height,"),
    ];
    (0usize..4, 0usize..6, 1usize..4, beside).prop_map(|(base, point, times, beside)| Drawn { base, point, times, beside })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

    /// Whatever is shot from wherever, by whatever way it goes: each place that is mapped is the true one, each row of a base with a
    /// backsight is mapped, and each row of a base without any tie is held for want of an orientation.
    #[test]
    fn no_circle_reading_reaches_a_map_without_an_orientation(
        zeros in proptest::collection::vec(5.0f64..355.0, 4),
        shots in proptest::collection::vec(drawn(), 1..14),
        backsights in proptest::collection::vec((0usize..4, 0usize..4), 0..3),
    ) {
        let mut site = Site::default();
        let places = [[0.0, 0.0, 0.0], [210.0, 40.0, 3.0], [90.0, 260.0, -2.0], [-150.0, 170.0, 5.0]];
        for (k, (name, zero)) in ["A", "B", "C", "D"].into_iter().zip(zeros).enumerate() {
            site.base(name, places[k], zero);
        }
        let points = [[120.0, 90.0, 6.0], [60.0, 150.0, 1.0], [150.0, 170.0, -4.0], [-60.0, 40.0, 2.0], [-20.0, 220.0, 9.0], [40.0, 70.0, 0.0]];
        points.into_iter().enumerate().for_each(|(k, at)| site.point(&format!("P{k}"), at));
        for shot in &shots {
            (0..shot.times).for_each(|_| site.shot(shot.base, &format!("P{}", shot.point), shot.beside));
        }
        let names = ["A", "B", "C", "D"];
        for (base, to) in backsights.iter().filter(|(base, to)| base != to) {
            site.shot(*base, names[*to], "backsight,,");
        }
        let job = site.job(FREE);
        // Where nothing is oriented nothing is mapped, which is no success.
        let status = job.ran(&[]).status;
        let mapped = site.true_places(&job);
        prop_assert!(status == Some(0) || (status == Some(3) && mapped.is_empty()), "{:?} {:?}", status, mapped);
        let held: BTreeMap<u64, String> = job.ledger().into_iter().filter(|(_, (code, _))| !code.is_empty()).map(|(line, (code, _))| (line, code)).collect();
        let of = |row: &str, k: usize| row.split(',').nth(k).unwrap().to_owned();
        for row in &site.rows {
            let base = of(row, 1);
            let is_tied = site.rows.iter().any(|other| {
                of(other, 3) == "backsight" && (of(other, 1) == base || of(other, 2) == base)
                    || of(other, 1) != base && of(other, 2) == of(row, 2)
            });
            let shares = site.rows.iter().any(|other| of(other, 1) != base && site.rows.iter().any(|own| of(own, 1) == base && of(own, 2) == of(other, 2)));
            let has_backsight = site.rows.iter().any(|other| of(other, 3) == "backsight" && of(other, 1) == base);
            let code = held.get(&row_line(row)).map(String::as_str);
            if has_backsight {
                prop_assert!(code != Some("no_orientation"), "{row} {held:?}");
            } else if !is_tied && !shares {
                prop_assert_eq!(code, Some("no_orientation"), "{}", row);
            }
        }
    }
}
