//! Names made of several columns, as they are joined and as people read them.

/// The separator of the parts of a name made of several columns; it stands in no log.
pub const NAME_JOINT: char = '\u{1f}';

/// A name for people.
pub fn label(name: &str) -> String {
    name.replace(NAME_JOINT, "/")
}
