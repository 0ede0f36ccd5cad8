//! `standoff check`: the account that `map` would give, held rows with file and line, nothing written.

use crate::support;

use std::fs;
use std::path::Path;

use support::*;

#[test]
fn held_rows_stand_by_reason_with_file_and_line() {
    let folder = EXAMPLES[0].copy();
    let ran = standoff(folder.path(), &["check", "job.toml"]).exits(0);
    assert_eq!(ran.err, "");
    let expected = "\
cut_last_line (1): the last line has no line end and may be cut; if it is whole, add a line end
  tuesday/west-evening.csv:6  the last line has no line end and may be cut short; if it is whole, add a line end
no_distance (3): no distance came back; shoot again
  monday.csv:8  SD is empty: no echo came back
  monday.csv:15  SD \"---\" is no reading: no echo came back
  tuesday/east-morning.csv:6  SD \"9999\" is no reading: no echo came back
azimuth_range (1): an azimuth lies between 0 and 360 degrees
  monday.csv:25  AzMag 371,4 is outside 0 to 360 degrees
unknown_base (1): no base log has this base; check the spelling and leading zeros
  tuesday/east-morning.csv:16  no base log has a base SK-E3; did the crew mean SK-E1?
25 of 48 shots mapped, 6 held, 1 flagged; 3 of 3 bases used
  17 further shots to features mapped already: joined in their points or left out by a test
";
    let (bases, rest) = ran.out.split_once("cut_last_line").unwrap();
    assert!(format!("cut_last_line{rest}").starts_with(expected), "{}", ran.out);
    // Each base in a block of its own.
    let blocks: Vec<&str> = bases.lines().filter(|line| !line.starts_with("  ")).collect();
    assert_eq!(
        blocks,
        [
            "SK-W1  58.602046 N 2.875188 W, standard error 0.01 m on each axis",
            "SK-W2  58.602221 N 2.874713 W, standard error 0.02 m on each axis",
            "SK-E1  58.601975 N 2.870745 W, standard error 0.01 m on each axis",
        ]
    );
}

#[test]
fn the_account_is_that_of_map_and_nothing_is_written() {
    for example in &EXAMPLES {
        let folder = example.copy();
        let before = names(folder.path());
        let checked = standoff(folder.path(), &["check", "job.toml"]).exits(0);
        assert_eq!(names(folder.path()), before, "{}", example.folder);
        let mapped = standoff(folder.path(), &["map", "job.toml", "--out", "out"]).exits(0);
        let of_files = |line: &&str| line.starts_with("written  ") || line.starts_with("page     ");
        let account: String = mapped.out.split_inclusive('\n').filter(|line| !of_files(line)).collect();
        assert!(checked.out.ends_with(&account), "{}\n---\n{account}", checked.out);
        // The rows above the account are those of held.csv.
        let mut held: Vec<String> = table(&folder.path().join("out/held.csv"))
            .into_iter()
            .map(|row| format!("  {}:{}  {}", row["source_file"], row["source_line"], row["sentence"]))
            .collect();
        let head = &checked.out[..checked.out.len() - account.len()];
        // A base's block has words at the front of its lines.
        let of_a_base =
            |line: &str| ["from", "height", "north", "shots", "flag"].iter().any(|word| line.starts_with(&format!("  {word} ")));
        let mut listed: Vec<&str> = head.lines().filter(|line| line.starts_with("  ") && !of_a_base(line)).collect();
        held.sort();
        listed.sort_unstable();
        assert_eq!(listed, held, "{}", example.folder);
    }
}

#[test]
fn a_job_without_held_rows_prints_its_bases_and_the_account() {
    let folder = tempfile::tempdir().unwrap();
    let job = "name = \"cove\"\ncrs = \"EPSG:32630\"\n[bases]\nfiles = [\"bases.csv\"]\ncrs = \"EPSG:4979\"\n[shots]\nfiles = [\"shots.csv\"]\n";
    fs::write(folder.path().join("job.toml"), job).unwrap();
    fs::write(folder.path().join("bases.csv"), "base,lat_deg,lon_deg\nA,58.6,-2.9\n").unwrap();
    fs::write(folder.path().join("shots.csv"), "base,horizontal_distance_m,true_azimuth_deg\nA,100,90\n").unwrap();
    let ran = standoff(folder.path(), &["check", "job.toml", "--strict"]).exits(0);
    let expected = "\
A  58.600000 N 2.900000 W, standard error 2.50 m on each axis
  from    bases.csv:2
  height  none is known: shots are mapped in the plane
  north   convergence +0.09 deg
  shots   1 shot mapped from it
1 of 1 shots mapped, 0 held, 0 flagged; 1 of 1 bases used
";
    assert!(ran.out.starts_with(expected), "{}", ran.out);
}

#[test]
fn of_many_held_rows_the_first_twenty_are_shown_and_the_rest_counted() {
    let folder = tempfile::tempdir().unwrap();
    let invented = invent_logs(folder.path(), 50_000, "");
    assert!(invented.no_distance > 40, "{invented:?}");
    let job = "name = \"cove\"\ncrs = \"EPSG:32630\"\n[bases]\nfiles = [\"bases.csv\"]\ncrs = \"EPSG:4979\"\n[shots]\nfiles = [\"shots.csv\"]\n[heights]\ntarget_height_m = 0\n";
    fs::write(folder.path().join("job.toml"), job).unwrap();
    let ran = standoff(folder.path(), &["check", "job.toml"]).exits(0);
    for (reason, count) in [("no_distance", invented.no_distance), ("repeated_row", invented.repeated_rows)] {
        let mut lines = ran.out.lines().skip_while(|line| !line.starts_with(&format!("{reason} ({count}): "))).skip(1);
        let shown = lines.by_ref().take_while(|line| line.starts_with("  shots.csv:")).count();
        assert_eq!(shown, 20, "{reason}\n{}", ran.out);
        assert!(ran.out.contains(&format!("  and {} more\n", count - 20)), "{reason}\n{}", ran.out);
    }
}

#[test]
fn strict_turns_held_rows_into_a_failure() {
    let folder = EXAMPLES[0].copy();
    let plain = standoff(folder.path(), &["check", "job.toml"]).exits(0);
    let strict = standoff(folder.path(), &["check", "job.toml", "--strict"]).exits(3);
    assert_eq!(strict.out, plain.out);
    assert_eq!(strict.err, "");
}

#[test]
fn a_job_that_is_not_there_fails_and_none_is_wrong_usage() {
    standoff(Path::new("."), &["check", "nowhere.toml"])
        .fails("nowhere.toml: cannot be read: No such file or directory (os error 2)");
    let ran = standoff(Path::new("."), &["check"]).exits(2);
    assert_eq!(
        ran.err,
        "error: the following required arguments were not provided:\n  <JOB.toml>\n\nUsage: standoff check <JOB.toml>\n\n\
         For more information, try '--help'.\n"
    );
}
