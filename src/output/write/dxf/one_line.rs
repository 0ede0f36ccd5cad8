//! Texts as a text or an attribute of release 12 can hold them: one line of 255 bytes at most, in the code page of the header.
//!
//! By the published DXF reference `^` and a letter stand for a control character, `^` and a space for `^` itself, `\U+` and four hexadecimal
//! digits for a sign that the code page lacks, `%%` and a letter or a number for a sign or a line, `%%%` for `%`. What looks like one of these
//! and is none is written so that it comes back as it was. Braces and other backslashes mean something in texts of several lines only, which
//! this is not.

/// The code page of the header: its signs from U+00A0 to U+00FF have the same numbers as in Unicode.
pub const CODE_PAGE: &str = "ANSI_1252";
/// Most bytes of a text; the release takes 255.
const MOST_BYTES: usize = 250;
/// Underlining on and off again: keeps signs apart and leaves no trace.
const NOTHING: &str = "%%u%%u";

/// A text as it is written.
#[derive(Debug, PartialEq)]
pub struct OneLine {
    pub bytes: Vec<u8>,
    /// Whether it says all of the text.
    pub is_whole: bool,
}

impl OneLine {
    /// Of a text. What is too long is cut; a line break becomes a space, and a sign that release 12 cannot name a question mark.
    pub fn new(text: &str) -> OneLine {
        let signs: Vec<char> = text.chars().collect();
        let mut made = OneLine { bytes: Vec::with_capacity(signs.len()), is_whole: true };
        for (i, sign) in signs.iter().enumerate() {
            let (before, behind) = (i.checked_sub(1).map(|k| signs[k]), signs.get(i + 1).copied());
            let (written, is_it) = written(before, *sign, behind, signs.get(i + 2).copied());
            made.is_whole &= is_it;
            if made.bytes.len() + written.len() > MOST_BYTES {
                made.is_whole = false;
                break;
            }
            made.bytes.extend(written);
        }
        made
    }
}

/// A sign between those before and behind it, as bytes; whether it comes back as it was.
fn written(before: Option<char>, sign: char, behind: Option<char>, next: Option<char>) -> (Vec<u8>, bool) {
    let number = u32::from(sign);
    let whole = |text: &str| (text.as_bytes().to_vec(), true);
    match sign {
        // One break, one space.
        '\n' if before == Some('\r') => (Vec::new(), false),
        '\n' | '\r' | '\0' => (vec![b' '], false),
        // Readers differ about a `^` that is the last sign.
        '^' if behind.is_none() => whole(&format!("^ {NOTHING}")),
        '^' => whole("^ "),
        '%' if before == Some('%') || behind == Some('%') => whole("%%%"),
        '\\' if matches!(behind, Some('U' | 'u' | 'M' | 'm')) && next == Some('+') => whole(&format!("\\{NOTHING}")),
        '\u{1}'..='\u{1f}' => (vec![b'^', number as u8 + 0x40], true),
        ' '..='\u{7f}' | '\u{a0}'..='\u{ff}' => (vec![number as u8], true),
        _ if number <= 0xffff => whole(&format!("\\U+{number:04X}")),
        _ => (vec![b'?'], false),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(text: &str) -> String {
        String::from_utf8(OneLine::new(text).bytes).unwrap()
    }

    /// By the published DXF reference: text and attributes.
    #[test]
    fn what_looks_like_a_code_is_written_by_the_codes_of_the_reference() {
        for (text, want) in [
            ("N7 \\ {a} 5 % 20%", "N7 \\ {a} 5 % 20%"),
            ("a^b", "a^ b"),
            ("^J", "^ J"),
            ("5^", "5^ %%u%%u"),
            ("50%%d", "50%%%%%%d"),
            ("%%", "%%%%%%"),
            ("\\U+0041", "\\%%u%%uU+0041"),
            ("\\u+0041 \\M+1", "\\%%u%%uu+0041 \\%%u%%uM+1"),
            ("\\U", "\\U"),
            ("tab\tescape\u{1b}unit\u{1f}", "tab^Iescape^[unit^_"),
            ("Łódź 北 – €", "\\U+0141\u{f3}d\\U+017A \\U+5317 \\U+2013 \\U+20AC"),
        ] {
            let made = OneLine::new(text);
            assert_eq!(
                made,
                OneLine { bytes: want.chars().map(|sign| u32::from(sign) as u8).collect(), is_whole: true },
                "{text}"
            );
        }
    }

    #[test]
    fn what_the_release_cannot_hold_is_told() {
        for (text, want) in [("two\r\nlines\nand\rmore", "two lines and more"), ("nil\0", "nil "), ("nest \u{1f985}", "nest ?")] {
            assert_eq!((shown(text).as_str(), OneLine::new(text).is_whole), (want, false));
        }
    }

    /// The longest whole text and one sign more; nothing is cut within a code.
    #[test]
    fn the_longest_text() {
        let long = "x".repeat(MOST_BYTES);
        assert_eq!(OneLine::new(&long), OneLine { bytes: long.clone().into_bytes(), is_whole: true });
        assert_eq!(OneLine::new(&format!("{long}x")), OneLine { bytes: long.into_bytes(), is_whole: false });
        let stem = "x".repeat(MOST_BYTES - 7);
        assert_eq!((shown(&format!("{stem}x\u{416}")), shown(&format!("{stem}^"))), (format!("{stem}x"), stem.clone()));
        assert_eq!(shown(&format!("{stem}\u{416}")), format!("{stem}\\U+0416"));
    }
}
