//! What kind of line a line of a log is, and which of them are no rows of its table: units under the header, totals, remarks.

use super::error::LayoutError;
use super::{Claim, ClaimSource, LogLayout};
use crate::intake::columns::{ColumnUnit, Quantity};
use crate::intake::delimited::{Line, Row, Rows};
use crate::intake::surplus::Remark;
use crate::units::{AngleUnit, LengthUnit};

/// What kind of line a line is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LineKind {
    /// Data.
    Data,
    /// Nothing but white space or separators.
    Blank,
    /// A comment.
    Comment,
    /// The header again.
    Header,
    /// The header again, its columns in another order.
    OtherHeader,
    /// The units under the header.
    Units,
}

impl LogLayout {
    /// What kind of line a line is.
    pub fn kind_of(&self, line: &Line) -> LineKind {
        if self.units_line == Some(line.number) {
            return LineKind::Units;
        }
        let line = line.text;
        // Appended files bring their byte order mark along.
        let line = line.strip_prefix('\u{feff}').unwrap_or(line);
        let bytes = line.as_bytes();
        let blank = |byte: &u8| byte.is_ascii_whitespace() || *byte == self.separator;
        match bytes.first() {
            None => LineKind::Blank,
            Some(first) if blank(first) && bytes.iter().all(blank) => LineKind::Blank,
            Some(first) if self.comment.as_bytes().first() == Some(first) && line.starts_with(&self.comment) => LineKind::Comment,
            _ if line.len() < self.header_text.len() || bytes.len() > self.header_text.len() + 8 => LineKind::Data,
            _ if line.trim() == self.header_text => LineKind::Header,
            _ if self.is_permuted_header(line.trim()) => LineKind::OtherHeader,
            _ => LineKind::Data,
        }
    }

    /// The line of units, where the first line of data is one.
    pub(super) fn find_units(&self, text: &str) -> Result<Option<u64>, (u64, LayoutError)> {
        let Some(rows) = self.first_rows(text).next() else { return Ok(None) };
        let row = rows.rows()[0];
        let is_units = self.is_units_row(&rows, &row).map_err(|problem| (row.line.number, problem))?;
        Ok(is_units.then_some(row.line.number))
    }

    /// Whether a row is the line of units under a header; an error where a unit there is not the one
    /// that the column is read in.
    fn is_units_row(&self, rows: &Rows, row: &Row) -> Result<bool, LayoutError> {
        let mut known = 0;
        let mut wrong = None;
        for (_, claim) in self.all_claims() {
            let (ClaimSource::Column(index), true) = (&claim.source, claim.unit != ColumnUnit::None) else { continue };
            let word = rows.cell(row, *index).trim_matches(['[', ']', '(', ')']);
            if word.is_empty() {
                continue;
            }
            let said = LengthUnit::from_word(word)
                .map(ColumnUnit::Length)
                .or_else(|| AngleUnit::from_word(word).map(ColumnUnit::Angle))
                .or_else(|| (word == "%" || word == "pct").then_some(ColumnUnit::Percent));
            let Some(said) = said else { return Ok(false) };
            known += 1;
            let is_meant = matches!(claim.unit, ColumnUnit::Angle(unit) if unit.is_said_by(word));
            if said != claim.unit && !is_meant {
                wrong = Some(LayoutError::OtherUnit {
                    word: word.to_owned(),
                    header: claim.header.clone(),
                    name: claim.name.clone(),
                });
            }
        }
        match wrong {
            Some(wrong) if known > 0 => Err(wrong),
            _ => Ok(known > 0),
        }
    }

    fn is_permuted_header(&self, line: &str) -> bool {
        let sum = |text: &str| text.bytes().map(u64::from).sum::<u64>();
        if line.len() != self.header_text.len() || sum(line) != sum(&self.header_text) {
            return false;
        }
        let sorted = |text: &str| {
            let mut parts: Vec<String> = text.split(self.separator as char).map(|part| part.trim().to_owned()).collect();
            parts.sort_unstable();
            parts
        };
        sorted(line) == sorted(&self.header_text)
    }

    /// What tells that surplus fields are a remark: nothing where the last column is claimed.
    pub(super) fn find_remark(&self, text: &str) -> Option<Remark> {
        let last = self.width().checked_sub(1)?;
        let is_claimed = self.all_claims().any(|(_, claim)| match &claim.source {
            ClaimSource::Column(index) => *index == last,
            ClaimSource::Columns(indexes) => indexes.contains(&last),
            ClaimSource::Constant(_) => false,
        });
        if is_claimed || self.crs_column == Some(last) {
            return None;
        }
        let known: Vec<Rows> =
            self.first_rows(text).filter(|rows| rows.rows().first().is_some_and(|row| self.fits(rows, row))).collect();
        Remark::find(known.iter(), self.width())
    }

    /// The names that columns give a row; one that the job gives all rows says nothing of one.
    fn named_by_columns(&self) -> impl Iterator<Item = Quantity> {
        let is_of_columns = |claim: &Claim| !matches!(claim.source, ClaimSource::Constant(_));
        let names = [Quantity::Base, Quantity::Shot, Quantity::Feature].into_iter();
        names.filter(move |quantity| self.claim_of(*quantity).is_some_and(is_of_columns))
    }

    /// Whether a row that can be read is of totals all the same: its first word says so, and nothing in it names anything else.
    pub fn is_total(&self, rows: &Rows, row: &Row) -> bool {
        let width = row.fields().min(self.width());
        let first = (0..width).map(|index| rows.cell(row, index)).find(|cell| !cell.is_empty());
        let mut joined = String::new();
        first.is_some_and(says_total)
            && self.named_by_columns().all(|quantity| {
                self.name(quantity, rows, row, &mut joined).is_none_or(|name| says_total(name) || name.parse::<f64>().is_ok())
            })
    }

    /// Whether a row that cannot be read is none of the table's: a total, or a note beside or below it.
    #[allow(clippy::redundant_closure)]
    pub fn is_remark(&self, rows: &Rows, row: &Row) -> bool {
        let width = row.fields().min(self.width());
        let filled: Vec<&str> = (0..width).map(|index| rows.cell(row, index)).filter(|cell| !cell.is_empty()).collect();
        let is_total = |cell: &&str| says_total(cell);
        let mut joined = String::new();
        let is_named = self.named_by_columns().any(|quantity| {
            self.name(quantity, rows, row, &mut joined).is_some_and(|name| !is_total(&name) && name.parse::<f64>().is_err())
        });
        if filled.iter().any(|cell| is_total(cell)) && !is_named {
            return true;
        }
        // A count in words below the names: "Total;;18 poles", and nothing measured.
        let measured = || self.all_claims().filter(|(_, claim)| claim.unit != ColumnUnit::None);
        if filled.first().is_some_and(is_total) && measured().all(|(quantity, _)| self.text(quantity, rows, row).is_none()) {
            return true;
        }
        match filled.as_slice() {
            [only] => self.headers.len() > 2 && only.split_whitespace().count() > 1 && only.chars().any(char::is_alphabetic),
            _ => false,
        }
    }
}

/// Whether a field begins a row of totals.
fn says_total(cell: &str) -> bool {
    let first = cell.split(|c: char| !c.is_alphanumeric()).find(|word| !word.is_empty()).map(str::to_lowercase);
    first.is_some_and(|word| TOTALS.contains(&word.as_str()))
        || TOTALS_IN_TWO.contains(&cell.trim_end_matches(['.', ':', ' ']).to_lowercase().as_str())
}

/// Words that begin a row of totals, two that make up the whole field.
const TOTALS_IN_TWO: [&str; 5] = ["i alt", "en total", "au total", "em total", "in totale"];

/// Words that begin a row of totals or means below a table, in small letters, in the languages of the header words.
const TOTALS: [&str; 48] = [
    "nombre",
    "anzahl",
    "antal",
    "antall",
    "aantal",
    "liczba",
    "numero",
    "count",
    "total",
    "totals",
    "totaal",
    "totale",
    "totali",
    "totaux",
    "totalt",
    "sum",
    "sums",
    "subtotal",
    "summe",
    "gesamt",
    "gesamtsumme",
    "somme",
    "suma",
    "soma",
    "somma",
    "som",
    "razem",
    "summa",
    "yhteensä",
    "average",
    "avg",
    "mean",
    "median",
    "mittel",
    "mittelwert",
    "durchschnitt",
    "moyenne",
    "media",
    "média",
    "promedio",
    "gemiddelde",
    "średnia",
    "medel",
    "snitt",
    "gjennomsnitt",
    "gennemsnit",
    "keskiarvo",
    "max",
];
