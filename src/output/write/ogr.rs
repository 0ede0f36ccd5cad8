//! What the formats written through GDAL share: geometries, and its errors in short.

use gdal::errors::GdalError;
use gdal::spatial_ref::SpatialRef;
use gdal::vector::{Geometry, OGRwkbGeometryType};

use super::WriteError;
use crate::geodesy::crs::Crs;
use crate::job::catalogue::GeometryKind;
use crate::output::columns::Position;

/// GDAL's type of a layer's geometry.
pub fn type_of(kind: GeometryKind, has_z: bool) -> OGRwkbGeometryType::Type {
    match (kind, has_z) {
        (GeometryKind::None, _) => OGRwkbGeometryType::wkbNone,
        (GeometryKind::Point, true) => OGRwkbGeometryType::wkbPoint25D,
        (GeometryKind::Point, false) => OGRwkbGeometryType::wkbPoint,
        (GeometryKind::Line, true) => OGRwkbGeometryType::wkbLineString25D,
        (GeometryKind::Line, false) => OGRwkbGeometryType::wkbLineString,
        (GeometryKind::Area, true) => OGRwkbGeometryType::wkbPolygon25D,
        (GeometryKind::Area, false) => OGRwkbGeometryType::wkbPolygon,
    }
}

/// A geometry; none for a table. Heights that are not known are those of the base.
///
/// # Errors
/// When GDAL is out of memory.
pub fn geometry(kind: GeometryKind, positions: &[Position], has_z: bool) -> Result<Option<Geometry>, GdalError> {
    let fill = |geometry: &mut Geometry| {
        for position in positions {
            if has_z {
                geometry.add_point((position.x, position.y, position.stand_in_z));
            } else {
                geometry.add_point_2d((position.x, position.y));
            }
        }
    };
    if kind == GeometryKind::None {
        return Ok(None);
    }
    let mut geometry = Geometry::empty(type_of(kind, has_z))?;
    match kind {
        GeometryKind::None => {}
        GeometryKind::Point | GeometryKind::Line => fill(&mut geometry),
        GeometryKind::Area => {
            let mut ring = Geometry::empty(OGRwkbGeometryType::wkbLinearRing)?;
            fill(&mut ring);
            geometry.add_geometry(ring)?;
        }
    }
    Ok(Some(geometry))
}

/// The layers' CRS for GDAL.
///
/// # Errors
/// When GDAL does not take its WKT.
pub fn spatial_ref(crs: &Crs) -> Result<SpatialRef, GdalError> {
    SpatialRef::from_wkt(&crs.wkt2().unwrap_or_default())
}

/// GDAL's failure in a sentence, without its numbers and function names.
pub fn failed(path: &std::path::Path, doing: &'static str) -> impl FnOnce(GdalError) -> WriteError + use<> {
    let path = path.to_owned();
    move |error| {
        let gist = match error {
            GdalError::CplError { msg, .. } | GdalError::NullPointer { msg, .. } if !msg.is_empty() => msg,
            GdalError::OgrError { .. } => "the format does not take it".to_owned(),
            other => other.to_string(),
        };
        WriteError::Format { path, doing, gist }
    }
}
