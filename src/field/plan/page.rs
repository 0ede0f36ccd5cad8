//! A plan as a page: the chart of standoff, the table behind it, and what to improve.

use super::errors::Origin;
use super::report::{Report, Request};
use super::{Axis, chart};
use crate::output::numbers::fixed;
use crate::output::page::good::figure;
use crate::output::page::sheet::{Sheet, list};
use crate::output::page::shell::Part;
use crate::output::page::table::{Cell, Table};
use crate::units::Units;

/// The page.
pub fn html(request: &Request, report: &Report, units: Units) -> String {
    let part = |id, title, html| Part { id, title, html };
    let words =
        "Half of the 95 % interval over slope distance, in metres; inclinations are told by dashes, a tolerance is a thin line.";
    let chart = figure(&chart::svg(request), words);
    let told: Vec<String> = report.dominance.iter().map(|of| format!("{}: {}", of.axis.word(), of.sentence())).collect();
    Sheet {
        title: report.title.clone().unwrap_or_else(|| "What to expect in the field".to_owned()),
        lead: vec![
            "What an instrument and a receiver can be expected to give, at 95 % probability, over distance and inclination."
                .to_owned(),
            match units.length().is_same() {
                true => "Lengths in metres.".to_owned(),
                false => format!("The table is in {}; the chart and the sentences are in metres.", units.length().words),
            },
        ],
        parts: vec![
            part("chart", "Uncertainty over distance", format!("{chart}{}", table(report, units).html())),
            part("farthest", "How far to stand off", farthest(report)),
            part("improve", "What dominates, and what to improve", list(told)),
            part("errors", "Standard errors", errors(report)),
        ],
        caution: report.cautions.join(" "),
    }
    .html()
}

fn table(report: &Report, units: Units) -> Table {
    let length = units.length();
    let mut table = Table::new("expected", "Expected, at 95 % probability")
        .number("slope distance", length.sign)
        .number("inclination", "°")
        .number("place within", length.sign)
        .number("height ±", length.sign)
        .number("base, of the place", "%")
        .number("direction", "%")
        .number("distance", "%");
    let shown = |value: f64, decimals| Cell::from(fixed(length.value(value), decimals));
    let percent = |share: f64| Cell::from(fixed(100.0 * share, 0));
    for cell in &report.table {
        table.row(vec![
            shown(cell.slope_distance_m, 1),
            Cell::from(fixed(cell.inclination_deg, 0)),
            shown(cell.radius95_m, 2),
            shown(cell.height95_m, 2),
            percent(cell.horizontal_shares.base),
            percent(cell.horizontal_shares.direction),
            percent(cell.horizontal_shares.distance),
        ]);
    }
    table
}

fn farthest(report: &Report) -> String {
    let mut table = Table::new("standoff", "Farthest slope distance within a tolerance")
        .text("tolerance")
        .number("inclination", "°")
        .text("farthest");
    for standoff in &report.farthest {
        let of = match standoff.axis {
            Axis::Horizontal => "place",
            Axis::Vertical => "height",
        };
        table.row(vec![
            Cell::from(format!("{of} within {} m", standoff.tolerance_m)),
            Cell::from(fixed(standoff.inclination_deg, 0)),
            Cell::from(standoff.words(report.errors.greatest_distance_m)),
        ]);
    }
    let mut html = if table.rows.is_empty() { String::new() } else { table.html() };
    if let Some(plan) = &report.height_measurement {
        let within = match (plan.tolerance_m, plan.within_m) {
            (Some(tolerance_m), Some([near_m, far_m])) => format!(" {tolerance_m} m is met from {near_m:.0} m to {far_m:.0} m."),
            (Some(tolerance_m), None) => format!(" {tolerance_m} m is met from nowhere."),
            _ => String::new(),
        };
        html.push_str(&list([format!(
            "The height of an object of {} m by a distance and two inclinations is measured best from {:.0} m: to {:.2} m at 95 %.{within}",
            plan.object.object_height_m, plan.standoff_m, plan.error95_m
        )]));
    }
    html
}

fn errors(report: &Report) -> String {
    let mut table =
        Table::new("sigmas", "What was planned with").text("of").number("standard error", "").text("unit").text("from");
    for (name, sigma, unit) in report.errors.listed() {
        let origin = match sigma.origin {
            Origin::Given => "given",
            Origin::Job => "the job",
            Origin::Assumed => "assumed",
        };
        table.row(vec![Cell::from(name), Cell::from(sigma.value.to_string()), Cell::from(unit), Cell::from(origin)]);
    }
    format!("{}{}", table.html(), list(&report.notes))
}
