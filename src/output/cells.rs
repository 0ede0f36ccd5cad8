//! What becomes of a layer that the catalogue keeps coarse behind the door ([`crate::output::disclosure`]): its features are a table,
//! and what is drawn are the cells, each once, with a count. Nothing comes in here that may not leave: positions are middles of cells.

use std::collections::BTreeMap;

use super::columns::{Batch, Cell, Column, Field, FieldKind, Geometries, Layer, LayerKey, NO_HEIGHT, Position, Texts};
use super::contract::Setup;
use super::layers;
use super::layers::cells::{self, Square};
use crate::job::catalogue::GeometryKind;

/// The cells of a run.
#[derive(Debug, Default)]
pub struct CoarseCells {
    of: Vec<Coarse>,
}

/// A coarse layer.
#[derive(Debug)]
struct Coarse {
    /// Its index in the catalogue.
    index: usize,
    cell_m: f64,
    /// Side of a cell in the unit of the grid.
    side: f64,
    /// Place of the field of the code.
    code: Option<usize>,
    /// By row and column of the cells.
    squares: BTreeMap<(i64, i64), Square>,
}

impl CoarseCells {
    /// Of a run.
    pub fn new(setup: &Setup) -> CoarseCells {
        let layers = setup.catalogue.map(|catalogue| catalogue.layers.as_slice()).unwrap_or_default();
        let of = |(index, layer): (usize, &crate::job::catalogue::CodedLayer)| {
            let cell_m = layer.coarse_cell_m?;
            Some(Coarse { index, cell_m, side: cell_m / setup.crs.unit_factor(), code: None, squares: BTreeMap::new() })
        };
        CoarseCells { of: layers.iter().enumerate().filter_map(of).collect() }
    }

    /// The layers as they are written: each coarse one as a table that names the cells, its squares behind it.
    pub fn layers(&mut self, layers: Vec<Layer>) -> Vec<Layer> {
        let mut made = Vec::with_capacity(layers.len() + self.of.len());
        for mut layer in layers {
            let Some(coarse) = self.of.iter_mut().find(|coarse| LayerKey::Coded(coarse.index) == layer.key) else {
                made.push(layer);
                continue;
            };
            coarse.code = layer.fields.iter().position(|field| field.name == "code");
            let squares = cells::layer(coarse.index, &layer, coarse.cell_m);
            layer.geometry = GeometryKind::None;
            layer.description = format!("{} The squares are in {}.", layer.description, squares.id);
            layer.fields.push(cell_field(&layer));
            made.extend([layer, squares]);
        }
        made
    }

    /// Records as they are written: those of a coarse layer are counted and lose their geometry.
    pub fn take(&mut self, key: LayerKey, mut batch: Batch) -> Batch {
        let Some(coarse) = self.of.iter_mut().find(|coarse| LayerKey::Coded(coarse.index) == key) else { return batch };
        let mut names = Texts::default();
        for i in 0..batch.len {
            let at = batch.positions(i).first();
            let code = match coarse.code.map(|index| batch.cell(index, i)) {
                Some(Cell::Text(code)) => code,
                _ => "",
            };
            names.push(at.map(|at| coarse.count(at, code)));
        }
        batch.geometries = Geometries::None;
        batch.columns.push(Column::Text(names));
        batch
    }

    /// The squares of each coarse layer that has features, from south to north and west to east.
    pub fn squares(&self) -> Vec<(LayerKey, Batch)> {
        let of = |coarse: &Coarse| {
            let records: Vec<Square> = coarse.squares.values().cloned().collect();
            let rings = records.iter().map(|square| ring(square.middle, coarse.side)).collect();
            let columns = layers::columns(&cells::definitions(), &records);
            (LayerKey::Cells(coarse.index), Batch { len: records.len(), geometries: Geometries::Areas(rings), columns })
        };
        self.of.iter().filter(|coarse| !coarse.squares.is_empty()).map(of).collect()
    }
}

impl Coarse {
    /// Counts a feature in its cell, and gives the cell's name.
    fn count(&mut self, at: &Position, code: &str) -> &str {
        let [column, row] = [at.x, at.y].map(|axis| (axis / self.side).floor());
        let (side, side_m) = (self.side, self.cell_m);
        let square = self.squares.entry((row as i64, column as i64)).or_insert_with(|| Square {
            cell: format!("{} {}", column * side, row * side),
            features: 0,
            codes: BTreeMap::new(),
            side_m,
            middle: [(column + 0.5) * side, (row + 0.5) * side],
        });
        square.features += 1;
        *square.codes.entry(code.to_owned()).or_default() += 1;
        &square.cell
    }
}

/// The square, closed and against the clock.
fn ring([x, y]: [f64; 2], side: f64) -> Vec<Position> {
    let half = side / 2.0;
    let corner = |[right, up]: [f64; 2]| Position {
        x: x + right * half,
        y: y + up * half,
        z: f64::NAN,
        ellipsoid_height_m: f64::NAN,
        stand_in_z: NO_HEIGHT,
    };
    [[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0], [-1.0, -1.0]].map(corner).to_vec()
}

fn cell_field(layer: &Layer) -> Field {
    let taken = |name: &str| layer.fields.iter().any(|field| field.name.eq_ignore_ascii_case(name) || field.short == "CELL");
    // An attribute of the catalogue keeps its name.
    let (name, short) = if taken("cell") { ("cell_name", "CELL_NAME") } else { ("cell", "CELL") };
    Field {
        name: name.to_owned(),
        short: short.to_owned(),
        kind: FieldKind::Text,
        decimals: None,
        description: cells::CELL.to_owned(),
        domain: None,
        is_carried: false,
        is_attribute: false,
    }
}
