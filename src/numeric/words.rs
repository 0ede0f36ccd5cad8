//! Words: the known name that a mistyped one was meant to be, and counts as people write them.

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

/// A count with spaces between thousands.
pub fn grouped(count: u64) -> String {
    let digits = count.to_string();
    let mut text = String::with_capacity(digits.len() + digits.len() / 3);
    for (i, digit) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) {
            text.push(' ');
        }
        text.push(digit);
    }
    text
}

/// A count with its noun: `1 row`, `2 rows`.
pub fn counted(count: u64, one: &str, several: &str) -> String {
    format!("{} {}", grouped(count), if count == 1 { one } else { several })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thousands_are_grouped() {
        assert_eq!([0, 999, 1000, 1_234_567].map(grouped), ["0", "999", "1 000", "1 234 567"]);
    }

    #[test]
    fn one_is_one() {
        assert_eq!([0, 1, 2000].map(|count| counted(count, "row is", "rows are")), ["0 rows are", "1 row is", "2 000 rows are"]);
    }
}
