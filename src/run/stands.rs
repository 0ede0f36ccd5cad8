//! Where the crew stood: the fixes of all base logs made into bases, beside the points.

use std::collections::{HashMap, HashSet};

use jiff::Timestamp;

use super::RunError;
use crate::intake::base_logs::BaseLogs;
use crate::intake::log::Log;
use crate::intake::shot_logs::ShotLogs;
use crate::job::{Job, JoinBy, OccupationSource, Occupations, Several};
use crate::records::base_row::BaseRow;
use crate::records::base_row::HeldBase;
use crate::records::fix::Epoch;
use crate::records::ledger::{Fault, Reason};
use crate::records::when::ShotTime;
use crate::stations::base::{ASSUMED_SIGMA_HORIZONTAL_M, ASSUMED_SIGMA_VERTICAL_M};
use crate::stations::clock;
use crate::stations::join;
use crate::stations::occupation::windows;
use crate::stations::occupation::{self, BasesFromFixes, EmptyWindow, OccupationRules, merge, seconds, track};

/// What is known of the bases before they are settled.
pub struct Stations {
    /// Points and bases made of fixes.
    pub rows: Vec<BaseRow>,
    /// Whether a standard error had to be assumed for a mean of points (horizontal, vertical).
    pub assumed: (bool, bool),
    /// Rows and fixes that were held.
    pub held: Vec<HeldBase>,
    /// Names without a position, and why.
    pub absent: Vec<(String, String)>,
    /// Occupations without a usable fix.
    pub empty: Vec<EmptyWindow>,
    /// For the person.
    pub notes: Vec<String>,
}

/// Makes the bases of a job.
///
/// # Errors
/// When the job does not say what the fixes need.
pub fn find(job: &Job, logs: &mut BaseLogs, shot_logs: &ShotLogs) -> Result<Stations, RunError> {
    let needs_times = needs_times(job, &shot_logs.files, Some(logs));
    if joins_by_time(job, &shot_logs.files) {
        hold_unread(logs);
    }
    let epochs = std::mem::take(&mut logs.epochs);
    let points = merged_points(std::mem::take(&mut logs.rows), job);
    let mut stations = Stations {
        rows: points.rows,
        assumed: points.assumed,
        held: std::mem::take(&mut logs.held),
        absent: Vec::new(),
        empty: Vec::new(),
        notes: logs.left_out_notes(&job.bases),
    };
    if points.count > 0 {
        let rows = if points.count == 1 { "row of the base logs was" } else { "rows of the base logs were" };
        stations
            .notes
            .push(format!("{} {rows} joined with an earlier one of the same base to their weighted mean.", points.count));
    }
    if !needs_times {
        return Ok(stations);
    }
    let shots = &shot_logs.times;
    let clues = ClockClues::gather(job, shot_logs, &epochs);
    if !epochs.is_empty() || !logs.listed.is_empty() {
        let from = source(job, shot_logs);
        let gathered = gather(job, logs, epochs, shots, from, &stations.rows)?;
        for (file, outside) in logs.files.iter_mut().zip(&gathered.outside) {
            file.info.counts.outside_occupations += outside;
        }
        stations.rows.extend(gathered.rows);
        stations.held.extend(gathered.held);
        stations.absent = gathered.absent;
        stations.empty = gathered.empty;
        stations.notes.extend(gathered.notes);
    }
    let mut notes = Vec::new();
    propose_clock(job, shots, &stations, &clues, &mut notes);
    stations.notes.extend(notes);
    Ok(stations)
}

/// Whether some log's shots find their bases by the time.
fn joins_by_time(job: &Job, shots: &[Log]) -> bool {
    shots.iter().any(|log| join::by(&job.join, log.names_bases()) != JoinBy::Id)
}

/// Whether the times of all shots are needed: to find bases by them, or to make bases of fixes.
pub fn needs_times(job: &Job, shots: &[Log], logs: Option<&BaseLogs>) -> bool {
    joins_by_time(job, shots) || logs.is_some_and(|logs| !logs.epochs.is_empty() || !logs.listed.is_empty())
}

/// Holds the points whose time cannot be read, where shots find their bases by the time.
fn hold_unread(logs: &mut BaseLogs) {
    let rows = std::mem::take(&mut logs.rows);
    for row in rows {
        match logs.unread_times.remove(&(row.file, row.line)) {
            Some(fault) => logs.held.push(HeldBase { name: Some(row.name), place: (row.file, row.line, row.raw), fault }),
            None => logs.rows.push(row),
        }
    }
}

/// What tells the occupations: the job, else the list, else the shots that name bases, else stops.
fn source(job: &Job, shots: &ShotLogs) -> OccupationSource {
    let occupations = &job.bases.occupations;
    let name_bases = shots.files.iter().all(|log| log.names_bases());
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
    from: OccupationSource,
    points: &[BaseRow],
) -> Result<BasesFromFixes, RunError> {
    let files = logs.files.len();
    let listed = std::mem::take(&mut logs.listed);
    let list_has_antenna = !listed.is_empty() && listed.iter().all(|(window, _)| window.antenna_height_m.is_some());
    let has_heights = epochs.iter().any(|epoch| epoch.fix.height.is_some() && !epoch.beside.is_of_ground);
    let antenna_height_m = match job.heights.antenna_height_m {
        Some(metres) => metres,
        None if list_has_antenna || !has_heights => 0.0,
        None => {
            return Err(RunError::NoAntennaHeight);
        }
    };
    let settled = Occupations { from: Some(from), ..job.bases.occupations.clone() };
    let rules = OccupationRules { occupations: &settled, quality: &job.bases.quality, antenna_height_m, units: job.units };
    if job.join.by == Some(JoinBy::Interpolated) {
        let instants: Vec<Timestamp> = shots.iter().map(|shot| shot.instant).collect();
        return Ok(track::at_instants(epochs, &instants, &rules, job.join.gap_s, files));
    }
    let windows = match from {
        OccupationSource::List if listed.is_empty() && job.bases.occupations.list.is_none() => {
            return Err(RunError::NoList);
        }
        OccupationSource::List => Some(listed.iter().map(|(window, _)| window.clone()).collect()),
        OccupationSource::Shots => {
            // A base that was logged as a point has its position.
            let points: HashSet<&str> = points.iter().map(|point| point.name.as_str()).collect();
            let windows = windows::from_shots(shots, &settled).into_iter();
            Some(windows.filter(|window| !points.contains(window.name.as_str())).collect())
        }
        OccupationSource::Column | OccupationSource::Stops | OccupationSource::Each => None,
    };
    let mut gathered = occupation::gather(epochs, windows, &rules, files);
    // Each row of a list is used, or held for want of fixes.
    for (index, (window, place)) in listed.into_iter().enumerate() {
        match gathered.unserved.get(&index) {
            Some(why) => {
                let fault = Fault::new(Reason::FewEpochs, "", &crate::records::names::label(&window.name), why.clone());
                gathered.held.push(HeldBase { name: Some(window.name), place, fault });
            }
            None => logs.files[place.0].info.counts.mapped += 1,
        }
    }
    Ok(gathered)
}

/// Points joined, and how.
#[derive(Default)]
struct JoinedPoints {
    rows: Vec<BaseRow>,
    /// Whether a standard error had to be assumed for a mean (horizontal, vertical).
    assumed: (bool, bool),
    /// Rows that went into the mean of an earlier one.
    count: u64,
}

/// Points of one name joined, where the job asks for it.
fn merged_points(rows: Vec<BaseRow>, job: &Job) -> JoinedPoints {
    if job.bases.occupations.reoccupied != Some(Several::Merge) {
        return JoinedPoints { rows, ..JoinedPoints::default() };
    }
    let stated = |row: &BaseRow| {
        (row.sigma_horizontal_m.or(job.bases.sigma_horizontal_m), row.sigma_vertical_m.or(job.bases.sigma_vertical_m))
    };
    let filled = |row: &BaseRow| BaseRow {
        sigma_horizontal_m: stated(row).0.or(Some(ASSUMED_SIGMA_HORIZONTAL_M)),
        sigma_vertical_m: stated(row).1.or(Some(ASSUMED_SIGMA_VERTICAL_M)),
        ..row.clone()
    };
    let frame = |row: &BaseRow| (row.crs.clone(), row.crs_value.clone(), row.coordinate_epoch);
    let mut joined = JoinedPoints::default();
    let mut by_name: HashMap<String, Vec<usize>> = HashMap::new();
    for row in rows {
        let earlier = by_name.entry(row.name.clone()).or_default();
        let is_same = |other: &BaseRow| frame(other) == frame(&row) && merge::apart(&filled(other), &filled(&row)).2;
        match earlier.iter().copied().find(|index| is_same(&joined.rows[*index])) {
            Some(index) => {
                for row in [&joined.rows[index], &row] {
                    joined.assumed.0 |= stated(row).0.is_none();
                    joined.assumed.1 |= stated(row).1.is_none() && row.height.is_some();
                }
                joined.rows[index] = merge::weighted(&filled(&joined.rows[index]), &filled(&row));
                joined.count += 1;
            }
            None => {
                earlier.push(joined.rows.len());
                joined.rows.push(row);
            }
        }
    }
    joined
}

/// What the receiver itself tells of the clocks.
struct ClockClues {
    /// Its stops, where the occupations are the shots' own and move with their clock.
    stops: Option<Vec<(Timestamp, Timestamp)>>,
    /// When its fixes were.
    fixes: Vec<Timestamp>,
}

impl ClockClues {
    fn gather(job: &Job, shots: &ShotLogs, epochs: &[Epoch]) -> ClockClues {
        let by_shots = !epochs.is_empty() && source(job, shots) == OccupationSource::Shots;
        ClockClues {
            stops: by_shots.then(|| windows::stops(epochs, &job.bases.occupations)),
            fixes: epochs.iter().map(|epoch| epoch.fix.instant).collect(),
        }
    }
}

/// Notes where the shots' clock seems to be off; nothing is applied.
fn propose_clock(job: &Job, shots: &[ShotTime], stations: &Stations, clues: &ClockClues, notes: &mut Vec<String>) {
    let of_rows = || stations.rows.iter().flat_map(|row| &row.windows).copied();
    let mut occupations = clues.stops.clone().unwrap_or_else(|| of_rows().collect());
    // An instant says nothing about how long the crew stayed.
    occupations.retain(|(from, to)| seconds(*from, *to) > 0.0);
    let instants: Vec<Timestamp> = shots.iter().map(|shot| shot.instant).collect();
    let points = || stations.rows.iter().flat_map(|row| row.windows.first()).map(|window| window.0);
    let logged: Vec<Timestamp> = if clues.fixes.is_empty() { points().collect() } else { clues.fixes.clone() };
    if let Some(turns) = clock::week_turns(&instants, &logged) {
        notes.push(format!(
            "The receiver's dates lie {} weeks behind the shots': its GPS week counter has turned over. Write clock_offset_s = \
             {:.0} under [bases].",
            turns * clock::ROLLOVER_WEEKS,
            job.bases.log.clock_offset_s + turns as f64 * clock::ROLLOVER_S
        ));
        return;
    }
    if let Some(proposal) = clock::propose(&instants, &occupations) {
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
