//! One record as a placemark: its name, its values in words for the balloon, all of its fields, its geometry.

use super::super::antimeridian::{DEGREES, GlobePoint};
use super::super::number::rounded;
use super::super::said::{metric, name, said, text};
use super::{schema_of, style_of};
use crate::geodesy::frame::Geodetic;
use crate::geodesy::geoid::GeoidReader;
use crate::job::catalogue::GeometryKind;
use crate::output::columns::{Batch, Layer};
use crate::output::style::is_shown;
use crate::output::xml::{Document, escaped};

/// Decimals of a degree: a tenth of a millimetre.
const DEGREE_DECIMALS: u8 = 9;
/// Decimals of a metre.
const METRE_DECIMALS: u8 = 4;

/// Record `i` on a line of its own; `points` are its positions on WGS 84.
pub fn placemark(layer: &Layer, batch: &Batch, i: usize, points: &[GlobePoint], geoid: &mut GeoidReader) -> String {
    let mut made = Document::on_one_line();
    made.within("Placemark", &[], |made| {
        if let Some(name) = name(layer, batch, i) {
            made.leaf("name", &name);
        }
        if !is_shown(layer, false) {
            made.leaf("visibility", "0");
        }
        // The balloon is HTML inside XML.
        let lines: Vec<String> =
            said(layer, batch, i).iter().map(|(title, value)| format!("{}: {}", escaped(title), escaped(value))).collect();
        if !lines.is_empty() {
            made.leaf("description", &lines.join("<br/>"));
        }
        made.leaf("styleUrl", &format!("#{}", style_of(layer)));
        made.within("ExtendedData", &[], |made| {
            made.within("SchemaData", &[("schemaUrl", &format!("#{}", schema_of(layer)))], |made| {
                for (index, field) in layer.fields.iter().enumerate() {
                    if let Some(value) = text(layer, batch, i, index) {
                        made.text_within("SimpleData", &[("name", &field.name)], &value);
                    }
                }
            });
        });
        let (points, has_altitude) = with_altitudes(layer, batch, i, points, geoid);
        geometry(made, layer.geometry, &points, has_altitude);
    });
    made.text()
}

/// The points with altitudes above the EGM96 geoid, where all have one: from the height above the ellipsoid, else as a point's height
/// above the geoid or vertical datum stands in its fields.
fn with_altitudes(
    layer: &Layer,
    batch: &Batch,
    i: usize,
    points: &[GlobePoint],
    geoid: &mut GeoidReader,
) -> (Vec<GlobePoint>, bool) {
    let logged = metric(layer, batch, i, "orthometric_height_m").filter(|_| layer.geometry == GeometryKind::Point);
    let altitudes = batch.positions(i).iter().zip(points).map(|(position, [lon, lat, height])| {
        if position.ellipsoid_height_m.is_nan() {
            return logged;
        }
        let at = Geodetic { lat_rad: lat.to_radians(), lon_rad: lon.to_radians(), ellipsoid_height_m: *height };
        Some(height - geoid.undulation_m(&at))
    });
    match altitudes.collect::<Option<Vec<f64>>>() {
        Some(known) => (points.iter().zip(known).map(|([lon, lat, _], altitude)| [*lon, *lat, altitude]).collect(), true),
        None => (points.to_vec(), false),
    }
}

/// A geometry, cut at ±180°; several parts stand in one.
fn geometry(made: &mut Document, kind: GeometryKind, points: &[GlobePoint], has_altitude: bool) {
    let parts: Vec<Vec<GlobePoint>> = match kind {
        GeometryKind::None => return,
        GeometryKind::Point => points.first().map(|point| vec![*point]).into_iter().collect(),
        GeometryKind::Line => DEGREES.line(points),
        GeometryKind::Area => DEGREES.rings(points),
    };
    let all = |made: &mut Document| parts.iter().for_each(|points| part(made, kind, points, has_altitude));
    match parts.len() {
        1 => all(made),
        _ => made.within("MultiGeometry", &[], all),
    }
}

/// A part of a geometry.
fn part(made: &mut Document, kind: GeometryKind, points: &[GlobePoint], has_altitude: bool) {
    let tuple = |[lon, lat, altitude]: &GlobePoint| {
        let [lon, lat] = [lon, lat].map(|angle| rounded(*angle, Some(DEGREE_DECIMALS)));
        if has_altitude { format!("{lon},{lat},{}", rounded(*altitude, Some(METRE_DECIMALS))) } else { format!("{lon},{lat}") }
    };
    let coordinates = |made: &mut Document| {
        made.leaf("coordinates", &points.iter().map(tuple).collect::<Vec<_>>().join(" "));
    };
    let mode = |made: &mut Document| made.leaf("altitudeMode", if has_altitude { "absolute" } else { "clampToGround" });
    // What lies on the ground follows it.
    let follows = |made: &mut Document| {
        if !has_altitude {
            made.leaf("tessellate", "1");
        }
    };
    let element = match kind {
        GeometryKind::Line => "LineString",
        GeometryKind::Area => "Polygon",
        GeometryKind::Point | GeometryKind::None => "Point",
    };
    made.within(element, &[], |made| {
        if element != "Point" {
            follows(made);
        }
        mode(made);
        match kind {
            GeometryKind::Area => {
                made.within("outerBoundaryIs", &[], |made| made.within("LinearRing", &[], coordinates));
            }
            _ => coordinates(made),
        }
    });
}
