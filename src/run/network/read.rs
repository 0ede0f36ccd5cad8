//! The shots of a job that may check each other, as an adjustment takes them.

use std::collections::HashSet;

use crate::job::catalogue::Catalogue;
use crate::network::Sides;
use crate::records::echo::Echo;
use crate::records::ledger::Reason;
use crate::records::roles::{BACKSIGHT, FORESIGHT};
use crate::records::shot::{KeptShot, ReadRow};
use crate::shots::north::Norths;
use crate::shots::sighting::TrueAzimuth;
use crate::stations::base::Named;
use crate::stations::join::{Joiner, Unfound};

/// A base by its index, or by a name that no base log has.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum NetworkStand {
    /// In the table of bases.
    Base(usize),
    /// Known by its shots alone.
    Unknown(String),
}

/// What a shot is to.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Target {
    /// A base or known point.
    Stand(NetworkStand),
    /// A feature, by its code and name.
    Feature(Option<String>, String),
}

/// A shot that may take part.
pub struct NetShot {
    /// What the log has.
    pub record: KeptShot,
    /// Where it was taken.
    pub from: NetworkStand,
    /// What it is to.
    pub to: Target,
    /// What it gives the adjustment.
    pub sides: Sides,
    /// The declination in its azimuth; NaN for none.
    pub declination_rad: f64,
    /// Standard error of the orientation that it shares with the azimuths of its base alone.
    pub sigma_orientation_rad: f64,
    /// Standard error of the declination in it, which all of the network share.
    pub sigma_declination_rad: f64,
    /// Which entry of the register that error is.
    pub declination_entry: u32,
}

/// What the reading needs.
pub struct ShotReader<'j> {
    /// What brings azimuths to true north; it has the bases.
    pub norths: Norths<'j>,
    pub joiner: &'j Joiner<'j>,
    /// The catalogue: rows that it holds take no part.
    pub catalogue: Option<&'j Catalogue>,
    /// Of the job: instrument height.
    pub instrument_height_m: Option<f64>,
}

/// The shots that may take part, in the order of the logs.
pub fn shots(records: Vec<KeptShot>, reading: &ShotReader) -> Vec<NetShot> {
    let shots: Vec<NetShot> = records.into_iter().filter_map(|record| reading.shot(record)).collect();
    // One row twice is one shot where an id or a time tells that it is one row; the audit holds the second.
    let mut seen = HashSet::new();
    let is_first = |shot: &NetShot| {
        let identity = shot.record.identity().map(|row| (shot.record.reading, row.to_owned()));
        identity.is_none_or(|identity| seen.insert(identity))
    };
    shots.into_iter().filter(is_first).collect()
}

/// The sides of a full shot, or of a row that lacks some and whose others can be understood.
fn sides(read: &ReadRow) -> Option<Sides> {
    let readings = &read.readings;
    let Some(fault) = &read.fault else {
        return Some(at_centre(Sides::from_triangle(&readings.triangle()?), readings.face_diameter_m));
    };
    let is_partial =
        matches!(fault.reason, Reason::NoDistance | Reason::NoAzimuth | Reason::NoInclination | Reason::DirectionOnly);
    (is_partial && read.unreadable.is_none()).then_some(Sides {
        inclination_rad: readings.inclination_rad,
        slope_m: readings.slope_m,
        horizontal_m: readings.horizontal_m,
        ..Sides::default()
    })
}

/// With the distance to the centre of what was shot at its near face: half the diameter on, at the same height.
fn at_centre(mut sides: Sides, face_diameter_m: Option<(f64, f64)>) -> Sides {
    let Some((diameter_m, _)) = face_diameter_m else { return sides };
    let half_m = diameter_m / 2.0;
    sides.horizontal_m = sides.horizontal_m.map(|horizontal_m| horizontal_m + half_m);
    if let Some(slope_m) = sides.slope_m {
        let rise_m = sides.vertical_m.or(sides.inclination_rad.map(|inclination| slope_m * inclination.sin())).unwrap_or(0.0);
        let run_m = (slope_m * slope_m - rise_m * rise_m).max(0.0).sqrt() + half_m;
        sides.slope_m = Some(run_m.hypot(rise_m));
        sides.inclination_rad = sides.inclination_rad.map(|_| rise_m.atan2(run_m));
    } else if let (Some(inclination), Some(run_m)) = (sides.inclination_rad, sides.horizontal_m) {
        sides.inclination_rad = Some(((run_m - half_m) * inclination.tan()).atan2(run_m));
    }
    sides
}

impl ShotReader<'_> {
    fn shot(&self, record: KeptShot) -> Option<NetShot> {
        let (readings, table) = (&record.read.readings, self.norths.table);
        if !record.stands_alone || readings.echo == Some(Echo::Tracking) {
            return None;
        }
        let to = match record.role.as_deref() {
            Some(BACKSIGHT | FORESIGHT) => Target::Stand(self.named(record.feature_key.as_deref()?)?),
            _ => Target::Feature(record.code.clone(), record.feature()?),
        };
        let is_held = |catalogue: &Catalogue| {
            catalogue.holds_unknown && record.code.as_deref().and_then(|code| catalogue.find(code)).is_none()
        };
        if matches!(to, Target::Feature(..)) && self.catalogue.is_some_and(is_held) {
            return None;
        }
        let mut sides = sides(&record.read)?;
        let from = match self.joiner.find(record.base.as_deref(), readings.when, record.log_names_bases) {
            Ok(index) => NetworkStand::Base(index),
            Err(unfound) => self.unknown(&unfound, record.base.as_deref())?,
        };
        if to == Target::Stand(from.clone()) {
            return None;
        }
        // Declinations change little over the reach of a network: of a base without a position the first base's is taken.
        let (index, own_height_m) = match &from {
            NetworkStand::Base(index) => (*index, table.bases[*index].row.instrument_height_m),
            NetworkStand::Unknown(_) => (0, None),
        };
        let (mut declination_rad, mut sigma_orientation_rad, mut sigma_declination_rad) = (f64::NAN, 0.0, 0.0);
        let mut declination_entry = 0;
        if let Some((kind, azimuth_rad)) = readings.bearing() {
            let north = self.norths.resolve_north(index, kind, readings.date(), &mut None).ok()?;
            sides.azimuth_rad = Some(TrueAzimuth::without_orientation(azimuth_rad, &north).azimuth_rad);
            (declination_rad, sigma_declination_rad) = (north.declination_rad, north.sigma_declination_rad);
            sigma_orientation_rad = self.norths.sigma_orientation_rad;
            declination_entry = north.entry;
        }
        let has_vertical = sides.inclination_rad.is_some() || sides.vertical_m.is_some();
        // Without one the row is left to the main way, which says what is missing.
        let instrument_height_m = readings.instrument_height_m.or(own_height_m).or(self.instrument_height_m);
        sides.instrument_height_m = instrument_height_m.or((!has_vertical).then_some(0.0))?;
        let is_partial = record.read.fault.is_some();
        sides.target_height_m = readings.target_height_m.or((is_partial || !has_vertical).then_some(0.0))?;
        Some(NetShot {
            from,
            to,
            sides,
            declination_rad,
            sigma_orientation_rad,
            sigma_declination_rad,
            declination_entry,
            record,
        })
    }

    /// A base or known point by name; none where the name stands for what cannot be used.
    fn named(&self, name: &str) -> Option<NetworkStand> {
        match self.norths.table.by_name.get(name) {
            Some(Named::Base(index)) => Some(NetworkStand::Base(*index)),
            Some(_) => None,
            None => Some(NetworkStand::Unknown(name.to_owned())),
        }
    }

    /// The base of a row whose base is in no log.
    fn unknown(&self, unfound: &Unfound, name: Option<&str>) -> Option<NetworkStand> {
        let name = name.filter(|_| unfound.is_unknown())?;
        (!self.norths.table.by_name.contains_key(name)).then(|| NetworkStand::Unknown(name.to_owned()))
    }
}
