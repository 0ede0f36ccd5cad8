//! Lines no longer than the terminal: folded between words, the rest under where the running text of the line begins.
//!
//! A pipe gets each line whole, so that a search finds it and another program reads it. A word that is longer than the room stays whole, too:
//! a path that is cut cannot be copied. Letters are counted as they are wide on a terminal: two columns for those of Unicode Standard Annex 11
//! that are wide or fullwidth, none for combining marks (the blocks, from memory).

use std::borrow::Cow;
use std::fmt::Write;

/// Columns of running text that must be left behind the head of a line, for the text to stand beside it.
const ROOM: usize = 28;

/// Columns that a letter takes on a terminal.
fn width_of(letter: char) -> usize {
    match u32::from(letter) {
        0x300..=0x36f | 0x200b..=0x200f | 0x202a..=0x202e | 0xfe00..=0xfe0f => 0,
        0x1100..=0x115f
        | 0x2e80..=0xa4cf
        | 0xac00..=0xd7a3
        | 0xf900..=0xfaff
        | 0xfe30..=0xfe6f
        | 0xff00..=0xff60
        | 0xffe0..=0xffe6
        | 0x1f300..=0x1f64f
        | 0x1f900..=0x1f9ff
        | 0x20000..=0x3fffd => 2,
        _ => 1,
    }
}

/// Columns that a text takes, its styles left out.
pub fn width(text: &str) -> usize {
    let mut width = 0;
    let mut letters = text.chars();
    while let Some(letter) = letters.next() {
        if letter == '\u{1b}' {
            // A style ends with the first letter behind its numbers.
            letters.by_ref().find(char::is_ascii_alphabetic);
        } else {
            width += width_of(letter);
        }
    }
    width
}

/// A word of a line, and how many spaces stand before it.
fn words(line: &str) -> Vec<(usize, &str)> {
    let mut words = Vec::new();
    let mut spaces = 0;
    for word in line.split(' ') {
        if word.is_empty() {
            spaces += 1;
            continue;
        }
        words.push((spaces, word));
        spaces = 1;
    }
    words
}

/// Where the lines that follow begin: under what stands behind the last gap of two spaces and more, where enough room is left there; else a step
/// in from the line itself.
fn hang(words: &[(usize, &str)], columns: usize) -> usize {
    let Some((indent, first)) = words.first() else { return 0 };
    let (mut column, mut found) = (indent + width(first), None);
    for (spaces, word) in &words[1..] {
        column += spaces;
        if *spaces > 1 && column + ROOM <= columns {
            found = Some(column);
        }
        column += width(word);
    }
    found.unwrap_or(if indent + 2 + ROOM <= columns { indent + 2 } else { 0 })
}

fn fold(text: &mut String, line: &str, columns: usize, before: &str, hang: usize) {
    let mut column = 0;
    let mut is_first = true;
    for (spaces, word) in words(line) {
        let wide = width(word);
        if !is_first && column + spaces + wide > columns {
            // Writing to a String does not fail.
            let _ = write!(text, "\n{before}{:1$}", "", hang - before.len());
            column = hang;
        } else {
            let _ = write!(text, "{:spaces$}", "");
            column += spaces;
        }
        text.push_str(word);
        column += wide;
        is_first = false;
    }
}

/// A text whose lines are no longer than so many columns.
pub fn folded(text: &str, columns: usize) -> Cow<'_, str> {
    by_line(text, columns, |text, line| fold(text, line, columns, "", hang(&words(line), columns)))
}

/// A job file whose lines are no longer than so many columns: its comments are folded to comments, its keys and values stand as they are.
pub fn folded_job(text: &str, columns: usize) -> Cow<'_, str> {
    by_line(text, columns, |text, line| match comment_of(line) {
        Some(at) if line[..at].trim().is_empty() => fold(text, line, columns, "# ", 4),
        Some(at) => {
            // What a value is followed by goes before it.
            fold(text, &line[at..], columns, "# ", 4);
            let _ = write!(text, "\n{}", line[..at].trim_end());
        }
        None => text.push_str(line),
    })
}

/// Where the comment of a line of a job file begins: at a sharp sign that stands in no string.
fn comment_of(line: &str) -> Option<usize> {
    let (mut quote, mut is_escaped) = (None, false);
    for (at, sign) in line.char_indices() {
        match (quote, sign) {
            (Some('"'), '\\') if !is_escaped => {
                is_escaped = true;
                continue;
            }
            (Some(open), sign) if sign == open && !is_escaped => quote = None,
            (None, '"' | '\'') => quote = Some(sign),
            (None, '#') => return Some(at),
            _ => {}
        }
        is_escaped = false;
    }
    None
}

fn by_line(text: &str, columns: usize, fold: impl Fn(&mut String, &str)) -> Cow<'_, str> {
    if text.lines().all(|line| width(line) <= columns) {
        return Cow::Borrowed(text);
    }
    let mut out = String::with_capacity(text.len() + text.len() / 8);
    for line in text.split_inclusive('\n') {
        let bare = line.trim_end_matches('\n');
        match width(bare) <= columns {
            true => out.push_str(bare),
            false => fold(&mut out, bare),
        }
        out.push_str(&line[bare.len()..]);
    }
    Cow::Owned(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_hangs_under_its_own_beginning() {
        let text = "note     The standard error of base positions is not stated; 5 m is assumed.\nCRS      UTM\n";
        let want =
            "note     The standard error of base\n         positions is not stated; 5 m is\n         assumed.\nCRS      UTM\n";
        assert_eq!(folded(text, 40), want);
        // Without room beside the head it goes under it.
        let narrow = "note     The standard error of\n  base positions is not\n  stated; 5 m is assumed.\nCRS      UTM\n";
        assert_eq!(folded(text, 30), narrow);
        assert!(matches!(folded(text, 77), Cow::Borrowed(_)));
    }

    #[test]
    fn styles_take_no_room_and_wide_letters_two() {
        assert_eq!((width("\u{1b}[1mab\u{1b}[0m"), width("木é"), width("e\u{301}")), (2, 3, 1));
        let text = "\u{1b}[1mone two\u{1b}[0m three";
        assert_eq!(folded(text, 13), text);
        assert_eq!(folded(text, 12), "\u{1b}[1mone two\u{1b}[0m\nthree");
    }

    #[test]
    fn long_words_stay_whole() {
        let path = "/a/very/long/path/that/no/terminal/holds.gpkg";
        assert_eq!(folded(&format!("written  {path}"), 30), format!("written\n  {path}"));
    }

    #[test]
    fn comments_of_a_job_stay_comments() {
        let job = "# a comment that is too long for it all\nname = \"a # b\" # why it is so and no other way\nlong = \"no comment, and longer than the line\"\n";
        let want = "# a comment that is\n#   too long for it\n#   all\n# why it is so and no\n#   other way\nname = \"a # b\"\nlong = \"no comment, and longer than the line\"\n";
        assert_eq!(folded_job(job, 22), want);
        let read = |text: &str| toml::from_str::<toml::Table>(text).unwrap();
        assert_eq!(read(&folded_job(job, 22)), read(job));
    }
}
