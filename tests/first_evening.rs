//! Logs as crews bring them home, in the files that they come in: workbooks, tables below titles, several readings in a row, no
//! bases at all, placemarks; and what `init` makes of them. All places, crews and values are invented.

use crate::support;

mod crews;
mod files;
mod fit;
mod others;
mod placeless;
mod wide;
mod workbooks;

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use support::{Ran, json, standoff, table};
use tempfile::TempDir;

type Record = BTreeMap<String, String>;

/// A folder with files of the crews or of our own, and a job.
struct Evening {
    folder: TempDir,
}

fn data() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/first_evening")
}

impl Evening {
    /// Copies files of `tests/first_evening`.
    fn with(files: &[&str]) -> Evening {
        let folder = tempfile::tempdir().unwrap();
        for file in files {
            let from = data().join(file);
            let to = folder.path().join(from.file_name().unwrap());
            fs::copy(&from, to).unwrap_or_else(|error| panic!("{}: {error}", from.display()));
        }
        Evening { folder }
    }

    fn write(&self, name: &str, text: impl AsRef<[u8]>) -> &Evening {
        fs::write(self.folder.path().join(name), text).unwrap();
        self
    }

    fn run(&self, arguments: &[&str]) -> Ran {
        standoff(self.folder.path(), arguments)
    }

    /// Maps `job.toml` into `out`; the account of its shots must add up.
    fn map(&self) -> Ran {
        let _ = fs::remove_dir_all(self.folder.path().join("out"));
        let ran = self.run(&["map", "job.toml", "--out", "out"]).exits(0);
        let summary = self.summary();
        let count = |key: &str| summary["shots"][key].as_u64().unwrap();
        assert_eq!(count("read"), ["mapped", "repeats", "held", "composed"].map(count).iter().sum::<u64>(), "{}", ran.out);
        ran
    }

    fn summary(&self) -> serde_json::Value {
        json(&self.folder.path().join("out/summary.json"))
    }

    /// A layer of a run that wrote delimited text.
    fn layer(&self, layer: &str) -> Vec<Record> {
        let folder = self.folder.path().join("out/csv");
        let found = fs::read_dir(&folder).unwrap().map(|entry| entry.unwrap().path());
        let path = found.into_iter().find(|path| path.file_name().unwrap().to_string_lossy().ends_with(&format!(".{layer}.csv")));
        table(&path.unwrap_or_else(|| panic!("no layer {layer} in {}", folder.display())))
    }

    /// Rows held: file, line, reason.
    fn held(&self) -> Vec<(String, u64, String)> {
        let rows = table(&self.folder.path().join("out/held.csv"));
        rows.into_iter()
            .map(|row| (row["source_file"].clone(), row["source_line"].parse().unwrap(), row["reason"].clone()))
            .collect()
    }

    /// The values of a quantity by the name of what was measured.
    fn values(&self, quantity: &str) -> BTreeMap<String, f64> {
        let rows = self.layer("measurements").into_iter().filter(|row| row["quantity"] == quantity && row["target"].is_empty());
        rows.map(|row| (row["name"].clone(), number(&row, "value"))).collect()
    }
}

fn number(record: &Record, field: &str) -> f64 {
    record[field].parse().unwrap_or_else(|_| panic!("{field} \"{}\" of {record:?}", record[field]))
}

/// Positions of features by name.
fn places(records: &[Record]) -> BTreeMap<String, [f64; 3]> {
    let of =
        |record: &Record| ["easting", "northing", "ellipsoid_height_m"].map(|field| record[field].parse().unwrap_or(f64::NAN));
    records.iter().map(|record| (record["feature"].clone(), of(record))).collect()
}
