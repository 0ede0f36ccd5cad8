//! What the page keeps of the batches that pass: records of every layer, by the names of their fields. Nothing is taken from
//! elsewhere, so that the page never tells more than the layers do.

use std::collections::BTreeMap;
use std::path::PathBuf;

use rustc_hash::FxHashMap;

use super::feature_columns::FeatureColumns;
use super::items::{
    MeasuredPoint, Measurement, MeasurementPoint, PageBase, PageFeature, PageHeld, PageLayer, PageLine, PageResidual,
    PageSuspect, Profiled,
};
use super::read::{NamedColumns, RecentTexts, finite, integer, owned, real, text};
use super::sample::{CountGrid, MOST_KEPT, Share};
use crate::job::{LayerName, catalogue::GeometryKind};
use crate::output::columns::{Batch, Layer, LayerKey};
use crate::output::{contract::Setup, style};
use crate::records::ledger::{Entry, Outcome};
use crate::units::Units;

/// Records of one kind that a page lists at the most; the rest is counted, and stands in the layers.
const MOST_LISTED: usize = 2_000;
/// Rows shown of one reason or of one set of flags.
const MOST_OF_A_KIND: usize = 50;
/// Bases, lines and areas that are kept: beyond it a map shows nothing.
const MOST_DRAWN: usize = 5_000;

/// The records that a page shows.
pub struct Collected {
    /// The job's title, or its name.
    pub title: String,
    /// Whether the layers' CRS has eastings and northings.
    pub projected: bool,
    /// Metres in the unit of the layers' CRS, where that is a length.
    pub unit_m: f64,
    /// The CRS of the layers as WKT.
    pub wkt: String,
    /// The user's own file under the map.
    pub background: Option<PathBuf>,
    /// The units that values are shown in.
    pub units: Units,
    /// Name of that unit.
    pub unit_name: String,
    /// Whether lines of sight may be drawn: they are where the layers have them.
    pub sights: bool,
    /// The layers of point features.
    pub layers: Vec<PageLayer>,
    /// Point features.
    pub features: Share<PageFeature>,
    /// All of them, counted in cells.
    pub cells: CountGrid,
    /// 95 % radius of each that has one, in metres.
    pub radii_m: Vec<f32>,
    /// Half of the 95 % interval of the height of each that has one, in metres.
    pub heights_m: Vec<f32>,
    /// Features by code, in the words of the catalogue where it has some.
    pub codes: BTreeMap<String, u64>,
    /// First and last local day.
    pub days: Option<(String, String)>,
    /// West, south, east, north of everything with a place.
    pub bounds: Option<[f64; 4]>,
    /// Bases.
    pub bases: Share<PageBase>,
    /// Lines.
    pub lines: Share<PageLine>,
    /// Areas.
    pub areas: Share<PageLine>,
    /// Values of measurements.
    pub measurements: Share<Measurement>,
    /// Points of measurements.
    pub parts: Share<MeasurementPoint>,
    /// Shots that measurements are made of, where they are features.
    pub measured: Share<MeasuredPoint>,
    /// Shots of profiles.
    pub profiles: Share<Profiled>,
    /// Readings of the network, the greatest normalised residuals first once finished.
    pub residuals: Vec<PageResidual>,
    /// Readings of the network.
    pub readings: u64,
    /// Rows held, by reason.
    pub held: BTreeMap<String, (u64, Vec<PageHeld>)>,
    /// Rows mapped with suspicions, by the set of these.
    pub suspects: BTreeMap<String, (u64, Vec<PageSuspect>)>,
    described: Vec<Layer>,
    recent: RecentTexts,
}

impl Collected {
    /// Begins with what is known before the first record.
    pub fn new(setup: &Setup) -> Collected {
        let job = setup.job;
        let looks = style::looks(&setup.layers);
        let is_features = |layer: &Layer| {
            layer.geometry == GeometryKind::Point && matches!(layer.key, LayerKey::Coded(_) | LayerKey::Own(LayerName::Features))
        };
        let shown = setup.layers.iter().zip(looks).filter(|(layer, _)| is_features(layer));
        Collected {
            title: job.title.clone().unwrap_or_else(|| job.name.clone()),
            projected: setup.crs.kind() == crate::geodesy::crs::CrsKind::Projected,
            unit_m: setup.crs.unit_factor(),
            wkt: setup.crs.wkt2().unwrap_or_default(),
            background: job.report.background.clone(),
            units: job.units,
            unit_name: setup.crs.unit_name().to_owned(),
            sights: setup.layers.iter().any(|layer| layer.key == LayerName::SightLines.into()),
            layers: shown.map(|(layer, look)| PageLayer { key: layer.key, title: layer.title.clone(), look }).collect(),
            features: Share::new(MOST_KEPT),
            cells: CountGrid::default(),
            radii_m: Vec::new(),
            heights_m: Vec::new(),
            codes: BTreeMap::new(),
            days: None,
            bounds: None,
            bases: Share::new(MOST_DRAWN),
            lines: Share::new(MOST_DRAWN),
            areas: Share::new(MOST_DRAWN),
            measurements: Share::new(MOST_LISTED),
            parts: Share::new(MOST_DRAWN),
            measured: Share::new(MOST_DRAWN),
            profiles: Share::new(MOST_DRAWN),
            residuals: Vec::new(),
            readings: 0,
            held: BTreeMap::new(),
            suspects: BTreeMap::new(),
            described: setup.layers.clone(),
            recent: RecentTexts::default(),
        }
    }

    /// Takes records of a layer.
    pub fn write(&mut self, key: LayerKey, batch: &Batch) {
        let Some(layer) = self.described.iter().position(|layer| layer.key == key) else { return };
        let layers = std::mem::take(&mut self.described);
        let named = NamedColumns::new(&layers[layer], batch);
        match key {
            LayerKey::Coded(_) | LayerKey::Own(LayerName::Features) => {
                match (self.layers.iter().position(|layer| layer.key == key), layers[layer].geometry) {
                    (Some(index), _) => self.features(index, &named, batch),
                    (None, GeometryKind::Line) => self.lines(&named, batch, false),
                    (None, GeometryKind::Area) => self.lines(&named, batch, true),
                    (None, _) => {}
                }
            }
            // The page draws coarse layers by their records.
            LayerKey::Cells(_) => {}
            LayerKey::Own(name) => match name {
                LayerName::Bases => self.bases(&named, batch),
                LayerName::Lines => self.lines(&named, batch, false),
                LayerName::Areas => self.lines(&named, batch, true),
                LayerName::Measurements => self.measurements(&named, batch),
                LayerName::Parts => self.parts(&named, batch),
                LayerName::Profiles => self.profiles(&named, batch),
                LayerName::Residuals => self.residuals(&named, batch),
                LayerName::Ledger => self.ledger(&named, batch),
                _ => {}
            },
        }
        self.described = layers;
    }

    /// Takes a row that was held.
    pub fn held(&mut self, file: &str, entry: &Entry) {
        let Outcome::Held(fault) = &entry.outcome else { return };
        let (count, rows) = self.held.entry(fault.reason.code().to_owned()).or_default();
        *count += 1;
        if rows.len() < MOST_OF_A_KIND {
            rows.push(PageHeld {
                file: file.to_owned(),
                line: entry.line,
                column: fault.column.clone(),
                value: fault.value.clone(),
                sentence: fault.sentence.clone(),
            });
        }
    }

    fn features(&mut self, layer: usize, named: &NamedColumns, batch: &Batch) {
        let column = |name| named.column(name);
        let columns = FeatureColumns::find(named);
        let [radius, height95, code, code_title] = ["radius95_m", "height95_m", "code", "code_title"].map(column);
        let day = column("time_local").or(column("day"));
        self.radii_m.extend(finite(radius));
        self.heights_m.extend(finite(height95));
        let (mut codes, mut recent_day) = (FxHashMap::<&str, u64>::default(), "");
        for i in 0..batch.len {
            let Some(at) = batch.positions(i).first() else { continue };
            self.see(at.x, at.y);
            self.cells.see(at.x, at.y);
            if let Some(code) = text(code_title, i).or(text(code, i)) {
                *codes.entry(code).or_default() += 1;
            }
            match text(day, i).and_then(|text| text.get(..10)) {
                Some(day) if day != recent_day => {
                    recent_day = day;
                    self.see_day(day);
                }
                _ => {}
            }
            if text(columns.measure, i).is_some() {
                self.measured.offer_of(text(columns.texts[0], i).unwrap_or_default(), || columns.measured(i, at));
            }
            self.features.offer(|| columns.feature(layer, i, at, &mut self.recent));
        }
        for (code, features) in codes {
            *self.codes.entry(code.to_owned()).or_default() += features;
        }
    }

    fn see(&mut self, x: f64, y: f64) {
        let [west, south, east, north] = self.bounds.get_or_insert([x, y, x, y]);
        (*west, *south, *east, *north) = (west.min(x), south.min(y), east.max(x), north.max(y));
    }

    fn see_day(&mut self, day: &str) {
        match &mut self.days {
            None => self.days = Some((day.to_owned(), day.to_owned())),
            Some((first, last)) => {
                if day < first.as_str() {
                    *first = day.to_owned();
                } else if day > last.as_str() {
                    *last = day.to_owned();
                }
            }
        }
    }

    fn bases(&mut self, named: &NamedColumns, batch: &Batch) {
        let column = |name| named.column(name);
        let name = column("base");
        let reals = [
            "sigma_horizontal_m",
            "sigma_vertical_m",
            "convergence_deg",
            "azimuth_correction_deg",
            "sigma_azimuth_correction_deg",
            "spread_m",
            "hdop",
        ]
        .map(column);
        let (shots, backsights, epochs) = (column("shots"), column("backsights"), column("epochs"));
        let texts = ["fix_kind", "flags", "source_file", "placed_by"].map(column);
        let line = column("source_line");
        for i in 0..batch.len {
            let Some(at) = batch.positions(i).first() else { continue };
            self.see(at.x, at.y);
            let of = |index: usize| real(reals[index], i);
            self.bases.offer(|| PageBase {
                name: owned(name, i),
                at: [at.x, at.y],
                sigma_horizontal_m: of(0),
                sigma_vertical_m: of(1),
                convergence_deg: of(2),
                correction_deg: of(3),
                sigma_correction_deg: of(4),
                spread_m: of(5),
                hdop: of(6),
                shots: integer(shots, i).unwrap_or_default(),
                backsights: integer(backsights, i),
                epochs: integer(epochs, i),
                fix_kind: owned(texts[0], i),
                flags: owned(texts[1], i),
                file: owned(texts[2], i),
                placed_by: owned(texts[3], i),
                line: integer(line, i),
            });
        }
    }

    fn lines(&mut self, named: &NamedColumns, batch: &Batch, areas: bool) {
        let column = |name| named.column(name);
        let [name, code, origin, bases, warnings] = ["name", "code", "origin", "bases", "warnings"].map(column);
        let (flags, caution) = (column("flags"), column("caution"));
        let reals = ["length_ellipsoid_m", "sigma_length_m", "area_ellipsoid_m2", "sigma_area_m2"].map(column);
        for i in 0..batch.len {
            let corners = batch.positions(i);
            corners.iter().for_each(|at| self.see(at.x, at.y));
            let share = if areas { &mut self.areas } else { &mut self.lines };
            share.offer(|| PageLine {
                name: owned(name, i),
                code: owned(code, i),
                origin: owned(origin, i),
                corners: corners.iter().map(|at| [at.x, at.y, at.z]).collect(),
                length_m: real(reals[0], i),
                sigma_length_m: real(reals[1], i),
                area_m2: real(reals[2], i),
                sigma_area_m2: real(reals[3], i),
                bases: owned(bases, i),
                warnings: owned(warnings, i),
                flags: owned(flags, i),
                caution: owned(caution, i),
            });
        }
    }

    fn measurements(&mut self, named: &NamedColumns, batch: &Batch) {
        let texts = [
            "measure",
            "name",
            "quantity",
            "target",
            "method",
            "warnings",
            "bases",
            "source_file",
            "conditions",
            "caution",
            "time_local",
            "against_user_threshold",
        ]
        .map(|name| named.column(name));
        let reals = ["value", "low95", "high95", "user_threshold_m"].map(|name| named.column(name));
        let line = named.column("source_line");
        for i in 0..batch.len {
            let of = |index: usize| owned(texts[index], i);
            self.measurements.offer_of(text(texts[1], i).unwrap_or_default(), || Measurement {
                measure: of(0),
                name: of(1),
                quantity: of(2),
                target: of(3),
                method: of(4),
                warnings: of(5),
                bases: of(6),
                file: of(7),
                conditions: of(8),
                caution: of(9),
                time: of(10),
                against_threshold: of(11),
                line: integer(line, i).unwrap_or_default(),
                value: real(reals[0], i),
                half95: (real(reals[2], i) - real(reals[1], i)) / 2.0,
                threshold_m: real(reals[3], i),
            });
        }
    }

    fn parts(&mut self, named: &NamedColumns, batch: &Batch) {
        let [measure, name, role] = ["measure", "name", "role"].map(|name| named.column(name));
        for i in 0..batch.len {
            let Some(at) = batch.positions(i).first() else { continue };
            self.parts.offer_of(text(name, i).unwrap_or_default(), || MeasurementPoint {
                measure: owned(measure, i),
                name: owned(name, i),
                role: owned(role, i),
                at: [at.x, at.y, at.z],
            });
        }
    }

    fn profiles(&mut self, named: &NamedColumns, batch: &Batch) {
        let texts = ["profile", "shot", "code", "height_kind"].map(|name| named.column(name));
        let reals = ["chainage_m", "height_m", "sigma_height_m"].map(|name| named.column(name));
        for i in 0..batch.len {
            let of = |index: usize| owned(texts[index], i);
            self.profiles.offer_of(text(texts[0], i).unwrap_or_default(), || Profiled {
                profile: of(0),
                shot: of(1),
                code: of(2),
                height_kind: of(3),
                chainage_m: real(reals[0], i),
                height_m: real(reals[1], i),
                sigma_height_m: real(reals[2], i),
            });
        }
    }

    fn residuals(&mut self, named: &NamedColumns, batch: &Batch) {
        let texts = ["kind", "from", "to", "unit", "outcome", "source_file"].map(|name| named.column(name));
        let reals = ["residual", "redundancy", "normalised", "critical", "smallest_blunder"].map(|name| named.column(name));
        let line = named.column("source_line");
        for i in 0..batch.len {
            let of = |index: usize| owned(texts[index], i);
            self.readings += 1;
            self.residuals.push(PageResidual {
                kind: of(0),
                from: of(1),
                to: of(2),
                unit: of(3),
                outcome: of(4),
                file: of(5),
                line: integer(line, i),
                residual: real(reals[0], i),
                redundancy: real(reals[1], i),
                normalised: real(reals[2], i),
                critical: real(reals[3], i),
                smallest_blunder: real(reals[4], i),
            });
        }
        if self.residuals.len() > 2 * MOST_LISTED {
            self.keep_greatest();
        }
    }

    /// Orders the readings by the size of their normalised residuals, those that nothing checks behind, and drops the least.
    pub fn keep_greatest(&mut self) {
        let size = |residual: &PageResidual| if residual.normalised.is_nan() { -1.0 } else { residual.normalised.abs() };
        self.residuals.sort_by(|a, b| size(b).total_cmp(&size(a)));
        self.residuals.truncate(MOST_LISTED);
        self.cells.settle();
    }

    fn ledger(&mut self, named: &NamedColumns, batch: &Batch) {
        let [record, file, code, sentence] = ["record", "source_file", "code", "sentence"].map(|name| named.column(name));
        let line = named.column("source_line");
        for i in 0..batch.len {
            let Some(codes) = text(code, i).filter(|_| text(record, i) != Some("held")) else { continue };
            let (count, rows) = self.suspects.entry(codes.to_owned()).or_default();
            *count += 1;
            if rows.len() < MOST_OF_A_KIND {
                rows.push(PageSuspect {
                    file: owned(file, i),
                    line: integer(line, i).unwrap_or_default(),
                    sentence: owned(sentence, i),
                });
            }
        }
    }
}
