//! B's points onto A's datum, and both ends of each change into A's CRS.

use super::{Change, CompareError};
use crate::geodesy::crs::{Crs, CrsError, OperationRules, Transform};
use crate::geodesy::frame::Geodetic;
use crate::review::finished::{DatumStep, MappedLayer, MappedPoint, move_points};

/// Longitude and latitude of a point in the unit of a geographic CRS, from its own meridian.
fn own_coordinates(point: &MappedPoint, datum: &Crs) -> [f64; 2] {
    let [lon_deg, lat_deg] = [point.at.lon_rad, point.at.lat_rad].map(f64::to_degrees);
    if datum.is_plain() {
        return [lon_deg, lat_deg];
    }
    [point.at.lon_rad - datum.meridian_rad(), point.at.lat_rad].map(|angle_rad| angle_rad / datum.unit_factor())
}

/// Brings B's points onto A's datum; the transformation, where there is one.
///
/// # Errors
/// When there is no way, or a point cannot go it.
pub fn onto(b: &mut MappedLayer, datum: &Crs, epoch: Option<f64>) -> Result<Option<DatumStep>, CompareError> {
    if b.datum.same_as(datum) {
        return Ok(None);
    }
    let mut coordinates: Vec<[f64; 3]> = b
        .points
        .iter()
        .map(|point| {
            let [x, y] = own_coordinates(point, &b.datum);
            [x, y, point.heights.ellipsoid_m.unwrap_or(0.0)]
        })
        .collect();
    let with_height = b.points.iter().any(|point| point.heights.ellipsoid_m.is_some());
    let step = move_points(&mut coordinates, (&b.datum, datum), with_height, epoch, "B was")?;
    for (point, [lon_deg, lat_deg, height_m]) in b.points.iter_mut().zip(coordinates) {
        if !lon_deg.is_finite() || !lat_deg.is_finite() || !height_m.is_finite() {
            return Err(CompareError::Outside { point: point.label(), datum: datum.label() });
        }
        point.heights.ellipsoid_m = point.heights.ellipsoid_m.map(|_| height_m);
        point.at = Geodetic {
            lat_rad: lat_deg.to_radians(),
            lon_rad: lon_deg.to_radians(),
            ellipsoid_height_m: point.heights.stand_in_m(),
        };
    }
    Ok(step)
}

/// Puts both ends of each change into A's CRS.
///
/// # Errors
/// When PROJ fails as a whole.
pub fn ends(changes: &mut [Change], pairs: &[(&MappedPoint, &MappedPoint)], a: &MappedLayer) -> Result<(), CrsError> {
    let at = |point: &MappedPoint| {
        let [x, y] = own_coordinates(point, &a.datum);
        [x, y, 0.0]
    };
    let mut ends: Vec<[f64; 3]> = pairs.iter().flat_map(|(one, other)| [at(one), at(other)]).collect();
    let horizontal = a.crs.horizontal()?;
    if !a.datum.same_as(&horizontal) {
        let area = a.crs.area_of_use().map(|area| area.edges_deg);
        Transform::new(&a.datum, &horizontal, area, OperationRules::default())?.apply(&mut ends)?;
    }
    for (change, pair) in changes.iter_mut().zip(ends.chunks(2)) {
        if let [[ax, ay, _], [bx, by, _]] = *pair {
            change.ends = [[ax, ay], [bx, by]];
        }
    }
    Ok(())
}
