//! A row that belongs to a measurement or a string.

use crate::measure::RoleShot;
use crate::measure::span::conditions::Conditions;
use crate::numeric::signs::Signs;
use crate::records::ledger::{Entry, Fault, Outcome, Reason};
use crate::records::when::When;

/// A row that belongs to a measurement or a string.
#[derive(Debug, Clone)]
pub struct CollectedRow {
    /// What was read of it.
    pub sighting: RoleShot,
    /// Kind of measurement.
    pub measure: Option<String>,
    /// Name of the feature.
    pub feature: Option<String>,
    /// Name of the string.
    pub string: Option<String>,
    /// Number in the string.
    pub order: Option<f64>,
    /// Feature code.
    pub code: Option<String>,
    /// The fields of its code's attributes: index of the carried column, and the text.
    pub cells: Vec<(usize, String, Signs)>,
    /// Date and time.
    pub when: Option<When>,
    /// Name of the level surface that it is sighted on.
    pub level: Option<String>,
    /// Conditions of the day.
    pub conditions: Conditions,
    /// The row as it stands.
    pub row: String,
    /// Whether it is no feature of its own.
    pub is_part: bool,
    /// Whether the account of its row is another reading's.
    pub is_told: bool,
    /// Whether it was flagged as a feature already.
    pub is_flagged: bool,
}

impl CollectedRow {
    /// The row held.
    pub(super) fn held(&self, value: &str, sentence: &str) -> Entry {
        let (file, line) = self.sighting.place;
        let fault = Fault::new(Reason::Incomplete, "", value, sentence);
        Entry { file, line, row: self.row.clone(), outcome: Outcome::Held(fault) }
    }
}
