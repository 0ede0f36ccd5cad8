//! Grids in GeoTIFF of invented values, with the descriptions, units and items of geodetic TIFF grids.

use std::path::Path;

use gdal::raster::{Buffer, RasterCreationOptions};
use gdal::{Dataset, DriverManager};

/// An image of a file by its south-west node and steps in degrees.
pub struct Image<'a> {
    pub south: f64,
    pub west: f64,
    pub row_step: f64,
    pub column_step: f64,
    pub rows: usize,
    pub columns: usize,
    pub items: &'a [(&'a str, &'a str)],
    pub bands: Vec<Band<'a>>,
}

/// A band of an image.
pub struct Band<'a> {
    pub description: &'a str,
    pub unit: &'a str,
    pub items: &'a [(&'a str, &'a str)],
    /// The value of a node by row from the south and column from the west.
    pub value: &'a dyn Fn(usize, usize) -> f64,
}

/// What stands for no value.
pub const NO_VALUE: f64 = -9999.0;

fn items(items: &[(&str, &str)]) -> String {
    let items = items.iter().map(|(key, value)| format!("<MDI key=\"{key}\">{value}</MDI>"));
    format!("<Metadata>{}</Metadata>", items.collect::<String>())
}

impl Image<'_> {
    /// The image as a virtual file over one of plain values, which bears what GDAL's own file cannot be told.
    fn dressed(&self, plain: &Path) -> Dataset {
        let driver = DriverManager::get_driver_by_name("GTiff").unwrap();
        let dataset = driver.create_with_band_type::<f32, _>(plain, self.columns, self.rows, self.bands.len()).unwrap();
        let size = (self.columns, self.rows);
        let mut bands = String::new();
        for (index, band) in self.bands.iter().enumerate() {
            let nodes = (0..self.rows).rev().flat_map(|row| (0..self.columns).map(move |column| (row, column)));
            let values = nodes.map(|(row, column)| (band.value)(row, column) as f32).collect();
            let number = index + 1;
            dataset.rasterband(number).unwrap().write((0, 0), size, &mut Buffer::new(size, values)).unwrap();
            bands += &format!(
                "<VRTRasterBand dataType=\"Float32\" band=\"{number}\">{}<Description>{}</Description>\
                 <UnitType>{}</UnitType><NoDataValue>{NO_VALUE}</NoDataValue><SimpleSource><SourceFilename>{}\
                 </SourceFilename><SourceBand>{number}</SourceBand></SimpleSource></VRTRasterBand>",
                items(band.items),
                band.description,
                band.unit,
                plain.display()
            );
        }
        dataset.close().unwrap();
        let (x, y) = (self.column_step, self.row_step);
        let (left, top) = (self.west - x / 2.0, self.south + (self.rows as f64 - 0.5) * y);
        let text = format!(
            "<VRTDataset rasterXSize=\"{}\" rasterYSize=\"{}\"><SRS dataAxisToSRSAxisMapping=\"2,1\">EPSG:4326</SRS>\
             <GeoTransform>{left}, {x}, 0, {top}, 0, -{y}</GeoTransform>{}{bands}</VRTDataset>",
            self.columns,
            self.rows,
            items(self.items)
        );
        Dataset::open(text).unwrap()
    }
}

/// Writes a file of images.
pub fn write(path: &Path, images: &[Image]) {
    let folder = tempfile::tempdir().unwrap();
    let driver = DriverManager::get_driver_by_name("GTiff").unwrap();
    for (index, image) in images.iter().enumerate() {
        let dressed = image.dressed(&folder.path().join(format!("{index}.tif")));
        let append = if index > 0 { "YES" } else { "NO" };
        let options =
            RasterCreationOptions::from_iter([("APPEND_SUBDATASET", append)].map(|(key, value)| format!("{key}={value}")));
        dressed.create_copy(&driver, path, &options).unwrap().close().unwrap();
    }
}
