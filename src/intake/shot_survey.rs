//! What no row tells alone, found in one pass over all of them before any is computed: the types of carried columns, the names
//! that recur, what strings join to; and on the way the sights to bases and known points, which orient.

use std::collections::BTreeSet;
use std::sync::Arc;

use rayon::prelude::*;
use rustc_hash::FxHashSet;

use super::IntakeError;
use super::block::{Chunk, cut, shape_fault};
use super::carried::Carried;
use super::columns::Quantity;
use super::delimited::{self, Line, Lines, Row, Rows};
use super::extras::ExtraType;
use super::log::Log;
use super::log_layout::{LayoutError, LineKind, LogLayout};
use super::shot_block::{joins_a_string, kept};
use super::shot_rules::ShotRules;
use super::shots::read_row;
use crate::numeric::signs::Signs;
use crate::records::echo::Echo;
use crate::records::ledger::Counts;
use crate::records::names::{label, name_print};
use crate::records::roles::{BACKSIGHT, FORESIGHT};
use crate::records::shot::KeptShot;
use crate::records::when::{ShotTime, When};

/// Words for kinds of measurement that are kept: beyond it the column has something else.
const MOST_KINDS: usize = 1000;

/// What a survey is for.
pub struct Wanted<'r> {
    /// How shots are read.
    pub rules: &'r ShotRules,
    /// The times of all shots.
    pub times: bool,
    /// The names of all bases.
    pub stands: bool,
}

/// What a survey tells.
#[derive(Default)]
pub(super) struct Survey {
    /// The types of the extras.
    pub types: Vec<ExtraType>,
    /// Prints of the names of features, of rows that belong to no measurement and no string.
    pub names: Vec<u64>,
    /// Names of features that strings join to.
    pub joins: Vec<String>,
    /// Kinds of measurement.
    pub kinds: BTreeSet<String>,
    /// Prints of the names of features that are measured.
    pub measured: FxHashSet<u64>,
    /// Sights to bases and known points.
    pub sights: Vec<KeptShot>,
    /// Times of shots.
    pub times: Vec<ShotTime>,
    /// Names of bases.
    pub stands: BTreeSet<String>,
}

impl Survey {
    fn new(layout: &LogLayout) -> Survey {
        Survey { types: vec![ExtraType::Empty; layout.extras.len()], ..Survey::default() }
    }

    /// Takes a row of a measurement.
    fn take_measured(&mut self, kind: &str, code: Option<&str>, name: Option<&str>) {
        if self.kinds.len() < MOST_KINDS && !self.kinds.contains(kind) {
            self.kinds.insert(kind.to_owned());
        }
        self.measured.extend(name.map(|name| name_print(code, &label(name))));
    }

    /// Joins what a later part tells.
    pub fn add(&mut self, later: Survey) {
        self.types.iter_mut().zip(later.types).for_each(|(kind, other)| *kind = (*kind).max(other));
        self.names.extend(later.names);
        self.joins.extend(later.joins);
        self.kinds.extend(later.kinds);
        self.measured.extend(later.measured);
        self.sights.extend(later.sights);
        self.times.extend(later.times);
        self.stands.extend(later.stands);
    }
}

/// Surveys a file; refuses headers repeated in another order, where it has to look at rows at all.
pub(super) fn survey(log: &Log, file: usize, blocks: &[delimited::Block], wanted: &Wanted) -> Result<Survey, IntakeError> {
    let surveyor = Surveyor {
        layout: &log.layout,
        file,
        wanted,
        is_named: log.layout.claim_of(Quantity::Feature).is_some(),
        has_strings: log.has_strings(),
        has_roles: log.has_roles(),
        has_measures: log.has_measures() || log.layout.has_readings(),
    };
    let surveys = blocks.par_iter().map(|block| surveyor.block(log, block)).collect::<Result<Vec<Survey>, IntakeError>>()?;
    let mut whole = Survey::new(&log.layout);
    surveys.into_iter().for_each(|survey| whole.add(survey));
    Ok(whole)
}

/// The survey of a file's blocks.
struct Surveyor<'s> {
    layout: &'s LogLayout,
    file: usize,
    wanted: &'s Wanted<'s>,
    is_named: bool,
    has_strings: bool,
    has_roles: bool,
    has_measures: bool,
}

impl Surveyor<'_> {
    fn block(&self, log: &Log, block: &delimited::Block) -> Result<Survey, IntakeError> {
        let layout = self.layout;
        let mut survey = Survey::new(layout);
        let looks_at_rows = self.has_roles || self.has_measures || self.wanted.times || self.wanted.stands;
        let looks_at_lines = !survey.types.is_empty() || self.is_named;
        if !looks_at_rows && !looks_at_lines {
            // A header in another order is found when the rows are read.
            return Ok(survey);
        }
        let mut rows = layout.rows();
        for line in Lines::new(&log.text.text[block.range.clone()], layout.separator, block.first_line) {
            match layout.kind_of(&line) {
                LineKind::Data => {
                    if looks_at_lines {
                        self.line(&mut survey, &mut rows, line);
                    }
                    if looks_at_rows {
                        self.rows(&mut survey, &mut rows, line);
                    }
                }
                LineKind::OtherHeader => return Err(IntakeError::columns(&log.text.path, line.number, LayoutError::OtherHeader)),
                LineKind::Blank | LineKind::Comment | LineKind::Header | LineKind::Units => {}
            }
        }
        Ok(survey)
    }

    /// The carried columns and the name of a line.
    fn line<'t>(&self, survey: &mut Survey, rows: &mut Rows<'t>, line: Line<'t>) {
        let layout = self.layout;
        rows.clear();
        layout.cut(rows, line);
        let row = &rows.rows()[0];
        if !layout.fits(rows, row) {
            return;
        }
        for ((kind, (index, _)), signs) in survey.types.iter_mut().zip(&layout.extras).zip(&layout.extra_signs) {
            *kind = kind.with(rows.cell(row, *index), *signs);
        }
        if !self.is_named {
            return;
        }
        let mut joined = String::new();
        if self.has_strings && joins_a_string(layout, rows, row) {
            survey.joins.extend(layout.name(Quantity::Feature, rows, row, &mut joined).map(label));
        }
        if stands_alone(layout, rows, row)
            && let Some(name) = layout.name(Quantity::Feature, rows, row, &mut joined)
        {
            survey.names.push(name_print(layout.text(Quantity::Code, rows, row), &label(name)));
        }
    }

    /// The sights, times and bases of a line's rows.
    fn rows<'t>(&self, survey: &mut Survey, rows: &mut Rows<'t>, line: Line<'t>) {
        let layout = self.layout;
        rows.clear();
        layout.push(rows, line);
        for row in rows.rows() {
            let base = || layout.name(Quantity::Base, rows, row, &mut String::new()).map(str::to_owned);
            if self.wanted.stands {
                survey.stands.extend(base());
            }
            if self.has_measures
                && layout.fits(rows, row)
                && let Some(kind) = layout.text(Quantity::Measure, rows, row)
            {
                let code = layout.text(Quantity::Code, rows, row);
                survey.take_measured(kind, code, layout.name(Quantity::Feature, rows, row, &mut String::new()));
            }
            if shape_fault(layout, rows, row).is_some() {
                continue;
            }
            if self.wanted.times {
                let text = |quantity| layout.text(quantity, rows, row);
                if let Ok(Some(When { instant: Some((instant, _)), .. })) =
                    layout.when(text(Quantity::Date), text(Quantity::Time))
                {
                    survey.times.push(ShotTime { instant, base: base() });
                }
            }
            // What cannot be read is held, with its reason, when the shots are mapped.
            if self.has_roles
                && is_sight(layout, rows, row)
                && let Ok(read) = read_row(layout, self.wanted.rules, rows, row)
            {
                survey.sights.push(kept(layout, rows, row, self.file, &read, Default::default()));
            }
        }
    }
}

/// The shots of a block to features that are wanted by code and name, each kept with its carried columns.
pub(super) fn wanted_shots(
    chunk: &Chunk,
    log: &Log,
    rules: &ShotRules,
    is_wanted: &dyn Fn(Option<&str>, &str) -> bool,
    carried: &[Carried],
    signs: &Arc<[Signs]>,
) -> Result<Vec<KeptShot>, IntakeError> {
    let layout = &log.layout;
    let (rows, faults) = cut(chunk, layout, &log.text.path, &mut Counts::default())?;
    let is_named = |row: &Row| {
        let mut joined = String::new();
        let name = layout.name(Quantity::Feature, &rows, row, &mut joined);
        name.is_some_and(|name| is_wanted(layout.text(Quantity::Code, &rows, row), &label(name)))
    };
    let mut shots = Vec::new();
    for (row, fault) in rows.rows().iter().zip(faults) {
        let is_wanted = fault.is_none()
            && stands_alone(layout, &rows, row)
            && layout.echo(&rows, row) != Some(Echo::Tracking)
            && !is_sight(layout, &rows, row)
            && is_named(row);
        if is_wanted && let Ok(read) = read_row(layout, rules, &rows, row) {
            let cell = |carried: &Carried| {
                let extra = carried.index_by_file[chunk.file].map(|index| layout.extras[index].0);
                extra.map_or(String::new(), |column| rows.cell(row, column).to_owned())
            };
            let cells = carried.iter().map(cell).collect();
            shots.push(kept(layout, &rows, row, chunk.file, &read, (cells, signs.clone())));
        }
    }
    Ok(shots)
}

/// The prints that stand more than once.
pub(super) fn recurring(mut prints: Vec<u64>) -> FxHashSet<u64> {
    prints.par_sort_unstable();
    prints.windows(2).filter(|pair| pair[0] == pair[1]).map(|pair| pair[0]).collect()
}

/// Whether a row belongs to no measurement and no string.
fn stands_alone(layout: &LogLayout, rows: &Rows, row: &Row) -> bool {
    [Quantity::Measure, Quantity::String].into_iter().all(|quantity| layout.text(quantity, rows, row).is_none())
}

/// Whether a row is a sight to a base or known point.
fn is_sight(layout: &LogLayout, rows: &Rows, row: &Row) -> bool {
    matches!(layout.text(Quantity::Role, rows, row), Some(BACKSIGHT | FORESIGHT))
}
