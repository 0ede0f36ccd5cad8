//! A job in a folder of its own, run through the program.

#![allow(dead_code, missing_docs, clippy::unwrap_used, clippy::expect_used)]

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::process::{Command, Output};

use serde_json::Value;

/// Bases of an invented place, with canonical headers.
pub const BASES: &str = "base,lat_deg,lon_deg,ellipsoid_height_m\nA,46.1000,8.9000,512.3\nB,46.1010,8.9010,514.1\n";
/// Headers of the usual shot log.
pub const HEAD: &str = "base,shot,time,true_azimuth_deg,inclination_deg,slope_distance_m,note\n";

/// A folder with logs and a job.
pub struct Field {
    pub folder: tempfile::TempDir,
    pub job: String,
}

/// What a run came to.
pub struct Run {
    pub output: Output,
    pub summary: Value,
    /// Rows held: file, line, reason, column, value, sentence.
    pub held: Vec<[String; 6]>,
    /// Features by field.
    pub features: Vec<BTreeMap<String, String>>,
    pub ledger: Vec<BTreeMap<String, String>>,
}

impl Field {
    /// The usual bases, and a shot log.
    pub fn new(shots: impl AsRef<[u8]>) -> Field {
        let folder = tempfile::tempdir().unwrap();
        let field = Field {
            folder,
            job: r#"
name = "t"
crs = "EPSG:32632"
formats = ["csv"]
[bases]
files = ["bases.csv"]
crs = "EPSG:4979"
sigma_horizontal_m = 0.5
sigma_vertical_m = 1.0
#BASES
[shots]
files = ["shots.csv"]
#SHOTS
[instrument]
sigma_distance_m = 0.2
sigma_azimuth_deg = 0.5
sigma_inclination_deg = 0.2
#INSTRUMENT
[heights]
instrument_height_m = 1.5
"#
            .to_owned(),
        };
        field.write("bases.csv", BASES);
        field.write("shots.csv", shots);
        field
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn write(&self, name: &str, bytes: impl AsRef<[u8]>) {
        let path = self.path(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, bytes).unwrap();
    }

    /// Puts lines into a table of the job: BASES, SHOTS, INSTRUMENT.
    pub fn with(mut self, mark: &str, lines: &str) -> Field {
        let mark = format!("#{mark}\n");
        assert!(self.job.contains(&mark));
        self.job = self.job.replacen(&mark, &format!("{lines}\n{mark}"), 1);
        self
    }

    pub fn command(&self, arguments: &[&str]) -> Output {
        self.write("job.toml", &self.job);
        Command::new(env!("CARGO_BIN_EXE_standoff")).args(arguments).current_dir(self.folder.path()).output().unwrap()
    }

    /// Maps the job, which must succeed.
    pub fn map(&self) -> Run {
        let output = self.command(&["map", "job.toml"]);
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        let out = self.path("t-layers");
        let summary: Value = serde_json::from_str(&std::fs::read_to_string(out.join("summary.json")).unwrap()).unwrap();
        for kind in ["shots", "bases"] {
            let count = |key: &str| summary[kind][key].as_u64().unwrap();
            assert_eq!(count("read"), count("mapped") + count("held"), "counts of {kind} add up");
            let by_reason: u64 = summary[kind]["held_by_reason"].as_object().unwrap().values().map(|n| n.as_u64().unwrap()).sum();
            assert_eq!(by_reason, count("held"));
        }
        let table = |name: &str| -> Vec<BTreeMap<String, String>> {
            csv::Reader::from_path(out.join(name)).unwrap().deserialize().map(|row| row.unwrap()).collect()
        };
        let held = csv::Reader::from_path(out.join("held.csv"))
            .unwrap()
            .records()
            .map(|row| {
                let row = row.unwrap();
                std::array::from_fn(|i| row[i].to_owned())
            })
            .collect();
        Run { output, held, features: table("t.features.csv"), ledger: table("t.ledger.csv"), summary }
    }

    /// Maps the job, which must fail before anything is written; returns the message.
    pub fn refusal(&self) -> String {
        let output = self.command(&["map", "job.toml"]);
        assert_eq!(output.status.code(), Some(1), "{}", String::from_utf8_lossy(&output.stdout));
        assert!(!self.path("t-layers").exists(), "nothing is written");
        let said = String::from_utf8(output.stderr).unwrap();
        said.strip_prefix("error: ").unwrap().trim_end().to_owned()
    }
}

impl Run {
    /// (line, reason, column, value) of each held row.
    pub fn held_short(&self) -> Vec<(u64, &str, &str, &str)> {
        self.held
            .iter()
            .map(|[_, line, reason, column, value, _]| (line.parse().unwrap(), reason.as_str(), column.as_str(), value.as_str()))
            .collect()
    }

    pub fn sentence(&self, row: usize) -> &str {
        &self.held[row][5]
    }

    /// A field of all features.
    pub fn column(&self, name: &str) -> Vec<&str> {
        self.features.iter().map(|feature| feature[name].as_str()).collect()
    }

    pub fn mapped(&self) -> usize {
        assert_eq!(self.summary["shots"]["mapped"].as_u64().unwrap() as usize, self.features.len());
        self.features.len()
    }

    /// Flag counts of the summary, which the layer and the ledger must repeat.
    pub fn flags(&self) -> BTreeMap<String, u64> {
        let said: BTreeMap<String, u64> = serde_json::from_value(self.summary["shots"]["flags"].clone()).unwrap();
        let count = |rows: &mut dyn Iterator<Item = &str>| {
            let mut found: BTreeMap<String, u64> = BTreeMap::new();
            rows.flat_map(|codes| codes.split_whitespace()).for_each(|code| *found.entry(code.to_owned()).or_default() += 1);
            found
        };
        assert_eq!(count(&mut self.features.iter().map(|feature| feature["flags"].as_str())), said, "flags in the layer");
        let rows = self.ledger.iter().filter(|row| row["record"] == "flagged" && row["log"] == "shots");
        assert_eq!(count(&mut rows.map(|row| row["code"].as_str())), said, "flags in the ledger");
        said
    }

    /// Flags of a base, from the ledger.
    pub fn base_flags(&self) -> Vec<&str> {
        self.ledger
            .iter()
            .filter(|row| row["record"] == "flagged" && row["log"] == "bases")
            .map(|row| row["code"].as_str())
            .collect()
    }
}

/// A row of the usual shot log, one a second from 8 o'clock on 4 May.
pub fn shot(base: &str, id: u32, azimuth: &str, inclination: &str, distance: &str) -> String {
    let second = 8 * 3600 + id;
    let (day, hour, minute) = (4 + second / 86_400, second / 3600 % 24, second / 60 % 60);
    format!("{base},{id},2026-05-{day:02}T{hour:02}:{minute:02}:{:02}Z,{azimuth},{inclination},{distance},x\n", second % 60)
}

/// A usual shot log of `count` good rows.
pub fn good(count: u32) -> String {
    (1..=count).fold(HEAD.to_owned(), |log, id| {
        log + &shot("A", id, &format!("{}.5", id % 360), "-2.5", &format!("{}.25", 20 + id % 70))
    })
}
