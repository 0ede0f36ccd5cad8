//! FlatGeobuf through GDAL, one file a layer, with its packed index.

use std::path::{Path, PathBuf};

use gdal::vector::Feature;
use gdal::vector::{FieldDefn, LayerAccess, LayerOptions, OGRFieldType};
use gdal::{Dataset, DriverManager, Metadata};

use super::antimeridian::Globe;
use super::number::iso_utc;
use super::ogr::{failed, geometry, spatial_ref, type_of};
use super::{Ending, FormatWriter, WriteError};
use crate::job::catalogue::GeometryKind;
use crate::output::columns::{Batch, Cell, FieldKind, Layer};
use crate::output::contract::Setup;
use crate::output::style::title_of;

/// The files of a run.
pub struct FlatGeobuf {
    globe: Option<Globe>,
    files: Vec<(PathBuf, Dataset, bool)>,
}

impl FlatGeobuf {
    /// Creates the files.
    ///
    /// # Errors
    /// When GDAL cannot write one.
    pub fn create(folder: &Path, layers: &[Layer], setup: &Setup) -> Result<FlatGeobuf, WriteError> {
        let globe = Globe::from_crs(setup.crs);
        let files = layers.iter().map(|layer| {
            let path = folder.join(format!("{}.{}.fgb", setup.job.name, layer.id));
            let driver = DriverManager::get_driver_by_name("FlatGeobuf").map_err(failed(&path, "finding the driver"))?;
            let mut dataset = driver.create_vector_only(&path).map_err(failed(&path, "creating"))?;
            let srs = spatial_ref(setup.crs).map_err(failed(&path, "naming the CRS"))?;
            let has_z = setup.has_z && layer.has_heights();
            let is_table = layer.geometry == GeometryKind::None;
            let title = format!("TITLE={}", layer.title);
            let description = format!("DESCRIPTION={}", layer.description);
            let index = if is_table { "SPATIAL_INDEX=NO" } else { "SPATIAL_INDEX=YES" };
            let created = dataset
                .create_layer(LayerOptions {
                    name: &layer.id,
                    srs: (!is_table && !setup.crs.is_local()).then_some(&srs),
                    ty: type_of(layer.geometry, has_z, globe.is_some()),
                    options: Some(&[&title, &description, index]),
                })
                .map_err(failed(&path, "creating the layer"))?;
            let fields: serde_json::Map<String, serde_json::Value> = layer
                .fields
                .iter()
                .map(|field| {
                    (field.name.clone(), serde_json::json!({ "title": title_of(&field.name), "description": field.description }))
                })
                .collect();
            for field in &layer.fields {
                let kind = match field.kind {
                    FieldKind::Real => OGRFieldType::OFTReal,
                    FieldKind::Integer => OGRFieldType::OFTInteger64,
                    FieldKind::Text => OGRFieldType::OFTString,
                    FieldKind::Time => OGRFieldType::OFTDateTime,
                };
                let defined = FieldDefn::new(&field.name, kind).map_err(failed(&path, "defining a field"))?;
                defined.add_to_layer(&created).map_err(failed(&path, "adding a field"))?;
            }
            // They stand in the header, which is written with the last record.
            dataset
                .set_metadata_item("FIELDS", &serde_json::Value::Object(fields).to_string(), "")
                .map_err(failed(&path, "describing the fields"))?;
            Ok((path, dataset, has_z))
        });
        Ok(FlatGeobuf { globe, files: files.collect::<Result<_, WriteError>>()? })
    }
}

impl FormatWriter for FlatGeobuf {
    fn write(&mut self, index: usize, layer: &Layer, batch: &Batch) -> Result<(), WriteError> {
        let (path, dataset, has_z) = &self.files[index];
        let write = || {
            let target = dataset.layer(0)?;
            for i in 0..batch.len {
                let mut feature = Feature::new(target.defn())?;
                if let Some(geometry) = geometry(layer.geometry, batch.positions(i), *has_z, self.globe)? {
                    feature.set_geometry(geometry)?;
                }
                for index in 0..layer.fields.len() {
                    match batch.cell(index, i) {
                        Cell::Null => feature.set_field_null(index)?,
                        Cell::Real(value) => feature.set_field_double(index, value)?,
                        Cell::Integer(value) => feature.set_field_integer64(index, value)?,
                        Cell::Text(text) => feature.set_field_string(index, text)?,
                        // GDAL reads ISO 8601 into a time field.
                        Cell::Time(instant) => feature.set_field_string(index, &iso_utc(instant))?,
                    }
                }
                feature.create(&target)?;
            }
            Ok(())
        };
        write().map_err(failed(path, "writing records"))
    }

    fn finish(self: Box<Self>, _: &[Layer], _: &Ending) -> Result<(), WriteError> {
        for (path, dataset, _) in self.files {
            dataset.close().map_err(failed(&path, "finishing"))?;
        }
        Ok(())
    }
}
