//! A pass over all rows of a log that looks at some columns, to settle how their values are written before any is read.
//!
//! Blocks are looked at in parallel and put together in the order of the file, so that the outcome does not depend on the number of
//! threads.

use std::collections::BTreeSet;

use memchr::memchr_iter;
use rayon::prelude::*;

use super::delimited::{Line, Lines, Rows, blocks};
use super::log_layout::{LineKind, LogLayout};
use super::{dates, numbers};

/// Bytes of text that are looked at as one.
const BLOCK_BYTES: usize = 256 * 1024;

/// What is looked for in a column.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Watch {
    /// How numbers are written.
    Number,
    /// How dates, or dates with times, are written.
    Date,
    /// How times of day beside a date are written.
    Time,
    /// Which words there are.
    Word,
}

/// What was seen in a column.
#[derive(Debug, Clone, Default)]
pub(super) struct ColumnSeen {
    pub numbers: numbers::NumberEvidence,
    pub when: dates::evidence::DateEvidence,
    pub words: BTreeSet<String>,
}

impl ColumnSeen {
    pub(super) fn take(&mut self, watch: Watch, cell: &str, line: u64) {
        match watch {
            Watch::Number => self.numbers.take(cell, line),
            Watch::Date => self.when.take_date(cell, line),
            Watch::Time => self.when.take_time(cell, line),
            Watch::Word => {
                if !self.words.contains(cell) {
                    self.words.insert(cell.to_owned());
                }
            }
        }
    }

    fn add(&mut self, later: ColumnSeen) {
        self.numbers.add(later.numbers);
        self.when.add(later.when);
        self.words.extend(later.words);
    }
}

/// Looks at columns of all rows that have a field for each header; `watched` are their indexes.
pub(super) fn survey(layout: &LogLayout, text: &str, watched: &[(usize, Watch)]) -> Vec<ColumnSeen> {
    let mut whole = vec![ColumnSeen::default(); watched.len()];
    if watched.is_empty() {
        return whole;
    }
    let body = &text[layout.body.0..];
    let blocks = blocks(Lines::new(body, layout.separator, layout.body.1), BLOCK_BYTES);
    let seen = blocks.par_iter().map(|block| {
        let mut seen = vec![ColumnSeen::default(); watched.len()];
        let mut cells = LineCells { ends: Vec::new(), rows: layout.rows() };
        for line in Lines::new(&body[block.range.clone()], layout.separator, block.first_line) {
            if !line.unclosed && layout.kind_of(&line) == LineKind::Data {
                cells.look(layout, line, watched, &mut seen);
            }
        }
        seen
    });
    for of_block in seen.collect::<Vec<_>>() {
        whole.iter_mut().zip(of_block).for_each(|(seen, later)| seen.add(later));
    }
    whole
}

/// The storage for one line after the other.
struct LineCells<'t> {
    ends: Vec<usize>,
    rows: Rows<'t>,
}

impl<'t> LineCells<'t> {
    fn look_at_cut(&mut self, layout: &LogLayout, line: Line<'t>, watched: &[(usize, Watch)], seen: &mut [ColumnSeen]) {
        self.rows.clear();
        layout.cut(&mut self.rows, line);
        let row = self.rows.rows()[0];
        if layout.fits(&self.rows, &row) {
            for ((column, watch), seen) in watched.iter().zip(seen) {
                seen.take(*watch, self.rows.cell(&row, *column), line.number);
            }
        }
    }

    fn look(&mut self, layout: &LogLayout, line: Line<'t>, watched: &[(usize, Watch)], seen: &mut [ColumnSeen]) {
        let bytes = line.text.as_bytes();
        if line.has_quotes() {
            self.look_at_cut(layout, line, watched, seen);
            return;
        }
        self.ends.clear();
        self.ends.extend(memchr_iter(layout.separator, bytes));
        self.ends.push(bytes.len());
        let cell = |column: usize| {
            // What the names of file and sheet say stands behind the line's own fields.
            if let Some(said) =
                column.checked_sub(layout.width()).and_then(|at| layout.tail.get(at)).filter(|_| column >= layout.width())
            {
                return said.as_str();
            }
            let from = column.checked_sub(1).map_or(0, |before| self.ends[before] + 1);
            line.text[from..self.ends[column]].trim()
        };
        let wanted = layout.width();
        let own = |column: usize| line.text[self.ends[column - 1] + 1..self.ends[column]].trim();
        if self.ends.len() < wanted {
            return;
        }
        if (wanted..self.ends.len()).any(|column| !own(column).is_empty()) {
            self.look_at_cut(layout, line, watched, seen);
            return;
        }
        for ((column, watch), seen) in watched.iter().zip(seen) {
            seen.take(*watch, cell(*column), line.number);
        }
    }
}
