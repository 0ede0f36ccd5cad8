//! An assessment as a page: the errors of the check points as arrows, the figures of the standards, and whether the stated uncertainties
//! were honest, as a plot of ordered errors against their law.

use statrs::distribution::{ContinuousCDF, Normal};

use super::errors::PointError;
use super::moments::Moments;
use super::standards::BEFORE_A_CLAIM;
use super::{Assessment, Left};
use crate::geodesy::frame::half_circle_rad;
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
    let arrows = vectors::drawing(
        &arrows(&found.point_errors),
        length,
        "Errors of the check points as arrows",
        "Horizontal errors, tested minus check, true north up",
    );
    let drawn = arrows.map(|(svg, words)| figure(&svg, &words)).unwrap_or_default();
    [drawn, moments(found, length).html(), points(&found.point_errors, length, writes_all).html()].concat()
}

fn moments(found: &Assessment, length: Shown) -> Table {
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
    table
}

/// The errors as arrows at their points, which lie about the first of them.
fn arrows(errors: &[PointError]) -> Vec<MapVector> {
    let first = errors.first().map_or([0.0; 2], |error| error.at_rad);
    errors
        .iter()
        .map(|point| {
            let [lat, lon] = point.at_rad;
            let east = half_circle_rad(lon - first[1]);
            MapVector {
                name: point.name.clone(),
                // For the eye: a sphere will do.
                at_m: [east * first[0].cos() * EARTH_M, (lat - first[0]) * EARTH_M],
                by_m: [point.east_m, point.north_m],
                marked: !point.outlying.is_empty(),
            }
        })
        .collect()
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

/// What a law of errors gives for a share of them: the value that so many are below.
type Law = fn(f64) -> f64;

/// Rayleigh's law, of lengths of two normal errors: √(−2 ln(1 − p)).
fn of_places(p: f64) -> f64 {
    (-2.0 * (1.0 - p).ln()).sqrt()
}

/// The normal law, of errors without their signs: Φ⁻¹((1 + p) / 2).
fn of_heights(p: f64) -> f64 {
    Normal::standard().inverse_cdf((1.0 + p) / 2.0)
}

/// Errors in their own standard errors, in order, each behind what a law gives for it: at the share p = (i − ½) / n.
fn by_law(squares: impl Iterator<Item = f64>, law: Law) -> Vec<[f64; 2]> {
    let mut values: Vec<f64> = squares.map(f64::sqrt).collect();
    values.sort_by(f64::total_cmp);
    let n = values.len() as f64;
    values.iter().enumerate().map(|(i, value)| [law((i as f64 + 0.5) / n), *value]).collect()
}

fn honesty(found: &Assessment) -> String {
    let places = by_law(found.point_errors.iter().filter_map(|error| error.square_horizontal), of_places);
    let heights = by_law(found.point_errors.iter().filter_map(|error| error.square_vertical), of_heights);
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
    let table = claims(found, length);
    if table.rows.is_empty() { String::new() } else { format!("{}<p class=\"note\">{BEFORE_A_CLAIM}</p>", table.html()) }
}

fn claims(found: &Assessment, length: Shown) -> Table {
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
    table.without_empty_columns()
}

fn left(found: &Assessment) -> String {
    let table = left_out(found);
    if table.rows.is_empty() { String::new() } else { table.html() }
}

fn left_out(found: &Assessment) -> Table {
    let mut table = Table::new("left-out", "Check points without an error").text("name").number("line", "").text("why");
    let all: Vec<&Left> = [&found.ambiguous, &found.unmatched, &found.held].into_iter().flatten().collect();
    for one in all.iter().take(MOST_ROWS) {
        let name = one.name.as_deref().unwrap_or_default();
        table.row(vec![TableCell::from(name), TableCell::from(one.line.to_string()), TableCell::from(one.why.as_str())]);
    }
    table.without_empty_columns()
}

#[cfg(test)]
mod tests {
    use super::super::report::tests::invented;
    use super::super::standards::tests::point;
    use super::*;
    use crate::units::LengthShown;

    fn feet() -> Units {
        Units { length: LengthShown::Ft, ..Units::default() }
    }

    /// Titles of a table and the texts of its rows.
    fn read(table: &Table) -> (Vec<&str>, Vec<Vec<&str>>) {
        let rows = table.rows.iter().map(|row| {
            let cells = row.cells.iter().map(|cell| match cell {
                TableCell::Text(text) | TableCell::Link { text, .. } => text.as_str(),
            });
            cells.collect()
        });
        (table.columns.iter().map(|head| head.title.as_str()).collect(), rows.collect())
    }

    #[test]
    fn moments_of_each_axis() {
        let table = moments(&invented(), feet().length());
        let (titles, rows) = read(&table);
        assert_eq!(titles, ["axis", "points", "mean", "standard deviation", "RMSE", "least", "greatest"]);
        assert_eq!(table.columns.iter().map(|head| head.unit).collect::<Vec<_>>(), ["", "", "ft", "ft", "ft", "ft", "ft"]);
        assert_eq!(
            rows,
            [
                ["east", "2", "1.500", "2.000", "2.500", "-1.000", "3.000"],
                ["north", "2", "-1.500", "", "2.750", "-4.000", "1.000"],
                ["radial", "2", "3.000", "2.800", "3.600", "1.000", "5.000"],
                ["up", "1", "1.500", "", "1.500", "1.500", "1.500"],
            ]
        );
    }

    #[test]
    fn each_point_with_what_is_known_of_it() {
        let errors = invented().point_errors;
        let table = points(&errors, feet().length(), "--out writes all");
        let (titles, rows) = read(&table);
        assert_eq!(
            titles,
            [
                "name",
                "east",
                "north",
                "horizontally",
                "up",
                "in its ellipse",
                "in its height interval",
                "stands out",
                "base",
                "source"
            ]
        );
        assert_eq!(rows[0], ["oak", "3.000", "-4.000", "5.000", "1.500", "yes", "no", "north, up", "B1", "log.csv:7"]);
        assert_eq!(rows[1], ["elm", "0.000", "1.000", "1.000", "", "", "", "", "", ""]);
        assert_eq!([table.rows[0].warned, table.rows[1].warned], [true, false]);
        // Columns of which nothing is known are left out, and rows beyond the most that a page holds.
        let many = |count: usize| points(&vec![errors[1].clone(); count], feet().length(), "--out writes all");
        let (all, more) = (many(MOST_ROWS), many(MOST_ROWS + 1));
        assert_eq!(read(&all).0, ["name", "east", "north", "horizontally"]);
        assert_eq!((all.rows.len(), all.note.as_str()), (2_000, ""));
        assert_eq!((more.rows.len(), more.note.as_str()), (2_000, "The first 2000 of 2001; --out writes all."));
    }

    #[test]
    fn figures_of_standards_and_points_left_out() {
        let found = invented();
        let (titles, rows) = (claims(&found, feet().length()), left_out(&found));
        assert_eq!(
            read(&titles),
            (
                vec!["standard", "of", "figure", "value", "not met"],
                vec![
                    vec!["one", "vertical", "RMSE", "2.000", ""],
                    vec!["two", "horizontal", "circle", "not known", "this; that"]
                ]
            )
        );
        let (titles, rows) = read(&rows);
        assert_eq!((titles, rows.len()), (vec!["name", "line", "why"], 22));
        assert_eq!((&rows[0], &rows[21]), (&vec!["A", "1", "reason 1"], &vec!["", "32", "reason 32"]));
        let none = Assessment { standards: Vec::new(), ambiguous: Vec::new(), unmatched: Vec::new(), ..found };
        assert_eq!((standards(&none, feet().length()), left(&none)), (String::new(), String::new()));
        assert!(standards(&invented(), feet().length()).ends_with(&format!("<p class=\"note\">{BEFORE_A_CLAIM}</p>")));
        assert!(left(&invented()).contains("reason 32"));
    }

    /// Arrows stand where the points lie about the first: by the arcs of a sphere, also over ±180°.
    #[test]
    fn arrows_stand_at_their_points() {
        let at = |lat_deg: f64, lon_deg: f64, error: [f64; 2]| {
            let mut point = point(1, error[0], error[1], None, None);
            point.at_rad = [lat_deg.to_radians(), lon_deg.to_radians()];
            point
        };
        let mut errors = [at(60.0, 179.999, [0.1, 0.2]), at(60.001, -179.999, [-0.3, 0.4]), at(59.999, 179.998, [0.0, 0.0])];
        errors[1].outlying.push("north");
        // A degree of a meridian of a sphere of 6 371 km is 111.195 km; of the parallel of 60° half of that.
        let want = [[0.0, 0.0], [111.195, 111.195], [-55.597, -111.195]];
        let found = arrows(&errors);
        for ((vector, want), error) in found.iter().zip(want).zip(&errors) {
            assert!((vector.at_m[0] - want[0]).abs() < 0.01 && (vector.at_m[1] - want[1]).abs() < 0.01, "{:?}", vector.at_m);
            assert_eq!((vector.by_m, vector.name.as_str()), ([error.east_m, error.north_m], "P"));
        }
        assert_eq!([found[0].marked, found[1].marked, found[2].marked], [false, true, false]);
        assert_eq!(arrows(&[]).len(), 0);
    }

    /// Of three values the shares are 1/6, 1/2 and 5/6.
    #[test]
    fn errors_in_order_behind_their_laws() {
        let pairs = by_law([9.0, 0.25, 4.0].into_iter(), of_places);
        for ([quantile, value], (share, want)) in pairs.iter().zip([(1.0 / 6.0, 0.5), (0.5, 2.0), (5.0 / 6.0, 3.0)]) {
            // 1 − exp(−r²/2) of errors are within r.
            assert!((1.0 - (-0.5 * quantile * quantile).exp() - share).abs() < 1e-12 && *value == want, "{pairs:?}");
        }
        // Half of normal errors are within 0.6745 standard errors, 95 % within 1.9600 (any table).
        for (share, quantile) in [(0.5, 0.674_489_750_196_081_7), (0.95, 1.959_963_984_540_054)] {
            assert!((of_heights(share) - quantile).abs() < 1e-9);
        }
        assert!(by_law(std::iter::empty(), of_heights).is_empty());
    }

    #[test]
    fn errors_in_order_are_drawn_from_three_on() {
        let found = |squares: [Option<f64>; 3], up: [Option<f64>; 3]| {
            let of = |i: usize| {
                let mut point = point(i as u64, 0.1, 0.1, None, None);
                (point.square_horizontal, point.square_vertical) = (squares[i], up[i]);
                point
            };
            let all = invented();
            honesty(&Assessment { heights95: all.ellipses95, point_errors: (0..3).map(of).collect(), ..all })
        };
        let (all, two) = ([Some(1.0), Some(4.0), Some(9.0)], [Some(1.0), Some(4.0), None]);
        let places = "Errors of places, each over its own stated standard error";
        let heights = "Errors of heights, each over its own stated standard error";
        let html = found(all, two);
        assert!(html.starts_with("<ul class=\"plain\"><li>Positions: so.</li></ul><figure>"), "{html}");
        assert!(html.contains(places) && !html.contains(heights));
        assert!(
            html.contains(
                " 1 of 2 are inside their 95 % ellipses; the standard errors would fit if they were 1.25 times as great."
            )
        );
        let html = found(two, all);
        assert!(html.contains(heights) && !html.contains(places));
        assert!(html.contains(" 1 of 2 are inside their 95 % intervals; the standard errors"));
    }

    #[test]
    fn the_page_has_its_parts() {
        let page = html(&invented(), feet(), "--out writes all");
        for wanted in [
            "features against check points",
            "2 points of out/site.gpkg tested against 14 check points of checks.csv. Root mean square error: radially 3.600 ft, in height 1.500 ft.",
            "The layer is in EPSG:32630, the check points in EPSG:4326.",
            "Errors of the check points as arrows",
            "tested minus check, on the ground",
            "Each point",
            "Were the stated uncertainties honest?",
            "Accuracy by public standards",
            "What was left out",
            "<ul class=\"plain\"><li>One.</li><li>Two.</li></ul>",
        ] {
            assert!(page.contains(wanted), "{wanted}");
        }
    }
}
