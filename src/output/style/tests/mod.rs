//! Styles: what readers can tell apart, and documents in the order of their schemas.

mod colours;
mod documents;
mod xml;

use super::*;

/// Names in files of the layers with geometry that every run may have.
const STANDARD: [&str; 8] = ["features", "bases", "sight_lines", "ellipses", "lines", "areas", "vertices", "parts"];

/// More layers of other names than there are colours with marks.
const OTHERS: usize = 40;

/// Every look.
fn looks() -> Vec<Look> {
    STANDARD.iter().map(|id| Look::standard(id).unwrap()).chain((0..OTHERS).map(Look::other)).collect()
}
