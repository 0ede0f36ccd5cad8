//! CSV: comma, decimal point, UTF-8, one file a layer, with a .csvt file of types beside it, the CRS in a .prj file, and the whole folder
//! described in `datapackage.json`. Layers with geometry have it as well-known text in the column `WKT`, so that desktop GIS draws them.

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
use crate::output::metadata::package::{self, Resource};

/// The files of a run.
pub struct CsvFiles {
    folder: PathBuf,
    globe: Option<Globe>,
    files: Vec<(PathBuf, csv::Writer<BufWriter<File>>)>,
}

fn has_wkt(layer: &Layer) -> bool {
    layer.geometry != GeometryKind::None
}

impl CsvFiles {
    /// Creates the files with their headers.
    ///
    /// # Errors
    /// When one cannot be written.
    pub fn create(folder: &Path, layers: &[Layer], setup: &Setup) -> Result<CsvFiles, WriteError> {
        // A local frame is left undefined: such a file says no place.
        let prj = setup.crs.prj_text().filter(|_| !setup.crs.is_local());
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
            if let Some(prj) = prj.as_ref().filter(|_| has_wkt(layer)) {
                let path = path.with_extension("prj");
                fs::write(&path, prj).map_err(WriteError::file(&path, "writing"))?;
            }
            Ok((path, writer))
        });
        Ok(CsvFiles {
            folder: folder.to_owned(),
            globe: Globe::from_crs(setup.crs),
            files: files.collect::<Result<_, WriteError>>()?,
        })
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

    fn finish(self: Box<Self>, layers: &[Layer], ending: &Ending) -> Result<(), WriteError> {
        let mut resources = Vec::new();
        for (index, ((path, mut writer), layer)) in self.files.into_iter().zip(layers).enumerate() {
            writer.flush().map_err(WriteError::file(&path, "writing"))?;
            if ending.has_records(index) {
                let path = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
                resources.push(Resource { path, layer, index, geometry: has_wkt(layer).then_some("WKT") });
            }
        }
        if resources.is_empty() {
            return Ok(());
        }
        let path = self.folder.join("datapackage.json");
        fs::write(&path, package::document(ending.metadata, &resources)).map_err(WriteError::file(&path, "writing"))
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
        (GeometryKind::Point | GeometryKind::None, _) => format!("POINT{z} ({})", parts.join(", ")),
        (GeometryKind::Area, false) => format!("POLYGON{z} (({}))", parts.join("), (")),
        (GeometryKind::Area, true) => format!("MULTIPOLYGON{z} ((({})))", parts.join(")), ((")),
        (GeometryKind::Line, false) => format!("LINESTRING{z} ({})", parts.join("), (")),
        (GeometryKind::Line, true) => format!("MULTILINESTRING{z} (({}))", parts.join("), (")),
    }
}
