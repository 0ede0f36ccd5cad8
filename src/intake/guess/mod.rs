//! Guesses at what logs mean, for a starter job. Nothing here is used in a run: a person reads the guesses, and decides what is
//! marked with [`UNDECIDED`], in an editor or asked one after the other (`ask`).
//!
//! `sample` looks at the files, `words` knows the trade's words for headers in twelve languages and `roles` those of measurements,
//! `columns` takes words and values together (`shot` and `base` by the kind of log), `times` sees what dates and times leave open,
//! `wide` knows layouts with several readings in a row. What is found is written by `reference_system`, `written` (how logs are written),
//! `occupied`, `column_map` and `instruments`.

pub mod ask;
mod base;
mod column_map;
mod columns;
mod instruments;
mod naming;
mod occupied;
mod open_signs;
mod reference_system;
mod roles;
mod sample;
mod shot;
mod standing;
mod times;
mod told;
mod units;
mod wide;
mod words;
mod written;

use std::path::PathBuf;

use self::ask::Draft;
use self::columns::{Context, Guess};
use self::sample::Sample;
use self::standing::NamedStand;
use self::wide::Wide;
use super::IntakeError;
use super::columns::LogKind;
use crate::job::UNDECIDED;
use crate::numeric::words::counted;

/// A starter job with its open questions.
///
/// # Errors
/// When a log cannot be read, or is empty.
pub fn draft(paths: &[PathBuf]) -> Result<Draft, IntakeError> {
    let read = paths.iter().map(|path| sample::all(path)).collect::<Result<Vec<_>, _>>()?;
    let samples = with_positions_of_rows(read.into_iter().flatten().collect());
    let context = Context::gather(&samples);
    let mut logs: Vec<GuessedLog> = samples.iter().map(|sample| GuessedLog::guess(sample, &context)).collect();
    standing::settle(&mut logs, &context.base_names);
    let mut draft = Draft::default();
    reference_system::head(&mut draft, &logs);
    for kind in [LogKind::Bases, LogKind::Shots] {
        let of_kind: Vec<&GuessedLog> = logs.iter().filter(|log| log.sample.kind == kind).collect();
        draft_table(&mut draft, kind, &of_kind, &logs);
    }
    instruments::instruments(&mut draft, &logs);
    Ok(draft)
}

/// Where no log is of bases and a log of shots has positions in its rows, it is both: each row has the place that it was shot from.
fn with_positions_of_rows(mut samples: Vec<Sample>) -> Vec<Sample> {
    if samples.iter().any(|sample| sample.kind == LogKind::Bases) {
        return samples;
    }
    let mut bases = Vec::new();
    for sample in samples.iter_mut().filter(|sample| sample.kind == LogKind::Shots && sample.whole.is_none()) {
        let Some(pair) = sample.position_columns() else { continue };
        let is_unique = |column: &usize| {
            let (different, filled) = sample.variety(*column);
            different == filled && filled == sample.rows.len() && words::means(&sample.words(*column), "shot")
        };
        // Several shots from one place have one base between them.
        let mut places: Vec<[&String; 2]> = sample.rows.iter().map(|row| pair.map(|column| &row[column])).collect();
        places.sort_unstable();
        places.dedup();
        let is_shared = places.len() < sample.rows.len();
        let name = (0..sample.headers.len()).find(is_unique).filter(|_| !is_shared);
        let columns = name.map_or_else(|| pair.to_vec(), |name| vec![name]);
        sample.base_columns = columns.iter().map(|column| sample.headers[*column].clone()).collect();
        bases.push(Sample { kind: LogKind::Bases, ..sample.clone() });
    }
    bases.append(&mut samples);
    bases
}

/// A log with what it seems to mean.
struct GuessedLog<'s> {
    sample: &'s Sample,
    guesses: Vec<Guess>,
    wide: Option<Wide>,
    /// What the name of its file or sheet says.
    named: Option<NamedStand>,
    /// The base of all its rows.
    base: Option<String>,
}

impl<'s> GuessedLog<'s> {
    fn guess(sample: &'s Sample, context: &Context) -> GuessedLog<'s> {
        if sample.whole.is_some() {
            return GuessedLog { sample, guesses: Vec::new(), wide: None, named: None, base: None };
        }
        let wide = if sample.kind == LogKind::Shots { wide::recognise(sample, context) } else { None };
        let mut guesses = columns::guesses(sample, context);
        if let Some(wide) = &wide {
            let taken = |header: &String| wide.columns.iter().any(|column| sample.headers[*column] == *header);
            guesses.retain(|guess| !guess.headers.iter().any(taken) && guess.canonical != "measure" && guess.canonical != "role");
        }
        GuessedLog { sample, guesses, wide, named: None, base: None }
    }

    /// Whether a canonical column is there, by its own name or a guess.
    fn has(&self, canonical: &str) -> bool {
        self.guesses.iter().any(|guess| guess.canonical.starts_with(canonical))
            || (canonical == "base" && self.has_base_elsewhere())
            || self.sample.headers.iter().any(|header| header.to_lowercase().starts_with(canonical))
    }

    /// Whether something else than a column names the base.
    fn has_base_elsewhere(&self) -> bool {
        self.base.is_some() || self.named.as_ref().is_some_and(|named| named.pattern.contains("{base}"))
    }

    /// Headers that nothing claims.
    fn carried(&self) -> Vec<&str> {
        let claimed = |header: &String| {
            self.guesses.iter().any(|guess| guess.headers.contains(header))
                || super::columns::parse(&header.to_lowercase(), self.sample.kind).is_some()
                || self
                    .wide
                    .as_ref()
                    .is_some_and(|wide| wide.columns.iter().any(|column| self.sample.headers[*column] == *header))
        };
        self.sample.headers.iter().filter(|header| !claimed(header)).map(String::as_str).collect()
    }

    /// Whether times that are read have no zone of their own.
    fn wants_zone(&self) -> bool {
        self.column_of("time").is_some_and(|column| self.sample.filled(column).any(times::wants_zone))
    }

    /// The column of a canonical name, by its own name or a guess.
    fn column_of(&self, canonical: &str) -> Option<usize> {
        let guess = self.guesses.iter().find(|guess| guess.canonical == canonical).map(|guess| guess.headers[0].as_str());
        let own = || self.sample.headers.iter().map(String::as_str).find(|header| header.eq_ignore_ascii_case(canonical));
        guess.or_else(own).and_then(|header| self.sample.column_of(header))
    }

    /// Values of a header, as evidence.
    fn evidence(&self, header: &str) -> String {
        let Some(column) = self.sample.column_of(header) else {
            return format!("the columns are: {}", self.sample.headers.join(", "));
        };
        let values: Vec<&str> = self.sample.filled(column).take(4).collect();
        let numbers = self.sample.numbers(column);
        let range = match (numbers.iter().copied().reduce(f64::min), numbers.iter().copied().reduce(f64::max)) {
            (Some(least), Some(most)) if self.sample.is_numeric(column) => {
                format!("; {} from {least} to {most}", counted(numbers.len() as u64, "value", "values"))
            }
            _ => String::new(),
        };
        format!("in {} it reads {}{range}", self.sample.label(), values.join(", "))
    }
}

fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

/// A key as TOML has it.
fn key(name: &str) -> String {
    let is_bare = name.bytes().all(|byte| byte.is_ascii_alphanumeric() || byte == b'_' || byte == b'-');
    if is_bare { name.to_owned() } else { quoted(name) }
}

/// `[bases]` or `[shots]`.
fn draft_table(draft: &mut Draft, kind: LogKind, logs: &[&GuessedLog], all: &[GuessedLog]) {
    let name = kind.table();
    if kind == LogKind::Bases && logs.is_empty() {
        return;
    }
    let mut files: Vec<String> = Vec::new();
    for log in logs {
        let file = quoted(&log.sample.name);
        if !files.contains(&file) {
            files.push(file);
        }
    }
    draft.push("");
    draft.push(format!("[{name}]"));
    if logs.is_empty() {
        draft.push(format!("files = [{}]", quoted(UNDECIDED)));
        draft.ask("Which file has the shots?", "", &[], false);
        return;
    }
    draft.push(format!("files = [{}]", files.join(", ")));
    written::sheets(draft, logs);
    if let Some(named) = logs.iter().find_map(|log| log.named.as_ref()) {
        draft.push(format!("{} = {}   # {}", named.key, quoted(&named.pattern), named.reason));
    }
    if kind == LogKind::Bases {
        reference_system::crs_of_bases(draft, logs);
    }
    logs.iter().for_each(|log| written::about(draft, log));
    written::zone(draft, kind, logs, all);
    written::order(draft, logs);
    written::signs(draft, logs);
    if kind == LogKind::Bases {
        occupied::except(draft, logs, all);
        occupied::bases_only(draft, logs);
    }
    let tables: Vec<&&GuessedLog> = logs.iter().filter(|log| log.sample.whole.is_none()).collect();
    let Some((first, others)) = tables.split_first() else { return };
    draft.push("");
    draft.push(format!("[{name}.columns]                 # canonical name = the log's own header; all others become attributes"));
    column_map::columns_of(draft, first, name);
    for other in
        others.iter().filter(|other| other.sample.headers != first.sample.headers && other.sample.name != first.sample.name)
    {
        draft.push("");
        draft.push(format!(
            "[{name}.per_file.{}.columns]     # its headers are others than those of {}",
            quoted(&other.sample.name),
            first.sample.label()
        ));
        column_map::columns_of(draft, other, &format!("{name}.per_file.{}", quoted(&other.sample.name)));
    }
}
