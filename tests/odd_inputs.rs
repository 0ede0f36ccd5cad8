//! Files that are none, that are huge, or that hold what a terminal obeys: refused or shown, in a time that grows with their
//! size.

use crate::support;

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use support::small::Small;
use support::*;

const SHOTS: &str = "shot,base,true_azimuth_deg,inclination_deg,slope_distance_m\n1,A,90,0,50\n";

/// A value that no instrument writes.
const CELL_BYTES: usize = 10 << 20;

fn job() -> Small {
    Small::new(SHOTS, "", "")
}

/// Runs the program, which must not read for ever.
#[track_caller]
fn soon(folder: &Path, arguments: &[&str]) -> Ran {
    let mut command = program();
    command.current_dir(folder).args(arguments);
    let output = assert_cmd::Command::from_std(command).timeout(Duration::from_secs(20)).output().unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    let ran = Ran { status: output.status.code(), out: text(output.stdout), err: text(output.stderr) };
    assert!(ran.status.is_some(), "{arguments:?} did not end");
    ran
}

#[cfg(target_os = "linux")]
#[test]
fn what_is_no_file_is_refused_wherever_a_file_is_asked_for() {
    let job = job();
    let folder = job.folder.path();
    assert!(Command::new("mkfifo").arg(folder.join("pipe")).status().unwrap().success());
    fs::create_dir(folder.join("folder")).unwrap();
    let text = read(&folder.join("job.toml"));
    job.ran(&[]).exits(0);
    for (odd, is) in [
        ("/dev/zero", "it is a device, not a file"),
        ("pipe", "it is a pipe, not a file"),
        ("folder", "it is a folder, not a file"),
        ("/proc/self/environ", "it shows the state of the system and is no log"),
    ] {
        let in_job = |name: &str, was: &str, is: &str| {
            let changed = text.replacen(was, is, 1);
            assert_ne!(changed, text);
            job.write(name, &changed);
        };
        in_job("catalogue.toml", "formats", &format!("catalogue = \"{odd}\"\nformats"));
        in_job("leap.toml", "formats", &format!("leap_seconds = \"{odd}\"\nformats"));
        in_job("geoid.toml", "[heights]", &format!("[heights]\ngeoid_grid = \"{odd}\""));
        in_job("bases.toml", "\"bases.csv\"", &format!("\"{odd}\""));
        in_job("shots.toml", "\"shots.csv\"", &format!("\"{odd}\""));
        for arguments in [
            vec!["map", odd],
            vec!["check", odd],
            vec!["check", "catalogue.toml"],
            vec!["check", "leap.toml"],
            vec!["check", "geoid.toml"],
            vec!["check", "bases.toml"],
            vec!["check", "shots.toml"],
            vec!["init", odd],
            vec!["calibrate", odd, "--distance", "50"],
            vec!["map", "--bases", odd, "--shots", "shots.csv", "--crs", "EPSG:32630", "--out", "o"],
            vec!["map", "--bases", "bases.csv", "--shots", odd, "--crs", "EPSG:32630", "--out", "o", "--target-height", "0"],
            vec!["assess", "out/cove.gpkg", "--check", odd],
        ] {
            let ran = soon(folder, &arguments);
            assert_eq!(ran.status, Some(1), "{arguments:?}: {}", ran.err);
            let geoid = arguments[1] == "geoid.toml" && odd.starts_with("/proc");
            assert!(ran.err.contains(is) || geoid, "{arguments:?}: {}", ran.err);
            assert!(ran.err.len() < 400, "{}", ran.err);
        }
    }
}

#[test]
fn a_job_and_calibration_shots_come_from_standard_input_too() {
    let job = job();
    let fed = |arguments: &[&str], file: &str| {
        let mut command = program();
        command.current_dir(job.folder.path()).args(arguments);
        command.stdin(fs::File::open(job.folder.path().join(file)).unwrap());
        let output = command.output().unwrap();
        let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
        Ran { status: output.status.code(), out: text(output.stdout), err: text(output.stderr) }
    };
    assert!(fed(&["check", "-"], "job.toml").exits(0).out.contains("1 of 1 shot mapped"));
    fed(&["map", "-", "--out", "piped"], "job.toml").exits(0);
    standoff(job.folder.path(), &["map", "job.toml", "--out", "named"]).exits(0);
    assert_same_files(&job.folder.path().join("piped"), &job.folder.path().join("named"));
    job.write(
        "line.csv",
        "measure,slope_distance_m,inclination_deg,true_azimuth_deg\nknown_line,50.1,0,90\nknown_line,50.2,0,90\nknown_line,50.15,0,90\n",
    );
    let piped = fed(&["calibrate", "-", "--distance", "50"], "line.csv").exits(0);
    let named = standoff(job.folder.path(), &["calibrate", "line.csv", "--distance", "50"]).exits(0);
    assert_eq!(piped.out.replace("standard input", "line.csv"), named.out);
}

#[cfg(target_os = "linux")]
#[test]
fn standard_input_without_an_end_is_not_read_for_ever() {
    let job = job();
    let mut command = program();
    command.current_dir(job.folder.path()).args(["map", "-"]).stdin(fs::File::open("/dev/zero").unwrap());
    let began = Instant::now();
    let output = command.stdout(Stdio::null()).stderr(Stdio::piped()).output().unwrap();
    assert!(began.elapsed() < Duration::from_secs(20));
    assert_eq!(String::from_utf8(output.stderr).unwrap(), "error: standard input: it does not end within 16 MB\n");
}

#[test]
fn a_header_of_a_hundred_megabytes_gives_a_message_that_is_read() {
    let job = job();
    let long = "x".repeat(100 << 20);
    let cell = "x".repeat(CELL_BYTES);
    for header in [format!("shot,base,{long}\n1,A,2\n"), long.clone(), format!("{SHOTS}1,A,{cell},0,50\n")] {
        job.write("shots.csv", &header);
        let ran = standoff(job.folder.path(), &["check", "job.toml"]);
        assert!(ran.err.len() + ran.out.len() < 4000, "{} and {} bytes", ran.out.len(), ran.err.len());
    }
    // The value stands in held.csv cut, the row as it was.
    standoff(job.folder.path(), &["map", "job.toml", "--out", "out", "--format", "csv", "--quiet"]).exits(0);
    let held = table(&job.folder.path().join("out/held.csv"));
    assert!(held[0]["value"].chars().count() < 140 && held[0]["sentence"].chars().count() < 300, "{}", held[0]["sentence"]);
    assert!(held[0]["row"].len() > CELL_BYTES);
}

#[test]
fn nothing_that_a_log_says_is_obeyed_by_a_terminal() {
    // Sets the title, clears the screen, hides what follows, turns the direction of writing.
    let evil = "\u{1b}]0;owned\u{7}\u{1b}[2J\u{1b}[8m\u{202e}\u{9b}2J";
    let header = "shot,base,feature,true_azimuth_deg,inclination_deg,slope_distance_m,measure\n";
    let job = Small::new(
        &format!(
            "{header}{evil},A{evil},F{evil},90,0,50,\n2,B{evil},F{evil},90{evil},0,50,\n3,A,F,90,0,50,m{evil}\n4,C{evil},,1,0,5,\n"
        ),
        "",
        "",
    );
    job.write(
        "bases.csv",
        &format!("base,lat_deg,lon_deg,ellipsoid_height_m\nA,58.6,-2.9,60\nA{evil},58.61,-2.9,60\nB{evil},58.62,-2.9,60\n"),
    );
    job.write(&format!("evil{}.csv", "\u{1b}[2J"), SHOTS);
    job.write("bad.toml", &format!("name = \"a\"\n\"{}\" = 1\n", "\\u001b[2J\\u202e"));
    let found = |ran: &Ran| {
        let obeyed = |letter: char| {
            letter.is_control() && letter != '\n'
                || matches!(letter, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{200e}' | '\u{200f}')
        };
        // What the program itself says to a terminal.
        let own = ["\u{1b}[1m", "\u{1b}[2m", "\u{1b}[33m", "\u{1b}[31m", "\u{1b}[0m", "\u{1b}[1m\u{1b}[31m"];
        let text = own.iter().fold(ran.out.clone() + &ran.err, |text, style| text.replace(style, ""));
        text.chars().filter(|letter| obeyed(*letter)).collect::<String>()
    };
    let odd = format!("evil{}.csv", "\u{1b}[2J");
    for arguments in [
        vec!["check", "job.toml"],
        vec!["map", "job.toml", "--out", "out"],
        vec!["map", "job.toml", "--out", "out", "--json"],
        vec!["map", "bad.toml"],
        vec!["map", &odd],
        vec!["init", "bases.csv", "shots.csv"],
        vec!["init", &odd],
        vec!["assess", "out/cove.gpkg", "--check", &odd],
    ] {
        let mut command = program();
        command.current_dir(job.folder.path()).args(&arguments).env("CLICOLOR_FORCE", "1");
        let ran = run(command);
        assert_eq!(found(&ran), "", "{arguments:?}\n{:?}\n{:?}", ran.out, ran.err);
        assert!(!ran.out.is_empty() || !ran.err.is_empty());
    }
    // It is shown, not lost.
    let check = standoff(job.folder.path(), &["check", "job.toml"]);
    assert!(check.out.contains(r"A\u{1b}]0;owned\u{7}"), "{}", check.out);
}

/// How long a run takes.
fn time_of(folder: &Path, arguments: &[&str]) -> Duration {
    let began = Instant::now();
    let ran = standoff(folder, arguments);
    assert!(matches!(ran.status, Some(0 | 3)), "{}", ran.err);
    began.elapsed()
}

#[test]
fn thousands_of_columns_take_time_in_proportion() {
    let job = job();
    let of = |columns: usize| {
        let extra: String = (0..columns).map(|i| format!(",reading number {i}")).collect();
        let cells = ",1".repeat(columns);
        let header = SHOTS.lines().next().unwrap();
        job.write("shots.csv", &format!("{header}{extra}\n1,A,90,0,50{cells}\n2,A,95,0,50{cells}\n"));
        time_of(job.folder.path(), &["map", "job.toml", "--out", "out", "--format", "csv", "--quiet"])
    };
    let (few, many) = (of(5_000), of(40_000));
    // Eight times as many; sixty-four times as long was the fault.
    assert!(many < few * 20 + Duration::from_millis(500), "{few:?} for 5 000 columns, {many:?} for 40 000");
}

#[test]
fn thousands_of_tags_of_a_waypoint_take_time_in_proportion() {
    let job = job();
    let of = |tags: usize| {
        let extra: String = (0..tags).map(|i| format!("<t{i}>1</t{i}>")).collect();
        let points: String = ["A", "B"]
            .iter()
            .map(|name| {
                format!("<wpt lat=\"58.6\" lon=\"-2.9\"><ele>60</ele><name>{name}</name><extensions>{extra}</extensions></wpt>")
            })
            .collect();
        job.write("bases.gpx", &format!("<gpx xmlns=\"http://www.topografix.com/GPX/1/1\" version=\"1.1\">{points}</gpx>"));
        let text = read(&job.folder.path().join("job.toml")).replace("bases.csv", "bases.gpx");
        let text = text.replace("instrument_height_m", "antenna_height_m = 0\ninstrument_height_m");
        job.write("gpx.toml", &text);
        time_of(job.folder.path(), &["map", "gpx.toml", "--out", "out", "--format", "csv", "--quiet"])
    };
    let (few, many) = (of(5_000), of(40_000));
    assert!(many < few * 20 + Duration::from_millis(500), "{few:?} for 5 000 tags, {many:?} for 40 000");
}

#[cfg(unix)]
#[test]
fn a_link_round_to_the_top_and_a_file_that_goes_do_no_harm_to_a_pattern() {
    let job = job();
    let folder = job.folder.path();
    fs::create_dir(folder.join("day")).unwrap();
    fs::rename(folder.join("shots.csv"), folder.join("day/shots.csv")).unwrap();
    std::os::unix::fs::symlink(folder, folder.join("day/round")).unwrap();
    let text = read(&folder.join("job.toml")).replace("\"shots.csv\"", "\"**/shot*.csv\"");
    job.write("job.toml", &text);
    let ran = soon(folder, &["map", "job.toml", "--out", "out"]).exits(0);
    assert!(ran.out.starts_with("1 of 1 shot mapped"), "{}", ran.out);
    // Files come and go beside the logs.
    let going = std::sync::atomic::AtomicBool::new(true);
    std::thread::scope(|scope| {
        scope.spawn(|| {
            while going.load(std::sync::atomic::Ordering::Relaxed) {
                let passing = folder.join("day/passing");
                fs::create_dir_all(passing.join("deeper")).unwrap();
                fs::remove_dir_all(&passing).unwrap();
            }
        });
        for _ in 0..40 {
            let ran = standoff(folder, &["check", "job.toml"]);
            assert_eq!(ran.status, Some(0), "{}", ran.err);
        }
        going.store(false, std::sync::atomic::Ordering::Relaxed);
    });
}

#[test]
fn a_name_that_a_system_takes_for_a_device_is_refused() {
    let job = job();
    let text = read(&job.folder.path().join("job.toml")).replace("\"cove\"", "\"CON\"");
    job.write("job.toml", &text);
    standoff(job.folder.path(), &["map", "job.toml"])
        .fails("job.toml:1: name = \"CON\" is the name of a device on some systems, and files are named after it; use another");
    // A folder of that name gives its files another.
    let arguments = ["map", "--bases", "bases.csv", "--shots", "shots.csv", "--crs", "EPSG:32630", "--out", "nul"];
    standoff(job.folder.path(), &[&arguments[..], &["--instrument-height", "1.5", "--target-height", "0"]].concat()).exits(0);
    assert!(job.folder.path().join("nul/nul_.gpkg").exists());
}
