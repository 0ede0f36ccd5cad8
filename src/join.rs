//! Shots to bases, by name.

use crate::base::{BaseTable, Named};
use crate::intake::columns::Quantity;
use crate::intake::delimited::{Row, Rows};
use crate::intake::plan::Plan;
use crate::ledger::{Fault, Reason};

/// The index of the base that a row names.
///
/// # Errors
/// When the row names none, or none that can be used.
pub fn by_name(table: &BaseTable, plan: &Plan, rows: &Rows, row: &Row) -> Result<usize, Fault> {
    let header = plan.header(Quantity::Base);
    let mut joined = String::new();
    let Some(name) = plan.name(Quantity::Base, rows, row, &mut joined) else {
        return Err(plan.no_reading(rows, row, Reason::NoBase, &[Quantity::Base], "the shot names no base"));
    };
    if let Some(Named::Base(index)) = table.by_name.get(name) {
        return Ok(*index);
    }
    let label = crate::base::label(name);
    let fault = |reason, say| Fault::new(reason, header, &label, say);
    Err(match table.by_name.get(name) {
        Some(Named::Ambiguous(apart)) => {
            fault(Reason::AmbiguousBase, format!("positions {apart:.1} m apart bear the name {label}"))
        }
        Some(Named::Held(why)) => fault(Reason::BaseHeld, format!("base {label} was held: {why}")),
        Some(Named::Base(_)) | None => {
            let known = table.bases.iter().map(|base| base.label.as_str());
            let near = crate::intake::columns::nearest(&label, known).map(|near| format!("; did the crew mean {near}?"));
            fault(Reason::UnknownBase, format!("no base log has a base {label}{}", near.unwrap_or_default()))
        }
    })
}
