//! Roles of rows that more than one stage knows.

/// The role of a sight that orients its base.
pub const BACKSIGHT: &str = "backsight";
/// The role of a sight to the next base, compared with its counterpart.
pub const FORESIGHT: &str = "foresight";
/// The role of a vertex that is a point shot elsewhere.
pub const JOIN: &str = "join";
/// The kinds of measurement, as the `measure` column has them.
pub const MEASURES: [&str; 8] = ["height", "width", "missing_line", "plane_sight", "plane", "span", "volume", "profile"];
