//! Likeness of words: the known name that a mistyped one was meant to be.

/// The known name nearest to a mistyped one, where one is near enough.
pub fn nearest<'n>(name: &str, known: impl IntoIterator<Item = &'n str>) -> Option<&'n str> {
    known
        .into_iter()
        .map(|candidate| (strsim::jaro_winkler(&name.to_lowercase(), &candidate.to_lowercase()), candidate))
        .filter(|(score, _)| *score > 0.84)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, candidate)| candidate)
}

/// A word for comparisons: small letters without blanks, hyphens and underscores.
pub fn bare(word: &str) -> String {
    word.chars().filter(|c| !c.is_whitespace() && !matches!(c, '-' | '_')).flat_map(char::to_lowercase).collect()
}
