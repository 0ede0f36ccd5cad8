//! A comparison as a page: what moved, as arrows over the places of A, and what else changed beyond what uncertainty explains.

use super::report::{chance, is_changed};
use super::{Change, Comparison};
use crate::geodesy::crs::{Crs, CrsKind};
use crate::numeric::words::counted;
use crate::output::numbers::fixed;
use crate::output::page::good::figure;
use crate::output::page::sheet::{Sheet, list};
use crate::output::page::shell::PagePart;
use crate::output::page::table::{Table, TableCell};
use crate::output::page::vectors::{self, MapVector};
use crate::units::{Shown, Units};

/// Rows that a table lists.
const MOST_ROWS: usize = 2_000;
/// Names that a list has.
const MOST_NAMES: usize = 200;
/// Decimals of lengths.
const DECIMALS: i32 = 3;
/// Metres in a degree of latitude, to draw by.
const DEGREE_M: f64 = 111_195.0;

/// The page; `writes_all` says what writes all rows of a table that is too long for it.
pub fn html(found: &Comparison, units: Units, writes_all: &str) -> String {
    let count = |mark: fn(&Change) -> bool| found.changes.iter().filter(|change| mark(change)).count();
    let changed = count(is_changed);
    let times = |side: &super::Mapping| match (&side.first_time, &side.last_time) {
        (Some(first), Some(last)) => format!(" (shot {first} to {last})"),
        _ => String::new(),
    };
    let part = |id, title, html| PagePart { id, title, html };
    Sheet {
        title: format!("{} and {} compared", found.a.file, found.b.file),
        lead: vec![
            format!(
                "{} in both: {changed} changed, {} without significant change, {} not tested.",
                counted(found.changes.len() as u64, "feature", "features"),
                count(|change| change.mark == "no significant change"),
                count(|change| change.mark == "not tested")
            ),
            format!(
                "A: {}, {}{}. B: {}, {}{}. Differences are B minus A, on the ground, east and north true.",
                found.a.file,
                counted(found.a.points as u64, "point", "points"),
                times(&found.a),
                found.b.file,
                counted(found.b.points as u64, "point", "points"),
                times(&found.b)
            ),
        ],
        parts: vec![
            part("changes", "Features", features(found, units.length(), writes_all)),
            part("values", "Measured values", values(found, &units)),
            part("alone", "In one mapping alone", alone(found)),
            part("notes", "How it was done", notes(found)),
        ],
        caution: found.assumption.to_owned(),
    }
    .html()
}

fn features(found: &Comparison, length: Shown, writes_all: &str) -> String {
    let mut html = arrows(found, length).map(|(svg, words)| figure(&svg, &words)).unwrap_or_default();
    let mut table = Table::new("features", "Features, those that changed first")
        .text("name")
        .text("code")
        .text("change")
        .number("east", length.sign)
        .number("north", length.sign)
        .number("horizontally", length.sign)
        .number("up", length.sign)
        .number("p, place", "")
        .number("p, height", "");
    let shown = |value: Option<f64>| TableCell::from(value.map(|value| fixed(length.value(value), DECIMALS)).unwrap_or_default());
    let (first, rest): (Vec<&Change>, Vec<&Change>) = found.changes.iter().partition(|change| is_changed(change));
    for change in first.into_iter().chain(rest).take(MOST_ROWS) {
        table.row(vec![
            TableCell::from(change.feature.as_str()),
            TableCell::from(change.code.as_deref().unwrap_or_default()),
            TableCell::from(change.mark),
            shown(Some(change.east_m)),
            shown(Some(change.north_m)),
            shown(Some(change.horizontal_m)),
            shown(change.up_m),
            TableCell::from(chance(change.corrected_horizontal)),
            TableCell::from(chance(change.corrected_vertical)),
        ]);
        if let Some(row) = table.rows.last_mut() {
            row.warned = is_changed(change);
        }
    }
    table.note = format!(
        "p: probability of so great a difference where nothing changed, after {}'s correction for all tests.",
        found.correction
    );
    if found.changes.len() > MOST_ROWS {
        table.note.push_str(&format!(" The first {MOST_ROWS} of {}; {writes_all}.", found.changes.len()));
    }
    if !table.rows.is_empty() {
        html.push_str(&table.without_empty_columns().html());
    }
    html
}

fn arrows(found: &Comparison, length: Shown) -> Option<(String, String)> {
    let crs = Crs::new(&found.crs_wkt).ok()?;
    let middle = found.changes.first()?.ends[0];
    let metres = match crs.kind() {
        CrsKind::Projected => [crs.unit_factor(); 2],
        _ => [DEGREE_M * middle[1].to_radians().cos(), DEGREE_M],
    };
    let vectors: Vec<MapVector> = found
        .changes
        .iter()
        .map(|change| MapVector {
            name: change.feature.clone(),
            at_m: [0, 1].map(|axis| (change.ends[0][axis] - middle[axis]) * metres[axis]),
            by_m: [change.east_m, change.north_m],
            marked: is_changed(change),
        })
        .collect();
    vectors::drawing(&vectors, length, "Differences of the features as arrows", "Horizontal differences, B minus A")
}

fn values(found: &Comparison, units: &Units) -> String {
    let mut table = Table::new("values", "Measured values, in the unit behind their name")
        .text("measure")
        .text("name")
        .text("value")
        .number("A", "")
        .number("B", "")
        .number("B − A", "")
        .number("standard error", "")
        .number("p", "")
        .text("change");
    for value in found.values.iter().take(MOST_ROWS) {
        let shown = |number: f64| TableCell::from(fixed(units.value(&value.quantity, number), DECIMALS));
        table.row(vec![
            TableCell::from(value.measure.as_str()),
            TableCell::from(value.name.as_str()),
            TableCell::from(units.name(&value.quantity)),
            shown(value.a),
            shown(value.b),
            shown(value.difference),
            value.sigma.map_or(TableCell::from("not known"), shown),
            TableCell::from(chance(value.corrected)),
            TableCell::from(value.mark),
        ]);
        if let Some(row) = table.rows.last_mut() {
            row.warned = !matches!(value.mark, "no significant change" | "not tested");
        }
    }
    if table.rows.is_empty() { String::new() } else { table.html() }
}

fn alone(found: &Comparison) -> String {
    let mut table =
        Table::new("alone-in", "In one mapping, or not to be told apart").text("of").number("number", "").text("names");
    for (title, names) in [
        ("only in A", &found.a.only_here),
        ("only in B", &found.b.only_here),
        ("ambiguous in A", &found.a.ambiguous),
        ("ambiguous in B", &found.b.ambiguous),
        ("values only in A", &found.values_only_a),
        ("values only in B", &found.values_only_b),
    ] {
        if names.is_empty() {
            continue;
        }
        let shown: Vec<&str> = names.iter().take(MOST_NAMES).map(String::as_str).collect();
        let more = if names.len() > MOST_NAMES { format!(", and {} more", names.len() - MOST_NAMES) } else { String::new() };
        table.row(vec![
            TableCell::from(title),
            TableCell::from(names.len().to_string()),
            TableCell::from(format!("{}{more}", shown.join(", "))),
        ]);
    }
    if table.rows.is_empty() { String::new() } else { table.html() }
}

fn notes(found: &Comparison) -> String {
    let tests = format!(
        "{} of positions, heights and measured values at {:.0} % for all of them together, by {}'s correction; points matched {}.",
        counted(found.tests as u64, "test", "tests"),
        100.0 * found.family_level,
        found.correction,
        found.matched_by
    );
    list(std::iter::once(tests).chain(found.notes.iter().cloned()))
}
