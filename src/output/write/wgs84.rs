//! Positions of the layers back on WGS 84, for formats that know no other datum: by the operations that are best where the bases
//! lie, which are those that brought the bases here.

use std::collections::HashMap;
use std::sync::Arc;

use crate::geodesy::crs::{ByPlace, CoordinateEpoch, Crs, CrsError, CrsKind, Transform};
use crate::output::columns::{Batch, Position};
use crate::output::contract::Setup;

/// Edge of the cells in degrees in which the nearest base is sought once.
const CELL_DEG: f64 = 0.02;

/// The way to WGS 84.
pub struct ToWgs84 {
    /// To the geographic CRS of the layers' datum; none for a geographic CRS.
    to_own: Option<Transform>,
    own: Crs,
    /// The operation of each place (longitude, latitude in degrees); empty where the datum is WGS 84.
    steps: Vec<([f64; 2], Arc<Transform>)>,
    /// Whether all of them are one.
    is_one: bool,
    /// The step nearest to a cell, by row and column.
    nearest: HashMap<(i32, i32), usize>,
    /// The epoch of the job's positions, for a way that moves with time.
    epoch: Option<f64>,
}

impl ToWgs84 {
    /// Chooses the operations.
    ///
    /// # Errors
    /// When WGS 84 cannot be reached from the layers' CRS by what the job allows.
    pub fn new(setup: &Setup) -> Result<ToWgs84, CrsError> {
        let own = setup.crs.geographic_3d()?;
        let to_own = match setup.crs.kind() {
            CrsKind::Geographic => None,
            CrsKind::Projected => Some(Transform::new(&setup.crs.horizontal_3d()?, &own, None, setup.rules)?),
        };
        let wgs84 = Crs::new("EPSG:4979")?;
        let mut steps = Vec::new();
        if !own.same_as(&wgs84) {
            let area = setup.crs.area_of_use().map(|area| area.edges_deg);
            let ways = ByPlace::new(setup.crs.geographic_3d()?, wgs84, setup.rules, area);
            for place in &setup.places_deg {
                let [lon_deg, lat_deg] = *place;
                let own_unit = |angle_rad: f64| angle_rad / own.unit_factor();
                let point = [own_unit(lon_deg.to_radians() - own.meridian_rad()), own_unit(lat_deg.to_radians()), 0.0];
                steps.push((*place, ways.at(lon_deg, lat_deg, point)?));
            }
        }
        let is_one = steps.windows(2).all(|pair| Arc::ptr_eq(&pair[0].1, &pair[1].1));
        Ok(ToWgs84 { to_own, own, steps, is_one, nearest: HashMap::new(), epoch: setup.job.bases.epoch })
    }

    /// The points of a batch there, one behind the other: longitude and latitude in degrees, height above the ellipsoid in metres
    /// (0 where none is known).
    ///
    /// # Errors
    /// As [`ToWgs84::apply`].
    pub fn convert(&mut self, batch: &Batch) -> Result<Vec<[f64; 3]>, CrsError> {
        let known = |p: &Position| [p.x, p.y, if p.ellipsoid_height_m.is_nan() { 0.0 } else { p.ellipsoid_height_m }];
        let mut points: Vec<[f64; 3]> = (0..batch.len).flat_map(|i| batch.positions(i)).map(known).collect();
        self.apply(&mut points, (0..batch.len).map(|i| batch.positions(i).len()))?;
        Ok(points)
    }

    /// Brings the points of geometries there, in place: `counts` says how many points each geometry has. All points of one geometry go
    /// by one operation.
    ///
    /// # Errors
    /// When PROJ fails as a whole, and when the way moves with time and the positions have no date.
    pub fn apply(&mut self, points: &mut [[f64; 3]], counts: impl Iterator<Item = usize>) -> Result<(), CrsError> {
        if let Some(to_own) = &self.to_own {
            to_own.apply(points)?;
        }
        if self.is_one {
            if let Some((_, step)) = self.steps.first() {
                apply(step, points, self.epoch)?;
            }
            return Ok(());
        }
        let mut rest = points;
        for count in counts {
            let (geometry, others) = rest.split_at_mut(count);
            rest = others;
            let Some([x, y, _]) = geometry.first().copied() else { continue };
            let (lon_deg, lat_deg) = self.own.greenwich_degrees(x, y);
            let step = self.nearest(lon_deg, lat_deg);
            apply(&self.steps[step].1, geometry, self.epoch)?;
        }
        Ok(())
    }

    /// The step whose place is nearest to the cell of a position.
    fn nearest(&mut self, lon_deg: f64, lat_deg: f64) -> usize {
        let cell = ((lat_deg / CELL_DEG).floor() as i32, (lon_deg / CELL_DEG).floor() as i32);
        let steps = &self.steps;
        *self.nearest.entry(cell).or_insert_with(|| {
            let square = |place: &[f64; 2]| {
                let east = ((place[0] - lon_deg + 180.0).rem_euclid(360.0) - 180.0) * lat_deg.to_radians().cos();
                east.powi(2) + (place[1] - lat_deg).powi(2)
            };
            let nearest = steps.iter().enumerate().min_by(|(_, one), (_, other)| square(&one.0).total_cmp(&square(&other.0)));
            nearest.map_or(0, |(index, _)| index)
        })
    }
}

fn apply(step: &Transform, points: &mut [[f64; 3]], epoch: Option<f64>) -> Result<(), CrsError> {
    match epoch {
        Some(year) if step.needs_epoch() => step.apply_at(points, CoordinateEpoch::All(year)),
        _ => step.apply(points),
    }
}
