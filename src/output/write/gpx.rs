//! GPX 1.1 (<https://www.topografix.com/GPX/1/1/>), waypoints in one file: features, the catalogue's points and bases, to walk back to.
//! Longitude and latitude on WGS 84; the elevation is the height above the geoid or vertical datum of the bases where one is known, and
//! there is none otherwise: receivers show heights above sea level.

use std::fs::{self, File};
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

use super::antimeridian::GlobePoint;
use super::number::rounded;
use super::places::has_waypoints;
use super::said::{metric, name, said, text};
use super::wgs84::ToWgs84;
use super::{Ending, FormatWriter, WriteError};
use crate::output::columns::{Batch, Cell, Layer};
use crate::output::contract::Setup;
use crate::output::xml::Document;

/// Decimals of a degree: a tenth of a millimetre.
const DEGREE_DECIMALS: u8 = 9;
/// Decimals of a metre.
const METRE_DECIMALS: u8 = 4;
/// What elevations are.
const ELEVATIONS: &str = "Elevations are heights above the geoid or vertical datum of the bases; a point without one has none.";

/// The file of a run.
pub struct GpxWriter {
    to_wgs84: ToWgs84,
    path: PathBuf,
    writer: BufWriter<File>,
    records: u64,
}

impl GpxWriter {
    /// Creates the file.
    ///
    /// # Errors
    /// When WGS 84 cannot be reached from the layers' CRS, or the file cannot be written.
    pub fn create(folder: &Path, layers: &[Layer], setup: &Setup) -> Result<GpxWriter, WriteError> {
        let to_wgs84 = ToWgs84::new(setup).map_err(|source| WriteError::Wgs84 { format: "GPX", source })?;
        let path = folder.join(format!("{}.gpx", setup.job.name));
        let file = File::create(&path).map_err(WriteError::file(&path, "creating"))?;
        let mut gpx = GpxWriter { to_wgs84, path, writer: BufWriter::new(file), records: 0 };
        let name = setup.job.title.as_ref().unwrap_or(&setup.job.name);
        let of = |layer: &Layer| format!("{}: {}", layer.title, layer.description);
        let described: Vec<String> = layers.iter().filter(|layer| has_waypoints(layer)).map(of).collect();
        gpx.put(Document::declares)?;
        let root = [
            ("xmlns", "http://www.topografix.com/GPX/1/1"),
            ("version", "1.1"),
            ("creator", concat!("standoff ", env!("CARGO_PKG_VERSION"))),
        ];
        gpx.put(|made| made.begins("gpx", &root))?;
        gpx.put(|made| {
            made.within("metadata", &[], |about| {
                about.leaf("name", name);
                about.leaf("desc", &format!("{ELEVATIONS} {}", described.join(" ")));
            });
        })?;
        Ok(gpx)
    }

    /// Writes a line.
    fn put(&mut self, write: impl FnOnce(&mut Document)) -> Result<(), WriteError> {
        let mut line = Document::on_one_line();
        write(&mut line);
        self.writer.write_all(line.text().as_bytes()).map_err(WriteError::file(&self.path, "writing"))
    }
}

impl FormatWriter for GpxWriter {
    fn write(&mut self, _: usize, layer: &Layer, batch: &Batch) -> Result<(), WriteError> {
        if !has_waypoints(layer) {
            return Ok(());
        }
        let points = self.to_wgs84.convert(batch).map_err(|source| WriteError::Wgs84 { format: "GPX", source })?;
        self.records += batch.len as u64;
        for (i, point) in points.iter().enumerate() {
            self.put(|made| waypoint(made, layer, batch, i, point))?;
        }
        Ok(())
    }

    fn finish(mut self: Box<Self>, _: &[Layer], _: &Ending) -> Result<(), WriteError> {
        self.put(|made| made.ends("gpx"))?;
        self.writer.flush().map_err(WriteError::file(&self.path, "finishing"))?;
        if self.records == 0 {
            fs::remove_file(&self.path).map_err(WriteError::file(&self.path, "removing"))?;
        }
        Ok(())
    }
}

/// Elements in the order of `wptType`: ele, time, name, desc, type.
fn waypoint(made: &mut Document, layer: &Layer, batch: &Batch, i: usize, [lon, lat, _]: &GlobePoint) {
    let at = |name: &str| layer.fields.iter().position(|field| field.name == name);
    let [lat, lon] = [lat, lon].map(|angle| rounded(*angle, Some(DEGREE_DECIMALS)).to_string());
    made.within("wpt", &[("lat", &lat), ("lon", &lon)], |point| {
        if let Some(height) = metric(layer, batch, i, "orthometric_height_m") {
            point.leaf("ele", &rounded(height, Some(METRE_DECIMALS)).to_string());
        }
        if let Some(time) = at("time").filter(|index| matches!(batch.cell(*index, i), Cell::Time(_))) {
            point.leaf("time", &text(layer, batch, i, time).unwrap_or_default());
        }
        if let Some(name) = name(layer, batch, i) {
            point.leaf("name", &name);
        }
        let lines: Vec<String> = said(layer, batch, i).iter().map(|(title, value)| format!("{title}: {value}")).collect();
        if !lines.is_empty() {
            point.leaf("desc", &lines.join("; "));
        }
        point.leaf("type", &layer.title);
    });
}
