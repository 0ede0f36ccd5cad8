//! CSV: comma, decimal point, UTF-8, one file a layer, with a .csvt file of types beside it. Lines
//! and areas have their geometry as well-known text in the column `WKT`.

use std::fmt::Write as _;
use std::fs::{self, File};
use std::io::BufWriter;
use std::path::{Path, PathBuf};

use super::antimeridian::{self, Globe};
use super::number::{iso_utc, rounded};
use super::{Ending, FormatWriter, WriteError};
use crate::job::catalogue::GeometryKind;
use crate::output::columns::{Batch, Cell, FieldKind, Layer, Position};
use crate::output::contract::Setup;

/// The files of a run.
pub struct CsvFiles {
    globe: Option<Globe>,
    files: Vec<(PathBuf, csv::Writer<BufWriter<File>>)>,
}

fn has_wkt(layer: &Layer) -> bool {
    matches!(layer.geometry, GeometryKind::Line | GeometryKind::Area)
}

impl CsvFiles {
    /// Creates the files with their headers.
    ///
    /// # Errors
    /// When one cannot be written.
    pub fn create(folder: &Path, layers: &[Layer], setup: &Setup) -> Result<CsvFiles, WriteError> {
        let files = layers.iter().map(|layer| {
            let path = folder.join(format!("{}.{}.csv", setup.job.name, layer.id));
            let file = File::create(&path).map_err(WriteError::file(&path, "creating"))?;
            let mut writer = csv::Writer::from_writer(BufWriter::new(file));
            let wkt = has_wkt(layer).then_some("WKT");
            let names = wkt.into_iter().chain(layer.fields.iter().map(|field| field.name.as_str()));
            writer.write_record(names).map_err(WriteError::format(&path, "writing"))?;
            let types: Vec<&str> = wkt
                .map(|_| "WKT")
                .into_iter()
                .chain(layer.fields.iter().map(|field| match field.kind {
                    FieldKind::Real => "Real",
                    FieldKind::Integer => "Integer64",
                    FieldKind::Text => "String",
                    FieldKind::Time => "DateTime",
                }))
                .collect();
            let csvt = path.with_extension("csvt");
            fs::write(&csvt, types.join(",") + "\n").map_err(WriteError::file(&csvt, "writing"))?;
            Ok((path, writer))
        });
        Ok(CsvFiles { globe: Globe::of(setup.crs), files: files.collect::<Result<_, WriteError>>()? })
    }
}

impl FormatWriter for CsvFiles {
    fn write(&mut self, index: usize, layer: &Layer, batch: &Batch) -> Result<(), WriteError> {
        let (path, writer) = &mut self.files[index];
        let globe = self.globe;
        let place = |record: &mut csv::StringRecord, i: usize| {
            if has_wkt(layer) {
                record.push_field(&wkt(globe, layer.geometry, batch.positions(i)));
            }
        };
        records(writer, layer, batch, place).map_err(WriteError::format(path, "writing"))
    }

    fn finish(self: Box<Self>, _: &[Layer], _: &Ending) -> Result<(), WriteError> {
        for (path, mut writer) in self.files {
            writer.flush().map_err(WriteError::file(&path, "writing"))?;
        }
        Ok(())
    }
}

/// Writes records; `begin` gives what stands before their fields.
///
/// # Errors
/// When they cannot be written.
pub(super) fn records<W: std::io::Write>(
    writer: &mut csv::Writer<W>,
    layer: &Layer,
    batch: &Batch,
    begin: impl Fn(&mut csv::StringRecord, usize),
) -> Result<(), csv::Error> {
    let mut text = String::new();
    let mut record = csv::StringRecord::new();
    for i in 0..batch.len {
        record.clear();
        begin(&mut record, i);
        for (index, field) in layer.fields.iter().enumerate() {
            text.clear();
            // Writing to a String does not fail.
            let _ = match batch.cell(index, i) {
                Cell::Null => Ok(()),
                Cell::Real(value) => write!(text, "{}", rounded(value, field.decimals)),
                Cell::Integer(value) => write!(text, "{value}"),
                Cell::Text(value) => write!(text, "{value}"),
                Cell::Time(instant) => write!(text, "{}", iso_utc(instant)),
            };
            record.push_field(&text);
        }
        writer.write_record(&record)?;
    }
    Ok(())
}

/// Of several parts only where a shape goes over ±180°.
fn wkt(globe: Option<Globe>, kind: GeometryKind, positions: &[Position]) -> String {
    let has_z = positions.iter().all(|position| !position.z.is_nan());
    let corner = |p: &Position| if has_z { format!("{} {} {}", p.x, p.y, p.z) } else { format!("{} {}", p.x, p.y) };
    let parts = antimeridian::parts(globe, kind, positions);
    let parts: Vec<String> = parts.iter().map(|part| part.iter().map(corner).collect::<Vec<_>>().join(", ")).collect();
    let (z, is_multi) = (if has_z { " Z" } else { "" }, parts.len() > 1);
    match (kind, is_multi) {
        (GeometryKind::Area, false) => format!("POLYGON{z} (({}))", parts.join("), (")),
        (GeometryKind::Area, true) => format!("MULTIPOLYGON{z} ((({})))", parts.join(")), ((")),
        (_, false) => format!("LINESTRING{z} ({})", parts.join("), (")),
        (_, true) => format!("MULTILINESTRING{z} (({}))", parts.join("), (")),
    }
}
