//! What a person added to a former output or changed in it is not replaced without a word; nor is anything that only looks like
//! an output; and a run that is told to end leaves nothing half-made.

use crate::support;

use std::fs;
use std::path::Path;

use support::*;

fn mapped() -> tempfile::TempDir {
    let folder = EXAMPLES[0].copy();
    map(folder.path(), &[]).exits(0);
    folder
}

fn map(folder: &Path, more: &[&str]) -> Ran {
    standoff(folder, &[&["map", "job.toml", "--out", "layers", "--quiet"], more].concat())
}

#[test]
fn a_table_or_an_edit_in_the_geopackage_is_kept_until_replace_is_said() {
    for sql in ["CREATE TABLE mine (note TEXT); INSERT INTO mine VALUES ('years of work')", "UPDATE ledger SET code = 'seen'"] {
        let folder = mapped();
        let path = folder.path().join("layers/skerrow.gpkg");
        let edited = || {
            let connection = rusqlite::Connection::open(&path).unwrap();
            connection.execute_batch(sql).unwrap();
        };
        edited();
        let before = fs::read(&path).unwrap();
        let refused = map(folder.path(), &[]).exits(1);
        assert_eq!(
            refused.err,
            "error: layers/skerrow.gpkg was changed since this program wrote it (an edit, or a GIS that opened it for writing); \
             keep it elsewhere, name another folder, or have the change thrown away (--out names another folder, --replace throws away \
             what is in the way)\n"
        );
        assert_eq!(fs::read(&path).unwrap(), before);
        // The other way on.
        standoff(folder.path(), &["map", "job.toml", "--out", "other", "--quiet"]).exits(0);
        map(folder.path(), &["--replace"]).exits(0);
        assert_same_files(&folder.path().join("layers"), &folder.path().join("other"));
    }
}

#[test]
fn an_output_that_nobody_touched_is_replaced_without_a_word() {
    let folder = mapped();
    // Read by a GIS, copied with new dates: no change.
    for entry in fs::read_dir(folder.path().join("layers")).unwrap() {
        let path = entry.unwrap().path();
        let bytes = fs::read(&path).unwrap();
        fs::write(&path, bytes).unwrap();
    }
    assert_eq!(map(folder.path(), &["--format", "csv"]).exits(0).err.lines().count(), 1, "held rows alone");
    assert_eq!(files(&folder.path().join("layers")), expected_files("skerrow", &["csv"]));
}

/// Holds the hashes in a summary to the files.
fn assert_hashes(layers: &Path) {
    let summary = json(&layers.join("summary.json"));
    for file in summary["files"].as_array().unwrap() {
        let bytes = fs::read(layers.join(file["name"].as_str().unwrap())).unwrap();
        let hash = blake3::hash(&bytes).to_hex();
        assert_eq!((file["bytes"].as_u64(), file["blake3"].as_str().unwrap()), (Some(bytes.len() as u64), hash.as_str()));
    }
}

/// Most of a long GeoPackage is hashed while it is written, before SQLite describes it.
#[test]
fn the_hash_of_a_long_file_is_that_of_its_bytes() {
    let folder = tempfile::tempdir().unwrap();
    invent_logs(folder.path(), 30_000, "");
    for more in [&["--layers", "features"][..], &[]] {
        standoff(folder.path(), &[&map_invented("layers")[..], &["--format", "gpkg"], more].concat()).exits(0);
        let layers = folder.path().join("layers");
        assert!(fs::metadata(layers.join("layers.gpkg")).unwrap().len() > 10 << 20);
        assert_hashes(&layers);
    }
}

#[test]
fn the_hashes_of_the_output_are_those_of_its_files_and_the_seal_holds() {
    use sha2::{Digest, Sha256};
    let hex = |bytes: &[u8]| Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect::<String>();
    let folder = mapped();
    assert_hashes(&folder.path().join("layers"));
    let text = read(&folder.path().join("layers/summary.json"));
    let summary: serde_json::Value = serde_json::from_str(&text).unwrap();
    let seal = summary["seal"].as_str().unwrap();
    assert_eq!(hex(text.replace(seal, &"0".repeat(64)).as_bytes()), seal);
}

#[test]
fn a_foreign_summary_is_no_leave_to_delete_what_it_lists() {
    for summary in [
        "{\"files\": [\"thesis.odt\"]}",
        "{\"files\": [{\"name\": \"thesis.odt\", \"bytes\": 5, \"blake3\": \"00\"}], \"software\": {\"other\": \"1\"}}",
        "not JSON",
    ] {
        let folder = EXAMPLES[0].copy();
        fs::create_dir(folder.path().join("layers")).unwrap();
        fs::write(folder.path().join("layers/thesis.odt"), "years").unwrap();
        fs::write(folder.path().join("layers/summary.json"), summary).unwrap();
        for more in [&[][..], &["--replace"]] {
            assert_eq!(
                map(folder.path(), more).exits(1).err,
                "error: layers holds thesis.odt, which this program did not write; the output folder is replaced as a whole, so \
                 name another, or empty it (--out names another folder)\n"
            );
        }
        assert_eq!(read(&folder.path().join("layers/thesis.odt")), "years");
    }
}

#[test]
fn a_folder_of_the_user_where_the_output_is_made_is_not_removed() {
    let folder = EXAMPLES[0].copy();
    fs::create_dir(folder.path().join(".layers.partial")).unwrap();
    fs::write(folder.path().join(".layers.partial/thesis.odt"), "years").unwrap();
    let refused = map(folder.path(), &["--replace"]).exits(1);
    assert!(refused.err.starts_with("error: .layers.partial is in the way: "), "{}", refused.err);
    assert_eq!(read(&folder.path().join(".layers.partial/thesis.odt")), "years");
    assert!(!folder.path().join("layers").exists());
}

#[cfg(unix)]
#[test]
fn a_link_is_followed_and_one_that_leads_nowhere_is_told_before_anything_is_computed() {
    let folder = EXAMPLES[0].copy();
    fs::create_dir_all(folder.path().join("store/season")).unwrap();
    std::os::unix::fs::symlink("store/season", folder.path().join("layers")).unwrap();
    for _ in 0..2 {
        map(folder.path(), &[]).exits(0);
        assert!(fs::symlink_metadata(folder.path().join("layers")).unwrap().is_symlink());
        assert!(folder.path().join("store/season/skerrow.gpkg").exists(), "whoever reads the folder itself sees the new maps");
    }
    assert_eq!(names(&folder.path().join("store")), ["season".to_owned()].into());
    fs::rename(folder.path().join("store/season"), folder.path().join("store/moved")).unwrap();
    let refused = map(folder.path(), &[]).exits(1);
    assert_eq!(
        refused.err,
        "error: layers is a link to store/season, where nothing is; make that folder, or name another (--out names another \
         folder)\n"
    );
}

#[cfg(unix)]
mod told_to_end {
    use super::*;
    use std::os::unix::process::ExitStatusExt;
    use std::process::{Command, Stdio};
    use std::time::{Duration, Instant};

    const SIGINT: i32 = 2;
    const SIGTERM: i32 = 15;

    #[test]
    fn a_run_cleans_up_behind_itself() {
        let folder = tempfile::tempdir().unwrap();
        invent_logs(folder.path(), 200_000, "");
        for (signal, word) in [(SIGINT, "-INT"), (SIGTERM, "-TERM")] {
            let mut command = program();
            command.current_dir(folder.path()).args(map_invented("layers")).args(["--threads", "1", "--quiet"]);
            let mut child = command.stdout(Stdio::null()).stderr(Stdio::piped()).spawn().unwrap();
            let began = Instant::now();
            while !folder.path().join(".layers.partial/layers.gpkg").exists() {
                assert!(began.elapsed() < Duration::from_secs(60), "the run never began");
                std::thread::sleep(Duration::from_millis(2));
            }
            let sent = Command::new("kill").args([word, &child.id().to_string()]).status().unwrap();
            assert!(sent.success());
            let status = child.wait().unwrap();
            // Whoever started it sees what ended it.
            assert_eq!((status.code(), status.signal()), (None, Some(signal)));
            let mut said = String::new();
            std::io::Read::read_to_string(&mut child.stderr.take().unwrap(), &mut said).unwrap();
            assert_eq!(said, "");
            assert_eq!(names(folder.path()), ["bases.csv", "shots.csv"].map(str::to_owned).into(), "{word}");
        }
    }
}

#[test]
fn work_saved_into_the_folder_while_a_run_goes_on_is_kept() {
    let folder = tempfile::tempdir().unwrap();
    invent_logs(folder.path(), 200_000, "");
    let arguments = [&map_invented("layers")[..], &["--format", "csv", "--layers", "bases", "--quiet"]].concat();
    standoff(folder.path(), &arguments).exits(0);
    let mut command = program();
    command.current_dir(folder.path()).args(map_invented("layers")).args(["--threads", "1", "--quiet"]);
    let child = command.stdout(std::process::Stdio::null()).stderr(std::process::Stdio::piped()).spawn().unwrap();
    let began = std::time::Instant::now();
    while !folder.path().join(".layers.partial/layers.gpkg").exists() {
        assert!(began.elapsed() < std::time::Duration::from_secs(60), "the run never began");
        std::thread::sleep(std::time::Duration::from_millis(2));
    }
    fs::write(folder.path().join("layers/notes.txt"), "seen from the ridge").unwrap();
    let ended = child.wait_with_output().unwrap();
    assert_eq!(ended.status.code(), Some(1));
    let said = String::from_utf8(ended.stderr).unwrap();
    assert!(said.starts_with("error: layers holds notes.txt, which this program did not write"), "{said}");
    assert_eq!(read(&folder.path().join("layers/notes.txt")), "seen from the ridge");
    assert_eq!(names(folder.path()), ["bases.csv", "layers", "shots.csv"].map(str::to_owned).into());
}
