//! What a terminal gets: no line wider than it is, colour only where it is wanted, the same words as a pipe.
//!
//! The terminal is a real one, of util-linux' `script`, whose width `stty` sets.

#![cfg(target_os = "linux")]

use crate::support;

use std::fs;
use std::path::Path;
use std::process::Stdio;

use support::*;

const WIDTHS: [usize; 4] = [60, 80, 120, 200];
const ESCAPE: char = '\u{1b}';

/// What the program writes to a terminal of so many columns, standard error left out unless it is wanted.
fn in_terminal(folder: &Path, columns: usize, arguments: &[&str], before: &str, with_errors: bool) -> String {
    let exe = program().get_program().to_str().unwrap().to_owned();
    let quoted: Vec<String> = arguments.iter().map(|argument| format!("'{argument}'")).collect();
    let errors = if with_errors { "" } else { "2>/dev/null" };
    let line = format!("stty cols {columns} rows 50; {before} '{exe}' {} {errors}", quoted.join(" "));
    let mut command = std::process::Command::new("script");
    command.args(["-qec", &line, "/dev/null"]).current_dir(folder).stdin(Stdio::null());
    // What else is set where the tests run (CI, for one) can ask for colours too.
    command.env_clear().env("PATH", std::env::var_os("PATH").unwrap_or_default());
    command.env("TERM", "xterm-256color").env("SHELL", "/bin/sh");
    run(command).out.replace("\r\n", "\n")
}

/// Text without its styles.
fn plain(text: &str) -> String {
    anstream::adapter::strip_str(text).to_string()
}

fn words(text: &str) -> Vec<String> {
    plain(text).split_whitespace().map(str::to_owned).collect()
}

/// Each line fits, or is one word that is longer than the terminal.
#[track_caller]
fn fits(what: &str, text: &str, columns: usize) {
    assert!(!text.trim().is_empty(), "{what} says nothing");
    for line in plain(text).lines() {
        let is_one_word = line.split_whitespace().count() == 1;
        assert!(line.chars().count() <= columns || is_one_word, "{what} at {columns}: {} columns: {line}", line.chars().count());
    }
}

fn example(folder: &str) -> tempfile::TempDir {
    let copied = tempfile::tempdir().unwrap();
    copy(&Path::new(env!("CARGO_MANIFEST_DIR")).join("examples").join(folder), copied.path());
    copied
}

#[test]
fn no_line_of_a_job_is_wider_than_the_terminal() {
    for folder in ["cliff-nests", "canopy-traverse", "rural-line", "forest-plot"] {
        let folder = example(folder);
        for arguments in [
            &["check", "job.toml"][..],
            &["check", "job.toml", "--bases"],
            &["map", "job.toml", "--out", "out", "--replace", "--format", "gpkg", "--values"],
        ] {
            let piped = standoff(folder.path(), arguments);
            let piped = words(&piped.out);
            for columns in WIDTHS {
                let text = in_terminal(folder.path(), columns, arguments, "", false);
                fits(&arguments.join(" "), &text, columns);
                assert!(text.contains(ESCAPE), "a terminal has styles");
                // Narrow ones have lines in place of tables.
                if columns == 200 {
                    assert_eq!(words(&text), piped);
                }
            }
        }
    }
}

#[test]
fn no_line_of_the_other_commands_is_wider_than_the_terminal() {
    let folder = example("headland-nests");
    let map = |out: &str| {
        standoff(folder.path(), &["map", "job.toml", "--out", out, "--format", "gpkg", "--quiet"]).exits(0);
        let out = folder.path().join(out);
        let name = names(&out).into_iter().find(|name| name.ends_with(".gpkg")).unwrap();
        out.join(name).strip_prefix(folder.path()).unwrap().to_str().unwrap().to_owned()
    };
    let one = map("one");
    let job = folder.path().join("job.toml");
    fs::write(&job, read(&job).replacen("[instrument]", "[instrument]\nazimuth_correction_deg = 4", 1)).unwrap();
    let two = map("two");
    let log = "measure,role,slope_distance_m,magnetic_azimuth_deg,inclination_deg\n\
               known_line,,50.12,90.4,0.1\nknown_line,,50.08,90.6,0.2\nknown_line,,50.10,90.5,0.1\nknown_line,,50.11,90.5,0.2\n";
    fs::write(folder.path().join("cal.csv"), log).unwrap();
    let date = "2026-05-04";
    for arguments in [
        &["assess", &one, "--check", "check.csv"][..],
        &["compare", &one, &two],
        &[
            "calibrate",
            "cal.csv",
            "--distance",
            "50",
            "--azimuth",
            "89.75",
            "--azimuth-north",
            "magnetic",
            "--inclination",
            "0.5",
        ],
        &["plan", "--tolerance", "2", "--height-tolerance", "1", "--object-height", "20"],
        &["plan", "--job", "job.toml"],
        &["north", "--lat", "58.6", "--lon", "-2.9", "--date", date, "--crs", "EPSG:32630", "--angle", "gon"],
    ] {
        for columns in WIDTHS {
            let text = in_terminal(folder.path(), columns, arguments, "", false);
            fits(&arguments.join(" "), &text, columns);
            if arguments[0] != "plan" {
                assert_eq!(words(&text), words(&standoff(folder.path(), arguments).exits(0).out), "{arguments:?}");
            }
        }
    }
}

/// The comments of a starter job are folded, and it is the same job.
#[test]
fn a_starter_job_on_a_terminal() {
    let folder = example("cliff-nests");
    let arguments = ["init", "bases-west.csv", "monday.csv"];
    let piped: toml::Table = toml::from_str(&standoff(folder.path(), &arguments).exits(0).out).unwrap();
    for columns in WIDTHS {
        let text = in_terminal(folder.path(), columns, &arguments, "", false);
        for line in text.lines().filter(|line| line.starts_with('#')) {
            let is_one_word = line.trim_start_matches('#').split_whitespace().count() == 1;
            assert!(line.chars().count() <= columns || is_one_word, "{columns}: {line}");
        }
        assert_eq!(toml::from_str::<toml::Table>(&text).unwrap(), piped, "{text}");
    }
}

#[test]
fn an_error_fits_too() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("job.toml"), "name = \"a\"\n").unwrap();
    let want = standoff(folder.path(), &["check", "job.toml"]).exits(1).err;
    let text = in_terminal(folder.path(), 60, &["check", "job.toml"], "", true);
    fits("error", &text, 60);
    assert_eq!(words(&text), words(&want));
}

#[test]
fn colour_only_where_it_is_wanted() {
    let folder = example("cliff-nests");
    let arguments = ["check", "job.toml", "--bases"];
    assert!(in_terminal(folder.path(), 100, &arguments, "", true).contains(ESCAPE));
    for unwanted in ["NO_COLOR=1", "TERM=dumb"] {
        let text = in_terminal(folder.path(), 100, &arguments, unwanted, false);
        assert!(!text.contains(ESCAPE), "{unwanted}: {text}");
    }
    let piped = standoff(folder.path(), &arguments).exits(0);
    assert!(!piped.out.contains(ESCAPE) && !piped.err.contains(ESCAPE));
    // A sentence that a search is to find stands in one line of a pipe.
    assert!(piped.out.lines().any(|line| line.chars().count() > 120), "{}", piped.out);
}
