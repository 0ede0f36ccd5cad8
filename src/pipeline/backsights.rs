//! The sights of a job's logs to bases and known points: a pass over the shots of its own, for logs with roles.

use rayon::prelude::*;

use super::RunError;
use super::files::ShotLogs;
use crate::base::{BaseTable, Named};
use crate::frame::full_circle_rad;
use crate::intake::IntakeError;
use crate::intake::columns::Quantity;
use crate::intake::shots::{self, BACKSIGHT, FORESIGHT, ShotRules};
use crate::join::Joiner;
use crate::ledger::Counts;
use crate::locate::Declinations;
use crate::north::NorthKind;
use crate::orientation::KnownSight;

/// The sights, and notes on those whose target is not known.
///
/// # Errors
/// When a header stands in a file again with its columns in another order.
pub fn find(
    logs: &ShotLogs,
    table: &BaseTable,
    joiner: &Joiner,
    rules: &ShotRules,
    declinations: &Declinations,
) -> Result<(Vec<KnownSight>, Vec<String>), RunError> {
    let with_roles = |file: usize| logs.files[file].plan.claim_of(Quantity::Role).is_some();
    let chunks: Vec<_> = logs.chunks().into_iter().filter(|chunk| with_roles(chunk.file)).collect();
    let found = chunks.par_iter().map(|chunk| {
        let log = &logs.files[chunk.file];
        let plan = &log.plan;
        let (rows, faults) = super::block::cut(chunk, plan, &log.text.path, &mut Counts::default())?;
        let (mut sights, mut notes) = (Vec::new(), Vec::new());
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
            let to = match target.and_then(|name| table.by_name.get(name)) {
                Some(Named::Base(index)) if *index != from => *index,
                _ => {
                    notes.push(format!(
                        "{}:{}: the {role} is to {}, which is no other base or known point: it does not orient its base.",
                        log.info.name,
                        row.line.number,
                        target.map_or("nothing that is named".into(), |name| format!("\"{}\"", crate::base::label(name)))
                    ));
                    continue;
                }
            };
            let base = &table.bases[from];
            let turn_rad = match read.north {
                NorthKind::True => Some(0.0),
                NorthKind::Grid => base.grid.map(|grid| grid.convergence_rad),
                NorthKind::Magnetic => declinations
                    .of(from, base, read.when.map(|when| when.date))
                    .ok()
                    .flatten()
                    .map(|declination| declination.declination_rad),
            };
            let Some(turn_rad) = turn_rad else { continue };
            sights.push(KnownSight {
                from,
                to,
                true_azimuth_rad: full_circle_rad(read.azimuth_rad + turn_rad),
                sigma_rad: read.kit.sigma_azimuth_rad,
                orients: role == BACKSIGHT,
            });
        }
        Ok((sights, notes))
    });
    let found = found.collect::<Result<Vec<_>, IntakeError>>()?;
    let (sights, notes): (Vec<_>, Vec<_>) = found.into_iter().unzip();
    Ok((sights.concat(), notes.concat()))
}
