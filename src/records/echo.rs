//! Which of several echoes an instrument kept, or what it was set to.
//!
//! A pulse through leaves, wire or rain comes back more than once. Trade words, common practice, no source.

/// The echo that a distance belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Echo {
    /// The nearest echo: edges, wires, crowns. A twig before the feature spoils it.
    First,
    /// The farthest echo: through leaves to a stem or the ground. What stands behind the feature spoils it.
    Last,
    /// The only or the strongest echo, as an instrument without a choice gives it.
    Single,
    /// Only a reflector answers: leaves do not.
    Prism,
    /// Repeated measurement while the trigger is held: successive rows may be one pull.
    Tracking,
}

impl Echo {
    /// Reads a word of a log, whatever its case, spaces, hyphens and underscores: `first`, `first return`,
    /// `FIRST_ECHO`. None for an empty cell and for any other word.
    pub fn read(text: &str) -> Option<Echo> {
        let mut words = text
            .split(|c: char| c.is_whitespace() || c == '-' || c == '_')
            .filter(|word| !word.is_empty())
            .map(str::to_ascii_lowercase);
        let first = words.next()?;
        let rest: Vec<String> = words.collect();
        let is_return = matches!(rest.iter().map(String::as_str).collect::<Vec<_>>()[..], [] | ["return" | "echo" | "target"]);
        let is_mode = matches!(rest.iter().map(String::as_str).collect::<Vec<_>>()[..], [] | ["mode"]);
        match first.as_str() {
            "first" | "1st" | "nearest" if is_return => Some(Echo::First),
            "last" | "farthest" | "furthest" if is_return => Some(Echo::Last),
            "single" | "strongest" if is_return => Some(Echo::Single),
            "prism" | "reflector" if is_mode => Some(Echo::Prism),
            "tracking" | "continuous" if is_mode => Some(Echo::Tracking),
            _ => None,
        }
    }

    /// The canonical word.
    pub fn word(self) -> &'static str {
        match self {
            Echo::First => "first",
            Echo::Last => "last",
            Echo::Single => "single",
            Echo::Prism => "prism",
            Echo::Tracking => "tracking",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn trade_words_and_their_spellings() {
        for echo in [Echo::First, Echo::Last, Echo::Single, Echo::Prism, Echo::Tracking] {
            assert_eq!(Echo::read(echo.word()), Some(echo));
            assert_eq!(Echo::read(&format!("  {} ", echo.word().to_uppercase())), Some(echo));
        }
        assert_eq!(Echo::read("First Return"), Some(Echo::First));
        assert_eq!(Echo::read("LAST_echo"), Some(Echo::Last));
        assert_eq!(Echo::read("strongest-return"), Some(Echo::Single));
        assert_eq!(Echo::read("tracking mode"), Some(Echo::Tracking));
        for other in ["", "  ", "fir", "first last", "second", "first return mode", "prism return", "1", "yes", "lastly"] {
            assert_eq!(Echo::read(other), None, "{other}");
        }
    }
}
