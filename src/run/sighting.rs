//! One row to a sighting: its code, its north, its reduction.

use super::coded::RowCoding;
use super::stage::Stage;
use crate::geodesy::crs::CrsError;
use crate::geodesy::frame::Geodetic;
use crate::intake::shot_block::ShotBlock;
use crate::records::ledger::{Fault, Flags, Reason};
use crate::records::shot::{ShotRecord, Words};
use crate::shots::locate::{Placed, end_point};
use crate::shots::north::Recent;
use crate::shots::reduce::Vector;
use crate::shots::sighting::{Sighting, TrueAzimuth};
use crate::stations::base::Base;

/// A full shot on its way through the stages.
pub(super) struct Sighted<'r> {
    pub(super) sighting: Sighting<'r>,
    pub(super) azimuth: TrueAzimuth,
    pub(super) vector: Vector,
    pub(super) end: Geodetic,
    pub(super) has_height: bool,
    /// Instrument height less target height, in metres.
    pub(super) rise_m: f64,
    pub(super) class: RowCoding<'r>,
}

impl Stage<'_> {
    /// Places shots, runs of one datum at a time.
    pub(super) fn place<'s>(&self, sighted: impl Iterator<Item = &'s Sighted<'s>>) -> Result<Vec<Placed>, CrsError> {
        let sighted: Vec<&Sighted> = sighted.collect();
        let mut placed = Vec::with_capacity(sighted.len());
        let datum_of = |shot: &Sighted| self.table.bases[shot.sighting.base].datum;
        for run in sighted.chunk_by(|a, b| datum_of(a) == datum_of(b)) {
            let points: Vec<(Geodetic, bool, &Base)> =
                run.iter().map(|shot| (shot.end, shot.has_height, &self.table.bases[shot.sighting.base])).collect();
            placed.extend(self.locator.place(datum_of(run[0]), &points)?);
        }
        Ok(placed)
    }

    /// North and reduction of one shot from a base, with the suspicions so far. `recent` is the declination of the shot before.
    pub(super) fn sight<'r>(
        &'r self,
        block: &'r ShotBlock,
        index: usize,
        (base, flags): (usize, Flags),
        recent: &mut Option<Recent>,
    ) -> Result<Sighted<'r>, Fault> {
        let none = || Fault::new(Reason::Incomplete, "", "", Reason::Incomplete.advice());
        let record = block.record(index).ok_or_else(none)?;
        let class = self.class(&record.words, block)?;
        let sighting = self.sighting(record, base, flags, block, recent)?;
        let base = &self.table.bases[base];
        let azimuth = sighting.azimuth.ok_or_else(none)?;
        let (vector, rise_m) = sighting.reduced(base)?.ok_or_else(none)?;
        let (end, has_height) = end_point(base, self.table, &vector);
        Ok(Sighted { sighting, azimuth, vector, end, has_height, rise_m, class })
    }

    /// A record on its base, whatever of it was read.
    pub(super) fn sighting<'r>(
        &self,
        record: ShotRecord<'r>,
        base: usize,
        mut flags: Flags,
        block: &ShotBlock,
        recent: &mut Option<Recent>,
    ) -> Result<Sighting<'r>, Fault> {
        let (row, readings) = (record.row(), record.readings());
        let mut azimuth = None;
        if let Some((kind, reading_rad)) = readings.bearing() {
            let north = self.norths.resolve_north(base, kind, readings.date(), recent);
            let north = north.map_err(|none| none.fault(block, row))?;
            north.flag(&mut flags);
            let turn = self.norths.oriented(&north, base, self.orientations[base]);
            azimuth = Some(TrueAzimuth::new(reading_rad, &turn.map_err(|none| none.fault(block, row))?));
        }
        let of_base = self.table.bases[base].row.instrument_height_m;
        let instrument_height_m = readings.instrument_height_m.or(of_base).or(self.instrument_height_m);
        Ok(Sighting { record, base, azimuth, instrument_height_m, flags })
    }

    /// What the catalogue says of a row.
    pub(super) fn class(&self, words: &Words, block: &ShotBlock) -> Result<RowCoding<'_>, Fault> {
        self.coded.map_or_else(|| Ok(RowCoding::default()), |coded| coded.class(words, block.header_of_code()))
    }
}
