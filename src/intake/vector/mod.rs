//! Point layers of vector files: GeoPackage, Shapefile, GeoJSON and FlatGeobuf, through GDAL.
//!
//! Files are opened for reading alone, and nothing is left beside them.

mod error;
mod features;
mod field_table;
mod holds;
#[cfg(test)]
mod tests;
mod whole;

use std::path::{Path, PathBuf};

use gdal::vector::LayerAccess;
use gdal::{Dataset, DatasetOptions, GdalOpenFlags};

pub use error::{LayersThere, NoPoint, VectorError};
pub use field_table::{FieldTable, read_fields};
pub use holds::Holds;

use super::columns::{self, LogKind, Quantity};
use super::headers::UniqueHeaders;
use crate::disk;
use crate::geodesy::crs::CrsKind;

/// The type of a field.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum VectorType {
    /// Whole numbers; truth values are 0 and 1.
    Integer,
    /// Real numbers.
    Real,
    /// Text, and lists.
    Text,
    /// Days.
    Date,
    /// Times of day.
    TimeOfDay,
    /// Dates with a time of day. Those for which the file has no zone are written without one.
    DateTime,
}

/// A point of a layer.
#[derive(Debug, Clone, PartialEq)]
pub struct VectorPoint {
    /// Place among the layer's features, counted from 1; those that are skipped count too.
    pub number: u64,
    /// Easting or longitude in the unit of the layer's CRS, whatever the order of its axes.
    pub x: f64,
    /// Northing or latitude in that unit.
    pub y: f64,
    /// Third coordinate, where the geometry has one.
    pub z: Option<f64>,
    /// Values in the order of the fields, empty for null. Real numbers are the shortest text that
    /// reads back the same; dates and times are ISO 8601.
    pub cells: Vec<String>,
}

/// A layer of points.
#[derive(Debug, Clone, PartialEq)]
pub struct PointLayer {
    /// Name.
    pub name: String,
    /// WKT 2:2019 of its CRS; none where the file names none, or one that is marked as undefined.
    pub crs_wkt: Option<String>,
    /// What kind of CRS that is; none where it is not known. Who learns it elsewhere, as from the job,
    /// sets it before [`PointLayer::to_table`].
    pub kind: Option<CrsKind>,
    /// Metres (projected) or degrees (geographic) in one unit of x and y; 1 where it is not known.
    pub unit_factor: f64,
    /// Fields: name and type. Fields of binary values, such as pictures, are left out.
    pub fields: Vec<(String, VectorType)>,
    /// The points.
    pub points: Vec<VectorPoint>,
    /// Features that are no points: number and why.
    pub skipped: Vec<(u64, NoPoint)>,
}

/// A kind of file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FileKind {
    /// A GeoPackage.
    GeoPackage,
    /// The shapes of a Shapefile.
    Shapefile,
    /// A GeoJSON document.
    GeoJson,
    /// A FlatGeobuf file.
    FlatGeobuf,
}

impl FileKind {
    fn from_path(path: &Path) -> Option<FileKind> {
        match path.extension()?.to_str()?.to_ascii_lowercase().as_str() {
            "gpkg" => Some(FileKind::GeoPackage),
            "shp" => Some(FileKind::Shapefile),
            "geojson" | "json" => Some(FileKind::GeoJson),
            "fgb" => Some(FileKind::FlatGeobuf),
            _ => None,
        }
    }

    fn name(self) -> &'static str {
        match self {
            FileKind::GeoPackage => "GeoPackage",
            FileKind::Shapefile => "Shapefile",
            FileKind::GeoJson => "GeoJSON file",
            FileKind::FlatGeobuf => "FlatGeobuf file",
        }
    }

    /// GDAL's name of the driver.
    fn driver(self) -> &'static str {
        match self {
            FileKind::GeoPackage => "GPKG",
            FileKind::Shapefile => "ESRI Shapefile",
            FileKind::GeoJson => "GeoJSON",
            FileKind::FlatGeobuf => "FlatGeobuf",
        }
    }
}

pub use crate::job::is_vector;

/// Reads the layer of points that `layer` names, or the file's only one.
///
/// # Errors
/// When the file cannot be read or is damaged, has no layer of points or no such layer, or has several and none is named.
pub fn read(path: &Path, layer: Option<&str>) -> Result<PointLayer, VectorError> {
    let kind = FileKind::from_path(path).ok_or(VectorError::OtherEnding)?;
    disk::open(path).map_err(VectorError::Unreadable)?;
    let open_options = whole::check(path, kind)?;
    let dataset = open(path, kind, open_options)?;
    let index = choose(&dataset, layer)?;
    let mut layer = dataset.layer(index).map_err(|_| VectorError::Damaged(kind))?;
    let name = layer.name();
    let read = features::read(&mut layer, name)?;
    let expected = match kind {
        FileKind::GeoPackage => Some(whole::rows(&dataset, &read.name).ok_or(VectorError::Damaged(kind))?),
        // Deleted records are counted too, and `whole` has looked at the files' lengths.
        FileKind::Shapefile => None,
        FileKind::GeoJson | FileKind::FlatGeobuf => Some(layer.feature_count()),
    };
    let found = read.points.len() as u64 + read.skipped.len() as u64;
    match expected {
        Some(expected) if found < expected => Err(VectorError::FeaturesLost { expected, found, layer: read.name }),
        _ => Ok(read),
    }
}

fn open(path: &Path, kind: FileKind, open_options: &[&str]) -> Result<Dataset, VectorError> {
    // An absolute path: never one of the names that mean something else than a file.
    let path: PathBuf = std::path::absolute(path).map_err(VectorError::Unreadable)?;
    let options = DatasetOptions {
        open_flags: GdalOpenFlags::GDAL_OF_READONLY | GdalOpenFlags::GDAL_OF_VECTOR,
        allowed_drivers: Some(&[kind.driver()]),
        open_options: Some(open_options),
        sibling_files: None,
    };
    Dataset::open_ex(path, options).map_err(|_| VectorError::Damaged(kind))
}

/// The index of the layer to read.
fn choose(dataset: &Dataset, named: Option<&str>) -> Result<usize, VectorError> {
    let layers: Vec<(String, Holds)> = dataset.layers().map(|mut layer| (layer.name(), features::holds(&mut layer))).collect();
    let points: Vec<usize> = (0..layers.len()).filter(|index| layers[*index].1 == Holds::Points).collect();
    let others = || LayersThere(layers.iter().map(|(name, holds)| (name.clone(), *holds)).collect());
    if let Some(named) = named {
        return match layers.iter().position(|(name, _)| name == named) {
            Some(index) if points.contains(&index) => Ok(index),
            Some(index) => Err(VectorError::NotOfPoints { layer: named.to_owned(), holds: layers[index].1 }),
            None => Err(VectorError::NoSuchLayer { layer: named.to_owned(), there: others() }),
        };
    }
    match points.as_slice() {
        [index] => Ok(*index),
        [] => Err(VectorError::NoPointLayer(others())),
        several => Err(VectorError::SeveralLayers(several.iter().map(|index| layers[*index].0.clone()).collect())),
    }
}

/// Whether a field has the canonical name of a coordinate.
fn is_position(name: &str) -> bool {
    use Quantity::{East, Latitude, Longitude, North};
    let parsed = columns::parse(&name.to_ascii_lowercase(), LogKind::Bases);
    matches!(parsed, Some((Latitude | Longitude | East | North, _)))
}

impl PointLayer {
    /// The points as rows of a log: headers, and each point's number with its fields.
    ///
    /// The first two are `lat_deg` and `lon_deg` in degrees, or `east_m` and `north_m` in metres; `x`
    /// and `y` as they stand where the kind of CRS is not known. Then `z` as it stands, where any point
    /// has one, and the fields. A field with a name that is taken, or with the canonical name of a coordinate, gets `field_`
    /// before it.
    pub fn to_table(&self) -> (Vec<String>, Vec<(u64, Vec<String>)>) {
        let axes = match self.kind {
            Some(CrsKind::Geographic) => ["lat_deg", "lon_deg"],
            Some(CrsKind::Projected) => ["east_m", "north_m"],
            None => ["x", "y"],
        };
        let has_z = self.points.iter().any(|point| point.z.is_some());
        let mut headers = UniqueHeaders::default();
        axes.iter().copied().chain(has_z.then_some("z")).for_each(|name| headers.push(name, ""));
        for (name, _) in &self.fields {
            // The geometry says where a point is; a field that says it too is carried.
            let name = if self.kind.is_some() && is_position(name) { &format!("field_{name}") } else { name };
            headers.push(name, "field_");
        }
        let rows = self.points.iter().map(|point| {
            // A factor of 1 leaves every digit as it is.
            let (x, y) = (features::number(point.x * self.unit_factor), features::number(point.y * self.unit_factor));
            let mut cells = if self.kind == Some(CrsKind::Geographic) { vec![y, x] } else { vec![x, y] };
            if has_z {
                cells.push(point.z.map(features::number).unwrap_or_default());
            }
            cells.extend(point.cells.iter().cloned());
            (point.number, cells)
        });
        (headers.names(), rows.collect())
    }
}
