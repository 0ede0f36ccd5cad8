//! Headers of rows that are made of something else than delimited text.

use super::extras::is_same_name;

/// `name`, or where a header has it already, `name` with `prefix` before it, as often as it takes.
pub fn free_name(name: &str, prefix: &str, taken: &[String]) -> String {
    let mut free = name.to_owned();
    while taken.iter().any(|header| is_same_name(header, &free)) {
        free.insert_str(0, prefix);
    }
    free
}
