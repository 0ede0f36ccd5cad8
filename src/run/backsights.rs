//! The sights of a job's logs to bases and known points.

use std::collections::HashSet;

use crate::geodesy::north::NorthKind;
use crate::intake::shot_logs::ShotLogs;
use crate::numeric::words::counted;
use crate::records::names::label;
use crate::records::roles::{BACKSIGHT, FORESIGHT};
use crate::records::shot::KeptShot;
use crate::shots::north::Norths;
use crate::shots::sighting::TrueAzimuth;
use crate::stations::base::{BaseTable, Named};
use crate::stations::join::Joiner;
use crate::stations::orientation::KnownSight;

/// Notes on single sights; the rest is counted.
const NOTES_SHOWN: usize = 10;

/// The sights, and notes on those whose target is not known. Where circles are free their readings are taken as they stand.
pub fn find(logs: &ShotLogs, norths: &Norths, joiner: &Joiner) -> (Vec<KnownSight>, Vec<String>) {
    let (mut sights, mut notes, mut unknown, mut recent) = (Vec::new(), Vec::new(), 0u64, None);
    // As among the shots, one row twice is one sight where an id or a time tells that it is one row.
    let mut seen = HashSet::new();
    for shot in &logs.sights {
        let readings = &shot.read.readings;
        // What cannot be read is held, with its reason, when the shots are mapped.
        let Some((kind, azimuth_rad)) = readings.bearing() else { continue };
        let Ok(from) = joiner.find(shot.base.as_deref(), readings.when, shot.log_names_bases) else { continue };
        let is_backsight = shot.role.as_deref() == Some(BACKSIGHT);
        let to = match target(shot, from, norths.table) {
            Ok(to) => to,
            Err(why) => {
                unknown += 1;
                if notes.len() < NOTES_SHOWN {
                    let target = shot.feature_key.as_deref();
                    let target = target.map_or("nothing that is named".into(), |name| format!("\"{}\"", label(name)));
                    let so = if is_backsight { "it does not orient its base" } else { "nothing can be compared with it" };
                    let (role, (file, line)) = (shot.role.as_deref().unwrap_or_default(), shot.place);
                    notes.push(format!("{}:{line}: the {role} is to {target}, {why}: {so}.", logs.files[file].info.name));
                }
                continue;
            }
        };
        let Ok(north) = norths.resolve_north(from, kind, readings.date(), &mut recent) else { continue };
        if shot.identity().is_none_or(|row| seen.insert((shot.reading, row))) {
            sights.push(KnownSight {
                from,
                to,
                true_azimuth_rad: TrueAzimuth::without_orientation(azimuth_rad, &north).azimuth_rad,
                sigma_rad: shot.read.kit.sigma_azimuth_rad,
                orients: is_backsight,
                is_of_circle: kind == NorthKind::Grid,
            });
        }
    }
    if unknown > notes.len() as u64 {
        let rest = unknown - notes.len() as u64;
        notes.push(format!(
            "And {} with the role {BACKSIGHT} or {FORESIGHT} {} to no base or known point.",
            counted(rest, "more sight", "more sights"),
            if rest == 1 { "is" } else { "are" }
        ));
    }
    (sights, notes)
}

/// Why a sight is to no base or known point, behind the name of what it is to.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
enum NoTarget {
    /// It is to its own base.
    #[error("which is the base itself")]
    Itself,
    /// The name stands for several positions.
    #[error("which stands for several positions")]
    Several,
    /// What has the name has no position, and why.
    #[error("which has no position ({0})")]
    NoPosition(String),
    /// Nothing has the name.
    #[error("which is no other base or known point")]
    Unknown,
    /// Nothing has the name, but something has it with other zeros before it, as cells of a workbook lose them.
    #[error("which is no other base or known point; there is \"{0}\" (are the leading zeros right?)")]
    OtherZeros(String),
}

/// The base or known point that a sight is to.
fn target(shot: &KeptShot, from: usize, table: &BaseTable) -> Result<usize, NoTarget> {
    match shot.feature_key.as_deref().and_then(|name| table.by_name.get(name)) {
        Some(Named::Base(index)) if *index != from => Ok(*index),
        Some(Named::Base(_)) => Err(NoTarget::Itself),
        Some(Named::Several(_) | Named::Ambiguous(_)) => Err(NoTarget::Several),
        Some(Named::Held(why) | Named::Absent(why)) => Err(NoTarget::NoPosition(why.clone())),
        None => Err(other_zeros(shot, table).map_or(NoTarget::Unknown, NoTarget::OtherZeros)),
    }
}

/// The base or known point whose name is that of the sight but for zeros before it.
fn other_zeros(shot: &KeptShot, table: &BaseTable) -> Option<String> {
    let bare = |name: &str| name.trim_start_matches('0').to_owned();
    let wanted = bare(shot.feature_key.as_deref()?);
    let is_number = |name: &str| !name.is_empty() && name.bytes().all(|byte| byte.is_ascii_digit());
    // The names have no order of their own.
    let alike = table.by_name.keys().filter(|name| is_number(name) && bare(name) == wanted).min();
    alike.filter(|_| is_number(&wanted)).cloned()
}
