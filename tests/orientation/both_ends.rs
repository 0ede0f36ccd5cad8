//! Lines sighted from both ends: which compass is disturbed.

use super::common::Run;
use super::{ROLES, WRITTEN_DEG, assert_near, field};

/// A, B 200 m north of it, and C as far north again.
const BASES: [(&str, f64, f64); 3] = [("A", 46.1, 8.9), ("B", 46.1018, 8.9), ("C", 46.1036, 8.9)];

/// Runs foresights: from, to, azimuth.
fn map(sights: &[(&str, &str, &str)], tables: &str) -> Run {
    let rows = sights.iter().enumerate();
    let rows: String =
        rows.map(|(i, (from, to, azimuth))| format!("{from},{i},2026-05-04,foresight,{to},{azimuth},,\n")).collect();
    let run = field(&BASES, &(ROLES.to_owned() + &rows + "A,9,2026-05-04,,tree,88.0,0,100\n"), tables).map();
    // Without distances they are held, and a foresight orients nothing.
    assert!(run.held.iter().all(|row| row[2] == "direction_only"), "{:?}", run.held);
    assert_eq!(run.held.len(), sights.len());
    assert_eq!(run.base_column("azimuth_correction_deg"), ["", "", ""]);
    assert_near(run.numbers("true_azimuth_deg")[0], 88.0, WRITTEN_DEG);
    run
}

const NOTE: &str = "Fore and back azimuth between A and B miss 180 degrees by +3.0 degrees (limit 2): the compass is disturbed at \
    one of them; ";

#[test]
fn a_line_that_disagrees_makes_both_ends_suspect() {
    let run = map(&[("A", "B", "0.0"), ("B", "A", "183.0")], "");
    assert_eq!(run.base_column("flags"), ["maybe_local_attraction", "maybe_local_attraction", ""]);
    let note = format!("{NOTE}a sight from either to a third base would tell which.");
    assert_eq!(run.summary["notes"], serde_json::json!([note]));
    // Half a degree is what a compass does.
    let run = map(&[("A", "B", "0.3"), ("B", "A", "179.8")], "");
    assert_eq!(run.base_column("flags"), ["", "", ""]);
    assert_eq!(run.summary["notes"], serde_json::json!([]));
    // One end alone tells nothing.
    assert_eq!(map(&[("A", "B", "9.0")], "").base_column("flags"), ["", "", ""]);
}

#[test]
fn a_third_base_tells_which_end() {
    // A agrees with C, so that B is the disturbed one; then the other way round.
    let run = map(&[("A", "B", "0.0"), ("B", "A", "183.0"), ("A", "C", "0.2"), ("C", "A", "179.9")], "");
    assert_eq!(run.base_column("flags"), ["", "local_attraction", ""]);
    assert_eq!(run.summary["notes"], serde_json::json!([format!("{NOTE}another line tells that it is B.")]));
    let run = map(&[("A", "B", "357.0"), ("B", "A", "180.0"), ("B", "C", "0.2"), ("C", "B", "179.9")], "");
    assert_eq!(run.base_column("flags"), ["local_attraction", "", ""]);
    assert_eq!(run.summary["notes"], serde_json::json!([format!("{NOTE}another line tells that it is A.")]));
}

#[test]
fn the_limit_is_the_jobs() {
    let sights = [("A", "B", "0.0"), ("B", "A", "183.0")];
    let limit = |degrees: &str| map(&sights, &format!("[north]\nfore_back_limit_deg = {degrees}\n"));
    assert_eq!(limit("3.1").base_column("flags"), ["", "", ""]);
    assert_eq!(limit("2.9").base_column("flags")[..2], ["maybe_local_attraction"; 2]);
}

#[test]
fn convergence_of_the_meridians_is_no_disturbance() {
    // 60° north, 4.5° of longitude apart: the azimuths of one line differ by 180 and 3.9 degrees, as they should.
    let half = 2.25f64.to_radians() * 60f64.to_radians().sin();
    let (there, back) = (90.0 - half.to_degrees(), 270.0 + half.to_degrees());
    let rows = format!("A,1,2026-05-04,foresight,B,{there:.3},,\nB,2,2026-05-04,foresight,A,{back:.3},,\n");
    let run = field(&[("A", 60.0, 6.75), ("B", 60.0, 11.25)], &(ROLES.to_owned() + &rows), "").map();
    assert_eq!(run.base_column("flags"), ["", ""]);
    assert_eq!(run.held.len(), 2);
}
