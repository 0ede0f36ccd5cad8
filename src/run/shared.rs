//! The entries of the register by names that mean the same in other runs: what a mapping's features err by together.

use std::collections::{BTreeMap, HashMap};

use rayon::prelude::*;

use super::adjust::Adjusted;
use super::network::FromOutside;
use super::prepare::Prepared;
use super::raw_arms::{MOST_TOLD, RawArms};
use super::stage::Stage;
use crate::geodesy::register::{Arm, Cause, ErrorId, Shares};
use crate::output::report::shared::{
    LengthenedBy, MovedBy, OfNetwork, PointShared, SharedArms, SharedOfBase, TurnedBy, ValueShared,
};
use crate::records::base_row::BaseRow;
use crate::stations::base::Base;

/// Bases above which their list is left out: a summary is for people, too.
const MOST_BASES: usize = 5_000;

/// Errors that are told of one point or value, the largest.
const MOST_ARMS: usize = 24;

/// What gives errors their names.
pub struct ErrorNames<'r> {
    prepared: &'r Prepared<'r>,
    adjusted: &'r Adjusted<'r>,
    stage: &'r Stage<'r>,
    /// What tells the shot logs from others: a set-up is one in the logs that it is in.
    logs: String,
    /// What each network was given from outside, with what it does to its unknowns.
    given: Vec<Option<FromOutside>>,
}

impl<'r> ErrorNames<'r> {
    /// Those of a run.
    pub fn new(prepared: &'r Prepared<'r>, adjusted: &'r Adjusted<'r>, stage: &'r Stage<'r>) -> ErrorNames<'r> {
        let sums: Vec<&str> = stage.logs.files.iter().map(|log| log.info.sha256.as_str()).collect();
        let logs = blake3::hash(sums.concat().as_bytes()).to_hex()[..16].to_owned();
        let given = adjusted.network.as_ref().map(|network| network.given()).unwrap_or_default();
        ErrorNames { prepared, adjusted, stage, logs, given }
    }

    /// What the shots of each base share with others, where any were mapped. `shares` are those of its shots, each once.
    pub fn bases(&self, shares: &[Vec<Shares>]) -> Vec<SharedOfBase> {
        let stage = self.stage;
        // In a local frame there is no place that another mapping could know.
        let is_placed = |base: &usize| stage.placed_bases[*base].lon_deg.is_finite();
        let bases = (0..stage.table.bases.len()).filter(|base| !shares[*base].is_empty()).filter(is_placed);
        let used: Vec<usize> = bases.collect();
        if used.len() > MOST_BASES {
            return Vec::new();
        }
        used.into_par_iter().map(|base| self.of_base(base, &shares[base])).collect()
    }

    fn of_base(&self, index: usize, shares: &[Shares]) -> SharedOfBase {
        let (base, errors) = (&self.stage.table.bases[index], &self.stage.origins[index].errors);
        let placed = &self.stage.placed_bases[index];
        let [shared] = shares else { return SharedOfBase { is_whole: false, ..self.of_base(index, &[Shares::default()]) } };
        let position: Vec<Arm> = errors.position().to_vec();
        // A turn rides in "east".
        let turning: Vec<Arm> = errors.azimuth(shared).into_iter().map(|(id, radians)| (id, [radians, 0.0, 0.0])).collect();
        let (moved, turned) = (self.outside(&position), self.outside(&turning));
        let is_whole = [&moved, &turned]
            .into_iter()
            .all(|arms| arms.as_ref().is_some_and(|arms| arms.iter().all(|(id, _)| self.name(*id).is_some())));
        let in_network = position.iter().chain(&turning).any(|(id, _)| id.cause() == Cause::Network).then(|| {
            let (covariance, [east, north, _]) = (errors.covariance(), errors.azimuth_with_position());
            OfNetwork { position_m2: covariance.ee + covariance.nn, position_with_azimuths_m: [east, north] }
        });
        // A network has as many as it has known points; what no network moved is told in full.
        let is_of_network = in_network.is_some();
        let told = |arms: Option<Vec<Arm>>| match (arms, is_of_network) {
            (Some(arms), true) => largest(arms),
            (arms, _) => arms.unwrap_or_default(),
        };
        let correction = |(id, size): (ErrorId, f64)| (size != 0.0).then(|| self.name(id)).flatten();
        let moves = |(id, metres): Arm| Some(MovedBy { error: self.name(id)?, metres });
        let turns = |(id, [radians, _, _]): Arm| Some(TurnedBy { error: self.name(id)?, degrees: radians.to_degrees() });
        SharedOfBase {
            base: base.label.clone(),
            lon_deg: placed.lon_deg,
            lat_deg: placed.lat_deg,
            ellipsoid_height_m: placed.ellipsoid_height_m,
            orthometric_height_m: placed.orthometric_height_m,
            is_whole,
            in_network,
            moved_by: told(moved).into_iter().filter_map(moves).collect(),
            azimuths_turned_by: told(turned).into_iter().filter_map(turns).collect(),
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

    /// What points of several bases and measured values err by. Values of one name and quantity are none that another mapping could find.
    pub fn arms(&self, raw: &RawArms) -> SharedArms {
        let mut errors: Vec<String> = Vec::new();
        let mut number_of: HashMap<ErrorId, Option<usize>> = HashMap::new();
        let mut number = |id: ErrorId| {
            *number_of.entry(id).or_insert_with(|| {
                let name = self.name(id)?;
                Some(errors.iter().position(|known| *known == name).unwrap_or_else(|| {
                    errors.push(name);
                    errors.len() - 1
                }))
            })
        };
        let (mut points, mut values) = (Vec::new(), Vec::new());
        for ((file, line), arms) in raw.points.iter().filter(|_| raw.points.len() <= MOST_TOLD) {
            let told = largest(self.outside(arms).unwrap_or_default());
            let by: Vec<(usize, [f64; 3])> =
                told.into_iter().filter_map(|(id, arm)| Some((number(id)?, arm.map(short)))).collect();
            let is_whole = by.len() == arms.len() && arms.iter().all(|(id, _)| id.cause() != Cause::Network);
            points.push(PointShared { file: self.stage.logs.files[*file].info.name.clone(), line: *line, is_whole, by });
        }
        let mut times: HashMap<&[String; 3], usize> = HashMap::new();
        raw.values.iter().for_each(|(key, _)| *times.entry(key).or_default() += 1);
        for (key, arms) in raw.values.iter().filter(|(key, _)| raw.values.len() <= MOST_TOLD && times[key] == 1) {
            let arms: Vec<Arm> = arms.iter().map(|(id, by)| (*id, [*by, 0.0, 0.0])).collect();
            let arms = largest(self.outside(&arms).unwrap_or_default());
            let by = arms.into_iter().filter_map(|(id, [by, _, _])| Some((number(id)?, short(by)))).collect();
            let [measure, name, quantity] = key.clone();
            values.push(ValueShared { measure, name, quantity, by });
        }
        points.retain(|point: &PointShared| !point.by.is_empty());
        values.retain(|value: &ValueShared| !value.by.is_empty());
        SharedArms { errors, points, values }
    }

    /// Arms with those on unknowns of a network as arms on what it was given from outside; what its own readings do to them is in none. None where that is
    /// not known of a network.
    fn outside(&self, arms: &[Arm]) -> Option<Vec<Arm>> {
        let (of_network, others): (Vec<Arm>, Vec<Arm>) = arms.iter().partition(|(id, _)| id.cause() == Cause::Network);
        let mut outside: BTreeMap<ErrorId, [f64; 3]> = BTreeMap::new();
        let mut add = |id: ErrorId, arm: [f64; 3], times: f64| {
            let sum = outside.entry(id).or_default();
            *sum = std::array::from_fn(|k| sum[k] + times * arm[k]);
        };
        others.into_iter().for_each(|(id, arm)| add(id, arm, 1.0));
        for (unknown, arm) in of_network {
            for (id, moved) in self.given.get(unknown.owner())?.as_ref()? {
                add(*id, arm, moved.get(unknown.which()).copied().unwrap_or(0.0));
            }
        }
        Some(outside.into_iter().collect())
    }

    /// The name of an entry; none of one that is of this run alone.
    fn name(&self, id: ErrorId) -> Option<String> {
        match id.cause() {
            Cause::Position => {
                // In a network a point of a tied frame has the errors of the tie in its position.
                let is_told = |base: &&Base| base.tied.is_none() || base.in_network.is_none();
                let base = self.stage.table.bases.get(id.owner()).filter(is_told)?;
                let axis = ["east", "north", "up"].get(id.which())?;
                Some(format!("position {} {axis}", print_of_base(&base.row)))
            }
            Cause::Datum => {
                let used = self.adjusted.steps.uses.get(id.owner())?;
                let axis = ["east", "north", "up"].get(id.which())?;
                Some(format!("step {} {axis}", used.operation.name))
            }
            Cause::Declination => Some(self.stage.norths.declinations.name(u32::try_from(id.owner()).ok()?)),
            Cause::AzimuthCorrection | Cause::InclinationCorrection | Cause::DistanceCorrection => {
                let of = match id.cause() {
                    Cause::AzimuthCorrection => "azimuths",
                    Cause::InclinationCorrection => "inclinations",
                    _ => "distances",
                };
                let calibration = self.prepared.shot_rules.calibration(u32::try_from(id.owner()).ok()?)?;
                Some(format!("correction of {of}, {calibration}"))
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

/// The arms that count most: along some axis a hundredth of the largest there, and not more of them than are told.
fn largest(mut arms: Vec<Arm>) -> Vec<Arm> {
    let most: [f64; 3] = std::array::from_fn(|k| arms.iter().map(|(_, arm)| arm[k].abs()).fold(0.0, f64::max));
    arms.retain(|(_, arm)| (0..3).any(|k| arm[k] != 0.0 && arm[k].abs() >= 0.01 * most[k]));
    if arms.len() > MOST_ARMS {
        let square = |arm: &[f64; 3]| arm.iter().map(|metres| metres * metres).sum::<f64>();
        arms.sort_by(|(one, a), (other, b)| square(b).total_cmp(&square(a)).then(one.cmp(other)));
        arms.truncate(MOST_ARMS);
    }
    arms
}

/// A number with the digits that count beside others of its kind.
fn short(number: f64) -> f64 {
    if number == 0.0 || !number.is_finite() {
        return 0.0;
    }
    let step = 10f64.powi(4 - number.abs().log10().floor() as i32);
    (number * step).round() / step
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
