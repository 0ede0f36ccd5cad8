//! KML 2.2 (OGC 07-147r2): one document for all layers, a folder each, with a style, and a schema of the fields. `NAME.kml`, or compressed
//! as `doc.kml` in the archive `NAME.kmz`. The order of elements is that of the published schema (`ogckml22.xsd`).
//!
//! Placemarks are written to a file for each layer while the run goes on, and put together at its end.

mod placemark;

use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use zip::write::{SimpleFileOptions, ZipWriter};

use super::wgs84::ToWgs84;
use super::{Ending, FormatWriter, WriteError};
use crate::geodesy::geoid::GlobalGeoid;
use crate::job::catalogue::GeometryKind;
use crate::output::columns::{Batch, FieldKind, Layer};
use crate::output::contract::Setup;
use crate::output::style::{Look, title_of};
use crate::output::xml::Document;

/// Sizes from which on an archive wants its long form, in bytes.
const LONG: u64 = u32::MAX as u64 / 2;

/// What altitudes are, said in the document.
const ALTITUDES: &str = "Longitudes and latitudes are on WGS 84. Where an altitude stands (altitudeMode absolute) it is above the EGM96 geoid, as \
                         the format has it: the height above the ellipsoid less that geoid, else the height above the geoid or vertical datum \
                         of the bases as logged. Where no height is known, things lie on the ground. Heights by their kind, with standard \
                         errors, stand in the balloons.";

/// The document of a run.
pub struct KmlWriter {
    to_wgs84: ToWgs84,
    geoid: GlobalGeoid,
    folder: PathBuf,
    /// Name and title of the job.
    name: String,
    title: String,
    is_archive: bool,
    /// By layer; none for a table.
    parts: Vec<Option<(PathBuf, BufWriter<File>)>>,
}

impl KmlWriter {
    /// Creates the files of the layers with geometry.
    ///
    /// # Errors
    /// When WGS 84 cannot be reached from the layers' CRS, or a file cannot be written.
    pub fn create(folder: &Path, layers: &[Layer], setup: &Setup, is_archive: bool) -> Result<KmlWriter, WriteError> {
        let to_wgs84 = ToWgs84::new(setup).map_err(|source| WriteError::Wgs84 { format: "KML", source })?;
        let create = |layer: &Layer| {
            if layer.geometry == GeometryKind::None {
                return Ok(None);
            }
            let path = folder.join(format!("{}.{}.part", setup.job.name, layer.id));
            let file = File::create(&path).map_err(WriteError::file(&path, "creating"))?;
            Ok(Some((path, BufWriter::new(file))))
        };
        Ok(KmlWriter {
            to_wgs84,
            geoid: GlobalGeoid::default(),
            folder: folder.to_owned(),
            title: setup.job.title.clone().unwrap_or_else(|| setup.job.name.clone()),
            name: setup.job.name.clone(),
            is_archive,
            parts: layers.iter().map(create).collect::<Result<_, WriteError>>()?,
        })
    }
}

impl FormatWriter for KmlWriter {
    fn write(&mut self, index: usize, layer: &Layer, batch: &Batch) -> Result<(), WriteError> {
        let Some((path, writer)) = &mut self.parts[index] else { return Ok(()) };
        let points = self.to_wgs84.convert(batch).map_err(|source| WriteError::Wgs84 { format: "KML", source })?;
        let (mut geoid, mut rest) = (self.geoid.reader(), points.as_slice());
        for i in 0..batch.len {
            let (own, others) = rest.split_at(batch.positions(i).len());
            rest = others;
            let text = placemark::placemark(layer, batch, i, own, &mut geoid);
            writer.write_all(text.as_bytes()).map_err(WriteError::file(path, "writing"))?;
        }
        Ok(())
    }

    fn finish(self: Box<Self>, layers: &[Layer], ending: &Ending) -> Result<(), WriteError> {
        let (folder, is_archive) = (self.folder.clone(), self.is_archive);
        let path = folder.join(format!("{}.{}", self.name, if is_archive { "kmz" } else { "kml" }));
        let (mut folders, mut bytes, mut parts) = (Vec::new(), 0, Vec::new());
        for (index, part) in self.parts.into_iter().enumerate() {
            let Some((path, writer)) = part else { continue };
            writer.into_inner().map_err(|error| WriteError::file(&path, "writing")(error.into_error()))?;
            if ending.has_records(index) {
                let layer = &layers[index];
                bytes += fs::metadata(&path).map_err(WriteError::file(&path, "looking at"))?.len();
                folders.push((layer, ending.looks[index], ending.metadata.of_layer(index, layer), path.clone()));
            }
            parts.push(path);
        }
        let document = KmlDocument { title: &self.title, summary: ending.metadata.summary(), folders };
        let written = File::create(&path).and_then(|file| match is_archive {
            false => document.write(BufWriter::new(file)).and_then(|mut writer| writer.flush()),
            true => {
                let mut archive = ZipWriter::new(BufWriter::new(file));
                // One time for all, so that the same input gives the same bytes.
                let options = SimpleFileOptions::default().last_modified_time(zip::DateTime::default()).large_file(bytes > LONG);
                archive.start_file("doc.kml", options).map_err(io::Error::other)?;
                let archive = document.write(archive)?;
                archive.finish().map_err(io::Error::other).and_then(|mut writer| writer.flush())
            }
        });
        written.map_err(WriteError::file(&path, "writing"))?;
        for part in parts {
            fs::remove_file(&part).map_err(WriteError::file(&part, "removing"))?;
        }
        Ok(())
    }
}

/// What is put together at the end.
struct KmlDocument<'d> {
    title: &'d str,
    summary: String,
    /// Layers with records, what they look like and say of themselves, and their placemarks.
    folders: Vec<(&'d Layer, Look, String, PathBuf)>,
}

impl KmlDocument<'_> {
    fn write<W: Write>(&self, mut writer: W) -> io::Result<W> {
        line(&mut writer, Document::declares)?;
        line(&mut writer, |made| made.begins("kml", &[("xmlns", "http://www.opengis.net/kml/2.2")]))?;
        line(&mut writer, |made| made.begins("Document", &[]))?;
        line(&mut writer, |made| made.leaf("name", self.title))?;
        line(&mut writer, |made| made.leaf("open", "1"))?;
        line(&mut writer, |made| made.leaf("description", &format!("{} {ALTITUDES}", self.summary)))?;
        for (layer, look, ..) in &self.folders {
            line(&mut writer, |made| style(made, layer, look))?;
        }
        for (layer, ..) in &self.folders {
            schema(&mut writer, layer)?;
        }
        for (layer, _, description, placemarks) in &self.folders {
            line(&mut writer, |made| made.begins("Folder", &[]))?;
            line(&mut writer, |made| made.leaf("name", &layer.title))?;
            line(&mut writer, |made| made.leaf("description", description))?;
            io::copy(&mut File::open(placemarks)?, &mut writer)?;
            line(&mut writer, |made| made.ends("Folder"))?;
        }
        line(&mut writer, |made| made.ends("Document"))?;
        line(&mut writer, |made| made.ends("kml"))?;
        Ok(writer)
    }
}

/// Writes a line of XML.
fn line(writer: &mut impl Write, write: impl FnOnce(&mut Document)) -> io::Result<()> {
    let mut made = Document::on_one_line();
    write(&mut made);
    writer.write_all(made.text().as_bytes())
}

fn style(made: &mut Document, layer: &Layer, look: &Look) {
    // Colours are written as opacity, blue, green, red.
    let colour = |opacity: f64| {
        let opacity = (opacity * 255.0).round() as u8;
        format!("{opacity:02x}{:02x}{:02x}{:02x}", look.colour.blue, look.colour.green, look.colour.red)
    };
    let opaque = colour(1.0);
    // Where nothing is labelled on a map, names would crowd the globe.
    let label = if look.labels_to_scale.is_some() { "0.8" } else { "0" };
    made.within("Style", &[("id", &style_of(layer))], |made| {
        made.within("IconStyle", &[], |made| {
            made.leaf("color", &opaque);
            made.leaf("scale", "0.8");
        });
        made.within("LabelStyle", &[], |made| made.leaf("scale", label));
        made.within("LineStyle", &[], |made| {
            made.leaf("color", &opaque);
            made.leaf("width", &look.line_width_px.max(1.0).to_string());
        });
        made.within("PolyStyle", &[], |made| made.leaf("color", &colour(look.fill_opacity)));
    });
}

fn schema(writer: &mut impl Write, layer: &Layer) -> io::Result<()> {
    line(writer, |made| made.begins("Schema", &[("name", &layer.id), ("id", &schema_of(layer))]))?;
    for field in &layer.fields {
        let kind = match field.kind {
            FieldKind::Real => "double",
            // The format's own whole numbers have 32 bits.
            FieldKind::Integer | FieldKind::Text | FieldKind::Time => "string",
        };
        line(writer, |made| {
            made.within("SimpleField", &[("type", kind), ("name", &field.name)], |made| {
                made.leaf("displayName", &title_of(&field.name));
            });
        })?;
    }
    line(writer, |made| made.ends("Schema"))
}

/// Names within the document are XML names (`xsd:ID`): a layer of a catalogue may begin with a digit.
fn style_of(layer: &Layer) -> String {
    format!("look_{}", layer.id)
}

fn schema_of(layer: &Layer) -> String {
    format!("fields_{}", layer.id)
}
