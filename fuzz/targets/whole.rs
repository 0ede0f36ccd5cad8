//! Any bytes as the log of shots of a job that goes the whole way, and every row accounted for.
#![no_main]

use std::path::PathBuf;
use std::sync::LazyLock;

use libfuzzer_sys::fuzz_target;

const JOB: &str = "name = \"log\"\ncrs = \"EPSG:32632\"\n[bases]\nfiles = [\"bases.csv\"]\ncrs = \"EPSG:4979\"\n[shots]\nfiles = [\"shots.csv\"]\n\
                   [heights]\ninstrument_height_m = 1.5\ntarget_height_m = 0\n";
const BASES: &str = "base,lat_deg,lon_deg,ellipsoid_height_m\nA,46.1,8.9,300\nB,46.101,8.901,310\n";

static FOLDER: LazyLock<PathBuf> = LazyLock::new(|| {
    let folder = tempfile::tempdir().expect("a folder for the job").keep();
    std::fs::write(folder.join("job.toml"), JOB).expect("the job");
    std::fs::write(folder.join("bases.csv"), BASES).expect("the bases");
    folder
});

fuzz_target!(|bytes: &[u8]| {
    std::fs::write(FOLDER.join("shots.csv"), bytes).expect("the log");
    let job = standoff::job::load(&FOLDER.join("job.toml")).expect("the job is sound");
    if let Ok(standoff::Checked { account, .. }) = standoff::check(&job) {
        let shots = &account.shots;
        assert_eq!(shots.read, shots.mapped + shots.repeats + shots.composed + account.held_total() + shots.outside_occupations);
    }
});
