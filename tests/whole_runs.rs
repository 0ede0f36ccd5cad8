//! Whole runs: the same bytes whatever the threads and the day, an output folder that appears whole
//! or not at all, exit statuses, and a bare machine.

#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used)]

mod common;

use std::collections::BTreeMap;
use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::time::Duration;

use common::{Field, good, shot};

const PROGRAM: &str = env!("CARGO_BIN_EXE_standoff");

fn example(name: &str) -> String {
    format!("{}/examples/{name}/job.toml", env!("CARGO_MANIFEST_DIR"))
}

fn map(job: &str, out: &Path, more: &[&str]) -> Output {
    let formats = ["gpkg", "geojson", "shp", "fgb", "csv", "dxf"].into_iter().flat_map(|format| ["--format", format]);
    Command::new(PROGRAM).arg("map").arg(job).args(formats).arg("--out").arg(out).args(more).output().unwrap()
}

/// Every file of a folder with its bytes.
fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| {
            let entry = entry.unwrap();
            (entry.file_name().to_string_lossy().into_owned(), std::fs::read(entry.path()).unwrap())
        })
        .collect()
}

fn stderr(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

#[test]
fn the_same_bytes_on_any_number_of_threads_and_at_any_time() {
    let root = tempfile::tempdir().unwrap();
    for name in ["cliff-nests", "rural-line", "forest-plot"] {
        let first = root.path().join(format!("{name}-1"));
        assert!(map(&example(name), &first, &["--threads", "1"]).status.success());
        let want = files(&first);
        assert!(want.len() > 30, "{:?}", want.keys());
        // A second later the clock of the system says something else.
        std::thread::sleep(Duration::from_millis(1100));
        for threads in ["2", "4"] {
            let again = root.path().join(format!("{name}-{threads}"));
            assert!(map(&example(name), &again, &["--threads", threads]).status.success());
            let got = files(&again);
            assert_eq!(got.keys().collect::<Vec<_>>(), want.keys().collect::<Vec<_>>());
            for (file, bytes) in &want {
                assert!(got[file] == *bytes, "{name}: {file} differs with {threads} threads");
            }
        }
    }
}

#[test]
fn a_large_log_is_the_same_on_any_number_of_threads() {
    // Several windows of blocks, with a frozen compass and repeats across their edges.
    let mut log = good(1);
    for id in 2..60_000u32 {
        let azimuth = if id % 9000 < 12 { "123.4".to_owned() } else { format!("{}.{}", id * 7 % 360, id % 10) };
        log += &shot(
            if id % 2 == 0 || id % 9000 < 12 { "A" } else { "B" },
            id % 50_000,
            &azimuth,
            "-1.5",
            &format!("{}.{:02}", 5 + id % 400, id % 100),
        );
    }
    let field = Field::new(log);
    field.write("job.toml", field.job.replace("[\"csv\"]", "[\"gpkg\", \"csv\"]"));
    let mut outputs = Vec::new();
    for threads in ["1", "3"] {
        let out = field.path(&format!("out{threads}"));
        let run = Command::new(PROGRAM)
            .arg("map")
            .arg(field.path("job.toml"))
            .arg("--out")
            .arg(&out)
            .args(["--threads", threads])
            .output()
            .unwrap();
        assert!(run.status.success(), "{}", stderr(&run));
        outputs.push(files(&out));
    }
    let summary: serde_json::Value = serde_json::from_slice(&outputs[0]["summary.json"]).unwrap();
    assert_eq!(summary["shots"]["mapped"], 59_999);
    assert!(summary["shots"]["flags"]["azimuth_repeats"].as_u64().unwrap() > 30, "{}", summary["shots"]["flags"]);
    assert!(outputs[0] == outputs[1]);
}

#[test]
fn a_failing_run_leaves_the_former_output() {
    let mut field = Field::new(good(5));
    field.map();
    let before = files(&field.path("t-layers"));
    field.job = field.job.replace("EPSG:32632", "EPSG:99999999");
    let run = field.command(&["map", "job.toml"]);
    assert_eq!(run.status.code(), Some(1));
    assert!(files(&field.path("t-layers")) == before);
    assert!(!field.path(".t-layers.partial").exists());
}

#[test]
fn a_killed_run_leaves_the_former_output_or_the_new_one_whole() {
    let mut log = good(1);
    (2..150_000u32).for_each(|id| log += &shot("A", id, &format!("{}.5", id % 360), "-2.5", &format!("{}.25", 20 + id % 70)));
    let field = Field::new(good(5));
    field.map();
    let out = field.path("t-layers");
    let before = files(&out);
    field.write("shots.csv", &log);
    let mut cut_short = 0;
    for delay in [5, 30, 80, 150, 250, 400, 600, 900] {
        let mut run = Command::new(PROGRAM)
            .args(["map", "job.toml", "--format", "gpkg", "--quiet"])
            .current_dir(field.folder.path())
            .spawn()
            .unwrap();
        std::thread::sleep(Duration::from_millis(delay));
        let _ = run.kill();
        run.wait().unwrap();
        let now = files(&out);
        if now == before {
            cut_short += 1;
        } else {
            let summary: serde_json::Value = serde_json::from_slice(&now["summary.json"]).unwrap();
            assert_eq!(summary["shots"]["mapped"], 149_999, "whole");
        }
    }
    assert!(cut_short > 0, "no run was killed in time");
    // The next run clears away what was left.
    let run = field.command(&["map", "job.toml", "--format", "gpkg"]);
    assert!(run.status.success(), "{}", stderr(&run));
    let left: Vec<String> = files_and_folders(field.folder.path());
    assert_eq!(left, ["bases.csv", "job.toml", "shots.csv", "t-layers"]);
}

fn files_and_folders(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> =
        std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

#[test]
fn a_folder_with_strange_files_is_not_replaced() {
    let field = Field::new(good(2));
    field.write("mine/notes.txt", "keep me");
    let run = field.command(&["map", "job.toml", "--out", "mine"]);
    assert_eq!(
        (run.status.code(), stderr(&run).as_str()),
        (
            Some(1),
            "error: mine holds notes.txt, which this program did not write; the output folder is replaced as a whole, so name another with --out, or empty it\n"
        )
    );
    assert!(field.path("mine/notes.txt").exists());
}

#[test]
fn exit_statuses_and_what_is_said_where() {
    let field = Field::new(good(3) + &shot("A", 9, "x", "0", "20"));
    let run = field.command(&["map", "job.toml"]);
    assert_eq!((run.status.code(), stderr(&run).as_str()), (Some(0), "held: 1 row was set aside; see ./t-layers/held.csv\n"));
    let said = String::from_utf8(run.stdout).unwrap();
    assert!(said.starts_with("3 of 4 shots mapped, 1 held, 0 flagged; 2 of 2 bases used\n"), "{said}");
    assert!(!said.contains('\u{1b}'), "no colours in a pipe");
    let run = field.command(&["map", "job.toml", "--strict", "--quiet"]);
    assert_eq!((run.status.code(), run.stdout.as_slice()), (Some(3), b"".as_slice()));
    assert!(field.path("t-layers/summary.json").exists(), "the layers are written all the same");
    let run = field.command(&["map", "job.toml", "--json"]);
    let summary: serde_json::Value = serde_json::from_slice(&run.stdout).unwrap();
    assert_eq!(
        summary,
        serde_json::from_slice::<serde_json::Value>(&std::fs::read(field.path("t-layers/summary.json")).unwrap()).unwrap()
    );
    for wrong in [vec!["map"], vec!["map", "job.toml", "--format", "xyz"], vec!["map", "--bases", "bases.csv"], vec!["nonsense"]]
    {
        assert_eq!(field.command(&wrong).status.code(), Some(2), "{wrong:?}");
    }
    assert_eq!(field.command(&["map", "nowhere.toml"]).status.code(), Some(1));
    // A reader that closes the pipe is no failure.
    let mut man = Command::new(PROGRAM).arg("man").stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    drop(man.stdout.take());
    let man = man.wait_with_output().unwrap();
    assert_eq!((man.status.code(), stderr(&man).as_str()), (Some(0), ""));
}

#[test]
fn a_closed_pipe_keeps_the_status_of_strict() {
    let field = Field::new(good(3) + &shot("A", 9, "x", "0", "20"));
    field.write("job.toml", &field.job);
    for command in ["map", "check"] {
        let mut run = Command::new(PROGRAM)
            .args([command, "job.toml", "--strict"])
            .current_dir(field.folder.path())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        drop(run.stdout.take());
        assert_eq!(run.wait_with_output().unwrap().status.code(), Some(3), "{command}");
    }
}

#[test]
fn a_foreign_database_of_projections_does_no_harm() {
    let field = Field::new(good(1));
    field.write("foreign/proj.db", "not a database");
    for variable in ["PROJ_DATA", "PROJ_LIB"] {
        let arguments = ["north", "--lat", "51", "--lon", "-1", "--date", "2026-05-04", "--crs", "EPSG:27700"];
        let run = Command::new(PROGRAM).args(arguments).env(variable, field.path("foreign")).output().unwrap();
        assert_eq!((run.status.code(), stderr(&run).as_str()), (Some(0), ""), "{variable}");
    }
}

#[test]
fn the_summary_fits_its_schema() {
    let field = Field::new(good(3) + &shot("A", 9, "x", "0", "20"));
    let summary = field.map().summary;
    let schema = field.command(&["schema", "summary"]);
    let schema: serde_json::Value = serde_json::from_slice(&schema.stdout).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    let faults: Vec<String> = validator.iter_errors(&summary).map(|error| error.to_string()).collect();
    assert!(faults.is_empty(), "{faults:?}");
    for file in summary["files"].as_array().unwrap() {
        assert!(field.path("t-layers").join(file.as_str().unwrap()).exists(), "{file}");
    }
}

#[test]
fn a_bare_machine_needs_the_program_file_alone() {
    let root = tempfile::tempdir().unwrap();
    let (program, empty, nothing) = (root.path().join("standoff"), root.path().join("empty"), root.path().join("nothing"));
    std::fs::copy(PROGRAM, &program).unwrap();
    std::fs::create_dir(&empty).unwrap();
    std::fs::create_dir(&nothing).unwrap();
    // The libraries were told at compile time where they lie: those folders are covered by an empty one.
    let build = Path::new(PROGRAM).parent().unwrap().join("build");
    let cover = |then: &str| {
        let mut command = Command::new("unshare");
        command.args(["-rm", "sh", "-c", &format!("mount -t tmpfs none \"$0\" && {then}")]).arg(&build);
        command
    };
    let covers = cover("test -z \"$(ls -A \"$0\")\"").status().is_ok_and(|status| status.success());
    if !covers {
        eprintln!("this machine lets nobody cover {}; the data folders of the build stay in reach", build.display());
    }
    let run = |arguments: &[&str], data: bool| {
        let mut command = if covers { cover("exec env -i $DATA \"$@\"") } else { Command::new("env") };
        if !covers {
            command.arg("-i");
        }
        // And those that the environment names are empty.
        let variables = ["PROJ_DATA", "PROJ_LIB", "GDAL_DATA"].map(|variable| format!("{variable}={}", nothing.display()));
        if covers {
            command.env("DATA", if data { variables.join(" ") } else { String::new() });
        } else if data {
            command.args(&variables);
        }
        command.current_dir(&empty).arg(&program).args(arguments).output().unwrap()
    };
    for data in [false, true] {
        for (name, crs) in
            [("cliff-nests", None), ("forest-plot", None), ("rural-line", None), ("cliff-nests", Some("EPSG:27700"))]
        {
            // With a datum change too: that needs PROJ's database.
            let job = match crs {
                None => example(name),
                Some(crs) => {
                    let copy = root.path().join("copy");
                    copy_folder(Path::new(&example(name)).parent().unwrap(), &copy);
                    let text = std::fs::read_to_string(copy.join("job.toml")).unwrap().replace("EPSG:32630", crs);
                    std::fs::write(copy.join("job.toml"), format!("allow_missing_grids = true\n{text}")).unwrap();
                    copy.join("job.toml").display().to_string()
                }
            };
            let out = root.path().join("out");
            let formats = [
                "--format", "gpkg", "--format", "geojson", "--format", "shp", "--format", "fgb", "--format", "csv", "--format",
                "dxf",
            ];
            let output = run(&[&["map", &job, "--out", out.to_str().unwrap()], formats.as_slice()].concat(), data);
            assert!(output.status.success(), "{name} {crs:?}: {}", stderr(&output));
            assert!(files(&out).len() > 30);
            if crs.is_some() {
                let summary: serde_json::Value = serde_json::from_slice(&files(&out)["summary.json"]).unwrap();
                assert_eq!(summary["crs"], "OSGB36 / British National Grid (EPSG:27700)");
                assert!(summary["operations"][0]["accuracy_m"].as_f64().unwrap() >= 1.0, "{}", summary["operations"]);
            }
        }
    }
    assert_eq!(files_and_folders(&empty).len(), 0, "nothing is left in the working folder");
}

fn copy_folder(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap() {
        let (path, target) = (entry.as_ref().unwrap().path(), to.join(entry.unwrap().file_name()));
        if path.is_dir() {
            copy_folder(&path, &target);
        } else {
            std::fs::copy(path, target).unwrap();
        }
    }
}
