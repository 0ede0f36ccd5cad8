//! A plan as text for the terminal and the crew's sheet.

use std::fmt::Write;

use super::Axis;
use super::errors::Origin;
use super::height::HeightPlan;
use super::report::{Cell, Report, Shares, about, ceiling, floor};
use crate::output::report::styled::{FAINT, HELD as CAUTION, STRONG};

/// Widths of a cell of the table, and of one of the shares.
const CELL: usize = 17;
const SHARE: usize = 11;

/// Letters in a line of running text.
const LINE: usize = 100;

/// The whole sheet.
pub fn text(report: &Report) -> String {
    let mut text = String::new();
    // Writing to a String does not fail.
    let _ = write_all(&mut text, report);
    text
}

fn write_all(text: &mut String, report: &Report) -> std::fmt::Result {
    if let Some(title) = &report.title {
        writeln!(text, "{STRONG}{title}{STRONG:#}\n")?;
    }
    writeln!(text, "{STRONG}standard errors{STRONG:#}")?;
    for (name, sigma, unit) in report.errors.listed() {
        let origin = match sigma.origin {
            Origin::Given => "given",
            Origin::Job => "from the job",
            Origin::Assumed => "assumed",
        };
        writeln!(text, "  {name:<18} {:>7} {unit:<4} {FAINT}{origin}{FAINT:#}", sigma.value)?;
    }
    for note in &report.notes {
        paragraph(text, "  note  ", 8, note)?;
    }
    table(text, report)?;
    shares(text, report)?;
    for dominance in &report.dominance {
        paragraph(text, &format!("  {:<10}  ", dominance.axis.word()), 14, &dominance.sentence())?;
    }
    for axis in Axis::ALL {
        let mut standoffs = report.farthest.iter().filter(|standoff| standoff.axis == axis).peekable();
        if let Some(first) = standoffs.peek() {
            let tolerance = first.tolerance_m;
            writeln!(text, "\n{STRONG}farthest slope distance for {tolerance} m {}, 95 %{STRONG:#}", axis.word())?;
        }
        for standoff in standoffs {
            let words = standoff.words(report.errors.greatest_distance_m);
            writeln!(text, "  {:>6} deg  {words}", standoff.inclination_deg)?;
        }
    }
    if let Some(plan) = &report.height_measurement {
        height(text, plan)?;
    }
    writeln!(text)?;
    for caution in &report.cautions {
        paragraph(text, &format!("{CAUTION}caution{CAUTION:#}  "), 9, caution)?;
    }
    Ok(())
}

/// Running text behind its head, which is `indent` letters wide, cut between words.
fn paragraph(text: &mut String, head: &str, indent: usize, words: &str) -> std::fmt::Result {
    write!(text, "{head}")?;
    let mut column = indent;
    for word in words.split(' ') {
        let width = word.chars().count();
        if column > indent && column + 1 + width > LINE {
            write!(text, "\n{:indent$}", "")?;
            column = indent;
        } else if column > indent {
            write!(text, " ")?;
            column += 1;
        }
        write!(text, "{word}")?;
        column += width;
    }
    writeln!(text)
}

/// The cells of each distance.
fn rows(report: &Report) -> impl Iterator<Item = &[Cell]> {
    report.table.chunk_by(|a, b| a.slope_distance_m == b.slope_distance_m)
}

fn table(text: &mut String, report: &Report) -> std::fmt::Result {
    writeln!(text, "\n{STRONG}95 % uncertainty, horizontal / vertical, metres{STRONG:#}")?;
    write!(text, "  slope distance ")?;
    for cell in rows(report).next().unwrap_or_default() {
        write!(text, "{:>CELL$}", format!("{} deg", cell.inclination_deg))?;
    }
    writeln!(text)?;
    for cells in rows(report) {
        write!(text, "  {:>12} m ", cells[0].slope_distance_m)?;
        for cell in cells {
            write!(text, "{:>CELL$}", format!("{:.2} / {:.2}", cell.radius95_m, cell.height95_m))?;
        }
        writeln!(text)?;
    }
    Ok(())
}

fn shares(text: &mut String, report: &Report) -> std::fmt::Result {
    let Some(first) = report.table.first() else { return Ok(()) };
    writeln!(
        text,
        "\n{STRONG}what dominates at {} deg: base / direction / distance, percent of the variance{STRONG:#}",
        first.inclination_deg
    )?;
    writeln!(text, "  slope distance {:>CELL$}{:>CELL$}", Axis::Horizontal.word(), Axis::Vertical.word())?;
    let of = |shares: &Shares| {
        let [base, direction, distance] = [shares.base, shares.direction, shares.distance].map(|share| 100.0 * share);
        format!("{:>SHARE$}", format!("{base:.0} / {direction:.0} / {distance:.0}"))
    };
    for cell in rows(report).filter_map(<[Cell]>::first) {
        let (horizontal, vertical) = (of(&cell.horizontal_shares), of(&cell.vertical_shares));
        writeln!(text, "  {:>12} m {horizontal:>CELL$}{vertical:>CELL$}", cell.slope_distance_m)?;
    }
    Ok(())
}

fn height(text: &mut String, plan: &HeightPlan) -> std::fmt::Result {
    let object = plan.object;
    let side = if object.below_m < 0.0 { "above" } else { "below" };
    writeln!(
        text,
        "\n{STRONG}height of an object of {} m by a distance and two inclinations, its foot {} m {side} the instrument{STRONG:#}",
        object.object_height_m,
        object.below_m.abs()
    )?;
    let standoff = about(plan.standoff_m);
    let nature = if plan.is_inside { "" } else { "; it still falls there: the range of distances ends" };
    writeln!(
        text,
        "  least error    {:.2} m (95 %) from {standoff} horizontal distance{nature}; top at {:.0} deg, foot at {:.0} deg",
        plan.error95_m, plan.top_inclination_deg, plan.foot_inclination_deg
    )?;
    for (word, factor, error95_m) in [("half", 0.5, plan.half_error95_m), ("double", 2.0, plan.double_error95_m)] {
        let distance = format!("{word} of that");
        writeln!(text, "  {distance:<14} {error95_m:.2} m from {}", about(factor * plan.standoff_m))?;
    }
    match (plan.tolerance_m, plan.within_m) {
        (Some(tolerance_m), Some([near_m, far_m])) => {
            writeln!(text, "  tolerance      {tolerance_m} m is met from {} m to {} m", ceiling(near_m), floor(far_m))?;
        }
        (Some(tolerance_m), None) => {
            writeln!(text, "  tolerance      {tolerance_m} m is met from nowhere: a better inclination or distance is needed")?;
        }
        _ => {}
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn running_text_is_cut_between_words() {
        let words = ["word"; 60].join(" ");
        let mut text = String::new();
        paragraph(&mut text, "  head  ", 8, &words).unwrap();
        assert!(text.lines().count() > 1 && text.lines().all(|line| line.chars().count() <= LINE), "{text}");
        assert!(text.lines().skip(1).all(|line| line.starts_with("        word")), "{text}");
        assert_eq!(text.split_whitespace().skip(1).collect::<Vec<_>>().join(" "), words);
    }
}
