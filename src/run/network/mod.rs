//! The network at work: shots that check each other are read ahead of the stream, adjusted together, and give the bases
//! better places and orientations, bases without a position one, and features their points. What the network cannot place goes
//! the main way.

mod build;
mod read;
mod settle;

use std::collections::{BTreeMap, BTreeSet};

use rustc_hash::FxHashSet;

use super::RunError;
use super::files::ShotLogs;
use crate::geodesy::crs::Crs;
use crate::geodesy::frame::{Geodetic, LocalFrame};
use crate::geodesy::geoid::Geoid;
use crate::intake::shots::ShotRules;
use crate::job::Job;
use crate::job::catalogue::Catalogue;
use crate::network::{self, Adjustment, NoteKind, Source};
use crate::shots::locate::Declinations;
use crate::stations::base::{Base, BaseHeights, BaseTable, HeightKind, Named, label};
use crate::stations::join::Joiner;
use crate::stations::orientation::Orientation;
use build::Built;
use read::{NetShot, Place, Reading, Target};
pub use settle::settle;

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
    pub geoid: &'j Geoid,
}

/// A network after its adjustment.
pub struct Adjusted {
    /// The shots, those that take part among them.
    shots: Vec<NetShot>,
    built: Built,
    adjustment: Adjustment,
    /// By station: the index of its base.
    base_of: Vec<Option<usize>>,
    /// Places of the rows that the network accounts for.
    pub rows: FxHashSet<(usize, u64)>,
    /// What it adds to the azimuths of bases.
    pub orientations: BTreeMap<usize, Orientation>,
    /// What came of it, in sentences.
    pub report: Vec<String>,
}

/// Adjusts what a job's shots give. The table's bases that take part get their adjusted places, and those that have
/// none are added to it.
///
/// # Errors
/// When a log cannot be read, or the network makes no sense.
pub fn adjust(job: &Job, table: &mut BaseTable, needs: &Needs) -> Result<Option<Adjusted>, RunError> {
    let Some(settings) = &job.network else { return Ok(None) };
    let shots = {
        let joiner = Joiner::new(table, &job.join);
        read::shots(&Reading {
            logs: needs.logs,
            table,
            joiner: &joiner,
            rules: needs.rules,
            declinations: needs.declinations,
            catalogue: needs.catalogue,
            instrument_height_m: job.heights.instrument_height_m,
            sigma_orientation_rad: job.north.sigma_orientation_deg.to_radians(),
        })?
    };
    let Some(mut built) = build::build(&shots, table, settings) else { return Ok(None) };
    for (station, place) in built.network.stations.iter_mut().zip(&built.places) {
        if let Target::Place(Place::Base(index)) = place {
            station.label.clone_from(&table.bases[*index].label);
        }
    }
    let settled = build::settings(settings);
    let adjustment = network::adjust(&built.network, &settled).map_err(|bad| RunError::Nothing(bad.text))?;
    let mut adjusted = Adjusted {
        base_of: vec![None; built.places.len()],
        rows: FxHashSet::default(),
        orientations: BTreeMap::new(),
        report: Vec::new(),
        shots,
        built,
        adjustment,
    };
    adjusted.move_bases(table, needs);
    adjusted.claim_rows();
    adjusted.report = adjusted.sentences(&settled, needs.logs);
    Ok(Some(adjusted))
}

impl Adjusted {
    /// Gives bases their adjusted places and orientations.
    fn move_bases(&mut self, table: &mut BaseTable, needs: &Needs) {
        let reference = table.bases[0].clone();
        for (station, place) in self.built.places.iter().enumerate() {
            let Target::Place(place) = place else { continue };
            let solved = self.adjustment.station(station);
            let index = match (place, solved) {
                (Place::Base(index), _) => *index,
                (Place::Unknown(_), None) => continue,
                (Place::Unknown(name), Some(solved)) => {
                    let mut base =
                        Base { label: label(name), from_network: true, flags: Default::default(), ..reference.clone() };
                    base.row.name.clone_from(name);
                    base.row.origins.clear();
                    base.row.windows.clear();
                    base.row.extras.iter_mut().for_each(String::clear);
                    (base.row.occupation, base.row.instrument_height_m, base.row.separation_m) = (None, None, None);
                    base.row.quality = Default::default();
                    if !solved.has_height {
                        base.heights = BaseHeights::default();
                    }
                    table.bases.push(base);
                    table.by_name.insert(name.clone(), Named::Base(table.bases.len() - 1));
                    table.bases.len() - 1
                }
            };
            self.base_of[station] = Some(index);
            let Some(solved) = solved else { continue };
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
                    let undulation =
                        base.heights.undulation.and_then(|_| needs.geoid.undulation_m(&base.at, base.row.separation_m));
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
            base.adjusted = true;
            base.frame = LocalFrame::at(&base.at, &ellipsoid);
            base.earth_radius_m = ellipsoid.mean_radius_m(base.at.lat_rad);
            // The grid of a base that has a log of its own may be that of the log.
            if base.from_network || needs.names_grid {
                base.grid = needs.grid.grid_factors(base.at.lon_rad - needs.grid.meridian_rad(), base.at.lat_rad);
            }
            if let Some(orientation) = solved.orientation.or(solved.direction_orientation) {
                let sights = self.built.network.observations.iter().filter(|o| o.from == station && o.kind.is_bearing()).count();
                self.orientations.insert(
                    index,
                    Orientation {
                        correction_rad: orientation.value,
                        sigma_rad: orientation.sigma,
                        sights: u32::try_from(sights).unwrap_or(u32::MAX),
                    },
                );
            }
        }
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
        self.rows = with_readings.into_iter().map(|shot| self.shots[shot].place).collect();
    }

    /// What came of it: each component, its tests, misclosures and warnings.
    fn sentences(&self, settings: &network::Settings, logs: &ShotLogs) -> Vec<String> {
        let network = &self.built.network;
        let label = |station: usize| network.stations[station].label.as_str();
        let mut said = Vec::new();
        if !self.built.several.is_empty() {
            said.push(format!(
                "{} feature names, such as \"{}\", stand for shots to several places and are left out.",
                self.built.several.len(),
                self.built.several[0]
            ));
        }
        for note in &self.adjustment.notes {
            said.push(note.text.clone());
        }
        for solved in &self.adjustment.solved {
            let names: Vec<&str> = solved.stations.iter().map(|station| label(station.station)).collect();
            let shown = if names.len() > 8 {
                format!("{} … {}", names[..4].join(", "), names[names.len() - 1])
            } else {
                names.join(", ")
            };
            let readings = solved.residuals.iter().filter(|r| matches!(r.source, Source::Observation(_))).count();
            said.push(format!(
                "Network of {} stations ({shown}), {readings} readings, {} unknowns. {}",
                names.len(),
                solved.unknowns,
                solved.global.sentence()
            ));
            for misclosure in &solved.misclosures {
                let route: Vec<&str> = misclosure.stations.iter().map(|station| label(*station)).collect();
                let mut sentence = format!(
                    "Traverse {}: {:.1} m long, closes within {:.2} m (east {:+.2}, north {:+.2}), 1 : {:.0}",
                    route.join(" - "),
                    misclosure.length_m,
                    misclosure.linear_m(),
                    misclosure.east_m,
                    misclosure.north_m,
                    misclosure.ratio()
                );
                if let Some(up_m) = misclosure.up_m {
                    sentence.push_str(&format!(", height {up_m:+.2} m"));
                }
                if let Some(angle) = misclosure.angular_rad {
                    sentence.push_str(&format!(", angles {:+.2} deg", angle.to_degrees()));
                }
                said.push(format!("{sentence}; before adjustment."));
            }
            for rejection in &solved.rejected {
                let row = self.row_of(rejection.suspect.source, logs);
                said.push(format!("Rejected by test: {row}{}", rejection.suspect.sentence(network)));
            }
            if let Some(suspect) = &solved.suspect {
                let remedy = match settings.reject {
                    network::Reject::Propose => "It is kept; reject = \"auto\" under [network] takes such readings out.",
                    network::Reject::Auto => "It is kept, since another reading fits the blunder as well.",
                };
                let row = self.row_of(suspect.source, logs);
                said.push(format!("Fails its test: {row}{} {remedy}", suspect.sentence(network)));
            }
            let warnings = solved.notes.iter().filter(|note| note.kind != NoteKind::NoHeight);
            said.extend(warnings.map(|note| note.text.clone()));
        }
        if let Ok(classes) = network::variance_components(network, settings) {
            for class in classes {
                let (Some(factor), Some(sigma)) = (class.factor, class.factor_sigma) else { continue };
                let (value, unit) = match class.class {
                    network::Class::Azimuth | network::Class::Inclination => (class.sigma.to_degrees(), "deg"),
                    network::Class::Distance | network::Class::Height => (class.sigma, "m"),
                };
                said.push(format!(
                    "The {} readings scatter {factor:.2} times as much as the job says (standard error of that {sigma:.2}): {value:.3} {unit}, from {} readings.",
                    class.class.name(),
                    class.readings
                ));
            }
        }
        said
    }

    /// File and line of what an observation comes from; nothing for a position.
    fn row_of(&self, source: Source, logs: &ShotLogs) -> String {
        let Source::Observation(index) = source else { return String::new() };
        let (file, line) = self.shots[self.built.network.observations[index].source].place;
        format!("{}:{line}: ", logs.files[file].info.name)
    }
}
