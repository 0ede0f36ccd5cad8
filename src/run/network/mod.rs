//! The network at work: shots that check each other are read ahead of the stream, adjusted together, and give the bases
//! better places and orientations, bases without a position one, and features their points. What the network cannot place goes
//! the main way.

mod account;
mod build;
mod read;
pub mod settle;
mod several;
mod unit;

use std::collections::{BTreeMap, BTreeSet};

use rustc_hash::FxHashSet;

use super::RunError;
use crate::geodesy::crs::Crs;
use crate::geodesy::frame::{EarthCentred, Ellipsoid, Geodetic, LocalFrame};
use crate::geodesy::geoid::Geoids;
use crate::geodesy::register::{Cause, ErrorId, Register};
use crate::intake::shot_logs::ShotLogs;
use crate::intake::shot_rules::ShotRules;
use crate::job::catalogue::Catalogue;
use crate::job::{self, Job, NetworkOrientation};
use crate::network::{self, Adjustment, Solved};
use crate::output::report::network::NetworkSummary;
use crate::shots::locate::Declinations;
use crate::shots::north::Norths;
use crate::stations::base::{Base, BaseHeights, BaseTable, HeightKind, Named};
use crate::stations::base::{InNetwork, Turning};
use crate::stations::join::Joiner;
use crate::stations::orientation::Orientation;
use build::Built;
use read::{NetShot, NetworkStand, Target};
use several::Zeros;

/// What the network needs from the run.
pub struct Needs<'j> {
    /// The shots.
    pub logs: &'j ShotLogs,
    /// How they are read.
    pub rules: &'j ShotRules,
    /// Declinations by base and date.
    pub declinations: &'j Declinations,
    /// The catalogue, where it holds rows of unknown codes.
    pub catalogue: Option<&'j Catalogue>,
    /// The grid that grid azimuths mean at a base without a log.
    pub grid: &'j Crs,
    /// Whether the job names that grid, so that it is that of every base.
    pub names_grid: bool,
    /// The geoids.
    pub geoid: &'j Geoids,
}

/// Entries of what a network was given from outside, each with what one standard error of it moves its unknowns by.
pub type FromOutside = Vec<(ErrorId, Vec<f64>)>;

/// A network after its adjustment.
pub struct AdjustedNetwork {
    /// The shots, those that take part among them.
    shots: Vec<NetShot>,
    built: Built,
    adjustment: Adjustment,
    /// By station: the index of its base.
    base_of: Vec<Option<usize>>,
    /// Places of the rows that the network accounts for.
    pub rows: FxHashSet<(usize, u64)>,
    /// What it adds to the azimuths of bases, and the entries of the error of that.
    pub orientations: BTreeMap<usize, (Orientation, Turning)>,
    /// What came of it.
    pub report: NetworkSummary,
}

/// Adjusts what a job's shots give. The table's bases that take part get their adjusted places, and those that have
/// none are added to it.
///
/// # Errors
/// When a log cannot be read, or the network makes no sense.
pub fn adjust(job: &Job, table: &mut BaseTable, needs: &Needs) -> Result<Option<AdjustedNetwork>, RunError> {
    let Some(settings) = &job.network else { return Ok(None) };
    let shots = {
        let joiner = Joiner::new(table, &job.join);
        let reading = read::ShotReader {
            norths: Norths {
                table,
                declinations: needs.declinations,
                free_circles: job.has_free_circles(),
                sigma_orientation_rad: job.north.sigma_orientation_deg.to_radians(),
            },
            joiner: &joiner,
            catalogue: needs.catalogue,
            instrument_height_m: job.heights.instrument_height_m,
        };
        read::shots(needs.logs.shots_to_adjust(needs.rules)?, &reading)
    };
    let settled = build::settings(settings, job.units);
    let Some((built, adjustment)) = adjust_shots(&shots, table, settings, &settled)? else { return Ok(None) };
    let mut adjusted = AdjustedNetwork {
        base_of: vec![None; built.places.len()],
        rows: FxHashSet::default(),
        orientations: BTreeMap::new(),
        report: NetworkSummary::default(),
        shots,
        built,
        adjustment,
    };
    adjusted.move_bases(table, needs);
    adjusted.claim_rows();
    adjusted.report = account::summary(&adjusted, &settled, needs.logs);
    Ok(Some(adjusted))
}

/// Rounds in which names of several places are looked for once circles are oriented.
const ROUNDS: usize = 3;

/// Names without which a network that does not come to rest is tried.
const MOST_TRIED: usize = 50;

/// Builds and adjusts the network of shots.
fn adjust_shots(
    shots: &[NetShot],
    table: &BaseTable,
    rules: &job::NetworkSettings,
    settings: &network::Settings,
) -> Result<Option<(Built, Adjustment)>, RunError> {
    let made = |several: &BTreeSet<Target>, settings: &network::Settings| {
        let Some(mut built) = build::build(shots, table, rules, several) else { return Ok(None) };
        for (station, place) in built.network.stations.iter_mut().zip(&built.places) {
            if let Target::Stand(NetworkStand::Base(index)) = place {
                station.label.clone_from(&table.bases[*index].label);
            }
        }
        let adjustment = network::adjust(&built.network, settings)?;
        Ok(Some((built, adjustment)))
    };
    if rules.orientation != NetworkOrientation::Free {
        return made(&several::names(shots, table, &Zeros::North), settings);
    }
    // Sights between bases orient circles whatever the features' names stand for; the features themselves orient the others, and then
    // those that do not agree are found. Robust weights keep such names from turning the circles meanwhile.
    let mut zeros = Zeros::Circles(BTreeMap::new());
    let features: BTreeSet<Target> =
        shots.iter().filter(|shot| matches!(shot.to, Target::Feature(..))).map(|shot| shot.to.clone()).collect();
    let robust = network::Settings { robust: network::Robust::Danish, ..*settings };
    let mut left_out = features;
    for _ in 0..ROUNDS {
        let Some((mut built, mut adjustment)) = made(&left_out, &robust)? else { return Ok(None) };
        // One name of several places can keep a network from coming to rest: the first without which circles are oriented.
        let names = shots.iter().map(|shot| &shot.to).filter(|to| matches!(to, Target::Feature(..)));
        let suspects: BTreeSet<&Target> = names.filter(|name| !left_out.contains(*name)).collect();
        if adjustment.solved.is_empty() {
            for suspect in suspects.into_iter().take(MOST_TRIED) {
                let without: BTreeSet<Target> = left_out.iter().chain([suspect]).cloned().collect();
                let Some(other) = made(&without, &robust)? else { return Ok(None) };
                if !other.1.solved.is_empty() {
                    (built, adjustment) = other;
                    break;
                }
            }
        }
        zeros.learn(&built, &adjustment);
        let found = several::names(shots, table, &zeros);
        if found == left_out {
            break;
        }
        left_out = found;
    }
    made(&left_out, settings)
}

impl AdjustedNetwork {
    /// Whether it placed any station.
    pub fn has_placed(&self) -> bool {
        self.adjustment.solved.iter().any(|solved| !solved.stations.is_empty())
    }

    /// The bases of logs that the network is computed with: all on one datum.
    fn bases_with_log(&self, table: &BaseTable) -> Vec<Base> {
        let base = |place: &Target| match place {
            Target::Stand(NetworkStand::Base(index)) => Some(table.bases[*index].clone()),
            _ => None,
        };
        self.built.places.iter().filter_map(base).collect()
    }

    /// Gives bases their adjusted places and orientations.
    fn move_bases(&mut self, table: &mut BaseTable, needs: &Needs) {
        let with_log = self.bases_with_log(table);
        let mut bearings = vec![0u32; self.built.places.len()];
        for observation in self.built.network.observations.iter().filter(|o| o.kind.is_bearing()) {
            bearings[observation.from] = bearings[observation.from].saturating_add(1);
        }
        for (station, place) in self.built.places.iter().enumerate() {
            let Target::Stand(place) = place else { continue };
            let component = self.adjustment.solved.iter().position(|solved| solved.station(station).is_some());
            let solved = component.and_then(|number| self.adjustment.solved[number].station(station));
            let unknowns = component.and_then(|number| self.adjustment.solved[number].unknowns_of(station));
            let index = match (place, solved) {
                (NetworkStand::Base(index), _) => *index,
                (NetworkStand::Unknown(_), None) => continue,
                (NetworkStand::Unknown(name), Some(solved)) => {
                    // A network without any base of a log has no datum and is not solved.
                    let Some(beside) = nearest(&with_log, solved.position, &self.built.network.ellipsoid) else { continue };
                    let mut base = Base::without_log(name, beside);
                    if !solved.has_height {
                        base.heights = BaseHeights::default();
                    }
                    table.bases.push(base);
                    table.by_name.insert(name.clone(), Named::Base(table.bases.len() - 1));
                    table.bases.len() - 1
                }
            };
            self.base_of[station] = Some(index);
            let (Some(solved), Some(unknowns), Some(component)) = (solved, unknowns, component) else { continue };
            let ellipsoid = self.built.network.ellipsoid;
            let base = &mut table.bases[index];
            let kept = base.at.ellipsoid_height_m;
            base.at = Geodetic::from_earth_centred(solved.position, &ellipsoid);
            let mut covariance = solved.covariance;
            match base.heights.kind {
                HeightKind::None => {
                    base.at.ellipsoid_height_m = if base.from_network { base.at.ellipsoid_height_m } else { kept };
                    covariance.uu = base.covariance.uu;
                }
                _ => {
                    let undulation = base
                        .heights
                        .undulation
                        .and_then(|_| needs.geoid.undulation_m(&base.at, base.row.separation_m, &base.geoid_steps));
                    let height = base.at.ellipsoid_height_m;
                    base.heights.undulation = undulation;
                    match (base.heights.ellipsoid_m, undulation) {
                        (Some(_), n) => {
                            base.heights.ellipsoid_m = Some(height);
                            base.heights.orthometric_m = n.map(|n| height - n.metres);
                        }
                        (None, _) => base.heights.orthometric_m = Some(height),
                    }
                }
            }
            base.covariance = covariance;
            base.in_network = Some(InNetwork { network: component, unknowns: unknowns.place });
            base.adjusted = true;
            base.frame = LocalFrame::at(&base.at, &ellipsoid);
            base.earth_radius_m = ellipsoid.mean_radius_m(base.at.lat_rad);
            // The grid of a base that has a log of its own may be that of the log.
            if base.from_network || needs.names_grid {
                base.grid = needs.grid.grid_factors(base.at.lon_rad - needs.grid.meridian_rad(), base.at.lat_rad);
            }
            let by_azimuths = solved.orientation.map(|orientation| (orientation, unknowns.azimuths));
            let by_directions = solved.direction_orientation.map(|orientation| (orientation, unknowns.directions));
            if let Some((orientation, columns)) = by_azimuths.or(by_directions) {
                let (correction_rad, sigma_rad) = (orientation.value, orientation.sigma);
                let turning = columns.into_iter().map(|column| (ErrorId::new(Cause::Network, component, column), 1.0)).collect();
                let orientation = Orientation { correction_rad, sigma_rad, sights: bearings[station] };
                self.orientations.insert(index, (orientation, turning));
            }
        }
    }

    /// The entries that hang together, for the register.
    pub fn register(&self) -> Register {
        Register { networks: self.adjustment.solved.iter().map(Solved::correlated).collect() }
    }

    /// By component: the entries of what it was given from outside, each with what one standard error of it moves its unknowns by; none of one that is too
    /// large to say. What is of this network alone has no entry.
    pub fn given(&self) -> Vec<Option<FromOutside>> {
        let entry = |source: network::Source, axis: usize| match source {
            network::Source::Control(station) => Some(ErrorId::new(Cause::Position, self.base_of[station]?, axis)),
            network::Source::Orientation(station) => Some(ErrorId::new(Cause::Setup, self.base_of[station]?, 0)),
            network::Source::Shared(index) => *self.built.entries.get(index)?,
            network::Source::Scale(_) | network::Source::Constant(_) | network::Source::Observation(_) => None,
        };
        let named = |(source, axis, moved): (network::Source, usize, Vec<f64>)| Some((entry(source, axis)?, moved));
        let of = |solved: &Solved| solved.given().map(|given| given.into_iter().filter_map(named).collect());
        self.adjustment.solved.iter().map(of).collect()
    }

    /// The network accounts for a shot whose both ends it has placed and that gives a reading.
    fn claim_rows(&mut self) {
        let mut with_readings: BTreeSet<usize> = BTreeSet::new();
        for observation in &self.built.network.observations {
            let is_placed = |station: usize| self.adjustment.station(station).is_some();
            if is_placed(observation.from) && is_placed(observation.to) {
                with_readings.insert(observation.source);
            }
        }
        self.rows = with_readings.into_iter().map(|shot| self.shots[shot].record.place).collect();
    }
}

/// The base of some that lies nearest to a position; of equals the first.
fn nearest<'b>(bases: &'b [Base], position: EarthCentred, ellipsoid: &Ellipsoid) -> Option<&'b Base> {
    let apart = |base: &Base| {
        let at = base.at.to_earth_centred(ellipsoid);
        (0..3).map(|k| (at[k] - position[k]).powi(2)).sum::<f64>()
    };
    bases.iter().min_by(|a, b| apart(a).total_cmp(&apart(b)))
}
