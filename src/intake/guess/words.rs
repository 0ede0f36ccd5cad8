//! The words of headers by what they mean, in twelve languages, out of a table of data.

use std::collections::HashMap;
use std::sync::OnceLock;

/// The table.
const TABLE: &str = include_str!("words.txt");

/// A word or several side by side, of a language.
struct Phrase {
    words: Vec<String>,
    language: &'static str,
}

fn known_phrases() -> &'static HashMap<&'static str, Vec<Phrase>> {
    static READ: OnceLock<HashMap<&'static str, Vec<Phrase>>> = OnceLock::new();
    READ.get_or_init(|| {
        let mut table: HashMap<&str, Vec<Phrase>> = HashMap::new();
        for line in TABLE.lines().filter(|line| !line.trim().is_empty() && !line.starts_with('#')) {
            let mut parts = line.splitn(3, ' ');
            let (Some(concept), Some(language), Some(words)) = (parts.next(), parts.next(), parts.next()) else { continue };
            for phrase in words.split(',') {
                let words = phrase.split_whitespace().map(folded).collect();
                table.entry(concept).or_default().push(Phrase { words, language });
            }
        }
        table
    })
}

/// Concepts whose words tell the language of a log.
pub const CONCEPTS: [&str; 14] = [
    "azimuth",
    "inclination",
    "zenith",
    "distance",
    "slope_distance",
    "horizontal_distance",
    "instrument_height",
    "base",
    "shot",
    "feature",
    "date",
    "time",
    "remarks",
    "species",
];

/// Concepts whose words are found in compounds: "Kompassretning" is a direction by the compass.
const COMPOUNDS: [&str; 9] = ["azimuth", "inclination", "zenith", "distance", "height", "magnetic", "angle", "accuracy", "shot"];
/// Concepts whose words are cut short in headers: "Distanza orizz.", "Obs. comp.".
const CUT_SHORT: [&str; 16] = [
    "azimuth",
    "magnetic",
    "inclination",
    "zenith",
    "angle",
    "distance",
    "slope_distance",
    "horizontal_distance",
    "horizontal",
    "vertical",
    "slanted",
    "height",
    "ellipsoidal",
    "orthometric",
    "remarks",
    "accuracy",
];
/// Letters that a word keeps where it is cut short, and those that are cut off at least.
const KEPT: usize = 5;
const CUT_OFF: usize = 2;
/// Languages that write words together.
const WRITTEN_TOGETHER: [&str; 6] = ["de", "nl", "sv", "no", "da", "fi"];

impl Phrase {
    /// Whether its one word begins or ends a compound; short ones end words of other things too, but for heights.
    fn is_part_of(&self, word: &str, concept: &str) -> bool {
        let own = self.words[0].as_str();
        let least = if concept == "height" { 4 } else { 5 };
        WRITTEN_TOGETHER.contains(&self.language)
            && own.len() >= least
            && !own.ends_with('*')
            && word.len() >= own.len() + 2
            && (word.starts_with(own) || word.ends_with(own))
    }
}

/// Whether a word of a header begins with a word of a concept and a number's name ends it: "Boomnr", "Mastnummer".
pub fn begins_with(words: &[String], concept: &str) -> bool {
    const NUMBERS: [&str; 6] = ["nr", "nummer", "no", "id", "numero", "nro"];
    let Some(phrases) = known_phrases().get(concept) else { return false };
    phrases.iter().filter(|phrase| phrase.words.len() == 1 && phrase.words[0].len() >= 3).any(|phrase| {
        words.iter().any(|word| {
            word.strip_prefix(phrase.words[0].as_str())
                .is_some_and(|rest| NUMBERS.contains(&rest.trim_start_matches(['s', 'e', 'n'])) || NUMBERS.contains(&rest))
        })
    })
}

/// Whether some words of a header mean a concept.
pub fn means(words: &[String], concept: &str) -> bool {
    language(words, concept).is_some()
}

/// The language in which they do; `any` for signs that have none.
pub fn language(words: &[String], concept: &str) -> Option<&'static str> {
    let fits = |word: &String, wanted: &str| match wanted.strip_suffix('*') {
        Some(stem) => word.starts_with(stem),
        None => word == wanted,
    };
    // Where words are written together, the front of one is a word of its own: "Höhen" is no "Höhenunterschied".
    let is_cut = |word: &String, wanted: &str, language: &str| {
        CUT_SHORT.contains(&concept)
            && !WRITTEN_TOGETHER.contains(&language)
            && (KEPT..=wanted.len().saturating_sub(CUT_OFF)).contains(&word.len())
            && wanted.starts_with(word.as_str())
    };
    let phrases = known_phrases().get(concept)?;
    let found = phrases.iter().filter(|phrase| {
        let window = phrase.words.len();
        let is_said = |(word, wanted): (&String, &String)| fits(word, wanted) || is_cut(word, wanted, phrase.language);
        words.windows(window).any(|run| run.iter().zip(&phrase.words).all(is_said))
            || (window == 1 && COMPOUNDS.contains(&concept) && words.iter().any(|word| phrase.is_part_of(word, concept)))
            // Words run together: "Zielhöhe" and "Ziel Höhe" are one.
            || (window == 1 && words.len() > 1 && words.len() < 4 && fits(&words.concat(), &phrase.words[0]) && phrase.words[0].len() > 5)
    });
    // A word that is English too says nothing of the language.
    let mut languages: Vec<&'static str> = found.map(|phrase| phrase.language).collect();
    languages.sort_by_key(|language| !matches!(*language, "any" | "en"));
    languages.first().copied()
}

/// The words of a header, in small letters without marks, numbers apart.
pub fn split(header: &str) -> Vec<String> {
    // The sign for a number, not that of degrees.
    let header = ["n°", "N°", "nº", "Nº", "№"].iter().fold(header.to_owned(), |text, sign| text.replace(sign, "no "));
    let mut parts: Vec<String> = vec![String::new()];
    let mut before: Option<char> = None;
    for c in header.chars() {
        let turns = before.is_some_and(|b| (b.is_lowercase() && c.is_uppercase()) || b.is_alphabetic() != c.is_alphabetic());
        if !c.is_alphanumeric() && c != '°' && c != '%' {
            parts.push(String::new());
        } else {
            if turns {
                parts.push(String::new());
            }
            if let Some(last) = parts.last_mut() {
                last.push(c);
            }
        }
        before = Some(c);
    }
    parts.retain(|part| !part.is_empty());
    parts.iter().map(|part| folded(part)).collect()
}

/// Small letters, marks taken off, and the two letters that stand for one with a mark made one.
pub(super) fn folded(word: &str) -> String {
    let mut text = String::with_capacity(word.len());
    for c in word.to_lowercase().chars() {
        match c {
            'á' | 'à' | 'â' | 'ä' | 'ã' | 'å' | 'ą' => text.push('a'),
            'ç' | 'ć' => text.push('c'),
            'é' | 'è' | 'ê' | 'ë' | 'ę' => text.push('e'),
            'í' | 'ì' | 'î' | 'ï' => text.push('i'),
            'ł' => text.push('l'),
            'ñ' | 'ń' => text.push('n'),
            'ó' | 'ò' | 'ô' | 'ö' | 'õ' | 'ø' => text.push('o'),
            'ś' => text.push('s'),
            'ú' | 'ù' | 'û' | 'ü' => text.push('u'),
            'ź' | 'ż' => text.push('z'),
            'æ' => text.push('a'),
            'œ' => text.push('o'),
            'ß' => text.push_str("ss"),
            other => text.push(other),
        }
    }
    text.replace("ae", "a").replace("oe", "o").replace("ue", "u")
}

#[cfg(test)]
mod tests {
    use super::*;

    const LANGUAGES: [&str; 12] = ["en", "de", "fr", "es", "pt", "it", "nl", "pl", "sv", "no", "da", "fi"];

    #[test]
    fn headers_fall_into_words() {
        assert_eq!(split("HorizDist (m)"), ["horiz", "dist", "m"]);
        assert_eq!(split("AZ_mag°"), ["az", "mag", "°"]);
        assert_eq!(split("stemAzimuth"), ["stem", "azimuth"]);
        assert_eq!(split("D schräg"), ["d", "schrag"]);
    }

    #[test]
    fn every_concept_has_words_in_every_language() {
        for (concept, phrases) in known_phrases() {
            for language in LANGUAGES {
                let has = phrases.iter().any(|phrase| phrase.language == language);
                assert!(has, "{concept} has no words in {language}");
            }
        }
        assert!(known_phrases().len() >= 30, "{}", known_phrases().len());
    }

    #[test]
    fn words_are_found_however_they_were_typed() {
        for (header, concept) in [
            ("bäring", "azimuth"),
            ("Schrägdistanz [m]", "slope_distance"),
            ("SCHRAEGDISTANZ", "slope_distance"),
            ("Høydevinkel", "inclination"),
            ("Wysokość oczu", "instrument_height"),
            ("distancia inclinada (m)", "slope_distance"),
            ("Etäisyys", "distance"),
            ("Observações", "remarks"),
            ("hauteur de l'instrument", "instrument_height"),
            ("Ooghoogte", "instrument_height"),
            ("Longitudine", "longitude"),
            ("Kippachshöhe", "instrument_height"),
            ("Hældning", "inclination"),
            ("Kompassretning (°)", "azimuth"),
            ("Kompassretning (°)", "magnetic"),
            ("N° visée", "shot"),
            ("Nº", "shot"),
            ("Baumnummer", "shot"),
            ("Geländehöhe", "height"),
            ("Godz.", "time"),
            ("Distanza orizz. (m)", "horizontal_distance"),
            ("Dist. horiz.", "horizontal_distance"),
            ("Instr. højde", "instrument_height"),
            ("H. app.", "instrument_height"),
            ("h strum.", "instrument_height"),
            ("h prisma", "target_height"),
            ("Prisme-højde", "target_height"),
            ("Lettura orizz. (gon)", "azimuth"),
            ("Horisontalvinkel", "azimuth"),
            ("Alti IGN69", "height"),
            ("Alti IGN69", "orthometric"),
            ("Kl.", "time"),
        ] {
            assert!(means(&split(header), concept), "{header} is no {concept}: {:?}", split(header));
        }
        assert!(begins_with(&split("Boomnr"), "feature") && begins_with(&split("Mastnummer"), "feature"));
        assert!(!begins_with(&split("Baumart"), "feature"), "a species is no name");
        assert!(!means(&split("Abstand"), "base"), "a compound of other concepts is none");
        assert!(!means(&split("Höhen"), "vertical_distance"), "the front of a compound is a word of its own");
        assert!(!means(&split("Dist"), "horizontal_distance") && !means(&split("Stamm"), "foot"));
        assert_eq!(language(&split("avst"), "distance"), Some("sv"));
        assert_eq!(language(&split("Dist"), "distance"), Some("en"));
    }
}
