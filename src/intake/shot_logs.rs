//! The shot logs of a job: opened, surveyed once for what no row tells alone, and cut into blocks.

use std::collections::BTreeSet;
use std::path::PathBuf;
use std::sync::Arc;

use rayon::prelude::*;
use rustc_hash::FxHashSet;

use super::IntakeError;
use super::block::{Chunk, cut};
use super::carried::{Carried, join_carried};
use super::columns::{LogKind, Quantity};
use super::delimited::{self, Lines, Row, Rows, blocks};
use super::extras::ExtraType;
use super::log::{Log, open};
use super::plan::{LineKind, Plan};
use crate::job::Shots;
use crate::numeric::signs::Signs;
use crate::records::ledger::Counts;
use crate::records::names::{label, name_print};
use crate::records::roles::JOIN;
use crate::records::when::{ShotTime, When};

/// Words for kinds of measurement that are kept: beyond it the column has something else.
const MOST_KINDS: usize = 1000;
/// Bytes of text that are read as one.
const BLOCK_BYTES: usize = 128 * 1024;

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
    /// Kinds of measurement that rows name.
    pub kinds: BTreeSet<String>,
    /// Prints of the names of features that are measured.
    pub measured: FxHashSet<u64>,
    chunks: Vec<Vec<delimited::Block>>,
}

impl ShotLogs {
    /// Opens the shot logs and finds the types of carried columns.
    ///
    /// # Errors
    /// When a file cannot be used as a whole.
    pub fn read(job: &Shots) -> Result<ShotLogs, IntakeError> {
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
        let (mut kinds, mut measured) = (BTreeSet::new(), FxHashSet::default());
        for survey in surveys {
            types.push(survey.types);
            names.push(survey.names);
            joins.extend(survey.joins);
            kinds.extend(survey.kinds);
            measured.extend(survey.measured);
        }
        let plans: Vec<Option<&Plan>> = files.iter().map(|file| Some(&file.plan)).collect();
        let carried = join_carried(&plans, &types);
        let signs_of = |file: usize| {
            let plan = &files[file].plan;
            let of = |carried: &Carried| carried.index_by_file[file].and_then(|extra| plan.extra_signs.get(extra).copied());
            carried.iter().map(|carried| of(carried).unwrap_or_default()).collect()
        };
        let carried_signs = (0..files.len()).map(signs_of).collect();
        let repeated = recurring(names.into_iter().flatten().collect());
        Ok(ShotLogs { files, carried, carried_signs, repeated, joins, kinds, measured, chunks })
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
    /// Kinds of measurement.
    kinds: BTreeSet<String>,
    /// Prints of the names of features that are measured.
    measured: FxHashSet<u64>,
}

impl Survey {
    fn of(plan: &Plan) -> Survey {
        Survey {
            types: vec![ExtraType::Empty; plan.extras.len()],
            names: Vec::new(),
            joins: Vec::new(),
            kinds: BTreeSet::new(),
            measured: FxHashSet::default(),
        }
    }

    /// Takes a row of a measurement.
    fn measured(&mut self, kind: &str, code: Option<&str>, name: Option<&str>) {
        if self.kinds.len() < MOST_KINDS && !self.kinds.contains(kind) {
            self.kinds.insert(kind.to_owned());
        }
        self.measured.extend(name.map(|name| name_print(code, &label(name))));
    }
}

/// Surveys a file; refuses headers repeated in another order.
fn survey(log: &Log, blocks: &[delimited::Block]) -> Result<Survey, IntakeError> {
    let plan = &log.plan;
    let is_named = plan.claim_of(Quantity::Feature).is_some();
    let has_strings = plan.claim_of(Quantity::String).is_some();
    let has_measures = plan.claim_of(Quantity::Measure).is_some() || plan.has_readings();
    let of_block = |block: &delimited::Block| {
        let mut survey = Survey::of(plan);
        let (mut rows, mut readings) = (plan.rows(), plan.rows());
        let mut joined = String::new();
        for line in Lines::new(&log.text.text[block.range.clone()], plan.separator, block.first_line) {
            match plan.kind_of(&line) {
                LineKind::Data if survey.types.is_empty() && !is_named && !has_measures => {}
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
                    if is_named && has_strings && joins_a_string(plan, &rows, &row) {
                        let name = plan.name(Quantity::Feature, &rows, &row, &mut joined);
                        survey.joins.extend(name.map(label));
                    }
                    if has_measures {
                        readings.clear();
                        plan.push(&mut readings, line);
                        for reading in readings.rows() {
                            let Some(kind) = plan.text(Quantity::Measure, &readings, reading) else { continue };
                            let code = plan.text(Quantity::Code, &readings, reading);
                            survey.measured(kind, code, plan.name(Quantity::Feature, &readings, reading, &mut joined));
                        }
                    }
                    let stands_alone = |quantity| plan.text(quantity, &rows, &row).is_none();
                    if is_named
                        && stands_alone(Quantity::Measure)
                        && stands_alone(Quantity::String)
                        && let Some(name) = plan.name(Quantity::Feature, &rows, &row, &mut joined)
                    {
                        survey.names.push(name_print(plan.text(Quantity::Code, &rows, &row), &label(name)));
                    }
                }
                LineKind::OtherHeader => return Err(IntakeError::other_header(&log.text.path, line.number)),
                LineKind::Blank | LineKind::Comment | LineKind::Header | LineKind::Units => {}
            }
        }
        Ok(survey)
    };
    let surveys = blocks.par_iter().map(of_block).collect::<Result<Vec<Survey>, IntakeError>>()?;
    let mut whole = Survey::of(plan);
    for survey in surveys {
        whole.types.iter_mut().zip(survey.types).for_each(|(kind, other)| *kind = (*kind).max(other));
        whole.names.extend(survey.names);
        whole.joins.extend(survey.joins);
        whole.kinds.extend(survey.kinds);
        whole.measured.extend(survey.measured);
    }
    Ok(whole)
}

/// The prints that stand more than once.
fn recurring(mut prints: Vec<u64>) -> FxHashSet<u64> {
    prints.par_sort_unstable();
    prints.windows(2).filter(|pair| pair[0] == pair[1]).map(|pair| pair[0]).collect()
}

/// Whether a row joins a string to a feature that was shot elsewhere.
pub fn joins_a_string(plan: &Plan, rows: &Rows, row: &Row) -> bool {
    plan.text(Quantity::Role, rows, row) == Some(JOIN)
        && plan.text(Quantity::String, rows, row).is_some()
        && plan.text(Quantity::Measure, rows, row).is_none()
}
