//! Whole runs: the same bytes whatever the threads, the day and the place; an output folder that is
//! whole or not there; exit statuses and what is said where; a machine with nothing on it.

use crate::support;

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::Value;
use support::*;

/// Rows of a log that takes the program long enough to be interrupted.
const LONG_LOG: usize = 500_000;
/// Rows and bytes of remark of a log of several windows of several blocks, in all formats.
const WINDOWS_LOG: (usize, usize) = (8000, 450);

fn map_in_all_formats<'a>(job: &[&'a str]) -> Vec<&'a str> {
    let mut arguments = [&["map"], job].concat();
    FORMATS.iter().for_each(|format| arguments.extend(["--format", format]));
    arguments
}

#[test]
fn one_two_and_four_threads_give_the_same_bytes() {
    let folder = tempfile::tempdir().unwrap();
    let (rows, remark) = WINDOWS_LOG;
    let invented = invent_logs(folder.path(), rows, &"x".repeat(remark));
    for threads in ["1", "2", "4"] {
        let out = format!("{threads}/layers");
        let mut arguments = map_in_all_formats(&map_invented(&out)[1..]);
        arguments.extend(["--threads", threads, "--quiet"]);
        standoff(folder.path(), &arguments).exits(0);
        if threads != "1" {
            assert_same_files(&folder.path().join("1/layers"), &folder.path().join(&out));
            fs::remove_dir_all(folder.path().join(threads)).unwrap();
        }
    }
    // And what looks beyond one block found all there is.
    let summary = json(&folder.path().join("1/layers/summary.json"));
    let shots = &summary["shots"];
    assert_eq!(shots["mapped"], invented.mapped);
    assert_eq!(
        shots["held_by_reason"],
        serde_json::json!({ "no_distance": invented.no_distance, "repeated_row": invented.repeated_rows })
    );
    assert_eq!(shots["flags"], serde_json::json!({ "azimuth_repeats": invented.frozen_azimuths }));
}

#[test]
fn the_day_the_zone_and_the_place_leave_no_trace() {
    for example in &EXAMPLES {
        let (one, other, elsewhere) = (example.copy(), example.copy(), tempfile::tempdir().unwrap());
        standoff(one.path(), &map_in_all_formats(&["job.toml", "--out", "layers"])).exits(0);
        // Another second, time zone, language, working folder and place of the job.
        std::thread::sleep(Duration::from_millis(1100));
        let (job, out) = (other.path().join("job.toml"), other.path().join("layers"));
        let mut command = program();
        command.current_dir(elsewhere.path()).args(map_in_all_formats(&[job.to_str().unwrap(), "--out", out.to_str().unwrap()]));
        command.env("TZ", "Pacific/Kiritimati").env("LC_ALL", "de_DE.UTF-8").env("LANG", "de_DE.UTF-8");
        run(command).exits(0);
        assert_same_files(&one.path().join("layers"), &out);
        // No day but those of the data: a .dbf has one in its header, bytes 1 to 3.
        let latest = &of_features(example.layers)
            .into_iter()
            .flat_map(|layer| records(&out.join(format!("csv/{}.{layer}.csv", example.name))))
            .map(|row| row["time_local"][..10].to_owned())
            .max();
        let header = fs::read(out.join(format!("shp/{}.features.dbf", example.name))).unwrap();
        let dated = format!("{}-{:02}-{:02}", 1900 + u32::from(header[1]), header[2], header[3]);
        assert_eq!(Some(dated), *latest, "{}", example.folder);
    }
}

#[test]
fn a_run_that_fails_leaves_the_former_output_as_it_was() {
    let folder = EXAMPLES[0].copy();
    let job = read(&folder.path().join("job.toml"));
    standoff(folder.path(), &["map", "job.toml", "--out", "layers"]).exits(0);
    standoff(folder.path(), &["map", "job.toml", "--out", "kept/layers"]).exits(0);
    let before = names(folder.path());
    for (was, is) in [
        ("EPSG:32630", "EPSG:99999"),
        ("\"monday.csv\"", "\"mon.csv\""),
        ("slope_distance_m     = \"Slope dist\"", "slope_distance_m     = \"Distance\""),
        ("crs     = \"EPSG:4979\"", "crs     = \"+proj=longlat +ellps=clrk66 +type=crs\""),
    ] {
        let broken = job.replace(was, is);
        assert_ne!(broken, job, "the job has no {was}");
        fs::write(folder.path().join("job.toml"), broken).unwrap();
        let ran = standoff(folder.path(), &["map", "job.toml", "--out", "layers"]).exits(1);
        assert!(ran.err.starts_with("error: ") && ran.err.lines().count() == 1, "{}", ran.err);
        assert_same_files(&folder.path().join("kept/layers"), &folder.path().join("layers"));
        assert_eq!(names(folder.path()), before, "something is left beside the output");
    }
}

/// The failure of a full disk, had by a limit on the size of files.
#[cfg(unix)]
#[test]
fn a_write_that_fails_half_way_leaves_the_former_output_as_it_was() {
    let folder = tempfile::tempdir().unwrap();
    invent_logs(folder.path(), 20_000, "");
    let arguments = [&map_invented("layers")[..], &["--format", "gpkg", "--layers", "features"]].concat();
    for out in ["layers", "kept/layers"] {
        let arguments = [&map_invented(out)[..], &["--format", "gpkg", "--layers", "bases"]].concat();
        standoff(folder.path(), &arguments).exits(0);
    }
    // Blocks of 512 or 1024 bytes, by the shell: one or two megabytes, where the run wants more.
    let mut limited = Command::new("sh");
    limited.current_dir(folder.path()).args(["-c", "trap '' XFSZ; ulimit -f 2048; exec \"$0\" \"$@\""]);
    limited.arg(program().get_program()).args(&arguments);
    run(limited).fails(".layers.partial/layers.gpkg: writing records: File too large (os error 27)");
    assert_same_files(&folder.path().join("kept/layers"), &folder.path().join("layers"));
    let left = names(folder.path());
    assert_eq!(left, ["bases.csv", "kept", "layers", "shots.csv"].map(str::to_owned).into());
    // And without the limit it is more.
    standoff(folder.path(), &arguments).exits(0);
    assert!(fs::metadata(folder.path().join("layers/layers.gpkg")).unwrap().len() > 2 * 1024 * 1024);
}

#[cfg(unix)]
#[test]
fn a_run_that_is_killed_leaves_the_former_output_or_the_new_one_whole() {
    use std::os::unix::process::ExitStatusExt;

    // Shares of the time that the run takes alone; close together where folders change places.
    const MOMENTS: [f64; 14] = [0.01, 0.1, 0.25, 0.4, 0.6, 0.75, 0.85, 0.9, 0.93, 0.96, 0.98, 1.0, 1.03, 1.06];
    const SIGKILL: i32 = 9;
    let folder = tempfile::tempdir().unwrap();
    invent_logs(folder.path(), LONG_LOG, "");
    // Former and new output differ in their dates alone.
    let (former_epoch, new_epoch) = ("1000000000", "1700000000");
    let map = |out: &str, epoch: &str| {
        let mut command = program();
        command.current_dir(folder.path()).env("SOURCE_DATE_EPOCH", epoch).args(map_invented(out));
        command.args(["--format", "gpkg", "--layers", "features,bases,ledger", "--quiet"]);
        command
    };
    run(map("former/layers", former_epoch)).exits(0);
    run(map("here/layers", former_epoch)).exits(0);
    let began = Instant::now();
    run(map("new/layers", new_epoch)).exits(0);
    let mut whole_run = began.elapsed();
    let [former, new, here] = ["former/layers", "new/layers", "here/layers"].map(|out| folder.path().join(out));
    assert!(difference(&former, &new).is_some());
    let (mut killed, mut partial, mut finished) = (0, 0, 0);
    for moment in MOMENTS {
        let mut child = map("here/layers", new_epoch).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
        std::thread::sleep(whole_run.mul_f64(moment));
        // It may have ended by itself.
        let _ = child.kill();
        let is_killed = child.wait().unwrap().signal() == Some(SIGKILL);
        killed += u32::from(is_killed);
        // A run that ended well before its time says that the machine was busier when the time was taken.
        if !is_killed && moment < 1.0 {
            whole_run = whole_run.mul_f64(0.7);
        }
        partial += u32::from(folder.path().join("here/.layers.partial").exists());
        match (difference(&here, &former), difference(&here, &new)) {
            (None, _) => assert_eq!(finished, 0, "the former output came back"),
            (_, None) => finished += 1,
            (Some(from_former), Some(from_new)) => {
                panic!("killed at {moment} of {whole_run:?}, neither former nor new: {from_former}; {from_new}")
            }
        }
    }
    eprintln!("{killed} of {} runs killed, {partial} left a partial folder, {finished} saw the new output", MOMENTS.len());
    assert!(killed >= 5 && partial >= 5, "too few runs were cut off: {killed} killed, {partial} partial folders");
    // The next run cleans up.
    run(map("here/layers", new_epoch)).exits(0);
    assert_same_files(&here, &new);
    assert_eq!(names(&folder.path().join("here")), ["layers".to_owned()].into());
}

#[cfg(unix)]
#[test]
fn a_first_run_that_is_killed_leaves_no_output() {
    let folder = tempfile::tempdir().unwrap();
    invent_logs(folder.path(), LONG_LOG, "");
    let mut partial = 0;
    for milliseconds in [20, 100, 250] {
        let mut command = program();
        command.current_dir(folder.path()).args(map_invented("layers")).args(["--threads", "1", "--quiet"]);
        let mut child = command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
        std::thread::sleep(Duration::from_millis(milliseconds));
        child.kill().unwrap();
        child.wait().unwrap();
        assert!(!folder.path().join("layers").exists(), "after {milliseconds} ms");
        partial += u32::from(folder.path().join(".layers.partial").exists());
    }
    assert!(partial > 0, "no run got as far as its partial folder");
    let arguments = [&map_invented("layers")[..], &["--format", "csv", "--layers", "bases"]].concat();
    standoff(folder.path(), &arguments).exits(0);
    assert_eq!(names(folder.path()), ["bases.csv", "layers", "shots.csv"].map(str::to_owned).into());
}

#[test]
fn a_new_output_takes_the_place_of_the_former_as_a_whole() {
    let folder = EXAMPLES[0].copy();
    standoff(folder.path(), &map_in_all_formats(&["job.toml", "--out", "layers"])).exits(0);
    standoff(folder.path(), &["map", "job.toml", "--out", "layers", "--format", "csv"]).exits(0);
    assert_eq!(files(&folder.path().join("layers")), expected_files("skerrow", &["csv"]));
}

#[test]
fn a_folder_with_strange_files_is_refused() {
    let folder = EXAMPLES[0].copy();
    let refused_with = |out: &str, stranger: &str, remedy: &str| {
        let before = files(&folder.path().join(out));
        standoff(folder.path(), &["map", "job.toml", "--out", out]).fails(&format!(
            "{out} holds {stranger}, which this program did not write; the output folder is replaced as a whole, so {remedy}"
        ));
        assert_eq!(files(&folder.path().join(out)), before);
        assert!(!folder.path().join(format!(".{out}.partial")).exists());
    };
    let refused =
        |out: &str, stranger: &str| refused_with(out, stranger, "name another, or empty it (--out names another folder)");
    // Somebody's folder, a folder of folders, and a former output with a note added.
    fs::create_dir_all(folder.path().join("mine")).unwrap();
    fs::write(folder.path().join("mine/notes.txt"), "keep").unwrap();
    refused("mine", "notes.txt");
    assert_eq!(read(&folder.path().join("mine/notes.txt")), "keep");
    fs::create_dir_all(folder.path().join("photos/monday")).unwrap();
    refused("photos", "monday");
    standoff(folder.path(), &["map", "job.toml", "--out", "layers"]).exits(0);
    fs::write(folder.path().join("layers/style.qml"), "").unwrap();
    refused_with(
        "layers",
        "style.qml",
        "keep that elsewhere, name another folder, or have it thrown away (--out names another folder, --replace throws away what is in the \
         way)",
    );
    // A file, and the folder of the logs themselves.
    standoff(folder.path(), &["map", "job.toml", "--out", "monday.csv"])
        .fails("monday.csv: replacing the output folder: it is a file");
    refused("tuesday", "east-morning.csv");
    // An empty folder is as good as none.
    fs::create_dir(folder.path().join("empty")).unwrap();
    standoff(folder.path(), &["map", "job.toml", "--out", "empty"]).exits(0);
}

#[test]
fn two_runs_do_not_write_to_one_place() {
    let folder = tempfile::tempdir().unwrap();
    invent_logs(folder.path(), LONG_LOG, "");
    let mut command = program();
    command.current_dir(folder.path()).args(map_invented("layers")).args(["--threads", "1", "--quiet"]);
    let mut first = command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
    let began = Instant::now();
    while !folder.path().join(".layers.partial/held.csv").exists() {
        assert!(began.elapsed() < Duration::from_secs(60), "the first run never began");
        std::thread::sleep(Duration::from_millis(5));
    }
    standoff(folder.path(), &map_invented("layers"))
        .fails("another run is writing to layers; wait for it, or name another folder (--out names another folder)");
    assert!(first.wait().unwrap().success());
    assert_eq!(files(&folder.path().join("layers")), expected_files("layers", &["gpkg"]));
}

const HELD: &str = "held: 6 rows were set aside; see layers/held.csv\n";

#[test]
fn exit_statuses_are_as_documented() {
    let folder = EXAMPLES[0].copy();
    let map = |more: &[&str]| standoff(folder.path(), &[&["map", "job.toml", "--out", "layers"], more].concat());
    // 0: done, rows held and announced.
    assert_eq!(map(&[]).exits(0).err, HELD);
    // 3: done, rows held, and --strict: the layers are there all the same.
    fs::remove_dir_all(folder.path().join("layers")).unwrap();
    assert_eq!(map(&["--strict"]).exits(3).err, HELD);
    assert_eq!(files(&folder.path().join("layers")), expected_files("skerrow", &["gpkg"]));
    // 1: failed, nothing written. 2: wrong usage.
    fs::remove_dir_all(folder.path().join("layers")).unwrap();
    standoff(folder.path(), &["map", "jobs.toml", "--out", "layers", "--strict"]).exits(1);
    map(&["--fast"]).exits(2);
    assert!(!folder.path().join("layers").exists());
    // 0 under --strict where no row is held, and not a word on standard error.
    let clean = tempfile::tempdir().unwrap();
    fs::write(clean.path().join("bases.csv"), "base,lat_deg,lon_deg\nA,58.6,-2.9\n").unwrap();
    fs::write(clean.path().join("shots.csv"), "base,horizontal_distance_m,true_azimuth_deg\nA,100,90\n").unwrap();
    assert_eq!(standoff(clean.path(), &[&map_invented("out")[..], &["--strict"]].concat()).exits(0).err, "");
    // One row is a row.
    fs::write(clean.path().join("shots.csv"), "base,horizontal_distance_m,true_azimuth_deg\nA,100,90\nA,,90\n").unwrap();
    assert_eq!(standoff(clean.path(), &map_invented("out")).exits(0).err, "held: 1 row was set aside; see out/held.csv\n");
}

#[test]
fn quiet_leaves_only_the_held_rows() {
    let folder = EXAMPLES[0].copy();
    for option in ["--quiet", "-q"] {
        let ran = standoff(folder.path(), &["map", "job.toml", "--out", "layers", option]).exits(0);
        assert_eq!((ran.out.as_str(), ran.err.as_str()), ("", HELD));
    }
}

#[test]
fn the_summary_on_standard_output_is_the_file_is_valid_and_lists_the_files() {
    let schema: Value = serde_json::from_str(&standoff(Path::new("."), &["schema", "summary"]).exits(0).out).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    for example in &EXAMPLES {
        let folder = example.copy();
        let ran = standoff(folder.path(), &["map", "job.toml", "--out", "layers", "--json"]).exits(0);
        assert_eq!(ran.out, read(&folder.path().join("layers/summary.json")));
        assert_eq!(ran.err, HELD.replace('6', &example.held.to_string()));
        let faults: Vec<String> =
            validator.iter_errors(&ran.out.parse::<Value>().unwrap()).map(|fault| fault.to_string()).collect();
        assert_eq!(faults, Vec::<String>::new(), "{}", example.folder);
        let summary = json(&folder.path().join("layers/summary.json"));
        let mut listed: BTreeSet<String> =
            summary["files"].as_array().unwrap().iter().map(|file| file["name"].as_str().unwrap().to_owned()).collect();
        listed.insert("summary.json".to_owned());
        assert_eq!(listed, files(&folder.path().join("layers")), "{}", example.folder);
    }
}

fn number(value: &Value) -> u64 {
    value.as_u64().unwrap_or_else(|| panic!("{value} is no count"))
}

/// Read = mapped + repeats + held + composed, and held = the sum over its reasons.
fn assert_adds_up(counts: &Value) {
    let sum: u64 = ["mapped", "repeats", "held", "composed"].iter().map(|count| number(&counts[*count])).sum();
    assert_eq!(number(&counts["read"]), sum, "{counts}");
    let by_reason: u64 = counts["held_by_reason"].as_object().unwrap().values().map(number).sum();
    assert_eq!(number(&counts["held"]), by_reason, "{counts}");
    let flags: u64 = counts["flags"].as_object().unwrap().values().map(number).sum();
    assert!(number(&counts["flagged"]) <= flags && number(&counts["flagged"]) <= number(&counts["mapped"]), "{counts}");
    assert!(number(&counts["without_height"]) <= number(&counts["mapped"]), "{counts}");
}

#[test]
fn every_row_is_mapped_or_held_and_the_counts_say_so_everywhere() {
    for example in &EXAMPLES {
        let folder = example.copy();
        standoff(folder.path(), &["map", "job.toml", "--out", "layers", "--format", "csv"]).exits(0);
        let out = folder.path().join("layers");
        let summary = json(&out.join("summary.json"));
        let layer = |layer: &str| records(&out.join(format!("csv/{}.{layer}.csv", example.name)));
        let (sights, ledger, held) = (layer("sight_lines"), layer("ledger"), table(&out.join("held.csv")));
        let features: usize = of_features(example.layers).into_iter().map(|name| layer(name).len()).sum();
        let counts = ["mapped", "repeats", "held", "composed"].map(|count| number(&summary["shots"][count]) as usize);
        assert_eq!(counts, [example.mapped, example.repeats, example.held, example.composed], "{}", example.folder);
        for log in ["shots", "bases"] {
            assert_adds_up(&summary[log]);
            for count in ["read", "mapped", "repeats", "held", "composed", "flagged", "without_height"] {
                let inputs = summary["inputs"].as_array().unwrap().iter().filter(|input| input["log"] == log);
                let sum: u64 = inputs.map(|input| number(&input["rows"][count])).sum();
                assert_eq!(sum, number(&summary[log][count]), "{count} of {log} of {}", example.folder);
            }
        }
        assert_eq!(features, example.mapped);
        assert_eq!(held.len() as u64, number(&summary["shots"]["held"]) + number(&summary["bases"]["held"]));
        for input in summary["inputs"].as_array().unwrap() {
            assert_adds_up(&input["rows"]);
            let file = input["file"].as_str().unwrap();
            // The ledger's record of the file, and its rows.
            let of_file: Vec<_> = ledger.iter().filter(|record| record["source_file"] == file).collect();
            let [record] = of_file.iter().filter(|record| record["record"] == "file").collect::<Vec<_>>()[..] else {
                panic!("{file} has no record, or several")
            };
            for (field, count) in
                [("rows_read", "read"), ("rows_mapped", "mapped"), ("rows_held", "held"), ("rows_flagged", "flagged")]
            {
                assert_eq!(record[field], number(&input["rows"][count]).to_string(), "{field} of {file}");
            }
            for (kind, count) in [("held", "held"), ("flagged", "flagged")] {
                let rows = of_file.iter().filter(|record| record["record"] == kind).count();
                assert_eq!(rows as u64, number(&input["rows"][count]), "{kind} rows of {file}");
            }
            // Every line of the file is a row, or was skipped for what it is: blank, comment, header, units.
            let lines = fs::read(folder.path().join(file)).unwrap();
            let ends = lines.iter().filter(|byte| **byte == b'\n').count() + usize::from(lines.last() != Some(&b'\n'));
            let skipped: u64 =
                ["blank_lines", "comment_lines", "repeated_headers", "units_lines"].iter().map(|kind| number(&input[kind])).sum();
            assert_eq!(ends as u64, 1 + number(&input["rows"]["read"]) + skipped, "lines of {file}");
            // A row has a line of sight, or is held, and not both, or it served a measurement alone.
            if input["log"] == "shots" {
                let mut accounted: Vec<u64> = sights
                    .iter()
                    .chain(&held)
                    .filter(|record| record["source_file"] == file)
                    .map(|record| record["source_line"].parse().unwrap())
                    .collect();
                accounted.sort_unstable();
                accounted.dedup();
                let alone = number(&input["rows"]["composed"]);
                assert_eq!(accounted.len() as u64 + alone, number(&input["rows"]["read"]), "{file}");
            }
        }
    }
}

#[test]
fn the_summary_has_the_hashes_of_the_inputs() {
    // By sha256sum and wc -c of GNU coreutils 9.1.
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("bases.csv"), "base,lat_deg,lon_deg\nA,58.6,-2.9\n").unwrap();
    fs::write(folder.path().join("shots.csv"), "base,horizontal_distance_m,true_azimuth_deg\nA,100,90\n").unwrap();
    standoff(folder.path(), &map_invented("out")).exits(0);
    let summary = json(&folder.path().join("out/summary.json"));
    let hashes: Vec<&str> = summary["inputs"].as_array().unwrap().iter().map(|input| input["sha256"].as_str().unwrap()).collect();
    let expected = [
        "53f2d1763ad2daf429dd42b5bdd0d1bb98906fbd0f082c482ed0bf4e5f8a6bd7",
        "67b73433cf4213dad5919e189f11b98d29f63eadeb11ce1a22037548c685a547",
    ];
    assert_eq!(hashes, expected);
    let bytes: Vec<u64> = summary["inputs"].as_array().unwrap().iter().map(|input| number(&input["bytes"])).collect();
    assert_eq!(bytes, [33, 53]);
}

#[test]
fn there_is_no_colour_in_a_pipe_unless_it_is_forced_and_none_at_all_with_no_color() {
    let folder = EXAMPLES[0].copy();
    let ran = |variables: &[(&str, &str)], arguments: &[&str]| {
        let mut command = program();
        command.current_dir(folder.path()).args(arguments).env("TERM", "xterm-256color");
        variables.iter().for_each(|(name, value)| {
            command.env(name, value);
        });
        let ran = run(command);
        ran.out + &ran.err
    };
    for arguments in [
        vec!["map", "job.toml", "--out", "layers"],
        vec!["check", "job.toml"],
        vec!["map", "nowhere.toml"],
        vec!["map", "--help"],
        vec!["map", "--nonsense"],
    ] {
        let is_coloured = |variables: &[(&str, &str)]| ran(variables, &arguments).contains('\u{1b}');
        assert!(!is_coloured(&[]), "{arguments:?} in a pipe");
        assert!(is_coloured(&[("CLICOLOR_FORCE", "1")]), "{arguments:?} forced: else this test says nothing");
        assert!(!is_coloured(&[("CLICOLOR_FORCE", "1"), ("NO_COLOR", "1")]), "{arguments:?} with NO_COLOR");
        assert_eq!(ran(&[("CLICOLOR_FORCE", "1"), ("NO_COLOR", "1")], &arguments), ran(&[], &arguments));
    }
}

/// Long enough for a bar, which waits 0.7 s.
fn long_run(folder: &Path) -> Command {
    let mut command = program();
    command.current_dir(folder).args(map_invented("layers")).args(["--threads", "1", "--format", "gpkg"]);
    command
}

#[test]
fn there_is_no_progress_bar_in_a_pipe() {
    let folder = tempfile::tempdir().unwrap();
    let invented = invent_logs(folder.path(), LONG_LOG, "");
    let began = Instant::now();
    let ran = run(long_run(folder.path())).exits(0);
    assert!(began.elapsed() > Duration::from_secs(1), "too short a run for a bar: {:?}", began.elapsed());
    assert_eq!(ran.err, format!("held: {} rows were set aside; see layers/held.csv\n", invented.held()));
    assert!(!ran.out.contains(['\r', '\u{1b}']), "{}", ran.out);
    // Shares stand in the two lines of what the places err by, and nowhere else.
    let shares: Vec<&str> = ran.out.lines().filter(|line| line.contains('%')).collect();
    assert!(shares.len() == 2 && shares.iter().all(|line| line.starts_with("errors   in ")), "{}", ran.out);
}

/// A terminal, by util-linux's script; what the command wrote to it.
#[cfg(target_os = "linux")]
fn on_a_terminal(command: &Command, variables: &[(&str, &str)]) -> String {
    let quoted = |word: &std::ffi::OsStr| format!("'{}'", word.to_str().unwrap());
    let words: Vec<String> = std::iter::once(command.get_program()).chain(command.get_args()).map(quoted).collect();
    let mut script = Command::new("script");
    script.args(["-qec", &words.join(" "), "/dev/null"]).current_dir(command.get_current_dir().unwrap());
    script
        .env_clear()
        .env("PATH", std::env::var_os("PATH").unwrap_or_default())
        .env("TERM", "xterm-256color")
        .env("SHELL", "/bin/sh");
    script.envs(variables.iter().copied()).stdin(Stdio::null());
    let output = script.output().expect("script, of util-linux");
    let text = String::from_utf8(output.stdout).unwrap();
    assert!(output.status.success(), "{text}");
    text
}

#[cfg(target_os = "linux")]
#[test]
fn on_a_terminal_there_is_colour_unless_no_color_and_a_bar_for_long_work_unless_quiet() {
    let folder = tempfile::tempdir().unwrap();
    invent_logs(folder.path(), LONG_LOG, "");
    let colour = "\u{1b}[33m";
    let text = on_a_terminal(&long_run(folder.path()), &[]);
    assert!(text.contains(" % of ") && text.contains(" left") && text.contains(colour), "{text:?}");
    // The bar is taken off before the account is printed.
    let account = text.find("shots mapped").unwrap();
    assert!(!text[account..].contains(" % of "), "{text:?}");
    let plain = on_a_terminal(&long_run(folder.path()), &[("NO_COLOR", "1")]);
    assert!(plain.contains("held") && !plain.contains(colour) && !plain.contains("\u{1b}[1m"), "{plain:?}");
    let mut quiet = long_run(folder.path());
    quiet.arg("--quiet");
    let quiet = on_a_terminal(&quiet, &[]);
    assert!(!quiet.contains(" % of ") && quiet.lines().count() == 1, "{quiet:?}");
}

/// Runs a command whose reader has gone before a word is written.
fn without_a_reader(command: &mut Command) -> (Option<i32>, String) {
    let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    (output.status.code(), String::from_utf8(output.stderr).unwrap())
}

#[test]
fn a_closed_pipe_is_no_failure() {
    let folder = EXAMPLES[0].copy();
    for arguments in [
        vec!["man"],
        vec!["completions", "bash"],
        vec!["schema", "summary"],
        vec!["check", "job.toml"],
        vec!["north", "--lat", "58.6", "--lon", "-2.9", "--date", "2026-05-04"],
        vec!["--help"],
    ] {
        let ended = without_a_reader(program().current_dir(folder.path()).args(&arguments));
        assert_eq!(ended, (Some(0), String::new()), "{arguments:?}");
    }
}

#[test]
fn a_closed_pipe_keeps_neither_the_layers_nor_the_word_on_held_rows_back() {
    let folder = EXAMPLES[0].copy();
    for (option, status) in [("--json", 0), ("--strict", 3)] {
        let arguments = ["map", "job.toml", "--out", "layers", option];
        let ended = without_a_reader(program().current_dir(folder.path()).args(arguments));
        assert_eq!(ended, (Some(status), HELD.to_owned()), "{option}");
        assert_eq!(files(&folder.path().join("layers")), expected_files("skerrow", &["gpkg"]));
        fs::remove_dir_all(folder.path().join("layers")).unwrap();
    }
    let strict = without_a_reader(program().current_dir(folder.path()).args(["check", "job.toml", "--strict"]));
    assert_eq!(strict, (Some(3), String::new()));
}

/// A job that needs PROJ's database for its datum change, and the built-in time zones for its times.
const BARE_JOB: &str = "name = \"bare\"\ncrs = \"EPSG:27700\"\nallow_missing_grids = true\n\
    formats = [\"gpkg\", \"geojson\", \"shp\", \"fgb\", \"csv\", \"dxf\", \"kml\", \"kmz\", \"gpx\", \"jsonfg\", \"sld\"]\n\
    [bases]\nfiles = [\"bases.csv\"]\ncrs = \"EPSG:4979\"\n\
    [shots]\nfiles = [\"shots.csv\"]\ntime_zone = \"Europe/London\"\n[heights]\ninstrument_height_m = 1.5\ntarget_height_m = 0\n";

/// A folder with a copy of the program, the job and its logs, and an empty folder to run in.
fn bare() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs::copy(program().get_program(), folder.path().join("standoff")).unwrap();
    fs::write(folder.path().join("job.toml"), BARE_JOB).unwrap();
    fs::write(folder.path().join("bases.csv"), "base,lat_deg,lon_deg,ellipsoid_height_m\nA,58.6,-2.9,60.5\n").unwrap();
    let shots = "base,time,slope_distance_m,inclination_deg,magnetic_azimuth_deg\nA,2026-05-04 08:00:01,100,5,90\nA,2026-12-04 08:00:01,50,-5,10\n";
    fs::write(folder.path().join("shots.csv"), shots).unwrap();
    fs::create_dir(folder.path().join("empty")).unwrap();
    folder
}

/// Maps the bare job with the tests' own environment, for comparison.
fn map_as_usual(bare: &Path) {
    standoff(bare, &["map", "job.toml", "--out", "usual", "--quiet"]).exits(0);
}

#[test]
fn the_program_runs_with_an_empty_environment_and_no_data_folder() {
    let bare = bare();
    map_as_usual(bare.path());
    let empty = bare.path().join("empty");
    // With nothing set; and with the search for data of PROJ, GDAL and time zones led into the void.
    for (out, variables) in [("nothing-set", [].as_slice()), ("void", &["PROJ_DATA", "PROJ_LIB", "GDAL_DATA", "TZDIR", "HOME"])] {
        let mut command = Command::new(bare.path().join("standoff"));
        command.current_dir(&empty).env_clear().envs(variables.iter().map(|variable| (variable, &empty)));
        command.args(["map", "../job.toml", "--out", &format!("../{out}"), "--quiet"]);
        assert_eq!(run(command).exits(0).err, "");
        assert_same_files(&bare.path().join(out), &bare.path().join("usual"));
        assert_eq!(files(&bare.path().join(out)), expected_files("bare", &FORMATS));
        assert!(names(&empty).is_empty());
        for example in &EXAMPLES {
            let (folder, usual) = (example.copy(), example.mapped_in_all_formats());
            let mut command = Command::new(bare.path().join("standoff"));
            command.current_dir(&empty).env_clear().envs(variables.iter().map(|variable| (variable, &empty)));
            let (job, out) = (folder.path().join("job.toml"), folder.path().join("out"));
            command.args(map_in_all_formats(&[job.to_str().unwrap(), "--out", out.to_str().unwrap(), "--quiet"]));
            run(command).exits(0);
            assert_same_files(&out, &usual.path().join("out"));
        }
    }
}

/// Other programs set PROJ_DATA to a folder with a database of their own version.
#[test]
fn a_foreign_database_of_projections_does_no_harm() {
    let bare = bare();
    let north = ["north", "--lat", "58.6", "--lon", "-2.9", "--date", "2026-05-04", "--crs", "EPSG:27700"];
    let usual = standoff(bare.path(), &north).exits(0);
    let (foreign, here) = (bare.path().join("foreign"), bare.path().join("here"));
    for folder in [&foreign, &here] {
        fs::create_dir(folder).unwrap();
        fs::write(folder.join("proj.db"), "of another version").unwrap();
    }
    // Where PROJ is told to look, and where it looks when it is told of an empty folder.
    for (data, working_folder) in [(&foreign, bare.path().join("empty")), (&bare.path().join("empty"), here.clone())] {
        let mut command = Command::new(bare.path().join("standoff"));
        command.env_clear().env("PROJ_DATA", data).current_dir(working_folder).args(north);
        let ran = run(command).exits(0);
        assert_eq!((ran.out, ran.err), (usual.out.clone(), String::new()));
    }
}

/// Files that a command opened, by strace; none where strace is not to be had.
#[cfg(target_os = "linux")]
fn opened(command: &Command, trace: &Path) -> Option<Vec<String>> {
    let mut strace = Command::new("strace");
    strace.env_clear().args(["-f", "-qq", "-z", "-e", "trace=open,openat,execve", "-o"]).arg(trace);
    for (name, value) in command.get_envs() {
        strace.arg("-E").arg(format!("{}={}", name.to_str().unwrap(), value.unwrap().to_str().unwrap()));
    }
    strace.arg(command.get_program()).args(command.get_args()).current_dir(command.get_current_dir().unwrap());
    match strace.output() {
        Ok(output) if output.status.success() => {}
        other => {
            left_out(&format!("strace does not run here: {other:?}"), other.is_err());
            return None;
        }
    }
    let calls = read(trace);
    Some(calls.lines().filter_map(|call| call.split('"').nth(1)).map(str::to_owned).collect())
}

#[cfg(target_os = "linux")]
#[test]
fn nothing_of_the_build_is_opened() {
    let bare = bare();
    let mut command = Command::new(bare.path().join("standoff"));
    command.current_dir(bare.path().join("empty")).args(["map", "../job.toml", "--out", "../layers", "--quiet"]);
    // strace is found without a PATH.
    let Some(opened) = opened(&command, &bare.path().join("trace")) else { return };
    assert!(opened.iter().any(|path| path.ends_with("job.toml")), "{opened:?}");
    // Its folder holds the build of PROJ and GDAL, with their data.
    let build = Path::new(program().get_program()).parent().unwrap().to_str().unwrap().to_owned();
    let mut of_the_build: Vec<&String> = opened.iter().filter(|path| path.starts_with(&build)).collect();
    of_the_build.sort();
    of_the_build.dedup();
    assert_eq!(of_the_build, Vec::<&String>::new(), "under {build}");
    // And no library but those of the language and the system.
    for library in ["proj", "gdal", "sqlite", "geos", "tiff", "curl"] {
        let found: Vec<&String> = opened.iter().filter(|path| path.contains(&format!("lib{library}"))).collect();
        assert_eq!(found, Vec::<&String>::new());
    }
}

/// The bare machine itself: a root folder with the program, its system libraries and the logs.
#[cfg(target_os = "linux")]
#[test]
fn the_program_runs_where_there_is_nothing_else() {
    let bare = bare();
    map_as_usual(bare.path());
    let libraries = Command::new("ldd").arg(bare.path().join("standoff")).output().expect("ldd, of the C library");
    for library in String::from_utf8(libraries.stdout).unwrap().split_whitespace().filter(|word| word.starts_with('/')) {
        let target = bare.path().join(&library[1..]);
        fs::create_dir_all(target.parent().unwrap()).unwrap();
        fs::copy(library, target).unwrap();
    }
    let mut command = Command::new("/usr/sbin/chroot");
    command.env_clear().arg(bare.path()).args(["/standoff", "map", "/job.toml", "--out", "/layers", "--quiet"]);
    let output = command.output().expect("chroot, of coreutils");
    let complaint = String::from_utf8(output.stderr).unwrap();
    if complaint.starts_with("chroot: ") {
        return left_out(complaint.trim(), false); // it wants root
    }
    assert_eq!((output.status.code(), complaint.as_str()), (Some(0), ""));
    assert_same_files(&bare.path().join("layers"), &bare.path().join("usual"));
}
