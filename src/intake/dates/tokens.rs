//! The pieces of a text of a date or time, and the offset from UTC among them.

use jiff::tz::Offset;

use super::words;

/// A piece of a text.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Token {
    /// Digits: their value, how many there are, and the digits.
    Number(i64, u8, String),
    /// Letters, small and without accents.
    Word(String),
    /// Any other character; a blank for a run of white space.
    Sign(char),
}

pub(super) use Token::{Number, Sign, Word};

pub(super) fn tokens(text: &str) -> Vec<Token> {
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
pub(super) fn take_offset(tokens: &mut Vec<Token>) -> Option<Offset> {
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

/// An offset from UTC at the front of what stands behind a time of day, before a blank, and how many tokens it takes.
pub(super) fn offset_behind(tokens: &[Token]) -> Option<(Offset, usize)> {
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
