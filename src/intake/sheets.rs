//! Which sheet of a workbook is a log: the one that the job names, or the one that has its columns.

use std::path::Path;

use sha2::{Digest, Sha256};

use super::IntakeError;
use super::columns::LogKind;
use super::error::NoSheet;
use super::log_layout::LogLayout;
use super::text::{self, Text};
use super::workbook::{self, WorkbookSheet};
use crate::job::LogFormat;

/// Lines among which the headers of a sheet are sought.
const LINES_OF_HEADERS: usize = 40;

/// A sheet as a log.
pub struct SheetLog {
    /// Its text.
    pub text: Text,
    /// Its name for people: that of the file, and that of the sheet.
    pub name: String,
    /// How it is written: the job's settings, less those that say how text is cut.
    pub format: LogFormat,
    /// What the person is to know, in sentences.
    pub told: Vec<String>,
}

/// All sheets of a workbook that have cells, as tables.
///
/// # Errors
/// When the file cannot be read.
pub fn all(path: &Path, name: &str, format: &LogFormat) -> Result<Vec<(SheetLog, bool)>, IntakeError> {
    let bytes = std::fs::read(path).map_err(|source| IntakeError::Read { path: path.to_owned(), source })?;
    let sheets = workbook::read(path, &bytes).map_err(|problem| IntakeError::file(path, problem))?;
    let sha256 = text::hex(&Sha256::digest(&bytes));
    let table = |sheet: WorkbookSheet| {
        let is_hidden = sheet.is_hidden;
        let shown = |of: &str| format!("{of} [{}]", sheet.name);
        let name = shown(name);
        let told = hidden_note(&name, &sheet.hidden_rows).into_iter().collect();
        let text = Text {
            path: shown(&path.display().to_string()).into(),
            sheet: Some(sheet.name.clone()),
            text: sheet.text,
            encoding: "",
            bytes: bytes.len() as u64,
            sha256: sha256.clone(),
        };
        (SheetLog { text, name, format: as_cells(format), told }, is_hidden)
    };
    Ok(sheets.into_iter().map(table).collect())
}

/// A file as the texts of logs, each with how it is written: its own, or that of each sheet that is meant.
///
/// # Errors
/// As [`choose`], or when the text cannot be read.
pub fn logs(path: &Path, name: &str, kind: LogKind, format: &LogFormat) -> Result<Vec<(Text, LogFormat)>, IntakeError> {
    if !workbook::is_workbook(path) {
        return Ok(vec![(text::read(path, format.encoding.as_deref())?, format.clone())]);
    }
    Ok(choose(path, name, kind, format)?.into_iter().map(|table| (table.text, table.format)).collect())
}

/// The same for logs of calibration shots, which may lack what shots have.
///
/// # Errors
/// As [`logs`].
pub fn calibration_logs(path: &Path, name: &str, format: &LogFormat) -> Result<Vec<(Text, LogFormat)>, IntakeError> {
    if !workbook::is_workbook(path) {
        return logs(path, name, LogKind::Shots, format);
    }
    let fits = |text: &Text, format: &LogFormat| LogLayout::for_calibration(text, format).map(|_| ());
    Ok(chosen(path, name, LogKind::Shots, format, &fits)?.into_iter().map(|table| (table.text, table.format)).collect())
}

/// The sheets that are the log: those that the job names, else the one that has the columns.
///
/// # Errors
/// When the file cannot be read, none has the columns, or several have.
pub fn choose(path: &Path, name: &str, kind: LogKind, format: &LogFormat) -> Result<Vec<SheetLog>, IntakeError> {
    chosen(path, name, kind, format, &|text, format| LogLayout::new(text, kind, format).map(|_| ()))
}

type Fits<'f> = &'f dyn Fn(&Text, &LogFormat) -> Result<(), IntakeError>;

fn chosen(path: &Path, name: &str, kind: LogKind, format: &LogFormat, fits: Fits) -> Result<Vec<SheetLog>, IntakeError> {
    let found = all(path, name, format)?;
    let wrong = |problem: NoSheet| IntakeError::file(path, problem);
    let name_of = |table: &SheetLog| table.text.sheet.clone();
    if found.is_empty() {
        return Err(wrong(NoSheet::Empty));
    }
    if let Some(wanted) = &format.sheet {
        let is_wanted = |name: &str| {
            name.eq_ignore_ascii_case(wanted.trim())
                || glob::Pattern::new(wanted).is_ok_and(|pattern| wanted.contains(['*', '?']) && pattern.matches(name))
        };
        let there = found.iter().filter_map(|(table, _)| name_of(table)).collect();
        let chosen: Vec<SheetLog> = found
            .into_iter()
            .map(|(table, _)| table)
            .filter(|table| table.text.sheet.as_deref().is_some_and(is_wanted))
            .collect();
        let chosen = if wanted.contains(['*', '?']) { leave_out_others(chosen, kind, format) } else { chosen };
        return match chosen.is_empty() {
            true => Err(wrong(NoSheet::NoneNamed { wanted: wanted.clone(), table: kind.table(), there })),
            false => Ok(chosen),
        };
    }
    let mut faults = Vec::new();
    let mut fitting = Vec::new();
    let all_hidden = found.iter().all(|(_, is_hidden)| *is_hidden);
    for (table, _) in found.into_iter().filter(|(_, is_hidden)| all_hidden || !is_hidden) {
        match fits(&table.text, &table.format) {
            Ok(()) => fitting.push(table),
            Err(fault) => faults.push(fault),
        }
    }
    match (fitting.len(), faults.len()) {
        (1, _) => Ok(fitting),
        (0, 1) => Err(faults.remove(0)),
        (0, _) => Err(wrong(NoSheet::NoneFits { table: kind.table(), faults })),
        _ => Err(wrong(NoSheet::SeveralFit { fitting: fitting.iter().filter_map(name_of).collect(), table: kind.table() })),
    }
}

/// Of the sheets that a pattern fits, those of another table left out, and told: most of the headers that the job names are not in them.
/// A sheet that has most of them is meant, and what it lacks is an error.
fn leave_out_others(tables: Vec<SheetLog>, kind: LogKind, format: &LogFormat) -> Vec<SheetLog> {
    let named: Vec<&str> = format.headers().collect();
    let is_meant = |table: &SheetLog| {
        let cells: Vec<&str> =
            table.text.text.lines().take(LINES_OF_HEADERS).flat_map(|line| line.split('\t')).map(str::trim).collect();
        named.iter().filter(|name| cells.iter().any(|cell| cell.eq_ignore_ascii_case(name))).count() * 2 >= named.len()
    };
    let (mut meant, others): (Vec<SheetLog>, Vec<SheetLog>) = tables.into_iter().partition(is_meant);
    match meant.first_mut() {
        None => others,
        Some(first) => {
            first.told.extend(others.iter().map(|other| {
                format!("{}: the sheet has other columns than [{}] names; it is left out.", other.name, kind.table())
            }));
            meant
        }
    }
}

/// How a sheet's text is cut says nothing of its cells: those settings of the job are for delimited text.
fn as_cells(format: &LogFormat) -> LogFormat {
    let comment = format.comment.clone().or_else(|| Some(String::new()));
    LogFormat { separator: Some('\t'), comment, encoding: None, ..format.clone() }
}

fn hidden_note(name: &str, rows: &[u64]) -> Option<String> {
    let (first, last) = (rows.first()?, rows.last()?);
    let is_run = last - first + 1 == rows.len() as u64;
    let which = match rows.len() {
        1 => format!("row {first} is hidden"),
        _ if is_run => format!("rows {first} to {last} are hidden"),
        2..=12 => {
            let rows: Vec<String> = rows.iter().map(u64::to_string).collect();
            format!("rows {} are hidden", rows.join(", "))
        }
        count => format!("{count} rows from {first} to {last} are hidden"),
    };
    Some(format!("{name}: {which} in the sheet and read like all others; take out those that are not to count."))
}
