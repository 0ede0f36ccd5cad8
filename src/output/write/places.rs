//! Where the files of a format lie in the output folder, and what they are called.

use crate::job::catalogue::GeometryKind;
use crate::job::{Format, LayerName};
use crate::output::columns::{Layer, LayerKey};

/// The folder of the drawings of measured things.
pub const DRAWINGS: &str = "drawings";

/// The folder of a format within the output; none for what stands on top.
pub const fn folder_of(format: Format) -> Option<&'static str> {
    match format {
        Format::Gpkg => None,
        Format::Geojson => Some("geojson"),
        Format::Shp => Some("shp"),
        Format::Fgb => Some("fgb"),
        Format::Csv => Some("csv"),
        Format::Dxf => Some("dxf"),
        Format::Kml => Some("kml"),
        Format::Kmz => Some("kmz"),
        Format::Gpx => Some("gpx"),
        Format::Jsonfg => Some("jsonfg"),
        Format::Sld => Some("sld"),
    }
}

/// Whether a person may want to walk back to the points of a layer: features, the catalogue's points, bases.
pub fn has_waypoints(layer: &Layer) -> bool {
    let is_place = matches!(layer.key, LayerKey::Own(LayerName::Features | LayerName::Bases) | LayerKey::Coded(_));
    is_place && layer.geometry == GeometryKind::Point
}

/// The start of the names of a layer's files: no layer's is the start of another's.
pub fn stem_of(job: &str, layer: &str) -> String {
    format!("{job}.{layer}.")
}

/// The file that a person opens for a layer, from the output folder, with `/` between; none where the format has none for it.
pub fn file_of(format: Format, job: &str, layer: &Layer) -> Option<String> {
    let is_table = layer.geometry == GeometryKind::None;
    let of_layer = |ending: &str| folder_of(format).map(|folder| format!("{folder}/{}{ending}", stem_of(job, &layer.id)));
    let of_all = |has_it: bool| folder_of(format).filter(|_| has_it).map(|folder| format!("{folder}/{job}.{}", format.word()));
    match format {
        Format::Gpkg => Some(format!("{job}.gpkg")),
        Format::Geojson => of_layer("geojson"),
        Format::Shp => of_layer(if is_table { "dbf" } else { "shp" }),
        Format::Fgb => of_layer("fgb"),
        Format::Csv => of_layer("csv"),
        Format::Dxf | Format::Kml | Format::Kmz => of_all(!is_table),
        Format::Gpx => of_all(has_waypoints(layer)),
        Format::Jsonfg => of_layer("json"),
        Format::Sld => of_layer("sld").filter(|_| !is_table),
    }
}
