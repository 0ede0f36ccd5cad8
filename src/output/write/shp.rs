//! Shapefile: .shp, .shx, .dbf, .prj and .cpg per layer, and `NAME.LAYER.fields.csv`, which maps the
//! short field names to the full ones. A table without geometry is a .dbf alone. Metadata stand in `.shp.xml`.
//!
//! Numbers and dates that are null are left blank. Times are text in ISO 8601, for a date field has
//! no time of day. Text is cut at the width of its field; the fields file counts how often, and a note of the run says so. A shape over
//! ±180° is one record of several parts.

use std::fs::{self, File, OpenOptions};
use std::io::{BufWriter, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use dbase::{FieldName, FieldValue, FieldWriter, TableWriter, TableWriterBuilder, WritableRecord};
use shapefile::{Point, PointZ, Polygon, PolygonRing, PolygonZ, Polyline, PolylineZ, ShapeWriter};

use super::antimeridian::{self, CutParts, Globe};
use super::dated::Latest;
use super::number::iso_utc;
use super::{Ending, FormatWriter, WriteError};
use crate::job::catalogue::GeometryKind;
use crate::output::columns::{Batch, Cell, Field, FieldKind, Layer, Position};
use crate::output::contract::Setup;
use crate::output::metadata::csdgm;

/// Width of a number; more digits than any real number has.
const NUMBER_WIDTH: u8 = 24;
/// Decimals of carried numbers, whose own are not known.
const CARRIED_DECIMALS: u8 = 9;
/// Widest text that a .dbf can hold.
const TEXT_WIDTH: u8 = 254;

/// The files of a run.
pub struct Shapefiles {
    files: Vec<ShapefileLayer>,
}

struct ShapefileLayer {
    shp: PathBuf,
    shapes: Option<ShapeWriter<BufWriter<File>>>,
    table: TableWriter<BufWriter<File>>,
    has_z: bool,
    globe: Option<Globe>,
    /// Values cut or left blank for want of width, by field.
    cut: Vec<u64>,
}

impl Shapefiles {
    /// Creates the files.
    ///
    /// # Errors
    /// When one cannot be written.
    pub fn create(folder: &Path, layers: &[Layer], setup: &Setup) -> Result<Shapefiles, WriteError> {
        // A local frame is left undefined: such a file says no place.
        let prj = setup.crs.prj_text().filter(|_| !setup.crs.is_local());
        let files = layers.iter().map(|layer| {
            let base = format!("{}.{}", setup.job.name, layer.id);
            let shp = folder.join(format!("{base}.shp"));
            let sidecar = |extension: &str, text: &str| {
                let path = folder.join(format!("{base}.{extension}"));
                fs::write(&path, text).map_err(WriteError::file(&path, "writing"))
            };
            sidecar("cpg", "UTF-8")?;
            let mut shapes = None;
            if layer.geometry != GeometryKind::None {
                if let Some(prj) = &prj {
                    sidecar("prj", prj)?;
                }
                shapes = Some(ShapeWriter::from_path(&shp).map_err(WriteError::format(&shp, "creating"))?);
            }
            let dbf = shp.with_extension("dbf");
            let mut builder = TableWriterBuilder::new();
            for field in &layer.fields {
                let name = FieldName::try_from(field.short.as_str()).map_err(WriteError::format(&dbf, "naming a field"))?;
                let (width, decimals) = shape_of(field);
                builder = match field.kind {
                    FieldKind::Real | FieldKind::Integer => builder.add_numeric_field(name, width, decimals),
                    FieldKind::Text | FieldKind::Time => builder.add_character_field(name, width),
                };
            }
            let table = builder.build_with_file_dest(&dbf).map_err(WriteError::format(&dbf, "creating"))?;
            let (has_z, globe) = (setup.has_z && layer.has_heights(), Globe::from_crs(setup.crs));
            Ok(ShapefileLayer { shp, shapes, table, has_z, globe, cut: vec![0; layer.fields.len()] })
        });
        Ok(Shapefiles { files: files.collect::<Result<_, WriteError>>()? })
    }
}

impl FormatWriter for Shapefiles {
    fn write(&mut self, index: usize, layer: &Layer, batch: &Batch) -> Result<(), WriteError> {
        let file = &mut self.files[index];
        for i in 0..batch.len {
            let has_z = file.has_z;
            if let Some(shapes) = &mut file.shapes {
                let parts = antimeridian::parts(file.globe, layer.geometry, batch.positions(i));
                add_shape(shapes, layer.geometry, &parts, has_z).map_err(WriteError::format(&file.shp, "writing"))?;
            }
            let values: Vec<FieldValue> = layer
                .fields
                .iter()
                .enumerate()
                .map(|(index, field)| {
                    let (value, cut) = value_of(field, batch.cell(index, i));
                    file.cut[index] += u64::from(cut);
                    value
                })
                .collect();
            file.table.write_record(&ShapeValues(&values)).map_err(WriteError::format(&file.shp, "writing attributes"))?;
        }
        Ok(())
    }

    fn losses(&self, layers: &[Layer]) -> Vec<String> {
        let fields = self.files.iter().zip(layers).flat_map(|(file, layer)| {
            layer.fields.iter().zip(&file.cut).filter(|(_, cut)| **cut > 0).map(move |(field, cut)| (layer, field, *cut))
        });
        let fields: Vec<(&Layer, &Field, u64)> = fields.collect();
        let Some((layer, field, _)) = fields.first() else { return Vec::new() };
        let cut: u64 = fields.iter().map(|(_, _, cut)| cut).sum();
        let (values, were) = if cut == 1 { ("value", "was") } else { ("values", "were") };
        vec![format!(
            "Shapefile: {cut} {values}, such as in {} of {}, {were} too long for the format and {were} cut or left blank; the files .fields.csv count them by \
             field, and the other formats have them whole.",
            field.name, layer.id
        )]
    }

    fn finish(self: Box<Self>, layers: &[Layer], ending: &Ending) -> Result<(), WriteError> {
        for (index, (mut file, layer)) in self.files.into_iter().zip(layers).enumerate() {
            if let Some(mut shapes) = file.shapes.take() {
                shapes.finalize().map_err(WriteError::format(&file.shp, "finishing"))?;
            }
            file.table.finalize().map_err(WriteError::format(&file.shp, "finishing attributes"))?;
            drop(file.table);
            date_table(&file.shp.with_extension("dbf"), ending.latest)?;
            write_fields(&file.shp.with_extension("fields.csv"), layer, &file.cut)?;
            let about = file.shp.with_extension(if layer.geometry == GeometryKind::None { "dbf.xml" } else { "shp.xml" });
            fs::write(&about, csdgm::document(ending.metadata, index, layer)).map_err(WriteError::file(&about, "writing"))?;
        }
        Ok(())
    }
}

/// Width and decimals of a field.
fn shape_of(field: &Field) -> (u8, u8) {
    match (field.kind, field.name.as_str()) {
        (FieldKind::Real, _) => (NUMBER_WIDTH, field.decimals.unwrap_or(CARRIED_DECIMALS)),
        // Wider ones are read back as real numbers.
        (FieldKind::Integer, _) => (18, 0),
        (FieldKind::Time, _) => (24, 0),
        (FieldKind::Text, "time_local") => (35, 0),
        (FieldKind::Text, "height_kind" | "record" | "log") => (12, 0),
        (FieldKind::Text, "base" | "shot" | "code" | "string" | "measure" | "role" | "return" | "log_column") => (80, 0),
        (FieldKind::Text, _) => (TEXT_WIDTH, 0),
    }
}

/// A value as a .dbf has it, and whether it lost something: text is cut, a number too wide is null.
fn value_of(field: &Field, cell: Cell) -> (FieldValue, bool) {
    let (width, decimals) = shape_of(field);
    let (width, decimals) = (usize::from(width), usize::from(decimals));
    let number = |value: f64| {
        let fits = format!("{value:.decimals$}").len() <= width;
        (FieldValue::Numeric(fits.then_some(value)), !fits)
    };
    match cell {
        Cell::Null => match field.kind {
            FieldKind::Real | FieldKind::Integer => (FieldValue::Numeric(None), false),
            FieldKind::Text | FieldKind::Time => (FieldValue::Character(None), false),
        },
        Cell::Real(value) => number(value),
        // The library writes numbers as doubles, whole up to 2^53.
        Cell::Integer(value) if value.unsigned_abs() <= 1 << 53 => number(value as f64),
        Cell::Integer(_) => (FieldValue::Numeric(None), true),
        Cell::Time(instant) => (FieldValue::Character(Some(iso_utc(instant))), false),
        Cell::Text(text) => {
            let end = (0..=width.min(text.len())).rev().find(|end| text.is_char_boundary(*end)).unwrap_or(0);
            (FieldValue::Character(Some(text[..end].to_owned())), end < text.len())
        }
    }
}

/// A record in the order of the fields.
struct ShapeValues<'v>(&'v [FieldValue]);

impl WritableRecord for ShapeValues<'_> {
    fn write_using<W: Write>(&self, writer: &mut FieldWriter<'_, W>) -> Result<(), dbase::FieldError> {
        self.0.iter().try_for_each(|value| writer.write_next_field_value(value))
    }
}

fn add_shape(
    shapes: &mut ShapeWriter<BufWriter<File>>,
    kind: GeometryKind,
    parts: &CutParts<'_>,
    has_z: bool,
) -> Result<(), shapefile::Error> {
    let flat = |p: &Position| Point::new(p.x, p.y);
    // No measure: any value below -1e38 says so.
    let solid = |p: &Position| PointZ::new(p.x, p.y, p.stand_in_z, shapefile::NO_DATA);
    let point = || parts.iter().next().and_then(|part| part.first());
    match (kind, has_z) {
        (GeometryKind::Point, true) => point().map_or(Ok(()), |point| shapes.write_shape(&solid(point))),
        (GeometryKind::Point, false) => point().map_or(Ok(()), |point| shapes.write_shape(&flat(point))),
        (GeometryKind::Line, true) => {
            shapes.write_shape(&PolylineZ::with_parts(parts.iter().map(|part| part.iter().map(solid).collect()).collect()))
        }
        (GeometryKind::Line, false) => {
            shapes.write_shape(&Polyline::with_parts(parts.iter().map(|part| part.iter().map(flat).collect()).collect()))
        }
        (GeometryKind::Area, true) => shapes.write_shape(&PolygonZ::with_rings(
            parts.iter().map(|part| PolygonRing::Outer(part.iter().map(solid).collect())).collect(),
        )),
        (GeometryKind::Area, false) => shapes.write_shape(&Polygon::with_rings(
            parts.iter().map(|part| PolygonRing::Outer(part.iter().map(flat).collect())).collect(),
        )),
        (GeometryKind::None, _) => Ok(()),
    }
}

/// Puts the date of the data into the header, bytes 1 to 3, where the library has put today's.
fn date_table(path: &Path, latest: &Latest) -> Result<(), WriteError> {
    let date = jiff::tz::Offset::UTC.to_datetime(latest.instant()).date();
    let year = (i32::from(date.year()) - 1900).clamp(0, 255) as u8;
    let stamp = [year, date.month() as u8, date.day() as u8];
    let patch = || -> std::io::Result<()> {
        let mut file = OpenOptions::new().write(true).open(path)?;
        file.seek(SeekFrom::Start(1))?;
        file.write_all(&stamp)
    };
    patch().map_err(WriteError::file(path, "dating the table"))
}

fn write_fields(path: &Path, layer: &Layer, cut: &[u64]) -> Result<(), WriteError> {
    let write = || -> Result<(), csv::Error> {
        let mut writer = csv::Writer::from_path(path)?;
        writer.write_record(["short_name", "name", "type", "width", "decimals", "values_cut", "description"])?;
        for (field, cut) in layer.fields.iter().zip(cut) {
            let (width, decimals) = shape_of(field);
            let kind = match field.kind {
                FieldKind::Real => "real",
                FieldKind::Integer => "integer",
                FieldKind::Text => "text",
                FieldKind::Time => "time, as text",
            };
            writer.write_record([
                &field.short,
                &field.name,
                kind,
                &width.to_string(),
                &decimals.to_string(),
                &cut.to_string(),
                &field.description,
            ])?;
        }
        writer.flush()?;
        Ok(())
    };
    write().map_err(WriteError::format(path, "writing"))
}
