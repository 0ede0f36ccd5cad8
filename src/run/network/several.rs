//! Names that stand for several places, found before anything is adjusted: full shots to them do not agree.
//!
//! Shots are compared where the azimuths of their bases have one zero: north, or what a circle is turned by so far. Shots from a
//! free circle that nothing has oriented yet are compared among themselves alone.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use super::build::Built;
use super::read::{NetShot, NetworkStand, Target};
use crate::geodesy::register::{Cause, ErrorId, Shares};
use crate::network::Adjustment;
use crate::records::shot::Readings;
use crate::shots::reduce::{Sight, Vector, reduce};
use crate::shots::repeats::{self, Judgement, Repeat};
use crate::shots::sighting::sigmas;
use crate::stations::base::BaseTable;
use crate::stations::errors;

/// What is known of the zeros of the bases' azimuths.
pub enum Zeros {
    /// They are north.
    North,
    /// By base that is oriented so far: what is added to its readings, and its standard error, in radians.
    Circles(BTreeMap<usize, (f64, f64)>),
}

impl Zeros {
    /// Takes over the orientations that an adjustment found.
    pub fn learn(&mut self, built: &Built, adjustment: &Adjustment) {
        let Zeros::Circles(known) = self else { return };
        for (station, place) in built.places.iter().enumerate() {
            if let (Target::Stand(NetworkStand::Base(base)), Some(solved)) = (place, adjustment.station(station))
                && let Some(orientation) = solved.direction_orientation
            {
                known.insert(*base, (orientation.value, orientation.sigma));
            }
        }
    }
}

/// The names whose full shots show that they stand for several places: the column names kinds of things.
pub fn names(shots: &[NetShot], table: &BaseTable, zeros: &Zeros) -> BTreeSet<Target> {
    let setup_rad = shots.iter().map(|shot| shot.sigma_orientation_rad).fold(0.0, f64::max);
    let turning = |base: usize| match zeros {
        Zeros::North => None,
        Zeros::Circles(known) => {
            let sigma_rad = known.get(&base).map_or(0.0, |(_, sigma_rad)| *sigma_rad);
            Some(vec![(ErrorId::new(Cause::Sights, base, 0), sigma_rad)])
        }
    };
    let turning: Vec<_> = (0..table.bases.len()).map(turning).collect();
    let origins = errors::origins(table, &turning, setup_rad, &Arc::default());
    // By name, and by the base whose zero alone the shots share.
    let mut groups: BTreeMap<(&Target, Option<usize>), Vec<Repeat>> = BTreeMap::new();
    for shot in shots {
        let (Target::Feature(..), NetworkStand::Base(base)) = (&shot.to, &shot.from) else { continue };
        let (zero, turn_rad) = match zeros {
            Zeros::North => (None, 0.0),
            Zeros::Circles(known) => match known.get(base) {
                Some((turn_rad, _)) => (None, *turn_rad),
                None => (Some(*base), 0.0),
            },
        };
        if let Some(repeat) = repeat(shot, *base, table, turn_rad) {
            groups.entry((&shot.to, zero)).or_default().push(repeat);
        }
    }
    let stands_for_several = |repeats: &Vec<Repeat>| {
        repeats.len() > 2 && matches!(repeats::judge(&origins, repeats), Ok(Judgement::NotOneFeature { .. }))
    };
    groups.into_iter().filter(|(_, repeats)| stands_for_several(repeats)).map(|((name, _), _)| name.clone()).collect()
}

/// A full shot as the test of repeats wants it.
fn repeat(shot: &NetShot, base: usize, table: &BaseTable, turn_rad: f64) -> Option<Repeat> {
    let sides = &shot.sides;
    let readings = Readings {
        slope_m: sides.slope_m,
        horizontal_m: sides.horizontal_m,
        vertical_m: sides.vertical_m,
        inclination_rad: sides.inclination_rad,
        ..Readings::default()
    };
    let triangle = readings.triangle()?;
    let sight = Sight {
        true_azimuth_rad: shot.sides.azimuth_rad? + turn_rad,
        triangle,
        instrument_height_m: shot.sides.instrument_height_m,
        target_height_m: shot.sides.target_height_m,
        refraction: shot.record.read.kit.refraction,
    };
    let sigmas = sigmas(&shot.record.read.kit, shot.sides.slope_m.or(shot.sides.horizontal_m)?);
    let shares = Shares { declination_rad: shot.sigma_declination_rad, ..shot.record.read.kit.shares() };
    let vector = Vector { shares, ..reduce(&sight, &sigmas, table.bases[base].earth_radius_m) };
    Some(Repeat { base, vector, echo: None, rise_m: shot.sides.instrument_height_m - shot.sides.target_height_m })
}
