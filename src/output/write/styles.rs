//! Styles beside the files, for the formats that cannot carry them: in each folder `NAME.LAYER.sld`, and `NAME.LAYER.qml`,
//! which QGIS loads by itself with the file of that name, with the field names of that format. A table has titles of fields,
//! choices and a form, and nothing to draw: it has the second alone. The folder `sld` has the styles of the GeoPackage,
//! for a GIS that does not find them inside.

use std::fs;

use super::WriteError;
use super::folder::Folder;
use super::places::{folder_of, stem_of};
use crate::job::Format;
use crate::output::columns::Layer;
use crate::output::style::{Beside, Ground, Look, Naming, coded_points, document, qml};

/// Writes the style of each layer, by the formats of the run. DXF and KML have their own looks, GPX none.
pub fn write_beside(
    folder: &Folder,
    name: &str,
    layers: &[(&Layer, Look)],
    formats: &[Format],
    ground: Option<&Ground>,
) -> Result<(), WriteError> {
    let coded_points = coded_points(layers.iter().map(|(layer, _)| *layer));
    for format in formats {
        // Whether it has an SLD, and the form that is loaded by itself.
        let (naming, has_sld, has_own) = match format {
            Format::Gpkg | Format::Dxf | Format::Kml | Format::Kmz | Format::Gpx => continue,
            Format::Geojson | Format::Jsonfg | Format::Fgb => (Naming::Full, true, true),
            Format::Shp => (Naming::Short, true, true),
            Format::Csv => (Naming::Full, false, true),
            Format::Sld => (Naming::Full, true, false),
        };
        // Longitudes are told apart from the grid by its code alone.
        let is_in_degrees = matches!(format, Format::Geojson | Format::Jsonfg);
        let ground = ground.filter(|ground| !is_in_degrees || ground.authority.is_some());
        let beside = folder.within(folder_of(*format))?;
        for (layer, look) in layers {
            let put = |ending: &str, document: String| {
                let path = beside.join(stem_of(name, &layer.id) + ending);
                fs::write(&path, document).map_err(WriteError::file(&path, "writing the style"))
            };
            document(layer, look, naming).filter(|_| has_sld).map_or(Ok(()), |document| put("sld", document))?;
            if has_own {
                put("qml", qml(layer, look, &Beside { naming, ground, coded_points: &coded_points }))?;
            }
        }
    }
    Ok(())
}
