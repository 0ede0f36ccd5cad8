//! What the crew asked for, for the terminal: the values of measured things, each with half of its 95 % interval.
//!
//! A table where the terminal is wide enough, else a line for each thing. Of each kind the first are shown, then the one with the widest
//! interval, and the rest is counted; a caution that belongs to a kind stands under it, once.

use std::collections::BTreeSet;
use std::fmt::Write;

use super::styled::{FAINT, HELD, STRONG};
use crate::geodesy::register::Estimate;
use crate::numeric::words::grouped;
use crate::output::layers::values::{KINDS, Thing, asked_for, kind_title, said_name};
use crate::output::numbers::{fixed, plus_minus};
use crate::records::shown::visible;
use crate::units::Units;

/// Things of a kind that are shown where not all are asked for.
pub const SHOWN: usize = 20;
/// Columns of a terminal below which each thing has a line of its own.
const NARROW: usize = 80;

/// How values are shown.
#[derive(Debug, Clone, Copy)]
pub struct ValuesShown {
    /// Their units.
    pub units: Units,
    /// Columns of the terminal.
    pub columns: usize,
    /// Whether all are shown.
    pub all: bool,
    /// What shows all, for where not all are shown: `--values shows all`.
    pub shows_all: &'static str,
}

/// The values of things, kind by kind.
pub fn told(things: &[Thing], look: &ValuesShown) -> String {
    let mut text = String::new();
    for (kind, quantities) in KINDS {
        let of_kind: Vec<&Thing> = things.iter().filter(|thing| thing.measure == kind && !thing.values.is_empty()).collect();
        if of_kind.is_empty() {
            continue;
        }
        let asked = &quantities[..asked_for(kind)];
        let asked: Vec<&str> =
            asked.iter().filter(|name| of_kind.iter().any(|thing| thing.value(name).is_some())).copied().collect();
        // Where a kind has none of what it is asked for, whatever is known of it.
        let asked = if asked.is_empty() { quantities.to_vec() } else { asked };
        // Writing to a String does not fail.
        let _ = kind_told(&mut text, kind, &of_kind, &asked, look);
    }
    text
}

fn kind_told(text: &mut String, kind: &str, things: &[&Thing], asked: &[&str], look: &ValuesShown) -> std::fmt::Result {
    let shown = if look.all { things.len() } else { things.len().min(SHOWN) };
    let title = kind_title(kind);
    let count = if things.len() > 1 { format!(" ({})", grouped(things.len() as u64)) } else { String::new() };
    let rows = &things[..shown];
    let mut as_table = String::new();
    if look.columns >= NARROW {
        write_table(&mut as_table, &format!("{title}{count}"), rows, asked, &look.units)?;
    }
    let is_table = !as_table.is_empty() && widest_line(&as_table) <= look.columns;
    if is_table {
        text.push_str(&as_table);
    } else {
        writeln!(text, "{STRONG}{}{STRONG:#}{count}", visible(&title))?;
        for thing in rows {
            let values = asked.iter().filter_map(|name| in_words(thing, name, &look.units)).collect::<Vec<_>>();
            writeln!(text, "  {}: {}{}", visible(&thing.name), values.join(", "), remark(thing, "; "))?;
        }
    }
    if shown < things.len() {
        let widest = widest(things, asked[0]).and_then(|thing| Some((thing, in_words(thing, asked[0], &look.units)?)));
        let worst = widest.map(|(thing, value)| format!("; the widest interval: {}, {value}", visible(&thing.name)));
        writeln!(
            text,
            "  {FAINT}and {} more{}; {}{FAINT:#}",
            grouped((things.len() - shown) as u64),
            worst.unwrap_or_default(),
            look.shows_all
        )?;
    }
    // Where a clearance or a volume stands, so does what must be read with it.
    for caution in things.iter().filter_map(|thing| thing.caution).collect::<BTreeSet<_>>() {
        writeln!(text, "  {HELD}caution{HELD:#}  {caution}")?;
    }
    Ok(())
}

/// Letters in the longest line, its styles left out.
fn widest_line(text: &str) -> usize {
    anstream::adapter::strip_str(text).to_string().lines().map(|line| line.chars().count()).max().unwrap_or(0)
}

/// The thing whose value has the widest interval; none where no interval is known.
fn widest<'t>(things: &[&'t Thing], quantity: &str) -> Option<&'t Thing> {
    let known =
        things.iter().filter_map(|thing| Some((*thing, thing.value(quantity)?.half95()))).filter(|(_, half)| half.is_finite());
    known.max_by(|(_, a), (_, b)| a.total_cmp(b)).map(|(thing, _)| thing)
}

fn write_table(text: &mut String, title: &str, rows: &[&Thing], asked: &[&str], units: &Units) -> std::fmt::Result {
    let heads: Vec<String> = asked
        .iter()
        .map(|name| match said_name(name, units) {
            (words, "") => words,
            (words, sign) => format!("{words}, {sign}"),
        })
        .collect();
    let names: Vec<String> = rows.iter().map(|thing| visible(&thing.name).into_owned()).collect();
    let cells: Vec<Vec<String>> = rows
        .iter()
        .map(|thing| {
            asked.iter().map(|name| thing.value(name).map_or(String::new(), |value| number(name, value, units))).collect()
        })
        .collect();
    let wide = |text: &str| text.chars().count();
    let first = names.iter().map(|name| wide(name) + 2).chain([wide(title)]).max().unwrap_or(0);
    let widths: Vec<usize> =
        (0..asked.len()).map(|k| cells.iter().map(|row| wide(&row[k])).chain([wide(&heads[k])]).max().unwrap_or(0)).collect();
    write!(text, "{STRONG}{}{STRONG:#}{}", visible(title), " ".repeat(first - wide(title)))?;
    for (head, width) in heads.iter().zip(&widths) {
        write!(text, "  {FAINT}{head:>width$}{FAINT:#}")?;
    }
    writeln!(text)?;
    for ((thing, name), cells) in rows.iter().zip(&names).zip(&cells) {
        write!(text, "  {name}{}", " ".repeat(first.saturating_sub(wide(name) + 2)))?;
        for (cell, width) in cells.iter().zip(&widths) {
            write!(text, "  {cell:>width$}")?;
        }
        writeln!(text, "{}", remark(thing, "  "))?;
    }
    Ok(())
}

/// A value with half of its interval; a count without decimals.
fn number(quantity: &str, value: Estimate, units: &Units) -> String {
    if value.sigma == 0.0 && value.value.fract() == 0.0 {
        return fixed(value.value, 0);
    }
    plus_minus(units.value(quantity, value.value), units.value(quantity, value.half95()))
}

/// `height 7.42 ± 0.31 m`.
fn in_words(thing: &Thing, quantity: &str, units: &Units) -> Option<String> {
    let number = number(quantity, thing.value(quantity)?, units);
    let (words, sign) = said_name(quantity, units);
    Some(format!("{words} {number} {sign}").trim_end().to_owned())
}

/// What must be read with a thing, in a word.
fn remark(thing: &Thing, before: &str) -> String {
    let against = thing.threshold.map(|(_, words)| words).filter(|words| !words.is_empty());
    let warned = (!thing.warnings.is_empty()).then_some("warning");
    let words: Vec<&str> = warned.into_iter().chain(against).collect();
    if words.is_empty() { String::new() } else { format!("{before}{HELD}{}{HELD:#}", words.join("; ")) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::output::layers::Times;
    use crate::units::LengthShown;

    fn tree(name: &str, height_m: f64, sigma_m: f64) -> Thing {
        Thing {
            measure: "height".into(),
            name: name.into(),
            code: None,
            values: vec![
                ("height_m", Estimate { value: height_m, sigma: sigma_m }),
                ("distance_m", Estimate { value: 30.0, sigma: 0.1 }),
            ],
            least_to: None,
            threshold: None,
            bases: "B1".into(),
            times: Times::default(),
            warnings: String::new(),
            conditions: None,
            caution: None,
            source_file: "trees.csv".into(),
            source_line: 2,
        }
    }

    fn plain(things: &[Thing], look: &ValuesShown) -> String {
        anstream::adapter::strip_str(&told(things, look)).to_string()
    }

    const WIDE: ValuesShown = ValuesShown {
        units: Units { length: LengthShown::M, area: None, volume: None, angle: crate::units::AngleShown::Deg },
        columns: 120,
        all: false,
        shows_all: "--values shows all",
    };

    #[test]
    fn a_table_where_it_is_wide_and_lines_where_it_is_narrow() {
        let mut things = vec![tree("T1", 7.4183, 0.16), tree("T22", 18.3, 0.5)];
        things[1].warnings = "The top is steep.".into();
        let want = "Heights (2)     height, m\n  T1          7.42 ± 0.31\n  T22         18.30 ± 0.98  warning\n";
        let squeezed = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
        let got = plain(&things, &WIDE);
        assert_eq!(squeezed(&got), squeezed(want), "{got}");
        // The columns stand under each other.
        let ends: Vec<usize> = got.lines().take(2).map(|line| line.chars().count()).collect();
        assert_eq!(ends[0], ends[1], "{got}");
        let narrow = plain(&things, &ValuesShown { columns: 40, ..WIDE });
        assert_eq!(narrow, "Heights (2)\n  T1: height 7.42 ± 0.31 m\n  T22: height 18.30 ± 0.98 m; warning\n");
        // A table that is wider than the terminal is none.
        things[0].name = "a tree with the longest name of all that stand in that wood, by the old wall over the brook".into();
        let lines = plain(&things, &ValuesShown { columns: 90, ..WIDE });
        assert!(lines.contains("  T22: height 18.30 ± 0.98 m; warning\n"), "{lines}");
        assert!(plain(&things, &WIDE).contains("height, m\n"));
    }

    #[test]
    fn the_first_twenty_the_widest_and_the_rest() {
        let mut things: Vec<Thing> = (0..50).map(|i| tree(&format!("T{i}"), 10.0, 0.1)).collect();
        things[44] = tree("T44", 12.0, 0.4);
        let text = plain(&things, &WIDE);
        assert_eq!(text.lines().count(), 1 + SHOWN + 1, "{text}");
        assert!(text.ends_with("  and 30 more; the widest interval: T44, height 12.00 ± 0.78 m; --values shows all\n"), "{text}");
        let all = plain(&things, &ValuesShown { all: true, ..WIDE });
        assert_eq!(all.lines().count(), 51);
        // Twenty and no more are shown without a rest.
        assert!(!plain(&things[..SHOWN], &WIDE).contains("more"));
    }

    #[test]
    fn a_caution_stands_once_under_what_it_belongs_to() {
        let mut things = vec![tree("T1", 7.0, 0.1), tree("T2", 8.0, 0.1)];
        assert!(!plain(&things, &WIDE).contains("caution"));
        for thing in &mut things {
            thing.caution = Some("Keep away from the line.");
        }
        for columns in [40, 120] {
            let text = plain(&things, &ValuesShown { columns, ..WIDE });
            assert_eq!(text.matches("caution").count(), 1, "{text}");
            assert!(text.ends_with("\n  caution  Keep away from the line.\n"), "{text}");
        }
    }

    #[test]
    fn values_are_in_the_units_of_the_crew() {
        let units = Units { length: LengthShown::Ft, ..Units::default() };
        // 3.048 m and 0.1 m are 10 ft and 0.328 ft; half of the interval is 1.96 times that, 0.643 ft.
        let text = plain(&[tree("T1", 3.048, 0.1)], &ValuesShown { units, ..WIDE });
        assert!(text.contains("height, ft") && text.contains("10.00 ± 0.64"), "{text}");
    }

    #[test]
    fn names_are_shown_and_not_obeyed() {
        let text = told(&[tree("T\u{1b}[2J\u{202e}1", 7.0, 0.1)], &WIDE);
        assert!(text.contains("T\\u{1b}[2J\\u{202e}1"), "{text}");
    }
}
