//! Writing shifts of latitude and longitude as NTv2.
//!
//! Records of 16 bytes, here little-endian: 11 of the file, then of each grid 11 and one for each node, and
//! one that ends it (National Transformation Version 2, Geodetic Survey of Canada; developer's guide). A
//! record of a header is a word of 8 bytes and a number or a word of 8. That of a node is four 4-byte
//! numbers: shifts of latitude and longitude and their accuracies. Nodes go from the south-east to the west
//! and then north. All angles are in arc-seconds, **longitudes positive west**.
//!
//! A node without a value is not a number in the copy, so that nothing near it is placed; the format has
//! no word for it. An accuracy that is not known is −1.

use std::io::Write;

use super::tiff::HorizontalGrid;
use super::{GridProblem, Stop};
use crate::geodesy::geoid::BandValues;

/// Datums differ by minutes of arc at most; more is not a shift.
const BELIEVED_SECONDS: f64 = 3600.0;
const UNKNOWN_ACCURACY: f32 = -1.0;
const HEADER_RECORDS: i32 = 11;

/// Writes grids, parents before their children.
///
/// # Errors
/// When the file is damaged or holds no shifts, and when the copy cannot be written.
pub(super) fn write(out: &mut impl Write, grids: &[HorizontalGrid]) -> Result<(), Stop> {
    let count = i32::try_from(grids.len()).map_err(|_| GridProblem::Large(grids.len() as u64))?;
    whole(out, "NUM_OREC", HEADER_RECORDS)?;
    whole(out, "NUM_SREC", HEADER_RECORDS)?;
    whole(out, "NUM_FILE", count)?;
    word(out, "GS_TYPE", "SECONDS")?;
    word(out, "VERSION", "NTv2.0")?;
    // Names and axes of the two ellipsoids: not used by those who read the shifts.
    word(out, "SYSTEM_F", "UNKNOWN")?;
    word(out, "SYSTEM_T", "UNKNOWN")?;
    for key in ["MAJOR_F", "MINOR_F", "MAJOR_T", "MINOR_T"] {
        number(out, key, 0.0)?;
    }
    for (index, grid) in grids.iter().enumerate() {
        sub_grid(out, index, grid)?;
    }
    Ok(word(out, "END", "")?)
}

/// The name of a grid in the file.
fn name(index: usize) -> String {
    format!("{index:08}")
}

fn sub_grid(out: &mut impl Write, index: usize, grid: &HorizontalGrid) -> Result<(), Stop> {
    let lattice = &grid.image.lattice;
    let nodes = lattice.rows as u64 * lattice.columns as u64;
    let count = i32::try_from(nodes).map_err(|_| GridProblem::Large(nodes))?;
    let south_deg = lattice.north_deg - (lattice.rows - 1) as f64 * lattice.row_deg;
    let east_deg = lattice.west_deg + (lattice.columns - 1) as f64 * lattice.column_deg;
    word(out, "SUB_NAME", &name(index))?;
    word(out, "PARENT", &grid.parent.map_or("NONE".to_owned(), name))?;
    word(out, "CREATED", "")?;
    word(out, "UPDATED", "")?;
    number(out, "S_LAT", south_deg * 3600.0)?;
    number(out, "N_LAT", lattice.north_deg * 3600.0)?;
    number(out, "E_LONG", -east_deg * 3600.0)?;
    number(out, "W_LONG", -lattice.west_deg * 3600.0)?;
    number(out, "LAT_INC", lattice.row_deg * 3600.0)?;
    number(out, "LONG_INC", lattice.column_deg * 3600.0)?;
    whole(out, "GS_COUNT", count)?;

    let bands = (grid.image.band(grid.latitude_band)?, grid.image.band(grid.longitude_band)?);
    let (latitudes, longitudes) = (BandValues::open(&bands.0)?, BandValues::open(&bands.1)?);
    let west = if grid.positive_west { 1.0 } else { -1.0 };
    for row in (0..lattice.rows).rev() {
        let pairs = latitudes.row(row, 0, lattice.columns)?.into_iter().zip(longitudes.row(row, 0, lattice.columns)?);
        for (column, (latitude, longitude)) in pairs.enumerate().rev() {
            let shifts = [latitude * grid.seconds, longitude * west * grid.seconds];
            if let Some(&value) = shifts.iter().find(|shift| shift.abs() > BELIEVED_SECONDS) {
                let (lat_deg, lon_deg) = lattice.node_deg(row, column);
                return Err(GridProblem::Value { lat_deg, lon_deg, value, what: "shift in arc-seconds" }.into());
            }
            let shifts = if shifts.iter().any(|shift| shift.is_nan()) { [f64::NAN; 2] } else { shifts };
            for shift in shifts {
                out.write_all(&(shift as f32).to_le_bytes())?;
            }
            out.write_all(&UNKNOWN_ACCURACY.to_le_bytes())?;
            out.write_all(&UNKNOWN_ACCURACY.to_le_bytes())?;
        }
    }
    Ok(())
}

fn record(out: &mut impl Write, key: &str, value: [u8; 8]) -> std::io::Result<()> {
    out.write_all(&padded(key))?;
    out.write_all(&value)
}

fn word(out: &mut impl Write, key: &str, value: &str) -> std::io::Result<()> {
    record(out, key, padded(value))
}

fn number(out: &mut impl Write, key: &str, value: f64) -> std::io::Result<()> {
    record(out, key, value.to_le_bytes())
}

/// Four bytes, and four that fill the record.
fn whole(out: &mut impl Write, key: &str, value: i32) -> std::io::Result<()> {
    record(out, key, i64::from(value).to_le_bytes())
}

/// Eight bytes of a word, with blanks behind it.
fn padded(word: &str) -> [u8; 8] {
    let mut bytes = [b' '; 8];
    bytes.iter_mut().zip(word.bytes()).for_each(|(to, from)| *to = from);
    bytes
}
