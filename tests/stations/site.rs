//! A job with invented logs in a folder of its own, mapped by the program; every run that maps is held
//! to the account of its rows.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;

use serde_json::Value;
use tempfile::TempDir;

use crate::stations::receiver::{at, metres};
use crate::support::{Ran, json, records, standoff};

/// What positions may be off by: sentences are written to 0.2 mm, and a degree's length changes by a
/// few millimetres over the few hundred metres of the place.
pub const NEAR_M: f64 = 0.01;

/// Layers have metres to 0.1 mm: half of that, and rounding.
pub const PRINTED_M: f64 = 0.51e-4;

/// A line of a layer by field; null is empty.
pub type Record = BTreeMap<String, String>;

/// A row that was held.
#[derive(Debug, Clone, PartialEq, serde::Deserialize)]
pub struct Held {
    pub source_file: String,
    pub source_line: u64,
    pub reason: String,
    pub log_column: String,
    pub value: String,
    pub sentence: String,
    pub row: String,
}

impl Held {
    pub fn brief(&self) -> (&str, u64, &str) {
        (&self.source_file, self.source_line, &self.reason)
    }
}

/// The parts of a job, and the folder it lies in.
pub struct Site {
    pub folder: TempDir,
    pub top: String,
    pub bases: String,
    pub shots: String,
    pub heights: String,
    pub tables: String,
}

impl Site {
    /// A job with base logs in latitude and longitude on WGS 84, `bases.nmea` for one, and an antenna
    /// 2 m over the ground.
    pub fn new(file: &str, log: impl AsRef<[u8]>, shots: &str) -> Site {
        let site = Site {
            folder: tempfile::tempdir().unwrap(),
            top: String::new(),
            bases: format!("files = [\"{file}\"]\ncrs = \"EPSG:4979\""),
            shots: String::new(),
            heights: "antenna_height_m = 2.0".into(),
            tables: String::new(),
        };
        site.write(file, log);
        site.write("shots.csv", shots);
        site
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn write(&self, name: &str, bytes: impl AsRef<[u8]>) {
        std::fs::write(self.path(name), bytes).unwrap();
    }

    /// With lines more under `[bases]`, tables of it included.
    pub fn bases(mut self, lines: &str) -> Site {
        self.bases = format!("{}\n{lines}", self.bases);
        self
    }

    /// With lines more under `[shots]`.
    pub fn shots(mut self, lines: &str) -> Site {
        self.shots = format!("{}\n{lines}", self.shots);
        self
    }

    /// With further tables.
    pub fn tables(mut self, lines: &str) -> Site {
        self.tables = format!("{}\n{lines}", self.tables);
        self
    }

    /// With another `[heights]`.
    pub fn heights(mut self, lines: &str) -> Site {
        self.heights = lines.into();
        self
    }

    pub fn run(&self, command: &str) -> Ran {
        self.run_on(command, None)
    }

    fn run_on(&self, word: &str, threads: Option<&str>) -> Ran {
        let Site { top, bases, shots, heights, tables, .. } = self;
        self.write(
            "job.toml",
            format!(
                "name = \"t\"\ncrs = \"EPSG:32632\"\nformats = [\"csv\"]\n{top}\n[bases]\n{bases}\n[shots]\nfiles = [\"shots.csv\"]\n{shots}\n\
                 [instrument]\nsigma_distance_m = 0.2\nsigma_azimuth_deg = 0.5\nsigma_inclination_deg = 0.1\n\
                 [heights]\ninstrument_height_m = 1.5\ntarget_height_m = 0\n{heights}\n{tables}\n"
            ),
        );
        let mut arguments = vec![word, "job.toml"];
        arguments.extend(threads.into_iter().flat_map(|threads| ["--threads", threads]));
        standoff(self.folder.path(), &arguments)
    }

    /// The layers on so many threads, in a folder.
    pub fn map_on(&self, threads: &str) -> PathBuf {
        let _ = std::fs::remove_dir_all(self.path("t-layers"));
        self.run_on("map", Some(threads)).exits(0);
        let folder = self.path(&format!("on-{threads}"));
        std::fs::rename(self.path("t-layers"), &folder).unwrap();
        folder
    }

    /// Maps and checks the job, both of which must fail alike; returns the message.
    #[track_caller]
    pub fn refused(&self) -> String {
        let _ = std::fs::remove_dir_all(self.path("t-layers"));
        let (mapped, checked) = (self.run("map").exits(1), self.run("check").exits(1));
        assert_eq!(mapped.err, checked.err);
        assert!(!self.path("t-layers").exists());
        mapped.err.strip_prefix("error: ").unwrap().trim_end().to_owned()
    }

    #[track_caller]
    pub fn map(&self) -> Mapped {
        let _ = std::fs::remove_dir_all(self.path("t-layers"));
        let ran = self.run("map");
        let out = self.path("t-layers");
        // 3 where nothing was mapped.
        let nothing = out.join("summary.json").exists() && json(&out.join("summary.json"))["nothing_mapped"].is_string();
        let ran = ran.exits(if nothing { 3 } else { 0 });
        let mapped = Mapped {
            summary: json(&out.join("summary.json")),
            features: records(&out.join("csv/t.features.csv")),
            bases: records(&out.join("csv/t.bases.csv")),
            held: csv::Reader::from_path(out.join("held.csv")).unwrap().deserialize().map(|row| row.unwrap()).collect(),
            ledger: records(&out.join("csv/t.ledger.csv")),
            ran,
        };
        mapped.assert_accounted_for();
        self.assert_lines(&mapped);
        mapped
    }

    /// Every line of a receiver's log is counted once, and held lines stand in `held.csv` as they are.
    #[track_caller]
    fn assert_lines(&self, mapped: &Mapped) {
        for input in mapped.inputs() {
            let name = input["file"].as_str().unwrap();
            if !["nmea", "delimited"].contains(&input["kind"].as_str().unwrap()) {
                continue;
            }
            let bytes = std::fs::read(self.path(name)).unwrap();
            let text = String::from_utf8_lossy(&bytes).into_owned();
            let lines: Vec<&str> = text.lines().collect();
            if input["kind"] == "nmea" {
                let counted = input["rows"]["read"].as_u64().unwrap() + input["other_lines"].as_u64().unwrap();
                assert_eq!(counted, lines.len() as u64, "lines of {name}");
            }
            for held in mapped.held.iter().filter(|held| held.source_file == name) {
                assert_eq!(held.row.trim_end(), lines[held.source_line as usize - 1].trim_end(), "{name}:{}", held.source_line);
            }
        }
    }
}

/// What a run came to.
pub struct Mapped {
    pub ran: Ran,
    pub summary: Value,
    pub features: Vec<Record>,
    pub bases: Vec<Record>,
    pub held: Vec<Held>,
    pub ledger: Vec<Record>,
}

impl Mapped {
    fn inputs(&self) -> &[Value] {
        self.summary["inputs"].as_array().unwrap()
    }

    /// read = mapped + held + outside every occupation, for each file and for bases and shots together; each
    /// held row in one place; and the layers as many as the summary says.
    #[track_caller]
    fn assert_accounted_for(&self) {
        let mut places = BTreeSet::new();
        for held in &self.held {
            assert!(places.insert((&held.source_file, held.source_line)), "{held:?} is held twice");
        }
        let mut sums: BTreeMap<&str, [u64; 4]> = BTreeMap::new();
        for input in self.inputs() {
            let name = input["file"].as_str().unwrap();
            let [read, mapped, held, outside] = self.counts(name);
            assert_eq!(read, mapped + held + outside, "rows of {name}");
            let found: Vec<&Held> = self.held.iter().filter(|held| held.source_file == name).collect();
            assert_eq!(held, found.len() as u64, "held rows of {name}");
            let mut reasons: BTreeMap<&str, u64> = BTreeMap::new();
            found.iter().for_each(|held| *reasons.entry(&held.reason).or_default() += 1);
            assert_eq!(input["rows"]["held_by_reason"], serde_json::json!(reasons), "{name}");
            let sum = sums.entry(input["log"].as_str().unwrap()).or_default();
            [read, mapped, held, outside].iter().enumerate().for_each(|(i, count)| sum[i] += count);
        }
        for log in ["bases", "shots"] {
            assert_eq!(four(&self.summary[log]), sums[log], "{log}");
        }
        assert_eq!(self.summary["shots"]["mapped"].as_u64(), Some(self.features.len() as u64));
        let in_ledger = self.ledger.iter().filter(|row| row["record"] == "held").count();
        assert_eq!(in_ledger, self.held.len());
        let shots: u64 = self.bases.iter().map(|base| base["shots"].parse::<u64>().unwrap()).sum();
        assert_eq!(shots, self.features.len() as u64);
    }

    /// Rows of a file: read, mapped, held, outside every occupation.
    #[track_caller]
    pub fn counts(&self, file: &str) -> [u64; 4] {
        four(&self.inputs().iter().find(|input| input["file"] == file).unwrap()["rows"])
    }

    /// Names of the bases, in the order of the layer.
    pub fn names(&self) -> Vec<&str> {
        self.bases.iter().map(|base| base["base"].as_str()).collect()
    }

    /// The only base of a name.
    #[track_caller]
    pub fn base(&self, name: &str) -> &Record {
        let found: Vec<&Record> = self.bases.iter().filter(|base| base["base"] == name).collect();
        let [base] = found[..] else { panic!("{} bases {name} of {:?}", found.len(), self.names()) };
        base
    }

    /// Shots with their bases, in the order of the shots.
    pub fn joined(&self) -> Vec<(&str, &str)> {
        self.features.iter().map(|feature| (feature["shot"].as_str(), feature["base"].as_str())).collect()
    }

    /// The shot of an id.
    #[track_caller]
    pub fn shot(&self, id: &str) -> &Record {
        self.features.iter().find(|feature| feature["shot"] == id).unwrap()
    }

    /// Held rows: file, line, reason.
    pub fn held(&self) -> Vec<(&str, u64, &str)> {
        self.held.iter().map(Held::brief).collect()
    }

    /// Held rows of a file.
    pub fn held_of(&self, file: &str) -> Vec<&Held> {
        self.held.iter().filter(|held| held.source_file == file).collect()
    }

    pub fn notes(&self) -> Vec<&str> {
        self.summary["notes"].as_array().unwrap().iter().map(|note| note.as_str().unwrap()).collect()
    }
}

fn four(counts: &Value) -> [u64; 4] {
    ["read", "mapped", "held", "outside_occupations"].map(|key| counts[key].as_u64().unwrap())
}

/// A field as a number.
#[track_caller]
pub fn number(record: &Record, field: &str) -> f64 {
    record[field].parse().unwrap_or_else(|_| panic!("{field} is {:?}", record[field]))
}

/// Asserts that a record lies so many metres east and north of the place.
#[track_caller]
pub fn assert_at(record: &Record, [east_m, north_m]: [f64; 2]) {
    let [e, n] = metres(number(record, "lat_deg"), number(record, "lon_deg"));
    assert!((e - east_m).hypot(n - north_m) < NEAR_M, "{e:.3} {n:.3} against {east_m} {north_m}");
}

#[track_caller]
pub fn assert_near(record: &Record, field: &str, expected: f64, tolerance: f64) {
    let found = number(record, field);
    assert!((found - expected).abs() < tolerance, "{field} {found} against {expected}");
}

/// A time of a log.
pub fn time(second: i64) -> String {
    at(second).to_string()
}

/// Shots with times and no bases, numbered from 1: due east, level, 40 m.
pub fn unnamed(seconds: &[i64]) -> String {
    let head = "shot,time,true_azimuth_deg,inclination_deg,slope_distance_m\n".to_owned();
    seconds.iter().zip(1..).fold(head, |log, (second, id)| log + &format!("{id},{},90,0,{}\n", time(*second), 40))
}

/// Such shots that name their bases.
pub fn named(shots: &[(&str, i64)]) -> String {
    let head = "base,shot,time,true_azimuth_deg,inclination_deg,slope_distance_m\n".to_owned();
    shots.iter().zip(1..).fold(head, |log, ((base, second), id)| log + &format!("{base},{id},{},90,0,40\n", time(*second)))
}
