//! Held rows for the terminal: by reason, rows of which the same is to be said together, each with its place.
//! They stand below the line that counts their reason, among what needs a decision.

use std::collections::{BTreeMap, HashMap};
use std::fmt::Write;

use crate::numeric::words::{counted, grouped};
use crate::records::ledger::{Entry, Fault, Outcome, Reason};
use crate::records::shown::{message, visible};

/// Sentences shown of each reason; the rest is counted.
pub const SENTENCES_SHOWN: usize = 20;
/// Places shown of each sentence, a run of lines as one; the rest is counted.
pub const PLACES_SHOWN: usize = 8;

/// Rows of which the same is to be said.
struct HeldGroup<'e> {
    /// What is said of the first.
    sentence: &'e str,
    /// By file, in the order of the logs: the lines.
    places: Vec<(&'e str, Vec<u64>)>,
    count: usize,
}

/// Held rows with file and line, in lines below each reason.
pub fn rows(held: &[(String, Entry)]) -> BTreeMap<Reason, String> {
    let mut by_reason: BTreeMap<Reason, Vec<(&str, &Entry, &Fault)>> = BTreeMap::new();
    for (file, entry) in held {
        if let Outcome::Held(fault) = &entry.outcome {
            by_reason.entry(fault.reason).or_default().push((file, entry, fault));
        }
    }
    by_reason.into_iter().map(|(reason, rows)| (reason, lines(&rows))).collect()
}

/// The rows of one reason.
fn lines(rows: &[(&str, &Entry, &Fault)]) -> String {
    let mut text = String::new();
    let groups = groups(rows);
    for group in groups.iter().take(SENTENCES_SHOWN) {
        let said = message(group.sentence);
        let said = visible(&said);
        // Writing to a String does not fail.
        let _ = match group.count {
            1 => writeln!(text, "       {}: {said}", visible(&places(group))),
            count => writeln!(text, "       {} rows, such as: {said} ({})", grouped(count as u64), visible(&places(group))),
        };
    }
    if groups.len() > SENTENCES_SHOWN {
        let rest: usize = groups[SENTENCES_SHOWN..].iter().map(|group| group.count).sum();
        let _ = writeln!(text, "       and {} more", counted(rest as u64, "row", "rows"));
    }
    text
}

/// Rows whose sentences differ in the value alone, the most frequent first.
fn groups<'e>(rows: &[(&'e str, &'e Entry, &'e Fault)]) -> Vec<HeldGroup<'e>> {
    let mut groups: Vec<HeldGroup> = Vec::new();
    let mut known: HashMap<String, usize> = HashMap::new();
    for (file, entry, fault) in rows {
        let index = *known.entry(without_value(fault)).or_insert_with(|| {
            groups.push(HeldGroup { sentence: &fault.sentence, places: Vec::new(), count: 0 });
            groups.len() - 1
        });
        let group = &mut groups[index];
        group.count += 1;
        match group.places.iter_mut().find(|(known, _)| known == file) {
            Some((_, lines)) => lines.push(entry.line),
            None => group.places.push((file, vec![entry.line])),
        }
    }
    groups.sort_by_key(|group| std::cmp::Reverse(group.count));
    groups
}

/// A sentence with a mark in place of the value, and of the numbers that follow from it.
fn without_value(fault: &Fault) -> String {
    let sentence = match fault.value.is_empty() {
        true => fault.sentence.clone(),
        false => fault.sentence.replace(&fault.value, "\u{1f}"),
    };
    let mut plain = String::with_capacity(sentence.len());
    let mut number = String::new();
    for c in sentence.chars().chain(std::iter::once('\n')) {
        match c {
            '0'..='9' => number.push(c),
            '.' if !number.is_empty() && !number.contains('.') => number.push(c),
            _ => {
                // Measured numbers have decimals; others name limits, lines and days.
                match number.split_once('.') {
                    Some((_, part)) if !part.is_empty() => plain.push('\u{1e}'),
                    _ => plain.push_str(&number),
                }
                number.clear();
                plain.push(c);
            }
        }
    }
    plain
}

/// Where the rows of a group are: `notes.txt:2-46, 50; more.txt:3`.
fn places(group: &HeldGroup) -> String {
    let mut shown = 0;
    let mut rest = 0;
    let mut files = Vec::new();
    for (file, lines) in &group.places {
        let mut lines = lines.clone();
        lines.sort_unstable();
        let mut runs: Vec<(u64, u64)> = Vec::new();
        for line in &lines {
            match runs.last_mut() {
                Some((_, last)) if *last + 1 == *line => *last = *line,
                _ => runs.push((*line, *line)),
            }
        }
        let fits = PLACES_SHOWN.saturating_sub(shown).min(runs.len());
        rest += runs[fits..].iter().map(|(first, last)| last - first + 1).sum::<u64>();
        shown += fits;
        if fits > 0 {
            let words: Vec<String> = runs[..fits]
                .iter()
                .map(|(first, last)| if first == last { first.to_string() } else { format!("{first}-{last}") })
                .collect();
            files.push(format!("{file}:{}", words.join(", ")));
        }
    }
    let more = if rest > 0 { format!(" and {} more", grouped(rest)) } else { String::new() };
    format!("{}{more}", files.join("; "))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn entry(line: u64, value: &str, sentence: &str) -> (String, Entry) {
        let fault = Fault::new(Reason::NotATime, "Datum", value, sentence);
        ("notes.txt".to_owned(), Entry { file: 0, line, row: String::new(), outcome: Outcome::Held(fault) })
    }

    #[test]
    fn rows_of_one_sentence_stand_together() {
        let say = |day: &str| format!("Datum \"{day}\" is no date");
        let held: Vec<_> = [(2, "x1"), (3, "x2"), (4, "x3"), (9, "x9")].map(|(line, day)| entry(line, day, &say(day))).into();
        assert_eq!(rows(&held)[&Reason::NotATime], "       4 rows, such as: Datum \"x1\" is no date (notes.txt:2-4, 9)\n");
    }

    #[test]
    fn measured_numbers_make_no_other_sentence_and_limits_do() {
        let held = [
            entry(2, "12", "Distance is 12.00 m, but 13.25 m follow"),
            entry(3, "14", "Distance is 14.00 m, but 15.50 m follow"),
            entry(5, "7", "Bearing 7 is outside 0 to 400 gons"),
            entry(6, "8", "Bearing 8 is outside 0 to 360 degrees"),
        ];
        let rows = rows(&held);
        let lines: Vec<&str> = rows[&Reason::NotATime].lines().map(|line| &line[5..]).collect();
        assert_eq!(
            lines,
            [
                "  2 rows, such as: Distance is 12.00 m, but 13.25 m follow (notes.txt:2-3)",
                "  notes.txt:5: Bearing 7 is outside 0 to 400 gons",
                "  notes.txt:6: Bearing 8 is outside 0 to 360 degrees",
            ]
        );
    }
}
