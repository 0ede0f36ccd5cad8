//! Jobs without a place on the Earth: a local frame, and no bases at all.
//!
//! A local frame is computed like any other CRS, on a sphere of the Earth's mean radius, with its zero where no direction is
//! special: its axes are east, north and up of the first base, its azimuths count from its own north, and levels curve as they
//! do on the Earth. Where there are no bases each stand is the zero of a frame of its own, and only what rows of one stand give
//! together is computed: nothing pretends to a place.

use std::borrow::Cow;
use std::collections::BTreeSet;

use super::RunError;
use crate::geodesy::LOCAL;
use crate::job::{Bases, Declination, Geoid, Job, LayerName, ValueFault};

/// Standard error of a stand that is the zero of its frame, in metres: none, but for the mathematics.
const SIGMA_OF_ZERO_M: f64 = 1e-9;

/// The job as it is computed: one on the Earth as it is, one without a place in a frame of its own.
///
/// # Errors
/// When a format is asked for that can only hold places on the Earth.
pub fn settled(job: &Job) -> Result<Cow<'_, Job>, RunError> {
    if !job.is_local() {
        return Ok(Cow::Borrowed(job));
    }
    let mut own = job.clone();
    if let Some(problem) = job.formats.iter().find_map(|format| format.wants_the_earth()) {
        return Err(ValueFault::FormatWantsTheEarth(problem).into());
    }
    own.crs = LOCAL.to_owned();
    if own.north.declination == Declination::Model {
        // The frame's north is the zero that azimuths are counted from.
        own.north.declination = Declination::Degrees(0.0);
        own.north.sigma_declination_deg = Some(0.0);
    }
    own.heights.geoid = Geoid::None;
    own.bases.crs.get_or_insert_with(|| LOCAL.to_owned());
    if let Some(known) = &mut own.known {
        known.crs.get_or_insert_with(|| LOCAL.to_owned());
    }
    if own.has_no_bases() {
        own.layers.retain(|layer| matches!(layer, LayerName::Measurements | LayerName::Values | LayerName::Ledger));
        // Heights are told from the instrument's axis.
        own.heights.instrument_height_m.get_or_insert(0.0);
        own.heights.target_height_m.get_or_insert(0.0);
        own.bases.sigma_horizontal_m = Some(SIGMA_OF_ZERO_M);
        own.bases.sigma_vertical_m = Some(SIGMA_OF_ZERO_M);
        own.checks.combine_repeats = false;
        own.network = None;
    }
    Ok(Cow::Owned(own))
}

/// Stands as a table of bases, each the zero of its frame.
pub fn table_of_stands(names: &BTreeSet<String>) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    // Writing to memory does not fail.
    let _ = writer.write_record(["base", "east_m", "north_m", "local_height_m"]);
    for name in names {
        let _ = writer.write_record([name, "0", "0", "0"]);
    }
    writer.into_inner().ok().and_then(|bytes| String::from_utf8(bytes).ok()).unwrap_or_default()
}

/// The settings that such a table is read with.
pub fn settings_of_stands(job: &Job) -> Bases {
    Bases {
        crs: Some(LOCAL.to_owned()),
        sigma_horizontal_m: job.bases.sigma_horizontal_m,
        sigma_vertical_m: job.bases.sigma_vertical_m,
        ..Bases::default()
    }
}

/// What the person is to know of a job without bases or in a local frame.
pub fn notes(job: &Job) -> Vec<String> {
    if !job.is_local() {
        return Vec::new();
    }
    let north = "Azimuths count from the zero of the instrument, magnetic ones from magnetic north";
    match job.has_no_bases() {
        true => vec![format!(
            "The job has no bases: what the rows of one stand give together is computed, and nothing has a place. {north}; rows of one \
             measurement that name no stand are taken as of one."
        )],
        false => vec![format!("The layers are in a local frame: metres east, north and up of its zero. {north}.")],
    }
}
