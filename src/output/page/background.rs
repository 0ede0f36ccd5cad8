//! The user's own raster or vector file under the map: warped into the layers' CRS by GDAL, and held in the page.

use std::path::Path;

use gdal::errors::GdalError;
use gdal::raster::{Buffer, GdalDataType, RasterCreationOptions, reproject};
use gdal::spatial_ref::{AxisMappingStrategy, CoordTransform, SpatialRef};
use gdal::vector::{Geometry, LayerAccess};
use gdal::{Dataset, DriverManager};

use super::plane::MapPlane;
use super::shell::base64;

/// Longest side of the picture in pixels, at first.
const PIXELS: f64 = 1_600.0;
/// Bytes that the picture may have; it is made smaller until it has.
const MOST_BYTES: usize = 1_000_000;
/// Corners that outlines may have; the rest is left out, and told.
const MOST_CORNERS: usize = 30_000;
/// Quality of the picture, of 100.
const QUALITY: &str = "72";

/// A background.
pub struct Background {
    /// Name of the file.
    pub name: String,
    /// What is drawn.
    pub drawn: BackgroundDrawn,
}

/// What of a background is drawn.
pub enum BackgroundDrawn {
    /// A picture of the whole map's bounds, as a `data:` address.
    Picture(String),
    /// Lines in the CRS of the layers, and whether some were left out.
    Outlines(Vec<Vec<[f64; 2]>>, bool),
}

/// Why a background is not drawn.
#[derive(Debug, thiserror::Error)]
pub enum BackgroundError {
    /// GDAL cannot read or bring it to the CRS of the layers.
    #[error("{}", gist(.0))]
    Gdal(#[from] GdalError),
    /// A raster without a CRS.
    #[error("it names no CRS; give it one, or leave the background out")]
    NoCrs,
    /// A layer without a CRS.
    #[error("its layer {0} names no CRS; give it one, or leave the background out")]
    LayerNoCrs(String),
    /// A raster of other bands.
    #[error("a background has one band of grey or three of red, green and blue, eight bits each")]
    Bands,
}

/// Reads a background for a map; `wkt` is the CRS of the layers.
///
/// # Errors
/// When the file cannot be read or is in no known CRS.
pub fn read(path: &Path, plane: &MapPlane, wkt: &str) -> Result<Background, BackgroundError> {
    let name = path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    let source = Dataset::open(path)?;
    let mut to = SpatialRef::from_wkt(wkt)?;
    to.set_axis_mapping_strategy(AxisMappingStrategy::TraditionalGisOrder);
    let drawn = match source.raster_count() {
        0 => outlines(&source, &to)?,
        _ => picture(&source, plane, &to)?,
    };
    Ok(Background { name, drawn })
}

fn gist(error: &GdalError) -> String {
    match error {
        GdalError::CplError { msg, .. } | GdalError::NullPointer { msg, .. } if !msg.is_empty() => msg.clone(),
        other => other.to_string(),
    }
}

fn picture(source: &Dataset, plane: &MapPlane, to: &SpatialRef) -> Result<BackgroundDrawn, BackgroundError> {
    if source.spatial_ref().is_err() {
        return Err(BackgroundError::NoCrs);
    }
    let bands = if source.raster_count() >= 3 { 3 } else { 1 };
    for number in 1..=bands {
        let band = source.rasterband(number)?;
        if band.band_type() != GdalDataType::UInt8 || band.color_table().is_some() {
            return Err(BackgroundError::Bands);
        }
    }
    let mut pixels = PIXELS;
    loop {
        let bytes = warped(source, plane, to, bands, pixels)?;
        if bytes.len() <= MOST_BYTES {
            return Ok(BackgroundDrawn::Picture(format!("data:image/jpeg;base64,{}", base64(&bytes))));
        }
        pixels *= 0.7;
    }
}

/// The part of a raster under the map as a JPEG; white where it has nothing.
fn warped(source: &Dataset, plane: &MapPlane, to: &SpatialRef, bands: usize, pixels: f64) -> Result<Vec<u8>, GdalError> {
    let [width_m, height_m] = plane.size_m();
    let px_per_m = pixels / width_m.max(height_m);
    let size = [width_m, height_m].map(|metres| ((metres * px_per_m).round() as usize).max(2));
    let ([west, _], [_, north]) = (plane.back([plane.bounds[0], 0.0]), plane.back([0.0, plane.bounds[3]]));
    let step = [width_m / plane.unit_m[0] / size[0] as f64, height_m / plane.unit_m[1] / size[1] as f64];
    let memory = DriverManager::get_driver_by_name("MEM")?;
    let mut target = memory.create_with_band_type::<u8, _>("", size[0], size[1], bands)?;
    target.set_geo_transform(&[west, step[0], 0.0, north, 0.0, -step[1]])?;
    target.set_spatial_ref(to)?;
    for number in 1..=bands {
        let mut white = Buffer::new(size.into(), vec![255u8; size[0] * size[1]]);
        target.rasterband(number)?.write((0, 0), size.into(), &mut white)?;
    }
    reproject(source, &target)?;
    let path = "/vsimem/standoff-background.jpg";
    let options = RasterCreationOptions::from_iter([format!("QUALITY={QUALITY}")]);
    target.create_copy(&DriverManager::get_driver_by_name("JPEG")?, path, &options)?.close()?;
    gdal::vsi::get_vsi_mem_file_bytes_owned(path)
}

fn outlines(source: &Dataset, to: &SpatialRef) -> Result<BackgroundDrawn, BackgroundError> {
    let (mut lines, mut corners, mut cut) = (Vec::new(), 0, false);
    for mut layer in source.layers() {
        let Some(mut from) = layer.spatial_ref() else {
            return Err(BackgroundError::LayerNoCrs(layer.name()));
        };
        from.set_axis_mapping_strategy(AxisMappingStrategy::TraditionalGisOrder);
        let way = CoordTransform::new(&from, to)?;
        for feature in layer.features() {
            let Some(geometry) = feature.geometry() else { continue };
            let moved = geometry.transform(&way)?;
            let mut found = Vec::new();
            lines_of(&moved, &mut found);
            corners += found.iter().map(Vec::len).sum::<usize>();
            if corners > MOST_CORNERS {
                cut = true;
                break;
            }
            lines.append(&mut found);
        }
    }
    Ok(BackgroundDrawn::Outlines(lines, cut))
}

/// The lines of a geometry: of a line itself, of an area its rings.
fn lines_of(geometry: &Geometry, lines: &mut Vec<Vec<[f64; 2]>>) {
    for i in 0..geometry.geometry_count() {
        lines_of(&geometry.get_geometry(i), lines);
    }
    if geometry.geometry_count() == 0 {
        let mut points = Vec::new();
        geometry.get_points(&mut points);
        if points.len() > 1 {
            lines.push(points.into_iter().map(|(x, y, _)| [x, y]).collect());
        }
    }
}
