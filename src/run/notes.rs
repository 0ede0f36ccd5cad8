//! What a person must know about a run beside its counts: assumptions made and warnings, in sentences.

use super::error::{OutsideClue, RunError};
use crate::geodesy::crs::Crs;
use crate::intake::shot_logs::ShotLogs;
use crate::job::{Declination, Instrument, Job};
use crate::numeric::words::{capital, of_all};
use crate::output::report::used::OperationUse;
use crate::records::kit::{ASSUMED_SIGMA_AZIMUTH_DEG, ASSUMED_SIGMA_DISTANCE_M, ASSUMED_SIGMA_INCLINATION_DEG};
use crate::records::ledger::{Counts, Flag, Reason};
use crate::shots::locate::ASSUMED_SIGMA_DECLINATION_DEG;
use crate::stations::base::{self, BaseTable};
use crate::stations::orientation::ForeBack;
use crate::units::Units;

/// The notes of a run.
pub fn collect(job: &Job, table: &BaseTable, logs: &ShotLogs, shots: &Counts, operations: &[OperationUse]) -> Vec<String> {
    let mut notes = Vec::new();
    assumed_sigmas(job, table, &mut notes);
    area(table, &mut notes);
    heights(table, &mut notes);
    north(job, logs, &mut notes);
    let suspects =
        shots.held.get(&Reason::InclinationRange).copied().unwrap_or(0) + shots.flags.get(&Flag::Steep).copied().unwrap_or(0);
    let angle = job.units.angle();
    let right = angle.given(90.0);
    if suspects >= 5 && 2 * suspects > shots.read {
        notes.push(
            format!(
                "Most inclinations lie near {right} {} or beyond: if the instrument shows zenith angles ({right} is level), claim the column \
                 as zenith_deg.",
                angle.words
            ),
        );
    }
    let length = job.units.length();
    for used in operations {
        let operation = &used.operation;
        let accuracy = match operation.accuracy_m {
            Some(0.0) => continue,
            Some(metres) if operation.null_within_accuracy => format!(
                "moves nothing: the two datums are taken as one, and may differ by about {}. Name the exact frame of the bases, \
                 with its epoch, to do better. The {} are in the standard errors of the features",
                length.told(metres),
                length.told(metres)
            ),
            Some(metres) => {
                format!("is good to {}, which is in the standard errors of the features", length.told(metres))
            }
            None => "has no published accuracy; the standard errors of the features do not hold it".into(),
        };
        let null = if operation.ballpark { " (a null transformation)" } else { "" };
        let passed = operation.passed_over.as_ref().map(|passed| format!(" It stands in for {passed}.")).unwrap_or_default();
        let serves = match table.bases.len() as u64 {
            all if used.bases < all => {
                let more = if used.bases > used.base_names.len() as u64 { " …" } else { "" };
                format!(" It serves {} of {all} bases, by their place: {}{more}.", used.bases, used.base_names.join(", "))
            }
            _ => String::new(),
        };
        notes.push(format!(
            "The transformation from {} to {} ({}{null}) {accuracy}.{passed}{serves}",
            operation.from, operation.to, operation.name
        ));
    }
    notes
}

fn assumed_sigmas(job: &Job, table: &BaseTable, notes: &mut Vec<String>) {
    if table.assumed.0 {
        notes.push(format!(
            "The standard error of base positions is not stated; {} is assumed. Write sigma_horizontal_m under [bases] or give the column.",
            job.units.length().told(base::ASSUMED_SIGMA_HORIZONTAL_M)
        ));
    }
    if table.assumed.1 {
        notes.push(format!(
            "The standard error of base heights is not stated; {} is assumed. Write sigma_vertical_m under [bases] or give the column.",
            job.units.length().told(base::ASSUMED_SIGMA_VERTICAL_M)
        ));
    }
    let none = Instrument::default();
    let kits: Vec<&Instrument> = match &job.instrument {
        Some(one) => vec![one],
        None if job.instruments.is_empty() => vec![&none],
        None => job.instruments.values().collect(),
    };
    let missing = |get: fn(&Instrument) -> Option<f64>| kits.iter().any(|kit| get(kit).is_none());
    let mut assumed = Vec::new();
    if missing(|kit| kit.sigma_distance_m) {
        assumed.push(format!("sigma_distance_m = {ASSUMED_SIGMA_DISTANCE_M}"));
    }
    if missing(|kit| kit.sigma_azimuth_deg) {
        assumed.push(format!("sigma_azimuth_deg = {ASSUMED_SIGMA_AZIMUTH_DEG}"));
    }
    if missing(|kit| kit.sigma_inclination_deg) {
        assumed.push(format!("sigma_inclination_deg = {ASSUMED_SIGMA_INCLINATION_DEG}"));
    }
    if !assumed.is_empty() {
        notes.push(format!(
            "The job does not state the instrument's standard errors; assumed: {}. Write them under [instrument].",
            assumed.join(", ")
        ));
    }
}

fn area(table: &BaseTable, notes: &mut Vec<String>) {
    let outside = table.bases.iter().filter(|base| base.flags.has(Flag::OutsideArea)).count();
    if outside > 0 {
        notes.push(format!(
            "WARNING: {} outside the area that the job or the CRS of the layers is meant for. Is the CRS right, and are latitude and \
             longitude?",
            of_all(outside as u64, table.bases.len() as u64, ["base", "bases"], ["lies", "lie"])
        ));
    }
}

/// What is wrong where no base lies in the area that the CRS of the layers is meant for.
pub fn all_outside(table: &BaseTable, output: &Crs) -> Option<RunError> {
    let first = table.bases.first()?;
    if !table.bases.iter().all(|base| base.flags.has(Flag::OutsideArea)) {
        return None;
    }
    let clue = match () {
        () if first.flags.has(Flag::MaybeSwapped) => OutsideClue::Swapped,
        () if first.flags.has(Flag::MaybeSignLost) => OutsideClue::SignLost,
        () => OutsideClue::None,
    };
    Some(RunError::AllOutside {
        crs: output.label(),
        base: first.label.clone(),
        lat_deg: first.at.lat_rad.to_degrees(),
        lon_deg: first.at.lon_rad.to_degrees(),
        clue,
    })
}

fn heights(table: &BaseTable, notes: &mut Vec<String>) {
    let without = table.bases.iter().filter(|base| base.row.height.is_none()).count();
    if without > 0 {
        notes.push(format!(
            "{} no height: {} features are mapped without heights, at the ellipsoid's level.",
            capital(&of_all(without as u64, table.bases.len() as u64, ["base", "bases"], ["has", "have"])),
            if without == 1 { "its" } else { "their" }
        ));
    }
}

/// Notes on lines whose fore and back azimuths disagree.
pub fn fore_and_back(table: &BaseTable, lines: &[ForeBack], limit_deg: f64, units: &Units) -> Vec<String> {
    let angle = units.angle();
    let words = angle.words;
    let wide = lines.iter().filter(|line| line.misfit_rad.to_degrees().abs() > limit_deg);
    wide.map(|line| {
        let (a, b) = (&table.bases[line.ends.0], &table.bases[line.ends.1]);
        let which = match (a.flags.has(Flag::LocalAttraction), b.flags.has(Flag::LocalAttraction)) {
            (true, false) => format!("another line tells that it is {}", a.label),
            (false, true) => format!("another line tells that it is {}", b.label),
            _ => "a sight from either to a third base would tell which".into(),
        };
        format!(
            "Fore and back azimuth between {} and {} miss {} {words} by {:+.1} {words} (limit {}): the compass is \
             disturbed at one of them; {which}.",
            a.label,
            b.label,
            angle.given(180.0),
            angle.value(line.misfit_rad.to_degrees()),
            angle.given(limit_deg)
        )
    })
    .collect()
}

fn north(job: &Job, logs: &ShotLogs, notes: &mut Vec<String>) {
    let magnetic = logs.files.iter().any(|log| log.has_magnetic_azimuths());
    if let (true, Declination::Degrees(degrees), None) = (magnetic, job.north.declination, job.north.sigma_declination_deg) {
        let angle = job.units.angle();
        let words = angle.words;
        notes.push(format!(
            "The declination is fixed at {} {words}, east positive, without a standard error; {} {words} is assumed. Write \
             sigma_declination_deg under [north].",
            angle.given(degrees),
            angle.given(ASSUMED_SIGMA_DECLINATION_DEG)
        ));
    }
}
