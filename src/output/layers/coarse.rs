//! Layers that must not give exact places away: one record a feature, its position moved to the middle of a cell of a
//! coarse grid ([`crate::output::disclosure`]). Nothing is here that tells where in the cell it lies: no uncertainty, height,
//! azimuth or base.

use super::features::{self, Feature};
use super::{Definition, Get, show_local};

/// What each record says of itself.
const POSITION: &str = "middle of a coarse cell; the exact place is withheld";

/// The fields, in the order of the layer.
pub fn definitions<'r>() -> Vec<Definition<Feature<'r>>> {
    use Get::*;
    type F<'r> = Feature<'r>;
    let d = Definition::new;
    vec![
        features::name(),
        d("code", "CODE", "Feature code of the log.", Text(|f| f.code)),
        features::code_title(),
        d("day", "DAY", "Local date of the shot.", Show(|f: &F, texts| show_local(texts, None, f.when.map(|when| when.date)))),
        d(
            "position",
            "POSITION",
            "What the position is: the middle of a coarse cell, never the exact place.",
            Text(|_| Some(POSITION)),
        ),
        d("coarse_cell_m", "CELL_M", "Side of the cell, metres in the grid.", Real(|f| f.coarse_cell_m)),
        d("easting", "EASTING", "Easting of the cell's middle in the unit of the layers' CRS.", Real(|f| f.placed.x)),
        d("northing", "NORTHING", "Northing of the cell's middle in the unit of the layers' CRS.", Real(|f| f.placed.y)),
        features::source_file(),
        features::source_line(),
    ]
}
