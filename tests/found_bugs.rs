//! What went wrong once: each test is named after it.

use crate::support;

use std::collections::BTreeMap;
use std::path::Path;

use serde_json::Value;
use support::*;

/// Metres in a degree of latitude at 46 degrees north.
const M_PER_DEG_LAT: f64 = 111_150.0;
/// A shot log of one base.
const SHOTS: &str = "base,shot,time,true_azimuth_deg,inclination_deg,slope_distance_m\n\
    A,1,2026-05-04T08:00:10Z,10,2,50\nA,2,2026-05-04T08:00:30Z,20,2,60\n";
const POINT: &str = "base,lat_deg,lon_deg,ellipsoid_height_m\nA,46.1,8.9,500\n";

/// A job of files beside it, and what it came to.
struct Mapped {
    folder: tempfile::TempDir,
    ran: Ran,
}

/// Maps `shots.csv` and what `files` hold; `bases` are keys of `[bases]`, `rest` more of the job.
fn map(files: &[(&str, &str)], bases: &str, rest: &str) -> Mapped {
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in files {
        std::fs::write(folder.path().join(name), text).unwrap();
    }
    let heights = if rest.contains("[heights]") {
        ""
    } else {
        "[heights]\ninstrument_height_m = 1.5\ntarget_height_m = 0\nantenna_height_m = 2.0\n"
    };
    let job = format!(
        "name = \"t\"\ncrs = \"EPSG:32632\"\nformats = [\"csv\"]\nallow_missing_grids = true\n[bases]\n{bases}\n[instrument]\n\
         sigma_distance_m = 0.2\nsigma_azimuth_deg = 0.5\nsigma_inclination_deg = 0.2\n{heights}[shots]\nfiles = [\"shots.csv\"]\n{rest}\n"
    );
    std::fs::write(folder.path().join("job.toml"), job).unwrap();
    let ran = standoff(folder.path(), &["map", "job.toml"]);
    Mapped { folder, ran }
}

impl Mapped {
    fn out(&self, name: &str) -> std::path::PathBuf {
        Path::join(self.folder.path(), "t-layers").join(name)
    }

    /// The summary; every input file's rows must add up, and each held row must stand in `held.csv`.
    #[track_caller]
    fn summary(&self) -> Value {
        let summary = json(&self.out("summary.json"));
        // 3 where nothing was mapped.
        let status = if summary["nothing_mapped"].is_string() { 3 } else { 0 };
        assert_eq!(self.ran.status, Some(status), "{}{}", self.ran.out, self.ran.err);
        let mut held = 0;
        for input in summary["inputs"].as_array().unwrap() {
            let count = |key: &str| input["rows"][key].as_u64().unwrap();
            assert_eq!(count("read"), count("mapped") + count("held") + count("outside_occupations"), "{input}");
            held += count("held");
        }
        assert_eq!(table(&self.out("held.csv")).len() as u64, held);
        summary
    }

    #[track_caller]
    fn fails_with(&self, part: &str) {
        assert_eq!(self.ran.status, Some(1), "{}{}", self.ran.out, self.ran.err);
        assert!(self.ran.err.contains(part), "{}", self.ran.err);
    }

    fn layer(&self, name: &str) -> Vec<BTreeMap<String, String>> {
        records(&self.out(&format!("csv/t.{name}.csv")))
    }

    fn base(&self, index: usize, field: &str) -> f64 {
        self.layer("bases")[index][field].parse().unwrap()
    }
}

/// Rows of an input in the summary.
fn rows<'s>(summary: &'s Value, file: &str) -> &'s Value {
    &summary["inputs"].as_array().unwrap().iter().find(|input| input["file"] == file).unwrap()["rows"]
}

fn sentence(body: &str) -> String {
    format!("${body}*{:02X}\n", body.bytes().fold(0, |sum, byte| sum ^ byte))
}

/// A fix each second of a minute from 8 h UTC; `lat_deg` gives its latitude. 450 m above sea level, geoid at 50 m.
fn nmea_on(day: &str, lat_deg: impl Fn(u32) -> f64) -> String {
    let second = |second: u32| {
        let lat = lat_deg(second);
        let place = format!("{:02}{:09.6},N,00854.000000,E", lat.trunc(), lat.fract() * 60.0);
        let time = format!("0800{second:02}.00");
        sentence(&format!("GPRMC,{time},A,{place},0.0,,{day},,,A"))
            + &sentence(&format!("GPGGA,{time},{place},1,9,1.0,450.0,M,50.0,M,,"))
    };
    (0..60).map(second).collect()
}

fn nmea() -> String {
    nmea_on("040526", |_| 46.1)
}

#[test]
fn the_ellipsoid_height_of_a_waypoint_with_elevation_and_separation_is_not_zero() {
    let gpx = "<gpx xmlns=\"http://www.topografix.com/GPX/1/1\"><wpt lat=\"46.1\" lon=\"8.9\"><ele>450</ele><name>A</name>\
               <geoidheight>50</geoidheight></wpt></gpx>";
    let mapped = map(&[("b.gpx", gpx), ("shots.csv", SHOTS)], "files = [\"b.gpx\"]\ncrs = \"EPSG:4979\"", "");
    mapped.summary();
    // 450 m + 50 m − 2 m of antenna.
    assert!((mapped.base(0, "ellipsoid_height_m") - 498.0).abs() < 1e-6);
}

#[test]
fn a_first_fix_far_off_does_not_move_the_mean_of_the_others() {
    for off_deg in [0.1, 1.0, 9.0] {
        let log = nmea_on("040526", |second| if second == 0 { 46.1 + off_deg } else { 46.1 });
        // The shots lie so that the window holds the first fix.
        let mapped = map(&[("r.nmea", &log), ("shots.csv", SHOTS)], "files = [\"r.nmea\"]\ncrs = \"EPSG:4979\"", "");
        let summary = mapped.summary();
        assert_eq!(rows(&summary, "r.nmea")["held_by_reason"], serde_json::json!({ "outlying_epoch": 1 }));
        let off_m = (mapped.base(0, "lat_deg") - 46.1) * M_PER_DEG_LAT;
        assert!(off_m.abs() < 1e-3, "{off_deg}: {off_m} m");
    }
}

#[test]
fn points_joined_to_a_mean_are_all_accounted_for() {
    let points = format!("{POINT}A,46.10001,8.9,500\nB,46.2,8.9,500\n");
    let bases = "files = [\"b.csv\"]\ncrs = \"EPSG:4979\"\n[bases.occupations]\nreoccupied = \"merge\"";
    let mapped = map(&[("b.csv", &points), ("shots.csv", SHOTS)], bases, "");
    let summary = mapped.summary();
    assert_eq!(rows(&summary, "b.csv")["mapped"], 3);
    assert_eq!(mapped.layer("bases").len(), 2);
    assert!((mapped.base(0, "lat_deg") - 46.100_005).abs() < 1e-9);
    let notes = summary["notes"].to_string();
    assert!(notes.contains("1 row of the base logs was joined"), "{notes}");
    assert!(notes.contains("standard error of base positions is not stated"), "{notes}");
}

#[test]
fn the_fixes_of_a_base_that_is_held_are_held_and_not_counted_as_used_too() {
    // The point A and the fixes of the list's A lie a kilometre apart, and the point has no time.
    let points = "base,lat_deg,lon_deg,ellipsoid_height_m\nA,46.11,8.9,500\nB,46.1,8.9,500\n";
    let list = "base,start,end\nA,2026-05-04T08:00:00Z,2026-05-04T08:00:29Z\n";
    let bases = "files = [\"b.csv\", \"r.nmea\"]\ncrs = \"EPSG:4979\"\n[bases.occupations.list]\nfiles = [\"list.csv\"]";
    let mapped = map(&[("b.csv", points), ("r.nmea", &nmea()), ("list.csv", list), ("shots.csv", SHOTS)], bases, "");
    let summary = mapped.summary();
    let fixes = rows(&summary, "r.nmea");
    assert_eq!(fixes["held_by_reason"], serde_json::json!({ "ambiguous_base": 30 }));
    assert_eq!((&fixes["mapped"], &fixes["outside_occupations"]), (&Value::from(0), &Value::from(30)));
}

const ONE_LOG: &str = "files = [\"r.nmea\"]\ncrs = \"EPSG:4979\"";

#[test]
fn rows_of_a_list_of_occupations_are_not_counted_as_shots() {
    let list = "base,start,end\nA,2026-05-04T08:00:00Z,2026-05-04T08:01:00Z\n";
    let bases = format!("{ONE_LOG}\n[bases.occupations.list]\nfiles = [\"list.csv\"]");
    let mapped = map(&[("r.nmea", &nmea()), ("list.csv", list), ("shots.csv", SHOTS)], &bases, "");
    let summary = mapped.summary();
    assert_eq!(summary["shots"]["read"], 2);
    assert_eq!(summary["bases"]["read"], 61);
}

#[test]
fn a_second_occupation_in_a_list_without_fixes_is_held_and_not_called_used() {
    let list = "base,start,end\nA,2026-05-04T08:00:00Z,2026-05-04T08:01:00Z\nA,2026-05-04T10:00:00Z,2026-05-04T10:01:00Z\n";
    let bases = format!("{ONE_LOG}\n[bases.occupations.list]\nfiles = [\"list.csv\"]");
    let mapped = map(&[("r.nmea", &nmea()), ("list.csv", list), ("shots.csv", SHOTS)], &bases, "");
    let summary = mapped.summary();
    assert_eq!(rows(&summary, "list.csv")["mapped"], 1);
    assert_eq!(rows(&summary, "list.csv")["held_by_reason"], serde_json::json!({ "few_epochs": 1 }));
    assert_eq!(summary["shots"]["mapped"], 2);
}

#[test]
fn a_list_that_nothing_reads_is_refused() {
    let list = "base,start,end\nA,2026-05-04T08:00:00Z,2026-05-04T08:01:00Z\n";
    let files = [("r.nmea", &*nmea()), ("list.csv", list), ("shots.csv", SHOTS)];
    let bases = format!("{ONE_LOG}\n[bases.occupations]\nfrom = \"stops\"\nlist.files = [\"list.csv\"]");
    map(&files, &bases, "").fails_with("from under [bases.occupations] does not read the list");
    let bases = format!("{ONE_LOG}\n[bases.occupations]\nlist.files = [\"list.csv\"]");
    map(&files, &bases, "[join]\nby = \"interpolated\"").fails_with("reads no list of occupations");
}

/// A delimited log of fixes, one each second of half a minute.
fn fixes(header: &str, cells: &str) -> String {
    let rows = (0..30).map(|second| format!("2026-05-04T08:00:{second:02}Z,{cells}\n"));
    std::iter::once(format!("time,{header}\n")).chain(rows).collect()
}

#[test]
fn columns_of_heights_beside_fixes_are_not_ignored() {
    let log = fixes("lat_deg,lon_deg,ellipsoid_height_m,antenna_height_m,instrument_height_m", "46.1,8.9,502.0,2.0,1.6");
    let mapped = map(
        &[("b.csv", &log), ("shots.csv", SHOTS)],
        "files = [\"b.csv\"]\ncrs = \"EPSG:4979\"",
        "[heights]\ntarget_height_m = 0",
    );
    let summary = mapped.summary();
    assert!((mapped.base(0, "ellipsoid_height_m") - 500.0).abs() < 1e-6);
    // Without an instrument height no shot could be mapped.
    assert_eq!(summary["shots"]["mapped"], 2);
}

#[test]
fn fixes_of_a_vector_file_keep_the_crs_of_the_file() {
    let feature = |second: u32| {
        format!(
            "{{\"type\":\"Feature\",\"geometry\":{{\"type\":\"Point\",\"coordinates\":[8.9,46.1,500]}},\
             \"properties\":{{\"when\":\"2026-05-04T08:00:{second:02}Z\"}}}}"
        )
    };
    let features: Vec<String> = (0..30).map(feature).collect();
    // ED50 lies about a hundred metres off WGS 84.
    let text = format!(
        "{{\"type\":\"FeatureCollection\",\"crs\":{{\"type\":\"name\",\"properties\":{{\"name\":\"urn:ogc:def:crs:EPSG::4230\"}}}},\
         \"features\":[{}]}}",
        features.join(",")
    );
    let bases = "files = [\"b.geojson\"]\nellipsoid_heights_crs = \"EPSG:4979\"\n[bases.columns]\ntime = \"when\"\n\
                 ellipsoid_height_m = \"z\"";
    let mapped = map(&[("b.geojson", &text), ("shots.csv", SHOTS)], bases, "");
    mapped.summary();
    let off_m = (mapped.base(0, "lat_deg") - 46.1) * M_PER_DEG_LAT;
    assert!((50.0..200.0).contains(&off_m.abs()), "{off_m}");
}

#[test]
fn fixes_in_systems_told_row_by_row_are_refused_and_not_read_in_one() {
    let log = fixes("east_m,north_m,ellipsoid_height_m,zone", "500000,5105000,502.0,33N");
    let bases = "files = [\"b.csv\"]\ncrs = \"EPSG:32632\"\ncrs_column = \"zone\"\n[bases.crs_by_value]\n33N = \"EPSG:32633\"";
    map(&[("b.csv", &log), ("shots.csv", SHOTS)], bases, "").fails_with("crs_column chooses the CRS of named points");
}

#[test]
fn the_instrument_height_of_an_occupation_goes_before_that_of_the_job() {
    let list = "base,start,end,instrument_height_m\nA,2026-05-04T08:00:00Z,2026-05-04T08:01:00Z,1.2\n";
    let bases = format!("{ONE_LOG}\n[bases.occupations.list]\nfiles = [\"list.csv\"]");
    let mapped = map(&[("r.nmea", &nmea()), ("list.csv", list), ("shots.csv", SHOTS)], &bases, "");
    mapped.summary();
    let top: f64 = mapped.layer("features")[0]["ellipsoid_height_m"].parse().unwrap();
    let above_m = top - mapped.base(0, "ellipsoid_height_m") - 50.0 * 2f64.to_radians().sin();
    assert!((above_m - 1.2).abs() < 1e-3, "{above_m}");
}

#[test]
fn a_clock_offset_that_no_calendar_holds_is_refused_or_its_fixes_held() {
    let files = [("r.nmea", &*nmea()), ("shots.csv", SHOTS)];
    for offset in ["nan", "inf", "1e300", "-2e10"] {
        map(&files, &format!("{ONE_LOG}\nclock_offset_s = {offset}"), "").fails_with("job.toml:8: clock_offset_s = ");
    }
    // A receiver that says the last day but one of the calendar, and a clock a day behind.
    let zda = |second: u32| sentence(&format!("GPZDA,0800{second:02}.00,30,12,9999,,"));
    let late: String = (0..60)
        .map(zda)
        .zip(nmea_on("", |_| 46.1).lines().collect::<Vec<_>>().chunks(2))
        .fold(String::new(), |text, (zda, fix)| text + &zda + &fix.join("\n") + "\n");
    let bases = "files = [\"b.csv\", \"r.nmea\"]\ncrs = \"EPSG:4979\"\nclock_offset_s = 86400";
    let mapped = map(&[("b.csv", POINT), ("r.nmea", &late), ("shots.csv", SHOTS)], bases, "");
    assert_eq!(rows(&mapped.summary(), "r.nmea")["held_by_reason"], serde_json::json!({ "not_a_time": 60 }));
}

#[test]
fn a_known_point_with_a_time_is_no_base_by_time() {
    let point = "base,lat_deg,lon_deg,ellipsoid_height_m,time\n";
    let (base, known) =
        (format!("{point}A,46.1,8.9,500,2026-05-04T08:00:00Z\n"), format!("{point}K,46.2,8.9,500,2026-05-04T08:00:20Z\n"));
    let rest = "[join]\nby = \"last_before\"\n[known]\nfiles = [\"k.csv\"]\ncrs = \"EPSG:4979\"";
    let files = [("b.csv", &*base), ("k.csv", &known), ("shots.csv", SHOTS)];
    let mapped = map(&files, "files = [\"b.csv\"]\ncrs = \"EPSG:4979\"", rest);
    mapped.summary();
    let bases: Vec<String> = mapped.layer("features").into_iter().map(|row| row["base"].clone()).collect();
    assert_eq!(bases, ["A", "A"]);
}

#[test]
fn known_points_are_read_by_their_own_settings() {
    let known = "base,east_m,north_m,ellipsoid_height_m,zone\nK,500000,5105000,500,33N\nL,500000,5105000,500,34N\n";
    let files = [("b.csv", POINT), ("k.csv", known), ("shots.csv", SHOTS)];
    let bases = "files = [\"b.csv\"]\ncrs = \"EPSG:4979\"";
    let rest = "[known]\nfiles = [\"k.csv\"]\ncrs_column = \"zone\"\n[known.crs_by_value]\n33N = \"EPSG:32633\"";
    let mapped = map(&files, bases, rest);
    // The central meridian of zone 33.
    assert_eq!(rows(&mapped.summary(), "k.csv")["held_by_reason"], serde_json::json!({ "unknown_crs": 1 }));
    assert!((mapped.base(1, "lon_deg") - 15.0).abs() < 1e-9);
    map(&files, bases, "[known]\nfiles = [\"k.csv\"]").fails_with("[known] has no crs");
    let occupied = "[known]\nfiles = [\"k.csv\"]\ncrs = \"EPSG:32633\"\noccupations.margin_s = 5";
    map(&files, bases, occupied).fails_with("known points are not occupied");
    let fixes = [("b.csv", POINT), ("k.csv", &*nmea()), ("shots.csv", SHOTS)];
    map(&fixes, bases, "[known]\nfiles = [\"k.csv\"]\ncrs = \"EPSG:4979\"").fails_with("[known] is for points with names");
}

#[test]
fn a_base_logged_as_a_point_is_not_made_of_fixes_too() {
    // The receiver was carried a hundred metres off.
    let log = nmea_on("040526", |_| 46.101);
    let bases = "files = [\"b.csv\", \"r.nmea\"]\ncrs = \"EPSG:4979\"";
    let mapped = map(&[("b.csv", POINT), ("r.nmea", &log), ("shots.csv", SHOTS)], bases, "");
    let summary = mapped.summary();
    assert_eq!(summary["shots"]["mapped"], 2);
    assert_eq!(rows(&summary, "r.nmea")["outside_occupations"], 60);
    assert!((mapped.base(0, "lat_deg") - 46.1).abs() < 1e-9);
}

#[test]
fn waypoints_are_read_whatever_the_signs_of_the_delimited_logs_beside_them() {
    let gpx =
        "<gpx xmlns=\"http://www.topografix.com/GPX/1/1\"><wpt lat=\"46.1\" lon=\"8.9\"><ele>450</ele><name>A</name></wpt></gpx>";
    for key in ["separator = \";\"", "decimal = \",\"", "comment = \"4\""] {
        let bases = format!("files = [\"b.gpx\"]\ncrs = \"EPSG:4979\"\n{key}");
        let mapped = map(&[("b.gpx", gpx), ("shots.csv", SHOTS)], &bases, "");
        assert_eq!(mapped.summary()["shots"]["mapped"], 2, "{key}");
    }
}

const ROLES: &str = "base,shot,time,true_azimuth_deg,inclination_deg,slope_distance_m,role,feature\n";
const TWO_POINTS: &str = "base,lat_deg,lon_deg,ellipsoid_height_m\nA,46.1,8.9,500\nB,46.11,8.9,500\n";

#[test]
fn foresights_to_features_do_not_fill_the_summary_with_notes() {
    let shot = |i: u32| format!("A,{i},2026-05-04T08:00:00Z,{},2,50,foresight,tree {i}\n", i % 360);
    let shots: String = std::iter::once(ROLES.to_owned()).chain((0..500).map(shot)).collect();
    let mapped = map(&[("b.csv", POINT), ("shots.csv", &shots)], "files = [\"b.csv\"]\ncrs = \"EPSG:4979\"", "");
    let notes = mapped.summary()["notes"].clone();
    assert!(notes.as_array().unwrap().len() < 20, "{notes}");
    assert!(notes.to_string().contains("And 490 more sights"), "{notes}");
}

#[test]
fn a_backsight_that_stands_in_the_log_twice_counts_once() {
    let shots =
        format!("{ROLES}{}A,2,2026-05-04T08:00:09Z,10,2,50,,x\n", "A,1,2026-05-04T08:00:00Z,359,2,,backsight,B\n".repeat(4));
    let mapped = map(&[("b.csv", TWO_POINTS), ("shots.csv", &shots)], "files = [\"b.csv\"]\ncrs = \"EPSG:4979\"", "");
    mapped.summary();
    assert_eq!(mapped.base(0, "backsights"), 1.0);
}

#[test]
fn a_backsight_to_a_base_of_several_positions_says_so() {
    let points = "base,lat_deg,lon_deg,ellipsoid_height_m,time\nA,46.1,8.9,500,2026-05-04T08:00:00Z\n\
                  B,46.11,8.9,500,2026-05-04T07:00:00Z\nB,46.12,8.9,500,2026-05-04T07:30:00Z\n";
    let shots = format!("{ROLES}A,1,2026-05-04T08:00:00Z,359,2,50,backsight,B\n");
    let mapped = map(&[("b.csv", points), ("shots.csv", &shots)], "files = [\"b.csv\"]\ncrs = \"EPSG:4979\"", "");
    let notes = mapped.summary()["notes"].to_string();
    assert!(notes.contains("which stands for several positions: it does not orient its base"), "{notes}");
}

#[test]
fn a_week_counter_that_went_round_is_told_although_no_fix_lies_near_a_shot() {
    // 1024 weeks before 4 May 2026.
    let log = nmea_on("180906", |_| 46.1);
    let mapped = map(&[("r.nmea", &log), ("shots.csv", SHOTS)], ONE_LOG, "");
    mapped.fails_with("60 lie outside every occupation; the first: base A has no position: no usable fix");
    mapped.fails_with("1024 weeks behind the shots': its GPS week counter has turned over. Write clock_offset_s = 619315200");
    let offset = format!("{ONE_LOG}\nclock_offset_s = 619315200");
    assert_eq!(map(&[("r.nmea", &log), ("shots.csv", SHOTS)], &offset, "").summary()["shots"]["mapped"], 2);
}

#[test]
fn a_shot_without_a_time_is_not_told_of_a_column_that_is_not_there() {
    let points = "base,lat_deg,lon_deg,ellipsoid_height_m,time\nA,46.1,8.9,500,2026-05-04T08:00:00Z\n";
    let shots = "base,true_azimuth_deg,inclination_deg,slope_distance_m\nA,10,2,50\n";
    let nearest = "[join]\nby = \"nearest\"";
    let held = |rest: &str| {
        let mapped = map(&[("b.csv", points), ("shots.csv", shots)], "files = [\"b.csv\"]\ncrs = \"EPSG:4979\"", rest);
        mapped.summary();
        table(&mapped.out("held.csv"))[0]["sentence"].clone()
    };
    assert_eq!(held(nearest), "the log has no column for it: the base is told by the time of the shot");
    let dated = format!("[shots.values]\ndate = \"2026-05-04\"\n{nearest}");
    assert!(held(&dated).ends_with("is a day without a time of day: the base is told by the time of the shot"));
}
