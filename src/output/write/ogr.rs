//! What the formats written through GDAL share: geometries, and its errors in short.

use gdal::errors::GdalError;
use gdal::spatial_ref::SpatialRef;
use gdal::vector::{Geometry, OGRwkbGeometryType};

use super::WriteError;
use super::antimeridian::{self, Globe};
use crate::geodesy::crs::Crs;
use crate::job::catalogue::GeometryKind;
use crate::output::columns::Position;

/// GDAL's type of a layer's geometry. On a globe lines and areas are of parts, since one may go over ±180°.
pub fn type_of(kind: GeometryKind, has_z: bool, is_multi: bool) -> OGRwkbGeometryType::Type {
    match (kind, has_z, is_multi) {
        (GeometryKind::None, ..) => OGRwkbGeometryType::wkbNone,
        (GeometryKind::Point, true, _) => OGRwkbGeometryType::wkbPoint25D,
        (GeometryKind::Point, false, _) => OGRwkbGeometryType::wkbPoint,
        (GeometryKind::Line, true, false) => OGRwkbGeometryType::wkbLineString25D,
        (GeometryKind::Line, false, false) => OGRwkbGeometryType::wkbLineString,
        (GeometryKind::Area, true, false) => OGRwkbGeometryType::wkbPolygon25D,
        (GeometryKind::Area, false, false) => OGRwkbGeometryType::wkbPolygon,
        (GeometryKind::Line, true, true) => OGRwkbGeometryType::wkbMultiLineString25D,
        (GeometryKind::Line, false, true) => OGRwkbGeometryType::wkbMultiLineString,
        (GeometryKind::Area, true, true) => OGRwkbGeometryType::wkbMultiPolygon25D,
        (GeometryKind::Area, false, true) => OGRwkbGeometryType::wkbMultiPolygon,
    }
}

/// A geometry; none for a table. Heights that are not known are those of the base.
///
/// # Errors
/// When GDAL is out of memory.
pub fn geometry(
    kind: GeometryKind,
    positions: &[Position],
    has_z: bool,
    globe: Option<Globe>,
) -> Result<Option<Geometry>, GdalError> {
    if kind == GeometryKind::None {
        return Ok(None);
    }
    if globe.is_none() || kind == GeometryKind::Point {
        return single(kind, positions, has_z).map(Some);
    }
    let mut whole = Geometry::empty(type_of(kind, has_z, true))?;
    for part in antimeridian::parts(globe, kind, positions).iter() {
        whole.add_geometry(single(kind, part, has_z)?)?;
    }
    Ok(Some(whole))
}

fn single(kind: GeometryKind, positions: &[Position], has_z: bool) -> Result<Geometry, GdalError> {
    let fill = |geometry: &mut Geometry| {
        for position in positions {
            if has_z {
                geometry.add_point((position.x, position.y, position.stand_in_z));
            } else {
                geometry.add_point_2d((position.x, position.y));
            }
        }
    };
    let mut geometry = Geometry::empty(type_of(kind, has_z, false))?;
    match kind {
        GeometryKind::None => {}
        GeometryKind::Point | GeometryKind::Line => fill(&mut geometry),
        GeometryKind::Area => {
            let mut ring = Geometry::empty(OGRwkbGeometryType::wkbLinearRing)?;
            fill(&mut ring);
            geometry.add_geometry(ring)?;
        }
    }
    Ok(geometry)
}

/// The layers' CRS for GDAL.
///
/// # Errors
/// When GDAL does not take its WKT.
pub fn spatial_ref(crs: &Crs) -> Result<SpatialRef, GdalError> {
    SpatialRef::from_wkt(&crs.wkt2().unwrap_or_default())
}

/// GDAL's failure.
pub fn failed(path: &std::path::Path, doing: &'static str) -> impl FnOnce(GdalError) -> WriteError + use<> {
    WriteError::format(path, doing)
}
