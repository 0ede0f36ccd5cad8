//! The logs of where the crew stood: read whole, whatever their kind, into points and fixes.
//!
//! Points are bases already; fixes wait for [`crate::stations`]. Waypoints and the points of vector files
//! go the way of delimited rows, so that column maps, checks and carried columns are the same for all.

use std::collections::{BTreeMap, HashSet};
use std::path::Path;
use std::sync::Arc;

use glob::{MatchOptions, Pattern};
use jiff::SignedDuration;

use super::bases::{self, definition_of};
use super::block::cut;
use super::carried::{Carried, join_carried};
use super::columns::{LogKind, Quantity};
use super::extras::ExtraType;
use super::log::{InputFile, Log, open, planned, read_sheet};
use super::log_layout::{LayoutError, LogLayout};
use super::text::{self, Text};
use super::written::Written;
use super::{FileError, IntakeError, gpx, kml, nmea, sheets, vector, workbook};
use crate::geodesy::crs::Crs;
use crate::job::{Bases, GpxHeightKind, LogFormat, OccupationSource};
use crate::numeric::signs::Signs;
use crate::records::base_row::HeldBase;
use crate::records::base_row::{BaseRow, Window};
use crate::records::fix::Epoch;
use crate::records::fix::{Beside, FixLog, HeldLine};
use crate::records::ledger::{Counts, Fault, Flag, Reason};
use crate::records::names::label;

/// A base log.
pub struct BaseLog {
    /// For the account.
    pub info: InputFile,
    /// How its rows are read; none for a receiver's own format.
    layout: Option<LogLayout>,
}

impl BaseLog {
    /// How the numbers of its carried columns are written.
    pub fn extra_signs(&self) -> &[Signs] {
        self.layout.as_ref().map_or(&[], |layout| &layout.extra_signs)
    }
}

/// Base logs, read whole.
#[derive(Default)]
pub struct BaseLogs {
    /// The files: logs of positions, then lists of occupations.
    pub files: Vec<BaseLog>,
    /// Points read.
    pub rows: Vec<BaseRow>,
    /// Fixes read, to be made into bases.
    pub epochs: Vec<Epoch>,
    /// Occupations that a list tells, with their place in it.
    pub listed: Vec<(Window, (usize, u64, String))>,
    /// Rows held on reading.
    pub held: Vec<HeldBase>,
    /// Carried columns.
    pub carried: Vec<Carried>,
    /// What the person is to know of the files, in sentences.
    pub told: Vec<String>,
    types: Vec<Vec<ExtraType>>,
    /// Names of points that `except` leaves out.
    pub left_out: Vec<String>,
    /// Points whose date or time cannot be read, by file and line, and why.
    pub unread_times: BTreeMap<(usize, u64), Fault>,
}

/// Names of points that are no bases.
struct Except<'j>(Vec<(&'j str, Option<Pattern>)>);

impl Except<'_> {
    fn new(words: &[String]) -> Except<'_> {
        Except(words.iter().map(|word| (word.as_str(), Pattern::new(word).ok())).collect())
    }

    fn fits(&self, name: &str) -> bool {
        let (name, options) = (label(name), MatchOptions { case_sensitive: false, ..MatchOptions::default() });
        let fits = |(word, pattern): &(&str, Option<Pattern>)| {
            name.to_lowercase() == word.trim().to_lowercase()
                || pattern.as_ref().is_some_and(|pattern| pattern.matches_with(&name, options))
        };
        self.0.iter().any(fits)
    }
}

impl BaseLogs {
    /// What there is to say of points that were left out by name.
    pub fn left_out_notes(&self, job: &Bases) -> Vec<String> {
        let mut notes = Vec::new();
        if !self.left_out.is_empty() {
            let (count, points) = (self.left_out.len(), if self.left_out.len() == 1 { "point" } else { "points" });
            let names: Vec<&str> = self.left_out.iter().take(8).map(String::as_str).collect();
            let more = if count > names.len() { format!(" and {} more", count - names.len()) } else { String::new() };
            notes.push(format!("Left out by except under [bases]: {count} {points}, {}{more}.", names.join(", ")));
        }
        let fits_none = |word: &&String| !self.left_out.iter().any(|name| Except::new(std::slice::from_ref(word)).fits(name));
        let unused: Vec<&str> = job.except.iter().filter(fits_none).map(String::as_str).collect();
        if !unused.is_empty() {
            notes.push(format!("No point bears a name that except under [bases] gives: {}.", unused.join(", ")));
        }
        notes
    }

    /// Reads the base logs.
    ///
    /// # Errors
    /// When a file cannot be used as a whole.
    pub fn read(job: &Bases, known: Option<&Bases>, antenna_height_m: Option<f64>) -> Result<BaseLogs, IntakeError> {
        let mut logs = BaseLogs::default();
        for (path, name) in &job.resolved {
            logs.read_one(path, name, job, antenna_height_m)?;
        }
        if let Some(known) = known {
            for (path, name) in &known.resolved {
                logs.read_known(path, name, known)?;
            }
        }
        for (path, name) in job.occupations.list.iter().flat_map(|list| &list.resolved) {
            logs.read_list(path, name, job)?;
        }
        let layouts: Vec<Option<&LogLayout>> = logs.files.iter().map(|file| file.layout.as_ref()).collect();
        logs.carried = join_carried(&layouts, &logs.types);
        Ok(logs)
    }

    /// The stands of a job without bases, made into a table: they are in no file.
    ///
    /// # Errors
    /// When the table cannot be read.
    pub fn read_stands(table: String, job: &Bases) -> Result<BaseLogs, IntakeError> {
        let mut logs = BaseLogs::default();
        let text = Text { path: "the stands".into(), sheet: None, text: table, encoding: "", bytes: 0, sha256: String::new() };
        logs.read_rows(text, "", "none", Some(Vec::new()), job, None)?;
        logs.carried = join_carried(&[], &[]);
        Ok(logs)
    }

    /// Reads points of a survey, which are not of the crew's antenna, and which no crew occupied when they were fixed.
    fn read_known(&mut self, path: &Path, name: &str, known: &Bases) -> Result<(), IntakeError> {
        let (first_row, first_fix) = (self.rows.len(), self.epochs.len());
        self.read_one(path, name, known, None)?;
        if self.epochs.len() > first_fix {
            return Err(IntakeError::file(path, FileError::FixesAsKnown));
        }
        for mut row in self.rows.split_off(first_row) {
            match definition_of(&row, known) {
                Ok(crs) => {
                    row.crs = Some(crs);
                    row.is_known = true;
                    row.coordinate_epoch = row.coordinate_epoch.or(known.epoch);
                    row.sigma_horizontal_m = row.sigma_horizontal_m.or(known.sigma_horizontal_m);
                    row.sigma_vertical_m = row.sigma_vertical_m.or(known.sigma_vertical_m);
                    row.windows.clear();
                    self.rows.push(row);
                }
                Err(fault) => self.held.push(HeldBase { name: Some(row.name), place: (row.file, row.line, row.raw), fault }),
            }
        }
        Ok(())
    }

    fn read_one(&mut self, path: &Path, name: &str, job: &Bases, antenna_height_m: Option<f64>) -> Result<(), IntakeError> {
        let format = job.format_of(name);
        if vector::is_vector(path) {
            let mut layer = vector::read(path, job.layer.as_deref()).map_err(|problem| IntakeError::file(path, problem))?;
            if layer.crs_wkt.is_none() {
                let definition = job.crs.as_deref().ok_or_else(|| IntakeError::file(path, FileError::NoCrs))?;
                let crs = Crs::new(definition).map_err(|problem| IntakeError::file(path, problem))?;
                (layer.kind, layer.unit_factor) = (Some(crs.kind()), crs.unit_factor());
            }
            let (headers, rows) = layer.to_table();
            let (bytes, sha256) = text::fingerprint(path)?;
            let table =
                Text { path: path.to_owned(), sheet: None, text: delimited(&headers, &rows), encoding: "", bytes, sha256 };
            let numbers = rows.iter().map(|(number, _)| *number).collect();
            let (first_row, first_fix) = (self.rows.len(), self.epochs.len());
            self.read_rows(table, name, "vector", Some(numbers), job, antenna_height_m)?;
            self.rows[first_row..].iter_mut().for_each(|row| row.crs = layer.crs_wkt.clone());
            let crs: Option<Arc<str>> = layer.crs_wkt.as_deref().map(Into::into);
            self.epochs[first_fix..].iter_mut().for_each(|epoch| epoch.beside.crs = crs.clone());
            let file = self.files.len() - 1;
            for (number, why) in &layer.skipped {
                self.files[file].info.counts.read += 1;
                let fault = Fault::new(Reason::NoPosition, "", "", why.to_string());
                self.held.push(HeldBase { name: None, place: (file, *number, String::new()), fault });
            }
            return Ok(());
        }
        if workbook::is_workbook(path) {
            for table in sheets::choose(path, name, LogKind::Bases, format)? {
                self.read_log(read_sheet(table, LogKind::Bases)?, None, job, antenna_height_m)?;
            }
            return Ok(());
        }
        if path.extension().is_some_and(|extension| extension.eq_ignore_ascii_case("kmz")) {
            let bytes = std::fs::read(path).map_err(|source| IntakeError::Read { path: path.to_owned(), source })?;
            let document = kml::unpack(&bytes).map_err(|problem| IntakeError::file(path, problem))?;
            let (size, sha256) = text::fingerprint(path)?;
            let text = Text { path: path.to_owned(), sheet: None, text: document, encoding: "UTF-8", bytes: size, sha256 };
            return self.read_kml(text, name, job, antenna_height_m);
        }
        let text = text::read(path, format.encoding.as_deref())?;
        if kml::looks_like(&text.text) {
            return self.read_kml(text, name, job, antenna_height_m);
        }
        if nmea::looks_like(&text.text) {
            let date = job.date.as_deref().and_then(|date| date.parse().ok());
            let log = nmea::read(&text.text, self.files.len(), &nmea::Clues { date });
            self.take_fixes(&text, name, "nmea", log, format.clock_offset_s);
            return Ok(());
        }
        if gpx::looks_like(&text.text) {
            let heights = match job.gpx_heights {
                GpxHeightKind::Orthometric => gpx::GpxHeights::Orthometric,
                GpxHeightKind::Ellipsoid => gpx::GpxHeights::Ellipsoid,
            };
            let found = gpx::read(&text.text, self.files.len(), heights).map_err(|problem| IntakeError::file(path, problem))?;
            let file = self.files.len();
            if found.waypoints.is_empty() {
                self.take_fixes(&text, name, "gpx", found.tracks, format.clock_offset_s);
                self.hold_lines(file, found.held);
                return Ok(());
            }
            let (headers, rows) = found.to_table();
            let table = Text { text: delimited(&headers, &rows), path: path.to_owned(), ..text };
            let numbers = rows.iter().map(|(number, _)| *number).collect();
            self.read_rows(table, name, "gpx", Some(numbers), job, antenna_height_m)?;
            let source = text::read(path, format.encoding.as_deref())?;
            self.add_fixes(file, &source.text, found.tracks, format.clock_offset_s);
            self.hold_lines(file, found.held);
            return Ok(());
        }
        self.read_rows(text, name, "delimited", None, job, antenna_height_m)
    }

    /// Reads the placemarks of a document.
    fn read_kml(&mut self, text: Text, name: &str, job: &Bases, antenna_height_m: Option<f64>) -> Result<(), IntakeError> {
        let heights = match job.kml_heights {
            None => kml::KmlHeights::Standard,
            Some(GpxHeightKind::Orthometric) => kml::KmlHeights::Orthometric,
            Some(GpxHeightKind::Ellipsoid) => kml::KmlHeights::Ellipsoid,
        };
        let found = kml::read(&text.text, heights).map_err(|problem| IntakeError::file(&text.path, problem))?;
        if found.altitudes_unused > 0 {
            self.told.push(format!(
                "{name}: {} placemarks are clamped to the ground, so that their altitudes mean nothing and are not taken. If they were \
                 measured, write kml_heights = \"ellipsoid\" or \"orthometric\" under [bases].",
                found.altitudes_unused
            ));
        }
        let (headers, rows) = found.to_table();
        let table = Text { text: delimited(&headers, &rows), ..text };
        let numbers = rows.iter().map(|(number, _)| *number).collect();
        let file = self.files.len();
        self.read_rows(table, name, "kml", Some(numbers), job, antenna_height_m)?;
        self.hold_lines(file, found.held);
        Ok(())
    }

    /// Reads rows of points, or of fixes where they name no base or the base column tells occupations.
    /// `numbers` are the lines or numbers that rows have in the source where the text was made from one.
    fn read_rows(
        &mut self,
        text: Text,
        name: &str,
        kind: &'static str,
        numbers: Option<Vec<u64>>,
        job: &Bases,
        antenna_height_m: Option<f64>,
    ) -> Result<(), IntakeError> {
        let format = job.format_of(name);
        let own = LogFormat {
            separator: Some(','),
            decimal: Some('.'),
            thousands: None,
            comment: Some(String::new()),
            ..format.clone()
        };
        // How a delimited log is written says nothing of a table that was made here.
        let mut log = planned(text, name, LogKind::Bases, if numbers.is_some() { &own } else { format })?;
        log.info.kind = kind;
        if numbers.is_some() {
            log.info.separator = None;
        }
        self.read_log(log, numbers, job, antenna_height_m)
    }

    /// The same of a log with its layout.
    fn read_log(
        &mut self,
        mut log: Log,
        numbers: Option<Vec<u64>>,
        job: &Bases,
        antenna_height_m: Option<f64>,
    ) -> Result<(), IntakeError> {
        let file = self.files.len();
        self.told.append(&mut log.told);
        let mut counts = log.counts_above();
        let are_fixes = find_crs_column(&mut log, job)?;
        let mut types = vec![ExtraType::Empty; log.layout.extras.len()];
        let chunk = log.whole(file);
        let (rows, faults) = cut(&chunk, &log.layout, &log.text.path, &mut counts)?;
        let except = Except::new(&job.except);
        let mut places: HashSet<String> = HashSet::new();
        for (i, (row, fault)) in rows.rows().iter().zip(faults).enumerate() {
            if let Some(left_out) = bases::name(&log.layout, &rows, row).filter(|name| except.fits(name)) {
                counts.other_lines += 1;
                self.left_out.push(label(&left_out));
                continue;
            }
            // A log of shots with the position of each: the next shot from one place is no other base.
            if log.layout.names_bases_by_place()
                && bases::name(&log.layout, &rows, row).is_some_and(|place| !places.insert(place))
            {
                counts.other_lines += 1;
                continue;
            }
            counts.read += 1;
            let line = numbers.as_ref().and_then(|numbers| numbers.get(i)).copied().unwrap_or(row.line.number);
            let name = || bases::name(&log.layout, &rows, row);
            let mut hold = |fault| {
                let fault = super::block::explained(fault, &log.layout, &rows, row);
                self.held.push(HeldBase { name: name(), place: (file, line, row.line.text.to_owned()), fault });
            };
            if let Some(fault) = fault {
                hold(fault);
            } else if are_fixes {
                match bases::read_fix(&log.layout, &rows, row, file, antenna_height_m) {
                    Ok((mut fix, beside)) => {
                        fix.line = line;
                        self.epochs.push(Epoch { fix, beside, name: name(), raw: row.line.text.into() });
                    }
                    Err(fault) => hold(fault),
                }
            } else {
                match bases::read(&log.layout, &rows, row, file, antenna_height_m, &job.quality) {
                    Ok(mut base) => {
                        base.line = line;
                        if !row.line.ended {
                            base.flags.raise(Flag::NoLineEnd);
                        }
                        let unread = base.flags.has(Flag::TimeUnread).then(|| bases::unread_time(&log.layout, &rows, row));
                        self.take_base(base, unread.flatten(), &mut types, &log.layout.extra_signs);
                    }
                    Err(fault) => hold(fault),
                }
            }
        }
        if are_fixes {
            // Fixes become means, which carry no columns.
            log.layout.extras.clear();
            types.clear();
        }
        self.types.push(types);
        log.info.counts = counts;
        self.files.push(BaseLog { info: log.info, layout: Some(log.layout) });
        Ok(())
    }

    /// A base of a row, with the fault of a time that cannot be read; its carried cells tell of what type their columns are.
    fn take_base(&mut self, base: BaseRow, unread: Option<Fault>, types: &mut [ExtraType], signs: &[Signs]) {
        for ((kind, cell), signs) in types.iter_mut().zip(&base.extras).zip(signs) {
            *kind = kind.with(cell, *signs);
        }
        if let Some(fault) = unread {
            self.unread_times.insert((base.file, base.line), fault);
        }
        self.rows.push(base);
    }

    /// A file in a receiver's own format.
    fn take_fixes(&mut self, text: &Text, name: &str, kind: &'static str, log: FixLog, clock_offset_s: f64) {
        let file = self.files.len();
        let info = InputFile {
            name: name.to_owned(),
            is_bases: true,
            bytes: text.bytes,
            sha256: text.sha256.clone(),
            encoding: text.encoding,
            kind,
            separator: None,
            written: Written::default(),
            counts: Counts::default(),
        };
        self.files.push(BaseLog { info, layout: None });
        self.types.push(Vec::new());
        self.add_fixes(file, &text.text, log, clock_offset_s);
    }

    fn add_fixes(&mut self, file: usize, text: &str, log: FixLog, clock_offset_s: f64) {
        let offset = SignedDuration::try_from_secs_f64(clock_offset_s).unwrap_or_default();
        let lines: Vec<&str> = text.lines().collect();
        let raw = |line: u64| lines.get((line as usize).saturating_sub(1)).map_or("", |line| line.trim_end());
        let counts = &mut self.files[file].info.counts;
        counts.read += log.fixes.len() as u64;
        counts.other_lines += log.other_lines;
        self.hold_lines(file, log.held);
        for mut fix in log.fixes {
            match fix.instant.checked_add(offset) {
                Ok(instant) => {
                    fix.instant = instant;
                    self.epochs.push(Epoch { raw: raw(fix.line).into(), name: None, beside: Beside::default(), fix });
                }
                Err(_) => {
                    let say = format!("{} with clock_offset_s = {clock_offset_s} added is no time of the calendar", fix.instant);
                    let fault = Fault::new(Reason::NotATime, "", &fix.instant.to_string(), say);
                    self.held.push(HeldBase { name: None, place: (file, fix.line, raw(fix.line).to_string()), fault });
                }
            }
        }
    }

    fn hold_lines(&mut self, file: usize, held: Vec<HeldLine>) {
        self.files[file].info.counts.read += held.len() as u64;
        let hold = |held: HeldLine| HeldBase { name: None, place: (file, held.line, held.raw), fault: held.fault };
        self.held.extend(held.into_iter().map(hold));
    }

    /// A list of occupations.
    fn read_list(&mut self, path: &Path, name: &str, job: &Bases) -> Result<(), IntakeError> {
        let Some(list) = &job.occupations.list else { return Ok(()) };
        for log in open(path, name, LogKind::Occupations, &list.log)? {
            self.read_listed(log)?;
        }
        Ok(())
    }

    fn read_listed(&mut self, mut log: Log) -> Result<(), IntakeError> {
        let file = self.files.len();
        self.told.append(&mut log.told);
        let mut counts = log.counts_above();
        let chunk = log.whole(file);
        let (rows, faults) = cut(&chunk, &log.layout, &log.text.path, &mut counts)?;
        for (row, fault) in rows.rows().iter().zip(faults) {
            counts.read += 1;
            let place = (file, row.line.number, row.line.text.to_owned());
            let read = fault.map_or_else(|| bases::read_occupation(&log.layout, &rows, row), Err);
            match read {
                Ok(window) => self.listed.push((window, place)),
                Err(fault) => self.held.push(HeldBase { name: bases::name(&log.layout, &rows, row), place, fault }),
            }
        }
        log.layout.extras.clear();
        log.info.counts = counts;
        self.files.push(BaseLog { info: log.info, layout: Some(log.layout) });
        self.types.push(Vec::new());
        Ok(())
    }

    /// Rows read in all files.
    pub fn counts_read(&self) -> u64 {
        self.files.iter().map(|file| file.info.counts.read).sum()
    }
}

/// A table as comma-separated text.
fn delimited(headers: &[String], rows: &[(u64, Vec<String>)]) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    // Writing to memory does not fail, and every row has a field for each header.
    let _ = writer.write_record(headers);
    for (_, row) in rows {
        let _ = writer.write_record(row);
    }
    writer.into_inner().ok().and_then(|bytes| String::from_utf8(bytes).ok()).unwrap_or_default()
}

/// Finds the column that chooses the CRS of each base, where the job names one, and tells whether the rows are fixes of a receiver.
fn find_crs_column(log: &mut Log, job: &Bases) -> Result<bool, IntakeError> {
    if let Some(wanted) = &job.crs_column {
        let found = log.layout.headers.iter().position(|header| header == wanted);
        log.layout.crs_column = Some(found.ok_or_else(|| {
            let problem = LayoutError::NoCrsColumn { wanted: wanted.clone(), headers: log.layout.headers.clone() };
            IntakeError::columns(&log.text.path, log.layout.header_line, problem)
        })?);
    }
    let are_fixes = log.layout.claim_of(Quantity::Base).is_none() || job.occupations.from == Some(OccupationSource::Column);
    if are_fixes && log.layout.crs_column.is_some() {
        return Err(IntakeError::columns(&log.text.path, log.layout.header_line, LayoutError::CrsColumnOfFixes));
    }
    Ok(are_fixes)
}
