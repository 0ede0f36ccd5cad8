//! Rows set by until others are known: for measurements and strings, and for the other shots of their feature.

use std::f64::consts::FRAC_PI_2;

use rustc_hash::FxHashSet;

use super::composed::row::CollectedRow;
use super::computed::Waiting;
use super::repeated::RepeatedShot;
use super::sighting::Sighted;
use super::stage::Stage;
use crate::geodesy::register::Shares;
use crate::intake::shot_block::ShotBlock;
use crate::measure;
use crate::numeric::signs::Signs;
use crate::output::columns::LayerKey;
use crate::records::echo::Echo;
use crate::records::ledger::{Fault, Flags};
use crate::records::names::{label, name_print};
use crate::records::shot::{Cells, ShotRecord};
use crate::records::when::When;
use crate::shots::locate::Placed;
use crate::shots::north::Recent;
use crate::shots::reduce::Vector;
use crate::shots::repeats::Repeat;
use crate::shots::sighting::{Sighting, sigmas};

impl Stage<'_> {
    /// Whether a shot waits for others of its feature.
    pub(super) fn waits(&self, record: &ShotRecord, block: &ShotBlock, layer: LayerKey) -> bool {
        let words = &record.words;
        // The readings of one row are points of their own.
        if words.measure.is_some() || words.string.is_some() || block.has_readings() {
            return false;
        }
        let among = |prints: &FxHashSet<u64>| {
            let is_in = |feature: &str| prints.contains(&name_print(words.code, feature));
            !prints.is_empty() && words.feature.as_deref().is_some_and(is_in)
        };
        let is_measured = || matches!(layer, LayerKey::Coded(_)) && among(&self.logs.measured);
        record.readings().echo == Some(Echo::Tracking) || among(self.repeated) || is_measured()
    }

    /// A shot that waits for others of its feature.
    pub(super) fn waiting<'t>(&self, shot: &Sighted, block: &ShotBlock<'t>) -> Waiting<'t> {
        let record = &shot.sighting.record;
        let name = record.words.feature.as_deref().map(|feature| name_print(record.words.code, feature));
        let line = block.line(record.row());
        Waiting { line, file: record.place.file, base: shot.sighting.base, name, flags: shot.sighting.flags }
    }

    /// The shot, among others of its feature.
    pub(super) fn row(&self, shot: &Sighted, placed: Placed, number: usize) -> RepeatedShot {
        let own = |text: Option<&str>| text.map(str::to_owned);
        let record = &shot.sighting.record;
        let (words, readings) = (&record.words, record.readings());
        RepeatedShot {
            number,
            place: record.file_and_line(),
            row: record.place.text.to_owned(),
            feature: own(words.feature.as_deref()),
            code: own(words.code),
            shot: own(words.shot.as_deref()),
            role: own(words.role),
            echo: own(words.echo),
            when: readings.when,
            repeat: Repeat { base: shot.sighting.base, vector: shot.vector, echo: readings.echo, rise_m: shot.rise_m },
            placed,
            end: shot.end,
            true_azimuth_rad: shot.azimuth.azimuth_rad,
            declination_rad: shot.azimuth.declination_rad,
            face_diameter_m: readings.face_diameter_m.map_or(f64::NAN, |(diameter_m, _)| diameter_m),
            flags: shot.sighting.flags,
            cells: (0..self.logs.carried.len()).map(|column| record.cell(column).0.to_owned()).collect(),
            signs: self.logs.carried_signs[record.place.file].clone(),
        }
    }

    /// A row that gives a measurement a part, and no point of its own.
    pub(super) fn part(
        &self,
        block: &ShotBlock,
        record: ShotRecord,
        base: usize,
        recent: &mut Option<Recent>,
    ) -> Result<CollectedRow, Fault> {
        self.class(&record.words, block)?;
        let index = record.row();
        let sighting = self.sighting(record, base, Flags::default(), block, recent)?;
        let readings = *sighting.record.readings();
        let sides = (readings.slope_m, readings.horizontal_m, readings.inclination_rad);
        let mut part = self.member(&sighting, sides, None);
        part.label = self.label_of(block, index);
        let mut collected = self.with_names(block, index, part, readings.when, |_| ("", Signs::POINT));
        collected.is_part = true;
        Ok(collected)
    }

    /// A row that joins a string to a feature: nothing of it was read but names and time.
    pub(super) fn joining(&self, block: &ShotBlock, index: usize) -> CollectedRow {
        // It serves the order of the vertices alone: one that cannot be read leaves them in the order of the rows.
        let when = block.when(index);
        let place = block.place(index);
        let sighting = measure::RoleShot {
            role: String::new(),
            label: self.label_of(block, index),
            shot: None,
            place: (place.file, place.line),
            base: 0,
            instant: when.and_then(|when| when.instant).map(|(instant, _)| instant),
            true_azimuth_rad: None,
            inclination_rad: None,
            slope_m: None,
            horizontal_m: None,
            sigma_azimuth_rad: 0.0,
            sigma_inclination_rad: 0.0,
            sigma_distance_m: 0.0,
            shares: Shares::default(),
            instrument_height_m: None,
            target_height_m: 0.0,
            refraction: 0.0,
            vector: None,
        };
        let mut collected = self.with_names(block, index, sighting, when, |_| ("", Signs::POINT));
        collected.is_part = true;
        collected
    }

    /// A mapped shot that belongs to a measurement or a string.
    pub(super) fn collected(&self, block: &ShotBlock, shot: &Sighted) -> CollectedRow {
        let record = &shot.sighting.record;
        let readings = record.readings();
        let triangle = readings.triangle();
        let (slope_m, horizontal_m) = triangle.map_or((None, None), |triangle| triangle.slope_or_horizontal_m());
        // A row by itself tells no side of the zenith; its vector does.
        let inclination_rad =
            triangle.and_then(|triangle| triangle.inclination_rad()).map(|angle| angle.clamp(-FRAC_PI_2, FRAC_PI_2));
        let mut member = self.member(&shot.sighting, (slope_m, horizontal_m, inclination_rad), Some(shot.vector));
        member.label = self.label_of(block, record.row());
        self.with_names(block, record.row(), member, readings.when, |column| block.cell(record.row(), column))
    }

    /// A sighting for a measurement, by its slope and horizontal distance and its inclination.
    fn member(
        &self,
        sighting: &Sighting,
        (slope_m, horizontal_m, inclination_rad): (Option<f64>, Option<f64>, Option<f64>),
        vector: Option<Vector>,
    ) -> measure::RoleShot {
        let (record, kit) = (&sighting.record, &sighting.record.read.kit);
        let sigmas = sigmas(kit, slope_m.or(horizontal_m).unwrap_or(0.0));
        measure::RoleShot {
            role: String::new(),
            label: String::new(),
            shot: None,
            place: record.file_and_line(),
            base: sighting.base,
            instant: record.readings().instant(),
            true_azimuth_rad: sighting.azimuth.map(|azimuth| azimuth.azimuth_rad),
            inclination_rad,
            slope_m,
            horizontal_m,
            sigma_azimuth_rad: sigmas.azimuth_rad,
            sigma_inclination_rad: sigmas.inclination_rad,
            sigma_distance_m: sigmas.distance_m,
            shares: sighting.shares(),
            instrument_height_m: sighting.instrument_height_m,
            target_height_m: record.readings().target_height_m.unwrap_or(0.0),
            refraction: kit.refraction,
            vector,
        }
    }

    fn with_names<'t>(
        &self,
        block: &ShotBlock,
        index: usize,
        mut sighting: measure::RoleShot,
        when: Option<When>,
        cell: impl Fn(usize) -> (&'t str, Signs),
    ) -> CollectedRow {
        let membership = block.membership(index);
        let known = self.coded.and_then(|coded| Some((coded, coded.catalogue.find(membership.code.as_deref()?)?)));
        let cells = known.map(|(coded, code)| {
            coded
                .columns_of(code)
                .map(|column| (column, cell(column)))
                .filter(|(_, (text, _))| !text.is_empty())
                .map(|(column, (text, signs))| (column, text.to_owned(), signs))
                .collect()
        });
        sighting.role = membership.role.unwrap_or_default();
        sighting.shot = membership.shot;
        CollectedRow {
            sighting,
            measure: membership.measure,
            feature: membership.feature,
            string: membership.string,
            order: membership.order,
            code: membership.code,
            cells: cells.unwrap_or_default(),
            when,
            level: membership.level,
            conditions: membership.conditions,
            row: block.place(index).text.to_owned(),
            is_part: false,
            is_told: false,
            is_flagged: false,
        }
    }

    /// A row for people: its shot id, or its place in the log.
    fn label_of(&self, block: &ShotBlock, index: usize) -> String {
        let mut joined = String::new();
        match block.shot_id(index, &mut joined) {
            Some(id) => format!("shot {}", label(id)),
            None => format!("{}:{}", self.logs.files[block.file].info.name, block.place(index).line),
        }
    }
}
