//! One text of a date, a time of day or both, taken apart.
//!
//! Standard forms (ISO 8601, RFC 3339) go another way, through a parser of their own; here is what people and programs write beside
//! them: signs and blanks in any place, names of months, AM and PM, `12h30`, `12.30`, day numbers of spreadsheets, compact digits, epoch
//! seconds. A text that is not understood as a whole is not understood.

use jiff::Timestamp;
use jiff::civil::{Date, Time};
use jiff::tz::Offset;

use super::{Day, Numbers, Said, Style, of_fraction, of_serial, words};

/// A piece of a text.
#[derive(Debug, Clone, PartialEq)]
enum Token {
    /// Digits: their value, how many there are, and the digits.
    Number(i64, u8, String),
    /// Letters, small and without accents.
    Word(String),
    /// Any other character; a blank for a run of white space.
    Sign(char),
}

use Token::{Number, Sign, Word};

/// A number or a month of a date, and the sign before it.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Item {
    Number { value: i64, digits: u8, sign: char },
    Month { month: u8, is_also_a_day: bool },
}

/// Longest text that may be a date or time.
const LONGEST: usize = 64;

/// Reads a date, a date and time, or a time of day with signs that no date has.
pub fn parse(text: &str) -> Option<Said> {
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
        return Some(Said { day: Day::None, time: Some(time?), offset });
    }
    let (day, rest) = day(&items)?;
    let time = match (time, rest) {
        (time, []) => time,
        (Some(_), _) => return None,
        (None, rest) => Some(time_of_items(rest, half)?),
    };
    (time.is_some() || (offset.is_none() && half.is_none())).then_some(Said { day, time, offset })
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
                _ => return Some((of_fraction(fraction.days)?, None)),
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
        Day::Instant(_) => None,
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
fn bare_number(text: &str) -> Option<Said> {
    let (head, tail) = text.split_once(['.', ',']).unwrap_or((text, ""));
    if head.is_empty() || !is_digits(head) || !is_digits(tail) {
        return None;
    }
    let said = |day, time| Some(Said { day, time, offset: None });
    match (head.len(), tail.len()) {
        (5, _) => {
            let (date, time) = of_serial(format!("{head}.{tail}0").parse().ok()?)?;
            said(Day::Known(date), (!tail.is_empty()).then_some(time))
        }
        (10, 0..=9) => {
            let nanoseconds = format!("{tail:0<9}").parse().ok()?;
            said(Day::Instant(Timestamp::new(head.parse().ok()?, nanoseconds).ok()?), None)
        }
        (13, 0) => said(Day::Instant(Timestamp::from_millisecond(head.parse().ok()?).ok()?), None),
        (12 | 14, _) => {
            let (day, time) = head.split_at(8);
            said(compact_day(day)?, Some(compact_time(time, tail)?))
        }
        (8 | 6, 0) => said(compact_day(head)?, None),
        _ => None,
    }
}

/// Six or eight digits of a day.
fn compact_day(digits: &str) -> Option<Day> {
    let number = |range: std::ops::Range<usize>| digits.get(range)?.parse::<i16>().ok();
    if digits.len() == 6 {
        let parts = [number(0..2)?, number(2..4)?, number(4..6)?];
        return Some(Day::Numbers(Numbers { parts, digits: [2; 3], may_begin_with_year: true }));
    }
    let (year, month, day) = (number(0..4)?, number(4..6)?, number(6..8)?);
    if (1900..=2100).contains(&year)
        && let Ok(date) = Date::new(year, month as i8, day as i8)
    {
        return Some(Day::Known(date));
    }
    let parts = [number(0..2)?, number(2..4)?, number(4..8)?];
    Some(Day::Numbers(Numbers { parts, digits: [2, 2, 4], may_begin_with_year: false }))
}

/// Four or six digits of a time of day, or three or five without the zero at the front; with a fraction of a second.
fn compact_time(digits: &str, fraction: &str) -> Option<Time> {
    let padded = match digits.len() {
        3 | 5 => format!("0{digits}"),
        4 | 6 => digits.to_owned(),
        _ => return None,
    };
    if !fraction.is_empty() && padded.len() == 4 {
        return None;
    }
    let part = |at: usize| padded.get(at..at + 2).map_or(Some(0), |two| two.parse::<i64>().ok());
    clock(part(0)?, part(2)?, part(4)?, fraction, None)
}

/// A time of the day, by a clock of 24 hours, or of twice 12 where a half is named.
fn clock(hour: i64, minute: i64, second: i64, fraction: &str, half: Option<Half>) -> Option<Time> {
    let hour = match half {
        None => hour,
        Some(_) if !(1..=12).contains(&hour) => return None,
        Some(Half::Morning) => hour % 12,
        Some(Half::Afternoon) => hour % 12 + 12,
    };
    let nine: String = fraction.chars().chain("000000000".chars()).take(9).collect();
    let small = |value: i64| i8::try_from(value).ok();
    Time::new(small(hour)?, small(minute)?, small(second)?, nine.parse().ok()?).ok()
}

fn tokens(text: &str) -> Vec<Token> {
    let mut found: Vec<Token> = Vec::new();
    for c in text.trim().chars().flat_map(char::to_lowercase) {
        let c = match words::plain(c) {
            c if c.is_whitespace() => ' ',
            '\u{2212}' | '\u{2013}' | '\u{2010}' | '\u{2011}' => '-',
            '\u{2019}' | '\u{2032}' => '\'',
            c => c,
        };
        match (found.last_mut(), c) {
            // A letter under its accent, where the two are apart.
            (_, '\u{300}'..='\u{36f}') => {}
            (Some(Number(_, count, digits)), '0'..='9') => {
                digits.push(c);
                *count = count.saturating_add(1);
            }
            (_, '0'..='9') => found.push(Number(0, 1, c.to_string())),
            (Some(Word(word)), c) if c.is_alphabetic() => word.push(c),
            (_, c) if c.is_alphabetic() => found.push(Word(c.to_string())),
            (Some(Sign(' ')), ' ') => {}
            (_, c) => found.push(Sign(c)),
        }
    }
    for token in &mut found {
        if let Number(value, _, digits) = token {
            *value = digits.parse().unwrap_or(i64::MAX);
        }
    }
    found
}

/// Takes an offset from UTC off the end: `Z`, `UTC`, `+02:00`, `-0330`, `UTC+2`.
fn take_offset(tokens: &mut Vec<Token>) -> Option<Offset> {
    let is_utc = |token: Option<&Token>| matches!(token, Some(Word(word)) if word == "utc" || word == "gmt");
    let end = tokens.len();
    if let [.., Number(..), Word(word)] = tokens.as_slice()
        && word == "z"
    {
        tokens.truncate(end - 1);
        return Some(Offset::UTC);
    }
    if is_utc(tokens.last()) {
        tokens.truncate(end - 1);
        return Some(Offset::UTC);
    }
    let (hours, minutes, sign, from) = match tokens.as_slice() {
        [.., Sign(sign @ ('+' | '-')), Number(hours, 2, _), Sign(':'), Number(minutes, 2, _)] => {
            (*hours, *minutes, *sign, end - 4)
        }
        [.., Sign(sign @ ('+' | '-')), Number(both, 4, _)] => (both / 100, both % 100, *sign, end - 2),
        [.., Sign(sign @ ('+' | '-')), Number(hours, 1 | 2, _)] => (*hours, 0, *sign, end - 2),
        _ => return None,
    };
    let mut before = from;
    if before > 0 && tokens[before - 1] == Sign(' ') {
        before -= 1;
    }
    let named = before > 0 && is_utc(tokens.get(before - 1));
    // The hyphen of a date is no offset: a time of day with colons stands right before one.
    let is_time = |tokens: &[Token]| {
        let last = tokens.iter().rposition(|token| *token == Sign(':'));
        last.is_some_and(|at| {
            matches!(
                &tokens[at + 1..],
                [Number(..)]
                    | [Number(..), Word(_)]
                    | [Number(..), Sign(' '), Word(_)]
                    | [Number(..), Sign('.' | ','), Number(..)]
                    | [Number(..), Sign('.' | ','), Number(..), Sign(' '), Word(_)]
            )
        })
    };
    let is_compact = matches!(&tokens[..before], [.., Word(t), Number(_, 4 | 6, _)] if t == "t");
    if !named && !is_time(&tokens[..before]) && !is_compact {
        return None;
    }
    let offset = Offset::from_seconds(signed(sign, hours, minutes)?).ok()?;
    tokens.truncate(if named { before - 1 } else { before });
    Some(offset)
}

/// The half of the day that AM or PM names.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Half {
    Morning,
    Afternoon,
}

/// Takes AM or PM out, however it is written; `a` and `p` alone only right behind a time with a colon.
fn take_half(tokens: &mut Vec<Token>) -> Option<Half> {
    let half = |word: &str| match word {
        "am" | "a" => Some(Half::Morning),
        "pm" | "p" => Some(Half::Afternoon),
        _ => None,
    };
    for at in 1..tokens.len() {
        let Word(word) = &tokens[at] else { continue };
        let Some(found) = half(word) else { continue };
        let behind_number =
            matches!(tokens[at - 1], Number(..)) || (at > 1 && matches!(tokens[at - 2..at], [Number(..), Sign(' ')]));
        if !behind_number {
            continue;
        }
        // `a.m.`, `a. m.`, `a.m`
        let dotted = match &tokens[at + 1..] {
            [Sign('.'), Sign(' '), Word(m), Sign('.'), ..] if m == "m" => Some(4),
            [Sign('.'), Word(m), Sign('.'), ..] | [Sign('.'), Sign(' '), Word(m), ..] if m == "m" => Some(3),
            [Sign('.'), Word(m), ..] if m == "m" => Some(2),
            _ => None,
        };
        let length = match (word.as_str(), dotted) {
            ("am" | "pm", _) => 1,
            (_, Some(more)) => 1 + more,
            (_, None) => {
                let right_behind = matches!(tokens[at - 1], Number(..)) && tokens[..at].contains(&Sign(':'));
                if !right_behind {
                    continue;
                }
                1
            }
        };
        tokens.drain(at..at + length);
        return Some(found);
    }
    None
}

/// A time of day that no clock shows.
struct Impossible;

/// Takes a time of day out that a colon or a letter marks: `13:05:30.25`, `13h05`, `13 h 05 min`; with an offset right behind it, where
/// none stood at the end.
fn take_time(
    tokens: &mut Vec<Token>,
    half: Option<Half>,
    offset: Option<Offset>,
) -> Result<(Option<Time>, Option<Offset>), Impossible> {
    let found = (0..tokens.len()).find_map(|at| {
        let before = at.checked_sub(1).and_then(|before| tokens.get(before));
        if before == Some(&Sign(':')) && at > 1 && matches!(tokens[at - 2], Number(..)) && !is_year_before_colon(&tokens[..at]) {
            return None;
        }
        with_colons(&tokens[at..], half).or_else(|| with_letters(&tokens[at..], half)).map(|(time, length)| (at, time, length))
    });
    let Some((at, time, length)) = found else { return Ok((None, offset)) };
    let behind = offset_behind(&tokens[at + length..]).filter(|_| offset.is_none());
    let end = at + length + behind.map_or(0, |(_, length)| length);
    tokens.splice(at..end, [Sign(' ')]);
    Ok((Some(time.ok_or(Impossible)?), offset.or(behind.map(|(offset, _)| offset))))
}

/// An offset from UTC at the front of what stands behind a time of day, before a blank, and how many tokens it takes.
fn offset_behind(tokens: &[Token]) -> Option<(Offset, usize)> {
    let blanks = tokens.iter().take_while(|token| **token == Sign(' ')).count();
    let (seconds, length) = match &tokens[blanks..] {
        [Sign(sign @ ('+' | '-')), Number(hours, 2, _), Sign(':'), Number(minutes, 2, _), ..] => {
            (signed(*sign, *hours, *minutes)?, 4)
        }
        [Sign(sign @ ('+' | '-')), Number(both, 4, _), ..] => (signed(*sign, both / 100, both % 100)?, 2),
        [Word(word), ..] if matches!(word.as_str(), "z" | "utc" | "gmt") => (0, 1),
        _ => return None,
    };
    matches!(tokens.get(blanks + length), None | Some(Sign(' ')))
        .then_some((Offset::from_seconds(seconds).ok()?, blanks + length))
}

/// Seconds of an offset, where a zone may have it.
fn signed(sign: char, hours: i64, minutes: i64) -> Option<i32> {
    if hours > 14 || minutes > 59 {
        return None;
    }
    let seconds = (hours * 3600 + minutes * 60) as i32;
    Some(if sign == '-' { -seconds } else { seconds })
}

/// Whether the colon at the end of some tokens stands between a date and a time: `14/Oct/2026:13:05`.
fn is_year_before_colon(tokens: &[Token]) -> bool {
    matches!(tokens, [.., Number(_, 4, _), Sign(':')])
}

/// The time, none where no clock shows it, and how many tokens it takes.
type Taken = Option<(Option<Time>, usize)>;

fn with_colons(tokens: &[Token], half: Option<Half>) -> Taken {
    let [Number(hour, 1 | 2, _), Sign(':'), Number(minute, 2, _), rest @ ..] = tokens else { return None };
    let (second, fraction, length) = match rest {
        [Sign(':'), Number(second, 2, _), Sign('.' | ','), Number(_, _, fraction), ..] => (*second, fraction.as_str(), 7),
        [Sign(':'), Number(second, 2, _), ..] => (*second, "", 5),
        _ => (0, "", 3),
    };
    Some((clock(*hour, *minute, second, fraction, half), length))
}

fn with_letters(tokens: &[Token], half: Option<Half>) -> Taken {
    let [Number(hour, 1 | 2, _), rest @ ..] = tokens else { return None };
    let blank = |rest: &[Token]| usize::from(rest.first() == Some(&Sign(' ')));
    let mut length = 1 + blank(rest);
    let Some(Word(letter)) = tokens.get(length) else {
        // A whole hour before AM or PM, which were taken out right behind it.
        return None;
    };
    if !matches!(letter.as_str(), "h" | "u" | "hr" | "hrs") {
        return None;
    }
    length += 1;
    let (mut minute, mut second) = (0, 0);
    let gap = blank(&tokens[length..]);
    match tokens.get(length + gap) {
        Some(Number(value, 2, _)) => {
            minute = *value;
            length += gap + 1;
            let gap = blank(&tokens[length..]);
            if matches!(tokens.get(length + gap), Some(Word(word)) if matches!(word.as_str(), "m" | "min" | "mn")) {
                length += gap + 1;
                let gap = blank(&tokens[length..]);
                if let Some(Number(value, 2, _)) = tokens.get(length + gap) {
                    let behind = length + gap + 1;
                    let more = blank(&tokens[behind..]);
                    if matches!(tokens.get(behind + more), Some(Word(word)) if matches!(word.as_str(), "s" | "sec" | "sek")) {
                        second = *value;
                        length = behind + more + 1;
                    }
                }
            }
        }
        _ if letter == "u" && tokens.len() > length => return None,
        _ => {}
    }
    Some((clock(*hour, minute, second, "", half), length))
}

/// The numbers and months that are left, with their signs; none where anything else is.
fn items(tokens: &[Token]) -> Option<Vec<Item>> {
    let mut found: Vec<Item> = Vec::new();
    let mut sign = ' ';
    for token in tokens {
        match token {
            Sign(' ') => {}
            Sign(c @ ('/' | '.' | '-' | ',' | '\'' | '_')) => sign = *c,
            Sign(':') if matches!(found.last(), Some(Item::Number { digits: 4, .. })) => {}
            Sign(_) => return None,
            Number(value, digits, _) => {
                found.push(Item::Number { value: *value, digits: *digits, sign });
                sign = ' ';
            }
            Word(word) => {
                match words::month(word) {
                    Some(month) => found.push(Item::Month { month, is_also_a_day: words::is_day(word) }),
                    None if words::is_small(word) => {}
                    None => return None,
                }
                sign = ' ';
            }
        }
    }
    let months = found.iter().filter(|item| matches!(item, Item::Month { .. })).count();
    if months == 2 {
        let first = found.iter().position(|item| matches!(item, Item::Month { is_also_a_day: true, .. }))?;
        found.remove(first);
    }
    (months <= 2).then_some(found)
}

/// The day that items begin with, and the items behind it.
fn day(items: &[Item]) -> Option<(Day, &[Item])> {
    let year_of = |value: i64, digits: u8| match digits {
        4 => i16::try_from(value).ok(),
        2 if value < 69 => i16::try_from(2000 + value).ok(),
        2 => i16::try_from(1900 + value).ok(),
        _ => None,
    };
    let named =
        |day: i64, month: u8, year: Option<i16>| Date::new(year?, month as i8, i8::try_from(day).ok()?).ok().map(Day::Known);
    match items {
        [
            Item::Month { month, .. },
            Item::Number { value: day, digits: 1 | 2, .. },
            Item::Number { value: year, digits, .. },
            rest @ ..,
        ] => Some((named(*day, *month, year_of(*year, *digits))?, rest)),
        [
            Item::Number { value: a, digits: da, .. },
            Item::Month { month, .. },
            Item::Number { value: b, digits: db, .. },
            rest @ ..,
        ] => {
            let is_year_first = *da == 4 || (*da == 2 && *a > 31);
            let day = match is_year_first {
                true => named(*b, *month, year_of(*a, *da)),
                false => named(*a, *month, year_of(*b, *db)),
            };
            Some((day?, rest))
        }
        [Item::Number { value, digits: digits @ (6 | 8), .. }, rest @ ..] => {
            let width = usize::from(*digits);
            Some((compact_day(&format!("{value:0width$}"))?, rest))
        }
        [
            Item::Number { value: a, digits: da, .. },
            Item::Number { value: b, digits: db @ (1 | 2), sign: first },
            Item::Number { value: c, digits: dc, sign: second },
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
            Some((Day::Numbers(numbers), rest))
        }
        _ => None,
    }
}

/// The time of day that items are: `13.05`, `13.05.30`, `1305`, `130500`, `1` with AM or PM named.
fn time_of_items(items: &[Item], half: Option<Half>) -> Option<Time> {
    let is_dot = |sign: &char| matches!(sign, '.' | ',');
    match items {
        [Item::Number { value: hour, digits: 1 | 2, .. }] if half.is_some() => clock(*hour, 0, 0, "", half),
        [Item::Number { value, digits: digits @ 3..=6, .. }] if half.is_none() => {
            compact_time(&format!("{value:0width$}", width = usize::from(*digits)), "")
        }
        [Item::Number { value, digits: 6, .. }, Item::Number { value: fraction, digits, sign }]
            if half.is_none() && is_dot(sign) =>
        {
            compact_time(&format!("{value:06}"), &format!("{fraction:0width$}", width = usize::from(*digits)))
        }
        [Item::Number { value: hour, digits: 1 | 2, .. }, Item::Number { value: minute, digits: 2, sign: '.' }] => {
            clock(*hour, *minute, 0, "", half)
        }
        [
            Item::Number { value: hour, digits: 1 | 2, .. },
            Item::Number { value: minute, digits: 2, sign: '.' },
            Item::Number { value: second, digits: 2, sign: '.' },
        ] => clock(*hour, *minute, *second, "", half),
        _ => None,
    }
}
