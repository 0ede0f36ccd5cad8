//! What people read in units of their own against the same in metres and degrees: terminal and page of every command that has values, number
//! by number, by the exact factors of NIST Special Publication 811 (2008 edition), appendix B: 0.3048 m in a foot, 1200/3937 m in a US survey
//! foot, 0.9° in a gon, and of NIST Handbook 44, appendix C: 43,560 square feet in an acre, 27 cubic feet in a cubic yard. The layers
//! themselves are compared in `values`.
//!
//! Both texts must be the same but for their numbers and units. A number with a unit behind it, or in a column whose head has one, must be
//! that in metres times the factor of the unit, within a unit of the last place of either; any other must be the same, or that by a factor.

use crate::support;

use std::fs;
use std::path::Path;

use serde_json::Value;
use support::*;

const FOOT_M: f64 = 0.3048;
const SURVEY_FOOT_M: f64 = 1200.0 / 3937.0;

/// A set of units: the lines of a job, what they are called, and what a metre, square metre, cubic metre and degree are of them.
struct System {
    job: &'static str,
    options: &'static [&'static str],
    /// Sign and words of lengths, areas, volumes and angles.
    names: [(&'static str, &'static str); 4],
    times: [f64; 4],
}

const FEET: System = System {
    job: "\n[units]\nlength = \"ft\"\nvolume = \"yd3\"\n",
    options: &["--length", "ft"],
    names: [
        ("ft", "international feet (0.3048 m)"),
        ("ft²", "square international feet"),
        ("yd³", "cubic yards of 27 cubic feet"),
        ("deg", "degrees"),
    ],
    times: [1.0 / FOOT_M, 1.0 / (FOOT_M * FOOT_M), 1.0 / (27.0 * FOOT_M * FOOT_M * FOOT_M), 1.0],
};

const SURVEY_FEET: System = System {
    job: "\n[units]\nlength = \"usft\"\narea = \"acre\"\nangle = \"gon\"\n",
    options: &["--length", "usft", "--angle", "gon"],
    names: [
        ("US ft", "US survey feet (1200/3937 m)"),
        ("acres", "acres of 43,560 square feet"),
        ("US ft³", "cubic US survey feet"),
        ("gon", "gons"),
    ],
    times: [
        1.0 / SURVEY_FOOT_M,
        1.0 / (43_560.0 * FOOT_M * FOOT_M),
        1.0 / (SURVEY_FOOT_M * SURVEY_FOOT_M * SURVEY_FOOT_M),
        1.0 / 0.9,
    ],
};

/// Signs and words of the units in which everything is computed.
const METRIC: [(&str, &str); 4] = [("m", "metres"), ("m²", "square metres"), ("m³", "cubic metres"), ("deg", "degrees")];

/// Before a unit of [`METRIC`] that stands for the one of a system.
const SHOWN: char = '≈';

/// The text with the units of the system as those of [`METRIC`] with a sign before them.
fn in_metric_names(text: &str, system: &System) -> String {
    let mut text = text.to_owned();
    let others = || system.names.iter().zip(METRIC).filter(|(shown, metric)| *shown != metric);
    for ((_, words), (_, metric)) in others() {
        text = text.replace(words, &format!("{SHOWN}{}", metric.replace(' ', "_")));
    }
    // The longest sign first: US ft² has US ft in it.
    let mut signs: Vec<(&str, &str)> = others().map(|((sign, _), (metric, _))| (*sign, metric)).collect();
    signs.sort_by_key(|(sign, _)| std::cmp::Reverse(sign.len()));
    for (sign, metric) in signs {
        let is_letter = |c: char| c.is_alphanumeric() || "_-²³".contains(c) || c == SHOWN;
        let mut out = String::new();
        let mut rest = text.as_str();
        while let Some(at) = rest.find(sign) {
            let (before, behind) = (rest[..at].chars().next_back(), rest[at + sign.len()..].chars().next());
            let is_word = !before.is_some_and(is_letter) && !behind.is_some_and(is_letter);
            out += &rest[..at];
            out += &if is_word { format!("{SHOWN}{metric}") } else { sign.to_owned() };
            rest = &rest[at + sign.len()..];
        }
        text = out + rest;
    }
    text
}

/// What is said of the angles of a log, which are in degrees there whatever the crew reads in.
const OF_LOGS: [&str; 4] = [
    "lies between 0 and 360 degrees",
    "is outside 0 to 360 degrees",
    "lies between -90 and 90 degrees",
    "latitude lies within 90 and longitude within 180 degrees",
];

/// Words and numbers of a text.
fn tokens(text: &str) -> Vec<String> {
    let text = OF_LOGS.iter().fold(text.to_owned(), |text, said| text.replace(said, &said.replace(' ', "_")));
    let text = text
        // Wind, in the crew's own words.
        .replace("m/s", "m_per_s")
        .replace('°', " deg ")
        .replace('−', "-")
        .replace("square metres", "square_metres")
        .replace("cubic metres", "cubic_metres");
    let parts = text.split(|c: char| c.is_whitespace() || "(),;:|/\"".contains(c));
    parts.map(|part| part.trim_end_matches('.').to_owned()).filter(|part| !part.is_empty()).collect()
}

fn number(token: &str) -> Option<f64> {
    let is_plain = token.chars().all(|c| c.is_ascii_digit() || "+-.".contains(c));
    is_plain.then(|| token.parse().ok()).flatten()
}

/// The unit that a token is, and whether it is that of the system.
fn unit_of(token: &str) -> Option<(usize, bool)> {
    let (name, is_shown) = token.strip_prefix(SHOWN).map_or((token, false), |name| (name, true));
    let name = name.replace('_', " ");
    METRIC.iter().position(|(sign, words)| *sign == name || *words == name).map(|unit| (unit, is_shown))
}

/// A unit of the last place of a number.
fn place(token: &str) -> f64 {
    match token.split_once('.') {
        Some((_, decimals)) => 10f64.powi(-(decimals.len() as i32)),
        // Tens and hundreds are rounded, too, where two digits are all that is worth saying.
        None => 10f64.powi((token.len() - token.trim_end_matches('0').len()) as i32),
    }
}

fn is_times(metric: &str, shown: &str, factor: f64) -> bool {
    let (Some(a), Some(b)) = (number(metric), number(shown)) else { return false };
    (a * factor - b).abs() <= 1e-9 * b.abs() + place(metric) * factor + place(shown)
}

/// Compares two texts; gives how many numbers are by a factor other than 1.
#[track_caller]
fn same_text(what: &str, metric: &str, shown: &str, system: &System) -> usize {
    let (metric, shown) = (tokens(metric), tokens(&in_metric_names(shown, system)));
    let mut changed = 0;
    for (i, (a, b)) in metric.iter().zip(&shown).enumerate() {
        let around = || {
            let of = |tokens: &[String]| tokens[i.saturating_sub(6)..tokens.len().min(i + 6)].join(" ");
            format!("{what}: \"{}\" and \"{}\"", of(&metric), of(&shown))
        };
        if number(a).is_none() || number(b).is_none() {
            let same_unit = unit_of(a).zip(unit_of(b)).is_some_and(|((one, _), (other, is_shown))| one == other && is_shown);
            assert!(a == b || same_unit, "{}", around());
            continue;
        }
        // The unit behind it; behind a value with its interval, and of a range, that behind the second number.
        let mut next = i + 1;
        while shown.get(next).is_some_and(|word| ["±", "to"].contains(&word.as_str()))
            && shown.get(next + 1).is_some_and(|word| number(word).is_some())
        {
            next += 2;
        }
        match shown.get(next).and_then(|word| unit_of(word)) {
            Some((unit, is_shown)) => {
                let factor = if is_shown { system.times[unit] } else { 1.0 };
                assert!(is_shown || system.times[unit] == 1.0, "a number in metres among those in feet: {}", around());
                assert!(is_times(a, b, factor), "{b} is not {a} by its unit: {}", around());
                changed += usize::from(factor != 1.0);
            }
            None if a == b => {}
            None => {
                let fits = system.times.iter().any(|factor| is_times(a, b, *factor));
                assert!(fits, "{b} is {a} by no factor; {}", around());
                changed += 1;
            }
        }
    }
    assert_eq!(metric.len(), shown.len(), "{what}");
    changed
}

/// Compares what layers say in words; lengths are in `ft` or `usft`, areas and volumes in the square and the cube of it, angles in gons.
#[track_caller]
pub fn same_sentence(what: &str, metric: &str, shown: &str, unit: &str) {
    let (foot_m, names) = match unit {
        "ft" => (FOOT_M, [FEET.names[0], FEET.names[1], ("ft³", "cubic international feet"), SURVEY_FEET.names[3]]),
        _ => (
            SURVEY_FOOT_M,
            [SURVEY_FEET.names[0], ("US ft²", "square US survey feet"), SURVEY_FEET.names[2], SURVEY_FEET.names[3]],
        ),
    };
    // A limit beside the cell of a log is in the log's own unit.
    if metric == shown && metric.contains(" is outside ") {
        return;
    }
    let times = [1.0 / foot_m, 1.0 / (foot_m * foot_m), 1.0 / (foot_m * foot_m * foot_m), 1.0 / 0.9];
    same_text(what, metric, shown, &System { job: "", options: &[], names, times });
}

/// A table of a page: its place, its heads with their units, its rows.
struct Table {
    id: String,
    heads: Vec<(String, String)>,
    rows: Vec<Vec<String>>,
}

/// The text of a piece of HTML.
fn text_of(html: &str) -> String {
    let mut text = String::new();
    for piece in html.split('<') {
        text.push(' ');
        text.push_str(piece.split_once('>').map_or(piece, |(_, text)| text));
    }
    let text = text.replace("&#38;", "&").replace("&amp;", "&").replace("&#60;", "<").replace("&lt;", "<");
    text.replace("&#62;", ">").replace("&gt;", ">").trim().to_owned()
}

/// The page without what is drawn and computed by scripts, and its tables apart from it.
fn read_page(page: &str) -> (String, Vec<Table>) {
    let mut page = page.to_owned();
    let cut = [
        ("<script", "</script>"),
        ("<style", "</style>"),
        ("<svg", "</svg>"),
        ("<pre", "</pre>"),
        ("<details", "</details>"),
        ("Units: ", "ends with."),
        ("Eastings and northings in the unit", "</p>"),
    ];
    for (open, close) in cut {
        while let Some(at) = page.find(open) {
            let end = page[at..].find(close).unwrap() + at + close.len();
            page.replace_range(at..end, " ");
        }
    }
    let mut tables = Vec::new();
    while let Some(at) = page.find("<table") {
        let end = page[at..].find("</table>").unwrap() + at + "</table>".len();
        let html = page[at..end].to_owned();
        let id = page[..at].rsplit("id=\"").next().unwrap().split('"').next().unwrap().to_owned();
        let cells = |html: &str, tag: &str| -> Vec<String> {
            let (open, close) = (format!("<{tag}"), format!("</{tag}>"));
            html.split(&open)
                .skip(1)
                .map(|cell| cell.split_once('>').unwrap().1.split(&close).next().unwrap().to_owned())
                .collect()
        };
        let head = html.split("<thead>").nth(1).unwrap().split("</thead>").next().unwrap();
        let unit = |cell: &String| {
            cell.split("class=\"u\">").nth(1).map_or(String::new(), |unit| unit.split('<').next().unwrap().to_owned())
        };
        let heads = cells(head, "th").iter().map(|cell| (text_of(cell.split("<span").next().unwrap()), unit(cell))).collect();
        let body = html.split("<tbody>").nth(1).unwrap();
        let rows = body.split("<tr").skip(1).map(|row| cells(row, "td").iter().map(|cell| text_of(cell)).collect()).collect();
        tables.push(Table { id, heads, rows });
        page.replace_range(at..end, " ");
    }
    (text_of(&page), tables)
}

/// Tables whose classes are round numbers of the unit that is shown: their rows are others.
const BY_CLASSES: [&str; 1] = ["budget"];

/// Compares two pages; gives how many numbers are by a factor other than 1.
#[track_caller]
fn same_page(what: &str, metric: &str, shown: &str, system: &System) -> usize {
    let ((text, tables), (shown_text, shown_tables)) = (read_page(metric), read_page(shown));
    let mut changed = same_text(what, &text, &shown_text, system);
    let ids = |tables: &[Table]| tables.iter().map(|table| table.id.clone()).collect::<Vec<_>>();
    assert_eq!(ids(&tables), ids(&shown_tables), "{what}");
    for (table, other) in tables.iter().zip(&shown_tables).filter(|(table, _)| !BY_CLASSES.contains(&table.id.as_str())) {
        let what = format!("{what}, table {}", table.id);
        assert_eq!(table.rows.len(), other.rows.len(), "{what}");
        assert_eq!(table.heads.len(), other.heads.len(), "{what}");
        for (k, ((title, unit), (other_title, other_unit))) in table.heads.iter().zip(&other.heads).enumerate() {
            let of = METRIC.iter().position(|(sign, _)| sign == unit || (*sign == "deg" && unit == "°"));
            assert_eq!(title, other_title, "{what}");
            // Eastings and northings stay in the unit of the CRS, latitudes and longitudes in degrees.
            let is_place = ["easting", "northing", "latitude", "longitude"].contains(&title.as_str());
            let of = of.filter(|_| !is_place);
            let sign = |unit: &str| if unit == "deg" { "°".to_owned() } else { unit.to_owned() };
            let want = of.map_or(unit.clone(), |unit| sign(system.names[unit].0));
            assert_eq!(*other_unit, want, "{what}: unit of {title}");
            for (row, other) in table.rows.iter().zip(&other.rows) {
                match of {
                    None => changed += same_text(&format!("{what}, {title}"), &row[k], &other[k], system),
                    Some(unit) => {
                        let (a, b) = (tokens(&row[k]), tokens(&other[k]));
                        assert_eq!(a.len(), b.len(), "{what}, {title}: {a:?} {b:?}");
                        for (a, b) in a.iter().zip(&b) {
                            match number(a).is_some() {
                                true => assert!(is_times(a, b, system.times[unit]), "{what}, {title}: {a} and {b}"),
                                false => assert_eq!(a, b, "{what}, {title}"),
                            }
                            changed += usize::from(number(a).is_some() && system.times[unit] != 1.0);
                        }
                    }
                }
            }
        }
    }
    changed
}

fn example(folder: &str, more: &str) -> tempfile::TempDir {
    let copied = tempfile::tempdir().unwrap();
    copy(&Path::new(env!("CARGO_MANIFEST_DIR")).join("examples").join(folder), copied.path());
    let job = copied.path().join("job.toml");
    fs::write(&job, read(&job) + more).unwrap();
    copied
}

/// The summary without what depends on the bytes of files and on the names of fields.
fn plain_summary(path: &Path) -> Value {
    let mut summary = json(path);
    for key in ["outputs", "seal", "units"] {
        summary.as_object_mut().unwrap().remove(key);
    }
    summary
}

/// Compares what `map` and `check` say and write.
fn job_in(folder: &str, system: &System) {
    let (metric, shown) = (example(folder, ""), example(folder, system.job));
    let said = |folder: &Path, arguments: &[&str]| {
        let ran = standoff(folder, arguments);
        assert!(matches!(ran.status, Some(0)), "{arguments:?}: {}", ran.err);
        let lines = ran.out.lines().filter(|line| !line.starts_with("units "));
        lines.map(|line| format!("{line}\n")).collect::<String>()
    };
    let mut changed = 0;
    for arguments in
        [&["check", "job.toml"][..], &["check", "job.toml", "--bases"], &["map", "job.toml", "--out", "out", "--values"]]
    {
        let (a, b) = (said(metric.path(), arguments), said(shown.path(), arguments));
        changed += same_text(&format!("{folder}: {arguments:?}"), &a, &b, system);
    }
    let page = |folder: &Path| {
        let name = names(&folder.join("out")).into_iter().find(|name| name.ends_with(".report.html")).unwrap();
        read(&folder.join("out").join(name))
    };
    changed += same_page(&format!("{folder}: page"), &page(metric.path()), &page(shown.path()), system);
    assert!(changed > 60, "{folder}: only {changed} numbers are in another unit");
}

#[test]
fn jobs_in_feet() {
    ["forest-plot", "span-survey"].into_iter().for_each(|folder| job_in(folder, &FEET));
}

#[test]
fn jobs_in_survey_feet_acres_and_gons() {
    ["cliff-nests", "canopy-traverse", "rural-line"].into_iter().for_each(|folder| job_in(folder, &SURVEY_FEET));
}

#[test]
fn plans() {
    let folder = tempfile::tempdir().unwrap();
    let arguments = [
        "plan",
        "--tolerance",
        "6.5",
        "--height-tolerance",
        "4",
        "--object-height",
        "20",
        "--sigma-base",
        "0.8",
        "--sigma-base-height",
        "0.7",
        "--distances",
        "10,37.5,240",
        "--inclinations=-20,0,35",
    ];
    for system in [&FEET, &SURVEY_FEET] {
        let run = |more: &[&str]| {
            let ran = standoff(folder.path(), &[&arguments[..], more, &["--report", "plan.html"]].concat()).exits(0);
            (ran.out, read(&folder.path().join("plan.html")))
        };
        let ((text, page), (shown, shown_page)) = (run(&[]), run(system.options));
        let changed = same_text("plan", &text, &shown, system) + same_page("page of a plan", &page, &shown_page, system);
        assert!(changed > 60, "only {changed} numbers");
        // The numbers of the table have no unit behind them: each is by the factor of lengths.
        let table = |text: &str| -> Vec<f64> {
            let lines = text.lines().skip_while(|line| !line.starts_with("95 % uncertainty")).skip(2).take(3);
            let cells = lines.flat_map(|line| line.split_whitespace().skip(2).filter_map(|word| word.parse().ok()));
            cells.collect()
        };
        let shown = shown.replace("US ft", "US_ft");
        let (m, ft) = (table(&text), table(&shown));
        assert_eq!((m.len(), ft.len()), (18, 18));
        for (m, ft) in m.iter().zip(&ft) {
            assert!((m * system.times[0] - ft).abs() <= 0.005 * (1.0 + system.times[0]) + 1e-9, "{m} {ft}");
        }
        // JSON is the same in any unit.
        let json = |more: &[&str]| standoff(folder.path(), &[&arguments[..], more, &["--json"]].concat()).exits(0).out;
        assert_eq!(json(&[]), json(system.options));
    }
}

/// The same curve in the chart of a plan, whose axes have round numbers of their own: its end over the unit of the axis.
#[test]
fn the_chart_of_a_plan_counts_in_feet() {
    let folder = tempfile::tempdir().unwrap();
    let chart = |more: &[&str]| {
        standoff(folder.path(), &[&["plan", "--distances", "100", "--inclinations", "0", "--svg", "plan.svg"], more].concat())
            .exits(0);
        read(&folder.path().join("plan.svg"))
    };
    let svg = chart(&["--length", "ft"]);
    assert!(
        svg.contains(">slope distance, ft</text>") && svg.contains(">95 % uncertainty, ft</text>") && !svg.contains(", m</text>")
    );
    // 100 m are 328 ft: the axis goes to 350 ft, or 106.68 m, where the plan itself gives the radius.
    let json: Value = serde_json::from_str(
        &standoff(folder.path(), &["plan", "--distances", "350ft", "--inclinations", "0", "--json"]).exits(0).out,
    )
    .unwrap();
    let radius_ft = json["table"][0]["radius95_m"].as_f64().unwrap() / FOOT_M;
    assert!((json["table"][0]["slope_distance_m"].as_f64().unwrap() - 350.0 * FOOT_M).abs() < 1e-9);
    let ticks = |anchor: &str| -> Vec<(f64, f64)> {
        let group = svg.split(&format!("<g text-anchor=\"{anchor}\">")).nth(1).unwrap().split("</g>").next().unwrap();
        let ends = |line: &str, key: &str| -> f64 {
            line.split(&format!("{key}=\"")).nth(1).unwrap().split('"').next().unwrap().parse().unwrap()
        };
        let value = |line: &str| line.split('>').nth(1)?.split('<').next()?.parse::<f64>().ok();
        group.lines().filter_map(|line| Some((value(line)?, ends(line, if anchor == "end" { "y" } else { "x" })))).collect()
    };
    let (x, y) = (ticks("middle"), ticks("end"));
    assert_eq!(x.last().unwrap().0, 350.0, "{x:?}");
    let ((low, at_low), (high, at_high)) = (y[0], *y.last().unwrap());
    let polyline = svg.split("points=\"").nth(1).unwrap().split('"').next().unwrap();
    let end: Vec<f64> = polyline.split(' ').next_back().unwrap().split(',').map(|number| number.parse().unwrap()).collect();
    // Labels stand 5 pixels below their lines.
    let said = low + (end[1] + 5.0 - at_low) / (at_high - at_low) * (high - low);
    // A tenth of a pixel.
    assert!((said - radius_ft).abs() <= (high - low) / (at_low - at_high).abs() * 0.11, "{said} {radius_ft}");
    // What is given in feet is read in feet: 6 ft and 1.8288 m are one.
    let of = |tolerance: &str| -> f64 {
        let ran = standoff(folder.path(), &["plan", "--tolerance", tolerance, "--sigma-base", "0.4", "--json"]).exits(0);
        let plan: Value = serde_json::from_str(&ran.out).unwrap();
        plan["farthest"][0]["farthest_m"].as_f64().unwrap()
    };
    // The rounding of a product; a survey foot is longer by two parts in a million.
    assert!((of("6ft") - of("1.8288")).abs() < 1e-9);
    assert!((of("6usft") - of("6ft")).abs() > 1e-5);
    let ran = standoff(folder.path(), &["plan", "--tolerance", "6yards"]).exits(2);
    assert!(ran.err.contains("\"yards\" is no unit of length here; write m, ft or usft"), "{}", ran.err);
}

#[test]
fn calibrations() {
    let folder = tempfile::tempdir().unwrap();
    let log = "measure,role,slope_distance_m,magnetic_azimuth_deg,inclination_deg\n\
               known_line,,50.12,90.4,0.1\nknown_line,,50.08,90.6,0.2\nknown_line,,50.10,90.5,0.1\nknown_line,,50.11,90.5,0.2\n";
    fs::write(folder.path().join("cal.csv"), log).unwrap();
    let arguments =
        ["calibrate", "cal.csv", "--distance", "50", "--azimuth", "89.75", "--azimuth-north", "magnetic", "--inclination", "0.5"];
    for system in [&FEET, &SURVEY_FEET] {
        let run = |more: &[&str]| {
            let ran = standoff(folder.path(), &[&arguments[..], more, &["--report", "cal.html"]].concat()).exits(0);
            // The lines for the job have their units in their names, and are the same.
            let (text, lines) = ran.out.split_once("[[instrument").unwrap();
            (text.to_owned(), lines.to_owned(), read(&folder.path().join("cal.html")))
        };
        let ((text, lines, page), (shown, shown_lines, shown_page)) = (run(&[]), run(system.options));
        assert_eq!(lines, shown_lines);
        let changed =
            same_text("calibrate", &text, &shown, system) + same_page("page of a calibration", &page, &shown_page, system);
        assert!(changed > 25, "only {changed} numbers");
    }
}

#[test]
fn assessments_and_comparisons() {
    let folder = example("headland-nests", "");
    standoff(folder.path(), &["map", "job.toml", "--out", "one", "--format", "gpkg", "--quiet"]).exits(0);
    let job = folder.path().join("job.toml");
    let turned = read(&job).replacen("[instrument]", "[instrument]\nazimuth_correction_deg = 4", 1);
    assert_ne!(turned, read(&job));
    fs::write(&job, turned).unwrap();
    standoff(folder.path(), &["map", "job.toml", "--out", "two", "--format", "gpkg", "--quiet"]).exits(0);
    let gpkg = |out: &str| {
        format!("{out}/{}", names(&folder.path().join(out)).into_iter().find(|name| name.ends_with(".gpkg")).unwrap())
    };
    let (one, two) = (gpkg("one"), gpkg("two"));
    for arguments in [["assess", &one, "--check", "check.csv"].to_vec(), ["compare", &one, &two].to_vec()] {
        let run = |more: &[&str]| {
            let ran = standoff(folder.path(), &[&arguments[..], more, &["--report", "page.html"]].concat()).exits(0);
            (ran.out, read(&folder.path().join("page.html")))
        };
        let feet = System {
            times: [SURVEY_FEET.times[0], 1.0, 1.0, 1.0],
            names: [SURVEY_FEET.names[0], METRIC[1], METRIC[2], METRIC[3]],
            ..SURVEY_FEET
        };
        let ((text, page), (shown, shown_page)) = (run(&[]), run(&["--length", "usft"]));
        let what = arguments[0];
        let changed = same_text(what, &text, &shown, &feet) + same_page(&format!("page of {what}"), &page, &shown_page, &feet);
        assert!(changed > 40, "{what}: only {changed} numbers");
    }
}

#[test]
fn norths() {
    let folder = tempfile::tempdir().unwrap();
    let arguments = ["north", "--lat", "58.6", "--lon", "-2.9", "--height", "120", "--date", "2026-05-04", "--crs", "EPSG:32630"];
    for system in [&FEET, &SURVEY_FEET] {
        let run = |more: &[&str]| {
            let text = standoff(folder.path(), &[&arguments[..], more].concat()).exits(0).out;
            // The place is in degrees on WGS 84 in any unit; eastings and the scale have none.
            text.replace("58.600000 -2.900000", "the place")
        };
        let changed = same_text("north", &run(&[]), &run(system.options), system);
        assert!(changed >= if system.times[3] == 1.0 { 1 } else { 9 }, "only {changed} numbers");
    }
}

/// No sentence of what a crew reads is written in metres or degrees without asking for its units. What may be: names by which errors are known
/// again in other files, what is said of a number of the log or the job in the log's or the job's own unit, errors of the library's doors,
/// metadata for programs.
#[test]
fn no_sentence_has_a_unit_of_its_own() {
    const MAY: [(&str, &str); 18] = [
        ("field/calibrate/error.rs", "an error that carries its values in metres"),
        ("units/", "the unit itself"),
        ("output/page/map.rs", "the scale bar in metres"),
        ("records/kit.rs", "the name of a calibration, by which two mappings know it again"),
        ("shots/locate.rs", "the name of a declination, likewise"),
        ("network/bad.rs", "an error of the door for networks, whose readings are metres and radians"),
        ("network/check.rs", "a test of that"),
        ("network/start/charts.rs", "a test"),
        ("geodesy/crs/operation.rs", "an operation as PROJ publishes it"),
        ("geodesy/geoid/open.rs", "of the file of a geoid's standard error"),
        ("geodesy/north.rs", "an error of the door for norths"),
        ("output/metadata/", "for catalogues"),
        ("output/layers/cells.rs", "the side of a cell is a key of the catalogue, in its unit"),
        ("output/disclosure/mod.rs", "likewise"),
        ("run/coded.rs", "likewise"),
        ("intake/", "a limit beside the cell of a log, in its unit"),
        ("cli/", "options, in the unit that their help names"),
        ("field/plan/report.rs", "tests"),
    ];
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut folders = vec![root.clone()];
    let (mut wrong, mut looked) = (Vec::new(), 0);
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(&folder).unwrap().map(|entry| entry.unwrap().path()) {
            if entry.is_dir() {
                folders.push(entry);
                continue;
            }
            let name = entry.strip_prefix(&root).unwrap().to_string_lossy().replace('\\', "/");
            if MAY.iter().any(|(file, _)| name.starts_with(file)) || name.contains("tests") {
                continue;
            }
            looked += 1;
            for (number, line) in read(&entry).lines().enumerate().filter(|(_, line)| !line.trim_start().starts_with("//")) {
                for (at, _) in line.match_indices('}') {
                    let behind = &line[at + 1..];
                    let word: String = behind
                        .trim_start_matches(' ')
                        .chars()
                        .take_while(|c| c.is_alphanumeric() || "°²³".contains(*c))
                        .collect();
                    let is_unit = ["m", "m²", "m³", "km", "deg", "°", "degrees", "metres"].contains(&word.as_str());
                    if is_unit && behind.starts_with([' ', '°']) && !behind.starts_with("  ") {
                        wrong.push(format!("{name}:{}: {}", number + 1, line.trim()));
                    }
                }
            }
        }
    }
    assert!(looked > 300, "{looked}");
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// The summary is for programs: metres and degrees, whatever people read.
#[test]
fn the_summary_stays_in_metres() {
    let of = |more: &str| {
        let folder = example("canopy-traverse", more);
        standoff(folder.path(), &["map", "job.toml", "--out", "out", "--format", "gpkg", "--quiet"]).exits(0);
        plain_summary(&folder.path().join("out/summary.json"))
    };
    let (metric, shown) = (of(""), of(SURVEY_FEET.job));
    let mut leaves = 0;
    let mut queue = vec![(String::new(), &metric, &shown)];
    while let Some((path, a, b)) = queue.pop() {
        match (a, b) {
            (Value::Object(a), Value::Object(b)) => {
                a.iter()
                    .for_each(|(key, value)| queue.push((format!("{path}.{key}"), value, b.get(key).unwrap_or(&Value::Null))));
            }
            (Value::Array(a), Value::Array(b)) => {
                a.iter().zip(b).for_each(|(a, b)| queue.push((path.clone(), a, b)));
            }
            (Value::Number(_), _) if path.ends_with(".bytes") => {}
            (Value::Number(_), _) => {
                assert_eq!(a, b, "{path}");
                leaves += 1;
            }
            _ => {}
        }
    }
    assert!(leaves > 50, "{leaves}");
}
