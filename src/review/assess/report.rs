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
