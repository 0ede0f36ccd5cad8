//! What the dates and times of a log leave open: the clock, and the order of day, month and year.

use super::sample::Sample;
use super::words;
use crate::intake::dates::evidence::{DateEvidence, OpenDates};
use crate::intake::dates::{DayWritten, Style, parse, parse_time};
use crate::job::DateOrder;

/// Whether a time names no zone of its own.
pub fn wants_zone(cell: &str) -> bool {
    let cell = cell.trim();
    if let Some(said) = parse(cell).filter(|said| said.time.is_some()) {
        return said.offset.is_none() && !matches!(said.day, DayWritten::Instant(_));
    }
    // Beside a date.
    let is_day =
        parse(cell).is_some_and(|said| matches!(said.day, DayWritten::Known(_))) || cell.matches(['.', '/', '-']).count() == 2;
    (!is_day || cell.chars().any(char::is_alphabetic))
        && parse_time(cell, &Style::default()).is_some_and(|(_, offset)| offset.is_none())
}

/// Whether most values of a column are days.
pub fn has_days(sample: &Sample, column: usize) -> bool {
    most(sample, column, |cell| parse(cell).is_some_and(|said| said.day != DayWritten::None))
}

/// Whether most values of a column are times of day, perhaps behind a day.
pub fn has_times(sample: &Sample, column: usize) -> bool {
    most(sample, column, |cell| {
        parse(cell).is_some_and(|said| said.time.is_some() || matches!(said.day, DayWritten::Instant(_)))
            || parse_time(cell, &Style::default()).is_some()
    })
}

fn most(sample: &Sample, column: usize, is: impl Fn(&str) -> bool) -> bool {
    let filled: Vec<&str> = sample.filled(column).take(200).collect();
    !filled.is_empty() && filled.iter().filter(|cell| is(cell)).count() * 2 > filled.len()
}

/// Whether the header of a column of times says that they are of UTC.
pub fn is_utc(header: &str) -> bool {
    words::split(header).iter().any(|word| matches!(word.as_str(), "utc" | "gmt" | "zulu"))
}

/// A value whose day and month may change places, its line, and the two orders with the days that they give.
pub type OpenOrder = (String, u64, [(DateOrder, String); 2]);

/// What a column of dates leaves open.
pub fn open_order(sample: &Sample, column: usize) -> Option<OpenOrder> {
    let mut seen = DateEvidence::default();
    for (row, line) in sample.rows.iter().zip(&sample.lines) {
        seen.take_date(&row[column], *line);
    }
    match seen.settle(None).1 {
        Some(OpenDates::Order((line, value), days)) => {
            let days = days.map(|(order, day)| (order, day.strftime("%-d %B %Y").to_string()));
            Some((value, line, days))
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_without_a_zone() {
        for cell in ["9h10", "08:20", "kl. 09.03.00", "2026-05-04 09:12:10", "8:20 AM"] {
            assert!(wants_zone(cell), "{cell}");
        }
        for cell in ["2026-05-04T09:12:10Z", "2026-05-04T09:12:10+02:00", "14.08.2026", "oak"] {
            assert!(!wants_zone(cell), "{cell}");
        }
        assert!(is_utc("Time (UTC)") && is_utc("utc_time") && !is_utc("Uhrzeit"));
    }
}
