//! The shot logs of a job: opened, surveyed once for what no row tells alone, and cut into blocks.

use std::collections::BTreeSet;
use std::path::PathBuf;
use std::sync::Arc;

use rayon::prelude::*;
use rustc_hash::FxHashSet;

use super::IntakeError;
use super::block::Chunk;
use super::carried::{Carried, join_carried};
use super::columns::LogKind;
use super::delimited::{self, Lines, blocks};
use super::log::{Log, open};
use super::log_layout::LogLayout;
use super::shot_rules::ShotRules;
use super::shot_survey::{self, Survey, Wanted};
use crate::job::Shots;
use crate::numeric::signs::Signs;
use crate::records::names::name_print;
use crate::records::shot::KeptShot;
use crate::records::when::ShotTime;

/// Bytes of text that are read as one: the records that come of them stay in the caches of a processor.
const BLOCK_BYTES: usize = 32 * 1024;

/// Shot logs, decoded and planned.
pub struct OpenedLogs {
    /// The files.
    pub files: Vec<Log>,
    chunks: Vec<Vec<delimited::Block>>,
}

impl OpenedLogs {
    /// Opens the shot logs of a job.
    ///
    /// # Errors
    /// When a file cannot be used as a whole.
    pub fn open(job: &Shots) -> Result<OpenedLogs, IntakeError> {
        let files = job
            .resolved
            .par_iter()
            .map(|(path, name): &(PathBuf, String)| open(path, name, LogKind::Shots, job.format_of(name)))
            .collect::<Result<Vec<Vec<Log>>, IntakeError>>()?;
        let files: Vec<Log> = files.into_iter().flatten().collect();
        let chunks: Vec<Vec<delimited::Block>> = files
            .iter()
            .map(|log| {
                let (offset, line) = log.layout.body;
                let body = &log.text.text[offset..];
                let mut found = blocks(Lines::new(body, log.layout.separator, line), BLOCK_BYTES);
                found.iter_mut().for_each(|block| block.range = block.range.start + offset..block.range.end + offset);
                found
            })
            .collect();
        Ok(OpenedLogs { files, chunks })
    }
}

/// Shot logs, surveyed; their rows are read block by block.
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
    /// Sights to bases and known points, in the order of the logs.
    pub sights: Vec<KeptShot>,
    /// The times of all shots that have one, where they were wanted.
    pub times: Vec<ShotTime>,
    /// The names of all bases, where they were wanted.
    pub stands: BTreeSet<String>,
    chunks: Vec<Vec<delimited::Block>>,
}

impl ShotLogs {
    /// Surveys opened logs: one pass over all their rows, where there is anything to be found in them.
    ///
    /// # Errors
    /// When a header stands in a file that is looked at again with its columns in another order; else that is found when its rows are read.
    pub fn survey(opened: OpenedLogs, wanted: &Wanted) -> Result<ShotLogs, IntakeError> {
        let OpenedLogs { files, chunks } = opened;
        let mut whole = Survey::default();
        let mut types = Vec::new();
        for (file, (log, blocks)) in files.iter().zip(&chunks).enumerate() {
            let mut survey = shot_survey::survey(log, file, blocks, wanted)?;
            types.push(std::mem::take(&mut survey.types));
            whole.add(survey);
        }
        let layouts: Vec<Option<&LogLayout>> = files.iter().map(|file| Some(&file.layout)).collect();
        let carried = join_carried(&layouts, &types);
        let signs_of = |file: usize| {
            let layout = &files[file].layout;
            let of = |carried: &Carried| carried.index_by_file[file].and_then(|extra| layout.extra_signs.get(extra).copied());
            carried.iter().map(|carried| of(carried).unwrap_or_default()).collect()
        };
        let carried_signs = (0..files.len()).map(signs_of).collect();
        let Survey { names, joins, kinds, measured, sights, times, stands, .. } = whole;
        let (repeated, joins) = (shot_survey::recurring(names), joins.into_iter().collect());
        Ok(ShotLogs { files, carried, carried_signs, repeated, joins, kinds, measured, sights, times, stands, chunks })
    }

    /// The shots that may check each other, in the order of the logs: sights to bases and known points, and shots to features whose
    /// names recur. The names are known after the survey, so that the latter take a pass of their own.
    ///
    /// # Errors
    /// When a header stands in a file again with its columns in another order.
    pub fn shots_to_adjust(&self, rules: &ShotRules) -> Result<Vec<KeptShot>, IntakeError> {
        let chunks = self.chunks();
        let found = chunks.par_iter().map(|chunk| {
            let log = &self.files[chunk.file];
            let recurs = |code: Option<&str>, name: &str| self.repeated.contains(&name_print(code, name));
            shot_survey::wanted_shots(chunk, log, rules, &recurs, &self.carried, &self.carried_signs[chunk.file])
        });
        let mut shots: Vec<KeptShot> = found.collect::<Result<Vec<_>, IntakeError>>()?.into_iter().flatten().collect();
        shots.extend(self.sights.iter().cloned());
        shots.sort_by_key(|shot| (shot.place, shot.reading));
        Ok(shots)
    }

    /// Shots that stand alone to features of some names, in the order of the logs.
    pub fn shots_named(&self, rules: &ShotRules, is_wanted: &(dyn Fn(&str) -> bool + Sync)) -> Vec<KeptShot> {
        let chunks = self.chunks();
        let found = chunks.par_iter().map(|chunk| {
            let (log, signs) = (&self.files[chunk.file], &self.carried_signs[chunk.file]);
            // A header that stands again in another order ends the run when the shots are mapped.
            shot_survey::wanted_shots(chunk, log, rules, &|_, name| is_wanted(name), &self.carried, signs).unwrap_or_default()
        });
        let mut shots: Vec<KeptShot> = found.collect::<Vec<_>>().into_iter().flatten().collect();
        shots.sort_by_key(|shot| (shot.place, shot.reading));
        shots
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
