//! The one door that an output leaves by: what a catalogue keeps coarse does not pass it exactly, in whatever form.
//!
//! The rule: whoever has the output, the text of the job and the program gets no nearer to a place that is kept coarse, nor
//! to a base, than its cell. Bases count, since the places lie within sight of them. Stages before this one compute with
//! exact places and know nothing of it; `check`, which writes nothing, shows them.

mod account;
pub mod rules;

use std::collections::{BTreeMap, BTreeSet, HashSet};

use crate::job::catalogue::Catalogue;
use crate::job::{Job, LayerName};
use crate::output::columns::{Batch, Cell, Column, Geometries, Layer, LayerKey, NO_HEIGHT, Position, Texts};
use crate::output::layers::values;
use crate::records::ledger::{Entry, Flag};
use crate::records::roles::JOIN;
use crate::records::roles::{BACKSIGHT, FORESIGHT};
use rules::Rule;

/// What stands in for a row that is withheld.
const WITHHELD: &str = "(withheld: the catalogue keeps places coarse)";

/// Rows that belong together, as far as a coarse place is one of them.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Guarded {
    /// Measurements by kind and name.
    pub measurements: BTreeSet<(String, String)>,
    /// Strings by name.
    pub strings: BTreeSet<String>,
    /// Strings with the features that they join to.
    pub joins: Vec<(String, String)>,
}

/// A place that stands in the text of a job whose catalogue keeps places coarse.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "{name} under [{table}.values] is a place in the text of the job, and the catalogue keeps places coarse: summary.json has the job's \
     text. Put the place into a log"
)]
pub struct PlaceInJob {
    /// Its key.
    pub name: String,
    /// Its table.
    pub table: &'static str,
}

/// What may leave.
#[derive(Debug, Default)]
pub struct Disclosure {
    discreet: Option<Discreet>,
}

/// How places are kept coarse.
#[derive(Debug)]
struct Discreet {
    /// Side in metres of the greatest cells: those of bases.
    base_cell_m: f64,
    /// Side in metres of the cells of layers of the catalogue.
    cells_m: BTreeMap<usize, f64>,
    /// Names of the catalogue's layers.
    layers: Vec<String>,
    /// Metres in the unit of the grid.
    grid_unit_m: f64,
    guarded: Guarded,
    /// Names of features whose places are kept coarse.
    names: HashSet<String>,
    /// By layer: the rule of each field as the stages make it.
    rules: BTreeMap<LayerKey, Vec<Rule>>,
    /// By layer: places of the fields that tell a record's measurement or string: kind and name.
    groups: BTreeMap<LayerKey, (usize, usize)>,
    quantities: BTreeMap<LayerKey, usize>,
    /// By layer of points: places of the fields of role and flags.
    signs: BTreeMap<LayerKey, (usize, usize)>,
    /// Places of the ledger's fields of record and code.
    ledger: Option<(usize, usize)>,
    /// Measurements and strings that left: kind and name.
    told: BTreeSet<(String, String)>,
}

impl Disclosure {
    /// Of an output whose grid has this many metres in its unit.
    pub fn new(catalogue: Option<&Catalogue>, grid_unit_m: f64) -> Disclosure {
        let Some(catalogue) = catalogue.filter(|catalogue| catalogue.has_coarse()) else { return Disclosure::default() };
        let coarse = catalogue.layers.iter().enumerate().filter_map(|(index, layer)| Some((index, layer.coarse_cell_m?)));
        Disclosure {
            discreet: Some(Discreet {
                base_cell_m: catalogue.greatest_cell_m().unwrap_or_default(),
                cells_m: coarse.collect(),
                layers: catalogue.layers.iter().map(|layer| layer.id.clone()).collect(),
                grid_unit_m,
                guarded: Guarded::default(),
                names: HashSet::new(),
                rules: BTreeMap::new(),
                groups: BTreeMap::new(),
                quantities: BTreeMap::new(),
                signs: BTreeMap::new(),
                ledger: None,
                told: BTreeSet::new(),
            }),
        }
    }

    /// Whether places are kept coarse.
    pub fn is_discreet(&self) -> bool {
        self.discreet.is_some()
    }

    /// What the text of a job gives away by itself; none where it gives away nothing.
    pub fn fault_of(&self, job: &Job) -> Option<PlaceInJob> {
        self.discreet.as_ref()?;
        let tables = std::iter::once(("bases", &job.bases)).chain(job.known.iter().map(|known| ("known", known)));
        for (table, bases) in tables {
            for name in std::iter::once(&bases.log).chain(bases.per_file.values()).flat_map(|log| log.values.keys()) {
                let is_place = ["lat", "lon", "east", "north"].iter().any(|place| name.starts_with(place));
                if is_place {
                    return Some(PlaceInJob { name: name.clone(), table });
                }
            }
        }
        None
    }

    /// The layers as they may leave.
    pub fn layers(&mut self, mut layers: Vec<Layer>) -> Vec<Layer> {
        let Some(discreet) = &mut self.discreet else { return layers };
        layers.retain(|layer| match layer.key {
            LayerKey::Own(name) => rules::is_written(name),
            LayerKey::Coded(_) => true,
            LayerKey::Cells(_) => false,
        });
        for layer in &mut layers {
            discreet.prepare(layer);
        }
        layers
    }

    /// Which measurements and strings have a coarse place among their rows.
    pub fn guard(&mut self, guarded: Guarded) {
        if let Some(discreet) = &mut self.discreet {
            discreet.guarded = guarded;
        }
    }

    /// Records as they may leave; none where none may.
    pub fn batch(&mut self, key: LayerKey, batch: &Batch) -> Option<Batch> {
        self.discreet.as_mut()?.batch(key, batch)
    }

    /// A held row as it may leave.
    pub fn entry(&self, entry: &Entry) -> Entry {
        use crate::records::ledger::Outcome;
        let mut entry = entry.clone();
        if self.is_discreet() {
            entry.row = WITHHELD.to_owned();
            match &mut entry.outcome {
                Outcome::Held(fault) => {
                    fault.value.clear();
                    fault.sentence = fault.reason.advice().to_owned();
                }
                Outcome::Flagged(_, detail) | Outcome::Used(_, detail) | Outcome::Rejected(_, detail) => detail.clear(),
            }
        }
        entry
    }
}

impl Discreet {
    /// Settles the rules of a layer's fields, and takes out of it those that have no place in the output.
    fn prepare(&mut self, layer: &mut Layer) {
        let is_coarse = matches!(layer.key, LayerKey::Coded(index) if self.cells_m.contains_key(&index));
        let of = |field: &crate::output::columns::Field| rules::rule_for(layer.key, is_coarse, &field.name, field.is_carried);
        let known: Vec<Rule> = layer.fields.iter().map(of).collect();
        let at = |name: &str| layer.fields.iter().position(|field| field.name == name);
        let kind = at("measure").or(at("origin"));
        if let (Some(kind), Some(name)) = (kind, at("name")) {
            self.groups.insert(layer.key, (kind, name));
        }
        if let (Some(role), Some(flags)) = (at("role"), at("flags")) {
            self.signs.insert(layer.key, (role, flags));
        }
        if layer.key == LayerKey::Own(LayerName::Ledger) {
            self.ledger = at("record").zip(at("code"));
        }
        if let Some(quantity) = at("quantity") {
            self.quantities.insert(layer.key, quantity);
        }
        if known.contains(&Rule::Place) || known.contains(&Rule::Step(rules::PLACE_STEP_M)) {
            layer
                .description
                .push_str(" Places are given to the metre and heights to the decimetre, since the output keeps others coarse.");
        }
        if layer.key == LayerKey::Own(LayerName::Bases) {
            let cell_m = self.base_cell_m;
            layer.description = format!(
                "The ground points that shots were taken from, each moved to the middle of a square cell of {cell_m} m in the grid."
            );
        }
        let mut kept = known.iter().map(|rule| *rule != Rule::Drop);
        layer.fields.retain(|_| kept.next().unwrap_or(true));
        self.rules.insert(layer.key, known);
    }

    fn batch(&mut self, key: LayerKey, batch: &Batch) -> Option<Batch> {
        let cell_m = match key {
            LayerKey::Own(LayerName::Bases) => Some(self.base_cell_m),
            LayerKey::Own(_) | LayerKey::Cells(_) => None,
            LayerKey::Coded(index) => self.cells_m.get(&index).copied(),
        };
        if cell_m.is_some()
            && key != LayerKey::Own(LayerName::Bases)
            && let Some(Column::Text(names)) = batch.columns.first()
        {
            self.names.extend((0..batch.len).filter_map(|i| names.get(i)).map(str::to_owned));
        }
        let rules = self.rules.get(&key)?;
        let kept: Vec<usize> = (0..batch.len).filter(|i| !self.is_guarded(key, batch, *i)).collect();
        if kept.is_empty() {
            return None;
        }
        let cells_m: Vec<Option<f64>> = kept.iter().map(|i| cell_m.or_else(|| self.hidden_m(key, batch, *i))).collect();
        if let Some((kind, name)) = self.groups.get(&key) {
            for i in &kept {
                if let (Cell::Text(kind), Cell::Text(name)) = (batch.cell(*kind, *i), batch.cell(*name, *i)) {
                    self.told.insert((plain_kind(kind).to_owned(), name.to_owned()));
                }
            }
        }
        let quantity = self.quantities.get(&key).map(|index| &batch.columns[*index]);
        let is_row = |i: usize| !matches!(batch.columns.first().map(|record| record.get(i)), Some(Cell::Text("file")));
        let columns = batch
            .columns
            .iter()
            .zip(rules)
            .filter(|(_, rule)| **rule != Rule::Drop)
            .map(|(column, rule)| self.column(column, *rule, &cells_m, &kept, quantity, &is_row))
            .collect();
        let position = |position: &Position, cell_m: Option<f64>| match cell_m {
            Some(cell_m) => self.in_cell(position, cell_m),
            None => self.to_step(position),
        };
        let of = |i: &usize| kept[*i];
        let geometries = match &batch.geometries {
            Geometries::None => Geometries::None,
            Geometries::Points(points) => {
                Geometries::Points((0..kept.len()).map(|i| position(&points[of(&i)], cells_m[i])).collect())
            }
            Geometries::Lines(lines) => {
                Geometries::Lines(kept.iter().map(|i| lines[*i].iter().map(|at| position(at, None)).collect()).collect())
            }
            Geometries::Areas(rings) => {
                Geometries::Areas(kept.iter().map(|i| rings[*i].iter().map(|at| position(at, None)).collect()).collect())
            }
        };
        Some(Batch { len: kept.len(), geometries, columns })
    }

    /// The side of the cell of a record among exact ones that is not exact: a sight to a base, a row that joins a string to
    /// what may be kept coarse, a row whose code is not known and may be mistyped.
    fn hidden_m(&self, key: LayerKey, batch: &Batch, i: usize) -> Option<f64> {
        let (role, flags) = self.signs.get(&key)?;
        let is_sight = matches!(batch.cell(*role, i), Cell::Text(BACKSIGHT | FORESIGHT | JOIN));
        let is_unknown = match batch.cell(*flags, i) {
            Cell::Text(codes) => codes.split(' ').any(|code| code == Flag::UnknownCode.code()),
            _ => false,
        };
        (is_sight || is_unknown).then_some(self.base_cell_m)
    }

    /// Whether a record is of rows that a coarse place is one of, or of what bears the name of one.
    fn is_guarded(&self, key: LayerKey, batch: &Batch, i: usize) -> bool {
        if key == LayerKey::Own(LayerName::Ledger) {
            return self.is_silent(batch, i);
        }
        let Some((kind, name)) = self.groups.get(&key) else { return false };
        let (Cell::Text(kind), Cell::Text(name)) = (batch.cell(*kind, i), batch.cell(*name, i)) else { return false };
        self.is_kept_back(kind, name)
    }

    /// Whether a measurement or string has rows that a coarse place is one of, or the name of one.
    fn is_kept_back(&self, kind: &str, name: &str) -> bool {
        if plain_kind(kind) == "string" {
            let joins = self.guarded.joins.iter().any(|(string, feature)| string == name && self.names.contains(feature));
            return joins || self.guarded.strings.contains(name);
        }
        self.names.contains(name) || self.guarded.measurements.contains(&(kind.to_owned(), name.to_owned()))
    }

    /// Whether a record of the ledger is of a row that is flagged for what may not be told: that it is would tell.
    fn is_silent(&self, batch: &Batch, i: usize) -> bool {
        let Some((record, code)) = self.ledger else { return false };
        let is_flagged = matches!(batch.cell(record, i), Cell::Text("flagged"));
        is_flagged && matches!(batch.cell(code, i), Cell::Text(codes) if flags_told(codes).is_empty())
    }

    fn column(
        &self,
        column: &Column,
        rule: Rule,
        cells_m: &[Option<f64>],
        kept: &[usize],
        quantity: Option<&Column>,
        is_row: &dyn Fn(usize) -> bool,
    ) -> Column {
        let step = |step: f64| move |value: f64| (value / step).round() * step;
        match (column, rule) {
            (Column::Real(values), _) => {
                let of = |(i, cell_m): (&usize, &Option<f64>)| {
                    let value = values[*i];
                    match rule {
                        Rule::Keep | Rule::Flags | Rule::Row => value,
                        Rule::Step(_) if cell_m.is_some() => f64::NAN,
                        Rule::Step(by) => step(by)(value),
                        Rule::Place if cell_m.is_none() => step(rules::PLACE_STEP_M / self.grid_unit_m)(value),
                        Rule::Place | Rule::Cell => self.middle(value, cell_m.unwrap_or(self.base_cell_m)),
                        Rule::Value => {
                            let name = quantity.map(|names| names.get(*i));
                            let Some(Cell::Text(name)) = name else { return f64::NAN };
                            rules::value_step(name).map_or(f64::NAN, |by| step(by)(value))
                        }
                        Rule::Withhold | Rule::Drop => f64::NAN,
                    }
                };
                Column::Real(kept.iter().zip(cells_m).map(of).collect())
            }
            (Column::Integer(values), Rule::Keep) => Column::Integer(kept.iter().map(|i| values[*i]).collect()),
            (Column::Integer(_), _) => Column::Integer(vec![None; kept.len()]),
            (Column::Time(values), Rule::Keep) => Column::Time(kept.iter().map(|i| values[*i]).collect()),
            (Column::Time(_), _) => Column::Time(vec![None; kept.len()]),
            (Column::Text(texts), _) => {
                let mut made = Texts::default();
                for i in kept {
                    match (rule, texts.get(*i)) {
                        (Rule::Keep, text) => made.push(text),
                        (Rule::Flags, Some(text)) => made.push(Some(flags_told(text).as_str()).filter(|text| !text.is_empty())),
                        (Rule::Row, Some(_)) if is_row(*i) => made.push(Some(WITHHELD)),
                        _ => made.push(None),
                    }
                }
                Column::Text(made)
            }
        }
    }

    fn middle(&self, coordinate: f64, cell_m: f64) -> f64 {
        let cell = cell_m / self.grid_unit_m;
        ((coordinate / cell).floor() + 0.5) * cell
    }

    /// A position moved to the middle of its cell.
    fn in_cell(&self, position: &Position, cell_m: f64) -> Position {
        Position {
            x: self.middle(position.x, cell_m),
            y: self.middle(position.y, cell_m),
            z: f64::NAN,
            ellipsoid_height_m: f64::NAN,
            stand_in_z: NO_HEIGHT,
        }
    }

    /// A position with the digits that it may have.
    fn to_step(&self, position: &Position) -> Position {
        let step = |value: f64, step: f64| (value / step).round() * step;
        let plane = rules::PLACE_STEP_M / self.grid_unit_m;
        let z = step(position.z, rules::HEIGHT_STEP_M);
        Position {
            x: step(position.x, plane),
            y: step(position.y, plane),
            z,
            ellipsoid_height_m: step(position.ellipsoid_height_m, rules::HEIGHT_STEP_M),
            // A base's height would stand in for one that is not known.
            stand_in_z: if z.is_nan() { NO_HEIGHT } else { z },
        }
    }
}

/// Lines and areas among measured things are strings.
fn plain_kind(kind: &str) -> &str {
    match kind {
        values::LINE | values::AREA => "string",
        kind => kind,
    }
}

/// Of the codes of flags, or the one code of a reason, those that may be told.
fn flags_told(codes: &str) -> String {
    let may = |code: &&str| Flag::ALL.into_iter().find(|flag| flag.code() == *code).is_none_or(rules::may_be_told);
    codes.split(' ').filter(may).collect::<Vec<_>>().join(" ")
}
