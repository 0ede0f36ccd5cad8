//! Squares of layers that a catalogue keeps coarse: each is a cell, with how many features lie in it and of which codes.

use std::collections::BTreeMap;

use super::{Definition, Get};
use crate::job::catalogue::GeometryKind;
use crate::output::columns::{Layer, LayerKey};

/// A cell with features in it.
#[derive(Debug, Clone, PartialEq)]
pub struct Square {
    /// Its south-west corner as text, by which the table of the features names it.
    pub cell: String,
    /// Features in it.
    pub features: u64,
    /// Features by code; those without one have an empty one.
    pub codes: BTreeMap<String, u64>,
    /// Side in metres in the grid.
    pub side_m: f64,
    /// Its middle in the unit of the layers' CRS.
    pub middle: [f64; 2],
}

/// The fields, in the order of the layer.
pub fn definitions() -> Vec<Definition<Square>> {
    use Get::*;
    let d = Definition::new;
    vec![
        d("cell", "CELL", CELL, Text(|s: &Square| Some(&s.cell))),
        d("features", "FEATURES", "Features in the cell.", Integer(|s| Some(s.features as i64))),
        d(
            "codes",
            "CODES",
            "Their feature codes, each with how many there are.",
            Show(|s: &Square, texts| {
                let of = |(code, count): (&String, &u64)| format!("{} {count}", if code.is_empty() { "no code" } else { code });
                texts.push_display(s.codes.iter().map(of).collect::<Vec<_>>().join(", "));
            }),
        ),
        d("coarse_cell_m", "CELL_M", "Side of the cell, metres in the grid.", Real(|s| s.side_m)),
        d("easting", "EASTING", "Easting of the cell's middle in the unit of the layers' CRS.", Real(|s| s.middle[0])),
        d("northing", "NORTHING", "Northing of the cell's middle in the unit of the layers' CRS.", Real(|s| s.middle[1])),
    ]
}

/// Behind the title of a layer in that of its squares.
const CELLS: &str = ": cells";

/// What stands before the number of features in a square, by the title of the squares: `Nests: `.
pub fn counted(title: &str) -> String {
    format!("{}: ", title.strip_suffix(CELLS).unwrap_or(title))
}

/// What the name of a cell is.
pub const CELL: &str = "The cell, by the easting and northing of its south-west corner in the unit of the layers' CRS.";

/// The squares of a layer.
pub fn layer(index: usize, coarse: &Layer, cell_m: f64) -> Layer {
    Layer {
        key: LayerKey::Cells(index),
        id: format!("{}_cells", coarse.id),
        title: format!("{}{CELLS}", coarse.title),
        description: format!(
            "Square cells of {cell_m} m in the grid, with the number of features in each and their codes; the table {} has the features. The \
             exact places are withheld and stand nowhere in this output.",
            coarse.id
        ),
        geometry: GeometryKind::Area,
        fields: definitions().iter().map(Definition::field).collect(),
    }
}
