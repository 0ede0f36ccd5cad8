//! Styles beside the files, for the formats that cannot carry them: `NAME.LAYER.sld` for GeoPackage, GeoJSON and
//! FlatGeobuf, and `NAME.LAYER.shp.sld` for the Shapefile, with its short field names.

use std::fs;
use std::path::Path;

use super::WriteError;
use crate::job::Format;
use crate::output::columns::Layer;
use crate::output::style::{Naming, documents};

/// Writes the style of each layer with geometry, by the formats of the run. CSV has no geometry and DXF
/// its own layers and colours: neither asks for one.
pub fn write_beside(folder: &Path, name: &str, layers: &[Layer], formats: &[Format]) -> Result<(), WriteError> {
    for (naming, of, ending) in [
        (Naming::Full, [Format::Gpkg, Format::Geojson, Format::Fgb].as_slice(), "sld"),
        (Naming::Short, &[Format::Shp], "shp.sld"),
    ] {
        if !formats.iter().any(|format| of.contains(format)) {
            continue;
        }
        for (layer, document) in layers.iter().zip(documents(layers, naming)) {
            if let Some(document) = document {
                let path = folder.join(format!("{name}.{}.{ending}", layer.id));
                fs::write(&path, document).map_err(WriteError::file(&path, "writing the style"))?;
            }
        }
    }
    Ok(())
}
