//! What an assessment found: as text for a person, and the errors of its points as CSV.

use std::fmt::Write;

use super::errors::PointError;
use super::moments::Moments;
use super::outliers::LIMIT;
use super::standards::BEFORE_A_CLAIM;
use super::{Assessment, Left, Outlier};
use crate::numeric::words::counted;
use crate::output::write::number::rounded;
use crate::units::Shown;

/// Points left out that are listed each; more are counted.
const LISTED: usize = 10;
/// Decimals of metres in files: a tenth of a millimetre.
const DECIMALS: Option<u8> = Some(4);

/// All of it for a person.
///
/// # Errors
/// Never; writing to a string cannot fail.
pub fn text(found: &Assessment, length: Shown, lists_all: &str) -> Result<String, std::fmt::Error> {
    let mut text = String::new();
    writeln!(
        text,
        "tested   {}, layer {}: {} in {}",
        found.file,
        found.layer,
        counted(found.points as u64, "point", "points"),
        found.crs
    )?;
    writeln!(
        text,
        "against  {}: {} in {}",
        found.check_file,
        counted(found.check_points as u64, "check point", "check points"),
        found.check_crs
    )?;
    writeln!(
        text,
        "matched  {} {}; {} tested",
        found.matched,
        found.matched_by,
        counted(found.tested as u64, "point", "points")
    )?;
    list(&mut text, "unclear", &found.ambiguous, lists_all)?;
    list(&mut text, "no match", &found.unmatched, lists_all)?;
    list(&mut text, "held", &found.held, lists_all)?;
    writeln!(text, "\nErrors, tested minus check, in {} on the ground (east and north true)\n", length.words)?;
    writeln!(text, "          points      mean   std dev      RMSE     least  greatest")?;
    let errors = &found.errors;
    for (name, moments) in
        [("east", Some(errors.east)), ("north", Some(errors.north)), ("radial", Some(errors.radial)), ("up", errors.up)]
    {
        if let Some(moments) = moments {
            row(&mut text, name, &moments, name != "radial", length)?;
        }
    }
    writeln!(text, "\nAccuracy by public standards\n\n  {BEFORE_A_CLAIM}\n")?;
    for claim in &found.standards {
        let value =
            claim.value_m.map_or_else(|| "not known".to_owned(), |metres| format!("{:.3} {}", length.value(metres), length.sign));
        writeln!(text, "  {}, {}: {} {value}", claim.standard, claim.what, claim.figure)?;
        for missing in &claim.missing {
            writeln!(text, "    not met: {missing}")?;
        }
    }
    if !found.verdicts.is_empty() {
        writeln!(text, "\nWere the stated uncertainties honest?\n")?;
        for verdict in &found.verdicts {
            writeln!(text, "  {verdict}")?;
        }
    }
    if !found.outliers.is_empty() {
        writeln!(
            text,
            "\nFar from the others, or far outside what is stated (beyond {LIMIT} robust standard deviations, or standard errors; named, and in \
             every figure)\n"
        )?;
        for Outlier { name, axis, error_m, score, stated, speaks } in &found.outliers {
            let score = score.map(|score| format!(", {score:.1} from the median")).unwrap_or_default();
            let stated =
                stated.map_or(", no standard error stated".to_owned(), |stated| format!(", {stated:.1} of its standard errors"));
            writeln!(text, "  {name}  {axis} {:+.3} {}{score}{stated}: {}", length.value(*error_m), length.sign, speaks.words())?;
        }
    }
    if !found.notes.is_empty() {
        writeln!(text)?;
        for note in &found.notes {
            writeln!(text, "note     {note}")?;
        }
    }
    writeln!(text, "caution  {}", found.caution)?;
    Ok(text)
}

fn list(text: &mut String, word: &str, left: &[Left], lists_all: &str) -> std::fmt::Result {
    if left.is_empty() {
        return Ok(());
    }
    writeln!(text, "{word:<9}{}", left.len())?;
    for one in left.iter().take(LISTED) {
        let name = one.name.as_ref().map(|name| format!("{name}, ")).unwrap_or_default();
        writeln!(text, "           {name}line {}: {}", one.line, one.why)?;
    }
    if left.len() > LISTED {
        writeln!(text, "           and {} more; {lists_all}", left.len() - LISTED)?;
    }
    Ok(())
}

fn row(text: &mut String, name: &str, of: &Moments, signed: bool, length: Shown) -> std::fmt::Result {
    let moments = Moments {
        mean_m: length.value(of.mean_m),
        standard_deviation_m: of.standard_deviation_m.map(|deviation| length.value(deviation)),
        rmse_m: length.value(of.rmse_m),
        least_m: length.value(of.least_m),
        greatest_m: length.value(of.greatest_m),
        ..*of
    };
    let mean = if signed { format!("{:+.3}", moments.mean_m) } else { format!("{:.3}", moments.mean_m) };
    let ends = [moments.least_m, moments.greatest_m].map(|m| if signed { format!("{m:+.3}") } else { format!("{m:.3}") });
    let deviation = moments.standard_deviation_m.map_or_else(|| "-".to_owned(), |deviation| format!("{deviation:.3}"));
    let [least, greatest] = ends;
    writeln!(text, "  {name:<7} {:>6} {mean:>9} {deviation:>9} {:>9.3} {least:>9} {greatest:>9}", moments.points, moments.rmse_m)
}

/// The errors of points as CSV with a header line.
///
/// # Errors
/// When the CSV writer fails, as for want of memory.
pub fn errors_csv(points: &[PointError]) -> Result<Vec<u8>, csv::Error> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record([
        "name",
        "check_line",
        "base",
        "source",
        "error_east_m",
        "error_north_m",
        "error_horizontal_m",
        "error_up_m",
        "height_kind",
        "square_horizontal",
        "square_vertical",
        "inside_ellipse95",
        "inside_height95",
        "outlying",
    ])?;
    let metres = |value: Option<f64>| value.map(|value| rounded(value, DECIMALS).to_string()).unwrap_or_default();
    let truth = |value: Option<bool>| value.map(|value| value.to_string()).unwrap_or_default();
    for point in points {
        writer.write_record([
            point.name.clone(),
            point.check_line.to_string(),
            point.base.clone().unwrap_or_default(),
            point.source.clone().unwrap_or_default(),
            metres(Some(point.east_m)),
            metres(Some(point.north_m)),
            metres(Some(point.horizontal_m)),
            metres(point.up_m),
            point.height_kind.unwrap_or_default().to_owned(),
            metres(point.square_horizontal),
            metres(point.square_vertical),
            truth(point.inside_ellipse95),
            truth(point.inside_height95),
            point.outlying.join(" "),
        ])?;
    }
    writer.into_inner().map_err(|error| error.into_error().into())
}

#[cfg(test)]
pub(super) mod tests {
    use super::super::CAUTION;
    use super::super::honesty::{Coverage, ShareVerdict};
    use super::super::moments::ErrorMoments;
    use super::super::outliers::Speaks;
    use super::super::standards::StandardFigure;
    use super::super::standards::tests::point;
    use super::*;
    use crate::units::{LengthShown, Units};

    /// Errors of lengths that are round in feet: metres in a foot.
    const FOOT_M: f64 = 0.3048;

    fn left(name: Option<&str>, line: u64) -> Left {
        Left { name: name.map(str::to_owned), line, why: format!("reason {line}") }
    }

    /// An invented assessment of two points: one with all that can be told of a point, one with the least.
    pub fn invented() -> Assessment {
        let moments = |points, mean: f64, deviation: Option<f64>, rmse: f64, ends: [f64; 2]| Moments {
            points,
            mean_m: mean * FOOT_M,
            standard_deviation_m: deviation.map(|deviation| deviation * FOOT_M),
            rmse_m: rmse * FOOT_M,
            least_m: ends[0] * FOOT_M,
            greatest_m: ends[1] * FOOT_M,
            shift_probability: None,
        };
        let mut whole = point(7, 3.0 * FOOT_M, -4.0 * FOOT_M, Some(1.5 * FOOT_M), Some(0.1));
        whole.name = "oak".into();
        (whole.base, whole.source) = (Some("B1".into()), Some("log.csv:7".into()));
        whole.height_kind = Some("ellipsoidal");
        (whole.square_horizontal, whole.square_vertical) = (Some(4.0), Some(9.123_45));
        (whole.inside_ellipse95, whole.inside_height95) = (Some(true), Some(false));
        whole.outlying = vec!["north", "up"];
        let mut least = point(9, 0.0, 1.0 * FOOT_M, None, None);
        least.name = "elm".into();
        let coverage =
            Coverage { inside: 1, of: 2, share: 0.5, low95: 0.1, high95: 0.9, factor: 1.25, verdict: ShareVerdict::Honest };
        Assessment {
            file: "out/site.gpkg".into(),
            layer: "features".into(),
            crs: "EPSG:32630".into(),
            points: 1200,
            check_file: "checks.csv".into(),
            check_crs: "EPSG:4326".into(),
            check_points: 1,
            matched_by: "by the field tree".into(),
            matched: 14,
            tested: 2,
            ambiguous: (1..=10).map(|line| left(Some("A"), line)).collect(),
            unmatched: (21..=32).map(|line| left(None, line)).collect(),
            held: Vec::new(),
            errors: ErrorMoments {
                east: moments(2, 1.5, Some(2.0), 2.5, [-1.0, 3.0]),
                north: moments(2, -1.5, None, 2.75, [-4.0, 1.0]),
                radial: moments(2, 3.0, Some(2.8), 3.6, [1.0, 5.0]),
                up: Some(moments(1, 1.5, None, 1.5, [1.5, 1.5])),
            },
            standards: vec![
                StandardFigure {
                    standard: "one",
                    what: "vertical",
                    figure: "RMSE".into(),
                    value_m: Some(2.0 * FOOT_M),
                    missing: Vec::new(),
                },
                StandardFigure {
                    standard: "two",
                    what: "horizontal",
                    figure: "circle".into(),
                    value_m: None,
                    missing: vec!["this".into(), "that".into()],
                },
            ],
            outliers: vec![
                Outlier {
                    name: "oak".into(),
                    axis: "north",
                    error_m: -4.0 * FOOT_M,
                    score: Some(3.61),
                    stated: Some(8.04),
                    speaks: Speaks::Both,
                },
                Outlier {
                    name: "oak".into(),
                    axis: "up",
                    error_m: 1.5 * FOOT_M,
                    score: None,
                    stated: None,
                    speaks: Speaks::Others,
                },
            ],
            ellipses95: Some(coverage),
            heights95: None,
            verdicts: vec!["Positions: so.".into()],
            notes: vec!["One.".into(), "Two.".into()],
            caution: CAUTION,
            point_errors: vec![whole, least],
        }
    }

    fn in_feet() -> Shown {
        Units { length: LengthShown::Ft, ..Units::default() }.length()
    }

    #[test]
    fn all_of_it_in_feet() {
        let reasons = |name: &str, lines: std::ops::RangeInclusive<u64>| -> String {
            lines.map(|line| format!("           {name}line {line}: reason {line}\n")).collect()
        };
        let want = [
            "tested   out/site.gpkg, layer features: 1 200 points in EPSG:32630\n",
            "against  checks.csv: 1 check point in EPSG:4326\n",
            "matched  14 by the field tree; 2 points tested\n",
            "unclear  10\n",
            &reasons("A, ", 1..=10),
            "no match 12\n",
            &reasons("", 21..=30),
            "           and 2 more; --json lists all\n",
            "\nErrors, tested minus check, in international feet (0.3048 m) on the ground (east and north true)\n\n",
            "          points      mean   std dev      RMSE     least  greatest\n",
            "  east         2    +1.500     2.000     2.500    -1.000    +3.000\n",
            "  north        2    -1.500         -     2.750    -4.000    +1.000\n",
            "  radial       2     3.000     2.800     3.600     1.000     5.000\n",
            "  up           1    +1.500         -     1.500    +1.500    +1.500\n",
            "\nAccuracy by public standards\n\n",
            &format!("  {BEFORE_A_CLAIM}\n\n"),
            "  one, vertical: RMSE 2.000 ft\n",
            "  two, horizontal: circle not known\n",
            "    not met: this\n",
            "    not met: that\n",
            "\nWere the stated uncertainties honest?\n\n",
            "  Positions: so.\n",
            "\nFar from the others, or far outside what is stated (beyond 3.5 robust standard deviations, or standard errors; named, and in \
             every figure)\n\n",
            "  oak  north -4.000 ft, 3.6 from the median, 8.0 of its standard errors: both speak: look for a blunder\n",
            "  oak  up +1.500 ft, no standard error stated: the other errors speak\n",
            "\nnote     One.\n",
            "note     Two.\n",
            &format!("caution  {CAUTION}\n"),
        ];
        assert_eq!(text(&invented(), in_feet(), "--json lists all").unwrap(), want.concat());
    }

    #[test]
    fn parts_with_nothing_in_them_are_left_out() {
        let found = Assessment {
            points: 1,
            check_points: 2,
            tested: 1,
            ambiguous: Vec::new(),
            unmatched: Vec::new(),
            held: vec![left(None, 4)],
            errors: ErrorMoments { up: None, ..invented().errors },
            standards: Vec::new(),
            verdicts: Vec::new(),
            outliers: Vec::new(),
            notes: Vec::new(),
            ..invented()
        };
        let said = text(&found, Units::default().length(), "").unwrap();
        let lines: Vec<&str> = said.lines().collect();
        let heading = "Errors, tested minus check, in metres on the ground (east and north true)";
        assert_eq!(
            lines[..7],
            [
                "tested   out/site.gpkg, layer features: 1 point in EPSG:32630",
                "against  checks.csv: 2 check points in EPSG:4326",
                "matched  14 by the field tree; 1 point tested",
                "held     1",
                "           line 4: reason 4",
                "",
                heading
            ]
        );
        // 1.5 ft, 2 ft, 2.5 ft, -1 ft and 3 ft.
        assert_eq!(lines[9], "  east         2    +0.457     0.610     0.762    -0.305    +0.914");
        assert!(lines[11].starts_with("  radial"));
        assert_eq!(lines[12..15], ["", "Accuracy by public standards", ""]);
        assert_eq!(lines[15..], [format!("  {BEFORE_A_CLAIM}"), String::new(), format!("caution  {CAUTION}")]);
    }

    #[test]
    fn errors_as_a_table() {
        let written = String::from_utf8(errors_csv(&invented().point_errors).unwrap()).unwrap();
        let want = [
            "name,check_line,base,source,error_east_m,error_north_m,error_horizontal_m,error_up_m,height_kind,square_horizontal,\
             square_vertical,inside_ellipse95,inside_height95,outlying\n",
            "oak,7,B1,log.csv:7,0.9144,-1.2192,1.524,0.4572,ellipsoidal,4,9.1235,true,false,north up\n",
            "elm,9,,,0,0.3048,0.3048,,,,,,,\n",
        ];
        assert_eq!(written, want.concat());
    }
}
