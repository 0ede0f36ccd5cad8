//! Reading a grid in GeoTIFF: what it holds, and where ("Geodetic TIFF grids", PROJ's documentation).
//!
//! Bands are told by their descriptions, their units by GDAL's unit type, the rest by metadata items. What
//! is not said goes by the defaults of PROJ's own reader (`grids.cpp`, PROJ 9.6): horizontal shifts are
//! latitude first, in arc-seconds, positive east. Bands of accuracies are left aside.

use std::collections::BTreeMap;
use std::path::Path;

use gdal::raster::RasterBand;
use gdal::{Dataset, DatasetOptions, GdalOpenFlags, Metadata};

use super::GridProblem;
use crate::geodesy::geoid::{Lattice, lattice, one_line};

const LATITUDE: &str = "latitude_offset";
const LONGITUDE: &str = "longitude_offset";
const VERTICAL: [&str; 4] = ["geoid_undulation", "vertical_offset", "hydroid_height", "ellipsoidal_height_offset"];
/// The words of the item `TYPE` for grids of heights in metres.
const VERTICAL_TYPES: [&str; 3] =
    ["VERTICAL_OFFSET_GEOGRAPHIC_TO_VERTICAL", "VERTICAL_OFFSET_VERTICAL_TO_VERTICAL", "ELLIPSOIDAL_HEIGHT_OFFSET"];
const HORIZONTAL_TYPE: &str = "HORIZONTAL_OFFSET";

/// What a file holds.
pub(super) enum GridContents {
    /// Heights in metres.
    Vertical(VerticalGrid),
    /// Shifts of latitude and longitude; parents before their children.
    Horizontal(Vec<HorizontalGrid>),
}

/// A vertical grid.
pub(super) struct VerticalGrid {
    pub image: Image,
    /// Number of its band, from 1.
    pub band: usize,
}

/// A grid of shifts, or a part of one.
pub(super) struct HorizontalGrid {
    pub image: Image,
    /// Numbers of the bands, from 1.
    pub latitude_band: usize,
    pub longitude_band: usize,
    /// Arc-seconds in one unit of the values.
    pub seconds: f64,
    /// Whether longitude offsets are positive towards the west.
    pub positive_west: bool,
    /// The coarser grid in which this one lies.
    pub parent: Option<usize>,
}

/// One of the images in a file.
pub(super) struct Image {
    dataset: Dataset,
    pub lattice: Lattice,
    descriptions: Vec<String>,
}

impl Image {
    fn new(dataset: Dataset) -> Result<Image, GridProblem> {
        let lattice = lattice(&dataset).map_err(GridProblem::Layout)?;
        let descriptions = (1..=dataset.raster_count())
            .map(|number| Ok(dataset.rasterband(number)?.description().unwrap_or_default()))
            .collect::<gdal::errors::Result<_>>()
            .map_err(|_| GridProblem::Damaged)?;
        Ok(Image { dataset, lattice, descriptions })
    }

    /// A band by its number from 1.
    pub fn band(&self, number: usize) -> gdal::errors::Result<RasterBand<'_>> {
        self.dataset.rasterband(number)
    }

    fn item(&self, key: &str) -> String {
        self.dataset.metadata_item(key, "").unwrap_or_default()
    }

    fn band_item(&self, number: usize, key: &str) -> String {
        self.band(number).ok().and_then(|band| band.metadata_item(key, "")).unwrap_or_default()
    }

    fn unit(&self, number: usize) -> String {
        self.band(number).map(|band| band.unit().trim().to_ascii_lowercase()).unwrap_or_default()
    }

    /// Number of the last band of one of these descriptions.
    fn described(&self, wanted: &[&str]) -> Option<usize> {
        self.descriptions.iter().rposition(|words| wanted.contains(&words.as_str())).map(|index| index + 1)
    }

    fn is_described(&self) -> bool {
        self.descriptions.iter().any(|words| !words.is_empty())
    }

    /// West, south, east and north outermost nodes in degrees.
    fn extent_deg(&self) -> [f64; 4] {
        let Lattice { north_deg, west_deg, row_deg, column_deg, rows, columns } = self.lattice;
        [west_deg, north_deg - (rows - 1) as f64 * row_deg, west_deg + (columns - 1) as f64 * column_deg, north_deg]
    }

    fn contains(&self, other: &Image) -> bool {
        /// In cells of the inner grid: edges are printed with few digits.
        const ROUNDING: f64 = 1e-6;
        let [west, south, east, north] = self.extent_deg();
        let [inner_west, inner_south, inner_east, inner_north] = other.extent_deg();
        let (x, y) = (other.lattice.column_deg * ROUNDING, other.lattice.row_deg * ROUNDING);
        inner_west >= west - x && inner_east <= east + x && inner_south >= south - y && inner_north <= north + y
    }
}

fn dataset(path: &Path) -> Result<Dataset, GridProblem> {
    let options = DatasetOptions {
        open_flags: GdalOpenFlags::GDAL_OF_RASTER | GdalOpenFlags::GDAL_OF_READONLY,
        allowed_drivers: Some(&["GTiff"]),
        // Nothing beside the file bears on it, as with PROJ.
        sibling_files: Some(&[]),
        ..DatasetOptions::default()
    };
    Dataset::open_ex(path, options).map_err(|_| GridProblem::NotTiff)
}

/// The images of a file: one, or those that GDAL lists.
fn images(path: &Path) -> Result<Vec<Image>, GridProblem> {
    let whole = dataset(path)?;
    let listed = whole.metadata_domain("SUBDATASETS").unwrap_or_default();
    let names = listed.iter().filter_map(|item| item.split_once("_NAME=")).map(|(_, name)| name);
    let parts = names.map(|name| Image::new(dataset(name.as_ref())?)).collect::<Result<Vec<_>, _>>()?;
    if parts.is_empty() { Ok(vec![Image::new(whole)?]) } else { Ok(parts) }
}

/// Opens a grid.
///
/// # Errors
/// When it cannot be read, or holds what the copies cannot.
pub(super) fn open(path: &Path) -> Result<GridContents, GridProblem> {
    let images = images(path)?;
    let first = images.first().ok_or(GridProblem::NotTiff)?;
    let kind = first.item("TYPE");
    let is_vertical = match kind.as_str() {
        "" if first.described(&[LATITUDE, LONGITUDE]).is_some() => false,
        "" if first.described(&VERTICAL).is_some() || first.descriptions.len() == 1 => true,
        "" => return Err(GridProblem::Unnamed),
        HORIZONTAL_TYPE => false,
        known if VERTICAL_TYPES.contains(&known) => true,
        _ => return Err(GridProblem::Kind(one_line(&kind))),
    };
    if is_vertical { vertical(images).map(GridContents::Vertical) } else { horizontal(images).map(GridContents::Horizontal) }
}

fn vertical(images: Vec<Image>) -> Result<VerticalGrid, GridProblem> {
    let mut grids = Vec::new();
    for image in images {
        match image.described(&VERTICAL) {
            Some(band) => grids.push(VerticalGrid { image, band }),
            None if !image.is_described() => grids.push(VerticalGrid { image, band: 1 }),
            None if grids.is_empty() => return Err(GridProblem::NoBand("of heights")),
            // Of accuracies, perhaps.
            None => {}
        }
    }
    let count = grids.len();
    let grid = grids.pop().filter(|_| count == 1).ok_or(GridProblem::SeveralVertical(count))?;
    let unit = grid.image.unit(grid.band);
    if !["", "m", "metre", "metres", "meter", "meters"].contains(&unit.as_str()) {
        return Err(GridProblem::Unit(one_line(&unit)));
    }
    Ok(grid)
}

fn horizontal(images: Vec<Image>) -> Result<Vec<HorizontalGrid>, GridProblem> {
    let mut grids: Vec<HorizontalGrid> = Vec::new();
    let mut family = Family::default();
    // What a later image does not say is as before.
    let (mut latitude_band, mut longitude_band, mut seconds, mut positive_west) = (1, 2, 1.0, false);
    for image in images {
        let interpolation = image.item("interpolation_method");
        if !["", "bilinear"].contains(&interpolation.as_str()) {
            return Err(GridProblem::Interpolation(one_line(&interpolation)));
        }
        match (image.described(&[LATITUDE]), image.described(&[LONGITUDE])) {
            (Some(latitude), Some(longitude)) => {
                (latitude_band, longitude_band) = (latitude, longitude);
                match image.band_item(longitude, "positive_value").as_str() {
                    "" => {}
                    "east" => positive_west = false,
                    "west" => positive_west = true,
                    other => return Err(GridProblem::Positive(one_line(other))),
                }
            }
            (None, Some(_)) => return Err(GridProblem::NoBand(LATITUDE)),
            (Some(_), None) => return Err(GridProblem::NoBand(LONGITUDE)),
            // Of accuracies, perhaps.
            (None, None) if !grids.is_empty() && (image.is_described() || image.descriptions.len() < 2) => continue,
            (None, None) if image.is_described() => return Err(GridProblem::NoBand(LATITUDE)),
            (None, None) => {}
        }
        if image.descriptions.len() < latitude_band.max(longitude_band) {
            return Err(GridProblem::NoBand(LONGITUDE));
        }
        let unit = image.unit(latitude_band);
        if image.unit(longitude_band) != unit {
            return Err(GridProblem::Unit(one_line(&format!("{unit}, {}", image.unit(longitude_band)))));
        }
        match unit.as_str() {
            "" => {}
            "arc-second" => seconds = 1.0,
            "degree" => seconds = 3600.0,
            "radian" => seconds = 3600.0 * 1f64.to_degrees(),
            _ => return Err(GridProblem::Unit(one_line(&unit))),
        }
        let parent = family.parent(&image, &grids);
        grids.push(HorizontalGrid { image, latitude_band, longitude_band, seconds, positive_west, parent });
    }
    Ok(grids)
}

/// Finds the parents of grids as PROJ does: by the names that they give, else by the areas that they cover.
#[derive(Default)]
struct Family {
    named: BTreeMap<String, usize>,
}

impl Family {
    fn parent(&mut self, image: &Image, before: &[HorizontalGrid]) -> Option<usize> {
        let (name, parent) = (image.item("grid_name"), image.item("parent_grid_name"));
        let named = self.named.get(&parent).copied().filter(|_| !parent.is_empty());
        let is_on_top = parent.is_empty() && !name.is_empty();
        if !name.is_empty() {
            self.named.insert(name, before.len());
        }
        if is_on_top {
            return None;
        }
        if let Some(parent) = named.filter(|index| before[*index].image.contains(image)) {
            return Some(parent);
        }
        // The first that it lies in on each level, from the top down.
        let mut found = None;
        while let Some(inner) = before
            .iter()
            .enumerate()
            .find(|(_, other)| other.parent == found && other.image.contains(image))
            .map(|(index, _)| index)
        {
            found = Some(inner);
        }
        found
    }
}
