//! A block of a delimited log's text, cut into rows: what is read in parallel.

use std::path::Path;

use memchr::memchr_iter;

use super::IntakeError;
use super::delimited::{Lines, Row, Rows};
use super::log_layout::{LayoutError, LineKind, LogLayout};
use crate::records::ledger::{Counts, Fault, Reason};

/// A block of a file's text.
#[derive(Debug, Clone, Copy)]
pub struct Chunk<'t> {
    /// Index of the file.
    pub file: usize,
    /// Whole lines.
    pub text: &'t str,
    /// Number of the first.
    pub first_line: u64,
}

impl Chunk<'_> {
    /// How many lines it has.
    pub fn lines(&self) -> usize {
        memchr_iter(b'\n', self.text.as_bytes()).count()
    }
}

/// Cuts a block into rows; the fault of a row that cannot be cut stands beside it.
///
/// # Errors
/// When the header stands in it again with its columns in another order.
pub fn cut<'t>(
    chunk: &Chunk<'t>,
    layout: &LogLayout,
    path: &Path,
    counts: &mut Counts,
) -> Result<(Rows<'t>, Vec<Option<Fault>>), IntakeError> {
    let mut rows = layout.rows();
    for line in Lines::new(chunk.text, layout.separator, chunk.first_line) {
        match layout.kind_of(&line) {
            LineKind::Blank => counts.blank_lines += 1,
            LineKind::Comment => counts.comment_lines += 1,
            LineKind::Header => counts.repeated_headers += 1,
            LineKind::Units => counts.units_lines += 1,
            LineKind::OtherHeader => return Err(IntakeError::columns(path, line.number, LayoutError::OtherHeader)),
            LineKind::Data => layout.push(&mut rows, line),
        }
    }
    let faults = rows.rows().iter().map(|row| shape_fault(layout, &rows, row)).collect();
    Ok((rows, faults))
}

/// What is wrong with a row's shape.
pub(super) fn shape_fault(layout: &LogLayout, rows: &Rows, row: &Row) -> Option<Fault> {
    let (got, want) = (row.fields(), layout.width());
    if row.line.unclosed {
        return Some(Fault::new(
            Reason::UnclosedQuote,
            "",
            "",
            "a quoted field begins here and never ends; add the closing quote",
        ));
    }
    if !row.line.ended {
        let last = got.min(want).saturating_sub(1);
        if got < want || layout.claims_column(last) {
            return Some(Fault::new(
                Reason::CutLastLine,
                layout.headers.get(last).map_or("", String::as_str),
                rows.cell(row, last),
                "the last line has no line end and may be cut short; if it is whole, add a line end",
            ));
        }
    }
    if !layout.fits(rows, row) {
        return Some(Fault::new(Reason::FieldCount, "", "", format!("the row has {got} fields, the header {want}")));
    }
    None
}

/// The fault of a row, or that it is none of the table's rows at all.
pub fn explained(fault: Fault, layout: &LogLayout, rows: &Rows, row: &Row) -> Fault {
    if matches!(fault.reason, Reason::CutLastLine | Reason::UnclosedQuote) || !layout.is_remark(rows, row) {
        return fault;
    }
    no_row(layout, row)
}

/// That a row is a total or a note.
pub(super) fn no_row(layout: &LogLayout, row: &Row) -> Fault {
    let parts = row.line.text.split(layout.separator as char).map(str::trim).filter(|part| !part.is_empty());
    let text = parts.collect::<Vec<_>>().join(", ");
    Fault::new(Reason::NoRow, "", "", format!("\"{text}\" is a total or a note beside the table, not a row of it"))
}
