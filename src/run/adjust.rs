//! The second step of a run: where the bases lie in the layers' CRS, the network, the orientation of each base.

use std::sync::Arc;

use rustc_hash::FxHashSet;

use super::RunError;
use super::datums::{self, Steps};
use super::prepare::{Prepared, check_any_base};
use super::stage::{self, Stage};
use super::{backsights, network, notes};
use crate::geodesy::crs::{Crs, CrsError, CrsKind};
use crate::geodesy::register::{Origin, Shares};
use crate::job::Job;
use crate::shots::locate::{Locator, Placed};
use crate::stations::base::BaseTable;
use crate::stations::base::Turning;
use crate::stations::errors;
use crate::stations::join::Joiner;
use crate::stations::orientation::{self, KnownSight, Orientation};

/// Bases as everything later takes them.
pub struct Adjusted<'p> {
    /// The bases.
    pub table: BaseTable,
    /// From vectors to points in the CRS of the layers.
    pub locator: Locator<'p>,
    /// Where each base lies in it.
    pub placed: Vec<Placed>,
    /// The network, where the job asks for one and its shots give one.
    pub network: Option<network::AdjustedNetwork>,
    /// What is added to each base's azimuths.
    pub orientations: Vec<Option<Orientation>>,
    /// The bases with what they err by.
    pub origins: Vec<Origin>,
    /// The steps between datums that bases went.
    pub steps: Steps,
    /// For the person: what backsights say.
    pub backsight_notes: Vec<String>,
    /// And azimuths of a line from both ends.
    pub both_ends_notes: Vec<String>,
    no_rows: FxHashSet<(usize, u64)>,
    none_repeated: FxHashSet<u64>,
}

/// The way out for a crew in the United States whose bases and layers are on two realisations of NAD83, or on WGS 84 and an old one,
/// where the grid files between them are missing.
fn on_nad83_2011(job: &Job, output: &Crs) -> Option<String> {
    if let Some(twin) = output.on_nad83_2011() {
        let (authority, code) = twin.id()?;
        return Some(format!(
            "Or write crs = \"{authority}:{code}\" ({}), the same grid on the datum of today's receivers and networks in the United States.",
            twin.name()
        ));
    }
    let bases = Crs::new(job.bases.crs.as_deref()?).ok()?;
    let is_old = bases.geographic().is_ok_and(|datum| datum.name() == "NAD83") && output.name().starts_with("NAD83(2011)");
    is_old.then(|| {
        "Or write crs = \"EPSG:6319\" under [bases] where the positions are of a network of today: those are on NAD83(2011)."
            .to_owned()
    })
}

/// Adjusts what was prepared.
///
/// # Errors
/// When no operation leads to the layers' CRS, no base can be placed in it, or the network makes no sense.
pub fn adjust<'p>(prepared: &'p Prepared, mut table: BaseTable) -> Result<Adjusted<'p>, RunError> {
    let Prepared { job, output, geoid, shot_logs, shot_rules, declinations, .. } = prepared;
    let locator = Locator::new(&table, output, &job.heights, prepared.rules, geoid).map_err(|source| {
        // PROJ finds nothing where no base lies: then the place is what is wrong.
        let is_lost = matches!(source, CrsError::NoOperation { .. } | CrsError::BallparkOnly { .. });
        match notes::all_outside(&table, output).filter(|_| is_lost) {
            Some(why) => why,
            None => RunError::Crs { what: "crs", source: source.or(on_nad83_2011(job, output)) },
        }
    })?;
    let placed = stage::place_bases(&table, &locator).map_err(RunError::crs("crs"))?;
    table.hold_where(|index| (!placed[index].is_there()).then(stage::not_projected));
    check_any_base(&table, &prepared.base_logs, &prepared.stations)?;
    let needs = network::Needs {
        logs: shot_logs,
        rules: shot_rules,
        declinations,
        catalogue: prepared.catalogue.as_deref(),
        grid: prepared.grid.as_ref().unwrap_or(output),
        names_grid: prepared.grid.is_some(),
        geoid,
    };
    table.number_neighbours();
    let network = network::adjust(job, &mut table, &needs)?;
    // The network moves bases, and adds some.
    let placed = stage::place_bases(&table, &locator).map_err(RunError::crs("crs"))?;
    let free_circles = job.has_free_circles();
    let (sights, backsight_notes) = backsights::find(shot_logs, &prepared.norths(&table), &Joiner::new(&table, &job.join));
    let steps = datums::settle(&mut table, &locator, &placed).map_err(RunError::crs("crs"))?;
    let (mut orientations, mut turning) = by_sights_or_fit(&table, &sights);
    if let Some(network) = &network {
        // What the network says of a base's azimuths holds its backsights too.
        for (base, (orientation, entries)) in &network.orientations {
            (orientations[*base], turning[*base]) = (Some(*orientation), Some(entries.clone()));
        }
    }
    let register = Arc::new(network.as_ref().map(network::AdjustedNetwork::register).unwrap_or_default());
    let origins = errors::origins(&table, &turning, job.north.sigma_orientation_deg.to_radians(), &register);
    // Sights to one known point have its error in common: what is told is what the register says.
    for (orientation, origin) in orientations.iter_mut().zip(&origins) {
        if let Some(orientation) = orientation {
            orientation.sigma_rad = origin.errors.azimuth_rad2(&Shares::default()).sqrt();
        }
    }
    // Readings of two circles do not differ by 180° and say nothing of a compass.
    let lines = if free_circles { Vec::new() } else { orientation::fore_and_back(&table, &sights) };
    for (base, flag) in orientation::local_attraction(&lines, job.north.fore_back_limit_deg.to_radians()) {
        table.bases[base].flags.raise(flag);
    }
    let both_ends_notes = notes::fore_and_back(&table, &lines, job.north.fore_back_limit_deg, &job.units);
    let (no_rows, none_repeated) = Default::default();
    Ok(Adjusted {
        table,
        locator,
        placed,
        network,
        orientations,
        origins,
        steps,
        backsight_notes,
        both_ends_notes,
        no_rows,
        none_repeated,
    })
}

/// Bases with the orientations that their sights give them.
pub struct Oriented {
    /// What is added to each base's azimuths.
    pub orientations: Vec<Option<Orientation>>,
    /// The bases with what they err by.
    pub origins: Vec<Origin>,
}

impl Oriented {
    /// By backsights alone, without a network.
    pub fn by_sights(prepared: &Prepared, table: &BaseTable) -> Oriented {
        let joiner = Joiner::new(table, &prepared.job.join);
        let (sights, _) = backsights::find(&prepared.shot_logs, &prepared.norths(table), &joiner);
        let (orientations, turning) = by_sights_or_fit(table, &sights);
        let setup_rad = prepared.job.north.sigma_orientation_deg.to_radians();
        let origins = errors::origins(table, &turning, setup_rad, &Arc::default());
        Oriented { orientations, origins }
    }
}

/// The orientation of each base by its backsights, else by the fit of its local frame, and the entries of its error.
fn by_sights_or_fit(table: &BaseTable, sights: &[KnownSight]) -> (Vec<Option<Orientation>>, Vec<Option<Turning>>) {
    let (mut orientations, mut turning) = orientation::orientations(table, sights);
    for (index, base) in table.bases.iter().enumerate() {
        if let (None, Some(tied)) = (orientations[index], &base.tied) {
            orientations[index] = Some(Orientation { correction_rad: tied.correction_rad, sigma_rad: 0.0, sights: 0 });
            turning[index] = Some(tied.turning.clone());
        }
    }
    (orientations, turning)
}

impl<'p> Adjusted<'p> {
    /// What the third coordinate of the layers is, in words.
    pub fn third(&self, prepared: &Prepared) -> String {
        match prepared.output.is_local() {
            true => "height above the zero of the local frame, metres".to_owned(),
            false => self.locator.third().words(),
        }
    }

    /// What the computation of a block needs.
    pub fn stage<'s>(&'s self, prepared: &'s Prepared, joiner: &'s Joiner<'s>) -> Stage<'s> {
        let Prepared { job, output, shot_logs, .. } = prepared;
        let coded = prepared.coded.as_ref();
        Stage {
            joiner,
            orientations: &self.orientations,
            table: &self.table,
            logs: shot_logs,
            locator: &self.locator,
            norths: prepared.norths(&self.table),
            instrument_height_m: job.heights.instrument_height_m,
            placed_bases: self.placed.clone(),
            projected: output.kind() == CrsKind::Projected,
            grid_unit_m: output.unit_factor(),
            origins: &self.origins,
            network_rows: self.network.as_ref().map_or(&self.no_rows, |network| &network.rows),
            repeated: if job.checks.combine_repeats { &shot_logs.repeated } else { &self.none_repeated },
            coded,
            has_no_bases: job.has_no_bases(),
            wanted: &prepared.wanted,
            units: job.units,
        }
    }
}
