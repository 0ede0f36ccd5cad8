//! A run that maps nothing is no success, and a run is counted by what its logs ask for.

use crate::support;

use std::fs;

use support::small::Small;
use support::*;

const HEADER: &str = "shot,base,code,feature,string,role,measure,true_azimuth_deg,inclination_deg,slope_distance_m\n";

fn job(rows: &str) -> Small {
    Small::new(&format!("{HEADER}{rows}"), "", "")
}

#[test]
fn rows_that_are_all_held_end_with_status_3_and_the_most_frequent_reason_first() {
    let job = job("1,A,,,,,,90,0,\n2,A,,,,,,91,0,\n3,C,,,,,,92,0,50\n");
    let first = "nothing was mapped: 3 of 3 rows are held, 2 of them as no_distance: no distance came back; shoot again\n";
    for more in [&[][..], &["--strict"]] {
        let ran = standoff(job.folder.path(), &[&["map", "job.toml", "--out", "out"], more].concat()).exits(3);
        assert!(ran.out.starts_with(&format!("{first}0 of 3 shots mapped, 3 held, ")), "{}", ran.out);
        // Nothing is lost.
        assert_eq!(table(&job.folder.path().join("out/held.csv")).len(), 3);
        assert!(job.folder.path().join("out/cove.gpkg").exists());
        assert_eq!(json(&job.folder.path().join("out/summary.json"))["nothing_mapped"], first.trim_end());
    }
    let quiet = job.ran(&[]).exits(3);
    assert!(quiet.out.is_empty() && quiet.err.starts_with(&format!("warning: {first}")), "{}", quiet.err);
    let check = standoff(job.folder.path(), &["check", "job.toml"]).exits(3);
    assert!(check.out.contains(first), "{}", check.out);
    // One shot is enough.
    job.write("shots.csv", &format!("{HEADER}1,A,,,,,,90,0,\n2,A,,,,,,91,0,50\n"));
    assert_eq!(job.ran(&[]).exits(0).err, "held: 1 row was set aside; see out/held.csv\n");
    assert_eq!(json(&job.folder.path().join("out/summary.json"))["nothing_mapped"], serde_json::Value::Null);
}

#[test]
fn a_log_of_headers_alone_maps_nothing() {
    let job = job("");
    let ran = standoff(job.folder.path(), &["map", "job.toml", "--out", "out"]).exits(3);
    assert!(ran.out.starts_with("nothing was mapped: the shot logs have no rows\n"), "{}", ran.out);
}

#[test]
fn where_the_bases_are_held_their_reason_is_told_too() {
    let job = job("1,A,,,,,,90,0,50\n2,A,,,,,,91,0,50\n");
    job.write("bases.csv", "base,lat_deg,lon_deg,ellipsoid_height_m\nA,95,-2.9,60\nB,58.6,-2.9,60\n");
    let ran = standoff(job.folder.path(), &["map", "job.toml", "--out", "out"]).exits(3);
    let said = ran.out.lines().next().unwrap();
    assert!(said.contains("2 of them as base_held: the base itself was held; mend the base's row; position_range: "), "{said}");
}

#[test]
fn heights_are_counted_as_heights() {
    // Angles to the foot and the top, and a level distance: three rows a tree, none of them a point of its own.
    let tree =
        |i: usize| format!("{i}a,A,,T{i},,foot,height,,-3,\n{i}b,A,,T{i},,top,height,,20,\n{i}c,A,,T{i},,distance,height,,,\n");
    let header = HEADER.replace("slope_distance_m", "slope_distance_m,horizontal_distance_m");
    let rows: String = (0..42).map(tree).collect();
    let rows: String =
        rows.lines().map(|row| if row.contains("distance") { format!("{row},30\n") } else { format!("{row},\n") }).collect();
    let job = Small::new(&format!("{header}{rows}"), "", "");
    let ran = standoff(job.folder.path(), &["map", "job.toml", "--out", "out"]).exits(0);
    assert!(ran.out.starts_with("42 of 42 measurements composed, 0 held, 0 flagged; "), "{}", ran.out);
    let summary = json(&job.folder.path().join("out/summary.json"));
    assert_eq!(summary["measurements"], serde_json::json!({ "asked": 42, "made": 42 }));
    // One that lacks its distance is asked for and not made.
    let lacking = rows.replace("5c,A,,T5,,distance,height,,,,30\n", "");
    fs::write(job.folder.path().join("shots.csv"), format!("{header}{lacking}")).unwrap();
    let ran = standoff(job.folder.path(), &["map", "job.toml", "--out", "out"]).exits(0);
    assert!(ran.out.contains("41 of 42 measurements composed, 2 held, "), "{}", ran.out);
}

#[test]
fn strings_are_counted_as_strings() {
    let job = job("1,A,,,f1,,,10,0,50\n2,A,,,f1,,,20,0,50\n3,A,,,f2,,,30,0,50\n4,A,,,f2,,,40,0,50\n5,A,,P,,,,50,0,50\n");
    let ran = standoff(job.folder.path(), &["map", "job.toml", "--out", "out"]).exits(0);
    assert!(ran.out.starts_with("5 of 5 shots mapped, 2 of 2 strings drawn, 0 held, "), "{}", ran.out);
}
