//! Points onto a datum, and the horizontal difference of two points on it.
//!
//! Coordinates go through PROJ to the geographic CRS of a datum ([`crate::geodesy::crs`]); the difference is that of earth-centred points turned into
//! the first one's local frame ([`crate::geodesy::frame`]), both at the first one's height. The transformation between datums is chosen for the
//! place of each point. None with a null step or a missing grid is taken: there is no job here that could allow it.

use std::sync::Arc;

use super::MappedPoint;
use super::error::{LayerFlaw, NoWay};
use crate::geodesy::crs::{ByPlace, CoordinateEpoch, Crs, CrsKind, Operation, OperationRules, Transform};
use crate::geodesy::frame::{Ellipsoid, Geodetic, LocalFrame};
use crate::intake::vector::VectorPoint;
use crate::units::Shown;

/// The way between two datums.
#[derive(Debug, Clone, PartialEq)]
pub struct DatumStep {
    /// What PROJ chose; of several, by the place of the points, the least accurate.
    pub operation: Operation,
    /// Its published accuracy in metres; 0 where it is exact or none is known.
    pub accuracy_m: f64,
    /// How many others serve points elsewhere.
    pub others: usize,
}

impl DatumStep {
    fn worst_of(used: &[Arc<Transform>]) -> Option<DatumStep> {
        let operations = used.iter().map(|transform| transform.operation());
        let inexact: Vec<&Operation> = operations.filter(|one| one.accuracy_m != Some(0.0) || one.ballpark).collect();
        // Of unknown accuracy is worst.
        let accuracy_m = |operation: &Operation| operation.accuracy_m.unwrap_or(f64::INFINITY);
        let worst = inexact.iter().max_by(|one, other| accuracy_m(one).total_cmp(&accuracy_m(other)))?;
        Some(DatumStep { operation: (*worst).clone(), accuracy_m: worst.accuracy_m.unwrap_or(0.0), others: inexact.len() - 1 })
    }

    /// What it means for the results, in a sentence.
    pub fn sentence(&self, length: &Shown) -> String {
        let Operation { from, to, name, accuracy_m, null_within_accuracy, .. } = &self.operation;
        let goodness = match accuracy_m {
            Some(metres) if *null_within_accuracy => {
                format!(
                    "moves nothing: the two datums are taken as one, and may differ by about {}, which is in the uncertainties",
                    length.told(*metres)
                )
            }
            Some(metres) => format!("is good to {}, which is in the uncertainties", length.told(*metres)),
            None => "has no published accuracy; the uncertainties do not hold it".to_owned(),
        };
        let others = match self.others {
            0 => String::new(),
            1 => " Points elsewhere go by another, at least as accurate.".to_owned(),
            several => format!(" Points elsewhere go by {several} others, at least as accurate."),
        };
        format!("The transformation from {from} to {to} ({name}) {goodness}.{others}")
    }
}

/// Brings coordinates of a CRS to the geographic CRS of a datum: x, y in the CRS's own unit and the ellipsoidal height, which is taken along
/// where `with_height` says so; `whose` positions they are, with a verb, for a refusal that asks for their date. Gives longitude and latitude from Greenwich in degrees and the height, not finite where there is none.
///
/// # Errors
/// When PROJ has no way that can be taken.
pub fn move_points(
    coordinates: &mut [[f64; 3]],
    (from, to): (&Crs, &Crs),
    with_height: bool,
    epoch: Option<f64>,
    whose: &'static str,
) -> Result<Option<DatumStep>, NoWay> {
    let failed = |error| NoWay::new(error, whose);
    // Without heights the horizontal part alone: more transformations are known for it.
    let source = if with_height { from.horizontal_3d() } else { from.horizontal() }.map_err(failed)?;
    let own = source.geographic().map_err(failed)?;
    if source.kind() == CrsKind::Projected {
        Transform::new(&source, &own, None, OperationRules::default())
            .and_then(|exact| exact.apply(coordinates))
            .map_err(failed)?;
    }
    let mut used: Vec<Arc<Transform>> = Vec::new();
    if !own.geographic_3d().map_err(failed)?.same_as(to) {
        let area = from.area_of_use().map(|area| area.edges_deg);
        let ways = ByPlace::new(
            source.geographic().map_err(failed)?,
            to.geographic_3d().map_err(failed)?,
            OperationRules::default(),
            area,
        );
        for point in coordinates.iter_mut() {
            let (lon_deg, lat_deg) = own.greenwich_degrees(point[0], point[1]);
            // A position that the projection cannot express stays as it is, not finite.
            if !lon_deg.is_finite() || !lat_deg.is_finite() {
                continue;
            }
            let transform = ways.at(lon_deg, lat_deg, *point).map_err(failed)?;
            let one = std::slice::from_mut(point);
            match epoch {
                Some(year) if transform.needs_epoch() => transform.apply_at(one, CoordinateEpoch::All(year)),
                _ => transform.apply(one),
            }
            .map_err(failed)?;
            if !used.iter().any(|known| Arc::ptr_eq(known, &transform)) {
                used.push(transform);
            }
        }
    }
    let step = DatumStep::worst_of(&used);
    for point in coordinates {
        let [x, y, height] = *point;
        let (lon_deg, lat_deg) = to.greenwich_degrees(x, y);
        *point = [lon_deg, lat_deg, height];
    }
    Ok(step)
}

/// Sets the positions of a layer's points from its geometries.
pub fn settle(points: &mut [MappedPoint], geometries: &[VectorPoint], crs: &Crs, datum: &Crs) -> Result<(), LayerFlaw> {
    let mut coordinates: Vec<[f64; 3]> = geometries.iter().map(|point| [point.x, point.y, 0.0]).collect();
    move_points(&mut coordinates, (crs, datum), false, None, "they were")?;
    for ((point, [lon_deg, lat_deg, _]), geometry) in points.iter_mut().zip(coordinates).zip(geometries) {
        if !lon_deg.is_finite() || !lat_deg.is_finite() || lat_deg.abs() > 90.0 {
            let (x, y, number) = (geometry.x, geometry.y, geometry.number);
            return Err(LayerFlaw::Outside { x, y, number, crs: crs.label() });
        }
        point.at = Geodetic {
            lat_rad: lat_deg.to_radians(),
            lon_rad: lon_deg.to_radians(),
            ellipsoid_height_m: point.heights.stand_in_m(),
        };
    }
    Ok(())
}

/// East and north of a second point from a first in metres on the ground, at the first one's height.
pub fn horizontal_difference_m(first: &Geodetic, second: &Geodetic, ellipsoid: &Ellipsoid) -> [f64; 2] {
    let level = Geodetic { ellipsoid_height_m: first.ellipsoid_height_m, ..*second };
    let [east_m, north_m, _] = LocalFrame::at(first, ellipsoid).from_earth_centred(level.to_earth_centred(ellipsoid));
    [east_m, north_m]
}

#[cfg(test)]
mod tests {
    use std::f64::consts::PI;

    use super::*;

    fn utm(code: &str, x: f64, y: f64) -> Geodetic {
        let crs = Crs::new(code).unwrap();
        let mut point = [[x, y, 0.0]];
        let step = move_points(&mut point, (&crs, &crs.geographic_3d().unwrap()), false, None, "they were").unwrap();
        assert_eq!(step, None);
        let [lon_deg, lat_deg, _] = point[0];
        Geodetic { lat_rad: lat_deg.to_radians(), lon_rad: lon_deg.to_radians(), ellipsoid_height_m: 0.0 }
    }

    /// One metre of grid at the edge of a zone: the scale factor and the convergence taken off, by PROJ's own factors.
    #[test]
    fn grid_metres_become_metres_on_the_ground_and_turn_to_true_north() {
        let crs = Crs::new("EPSG:32630").unwrap();
        let (x, y) = (720_000.0, 6_500_000.0);
        let (first, second) = (utm("EPSG:32630", x, y), utm("EPSG:32630", x + 3.0, y + 4.0));
        let factors = crs.grid_factors(first.lon_rad, first.lat_rad).unwrap();
        let [east_m, north_m] = horizontal_difference_m(&first, &second, crs.ellipsoid());
        assert!((east_m.hypot(north_m) - 5.0 / factors.scale).abs() < 1e-6, "{east_m} {north_m} {factors:?}");
        let azimuth = east_m.atan2(north_m) - (3f64).atan2(4.0);
        assert!((azimuth - factors.convergence_rad).abs() < 1e-6, "{azimuth} {factors:?}");
        assert!((factors.scale - 1.0).abs() > 1e-5 && factors.convergence_rad.abs() > 0.05);
    }

    #[test]
    fn heights_stretch_the_ground() {
        let at = |h| Geodetic { lat_rad: 0.8, lon_rad: PI - 5e-7, ellipsoid_height_m: h };
        let second = Geodetic { lon_rad: -PI + 5e-7, ..at(7.0) };
        let [low, _] = horizontal_difference_m(&at(0.0), &second, &Ellipsoid::WGS84);
        let [high, north_m] = horizontal_difference_m(&at(3000.0), &second, &Ellipsoid::WGS84);
        // Across the antimeridian: eastwards, and longer by h over the radius.
        assert!(low > 0.0 && ((high / low - 1.0) - 3000.0 / Ellipsoid::WGS84.prime_vertical_radius_m(0.8)).abs() < 1e-7);
        assert!(north_m.abs() < 1e-3);
    }

    #[test]
    fn datums_without_a_way_between_are_refused_in_plain_words() {
        let (from, to) = (Crs::new("+proj=longlat +ellps=bessel").unwrap(), Crs::new("EPSG:4979").unwrap());
        let error = move_points(&mut [[8.0, 47.0, 0.0]], (&from, &to), false, None, "they were").unwrap_err();
        assert!(error.to_string().contains("bring both into one CRS first"), "{error}");
    }
}
