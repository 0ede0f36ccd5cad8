//! From shots to a network: stations, readings, and the names that cannot be one feature left out.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use super::read::{NetShot, NetworkStand, Target};
use crate::geodesy::REFRACTION;
use crate::geodesy::register::{Cause, ErrorId};
use crate::job;
use crate::network::{Control, Network, Rangefinder, ReadingErrors, Settings, SharedError, SightLine, Station, readings};
use crate::records::names::label;
use crate::stations::base::{Base, BaseTable, HeightKind};
use crate::units::Units;

/// A network and what its stations and readings stand for.
pub struct Built {
    /// The network.
    pub network: Network,
    /// By station.
    pub places: Vec<Target>,
    /// By place: its station.
    pub station_of: BTreeMap<Target, usize>,
    /// By shot: whether it takes part.
    pub takes_part: Vec<bool>,
    /// Names of features that are left out, since they stand for several places.
    pub several: Vec<String>,
    /// Instruments of the network by name.
    instrument_of: HashMap<String, usize>,
    /// Shared errors of the network by quantity, instrument and correction.
    shared_of: HashMap<(String, String, [u64; 2]), usize>,
    /// By shared error of the network: its entry of the register; none where shots have it from several.
    pub entries: Vec<Option<ErrorId>>,
}

/// The settings of the adjustment.
pub fn settings(job: &job::NetworkSettings, units: Units) -> Settings {
    Settings {
        alpha: job.alpha,
        power: job.power,
        alpha_global: job.alpha_global,
        reject: job.reject,
        robust: job.robust,
        units,
        ..Settings::default()
    }
}

/// Builds the network of shots, without the names that stand for several places. Only bases of one datum go together, that of
/// the first base.
pub fn build(shots: &[NetShot], table: &BaseTable, rules: &job::NetworkSettings, several: &BTreeSet<Target>) -> Option<Built> {
    let first = table.bases.first()?;
    let usable = |place: &NetworkStand| match place {
        NetworkStand::Base(index) => table.bases[*index].datum == first.datum,
        NetworkStand::Unknown(_) => true,
    };
    let takes_part: Vec<bool> = shots
        .iter()
        .map(|shot| {
            let target = match &shot.to {
                Target::Stand(place) => usable(place),
                feature => !several.contains(feature),
            };
            target && usable(&shot.from)
        })
        .collect();
    let refraction = shots.iter().zip(&takes_part).find(|(_, takes)| **takes).map(|(shot, _)| shot.record.read.kit.refraction);
    let mut built = Built {
        network: Network {
            ellipsoid: *table.datums[first.datum].crs.ellipsoid(),
            refraction: refraction.unwrap_or(REFRACTION),
            stations: Vec::new(),
            instruments: Vec::new(),
            shared: Vec::new(),
            observations: Vec::new(),
        },
        places: Vec::new(),
        station_of: BTreeMap::new(),
        takes_part,
        several: several.iter().map(words).collect(),
        instrument_of: HashMap::new(),
        shared_of: HashMap::new(),
        entries: Vec::new(),
    };
    let finds_instrument = rules.sigma_scale_ppm.is_some() || rules.sigma_constant_m.is_some();
    for (source, shot) in shots.iter().enumerate() {
        if !built.takes_part[source] {
            continue;
        }
        let from = built.station(&Target::Stand(shot.from.clone()), table);
        let to = built.station(&shot.to, table);
        let instrument =
            finds_instrument.then(|| built.instrument(shot.record.instrument.as_deref().unwrap_or("the instrument"), rules));
        built.add(source, shot, from, to, instrument, rules);
    }
    Some(built)
}

impl Built {
    fn station(&mut self, place: &Target, table: &BaseTable) -> usize {
        if let Some(known) = self.station_of.get(place) {
            return *known;
        }
        let base = match place {
            Target::Stand(NetworkStand::Base(index)) => table.bases.get(*index),
            _ => None,
        };
        let control = base.map(|base| control(base, table));
        self.network.stations.push(Station {
            label: words(place),
            start: control.map(|control| control.position),
            control,
            sigma_orientation_rad: 0.0,
        });
        self.places.push(place.clone());
        self.station_of.insert(place.clone(), self.places.len() - 1);
        self.places.len() - 1
    }

    fn instrument(&mut self, name: &str, rules: &job::NetworkSettings) -> usize {
        if let Some(known) = self.instrument_of.get(name) {
            return *known;
        }
        self.instrument_of.insert(name.to_owned(), self.network.instruments.len());
        self.network.instruments.push(Rangefinder {
            label: name.to_owned(),
            sigma_scale: rules.sigma_scale_ppm.unwrap_or(0.0) * 1e-6,
            sigma_constant_m: rules.sigma_constant_m.unwrap_or(0.0),
        });
        self.network.instruments.len() - 1
    }

    /// The readings of a shot.
    fn add(
        &mut self,
        source: usize,
        shot: &NetShot,
        from: usize,
        to: usize,
        instrument: Option<usize>,
        rules: &job::NetworkSettings,
    ) {
        let free = rules.orientation == job::NetworkOrientation::Free;
        if shot.sides.azimuth_rad.is_some() && !free {
            let known = &mut self.network.stations[from].sigma_orientation_rad;
            *known = known.max(shot.sigma_orientation_rad);
        }
        let length_m = shot.sides.slope_m.or(shot.sides.horizontal_m).unwrap_or(0.0);
        let sigma_centre_m = shot.record.read.readings.face_diameter_m.map_or(0.0, |(_, sigma_m)| sigma_m / 2.0);
        let sigma_distance_m = shot.record.read.kit.sigma_distance_m(length_m).hypot(sigma_centre_m);
        let shared = self.shared(shot, free);
        let kit = &shot.record.read.kit;
        let errors = ReadingErrors {
            sigma_azimuth_rad: kit.sigma_azimuth_rad,
            sigma_inclination_rad: kit.sigma_inclination_rad,
            sigma_distance_m,
            sigma_vertical_m: shot.sides.vertical_m.map(|vertical_m| kit.sigma_distance_m(vertical_m)),
            ..shared
        };
        let line = SightLine { from, to, has_free_circle: free, instrument, source };
        self.network.observations.extend(readings(&line, &shot.sides, &errors));
    }

    /// The errors that the readings of a shot share with others: of the declination, of its instrument's corrections.
    fn shared(&mut self, shot: &NetShot, free: bool) -> ReadingErrors {
        let kit = &shot.record.read.kit;
        // The orientation of a circle holds what all its azimuths share.
        let azimuth = if free || shot.sides.azimuth_rad.is_none() {
            [None; 2]
        } else {
            let correction = (kit.azimuth_correction_rad, kit.sigma_azimuth_correction_rad);
            [self.declination(shot), self.correction("azimuth", shot, correction)]
        };
        let inclination = (kit.inclination_correction_rad, kit.sigma_inclination_correction_rad);
        let distance = (kit.distance_correction_m, kit.sigma_distance_correction_m);
        ReadingErrors {
            shared_azimuth: azimuth,
            shared_inclination: shot.sides.inclination_rad.and_then(|_| self.correction("inclination", shot, inclination)),
            shared_distance: self.correction("distance", shot, distance),
            ..ReadingErrors::default()
        }
    }

    /// The declination, one error for the whole network; the greatest standard error of its shots stands for all.
    fn declination(&mut self, shot: &NetShot) -> Option<usize> {
        let sigma = shot.sigma_declination_rad;
        if sigma <= 0.0 {
            return None;
        }
        let index = *self.shared_of.entry((String::new(), String::new(), [0; 2])).or_insert_with(|| {
            self.network.shared.push(SharedError { label: "the declination".into(), sigma });
            self.network.shared.len() - 1
        });
        let known = &mut self.network.shared[index].sigma;
        *known = known.max(sigma);
        // Of one model, whatever the place: the network takes it as one.
        self.enter(index, ErrorId::new(Cause::Declination, shot.declination_entry as usize % 2, 0));
        Some(index)
    }

    /// Keeps which entry of the register a shared error is, as long as it is one.
    fn enter(&mut self, index: usize, id: ErrorId) {
        match self.entries.get_mut(index) {
            None => self.entries.push(Some(id)),
            Some(known) => *known = known.filter(|known| *known == id),
        }
    }

    /// A correction of an instrument, one error for all its readings of one calibration.
    fn correction(&mut self, of: &str, shot: &NetShot, (value, sigma): (f64, f64)) -> Option<usize> {
        if sigma <= 0.0 {
            return None;
        }
        let instrument = shot.record.instrument.as_deref().unwrap_or("the instrument");
        let key = (of.to_owned(), instrument.to_owned(), [value.to_bits(), sigma.to_bits()]);
        let index = *self.shared_of.entry(key).or_insert_with(|| {
            self.network.shared.push(SharedError { label: format!("the {of} correction of {instrument}"), sigma });
            self.network.shared.len() - 1
        });
        let cause = match of {
            "azimuth" => Cause::AzimuthCorrection,
            "inclination" => Cause::InclinationCorrection,
            _ => Cause::DistanceCorrection,
        };
        self.enter(index, ErrorId::new(cause, shot.record.read.kit.calibration as usize, 0));
        Some(index)
    }
}

/// The measured position of a base.
fn control(base: &Base, table: &BaseTable) -> Control {
    let mut covariance = base.covariance;
    if base.heights.kind == HeightKind::None {
        covariance.uu = f64::INFINITY;
        (covariance.eu, covariance.nu) = (0.0, 0.0);
    }
    Control { position: base.at.to_earth_centred(table.datums[base.datum].crs.ellipsoid()), covariance }
}

/// The name of a station for people.
pub fn words(place: &Target) -> String {
    match place {
        Target::Stand(NetworkStand::Base(_)) => String::new(),
        Target::Stand(NetworkStand::Unknown(name)) => label(name),
        Target::Feature(_, name) => name.clone(),
    }
}
