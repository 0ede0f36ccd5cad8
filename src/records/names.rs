//! Names made of several columns, as they are joined and as people read them.

use std::hash::{Hash, Hasher};

use rustc_hash::FxHasher;

/// The separator of the parts of a name made of several columns; it stands in no log.
pub const NAME_JOINT: char = '\u{1f}';

/// A name for people.
pub fn label(name: &str) -> String {
    name.replace(NAME_JOINT, "/")
}

/// A print of what tells a feature: its name, with its code. Two names may have one print: it decides only which rows wait for others and are
/// read together. Which of them are one feature is told by the names themselves.
pub fn name_print(code: Option<&str>, feature: &str) -> u64 {
    let mut hasher = FxHasher::default();
    (code.unwrap_or_default(), feature).hash(&mut hasher);
    hasher.finish()
}
