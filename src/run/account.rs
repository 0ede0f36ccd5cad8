//! The last step of a run: the bases with what became of them, the ledger's totals, the account.

use super::adjust::Adjusted;
use super::batches;
use super::datums::Steps;
use super::prepare::Prepared;
use super::stage::Stage;
use super::tally::Tally;
use super::{RunError, base_entries, geoids, local, notes, shared};
use crate::intake::base_logs::BaseLogs;
use crate::intake::log::InputFile;
use crate::job::LayerName;
use crate::output::contract::{Account, Sink};
use crate::output::layers::ledger::LedgerRecord;
use crate::output::report::bases::BaseReport;
use crate::output::report::sources::UncertaintySources;
use crate::records::ledger::Counts;

/// Ends the layers and makes the account.
///
/// # Errors
/// When the output cannot be written.
pub fn account(
    prepared: &Prepared,
    adjusted: &Adjusted,
    stage: &Stage,
    tally: Tally,
    settled: Vec<String>,
    sink: &mut dyn Sink,
) -> Result<Account, RunError> {
    let Prepared { job, base_logs, shot_logs, .. } = prepared;
    let table = stage.table;
    if job.layers.contains(&LayerName::Bases) {
        sink.write(LayerName::Bases.into(), batches::bases_batch(stage, &tally.shots_of_base, base_logs))?;
    }
    let base_files =
        base_logs.files.iter().map(|file| &file.info).zip(base_entries::counts(base_logs, table)).filter(|_| !job.has_no_bases());
    let shot_files = shot_logs.files.iter().map(|file| &file.info).zip(tally.counts);
    let files: Vec<InputFile> = base_files.chain(shot_files).map(|(info, counts)| InputFile { counts, ..info.clone() }).collect();
    if tally.wants_ledger {
        let records: Vec<LedgerRecord> =
            files.iter().map(|file| LedgerRecord::File(&file.name, file.is_bases, &file.counts)).collect();
        sink.write(LayerName::Ledger.into(), batches::ledger_batch(&records))?;
    }
    let total = |bases: bool| {
        let mut sum = Counts::default();
        files.iter().filter(|file| file.is_bases == bases).for_each(|file| sum.add(&file.counts));
        sum
    };
    let (shots, bases) = (total(false), total(true));
    let mut notes = notes::collect(job, table, shot_logs, &shots, &adjusted.steps.uses);
    notes.extend(stage.coded.and_then(|coded| coded.unknown_note(&tally.unknown_codes)));
    let notes_on_settings = notes.len();
    notes.extend(prepared.outside_grid.clone());
    notes.extend(local::notes(job));
    notes.extend(base_logs.told.iter().cloned());
    notes.extend(shot_logs.files.iter().flat_map(|log| log.told.iter().cloned()));
    notes.extend(prepared.stations.notes.iter().cloned());
    notes.extend(adjusted.backsight_notes.iter().cloned());
    notes.extend(settled);
    notes.extend(adjusted.both_ends_notes.iter().cloned());
    let names = shared::ErrorNames::new(prepared, adjusted, stage);
    Ok(Account {
        shots,
        bases,
        measurements: tally.measurements,
        strings: tally.strings,
        things: tally.things,
        bases_used: table.bases.iter().filter(|base| !base.from_network).count() as u64,
        bases_placed: table.bases.iter().filter(|base| base.from_network).count() as u64,
        is_adjusted: adjusted.network.as_ref().is_some_and(|network| network.has_placed()),
        operations: adjusted.steps.uses.clone(),
        uncertainty_sources: UncertaintySources::from(&tally.sources),
        shared_errors: names.bases(&tally.shares),
        shared_arms: names.arms(&tally.arms),
        magnetic_models: prepared.declinations.models(),
        geoids: geoids::used(&prepared.geoid, table),
        network: adjusted.network.as_ref().map(|network| network.report.clone()),
        local_fit: None,
        stations: match job.has_no_bases() {
            true => Vec::new(),
            false => stations_of(stage, base_logs, &tally.shots_of_base, &adjusted.steps),
        },
        third: adjusted.third(prepared),
        crs: if job.has_no_bases() { "none: the job has no bases".to_owned() } else { prepared.output.label() },
        notes,
        notes_on_settings,
        files,
    })
}

/// Each base and what became of it.
fn stations_of(stage: &Stage, logs: &BaseLogs, shots: &[u64], steps: &Steps) -> Vec<BaseReport> {
    let mut declinations = stage.norths.declinations.by_base();
    let bases = stage.table.bases.iter().enumerate();
    bases
        .map(|(index, base)| BaseReport {
            base: base.clone(),
            placed: stage.placed_bases[index],
            file: logs.files[base.row.file].info.name.clone(),
            orientation: stage.orientations[index],
            datum_steps: steps.of_base(index),
            fixed_declination: stage.norths.declinations.fixed(),
            declinations: declinations.remove(&index).unwrap_or_default(),
            shots: shots[index],
        })
        .collect()
}
