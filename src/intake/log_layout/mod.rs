//! How one log is laid out: from a file's headers to what its columns mean: the separator, the claimed columns with their units, and
//! the columns that are carried through. How their values are written is settled in [`super::settle`].
//!
//! [`claiming`] says which column is what, [`required`] what no log may lack, [`settings`] what the job says, [`lines`] what kind of
//! line a line is, and [`cells`] gives the cells of a row by what they are claimed as.

mod cells;
mod claim;
mod claiming;
pub(super) mod error;
mod lines;
mod required;
mod settings;

use std::collections::BTreeMap;

use rustc_hash::FxHashMap;

use super::IntakeError;
use super::cell::CellFormat;
use super::columns::{self, LogKind, Quantity};
use super::delimited::{Line, Lines, Row, Rows};
use super::header::{self, Header};
use super::surplus::Remark;
use super::text::Text;
use super::written::Written;
use crate::job::LogFormat;
use crate::numeric::signs::Signs;
use crate::records::echo::Echo;

pub use self::claim::Claim;
pub(super) use self::claim::{ClaimSource, Claims};
pub use self::error::{Alike, HeadersFound, LayoutError, NoZone, SettingError};
pub use self::lines::LineKind;

/// Data rows that are looked at for units and zones.
const ROWS_LOOKED_AT: usize = 500;

/// How one log is laid out.
#[derive(Debug)]
pub struct LogLayout {
    /// Which log it is.
    pub kind: LogKind,
    /// The separator.
    pub separator: u8,
    /// How values are written.
    pub format: CellFormat,
    /// What a comment begins with.
    pub comment: String,
    /// The headers.
    pub headers: Vec<String>,
    /// Line of the header.
    pub header_line: u64,
    /// Byte offset and line number of the first line under the header.
    pub body: (usize, u64),
    /// Blank lines and comments above the header.
    pub above: (u64, u64),
    /// Lines of a title above the header, as they stand.
    pub title: Vec<String>,
    /// First and last line of what reads like a table of its own above the header.
    pub table_above: Option<[u64; 2]>,
    /// Whether the header stands over two lines.
    pub is_double: bool,
    /// The column that chooses the CRS of a base, where the job names one.
    pub crs_column: Option<usize>,
    /// What tells that the surplus fields of a row are a remark.
    remark: Option<Remark>,
    /// What to write where the times of a log of shots have no zone: only their days are read.
    pub without_zone: Option<NoZone>,
    /// Line of the units under the header.
    units_line: Option<u64>,
    /// The header line as it stands, to know it again.
    header_text: String,
    returns: BTreeMap<String, Echo>,
    pub(super) claims: Claims,
    /// Claims of each of several readings in a row, beside those of all.
    pub(super) readings: Vec<Claims>,
    /// What the names of file and sheet say: fields behind those of every row.
    pub(super) tail: Vec<String>,
    /// The standard error of each axis that a radius of 1 stands for, where the job says which share it has.
    pub sigma_of_radius: Option<f64>,
    /// The log's own words, by column, for those that are not written as they are meant.
    pub(super) words: BTreeMap<Quantity, FxHashMap<String, String>>,
    /// How the values are written.
    pub written: Written,
    /// Columns that become attributes, index and name: those that nothing claims, and those of [`Quantity::is_carried`].
    pub extras: Vec<(usize, String)>,
    /// How the numbers of each are written.
    pub extra_signs: Vec<Signs>,
}

impl LogLayout {
    /// Finds the layout of a file.
    ///
    /// # Errors
    /// When the headers cannot be understood, contradict each other or the job, or lack what every
    /// row needs; the message says what to write.
    pub fn new(text: &Text, kind: LogKind, log: &LogFormat) -> Result<LogLayout, IntakeError> {
        LogLayout::find(text, kind, log, true)
    }

    /// Finds the layout of a log of calibration shots: a log of shots that may lack what no
    /// calibration of its rows asks for.
    ///
    /// # Errors
    /// As [`LogLayout::new`].
    pub fn for_calibration(text: &Text, log: &LogFormat) -> Result<LogLayout, IntakeError> {
        LogLayout::find(text, LogKind::Shots, log, false)
    }

    fn find(text: &Text, kind: LogKind, log: &LogFormat, is_complete: bool) -> Result<LogLayout, IntakeError> {
        let comment = log.comment.clone().unwrap_or_else(|| "#".to_owned());
        let fault = |line: u64, problem: LayoutError| IntakeError::columns(&text.path, line, problem);
        let given = match log.separator {
            Some(sign) if sign.is_ascii() && !sign.is_ascii_alphanumeric() => Some(sign as u8),
            Some(sign) => return Err(fault(1, LayoutError::Separator(sign))),
            None => None,
        };
        let named: Vec<&str> = log.headers().collect();
        let canonical: Vec<String> = columns::names(kind).into_iter().map(|(name, _, _)| name).collect();
        let is_known = |name: &str| named.contains(&name) || canonical.iter().any(|known| known.eq_ignore_ascii_case(name));
        let found =
            header::find(&text.text, &comment, given, log.header_line, &is_known).ok_or_else(|| match log.header_line {
                Some(line) => fault(line, LayoutError::NoHeaderLine(line)),
                None => fault(1, LayoutError::Empty),
            })?;
        let Header { line, is_double, separator, names: mut headers, text: header_text, title, table_above } = found;
        if headers.len() == 1 && header::is_prose(&text.text) {
            return Err(fault(1, LayoutError::Prose));
        }
        let mut lines = Lines::from_top(&text.text, separator, 1);
        let skipped: Vec<_> = lines.by_ref().take_while(|candidate| candidate.number < line).collect();
        let is_comment = |line: &&Line| !comment.is_empty() && line.text.starts_with(&comment);
        let comments = skipped.iter().filter(is_comment).count() as u64;
        let of_header = title.len() as u64 + u64::from(is_double);
        let above = ((skipped.len() as u64).saturating_sub(comments + of_header), comments);
        let body = (lines.offset(), line + 1);
        claiming::name_unnamed(&mut headers, &text.text[body.0..], separator, text.sheet.is_some());
        claiming::check_headers(&headers).map_err(|problem| fault(line, problem))?;
        let mut layout = LogLayout {
            kind,
            separator,
            format: settings::cell_format(log)?,
            comment,
            headers,
            header_line: line,
            body,
            above,
            title,
            table_above,
            is_double,
            crs_column: None,
            remark: None,
            without_zone: None,
            units_line: None,
            header_text: header_text.trim().to_owned(),
            claims: Claims::default(),
            words: BTreeMap::new(),
            written: Written::default(),
            readings: Vec::new(),
            tail: Vec::new(),
            sigma_of_radius: log.radius_share.map(settings::sigma_of_radius),
            extras: Vec::new(),
            extra_signs: Vec::new(),
            returns: settings::returns(log)?,
        };
        layout.take_names(text, log).map_err(|problem| fault(line, problem))?;
        layout.claim(log, is_complete).map_err(|problem| fault(line, problem))?;
        if is_complete {
            layout.require().map_err(|problem| fault(line, problem))?;
        }
        layout.units_line = layout.find_units(&text.text).map_err(|(line, problem)| fault(line, problem))?;
        layout.remark = layout.find_remark(&text.text);
        settings::check_signs(log).map_err(|problem| fault(line, problem.into()))?;
        layout.settle(&text.text, log).map_err(|(line, problem)| fault(line, problem))?;
        match layout.lacking_zone(&text.text) {
            // Shots need their days; whether they need their instants is known when the bases are.
            Some(problem) if kind == LogKind::Shots => layout.without_zone = Some(problem),
            Some(problem) => return Err(fault(line, problem.into())),
            None => {}
        }
        Ok(layout)
    }

    /// The claim on a quantity.
    pub fn claim_of(&self, quantity: Quantity) -> Option<&Claim> {
        self.claims.get(quantity).or_else(|| self.readings.iter().find_map(|reading| reading.get(quantity)))
    }

    /// The claim on a quantity of a row, which may be one of several readings of its line.
    pub fn claim_at(&self, quantity: Quantity, row: &Row) -> Option<&Claim> {
        let of_reading = self.readings.get(usize::from(row.reading)).and_then(|reading| reading.get(quantity));
        of_reading.or_else(|| self.claims.get(quantity))
    }

    /// All claims, those of readings included.
    fn all_claims(&self) -> impl Iterator<Item = (Quantity, &Claim)> {
        self.claims.iter().chain(self.readings.iter().flat_map(Claims::iter))
    }

    /// Whether a base is named by the columns of its position.
    pub fn names_bases_by_place(&self) -> bool {
        let column = |quantity| match self.claims.get(quantity).map(|claim| &claim.source) {
            Some(ClaimSource::Column(index)) => Some(*index),
            _ => None,
        };
        let Some(ClaimSource::Columns(named)) = self.claims.get(Quantity::Base).map(|claim| &claim.source) else { return false };
        [[Quantity::Latitude, Quantity::Longitude], [Quantity::East, Quantity::North]]
            .iter()
            .any(|pair| pair.iter().all(|quantity| column(*quantity).is_some_and(|index| named.contains(&index))))
    }

    /// Fields of a line.
    pub fn width(&self) -> usize {
        self.headers.len() - self.tail.len()
    }

    /// Whether a line may give several readings.
    pub fn has_readings(&self) -> bool {
        !self.readings.is_empty()
    }

    /// Rows to cut lines into.
    pub fn rows<'t>(&self) -> Rows<'t> {
        Rows::with_tail(&self.tail, self.width())
    }

    /// The first data rows of the file, each cut on its own.
    fn first_rows<'t>(&'t self, text: &'t str) -> impl Iterator<Item = Rows<'t>> + 't {
        Lines::from_top(&text[self.body.0..], self.separator, self.body.1)
            .filter(|line| self.kind_of(line) == LineKind::Data)
            .take(ROWS_LOOKED_AT)
            .map(|line| {
                let mut rows = self.rows();
                rows.push(line, self.separator);
                rows
            })
    }

    /// Whether a column holds something measured, a name, or the choice of a CRS, for cut lines.
    pub fn claims_column(&self, index: usize) -> bool {
        self.crs_column == Some(index)
            || self.all_claims().any(|(quantity, claim)| match &claim.source {
                ClaimSource::Column(column) => *column == index && !quantity.is_carried(),
                ClaimSource::Columns(columns) => columns.contains(&index),
                ClaimSource::Constant(_) => false,
            })
    }

    /// The header that a claim reads, for messages.
    pub fn header(&self, quantity: Quantity) -> &str {
        self.claim_of(quantity).map_or("", |claim| &claim.header)
    }

    /// The same for a row, which may be one of several readings of its line.
    pub fn header_at(&self, quantity: Quantity, row: &Row) -> &str {
        self.claim_at(quantity, row).map_or("", |claim| &claim.header)
    }
}
