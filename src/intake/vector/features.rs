//! The features of a layer: points out of geometries, text out of values.

use gdal::config::{clear_thread_local_config_option, set_thread_local_config_option};
use gdal::spatial_ref::SpatialRef;
use gdal::vector::{
    Feature, Geometry, Layer, LayerAccess, OGRFieldType, OGRwkbGeometryType, geometry_type_flatten, geometry_type_has_z,
};

use super::error::{NoPoint, VectorError};
use super::holds::Holds;
use super::{PointLayer, VectorPoint, VectorType};
use crate::geodesy::crs::CrsKind;

/// What a layer holds, by its type, or by its features where the type leaves that open.
pub fn holds(layer: &mut Layer) -> Holds {
    match Holds::from_type(layer.defn().geometry_type()) {
        Holds::Other => {
            let is_point = |feature: Feature| {
                geometry(&feature).map(|geometry| Holds::from_type(geometry.geometry_type())) == Some(Holds::Points)
            };
            if layer.features().any(is_point) { Holds::Points } else { Holds::Other }
        }
        told => told,
    }
}

/// Reads all features of a layer.
///
/// # Errors
/// When a value cannot be read.
pub fn read(layer: &mut Layer, name: String) -> Result<PointLayer, VectorError> {
    let (crs_wkt, kind, unit_factor) = layer.spatial_ref().map_or((None, None, 1.0), |reference| crs(&reference));
    let (fields, indices) = fields(layer);
    let mut read = PointLayer { name, crs_wkt, kind, unit_factor, fields, points: Vec::new(), skipped: Vec::new() };
    for (number, feature) in (1..).zip(layer.features()) {
        match position(&feature) {
            Err(why) => read.skipped.push((number, why)),
            Ok((x, y, z)) => {
                let cells = cells(&feature, number, &read.fields, &indices)?;
                read.points.push(VectorPoint { number, x, y, z, cells });
            }
        }
    }
    Ok(read)
}

/// The fields that are read, and their places in the layer: all but those of binary values.
pub fn fields(layer: &Layer) -> (Vec<(String, VectorType)>, Vec<usize>) {
    let mut fields = Vec::new();
    let mut indices = Vec::new();
    for (index, field) in layer.defn().fields().enumerate() {
        let kind = match field.field_type() {
            OGRFieldType::OFTInteger | OGRFieldType::OFTInteger64 => VectorType::Integer,
            OGRFieldType::OFTReal => VectorType::Real,
            OGRFieldType::OFTDate => VectorType::Date,
            OGRFieldType::OFTTime => VectorType::TimeOfDay,
            OGRFieldType::OFTDateTime => VectorType::DateTime,
            OGRFieldType::OFTBinary => continue,
            _ => VectorType::Text,
        };
        fields.push((field.name(), kind));
        indices.push(index);
    }
    (fields, indices)
}

/// The values of a feature's fields as text.
///
/// # Errors
/// When a value cannot be read.
pub fn cells(
    feature: &Feature,
    number: u64,
    fields: &[(String, VectorType)],
    indices: &[usize],
) -> Result<Vec<String>, VectorError> {
    let value = |(index, (name, kind)): (&usize, &(String, VectorType))| {
        cell(feature, *index, *kind).ok_or_else(|| VectorError::Value { field: name.clone(), number })
    };
    indices.iter().zip(fields).map(value).collect()
}

/// WKT 2 of a CRS, its kind, and metres or degrees in one unit of its axes.
fn crs(reference: &SpatialRef) -> (Option<String>, Option<CrsKind>, f64) {
    // Names that GeoPackage reserves for layers whose CRS nobody has told.
    if reference.name().is_none_or(|name| name.starts_with("Undefined")) {
        return (None, None, 1.0);
    }
    // Of this thread alone; both fail for names with a NUL alone.
    let _ = set_thread_local_config_option("OSR_WKT_FORMAT", "WKT2_2019");
    let wkt = reference.to_wkt().ok().filter(|wkt| !wkt.is_empty());
    let _ = clear_thread_local_config_option("OSR_WKT_FORMAT");
    if reference.is_geographic() {
        let degrees = reference.angular_units().to_degrees();
        // GDAL's degree differs from a degree by rounding.
        (wkt, Some(CrsKind::Geographic), if (degrees - 1.0).abs() < 1e-9 { 1.0 } else { degrees })
    } else if reference.is_projected() {
        (wkt, Some(CrsKind::Projected), reference.linear_units())
    } else {
        (wkt, None, 1.0)
    }
}

fn geometry<'f>(feature: &'f Feature) -> Option<&'f Geometry> {
    // `Feature::geometry` gives one that is not there for null.
    feature.geometry_by_index(0).ok()
}

/// Easting or longitude, northing or latitude, and the third coordinate.
fn position(feature: &Feature) -> Result<(f64, f64, Option<f64>), NoPoint> {
    let geometry = geometry(feature).ok_or(NoPoint::NoGeometry)?;
    let kind = geometry.geometry_type();
    if geometry.is_empty() {
        return Err(NoPoint::Empty);
    }
    let (x, y, z) = match geometry_type_flatten(kind) {
        OGRwkbGeometryType::wkbPoint => geometry.get_point(0),
        OGRwkbGeometryType::wkbMultiPoint => match geometry.geometry_count() {
            1 => geometry.get_geometry(0).get_point(0),
            count => return Err(NoPoint::Several(count)),
        },
        _ => {
            let what = match Holds::from_type(kind) {
                Holds::Lines => "a line",
                Holds::Areas => "an area",
                _ => "of another kind",
            };
            return Err(NoPoint::Other(what));
        }
    };
    if !x.is_finite() || !y.is_finite() {
        return Err(NoPoint::NotFinite(x, y));
    }
    Ok((x, y, Some(z).filter(|z| geometry_type_has_z(kind) && z.is_finite())))
}

/// A value as text; none where GDAL cannot give it.
fn cell(feature: &Feature, index: usize, kind: VectorType) -> Option<String> {
    let text = feature.field_as_string(index).ok()?.unwrap_or_default();
    // A number that is not there would come as 0 below.
    if text.is_empty() {
        return Some(text);
    }
    match kind {
        VectorType::Real => {
            feature.field_as_double(index).ok()?.map(|value| if value.is_nan() { String::new() } else { number(value) })
        }
        VectorType::Date => Some(text.replace('/', "-")),
        VectorType::DateTime => Some(iso(&text)),
        VectorType::Integer | VectorType::TimeOfDay | VectorType::Text => Some(text),
    }
}

/// The shortest text that reads back as the same number.
pub fn number(value: f64) -> String {
    let size = value.abs();
    if size != 0.0 && !(1e-5..1e17).contains(&size) { format!("{value:e}") } else { value.to_string() }
}

/// ISO 8601 of a time as GDAL writes it: `2026/05/04 08:00:01.500+0530`, the offset missing where the
/// file has none, `+00` in UTC.
fn iso(text: &str) -> String {
    let Some((date, rest)) = text.split_once(' ') else { return text.replace('/', "-") };
    let (time, offset) = rest.split_at(rest.find(['+', '-']).unwrap_or(rest.len()));
    let offset = match (offset.get(..1), offset.get(1..).map(|digits| digits.replace(':', ""))) {
        (Some(_), Some(digits)) if digits.bytes().all(|digit| digit == b'0') => "Z".to_owned(),
        (Some(sign), Some(digits)) => {
            let (hours, minutes) = digits.split_at(2.min(digits.len()));
            format!("{sign}{hours}:{}", if minutes.is_empty() { "00" } else { minutes })
        }
        _ => String::new(),
    };
    format!("{}T{time}{offset}", date.replace('/', "-"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_keep_what_is_known_of_the_zone() {
        assert_eq!(iso("2026/05/04 08:00:01"), "2026-05-04T08:00:01");
        assert_eq!(iso("2026/05/04 08:00:01+00"), "2026-05-04T08:00:01Z");
        assert_eq!(iso("2026/05/04 08:00:01.500+02"), "2026-05-04T08:00:01.500+02:00");
        assert_eq!(iso("2026/05/04 08:00:01-0330"), "2026-05-04T08:00:01-03:30");
        assert_eq!(iso("2026/05/04 08:00:01+05:30"), "2026-05-04T08:00:01+05:30");
    }

    #[test]
    fn numbers_read_back_the_same() {
        for value in [0.0, -0.0, 0.1 + 0.2, 1e300, -1.5e-9, 123_456.789, 1e16, f64::MIN_POSITIVE] {
            let text = number(value);
            assert_eq!(text.parse::<f64>().unwrap().to_bits(), value.to_bits(), "{text}");
            assert!(text.len() < 26, "{text}");
        }
        assert_eq!(number(12.0), "12");
    }
}
