//! GeoPackage (OGC 12-128r17, version 1.3): every layer in one file, with spatial index, field
//! descriptions, styles and, where WKT 1 cannot say it, the CRS as WKT 2.
//!
//! SQLite makes the file, its tables and, at the end, the rows that describe them (`schema`). The
//! records and the spatial index are packed straight into pages (`pack`, `rtree`), several times
//! faster than by insertion.

mod flusher;
mod geometry;
pub mod journal;
mod metadata;
mod pack;
mod projects;
mod record;
mod rtree;
pub(in crate::output) mod schema;
mod styles;

use std::ops::Range;
use std::path::{Path, PathBuf};

use rusqlite::Connection;

use super::antimeridian::Globe;
use super::number::push_iso_utc;
use super::parts::KnownParts;
use super::{Ending, FormatWriter, WriteError, authority, ground};
use crate::job::catalogue::GeometryKind;
use crate::output::columns::{Batch, Column, Layer};
use crate::output::contract::Setup;
use crate::output::style::Ground;
use flusher::Flusher;
use pack::Pager;
use record::PackedRecord;

/// A GeoPackage on its way.
pub struct GeoPackage {
    path: PathBuf,
    pager: Pager,
    srs_id: i32,
    globe: Option<Globe>,
    tables: Vec<LayerTable>,
    drawn: StyledLayers,
}

/// What the styles and the project are told.
struct StyledLayers {
    /// Title of the job.
    title: String,
    /// A metre in the layers' CRS, where it is projected.
    ground: Option<Ground>,
    /// Authority and code of the CRS.
    authority: Option<String>,
    /// WKT 2 of the CRS.
    wkt: Option<String>,
}

impl StyledLayers {
    fn from_setup(setup: &Setup) -> StyledLayers {
        StyledLayers {
            title: setup.job.title.clone().unwrap_or_else(|| setup.job.name.clone()),
            ground: ground(setup),
            authority: authority(setup),
            wkt: setup.crs.wkt2(),
        }
    }
}

/// What is known of one layer's table so far.
struct LayerTable {
    packed: pack::PackedTable,
    index: Option<rtree::IndexRoots>,
    records: i64,
    /// Boxes of the records with geometry, in order.
    boxes: Vec<rtree::Box32>,
    summary: schema::Contents,
    room: Room,
}

/// What records are made in, one batch after the other.
#[derive(Default)]
struct Room {
    records: [PackedRecord; RECORDS_AT_ONCE],
    blob: Vec<u8>,
    time: String,
}

impl GeoPackage {
    /// Creates the file and its tables.
    ///
    /// # Errors
    /// When SQLite cannot write it.
    pub fn create(folder: &Path, layers: &[Layer], setup: &Setup) -> Result<GeoPackage, WriteError> {
        let path = folder.join(format!("{}.gpkg", setup.job.name));
        let make = || -> Result<(i32, Vec<LayerTable>), rusqlite::Error> {
            let connection = Connection::open(&path)?;
            let srs_id = schema::create(&connection, layers, setup)?;
            let tables = layers
                .iter()
                .map(|layer| {
                    let has_geometry = layer.geometry != GeometryKind::None;
                    Ok(LayerTable {
                        packed: pack::PackedTable::new(schema::root_page(&connection, &layer.id)?),
                        index: has_geometry.then(|| rtree::IndexRoots::read(&connection, &layer.id)).transpose()?,
                        records: 0,
                        boxes: Vec::new(),
                        summary: schema::Contents::default(),
                        room: Room::default(),
                    })
                })
                .collect::<Result<_, rusqlite::Error>>()?;
            connection.close().map_err(|(_, error)| error)?;
            Ok((srs_id, tables))
        };
        let (srs_id, tables) = make().map_err(WriteError::format(&path, "creating the GeoPackage"))?;
        let pager = Pager::open(&path).map_err(WriteError::file(&path, "opening the GeoPackage"))?;
        let globe = Globe::from_crs(setup.crs);
        Ok(GeoPackage { path, pager, srs_id, globe, tables, drawn: StyledLayers::from_setup(setup) })
    }
}

impl FormatWriter for GeoPackage {
    fn write(&mut self, index: usize, layer: &Layer, batch: &Batch) -> Result<(), WriteError> {
        self.tables[index]
            .add(&mut self.pager, (self.srs_id, self.globe), layer.geometry, batch)
            .map_err(WriteError::file(&self.path, "writing records"))
    }

    fn finish(self: Box<Self>, layers: &[Layer], ending: &Ending) -> Result<(), WriteError> {
        let GeoPackage { path, mut pager, tables, srs_id, globe, drawn } = *self;
        let mut contents = Vec::with_capacity(tables.len());
        let pack_all = || -> std::io::Result<(Flusher, KnownParts)> {
            let mut roots = Vec::new();
            for table in tables {
                roots.extend(table.packed.finish(&mut pager)?);
                if let Some(index) = table.index {
                    roots.extend(rtree::build(&mut pager, index, table.boxes)?);
                }
                contents.push(schema::FinishedTable { srs_id, records: table.records, held: table.summary });
            }
            pager.finish(&roots)
        };
        let (flusher, known) = pack_all().map_err(WriteError::file(&path, "finishing the GeoPackage"))?;
        let bounds = schema::bounds(&contents);
        let describe = || -> Result<(), rusqlite::Error> {
            let connection = Connection::open(&path)?;
            let changed = ending.latest.instant();
            let written = ending.written(layers);
            schema::describe(&connection, layers, &contents, ending.metadata, globe.is_some())?;
            metadata::fill(&connection, ending.metadata, &written)?;
            styles::fill(&connection, &written, changed, drawn.ground.as_ref())?;
            let counted: Vec<(&Layer, i64)> = layers
                .iter()
                .zip(&contents)
                .map(|(layer, table)| (layer, table.records))
                .filter(|(_, records)| *records > 0)
                .collect();
            journal::fill(&connection, &counted, ending.edits)?;
            let file = path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
            projects::fill(&connection, &written, &drawn, (bounds, ending.view), &file, changed)?;
            connection.execute_batch("COMMIT")?;
            connection.close().map_err(|(_, error)| error)
        };
        describe().map_err(WriteError::format(&path, "describing the layers of the GeoPackage"))?;
        flusher.finish().map_err(WriteError::file(&path, "flushing the GeoPackage"))?;
        // SQLite wrote before and behind the packed pages: that is read back.
        ending.hashed.add(path, known);
        Ok(())
    }
}

impl LayerTable {
    fn add(
        &mut self,
        pager: &mut Pager,
        (srs_id, globe): (i32, Option<Globe>),
        geometry: GeometryKind,
        batch: &Batch,
    ) -> std::io::Result<()> {
        let room = &mut self.room;
        let (blob, time) = (&mut room.blob, &mut room.time);
        for first in (0..batch.len).step_by(RECORDS_AT_ONCE) {
            let rows = first..batch.len.min(first + RECORDS_AT_ONCE);
            let records = &mut room.records[..rows.len()];
            for (record, i) in records.iter_mut().zip(rows.clone()) {
                record.clear();
                // The row id stands for the first column.
                record.push_null();
                if geometry != GeometryKind::None {
                    let (bounds, has_z) = geometry::encode(blob, srs_id, geometry, batch.positions(i), globe);
                    record.push_blob(blob);
                    self.boxes.push(rtree::Box32::around(bounds));
                    self.summary.see(bounds, has_z);
                }
            }
            batch.columns.iter().for_each(|column| push_column(records, column, rows.clone(), time));
            for record in records {
                self.records += 1;
                self.packed.push(pager, self.records, record)?;
            }
        }
        Ok(())
    }
}

/// Records that are made together, so that each column is told what it is once for all of them.
const RECORDS_AT_ONCE: usize = 32;

/// Adds a column's values, one to each record.
fn push_column(records: &mut [PackedRecord], column: &Column, rows: Range<usize>, time: &mut String) {
    match column {
        Column::Real(values) => {
            for (record, value) in records.iter_mut().zip(&values[rows]) {
                if value.is_nan() { record.push_null() } else { record.push_real(*value) }
            }
        }
        Column::Integer(values) => {
            for (record, value) in records.iter_mut().zip(&values[rows]) {
                match value {
                    None => record.push_null(),
                    Some(value) => record.push_integer(*value),
                }
            }
        }
        Column::Text(texts) => {
            for (record, i) in records.iter_mut().zip(rows) {
                match texts.get(i) {
                    None => record.push_null(),
                    Some(text) => record.push_text(text),
                }
            }
        }
        Column::Time(values) => {
            for (record, value) in records.iter_mut().zip(&values[rows]) {
                let Some(instant) = value else {
                    record.push_null();
                    continue;
                };
                time.clear();
                push_iso_utc(time, *instant);
                record.push_text(time);
            }
        }
    }
}
