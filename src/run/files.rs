//! The input files of a run: read, decoded, planned, and their carried columns joined by name.

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use rayon::prelude::*;
use rustc_hash::FxHashSet;

use super::repeated::name_print;
use crate::intake::block::{Chunk, cut};
use crate::intake::columns::{LogKind, Quantity};
use crate::intake::delimited::{Lines, blocks};
use crate::intake::extras::ExtraType;
use crate::intake::plan::{LineKind, Plan};
use crate::intake::text::{self, Text};
use crate::intake::{IntakeError, delimited, sheets, workbook};
use crate::job::{LogFormat, Shots};
use crate::numeric::signs::Signs;
use crate::output::columns::{Field, FieldKind};
use crate::output::contract::InputFile;
use crate::output::layers::Names;
use crate::records::ledger::Counts;
use crate::records::when::When;
use crate::stations::occupation::windows::ShotTime;

/// Bytes of text that are read as one.
const BLOCK_BYTES: usize = 128 * 1024;

/// A log ready to be cut into rows.
pub struct Log {
    /// For the account.
    pub info: InputFile,
    /// Its text.
    pub text: Text,
    /// How it is read.
    pub plan: Plan,
    /// What the person is to know of it, in sentences.
    pub told: Vec<String>,
}

impl Log {
    /// All of its rows as one block; `file` is its index.
    pub fn whole(&self, file: usize) -> Chunk<'_> {
        let (offset, first_line) = self.plan.body;
        Chunk { file, text: &self.text.text[offset..], first_line }
    }

    /// Counts of what stands above the header.
    pub fn counts_above(&self) -> Counts {
        let (blank_lines, comment_lines) = self.plan.above;
        Counts { blank_lines, comment_lines, other_lines: self.plan.title.len() as u64, ..Counts::default() }
    }
}

/// A carried column of all files of a kind.
pub struct Carried {
    /// The log's header.
    pub header: String,
    /// Its field in the layer.
    pub field: Field,
    /// Its index among the plan's extras, by file.
    pub index_by_file: Vec<Option<usize>>,
}

/// A file as logs: one, or one for each sheet of a workbook that is meant.
pub(super) fn open(path: &Path, name: &str, kind: LogKind, format: &LogFormat) -> Result<Vec<Log>, IntakeError> {
    if !workbook::is_workbook(path) {
        return Ok(vec![planned(text::read(path, format.encoding.as_deref())?, name, kind, format)?]);
    }
    let tables = sheets::of_log(path, name, kind, format)?.into_iter();
    tables.map(|table| of_sheet(table, kind)).collect()
}

/// A sheet with its plan.
pub(super) fn of_sheet(table: sheets::Table, kind: LogKind) -> Result<Log, IntakeError> {
    let mut log = planned(table.text, &table.name, kind, &table.format)?;
    (log.info.kind, log.info.separator) = ("workbook", None);
    log.told.splice(0..0, table.told);
    Ok(log)
}

/// A decoded delimited log with its plan.
pub(super) fn planned(text: Text, name: &str, kind: LogKind, format: &LogFormat) -> Result<Log, IntakeError> {
    let plan = Plan::new(&text, kind, format)?;
    let info = InputFile {
        name: name.to_owned(),
        is_bases: kind != LogKind::Shots,
        bytes: text.bytes,
        sha256: text.sha256.clone(),
        encoding: text.encoding,
        kind: "delimited",
        separator: Some(plan.separator as char),
        written: plan.written.clone(),
        counts: Counts::default(),
    };
    let told = header_note(&info.name, &plan).into_iter().collect();
    Ok(Log { info, text, plan, told })
}

/// Where the header was found, if it is not the first line.
fn header_note(name: &str, plan: &Plan) -> Option<String> {
    let line = plan.header_line;
    let place = if plan.is_double { format!("lines {} and {line}", line - 1) } else { format!("line {line}") };
    match plan.title.first() {
        Some(title) => Some(format!("{name}: the header was found in {place}, below the title \"{title}\".")),
        None if plan.is_double => Some(format!("{name}: the header stands over {place}.")),
        None => None,
    }
}

/// Joins the extras of all files by name; `types` gives each file's types in the order of its extras.
pub(super) fn join_carried(plans: &[Option<&Plan>], types: &[Vec<ExtraType>], own: &[Field]) -> Vec<Carried> {
    /// A column as it comes together.
    struct Joined {
        header: String,
        kind: ExtraType,
        index_by_file: Vec<Option<usize>>,
    }
    let mut found: Vec<Joined> = Vec::new();
    let (mut by_name, mut alike): (HashMap<&str, usize>, HashMap<String, Vec<usize>>) = Default::default();
    for (file, plan) in plans.iter().enumerate() {
        let Some(plan) = plan else { continue };
        for (index, (_, header)) in plan.extras.iter().enumerate() {
            // The same name, else one that differs by capitals alone and that this file has not taken.
            let others = alike.entry(header.to_lowercase()).or_default();
            let like = others.iter().copied().find(|other| found[*other].index_by_file[file].is_none());
            let position = by_name.get(header.as_str()).copied().or(like).unwrap_or_else(|| {
                others.push(found.len());
                by_name.insert(header, found.len());
                let index_by_file = vec![None; plans.len()];
                found.push(Joined { header: header.clone(), kind: ExtraType::Empty, index_by_file });
                found.len() - 1
            });
            found[position].kind = found[position].kind.max(types[file][index]);
            found[position].index_by_file[file] = Some(index);
        }
    }
    let mut names = Names::of(own);
    found
        .into_iter()
        .map(|Joined { header, kind, index_by_file }| {
            let kind = match kind {
                ExtraType::Integer => FieldKind::Integer,
                ExtraType::Real => FieldKind::Real,
                ExtraType::Empty | ExtraType::Text => FieldKind::Text,
            };
            Carried { field: names.field(&header, kind), header, index_by_file }
        })
        .collect()
}

/// Shot logs, decoded and planned; their rows are read block by block.
pub struct ShotLogs {
    /// The files.
    pub files: Vec<Log>,
    /// Carried columns.
    pub carried: Vec<Carried>,
    /// By file and carried column: how the numbers of its field are written.
    pub carried_signs: Vec<Arc<[Signs]>>,
    /// Prints of the names of features that stand in more than one row.
    pub repeated: FxHashSet<u64>,
    /// Names of features that strings join to.
    pub joins: FxHashSet<String>,
    chunks: Vec<Vec<delimited::Block>>,
}

impl ShotLogs {
    /// Opens the shot logs and finds the types of carried columns; `own` are the layer's own fields.
    ///
    /// # Errors
    /// When a file cannot be used as a whole.
    pub fn read(job: &Shots, own: &[Field]) -> Result<ShotLogs, IntakeError> {
        let files = job
            .resolved
            .par_iter()
            .map(|(path, name): &(PathBuf, String)| open(path, name, LogKind::Shots, job.format_of(name)))
            .collect::<Result<Vec<Vec<Log>>, IntakeError>>()?;
        let files: Vec<Log> = files.into_iter().flatten().collect();
        let chunks: Vec<Vec<delimited::Block>> = files
            .iter()
            .map(|log| {
                let (offset, line) = log.plan.body;
                let body = &log.text.text[offset..];
                let mut found = blocks(Lines::new(body, log.plan.separator, line), BLOCK_BYTES);
                found.iter_mut().for_each(|block| block.range = block.range.start + offset..block.range.end + offset);
                found
            })
            .collect();
        let surveys =
            files.iter().zip(&chunks).map(|(log, blocks)| survey(log, blocks)).collect::<Result<Vec<_>, IntakeError>>()?;
        let (mut types, mut names, mut joins) = (Vec::new(), Vec::new(), FxHashSet::default());
        for survey in surveys {
            types.push(survey.types);
            names.push(survey.names);
            joins.extend(survey.joins);
        }
        let plans: Vec<Option<&Plan>> = files.iter().map(|file| Some(&file.plan)).collect();
        let carried = join_carried(&plans, &types, own);
        let signs_of = |file: usize| {
            let plan = &files[file].plan;
            let of = |carried: &Carried| carried.index_by_file[file].and_then(|extra| plan.extra_signs.get(extra).copied());
            carried.iter().map(|carried| of(carried).unwrap_or_default()).collect()
        };
        let carried_signs = (0..files.len()).map(signs_of).collect();
        let repeated = recurring(names.into_iter().flatten().collect());
        Ok(ShotLogs { files, carried, carried_signs, repeated, joins, chunks })
    }

    /// The times of all shots that have one, and the bases they name: a pass over the logs of its own.
    ///
    /// # Errors
    /// When a header stands in a file again with its columns in another order.
    pub fn times(&self) -> Result<Vec<ShotTime>, IntakeError> {
        let chunks = self.chunks();
        let found = chunks.par_iter().map(|chunk| {
            let plan = &self.files[chunk.file].plan;
            let (rows, faults) = cut(chunk, plan, &self.files[chunk.file].text.path, &mut Counts::default())?;
            let mut joined = String::new();
            let mut times = Vec::new();
            for (row, fault) in rows.rows().iter().zip(faults) {
                let text = |quantity| plan.text(quantity, &rows, row);
                let when = plan.when(text(Quantity::Date), text(Quantity::Time));
                if let (None, Ok(Some(When { instant: Some((instant, _)), .. }))) = (fault, when) {
                    let base = plan.name(Quantity::Base, &rows, row, &mut joined).map(str::to_owned);
                    times.push(ShotTime { instant, base });
                }
            }
            Ok(times)
        });
        Ok(found.collect::<Result<Vec<_>, IntakeError>>()?.into_iter().flatten().collect())
    }

    /// All blocks of all files, in order.
    pub fn chunks(&self) -> Vec<Chunk<'_>> {
        self.files
            .iter()
            .enumerate()
            .flat_map(|(file, log)| {
                self.chunks[file].iter().map(move |block| Chunk {
                    file,
                    text: &log.text.text[block.range.clone()],
                    first_line: block.first_line,
                })
            })
            .collect()
    }
}

/// What a pass over all rows of a file tells before any is computed.
struct Survey {
    /// The types of the extras.
    types: Vec<ExtraType>,
    /// Prints of the names of features, of rows that belong to no measurement and no string.
    names: Vec<u64>,
    /// Names of features that strings join to.
    joins: Vec<String>,
}

/// Surveys a file; refuses headers repeated in another order.
fn survey(log: &Log, blocks: &[delimited::Block]) -> Result<Survey, IntakeError> {
    let plan = &log.plan;
    let is_named = plan.claim_of(Quantity::Feature).is_some();
    let has_strings = plan.claim_of(Quantity::String).is_some();
    let of_block = |block: &delimited::Block| {
        let mut survey = Survey { types: vec![ExtraType::Empty; plan.extras.len()], names: Vec::new(), joins: Vec::new() };
        let mut rows = plan.rows();
        let mut joined = String::new();
        for line in Lines::new(&log.text.text[block.range.clone()], plan.separator, block.first_line) {
            match plan.kind_of(&line) {
                LineKind::Data if survey.types.is_empty() && !is_named => {}
                LineKind::Data => {
                    rows.clear();
                    rows.push(line, plan.separator);
                    let row = rows.rows()[0];
                    if !plan.fits(&rows, &row) {
                        continue;
                    }
                    for ((kind, (index, _)), signs) in survey.types.iter_mut().zip(&plan.extras).zip(&plan.extra_signs) {
                        *kind = kind.with(rows.cell(&row, *index), *signs);
                    }
                    if is_named && has_strings && super::block::joins_a_string(plan, &rows, &row) {
                        let name = plan.name(Quantity::Feature, &rows, &row, &mut joined);
                        survey.joins.extend(name.map(crate::records::names::label));
                    }
                    let stands_alone = |quantity| plan.text(quantity, &rows, &row).is_none();
                    if is_named
                        && stands_alone(Quantity::Measure)
                        && stands_alone(Quantity::String)
                        && let Some(name) = plan.name(Quantity::Feature, &rows, &row, &mut joined)
                    {
                        survey
                            .names
                            .push(name_print(plan.text(Quantity::Code, &rows, &row), &crate::records::names::label(name)));
                    }
                }
                LineKind::OtherHeader => return Err(IntakeError::other_header(&log.text.path, line.number)),
                LineKind::Blank | LineKind::Comment | LineKind::Header | LineKind::Units => {}
            }
        }
        Ok(survey)
    };
    let surveys = blocks.par_iter().map(of_block).collect::<Result<Vec<Survey>, IntakeError>>()?;
    let mut whole = Survey { types: vec![ExtraType::Empty; plan.extras.len()], names: Vec::new(), joins: Vec::new() };
    for survey in surveys {
        whole.types.iter_mut().zip(survey.types).for_each(|(kind, other)| *kind = (*kind).max(other));
        whole.names.extend(survey.names);
        whole.joins.extend(survey.joins);
    }
    Ok(whole)
}

/// The prints that stand more than once.
fn recurring(mut prints: Vec<u64>) -> FxHashSet<u64> {
    prints.par_sort_unstable();
    prints.windows(2).filter(|pair| pair[0] == pair[1]).map(|pair| pair[0]).collect()
}
