//! What is wrong with a fix by the job's rules of quality.

use crate::job::{FixKind, Quality};
use crate::records::ledger::{Fault, Reason};

/// What is wrong with a fix or a point by the job's rules: its kind, and its horizontal and position dilutions, each with
/// the name that it has in the log.
pub fn poor(kind: Option<FixKind>, dilutions: [(&str, Option<f64>); 2], kind_name: &str, rules: &Quality) -> Option<Fault> {
    let least = rules.least_fix;
    if let Some(kind) = kind.filter(|kind| *kind < least) {
        let say = format!("the fix is {}; the job wants {} or better", kind.word(), least.word());
        return Some(Fault::new(Reason::PoorFix, kind_name, kind.word(), say));
    }
    for ((name, value), greatest) in dilutions.into_iter().zip([rules.greatest_hdop, rules.greatest_pdop]) {
        if let (Some(value), Some(greatest)) = (value, greatest)
            && value > greatest
        {
            let say = format!("{name} {value} is above {greatest}, the largest that the job allows");
            return Some(Fault::new(Reason::PoorFix, name, &value.to_string(), say));
        }
    }
    None
}

impl FixKind {
    /// Every kind, the least trusted first.
    pub const ALL: [FixKind; 8] = [
        FixKind::Simulated,
        FixKind::Manual,
        FixKind::Estimated,
        FixKind::Unknown,
        FixKind::Single,
        FixKind::Differential,
        FixKind::Float,
        FixKind::Fixed,
    ];

    /// The word in layers and jobs.
    pub fn word(self) -> &'static str {
        match self {
            FixKind::Simulated => "simulated",
            FixKind::Manual => "manual",
            FixKind::Estimated => "estimated",
            FixKind::Unknown => "unknown",
            FixKind::Single => "single",
            FixKind::Differential => "differential",
            FixKind::Float => "float",
            FixKind::Fixed => "fixed",
        }
    }
}
