//! One text of a date, a time of day or both, taken apart.
//!
//! Standard forms (ISO 8601, RFC 3339) go another way, through a parser of their own; here is what people and programs write beside
//! them: signs and blanks in any place, names of months, AM and PM, `12h30`, `12.30`, day numbers of spreadsheets, compact digits, epoch
//! seconds. A text that is not understood as a whole is not understood.

use jiff::Timestamp;
use jiff::civil::{Date, Time};
use jiff::tz::Offset;

use super::item::DateItem;
use super::time_of_day::{compact_time, take_half, take_time, time_of_items};
use super::tokens::{Number, Sign, Token, Word, take_offset, tokens};
use super::{DateSaid, DayWritten, Numbers, Style, from_serial, time_from_fraction, words};

/// Longest text that may be a date or time.
const LONGEST: usize = 64;

/// Reads a date, a date and time, or a time of day with signs that no date has.
pub fn parse(text: &str) -> Option<DateSaid> {
    if text.len() > LONGEST {
        return None;
    }
    if let Some(said) = bare_number(text.trim()) {
        return Some(said);
    }
    let mut tokens = tokens(text);
    let offset = take_offset(&mut tokens);
    let half = take_half(&mut tokens);
    let (time, offset) = take_time(&mut tokens, half, offset).ok()?;
    let items = items(&tokens)?;
    if items.is_empty() {
        return Some(DateSaid { day: DayWritten::None, time: Some(time?), offset });
    }
    let (day, rest) = day(&items)?;
    let time = match (time, rest) {
        (time, []) => time,
        (Some(_), _) => return None,
        (None, rest) => Some(time_of_items(rest, half)?),
    };
    (time.is_some() || (offset.is_none() && half.is_none())).then_some(DateSaid { day, time, offset })
}

/// Reads the time of day that stands beside a date; a date before it is passed by.
pub fn parse_time(text: &str, style: &Style) -> Option<(Time, Option<Offset>)> {
    if text.len() > LONGEST {
        return None;
    }
    let mut tokens = tokens(text);
    let offset = take_offset(&mut tokens);
    let half = take_half(&mut tokens);
    let (time, offset) = take_time(&mut tokens, half, offset).ok()?;
    let items = items(&tokens)?;
    match (time, items.as_slice()) {
        (Some(time), []) => return Some((time, offset)),
        (None, items) if half.is_none() && offset.is_none() => match fraction(text.trim()) {
            Some(fraction) => match (fraction.is_doubtful, style.fractions) {
                (true, None) => return None,
                (true, Some(false)) => return Some((time_of_items(items, half)?, offset)),
                _ => return Some((time_from_fraction(fraction.days)?, None)),
            },
            None => {
                if let Some(time) = time_of_items(items, half) {
                    return Some((time, offset));
                }
            }
        },
        (None, items) => {
            if let Some(time) = time_of_items(items, half) {
                return Some((time, offset));
            }
        }
        _ => {}
    }
    let said = parse(text)?;
    match said.day {
        DayWritten::Instant(_) => None,
        _ => Some((said.time?, said.offset)),
    }
}

/// A time of day as a fraction of a day.
pub(super) struct Fraction {
    days: f64,
    /// Whether it may be hours and minutes as well: `0.25`.
    pub is_doubtful: bool,
}

/// A fraction of a day below one: `0.545`, `0,5`, `.25`.
pub(super) fn fraction(text: &str) -> Option<Fraction> {
    let (head, tail) = text.split_once(['.', ','])?;
    if !matches!(head, "" | "0") || tail.is_empty() || !is_digits(tail) {
        return None;
    }
    Some(Fraction { days: format!("0.{tail}").parse().ok()?, is_doubtful: tail.len() == 2 && head == "0" })
}

fn is_digits(text: &str) -> bool {
    text.bytes().all(|byte| byte.is_ascii_digit())
}

/// A number alone: a day number of a spreadsheet, epoch seconds or milliseconds, compact digits with their time.
fn bare_number(text: &str) -> Option<DateSaid> {
    let (head, tail) = text.split_once(['.', ',']).unwrap_or((text, ""));
    if head.is_empty() || !is_digits(head) || !is_digits(tail) {
        return None;
    }
    let said = |day, time| Some(DateSaid { day, time, offset: None });
    match (head.len(), tail.len()) {
        (5, _) => {
            let (date, time) = from_serial(format!("{head}.{tail}0").parse().ok()?)?;
            said(DayWritten::Known(date), (!tail.is_empty()).then_some(time))
        }
        (10, 0..=9) => {
            let nanoseconds = format!("{tail:0<9}").parse().ok()?;
            said(DayWritten::Instant(Timestamp::new(head.parse().ok()?, nanoseconds).ok()?), None)
        }
        (13, 0) => said(DayWritten::Instant(Timestamp::from_millisecond(head.parse().ok()?).ok()?), None),
        (12 | 14, _) => {
            let (day, time) = head.split_at(8);
            said(compact_day(day)?, Some(compact_time(time, tail)?))
        }
        (8 | 6, 0) => said(compact_day(head)?, None),
        _ => None,
    }
}

/// Six or eight digits of a day.
fn compact_day(digits: &str) -> Option<DayWritten> {
    let number = |range: std::ops::Range<usize>| digits.get(range)?.parse::<i16>().ok();
    if digits.len() == 6 {
        let parts = [number(0..2)?, number(2..4)?, number(4..6)?];
        return Some(DayWritten::Numbers(Numbers { parts, digits: [2; 3], may_begin_with_year: true }));
    }
    let (year, month, day) = (number(0..4)?, number(4..6)?, number(6..8)?);
    if (1900..=2100).contains(&year)
        && let Ok(date) = Date::new(year, month as i8, day as i8)
    {
        return Some(DayWritten::Known(date));
    }
    let parts = [number(0..2)?, number(2..4)?, number(4..8)?];
    Some(DayWritten::Numbers(Numbers { parts, digits: [2, 2, 4], may_begin_with_year: false }))
}

/// The numbers and months that are left, with their signs; none where anything else is.
fn items(tokens: &[Token]) -> Option<Vec<DateItem>> {
    let mut found: Vec<DateItem> = Vec::new();
    let mut sign = ' ';
    for token in tokens {
        match token {
            Sign(' ') => {}
            Sign(c @ ('/' | '.' | '-' | ',' | '\'' | '_')) => sign = *c,
            Sign(':') if matches!(found.last(), Some(DateItem::Number { digits: 4, .. })) => {}
            Sign(_) => return None,
            Number(value, digits, _) => {
                found.push(DateItem::Number { value: *value, digits: *digits, sign });
                sign = ' ';
            }
            Word(word) => {
                match words::month(word) {
                    Some(month) => found.push(DateItem::Month { month, is_also_a_day: words::is_day(word) }),
                    None if words::is_small(word) => {}
                    None => return None,
                }
                sign = ' ';
            }
        }
    }
    let months = found.iter().filter(|item| matches!(item, DateItem::Month { .. })).count();
    if months == 2 {
        let first = found.iter().position(|item| matches!(item, DateItem::Month { is_also_a_day: true, .. }))?;
        found.remove(first);
    }
    (months <= 2).then_some(found)
}

/// The day that items begin with, and the items behind it.
fn day(items: &[DateItem]) -> Option<(DayWritten, &[DateItem])> {
    let year_of = |value: i64, digits: u8| match digits {
        4 => i16::try_from(value).ok(),
        2 if value < 69 => i16::try_from(2000 + value).ok(),
        2 => i16::try_from(1900 + value).ok(),
        _ => None,
    };
    let named = |day: i64, month: u8, year: Option<i16>| {
        Date::new(year?, month as i8, i8::try_from(day).ok()?).ok().map(DayWritten::Known)
    };
    match items {
        [
            DateItem::Month { month, .. },
            DateItem::Number { value: day, digits: 1 | 2, .. },
            DateItem::Number { value: year, digits, .. },
            rest @ ..,
        ] => Some((named(*day, *month, year_of(*year, *digits))?, rest)),
        [
            DateItem::Number { value: a, digits: da, .. },
            DateItem::Month { month, .. },
            DateItem::Number { value: b, digits: db, .. },
            rest @ ..,
        ] => {
            let is_year_first = *da == 4 || (*da == 2 && *a > 31);
            let day = match is_year_first {
                true => named(*b, *month, year_of(*a, *da)),
                false => named(*a, *month, year_of(*b, *db)),
            };
            Some((day?, rest))
        }
        [DateItem::Number { value, digits: digits @ (6 | 8), .. }, rest @ ..] => {
            let width = usize::from(*digits);
            Some((compact_day(&format!("{value:0width$}"))?, rest))
        }
        [
            DateItem::Number { value: a, digits: da, .. },
            DateItem::Number { value: b, digits: db @ (1 | 2), sign: first },
            DateItem::Number { value: c, digits: dc, sign: second },
            rest @ ..,
        ] => {
            if *da == 4 {
                return Some((named(*c, u8::try_from(*b).ok()?, year_of(*a, 4)).filter(|_| *dc <= 2)?, rest));
            }
            let is_year = matches!(dc, 2 | 4) || (*dc == 1 && *da == 2);
            if *da > 2 || !is_year {
                return None;
            }
            let part = |value: i64| i16::try_from(value).ok();
            let numbers = Numbers {
                parts: [part(*a)?, part(*b)?, part(*c)?],
                digits: [*da, *db, *dc],
                may_begin_with_year: *first == '-' && *second == '-',
            };
            Some((DayWritten::Numbers(numbers), rest))
        }
        _ => None,
    }
}
