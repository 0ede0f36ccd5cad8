//! Reading a geoid grid file: GeoTIFF and GTX, through GDAL.
//!
//! GTX: eight-byte latitude of the south edge, longitude of the west edge, steps of latitude and longitude
//! in degrees, four-byte numbers of rows and columns, four-byte values in metres by rows from the south,
//! all big-endian; −88.8888 is no value (NOAA, VDatum documentation).
//! GeoTIFF: band 1 of the first image, with its no-data value or mask, scale and offset.
//!
//! GDAL's own words are in no error here; [`crate::geodesy::crs::seclude_gdal`] keeps them off standard error.

use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

use gdal::raster::RasterBand;
use gdal::{Dataset, DatasetOptions, GdalOpenFlags, Metadata};
use sha2::{Digest, Sha256};

use super::grid::{GeoidGrid, Lattice};

/// The most nodes held in memory: 400 MB. A world grid of 2.5 arc-minutes has 37 million, one of 1
/// arc-minute 233 million: of that, open a window by [`GeoidGrid::open_for`].
pub const MOST_NODES: usize = 100_000_000;

/// Undulations of the earth are −107 to +86 m; heights of terrain and datum shifts in degrees are not.
const BELIEVED_M: f64 = 150.0;
/// Nodes read on every side of the area beyond those around it.
const MARGIN_CELLS: f64 = 2.0;
/// How near a number of cells must come to 360° to go round the earth: steps are printed with few digits.
const CLOSED_CELLS: f64 = 0.01;

const GTX_HEADER_BYTES: u64 = 40;
/// Why a file is of no use as a geoid grid.
#[derive(Debug, thiserror::Error)]
pub enum GeoidError {
    /// The file cannot be read.
    #[error("{}: cannot be read: {source}", path.display())]
    Read {
        /// The file.
        path: PathBuf,
        /// Why.
        source: std::io::Error,
    },
    /// Not a grid, or a broken one.
    #[error("{}: {problem}; a geoid grid is a GeoTIFF file, or a GTX file whose name ends in .gtx", path.display())]
    Format {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        problem: NoGrid,
    },
    /// A grid that is laid out in a way that cannot be looked up.
    #[error(
        "{}: {problem}; a geoid grid must be north-up in degrees of longitude from Greenwich and latitude. \
         Take the agency's own file, or warp this one to EPSG:4326", path.display()
    )]
    Layout {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        problem: NoLattice,
    },
    /// The values are something else.
    #[error(
        "{}: {problem}; a geoid grid holds the height of the geoid above the ellipsoid in metres. Name another \
         file, or convert this one", path.display()
    )]
    Values {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        problem: NoUndulations,
    },
    /// A standard error that is none.
    #[error("{}: standard error {value} m: write a number of metres above 0, such as 0.03", path.display())]
    Sigma {
        /// The file.
        path: PathBuf,
        /// The value.
        value: f64,
    },
    /// The area lies outside.
    #[error(
        "{}: the grid covers latitudes {south:.3} to {north:.3} and longitudes {west:.3} to {east:.3}, and none of \
         the bases, which lie within {area}; name the grid of their region", path.display()
    )]
    Elsewhere {
        /// The file.
        path: PathBuf,
        /// Southernmost nodes, in degrees.
        south: f64,
        /// Northernmost nodes, in degrees.
        north: f64,
        /// Westernmost nodes, in degrees.
        west: f64,
        /// Easternmost nodes, in degrees.
        east: f64,
        /// Where the bases are, in words.
        area: String,
    },
    /// Too large to hold.
    #[error(
        "{}: {nodes} nodes would be held in memory, and the most is {MOST_NODES}; name a grid of the region, or cut \
         one out of this", path.display()
    )]
    Large {
        /// The file.
        path: PathBuf,
        /// Nodes wanted.
        nodes: usize,
    },
}

impl GeoidGrid {
    /// Reads all of a grid, up to [`MOST_NODES`]. `sigma_m` is the standard error of its undulations in
    /// metres, where known.
    ///
    /// # Errors
    /// When the file cannot be read, is no GeoTIFF or GTX file, is not north-up in degrees, is in other
    /// units than metres, holds values that no geoid has, or is too large.
    pub fn open(path: &Path, sigma_m: Option<f64>) -> Result<GeoidGrid, GeoidError> {
        open(path, sigma_m, None)
    }

    /// Reads the window of a grid around an area: west, south, east and north edge in degrees, west greater
    /// than east across ±180°. Outside the window the grid then knows nothing.
    ///
    /// # Errors
    /// As [`GeoidGrid::open`], and when the grid has nothing in the area.
    pub fn open_for(path: &Path, sigma_m: Option<f64>, area_deg: [f64; 4]) -> Result<GeoidGrid, GeoidError> {
        open(path, sigma_m, Some(area_deg))
    }
}

fn open(path: &Path, sigma_m: Option<f64>, area_deg: Option<[f64; 4]>) -> Result<GeoidGrid, GeoidError> {
    if let Some(value) = sigma_m.filter(|sigma_m| !(*sigma_m > 0.0 && sigma_m.is_finite())) {
        return Err(GeoidError::Sigma { path: path.to_owned(), value });
    }
    // Before GDAL sees the name, which it may take for something else than a file.
    let sha256 = digest(path).map_err(|source| GeoidError::Read { path: path.to_owned(), source })?;
    let format = |problem| GeoidError::Format { path: path.to_owned(), problem };
    let values = |problem| GeoidError::Values { path: path.to_owned(), problem };
    let options = DatasetOptions {
        open_flags: GdalOpenFlags::GDAL_OF_RASTER | GdalOpenFlags::GDAL_OF_READONLY,
        allowed_drivers: Some(&["GTiff", "GTX"]),
        ..DatasetOptions::default()
    };
    let dataset = Dataset::open_ex(path, options).map_err(|_| format(NoGrid::Unreadable))?;
    let band = dataset.rasterband(1).map_err(|_| format(NoGrid::NoBand))?;
    let whole = lattice(&dataset).map_err(|problem| GeoidError::Layout { path: path.to_owned(), problem })?;
    let contents = dataset.metadata_item("TYPE", "").filter(|contents| !contents.is_empty());
    if let Some(contents) = contents.filter(|contents| contents != "VERTICAL_OFFSET_GEOGRAPHIC_TO_VERTICAL") {
        return Err(values(NoUndulations::Contents(contents)));
    }
    let unit = band.unit();
    if !["", "m", "metre", "metres", "meter", "meters"].contains(&unit.trim().to_ascii_lowercase().as_str()) {
        return Err(values(NoUndulations::Unit(unit)));
    }
    let (first_row, first_column, window) = match area_deg {
        None => (0, 0, closed(&whole)),
        Some(area_deg) => window(&whole, area_deg).ok_or_else(|| elsewhere(path, &whole, area_deg))?,
    };
    if dataset.driver().short_name() == "GTX" && !is_complete_gtx(path, &whole) {
        return Err(format(NoGrid::Damaged));
    }
    let nodes = window.rows.saturating_mul(window.columns);
    if nodes > MOST_NODES {
        return Err(GeoidError::Large { path: path.to_owned(), nodes });
    }
    let read = BandReading { band: &band, round: round(&whole).unwrap_or(whole.columns), first_row, first_column };
    let nodes_m = read.nodes(&window).map_err(|_| format(NoGrid::Damaged))?;
    let odd = nodes_m.iter().position(|metres| f64::from(metres.abs()) > BELIEVED_M);
    if let Some(odd) = odd {
        let (lat_deg, lon_deg) = window.node_deg(odd / window.columns, odd % window.columns);
        return Err(values(NoUndulations::Value { lat_deg, lon_deg, value: nodes_m[odd] }));
    }
    let description = [band.description().ok(), dataset.metadata_item("TIFFTAG_IMAGEDESCRIPTION", "")];
    let description = description.into_iter().flatten().map(|words| one_line(&words)).rfind(|words| !words.is_empty());
    let file_name = path.file_name().map_or_else(|| path.display().to_string(), |name| name.to_string_lossy().into_owned());
    Ok(GeoidGrid { lattice: window, nodes_m, file_name, description, sha256, sigma_m })
}

/// Whether a GTX file holds as many values as its header says; GDAL would take the missing ones for 0.
/// The values have 4 bytes, and 8 in files from before October 2009.
fn is_complete_gtx(path: &Path, whole: &Lattice) -> bool {
    let nodes = (whole.rows as u64).saturating_mul(whole.columns as u64);
    let sizes = [4, 8].map(|bytes| nodes.saturating_mul(bytes).saturating_add(GTX_HEADER_BYTES));
    path.metadata().is_ok_and(|file| sizes.contains(&file.len()))
}

/// Words of a file on one line, with nothing in them that a terminal would act on.
pub(crate) fn one_line(words: &str) -> String {
    let words = words.chars().map(|c| if c.is_control() { ' ' } else { c }).collect::<String>();
    words.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn digest(path: &Path) -> std::io::Result<String> {
    let (mut file, mut hasher, mut buffer) = (File::open(path)?, Sha256::new(), vec![0; 1 << 20]);
    loop {
        match file.read(&mut buffer)? {
            0 => return Ok(hasher.finalize().iter().map(|byte| format!("{byte:02x}")).collect()),
            count => hasher.update(&buffer[..count]),
        }
    }
}

/// Why a file is no grid.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NoGrid {
    /// GDAL cannot open it.
    #[error("not a grid that can be read")]
    Unreadable,
    /// It has no values.
    #[error("the file has no band")]
    NoBand,
    /// Not all of its values can be read.
    #[error("the file is cut short or damaged")]
    Damaged,
}

/// Why the values of a grid are no heights of a geoid.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NoUndulations {
    /// The file says that it holds something else.
    #[error("the file says that it holds {0}")]
    Contents(String),
    /// Their unit is another.
    #[error("the unit of its values is \"{0}\"")]
    Unit(String),
    /// One of them no geoid has.
    #[error("the value at latitude {lat_deg:.4}, longitude {lon_deg:.4} is {value}")]
    Value {
        /// Latitude of its node, in degrees.
        lat_deg: f64,
        /// Longitude, in degrees.
        lon_deg: f64,
        /// The value.
        value: f32,
    },
}

/// Why the nodes of a grid cannot be looked up.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NoLattice {
    /// Nothing says where they lie.
    #[error("the file does not say where its cells lie")]
    NoPlace,
    /// They are in a projected CRS, or another that is not geographic.
    #[error("its coordinates are in {0}, which is not geographic")]
    NotGeographic(String),
    /// They are in another unit.
    #[error("the unit of {0} is not the degree")]
    NotDegrees(String),
    /// They count from another meridian.
    #[error("the longitudes of {0} do not count from Greenwich")]
    OtherMeridian(String),
    /// Their rows do not run east.
    #[error("its rows and columns are turned against north")]
    Turned,
    /// Their rows do not run from north to south, or their columns not from west to east; degrees.
    #[error("its rows go {row_deg} and its columns {column_deg} from cell to cell, not south and east")]
    Backwards {
        /// From row to row.
        row_deg: f64,
        /// From column to column.
        column_deg: f64,
    },
    /// They lie where no degrees are.
    #[error(
        "its nodes go from {west_deg} to {east_deg} eastwards and from {south_deg} to {north_deg} northwards, which are not degrees"
    )]
    OffTheEarth {
        /// The westernmost.
        west_deg: f64,
        /// The easternmost.
        east_deg: f64,
        /// The southernmost.
        south_deg: f64,
        /// The northernmost.
        north_deg: f64,
    },
    /// There are too few.
    #[error("it has {rows} rows and {columns} columns; two of each are the least")]
    TooSmall {
        /// Rows.
        rows: usize,
        /// Columns.
        columns: usize,
    },
}

/// Where the nodes of the whole file lie, or why they cannot be looked up.
pub(crate) fn lattice(dataset: &Dataset) -> Result<Lattice, NoLattice> {
    let [west, column_deg, row_turn, north, column_turn, minus_row_deg] =
        dataset.geo_transform().map_err(|_| NoLattice::NoPlace)?;
    if let Ok(system) = dataset.spatial_ref() {
        let name = || system.name().unwrap_or_else(|| "a system without a name".to_owned());
        if !system.is_geographic() {
            return Err(NoLattice::NotGeographic(name()));
        }
        if (system.angular_units() - 1f64.to_radians()).abs() > 1e-12 {
            return Err(NoLattice::NotDegrees(name()));
        }
        let meridian = system.get_attr_value("PRIMEM", 1).ok().flatten().and_then(|text| text.parse::<f64>().ok());
        if meridian.is_some_and(|degrees| degrees != 0.0) {
            return Err(NoLattice::OtherMeridian(name()));
        }
    }
    if row_turn != 0.0 || column_turn != 0.0 {
        return Err(NoLattice::Turned);
    }
    let row_deg = -minus_row_deg;
    if !(column_deg > 0.0 && row_deg > 0.0) {
        return Err(NoLattice::Backwards { row_deg: minus_row_deg, column_deg });
    }
    let (columns, rows) = dataset.raster_size();
    if rows < 2 || columns < 2 {
        return Err(NoLattice::TooSmall { rows, columns });
    }
    let nodes =
        Lattice { north_deg: north - row_deg / 2.0, west_deg: west + column_deg / 2.0, row_deg, column_deg, rows, columns };
    let (south_deg, east_deg) =
        (nodes.north_deg - (rows - 1) as f64 * row_deg, nodes.west_deg + (columns - 1) as f64 * column_deg);
    // Half a cell for files whose cells, not nodes, end at the poles; 0 to 360 beside ±180, and a seam.
    let in_degrees = nodes.north_deg <= 90.0 + row_deg && south_deg >= -90.0 - row_deg;
    if !in_degrees || nodes.west_deg < -360.0 - column_deg || east_deg > 540.0 + column_deg {
        return Err(NoLattice::OffTheEarth { west_deg: nodes.west_deg, east_deg, south_deg, north_deg: nodes.north_deg });
    }
    Ok(nodes)
}

/// The number of columns that go once round the earth, where the grid has them all.
fn round(whole: &Lattice) -> Option<usize> {
    let exact = 360.0 / whole.column_deg;
    let columns = exact.round();
    ((exact - columns).abs() < CLOSED_CELLS && whole.columns as f64 >= columns).then_some(columns as usize)
}

/// The whole grid; one that goes round the earth with its first column again at the end.
fn closed(whole: &Lattice) -> Lattice {
    Lattice { columns: round(whole).map_or(whole.columns, |columns| columns + 1), ..*whole }
}

/// First row and column of the window around an area, and its nodes; none where the grid has nothing there.
fn window(whole: &Lattice, area_deg: [f64; 4]) -> Option<(usize, usize, Lattice)> {
    if !area_deg.iter().all(|edge| edge.is_finite()) {
        return None;
    }
    let [west, south, east, north] = area_deg;
    let width_deg = if west <= east { east - west } else { east - west + 360.0 };
    let clip = |from: f64, to: f64, count: usize| {
        let (from, to) = ((from.floor() - MARGIN_CELLS).max(0.0), (to.ceil() + MARGIN_CELLS).min((count - 1) as f64));
        // Two nodes at least, for something to lie between.
        (from + 1.0 <= to).then_some((from as usize, to as usize))
    };
    let rows_of = |lat_deg: f64| (whole.north_deg - lat_deg) / whole.row_deg;
    // Without the margin, that an area beside the grid is not taken for one at its edge.
    let last = |count: usize| (count - 1) as f64;
    if rows_of(north) > last(whole.rows) || rows_of(south) < 0.0 {
        return None;
    }
    let (first_row, last_row) = clip(rows_of(north), rows_of(south), whole.rows)?;
    let cells = |degrees: f64| degrees / whole.column_deg;
    let (first_column, columns) = match round(whole) {
        Some(columns) => {
            let start = cells(west - whole.west_deg).floor() - MARGIN_CELLS;
            let count = (cells(width_deg).ceil() + 2.0 * MARGIN_CELLS + 2.0).min((columns + 1) as f64);
            (start.rem_euclid(columns as f64) as usize, count as usize)
        }
        None => {
            // Once round the earth to either side, for the two ways of counting longitudes.
            let ranges = (-2..=2).filter_map(|turns| {
                let start = cells(west - whole.west_deg + 360.0 * f64::from(turns));
                let end = start + cells(width_deg);
                if end < 0.0 || start > last(whole.columns) { None } else { clip(start, end, whole.columns) }
            });
            let (first, last) = ranges.reduce(|a, b| (a.0.min(b.0), a.1.max(b.1)))?;
            (first, last - first + 1)
        }
    };
    let nodes = Lattice {
        north_deg: whole.north_deg - first_row as f64 * whole.row_deg,
        west_deg: whole.west_deg + first_column as f64 * whole.column_deg,
        rows: last_row - first_row + 1,
        columns,
        ..*whole
    };
    Some((first_row, first_column, nodes))
}

fn elsewhere(path: &Path, whole: &Lattice, [west, south, east, north]: [f64; 4]) -> GeoidError {
    GeoidError::Elsewhere {
        path: path.to_owned(),
        south: whole.north_deg - (whole.rows - 1) as f64 * whole.row_deg,
        north: whole.north_deg,
        west: whole.west_deg,
        east: whole.west_deg + (whole.columns - 1) as f64 * whole.column_deg,
        area: format!("latitudes {south:.3} to {north:.3} and longitudes {west:.3} to {east:.3}"),
    }
}

/// The reading of a window.
struct BandReading<'d> {
    band: &'d RasterBand<'d>,
    /// Columns after which a row begins anew.
    round: usize,
    first_row: usize,
    first_column: usize,
}

impl BandReading<'_> {
    /// The nodes in metres by rows from the north, not a number where there is no value. One row at a
    /// time, so that only the result is large.
    fn nodes(&self, window: &Lattice) -> gdal::errors::Result<Vec<f32>> {
        let values = BandValues::open(self.band)?;
        let mut nodes_m = Vec::with_capacity(window.rows * window.columns);
        for row in self.first_row..self.first_row + window.rows {
            let mut next = 0;
            // A closed grid runs over its seam.
            while next < window.columns {
                let column = (self.first_column + next) % self.round;
                let count = (self.round - column).min(window.columns - next);
                nodes_m.extend(values.row(row, column, count)?.into_iter().map(|value| value as f32));
                next += count;
            }
        }
        Ok(nodes_m)
    }
}

/// The values of a band as they are meant: scaled, offset, and without those that stand for none.
pub(crate) struct BandValues<'d> {
    band: &'d RasterBand<'d>,
    mask: RasterBand<'d>,
    scale: f64,
    offset: f64,
}

impl<'d> BandValues<'d> {
    /// # Errors
    /// When the mask of the band cannot be read.
    pub(crate) fn open(band: &'d RasterBand<'d>) -> gdal::errors::Result<BandValues<'d>> {
        let (scale, offset) = (band.scale().unwrap_or(1.0), band.offset().unwrap_or(0.0));
        Ok(BandValues { band, mask: band.open_mask_band()?, scale, offset })
    }

    /// Values of a row from a column on; not a number where there is none.
    ///
    /// # Errors
    /// When the file is cut short or damaged.
    pub(crate) fn row(&self, row: usize, column: usize, count: usize) -> gdal::errors::Result<Vec<f64>> {
        let (at, size) = ((column as isize, row as isize), (count, 1));
        let values = self.band.read_as::<f64>(at, size, size, None)?;
        let valid = self.mask.read_as::<u8>(at, size, size, None)?;
        let pairs = values.data().iter().zip(valid.data());
        Ok(pairs.map(|(value, valid)| if *valid == 0 { f64::NAN } else { value * self.scale + self.offset }).collect())
    }
}
