//! `standoff check`: the account that `map` would give, held rows with file and line, nothing written.

use crate::support;

use std::fs;
use std::path::Path;

use support::*;

#[test]
fn the_summary_stands_first_then_a_line_for_each_base_then_held_rows_by_reason() {
    let folder = EXAMPLES[0].copy();
    let ran = standoff(folder.path(), &["check", "job.toml"]).exits(0);
    assert_eq!(ran.err, "");
    assert!(ran.out.starts_with("25 of 48 shots mapped, 6 held, 1 flagged; 3 of 3 bases used\n"), "{}", ran.out);
    // Each reason once, the most frequent first, its rows below it; of a reason the most frequent sentence first.
    let expected = "\
Needs a decision
  held         3  no_distance            no distance came back; shoot again
       2 rows, such as: Slope dist \"---\" is no reading: no echo came back (monday.csv:15; tuesday/east-morning.csv:6)
       monday.csv:8: Slope dist is empty: no echo came back
  held         1  cut_last_line          the last line has no line end and may be cut; if it is whole, add a line end
       tuesday/west-evening.csv:6: the last line has no line end and may be cut short; if it is whole, add a line end
  held         1  azimuth_range          an azimuth lies between 0 and 360 degrees
       monday.csv:25: Mag bearing 371,4 is outside 0 to 360 degrees
  held         1  unknown_base           no base log has this base; check the spelling and leading zeros
       tuesday/east-morning.csv:16: no base log has a base SK-E3; did the crew mean SK-E1?
  flag         1  no_line_end ";
    assert!(ran.out.contains(expected), "{}", ran.out);
    let first_base = "base     SK-W1  58.602046 N 2.875188 W, standard error 0.01 m, ";
    assert!(ran.out.find(first_base).unwrap() < ran.out.find("Needs a decision").unwrap(), "{}", ran.out);
    let lines: Vec<&str> = ran.out.lines().filter(|line| line.starts_with("base     ")).collect();
    assert_eq!(lines.len(), 3, "{}", ran.out);
    // Each in a block of its own where that is asked for.
    let ran = standoff(folder.path(), &["check", "job.toml", "--bases"]).exits(0);
    let blocks: Vec<&str> = ran.out.lines().filter(|line| line.ends_with(" m on each axis")).collect();
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
        // What `map` says stands first and last, and what `check` alone says between; the places of held rows stand farther in.
        let account: Vec<&str> = mapped.out.lines().filter(|line| !of_files(line)).collect();
        let all: Vec<&str> = checked.out.lines().collect();
        let lines: Vec<&str> = all.iter().copied().filter(|line| !line.starts_with("       ")).collect();
        let first = account.iter().zip(&lines).take_while(|(a, b)| a == b).count();
        let last = account.iter().rev().zip(lines.iter().rev()).take_while(|(a, b)| a == b).count();
        assert!(first >= 2 && last >= 3 && first + last >= account.len(), "{}\n---\n{}", checked.out, mapped.out);
        // The rows behind the account are those of held.csv: as many of each reason.
        let mut counts: std::collections::BTreeMap<String, u64> = Default::default();
        for row in table(&folder.path().join("out/held.csv")) {
            *counts.entry(row["reason"].clone()).or_default() += 1;
        }
        for (reason, count) in counts {
            let of_reason = |line: &&str| line.split_whitespace().take(3).eq(["held", &count.to_string(), &reason]);
            assert_eq!(lines.iter().filter(|line| of_reason(line)).count(), 1, "{}: {reason} {count}", example.folder);
        }
    }
}

#[test]
fn a_job_without_held_rows_prints_the_account_and_its_bases() {
    let folder = tempfile::tempdir().unwrap();
    let job = "name = \"cove\"\ncrs = \"EPSG:32630\"\n[bases]\nfiles = [\"bases.csv\"]\ncrs = \"EPSG:4979\"\n[shots]\nfiles = [\"shots.csv\"]\n";
    fs::write(folder.path().join("job.toml"), job).unwrap();
    fs::write(folder.path().join("bases.csv"), "base,lat_deg,lon_deg\nA,58.6,-2.9\n").unwrap();
    fs::write(folder.path().join("shots.csv"), "base,horizontal_distance_m,true_azimuth_deg\nA,100,90\n").unwrap();
    let ran = standoff(folder.path(), &["check", "job.toml", "--strict"]).exits(0);
    assert!(ran.out.starts_with("1 of 1 shot mapped, 0 held, 0 flagged; 1 of 1 base used\n"), "{}", ran.out);
    let base = "base     A  58.600000 N 2.900000 W, standard error 2.50 m, bases.csv:2, 1 shot\nerrors   in place: ";
    assert!(ran.out.contains(base), "{}", ran.out);
    let expected = "\
A  58.600000 N 2.900000 W, standard error 2.50 m on each axis
  from    bases.csv:2
  height  none is known: shots are mapped in the plane
  north   convergence +0.09 deg
  shots   1 shot mapped from it
";
    let ran = standoff(folder.path(), &["check", "job.toml", "--bases"]).exits(0);
    assert!(ran.out.contains(expected), "{}", ran.out);
}

/// A count as the terminal shows it: a blank between thousands.
fn grouped(count: u64) -> String {
    let digits = count.to_string();
    match digits.len() {
        0..=3 => digits,
        length => format!("{} {}", &digits[..length - 3], &digits[length - 3..]),
    }
}

#[test]
fn equal_sentences_stand_together_with_their_rows() {
    let folder = tempfile::tempdir().unwrap();
    let invented = invent_logs(folder.path(), 50_000, "");
    assert!(invented.no_distance > 40, "{invented:?}");
    let job = "name = \"cove\"\ncrs = \"EPSG:32630\"\n[bases]\nfiles = [\"bases.csv\"]\ncrs = \"EPSG:4979\"\n[shots]\nfiles = [\"shots.csv\"]\n[heights]\ntarget_height_m = 0\n";
    fs::write(folder.path().join("job.toml"), job).unwrap();
    let ran = standoff(folder.path(), &["check", "job.toml"]).exits(0);
    for (reason, count) in [("no_distance", invented.no_distance), ("repeated_row", invented.repeated_rows)] {
        let of_reason = |line: &&str| line.split_whitespace().nth(2) == Some(reason) && line.starts_with("  held ");
        let mut lines = ran.out.lines().skip_while(|line| !of_reason(line));
        let counted = lines.next().unwrap_or_else(|| panic!("no {reason}\n{}", ran.out));
        assert!(counted.starts_with(&format!("  held {:>9}  {reason}", grouped(count))), "{counted}");
        let said: Vec<&str> = lines.take_while(|line| line.starts_with("       ")).collect();
        assert!(said.len() <= 5, "{reason}: {} sentences\n{}", said.len(), ran.out);
        assert!(said[0].contains(" rows, such as: ") && said[0].contains(" more)"), "{reason}\n{}", ran.out);
    }
}

#[test]
fn values_are_shown_also_where_layers_will_be_coarse() {
    let folder = tempfile::tempdir().unwrap();
    let job = "name = \"cove\"\ncrs = \"EPSG:32630\"\ncatalogue = \"catalogue.toml\"\n[bases]\nfiles = [\"bases.csv\"]\ncrs = \"EPSG:4979\"\n[shots]\nfiles = [\"shots.csv\"]\n";
    let catalogue = "[[codes]]\ncode = \"nest\"\ntitle = \"Nest\"\nlayer = \"nests\"\ngeometry = \"point\"\n[layers.nests]\ncoarse_cell_m = 1000\n";
    fs::write(folder.path().join("job.toml"), job).unwrap();
    fs::write(folder.path().join("catalogue.toml"), catalogue).unwrap();
    fs::write(folder.path().join("bases.csv"), "base,lat_deg,lon_deg\nA,58.6,-2.9\n").unwrap();
    let shots = "base,code,horizontal_distance_m,true_azimuth_deg\nA,nest,100,90\nA,nest,100,400.25\n";
    fs::write(folder.path().join("shots.csv"), shots).unwrap();
    let checked = standoff(folder.path(), &["check", "job.toml"]).exits(0);
    assert!(checked.out.contains("shots.csv:3: true_azimuth_deg 400.25 is outside 0 to 360 degrees"), "{}", checked.out);
    // What is written for others says nothing of it.
    standoff(folder.path(), &["map", "job.toml", "--out", "out"]).exits(0);
    for name in ["out/held.csv", "out/summary.json"] {
        assert!(!fs::read_to_string(folder.path().join(name)).unwrap().contains("400.25"), "{name}");
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
