//! A calibration as a page: the corrections, how well each reading agrees, and the lines for the job.

use super::report::{job_lines, signed};
use super::{CalibrationResult, FoundCorrection};
use crate::numeric::words::counted;
use crate::output::numbers::fixed;
use crate::output::page::chart::Plot;
use crate::output::page::good::figure;
use crate::output::page::sheet::{Sheet, list};
use crate::output::page::shell::PagePart;
use crate::output::page::svg::{GREY, INK, Stroke, WARNING, escaped, stroke};
use crate::output::page::table::{Table, TableCell, clean};
use crate::units::Units;

/// Decimals of degrees and metres.
const DECIMALS: i32 = 3;

/// The page; `table` is the job's for the lines.
pub fn html(calibration: &CalibrationResult, table: &str, units: &Units) -> String {
    let named = |correction: &super::Correction| {
        let quantity = correction.quantity;
        let sigma = fixed(quantity.unit_for(units).value(quantity.shown(correction.sigma)), DECIMALS);
        format!("{} {} (standard error {sigma})", quantity.word(), signed(quantity, correction.value, units))
    };
    let days = match calibration.dates {
        Some((first, last)) if first == last => format!(" of {first}"),
        Some((first, last)) => format!(" of {first} to {last}"),
        None => String::new(),
    };
    let part = |id, title, html| PagePart { id, title, html };
    let lines = format!(
        "<p>To be written into the job; corrections that it has are replaced, not added to.</p><pre>{}</pre>",
        escaped(&job_lines(calibration, table))
    );
    Sheet {
        title: "Calibration of an instrument".to_owned(),
        lead: vec![
            format!("From {}{days}, to be added to its readings: {}.", counted(calibration.shots as u64, "shot", "shots"), calibration.corrections.iter().map(named).collect::<Vec<_>>().join("; ")),
            format!("Lengths in {}, angles in {}.", units.length().words, units.angle().words),
        ],
        parts: vec![
            part("corrections", "Corrections", corrections(calibration, units)),
            part("residuals", "How well the readings agree", calibration.findings.iter().enumerate().map(|(i, of)| finding(i, of, units)).collect()),
            part("lines", "For the job", lines),
            part("held", "What was left out", held(calibration)),
        ],
        caution: "A correction holds for the instrument, the day and the place where it was found. Keep a compass away from steel, vehicles and power lines.".to_owned(),
    }
    .html()
}

fn corrections(calibration: &CalibrationResult, units: &Units) -> String {
    let mut table = Table::new("found", "Corrections, to be added to readings")
        .text("of")
        .number("correction", "")
        .number("standard error", "")
        .text("unit");
    let mut notes: Vec<String> = Vec::new();
    for correction in &calibration.corrections {
        let quantity = correction.quantity;
        let unit = quantity.unit_for(units);
        let shown = |value: f64| TableCell::from(fixed(unit.value(quantity.shown(value)), DECIMALS));
        table.row(vec![
            TableCell::from(quantity.word()),
            shown(correction.value),
            shown(correction.sigma),
            TableCell::from(unit.words),
        ]);
        notes.extend(correction.notes.iter().map(|note| format!("{}: {note}", quantity.word())));
    }
    let angle = units.angle();
    if let Some(check) = &calibration.azimuth_check {
        notes.push(format!(
            "Two-way azimuths: back minus forth, less {}, {}, standard error {}.",
            angle.with_sign(&angle.given(180.0)),
            angle.with_sign(&fixed(angle.value(check.misfit_rad.to_degrees()), DECIMALS)),
            angle.with_sign(&fixed(angle.value(check.sigma_rad.to_degrees()), DECIMALS))
        ));
        notes.extend(check.notes.iter().cloned());
    }
    format!("{}{}", table.html(), list(notes))
}

/// Residuals of the readings of one kind of shots, in their order, and their table.
fn finding(index: usize, finding: &FoundCorrection, units: &Units) -> String {
    let quantity = finding.quantity;
    let of_reader = quantity.unit_for(units);
    let unit = of_reader.sign;
    let shown = |value: f64| of_reader.value(quantity.shown(value));
    let title = format!("{}, by {}", quantity.word(), finding.measure.word().replace('_', " "));
    let most = finding
        .readings
        .iter()
        .map(|reading| shown(reading.residual).abs())
        .fold(0.0, f64::max)
        .max(shown(finding.sigma_reading));
    let mut html = format!("<h3>{}</h3>", escaped(&clean(&title)));
    if finding.readings.len() > 1 && most > 0.0 {
        let axis = format!("residual, {unit}");
        let count = finding.readings.len() as f64;
        let mut plot =
            Plot::new([760.0, 240.0], [0.0, count + 1.0], [-1.1 * most, 1.1 * most], ["reading, in the order of the log", &axis]);
        for (level, dashes) in [(0.0, ""), (shown(finding.sigma_reading), "5 3"), (-shown(finding.sigma_reading), "5 3")] {
            plot.svg.line(plot.at(0.0, level), plot.at(count + 1.0, level), Stroke { colour: GREY, width: 1.0, dashes });
        }
        for (i, reading) in finding.readings.iter().enumerate() {
            let at = plot.at(i as f64 + 1.0, shown(reading.residual));
            plot.svg.circle(at, 4.0, if reading.is_outlier { WARNING } else { INK }, stroke("#ffffff", 0.6));
        }
        let words = format!(
            "Reading minus what it should be by the mean; the dashed lines are one standard error of a reading ({} {unit}{}). Readings in red lie \
             beyond what the others allow.",
            fixed(shown(finding.sigma_reading), DECIMALS),
            if finding.is_assumed { ", assumed" } else { "" }
        );
        html.push_str(&figure(&plot.svg.finish(&format!("Residuals of {title}")), &words));
    }
    let mut table = Table::new(&format!("readings-{index}"), "Readings")
        .text("row")
        .text("role")
        .number("reading", unit)
        .number("residual", unit)
        .text("used");
    for reading in &finding.readings {
        table.row(vec![
            TableCell::from(format!("{}:{}", reading.file, reading.line)),
            TableCell::from(reading.role.map_or("", |role| role.word()).replace('_', " ")),
            TableCell::from(fixed(shown(reading.reading), DECIMALS)),
            TableCell::from(fixed(shown(reading.residual), DECIMALS)),
            TableCell::from(if reading.is_used { "" } else { "left out" }),
        ]);
        if let Some(row) = table.rows.last_mut() {
            row.warned = reading.is_outlier;
        }
    }
    html.push_str(&table.without_empty_columns().html());
    html.push_str(&list(&finding.notes));
    html
}

fn held(calibration: &CalibrationResult) -> String {
    let mut table = Table::new("held", "Rows held").text("row").text("why");
    for held in &calibration.held {
        table.row(vec![TableCell::from(format!("{}:{}", held.file, held.line)), TableCell::from(held.sentence.as_str())]);
    }
    if table.rows.is_empty() { String::new() } else { table.html() }
}
