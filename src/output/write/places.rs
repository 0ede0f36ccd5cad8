//! Where the files of a format lie in the output folder, and what they are called.

use crate::job::Format;
use crate::job::catalogue::GeometryKind;
use crate::output::columns::Layer;

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
        Format::Sld => Some("sld"),
    }
}

/// The start of the names of a layer's files: no layer's is the start of another's.
pub fn stem_of(job: &str, layer: &str) -> String {
    format!("{job}.{layer}.")
}

/// The file that a person opens for a layer, from the output folder, with `/` between; none where the format has none for it.
pub fn file_of(format: Format, job: &str, layer: &Layer) -> Option<String> {
    let is_table = layer.geometry == GeometryKind::None;
    let of_layer = |ending: &str| folder_of(format).map(|folder| format!("{folder}/{}{ending}", stem_of(job, &layer.id)));
    match format {
        Format::Gpkg => Some(format!("{job}.gpkg")),
        Format::Geojson => of_layer("geojson"),
        Format::Shp => of_layer(if is_table { "dbf" } else { "shp" }),
        Format::Fgb => of_layer("fgb"),
        Format::Csv => of_layer("csv"),
        Format::Dxf => folder_of(format).filter(|_| !is_table).map(|folder| format!("{folder}/{job}.dxf")),
        Format::Sld => of_layer("sld").filter(|_| !is_table),
    }
}
