//! Columns whose values are words of measurements and of the roles in them: the program's own, or those of twelve languages.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::OnceLock;

use super::sample::Sample;
use super::words::{folded, means};
use crate::intake::words::plain;
use crate::records::roles::MEASURES;

/// The table: a concept, a language, and its words.
const TABLE: &str = include_str!("roles.txt");

/// Roles of all measurements, backsights and strings, as the docs have them.
const ROLES: [&str; 36] = [
    "foot",
    "top",
    "distance",
    "left",
    "right",
    "near_face",
    "centre",
    "plane",
    "from",
    "to",
    "sight",
    "plane_1",
    "plane_2",
    "plane_3",
    "face",
    "support_a",
    "support_b",
    "wire",
    "ground",
    "object",
    "toe",
    "crest",
    "surface",
    "start",
    "end",
    "point",
    "backsight",
    "foresight",
    "join",
    "close",
    "begin",
    "known_line",
    "line",
    "rim",
    "floor",
    "two_way",
];

/// What a column of such words is.
#[derive(Debug, Clone, PartialEq)]
pub struct Spoken {
    /// `measure` or `role`.
    pub canonical: &'static str,
    /// The first of its words that is known.
    pub example: String,
    /// The log's word, and what it means, for those that are words of another kind.
    pub translated: BTreeMap<String, String>,
}

type RoleWords = BTreeMap<String, Vec<&'static str>>;

/// Known words of measures and of roles, folded, with what each may mean.
fn known_words() -> &'static [RoleWords; 2] {
    static READ: OnceLock<[RoleWords; 2]> = OnceLock::new();
    READ.get_or_init(|| {
        let mut table = [RoleWords::new(), RoleWords::new()];
        for line in TABLE.lines().filter(|line| !line.trim().is_empty() && !line.starts_with('#')) {
            let mut parts = line.splitn(4, ' ');
            let (Some(kind), Some(concept), Some(_), Some(words)) = (parts.next(), parts.next(), parts.next(), parts.next())
            else {
                continue;
            };
            let own = &mut table[usize::from(kind == "role")];
            for word in words.split(',') {
                let known = own.entry(bare(word)).or_default();
                if !known.contains(&concept) {
                    known.push(concept);
                }
            }
        }
        table
    })
}

/// A word in small letters without marks, blanks and signs.
fn bare(word: &str) -> String {
    word.split(|c: char| !c.is_alphanumeric()).filter(|part| !part.is_empty()).map(folded).collect()
}

/// What a word may mean as a role: a number behind it counts supports and shots of a plane.
fn roles_of(word: &str) -> Vec<String> {
    let own = plain(word);
    // Points along a chain of missing lines are counted.
    if ROLES.contains(&own.as_str()) || (matches!(own.len(), 1 | 2) && own.bytes().all(|byte| byte.is_ascii_digit())) {
        return vec![own];
    }
    let table = &known_words()[1];
    let found = |text: &str| table.get(text).cloned().unwrap_or_default();
    let text = bare(word);
    if text.chars().count() < 2 {
        return Vec::new();
    }
    let whole: Vec<String> = found(&text).into_iter().filter(|role| *role != "support").map(str::to_owned).collect();
    if !whole.is_empty() {
        return whole;
    }
    let Some(last) = text.chars().last() else { return Vec::new() };
    let stem = text.trim_end_matches(last);
    let counted = |role: &str| match (role, last) {
        ("support", 'a' | '1' | 'i') => Some("support_a".to_owned()),
        ("support", 'b' | '2') => Some("support_b".to_owned()),
        ("plane", '1'..='3') => Some(format!("plane_{last}")),
        _ => None,
    };
    found(stem).into_iter().filter_map(counted).collect()
}

fn measures_of(word: &str) -> Vec<String> {
    let own = plain(word);
    if MEASURES.contains(&own.as_str()) {
        return vec![own];
    }
    known_words()[0].get(&bare(word)).map(|known| known.iter().map(|kind| (*kind).to_owned()).collect()).unwrap_or_default()
}

/// Roles that a kind of measurement knows, for words that may mean several.
fn is_role_of(measure: &str, role: &str) -> bool {
    match measure {
        "height" => ["foot", "top", "distance"].contains(&role),
        "width" => ["left", "right", "near_face", "centre", "plane"].contains(&role),
        "span" => ["support_a", "support_b", "wire", "ground", "object"].contains(&role),
        "volume" => ["toe", "crest", "top", "face", "rim", "floor"].contains(&role),
        "profile" => ["start", "end", "line", "point"].contains(&role),
        "missing_line" => ["from", "to"].contains(&role),
        "plane" => role == "face",
        "plane_sight" => ["sight", "plane_1", "plane_2", "plane_3"].contains(&role),
        _ => false,
    }
}

/// Whether a word is said of backsights.
pub fn is_backsight(word: &str) -> bool {
    roles_of(word).iter().any(|role| role == "backsight")
}

/// What a column of words is, where nearly all of its values are known; `kinds` are the measurements of the log.
pub fn recognise(sample: &Sample, column: usize, kinds: &[String]) -> Option<Spoken> {
    let cells: Vec<&str> = sample.filled(column).collect();
    if cells.is_empty() || sample.is_numeric(column) {
        return None;
    }
    let words: BTreeSet<&str> = cells.iter().copied().collect();
    for canonical in ["measure", "role"] {
        let meanings = |word: &str| if canonical == "measure" { measures_of(word) } else { roles_of(word) };
        let known = cells.iter().filter(|cell| !meanings(cell).is_empty()).count();
        // Words of other languages are words of roads and waters too: only a set of roles that makes a measurement is one.
        let is_own = |word: &str| match canonical {
            "measure" => MEASURES.contains(&plain(word).as_str()),
            _ => ROLES.contains(&plain(word).as_str()),
        };
        let own = cells.iter().filter(|cell| is_own(cell)).count();
        let is_meant = own * 10 >= cells.len() * 8
            || match canonical {
                "measure" => ["measure", "role", "code"].iter().any(|concept| means(&sample.words(column), concept)),
                _ => !kinds.is_empty() || measure_of(&roles_in(sample, column)).is_some(),
            };
        if !is_meant {
            continue;
        }
        if known * 10 < cells.len() * 8 || words.iter().filter(|word| !meanings(word).is_empty()).count() * 2 < words.len() {
            continue;
        }
        let meaning = |word: &str| {
            let all = meanings(word);
            let fits = |role: &&String| kinds.iter().any(|kind| is_role_of(kind, role));
            all.iter().find(fits).or(all.first()).cloned()
        };
        let translated: BTreeMap<String, String> = words
            .iter()
            .filter_map(|word| Some(((*word).to_owned(), meaning(word)?)))
            .filter(|(word, meaning)| plain(word) != *meaning)
            .collect();
        let example = cells.iter().find(|cell| !meanings(cell).is_empty()).map(|cell| plain(cell)).unwrap_or_default();
        return Some(Spoken { canonical, example, translated });
    }
    None
}

/// The kind of measurement that roles are of, where only one has them.
pub fn measure_of(roles: &[String]) -> Option<&'static str> {
    let has = |role: &str| roles.iter().any(|own| own == role);
    match () {
        () if has("top") && has("foot") => Some("height"),
        () if has("left") && has("right") => Some("width"),
        () if has("from") && has("to") => Some("missing_line"),
        () if has("wire") => Some("span"),
        () if has("toe") => Some("volume"),
        () => None,
    }
}

/// The roles of a column as the program has them.
pub fn roles_in(sample: &Sample, column: usize) -> Vec<String> {
    sample.filled(column).filter_map(|cell| roles_of(cell).into_iter().next()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_concept_has_words_in_every_language() {
        let mut seen: BTreeMap<(&str, &str), BTreeSet<&str>> = BTreeMap::new();
        for line in TABLE.lines().filter(|line| !line.trim().is_empty() && !line.starts_with('#')) {
            let parts: Vec<&str> = line.splitn(4, ' ').collect();
            assert_eq!(parts.len(), 4, "{line}");
            assert!(parts[0] == "role" || MEASURES.contains(&parts[1]), "{line}");
            assert!(parts[0] == "measure" || parts[1] == "support" || ROLES.contains(&parts[1]), "{line}");
            seen.entry((parts[0], parts[1])).or_default().insert(parts[2]);
        }
        for (concept, languages) in seen {
            for language in ["en", "de", "fr", "es", "pt", "it", "nl", "pl", "sv", "no", "da", "fi"] {
                assert!(languages.contains(language), "{concept:?} has no words in {language}");
            }
        }
    }

    #[test]
    fn words_of_roles() {
        for (word, role) in [
            ("Support A", "support_a"),
            ("soporte 2", "support_b"),
            ("Stammfuß", "foot"),
            ("cime", "top"),
            ("cabo", "wire"),
            ("Bergfuß", "toe"),
            ("plano 2", "plane_2"),
            ("vasen", "left"),
        ] {
            assert!(roles_of(word).iter().any(|known| known == role), "{word}: {:?}", roles_of(word));
        }
        assert_eq!(measures_of("Baumhöhe"), ["height"]);
        assert!(roles_of("kittiwake").is_empty());
    }
}
