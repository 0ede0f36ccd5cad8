//! The input files of a run: read, decoded, planned, and their carried columns joined by name.

use std::path::{Path, PathBuf};

use rayon::prelude::*;

use super::block::Chunk;
use crate::base::{BaseTable, HeldBase};
use crate::intake::bases::{self, BaseRow};
use crate::intake::columns::LogKind;
use crate::intake::delimited::{Lines, Rows, blocks};
use crate::intake::extras::{ExtraType, is_same_name};
use crate::intake::plan::{LineKind, Plan};
use crate::intake::text::{self, Text};
use crate::intake::{IntakeError, delimited};
use crate::job::{Bases, LogFormat, Shots};
use crate::layers::carried_field;
use crate::ledger::{Counts, Entry, Flag, Outcome};
use crate::table::{Field, FieldKind};

/// An input file, for the account.
#[derive(Debug, Clone)]
pub struct InputFile {
    /// Name as the job has it, relative to the job.
    pub name: String,
    /// Whether it is a base log.
    pub is_bases: bool,
    /// Size in bytes.
    pub bytes: u64,
    /// SHA-256 of its bytes.
    pub sha256: String,
    /// Encoding it was read in.
    pub encoding: &'static str,
    /// Separator.
    pub separator: char,
    /// Whether decimals are written with a comma.
    pub decimal_comma: bool,
    /// Its counts.
    pub counts: Counts,
}

/// A log ready to be cut into rows.
pub struct Log {
    /// For the account.
    pub info: InputFile,
    /// Its text.
    pub text: Text,
    /// How it is read.
    pub plan: Plan,
}

impl Log {
    /// Counts of what stands above the header.
    pub fn counts_above(&self) -> Counts {
        let (blank_lines, comment_lines) = self.plan.above;
        Counts { blank_lines, comment_lines, ..Counts::default() }
    }
}

/// A carried column of all files of a kind.
pub struct Carried {
    /// Its field in the layer.
    pub field: Field,
    /// Its index among the plan's extras, by file.
    pub index_by_file: Vec<Option<usize>>,
}

fn open(path: &Path, name: &str, kind: LogKind, format: &LogFormat) -> Result<Log, IntakeError> {
    let text = text::read(path, format.encoding.as_deref())?;
    let plan = Plan::new(&text, kind, format)?;
    let info = InputFile {
        name: name.to_owned(),
        is_bases: kind == LogKind::Bases,
        bytes: text.bytes,
        sha256: text.sha256.clone(),
        encoding: text.encoding,
        separator: plan.separator as char,
        decimal_comma: plan.format.decimal_comma,
        counts: Counts::default(),
    };
    Ok(Log { info, text, plan })
}

/// Joins the extras of all files by name; `types` gives each file's types in the order of its extras.
fn join_carried(logs: &[Log], types: &[Vec<ExtraType>], own: &[Field]) -> Vec<Carried> {
    let mut found: Vec<(String, ExtraType, Vec<Option<usize>>)> = Vec::new();
    for (file, log) in logs.iter().enumerate() {
        for (index, (_, header)) in log.plan.extras.iter().enumerate() {
            // The same name, else one that differs by capitals alone and that this file has not taken.
            let same = found.iter().position(|(name, _, _)| name == header);
            let alike = || found.iter().position(|(name, _, taken)| is_same_name(name, header) && taken[file].is_none());
            let position = same.or_else(alike).unwrap_or_else(|| {
                found.push((header.clone(), ExtraType::Empty, vec![None; logs.len()]));
                found.len() - 1
            });
            found[position].1 = found[position].1.max(types[file][index]);
            found[position].2[file] = Some(index);
        }
    }
    let mut taken = own.to_vec();
    found
        .into_iter()
        .map(|(header, kind, index_by_file)| {
            let kind = match kind {
                ExtraType::Integer => FieldKind::Integer,
                ExtraType::Real => FieldKind::Real,
                ExtraType::Empty | ExtraType::Text => FieldKind::Text,
            };
            let field = carried_field(&header, kind, &taken);
            taken.push(field.clone());
            Carried { field, index_by_file }
        })
        .collect()
}

/// Base logs, read whole.
pub struct BaseLogs {
    /// The files.
    pub files: Vec<Log>,
    /// Rows read.
    pub rows: Vec<BaseRow>,
    /// Rows held on reading.
    pub held: Vec<HeldBase>,
    /// Carried columns.
    pub carried: Vec<Carried>,
}

impl BaseLogs {
    /// Reads the base logs.
    ///
    /// # Errors
    /// When a file cannot be used as a whole.
    pub fn read(job: &Bases, antenna_height_m: Option<f64>) -> Result<BaseLogs, IntakeError> {
        let mut logs = BaseLogs { files: Vec::new(), rows: Vec::new(), held: Vec::new(), carried: Vec::new() };
        let mut types = Vec::new();
        for (file, (path, name)) in job.resolved.iter().enumerate() {
            let mut log = open(path, name, LogKind::Bases, &job.log)?;
            let mut counts = log.counts_above();
            if let Some(wanted) = &job.crs_column {
                let found = log.plan.headers.iter().position(|header| header == wanted);
                log.plan.crs_column = Some(found.ok_or_else(|| IntakeError::Columns {
                    path: path.clone(),
                    line: log.plan.header_line,
                    problem: format!(
                        "crs_column is \"{wanted}\", which the file does not have; it has: {}",
                        log.plan.headers.join(", ")
                    ),
                })?);
            }
            let mut file_types = vec![ExtraType::Empty; log.plan.extras.len()];
            let chunk = Chunk::whole(file, &log);
            let (rows, faults) = super::block::cut(&chunk, &log.plan, &log.text.path, &mut counts)?;
            for (row, fault) in rows.rows().iter().zip(faults) {
                counts.read += 1;
                let read = match fault {
                    Some(fault) => Err(fault),
                    None => bases::read(&log.plan, &rows, row, file, antenna_height_m),
                };
                match read {
                    Ok(mut base) => {
                        if !row.line.ended {
                            base.flags.raise(Flag::NoLineEnd);
                        }
                        for (kind, cell) in file_types.iter_mut().zip(&base.extras) {
                            *kind = kind.with(cell, log.plan.format.decimal_comma);
                        }
                        logs.rows.push(base);
                    }
                    Err(fault) => logs.held.push(HeldBase {
                        name: bases::name(&log.plan, &rows, row),
                        place: (file, row.line.number, row.line.text.to_owned()),
                        fault,
                    }),
                }
            }
            types.push(file_types);
            log.info.counts = counts;
            logs.files.push(log);
        }
        let own = crate::layers::bases::layer("", Vec::new()).fields;
        logs.carried = join_carried(&logs.files, &types, &own);
        Ok(logs)
    }

    /// Rows read in all files.
    pub fn counts_read(&self) -> u64 {
        self.files.iter().map(|file| file.info.counts.read).sum()
    }

    /// The counts of each file, once the bases are settled.
    pub fn counts(&self, table: &BaseTable) -> Vec<Counts> {
        let mut counts: Vec<Counts> = self.files.iter().map(|file| file.info.counts.clone()).collect();
        for held in &table.held {
            counts[held.place.0].hold(held.fault.reason);
        }
        for base in &table.bases {
            let counts = &mut counts[base.row.file];
            counts.mapped += 1;
            counts.flag(base.flags);
        }
        counts
    }
}

/// The ledger's entries of base rows, in the order of the logs.
pub fn base_entries(table: &BaseTable) -> Vec<Entry> {
    let held = table.held.iter().map(|held| {
        let (file, line, row) = held.place.clone();
        Entry { file, line, row, outcome: Outcome::Held(held.fault.clone()) }
    });
    let flagged = table.bases.iter().filter(|base| !base.flags.is_empty()).map(|base| Entry {
        file: base.row.file,
        line: base.row.line,
        row: base.row.raw.clone(),
        outcome: Outcome::Flagged(base.flags),
    });
    let mut entries: Vec<Entry> = held.chain(flagged).collect();
    entries.sort_by_key(|entry| (entry.file, entry.line));
    entries
}

/// Shot logs, decoded and planned; their rows are read block by block.
pub struct ShotLogs {
    /// The files.
    pub files: Vec<Log>,
    /// Carried columns.
    pub carried: Vec<Carried>,
    chunks: Vec<Vec<delimited::Block>>,
}

impl ShotLogs {
    /// Opens the shot logs and finds the types of carried columns; `own` are the layer's own fields.
    ///
    /// # Errors
    /// When a file cannot be used as a whole.
    pub fn read(job: &Shots, own: &[Field]) -> Result<ShotLogs, IntakeError> {
        let format = &job.log;
        let files = job
            .resolved
            .par_iter()
            .map(|(path, name): &(PathBuf, String)| open(path, name, LogKind::Shots, format))
            .collect::<Result<Vec<Log>, IntakeError>>()?;
        let chunks: Vec<Vec<delimited::Block>> = files
            .iter()
            .map(|log| {
                let (offset, line) = log.plan.body;
                let body = &log.text.text[offset..];
                let mut found = blocks(Lines::new(body, log.plan.separator, line), super::BLOCK_BYTES);
                found.iter_mut().for_each(|block| block.range = block.range.start + offset..block.range.end + offset);
                found
            })
            .collect();
        let types =
            files.iter().zip(&chunks).map(|(log, blocks)| survey(log, blocks)).collect::<Result<Vec<_>, IntakeError>>()?;
        let carried = join_carried(&files, &types, own);
        Ok(ShotLogs { files, carried, chunks })
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

/// The types of a file's extras, from all its rows; refuses headers repeated in another order.
fn survey(log: &Log, blocks: &[delimited::Block]) -> Result<Vec<ExtraType>, IntakeError> {
    let plan = &log.plan;
    let types = blocks
        .par_iter()
        .map(|block| {
            let mut types = vec![ExtraType::Empty; plan.extras.len()];
            let mut rows = Rows::default();
            for line in Lines::new(&log.text.text[block.range.clone()], plan.separator, block.first_line) {
                match plan.kind_of(&line) {
                    LineKind::Data if types.is_empty() => {}
                    LineKind::Data => {
                        rows.clear();
                        rows.push(line, plan.separator);
                        let row = rows.rows()[0];
                        if !plan.fits(&rows, &row) {
                            continue;
                        }
                        for (kind, (index, _)) in types.iter_mut().zip(&plan.extras) {
                            *kind = kind.with(rows.cell(&row, *index), plan.format.decimal_comma);
                        }
                    }
                    LineKind::OtherHeader => return Err(IntakeError::other_header(&log.text.path, line.number)),
                    LineKind::Blank | LineKind::Comment | LineKind::Header | LineKind::Units => {}
                }
            }
            Ok(types)
        })
        .try_reduce(
            || vec![ExtraType::Empty; plan.extras.len()],
            |a, b| Ok(a.into_iter().zip(b).map(|(a, b)| a.max(b)).collect()),
        )?;
    Ok(types)
}
