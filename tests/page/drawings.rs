//! Drawings as files: to scale, their dimensions those of the values, in the units of the job; none where places are kept coarse.

use std::fs;
use std::path::Path;

use crate::support::{copy, json, standoff, table};

/// Maps an example with drawings, its job changed.
fn drawn(folder: &str, change: &dyn Fn(&Path), out: &str) -> tempfile::TempDir {
    let example = tempfile::tempdir().unwrap();
    copy(&Path::new(env!("CARGO_MANIFEST_DIR")).join("examples").join(folder), example.path());
    change(example.path());
    standoff(example.path(), &["map", "job.toml", "--out", out, "--drawings"]).exits(0);
    example
}

/// The key of the job writes what the option writes, byte by byte.
#[test]
fn a_job_asks_for_its_drawings() {
    let asked = tempfile::tempdir().unwrap();
    copy(&Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/span-survey"), asked.path());
    let job = asked.path().join("job.toml");
    let map = |arguments: &[&str]| standoff(asked.path(), &[&["map", "job.toml", "--quiet"], arguments].concat()).exits(0);
    let files = |out: &str| -> Vec<(String, String)> {
        let folder = asked.path().join(out).join("drawings");
        let Ok(entries) = fs::read_dir(&folder) else { return Vec::new() };
        let mut files: Vec<(String, String)> = entries
            .map(|entry| entry.unwrap().path())
            .map(|path| (path.file_name().unwrap().to_string_lossy().into_owned(), fs::read_to_string(&path).unwrap()))
            .collect();
        files.sort();
        files
    };
    map(&["--out", "none"]);
    map(&["--out", "option", "--drawings"]);
    let text = fs::read_to_string(&job).unwrap();
    fs::write(&job, text + "\n[report]\ndrawings = true\n").unwrap();
    map(&["--out", "key"]);
    assert!(files("none").is_empty() && files("key").len() >= 3);
    assert_eq!(files("key"), files("option"));
}

fn with_line(path: &Path, file: &str, from: &str, to: &str) {
    let text = fs::read_to_string(path.join(file)).unwrap();
    assert!(text.contains(from), "{file} has no {from}");
    fs::write(path.join(file), text.replacen(from, to, 1)).unwrap();
}

/// All texts of all drawings.
fn texts(folder: &Path) -> Vec<String> {
    let mut texts = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let svg = fs::read_to_string(entry.unwrap().path()).unwrap();
        texts.extend(svg.split('>').filter_map(|part| part.split_once("</text")).map(|(text, _)| text.to_owned()));
    }
    texts
}

/// Numbers of labels such as `5.18 ± 0.20 m`: value, half of the interval, and half a unit of the last digit of each.
fn dimensions(texts: &[String], sign: &str) -> Vec<[(f64, f64); 2]> {
    let number = |text: &str| {
        let digits = text.split_once('.').map_or(0, |(_, part)| part.len()) as i32;
        Some((text.parse::<f64>().ok()?, 0.5 * 10f64.powi(-digits)))
    };
    texts
        .iter()
        .filter_map(|text| {
            let (value, half) = text.strip_suffix(&format!(" {sign}"))?.split_once(" ± ")?;
            Some([number(value)?, number(half)?])
        })
        .collect()
}

/// The clearances of the two spans stand in the drawings as the layer of measurements has them, half of the interval behind; in feet by the
/// exact factor 0.3048. The files are listed with their hashes.
#[test]
fn dimensions_are_the_values_in_the_units_of_the_job() {
    for (units, sign, metres) in [("", "m", 1.0), ("[units]\nlength = \"ft\"\n", "ft", 0.3048)] {
        let change = |path: &Path| with_line(path, "job.toml", "[bases]", &format!("{units}[bases]"));
        let example = drawn("span-survey", &change, "o");
        let out = example.path().join("o");
        let found = dimensions(&texts(&out.join("drawings")), sign);
        let layer = fs::read_dir(out.join("csv")).unwrap().map(|entry| entry.unwrap().path());
        let layer = layer.into_iter().find(|path| path.to_string_lossy().ends_with(".measurements.csv")).unwrap();
        let number = |text: &str| text.parse::<f64>().unwrap();
        let clearances: Vec<[f64; 2]> = table(&layer)
            .iter()
            .filter(|row| row["quantity"].starts_with("vertical_distance") && row["target"].starts_with("wire to"))
            .map(|row| [number(&row["value"]), (number(&row["high95"]) - number(&row["low95"])) / 2.0])
            .collect();
        assert_eq!((found.len(), clearances.len()), (6, 6), "{found:?}");
        for [(value, within), (half, half_within)] in found {
            // Values of the layer are in the unit, too.
            let meets = |of: &&[f64; 2]| (of[0] - value).abs() <= within + 1e-6 && (of[1] - half).abs() <= half_within + 1e-6;
            assert!(clearances.iter().any(|of| meets(&of)), "{value} ± {half} {sign} is no clearance of {clearances:?}");
            assert!(value * metres < 7.0, "{value} {sign}");
        }
        let files = json(&out.join("summary.json"))["files"].to_string();
        for name in fs::read_dir(out.join("drawings")).unwrap().map(|entry| entry.unwrap().file_name()) {
            assert!(files.contains(&format!("drawings/{}", name.to_string_lossy())), "{files}");
        }
    }
}

/// Heights of trees whose places are kept coarse say nothing in drawings; the crew's own copy has them.
#[test]
fn nothing_is_drawn_of_what_is_kept_coarse() {
    let coarse = |path: &Path| with_line(path, "catalogue.toml", "[layers.stems]", "[layers.stems]\ncoarse_cell_m = 1000");
    let example = drawn("forest-plot", &coarse, "o");
    let drawings = example.path().join("o/drawings");
    let said = if drawings.exists() { texts(&drawings) } else { Vec::new() };
    assert!(!said.iter().any(|text| text.contains("Q09") || text.contains('±')), "{said:?}");
    standoff(example.path(), &["map", "job.toml", "--out", "own", "--drawings", "--exact-places"]).exits(0);
    assert!(texts(&example.path().join("own/drawings")).iter().any(|text| text.starts_with("18.02 ± 0.34")));
}
