//! A plan as text for the terminal and the crew's sheet, in the reader's units and as wide as the terminal.

use std::fmt::Write;

use super::Axis;
use super::errors::ValueOrigin;
use super::height::HeightPlan;
use super::report::{PlanCell, PlanReport, VarianceShares, about, ceiling, floor};
use crate::output::report::styled::{FAINT, HELD as CAUTION, STRONG};
use crate::units::{Shown, Units};

/// Widths of the head of a table's row, of a cell, and of one of the shares.
const HEAD: usize = 17;
const CELL: usize = 17;
const SHARE: usize = 11;

/// Letters in a line of running text, at most, and at least: a narrower terminal breaks it by itself.
const LINE: usize = 100;
const SHORTEST: usize = 40;

/// How the sheet is written.
struct SheetLook {
    units: Units,
    length: Shown,
    angle: Shown,
    /// Letters in a line.
    line: usize,
}

impl SheetLook {
    /// An angle that somebody gave, with its unit.
    fn angle(&self, degrees: f64) -> String {
        format!("{} {}", self.angle.given(degrees), self.angle.suffix)
    }

    /// A length that somebody gave, with its unit.
    fn length(&self, metres: f64) -> String {
        format!("{} {}", self.length.given(metres), self.length.sign)
    }
}

/// The whole sheet, for a terminal of so many columns.
pub fn text(report: &PlanReport, units: &Units, columns: usize) -> String {
    let look = SheetLook { units: *units, length: units.length(), angle: units.angle(), line: columns.clamp(SHORTEST, LINE) };
    let mut text = String::new();
    // Writing to a String does not fail.
    let _ = write_all(&mut text, report, &look);
    text
}

fn write_all(text: &mut String, report: &PlanReport, look: &SheetLook) -> std::fmt::Result {
    if let Some(title) = &report.title {
        heading(text, look, title)?;
        writeln!(text)?;
    }
    heading(text, look, "standard errors")?;
    let unit_width = look.length.sign.len().max(4);
    for (name, sigma, unit) in report.errors.listed() {
        let origin = match sigma.origin {
            ValueOrigin::Given => "given",
            ValueOrigin::Job => "from the job",
            ValueOrigin::Assumed => "assumed",
        };
        let (number, unit) = match look.units.of_unit(unit) {
            Some(shown) => (shown.given(sigma.value), shown.word()),
            None => (sigma.value.to_string(), unit),
        };
        writeln!(text, "  {name:<18} {number:>7} {unit:<unit_width$} {FAINT}{origin}{FAINT:#}")?;
    }
    for note in &report.errors.notes(&look.units) {
        paragraph(text, look, "  note  ", 8, note)?;
    }
    write_table(text, report, look)?;
    shares(text, report, look)?;
    for dominance in &report.dominance {
        paragraph(text, look, &format!("  {:<10}  ", dominance.axis.word()), 14, &dominance.sentence(&look.length))?;
    }
    for axis in Axis::ALL {
        let mut standoffs = report.farthest.iter().filter(|standoff| standoff.axis == axis).peekable();
        if let Some(first) = standoffs.peek() {
            writeln!(text)?;
            let tolerance = look.length(first.tolerance_m);
            heading(text, look, &format!("farthest slope distance for {tolerance} {}, 95 %", axis.word()))?;
        }
        for standoff in standoffs {
            let words = standoff.words(report.errors.greatest_distance_m, &look.length);
            let head = format!("  {:>6} {}  ", look.angle.given(standoff.inclination_deg), look.angle.suffix);
            paragraph(text, look, &head, head.len(), &words)?;
        }
    }
    if let Some(plan) = &report.height_measurement {
        height(text, plan, look)?;
    }
    writeln!(text)?;
    for caution in &report.cautions {
        paragraph(text, look, &format!("{CAUTION}caution{CAUTION:#}  "), 9, caution)?;
    }
    Ok(())
}

/// A heading, cut between words.
fn heading(text: &mut String, look: &SheetLook, words: &str) -> std::fmt::Result {
    let mut lines = String::new();
    paragraph(&mut lines, look, "", 0, words)?;
    lines.lines().try_for_each(|line| writeln!(text, "{STRONG}{line}{STRONG:#}"))
}

/// Running text behind its head, which is `indent` letters wide, cut between words.
fn paragraph(text: &mut String, look: &SheetLook, head: &str, indent: usize, words: &str) -> std::fmt::Result {
    write!(text, "{head}")?;
    let mut column = indent;
    for word in words.split(' ') {
        let width = word.chars().count();
        if column > indent && column + 1 + width > look.line {
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
fn rows(report: &PlanReport) -> impl Iterator<Item = &[PlanCell]> {
    report.table.chunk_by(|a, b| a.slope_distance_m == b.slope_distance_m)
}

/// The table; as many inclinations beside each other as a line holds, at least one.
fn write_table(text: &mut String, report: &PlanReport, look: &SheetLook) -> std::fmt::Result {
    writeln!(text)?;
    heading(text, look, &format!("95 % uncertainty, horizontal / vertical, {}", look.length.words))?;
    let inclinations = rows(report).next().map_or(0, <[PlanCell]>::len);
    let beside = (look.line.saturating_sub(HEAD) / CELL).max(1);
    for from in (0..inclinations).step_by(beside) {
        write!(text, "  slope distance ")?;
        let taken = |cells: &'_ [PlanCell]| -> Vec<PlanCell> { cells.iter().skip(from).take(beside).copied().collect() };
        for cell in rows(report).next().map(taken).unwrap_or_default() {
            write!(text, "{:>CELL$}", look.angle(cell.inclination_deg))?;
        }
        writeln!(text)?;
        for cells in rows(report).map(taken) {
            let Some(first) = cells.first() else { continue };
            write!(text, "  {:>14} ", look.length(first.slope_distance_m))?;
            for cell in &cells {
                let [place, height] = [cell.radius95_m, cell.height95_m].map(|metres| look.length.value(metres));
                write!(text, "{:>CELL$}", format!("{place:.2} / {height:.2}"))?;
            }
            writeln!(text)?;
        }
    }
    Ok(())
}

fn shares(text: &mut String, report: &PlanReport, look: &SheetLook) -> std::fmt::Result {
    let Some(first) = report.table.first() else { return Ok(()) };
    writeln!(text)?;
    let at = look.angle(first.inclination_deg);
    heading(text, look, &format!("what dominates at {at}: base / direction / distance, percent of the variance"))?;
    writeln!(text, "  slope distance {:>CELL$}{:>CELL$}", Axis::Horizontal.word(), Axis::Vertical.word())?;
    let of = |shares: &VarianceShares| {
        let [base, direction, distance] = [shares.base, shares.direction, shares.distance].map(|share| 100.0 * share);
        format!("{:>SHARE$}", format!("{base:.0} / {direction:.0} / {distance:.0}"))
    };
    for cell in rows(report).filter_map(<[PlanCell]>::first) {
        let (horizontal, vertical) = (of(&cell.horizontal_shares), of(&cell.vertical_shares));
        writeln!(text, "  {:>14} {horizontal:>CELL$}{vertical:>CELL$}", look.length(cell.slope_distance_m))?;
    }
    Ok(())
}

fn height(text: &mut String, plan: &HeightPlan, look: &SheetLook) -> std::fmt::Result {
    let object = plan.object;
    let side = if object.below_m < 0.0 { "above" } else { "below" };
    writeln!(text)?;
    let (high, foot) = (look.length(object.object_height_m), look.length(object.below_m.abs()));
    let words =
        format!("height of an object of {high} by a distance and two inclinations, its foot {foot} {side} the instrument");
    heading(text, look, &words)?;
    let mut line = |head: &str, words: &str| paragraph(text, look, &format!("  {head:<14} "), 17, words);
    let nature = if plan.is_inside { "" } else { "; it still falls there: the range of distances ends" };
    let [top, foot] = [plan.top_inclination_deg, plan.foot_inclination_deg]
        .map(|degrees| format!("{:.0} {}", look.angle.value(degrees), look.angle.suffix));
    let (least, standoff) = (look.length.said(plan.error95_m, 2), about(plan.standoff_m, &look.length));
    line("least error", &format!("{least} (95 %) from {standoff} horizontal distance{nature}; top at {top}, foot at {foot}"))?;
    for (word, factor, error95_m) in [("half", 0.5, plan.half_error95_m), ("double", 2.0, plan.double_error95_m)] {
        let from = about(factor * plan.standoff_m, &look.length);
        line(&format!("{word} of that"), &format!("{} from {from}", look.length.said(error95_m, 2)))?;
    }
    let Some(tolerance_m) = plan.tolerance_m else { return Ok(()) };
    let tolerance = look.length(tolerance_m);
    match plan.within_m {
        Some([near_m, far_m]) => {
            let (near, far) = (ceiling(look.length.value(near_m)), floor(look.length.value(far_m)));
            let sign = look.length.sign;
            line("tolerance", &format!("{tolerance} is met from {near} {sign} to {far} {sign}"))
        }
        None => line("tolerance", &format!("{tolerance} is met from nowhere: a better inclination or distance is needed")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn running_text_is_cut_between_words() {
        let words = ["word"; 60].join(" ");
        let units = Units::default();
        let look = SheetLook { units, length: units.length(), angle: units.angle(), line: LINE };
        let mut text = String::new();
        paragraph(&mut text, &look, "  head  ", 8, &words).unwrap();
        assert!(text.lines().count() > 1 && text.lines().all(|line| line.chars().count() <= LINE), "{text}");
        assert!(text.lines().skip(1).all(|line| line.starts_with("        word")), "{text}");
        assert_eq!(text.split_whitespace().skip(1).collect::<Vec<_>>().join(" "), words);
    }
}
