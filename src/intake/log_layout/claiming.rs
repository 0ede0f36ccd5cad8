//! Which column is what: the headers named, and claimed by the job's settings or by their own canonical names.

use std::collections::HashMap;

use super::error::{HeadersFound, LayoutError};
use super::{Claim, ClaimSource, Claims, LogLayout, ROWS_LOOKED_AT};
use crate::intake::columns::{self, ColumnUnit, LogKind, Quantity};
use crate::intake::delimited::{Lines, Rows};
use crate::intake::names;
use crate::intake::text::Text;
use crate::job::LogFormat;
use crate::numeric::words::nearest;

/// A claim of the job on a quantity: of all rows, or of one of several readings of each.
type Claimed = (Option<usize>, Quantity, Claim);

impl LogLayout {
    /// Takes what the names of file and sheet say of every row.
    pub(super) fn take_names(&mut self, text: &Text, log: &LogFormat) -> Result<(), LayoutError> {
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
                return Err(LayoutError::NoSheets(pattern.clone()));
            }
            parts.extend(names::parts(pattern, sheet, "sheet_name")?);
        }
        for (part, value) in parts {
            if self.headers.contains(&part) {
                return Err(LayoutError::PartIsColumn(part));
            }
            self.headers.push(part);
            self.tail.push(value);
        }
        Ok(())
    }

    /// Claims the columns that the job names, and those with canonical headers. A log that need not be complete may lack some that the job
    /// names for others.
    pub(super) fn claim(&mut self, log: &LogFormat, is_complete: bool) -> Result<(), LayoutError> {
        let table = self.kind.table();
        let mut found = self.claims_on_columns(log, is_complete)?;
        found.extend(self.claims_on_values(log)?);
        if !log.readings.is_empty() && self.kind != LogKind::Shots {
            return Err(LayoutError::ReadingsOfShots(table));
        }
        if log.has_no_bases
            && !log.columns.contains_key("base")
            && !self.headers.iter().any(|header| header.eq_ignore_ascii_case("base"))
        {
            let source = ClaimSource::Constant(crate::job::ONE_STAND.to_owned());
            found.push((None, Quantity::Base, Claim::new("base".into(), String::new(), ColumnUnit::None, source)));
        }
        self.readings = vec![Claims::default(); log.readings.len()];
        for (reading, quantity, claim) in found {
            self.add(reading, quantity, claim)?;
        }
        if let Some(n) = log.readings.iter().position(|reading| reading.columns.is_empty()) {
            return Err(LayoutError::EmptyReading { table, number: n + 1 });
        }
        self.claim_canonical_headers(log)
    }

    /// What a canonical name of the job's settings means.
    fn canonical(&self, name: &str) -> Result<(Quantity, ColumnUnit), LayoutError> {
        columns::parse(name, self.kind).ok_or_else(|| {
            let names = columns::names(self.kind);
            let near = nearest(name, names.iter().map(|(name, _, _)| name.as_str())).map(str::to_owned);
            LayoutError::UnknownName { table: self.kind.table(), name: name.to_owned(), near }
        })
    }

    /// The column of a header that the job names.
    fn column_named(&self, wanted: &str) -> Option<usize> {
        self.headers.iter().position(|header| header == wanted.trim())
    }

    /// The claims of the job on columns.
    fn claims_on_columns(&self, log: &LogFormat, is_complete: bool) -> Result<Vec<Claimed>, LayoutError> {
        let table = self.kind.table();
        let of_readings = log.readings.iter().enumerate().map(|(n, reading)| (Some(n), &reading.columns));
        let mut found = Vec::new();
        for (reading, name, sources) in std::iter::once((None, &log.columns))
            .chain(of_readings)
            .flat_map(|(n, columns)| columns.iter().map(move |(name, from)| (n, name, from)))
        {
            let (quantity, unit) = self.canonical(name)?;
            if !is_complete && sources.as_slice().iter().any(|wanted| self.column_named(wanted).is_none()) {
                continue;
            }
            let mut indexes = Vec::new();
            for wanted in sources.as_slice() {
                indexes.push(self.column_named(wanted).ok_or_else(|| {
                    let near = nearest(wanted, self.headers.iter().map(String::as_str));
                    let there =
                        near.map_or_else(|| HeadersFound::All(self.headers.clone()), |near| HeadersFound::Near(near.to_owned()));
                    LayoutError::NoSuchHeader { table, name: name.clone(), wanted: wanted.clone(), there }
                })?);
            }
            let source = match indexes.as_slice() {
                [] => return Err(LayoutError::NoHeader { table, name: name.clone() }),
                [index] => ClaimSource::Column(*index),
                _ if matches!(quantity, Quantity::Base | Quantity::Shot | Quantity::Feature) => ClaimSource::Columns(indexes),
                _ => return Err(LayoutError::SeveralHeaders { table, name: name.clone() }),
            };
            let header = sources.as_slice().join(" + ");
            found.push((reading, quantity, Claim::new(name.clone(), header, unit, source)));
        }
        Ok(found)
    }

    /// The claims of the job that give one value to every row.
    fn claims_on_values(&self, log: &LogFormat) -> Result<Vec<Claimed>, LayoutError> {
        let table = self.kind.table();
        let of_readings = log.readings.iter().enumerate().map(|(n, reading)| (Some(n), &reading.values));
        let mut found = Vec::new();
        for (reading, name, value) in std::iter::once((None, &log.values))
            .chain(of_readings)
            .flat_map(|(n, values)| values.iter().map(move |(name, value)| (n, name, value)))
        {
            let (quantity, unit) = self.canonical(name)?;
            let header = match reading {
                None => format!("[{table}.values] {name}"),
                Some(n) => format!("[[{table}.readings]] {} {name}", n + 1),
            };
            found.push((reading, quantity, Claim::new(name.clone(), header, unit, ClaimSource::Constant(value.clone()))));
        }
        Ok(found)
    }

    /// Claims the columns with canonical headers that the job has not claimed; what nothing claims is carried through.
    fn claim_canonical_headers(&mut self, log: &LogFormat) -> Result<(), LayoutError> {
        let table = self.kind.table();
        let mapped: Vec<(usize, bool)> = self
            .all_claims()
            .flat_map(|(quantity, claim)| match &claim.source {
                ClaimSource::Column(index) => vec![(*index, quantity.is_carried())],
                ClaimSource::Columns(indexes) => indexes.iter().map(|index| (*index, false)).collect(),
                ClaimSource::Constant(_) => vec![],
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
                    self.add(None, quantity, Claim::new(header.to_ascii_lowercase(), header, unit, ClaimSource::Column(index)))?;
                }
                Some((quantity, _))
                    if !log.columns.keys().any(|name| columns::parse(name, self.kind).is_some_and(|(q, _)| q == quantity))
                        && !log.values.keys().any(|name| columns::parse(name, self.kind).is_some_and(|(q, _)| q == quantity)) =>
                {
                    let first = self.claims.get(quantity).map(|claim| claim.header.clone()).unwrap_or_default();
                    return Err(LayoutError::SameQuantity { first, second: header, table });
                }
                _ => self.extras.push((index, header)),
            }
        }
        Ok(())
    }

    fn add(&mut self, reading: Option<usize>, quantity: Quantity, claim: Claim) -> Result<(), LayoutError> {
        let claims = match reading {
            None => &mut self.claims,
            Some(n) => &mut self.readings[n],
        };
        match claims.put(quantity, claim.clone()) {
            None => Ok(()),
            Some(other) => Err(LayoutError::ClaimedTwice { first: other.name, second: claim.name }),
        }
    }
}

/// Gives columns without a name one, where nothing stands in them, and in workbooks all of them.
pub(super) fn name_unnamed(headers: &mut [String], body: &str, separator: u8, is_sheet: bool) {
    if headers.iter().all(|header| !header.is_empty()) {
        return;
    }
    let mut rows = Rows::default();
    Lines::from_top(body, separator, 1).take(ROWS_LOOKED_AT).for_each(|line| rows.push(line, separator));
    for (index, header) in headers.iter_mut().enumerate() {
        let is_blank = || rows.rows().iter().all(|row| rows.cell(row, index).is_empty());
        if header.is_empty() && (is_sheet || is_blank()) {
            *header = format!("column {}", index + 1);
        }
    }
}

pub(super) fn check_headers(headers: &[String]) -> Result<(), LayoutError> {
    let mut seen: HashMap<&str, usize> = HashMap::with_capacity(headers.len());
    for (i, header) in headers.iter().enumerate() {
        if header.is_empty() {
            return Err(LayoutError::Unnamed(i + 1));
        }
        if let Some(j) = seen.insert(header, i) {
            return Err(LayoutError::SameName { first: j + 1, second: i + 1, header: header.clone() });
        }
    }
    Ok(())
}
