//! Where the crew stood: the fixes of all base logs made into bases, beside the points.

use std::collections::BTreeSet;

use jiff::Timestamp;

use super::RunError;
use super::base_logs::BaseLogs;
use super::files::ShotLogs;
use crate::base::HeldBase;
use crate::base::{ASSUMED_SIGMA_HORIZONTAL_M, ASSUMED_SIGMA_VERTICAL_M};
use crate::clock::offset;
use crate::intake::bases::BaseRow;
use crate::intake::columns::Quantity;
use crate::job::{Job, JoinBy, OccupationSource, Occupations, Several};
use crate::join;
use crate::ledger::{Fault, Flag, Reason};
use crate::occupation::windows::{self, ShotTime};
use crate::occupation::{self, Epoch, Gathered, Rules, merge, seconds, track};

/// What is known of the bases before they are settled.
pub struct Stations {
    /// Points and bases made of fixes.
    pub rows: Vec<BaseRow>,
    /// Rows and fixes that were held.
    pub held: Vec<HeldBase>,
    /// Names without a position, and why.
    pub absent: Vec<(String, String)>,
    /// For the person.
    pub notes: Vec<String>,
}

/// Makes the bases of a job.
///
/// # Errors
/// When the job does not say what the fixes need.
pub fn find(job: &Job, logs: &mut BaseLogs, shot_logs: &ShotLogs) -> Result<Stations, RunError> {
    let epochs = std::mem::take(&mut logs.epochs);
    let mut stations =
        Stations { rows: merged_points(logs, job), held: std::mem::take(&mut logs.held), absent: Vec::new(), notes: Vec::new() };
    let by_time = shot_logs.files.iter().any(|log| join::by(&job.join, &log.plan) != JoinBy::Id);
    if epochs.is_empty() && !by_time && logs.listed.is_empty() {
        return Ok(stations);
    }
    let shots = shot_logs.times()?;
    let clues = Clues::of(job, shot_logs, &epochs);
    if !epochs.is_empty() || !logs.listed.is_empty() {
        let from = source(job, shot_logs);
        let points: BTreeSet<&str> = stations.rows.iter().map(|row| row.name.as_str()).collect();
        let gathered = gather(job, logs, epochs, &shots, &points, from)?;
        for (file, counts) in logs.files.iter_mut().map(|file| &mut file.info.counts).enumerate() {
            counts.mapped += gathered.used[file];
            counts.outside_occupations += gathered.outside[file];
        }
        stations.rows.extend(gathered.rows);
        stations.held.extend(gathered.held);
        stations.absent = gathered.absent;
        stations.notes = gathered.notes;
    }
    let mut notes = Vec::new();
    propose_clock(job, &shots, &stations, &clues, &mut notes);
    stations.notes.extend(notes);
    Ok(stations)
}

/// What tells the occupations: the job, else the list, else the shots that name bases, else stops.
fn source(job: &Job, shots: &ShotLogs) -> OccupationSource {
    let occupations = &job.bases.occupations;
    let name_bases = shots.files.iter().all(|log| log.plan.claim_of(Quantity::Base).is_some());
    occupations.from.unwrap_or(match () {
        () if occupations.list.is_some() => OccupationSource::List,
        () if name_bases => OccupationSource::Shots,
        () => OccupationSource::Stops,
    })
}

fn gather(
    job: &Job,
    logs: &mut BaseLogs,
    epochs: Vec<Epoch>,
    shots: &[ShotTime],
    points: &BTreeSet<&str>,
    from: OccupationSource,
) -> Result<Gathered, RunError> {
    let files = logs.files.len();
    let listed = std::mem::take(&mut logs.listed);
    let list_has_antenna = !listed.is_empty() && listed.iter().all(|(window, _)| window.antenna_height_m.is_some());
    let lacks_antenna = epochs.iter().any(|epoch| epoch.fix.height.is_some() && epoch.antenna_height_m.is_none());
    let antenna_height_m = match job.heights.antenna_height_m {
        Some(metres) => metres,
        None if list_has_antenna || !lacks_antenna => 0.0,
        None => {
            return Err(RunError::Nothing(
                "the fixes of a receiver are of its antenna, and nothing says how high it stood over the ground point; write \
                 antenna_height_m = 2.0 under [heights] (0 where the heights are of the ground already), or give \
                 antenna_height_m in the list of occupations"
                    .into(),
            ));
        }
    };
    let settled = Occupations { from: Some(from), ..job.bases.occupations.clone() };
    let rules = Rules { occupations: &settled, quality: &job.bases.quality, antenna_height_m };
    if job.join.by == Some(JoinBy::Interpolated) {
        let instants: Vec<Timestamp> = shots.iter().map(|shot| shot.instant).collect();
        return Ok(track::at_instants(epochs, &instants, &rules, job.join.gap_s, files));
    }
    let windows = match from {
        OccupationSource::List if listed.is_empty() => {
            return Err(RunError::Nothing(
                "occupations come from a list, and the job names none; write files = [\"…\"] under [bases.occupations.list]"
                    .into(),
            ));
        }
        OccupationSource::List => Some(listed.iter().map(|(window, _)| window.clone()).collect()),
        OccupationSource::Shots => {
            let mut windows = windows::of_shots(shots, &settled);
            // What the crew logged as a point, or others surveyed, needs no fixes.
            windows.retain(|window| !points.contains(window.name.as_str()));
            Some(windows)
        }
        OccupationSource::Column | OccupationSource::Stops | OccupationSource::Each => None,
    };
    let mut gathered = occupation::gather(epochs, windows, &rules, files);
    // Each row of a list is used, or held for want of fixes.
    for (window, place) in listed {
        match gathered.absent.iter().find(|(name, _)| *name == window.name) {
            Some((name, why)) => {
                let fault = Fault::new(Reason::FewEpochs, "", name, why.clone());
                gathered.held.push(HeldBase { name: Some(name.clone()), place, fault });
            }
            None => gathered.used[place.0] += 1,
        }
    }
    Ok(gathered)
}

/// Points of one name joined, where the job asks for it; what is joined to an earlier row is counted as used.
fn merged_points(logs: &mut BaseLogs, job: &Job) -> Vec<BaseRow> {
    let rows = std::mem::take(&mut logs.rows);
    if job.bases.occupations.reoccupied != Some(Several::Merge) {
        return rows;
    }
    let stated = |row: &BaseRow| {
        let horizontal = row.sigma_horizontal_m.or(job.bases.sigma_horizontal_m);
        (horizontal, row.sigma_vertical_m.or(job.bases.sigma_vertical_m))
    };
    let with_sigmas = |row: &BaseRow| {
        let (horizontal, vertical) = stated(row);
        BaseRow {
            sigma_horizontal_m: horizontal.or(Some(ASSUMED_SIGMA_HORIZONTAL_M)),
            sigma_vertical_m: vertical.or(Some(ASSUMED_SIGMA_VERTICAL_M)),
            ..row.clone()
        }
    };
    let mut kept: Vec<BaseRow> = Vec::new();
    for row in rows {
        let same = kept.iter_mut().find(|other| {
            (&other.name, &other.crs, &other.crs_value) == (&row.name, &row.crs, &row.crs_value)
                && merge::apart(&with_sigmas(other), &with_sigmas(&row)).2
        });
        let Some(other) = same else {
            kept.push(row);
            continue;
        };
        let (one, two) = (stated(other), stated(&row));
        let mut mean = merge::weighted(&with_sigmas(other), &with_sigmas(&row));
        // An error that nobody stated stays unstated, so that the run tells of what it assumes for the mean.
        mean.sigma_horizontal_m = one.0.and(two.0).and(mean.sigma_horizontal_m);
        mean.sigma_vertical_m = one.1.and(two.1).and(mean.sigma_vertical_m);
        mean.flags.raise(Flag::RepeatedBase);
        *other = mean;
        logs.files[row.file].info.counts.mapped += 1;
    }
    kept
}

/// What the receiver itself tells of the clocks.
struct Clues {
    /// Its stops, where the occupations are the shots' own and move with their clock.
    stops: Option<Vec<(Timestamp, Timestamp)>>,
    /// When its fixes were.
    fixes: Vec<Timestamp>,
}

impl Clues {
    fn of(job: &Job, shots: &ShotLogs, epochs: &[Epoch]) -> Clues {
        let by_shots = !epochs.is_empty() && source(job, shots) == OccupationSource::Shots;
        Clues {
            stops: by_shots.then(|| windows::stops(epochs, &job.bases.occupations)),
            fixes: epochs.iter().map(|epoch| epoch.fix.instant).collect(),
        }
    }
}

/// Notes where the shots' clock seems to be off; nothing is applied.
fn propose_clock(job: &Job, shots: &[ShotTime], stations: &Stations, clues: &Clues, notes: &mut Vec<String>) {
    let of_rows = || stations.rows.iter().flat_map(|row| &row.windows).copied();
    let mut occupations = clues.stops.clone().unwrap_or_else(|| of_rows().collect());
    // An instant says nothing about how long the crew stayed.
    occupations.retain(|(from, to)| seconds(*from, *to) > 0.0);
    let instants: Vec<Timestamp> = shots.iter().map(|shot| shot.instant).collect();
    if offset::is_week_rollover(&instants, &clues.fixes) {
        notes.push(
            "The receiver's dates lie 1024 weeks behind the shots': its GPS week counter has turned over. Write clock_offset_s = \
             619315200 under [bases]."
                .into(),
        );
        return;
    }
    if let Some(proposal) = offset::propose(&instants, &occupations) {
        notes.push(format!(
            "The shots' clock seems to be off: {:.0} % of the shots fall into an occupation, and {:.0} % would with {:+.0} s (give or \
             take {:.0} s) added to their times. If that is so, write clock_offset_s = {:.0} under [shots]; nothing was changed.",
            100.0 * proposal.shares.0,
            100.0 * proposal.shares.1,
            proposal.offset_s,
            proposal.half_width_s.max(1.0),
            job.shots.log.clock_offset_s + proposal.offset_s
        ));
    }
}
