//! GeoPackage (OGC 12-128r17, version 1.3): every layer in one file, with spatial index, field
//! descriptions and, where WKT 1 cannot say it, the CRS as WKT 2.
//!
//! Records go straight into SQLite through one prepared statement a layer; the index is packed once
//! at the end ([`rtree`]) in place of a million insertions into it.

mod geometry;
mod rtree;
mod schema;

use std::path::{Path, PathBuf};

use rusqlite::types::Null;
use rusqlite::{Connection, Statement};

use super::dated::Latest;
use super::number::push_iso_utc;
use super::{FormatWriter, WriteError};
use crate::pipeline::Setup;
use crate::table::{Batch, Cell, GeometryKind, Layer};

/// A GeoPackage on its way.
pub struct GeoPackage {
    path: PathBuf,
    connection: Connection,
    srs_id: i32,
    tables: Vec<Table>,
}

/// What is known of one layer's table so far.
struct Table {
    insert: String,
    records: i64,
    /// Boxes of the records with geometry, in order.
    boxes: Vec<rtree::Box32>,
    bounds: Option<[f64; 4]>,
    with_z: u64,
    without_z: u64,
}

impl GeoPackage {
    /// Creates the file and its tables.
    ///
    /// # Errors
    /// When SQLite cannot write it.
    pub fn create(folder: &Path, layers: &[Layer], setup: &Setup) -> Result<GeoPackage, WriteError> {
        let path = folder.join(format!("{}.gpkg", setup.job.name));
        let failed = |error: rusqlite::Error| WriteError::format(&path, "creating the GeoPackage")(error);
        let connection = Connection::open(&path).map_err(failed)?;
        let srs_id = schema::create(&connection, layers, setup).map_err(failed)?;
        connection.set_prepared_statement_cache_capacity(layers.len() + 4);
        connection.execute_batch("BEGIN").map_err(failed)?;
        let tables = layers
            .iter()
            .map(|layer| Table {
                insert: schema::insert(layer),
                records: 0,
                boxes: Vec::new(),
                bounds: None,
                with_z: 0,
                without_z: 0,
            })
            .collect();
        Ok(GeoPackage { path, connection, srs_id, tables })
    }
}

impl FormatWriter for GeoPackage {
    fn write(&mut self, index: usize, layer: &Layer, batch: &Batch) -> Result<(), WriteError> {
        let table = &mut self.tables[index];
        let connection = &self.connection;
        table.insert(connection, self.srs_id, layer, batch).map_err(WriteError::format(&self.path, "writing records"))
    }

    fn finish(self: Box<Self>, layers: &[Layer], latest: &Latest) -> Result<(), WriteError> {
        let GeoPackage { path, connection, tables, .. } = *self;
        let finish = || -> Result<(), rusqlite::Error> {
            for (layer, table) in layers.iter().zip(tables) {
                if layer.geometry != GeometryKind::None {
                    rtree::build(&connection, layer.id, table.boxes)?;
                }
                schema::describe(&connection, layer, table.bounds, (table.with_z, table.without_z), latest.instant())?;
            }
            connection.execute_batch("COMMIT")
        };
        finish().map_err(WriteError::format(&path, "finishing the GeoPackage"))?;
        connection.close().map_err(|(_, error)| WriteError::format(&path, "closing the GeoPackage")(error))
    }
}

impl Table {
    fn insert(&mut self, connection: &Connection, srs_id: i32, layer: &Layer, batch: &Batch) -> Result<(), rusqlite::Error> {
        let mut statement = connection.prepare_cached(&self.insert)?;
        let mut blob = Vec::new();
        let mut time = String::new();
        let has_geometry = layer.geometry != GeometryKind::None;
        for i in 0..batch.len {
            self.records += 1;
            statement.raw_bind_parameter(1, self.records)?;
            let mut parameter = 2;
            if has_geometry {
                let (bounds, has_z) = geometry::encode(&mut blob, srs_id, layer.geometry, batch.positions(i));
                statement.raw_bind_parameter(parameter, blob.as_slice())?;
                parameter += 1;
                self.see(bounds, has_z);
            }
            for column in &batch.columns {
                bind(&mut statement, parameter, column.get(i), &mut time)?;
                parameter += 1;
            }
            statement.raw_execute()?;
        }
        Ok(())
    }

    fn see(&mut self, bounds: [f64; 4], has_z: bool) {
        self.boxes.push(rtree::Box32::around(bounds));
        let [west, south, east, north] = self.bounds.get_or_insert(bounds);
        *west = west.min(bounds[0]);
        *south = south.min(bounds[1]);
        *east = east.max(bounds[2]);
        *north = north.max(bounds[3]);
        *(if has_z { &mut self.with_z } else { &mut self.without_z }) += 1;
    }
}

fn bind(statement: &mut Statement, parameter: usize, cell: Cell, time: &mut String) -> Result<(), rusqlite::Error> {
    match cell {
        Cell::Null => statement.raw_bind_parameter(parameter, Null),
        Cell::Real(value) => statement.raw_bind_parameter(parameter, value),
        Cell::Integer(value) => statement.raw_bind_parameter(parameter, value),
        Cell::Text(text) => statement.raw_bind_parameter(parameter, text),
        Cell::Time(instant) => {
            time.clear();
            push_iso_utc(time, instant);
            statement.raw_bind_parameter(parameter, time.as_str())
        }
    }
}
