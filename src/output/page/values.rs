//! The part with the values: a table for each kind of measurement, one row a measured thing; lines, areas, features.

use std::collections::BTreeMap;

use super::collect::Collected;
use super::items::{Measurement, PageFeature, PageLine};
use super::shell::PagePart;
use super::table::{Table, TableCell};
use crate::geodesy::covariance::INTERVAL95;
use crate::numeric::words::grouped;
use crate::output::layers::values::kind_title;
use crate::output::numbers::{by_interval, fixed, plus_minus, two_digits};
use crate::units::Units;

/// Features that the table lists; the others are on the map and in the layers.
const MOST_ROWS: usize = 1_000;

/// Column of the kind of height in the table of features.
const KIND: usize = 6;

/// The part; none where nothing was mapped.
pub fn part(collected: &Collected) -> Option<PagePart> {
    let mut html = String::new();
    for table in measured(collected) {
        html.push_str(&table.html());
    }
    html.push_str(&strings(collected, false).map(|table| table.html()).unwrap_or_default());
    html.push_str(&strings(collected, true).map(|table| table.html()).unwrap_or_default());
    html.push_str(&features(collected).map(|table| table.html()).unwrap_or_default());
    let help = "<p class=\"note\">Each value stands with half of its 95 % interval, and with two digits of that; the layers have all digits.</p>";
    (!html.is_empty()).then(|| PagePart { id: "values", title: "Values", html: format!("{help}{html}") })
}

fn measured(collected: &Collected) -> Vec<Table> {
    let mut kinds: BTreeMap<&str, Vec<&Measurement>> = BTreeMap::new();
    for value in &collected.measurements.kept {
        kinds.entry(&value.measure).or_default().push(value);
    }
    let mut tables = Vec::new();
    for (measure, values) in kinds {
        let (whole, pieces): (Vec<&Measurement>, Vec<&Measurement>) =
            values.into_iter().partition(|value| value.target.is_empty());
        let title = kind_title(measure);
        tables.extend(table_of_kind(collected, &format!("values-{measure}"), &title, &whole, true));
        tables.extend(table_of_kind(collected, &format!("pieces-{measure}"), &format!("{title}: their pieces"), &pieces, false));
    }
    tables
}

/// One row a thing; `whole` of measurements, else of their pieces.
fn table_of_kind(collected: &Collected, id: &str, title: &str, values: &[&Measurement], whole: bool) -> Option<Table> {
    let mut quantities: Vec<&str> = Vec::new();
    let mut things: Vec<(&str, &str)> = Vec::new();
    let mut by_thing: BTreeMap<(&str, &str, &str), &Measurement> = BTreeMap::new();
    for value in values {
        if !quantities.contains(&value.quantity.as_str()) {
            quantities.push(&value.quantity);
        }
        let thing = (value.name.as_str(), value.target.as_str());
        if by_thing.insert((thing.0, thing.1, &value.quantity), value).is_none() && things.last() != Some(&thing) {
            things.push(thing);
        }
    }
    let mut seen = std::collections::BTreeSet::new();
    things.retain(|thing| seen.insert(*thing));
    let length = collected.units.length();
    let mut table = Table::new(id, title).text("name").text("of");
    for name in &quantities {
        let (title, unit) = collected.units.title(name);
        table = table.number(&title, unit);
    }
    table = table.number("your threshold", length.sign).text("against it").text("base").text("time").text("source");
    let mut notes: Vec<String> = Vec::new();
    for thing in &things {
        let of_thing = || quantities.iter().filter_map(|name| by_thing.get(&(thing.0, thing.1, *name)).copied());
        let Some(first) = of_thing().next() else { continue };
        let mut cells = vec![TableCell::from(thing.0), TableCell::from(thing.1)];
        cells.extend(quantities.iter().map(|name| match by_thing.get(&(thing.0, thing.1, *name)) {
            Some(value) => TableCell::from(said(value, &collected.units)),
            None => TableCell::from(""),
        }));
        let threshold = of_thing().find(|value| value.threshold_m.is_finite());
        cells.push(TableCell::from(threshold.map(|value| fixed(length.value(value.threshold_m), 2)).unwrap_or_default()));
        cells.push(TableCell::from(threshold.map(|value| value.against_threshold.as_str()).unwrap_or_default()));
        cells.push(TableCell::from(first.bases.as_str()));
        cells.push(TableCell::from(first.time.as_str()));
        cells.push(TableCell::from(format!("{}:{}", first.file, first.line)));
        table.row(cells);
        if whole {
            if let Some(row) = table.rows.last_mut() {
                row.warned = !first.warnings.is_empty();
            }
            notes.extend((!first.method.is_empty()).then(|| words_of(first)));
        }
    }
    if whole {
        table.remarks = notes;
        let mut said: Vec<&str> = values.iter().flat_map(|value| [value.conditions.as_str(), value.caution.as_str()]).collect();
        said.retain(|text| !text.is_empty());
        let mut seen = std::collections::BTreeSet::new();
        said.retain(|text| seen.insert(*text));
        let sentences: Vec<String> = said.iter().map(|text| super::todo::sentence(text)).collect();
        table.note = super::table::clean(&sentences.join(" "));
    }
    if collected.measurements.is_part() {
        table.note.push_str(" More than this page shows: the measurements layer has them all.");
    }
    (!table.rows.is_empty()).then(|| table.without_empty_columns())
}

/// A value with its interval; a count without decimals.
fn said(value: &Measurement, units: &Units) -> String {
    let is_count = units.title(&value.quantity).1.is_empty() && value.value.fract() == 0.0;
    let shown = |of: f64| units.value(&value.quantity, of);
    if is_count { fixed(value.value, 0) } else { plus_minus(shown(value.value), shown(value.half95)) }
}

/// How a thing was measured, and what is to be read with a warning.
fn words_of(value: &Measurement) -> String {
    let how = super::todo::sentence(&value.method);
    super::table::clean(&format!("{}: {how} {}", value.name, value.warnings)).trim().to_owned()
}

fn strings(collected: &Collected, areas: bool) -> Option<Table> {
    let share = if areas { &collected.areas } else { &collected.lines };
    let list: Vec<&PageLine> = share.kept.iter().filter(|line| line.length_m.is_finite()).collect();
    let (length, area) = (collected.units.length(), collected.units.area());
    let mut table = match areas {
        true => Table::new("values-areas", "Areas")
            .text("name")
            .text("code")
            .number("area", area.sign)
            .number("perimeter", length.sign),
        false => Table::new("values-lines", "Lines").text("name").text("code").number("length", length.sign),
    };
    table = table.number("vertices", "").text("base").text("note");
    for line in &list {
        let mut cells = vec![TableCell::from(line.name.as_str()), TableCell::from(line.code.as_str())];
        if areas {
            cells.push(TableCell::from(plus_minus(area.value(line.area_m2), area.value(INTERVAL95 * line.sigma_area_m2))));
        }
        cells.push(TableCell::from(plus_minus(length.value(line.length_m), length.value(INTERVAL95 * line.sigma_length_m))));
        cells.push(TableCell::from(line.corners.len().saturating_sub(usize::from(areas)).to_string()));
        cells.push(TableCell::from(line.bases.as_str()));
        let flags = line.flags.replace(' ', ", ").replace('_', " ");
        cells.push(TableCell::from([line.warnings.as_str(), flags.as_str()].join(" ").trim()));
        table.row(cells);
    }
    table.note = "Lengths and areas on the ellipsoid.".to_owned();
    (!list.is_empty()).then(|| table.without_empty_columns())
}

fn features(collected: &Collected) -> Option<Table> {
    let kept = &collected.features.kept;
    let length = collected.units.length();
    let (x, y): (&str, &str) = if collected.projected { ("easting", "northing") } else { ("longitude", "latitude") };
    let unit = match (collected.projected, collected.unit_m == 1.0) {
        (false, _) => "°",
        (true, true) => "m",
        (true, false) => "",
    };
    // One kind of height for all stands in the head, several in a column.
    let mut kinds: Vec<&str> =
        kept.iter().filter(|feature| feature.height_m.is_finite()).map(|feature| &*feature.height_kind).collect();
    kinds.sort_unstable();
    kinds.dedup();
    let height = match kinds[..] {
        [kind] => format!("{} height", super::table::clean(kind)),
        _ => "height".to_owned(),
    };
    let mut table = Table::new("values-features", "Features")
        .text("name")
        .text("code")
        .number(x, unit)
        .number(y, unit)
        .number("within (95 %)", length.sign)
        .number(&height, length.sign)
        .text("kind of height")
        .text("base")
        .number("distance", length.sign)
        .number("shots", "")
        .text("source")
        .text("flags");
    for (i, feature) in kept.iter().enumerate().take(MOST_ROWS) {
        let mut cells = cells(collected, i, feature);
        if kinds.len() < 2 {
            cells[KIND] = TableCell::from("");
        }
        table.row(cells);
        if let Some(row) = table.rows.last_mut() {
            row.warned = !feature.flags.is_empty();
        }
    }
    let mut notes = Vec::new();
    if (table.rows.len() as u64) < collected.features.seen {
        notes.push(format!(
            "{} of {} features; the layers have them all.",
            grouped(table.rows.len() as u64),
            grouped(collected.features.seen)
        ));
    }
    if collected.projected && (collected.unit_m != 1.0 || !length.is_same()) {
        notes.push(format!(
            "Eastings and northings in the unit of the layers' CRS ({}), all else in {}.",
            collected.unit_name, length.words
        ));
    }
    if kept.iter().any(|feature| feature.cell_m.is_finite()) {
        notes.push("Places of kept-coarse layers are middles of cells; the exact ones are withheld.".to_owned());
    }
    table.note = notes.join(" ");
    (!kept.is_empty()).then(|| table.without_empty_columns())
}

fn cells(collected: &Collected, i: usize, feature: &PageFeature) -> Vec<TableCell> {
    let code = if feature.code_title.is_empty() { &feature.code } else { &feature.code_title };
    let known = |value: f64, text: String| if value.is_finite() { text } else { String::new() };
    let length = collected.units.length();
    let place = |value: f64| match collected.projected {
        // The middle of a cell of a hundred metres has no decimetres.
        true if feature.cell_m.is_finite() => fixed(value, 0),
        true => by_interval(value, feature.radius95_m / collected.unit_m),
        false => fixed(value, 7),
    };
    let flags = feature.flags.replace(' ', ", ").replace('_', " ");
    vec![
        TableCell::link(&feature.name, format!("f{i}")),
        TableCell::from(&**code),
        TableCell::from(place(feature.at[0])),
        TableCell::from(place(feature.at[1])),
        TableCell::from(known(feature.radius95_m, two_digits(length.value(feature.radius95_m)))),
        TableCell::from(known(feature.height_m, plus_minus(length.value(feature.height_m), length.value(feature.height95_m)))),
        TableCell::from(if feature.height_m.is_finite() { &*feature.height_kind } else { "" }),
        TableCell::from(&*feature.base),
        TableCell::from(known(feature.distance_m, fixed(length.value(feature.distance_m), 2))),
        TableCell::from(if feature.aside > 0 {
            format!("{} + {} aside", feature.used, feature.aside)
        } else {
            feature.used.to_string()
        }),
        TableCell::from(format!("{}:{}", feature.file, feature.line)),
        TableCell::from(flags),
    ]
}
