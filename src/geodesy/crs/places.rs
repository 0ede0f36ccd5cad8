//! Operations chosen for the place: the best one of a whole area of use is seldom the best at one point of it.
//!
//! PROJ ranks operations by how much of an area of interest they are meant for, and then by accuracy. The area here is what
//! is seen from a place: the place with [`REACH_DEG`] around it. Places in one fine cell are taken as one. Where each operation that
//! PROJ finds for the coarse cell around is meant for all of two fine cells or for nothing of both, the ranking is the same in both, and
//! one search serves them: so the outcome depends on the place alone, not on the other places or their order, and a log of many
//! thousand positions needs a few searches.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, RwLock};

use super::error::CrsError;
use super::operation::{OperationRules, OperationSearch, Transform, holds, search};
use super::system::Crs;

/// What may be sighted from a place, in degrees of latitude (3.3 km), and as far in longitude.
const REACH_DEG: f64 = 0.03;
/// Edge of a coarse cell in degrees.
const COARSE_DEG: f64 = 8.0;
/// Edge of a fine cell in degrees, about 2 km: a coarse one is cut into a whole number of them.
const FINE_DEG: f64 = 0.02;
/// The widest reach in longitude, near the poles.
const GREATEST_REACH_DEG: f64 = 4.0;

/// Row from the south and column from the west.
type GridCell = (i32, i32);

/// Places that one search serves.
#[derive(Clone, PartialEq, Eq, Hash)]
enum Served {
    /// The fine cells of a coarse one that lie whole in the same ones of its areas, a bit each, and outside of the others.
    Alike(GridCell, Vec<u64>),
    /// One fine cell.
    Fine(GridCell),
}

/// The operations that may be used, best first, and whether they were found for the place itself.
type RankedOperations = (Result<Arc<Vec<Arc<Transform>>>, CrsError>, bool);

/// The operations from one CRS to another, chosen for each place; can be asked from all threads at once.
pub struct ByPlace {
    from: Crs,
    to: Crs,
    rules: OperationRules,
    /// Where to look for an operation that serves a place for which there is none.
    otherwise_deg: Option<[f64; 4]>,
    /// By coarse cell, the areas that its operations are meant for.
    areas: RwLock<HashMap<GridCell, Arc<Vec<[f64; 4]>>>>,
    known: RwLock<HashMap<Served, RankedOperations>>,
    /// Each operation once, whatever the number of cells that use it.
    made: Mutex<Vec<Arc<Transform>>>,
}

impl ByPlace {
    /// Operations from one CRS to another. For a place outside everything that PROJ knows an operation for, that of the area
    /// `otherwise_deg` (west, south, east, north in degrees) is taken, where it is given.
    pub fn new(from: Crs, to: Crs, rules: OperationRules, otherwise_deg: Option<[f64; 4]>) -> ByPlace {
        ByPlace { from, to, rules, otherwise_deg, areas: RwLock::default(), known: RwLock::default(), made: Mutex::default() }
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

    fn known(&self, lon_deg: f64, lat_deg: f64) -> RankedOperations {
        if !lon_deg.is_finite() || !lat_deg.is_finite() {
            return (Err(self.no_operation()), false);
        }
        let cell = |edge_deg: f64| -> GridCell { ((lat_deg / edge_deg).floor() as i32, (lon_deg / edge_deg).floor() as i32) };
        let (coarse, fine) = (cell(COARSE_DEG), cell(FINE_DEG));
        let (wide_deg, area_deg) = (area_deg(coarse, COARSE_DEG), area_deg(fine, FINE_DEG));
        let areas = stored(&self.areas, coarse, || {
            Arc::new(search(&self.from, &self.to, Some(wide_deg), OperationRules { ballpark: false, ..self.rules }).areas)
        });
        let served = alike(&areas, area_deg).map_or(Served::Fine(fine), |bits| Served::Alike(coarse, bits));
        stored(&self.known, served, || self.look(area_deg, wide_deg))
    }

    /// Searches for an area; `wide_deg` is the coarse cell around, the same for all places that are served.
    fn look(&self, area_deg: [f64; 4], wide_deg: [f64; 4]) -> RankedOperations {
        let here = search(&self.from, &self.to, Some(area_deg), OperationRules { ballpark: false, ..self.rules });
        let is_lost = |search: &OperationSearch| {
            matches!(search.outcome, Err(CrsError::NoOperation { .. } | CrsError::BallparkOnly { .. }))
        };
        if !is_lost(&here) {
            return (self.made(here, wide_deg), true);
        }
        if let Some(otherwise_deg) = self.otherwise_deg {
            let there = search(&self.from, &self.to, Some(otherwise_deg), OperationRules { ballpark: false, ..self.rules });
            if !is_lost(&there) {
                return (self.made(there, otherwise_deg), false);
            }
        }
        let null = search(&self.from, &self.to, Some(area_deg), self.rules);
        (self.made(null, wide_deg), false)
    }

    /// Makes the operations of a search ready, each once.
    fn made(&self, search: OperationSearch, area_deg: [f64; 4]) -> Result<Arc<Vec<Arc<Transform>>>, CrsError> {
        let usable = search.outcome?;
        let mut ranked = Vec::new();
        for operation in &usable.operations {
            let transform =
                Transform::from_operation(operation, (&self.from, &self.to), Some(area_deg), usable.passed_over.clone())?;
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

/// What a store holds of a key; made and kept where it is not there yet.
fn stored<K: Eq + std::hash::Hash, V: Clone>(store: &RwLock<HashMap<K, V>>, key: K, make: impl FnOnce() -> V) -> V {
    let seen = store.read().unwrap_or_else(|poisoned| poisoned.into_inner()).get(&key).cloned();
    seen.unwrap_or_else(|| {
        let made = make();
        store.write().unwrap_or_else(|poisoned| poisoned.into_inner()).insert(key, made.clone());
        made
    })
}

/// Which of some areas hold all of one, a bit each; none where one of them holds a part of it.
fn alike(areas: &[[f64; 4]], inner: [f64; 4]) -> Option<Vec<u64>> {
    let mut bits = vec![0u64; areas.len().div_ceil(64)];
    for (index, area) in areas.iter().enumerate() {
        if holds(*area, inner) {
            bits[index / 64] |= 1 << (index % 64);
        } else if touches(*area, inner) {
            return None;
        }
    }
    Some(bits)
}

/// Whether an area (west, south, east, north in degrees) has a part or an edge in common with one that does not cross ±180°.
fn touches([west, south, east, north]: [f64; 4], [w, s, e, n]: [f64; 4]) -> bool {
    let in_longitude = if west <= east { west <= e && w <= east } else { west <= e || w <= east };
    in_longitude && south <= n && s <= north
}

/// A cell with what is sighted from its places: west, south, east, north in degrees, within ±180 and ±90.
fn area_deg((row, column): GridCell, edge_deg: f64) -> [f64; 4] {
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

#[cfg(test)]
mod tests {
    use super::*;

    /// Over five datums and their surroundings, far from and near to the edges of areas of use: what a place gets by way of another one that
    /// is served alike is what a search for itself gives. Places close to each other, and drawn over a continent.
    #[test]
    fn a_place_gets_what_a_search_for_itself_gives() {
        let mut drawn = crate::numeric::monte_carlo::Normal::seeded(4230);
        let mut searches = 0;
        for (from, [lon, lat]) in [("EPSG:4230", [3.0, 46.0]), ("EPSG:4267", [-98.0, 39.0]), ("EPSG:4314", [10.0, 50.0])] {
            let (crs, wgs84) = (Crs::new(from).unwrap(), Crs::new("EPSG:4979").unwrap());
            let rules = OperationRules { missing_grids: true, ..OperationRules::default() };
            let ways = ByPlace::new(crs.geographic().unwrap(), Crs::new("EPSG:4979").unwrap(), rules, None);
            for _ in 0..60 {
                let (lon, lat) = (lon + 6.0 * drawn.next(), lat + 4.0 * drawn.next());
                let (served, _) = ways.known(lon, lat);
                let fine = ((lat / FINE_DEG).floor() as i32, (lon / FINE_DEG).floor() as i32);
                let own = search(&ways.from, &wgs84, Some(area_deg(fine, FINE_DEG)), rules).outcome;
                searches += 1;
                match (&served, own) {
                    (Ok(ranked), Ok(own)) => {
                        let names: Vec<String> = ranked.iter().map(|way| way.operation().name.clone()).collect();
                        let own: Vec<String> = own.operations.iter().map(|way| way.name()).take(names.len()).collect();
                        assert_eq!(names, own, "{from} at {lon} {lat}");
                    }
                    (Err(served), Err(own)) => assert_eq!(served.to_string(), own.to_string(), "{from} at {lon} {lat}"),
                    (served, own) => panic!("{from} at {lon} {lat}: {} and {}", served.is_ok(), own.is_ok()),
                }
            }
            let made = ways.known.read().unwrap().len();
            assert!(made < 60, "{from}: {made} searches for 60 places");
        }
        assert_eq!(searches, 180);
    }

    #[test]
    fn a_part_of_an_area_speaks_for_its_own_cell_alone() {
        let inner = [10.0, 50.0, 10.1, 50.1];
        assert_eq!(alike(&[[9.0, 49.0, 11.0, 51.0], [20.0, 49.0, 21.0, 51.0]], inner), Some(vec![1]));
        assert_eq!(alike(&[[10.05, 49.0, 11.0, 51.0]], inner), None);
        assert_eq!(alike(&[[10.1, 49.0, 11.0, 51.0]], inner), None);
        // Across ±180°: 170 to −170 holds 175, not 10.
        assert_eq!(alike(&[[170.0, 49.0, -170.0, 51.0]], [175.0, 50.0, 175.1, 50.1]), Some(vec![1]));
        assert_eq!(alike(&[[170.0, 49.0, -170.0, 51.0]], inner), Some(vec![0]));
        assert_eq!(alike(&[[170.0, 49.0, -170.0, 51.0]], [169.95, 50.0, 170.05, 50.1]), None);
        assert_eq!(alike(&[], inner), Some(Vec::new()));
    }
}
