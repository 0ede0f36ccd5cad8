//! Rows set by until others are known: for measurements and strings, and for the other shots of their feature.

use rustc_hash::FxHashSet;

use super::block::{Parsed, PartRead};
use super::composed::Collected;
use super::compute::Stage;
use super::repeated::Waiting;
use super::sighting::{Recent, Sighted};
use crate::geodesy::frame::full_circle_rad;
use crate::intake::columns::Quantity;
use crate::intake::delimited::Row;
use crate::records::names::name_print;
use crate::records::when::When;

use crate::intake::plan::Plan;
use crate::measure::Sighting;
use crate::measure::span::conditions::Conditions;
use crate::numeric::signs::{self, Signs};
use crate::output::columns::LayerKey;
use crate::output::layers::features::Feature;
use crate::records::echo::Echo;
use crate::records::ledger::{Fault, Flags};
use crate::records::triangle::Triangle;
use crate::shots::locate::Placed;
use crate::shots::repeats::Repeat;

impl Stage<'_> {
    /// Whether a shot waits for others of its feature, and the echo that it kept.
    pub(super) fn waits(&self, plan: &Plan, parsed: &Parsed, shot: &Sighted, record: &Feature) -> Option<Option<Echo>> {
        // The readings of one row are points of their own.
        if record.measure.is_some() || record.string.is_some() || plan.has_readings() {
            return None;
        }
        let echo = plan.echo(&parsed.rows, shot.row);
        let among = |prints: &FxHashSet<u64>| {
            !prints.is_empty() && record.feature.is_some_and(|feature| prints.contains(&name_print(record.code, feature)))
        };
        let is_measured = || matches!(shot.class.layer, LayerKey::Coded(_)) && among(&self.logs.measured);
        (echo == Some(Echo::Tracking) || among(self.repeated) || is_measured()).then_some(echo)
    }

    pub(super) fn waiting(
        &self,
        parsed: &Parsed,
        shot: &Sighted,
        record: &Feature,
        placed: Placed,
        echo: Option<Echo>,
        cells: Vec<String>,
    ) -> Waiting {
        let own = |text: Option<&str>| text.map(str::to_owned);
        Waiting {
            place: (parsed.file, shot.row.line.number),
            row: shot.row.line.text.to_owned(),
            feature: own(record.feature),
            code: own(record.code),
            shot: own(record.shot),
            role: own(record.role),
            echo: own(record.echo),
            when: record.when,
            repeat: Repeat { base: shot.read.base, vector: shot.vector, echo, rise_m: shot.rise_m },
            placed,
            end: shot.end,
            true_azimuth_rad: shot.true_azimuth_rad,
            declination_rad: shot.declination_rad,
            face_diameter_m: record.face_diameter_m,
            flags: record.flags,
            cells,
            signs: self.logs.carried_signs[parsed.file].clone(),
        }
    }

    /// A row that gives a measurement a part, and no point of its own.
    pub(super) fn part(
        &self,
        parsed: &Parsed,
        row: &Row,
        part: &PartRead,
        recent: &mut Option<Recent>,
    ) -> Result<Collected, Fault> {
        self.class(parsed, row)?;
        let read = &part.read;
        let (mut true_azimuth_rad, mut sigma_orientation_rad) = (None, self.sigma_orientation_rad);
        if let Some((north, azimuth_rad)) = read.azimuth {
            let north = self.north(parsed, row, part.base, north, read.when, &read.kit, &mut Flags::default(), recent)?;
            true_azimuth_rad = Some(full_circle_rad(azimuth_rad + north.turn_rad));
            sigma_orientation_rad = north.sigma_rad;
        }
        let base = &self.table.bases[part.base];
        let length_m = read.slope_m.or(read.horizontal_m).unwrap_or(0.0);
        let sighting = Sighting {
            role: self.text_of(parsed, row, Quantity::Role).unwrap_or_default(),
            label: self.label_of(parsed, row),
            shot: self.text_of(parsed, row, Quantity::Shot),
            place: (parsed.file, row.line.number),
            base: part.base,
            instant: read.when.and_then(|when| when.instant).map(|(instant, _)| instant),
            true_azimuth_rad,
            inclination_rad: read.inclination_rad,
            slope_m: read.slope_m,
            horizontal_m: read.horizontal_m,
            sigma_azimuth_rad: read.kit.sigma_azimuth_rad,
            sigma_orientation_rad,
            sigma_inclination_rad: read.kit.sigma_inclination_rad.hypot(read.kit.sigma_inclination_correction_rad),
            sigma_inclination_correction_rad: read.kit.sigma_inclination_correction_rad,
            sigma_distance_correction_m: read.kit.sigma_distance_correction_m,
            sigma_distance_m: read.kit.sigma_distance_m(length_m).hypot(read.kit.sigma_distance_correction_m),
            instrument_height_m: read.instrument_height_m.or(base.row.instrument_height_m).or(self.instrument_height_m),
            target_height_m: read.target_height_m,
            refraction: read.kit.refraction,
            vector: None,
        };
        Ok(self.with_names(parsed, row, sighting, read.when, true, |_, _| ("", Signs::POINT)))
    }

    /// A row that joins a string to a feature: nothing of it was read but names and time.
    pub(super) fn joining(&self, parsed: &Parsed, row: &Row) -> Collected {
        let plan = &self.logs.files[parsed.file].plan;
        let text = |quantity| plan.text(quantity, &parsed.rows, row);
        // It serves the order of the vertices alone: one that cannot be read leaves them in the order of the rows.
        let when = plan.when(text(Quantity::Date), text(Quantity::Time)).ok().flatten();
        let sighting = Sighting {
            role: self.text_of(parsed, row, Quantity::Role).unwrap_or_default(),
            label: self.label_of(parsed, row),
            shot: self.text_of(parsed, row, Quantity::Shot),
            place: (parsed.file, row.line.number),
            base: 0,
            instant: when.and_then(|when| when.instant).map(|(instant, _)| instant),
            true_azimuth_rad: None,
            inclination_rad: None,
            slope_m: None,
            horizontal_m: None,
            sigma_azimuth_rad: 0.0,
            sigma_orientation_rad: 0.0,
            sigma_inclination_rad: 0.0,
            sigma_inclination_correction_rad: 0.0,
            sigma_distance_m: 0.0,
            sigma_distance_correction_m: 0.0,
            instrument_height_m: None,
            target_height_m: 0.0,
            refraction: 0.0,
            vector: None,
        };
        self.with_names(parsed, row, sighting, when, true, |_, _| ("", Signs::POINT))
    }

    /// A mapped shot that belongs to a measurement or a string.
    pub(super) fn collected<'t>(
        &self,
        parsed: &Parsed,
        shot: &Sighted,
        feature: &Feature,
        cell: impl Fn(&Row, usize) -> (&'t str, Signs),
    ) -> Collected {
        let read = &shot.read.shot;
        let base = &self.table.bases[shot.read.base];
        let (slope_m, horizontal_m) = match read.triangle {
            Triangle::Slope { slope_m, .. } | Triangle::SlopeVertical { slope_m, .. } => (Some(slope_m), None),
            Triangle::Horizontal { horizontal_m, .. }
            | Triangle::HorizontalVertical { horizontal_m, .. }
            | Triangle::Level { horizontal_m } => (None, Some(horizontal_m)),
        };
        let length_m = slope_m.or(horizontal_m).unwrap_or(0.0);
        let sighting = Sighting {
            role: feature.role.unwrap_or_default().to_owned(),
            label: feature.shot.map_or_else(|| self.label_of(parsed, shot.row), |id| format!("shot {id}")),
            shot: feature.shot.map(str::to_owned),
            place: (parsed.file, shot.row.line.number),
            base: shot.read.base,
            instant: read.when.and_then(|when| when.instant).map(|(instant, _)| instant),
            true_azimuth_rad: Some(shot.true_azimuth_rad),
            inclination_rad: read.triangle.inclination_rad(),
            slope_m,
            horizontal_m,
            sigma_azimuth_rad: read.kit.sigma_azimuth_rad,
            sigma_orientation_rad: shot.sigma_orientation_rad,
            sigma_inclination_rad: read.kit.sigma_inclination_rad.hypot(read.kit.sigma_inclination_correction_rad),
            sigma_inclination_correction_rad: read.kit.sigma_inclination_correction_rad,
            sigma_distance_correction_m: read.kit.sigma_distance_correction_m,
            sigma_distance_m: read.kit.sigma_distance_m(length_m).hypot(read.kit.sigma_distance_correction_m),
            instrument_height_m: read.instrument_height_m.or(base.row.instrument_height_m).or(self.instrument_height_m),
            target_height_m: read.target_height_m.unwrap_or(0.0),
            refraction: read.kit.refraction,
            vector: Some(shot.vector),
        };
        self.with_names(parsed, shot.row, sighting, read.when, false, cell)
    }

    pub(super) fn with_names<'t>(
        &self,
        parsed: &Parsed,
        row: &Row,
        sighting: Sighting,
        when: Option<When>,
        is_part: bool,
        cell: impl Fn(&Row, usize) -> (&'t str, Signs),
    ) -> Collected {
        let of = |quantity| self.text_of(parsed, row, quantity);
        let code = of(Quantity::Code);
        let known = self.coded.and_then(|coded| Some((coded, coded.catalogue.find(code.as_deref()?)?)));
        let cells = known.map(|(coded, code)| {
            coded
                .columns_of(code)
                .map(|index| (index, cell(row, index)))
                .filter(|(_, (text, _))| !text.is_empty())
                .map(|(index, (text, signs))| (index, text.to_owned(), signs))
                .collect()
        });
        let of_order = self.logs.files[parsed.file].plan.claim_of(Quantity::Order);
        let signs_of_order = of_order.map_or(Signs::POINT, |claim| claim.signs);
        Collected {
            sighting,
            measure: of(Quantity::Measure),
            feature: of(Quantity::Feature),
            string: of(Quantity::String),
            order: of(Quantity::Order).and_then(|cell| signs::real(&cell, signs_of_order)),
            code,
            cells: cells.unwrap_or_default(),
            when,
            level: of(Quantity::Level),
            conditions: Conditions {
                air_temperature_c: of(Quantity::AirTemperature),
                wind_m_s: of(Quantity::Wind),
                conductor_temperature_c: of(Quantity::ConductorTemperature),
                load_a: of(Quantity::Load),
                words: of(Quantity::Conditions),
            },
            row: row.line.text.to_owned(),
            is_part,
            is_told: false,
            is_flagged: false,
        }
    }

    pub(super) fn text_of(&self, parsed: &Parsed, row: &Row, quantity: Quantity) -> Option<String> {
        let mut joined = String::new();
        let found = self.logs.files[parsed.file].plan.name(quantity, &parsed.rows, row, &mut joined)?;
        Some(crate::records::names::label(found))
    }

    pub(super) fn label_of(&self, parsed: &Parsed, row: &Row) -> String {
        self.text_of(parsed, row, Quantity::Shot)
            .map_or_else(|| format!("{}:{}", self.logs.files[parsed.file].info.name, row.line.number), |id| format!("shot {id}"))
    }
}
