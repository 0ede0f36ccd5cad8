//! What a starter job has below its logs: instruments, heights, norths.

use super::ask::Draft;
use super::columns::{Ask, Guess};
use super::reference_system::centre;
use super::sample::Whole;
use super::{GuessedLog, quoted};
use crate::intake::columns::LogKind;
use crate::job::UNDECIDED;
use crate::records::kit::{ASSUMED_SIGMA_AZIMUTH_DEG, ASSUMED_SIGMA_DISTANCE_M, ASSUMED_SIGMA_INCLINATION_DEG};

/// `[instrument]`, `[heights]` and `[north]`.
pub(super) fn instruments(draft: &mut Draft, logs: &[GuessedLog]) {
    let shots: Vec<&GuessedLog> = logs.iter().filter(|log| log.sample.kind == LogKind::Shots).collect();
    let bases: Vec<&GuessedLog> = logs.iter().filter(|log| log.sample.kind == LogKind::Bases).collect();
    draft.push("");
    draft.push("[instrument]                     # one standard error each, from the instrument's papers or a test; these are assumed without");
    draft.push(format!("# sigma_distance_m = {ASSUMED_SIGMA_DISTANCE_M}"));
    draft.push(format!("# sigma_azimuth_deg = {ASSUMED_SIGMA_AZIMUTH_DEG}"));
    draft.push(format!("# sigma_inclination_deg = {ASSUMED_SIGMA_INCLINATION_DEG}"));
    if !bases.is_empty() {
        heights(draft, logs, &shots);
    }
    norths(draft, &shots, &bases);
}

/// Whether a log has readings that heights follow from.
fn has_vertical(log: &GuessedLog) -> bool {
    let is_vertical = |guess: &Guess| {
        ["inclination", "zenith", "vertical_distance"].iter().any(|name| guess.canonical.starts_with(name))
            || guess.asks.contains(&Ask::ZenithOrInclination)
    };
    let mut in_readings = log.wide.iter().flat_map(|wide| &wide.readings).flat_map(|reading| &reading.columns);
    log.guesses.iter().any(is_vertical)
        || in_readings.any(|(name, _)| name.starts_with("inclination"))
        || ["inclination", "zenith", "vertical_distance"].iter().any(|name| log.has(name))
}

/// `[heights]`.
fn heights(draft: &mut Draft, logs: &[GuessedLog], shots: &[&GuessedLog]) {
    draft.push("");
    draft.push("[heights]");
    let has_vertical = shots.iter().any(|log| has_vertical(log));
    let known = shots.iter().all(|log| log.has("instrument_height")) && !shots.is_empty();
    if !known && (has_vertical || shots.is_empty()) {
        draft.push(format!(
            "instrument_height_m = {}   # of the instrument's axis over the base's ground point",
            quoted(UNDECIDED)
        ));
        draft.ask(
            "How high was the instrument over the base's point, in metres?",
            "no column says it; 0 where the bases are of its axis",
            &[],
            true,
        );
    } else if !known {
        draft.push("instrument_height_m = 0        # nothing vertical was measured");
    }
    if !shots.iter().any(|log| log.has("target_height")) || shots.is_empty() {
        draft.push(
            "target_height_m = 0            # 0: heights are those of the sighted spots; else their height over the ground",
        );
    }
    if logs.iter().any(|log| log.sample.whole.is_some_and(Whole::has_fixes)) {
        draft.push(format!("antenna_height_m = {}      # of a receiver's antenna over the ground point", quoted(UNDECIDED)));
        draft.ask("How high was the receiver's antenna over the ground, in metres?", "", &[], true);
    }
}

/// What azimuths count from, where `[north]` must say it.
fn norths(draft: &mut Draft, shots: &[&GuessedLog], bases: &[&GuessedLog]) {
    let magnetic = |guess: &Guess| guess.canonical.starts_with("magnetic") || guess.asks.contains(&Ask::North);
    if !bases.is_empty() && shots.iter().any(|log| log.has("magnetic") || log.guesses.iter().any(magnetic)) {
        north(draft);
        draft.push("declination = \"model\"            # for magnetic azimuths; or degrees, east positive, set by hand");
    }
    // Grid azimuths of bases in degrees: the grid of the layers need not be the one that the circle was set to.
    let grid = |log: &&&GuessedLog| log.guesses.iter().any(|guess| guess.canonical.starts_with("grid_azimuth"));
    if let (Some(log), Some(_)) = (shots.iter().find(grid), centre(bases)) {
        north(draft);
        draft.push(format!(
            "grid_crs = {}                # the map grid whose north the azimuths count from, such as \"EPSG:2154\"",
            quoted(UNDECIDED)
        ));
        draft.ask(
            "From the north of which map grid do the azimuths count?",
            format!("{} has grid azimuths; an EPSG code of a projected CRS", log.sample.label()),
            &[],
            false,
        );
    }
}

/// `[north]`, once.
fn north(draft: &mut Draft) {
    if !draft.lines.iter().any(|line| line == "[north]") {
        draft.push("");
        draft.push("[north]");
    }
}
