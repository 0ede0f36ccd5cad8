//! Operations chosen for the place: the best one of a whole area of use is seldom the best at one point of it.
//!
//! PROJ ranks operations by how much of an area of interest they are meant for, and then by accuracy. The area here is what
//! is seen from a place: the place with [`REACH_DEG`] around it. Places in one cell of the finest mesh are taken as one. Where
//! every operation that PROJ finds for a larger cell is meant for all of it, the ranking is the same everywhere inside, and
//! one search serves it: so the outcome depends on the place alone, not on the other places or their order, and a log of many
//! thousand positions needs a few searches.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, RwLock};

use super::error::CrsError;
use super::operation::{Rules, Search, Transform, search};
use super::system::Crs;

/// What may be sighted from a place, in degrees of latitude (3.3 km), and as far in longitude.
const REACH_DEG: f64 = 0.03;
/// Edges of the cells in degrees, from those that are tried first to the finest, about 2 km.
const MESH_DEG: [f64; 4] = [8.0, 2.0, 0.5, 0.02];
/// The widest reach in longitude, near the poles.
const GREATEST_REACH_DEG: f64 = 4.0;

/// Index into [`MESH_DEG`], row from the south and column from the west.
type Cell = (usize, i32, i32);

/// What is known of a cell.
#[derive(Clone)]
enum Known {
    /// Its parts differ.
    Mixed,
    /// The operations that may be used in it, best first, and whether they were found for the cell itself.
    Ranked(Result<Arc<Vec<Arc<Transform>>>, CrsError>, bool),
}

/// The operations from one CRS to another, chosen for each place; can be asked from all threads at once.
pub struct ByPlace {
    from: Crs,
    to: Crs,
    rules: Rules,
    /// Where to look for an operation that serves a place for which there is none.
    otherwise_deg: Option<[f64; 4]>,
    cells: RwLock<HashMap<Cell, Known>>,
    /// Each operation once, whatever the number of cells that use it.
    made: Mutex<Vec<Arc<Transform>>>,
}

impl ByPlace {
    /// Operations from one CRS to another. For a place outside everything that PROJ knows an operation for, that of the area
    /// `otherwise_deg` (west, south, east, north in degrees) is taken, where it is given.
    pub fn new(from: Crs, to: Crs, rules: Rules, otherwise_deg: Option<[f64; 4]>) -> ByPlace {
        ByPlace { from, to, rules, otherwise_deg, cells: RwLock::default(), made: Mutex::default() }
    }

    /// The operation for a place (longitude from Greenwich and latitude in degrees), of which `point` holds the coordinates in
    /// the source CRS: the first by PROJ's ranking that can express them, since a grid may end before its area of use does.
    ///
    /// # Errors
    /// As [`Transform::new`], for the place.
    pub fn at(&self, lon_deg: f64, lat_deg: f64, point: [f64; 3]) -> Result<Arc<Transform>, CrsError> {
        let ranked = self.ranked(lon_deg, lat_deg)?;
        for transform in ranked.iter() {
            // Without a grid an operation has no end.
            if transform.operation().grids.is_empty() || transform.reaches(point)? {
                return Ok(transform.clone());
            }
        }
        ranked.first().cloned().ok_or_else(|| self.no_operation())
    }

    /// The operations that may be used at a place, best first, ending with the first that needs no grid.
    ///
    /// # Errors
    /// As [`Transform::new`], for the place.
    pub fn ranked(&self, lon_deg: f64, lat_deg: f64) -> Result<Arc<Vec<Arc<Transform>>>, CrsError> {
        self.known(lon_deg, lat_deg).0
    }

    /// Whether an operation is known for the place itself, allowed or not.
    pub fn has_way(&self, lon_deg: f64, lat_deg: f64) -> bool {
        self.known(lon_deg, lat_deg).1
    }

    /// Whether null transformations may be used.
    pub fn allows_ballpark(&self) -> bool {
        self.rules.ballpark
    }

    /// The error that no operation is known for the places that were asked for.
    pub fn lost(&self) -> CrsError {
        CrsError::BallparkOnly { from: self.from.label(), to: self.to.label() }
    }

    fn no_operation(&self) -> CrsError {
        CrsError::NoOperation { from: self.from.label(), to: self.to.label() }
    }

    #[allow(clippy::type_complexity)] // what the store holds, and whether it was there
    fn known(&self, lon_deg: f64, lat_deg: f64) -> (Result<Arc<Vec<Arc<Transform>>>, CrsError>, bool) {
        if !lon_deg.is_finite() || !lat_deg.is_finite() {
            return (Err(self.no_operation()), false);
        }
        for (level, edge_deg) in MESH_DEG.into_iter().enumerate() {
            let cell = (level, (lat_deg / edge_deg).floor() as i32, (lon_deg / edge_deg).floor() as i32);
            let seen = self.cells.read().unwrap_or_else(|poisoned| poisoned.into_inner()).get(&cell).cloned();
            let known = seen.unwrap_or_else(|| {
                let known = self.look(cell);
                self.cells.write().unwrap_or_else(|poisoned| poisoned.into_inner()).insert(cell, known.clone());
                known
            });
            if let Known::Ranked(ranked, is_here) = known {
                return (ranked, is_here);
            }
        }
        (Err(self.no_operation()), false)
    }

    /// Searches for a cell.
    fn look(&self, cell: Cell) -> Known {
        let area_deg = area_deg(cell);
        let here = search(&self.from, &self.to, Some(area_deg), Rules { ballpark: false, ..self.rules });
        if !here.is_uniform && cell.0 + 1 < MESH_DEG.len() {
            return Known::Mixed;
        }
        let is_lost =
            |search: &Search| matches!(search.outcome, Err(CrsError::NoOperation { .. } | CrsError::BallparkOnly { .. }));
        if !is_lost(&here) {
            return Known::Ranked(self.made(here, area_deg), true);
        }
        if let Some(otherwise_deg) = self.otherwise_deg {
            let there = search(&self.from, &self.to, Some(otherwise_deg), Rules { ballpark: false, ..self.rules });
            if !is_lost(&there) {
                return Known::Ranked(self.made(there, otherwise_deg), false);
            }
        }
        let null = search(&self.from, &self.to, Some(area_deg), self.rules);
        Known::Ranked(self.made(null, area_deg), false)
    }

    /// Makes the operations of a search ready, each once.
    fn made(&self, search: Search, area_deg: [f64; 4]) -> Result<Arc<Vec<Arc<Transform>>>, CrsError> {
        let usable = search.outcome?;
        let mut ranked = Vec::new();
        for operation in &usable.operations {
            let transform = Transform::of(operation, (&self.from, &self.to), Some(area_deg), usable.passed_over.clone())?;
            let mut made = self.made.lock().unwrap_or_else(|poisoned| poisoned.into_inner());
            let known = made.iter().find(|known| known.operation() == transform.operation()).cloned();
            let shared = known.unwrap_or_else(|| {
                let new = Arc::new(transform);
                made.push(new.clone());
                new
            });
            let has_end = !shared.operation().grids.is_empty();
            ranked.push(shared);
            if !has_end {
                break;
            }
        }
        Ok(Arc::new(ranked))
    }
}

/// A cell with what is sighted from its places: west, south, east, north in degrees, within ±180 and ±90.
fn area_deg((level, row, column): Cell) -> [f64; 4] {
    let edge_deg = MESH_DEG[level];
    let (south, west) = (f64::from(row) * edge_deg, f64::from(column) * edge_deg);
    let farthest = south.abs().max((south + edge_deg).abs()).min(89.0);
    let reach_deg = (REACH_DEG / farthest.to_radians().cos()).min(GREATEST_REACH_DEG);
    [
        (west - reach_deg).max(-180.0),
        (south - REACH_DEG).max(-90.0),
        (west + edge_deg + reach_deg).min(180.0),
        (south + edge_deg + REACH_DEG).min(90.0),
    ]
}
