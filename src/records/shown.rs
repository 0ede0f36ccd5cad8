//! Words of a log as messages show them: what a terminal would obey or hide is made visible, and what is long is cut.
//!
//! A log may hold any character. Control characters move a terminal's cursor, set its title or clear it, and those that
//! turn the direction of writing show words in another order than they have (Unicode Standard Annex 9, section 2).

use std::borrow::Cow;

/// Letters of a quoted value that a message shows.
pub const QUOTED_LETTERS: usize = 100;
/// Letters that a word without any space may have; file names are shorter.
const WORD_LETTERS: usize = 300;
/// Letters of a whole message.
const MESSAGE_LETTERS: usize = 3000;
/// Letters kept from the end of what is cut.
const TAIL_LETTERS: usize = 20;

/// Whether a terminal would obey a character, or turn the order of what follows it.
pub fn is_obeyed(letter: char) -> bool {
    letter.is_control()
        || matches!(letter, '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// Words of a log, on one line, with nothing in them that a terminal obeys: `\u{1b}` stands for an escape.
pub fn visible(words: &str) -> Cow<'_, str> {
    escaped(words, |_| false)
}

/// The same of a text of several lines.
pub fn visible_lines(text: &str) -> Cow<'_, str> {
    escaped(text, |letter| letter == '\n' || letter == '\t')
}

fn escaped(text: &str, is_kept: impl Fn(char) -> bool) -> Cow<'_, str> {
    let is_escaped = |letter: char| is_obeyed(letter) && !is_kept(letter);
    if !text.contains(is_escaped) {
        return Cow::Borrowed(text);
    }
    let mut shown = String::with_capacity(text.len() + 16);
    for letter in text.chars() {
        match letter {
            '\n' | '\r' | '\t' if is_escaped(letter) => shown.extend(letter.escape_default()),
            _ if is_escaped(letter) => shown.extend(letter.escape_unicode()),
            _ => shown.push(letter),
        }
    }
    Cow::Owned(shown)
}

/// JSON in which what a terminal would obey is escaped as JSON has it.
pub fn visible_json(json: String) -> String {
    let is_escaped = |letter: char| is_obeyed(letter) && letter != '\n';
    if !json.contains(is_escaped) {
        return json;
    }
    // All of them lie in the plane of four digits, and stand in texts alone.
    json.chars().fold(String::with_capacity(json.len() + 16), |mut shown, letter| {
        match is_escaped(letter) {
            true => shown.push_str(&format!("\\u{:04x}", letter as u32)),
            false => shown.push(letter),
        }
        shown
    })
}

/// A quoted value: one that is long has its begin, its end and its length.
pub fn quoted(value: &str) -> Cow<'_, str> {
    cut(value, QUOTED_LETTERS)
}

fn cut(text: &str, most: usize) -> Cow<'_, str> {
    // Bytes are never fewer than letters.
    if text.len() <= most {
        return Cow::Borrowed(text);
    }
    let letters = text.chars().count();
    if letters <= most {
        return Cow::Borrowed(text);
    }
    let tail = TAIL_LETTERS.min(most / 4);
    let at = |letter: usize| text.char_indices().nth(letter).map_or(text.len(), |(at, _)| at);
    let (head, end) = (&text[..at(most - tail)], &text[at(letters - tail)..]);
    Cow::Owned(format!("{head} [{} letters more] {end}", letters - most))
}

/// A message with long quotes, long words and a long whole cut: whatever it tells of a file, it stays one that is read.
pub fn message(text: &str) -> Cow<'_, str> {
    let text = visible_lines(text);
    if text.len() <= QUOTED_LETTERS {
        return text;
    }
    let mut shown = String::with_capacity(text.len().min(2 * MESSAGE_LETTERS));
    for (index, part) in text.split('"').enumerate() {
        if index > 0 {
            shown.push('"');
        }
        match index % 2 {
            0 => shown.push_str(&cut_words(part)),
            _ => shown.push_str(&cut_words(&quoted(part))),
        }
    }
    match cut(&shown, MESSAGE_LETTERS) {
        Cow::Borrowed(_) => Cow::Owned(shown),
        Cow::Owned(short) => Cow::Owned(short),
    }
}

fn cut_words(text: &str) -> Cow<'_, str> {
    if text.split(' ').all(|word| word.len() <= WORD_LETTERS) {
        return Cow::Borrowed(text);
    }
    let words: Vec<Cow<str>> = text.split(' ').map(|word| cut(word, WORD_LETTERS)).collect();
    Cow::Owned(words.join(" "))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn what_a_terminal_obeys_is_made_visible() {
        assert_eq!(visible("\u{1b}]0;owned\u{7} a\u{202e}b\r\n\t"), r"\u{1b}]0;owned\u{7} a\u{202e}b\r\n\t");
        assert_eq!(visible_lines("a\n\u{9b}2J"), "a\n\\u{9b}2J");
        assert_eq!(visible("Größe 5' 10\""), "Größe 5' 10\"");
        assert_eq!(visible_json("{\n  \"a\": \"\u{202e}\"\n}".into()), "{\n  \"a\": \"\\u202e\"\n}");
    }

    #[test]
    fn long_quotes_words_and_messages_are_cut() {
        let long = "x".repeat(101);
        assert_eq!(quoted(&long[..100]), long[..100]);
        assert_eq!(quoted(&long), format!("{} [1 letters more] {}", "x".repeat(80), "x".repeat(20)));
        assert_eq!(
            message(&format!("a \"{}\" b \"c\"", "y".repeat(1000))).chars().count(),
            100 + " [900 letters more] ".len() + 10
        );
        assert!(message(&"z".repeat(100_000_000)).len() < 400);
        assert!(message(&"word ".repeat(100_000)).chars().count() < MESSAGE_LETTERS + 40);
        let plain = "p ".repeat(400);
        assert_eq!(message(&plain), plain);
    }

    proptest! {
        #[test]
        fn nothing_that_a_terminal_obeys_is_left(text in any::<String>()) {
            prop_assert!(!visible(&text).contains(is_obeyed));
            prop_assert!(!message(&text).contains(|letter| is_obeyed(letter) && letter != '\n' && letter != '\t'));
        }
    }
}
