//! An assessment as a page: the errors of the check points as arrows, the figures of the standards, and whether the stated uncertainties
//! were honest, as a plot of ordered errors against their law.

use statrs::distribution::{ContinuousCDF, Normal};

use super::errors::PointError;
use super::moments::Moments;
use super::standards::BEFORE_A_CLAIM;
use super::{Assessment, Left};
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
/// Decimals of lengths.
const DECIMALS: i32 = 3;

/// The page; `writes_all` says what writes all rows of a table that is too long for it.
pub fn html(found: &Assessment, units: Units, writes_all: &str) -> String {
    let length = units.length();
    let part = |id, title, html| PagePart { id, title, html };
    let of_axis =
        |name: &str, moments: &Moments| format!("{name} {} {}", fixed(length.value(moments.rmse_m), DECIMALS), length.sign);
    let mut figures = vec![of_axis("radially", &found.errors.radial)];
    figures.extend(found.errors.up.as_ref().map(|up| of_axis("in height", up)));
    Sheet {
        title: format!("{} against check points", found.layer),
        lead: vec![
            format!(
                "{} of {} tested against {} of {}. Root mean square error: {}.",
                counted(found.tested as u64, "point", "points"),
                found.file,
                counted(found.matched as u64, "check point", "check points"),
                found.check_file,
                figures.join(", ")
            ),
            format!("The layer is in {}, the check points in {}.", found.crs, found.check_crs),
        ],
        parts: vec![
            part("errors", "Errors", errors(found, length, writes_all)),
            part("honest", "Were the stated uncertainties honest?", honesty(found)),
            part("standards", "Accuracy by public standards", standards(found, length)),
            part("left", "What was left out", left(found)),
            part("notes", "How it was done", list(&found.notes)),
        ],
        caution: found.caution.to_owned(),
    }
    .html()
}

fn errors(found: &Assessment, length: Shown, writes_all: &str) -> String {
    let mut html = arrows(found, length).map(|(svg, words)| figure(&svg, &words)).unwrap_or_default();
    let mut table = Table::new("moments", "Errors, tested minus check, on the ground")
        .text("axis")
        .number("points", "")
        .number("mean", length.sign)
        .number("standard deviation", length.sign)
        .number("RMSE", length.sign)
        .number("least", length.sign)
        .number("greatest", length.sign);
    let all = &found.errors;
    let shown = |value: f64| TableCell::from(fixed(length.value(value), DECIMALS));
    for (name, moments) in [("east", Some(all.east)), ("north", Some(all.north)), ("radial", Some(all.radial)), ("up", all.up)] {
        let Some(of) = moments else { continue };
        table.row(vec![
            TableCell::from(name),
            TableCell::from(of.points.to_string()),
            shown(of.mean_m),
            of.standard_deviation_m.map_or(TableCell::from(""), shown),
            shown(of.rmse_m),
            shown(of.least_m),
            shown(of.greatest_m),
        ]);
    }
    html.push_str(&table.html());
    html.push_str(&points(&found.point_errors, length, writes_all).html());
    html
}

fn arrows(found: &Assessment, length: Shown) -> Option<(String, String)> {
    let first = found.point_errors.first()?.at_rad;
    let vectors: Vec<MapVector> = found
        .point_errors
        .iter()
        .map(|point| {
            let [lat, lon] = point.at_rad;
            let east = (lon - first[1] + std::f64::consts::PI).rem_euclid(std::f64::consts::TAU) - std::f64::consts::PI;
            MapVector {
                name: point.name.clone(),
                // For the eye: a sphere will do.
                at_m: [east * first[0].cos() * EARTH_M, (lat - first[0]) * EARTH_M],
                by_m: [point.east_m, point.north_m],
                marked: !point.outlying.is_empty(),
            }
        })
        .collect();
    vectors::drawing(
        &vectors,
        length,
        "Errors of the check points as arrows",
        "Horizontal errors, tested minus check, true north up",
    )
}

/// Mean radius of the earth in metres, to draw by.
const EARTH_M: f64 = 6_371_000.0;

fn points(errors: &[PointError], length: Shown, writes_all: &str) -> Table {
    let mut table = Table::new("points", "Each point")
        .text("name")
        .number("east", length.sign)
        .number("north", length.sign)
        .number("horizontally", length.sign)
        .number("up", length.sign)
        .text("in its ellipse")
        .text("in its height interval")
        .text("stands out")
        .text("base")
        .text("source");
    let inside = |is: Option<bool>| TableCell::from(is.map_or("", |is| if is { "yes" } else { "no" }));
    let shown = |value: f64| TableCell::from(fixed(length.value(value), DECIMALS));
    for error in errors.iter().take(MOST_ROWS) {
        table.row(vec![
            TableCell::from(error.name.as_str()),
            shown(error.east_m),
            shown(error.north_m),
            shown(error.horizontal_m),
            error.up_m.map_or(TableCell::from(""), shown),
            inside(error.inside_ellipse95),
            inside(error.inside_height95),
            TableCell::from(error.outlying.join(", ")),
            TableCell::from(error.base.as_deref().unwrap_or_default()),
            TableCell::from(error.source.as_deref().unwrap_or_default()),
        ]);
        if let Some(row) = table.rows.last_mut() {
            row.warned = !error.outlying.is_empty();
        }
    }
    if errors.len() > MOST_ROWS {
        table.note = format!("The first {MOST_ROWS} of {}; {writes_all}.", errors.len());
    }
    table.without_empty_columns()
}

/// Errors in their own standard errors, in order, against what a normal law would give: √(−2 ln(1 − p)) for places (Rayleigh's law),
/// Φ⁻¹((1 + p) / 2) for heights, with p = (i − ½) / n.
fn honesty(found: &Assessment) -> String {
    let by_law = |squares: Vec<f64>, quantile: &dyn Fn(f64) -> f64| {
        let mut values: Vec<f64> = squares.into_iter().map(f64::sqrt).collect();
        values.sort_by(f64::total_cmp);
        let n = values.len() as f64;
        values.iter().enumerate().map(|(i, value)| [quantile((i as f64 + 0.5) / n), *value]).collect::<Vec<[f64; 2]>>()
    };
    let normal = Normal::standard();
    let places = by_law(found.point_errors.iter().filter_map(|error| error.square_horizontal).collect(), &|p| {
        (-2.0 * (1.0 - p).ln()).sqrt()
    });
    let heights = by_law(found.point_errors.iter().filter_map(|error| error.square_vertical).collect(), &|p| {
        normal.inverse_cdf((1.0 + p) / 2.0)
    });
    let mut html = list(&found.verdicts);
    for (pairs, coverage, what) in [(places, found.ellipses95, "places"), (heights, found.heights95, "heights")] {
        let titles = ["standard errors by the normal law", "error over its stated standard error"];
        let Some(svg) = vectors::ordered(&pairs, titles, &format!("Errors of {what} in order against the normal law")) else {
            continue;
        };
        let inside = coverage.map_or(String::new(), |of| {
            format!(
                " {} of {} are inside their 95 % {}; the standard errors would fit if they were {} times as great.",
                of.inside,
                of.of,
                if what == "places" { "ellipses" } else { "intervals" },
                fixed(of.factor, 2)
            )
        });
        let words = format!(
            "Errors of {what}, each over its own stated standard error, the least first. On the line the stated uncertainties are honest; above \
             it they are too small, below it too great.{inside}"
        );
        html.push_str(&figure(&svg, &words));
    }
    html
}

fn standards(found: &Assessment, length: Shown) -> String {
    let mut table =
        Table::new("claims", "Figures").text("standard").text("of").text("figure").number("value", length.sign).text("not met");
    for claim in &found.standards {
        table.row(vec![
            TableCell::from(claim.standard),
            TableCell::from(claim.what),
            TableCell::from(claim.figure.as_str()),
            TableCell::from(claim.value_m.map_or("not known".to_owned(), |value| fixed(length.value(value), DECIMALS))),
            TableCell::from(claim.missing.join("; ")),
        ]);
    }
    if table.rows.is_empty() {
        String::new()
    } else {
        format!("{}<p class=\"note\">{BEFORE_A_CLAIM}</p>", table.without_empty_columns().html())
    }
}

fn left(found: &Assessment) -> String {
    let mut table = Table::new("left-out", "Check points without an error").text("name").number("line", "").text("why");
    let all: Vec<&Left> = [&found.ambiguous, &found.unmatched, &found.held].into_iter().flatten().collect();
    for one in all.iter().take(MOST_ROWS) {
        let name = one.name.as_deref().unwrap_or_default();
        table.row(vec![TableCell::from(name), TableCell::from(one.line.to_string()), TableCell::from(one.why.as_str())]);
    }
    if table.rows.is_empty() { String::new() } else { table.without_empty_columns().html() }
}
