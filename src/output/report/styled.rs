//! The styles of the texts for people, and the last look at such a text before a terminal has it.

use std::borrow::Cow;

use anstyle::{AnsiColor, Style};

use crate::records::shown::visible_lines;

/// What a text is about.
pub const STRONG: Style = Style::new().bold();
/// What explains.
pub const FAINT: Style = Style::new().dimmed();
/// Rows held, and what is suspicious.
pub const HELD: Style = AnsiColor::Yellow.on_default();
/// What went wrong.
pub const WRONG: Style = AnsiColor::Red.on_default().bold();

/// A text with nothing in it that a terminal obeys but the styles of this program.
pub fn plain_but_styles(text: &str) -> Cow<'_, str> {
    let own: Vec<String> =
        [STRONG, FAINT, HELD, WRONG].iter().flat_map(|style| [format!("{style}"), format!("{style:#}")]).collect();
    if !text.contains('\u{1b}') {
        return visible_lines(text);
    }
    let mut shown = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(at) = rest.find('\u{1b}') {
        shown.push_str(&visible_lines(&rest[..at]));
        rest = &rest[at..];
        // The longest first: one style may begin as another.
        let style =
            own.iter().filter(|style| !style.is_empty() && rest.starts_with(style.as_str())).max_by_key(|style| style.len());
        let taken = style.map_or(1, String::len);
        match style {
            Some(style) => shown.push_str(style),
            None => shown.push_str(&visible_lines(&rest[..taken])),
        }
        rest = &rest[taken..];
    }
    shown.push_str(&visible_lines(rest));
    Cow::Owned(shown)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_styles_of_the_program_pass_and_nothing_else() {
        let text = format!("{STRONG}a{STRONG:#} {WRONG}b{WRONG:#} \u{1b}[2Jc\u{1b}[8md\u{1b}");
        let want = format!("{STRONG}a{STRONG:#} {WRONG}b{WRONG:#} \\u{{1b}}[2Jc\\u{{1b}}[8md\\u{{1b}}");
        assert_eq!(plain_but_styles(&text), want);
    }
}
