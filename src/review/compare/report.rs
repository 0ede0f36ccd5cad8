//! What a comparison found, as text for a person.

use std::fmt::Write;

use super::{CAUTION, Change, Comparison, Mapping};
use crate::numeric::words::counted;
use crate::units::Units;

/// Names that are listed each; more are counted.
const LISTED: usize = 20;

/// All of it for a person: features that changed first, the others counted.
///
/// # Errors
/// Never; writing to a string cannot fail.
pub fn text(found: &Comparison, units: &Units, lists_all: &str) -> Result<String, std::fmt::Error> {
    let mut text = String::new();
    for (letter, side) in [("A", &found.a), ("B", &found.b)] {
        let times = match (&side.first_time, &side.last_time) {
            (Some(first), Some(last)) => format!(", shot {first} to {last}"),
            _ => String::new(),
        };
        writeln!(
            text,
            "{letter}        {}, layer {}: {} in {}{times}",
            side.file,
            side.layer,
            counted(side.points as u64, "point", "points"),
            side.crs
        )?;
    }
    let count = |is: fn(&Change) -> bool| found.changes.iter().filter(|change| is(change)).count();
    let changed = count(is_changed);
    writeln!(
        text,
        "matched  {} {}: {changed} changed, {} without significant change, {} not tested",
        found.changes.len(),
        found.matched_by,
        count(|change| change.mark == "no significant change"),
        count(|change| change.mark == "not tested")
    )?;
    writeln!(
        text,
        "tests    {} of positions, heights and measured values at {:.0} % for all of them together, by {}'s correction",
        found.tests,
        100.0 * found.family_level,
        found.correction
    )?;
    if changed > 0 {
        let width = found.changes.iter().filter(|change| is_changed(change)).map(|change| change.feature.chars().count());
        let width = width.max().unwrap_or(0).max(7);
        writeln!(
            text,
            "\nChanged, B minus A, in {} on the ground (east and north true); p after correction\n",
            units.length().words
        )?;
        writeln!(text, "  {:<width$}      east     north        up     p hor     p ver  mark", "feature")?;
        for change in found.changes.iter().filter(|change| is_changed(change)) {
            let metres = |value: Option<f64>| {
                value.map_or_else(|| "-".to_owned(), |metres| format!("{:+.3}", units.length().value(metres)))
            };
            writeln!(
                text,
                "  {:<width$} {:>9} {:>9} {:>9} {:>9} {:>9}  {}",
                change.feature,
                metres(Some(change.east_m)),
                metres(Some(change.north_m)),
                metres(change.up_m),
                chance(change.corrected_horizontal),
                chance(change.corrected_vertical),
                change.mark
            )?;
        }
    }
    write_values(&mut text, found, units)?;
    sides(&mut text, found, lists_all)?;
    writeln!(text)?;
    for note in &found.notes {
        writeln!(text, "note     {note}")?;
    }
    writeln!(text, "assumed  {}", found.assumption)?;
    writeln!(text, "caution  {CAUTION}")?;
    Ok(text)
}

/// Whether a feature changed beyond what uncertainty explains.
pub fn is_changed(change: &Change) -> bool {
    !matches!(change.mark, "no significant change" | "not tested")
}

/// A probability: three decimals, or that it is smaller.
pub fn chance(probability: Option<f64>) -> String {
    match probability {
        None => "-".to_owned(),
        Some(probability) if probability < 0.001 => "<0.001".to_owned(),
        Some(probability) => format!("{probability:.3}"),
    }
}

fn write_values(text: &mut String, found: &Comparison, units: &Units) -> std::fmt::Result {
    if found.values.is_empty() {
        return Ok(());
    }
    writeln!(
        text,
        "\nMeasured values, A to B; p after {}'s correction over all {}\n",
        found.correction,
        counted(found.tests as u64, "test", "tests")
    )?;
    for value in &found.values {
        let sigma =
            value.sigma.map_or_else(|| "not known".to_owned(), |sigma| format!("{:.3}", units.value(&value.quantity, sigma)));
        writeln!(
            text,
            "  {} {} {}  {:.3} to {:.3}: {:+.3}, standard error {sigma}, p {}  {}",
            value.measure,
            value.name,
            units.name(&value.quantity),
            units.value(&value.quantity, value.a),
            units.value(&value.quantity, value.b),
            units.value(&value.quantity, value.difference),
            chance(value.corrected),
            value.mark
        )?;
    }
    Ok(())
}

fn sides(text: &mut String, found: &Comparison, lists_all: &str) -> std::fmt::Result {
    let mut lists: Vec<(String, &[String])> = Vec::new();
    for (letter, side) in [("A", &found.a), ("B", &found.b)] {
        let Mapping { only_here, ambiguous, .. } = side;
        lists.push((format!("only in {letter}"), only_here));
        lists.push((format!("ambiguous in {letter}"), ambiguous));
    }
    lists.push(("values only in A".to_owned(), &found.values_only_a));
    lists.push(("values only in B".to_owned(), &found.values_only_b));
    let mut is_first = true;
    for (title, names) in lists.into_iter().filter(|(_, names)| !names.is_empty()) {
        if std::mem::take(&mut is_first) {
            writeln!(text)?;
        }
        let more = if names.len() > LISTED { format!(", and {} more; {lists_all}", names.len() - LISTED) } else { String::new() };
        let shown: Vec<&str> = names.iter().take(LISTED).map(String::as_str).collect();
        writeln!(text, "{title}: {} ({}{more})", names.len(), shown.join(", "))?;
    }
    Ok(())
}
