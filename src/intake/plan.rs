//! From a file's headers to what its columns mean: the separator, the claimed columns with their units, and the columns that are
//! carried through. How their values are written is settled in [`super::settle`].

use std::collections::{BTreeMap, HashMap};

use jiff::SignedDuration;
use rustc_hash::FxHashMap;

use super::IntakeError;
use super::cell::{CellFormat, time_zone};
use super::claims::Claims;
use super::columns::{self, LogKind, Quantity, Unit};
use super::dates;
use super::delimited::{Line, Lines, Row, Rows};
use super::header::{self, Header};
use super::names;
use super::settle::Written;
use super::surplus::Remark;
use super::text::Text;
use super::words;
use crate::job::LogFormat;
use crate::numeric::signs::Signs;
use crate::numeric::words::nearest;
use crate::records::echo::Echo;
use crate::records::ledger::{Fault, Reason};
use crate::records::names::NAME_JOINT;
use crate::units::gps_time::LeapSeconds;
use crate::units::{AngleUnit, LengthUnit};

/// Data rows that are looked at for units and zones.
const ROWS_LOOKED_AT: usize = 500;

/// How one file is read.
#[derive(Debug)]
pub struct Plan {
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
    /// Whether the header stands over two lines.
    pub is_double: bool,
    /// The column that chooses the CRS of a base, where the job names one.
    pub crs_column: Option<usize>,
    /// What tells that the surplus fields of a row are a remark.
    remark: Option<Remark>,
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

/// A claimed quantity.
#[derive(Debug, Clone)]
pub struct Claim {
    /// Canonical name.
    pub name: String,
    /// The log's own header, for messages.
    pub header: String,
    /// Unit.
    pub unit: Unit,
    /// How its numbers are written.
    pub signs: Signs,
    /// How its dates and times are written.
    pub style: dates::Style,
    pub(super) source: Source,
}

/// Where the values of a claim are.
#[derive(Debug, Clone)]
pub(super) enum Source {
    /// A column.
    Column(usize),
    /// Several columns that make one name together.
    Columns(Vec<usize>),
    Constant(String),
}

impl Claim {
    fn new(name: String, header: String, unit: Unit, source: Source) -> Claim {
        Claim { name, header, unit, signs: Signs::POINT, style: dates::Style::default(), source }
    }
}

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

impl Plan {
    /// Plans the reading of a file.
    ///
    /// # Errors
    /// When the headers cannot be understood, contradict each other or the job, or lack what every
    /// row needs; the message says what to write.
    pub fn new(text: &Text, kind: LogKind, log: &LogFormat) -> Result<Plan, IntakeError> {
        Plan::of(text, kind, log, true)
    }

    /// Plans the reading of a log of calibration shots: a log of shots that may lack what no
    /// calibration of its rows asks for.
    ///
    /// # Errors
    /// As [`Plan::new`].
    pub fn for_calibration(text: &Text, log: &LogFormat) -> Result<Plan, IntakeError> {
        Plan::of(text, LogKind::Shots, log, false)
    }

    fn of(text: &Text, kind: LogKind, log: &LogFormat, is_complete: bool) -> Result<Plan, IntakeError> {
        let comment = log.comment.clone().unwrap_or_else(|| "#".to_owned());
        let fault = |line: u64, problem: String| IntakeError::Columns { path: text.path.clone(), line, problem };
        let given = match log.separator {
            Some(sign) if sign.is_ascii() && !sign.is_ascii_alphanumeric() => Some(sign as u8),
            Some(sign) => return Err(fault(1, format!("\"{sign}\" cannot be a separator; use , ; | or a tab"))),
            None => None,
        };
        let named: Vec<&str> = log.headers().collect();
        let canonical: Vec<String> = columns::names(kind).into_iter().map(|(name, _, _)| name).collect();
        let is_known = |name: &str| named.contains(&name) || canonical.iter().any(|known| known.eq_ignore_ascii_case(name));
        let found =
            header::find(&text.text, &comment, given, log.header_line, &is_known).ok_or_else(|| match log.header_line {
                Some(line) => fault(line, format!("header_line = {line} is no line of text in the first part of the file")),
                None => fault(1, "the file is empty; a log needs a header line and rows".into()),
            })?;
        let Header { line, is_double, separator, names: mut headers, text: header_text, title } = found;
        if headers.len() == 1 && header::is_prose(&text.text) {
            return Err(fault(1, header::WHAT_A_TABLE_NEEDS.into()));
        }
        let mut lines = Lines::new(&text.text, separator, 1);
        let skipped: Vec<_> = lines.by_ref().take_while(|candidate| candidate.number < line).collect();
        let is_comment = |line: &&Line| !comment.is_empty() && line.text.starts_with(&comment);
        let comments = skipped.iter().filter(is_comment).count() as u64;
        let of_header = title.len() as u64 + u64::from(is_double);
        let above = ((skipped.len() as u64).saturating_sub(comments + of_header), comments);
        let body = (lines.offset(), line + 1);
        name_unnamed(&mut headers, &text.text[body.0..], separator, text.sheet.is_some());
        check_headers(&headers).map_err(|problem| fault(line, problem))?;
        let mut plan = Plan {
            kind,
            separator,
            format: cell_format(log).map_err(|problem| IntakeError::Setting { problem })?,
            comment,
            headers,
            header_line: line,
            body,
            above,
            title,
            is_double,
            crs_column: None,
            remark: None,
            units_line: None,
            header_text: header_text.trim().to_owned(),
            claims: Claims::default(),
            words: BTreeMap::new(),
            written: Written::default(),
            readings: Vec::new(),
            tail: Vec::new(),
            sigma_of_radius: log.radius_share.map(sigma_of_radius),
            extras: Vec::new(),
            extra_signs: Vec::new(),
            returns: returns(log).map_err(|problem| IntakeError::Setting { problem })?,
        };
        plan.take_names(text, log).map_err(|problem| fault(line, problem))?;
        plan.claim(log, is_complete).map_err(|problem| fault(line, problem))?;
        if is_complete {
            plan.require().map_err(|problem| fault(line, problem))?;
        }
        plan.units_line = plan.find_units(&text.text).map_err(|(line, problem)| fault(line, problem))?;
        plan.remark = plan.find_remark(&text.text);
        check_signs(log).map_err(|problem| fault(line, problem))?;
        plan.settle(&text.text, log).map_err(|(line, problem)| fault(line, problem))?;
        plan.check_zone(&text.text).map_err(|problem| fault(line, problem))?;
        Ok(plan)
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
            Some(Source::Column(index)) => Some(*index),
            _ => None,
        };
        let Some(Source::Columns(named)) = self.claims.get(Quantity::Base).map(|claim| &claim.source) else { return false };
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

    /// Cuts a line into a row; a remark with separators of its own is one field of it.
    pub fn cut<'t>(&self, rows: &mut Rows<'t>, line: Line<'t>) {
        rows.push(line, self.separator);
        let is_remark = |row: &Row| self.remark.as_ref().is_some_and(|remark| remark.is_one(rows, row));
        if rows.rows().last().is_some_and(|row| row.fields() > self.width() && !self.fits(rows, row) && is_remark(row)) {
            rows.join_surplus(self.width(), self.separator);
        }
    }

    /// What tells that surplus fields are a remark: nothing where the last column is claimed.
    fn find_remark(&self, text: &str) -> Option<Remark> {
        let last = self.width().checked_sub(1)?;
        let is_claimed = self.all_claims().any(|(_, claim)| match &claim.source {
            Source::Column(index) => *index == last,
            Source::Columns(indexes) => indexes.contains(&last),
            Source::Constant(_) => false,
        });
        if is_claimed || self.crs_column == Some(last) {
            return None;
        }
        let known: Vec<Rows> =
            self.first_rows(text).filter(|rows| rows.rows().first().is_some_and(|row| self.fits(rows, row))).collect();
        Remark::of(known.iter(), self.width())
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
                Source::Column(index) => Some(index),
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
            Source::Column(index) => rows.cell(row, *index),
            Source::Constant(value) => value,
            Source::Columns(_) => return None,
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
            Some(Source::Column(index)) => rows.cell(row, *index),
            _ => "",
        }
    }

    /// As [`Plan::text`], with the parts of a name made of several columns joined into `joined`;
    /// none where any part is empty.
    pub fn name<'r>(&'r self, quantity: Quantity, rows: &'r Rows, row: &Row, joined: &'r mut String) -> Option<&'r str> {
        let Source::Columns(indexes) = &self.claim_at(quantity, row)?.source else {
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
            _ if !self.comment.is_empty() && line.starts_with(&self.comment) => LineKind::Comment,
            _ if line.len() < self.header_text.len() || bytes.len() > self.header_text.len() + 8 => LineKind::Data,
            _ if line.trim() == self.header_text => LineKind::Header,
            _ if self.is_permuted_header(line.trim()) => LineKind::OtherHeader,
            _ => LineKind::Data,
        }
    }

    /// The line of units, where the first line of data is one.
    fn find_units(&self, text: &str) -> Result<Option<u64>, (u64, String)> {
        let Some(rows) = self.first_rows(text).next() else { return Ok(None) };
        let row = rows.rows()[0];
        let is_units = self.is_units_row(&rows, &row).map_err(|problem| (row.line.number, problem))?;
        Ok(is_units.then_some(row.line.number))
    }

    /// Whether a row is the line of units under a header; an error where a unit there is not the one
    /// that the column is read in.
    fn is_units_row(&self, rows: &Rows, row: &Row) -> Result<bool, String> {
        let mut known = 0;
        let mut wrong = None;
        for (_, claim) in self.all_claims() {
            let (Source::Column(index), true) = (&claim.source, claim.unit != Unit::None) else { continue };
            let word = rows.cell(row, *index).trim_matches(['[', ']', '(', ')']);
            if word.is_empty() {
                continue;
            }
            let said = LengthUnit::from_word(word)
                .map(Unit::Length)
                .or_else(|| AngleUnit::from_word(word).map(Unit::Angle))
                .or_else(|| (word == "%" || word == "pct").then_some(Unit::Percent));
            let Some(said) = said else { return Ok(false) };
            known += 1;
            let is_meant = matches!(claim.unit, Unit::Angle(unit) if unit.is_said_by(word));
            if said != claim.unit && !is_meant {
                wrong = Some(format!(
                    "the units line says \"{word}\" for \"{}\", but the job reads it as {}; claim it with the unit it has",
                    claim.header, claim.name
                ));
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

    /// Claims the columns that the job names, and those with canonical headers. A log that need not be complete may lack some that the job
    /// names for others.
    fn claim(&mut self, log: &LogFormat, is_complete: bool) -> Result<(), String> {
        let index_of = |headers: &[String], wanted: &str| headers.iter().position(|header| header == wanted.trim());
        let table = self.kind.table();
        let kind = self.kind;
        let canonical = |name: &str| {
            columns::parse(name, kind).ok_or_else(|| {
                let names = columns::names(kind);
                let near = nearest(name, names.iter().map(|(name, _, _)| name.as_str()))
                    .map(|near| format!("; did you mean {near}?"))
                    .unwrap_or_else(|| "; the canonical names are listed by `standoff schema job`".into());
                format!("[{table}.columns]: {name} is no canonical column name{near}")
            })
        };
        let mut found: Vec<(Option<usize>, Quantity, Claim)> = Vec::new();
        let of_all = std::iter::once((None, &log.columns, &log.values));
        let of_readings = log.readings.iter().enumerate().map(|(n, reading)| (Some(n), &reading.columns, &reading.values));
        for (reading, name, sources) in of_all
            .clone()
            .chain(of_readings.clone())
            .flat_map(|(n, columns, _)| columns.iter().map(move |(name, from)| (n, name, from)))
        {
            let (quantity, unit) = canonical(name)?;
            if !is_complete && sources.as_slice().iter().any(|wanted| index_of(&self.headers, wanted).is_none()) {
                continue;
            }
            let mut indexes = Vec::new();
            for wanted in sources.as_slice() {
                indexes.push(index_of(&self.headers, wanted).ok_or_else(|| {
                    let near = nearest(wanted, self.headers.iter().map(String::as_str))
                        .map(|near| format!("; did you mean \"{near}\"?"))
                        .unwrap_or_else(|| format!("; it has: {}", self.headers.join(", ")));
                    format!("[{table}.columns] reads {name} from \"{wanted}\", which the file does not have{near}")
                })?);
            }
            let source = match indexes.as_slice() {
                [] => return Err(format!("[{table}.columns]: {name} names no header")),
                [index] => Source::Column(*index),
                _ if matches!(quantity, Quantity::Base | Quantity::Shot | Quantity::Feature) => Source::Columns(indexes),
                _ => {
                    return Err(format!(
                        "[{table}.columns]: only base, shot and feature can be made of several headers, not {name}"
                    ));
                }
            };
            let header = sources.as_slice().join(" + ");
            found.push((reading, quantity, Claim::new(name.clone(), header, unit, source)));
        }
        for (reading, name, value) in
            of_all.chain(of_readings).flat_map(|(n, _, values)| values.iter().map(move |(name, value)| (n, name, value)))
        {
            let (quantity, unit) = canonical(name)?;
            let header = match reading {
                None => format!("[{table}.values] {name}"),
                Some(n) => format!("[[{table}.readings]] {} {name}", n + 1),
            };
            found.push((reading, quantity, Claim::new(name.clone(), header, unit, Source::Constant(value.clone()))));
        }
        if !log.readings.is_empty() && self.kind != LogKind::Shots {
            return Err(format!("[[{table}.readings]] is for shots alone"));
        }
        if log.has_no_bases
            && !log.columns.contains_key("base")
            && !self.headers.iter().any(|header| header.eq_ignore_ascii_case("base"))
        {
            let source = Source::Constant(crate::job::ONE_STAND.to_owned());
            found.push((None, Quantity::Base, Claim::new("base".into(), String::new(), Unit::None, source)));
        }
        self.readings = vec![Claims::default(); log.readings.len()];
        for (reading, quantity, claim) in found {
            self.add(reading, quantity, claim)?;
        }
        if let Some(n) = log.readings.iter().position(|reading| reading.columns.is_empty()) {
            return Err(format!(
                "[[{table}.readings]] {}: it has no columns; a reading is what stands in columns of its own",
                n + 1
            ));
        }
        let mapped: Vec<(usize, bool)> = self
            .all_claims()
            .flat_map(|(quantity, claim)| match &claim.source {
                Source::Column(index) => vec![(*index, quantity.is_carried())],
                Source::Columns(indexes) => indexes.iter().map(|index| (*index, false)).collect(),
                Source::Constant(_) => vec![],
            })
            .collect();
        let kinds = [Quantity::EllipsoidHeight, Quantity::OrthometricHeight];
        let chosen = self.kind == LogKind::Bases && kinds.iter().filter(|kind| self.claims.has(**kind)).count() == 1;
        for index in 0..self.headers.len() {
            let header = self.headers[index].clone();
            if let Some((_, is_carried)) = mapped.iter().find(|(column, _)| *column == index) {
                self.extras.extend(is_carried.then_some((index, header)));
                continue;
            }
            match columns::parse(&header.to_ascii_lowercase(), self.kind) {
                // The job has chosen the other of two kinds of height.
                Some((Quantity::EllipsoidHeight, _)) if self.claims.has(Quantity::OrthometricHeight) && chosen => {
                    self.extras.push((index, header));
                }
                Some((Quantity::OrthometricHeight, _)) if self.claims.has(Quantity::EllipsoidHeight) && chosen => {
                    self.extras.push((index, header));
                }
                Some((quantity, unit)) if !self.claims.has(quantity) => {
                    self.extras.extend(quantity.is_carried().then(|| (index, header.clone())));
                    self.add(None, quantity, Claim::new(header.to_ascii_lowercase(), header, unit, Source::Column(index)))?;
                }
                Some((quantity, _))
                    if !log.columns.keys().any(|name| columns::parse(name, self.kind).is_some_and(|(q, _)| q == quantity))
                        && !log.values.keys().any(|name| columns::parse(name, self.kind).is_some_and(|(q, _)| q == quantity)) =>
                {
                    let other = self.claims.get(quantity).map(|claim| claim.header.clone()).unwrap_or_default();
                    return Err(format!(
                        "\"{other}\" and \"{header}\" hold the same quantity; choose one in the job's [{table}.columns]"
                    ));
                }
                _ => self.extras.push((index, header)),
            }
        }
        Ok(())
    }

    fn add(&mut self, reading: Option<usize>, quantity: Quantity, claim: Claim) -> Result<(), String> {
        let claims = match reading {
            None => &mut self.claims,
            Some(n) => &mut self.readings[n],
        };
        match claims.put(quantity, claim.clone()) {
            None => Ok(()),
            Some(other) => Err(format!("{} and {} claim the same quantity; keep one", other.name, claim.name)),
        }
    }

    /// What every log of the kind must have.
    fn require(&self) -> Result<(), String> {
        use Quantity::*;
        let has = |quantity| self.claim_of(quantity).is_some();
        match self.kind {
            LogKind::Shots => {
                if !has(Base) && !has(Time) {
                    return Err(self.missing(
                        "no base is named, and there is no time to tell it",
                        &["base", "station", "stn", "setup"],
                        "base = \"…\"",
                    ));
                }
                if has(Azimuth) != has(AzimuthNorth) {
                    let claim = [Azimuth, AzimuthNorth].into_iter().find_map(|quantity| self.claims.get(quantity));
                    return Err(format!(
                        "\"{}\" is an azimuth whose north is not named; claim it as magnetic_azimuth_deg, true_azimuth_deg or \
                         grid_azimuth_deg (or _gon, _mil) under [{}.columns], or claim the column that says magnetic, true or grid in \
                         each row as azimuth_north",
                        claim.map_or("", |claim| &claim.header),
                        self.kind.table()
                    ));
                }
                // Heights by angles need no azimuth.
                if !has(Measure) && ![MagneticAzimuth, TrueAzimuth, GridAzimuth, Azimuth].into_iter().any(has) {
                    return Err(self.missing(
                        "no column is claimed as an azimuth with its north and unit named",
                        &["azimuth", "azi", "az", "bearing", "brg"],
                        "magnetic_azimuth_deg, true_azimuth_deg or grid_azimuth_deg (or _gon, _mil) = \"…\"",
                    ));
                }
                if ![SlopeDistance, HorizontalDistance].into_iter().any(has) {
                    return Err(self.missing(
                        "no column is claimed as a distance with its kind and unit named",
                        &["distance", "dist", "sd", "hd", "range", "slope", "horizontal"],
                        "slope_distance_m or horizontal_distance_m (or _ft, _usft, _yd) = \"…\"",
                    ));
                }
                if has(Inclination) && has(Zenith) {
                    return Err("both an inclination and a zenith angle are claimed; keep one".into());
                }
                if !has(Inclination) && !has(Zenith) && !has(VerticalDistance) && !has(HorizontalDistance) {
                    return Err(self.missing(
                        "a slope distance needs an inclination with its unit named",
                        &["inclination", "inc", "tilt", "slope", "zenith", "vertical"],
                        "inclination_deg, inclination_pct, zenith_deg or vertical_distance_m = \"…\"",
                    ));
                }
            }
            LogKind::Occupations => {
                if ![Base, Start, End].into_iter().all(has) {
                    return Err(self.missing(
                        "an occupation has a base, a start and an end",
                        &["base", "point", "start", "begin", "from", "end", "stop", "to"],
                        "base, start and end = \"…\"",
                    ));
                }
            }
            LogKind::Bases => {
                if !has(Base) && !has(Time) {
                    return Err(self.missing(
                        "no base is named, and there is no time to tell it",
                        &["base", "point", "station", "name", "id"],
                        "base = \"…\"",
                    ));
                }
                if let (Some(claim), None) = (self.claim_of(Radius), self.sigma_of_radius) {
                    return Err(format!(
                        "\"{}\" is the radius of an accuracy, and which share of positions lies within it is not said; write radius_share = 0.68 \
                         (most phones), 0.95, 0.5 (circular error probable), 0.632 (drms) or 0.982 (2drms) under [{}]",
                        claim.header,
                        self.kind.table()
                    ));
                }
                let geographic = has(Latitude) && has(Longitude);
                let projected = has(East) && has(North);
                if geographic == projected {
                    let problem = if geographic {
                        "both latitude, longitude and easting, northing are claimed; leave one pair out"
                    } else {
                        "no position is claimed"
                    };
                    return Err(self.missing(
                        problem,
                        &["lat", "lon", "latitude", "longitude", "easting", "northing", "x", "y", "east", "north"],
                        "lat_deg and lon_deg, or east_m and north_m (or _ft, _usft) = \"…\"",
                    ));
                }
                if has(EllipsoidHeight) && has(OrthometricHeight) {
                    return Err(
                        "both an ellipsoidal and an orthometric height are claimed; keep the one that was measured".into()
                    );
                }
                let bare = self
                    .extras
                    .iter()
                    .find(|(_, header)| is_like(header, &["height", "elevation", "elev", "altitude", "alt", "z", "h"]));
                if let (Some((_, header)), false) = (bare, has(EllipsoidHeight) || has(OrthometricHeight)) {
                    return Err(format!(
                        "\"{header}\" looks like a height, but its kind is not named; write ellipsoid_height_m or \
                         orthometric_height_m (or _ft, _usft) = \"{header}\" under [bases.columns]"
                    ));
                }
            }
        }
        Ok(())
    }

    /// A message that names the column that looks like what is missing.
    fn missing(&self, problem: &str, words: &[&str], remedy: &str) -> String {
        let table = self.kind.table();
        let alike: Vec<String> =
            self.extras.iter().filter(|(_, header)| is_like(header, words)).map(|(_, header)| format!("\"{header}\"")).collect();
        let seen = if alike.is_empty() {
            format!("the file has: {}", self.headers.join(", "))
        } else {
            format!("it may be {}", alike.join(" or "))
        };
        format!("{problem} ({seen}); write {remedy} under [{table}.columns]")
    }

    /// A time without a zone in the first row that has a time: every row would be held for it.
    fn check_zone(&self, text: &str) -> Result<(), String> {
        let Some(claim) = self.claims.get(Quantity::Time) else { return Ok(()) };
        if self.format.time_zone.is_some() || self.format.gps.is_some() {
            return Ok(());
        }
        let lacks_zone = self.first_rows(text).find_map(|rows| {
            let row = rows.rows().first().copied()?;
            let time = self.text(Quantity::Time, &rows, &row)?.to_owned();
            let read = self.when(self.text(Quantity::Date, &rows, &row), Some(&time));
            match read {
                Err(super::cell::WhenError::NoZone) => Some(Some(time)),
                // What cannot be read does not tell.
                Err(_) => None,
                Ok(_) => Some(None),
            }
        });
        let Some(Some(time)) = lacks_zone else { return Ok(()) };
        let table = self.kind.table();
        Err(format!(
            "\"{}\" has times without a zone, such as \"{time}\"; write time_zone = \"Europe/Oslo\" (or \"UTC\", \
             \"+02:00\": the clock the log was kept by) under [{table}]",
            claim.header
        ))
    }

    /// The date and time of texts of the log's columns.
    ///
    /// # Errors
    /// See [`super::cell::WhenError`].
    pub fn when(
        &self,
        date: Option<&str>,
        time: Option<&str>,
    ) -> Result<Option<crate::records::when::When>, super::cell::WhenError> {
        let style = |quantity| self.claims.get(quantity).map(|claim: &Claim| claim.style).unwrap_or_default();
        self.format.when(date.map(|text| (text, style(Quantity::Date))), time.map(|text| (text, style(Quantity::Time))))
    }

    /// The first data rows of the file, each cut on its own.
    fn first_rows<'t>(&'t self, text: &'t str) -> impl Iterator<Item = Rows<'t>> + 't {
        Lines::new(&text[self.body.0..], self.separator, self.body.1)
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
                Source::Column(column) => *column == index && !quantity.is_carried(),
                Source::Columns(columns) => columns.contains(&index),
                Source::Constant(_) => false,
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

    /// Takes what the names of file and sheet say of every row.
    fn take_names(&mut self, text: &Text, log: &LogFormat) -> Result<(), String> {
        let whole = text.path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
        let sheet = text.sheet.as_deref().unwrap_or_default();
        let file = whole.strip_suffix(&format!(" [{sheet}]")).unwrap_or(&whole);
        let stem = file.rsplit_once('.').map_or(file, |(stem, _)| stem);
        let mut parts = Vec::new();
        if let Some(pattern) = &log.file_name {
            parts.extend(names::parts(pattern, stem, "file_name")?);
        }
        if let Some(pattern) = &log.sheet_name {
            if text.sheet.is_none() {
                return Err(format!("sheet_name = \"{pattern}\" is for workbooks, and this file has no sheets"));
            }
            parts.extend(names::parts(pattern, sheet, "sheet_name")?);
        }
        for (part, value) in parts {
            if self.headers.contains(&part) {
                return Err(format!("the name of the file says \"{part}\", and there is a column of that name; rename the part"));
            }
            self.headers.push(part);
            self.tail.push(value);
        }
        Ok(())
    }

    /// Whether a row that cannot be read is none of the table's: a total, or a note beside or below it.
    #[allow(clippy::redundant_closure)]
    pub fn is_remark(&self, rows: &Rows, row: &Row) -> bool {
        let width = row.fields().min(self.width());
        let filled: Vec<&str> = (0..width).map(|index| rows.cell(row, index)).filter(|cell| !cell.is_empty()).collect();
        let first_word =
            |cell: &str| cell.split(|c: char| !c.is_alphanumeric()).find(|word| !word.is_empty()).map(str::to_lowercase);
        let is_total = |cell: &&str| first_word(cell).is_some_and(|word| TOTALS.contains(&word.as_str()));
        let names =
            [Quantity::Base, Quantity::Shot, Quantity::Feature].into_iter().filter(|quantity| self.claim_of(*quantity).is_some());
        let mut joined = String::new();
        let is_named = names.into_iter().any(|quantity| {
            self.name(quantity, rows, row, &mut joined).is_some_and(|name| !is_total(&name) && name.parse::<f64>().is_err())
        });
        if filled.iter().any(|cell| is_total(cell)) && !is_named {
            return true;
        }
        match filled.as_slice() {
            [only] => self.headers.len() > 2 && only.split_whitespace().count() > 1 && only.chars().any(char::is_alphabetic),
            _ => false,
        }
    }
}

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

/// Gives columns without a name one, where nothing stands in them, and in workbooks all of them.
fn name_unnamed(headers: &mut [String], body: &str, separator: u8, is_sheet: bool) {
    if headers.iter().all(|header| !header.is_empty()) {
        return;
    }
    let mut rows = Rows::default();
    Lines::new(body, separator, 1).take(ROWS_LOOKED_AT).for_each(|line| rows.push(line, separator));
    for (index, header) in headers.iter_mut().enumerate() {
        let is_blank = || rows.rows().iter().all(|row| rows.cell(row, index).is_empty());
        if header.is_empty() && (is_sheet || is_blank()) {
            *header = format!("column {}", index + 1);
        }
    }
}

/// The standard error of each axis for a radius of 1 that holds a share of positions: of two axes that err alike and apart
/// from each other, the distance has a Rayleigh distribution, share = 1 - exp(-r²/2σ²) (N. L. Johnson, S. Kotz, N. Balakrishnan,
/// "Continuous Univariate Distributions" 1, ch. 18).
fn sigma_of_radius(share: f64) -> f64 {
    1.0 / (-2.0 * (1.0 - share).ln()).sqrt()
}

/// What a log's words for echoes mean.
fn returns(log: &LogFormat) -> Result<BTreeMap<String, Echo>, String> {
    let meaning = |(word, echo): (&String, &String)| match Echo::read(echo) {
        Some(known) => Ok((words::bare(word), known)),
        None => Err(format!("[shots.returns] {word} = \"{echo}\": write first, last, single, prism or tracking")),
    };
    log.returns.iter().map(meaning).collect()
}

/// How a log's settings say that its values are written; the decimal sign is found later.
fn cell_format(log: &LogFormat) -> Result<CellFormat, String> {
    let is_gps = log.time_zone.as_deref().is_some_and(|name| name.eq_ignore_ascii_case("gps"));
    let zone = log.time_zone.as_deref().filter(|_| !is_gps);
    Ok(CellFormat {
        no_reading: log.no_reading.clone(),
        time_zone: zone.map(time_zone).transpose()?,
        gps: is_gps.then(|| log.leap_seconds.clone().unwrap_or_else(LeapSeconds::builtin)),
        clock_offset: SignedDuration::try_from_secs_f64(log.clock_offset_s)
            .map_err(|_| format!("clock_offset_s = {}: write seconds", log.clock_offset_s))?,
    })
}

/// Whether the signs that the job names are signs of numbers.
fn check_signs(log: &LogFormat) -> Result<(), String> {
    match log.fault_of_signs() {
        Some((_, problem)) => Err(problem),
        None => Ok(()),
    }
}

fn check_headers(headers: &[String]) -> Result<(), String> {
    let mut seen: HashMap<&str, usize> = HashMap::with_capacity(headers.len());
    for (i, header) in headers.iter().enumerate() {
        if header.is_empty() {
            return Err(format!("column {} has no name; name every column", i + 1));
        }
        if let Some(j) = seen.insert(header, i) {
            return Err(format!("columns {} and {} are both named \"{header}\"; give each its own name", j + 1, i + 1));
        }
    }
    Ok(())
}

/// Whether a header contains one of some words as a word of its own.
fn is_like(header: &str, words: &[&str]) -> bool {
    header.to_lowercase().split(|c: char| !c.is_alphanumeric()).any(|part| words.contains(&part))
}
