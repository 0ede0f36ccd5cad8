//! A job in a folder of its own, run through the program, and what it wrote read back.
//!
//! Every run that maps is held to the account: each row of the logs in one place, and the layers, the
//! ledger, `held.csv`, the summary and the terminal of one mind about it.

#![allow(dead_code, missing_docs, clippy::unwrap_used, clippy::expect_used)]

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
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

/// Records of a layer by field; null is empty.
pub type Records = Vec<BTreeMap<String, String>>;

/// What a run came to.
pub struct Run {
    pub output: Output,
    pub summary: Value,
    /// Rows held: file, line, reason, column, value, sentence.
    pub held: Vec<[String; 6]>,
    /// The same rows as they stand in the logs.
    pub held_rows: Vec<String>,
    pub features: Records,
    pub bases: Records,
    pub ledger: Records,
    /// Types of the fields of the features and of the bases.
    pub types: BTreeMap<String, String>,
    pub base_types: BTreeMap<String, String>,
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
target_height_m = 0
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
        let status = output.status.code();
        assert!(matches!(status, Some(0 | 3)), "{}", String::from_utf8_lossy(&output.stderr));
        let out = self.path("t-layers");
        let summary: Value = serde_json::from_str(&std::fs::read_to_string(out.join("summary.json")).unwrap()).unwrap();
        let table = |name: &str| -> Records {
            // A layer without records is not written.
            let Ok(mut reader) = csv::Reader::from_path(out.join("csv").join(name)) else { return Vec::new() };
            reader.deserialize().map(|row| row.unwrap()).collect()
        };
        let mut held = Vec::new();
        let mut held_rows = Vec::new();
        for row in csv::Reader::from_path(out.join("held.csv")).unwrap().records() {
            let row = row.unwrap();
            held.push(std::array::from_fn(|i| row[i].to_owned()));
            held_rows.push(row[6].to_owned());
        }
        let (features, bases, ledger) = (table("t.features.csv"), table("t.bases.csv"), table("t.ledger.csv"));
        // Nothing mapped is no success.
        assert_eq!(status == Some(3), features.is_empty(), "{status:?}");
        let (types, base_types) = (types(&out, "t.features"), types(&out, "t.bases"));
        let run = Run { output, summary, held, held_rows, features, bases, ledger, types, base_types };
        run.assert_accounted_for();
        self.assert_lines_counted(&run);
        run
    }

    /// Every line of a log is its header, a row, or skipped and counted; told where no quoted field can
    /// span lines.
    fn assert_lines_counted(&self, run: &Run) {
        for input in run.summary["inputs"].as_array().unwrap() {
            let name = input["file"].as_str().unwrap();
            let Ok(text) = std::fs::read_to_string(self.path(name)) else { continue };
            if text.contains(['"', '\0']) {
                continue;
            }
            let lines = text.replace("\r\n", "\n").replace('\r', "\n").lines().count() as u64;
            let told = input["rows"]["read"].as_u64().unwrap() + skipped(input);
            assert_eq!(1 + told, lines, "lines of {name}");
        }
    }

    /// Maps and checks the job, both of which must fail before anything is written; returns the
    /// message.
    pub fn refusal(&self) -> String {
        let before = self.names();
        let said = |command: &str| {
            let output = self.command(&[command, "job.toml"]);
            assert_eq!(output.status.code(), Some(1), "{}", String::from_utf8_lossy(&output.stdout));
            assert!(output.stdout.is_empty(), "{}", String::from_utf8_lossy(&output.stdout));
            String::from_utf8(output.stderr).unwrap()
        };
        let (mapping, checking) = (said("map"), said("check"));
        assert_eq!(mapping, checking, "map and check say the same");
        assert_eq!(self.names(), before, "nothing is written");
        mapping.strip_prefix("error: ").unwrap().strip_suffix('\n').unwrap().to_owned()
    }

    /// What lies in the folder beside the job.
    fn names(&self) -> BTreeSet<String> {
        let names = std::fs::read_dir(self.folder.path()).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap());
        names.filter(|name| name != "job.toml").collect()
    }
}

impl Run {
    /// Every row in one place, and the same said of it everywhere.
    fn assert_accounted_for(&self) {
        let inputs = self.summary["inputs"].as_array().unwrap();

        // One place for each row of each file, and as many of them as the file says.
        let held_places = self.held.iter().map(|[file, line, ..]| (file.as_str(), line.as_str()));
        let mut places = BTreeSet::new();
        for place in self.features.iter().chain(&self.bases).map(place).chain(held_places) {
            assert!(places.insert(place), "{place:?} is in two places");
        }
        let records = self.records("file");
        assert_eq!(inputs.len(), records.len());
        for (input, record) in inputs.iter().zip(records) {
            let name = input["file"].as_str().unwrap();
            let count = |key: &str| input["rows"][key].as_u64().unwrap();
            let found = places.iter().filter(|(file, _)| *file == name).count() as u64;
            assert_eq!(found, count("read"), "rows of {name}");
            let said = ["rows_read", "rows_mapped", "rows_held", "rows_flagged", "lines_skipped"].map(|key| record[key].clone());
            let want = [count("read"), count("mapped"), count("held"), count("flagged"), skipped(input)].map(|n| n.to_string());
            assert_eq!((record["source_file"].as_str(), said), (name, want));
        }

        // Held rows: the file of them and the ledger.
        let fields = ["source_file", "source_line", "code", "log_column", "value", "sentence", "row"];
        let in_ledger: Vec<[&str; 7]> = self.records("held").iter().map(|row| fields.map(|field| row[field].as_str())).collect();
        let held: Vec<[&str; 7]> = self
            .held
            .iter()
            .zip(&self.held_rows)
            .map(|([file, line, reason, column, value, sentence], row)| {
                [file, line, reason, column, value, sentence, row].map(String::as_str)
            })
            .collect();
        assert_eq!(in_ledger, held);

        for (log, layer) in [("shots", &self.features), ("bases", &self.bases)] {
            let counts = &self.summary[log];
            let count = |key: &str| counts[key].as_u64().unwrap();
            assert_eq!(count("read"), count("mapped") + count("held"), "counts of {log} add up");
            assert_eq!(count("mapped"), layer.len() as u64);
            let files: Vec<&str> =
                inputs.iter().filter(|input| input["log"] == log).map(|input| input["file"].as_str().unwrap()).collect();
            let reasons: Vec<&str> = held.iter().filter(|row| files.contains(&row[0])).map(|row| row[2]).collect();
            assert_eq!(count("held"), reasons.len() as u64);
            assert_eq!(counts["held_by_reason"], serde_json::json!(counted(reasons)), "held {log} by reason");

            // Flags: the layer, the ledger and the summary.
            let flagged: Vec<_> = layer.iter().filter(|row| !row["flags"].is_empty()).collect();
            let mut in_layer: Vec<_> = flagged.iter().map(|row| (place(row), row["flags"].as_str())).collect();
            let in_ledger = self.records("flagged").into_iter().filter(|row| row["log"] == log);
            let mut in_ledger: Vec<_> = in_ledger.map(|row| (place(row), row["code"].as_str())).collect();
            in_layer.sort();
            in_ledger.sort();
            assert_eq!(in_ledger, in_layer, "flags of {log}");
            let codes = flagged.iter().flat_map(|row| row["flags"].split(' '));
            assert_eq!(counts["flags"], serde_json::json!(counted(codes)), "flags of {log}");
            assert_eq!(count("flagged"), flagged.len() as u64);
        }

        // The terminal.
        let number = |log: &str, key: &str| self.summary[log][key].as_u64().unwrap();
        let stdout = String::from_utf8_lossy(&self.output.stdout);
        let stdout = match (self.features.is_empty(), stdout.split_once('\n')) {
            (true, Some((said, rest))) => {
                assert!(said.starts_with("nothing was mapped: "), "{said}");
                rest.to_owned()
            }
            _ => stdout.into_owned(),
        };
        let plural = |log: &str| if number(log, "read") == 1 { "" } else { "s" };
        let first = format!(
            "{} of {} shot{} mapped, {} held, {} flagged; {} of {} base{} used\n",
            number("shots", "mapped"),
            number("shots", "read"),
            plural("shots"),
            number("shots", "held"),
            number("shots", "flagged"),
            number("bases", "mapped"),
            number("bases", "read"),
            plural("bases")
        );
        assert!(stdout.starts_with(&first), "{stdout}");
        let announced = match held.len() {
            0 => String::new(),
            1 => "held: 1 row was set aside; see ./t-layers/held.csv\n".to_owned(),
            many => format!("held: {many} rows were set aside; see ./t-layers/held.csv\n"),
        };
        assert_eq!(String::from_utf8_lossy(&self.output.stderr), announced);
    }

    /// Records of the ledger of one kind.
    fn records(&self, kind: &str) -> Vec<&BTreeMap<String, String>> {
        self.ledger.iter().filter(|row| row["record"] == kind).collect()
    }

    /// Asserts that the same features came out as of another run, wherever their rows stood.
    pub fn assert_same_features(&self, other: &Run) {
        let of = |run: &Run| -> Records {
            let mut features = run.features.clone();
            features.iter_mut().for_each(|feature| feature.retain(|field, _| !field.starts_with("source_")));
            features
        };
        assert_eq!(of(self), of(other));
    }

    /// Rows mapped with suspicions: file, line, codes, sentences.
    pub fn flagged(&self) -> Vec<[&str; 4]> {
        let fields = ["source_file", "source_line", "code", "sentence"];
        self.records("flagged").into_iter().map(|row| fields.map(|field| row[field].as_str())).collect()
    }

    /// What the summary says of an input file.
    pub fn input(&self, file: &str) -> &Value {
        self.summary["inputs"].as_array().unwrap().iter().find(|input| input["file"] == file).unwrap()
    }

    /// A field of all features.
    pub fn column(&self, name: &str) -> Vec<&str> {
        self.features.iter().map(|feature| feature[name].as_str()).collect()
    }

    /// A field of all features, as numbers; null is NaN.
    pub fn numbers(&self, name: &str) -> Vec<f64> {
        self.column(name).into_iter().map(|text| if text.is_empty() { f64::NAN } else { text.parse().unwrap() }).collect()
    }

    /// A field of all bases.
    pub fn base_column(&self, name: &str) -> Vec<&str> {
        self.bases.iter().map(|base| base[name].as_str()).collect()
    }

    /// Shots mapped.
    pub fn mapped(&self) -> usize {
        self.features.len()
    }
}

/// Where the row of a record stands: file and line.
fn place(record: &BTreeMap<String, String>) -> (&str, &str) {
    (&record["source_file"], &record["source_line"])
}

/// Lines of an input file that are neither its header nor rows.
fn skipped(input: &Value) -> u64 {
    ["blank_lines", "comment_lines", "repeated_headers", "units_lines"].iter().map(|key| input[key].as_u64().unwrap()).sum()
}

/// The types of a layer's fields, from the file beside its CSV; none of a layer without records.
fn types(out: &Path, layer: &str) -> BTreeMap<String, String> {
    let Ok(mut reader) = csv::Reader::from_path(out.join(format!("csv/{layer}.csv"))) else { return BTreeMap::new() };
    let names = reader.headers().unwrap().clone();
    let types = std::fs::read_to_string(out.join(format!("csv/{layer}.csvt"))).unwrap();
    let types: Vec<&str> = types.trim_end().split(',').collect();
    assert_eq!(names.len(), types.len());
    names.iter().zip(types).map(|(name, kind)| (name.to_owned(), kind.to_owned())).collect()
}

/// How often each word comes.
fn counted<'w>(words: impl IntoIterator<Item = &'w str>) -> BTreeMap<&'w str, u64> {
    let mut found = BTreeMap::new();
    words.into_iter().for_each(|word| *found.entry(word).or_default() += 1);
    found
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
