//! What two mappings err by alike, in words.

use std::collections::BTreeSet;

use super::values::ValueChange;
use crate::numeric::words::counted;

/// What is said of so many that err alike.
pub(super) fn alike<'e>(counted: &str, errors: impl Iterator<Item = &'e String>) -> String {
    let kinds: BTreeSet<&str> = errors.map(|error| kind_of(error)).collect();
    let kinds: Vec<&str> = kinds.into_iter().collect();
    format!(
        "{counted} alike in both mappings, by what the summaries beside them say: by {}. That cancels in the differences, and is not in \
         the standard errors here.",
        kinds.join("; by ")
    )
}

/// The same of measured values.
pub(super) fn values_alike(values: &[ValueChange]) -> Option<String> {
    let known = values.iter().filter(|value| !value.in_common.is_empty());
    let count = known.clone().count() as u64;
    (count > 0)
        .then(|| alike(&counted(count, "measured value errs", "measured values err"), known.flat_map(|value| &value.in_common)))
}

/// What an error is of, for people: a position, a set-up, a step, a declination, a correction.
pub(super) fn kind_of(error: &str) -> &str {
    const KINDS: [(&str, &str); 5] = [
        ("position ", "the position of their base"),
        ("orientation ", "the set-up of their base"),
        ("declination ", "the declination"),
        ("known point ", "the known points of their frame"),
        ("sight to a known point ", "the sights to the known points of their frame"),
    ];
    if let Some((_, said)) = KINDS.into_iter().find(|(begins, _)| error.starts_with(begins)) {
        return said;
    }
    let step = [" east", " north", " up"].into_iter().find_map(|axis| error.strip_suffix(axis));
    // A correction names its instrument and values behind the comma.
    step.or_else(|| error.split(',').next()).unwrap_or(error)
}
