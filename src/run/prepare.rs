//! The first step of a run: the logs read and surveyed, the bases on their datums, what else the job names.

use std::sync::Arc;

use super::RunError;
use super::coded::{self, Coded};
use super::error::NoBase;
use super::stands::{self, Stations};
use super::tie::tied::Tie;
use super::{datums, geoids, local};
use crate::geodesy::crs::{Crs, OperationRules};
use crate::geodesy::geoid::Geoids;
use crate::intake::IntakeError;
use crate::intake::base_logs::BaseLogs;
use crate::intake::log::Log;
use crate::intake::shot_logs::{OpenedLogs, ShotLogs};
use crate::intake::shot_rules::ShotRules;
use crate::intake::shot_survey::Wanted;
use crate::job::catalogue::Catalogue;
use crate::job::{Job, LayerName};
use crate::records::names::label;
use crate::shots::locate::Declinations;
use crate::shots::north::Norths;
use crate::stations::base::{BaseSettings, BaseTable};

/// A job ready to be computed.
pub struct Prepared<'j> {
    /// The job.
    pub job: &'j Job,
    /// The CRS of the layers.
    pub output: Crs,
    /// The grid that grid azimuths are counted from, where the job names one.
    pub grid: Option<Crs>,
    /// What may be used between datums.
    pub rules: OperationRules,
    /// The logs of bases.
    pub base_logs: BaseLogs,
    /// The shot logs, surveyed.
    pub shot_logs: ShotLogs,
    /// What became of the bases before they were settled; its rows are taken.
    pub stations: Stations,
    /// The geoids.
    pub geoid: Geoids,
    /// How rows of shots are read.
    pub shot_rules: ShotRules,
    /// Declinations by base and date.
    pub declinations: Declinations,
    /// The catalogue as it is.
    pub catalogue: Option<Arc<Catalogue>>,
    /// The catalogue with the columns of the logs.
    pub coded: Option<Coded>,
    /// Where the geoid grid does not reach, in a sentence.
    pub outside_grid: Option<String>,
    /// The layers to make: those of the job, and the features where some places are kept coarse, since the output learns
    /// their names from them.
    pub wanted: Vec<LayerName>,
}

/// Prepares a job, its local frame moved by a tie: the second value is the table of its bases, as surveyed.
///
/// # Errors
/// When a log, a CRS, a grid or the catalogue cannot be used, or no base can.
pub fn prepare<'j>(job: &'j Job, tie: Option<&Tie>) -> Result<(Prepared<'j>, BaseTable), RunError> {
    // Reference systems come out of a database while the logs come off the disk.
    let (systems, (opened, bases)) = rayon::join(|| systems(job), || open_logs(job));
    let (output, grid) = systems?;
    let catalogue = coded::load(job, &output)?;
    let rules = datums::rules(job, catalogue.as_deref());
    let shot_rules = ShotRules::new(job.instrument.as_ref(), &job.instruments, &job.heights, &job.checks)
        .with_catalogue(catalogue.clone())
        .with_units(job.units);
    let (shot_logs, mut base_logs) = logs(job, &shot_rules, opened?, bases?)?;
    let mut stations = stands::find(job, &mut base_logs, &shot_logs)?;
    if let Some(tie) = tie {
        tie.move_rows(&mut stations.rows);
    }
    let geoid = geoids::open(job, &stations.rows)?;
    geoids::look_ahead(&geoid, &stations.rows);
    let geoid_frames = geoids::frames(job, &output).map_err(RunError::crs("heights"))?;
    let settings = BaseSettings {
        bases: &job.bases,
        known: job.known.as_ref(),
        checks: &job.checks,
        output: &output,
        grid: grid.as_ref(),
        rules,
        geoid: &geoid,
        geoid_frames: &geoid_frames,
        allow_outside_area: job.allow_outside_area,
        units: job.units,
    };
    let (rows, held) = (std::mem::take(&mut stations.rows), std::mem::take(&mut stations.held));
    let mut table = BaseTable::settle(rows, held, &settings).map_err(RunError::crs("bases.crs"))?;
    if let Some(tie) = tie {
        tie.put_on(&mut table);
    }
    table.assumed = (table.assumed.0 || stations.assumed.0, table.assumed.1 || stations.assumed.1);
    check_any_base(&table, &base_logs, &stations)?;
    table.note_absent(&stations.absent);
    table.empty_windows.clone_from(&stations.empty);
    let outside_grid = geoids::outside_grid(job, &table)?;
    let coded = catalogue.clone().map(|catalogue| Coded::new(catalogue, &shot_logs.carried));
    let declinations = Declinations::new(&job.north);
    let mut wanted = job.layers.clone();
    if catalogue.as_ref().is_some_and(|catalogue| catalogue.has_coarse()) && !wanted.contains(&LayerName::Features) {
        wanted.push(LayerName::Features);
    }
    let prepared = Prepared {
        job,
        output,
        grid,
        rules,
        base_logs,
        shot_logs,
        stations,
        geoid,
        shot_rules,
        declinations,
        catalogue,
        coded,
        outside_grid,
        wanted,
    };
    Ok((prepared, table))
}

/// The CRS of the layers, and the grid that grid azimuths are counted from.
fn systems(job: &Job) -> Result<(Crs, Option<Crs>), RunError> {
    let output = Crs::new(&job.crs).map_err(RunError::crs("crs"))?;
    let grid = job.north.grid_crs.as_deref().map(Crs::new).transpose().map_err(RunError::crs("north.grid_crs"))?;
    Ok((output, grid))
}

/// The shot logs opened, and the bases read where the job has any.
fn open_logs(job: &Job) -> (Result<OpenedLogs, IntakeError>, Result<Option<BaseLogs>, IntakeError>) {
    let bases = || match job.has_no_bases() {
        true => Ok(None),
        false => BaseLogs::read(&job.bases, job.known.as_ref(), job.heights.antenna_height_m).map(Some),
    };
    rayon::join(|| OpenedLogs::open(&job.shots), bases)
}

/// The logs of a job: the bases as they were read, the shots surveyed.
fn logs(job: &Job, rules: &ShotRules, opened: OpenedLogs, base_logs: Option<BaseLogs>) -> Result<(ShotLogs, BaseLogs), RunError> {
    let times = stands::needs_times(job, &opened.files, base_logs.as_ref());
    if times {
        opened.files.iter().try_for_each(Log::with_instants)?;
    }
    let shot_logs = ShotLogs::survey(opened, &Wanted { rules, times, stands: base_logs.is_none() })?;
    let base_logs = match base_logs {
        Some(logs) => logs,
        None => BaseLogs::read_stands(local::table_of_stands(&shot_logs.stands), &local::settings_of_stands(job))?,
    };
    Ok((shot_logs, base_logs))
}

impl Prepared<'_> {
    /// What brings azimuths of bases to true north.
    pub fn norths<'n>(&'n self, table: &'n BaseTable) -> Norths<'n> {
        Norths {
            table,
            declinations: &self.declinations,
            free_circles: self.job.has_free_circles(),
            sigma_orientation_rad: self.job.north.sigma_orientation_deg.to_radians(),
        }
    }
}

/// Checks that there is a base at all.
///
/// # Errors
/// When there is none, with what became of the rows.
pub fn check_any_base(table: &BaseTable, base_logs: &BaseLogs, stations: &Stations) -> Result<(), RunError> {
    match table.bases.is_empty() {
        true => Err(RunError::NoBase(Box::new(no_base(base_logs, table, &stations.absent, &stations.notes)))),
        false => Ok(()),
    }
}

/// What became of the rows where there is no base at all.
fn no_base(logs: &BaseLogs, table: &BaseTable, absent: &[(String, String)], notes: &[String]) -> NoBase {
    let held = table.held.first().map(|held| held.fault.sentence.clone());
    let absent = absent.first().map(|(name, why)| format!("base {} has no position: {why}", label(name)));
    NoBase {
        held: table.held.len() as u64,
        read: logs.counts_read(),
        outside: logs.files.iter().map(|file| file.info.counts.outside_occupations).sum(),
        first: held.or(absent),
        notes: notes.to_vec(),
    }
}
