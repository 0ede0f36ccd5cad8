//! What a run came to, counted by what was asked for: points, measurements, strings.

use std::cmp::Reverse;

use super::contract::Account;
use crate::numeric::words::{counted, grouped};
use crate::records::ledger::{Counts, Reason};

impl Account {
    /// That nothing came of the logs at all, in a sentence with the most frequent reason; none where something did.
    pub fn nothing_mapped(&self) -> Option<String> {
        let shots = &self.shots;
        let points = shots.mapped + shots.repeats;
        if points + self.measurements.made + self.strings.made > 0 || self.is_adjusted {
            return None;
        }
        if shots.read == 0 {
            return Some("nothing was mapped: the shot logs have no rows".to_owned());
        }
        let Some((reason, rows)) = most_frequent(shots) else { return Some("nothing was mapped".to_owned()) };
        let mut why = format!(
            "nothing was mapped: {} of {} held, {} of them as {}: {}",
            grouped(shots.held_total()),
            counted(shots.read, "row is", "rows are"),
            grouped(rows),
            reason.code(),
            reason.advice()
        );
        if let (Reason::BaseHeld, Some((of_base, _))) = (reason, most_frequent(&self.bases)) {
            why.push_str(&format!("; {}: {}", of_base.code(), of_base.advice()));
        }
        Some(why)
    }

    /// What was made of what was asked for: "25 of 48 shots mapped, 3 of 3 strings drawn".
    pub fn came_of_it(&self) -> String {
        let shots = &self.shots;
        let mut parts = Vec::new();
        // Rows that serve measurements alone are asked for no point.
        if shots.mapped > 0 || self.measurements.made == 0 || shots.composed == 0 {
            parts.push(format!("{} of {} mapped", grouped(shots.mapped), counted(shots.read, "shot", "shots")));
        }
        for (made, one, several) in [
            (self.measurements, "measurement composed", "measurements composed"),
            (self.strings, "string drawn", "strings drawn"),
        ] {
            if made.asked > 0 {
                parts.push(format!("{} of {}", grouped(made.made), counted(made.asked, one, several)));
            }
        }
        parts.join(", ")
    }
}

/// The reason for which most rows are held, and how many; of several the first.
fn most_frequent(counts: &Counts) -> Option<(Reason, u64)> {
    counts.held.iter().max_by_key(|(reason, rows)| (**rows, Reverse(**reason))).map(|(reason, rows)| (*reason, *rows))
}
