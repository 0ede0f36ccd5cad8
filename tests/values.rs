//! A row for each measured thing, and what a feature is measured for as its attributes: against the long table of measurements, whose
//! values are tested elsewhere against published and independent ones. Units: against the same job in metres by the exact factors of NIST
//! Special Publication 811 (2008), appendix B: 0.3048 m in a foot, 1200/3937 m in a US survey foot, 0.9° in a gon.

use crate::support;

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use support::small::{Record, Small};
use support::*;

/// Half a unit of the fourth decimal, as the tables have it, twice.
const ROUNDED: f64 = 1.001e-4;

/// A file of the output, in whatever folder.
fn found(folder: &Path, name: &str) -> Option<PathBuf> {
    let direct = folder.join(name);
    if direct.is_file() {
        return Some(direct);
    }
    let mut inner = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).filter(|path| path.is_dir());
    inner.find_map(|path| found(&path, name))
}

fn layer(folder: &Path, job: &str, layer: &str) -> Vec<Record> {
    found(folder, &format!("{job}.{layer}.csv")).map(|path| table(&path)).unwrap_or_default()
}

fn number(text: &str) -> Option<f64> {
    (!text.is_empty()).then(|| text.parse().unwrap_or_else(|_| panic!("\"{text}\" is no number")))
}

/// Examples with measurements or strings: folder, name, job.
const MEASURED: [(&str, &str); 5] = [
    ("forest-plot", "velmerholz"),
    ("span-survey", "hollow"),
    ("rural-line", "tarrow"),
    ("heron-lagoon", "lagoon"),
    ("canopy-traverse", "canopy"),
];

fn example(folder: &str, more: &str) -> tempfile::TempDir {
    let copied = tempfile::tempdir().unwrap();
    copy(&Path::new(env!("CARGO_MANIFEST_DIR")).join("examples").join(folder), copied.path());
    let job = copied.path().join("job.toml");
    fs::write(&job, read(&job) + more).unwrap();
    copied
}

fn job_name(folder: &Path) -> String {
    let job = read(&folder.join("job.toml"));
    let line = job.lines().find(|line| line.starts_with("name")).unwrap();
    line.split('"').nth(1).unwrap().to_owned()
}

fn mapped(folder: &str, more: &str) -> (tempfile::TempDir, String, Ran) {
    let copied = example(folder, more);
    let ran = standoff(copied.path(), &["map", "job.toml", "--out", "out", "--format", "csv", "--exact-places"]);
    assert!(matches!(ran.status, Some(0)), "{folder}: {}", ran.err);
    let name = job_name(copied.path());
    (copied, name, ran)
}

#[test]
fn each_thing_has_one_row_with_all_its_values() {
    let mut compared = 0;
    for (folder, _) in MEASURED {
        let (out, name, _) = mapped(folder, "");
        let out = out.path().join("out");
        let values = layer(&out, &name, "values");
        let mut keys: Vec<(&str, &str)> = values.iter().map(|row| (row["measure"].as_str(), row["name"].as_str())).collect();
        let count = keys.len();
        keys.sort_unstable();
        keys.dedup();
        assert_eq!(keys.len(), count, "{folder}: a thing stands twice");
        for long in layer(&out, &name, "measurements").iter().filter(|long| long["target"].is_empty()) {
            let (measure, thing, quantity) = (&long["measure"], &long["name"], &long["quantity"]);
            let row = values.iter().find(|row| row["measure"] == *measure && row["name"] == *thing);
            let row = row.unwrap_or_else(|| panic!("{folder}: {measure} of {thing} has no row"));
            let (stem, unit) = quantity.rsplit_once('_').unwrap_or((quantity, ""));
            let of = |what: &str| match unit {
                "m" | "m2" | "m3" | "deg" | "pct" => format!("{stem}_{what}_{unit}"),
                _ => format!("{quantity}_{what}"),
            };
            let pairs = [("value", quantity.clone()), ("sigma", of("sigma")), ("low95", of("low95")), ("high95", of("high95"))];
            for (field, column) in pairs {
                let cell = row.get(&column).unwrap_or_else(|| panic!("{folder}: no column {column}"));
                let (got, want) = (number(cell), number(&long[field]));
                // Angles have more decimals here than in the long table.
                let same = got.zip(want).map_or(got == want, |(got, want)| (got - want).abs() <= ROUNDED);
                assert!(same, "{folder}: {measure} of {thing}, {column} is {cell}, not {}", long[field]);
                compared += 1;
            }
        }
        // Lines and areas: those of the layers, whichever they are in.
        for row in values.iter().filter(|row| row["measure"] == "line") {
            let sigma = number(&row["length_ellipsoid_sigma_m"]).unwrap();
            let (low, high) =
                (number(&row["length_ellipsoid_low95_m"]).unwrap(), number(&row["length_ellipsoid_high95_m"]).unwrap());
            // The 95 % point of the normal distribution, 1.959964, twice.
            assert!((high - low - 2.0 * 1.959_964 * sigma).abs() < 4.0 * ROUNDED, "{row:?}");
            compared += 1;
        }
    }
    assert!(compared > 80, "only {compared} values were compared");
}

#[test]
fn without_the_csv_layers_the_table_has_what_occurs_and_no_more() {
    let copied = example("forest-plot", "");
    standoff(copied.path(), &["map", "job.toml", "--out", "out", "--format", "gpkg", "--quiet"]).exits(0);
    let rows = table(&copied.path().join("out/velmerholz.values.csv"));
    assert_eq!(rows.len(), 4 + 1 + 1);
    let columns: BTreeSet<&str> = rows[0].keys().map(String::as_str).collect();
    assert!(columns.contains("height_sigma_m") && columns.contains("perimeter_ellipsoid_high95_m"));
    assert!(!columns.contains("lean_deg") && !columns.contains("volume_m3"), "{columns:?}");
    let tree = rows.iter().find(|row| row["name"] == "Q09-026").unwrap();
    assert_eq!((tree["code"].as_str(), tree["bases"].as_str()), ("stem", "Q09/2"));
    // A job without measurements has no such file.
    let plain = example("cliff-nests", "");
    standoff(plain.path(), &["map", "job.toml", "--out", "out", "--quiet"]).exits(0);
    assert!(found(&plain.path().join("out"), "skerrow.values.csv").is_none());
}

const CATALOGUE: &str = r#"
[[codes]]
code = "stem"
title = "Stem"
layer = "stems"
geometry = "point"
[[codes]]
code = "sign"
title = "Sign"
layer = "signs"
geometry = "point"
attributes = ["width_m"]
[attributes.width_m]
type = "real"
"#;

const HEADER: &str = "shot,base,code,feature,role,measure,true_azimuth_deg,inclination_deg,slope_distance_m,width_m\n";

fn small(rows: &str) -> Small {
    let job = Small::new(&format!("{HEADER}{rows}"), "catalogue = \"codes.toml\"", "");
    job.write("codes.toml", CATALOGUE);
    job
}

/// A stem 40 m away, foot 1.5 m under the axis: tan of the inclinations gives the height, 40 (tan 20° + tan 2.1475°) = 16.0588 m.
const HEIGHT: &str = "1,A,stem,T1,foot,height,90,-2.1475,40.028,\n2,A,stem,T1,top,height,90,20,,\n";

#[test]
fn a_height_is_an_attribute_of_the_feature_that_it_is_of() {
    let job = small(&format!("{HEIGHT}3,A,stem,T2,,,180,0,50,\n"));
    job.map();
    let (measured, other) = (job.feature("stems", "T1"), job.feature("stems", "T2"));
    let rise = |degrees: f64| 40.0 * degrees.to_radians().tan();
    let height = number(&measured["height_m"]).unwrap();
    assert!((height - (rise(20.0) + rise(2.1475))).abs() < 0.001, "{height}");
    let row = &job.layer("values")[0];
    assert_eq!(measured["height_m"], row["height_m"]);
    assert_eq!(measured["height_sigma_m"], row["height_sigma_m"]);
    // What was not measured is null, and not 0.
    assert_eq!((other["height_m"].as_str(), other["height_sigma_m"].as_str()), ("", ""));
    // Where nothing is measured the layer has no such field.
    let plain = small("3,A,stem,T2,,,180,0,50,\n");
    plain.map();
    assert!(!plain.feature("stems", "T2").contains_key("height_m"));
}

#[test]
fn a_feature_never_stands_twice_in_its_layer() {
    // Height and width of one stem, and the stem by itself, in every order.
    let width = "4,A,stem,T1,left,width,89,0,,\n5,A,stem,T1,right,width,91,0,,\n6,A,stem,T1,near_face,width,90,-2.1475,39.8,\n";
    let plain = "7,A,stem,T1,,,90.1,-2.1475,40.03,\n";
    let name = |record: &Record| (record["feature"].clone(), record["source_line"].clone());
    for (rows, stands) in [
        (format!("{HEIGHT}{width}"), "2"),
        (format!("{width}{HEIGHT}"), "5"),
        (format!("{HEIGHT}{width}{plain}"), "7"),
        (format!("{plain}{width}{HEIGHT}"), "2"),
        (width.to_owned(), "4"),
    ] {
        let job = small(&rows);
        let summary = job.map();
        let stems: Vec<(String, String)> = job.layer("stems").iter().map(name).collect();
        assert_eq!(stems, [("T1".to_owned(), stands.to_owned())], "{rows}");
        let stem = &job.layer("stems")[0];
        let has = |field: &str| stem.get(field).is_some_and(|value| !value.is_empty());
        assert_eq!(has("height_m"), rows.contains("height"), "{rows}");
        assert_eq!(has("width_m"), rows.contains("left"), "{rows}");
        // Every mapped row has its point all the same.
        let points = job.layer("stems").len() + job.layer("features").len();
        assert_eq!(points as u64, summary["shots"]["mapped"].as_u64().unwrap(), "{rows}");
    }
}

#[test]
fn an_attribute_of_the_catalogue_keeps_its_name() {
    let rows = "1,A,sign,S1,near_face,width,90,0,20,0.61\n2,A,sign,S1,left,width,89,0,,\n3,A,sign,S1,right,width,91,0,,\n";
    let job = small(rows);
    job.map();
    let sign = job.feature("signs", "S1");
    // By the crew's tape 0.61 m; a round thing whose near face is 20 m away and whose edges are sighted 1° to either side has the
    // radius r = 20 sin 1° / (1 − sin 1°).
    assert_eq!(sign["width_m"], "0.61");
    let measured = number(&sign["measured_width_m"]).unwrap();
    let sine = 1f64.to_radians().sin();
    assert!((measured - 2.0 * 20.0 * sine / (1.0 - sine)).abs() < 0.001, "{measured}");
}

#[test]
fn a_volume_is_read_with_its_caution() {
    // A pyramid of 10 m by 10 m and 3 m height: 10 · 10 · 3 / 3 = 100 m³. The axis is 1.5 m over the ground at 0, 0.
    let corners = [("toe", [40.0, -5.0, 0.0]), ("toe", [50.0, -5.0, 0.0]), ("toe", [50.0, 5.0, 0.0]), ("toe", [40.0, 5.0, 0.0])];
    let row = |(k, (role, [e, n, u])): (usize, (&str, [f64; 3]))| {
        let (flat, rise) = (e.hypot(n), u - 1.5);
        let [azimuth, up] = [e.atan2(n).to_degrees(), rise.atan2(flat).to_degrees()];
        format!("{k},A,heap,H1,{role},volume,{azimuth:.6},{up:.6},{:.4},\n", flat.hypot(rise))
    };
    let rows: String = corners.into_iter().chain([("crest", [45.0, 0.0, 3.0])]).enumerate().map(row).collect();
    let job = Small::new(&format!("{HEADER}{rows}"), "", "");
    job.map();
    let heap = job.layer("values").into_iter().find(|row| row["name"] == "H1").unwrap();
    assert!((number(&heap["volume_m3"]).unwrap() - 100.0).abs() < 0.05, "{heap:?}");
    let long = job.layer("measurements");
    assert!(!long.is_empty());
    for row in [&heap].into_iter().chain(&long) {
        assert!(row["caution"].contains("No finding that a heap or a slope stands safely: keep off"), "{row:?}");
    }
    let page = fs::read_to_string(job.folder.path().join("out/cove.report.html")).unwrap();
    assert!(page.contains("stands safely: keep off"), "the page");
    let told = standoff(job.folder.path(), &["check", "job.toml"]).exits(0).out;
    assert_eq!(told.matches("stands safely: keep off").count(), 1, "{told}");
}

/// Factor from a field's metric name to that in feet, and the name; none where the field stays.
fn in_feet(field: &str, foot_m: f64, suffix: &str) -> Option<(String, f64)> {
    let shown = |stem: &str, power: i32| {
        (format!("{stem}_{suffix}{}", if power > 1 { power.to_string() } else { String::new() }), foot_m.powi(-power))
    };
    if let Some(stem) = field.strip_suffix("_m3") {
        return Some(shown(stem, 3));
    }
    if let Some(stem) = field.strip_suffix("_m2") {
        return Some(shown(stem, 2));
    }
    if let Some(stem) = field.strip_suffix("_m") {
        return Some(shown(stem, 1));
    }
    match field {
        "lat_deg" | "lon_deg" => None,
        _ => field.strip_suffix("_deg").map(|stem| (format!("{stem}_gon"), 1.0 / 0.9)),
    }
}

/// Compares two layers field by field; gives how many numbers changed by a factor.
fn compare(what: &str, metric: &[Record], shown: &[Record], foot_m: f64, suffix: &str) -> usize {
    assert_eq!(metric.len(), shown.len(), "{what}");
    let mut changed = 0;
    for (metric, shown) in metric.iter().zip(shown) {
        for (field, value) in metric {
            let by_quantity =
                ["value", "sigma", "low95", "high95"].contains(&field.as_str()).then(|| metric.get("quantity")).flatten();
            if let Some(quantity) = by_quantity {
                let factor = in_feet(quantity, foot_m, suffix).map_or(1.0, |(_, factor)| factor);
                near(what, field, value, &shown[field], factor);
                changed += usize::from(factor != 1.0);
                continue;
            }
            if field == "quantity" {
                let want = in_feet(value, foot_m, suffix).map_or(value.clone(), |(name, _)| name);
                assert_eq!(shown[field], want, "{what}");
                continue;
            }
            match in_feet(field, foot_m, suffix).filter(|(name, _)| shown.contains_key(name)) {
                Some((name, factor)) => {
                    assert!(!shown.contains_key(field), "{what}: {field} and {name} side by side");
                    near(what, &name, value, &shown[&name], factor);
                    changed += 1;
                }
                // Sentences are in the crew's units, too, number by number.
                None if ["warnings", "method", "sentence"].contains(&field.as_str()) => {
                    crate::units_shown::same_sentence(&format!("{what}: {field}"), value, &shown[field], suffix);
                }
                None => assert_eq!(&shown[field], value, "{what}: {field}"),
            }
        }
    }
    changed
}

/// The rounding of both tables: four decimals of lengths, six of angles.
#[track_caller]
fn near(what: &str, field: &str, metric: &str, shown: &str, factor: f64) {
    let (Some(metric), Some(shown)) = (number(metric), number(shown)) else {
        return assert_eq!(metric, shown, "{what}: {field}");
    };
    let within = 0.5e-4 * (factor + 1.0) + 1e-9 * shown.abs();
    assert!(
        (metric * factor - shown).abs() <= within,
        "{what}: {field} is {shown}, not {} ({metric} times {factor})",
        metric * factor
    );
}

#[test]
fn every_number_in_feet_is_that_in_metres_by_the_exact_factor() {
    for (unit, foot_m) in [("ft", 0.3048), ("usft", 1200.0 / 3937.0)] {
        for folder in ["forest-plot", "span-survey", "rural-line"] {
            let more = format!("\n[units]\nlength = \"{unit}\"\nangle = \"gon\"\n");
            let ((metres, name, _), (feet, _, _)) = (mapped(folder, ""), mapped(folder, &more));
            let mut layers = BTreeMap::new();
            for path in [&metres, &feet].map(|folder| folder.path().join("out")) {
                let summary = json(&path.join("summary.json"));
                for known in summary["layers"].as_array().unwrap() {
                    let id = known["name"].as_str().unwrap().to_owned();
                    layers.entry(id.clone()).or_insert_with(Vec::new).push(layer(&path, &name, &id));
                }
            }
            let mut changed = 0;
            for (id, both) in &layers {
                changed += compare(&format!("{folder}, {id}"), &both[0], &both[1], foot_m, unit);
            }
            assert!(changed > 500, "{folder}: only {changed} numbers changed");
        }
    }
}

#[test]
fn the_terminal_says_the_values_in_the_units_of_the_crew() {
    let (_, _, metres) = mapped("forest-plot", "");
    let (_, _, feet) = mapped("forest-plot", "\n[units]\nlength = \"ft\"\narea = \"acre\"\n");
    let line = |ran: &Ran, name: &str| {
        ran.out.lines().find(|line| line.trim_start().starts_with(name)).unwrap_or_else(|| panic!("{}", ran.out)).to_owned()
    };
    assert!(metres.out.contains("height, m") && feet.out.contains("height, ft"), "{}", feet.out);
    let first = |text: &str| -> [f64; 2] {
        let (before, behind) = text.split_once(" ± ").unwrap();
        [before.rsplit(' ').next().unwrap().parse().unwrap(), behind.split_whitespace().next().unwrap().parse().unwrap()]
    };
    for tree in ["Q09-026", "Q09-027", "Q09-028", "Q11-035"] {
        let (m, ft) = (first(&line(&metres, tree)), first(&line(&feet, tree)));
        // Both are rounded, in metres to 0.01 and in feet to 0.1: half a unit of each.
        let within = 0.005 / 0.3048 + 0.05 + 1e-9;
        assert!((m[0] / 0.3048 - ft[0]).abs() <= within && (m[1] / 0.3048 - ft[1]).abs() <= within, "{m:?} {ft:?}");
    }
    let (m2, acres) = (first(&line(&metres, "Q07 edge")), first(&line(&feet, "Q07 edge")));
    // 4046.856 m² in an acre of 43,560 square feet.
    assert!((m2[0] / 4046.856 - acres[0]).abs() < 0.01, "{m2:?} {acres:?}");
    assert!(feet.out.contains("units    international feet (0.3048 m), acres of 43,560 square feet"), "{}", feet.out);
    assert!(!metres.out.contains("units    "));
}

#[test]
fn what_needs_a_decision_stands_last_and_the_most_frequent_first() {
    let (_, _, ran) = mapped("forest-plot", "");
    let lines: Vec<&str> = ran.out.lines().collect();
    let at =
        |start: &str| lines.iter().position(|line| line.starts_with(start)).unwrap_or_else(|| panic!("{start}: {}", ran.out));
    let order =
        ["63 of 85 shots", "reads ", "note ", "Heights", "Needs a decision", "errors ", "CRS ", "height ", "models ", "page "]
            .map(at);
    assert!(order.is_sorted(), "{order:?}");
    let counts: Vec<u64> = lines[at("Needs") + 1..at("errors ")]
        .iter()
        .map(|line| line.split_whitespace().nth(1).unwrap().parse().unwrap())
        .collect();
    assert!(counts.len() > 3 && counts.is_sorted_by(|a, b| a >= b), "{counts:?}");
    // Neither a pipe nor NO_COLOR gets colours; who forces them has them.
    assert!(!ran.out.contains('\u{1b}'));
    let folder = example("forest-plot", "");
    let coloured = |no_color: bool| {
        let mut command = program();
        command.current_dir(folder.path()).args(["check", "job.toml"]);
        match no_color {
            true => command.env("NO_COLOR", "1"),
            false => command.env("CLICOLOR_FORCE", "1"),
        };
        run(command).out.contains('\u{1b}')
    };
    assert!(coloured(false) && !coloured(true));
}

#[test]
fn check_ends_with_the_values_and_all_of_them_are_asked_for_by_name() {
    let rows: String = (0..30)
        .map(|i| {
            format!(
                "{},A,stem,T{i:02},foot,height,{az},-2,{d},\n{},A,stem,T{i:02},top,height,{az},20,,\n",
                2 * i + 1,
                2 * i + 2,
                az = 10 + i,
                d = 40 + i
            )
        })
        .collect();
    let job = small(&rows);
    let lines = |arguments: &[&str]| {
        let ran = standoff(job.folder.path(), arguments).exits(0);
        ran.out.lines().filter(|line| line.trim_start().starts_with('T')).count()
    };
    assert_eq!(lines(&["check", "job.toml"]), 20);
    assert_eq!(lines(&["check", "job.toml", "--values"]), 30);
    assert_eq!(lines(&["map", "job.toml", "--out", "out"]), 20);
    let told = standoff(job.folder.path(), &["check", "job.toml"]).exits(0).out;
    assert!(told.contains("and 10 more; the widest interval: T29, height"), "{told}");
}

/// The style draws ellipses from the fields of the points: twice a semi-axis in metres over the metres of a unit of the grid.
#[test]
fn styles_draw_ellipses_to_scale_from_fields_in_feet() {
    let copied = example("cliff-nests", "\n[units]\nlength = \"ft\"\nangle = \"gon\"\n");
    standoff(copied.path(), &["map", "job.toml", "--out", "out", "--format", "geojson", "--quiet"]).exits(0);
    let style = read(&found(&copied.path().join("out"), "skerrow.features.qml").unwrap());
    let foot = style.split("ellipse_major95_ft&quot; * ").nth(1).unwrap_or_else(|| panic!("no ellipse by ellipse_major95_ft"));
    let factor: f64 = foot.split(' ').next().unwrap().parse().unwrap();
    assert_eq!(factor, 0.3048);
    assert!(style.contains("ellipse_azimuth_gon&quot; * 0.9"));
    assert!(style.contains("ellipsoid height (ft)"));
}
