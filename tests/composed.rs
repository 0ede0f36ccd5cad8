//! Whole runs with rows that belong together: heights, missing lines and widths; strings that make lines and
//! areas; spans, levels, profiles and the pieces of measurements; what is said where a row is missing. Logs are invented; the
//! values are worked out by hand.

use crate::support;

mod example;
mod globe;
mod levels;
mod many;
mod pieces;
mod signs;
mod spans;
mod strung;

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use serde_json::{Value, json};
use support::*;

/// Layers have four decimals.
const PRINTED: f64 = 1e-4;
/// Geometry in the plane against the program's earth, over a hundred metres.
const PLANE_M: f64 = 0.002;

const HEADER: &str = "shot,base,measure,role,feature,string,order,true_azimuth_deg,inclination_deg,slope_distance_m\n";

struct Run {
    folder: tempfile::TempDir,
    summary: Value,
}

type Record = BTreeMap<String, String>;

/// Logs and the parts of a job that tests change.
struct Logs<'l> {
    bases: &'l str,
    header: &'l str,
    rows: &'l str,
    /// Formats of the layers.
    formats: &'l str,
    /// Lines of the table of shots.
    shots: &'l str,
    /// Lines of the table of heights.
    heights: &'l str,
    /// Lines of the table of checks, and tables behind it.
    end: &'l str,
}

const LOGS: Logs = Logs {
    bases: "base,lat_deg,lon_deg,ellipsoid_height_m\nA,58.6,-2.9,60\nB,58.601,-2.9,60\n",
    header: HEADER,
    rows: "",
    formats: "\"csv\", \"gpkg\", \"geojson\", \"shp\", \"fgb\", \"dxf\"",
    shots: "",
    heights: "",
    end: "",
};

impl Run {
    fn new(rows: &str, checks: &str) -> Run {
        Run::of(&Logs { rows, end: checks, ..LOGS })
    }

    fn of(logs: &Logs) -> Run {
        let folder = tempfile::tempdir().unwrap();
        let write = |name: &str, text: &str| fs::write(folder.path().join(name), text).unwrap();
        write("bases.csv", logs.bases);
        write("shots.csv", &format!("{}{}", logs.header, logs.rows));
        write(
            "job.toml",
            &format!(
                "name = \"cove\"\ncrs = \"EPSG:32630\"\nformats = [{}]\n\
                 [bases]\nfiles = [\"bases.csv\"]\ncrs = \"EPSG:4979\"\nsigma_horizontal_m = 0.5\nsigma_vertical_m = 1.0\n\
                 [shots]\nfiles = [\"shots.csv\"]\n{}\n\
                 [instrument]\nsigma_distance_m = 0.2\nsigma_azimuth_deg = 0.5\nsigma_inclination_deg = 0.1\nrefraction = 0.0\n\
                 [heights]\ninstrument_height_m = 1.5\ntarget_height_m = 0\n{}\n[checks]\n{}\n",
                logs.formats, logs.shots, logs.heights, logs.end
            ),
        );
        let ran = standoff(folder.path(), &["map", "job.toml", "--out", "out", "--quiet"]);
        let summary = json(&folder.path().join("out/summary.json"));
        // 3 where nothing was mapped.
        let nothing = summary["nothing_mapped"].is_string();
        assert_eq!(ran.status, Some(if nothing { 3 } else { 0 }), "{}{}", ran.out, ran.err);
        let shots = &summary["shots"];
        let count = |key: &str| shots[key].as_u64().unwrap();
        assert_eq!(count("read"), count("mapped") + count("held") + count("composed") + count("repeats"), "{shots}");
        Run { folder, summary }
    }

    /// The only sentence why rows were held.
    fn held(&self) -> String {
        let held = table(&self.folder.path().join("out/held.csv"));
        assert_eq!(held.len(), 1, "{held:?}");
        held[0]["sentence"].clone()
    }

    fn layer(&self, layer: &str) -> Vec<Record> {
        let path = self.folder.path().join(format!("out/csv/cove.{layer}.csv"));
        if path.exists() { table(&path).into_iter().map(|row| row.into_iter().collect()).collect() } else { Vec::new() }
    }

    /// Value and standard error of a quantity.
    fn value(&self, name: &str, quantity: &str) -> (f64, f64) {
        let records = self.layer("measurements");
        let found = records.iter().find(|record| record["name"] == name && record["quantity"] == quantity);
        let found = found.unwrap_or_else(|| panic!("no {quantity} of {name} in {records:?}"));
        (found["value"].parse().unwrap(), found["sigma"].parse().unwrap())
    }
}

/// A row with base, measure, role, feature and the readings of a shot from base A's axis to a point east, north and up of it.
fn shot(number: usize, measure: &str, role: &str, feature: &str, [e, n, u]: [f64; 3]) -> String {
    let azimuth = e.atan2(n).to_degrees().rem_euclid(360.0);
    let inclination = u.atan2(e.hypot(n)).to_degrees();
    format!("{number},A,{measure},{role},{feature},,,{azimuth},{inclination},{}", e.hypot(n).hypot(u))
}

fn assert_near(got: f64, want: f64, within: f64) {
    assert!((got - want).abs() <= within, "{got} is not {want} within {within}");
}

#[test]
fn a_height_by_three_shots() {
    // 40 m off, foot 3 degrees below, top 30 above: 40 (tan 30 + tan 3).
    let run = Run::new("1,A,height,foot,T1,,,90,-3,\n2,A,height,top,T1,,,90,30,\n3,A,height,distance,T1,,,90,0,40\n", "");
    let (height, sigma) = run.value("T1", "height_m");
    assert_near(height, 40.0 * (30f64.to_radians().tan() + 3f64.to_radians().tan()), PRINTED);
    // σ² = (σ_d (tan 30 + tan 3))² + (d σ_I / cos² 30)² + (d σ_I / cos² 3)².
    let (tans, rad) = (30f64.to_radians().tan() + 3f64.to_radians().tan(), 0.1f64.to_radians());
    let term = |degrees: f64| 40.0 * rad / degrees.to_radians().cos().powi(2);
    assert_near(sigma, (0.2 * tans).hypot(term(30.0)).hypot(term(3.0)), PRINTED);
    // Two rows are no points of their own; the third is a feature.
    assert_eq!(run.summary["shots"]["composed"], json!(2));
    assert_eq!(run.layer("features").len(), 1);
    let roles: Vec<String> = run.layer("parts").iter().map(|part| part["role"].clone()).collect();
    assert_eq!(roles, ["foot", "top"]);
}

#[test]
fn a_missing_row_is_named_and_the_others_are_held() {
    let run = Run::new("1,A,height,top,T2,,,90,30,\n2,A,,,P1,,,90,0,40\n", "");
    let held = table(&run.folder.path().join("out/held.csv"));
    assert_eq!(held.len(), 1);
    assert_eq!((held[0]["source_line"].as_str(), held[0]["reason"].as_str()), ("2", "incomplete"));
    assert!(held[0]["sentence"].contains("T2") && held[0]["sentence"].contains("foot"), "{}", held[0]["sentence"]);
    assert_eq!(run.layer("measurements").len(), 0);
    assert_eq!(run.layer("features").len(), 1);
}

#[test]
fn a_missing_line_from_one_base() {
    // An equilateral triangle with a base of 100 m: its third side is 100 m, to azimuth 120 degrees.
    let run = Run::new("1,A,missing_line,from,L1,,,0,0,100\n2,A,missing_line,to,L1,,,60,0,100\n", "");
    let (length, sigma) = run.value("L1", "horizontal_distance_m");
    assert_near(length, 100.0, PLANE_M);
    assert_near(run.value("L1", "azimuth_deg").0, 120.0, 0.01);
    // The base's 0.5 m cancel: each end moves along the line by cos 60 of σ_d and cos 30 of 100 m σ_A.
    let end = (0.2 * 0.5f64).hypot(100.0 * 0.5f64.to_radians() * 30f64.to_radians().cos());
    assert_near(sigma, 2f64.sqrt() * end, 0.01);
    // From two bases it does not: B stands 111.4 m north of A (0.001 degrees of latitude at 58.6 N).
    let two = Run::new("1,A,missing_line,from,L1,,,0,0,100\n2,B,missing_line,to,L1,,,60,0,100\n", "");
    let (sin, cos) = 60f64.to_radians().sin_cos();
    let (e, n) = (100.0 * sin, 111.4 + 100.0 * cos - 100.0);
    let (along_e, along_n) = (e / e.hypot(n), n / e.hypot(n));
    let across = 100.0 * 0.5f64.to_radians();
    let variance = 2.0 * 0.5f64.powi(2)
        + (0.2 * along_n).powi(2)
        + (across * along_e).powi(2)
        + (0.2 * (along_e * sin + along_n * cos)).powi(2)
        + (across * (along_e * cos - along_n * sin)).powi(2);
    let (length, sigma) = two.value("L1", "horizontal_distance_m");
    assert_near(length, e.hypot(n), 0.1);
    assert_near(sigma, variance.sqrt(), 0.005);
    assert_eq!(run.layer("lines").len(), 1);
    assert_eq!(run.layer("lines")[0]["origin"], "missing_line");
}

/// A quarter of a ring: 50 and 70 m, 10 to 20 degrees.
const YARD: &str = "6,A,,,P1,yard,,10,0,50\n7,A,,,P2,yard,,10,0,70\n8,A,,,P3,yard,,20,0,70\n9,A,,close,P4,yard,,20,0,50\n";

#[test]
fn strings_make_lines_and_areas() {
    let run = Run::new(&format!("{YARD}10,A,,,E1,edge,,100,0,50\n11,A,,,E2,edge,,110,0,50\n"), "");
    let [area] = run.layer("areas").try_into().unwrap_or_else(|other: Vec<Record>| panic!("{other:?}"));
    let number = |record: &Record, field: &str| record[field].parse::<f64>().unwrap();
    let ten = 10f64.to_radians();
    // Two triangles about the base: ½ sin 10° (70² − 50²).
    assert_near(number(&area, "area_ellipsoid_m2"), 0.5 * ten.sin() * (4900.0 - 2500.0), 0.2);
    assert_near(number(&area, "length_ellipsoid_m"), 40.0 + 2.0 * (70.0 + 50.0) * (ten / 2.0).sin(), 0.01);
    // The grid's scale factor at the central meridian is 0.9996.
    assert_near(number(&area, "area_grid_m2") / number(&area, "area_ellipsoid_m2"), 0.9996f64.powi(2), 1e-4);
    let [edge] = run.layer("lines").try_into().unwrap_or_else(|other: Vec<Record>| panic!("{other:?}"));
    assert_near(number(&edge, "length_space_m"), 2.0 * 50.0 * (ten / 2.0).sin(), PLANE_M);
    // Both ends have the same distance error across the line only by its sine, and the base's error cancels.
    assert!(number(&edge, "sigma_length_m") < 0.65);
    assert_eq!(run.layer("vertices").len(), 6);
    assert_eq!(run.layer("features").len(), 6);
}

#[test]
fn an_area_that_crosses_itself_is_drawn_as_a_line_unless_the_job_repairs_it() {
    let bow = "1,A,,,Q1,bow,,10,0,50\n2,A,,,Q2,bow,,20,0,70\n3,A,,,Q3,bow,,20,0,50\n4,A,,close,Q4,bow,,10,0,70\n";
    let run = Run::new(bow, "");
    assert_eq!((run.layer("areas").len(), run.layer("lines").len()), (0, 1));
    let say = "Area bow: the edge from shot 1 to shot 2 crosses that from shot 3 to shot 4: it is drawn as a line. Mend the order of \
               its shots, or write repair_areas = true under [checks].";
    assert_eq!(run.layer("lines")[0]["warnings"], say);
    assert!(run.summary["notes"].as_array().unwrap().contains(&json!(say)));
    let repaired = Run::new(bow, "repair_areas = true");
    assert_eq!((repaired.layer("areas").len(), repaired.layer("lines").len()), (1, 0));
    assert_near(repaired.layer("areas")[0]["area_ellipsoid_m2"].parse().unwrap(), 1200.0 * 10f64.to_radians().sin(), 0.2);
}

#[test]
fn vertices_by_number_across_bases_and_joined_to_points() {
    // The third vertex is a point shot from the other base.
    let run = Run::new(
        "1,A,,,W1,wall,2,100,0,50\n2,A,,,W2,wall,1,110,0,50\n3,B,,,W3,other,,180,0,60\n4,A,,join,W3,wall,3,0,0,10\n5,B,,,W4,other,,170,0,60\n",
        "",
    );
    let vertices: Vec<(String, String)> =
        run.layer("vertices").iter().map(|v| (format!("{} {}", v["string"], v["number"]), v["base"].clone())).collect();
    let want = [("other 1", "B"), ("other 2", "B"), ("wall 1", "A"), ("wall 2", "A"), ("wall 3", "B")];
    assert_eq!(vertices, want.map(|(vertex, base)| (vertex.to_owned(), base.to_owned())));
}

#[test]
fn layers_that_no_row_can_fill_are_not_written() {
    let folder = EXAMPLES[0].copy();
    standoff(folder.path(), &["map", "job.toml", "--out", "out", "--format", "csv", "--quiet"]).exits(0);
    for layer in ["lines", "areas", "vertices", "measurements", "parts", "profiles"] {
        assert!(!folder.path().join(format!("out/csv/skerrow.{layer}.csv")).exists(), "{layer}");
    }
}

#[test]
fn an_unknown_kind_is_told_once_and_its_points_are_mapped() {
    let run = Run::new("1,A,girth,,S1,,,0,0,100\n2,A,girth,,S2,,,60,0,100\n", "");
    assert_eq!(run.layer("features").len(), 2);
    let notes = run.summary["notes"].to_string();
    assert_eq!(notes.matches("measure \\\"girth\\\" is not known").count(), 1, "{notes}");
}
