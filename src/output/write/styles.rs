//! Styles beside the files, for the formats that cannot carry them: `NAME.LAYER.sld` for GeoPackage, GeoJSON and
//! FlatGeobuf, and `NAME.LAYER.shp.sld` for the Shapefile, with its short field names; and `NAME.LAYER.qml`, which QGIS
//! loads by itself with the file of that name. Where Shapefiles lie beside files with full field names, it has the full
//! names, and the Shapefile is styled by its SLD.

use std::fs;
use std::path::Path;

use super::{WriteError, metres_a_unit};
use crate::job::Format;
use crate::job::catalogue::GeometryKind;
use crate::output::columns::Layer;
use crate::output::contract::Setup;
use crate::output::style::{Naming, documents, looks, qml};

/// Writes the style of each layer with geometry, by the formats of the run. CSV has no geometry and DXF
/// its own layers and colours: neither asks for one.
pub fn write_beside(folder: &Path, setup: &Setup, layers: &[Layer], formats: &[Format]) -> Result<(), WriteError> {
    let name = &setup.job.name;
    let wants = |of: &[Format]| formats.iter().any(|format| of.contains(format));
    let put = |layer: &Layer, ending: &str, document: String| {
        let path = folder.join(format!("{name}.{}.{ending}", layer.id));
        fs::write(&path, document).map_err(WriteError::file(&path, "writing the style"))
    };
    for (naming, of, ending) in [
        (Naming::Full, [Format::Gpkg, Format::Geojson, Format::Fgb].as_slice(), "sld"),
        (Naming::Short, &[Format::Shp], "shp.sld"),
    ] {
        if wants(of) {
            for (layer, document) in layers.iter().zip(documents(layers, naming)) {
                document.map_or(Ok(()), |document| put(layer, ending, document))?;
            }
        }
    }
    let full = wants(&[Format::Geojson, Format::Fgb]);
    if full || wants(&[Format::Shp]) {
        let naming = if full { Naming::Full } else { Naming::Short };
        for (layer, look) in layers.iter().zip(looks(layers)).filter(|(layer, _)| layer.geometry != GeometryKind::None) {
            put(layer, "qml", qml(layer, &look, naming, metres_a_unit(setup)))?;
        }
    }
    Ok(())
}
