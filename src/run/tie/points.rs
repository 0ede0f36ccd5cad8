//! The points of a local frame that are known on the Earth too: bases by their names, and features that were shot from them.

use std::collections::BTreeMap;

use crate::geodesy::frame::Geodetic;
use crate::geodesy::register::Located;
use crate::numeric::signs::Signs;
use crate::records::names::label;
use crate::records::shot::{Cells, KeptShot, RowPlace, ShotRecord, Words};
use crate::run::adjust::Oriented;
use crate::run::prepare::Prepared;
use crate::shots::north::Norths;
use crate::shots::sighting::{Sighting, TrueAzimuth};
use crate::stations::base::{BaseTable, HeightKind};
use crate::stations::errors;
use crate::stations::join::Joiner;

/// A point of the frame, as one base or one shot gives it.
pub struct FramePoint {
    /// Name for people.
    pub name: String,
    /// Index among the known points.
    pub known: usize,
    /// Whether it is a base.
    pub is_base: bool,
    /// Where it is in the frame, with all that it errs by.
    pub located: Located,
    /// Height over the level of the frame's zero, where it is known.
    pub height_m: Option<f64>,
}

/// No columns are carried.
struct NoCells;

impl Cells for NoCells {
    fn cell(&self, _: usize, _: usize) -> (&str, Signs) {
        ("", Signs::POINT)
    }
}

/// The points of the frame that have the names of known ones.
pub fn find_common(
    prepared: &Prepared,
    table: &BaseTable,
    oriented: &Oriented,
    known: &BTreeMap<String, usize>,
) -> Vec<FramePoint> {
    let ellipsoid = |base: usize| table.datums[table.bases[base].datum].crs.ellipsoid();
    let mut points = Vec::new();
    for (index, base) in table.bases.iter().enumerate() {
        let Some(known) = known.get(&base.label) else { continue };
        let located = Located {
            at: base.at.to_earth_centred(ellipsoid(index)),
            frame: base.frame,
            own: Default::default(),
            arms: errors::position(table, index),
        };
        let height_m = (base.heights.kind != HeightKind::None).then_some(base.at.ellipsoid_height_m);
        points.push(FramePoint { name: base.label.clone(), known: *known, is_base: true, located, height_m });
    }
    let norths = prepared.norths(table);
    let joiner = Joiner::new(table, &prepared.job.join);
    for shot in prepared.shot_logs.shots_named(&prepared.shot_rules, &|name| known.contains_key(name)) {
        let Some(name) = shot.feature_key.as_deref().map(label) else { continue };
        let Some((base, located, has_height)) = located(&shot, prepared, &norths, &joiner, oriented) else { continue };
        let height_m = has_height.then(|| Geodetic::from_earth_centred(located.at, ellipsoid(base)).ellipsoid_height_m);
        points.push(FramePoint { known: known[&name], name, is_base: false, located, height_m });
    }
    points
}

/// A shot as a point: its base, the point, whether it has a height.
fn located(
    shot: &KeptShot,
    prepared: &Prepared,
    norths: &Norths,
    joiner: &Joiner,
    oriented: &Oriented,
) -> Option<(usize, Located, bool)> {
    let readings = &shot.read.readings;
    if shot.read.fault.is_some() {
        return None;
    }
    let base = joiner.find(shot.base.as_deref(), readings.when, shot.log_names_bases).ok()?;
    let of_base = &norths.table.bases[base];
    let (kind, reading_rad) = readings.bearing()?;
    let north = norths.resolve_north(base, kind, readings.date(), &mut None).ok()?;
    let turn = norths.oriented(&north, base, oriented.orientations[base]).ok()?;
    let (file, line) = shot.place;
    let place = RowPlace { file, line, text: &shot.row, reading: shot.reading };
    let sighting = Sighting {
        record: ShotRecord::new(&shot.read, Words::default(), place, 0, &NoCells),
        base,
        azimuth: Some(TrueAzimuth::new(reading_rad, &turn)),
        instrument_height_m: readings
            .instrument_height_m
            .or(of_base.row.instrument_height_m)
            .or(prepared.job.heights.instrument_height_m),
        flags: Default::default(),
    };
    let (vector, _) = sighting.reduced(of_base).ok()??;
    let has_height = vector.up_m.is_some() && of_base.heights.kind != HeightKind::None;
    Some((base, vector.located(&oriented.origins[base]), has_height))
}
