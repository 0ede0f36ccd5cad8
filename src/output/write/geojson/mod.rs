//! GeoJSON by RFC 7946: longitude, latitude on WGS 84, height above its ellipsoid in metres where
//! known; rings to the right-hand rule; lines and rings cut at ±180°, and closed along a pole; a bbox; no crs member. One file
//! a layer. The same with places in the layers' CRS is JSON-FG (`in_crs`).

mod in_crs;

use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

use geojson::{Feature, Geometry, GeometryValue, JsonObject, JsonValue};

use super::antimeridian::{DEGREES, GlobePoint, Longitudes};
use super::number::{iso_utc, rounded};
use super::places::stem_of;
use super::wgs84::ToWgs84;
use super::{Ending, FormatWriter, WriteError};
use crate::job::catalogue::GeometryKind;
use crate::output::columns::{Batch, Cell, Field, Layer};
use crate::output::contract::Setup;
use crate::output::style::title_of;
use in_crs::Places;

/// Decimals of a degree in coordinates: a tenth of a millimetre.
const DEGREE_DECIMALS: u8 = 9;
/// Decimals of a metre.
const METRE_DECIMALS: u8 = 4;

/// The files of a run.
pub struct GeoJson {
    to_wgs84: ToWgs84,
    /// Where they are JSON-FG.
    places: Option<Places>,
    files: Vec<LayerFile>,
}

struct LayerFile {
    path: PathBuf,
    writer: BufWriter<File>,
    records: u64,
    longitudes: Longitudes,
    /// Least and greatest latitude.
    latitudes: Option<[f64; 2]>,
    /// Least and greatest height.
    heights: Option<[f64; 2]>,
}

impl GeoJson {
    /// Creates the files.
    ///
    /// # Errors
    /// When WGS 84 cannot be reached from the layers' CRS, or a file cannot be written.
    pub fn create(folder: &Path, layers: &[Layer], setup: &Setup) -> Result<GeoJson, WriteError> {
        GeoJson::create_as(folder, layers, setup, None, ("GeoJSON", "geojson"))
    }

    /// Creates files of JSON-FG.
    ///
    /// # Errors
    /// As [`GeoJson::create`].
    pub fn with_places(folder: &Path, layers: &[Layer], setup: &Setup) -> Result<GeoJson, WriteError> {
        GeoJson::create_as(folder, layers, setup, Some(Places::new(setup)), ("JSON-FG", "json"))
    }

    fn create_as(
        folder: &Path,
        layers: &[Layer],
        setup: &Setup,
        places: Option<Places>,
        (format, ending): (&'static str, &str),
    ) -> Result<GeoJson, WriteError> {
        let to_wgs84 = ToWgs84::new(setup).map_err(|source| WriteError::Wgs84 { format, source })?;
        let create = |layer: &Layer| {
            let path = folder.join(stem_of(&setup.job.name, &layer.id) + ending);
            let file = File::create(&path).map_err(WriteError::file(&path, "creating"))?;
            let mut writer = BufWriter::new(file);
            let head = places.as_ref().map(|places| places.head(layer)).unwrap_or_default();
            write!(writer, "{{\"type\":\"FeatureCollection\",{head}\"features\":[")
                .map_err(WriteError::file(&path, "writing"))?;
            Ok(LayerFile { path, writer, records: 0, longitudes: Longitudes::default(), latitudes: None, heights: None })
        };
        let files = layers.iter().map(create).collect::<Result<Vec<_>, WriteError>>()?;
        Ok(GeoJson { to_wgs84, places, files })
    }
}

impl FormatWriter for GeoJson {
    fn write(&mut self, index: usize, layer: &Layer, batch: &Batch) -> Result<(), WriteError> {
        let points = self.to_wgs84.convert(batch).map_err(|source| WriteError::Wgs84 { format: "GeoJSON", source })?;
        let file = &mut self.files[index];
        let mut rest = points.as_slice();
        for i in 0..batch.len {
            let positions = batch.positions(i);
            let (own, others) = rest.split_at(positions.len());
            rest = others;
            let has_height = positions.iter().all(|p| !p.ellipsoid_height_m.is_nan());
            let geometry = file.geometry(layer.geometry, own, has_height);
            let feature = Feature {
                bbox: None,
                geometry,
                id: None,
                properties: Some(properties(&layer.fields, batch, i)),
                foreign_members: self.places.as_ref().map(|places| places.members(layer, batch, i)),
            };
            file.add(&feature).map_err(WriteError::file(&file.path, "writing"))?;
        }
        Ok(())
    }

    fn losses(&self, _: &[Layer]) -> Vec<String> {
        self.places.iter().filter_map(Places::loss).collect()
    }

    fn finish(self: Box<Self>, layers: &[Layer], ending: &Ending) -> Result<(), WriteError> {
        for (index, (mut file, layer)) in self.files.into_iter().zip(layers).enumerate() {
            file.end(layer, &ending.metadata.of_layer(index, layer)).map_err(WriteError::file(&file.path, "writing"))?;
        }
        Ok(())
    }
}

impl LayerFile {
    /// A geometry on WGS 84, cut at ±180°; none for a table.
    fn geometry(&mut self, kind: GeometryKind, points: &[GlobePoint], has_height: bool) -> Option<Geometry> {
        let mut parts = |parts: Vec<Vec<GlobePoint>>| -> Vec<Vec<geojson::Position>> {
            for pair in parts.iter().flat_map(|part| part.windows(2)) {
                self.longitudes.see_edge(pair[0][0], pair[1][0]);
            }
            parts.iter().map(|part| part.iter().map(|point| self.position(*point, has_height)).collect()).collect()
        };
        let value = match kind {
            GeometryKind::None => return None,
            GeometryKind::Point => GeometryValue::Point { coordinates: self.position(*points.first()?, has_height) },
            GeometryKind::Line => {
                let mut coordinates = parts(DEGREES.line(points));
                match coordinates.len() {
                    1 => GeometryValue::LineString { coordinates: coordinates.pop()? },
                    _ => GeometryValue::MultiLineString { coordinates },
                }
            }
            GeometryKind::Area => {
                let mut rings = parts(DEGREES.rings(points));
                rings.iter_mut().for_each(|ring| turn_left(ring));
                match rings.len() {
                    1 => GeometryValue::Polygon { coordinates: rings },
                    _ => GeometryValue::MultiPolygon { coordinates: rings.into_iter().map(|ring| vec![ring]).collect() },
                }
            }
        };
        Some(Geometry::new(value))
    }

    fn position(&mut self, [lon, lat, height]: GlobePoint, has_height: bool) -> geojson::Position {
        let (lon, lat) = (rounded(lon, Some(DEGREE_DECIMALS)), rounded(lat, Some(DEGREE_DECIMALS)));
        self.longitudes.see(lon);
        widen(&mut self.latitudes, lat);
        if !has_height {
            return geojson::Position::from([lon, lat]);
        }
        let height = rounded(height, Some(METRE_DECIMALS));
        widen(&mut self.heights, height);
        geojson::Position::from(vec![lon, lat, height])
    }

    fn add(&mut self, feature: &Feature) -> std::io::Result<()> {
        self.writer.write_all(if self.records == 0 { b"\n" } else { b",\n" })?;
        self.records += 1;
        serde_json::to_writer(&mut self.writer, feature)?;
        Ok(())
    }

    /// Ends the collection. What it is and what its fields mean stands in foreign members (section 6.1); readers know `title` and
    /// `description`.
    fn end(&mut self, layer: &Layer, description: &str) -> std::io::Result<()> {
        self.writer.write_all(b"\n]")?;
        let fields: JsonObject = layer
            .fields
            .iter()
            .map(|field| {
                (field.name.clone(), serde_json::json!({ "title": title_of(&field.name), "description": field.description }))
            })
            .collect();
        for (member, value) in [
            ("title", JsonValue::from(&*layer.title)),
            ("description", description.into()),
            ("fields", JsonValue::Object(fields)),
        ] {
            write!(self.writer, ",\n\"{member}\":")?;
            serde_json::to_writer(&mut self.writer, &value)?;
        }
        if let (Some((west, east)), Some([south, north])) = (self.longitudes.edges(), self.latitudes) {
            let bbox = match self.heights {
                Some([least, greatest]) => vec![west, south, least, east, north, greatest],
                None => vec![west, south, east, north],
            };
            self.writer.write_all(b",\"bbox\":")?;
            serde_json::to_writer(&mut self.writer, &bbox)?;
        }
        self.writer.write_all(b"}\n")?;
        self.writer.flush()
    }
}

fn widen(bounds: &mut Option<[f64; 2]>, value: f64) {
    let [least, greatest] = bounds.get_or_insert([value, value]);
    *least = least.min(value);
    *greatest = greatest.max(value);
}

/// Turns a ring counter-clockwise: the right-hand rule.
fn turn_left(ring: &mut [geojson::Position]) {
    let doubled: f64 = ring.windows(2).map(|w| w[0][0] * w[1][1] - w[1][0] * w[0][1]).sum();
    if doubled < 0.0 {
        ring.reverse();
    }
}

fn properties(fields: &[Field], batch: &Batch, i: usize) -> JsonObject {
    fields
        .iter()
        .enumerate()
        .map(|(index, field)| {
            let value = match batch.cell(index, i) {
                Cell::Null => JsonValue::Null,
                Cell::Real(value) => JsonValue::from(rounded(value, field.decimals)),
                Cell::Integer(value) => JsonValue::from(value),
                Cell::Text(text) => JsonValue::from(text),
                Cell::Time(instant) => JsonValue::from(iso_utc(instant)),
            };
            (field.name.clone(), value)
        })
        .collect()
}
