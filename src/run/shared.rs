//! The entries of the register by names that mean the same in other runs: what a mapping's features err by together.

use super::adjust::Adjusted;
use super::map_block::Stage;
use super::prepare::Prepared;
use crate::geodesy::register::{Cause, ErrorId, Shares};
use crate::output::report::shared::{LengthenedBy, MovedBy, SharedOfBase, TurnedBy};
use crate::records::base_row::BaseRow;

/// Bases above which the list is left out: a summary is for people, too.
const MOST_BASES: usize = 5_000;

/// What the shots of each base share with others, where any were mapped. `shares` are those of its shots, each once.
pub fn shared(prepared: &Prepared, adjusted: &Adjusted, stage: &Stage, shares: &[Vec<Shares>]) -> Vec<SharedOfBase> {
    // In a local frame there is no place that another mapping could know.
    let is_placed = |base: &usize| stage.placed_bases[*base].lon_deg.is_finite();
    let used: Vec<usize> = (0..stage.table.bases.len()).filter(|base| !shares[*base].is_empty()).filter(is_placed).collect();
    if used.len() > MOST_BASES {
        return Vec::new();
    }
    let sums: Vec<&str> = stage.logs.files.iter().map(|log| log.info.sha256.as_str()).collect();
    let logs = blake3::hash(sums.concat().as_bytes()).to_hex()[..16].to_owned();
    let names = Names { prepared, adjusted, stage, logs };
    used.into_iter().map(|base| names.of_base(base, &shares[base])).collect()
}

/// What gives errors their names.
struct Names<'r> {
    prepared: &'r Prepared<'r>,
    adjusted: &'r Adjusted<'r>,
    stage: &'r Stage<'r>,
    /// What tells the shot logs from others: a set-up is one in the logs that it is in.
    logs: String,
}

impl Names<'_> {
    fn of_base(&self, index: usize, shares: &[Shares]) -> SharedOfBase {
        let (base, errors) = (&self.stage.table.bases[index], &self.stage.origins[index].errors);
        let placed = &self.stage.placed_bases[index];
        let [shared] = shares else { return SharedOfBase { is_whole: false, ..self.of_base(index, &[Shares::default()]) } };
        let named = |id: ErrorId| self.name(id, shared);
        let turned = |(id, radians): (ErrorId, f64)| Some(TurnedBy { error: named(id)?, degrees: radians.to_degrees() });
        let correction = |(id, size): (ErrorId, f64)| (size != 0.0).then(|| named(id)).flatten();
        SharedOfBase {
            base: base.label.clone(),
            lon_deg: placed.lon_deg,
            lat_deg: placed.lat_deg,
            ellipsoid_height_m: placed.ellipsoid_height_m,
            orthometric_height_m: placed.orthometric_height_m,
            is_whole: errors.position().iter().all(|(id, _)| named(*id).is_some())
                && errors.azimuth(shared).iter().all(|(id, _)| named(*id).is_some()),
            moved_by: errors
                .position()
                .iter()
                .filter_map(|(id, metres)| Some(MovedBy { error: named(*id)?, metres: *metres }))
                .collect(),
            azimuths_turned_by: errors.azimuth(shared).into_iter().filter_map(turned).collect(),
            inclinations_turned_by: correction(shared.inclination())
                .map(|error| TurnedBy { error, degrees: shared.inclination_rad.to_degrees() })
                .into_iter()
                .collect(),
            distances_lengthened_by: correction(shared.distance())
                .map(|error| LengthenedBy { error, metres: shared.distance_m })
                .into_iter()
                .collect(),
        }
    }

    /// The name of an entry; none of one that is of this run alone.
    fn name(&self, id: ErrorId, shares: &Shares) -> Option<String> {
        match id.cause() {
            Cause::Position => {
                let base = self.stage.table.bases.get(id.owner())?;
                let axis = ["east", "north", "up"].get(id.which())?;
                Some(format!("position {} {axis}", print_of_base(&base.row)))
            }
            Cause::Datum => {
                let used = self.adjusted.steps.uses.get(id.owner())?;
                let axis = ["east", "north", "up"].get(id.which())?;
                Some(format!("step {} {axis}", used.operation.name))
            }
            Cause::Declination => Some(self.stage.norths.declinations.name(shares.declination)),
            Cause::AzimuthCorrection | Cause::InclinationCorrection | Cause::DistanceCorrection => {
                let of = match id.cause() {
                    Cause::AzimuthCorrection => "azimuths",
                    Cause::InclinationCorrection => "inclinations",
                    _ => "distances",
                };
                Some(format!("correction of {of}, {}", self.prepared.shot_rules.calibration(shares.calibration)?))
            }
            Cause::Setup | Cause::Sights => {
                let base = self.stage.table.bases.get(id.owner())?;
                Some(format!("orientation of base {} by the logs {}, {}", base.label, self.logs, id.which()))
            }
            Cause::Tie => {
                let mut ties = self.stage.table.bases.iter().filter_map(|base| base.tied.as_ref());
                ties.find_map(|tied| tied.names.get(&id).cloned())
            }
            Cause::Network | Cause::Root => None,
        }
    }
}

/// What tells one fixing of a position from another: all that was recorded of it.
pub(super) fn print_of_base(row: &BaseRow) -> String {
    print(&format!(
        "{:?} {:?} {:?} {:?} {:?} {:?}",
        row.coordinates, row.height, row.crs, row.sigma_horizontal_m, row.sigma_vertical_m, row.when
    ))
}

/// A short print of what was recorded.
pub(super) fn print(recorded: &str) -> String {
    blake3::hash(recorded.as_bytes()).to_hex()[..16].to_owned()
}
