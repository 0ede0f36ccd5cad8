//! The time of day in the pieces of a text: by colons, by letters, by AM and PM, in compact digits.

use jiff::civil::Time;
use jiff::tz::Offset;

use super::item::DateItem;
use super::tokens::{Number, Sign, Token, Word, offset_behind};

/// Four or six digits of a time of day, or three or five without the zero at the front; with a fraction of a second.
pub(super) fn compact_time(digits: &str, fraction: &str) -> Option<Time> {
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
fn clock(hour: i64, minute: i64, second: i64, fraction: &str, half: Option<HalfOfDay>) -> Option<Time> {
    let hour = match half {
        None => hour,
        Some(_) if !(1..=12).contains(&hour) => return None,
        Some(HalfOfDay::Morning) => hour % 12,
        Some(HalfOfDay::Afternoon) => hour % 12 + 12,
    };
    let nine: String = fraction.chars().chain("000000000".chars()).take(9).collect();
    let small = |value: i64| i8::try_from(value).ok();
    Time::new(small(hour)?, small(minute)?, small(second)?, nine.parse().ok()?).ok()
}

/// The half of the day that AM or PM names.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum HalfOfDay {
    Morning,
    Afternoon,
}

/// Takes AM or PM out, however it is written; `a` and `p` alone only right behind a time with a colon.
pub(super) fn take_half(tokens: &mut Vec<Token>) -> Option<HalfOfDay> {
    let half = |word: &str| match word {
        "am" | "a" => Some(HalfOfDay::Morning),
        "pm" | "p" => Some(HalfOfDay::Afternoon),
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
pub(super) struct Impossible;

/// Takes a time of day out that a colon or a letter marks: `13:05:30.25`, `13h05`, `13 h 05 min`; with an offset right behind it, where
/// none stood at the end.
pub(super) fn take_time(
    tokens: &mut Vec<Token>,
    half: Option<HalfOfDay>,
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

/// Whether the colon at the end of some tokens stands between a date and a time: `14/Oct/2026:13:05`.
fn is_year_before_colon(tokens: &[Token]) -> bool {
    matches!(tokens, [.., Number(_, 4, _), Sign(':')])
}

/// The time, none where no clock shows it, and how many tokens it takes.
type Taken = Option<(Option<Time>, usize)>;

fn with_colons(tokens: &[Token], half: Option<HalfOfDay>) -> Taken {
    let [Number(hour, 1 | 2, _), Sign(':'), Number(minute, 2, _), rest @ ..] = tokens else { return None };
    let (second, fraction, length) = match rest {
        [Sign(':'), Number(second, 2, _), Sign('.' | ','), Number(_, _, fraction), ..] => (*second, fraction.as_str(), 7),
        [Sign(':'), Number(second, 2, _), ..] => (*second, "", 5),
        _ => (0, "", 3),
    };
    Some((clock(*hour, *minute, second, fraction, half), length))
}

fn with_letters(tokens: &[Token], half: Option<HalfOfDay>) -> Taken {
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

/// The time of day that items are: `13.05`, `13.05.30`, `1305`, `130500`, `1` with AM or PM named.
pub(super) fn time_of_items(items: &[DateItem], half: Option<HalfOfDay>) -> Option<Time> {
    let is_dot = |sign: &char| matches!(sign, '.' | ',');
    match items {
        [DateItem::Number { value: hour, digits: 1 | 2, .. }] if half.is_some() => clock(*hour, 0, 0, "", half),
        [DateItem::Number { value, digits: digits @ 3..=6, .. }] if half.is_none() => {
            compact_time(&format!("{value:0width$}", width = usize::from(*digits)), "")
        }
        [DateItem::Number { value, digits: 6, .. }, DateItem::Number { value: fraction, digits, sign }]
            if half.is_none() && is_dot(sign) =>
        {
            compact_time(&format!("{value:06}"), &format!("{fraction:0width$}", width = usize::from(*digits)))
        }
        [DateItem::Number { value: hour, digits: 1 | 2, .. }, DateItem::Number { value: minute, digits: 2, sign: '.' }] => {
            clock(*hour, *minute, 0, "", half)
        }
        [
            DateItem::Number { value: hour, digits: 1 | 2, .. },
            DateItem::Number { value: minute, digits: 2, sign: '.' },
            DateItem::Number { value: second, digits: 2, sign: '.' },
        ] => clock(*hour, *minute, *second, "", half),
        _ => None,
    }
}
