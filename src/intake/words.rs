//! The log's own words: roles, measures, echoes and codes are compared without regard to capitals, blanks, hyphens and underscores,
//! and a job can translate them.

use std::collections::{BTreeMap, BTreeSet};

use rustc_hash::FxHashMap;

use crate::numeric::words::bare;

/// A word as roles and measures are written: small letters, an underscore for each run of blanks and hyphens.
pub fn plain(word: &str) -> String {
    let parts = word.split(|c: char| c.is_whitespace() || c == '-' || c == '_').filter(|part| !part.is_empty());
    parts.map(str::to_lowercase).collect::<Vec<_>>().join("_")
}

/// What the words of a column mean, for those that are not written as they are meant; `is_plain` where words are of the program.
pub fn translations(table: &BTreeMap<String, String>, words: &BTreeSet<String>, is_plain: bool) -> FxHashMap<String, String> {
    let table: BTreeMap<String, String> =
        table.iter().map(|(word, meaning)| (bare(word), if is_plain { plain(meaning) } else { meaning.clone() })).collect();
    let mut known = FxHashMap::default();
    for word in words {
        let meaning = match table.get(&bare(word)) {
            Some(meaning) => meaning.clone(),
            None if is_plain => plain(word),
            None => continue,
        };
        if meaning != *word && !meaning.is_empty() {
            known.insert(word.clone(), meaning);
        }
    }
    known
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn capitals_blanks_and_hyphens_make_no_other_word() {
        for word in ["Support A", "support-a", " SUPPORT__a ", "support_a"] {
            assert_eq!(plain(word), "support_a", "{word}");
            assert_eq!(bare(word), "supporta", "{word}");
        }
        let table = BTreeMap::from([("Base".to_owned(), "Foot".to_owned())]);
        let words = BTreeSet::from(["BASE".to_owned(), "top".to_owned(), "Missing Line".to_owned()]);
        let known = translations(&table, &words, true);
        assert_eq!(known.get("BASE").map(String::as_str), Some("foot"));
        assert_eq!(known.get("Missing Line").map(String::as_str), Some("missing_line"));
        assert_eq!(known.get("top"), None, "it stands as it is meant");
        // Codes are the crew's: only what the job translates.
        let codes = BTreeMap::from([("kitt".to_owned(), "KI".to_owned())]);
        let words = BTreeSet::from(["KITT".to_owned(), "Other Code".to_owned()]);
        let known = translations(&codes, &words, false);
        assert_eq!(known.get("KITT").map(String::as_str), Some("KI"));
        assert_eq!(known.len(), 1);
    }
}
