//! Writing a vertical grid as GTX.
//!
//! Eight-byte latitude and longitude of the south-west node and steps of latitude and longitude in
//! degrees, four-byte numbers of rows and columns, four-byte values in metres by rows from the south, all
//! big-endian; −88.8888 is no value (NOAA, VDatum documentation).

use std::io::Write;

use super::tiff::VerticalGrid;
use super::{GridProblem, Stop};
use crate::geodesy::geoid::{BandValues, Lattice};

const NO_VALUE_M: f32 = -88.8888;
/// PROJ takes what is larger for no value, and no geoid or datum is so far off.
const BELIEVED_M: f64 = 1000.0;

/// Writes a grid.
///
/// # Errors
/// When the grid is damaged or holds no heights, and when the copy cannot be written.
pub(super) fn write(out: &mut impl Write, grid: &VerticalGrid) -> Result<(), Stop> {
    let band = grid.image.band(grid.band)?;
    let values = BandValues::open(&band)?;
    let lattice = &grid.image.lattice;
    header(out, lattice)?;
    for row in (0..lattice.rows).rev() {
        for (column, value) in values.row(row, 0, lattice.columns)?.into_iter().enumerate() {
            if value.abs() > BELIEVED_M {
                let (lat_deg, lon_deg) = lattice.node_deg(row, column);
                return Err(GridProblem::Value { lat_deg, lon_deg, value, what: "height in metres" }.into());
            }
            out.write_all(&stored(value).to_be_bytes())?;
        }
    }
    Ok(())
}

fn header(out: &mut impl Write, lattice: &Lattice) -> Result<(), Stop> {
    let south_deg = lattice.north_deg - (lattice.rows - 1) as f64 * lattice.row_deg;
    for number in [south_deg, lattice.west_deg, lattice.row_deg, lattice.column_deg] {
        out.write_all(&number.to_be_bytes())?;
    }
    for count in [lattice.rows, lattice.columns] {
        let count = i32::try_from(count).map_err(|_| GridProblem::Large(count as u64))?;
        out.write_all(&count.to_be_bytes())?;
    }
    Ok(())
}

/// A value as GTX keeps it. One that happens to be that of no value is moved by the least, 8 µm.
fn stored(value_m: f64) -> f32 {
    match value_m as f32 {
        none if none.is_nan() => NO_VALUE_M,
        value if value == NO_VALUE_M => value.next_up(),
        value => value,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_survive_and_those_that_are_none_are_told() {
        assert_eq!(stored(47.123_456), 47.123_456);
        assert_eq!(stored(f64::NAN).to_be_bytes(), [0xc2, 0xb1, 0xc7, 0x11]);
        let moved = stored(f64::from(NO_VALUE_M));
        assert!(moved > NO_VALUE_M && moved - NO_VALUE_M < 1e-5);
    }
}
