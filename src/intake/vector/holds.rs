//! What a layer of a vector file holds.

use gdal::vector::{OGRwkbGeometryType, geometry_type_flatten};

/// What a layer holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Holds {
    /// At least one point, or nothing yet in a layer for points.
    Points,
    /// Lines.
    Lines,
    /// Areas.
    Areas,
    /// A table.
    NoGeometry,
    /// Something else, or several kinds with no point among them.
    Other,
}

impl Holds {
    /// In words.
    pub fn word(self) -> &'static str {
        match self {
            Holds::Points => "points",
            Holds::Lines => "lines",
            Holds::Areas => "areas",
            Holds::NoGeometry => "rows without geometry",
            Holds::Other => "other geometries",
        }
    }

    pub(super) fn from_type(kind: OGRwkbGeometryType::Type) -> Holds {
        match geometry_type_flatten(kind) {
            OGRwkbGeometryType::wkbPoint | OGRwkbGeometryType::wkbMultiPoint => Holds::Points,
            OGRwkbGeometryType::wkbLineString
            | OGRwkbGeometryType::wkbMultiLineString
            | OGRwkbGeometryType::wkbCompoundCurve
            | OGRwkbGeometryType::wkbCircularString
            | OGRwkbGeometryType::wkbMultiCurve => Holds::Lines,
            OGRwkbGeometryType::wkbPolygon
            | OGRwkbGeometryType::wkbMultiPolygon
            | OGRwkbGeometryType::wkbCurvePolygon
            | OGRwkbGeometryType::wkbMultiSurface => Holds::Areas,
            OGRwkbGeometryType::wkbNone => Holds::NoGeometry,
            _ => Holds::Other,
        }
    }
}
