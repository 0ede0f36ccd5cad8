//! The account of the input: why a row was held, what is suspicious about a row that was mapped,
//! and the counts that must add up.

mod flag;
mod reason;

use std::borrow::Cow;
use std::collections::BTreeMap;

pub use self::flag::{Flag, Flags};
pub use self::reason::Reason;
use super::shown::quoted;

/// What is wrong with one row, and where in it.
#[derive(Debug, Clone, PartialEq)]
pub struct Fault {
    /// The reason.
    pub reason: Reason,
    /// The log's own header of the column; empty where it is the row as a whole.
    pub column: String,
    /// The value as it stands.
    pub value: String,
    /// The sentence.
    pub sentence: String,
}

impl Fault {
    /// A fault of a column's value. Of a long value the begin and the end are kept; the row has all of it.
    pub fn new(reason: Reason, column: &str, value: &str, sentence: impl Into<String>) -> Fault {
        let mut sentence = sentence.into();
        let [column, value] = [column, value].map(|long| match quoted(long) {
            Cow::Borrowed(short) => short.to_owned(),
            Cow::Owned(short) => {
                sentence = sentence.replace(long, &short);
                short
            }
        });
        Fault { reason, column, value, sentence }
    }
}

/// A row that was held or flagged.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// Index of the input file.
    pub file: usize,
    /// Line, counted from 1.
    pub line: u64,
    /// The row as it stands in the file.
    pub row: String,
    /// What became of it.
    pub outcome: Outcome,
}

/// What became of a row that is in the ledger.
#[derive(Debug, Clone, PartialEq)]
pub enum Outcome {
    /// Held.
    Held(Fault),
    /// Mapped, with suspicions, and what there is to say of this row's beside the sentences of the flags.
    Flagged(Flags, String),
    /// Used in a network: suspicions, and the residuals of its readings.
    Used(Flags, String),
    /// In a network, all its readings rejected by the test: suspicions, and the residuals.
    Rejected(Flags, String),
}

/// Counts of one input file. `read` = `mapped` + `repeats` + the sum of `held` + `composed` +
/// `outside_occupations`.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Counts {
    /// Data rows read.
    pub read: u64,
    /// Rows mapped (bases: rows used).
    pub mapped: u64,
    /// Rows held, by reason.
    pub held: BTreeMap<Reason, u64>,
    /// Rows mapped with at least one flag.
    pub flagged: u64,
    /// Flags raised.
    pub flags: BTreeMap<Flag, u64>,
    /// Rows mapped without a height.
    pub without_height: u64,
    /// Blank lines.
    pub blank_lines: u64,
    /// Comment lines.
    pub comment_lines: u64,
    /// Header lines repeated inside the file.
    pub repeated_headers: u64,
    /// Units lines under a header.
    pub units_lines: u64,
    /// Further shots to a feature that is mapped: joined in its point, or left out of it by a test.
    pub repeats: u64,
    /// Rows that are no points of their own and serve a composed measurement or the places of bases.
    pub composed: u64,
    /// Fixes of a receiver outside every occupation: read, sound, and of no use to a base.
    pub outside_occupations: u64,
    /// Lines of a receiver's log that are no fixes of their own: sentences of other kinds; points that `except` leaves out; lines of
    /// a title above a header.
    pub other_lines: u64,
}

impl Counts {
    /// Rows held.
    pub fn held_total(&self) -> u64 {
        self.held.values().sum()
    }

    /// Counts a held row.
    pub fn hold(&mut self, reason: Reason) {
        *self.held.entry(reason).or_default() += 1;
    }

    /// Counts the flags of a mapped row.
    pub fn flag(&mut self, flags: Flags) {
        if !flags.is_empty() {
            self.flagged += 1;
            for flag in flags.iter() {
                *self.flags.entry(flag).or_default() += 1;
            }
        }
    }

    /// Adds another file's or block's counts.
    pub fn add(&mut self, other: &Counts) {
        self.read += other.read;
        self.mapped += other.mapped;
        self.flagged += other.flagged;
        self.without_height += other.without_height;
        self.blank_lines += other.blank_lines;
        self.comment_lines += other.comment_lines;
        self.repeated_headers += other.repeated_headers;
        self.units_lines += other.units_lines;
        self.repeats += other.repeats;
        self.composed += other.composed;
        self.outside_occupations += other.outside_occupations;
        self.other_lines += other.other_lines;
        for (reason, count) in &other.held {
            *self.held.entry(*reason).or_default() += count;
        }
        for (flag, count) in &other.flags {
            *self.flags.entry(*flag).or_default() += count;
        }
    }
}
