//! The way through the house: logs → rows → sightings → vectors → points → features → layers.
//!
//! [`run`] takes a job through every stage and hands batches to a [`Sink`] while it computes.
//! Blocks of a log are read and computed in parallel and handed on in the order of the logs, so
//! that the outcome does not depend on the number of threads. Memory: the text of the logs, about
//! 30 bytes a shot for the audit, and a few windows of rows.

mod backsights;
mod base_logs;
pub(crate) mod block;
mod coded;
mod composed;
mod compute;
mod files;
mod gathered;
mod geoids;
mod network;
mod records;
mod repeated;
mod sighting;
mod stations;

use std::collections::BTreeMap;
use std::sync::mpsc::sync_channel;

use rayon::prelude::*;

use crate::geodesy::crs::{Crs, CrsError, Operation, Rules};
use crate::intake::IntakeError;
use crate::intake::columns::Quantity;
use crate::intake::shots::ShotRules;
use crate::job::{Job, JobError, LayerName};
use crate::output::columns::{Batch, Layer, LayerKey};
use crate::output::layers;
use crate::output::report::stations::Station;
use crate::output::report::summary::GeoidSummary;
use crate::records::ledger::{Counts, Entry, Outcome};
use crate::shots::audit::{Audit, Auditor};
use crate::shots::locate::{Declinations, Locator};
use crate::stations::base::{self, BaseTable, Settings};
use crate::stations::join::Joiner;
use crate::stations::orientation;
use base_logs::BaseLogs;
use block::{Chunk, Parsed};
use coded::Coded;
pub use files::InputFile;

/// Bytes of text that are read as one.
const BLOCK_BYTES: usize = 128 * 1024;
/// Blocks that are computed together.
const WINDOW_BLOCKS: usize = 8;
/// Windows that may wait for the writer.
const WINDOWS_WAITING: usize = 2;

/// What can end a run.
#[derive(Debug, thiserror::Error)]
pub enum RunError {
    /// A log cannot be used.
    #[error(transparent)]
    Intake(#[from] IntakeError),
    /// A CRS cannot be used.
    #[error("{what}: {source}")]
    Crs {
        /// The key of the job.
        what: &'static str,
        /// Why.
        source: CrsError,
    },
    /// The output cannot be written.
    #[error(transparent)]
    Write(#[from] crate::output::write::WriteError),
    /// The catalogue cannot be used.
    #[error(transparent)]
    Catalogue(#[from] JobError),
    /// Nothing to map.
    #[error("{0}")]
    Nothing(String),
}

/// What is known before the first record is written.
pub struct Setup<'j> {
    /// The job.
    pub job: &'j Job,
    /// The CRS of the layers.
    pub crs: &'j Crs,
    /// The layers wanted, with all their fields.
    pub layers: Vec<Layer>,
    /// What may be used between datums.
    pub rules: Rules,
    /// Whether any record can have a height: without one, layers have two dimensions.
    pub has_z: bool,
}

/// Takes the records of a run.
pub trait Sink: Send {
    /// Called once, before anything else.
    ///
    /// # Errors
    /// When the output cannot be begun.
    fn begin(&mut self, setup: &Setup) -> Result<(), crate::output::write::WriteError>;

    /// Takes records of a layer, in order.
    ///
    /// # Errors
    /// When they cannot be written.
    fn write(&mut self, layer: LayerKey, batch: &Batch) -> Result<(), crate::output::write::WriteError>;

    /// Takes a row that was held.
    ///
    /// # Errors
    /// When it cannot be written.
    fn held(&mut self, file: &str, entry: &Entry) -> Result<(), crate::output::write::WriteError>;
}

/// What became of a run.
#[derive(Debug)]
pub struct Account {
    /// The input files with their counts, bases first.
    pub files: Vec<InputFile>,
    /// Counts of all shot logs together.
    pub shots: Counts,
    /// Counts of all base logs together.
    pub bases: Counts,
    /// Operations used between datums and for heights.
    pub operations: Vec<Operation>,
    /// Magnetic models used.
    pub magnetic_models: Vec<&'static str>,
    /// The geoids used.
    pub geoids: Vec<GeoidSummary>,
    /// What came of the network, in sentences; empty without one.
    pub network: Vec<String>,
    /// Each base and what became of it.
    pub stations: Vec<Station>,
    /// What the third coordinate of the layers is.
    pub third: String,
    /// The CRS of the layers.
    pub crs: String,
    /// Assumptions and warnings for the person, in sentences.
    pub notes: Vec<String>,
}

impl Account {
    /// Rows held, of bases and of shots.
    pub fn held_total(&self) -> u64 {
        self.shots.held_total() + self.bases.held_total()
    }
}

/// Takes what is settled behind the stream.
struct Behind<'r> {
    sink: &'r mut dyn Sink,
    names: &'r [&'r str],
    wants_ledger: bool,
    counts: &'r mut [Counts],
    shots_of_base: &'r mut [u64],
    unknown_codes: &'r mut BTreeMap<String, u64>,
}

impl Behind<'_> {
    fn take(
        &mut self,
        batches: Vec<(LayerKey, Batch)>,
        entries: &[Entry],
        counts: BTreeMap<usize, Counts>,
        shots_of_base: BTreeMap<usize, u64>,
        unknown_codes: BTreeMap<String, u64>,
    ) -> Result<(), RunError> {
        for (layer, batch) in &batches {
            self.sink.write(*layer, batch)?;
        }
        if self.wants_ledger && !entries.is_empty() {
            let records: Vec<layers::ledger::Record> =
                entries.iter().map(|entry| layers::ledger::Record::Row(self.names[entry.file], false, entry)).collect();
            self.sink.write(LayerName::Ledger.into(), &compute::ledger_batch(&records))?;
        }
        counts.iter().for_each(|(file, of_file)| self.counts[*file].add(of_file));
        shots_of_base.iter().for_each(|(base, shots)| self.shots_of_base[*base] += shots);
        unknown_codes.into_iter().for_each(|(code, rows)| *self.unknown_codes.entry(code).or_default() += rows);
        Ok(())
    }
}

/// A window of computed blocks, for the writer.
type Window = Vec<compute::Computed>;

/// Runs a job.
///
/// `progress` is told how many bytes of the shot logs there are and how many are done.
///
/// # Errors
/// See [`RunError`]. Rows that cannot be used are no errors: they are held.
pub fn run(job: &Job, sink: &mut dyn Sink, progress: &(dyn Fn(u64, u64) + Sync)) -> Result<Account, RunError> {
    let crs_error = |what: &'static str| move |source: CrsError| RunError::Crs { what, source };
    let output = Crs::new(&job.crs).map_err(crs_error("crs"))?;
    let grid = job.north.grid_crs.as_deref().map(Crs::new).transpose().map_err(crs_error("north.grid_crs"))?;
    let rules = Rules { ballpark: job.allow_ballpark, missing_grids: job.allow_missing_grids };

    let catalogue = coded::load(job, &output)?;

    let mut base_logs = BaseLogs::read(&job.bases, job.known.as_ref(), job.heights.antenna_height_m)?;
    let shot_logs = files::ShotLogs::read(&job.shots, &layers::features::layer("", Vec::new()).fields)?;
    let stations = stations::find(job, &mut base_logs, &shot_logs)?;
    let geoid = geoids::of(job, &stations.rows)?;
    let settings =
        Settings { bases: &job.bases, checks: &job.checks, output: &output, grid: grid.as_ref(), rules, geoid: &geoid };
    let mut table = BaseTable::settle(stations.rows, stations.held, &settings).map_err(crs_error("bases.crs"))?;
    table.assumed = (table.assumed.0 || stations.assumed.0, table.assumed.1 || stations.assumed.1);
    let check_any_base = |table: &BaseTable| match table.bases.is_empty() {
        true => Err(RunError::Nothing(no_base(&base_logs, table, &stations.absent, &stations.notes))),
        false => Ok(()),
    };
    check_any_base(&table)?;
    table.note_absent(&stations.absent);
    table.empty_windows.clone_from(&stations.empty);
    let outside_grid = geoids::outside_grid(job, &table)?;
    let locator = Locator::new(&table, &output, &job.heights, rules, &geoid).map_err(|source| {
        // PROJ finds nothing where no base lies: then the place is what is wrong.
        let is_lost = matches!(source, CrsError::NoOperation { .. } | CrsError::BallparkOnly { .. });
        match notes::all_outside(&table, &output).filter(|_| is_lost) {
            Some(why) => RunError::Nothing(why),
            None => RunError::Crs { what: "crs", source },
        }
    })?;
    let declinations = Declinations::new(&job.north);
    let shot_rules =
        ShotRules::new(job.instrument.as_ref(), &job.instruments, &job.heights, &job.checks).with_catalogue(catalogue.clone());
    let placed = compute::place_bases(&table, &locator).map_err(crs_error("crs"))?;
    table.hold_where(|index| (!placed[index].is_there()).then(compute::not_projected));
    check_any_base(&table)?;
    let network_needs = network::Needs {
        logs: &shot_logs,
        rules: &shot_rules,
        declinations: &declinations,
        catalogue: catalogue.as_deref(),
        grid: grid.as_ref().unwrap_or(&output),
        names_grid: grid.is_some(),
        geoid: &geoid,
    };
    let adjusted = network::adjust(job, &mut table, &network_needs)?;
    // The network moves bases, and adds some.
    let placed = compute::place_bases(&table, &locator).map_err(crs_error("crs"))?;
    let (sights, backsight_notes) =
        backsights::find(&shot_logs, &table, &Joiner::new(&table, &job.join), &shot_rules, &declinations)?;
    let mut orientations = orientation::orientations(&table, &sights);
    if let Some(adjusted) = &adjusted {
        // What the network says of a base's azimuths holds its backsights too.
        adjusted.orientations.iter().for_each(|(base, orientation)| orientations[*base] = Some(*orientation));
    }
    let lines = orientation::fore_and_back(&table, &sights);
    for (base, flag) in orientation::local_attraction(&lines, job.north.fore_back_limit_deg.to_radians()) {
        table.bases[base].flags.raise(flag);
    }
    for base in &mut table.bases {
        base.sigma_datum_m = base.sigma_datum_m.hypot(locator.accuracy_m(base.datum));
    }
    let third = locator.third().words();
    let table = table;
    let joiner = Joiner::new(&table, &job.join);
    let coded = catalogue.map(|catalogue| Coded::new(catalogue, &shot_logs.carried));
    let has_coarse = coded.as_ref().is_some_and(|coded| coded.catalogue.has_coarse());
    let (none_repeated, no_rows) = Default::default();
    let stage = compute::Stage {
        joiner: &joiner,
        orientations: &orientations,
        table: &table,
        logs: &shot_logs,
        locator: &locator,
        declinations: &declinations,
        instrument_height_m: job.heights.instrument_height_m,
        placed_bases: placed,
        projected: output.kind() == crate::geodesy::crs::Kind::Projected,
        grid_unit_m: output.unit_factor(),
        sigma_orientation_rad: job.north.sigma_orientation_deg.to_radians(),
        network_rows: adjusted.as_ref().map_or(&no_rows, |adjusted| &adjusted.rows),
        repeated: if job.checks.combine_repeats { &shot_logs.repeated } else { &none_repeated },
        coded: coded.as_ref(),
        has_coarse,
        wanted: &job.layers,
    };

    let mut described = layers::all(&third);
    for layer in &mut described {
        match layer.key {
            LayerKey::Own(LayerName::Features) => {
                layer.fields.extend(shot_logs.carried.iter().map(|carried| carried.field.clone()))
            }
            LayerKey::Own(LayerName::Bases) if !has_coarse => {
                layer.fields.extend(base_logs.carried.iter().map(|carried| carried.field.clone()))
            }
            _ => {}
        }
    }
    let claims = |quantity| shot_logs.files.iter().any(|file| file.plan.claim_of(quantity).is_some());
    let (composes, strings) = (claims(Quantity::Measure), claims(Quantity::String));
    described.retain(|layer| {
        // Layers that no row can fill are not written.
        let LayerKey::Own(name) = layer.key else { return true };
        let may_fill = match name {
            LayerName::Lines | LayerName::Areas => composes || strings,
            // What has uncertainties of points, or ends at the places that are withheld, tells where the crew stood.
            LayerName::Vertices => strings && !has_coarse,
            LayerName::Parts | LayerName::Profiles => composes && !has_coarse,
            LayerName::Measurements => composes,
            LayerName::Adjusted | LayerName::Residuals => adjusted.is_some() && !has_coarse,
            LayerName::SightLines | LayerName::Ellipses => !has_coarse,
            _ => true,
        };
        may_fill && job.layers.contains(&name)
    });
    if let Some(coded) = stage.coded.filter(|_| job.layers.contains(&LayerName::Features)) {
        described.splice(1..1, coded.layers(&third, &shot_logs.carried));
    }
    let has_z = stage.placed_bases.iter().any(|base| base.z.is_some());
    sink.begin(&Setup { job, crs: &output, layers: described, rules, has_z })?;

    let names: Vec<&str> = shot_logs.files.iter().map(|file| file.info.name.as_str()).collect();
    let mut counts: Vec<Counts> = shot_logs.files.iter().map(files::Log::counts_above).collect();
    let mut shots_of_base = vec![0u64; table.bases.len()];
    let mut collected = Vec::new();
    let mut waiting = Vec::new();
    let mut audited = BTreeMap::new();
    let mut unknown_codes: BTreeMap<String, u64> = BTreeMap::new();
    let mut base_counts = base_logs.counts(&table);
    write_bases_held(sink, &base_logs, &table, job.layers.contains(&LayerName::Ledger), has_coarse)?;

    // The writer has a thread of its own; a failure there ends the computation at the next window.
    let (sender, receiver) = sync_channel::<Window>(WINDOWS_WAITING);
    std::thread::scope(|scope| -> Result<(), RunError> {
        let sink = &mut *sink;
        let (names, wants_ledger) = (&names, job.layers.contains(&LayerName::Ledger));
        let writer = scope.spawn(move || -> Result<(), RunError> {
            for window in receiver {
                write_window(sink, names, window, wants_ledger)?;
            }
            Ok(())
        });
        let computed = compute_all(&stage, &shot_rules, job.checks.azimuth_repeats, progress, |mut window| {
            for block in &mut window {
                collected.append(&mut block.collected);
                waiting.append(&mut block.waiting);
                audited.extend(block.network_flags.drain(..));
                block.unknown_codes.iter().for_each(|(code, rows)| *unknown_codes.entry(code.clone()).or_default() += rows);
                counts[block.file].add(&block.counts);
                block.shots_of_base.iter().for_each(|(base, shots)| shots_of_base[*base] += shots);
            }
            sender.send(window).is_ok()
        });
        drop(sender);
        let written = match writer.join() {
            Ok(written) => written,
            Err(panic) => std::panic::resume_unwind(panic),
        };
        written.and(computed)
    })?;

    let mut behind = Behind {
        sink: &mut *sink,
        names: &names,
        wants_ledger: job.layers.contains(&LayerName::Ledger),
        counts: &mut counts,
        shots_of_base: &mut shots_of_base,
        unknown_codes: &mut unknown_codes,
    };
    if let Some(adjusted) = &adjusted {
        let settled = network::settle(&stage, adjusted, &audited).map_err(crs_error("crs"))?;
        behind.take(settled.batches, &settled.entries, settled.counts, settled.shots_of_base, settled.unknown_codes)?;
    }
    let repeats = repeated::settle(&stage, &waiting, job.checks.combine_repeats).map_err(crs_error("crs"))?;
    behind.take(repeats.batches, &repeats.entries, repeats.counts, repeats.shots_of_base, repeats.unknown_codes)?;
    let mut finished = composed::finish(&stage, collected, job).map_err(crs_error("crs"))?;
    if has_coarse {
        finished.held.iter_mut().for_each(Entry::withhold);
    }
    for (layer, batch) in &finished.batches {
        sink.write(*layer, batch)?;
    }
    for entry in &finished.held {
        sink.held(names[entry.file], entry)?;
        if let Outcome::Held(fault) = &entry.outcome {
            counts[entry.file].hold(fault.reason);
        }
    }
    if job.layers.contains(&LayerName::Ledger) && !finished.held.is_empty() {
        let records: Vec<layers::ledger::Record> =
            finished.held.iter().map(|entry| layers::ledger::Record::Row(names[entry.file], false, entry)).collect();
        sink.write(LayerName::Ledger.into(), &compute::ledger_batch(&records))?;
    }
    for (file, rows) in &finished.composed {
        counts[*file].composed += rows;
    }
    if job.layers.contains(&LayerName::Bases) {
        let batch = compute::bases_batch(&stage, &shots_of_base, &base_logs);
        sink.write(LayerName::Bases.into(), &batch)?;
    }
    let mut files = Vec::new();
    for (info, counts) in base_logs.files.iter().map(|file| &file.info).zip(base_counts.drain(..)) {
        files.push(InputFile { counts, ..info.clone() });
    }
    for (file, counts) in shot_logs.files.iter().zip(counts) {
        files.push(InputFile { counts, ..file.info.clone() });
    }
    if job.layers.contains(&LayerName::Ledger) {
        let records: Vec<layers::ledger::Record> =
            files.iter().map(|file| layers::ledger::Record::File(&file.name, file.is_bases, &file.counts)).collect();
        sink.write(LayerName::Ledger.into(), &compute::ledger_batch(&records))?;
    }
    let total = |bases: bool| {
        let mut sum = Counts::default();
        files.iter().filter(|file| file.is_bases == bases).for_each(|file| sum.add(&file.counts));
        sum
    };
    let (shots, bases) = (total(false), total(true));
    let mut operations = table.operations.clone();
    operations.extend(locator.operations());
    operations.dedup();
    let mut notes = notes::of(job, &table, &shot_logs, &shots, &operations);
    notes.extend(outside_grid);
    notes.extend(stations.notes);
    notes.extend(backsight_notes);
    notes.extend(repeats.notes);
    notes.extend(finished.notes);
    notes.extend(stage.coded.and_then(|coded| coded.unknown_note(&unknown_codes)));
    notes.extend(stage.coded.and_then(Coded::coarse_note));
    notes.extend(notes::fore_and_back(&table, &lines, job.north.fore_back_limit_deg));
    Ok(Account {
        shots,
        bases,
        operations,
        magnetic_models: declinations.models(),
        geoids: geoids::used(&geoid, &table),
        network: adjusted.as_ref().map(|adjusted| adjusted.report.clone()).unwrap_or_default(),
        stations: stations_of(&stage, &base_logs, &shots_of_base),
        third,
        crs: output.label(),
        notes,
        files,
    })
}

mod notes;

/// Why there is no base at all.
fn no_base(logs: &BaseLogs, table: &BaseTable, absent: &[(String, String)], notes: &[String]) -> String {
    let held = table.held.first().map(|held| held.fault.sentence.clone());
    let absent = absent.first().map(|(name, why)| format!("base {} has no position: {why}", base::label(name)));
    let why = held.or(absent).map(|why| format!("; the first: {why}")).unwrap_or_default();
    let outside: u64 = logs.files.iter().map(|file| file.info.counts.outside_occupations).sum();
    let outside = if outside > 0 { format!(", {outside} lie outside every occupation") } else { String::new() };
    let notes: String = notes.iter().map(|note| format!(". {note}")).collect();
    let (held, read) = (table.held.len(), logs.counts_read());
    format!("no base can be used: {held} of {read} rows were held{outside}{why}{notes}")
}

/// Each base and what became of it.
fn stations_of(stage: &compute::Stage, logs: &BaseLogs, shots: &[u64]) -> Vec<Station> {
    let mut declinations = stage.declinations.by_base();
    let bases = stage.table.bases.iter().enumerate();
    bases
        .map(|(index, base)| Station {
            base: base.clone(),
            placed: stage.placed_bases[index],
            file: logs.files[base.row.file].info.name.clone(),
            orientation: stage.orientations[index],
            fixed_declination: stage.declinations.fixed(),
            declinations: declinations.remove(&index).unwrap_or_default(),
            shots: shots[index],
        })
        .collect()
}

/// Reads, audits and computes all windows; stops where `hand_on` says that nobody takes them.
fn compute_all(
    stage: &compute::Stage,
    rules: &ShotRules,
    azimuth_repeats: u32,
    progress: &(dyn Fn(u64, u64) + Sync),
    mut hand_on: impl FnMut(Window) -> bool,
) -> Result<(), RunError> {
    let chunks = stage.logs.chunks();
    let total: u64 = chunks.iter().map(|chunk| chunk.text.len() as u64).sum();
    let mut done = 0;
    let mut auditor = Auditor::new(azimuth_repeats);
    let mut windows = chunks.chunks(WINDOW_BLOCKS);
    let mut read_next = || windows.next().map(|chunks| parse(chunks, stage, rules)).transpose();
    let (mut now, mut ahead) = (read_next()?, read_next()?);
    while let Some(mut window) = now {
        {
            let next = ahead.iter().flatten().flat_map(|parsed| parsed.rows_read.iter());
            let mut rows: Vec<&mut [Audit]> = window.iter_mut().map(|parsed| parsed.rows_read.as_mut_slice()).collect();
            auditor.window(&mut rows, next);
        }
        done += window.iter().map(|parsed| parsed.bytes).sum::<u64>();
        let compute = || window.par_iter().map(|parsed| stage.compute(parsed)).collect::<Result<Vec<_>, CrsError>>();
        // While one window is computed, the one after the next is read.
        let (computed, after) = rayon::join(compute, &mut read_next);
        let computed = computed.map_err(|source| RunError::Crs { what: "crs", source })?;
        progress(done, total);
        if !hand_on(computed) {
            return Ok(());
        }
        now = ahead;
        ahead = after?;
    }
    Ok(())
}

/// Reads the blocks of a window.
fn parse<'t>(chunks: &[Chunk<'t>], stage: &compute::Stage, rules: &ShotRules) -> Result<Vec<Parsed<'t>>, RunError> {
    let parsed = chunks.par_iter().map(|chunk| block::parse(chunk, stage.joiner, stage.logs, rules));
    Ok(parsed.collect::<Result<Vec<_>, IntakeError>>()?)
}

fn write_window(sink: &mut dyn Sink, names: &[&str], window: Window, wants_ledger: bool) -> Result<(), RunError> {
    for block in window {
        for (layer, batch) in &block.batches {
            sink.write(*layer, batch)?;
        }
        for entry in &block.entries {
            if matches!(entry.outcome, Outcome::Held(_)) {
                sink.held(names[block.file], entry)?;
            }
        }
        if wants_ledger && !block.entries.is_empty() {
            let records: Vec<layers::ledger::Record> =
                block.entries.iter().map(|entry| layers::ledger::Record::Row(names[block.file], false, entry)).collect();
            sink.write(LayerName::Ledger.into(), &compute::ledger_batch(&records))?;
        }
    }
    Ok(())
}

/// The base rows that were held or flagged, before the shots.
fn write_bases_held(
    sink: &mut dyn Sink,
    logs: &BaseLogs,
    table: &BaseTable,
    wants_ledger: bool,
    withhold: bool,
) -> Result<(), RunError> {
    let mut entries = base_logs::base_entries(table);
    if withhold {
        entries.iter_mut().for_each(Entry::withhold);
    }
    for entry in &entries {
        if matches!(entry.outcome, Outcome::Held(_)) {
            sink.held(&logs.files[entry.file].info.name, entry)?;
        }
    }
    if wants_ledger && !entries.is_empty() {
        let records: Vec<layers::ledger::Record> =
            entries.iter().map(|entry| layers::ledger::Record::Row(&logs.files[entry.file].info.name, true, entry)).collect();
        sink.write(LayerName::Ledger.into(), &compute::ledger_batch(&records))?;
    }
    Ok(())
}
