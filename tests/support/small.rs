//! A small job in a folder of its own, mapped to every format, and its layers read back.

use std::collections::BTreeMap;
use std::fs;

use serde_json::Value;

use super::{Ran, json, standoff, table};

/// Fields of a record; null is empty.
pub type Record = BTreeMap<String, String>;

/// Two bases 111 m apart on a meridian, on the ellipsoid's height.
pub const BASES: &str = "base,lat_deg,lon_deg,ellipsoid_height_m\nA,58.6,-2.9,60\nB,58.601,-2.9,60\n";

/// A small job.
pub struct Small {
    pub folder: tempfile::TempDir,
}

impl Small {
    /// A job of one shot log; `top` and `more` are lines of the job above and below its usual tables.
    pub fn new(shots: &str, top: &str, more: &str) -> Small {
        let small = Small { folder: tempfile::tempdir().unwrap() };
        small.write("bases.csv", BASES);
        small.write("shots.csv", shots);
        small.write(
            "job.toml",
            &format!(
                "name = \"cove\"\ncrs = \"EPSG:32630\"\nformats = [\"csv\", \"gpkg\", \"geojson\", \"shp\", \"fgb\", \"dxf\", \"kml\", \"kmz\", \"gpx\", \"jsonfg\"]\n{top}\n\
                 [bases]\nfiles = [\"bases.csv\"]\ncrs = \"EPSG:4979\"\nsigma_horizontal_m = 0.5\nsigma_vertical_m = 1.0\n\
                 [shots]\nfiles = [\"shots.csv\"]\n\
                 [instrument]\nsigma_distance_m = 0.2\nsigma_azimuth_deg = 0.5\nsigma_inclination_deg = 0.1\nrefraction = 0.0\n\
                 #INSTRUMENT\n[heights]\ninstrument_height_m = 1.5\ntarget_height_m = 0\n{more}\n"
            ),
        );
        small
    }

    pub fn write(&self, name: &str, text: &str) {
        fs::write(self.folder.path().join(name), text).unwrap();
    }

    /// Maps the job, which must succeed with an account that adds up.
    pub fn map(&self) -> Value {
        self.mapped(0)
    }

    /// Maps a job that gives nothing: its layers are written all the same, and it is no success.
    pub fn map_nothing(&self) -> Value {
        let summary = self.mapped(3);
        assert_eq!(summary["shots"]["mapped"], 0);
        summary
    }

    fn mapped(&self, status: i32) -> Value {
        standoff(self.folder.path(), &["map", "job.toml", "--out", "out", "--quiet"]).exits(status);
        let summary = json(&self.folder.path().join("out/summary.json"));
        let shots = &summary["shots"];
        let count = |key: &str| shots[key].as_u64().unwrap();
        let sum = ["mapped", "repeats", "held", "composed"].map(count).iter().sum::<u64>();
        assert_eq!(count("read"), sum, "{shots}");
        summary
    }

    /// Maps the job with more arguments.
    pub fn ran(&self, arguments: &[&str]) -> Ran {
        standoff(self.folder.path(), &[&["map", "job.toml", "--out", "out", "--quiet"], arguments].concat())
    }

    /// The records of a layer; none where it was not written.
    pub fn layer(&self, layer: &str) -> Vec<Record> {
        let path = self.folder.path().join(format!("out/csv/cove.{layer}.csv"));
        if path.exists() { table(&path) } else { Vec::new() }
    }

    /// The record of a layer whose feature has a name.
    #[track_caller]
    pub fn feature(&self, layer: &str, name: &str) -> Record {
        let mut found: Vec<Record> = self.layer(layer).into_iter().filter(|record| record["feature"] == name).collect();
        assert_eq!(found.len(), 1, "{name} in {layer}");
        found.remove(0)
    }

    /// The ledger's records of rows, by line: codes and sentence.
    pub fn ledger(&self) -> BTreeMap<u64, (String, String)> {
        let rows = self.layer("ledger").into_iter().filter(|row| row["record"] != "file");
        rows.map(|row| (row["source_line"].parse().unwrap(), (row["code"].clone(), row["sentence"].clone()))).collect()
    }
}
