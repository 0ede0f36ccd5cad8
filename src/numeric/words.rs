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

/// So many of all, with the verb that goes with them: `the only base lies`, `1 of 3 bases lies`, `3 of 3 bases lie`. Nouns and verbs: of one,
/// of several.
pub fn of_all(count: u64, all: u64, nouns: [&str; 2], verbs: [&str; 2]) -> String {
    match (count, all) {
        (1, 1) => format!("the only {} {}", nouns[0], verbs[0]),
        _ => format!("{} of {} {}", grouped(count), counted(all, nouns[0], nouns[1]), verbs[usize::from(count != 1)]),
    }
}

/// A sentence with a capital.
pub fn capital(text: &str) -> String {
    let mut signs = text.chars();
    signs.next().map(|first| first.to_uppercase().collect::<String>() + signs.as_str()).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thousands_are_grouped() {
        assert_eq!([0, 999, 1000, 1_234_567].map(grouped), ["0", "999", "1 000", "1 234 567"]);
    }

    #[test]
    fn one_of_several_is_one() {
        let of = |count, all| of_all(count, all, ["base", "bases"], ["lies", "lie"]);
        assert_eq!(
            [(1, 1), (1, 3), (3, 3), (0, 1200)].map(|(count, all)| of(count, all)),
            ["the only base lies", "1 of 3 bases lies", "3 of 3 bases lie", "0 of 1 200 bases lie"]
        );
        assert_eq!(["the only", "1 of 3", "é", ""].map(capital), ["The only", "1 of 3", "É", ""]);
    }

    #[test]
    fn one_is_one() {
        assert_eq!([0, 1, 2000].map(|count| counted(count, "row is", "rows are")), ["0 rows are", "1 row is", "2 000 rows are"]);
    }
}
