//! The part that says how it was done: models, operations, versions, inputs, and a paragraph ready to paste.

use super::collect::Collected;
use super::heading::days;
use super::shell::PagePart;
use super::svg::escaped;
use super::table::{Table, TableCell, clean};
use crate::numeric::words::grouped;
use crate::output::contract::Account;
use crate::output::numbers::two_digits;
use crate::output::report::summary::software;
use crate::units::Shown;

/// The part.
pub fn part(collected: &Collected, account: &Account) -> PagePart {
    let length = collected.units.length();
    let mut html = format!(
        "<p class=\"note\">A paragraph for a report:</p><blockquote><p>{}</p></blockquote>",
        escaped(&paragraph(collected, account))
    );
    if !account.notes.is_empty() {
        html.push_str("<h3>Assumptions and notes</h3><ul class=\"plain\">");
        account.notes.iter().for_each(|note| html.push_str(&format!("<li>{}</li>", escaped(note))));
        html.push_str("</ul>");
    }
    if let Some(fit) = &account.local_fit {
        html.push_str("<h3>The fit of the local frame</h3><ul class=\"plain\">");
        fit.lines(&collected.units).iter().for_each(|line| html.push_str(&format!("<li>{}</li>", escaped(line))));
        html.push_str("</ul>");
    }
    html.push_str(&models(account, &length).map(|table| table.html()).unwrap_or_default());
    html.push_str(&operations(account, &length).map(|table| table.html()).unwrap_or_default());
    html.push_str(&inputs(account).html());
    html.push_str(&versions().html());
    PagePart { id: "method", title: "How it was done", html }
}

fn paragraph(collected: &Collected, account: &Account) -> String {
    let length = collected.units.length();
    let when = days(collected);
    let when = if when.is_empty() { String::new() } else { format!(" on {when}") };
    let mut text = format!(
        "The features were shot with a laser rangefinder from GNSS positions{when}. Each shot (azimuth, inclination, distance) was reduced in a \
         local frame on the ellipsoid at its base, without plane approximation, and brought to {}",
        clean(&account.crs)
    );
    if !account.magnetic_models.is_empty() {
        text.push_str(&format!("; magnetic azimuths were corrected by {}", account.magnetic_models.join(" and ")));
    }
    if !account.geoids.is_empty() {
        let named: Vec<String> = account
            .geoids
            .iter()
            .map(|geoid| {
                let sigma = two_digits(length.value(geoid.sigma_m));
                format!("{} (standard error {sigma} {})", clean(&geoid.name), length.sign)
            })
            .collect();
        text.push_str(&format!("; ellipsoidal and orthometric heights are joined by {}", named.join(" and ")));
    }
    text.push_str(
        ". Uncertainties are propagated from the standard errors of base, direction and distance; stated intervals and ellipses are \
         of 95 % probability.",
    );
    if account.network.is_some() {
        text.push_str(" Redundant shots were adjusted together by least squares.");
    }
    text.push_str(&format!(
        " Of {} shots read {} are mapped as features and {} were set aside. Software: standoff {}. Mapping grade; no licensed survey.",
        grouped(account.shots.read),
        grouped(account.shots.mapped),
        grouped(account.shots.held_total()),
        env!("CARGO_PKG_VERSION")
    ));
    text
}

fn models(account: &Account, length: &Shown) -> Option<Table> {
    let mut table = Table::new("models", "Models").text("of").text("model").number("standard error", length.sign).text("SHA-256");
    for model in &account.magnetic_models {
        table.row(vec!["the magnetic field".into(), (*model).into(), "".into(), "".into()]);
    }
    for geoid in &account.geoids {
        table.row(vec![
            "the geoid".into(),
            geoid.name.as_str().into(),
            two_digits(length.value(geoid.sigma_m)).into(),
            geoid.sha256.as_deref().unwrap_or_default().into(),
        ]);
    }
    (!table.rows.is_empty()).then(|| table.without_empty_columns())
}

fn operations(account: &Account, length: &Shown) -> Option<Table> {
    let mut table = Table::new("operations", "Transformations between reference systems")
        .text("from")
        .text("to")
        .text("operation")
        .number("accuracy", length.sign)
        .text("note");
    for operation in account.operations.iter().map(|used| &used.operation) {
        let mut notes = Vec::new();
        if operation.ballpark {
            notes.push("null step: off by an unknown amount, allowed by the job".to_owned());
        }
        if operation.null_within_accuracy {
            notes.push("moves nothing: the two datums are taken as one within this accuracy".to_owned());
        }
        if !operation.grids.is_empty() {
            notes.push(format!("grids {}", operation.grids.join(", ")));
        }
        if let Some(passed) = &operation.passed_over {
            notes.push(format!("passed over: {passed}"));
        }
        table.row(vec![
            TableCell::from(operation.from.as_str()),
            TableCell::from(operation.to.as_str()),
            TableCell::from(operation.name.as_str()),
            TableCell::from(match operation.accuracy_m {
                Some(metres) if metres > 0.0 => two_digits(length.value(metres)),
                Some(_) => "exact".to_owned(),
                None => "not published".to_owned(),
            }),
            TableCell::from(notes.join("; ")),
        ]);
    }
    (!table.rows.is_empty()).then(|| table.without_empty_columns())
}

fn inputs(account: &Account) -> Table {
    let mut table = Table::new("inputs", "Logs")
        .text("file")
        .text("of")
        .number("rows", "")
        .number("mapped or used", "")
        .number("joined", "")
        .number("in measurements", "")
        .number("held", "")
        .number("outside occupations", "")
        .text("SHA-256");
    for file in &account.files {
        let counts = &file.counts;
        let some = |count: u64| if count == 0 { String::new() } else { grouped(count) };
        table.row(vec![
            TableCell::from(file.name.as_str()),
            TableCell::from(if file.is_bases { "bases" } else { "shots" }),
            TableCell::from(grouped(counts.read)),
            TableCell::from(grouped(counts.mapped)),
            TableCell::from(some(counts.repeats)),
            TableCell::from(some(counts.composed)),
            TableCell::from(some(counts.held_total())),
            TableCell::from(some(counts.outside_occupations)),
            TableCell::from(file.sha256.as_str()),
        ]);
    }
    table.note = "Every row is in one place: mapped, joined in a feature with others, part of a measurement, held, or outside occupations.".to_owned();
    table.without_empty_columns()
}

fn versions() -> Table {
    let mut table = Table::new("software", "Software").text("what").text("version");
    for (name, version) in software() {
        table.row(vec![name.into(), version.into()]);
    }
    table
}
