//! Layers that must not give exact places away: one record a feature, its position moved to the middle of a cell of a
//! coarse grid. Nothing is here that tells where in the cell it lies: no uncertainty, height, azimuth or base.

use super::features::{self, Feature};
use super::{Definition, Get, show_local};
use crate::shots::locate::Placed;

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

/// A position moved to the middle of its cell; `unit_m` is the metres in the unit of the grid.
pub fn in_cell(placed: &Placed, cell_m: f64, unit_m: f64) -> Placed {
    let cell = cell_m / unit_m;
    let middle = |coordinate: f64| ((coordinate / cell).floor() + 0.5) * cell;
    Placed {
        x: middle(placed.x),
        y: middle(placed.y),
        lon_deg: f64::NAN,
        lat_deg: f64::NAN,
        z: None,
        ellipsoid_height_m: None,
        orthometric_height_m: None,
        undulation: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const EXACT: Placed = Placed {
        lon_deg: -3.0,
        lat_deg: 58.0,
        x: 512_345.6,
        y: -1_204.3,
        z: Some(41.0),
        ellipsoid_height_m: Some(41.0),
        orthometric_height_m: Some(-9.0),
        undulation: None,
    };

    #[test]
    fn all_places_of_a_cell_become_its_middle() {
        let coarse = in_cell(&EXACT, 1000.0, 1.0);
        assert_eq!((coarse.x, coarse.y), (512_500.0, -1_500.0));
        assert_eq!((coarse.z, coarse.ellipsoid_height_m, coarse.orthometric_height_m), (None, None, None));
        assert!(coarse.lat_deg.is_nan() && coarse.lon_deg.is_nan());
        let other = in_cell(&Placed { x: 512_000.1, y: -1_999.9, ..EXACT }, 1000.0, 1.0);
        assert_eq!((other.x, other.y), (coarse.x, coarse.y));
        // In international feet a cell of 304.8 m is 1000 units wide.
        assert_eq!(in_cell(&EXACT, 304.8, 0.3048).x, 512_500.0);
    }
}
