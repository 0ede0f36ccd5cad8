//! A line of a log cut into rows, and the cells of a row by what they are claimed as.

use super::{ClaimSource, Claims, LogLayout};
use crate::intake::cell::WhenError;
use crate::intake::columns::Quantity;
use crate::intake::delimited::{Line, Row, Rows};
use crate::numeric::words;
use crate::records::echo::Echo;
use crate::records::ledger::{Fault, Reason};
use crate::records::names::NAME_JOINT;
use crate::records::when::When;

impl LogLayout {
    /// Cuts a line into a row; a remark with separators of its own is one field of it.
    pub fn cut<'t>(&self, rows: &mut Rows<'t>, line: Line<'t>) {
        rows.push(line, self.separator);
        let is_remark = |row: &Row| self.remark.as_ref().is_some_and(|remark| remark.is_one(rows, row));
        if rows.rows().last().is_some_and(|row| row.fields() > self.width() && !self.fits(rows, row) && is_remark(row)) {
            rows.join_surplus(self.width(), self.separator);
        }
    }

    /// Cuts a line of data into a row, or one for each of its readings that is there.
    pub fn push<'t>(&self, rows: &mut Rows<'t>, line: Line<'t>) {
        self.cut(rows, line);
        if self.readings.is_empty() {
            return;
        }
        let Some(row) = rows.rows().last().copied().filter(|row| self.fits(rows, row)) else { return };
        let is_there = |reading: &Claims| {
            let mut columns = reading.iter().filter_map(|(_, claim)| match claim.source {
                ClaimSource::Column(index) => Some(index),
                _ => None,
            });
            columns.any(|index| !self.format.is_no_reading(rows.cell(&row, index)))
        };
        let there: Vec<u16> = (0..).zip(&self.readings).filter(|(_, reading)| is_there(reading)).map(|(n, _)| n).collect();
        rows.spread(there);
    }

    /// The text of a quantity in a row; none where the log does not have it or says "no reading".
    pub fn text<'r>(&'r self, quantity: Quantity, rows: &'r Rows, row: &Row) -> Option<&'r str> {
        let cell = match &self.claim_at(quantity, row)?.source {
            ClaimSource::Column(index) => rows.cell(row, *index),
            ClaimSource::Constant(value) => value,
            ClaimSource::Columns(_) => return None,
        };
        if self.format.is_no_reading(cell) {
            return None;
        }
        let meant = if self.words.is_empty() { None } else { self.words.get(&quantity).and_then(|words| words.get(cell)) };
        Some(meant.map_or(cell, String::as_str))
    }

    /// The field of a quantity as it stands, "no reading" or not; empty for what is no column.
    pub fn raw<'r>(&self, quantity: Quantity, rows: &'r Rows, row: &Row) -> &'r str {
        match self.claim_at(quantity, row).map(|claim| &claim.source) {
            Some(ClaimSource::Column(index)) => rows.cell(row, *index),
            _ => "",
        }
    }

    /// As [`LogLayout::text`], with the parts of a name made of several columns joined into `joined`;
    /// none where any part is empty.
    pub fn name<'r>(&'r self, quantity: Quantity, rows: &'r Rows, row: &Row, joined: &'r mut String) -> Option<&'r str> {
        let ClaimSource::Columns(indexes) = &self.claim_at(quantity, row)?.source else {
            return self.text(quantity, rows, row);
        };
        joined.clear();
        for (i, index) in indexes.iter().enumerate() {
            let part = rows.cell(row, *index);
            if self.format.is_no_reading(part) {
                return None;
            }
            if i > 0 {
                joined.push(NAME_JOINT);
            }
            joined.push_str(part);
        }
        Some(joined)
    }

    /// The echo that a row's distance belongs to.
    pub fn echo(&self, rows: &Rows, row: &Row) -> Option<Echo> {
        let text = self.text(Quantity::Return, rows, row)?;
        self.returns.get(&words::bare(text)).copied().or_else(|| Echo::read(text))
    }

    /// Whether a row has a field for each header; empty ones behind the last are separators at the end
    /// of the line.
    pub fn fits(&self, rows: &Rows, row: &Row) -> bool {
        let (got, want) = (row.fields(), self.width());
        if !self.tail.is_empty() {
            return row.has_tail;
        }
        got >= want && (want..got).all(|index| rows.cell(row, index).is_empty())
    }

    /// The fault of a row in which none of some quantities can be read: the first of them that the log
    /// has is named, with what stands there.
    pub fn no_reading(&self, rows: &Rows, row: &Row, reason: Reason, quantities: &[Quantity], what: &str) -> Fault {
        let found = quantities.iter().copied().find(|quantity| self.claim_at(*quantity, row).is_some());
        let (header, cell) = found.map_or(("", ""), |quantity| (self.header_at(quantity, row), self.raw(quantity, rows, row)));
        let say = if found.is_none() {
            format!("the log has no column for it: {what}")
        } else if cell.is_empty() {
            format!("{header} is empty: {what}")
        } else {
            format!("{header} \"{cell}\" is no reading: {what}")
        };
        Fault::new(reason, header, cell, say)
    }

    /// The date and time of texts of the log's columns.
    ///
    /// # Errors
    /// See [`WhenError`].
    pub fn when(&self, date: Option<&str>, time: Option<&str>) -> Result<Option<When>, WhenError> {
        let style = |quantity| self.claims.get(quantity).map(|claim| claim.style).unwrap_or_default();
        self.format.when(date.map(|text| (text, style(Quantity::Date))), time.map(|text| (text, style(Quantity::Time))))
    }
}
