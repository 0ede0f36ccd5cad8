//! The account as a whole: what one bad row costs, and files that cannot be read at all.

use std::collections::BTreeMap;

use crate::common::{BASES, Field, HEAD, good, shot};
use crate::support;

/// Every file in the output folder, with its bytes.
fn written(field: &Field) -> BTreeMap<String, Vec<u8>> {
    let out = field.path("t-layers");
    support::files(&out).into_iter().map(|name| (name.clone(), std::fs::read(out.join(&name)).unwrap())).collect()
}

#[test]
fn one_bad_row_of_200_gives_199_mapped_and_one_held() {
    let log = good(200).replacen("A,117,", "A,117,bad-", 1).replace("true_azimuth", "magnetic_azimuth");
    let field = Field::new(&log);
    let run = field.map();
    let say = "time \"bad-2026-05-04T08:01:57Z\" is no date or time in a form that is known; write 2026-05-04T08:00:01+02:00";
    assert_eq!(run.held, [["shots.csv", "118", "not_a_time", "time", "bad-2026-05-04T08:01:57Z", say]]);
    assert_eq!(run.held_rows, [log.lines().nth(117).unwrap()]);
    assert_eq!(run.mapped(), 199);
    // The same text each run.
    let first = written(&field);
    field.map();
    assert_eq!(written(&field), first);
}

#[test]
fn the_first_fault_of_a_row_is_told_and_each_row_once() {
    // An unknown base and an azimuth out of range in one row: readings are judged before the join.
    let run = Field::new(good(1) + &shot("Z", 2, "400", "0", "20")).map();
    let say = "true_azimuth_deg 400 is outside 0 to 360 degrees";
    assert_eq!(run.held, [["shots.csv", "3", "azimuth_range", "true_azimuth_deg", "400", say]]);
    assert_eq!(run.mapped(), 1);
}

#[test]
fn held_rows_and_flags_of_several_kinds_add_up() {
    let log = good(20).replacen(",3.5,", ",,", 1).replacen(",5.5,", ",400,", 1)
        + &shot("A", 21, "7", "85", "20")
        + &shot("Z", 22, "8", "0", "20")
        + &shot("A", 1, "9", "0", "20").replace("T08:00", "T07:00")
        + "A,24,short\n";
    let run = Field::new(log).map();
    assert_eq!(
        run.summary["shots"],
        serde_json::json!({
            "read": 24,
            "mapped": 20,
            "held": 4,
            "held_by_reason": { "azimuth_range": 1, "field_count": 1, "no_azimuth": 1, "unknown_base": 1 },
            "flagged": 2,
            "flags": { "repeated_shot_id": 1, "steep": 1, "time_goes_back": 1 },
            "without_height": 0,
            "repeats": 0, "composed": 0,
            "outside_occupations": 0,
        })
    );
    assert_eq!(run.column("flags")[18..], ["steep", "repeated_shot_id time_goes_back"]);
}

#[test]
fn check_tells_the_same_held_rows_and_writes_nothing() {
    let rows = [shot("Z", 3, "9", "0", "20"), shot("A", 4, "400", "0", "20"), shot("Z", 5, "9", "0", "20")];
    let field = Field::new(good(2) + &rows.concat());
    let output = field.command(&["check", "job.toml"]);
    assert_eq!((output.status.code(), String::from_utf8_lossy(&output.stderr).as_ref()), (Some(0), ""));
    let said = String::from_utf8(output.stdout).unwrap();
    let want = "base     A  46.100000 N 8.900000 E, standard error 0.50 m, bases.csv:2, 2 shots\n\
                base     B  46.101000 N 8.901000 E, standard error 0.50 m, bases.csv:3, 0 shots\n\
                Needs a decision\n  \
                  held         2  unknown_base           no base log has this base; check the spelling and leading zeros\n       \
                       2 rows, such as: no base log has a base Z (shots.csv:4, 6)\n  \
                  held         1  azimuth_range          an azimuth lies between 0 and 360 degrees\n       \
                       shots.csv:5: true_azimuth_deg 400 is outside 0 to 360 degrees\n";
    assert!(said.starts_with("2 of 5 shots mapped, 3 held, 0 flagged; 2 of 2 bases used\n"), "{said}");
    assert!(said.contains(want), "{said}");
    assert!(!field.path("t-layers").exists());
    assert_eq!(field.command(&["check", "job.toml", "--strict"]).status.code(), Some(3));
    // What map says is the same.
    let run = field.map();
    assert!(run.held.iter().all(|[.., sentence]| said.contains(sentence)));
}

#[test]
fn a_file_that_cannot_be_read_fails_before_anything_is_written() {
    let empty = |file: &str| format!("./{file}:1: the file is empty; a log needs a header line and rows");
    let mut field = Field::new("");
    assert_eq!(field.refusal(), empty("shots.csv"));
    field.write("shots.csv", "\n# nothing yet\n\n");
    assert_eq!(field.refusal(), empty("shots.csv"));
    field.job = field.job.replace("shots.csv", "nowhere.csv");
    assert_eq!(field.refusal(), "job.toml:12: no file ./nowhere.csv");
    std::fs::create_dir(field.path("nowhere.csv")).unwrap();
    assert_eq!(field.refusal(), "job.toml:12: ./nowhere.csv: cannot be read: it is a folder, not a file");
    field.job = field.job.replace("nowhere.csv", "*/day.csv");
    assert_eq!(field.refusal(), "job.toml:12: no file matches \"*/day.csv\" in .");
    // An empty base log, and the last of several shot logs.
    let mut field = Field::new(good(2));
    field.write("bases.csv", "");
    assert_eq!(field.refusal(), empty("bases.csv"));
    field.write("bases.csv", BASES);
    field.write("tuesday.csv", "");
    field.job = field.job.replace("files = [\"shots.csv\"]", "files = [\"shots.csv\", \"tuesday.csv\"]");
    assert_eq!(field.refusal(), empty("tuesday.csv"));
}

#[test]
fn a_file_that_cannot_be_read_leaves_the_former_output_as_it_was() {
    let field = Field::new(good(3));
    field.map();
    let before = written(&field);
    field.write("shots.csv", "");
    assert_eq!(field.refusal(), "./shots.csv:1: the file is empty; a log needs a header line and rows");
    assert_eq!(written(&field), before);
}

#[test]
fn a_header_without_rows_maps_nothing() {
    let run = Field::new(HEAD).map();
    assert_eq!((run.mapped(), run.held.len()), (0, 0));
}
