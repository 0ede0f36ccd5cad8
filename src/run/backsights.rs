//! The sights of a job's logs to bases and known points: a pass over the shots of its own, for logs with roles.

use std::collections::HashSet;

use rayon::prelude::*;

use super::RunError;
use crate::geodesy::frame::full_circle_rad;
use crate::geodesy::north::NorthKind;
use crate::intake::IntakeError;
use crate::intake::block::cut;
use crate::intake::columns::Quantity;
use crate::intake::shot_logs::ShotLogs;
use crate::intake::shots::{self, ShotRules};
use crate::output::report::terminal::grouped;
use crate::records::ledger::Counts;
use crate::records::roles::{BACKSIGHT, FORESIGHT};
use crate::shots::audit::row_print;
use crate::shots::locate::Declinations;
use crate::stations::base::{BaseTable, Named};
use crate::stations::join::Joiner;
use crate::stations::orientation::KnownSight;

/// Notes on single sights; the rest is counted.
const NOTES_SHOWN: usize = 10;

/// The sights, and notes on those whose target is not known. Where circles are free their readings are taken as they stand.
///
/// # Errors
/// When a header stands in a file again with its columns in another order.
pub fn find(
    logs: &ShotLogs,
    table: &BaseTable,
    joiner: &Joiner,
    rules: &ShotRules,
    declinations: &Declinations,
    free_circles: bool,
) -> Result<(Vec<KnownSight>, Vec<String>), RunError> {
    let with_roles = |file: usize| logs.files[file].plan.claim_of(Quantity::Role).is_some();
    let chunks: Vec<_> = logs.chunks().into_iter().filter(|chunk| with_roles(chunk.file)).collect();
    let found = chunks.par_iter().map(|chunk| {
        let log = &logs.files[chunk.file];
        let plan = &log.plan;
        let (rows, faults) = cut(chunk, plan, &log.text.path, &mut Counts::default())?;
        let (mut sights, mut notes, mut unknown) = (Vec::new(), Vec::new(), 0u64);
        for (row, fault) in rows.rows().iter().zip(faults) {
            let role = plan.text(Quantity::Role, &rows, row).unwrap_or_default();
            if fault.is_some() || !(role == BACKSIGHT || role == FORESIGHT) {
                continue;
            }
            // What cannot be read is held, with its reason, when the shots are mapped.
            let Ok(read) = shots::read_direction(plan, rules, &rows, row) else { continue };
            let Ok(from) = joiner.base_of(plan, &rows, row, read.when) else { continue };
            let mut joined = String::new();
            let target = plan.name(Quantity::Feature, &rows, row, &mut joined);
            let why = match target.and_then(|name| table.by_name.get(name)) {
                Some(Named::Base(index)) if *index != from => Ok(*index),
                Some(Named::Base(_)) => Err("which is the base itself".to_owned()),
                Some(Named::Several(_) | Named::Ambiguous(_)) => Err("which stands for several positions".to_owned()),
                Some(Named::Held(why) | Named::Absent(why)) => Err(format!("which has no position ({why})")),
                None => Err("which is no other base or known point".to_owned()),
            };
            let to = match why {
                Ok(to) => to,
                Err(why) => {
                    unknown += 1;
                    if notes.len() < NOTES_SHOWN {
                        let target = target
                            .map_or("nothing that is named".into(), |name| format!("\"{}\"", crate::records::names::label(name)));
                        let so =
                            if role == BACKSIGHT { "it does not orient its base" } else { "nothing can be compared with it" };
                        notes.push(format!("{}:{}: the {role} is to {target}, {why}: {so}.", log.info.name, row.line.number));
                    }
                    continue;
                }
            };
            let base = &table.bases[from];
            let turn_rad = match read.north {
                _ if free_circles => Some(0.0),
                NorthKind::True => Some(0.0),
                NorthKind::Grid => base.grid.map(|grid| grid.convergence_rad),
                NorthKind::Magnetic => declinations
                    .of(from, base, read.when.map(|when| when.date))
                    .ok()
                    .flatten()
                    .map(|declination| declination.declination_rad),
            };
            let Some(turn_rad) = turn_rad else { continue };
            // As among the shots, one row twice is one sight where an id or a time tells that it is one row.
            let has_id = plan.name(Quantity::Shot, &rows, row, &mut String::new()).is_some();
            let has_id = has_id || read.when.is_some_and(|when| when.instant.is_some());
            let print = has_id.then(|| row_print(row.line.text.trim()));
            let sight = KnownSight {
                from,
                to,
                true_azimuth_rad: full_circle_rad(read.azimuth_rad + turn_rad),
                sigma_rad: read.kit.sigma_azimuth_rad,
                orients: role == BACKSIGHT,
            };
            sights.push((print, sight));
        }
        Ok((sights, notes, unknown))
    });
    let found = found.collect::<Result<Vec<_>, IntakeError>>()?;
    let (mut sights, mut notes, mut unknown) = (Vec::new(), Vec::new(), 0);
    let mut seen = HashSet::new();
    for (of_block, notes_of_block, unknown_of_block) in found {
        let first = |(print, _): &(Option<u64>, KnownSight)| print.is_none_or(|print| seen.insert(print));
        sights.extend(of_block.into_iter().filter(first).map(|(_, sight)| sight));
        notes.extend(notes_of_block.into_iter().take(NOTES_SHOWN - notes.len()));
        unknown += unknown_of_block;
    }
    if unknown > notes.len() as u64 {
        let rest = grouped(unknown - notes.len() as u64);
        notes.push(format!("And {rest} more sights with the role {BACKSIGHT} or {FORESIGHT} are to no base or known point."));
    }
    Ok((sights, notes))
}
