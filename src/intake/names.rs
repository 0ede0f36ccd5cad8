//! What the name of a file or a sheet says of all its rows: a pattern such as `{plot}_{date}_*`.

/// A piece of a pattern.
enum PatternPiece<'p> {
    Text(&'p str),
    Part(&'p str),
    Anything,
}

/// Why a name says nothing by a pattern.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NameError {
    /// The pattern is none.
    #[error("{key} = \"{pattern}\" is no pattern; write each part in braces, such as \"{{plot}}_{{date}}\", and * for anything")]
    NoPattern {
        /// The key of the job that has it.
        key: &'static str,
        /// The pattern.
        pattern: String,
    },
    /// The name is not of that form.
    #[error("{key} = \"{pattern}\" does not fit the name \"{name}\"; write * for what may be anything")]
    DoesNotFit {
        /// The key of the job that has the pattern.
        key: &'static str,
        /// The pattern.
        pattern: String,
        /// The name.
        name: String,
    },
}

/// The parts of a name by a pattern, in its order: each part's own name, and its value.
///
/// # Errors
/// When the pattern is none, or the name does not fit it.
pub fn parts(pattern: &str, name: &str, key: &'static str) -> Result<Vec<(String, String)>, NameError> {
    let pieces = pieces(pattern).ok_or_else(|| NameError::NoPattern { key, pattern: pattern.to_owned() })?;
    let mut found = Vec::new();
    if fits(&pieces, name, &mut found) {
        return Ok(found);
    }
    Err(NameError::DoesNotFit { key, pattern: pattern.to_owned(), name: name.to_owned() })
}

fn pieces(pattern: &str) -> Option<Vec<PatternPiece<'_>>> {
    let mut pieces = Vec::new();
    let mut rest = pattern;
    while let Some(at) = rest.find(['{', '*', '}']) {
        if at > 0 {
            pieces.push(PatternPiece::Text(&rest[..at]));
        }
        match rest.as_bytes()[at] {
            b'*' => {
                pieces.push(PatternPiece::Anything);
                rest = &rest[at + 1..];
            }
            b'{' => {
                let end = rest[at..].find('}')? + at;
                let part = rest[at + 1..end].trim();
                if part.is_empty() || part.contains(['{', '*']) {
                    return None;
                }
                pieces.push(PatternPiece::Part(part));
                rest = &rest[end + 1..];
            }
            _ => return None,
        }
    }
    if !rest.is_empty() {
        pieces.push(PatternPiece::Text(rest));
    }
    pieces.iter().any(|piece| matches!(piece, PatternPiece::Part(_))).then_some(pieces)
}

/// Takes the shortest text for each part, as far as the rest fits; letters are compared without regard to capitals.
fn fits(pieces: &[PatternPiece], name: &str, found: &mut Vec<(String, String)>) -> bool {
    let Some((first, rest)) = pieces.split_first() else { return name.is_empty() };
    match first {
        PatternPiece::Text(text) => {
            let Some(head) = name.get(..text.len()) else { return false };
            head.to_lowercase() == text.to_lowercase() && fits(rest, &name[text.len()..], found)
        }
        PatternPiece::Anything | PatternPiece::Part(_) => {
            let is_part = matches!(first, PatternPiece::Part(_));
            let ends = name.char_indices().map(|(at, _)| at).chain([name.len()]).filter(|end| !is_part || *end > 0);
            for end in ends {
                let before = found.len();
                if let PatternPiece::Part(part) = first {
                    found.push(((*part).to_owned(), name[..end].trim().to_owned()));
                }
                if fits(rest, &name[end..], found) {
                    return true;
                }
                found.truncate(before);
            }
            false
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(pattern: &str, name: &str) -> String {
        match parts(pattern, name, "file_name") {
            Ok(parts) => parts.iter().map(|(part, value)| format!("{part}={value}")).collect::<Vec<_>>().join(" "),
            Err(problem) => problem.to_string(),
        }
    }

    #[test]
    fn names_say_plot_and_day() {
        assert_eq!(said("{plot}_{date}", "P7_2026-05-04"), "plot=P7 date=2026-05-04");
        assert_eq!(said("Plot {plot}*", "plot 12 second try"), "plot=1");
        assert_eq!(said("Plot {plot} *", "plot 12 second try"), "plot=12");
        assert_eq!(said("*-{crew}", "a-b-red"), "crew=b-red");
        assert_eq!(said("{date}", "2026-05-04"), "date=2026-05-04");
        assert!(said("{plot}_{date}", "P7").contains("does not fit the name \"P7\""));
        assert!(said("plot", "plot").contains("is no pattern"));
        assert!(said("{plot", "plot").contains("is no pattern"));
    }
}
