//! A plan as a page: the chart of standoff, the table behind it, and what to improve.

use super::errors::ValueOrigin;
use super::report::{PlanReport, PlanRequest, about, ceiling, floor};
use super::{Axis, chart};
use crate::output::numbers::fixed;
use crate::output::page::good::figure;
use crate::output::page::sheet::{Sheet, list};
use crate::output::page::shell::PagePart;
use crate::output::page::table::{Table, TableCell};
use crate::units::Units;

/// The page.
pub fn html(request: &PlanRequest, report: &PlanReport, units: Units) -> String {
    let part = |id, title, html| PagePart { id, title, html };
    let length = units.length();
    let words = format!(
        "Half of the 95 % interval over slope distance, in {}; inclinations are told by dashes, a tolerance is a thin line.",
        length.words
    );
    let chart = figure(&chart::svg(request, &units), &words);
    let told: Vec<String> = report.dominance.iter().map(|of| format!("{}: {}", of.axis.word(), of.sentence(&length))).collect();
    Sheet {
        title: report.title.clone().unwrap_or_else(|| "What to expect in the field".to_owned()),
        lead: vec![
            "What an instrument and a receiver can be expected to give, at 95 % probability, over distance and inclination."
                .to_owned(),
            format!("Lengths in {}, angles in {}.", length.words, units.angle().words),
        ],
        parts: vec![
            part("chart", "Uncertainty over distance", format!("{chart}{}", distance_table(report, units).html())),
            part("farthest", "How far to stand off", farthest(report, &units)),
            part("improve", "What dominates, and what to improve", list(told)),
            part("errors", "Standard errors", errors(report, &units)),
        ],
        caution: report.cautions.join(" "),
    }
    .html()
}

fn distance_table(report: &PlanReport, units: Units) -> Table {
    let (length, angle) = (units.length(), units.angle());
    let mut table = Table::new("expected", "Expected, at 95 % probability")
        .number("slope distance", length.sign)
        .number("inclination", angle.sign)
        .number("place within", length.sign)
        .number("height ±", length.sign)
        .number("base, of the place", "%")
        .number("direction", "%")
        .number("distance", "%");
    let shown = |value: f64, decimals| TableCell::from(fixed(length.value(value), decimals));
    let percent = |share: f64| TableCell::from(fixed(100.0 * share, 0));
    for cell in &report.table {
        table.row(vec![
            TableCell::from(length.given(cell.slope_distance_m)),
            TableCell::from(angle.given(cell.inclination_deg)),
            shown(cell.radius95_m, 2),
            shown(cell.height95_m, 2),
            percent(cell.horizontal_shares.base),
            percent(cell.horizontal_shares.direction),
            percent(cell.horizontal_shares.distance),
        ]);
    }
    table
}

fn farthest(report: &PlanReport, units: &Units) -> String {
    let (length, angle) = (units.length(), units.angle());
    let given = |metres: f64| format!("{} {}", length.given(metres), length.sign);
    let mut table = Table::new("standoff", "Farthest slope distance within a tolerance")
        .text("tolerance")
        .number("inclination", angle.sign)
        .text("farthest");
    for standoff in &report.farthest {
        let of = match standoff.axis {
            Axis::Horizontal => "place",
            Axis::Vertical => "height",
        };
        table.row(vec![
            TableCell::from(format!("{of} within {}", given(standoff.tolerance_m))),
            TableCell::from(angle.given(standoff.inclination_deg)),
            TableCell::from(standoff.words(report.errors.greatest_distance_m, &length)),
        ]);
    }
    let mut html = if table.rows.is_empty() { String::new() } else { table.html() };
    if let Some(plan) = &report.height_measurement {
        let within = match (plan.tolerance_m, plan.within_m) {
            (Some(tolerance_m), Some([near_m, far_m])) => {
                let (near, far) = (ceiling(length.value(near_m)), floor(length.value(far_m)));
                format!(" {} is met from {near} {sign} to {far} {sign}.", given(tolerance_m), sign = length.sign)
            }
            (Some(tolerance_m), None) => format!(" {} is met from nowhere.", given(tolerance_m)),
            _ => String::new(),
        };
        html.push_str(&list([format!(
            "The height of an object of {} by a distance and two inclinations is measured best from {}: to {} at 95 %.{within}",
            given(plan.object.object_height_m),
            about(plan.standoff_m, &length),
            length.said(plan.error95_m, 2)
        )]));
    }
    html
}

fn errors(report: &PlanReport, units: &Units) -> String {
    let mut table =
        Table::new("sigmas", "What was planned with").text("of").number("standard error", "").text("unit").text("from");
    for (name, sigma, unit) in report.errors.listed() {
        let origin = match sigma.origin {
            ValueOrigin::Given => "given",
            ValueOrigin::Job => "the job",
            ValueOrigin::Assumed => "assumed",
        };
        let (number, unit) = match units.of_unit(unit) {
            Some(shown) => (shown.given(sigma.value), shown.sign),
            None => (sigma.value.to_string(), unit),
        };
        table.row(vec![TableCell::from(name), TableCell::from(number), TableCell::from(unit), TableCell::from(origin)]);
    }
    format!("{}{}", table.html(), list(report.errors.notes(units)))
}
