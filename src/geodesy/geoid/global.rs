//! The global geoid inside the program: EGM96 to degree and order 360, on WGS 84.
//!
//! Undulations are synthesised by the crate `egm96` at the corners of cells of 0.05° and
//! interpolated bilinearly inside; the shortest wave of the model is 1° long, so that this adds
//! less than 2 cm (held by a test). An evaluation of a corner takes about a thousand times longer
//! than an interpolation; corners are kept.

use std::collections::{BTreeSet, HashMap};
use std::sync::Mutex;

use rayon::prelude::*;

use crate::geodesy::frame::Geodetic;

/// The name of the model, for summaries.
pub const NAME: &str = "EGM96 (degree and order 360, built in)";

/// Standard error of an undulation of the model in metres: 0.5 to 1.0 m worldwide (NIMA TR8350.2,
/// third edition, section 6; from memory). The larger is taken.
pub const SIGMA_M: f64 = 1.0;

const CELLS_PER_DEGREE: f64 = 20.0;

/// The geoid, with the corners it has computed so far.
#[derive(Default)]
pub struct GlobalGeoid {
    corners: Mutex<HashMap<(i32, i32), f64>>,
}

/// A reader of the geoid that remembers the cell it was in last: points come in crowds.
pub struct GeoidReader<'g> {
    geoid: &'g GlobalGeoid,
    /// South-west corner, and undulations at south-west, south-east, north-west, north-east.
    cell: Option<((i32, i32), [f64; 4])>,
}

impl GlobalGeoid {
    /// A reader.
    pub fn reader(&self) -> GeoidReader<'_> {
        GeoidReader { geoid: self, cell: None }
    }

    /// The undulation at one position; see [`GeoidReader::undulation_m`].
    pub fn undulation_m(&self, at: &Geodetic) -> f64 {
        self.reader().undulation_m(at)
    }

    /// Computes the corners of the cells of positions (latitude and longitude in degrees) side by side.
    pub fn look_ahead(&self, positions: impl Iterator<Item = (f64, f64)>) {
        let cells = positions.map(|(lat_deg, lon_deg)| cell_of(lat_deg, lon_deg).0);
        let wanted: BTreeSet<(i32, i32)> = cells.flat_map(corners_of).collect();
        let known = || self.corners.lock().unwrap_or_else(|poisoned| poisoned.into_inner());
        let missing: Vec<(i32, i32)> = {
            let known = known();
            wanted.into_iter().filter(|corner| !known.contains_key(corner)).collect()
        };
        let found: Vec<f64> = missing.par_iter().with_max_len(1).map(|corner| corner_m(*corner)).collect();
        known().extend(missing.into_iter().zip(found));
    }

    /// The undulation at corners of cells: those that nobody asked for before are computed side by side, while no other waits for them.
    fn corners_m(&self, at: [(i32, i32); 4]) -> [f64; 4] {
        let known = || self.corners.lock().unwrap_or_else(|poisoned| poisoned.into_inner());
        let mut found = {
            let known = known();
            at.map(|corner| known.get(&corner).copied())
        };
        if found.contains(&None) {
            found.par_iter_mut().zip(at).filter(|(found, _)| found.is_none()).for_each(|(found, at)| *found = Some(corner_m(at)));
            known().extend(at.into_iter().zip(found).filter_map(|(corner, found)| Some((corner, found?))));
        }
        found.map(|found| found.unwrap_or(f64::NAN))
    }
}

impl GeoidReader<'_> {
    /// Height of the geoid above the WGS 84 ellipsoid (the undulation N) in metres: orthometric
    /// height = ellipsoidal height − N. The position's own height is not used.
    pub fn undulation_m(&mut self, at: &Geodetic) -> f64 {
        let (key, [up, right]) = cell_of(at.lat_rad.to_degrees(), at.lon_rad.to_degrees());
        let corners = match self.cell {
            Some((known, corners)) if known == key => corners,
            _ => {
                let corners = self.geoid.corners_m(corners_of(key));
                self.cell = Some((key, corners));
                corners
            }
        };
        let along = |west: f64, east: f64| west * (1.0 - right) + east * right;
        along(corners[0], corners[1]) * (1.0 - up) + along(corners[2], corners[3]) * up
    }
}

/// The south-western corner of the cell of a position, and where in it that lies, up and to the right.
fn cell_of(lat_deg: f64, lon_deg: f64) -> ((i32, i32), [f64; 2]) {
    let (row, column) = (lat_deg * CELLS_PER_DEGREE, lon_deg * CELLS_PER_DEGREE);
    let (south, west) = (row.floor(), column.floor());
    ((south as i32, west as i32), [row - south, column - west])
}

/// The corners of a cell: south-west, south-east, north-west, north-east.
fn corners_of((south, west): (i32, i32)) -> [(i32, i32); 4] {
    [(0, 0), (0, 1), (1, 0), (1, 1)].map(|(up, right): (i32, i32)| (south.saturating_add(up), west.saturating_add(right)))
}

/// The undulation at a corner.
fn corner_m((row, column): (i32, i32)) -> f64 {
    let lat_deg = (f64::from(row) / CELLS_PER_DEGREE).clamp(-90.0, 90.0);
    exact_undulation_m(lat_deg, f64::from(column) / CELLS_PER_DEGREE)
}

fn exact_undulation_m(lat_deg: f64, lon_deg: f64) -> f64 {
    egm96::egm96_compute_altitude_offset(lat_deg, lon_deg)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Test points of the agency's own program for the model (NGA, F477 sample output; from memory),
    /// printed to a millimetre. Degrees, and metres.
    const PUBLISHED: [(f64, f64, f64); 6] = [
        (38.628_155, 269.779_155, -31.628),
        (-14.621_217, 305.021_114, -2.969),
        (46.874_319, 102.448_729, -43.575),
        (-23.617_446, 133.874_712, 15.871),
        (38.625_473, 359.9995, 50.066),
        (-0.466_744, 0.0023, 17.329),
    ];
    /// Bilinear interpolation, as the head of this file says.
    const INTERPOLATION_M: f64 = 0.02;
    /// The table prints millimetres, and the crate's synthesis differs from the agency's program in the
    /// next digits: 3 mm at the second point. Neither matters beside a standard error of a metre.
    const PRINTED_M: f64 = 0.005;

    #[test]
    fn published_undulations() {
        let geoid = GlobalGeoid::default();
        for (lat, lon, want) in PUBLISHED {
            let exact = exact_undulation_m(lat, lon);
            assert!((exact - want).abs() < PRINTED_M, "{lat} {lon}: {exact}, published {want}");
            let lon = if lon > 180.0 { lon - 360.0 } else { lon };
            let at = Geodetic { lat_rad: lat.to_radians(), lon_rad: lon.to_radians(), ellipsoid_height_m: 0.0 };
            assert!((geoid.undulation_m(&at) - want).abs() < INTERPOLATION_M + PRINTED_M, "{lat} {lon}");
        }
    }

    #[test]
    fn corners_computed_ahead_are_those_that_are_asked_for() {
        let places = [(4.71, 78.77), (4.72, 78.77), (-16.7, 179.99), (90.0, 0.0), (-0.466_744, 0.0023)];
        let (ahead, alone) = (GlobalGeoid::default(), GlobalGeoid::default());
        ahead.look_ahead(places.into_iter());
        let known = ahead.corners.lock().unwrap().len();
        for (lat, lon) in places {
            let at = Geodetic { lat_rad: f64::to_radians(lat), lon_rad: f64::to_radians(lon), ellipsoid_height_m: 0.0 };
            assert_eq!(ahead.undulation_m(&at), alone.undulation_m(&at), "{lat} {lon}");
        }
        // Two of the places are in one cell.
        assert_eq!((known, ahead.corners.lock().unwrap().len()), (16, 16));
    }

    #[test]
    fn interpolation_stays_within_two_centimetres() {
        let geoid = GlobalGeoid::default();
        // Rough places: the Indian low, the Andes, New Guinea, the Alps, and across the antimeridian.
        for (lat, lon) in [(4.71f64, 78.77f64), (-22.3, -68.9), (-5.03, 141.02), (46.02, 7.77), (-16.7, 179.99)] {
            let at = Geodetic { lat_rad: lat.to_radians(), lon_rad: lon.to_radians(), ellipsoid_height_m: 0.0 };
            let apart = geoid.undulation_m(&at) - exact_undulation_m(lat, lon);
            assert!(apart.abs() < INTERPOLATION_M, "{lat} {lon}: {apart}");
        }
    }
}
