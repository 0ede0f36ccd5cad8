//! One record as a placemark: its name, its values in words for the balloon, all of its fields, its geometry.

use super::super::antimeridian::{DEGREES, Point};
use super::super::number::rounded;
use super::super::said::{metric, said, text};
use super::{schema_of, style_of};
use crate::geodesy::frame::Geodetic;
use crate::geodesy::geoid::GeoidReader;
use crate::job::catalogue::GeometryKind;
use crate::output::columns::{Batch, Layer};
use crate::output::style::{is_shown, label_of};
use crate::output::xml::escaped;

/// Decimals of a degree: a tenth of a millimetre.
const DEGREE_DECIMALS: u8 = 9;
/// Decimals of a metre.
const METRE_DECIMALS: u8 = 4;

/// Record `i`; `points` are its positions on WGS 84.
pub fn placemark(layer: &Layer, batch: &Batch, i: usize, points: &[Point], geoid: &mut GeoidReader) -> String {
    let mut made = "<Placemark>".to_owned();
    let label = label_of(layer).and_then(|label| layer.fields.iter().position(|field| field.name == label.name));
    if let Some(name) = label.and_then(|index| text(layer, batch, i, index)) {
        made += &format!("<name>{}</name>", escaped(&name));
    }
    if !is_shown(layer, None) {
        made += "<visibility>0</visibility>";
    }
    // The balloon is HTML inside XML.
    let lines: Vec<String> =
        said(layer, batch, i).iter().map(|(title, value)| format!("{}: {}", escaped(title), escaped(value))).collect();
    if !lines.is_empty() {
        made += &format!("<description>{}</description>", escaped(&lines.join("<br/>")));
    }
    made += &format!("<styleUrl>#{}</styleUrl><ExtendedData><SchemaData schemaUrl=\"#{}\">", style_of(layer), schema_of(layer));
    for (index, field) in layer.fields.iter().enumerate() {
        if let Some(value) = text(layer, batch, i, index) {
            made += &format!("<SimpleData name=\"{}\">{}</SimpleData>", escaped(&field.name), escaped(&value));
        }
    }
    let (points, has_altitude) = with_altitudes(layer, batch, i, points, geoid);
    made + &format!("</SchemaData></ExtendedData>{}</Placemark>\n", geometry(layer.geometry, &points, has_altitude))
}

/// The points with altitudes above the EGM96 geoid, where all have one: from the height above the ellipsoid, else as a point's height
/// above the geoid or vertical datum stands in its fields.
fn with_altitudes(layer: &Layer, batch: &Batch, i: usize, points: &[Point], geoid: &mut GeoidReader) -> (Vec<Point>, bool) {
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
fn geometry(kind: GeometryKind, points: &[Point], has_altitude: bool) -> String {
    let tuple = |[lon, lat, altitude]: &Point| {
        let [lon, lat] = [lon, lat].map(|angle| rounded(*angle, Some(DEGREE_DECIMALS)));
        if has_altitude { format!("{lon},{lat},{}", rounded(*altitude, Some(METRE_DECIMALS))) } else { format!("{lon},{lat}") }
    };
    let coordinates =
        |part: &[Point]| format!("<coordinates>{}</coordinates>", part.iter().map(tuple).collect::<Vec<_>>().join(" "));
    // What lies on the ground follows it.
    let (mode, follows) = match has_altitude {
        true => ("<altitudeMode>absolute</altitudeMode>", ""),
        false => ("<altitudeMode>clampToGround</altitudeMode>", "<tessellate>1</tessellate>"),
    };
    let parts: Vec<String> = match kind {
        GeometryKind::None => return String::new(),
        GeometryKind::Point => {
            points.first().map(|point| format!("<Point>{mode}{}</Point>", coordinates(&[*point]))).into_iter().collect()
        }
        GeometryKind::Line => {
            let line = |part: &Vec<Point>| format!("<LineString>{follows}{mode}{}</LineString>", coordinates(part));
            DEGREES.line(points).iter().map(line).collect()
        }
        GeometryKind::Area => {
            let ring = |part: &Vec<Point>| {
                let ring = format!("<LinearRing>{}</LinearRing>", coordinates(part));
                format!("<Polygon>{follows}{mode}<outerBoundaryIs>{ring}</outerBoundaryIs></Polygon>")
            };
            DEGREES.rings(points).iter().map(ring).collect()
        }
    };
    match parts.len() {
        1 => parts.concat(),
        _ => format!("<MultiGeometry>{}</MultiGeometry>", parts.concat()),
    }
}
