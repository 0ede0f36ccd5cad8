//! The ledger layer: one record an input file, and one a row that was held or flagged. A row that
//! was mapped is accounted for by its feature's source_file and source_line.

use super::{Definition, Get};
use crate::job::LayerName;
use crate::job::catalogue::GeometryKind;
use crate::output::columns::{Layer, LayerKey};
use crate::records::ledger::{Counts, Entry, Outcome};

/// A record of the ledger.
#[derive(Clone, Copy)]
pub enum LedgerRecord<'r> {
    /// An input file: its name, whether it has bases, its counts.
    File(&'r str, bool, &'r Counts),
    /// A row: its file's name, whether that has bases, and the entry.
    Row(&'r str, bool, &'r Entry),
}

impl<'r> LedgerRecord<'r> {
    fn counts(&self) -> Option<&'r Counts> {
        match self {
            LedgerRecord::File(_, _, counts) => Some(counts),
            LedgerRecord::Row(..) => None,
        }
    }

    fn entry(&self) -> Option<&'r Entry> {
        match self {
            LedgerRecord::Row(_, _, entry) => Some(entry),
            LedgerRecord::File(..) => None,
        }
    }
}

/// The fields, in the order of the layer.
pub fn definitions<'r>() -> Vec<Definition<LedgerRecord<'r>>> {
    use Get::*;
    let d = Definition::new;
    let mut fields = vec![
        d(
            "record",
            "RECORD",
            "What the record is of: file, held (a row set aside), flagged (a row mapped with a suspicion), used or rejected (a row of a network, kept or rejected by its test).",
            Text(|r| {
                Some(match r {
                    LedgerRecord::File(..) => "file",
                    LedgerRecord::Row(_, _, entry) => match entry.outcome {
                        Outcome::Held(_) => "held",
                        Outcome::Flagged(..) => "flagged",
                        Outcome::Used(..) => "used",
                        Outcome::Rejected(..) => "rejected",
                    },
                })
            }),
        ),
        d(
            "log",
            "LOG",
            "Kind of log: bases or shots.",
            Text(|r| {
                let (LedgerRecord::File(_, bases, _) | LedgerRecord::Row(_, bases, _)) = r;
                Some(if *bases { "bases" } else { "shots" })
            }),
        ),
        d(
            "source_file",
            "SRC_FILE",
            "Input file.",
            Text(|r| {
                let (LedgerRecord::File(name, _, _) | LedgerRecord::Row(name, _, _)) = r;
                Some(name)
            }),
        ),
        d(
            "source_line",
            "SRC_LINE",
            "Line in the input file, from 1; null for a file.",
            Integer(|r| r.entry().map(|entry| entry.line as i64)),
        ),
    ];
    fields.extend(rows());
    fields.extend(counts());
    fields
}

/// Of a row: what is wrong with it.
fn rows<'r>() -> Vec<Definition<LedgerRecord<'r>>> {
    use Get::*;
    let d = Definition::new;
    vec![
        d(
            "code",
            "CODE",
            "Reason code of a held row, flag codes of a flagged one.",
            Show(|r: &LedgerRecord, texts| match r.entry().map(|entry| &entry.outcome) {
                Some(Outcome::Held(fault)) => texts.push(Some(fault.reason.code())),
                Some(Outcome::Flagged(flags, _)) => texts.push_display(flags),
                Some(Outcome::Used(flags, _) | Outcome::Rejected(flags, _)) if !flags.is_empty() => texts.push_display(flags),
                Some(Outcome::Used(..) | Outcome::Rejected(..)) => texts.push(None),
                None => texts.push(None),
            }),
        ),
        d(
            "log_column",
            "LOG_COLUMN",
            "Header of the column at fault, where it is one.",
            Text(|r| match r.entry().map(|entry| &entry.outcome) {
                Some(Outcome::Held(fault)) if !fault.column.is_empty() => Some(&fault.column),
                _ => None,
            }),
        ),
        d(
            "value",
            "VALUE",
            "The value at fault.",
            Text(|r| match r.entry().map(|entry| &entry.outcome) {
                Some(Outcome::Held(fault)) if !fault.value.is_empty() => Some(&fault.value),
                _ => None,
            }),
        ),
        d(
            "sentence",
            "SENTENCE",
            "What is wrong, in a sentence.",
            Show(|r: &LedgerRecord, texts| match r.entry().map(|entry| &entry.outcome) {
                Some(Outcome::Held(fault)) => texts.push(Some(&fault.sentence)),
                Some(Outcome::Flagged(flags, detail) | Outcome::Used(flags, detail) | Outcome::Rejected(flags, detail)) => {
                    let mut sentences: Vec<&str> = flags.iter().map(|flag| flag.sentence()).collect();
                    sentences.extend((!detail.is_empty()).then_some(detail.as_str()));
                    texts.push(Some(&sentences.join("; ")));
                }
                None => texts.push(None),
            }),
        ),
        d("row", "ROW", "The row as it stands in the file.", Text(|r| r.entry().map(|entry| entry.row.as_str()))),
    ]
}

/// Of a file: its counts.
fn counts<'r>() -> Vec<Definition<LedgerRecord<'r>>> {
    use Get::*;
    fn count(record: &LedgerRecord, of: fn(&Counts) -> u64) -> Option<i64> {
        record.counts().map(|counts| of(counts) as i64)
    }
    let d = Definition::new;
    vec![
        d(
            "rows_read",
            "ROWS_READ",
            "Data rows of a file; mapped and held add up to it.",
            Integer(|r| count(r, |counts| counts.read)),
        ),
        d("rows_mapped", "ROWS_MAPPD", "Rows mapped (bases: used).", Integer(|r| count(r, |counts| counts.mapped))),
        d("rows_held", "ROWS_HELD", "Rows held.", Integer(|r| count(r, Counts::held_total))),
        d("rows_flagged", "ROWS_FLAGD", "Rows mapped with a flag.", Integer(|r| count(r, |counts| counts.flagged))),
        d(
            "lines_skipped",
            "LINES_SKIP",
            "Blank, comment, units and repeated header lines.",
            Integer(|r| {
                count(r, |counts| counts.blank_lines + counts.comment_lines + counts.repeated_headers + counts.units_lines)
            }),
        ),
    ]
}

/// The layer.
pub fn layer() -> Layer {
    Layer {
        key: LayerKey::Own(LayerName::Ledger),
        id: "ledger".into(),
        title: "Ledger of the input".into(),
        description: "One record for each input file, and one for each row that was held or flagged. Every other row is \
                      accounted for by source_file and source_line of its feature."
            .into(),
        geometry: GeometryKind::None,
        fields: definitions().iter().map(Definition::field).collect(),
    }
}
