//! Operations that move nothing: two datums taken as one.
//!
//! Where two datums differ by less than one of them is known to, the published operation is a null one
//! with an accuracy of metres (WGS 84 as an ensemble to ETRS89, GDA2020, NAD83(2011)). The coordinates
//! do not change, and whoever reads them on the new datum must know how well they hold.

use super::raw::{Grids, ProjObject};
use super::system::{Crs, CrsKind};

/// Published accuracy in metres from which an operation that moves nothing is worth telling: below, the
/// datums are one within what a base is fixed to.
pub const COARSE_M: f64 = 0.5;
/// Movement in metres that counts as none.
const NOTHING_M: f64 = 0.001;
/// Metres to a radian, rounded up.
const RADIUS_M: f64 = 6.4e6;
/// Height of the test points in metres: not 0, so that a factor would show.
const HEIGHT_M: f64 = 100.0;

/// The exact conversion between a projected CRS and the geographic one of its datum; none is needed
/// for a geographic one.
fn unprojection(crs: &Crs, towards_map: bool) -> Option<Option<ProjObject>> {
    if crs.kind() == CrsKind::Geographic {
        return Some(None);
    }
    let (map, geographic) = (crs.horizontal().ok()?.object()?, crs.geographic_3d().ok()?.object()?);
    let (from, to) = if towards_map { (&geographic, &map) } else { (&map, &geographic) };
    let conversion = from.operations_to(to, None, Grids::Installed, false).into_iter().next()?;
    Some(Some(conversion.in_map_order()?))
}

/// Five points of an area (west, south, east, north in degrees): the middle and half-way to the
/// corners, since a turn about one axis leaves the points on it alone.
fn test_points([west, south, east, north]: [f64; 4]) -> [(f64, f64); 5] {
    let width = if west <= east { east - west } else { east - west + 360.0 };
    [(0.5, 0.5), (0.25, 0.25), (0.25, 0.75), (0.75, 0.25), (0.75, 0.75)]
        .map(|(right, up)| ((west + width * right + 180.0).rem_euclid(360.0) - 180.0, south + (north - south) * up))
}

/// Metres of one unit of the height of a CRS, negative for depths.
fn height_unit_m(crs: &Crs) -> f64 {
    crs.vertical().map_or(1.0, |vertical| if vertical.down { -vertical.unit_factor } else { vertical.unit_factor })
}

/// Whether an operation (in map order) leaves every test point of an area where it was, within a
/// millimetre, as seen in longitude, latitude and height. Points outside what a projection can express
/// are left out; with none left, the answer is no.
pub fn moves_nothing(from: &Crs, to: &Crs, operation: &mut ProjObject, area_deg: [f64; 4]) -> bool {
    let parts =
        || Some((from.geographic_3d().ok()?, to.geographic_3d().ok()?, unprojection(from, true)?, unprojection(to, false)?));
    let Some((own, other, project, unproject)) = parts() else { return false };
    let places = test_points(area_deg);
    let mut points = places.map(|(lon_deg, lat_deg)| {
        let lon = (lon_deg.to_radians() - own.meridian_rad()) / own.unit_factor();
        [lon, lat_deg.to_radians() / own.unit_factor(), HEIGHT_M / height_unit_m(from)]
    });
    if let Some(mut project) = project {
        project.transform(&mut points, &[]);
    }
    operation.transform(&mut points, &[]);
    let heights = points.map(|[_, _, height]| height * height_unit_m(to));
    if let Some(mut unproject) = unproject {
        unproject.transform(&mut points, &[]);
    }
    let mut judged =
        points.into_iter().zip(heights).zip(places).filter(|(([x, y, _], _), _)| x.is_finite() && y.is_finite()).peekable();
    judged.peek().is_some()
        && judged.all(|(([lon, lat, _], height), (lon_deg, lat_deg))| {
            let (lon, lat) = other.greenwich_degrees(lon, lat);
            let east_deg = (lon - lon_deg + 180.0).rem_euclid(360.0) - 180.0;
            let east_m = east_deg.to_radians() * lat_deg.to_radians().cos() * RADIUS_M;
            let north_m = (lat - lat_deg).to_radians() * RADIUS_M;
            [east_m, north_m, height - HEIGHT_M].into_iter().all(|moved_m| moved_m.abs() < NOTHING_M)
        })
}
