//! What points of several bases and measured values err by, before its entries have their names.

use super::composed::arms::ValueArms;
use crate::geodesy::register::Arm;

/// Points, or values, above which their list is left out of a summary: each takes a line.
pub(super) const MOST_TOLD: usize = 20_000;

/// What points of several bases and measured values err by, by the entries of this run.
#[derive(Debug, Default)]
pub struct RawArms {
    /// By the file and line of a point's first row.
    pub points: Vec<((usize, u64), Vec<Arm>)>,
    /// By measure, name and quantity.
    pub values: Vec<([String; 3], ValueArms)>,
}

impl RawArms {
    /// Adds those that come after. Of more than are told it does not matter which.
    pub fn join(&mut self, other: RawArms) {
        let room = (MOST_TOLD + 1).saturating_sub(self.points.len());
        self.points.extend(other.points.into_iter().take(room));
        self.add_values(|| other.values);
    }

    /// Adds values, which are computed where there is room for them.
    pub fn add_values(&mut self, values: impl FnOnce() -> Vec<([String; 3], ValueArms)>) {
        if self.values.len() <= MOST_TOLD {
            self.values.extend(values());
        }
    }
}
