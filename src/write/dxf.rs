//! DXF through GDAL: one drawing with the geometry of all layers, each on a drawing layer of its
//! name. The format has no attributes; the other formats have.

use std::path::{Path, PathBuf};

use gdal::vector::{Feature, LayerAccess, LayerOptions};
use gdal::{Dataset, DriverManager};

use super::dated::Latest;
use super::ogr::{failed, geometry};
use super::{FormatWriter, WriteError};
use crate::pipeline::Setup;
use crate::table::{Batch, GeometryKind, Layer};

/// The drawing of a run.
pub struct Drawing {
    path: PathBuf,
    dataset: Dataset,
    has_z: bool,
}

impl Drawing {
    /// Creates the file.
    ///
    /// # Errors
    /// When GDAL cannot write it.
    pub fn create(folder: &Path, setup: &Setup) -> Result<Drawing, WriteError> {
        let path = folder.join(format!("{}.dxf", setup.job.name));
        let driver = DriverManager::get_driver_by_name("DXF").map_err(failed(&path, "finding the driver"))?;
        let mut dataset = driver.create_vector_only(&path).map_err(failed(&path, "creating"))?;
        dataset
            .create_layer(LayerOptions { name: "entities", ..LayerOptions::default() })
            .map_err(failed(&path, "creating the layer"))?;
        Ok(Drawing { path, dataset, has_z: setup.has_z })
    }
}

impl FormatWriter for Drawing {
    fn write(&mut self, _: usize, layer: &Layer, batch: &Batch) -> Result<(), WriteError> {
        let write = || {
            let target = self.dataset.layer(0)?;
            let name = target.defn().field_index("Layer")?;
            // An area is drawn as its closed outline.
            let kind = if layer.geometry == GeometryKind::Area { GeometryKind::Line } else { layer.geometry };
            let has_z = self.has_z && layer.geometry != GeometryKind::Area;
            for i in 0..batch.len {
                let Some(geometry) = geometry(kind, batch.positions(i), has_z)? else { continue };
                let mut feature = Feature::new(target.defn())?;
                feature.set_geometry(geometry)?;
                feature.set_field_string(name, layer.id)?;
                feature.create(&target)?;
            }
            Ok(())
        };
        write().map_err(failed(&self.path, "writing"))
    }

    fn finish(self: Box<Self>, _: &[Layer], _: &Latest) -> Result<(), WriteError> {
        self.dataset.close().map_err(failed(&self.path, "finishing"))
    }
}
