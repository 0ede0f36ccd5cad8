//! A geoid grid held in memory, and the look-up in it.
//!
//! Bilinear interpolation between the four nodes around a point. Nodes are the centres of the cells as
//! GDAL reports them: for pixel-is-point files these are the points that the file names (GDAL moves
//! its corner by half a cell), for pixel-is-area files the middles of the areas, and for GTX the nodes
//! of its header. Nothing is extrapolated: the outermost half cell of a pixel-is-area file, beyond the
//! last middles, has no value. A grid that goes round the earth is closed across its seam.
//!
//! The grid's own horizontal datum is not asked: two datums that differ by a metre see the same
//! undulation within 0.1 mm, and within 2 cm where they differ by 200 m, for the slope of the
//! geoid is below 1e-4 nearly everywhere.

/// How far beyond the outermost nodes, in cells, a point still counts as on them: rounding of degrees.
const EDGE_CELLS: f64 = 1e-6;

/// Where the nodes of a grid, or of a window of it, lie: rows go south, columns east.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Lattice {
    /// Latitude of the first row of nodes in degrees.
    pub north_deg: f64,
    /// Longitude of the first column of nodes in degrees.
    pub west_deg: f64,
    /// From row to row in degrees, positive.
    pub row_deg: f64,
    /// From column to column in degrees, positive.
    pub column_deg: f64,
    pub rows: usize,
    pub columns: usize,
}

impl Lattice {
    #[cfg(feature = "gis")]
    /// Latitude and longitude of a node in degrees, the longitude within ±180.
    pub fn node_deg(&self, row: usize, column: usize) -> (f64, f64) {
        let lon_deg = self.west_deg + column as f64 * self.column_deg;
        (self.north_deg - row as f64 * self.row_deg, (lon_deg + 180.0).rem_euclid(360.0) - 180.0)
    }

    /// Position in rows and columns from the first node; none outside.
    fn place(&self, lat_deg: f64, lon_deg: f64) -> Option<(f64, f64)> {
        let round = 360.0 / self.column_deg;
        let row = (self.north_deg - lat_deg) / self.row_deg;
        let column = ((lon_deg - self.west_deg) / self.column_deg).rem_euclid(round);
        // Just west of the first column, by rounding.
        let column = if column > round - EDGE_CELLS { 0.0 } else { column };
        let fits = |at: f64, count: usize| (-EDGE_CELLS..=(count - 1) as f64 + EDGE_CELLS).contains(&at);
        (fits(row, self.rows) && fits(column, self.columns))
            .then(|| (row.clamp(0.0, (self.rows - 1) as f64), column.clamp(0.0, (self.columns - 1) as f64)))
    }
}

/// A geoid grid, or the window of one, in memory as 4-byte numbers (which keep an undulation within
/// 4 µm). Can be read from all threads at once.
pub struct GeoidGrid {
    pub(super) lattice: Lattice,
    /// By rows from the north, in metres; not a number where the grid has no value.
    pub(super) nodes_m: Vec<f32>,
    pub(super) file_name: String,
    pub(super) description: Option<String>,
    pub(super) sha256: String,
    pub(super) sigma_m: Option<f64>,
}

impl GeoidGrid {
    /// Height of the geoid above the ellipsoid in metres, at a latitude and longitude in degrees (−180 to
    /// 180 or 0 to 360, whatever the grid's own way). None outside the grid or what was read of it, and
    /// next to a node without a value, unless the point lies on nodes that have one.
    pub fn undulation_m(&self, lat_deg: f64, lon_deg: f64) -> Option<f64> {
        let (row, column) = self.lattice.place(lat_deg, lon_deg)?;
        let (north, west) = (row.floor(), column.floor());
        let (down, right) = (row - north, column - west);
        let (north, west) = (north as usize, west as usize);
        let mut undulation_m = 0.0;
        for (row, row_weight) in [(north, 1.0 - down), (north + 1, down)] {
            for (column, column_weight) in [(west, 1.0 - right), (west + 1, right)] {
                let weight = row_weight * column_weight;
                // Without weight, the node may lie beyond the edge.
                if weight > 0.0 {
                    undulation_m += weight * f64::from(*self.nodes_m.get(row * self.lattice.columns + column)?);
                }
            }
        }
        undulation_m.is_finite().then_some(undulation_m)
    }

    /// Standard error of its undulations in metres, as stated when it was opened.
    pub fn sigma_m(&self) -> Option<f64> {
        self.sigma_m
    }

    /// Its name for summaries: the file's name and, where the file has one, its description.
    pub fn name(&self) -> String {
        match &self.description {
            Some(description) => format!("{} ({description})", self.file_name),
            None => self.file_name.clone(),
        }
    }

    /// SHA-256 of the file, in hexadecimal.
    pub fn sha256(&self) -> &str {
        &self.sha256
    }
}

impl std::fmt::Debug for GeoidGrid {
    fn fmt(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
        write!(f, "GeoidGrid({}, {:?})", self.name(), self.lattice)
    }
}
