//! The pages of the other commands: what stands in them, that they ask for nothing, that names in them are text, and their units.

use std::fs;
use std::path::Path;

use serde_json::Value;

use crate::support::*;

/// An example of the repository in a folder of its own, mapped.
fn mapped(folder: &str, name: &str) -> tempfile::TempDir {
    let copied = tempfile::tempdir().unwrap();
    copy(&Path::new(env!("CARGO_MANIFEST_DIR")).join("examples").join(folder), copied.path());
    standoff(copied.path(), &["map", "job.toml", "--out", name, "--format", "gpkg", "--quiet"]).exits(0);
    copied
}

/// A name that a browser would obey.
const HOSTILE: &str = "<img src=x onerror=alert(1)>";

/// A page of a command, which must be the same twice and ask for nothing.
fn page(folder: &Path, arguments: &[&str]) -> String {
    let write = |name: &str| {
        standoff(folder, &[arguments, &["--report", name]].concat()).exits(0);
        read(&folder.join(name))
    };
    let (first, second) = (write("one.html"), write("two.html"));
    assert_eq!(first, second);
    assert!(first.contains("default-src 'none'") && first.trim_end().ends_with("</html>"), "{}", &first[first.len() - 200..]);
    let asks = |what: &str| first.contains(&format!("src=\"{what}")) || first.contains(&format!("href=\"{what}"));
    assert!(!asks("http") && !asks("//") && !first.contains("<img"));
    first
}

/// The cells of a table of a page by its place.
fn rows(page: &str, id: &str) -> Vec<Vec<String>> {
    let table = page.split(&format!("id=\"{id}\"")).nth(1).unwrap_or_else(|| panic!("no table {id}"));
    let body = table.split("<tbody>").nth(1).unwrap().split("</tbody>").next().unwrap();
    let text = |cell: &str| {
        let inner = cell.split_once('>').unwrap().1;
        inner.split("</td>").next().unwrap().to_owned()
    };
    body.split("<tr").skip(1).map(|row| row.split("<td").skip(1).map(text).collect()).collect()
}

/// Check points for the nests, one of them with a hostile name that fits no nest.
fn checks(folder: &Path) {
    let path = folder.join("check.csv");
    let text = read(&path);
    let columns = text.lines().next().unwrap().split(',').count();
    let last = text.lines().last().unwrap().to_owned();
    let hostile = last.split(',').enumerate().map(|(i, cell)| if i == 0 { HOSTILE } else { cell }).collect::<Vec<_>>().join(",");
    assert_eq!(hostile.split(',').count(), columns);
    fs::write(&path, format!("{}\n{hostile}\n", text.trim_end())).unwrap();
}

#[test]
fn an_assessment_shows_each_point_its_arrows_and_whether_the_errors_were_honest() {
    let folder = mapped("headland-nests", "out");
    checks(folder.path());
    let file = folder.path().join("out");
    let gpkg = names(&file).into_iter().find(|name| name.ends_with(".gpkg")).unwrap();
    let arguments = ["assess", &format!("out/{gpkg}"), "--check", "check.csv"];
    let found: Value =
        serde_json::from_str(&standoff(folder.path(), &[&arguments[..], &["--json"]].concat()).exits(0).out).unwrap();
    let page = page(folder.path(), &arguments);
    let errors = found["point_errors"].as_array().unwrap();
    let shown = rows(&page, "points");
    assert_eq!(shown.len(), errors.len());
    for (row, error) in shown.iter().zip(errors) {
        assert_eq!(row[0], error["name"].as_str().unwrap());
        let east: f64 = row[1].parse().unwrap();
        assert!((east - error["east_m"].as_f64().unwrap()).abs() <= 0.000_501, "{row:?}");
    }
    assert!(page.contains("Errors of the check points as arrows") && page.contains("against the normal law"));
    // The hostile name is told as text among what was left out.
    assert!(page.contains("&#60;img") || page.contains("&lt;img"));
    // In feet: 0.3048 m each.
    let feet = self::page(folder.path(), &[&arguments[..], &["--length", "ft"]].concat());
    for (m, ft) in shown.iter().zip(rows(&feet, "points")) {
        let (m, ft): (f64, f64) = (m[2].parse().unwrap(), ft[2].parse().unwrap());
        assert!((m / 0.3048 - ft).abs() <= 0.0005 + 0.0005 / 0.3048 + 1e-9, "{m} {ft}");
    }
    let text = standoff(folder.path(), &[&arguments[..], &["--length", "ft"]].concat()).exits(0).out;
    assert!(text.contains("in international feet (0.3048 m) on the ground"), "{text}");
    // A file that is read is not written over.
    let ran = standoff(folder.path(), &[&arguments[..], &["--report", "check.csv"]].concat());
    assert!(ran.err.contains("is a file that is read"), "{}", ran.err);
}

#[test]
fn a_layer_in_feet_is_assessed_and_compared_as_one_in_metres() {
    let folder = mapped("headland-nests", "metres");
    let job = folder.path().join("job.toml");
    fs::write(&job, read(&job) + "\n[units]\nlength = \"usft\"\nangle = \"gon\"\n").unwrap();
    standoff(folder.path(), &["map", "job.toml", "--out", "feet", "--format", "gpkg", "--format", "shp", "--quiet"]).exits(0);
    let gpkg = |out: &str| {
        let name = names(&folder.path().join(out)).into_iter().find(|name| name.ends_with(".gpkg")).unwrap();
        format!("{out}/{name}")
    };
    let assessed = |file: &str| -> Value {
        let arguments = ["assess", file, "--check", "check.csv", "--json"];
        serde_json::from_str(&standoff(folder.path(), &arguments).exits(0).out).unwrap()
    };
    let (metres, feet) = (assessed(&gpkg("metres")), assessed(&gpkg("feet")));
    let (one, other) = (metres["point_errors"].as_array().unwrap(), feet["point_errors"].as_array().unwrap());
    assert!(one.len() > 5 && one.len() == other.len());
    for (a, b) in one.iter().zip(other) {
        for field in ["east_m", "north_m", "up_m", "square_horizontal", "square_vertical"] {
            let (Some(a), Some(b)) = (a[field].as_f64(), b[field].as_f64()) else {
                assert_eq!(a[field], b[field], "{field}");
                continue;
            };
            assert!((a - b).abs() <= 1e-6 * (1.0 + a.abs()), "{field}: {a} {b}");
        }
        assert!(a["square_horizontal"].is_number());
    }
    // The same mapping twice, once in feet: nothing changed.
    let ran = standoff(folder.path(), &["compare", &gpkg("metres"), &gpkg("feet")]).exits(0);
    assert!(ran.out.contains(": 0 changed, "), "{}", ran.out);
}

#[test]
fn a_comparison_shows_what_moved() {
    let folder = mapped("cliff-nests", "one");
    // The second crew's compass is 20° off: everything moves.
    let job = folder.path().join("job.toml");
    let text = read(&job);
    let turned = text.replacen("[instrument]", "[instrument]\nazimuth_correction_deg = 20", 1);
    assert_ne!(text, turned);
    fs::write(&job, turned).unwrap();
    standoff(folder.path(), &["map", "job.toml", "--out", "two", "--format", "gpkg", "--quiet"]).exits(0);
    let arguments = ["compare", "one/skerrow.gpkg", "two/skerrow.gpkg"];
    let found: Value =
        serde_json::from_str(&standoff(folder.path(), &[&arguments[..], &["--json"]].concat()).exits(0).out).unwrap();
    let page = page(folder.path(), &arguments);
    let changes = found["changes"].as_array().unwrap();
    let moved = changes.iter().filter(|change| change["mark"].as_str().unwrap().starts_with("moved")).count();
    assert!(moved > 10, "{moved} moved");
    let shown = rows(&page, "features");
    assert_eq!(shown.len(), changes.len());
    assert!(page.contains(&format!("{} features in both: {moved} changed", changes.len())));
    assert!(page.contains("Differences of the features as arrows"));
}

#[test]
fn a_calibration_shows_its_readings_and_the_lines_of_the_job() {
    let folder = tempfile::tempdir().unwrap();
    let log = "measure,role,slope_distance_m,magnetic_azimuth_deg,inclination_deg\n\
               known_line,,50.12,90.4,0.1\nknown_line,,50.08,90.6,0.2\nknown_line,,50.10,90.5,0.1\nknown_line,,50.11,90.5,0.2\n";
    fs::write(folder.path().join("cal.csv"), log).unwrap();
    let page = page(folder.path(), &["calibrate", "cal.csv", "--distance", "50.00"]);
    // The mean is 50.1025 m over a line of 50 m.
    let found = rows(&page, "found");
    assert_eq!(found.iter().map(|row| row[0].as_str()).collect::<Vec<_>>(), ["distance"]);
    let correction: f64 = found[0][1].parse().unwrap();
    assert!((correction + 0.1025).abs() < 0.0006, "{correction}");
    assert_eq!(rows(&page, "readings-0").len(), 4);
    assert!(page.contains("[[instrument.calibrations]]") && page.contains("Residuals of distance"));
}

#[test]
fn a_plan_shows_its_chart_and_the_table_behind_it() {
    let folder = tempfile::tempdir().unwrap();
    let arguments = ["plan", "--tolerance", "2", "--object-height", "20", "--distances", "10,25,50,100,200,500"];
    let plan: Value =
        serde_json::from_str(&standoff(folder.path(), &[&arguments[..], &["--json"]].concat()).exits(0).out).unwrap();
    let page = page(folder.path(), &arguments);
    let shown = rows(&page, "expected");
    let table = plan["table"].as_array().unwrap();
    assert_eq!(shown.len(), table.len());
    let feet = rows(&self::page(folder.path(), &[&arguments[..], &["--length", "usft"]].concat()), "expected");
    for ((m, ft), cell) in shown.iter().zip(&feet).zip(table) {
        let radius = cell["radius95_m"].as_f64().unwrap();
        assert!((m[2].parse::<f64>().unwrap() - radius).abs() <= 0.005_001, "{m:?}");
        assert!((ft[2].parse::<f64>().unwrap() - radius * 3937.0 / 1200.0).abs() <= 0.005_001, "{ft:?}");
    }
    assert!(page.contains("<svg") && page.contains("measured best from"));
}
