//! Geoid grids made by hand (GTX, byte by byte from its published layout) and by GDAL (GeoTIFF), and the
//! order in which a geoid asks its sources.

use std::path::{Path, PathBuf};

use gdal::raster::{Buffer, RasterCreationOptions};
use gdal::spatial_ref::SpatialRef;
use gdal::{DriverManager, Metadata};
use tempfile::TempDir;

use super::*;

/// Values are kept as 4-byte numbers: half a digit of 2⁻²⁴ of up to 100 m.
const KEPT_M: f64 = 4e-6;

/// A grid by its south-west node, steps in degrees, and values by (row from the south, column).
pub(crate) struct Made {
    pub south: f64,
    pub west: f64,
    pub row_step: f64,
    pub column_step: f64,
    pub rows: usize,
    pub columns: usize,
}

impl Made {
    fn lat(&self, row: usize) -> f64 {
        self.south + row as f64 * self.row_step
    }

    fn lon(&self, column: usize) -> f64 {
        self.west + column as f64 * self.column_step
    }

    /// The bytes of a GTX file: everything big-endian, rows from the south.
    pub(crate) fn gtx(&self, value: impl Fn(usize, usize) -> f64) -> Vec<u8> {
        let mut bytes = Vec::new();
        for number in [self.south, self.west, self.row_step, self.column_step] {
            bytes.extend(number.to_be_bytes());
        }
        bytes.extend((self.rows as i32).to_be_bytes());
        bytes.extend((self.columns as i32).to_be_bytes());
        for row in 0..self.rows {
            for column in 0..self.columns {
                bytes.extend((value(row, column) as f32).to_be_bytes());
            }
        }
        bytes
    }

    /// A GeoTIFF file of 8-byte numbers, changed by `more` before it is closed.
    fn tiff(&self, path: &Path, value: impl Fn(usize, usize) -> f64, more: impl FnOnce(&mut gdal::Dataset)) {
        let driver = DriverManager::get_driver_by_name("GTiff").unwrap();
        let options = RasterCreationOptions::default();
        let mut dataset =
            driver.create_with_band_type_with_options::<f64, _>(path, self.columns, self.rows, 1, &options).unwrap();
        let (west, north) = (self.west - self.column_step / 2.0, self.lat(self.rows - 1) + self.row_step / 2.0);
        dataset.set_geo_transform(&[west, self.column_step, 0.0, north, 0.0, -self.row_step]).unwrap();
        dataset.set_spatial_ref(&SpatialRef::from_epsg(4326).unwrap()).unwrap();
        let values = (0..self.rows).rev().flat_map(|row| (0..self.columns).map(move |column| (row, column)));
        let values = values.map(|(row, column)| value(row, column)).collect();
        let size = (self.columns, self.rows);
        dataset.rasterband(1).unwrap().write((0, 0), size, &mut Buffer::new(size, values)).unwrap();
        more(&mut dataset);
        dataset.close().unwrap();
    }
}

const REGION: Made = Made { south: 50.0, west: 4.0, row_step: 0.1, column_step: 0.25, rows: 6, columns: 5 };

fn plane_m(lat: f64, lon: f64) -> f64 {
    40.0 + 0.5 * (lat - 50.0) - 0.25 * (lon - 4.0)
}

/// A plane, which bilinear interpolation meets everywhere, with one node 2 m higher.
const BUMP: (usize, usize) = (3, 2);

fn bumped_m(row: usize, column: usize) -> f64 {
    plane_m(REGION.lat(row), REGION.lon(column)) + if (row, column) == BUMP { 2.0 } else { 0.0 }
}

fn written(folder: &TempDir, name: &str, bytes: &[u8]) -> PathBuf {
    let path = folder.path().join(name);
    std::fs::write(&path, bytes).unwrap();
    path
}

fn opened(folder: &TempDir, name: &str, bytes: &[u8]) -> GeoidGrid {
    GeoidGrid::open(&written(folder, name, bytes), Some(0.03)).unwrap()
}

#[track_caller]
fn near(got: Option<f64>, want: f64) {
    let got = got.unwrap_or_else(|| panic!("nothing, not {want}"));
    assert!((got - want).abs() < KEPT_M, "{got}, not {want}");
}

/// Nodes, the middle of a cell, and the bump as bilinear weights see it.
fn meets_the_bumped_plane(grid: &GeoidGrid) {
    for row in 0..REGION.rows {
        for column in 0..REGION.columns {
            near(grid.undulation_m(REGION.lat(row), REGION.lon(column)), bumped_m(row, column));
        }
    }
    near(grid.undulation_m(50.05, 4.125), plane_m(50.05, 4.125));
    near(grid.undulation_m(50.48, 4.9), plane_m(50.48, 4.9));
    // The bump is at 50.3, 4.5: half a cell off both ways a quarter of it, a tenth and a fifth off 0.9 × 0.8.
    near(grid.undulation_m(50.35, 4.625), plane_m(50.35, 4.625) + 0.5);
    near(grid.undulation_m(50.25, 4.375), plane_m(50.25, 4.375) + 0.5);
    near(grid.undulation_m(50.31, 4.55), plane_m(50.31, 4.55) + 2.0 * 0.9 * 0.8);
    // Whole turns do not matter.
    near(grid.undulation_m(50.31, 364.55), plane_m(50.31, 4.55) + 2.0 * 0.9 * 0.8);
    for (lat, lon) in [(49.999, 4.5), (50.501, 4.5), (50.2, 3.999), (50.2, 5.001), (-50.2, 4.5), (50.2, -4.5)] {
        assert_eq!(grid.undulation_m(lat, lon), None, "{lat} {lon}");
    }
    assert_eq!(grid.undulation_m(f64::NAN, 4.5), None);
    assert_eq!(grid.undulation_m(50.2, f64::INFINITY), None);
}

#[test]
fn a_gtx_file_by_the_published_layout() {
    let folder = tempfile::tempdir().unwrap();
    let grid = opened(&folder, "region.gtx", &REGION.gtx(bumped_m));
    meets_the_bumped_plane(&grid);
    assert_eq!((grid.name(), grid.sigma_m()), ("region.gtx".to_owned(), Some(0.03)));
    // Of the same bytes, made and hashed with Python's struct and hashlib.
    assert_eq!(grid.sha256(), "11038aff4035235f5a3cff2a5f88cb5f19aacebc2160a8cc1bb0ffa9495585fb");
}

#[test]
fn a_geotiff_file_of_areas_or_points() {
    let folder = tempfile::tempdir().unwrap();
    for (name, kind) in [("area.tif", "Area"), ("point.tif", "Point")] {
        let path = folder.path().join(name);
        REGION.tiff(&path, bumped_m, |dataset| {
            dataset.set_metadata_item("AREA_OR_POINT", kind, "").unwrap();
            dataset.set_metadata_item("TIFFTAG_IMAGEDESCRIPTION", "Hill country\n geoid 2021", "").unwrap();
        });
        let grid = GeoidGrid::open(&path, None).unwrap();
        meets_the_bumped_plane(&grid);
        assert_eq!((grid.name(), grid.sigma_m()), (format!("{name} (Hill country geoid 2021)"), None));
    }
}

#[test]
fn scale_offset_and_no_data_of_a_geotiff_file() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("scaled.tif");
    let raw = |row, column| if (row, column) == (0, 0) { -9999.0 } else { (bumped_m(row, column) - 30.0) / 0.01 };
    REGION.tiff(&path, raw, |dataset| {
        let mut band = dataset.rasterband(1).unwrap();
        band.set_scale(0.01).unwrap();
        band.set_offset(30.0).unwrap();
        band.set_no_data_value(Some(-9999.0)).unwrap();
    });
    let grid = GeoidGrid::open(&path, None).unwrap();
    near(grid.undulation_m(50.31, 4.55), plane_m(50.31, 4.55) + 2.0 * 0.9 * 0.8);
    assert_eq!(grid.undulation_m(50.0, 4.0), None);
    assert_eq!(grid.undulation_m(50.05, 4.1), None);
    // On the nodes beside it, and in the next cell.
    near(grid.undulation_m(50.0, 4.25), plane_m(50.0, 4.25));
    near(grid.undulation_m(50.05, 4.25), plane_m(50.05, 4.25));
    near(grid.undulation_m(50.05, 4.3), plane_m(50.05, 4.3));
}

#[test]
fn no_data_of_a_gtx_file() {
    let folder = tempfile::tempdir().unwrap();
    let grid = opened(&folder, "holes.gtx", &REGION.gtx(|row, column| if row == 5 { -88.8888 } else { bumped_m(row, column) }));
    assert_eq!(grid.undulation_m(50.45, 4.5), None);
    assert_eq!(grid.undulation_m(50.5, 4.5), None);
    near(grid.undulation_m(50.4, 4.6), plane_m(50.4, 4.6));
}

#[test]
fn longitudes_either_way_and_across_the_antimeridian() {
    let folder = tempfile::tempdir().unwrap();
    // Longitude counted on from the west edge, so that the plane has no seam.
    let value = |grid: &Made, row: usize, column: usize| 10.0 + grid.lat(row) + 0.1 * column as f64;
    for west in [-2.0, 358.0] {
        let made = Made { south: -1.0, west, row_step: 0.5, column_step: 0.5, rows: 5, columns: 9 };
        let grid = opened(&folder, "greenwich.gtx", &made.gtx(|row, column| value(&made, row, column)));
        for (lon, columns_on) in [(-1.75, 0.5), (358.25, 0.5), (0.0, 4.0), (360.0, 4.0), (1.85, 7.7), (361.85, 7.7)] {
            near(grid.undulation_m(0.25, lon), 10.25 + 0.1 * columns_on);
        }
        assert_eq!(grid.undulation_m(0.25, 180.0), None);
    }
    for west in [178.0, -182.0] {
        let made = Made { south: -18.0, west, row_step: 0.5, column_step: 0.5, rows: 5, columns: 9 };
        let grid = opened(&folder, "antimeridian.gtx", &made.gtx(|row, column| value(&made, row, column)));
        for (lon, columns_on) in
            [(178.0, 0.0), (179.9, 3.8), (180.0, 4.0), (-180.0, 4.0), (-179.9, 4.2), (180.1, 4.2), (-178.0, 8.0)]
        {
            near(grid.undulation_m(-17.1, lon), 10.0 - 17.1 + 0.1 * columns_on);
        }
        assert_eq!(grid.undulation_m(-17.1, 177.9), None);
        assert_eq!(grid.undulation_m(-17.1, -177.9), None);
        // A window over the seam, by an area whose west is greater than its east.
        let window = GeoidGrid::open_for(&folder.path().join("antimeridian.gtx"), None, [179.8, -17.2, -179.8, -17.0]).unwrap();
        near(window.undulation_m(-17.1, -179.9), 10.0 - 17.1 + 0.42);
    }
}

#[test]
fn a_grid_round_the_earth_is_closed() {
    let folder = tempfile::tempdir().unwrap();
    // With and without its first column again at the end, and from 0 or from -180.
    for (west, columns) in [(0.0, 36), (0.0, 37), (-180.0, 36), (-180.0, 37)] {
        let made = Made { south: -90.0, west, row_step: 10.0, column_step: 10.0, rows: 19, columns };
        let value = |lat: f64, lon: f64| 30.0 * lon.to_radians().sin() + lat / 10.0;
        let bytes = made.gtx(|row, column| value(made.lat(row), made.lon(column)));
        let path = written(&folder, "world.gtx", &bytes);
        let grid = GeoidGrid::open(&path, None).unwrap();
        let between = |a: f64, b: f64| (value(4.0, a) + value(4.0, b)) / 2.0;
        for (lon, want) in [
            (355.0, between(350.0, 0.0)),
            (-5.0, between(350.0, 0.0)),
            (175.0, between(170.0, 180.0)),
            (-175.0, between(180.0, 190.0)),
            (185.0, between(180.0, 190.0)),
            (180.0, value(4.0, 180.0)),
            (-180.0, value(4.0, 180.0)),
        ] {
            near(grid.undulation_m(4.0, lon), want);
        }
        near(grid.undulation_m(90.0, 12.0), 9.0 + grid.undulation_m(0.0, 12.0).unwrap());
        // Windows say the same where they know anything, on either side of each seam.
        for area in [[-12.0, -5.0, 14.0, 25.0], [171.0, -90.0, -166.0, -80.0], [-180.0, -90.0, 180.0, 90.0]] {
            let window = GeoidGrid::open_for(&path, None, area).unwrap();
            let width = if area[0] <= area[2] { area[2] - area[0] } else { area[2] - area[0] + 360.0 };
            for (up, right) in [(0.0, 0.0), (0.3, 0.7), (0.5, 0.5), (0.95, 0.1), (1.0, 1.0)] {
                let (lat, lon) = (area[1] + up * (area[3] - area[1]), area[0] + right * width);
                near(window.undulation_m(lat, lon), grid.undulation_m(lat, lon).unwrap());
            }
        }
        let window = GeoidGrid::open_for(&path, None, [10.0, 10.0, 12.0, 12.0]).unwrap();
        assert_eq!(window.undulation_m(11.0, 90.0), None);
        assert!(window.nodes_m.len() < 60, "{window:?}");
    }
}

#[test]
fn what_is_no_geoid_grid_is_refused_in_plain_words() {
    let folder = tempfile::tempdir().unwrap();
    let message = |path: &Path| {
        let error = GeoidGrid::open(path, None).unwrap_err().to_string();
        error.strip_prefix(&format!("{}: ", path.display())).unwrap().to_owned()
    };
    let layout = "; a geoid grid must be north-up in degrees of longitude from Greenwich and latitude. Take the agency's own \
                  file, or warp this one to EPSG:4326";
    let values =
        "; a geoid grid holds the height of the geoid above the ellipsoid in metres. Name another file, or convert this one";
    let tiff = |name: &str, more: &dyn Fn(&mut gdal::Dataset)| {
        let path = folder.path().join(name);
        REGION.tiff(&path, bumped_m, more);
        message(&path)
    };

    assert!(message(&folder.path().join("none.gtx")).starts_with("cannot be read: No such file"));
    let format = "; a geoid grid is a GeoTIFF file, or a GTX file whose name ends in .gtx";
    assert_eq!(message(&written(&folder, "notes.gtx", b"not a grid")), format!("not a grid that can be read{format}"));
    assert_eq!(message(&written(&folder, "notes.csv", b"a,b\n1,2\n")), format!("not a grid that can be read{format}"));
    let bytes = REGION.gtx(bumped_m);
    let cut = written(&folder, "cut.gtx", &bytes[..bytes.len() - 30]);
    assert_eq!(message(&cut), format!("the file is cut short or damaged{format}"));
    let whole = folder.path().join("whole.tif");
    REGION.tiff(&whole, bumped_m, |_| ());
    let bytes = std::fs::read(&whole).unwrap();
    let cut_tiff = written(&folder, "cut.tif", &bytes[..bytes.len() - 30]);
    assert_eq!(message(&cut_tiff), format!("the file is cut short or damaged{format}"));

    let utm = tiff("utm.tif", &|dataset| dataset.set_spatial_ref(&SpatialRef::from_epsg(32631).unwrap()).unwrap());
    assert_eq!(utm, format!("its coordinates are in WGS 84 / UTM zone 31N, which is not geographic{layout}"));
    let turned = tiff("turned.tif", &|dataset| dataset.set_geo_transform(&[4.0, 0.2, 0.01, 50.0, 0.01, -0.1]).unwrap());
    assert_eq!(turned, format!("its rows and columns are turned against north{layout}"));
    let upside = tiff("upside.tif", &|dataset| dataset.set_geo_transform(&[4.0, 0.2, 0.0, 50.0, 0.0, 0.1]).unwrap());
    assert_eq!(upside, format!("its rows go 0.1 and its columns 0.2 from cell to cell, not south and east{layout}"));
    let metres = tiff("metres.tif", &|dataset| dataset.set_geo_transform(&[4000.0, 10.0, 0.0, 5000.0, 0.0, -10.0]).unwrap());
    assert_eq!(
        metres,
        format!("its nodes go from 4005 to 4045 eastwards and from 4945 to 4995 northwards, which are not degrees{layout}")
    );
    let paris = tiff("paris.tif", &|dataset| dataset.set_spatial_ref(&SpatialRef::from_epsg(4807).unwrap()).unwrap());
    assert_eq!(paris, format!("the unit of NTF (Paris) is not the degree{layout}"));
    let ferro = tiff("ferro.tif", &|dataset| dataset.set_spatial_ref(&SpatialRef::from_epsg(4818).unwrap()).unwrap());
    assert_eq!(ferro, format!("the longitudes of S-JTSK (Ferro) do not count from Greenwich{layout}"));

    let shift = tiff("shift.tif", &|dataset| dataset.set_metadata_item("TYPE", "HORIZONTAL_OFFSET", "").unwrap());
    assert_eq!(shift, format!("the file says that it holds HORIZONTAL_OFFSET{values}"));
    let terrain = folder.path().join("terrain.tif");
    REGION.tiff(&terrain, |row, _| 160.0 * row as f64 / 5.0, |_| ());
    assert_eq!(message(&terrain), format!("the value at latitude 50.5000, longitude 4.0000 is 160{values}"));

    for sigma_m in [0.0, -0.1, f64::NAN, f64::INFINITY] {
        let error = GeoidGrid::open(&cut, Some(sigma_m)).unwrap_err().to_string();
        assert!(
            error.ends_with(&format!("standard error {sigma_m} m: write a number of metres above 0, such as 0.03")),
            "{error}"
        );
    }
}

#[test]
fn a_unit_other_than_the_metre_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("feet.tif");
    // Heights in US survey feet are how the format tells the unit of its values.
    let feet = "COMPD_CS[\"feet\",GEOGCS[\"WGS 84\",DATUM[\"WGS_1984\",SPHEROID[\"WGS 84\",6378137,298.257223563]],\
                PRIMEM[\"Greenwich\",0],UNIT[\"degree\",0.0174532925199433]],\
                VERT_CS[\"NAVD88 height (ftUS)\",VERT_DATUM[\"North American Vertical Datum 1988\",2005],\
                UNIT[\"US survey foot\",0.304800609601219],AXIS[\"Up\",UP],AUTHORITY[\"EPSG\",\"6360\"]]]";
    REGION.tiff(&path, bumped_m, |dataset| dataset.set_spatial_ref(&SpatialRef::from_wkt(feet).unwrap()).unwrap());
    let error = GeoidGrid::open(&path, None).unwrap_err().to_string();
    assert!(error.contains("the unit of its values is \"US survey foot\""), "{error}");
}

#[test]
fn a_grid_of_another_region_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let path = written(&folder, "region.gtx", &REGION.gtx(bumped_m));
    for area in [[6.0, 50.1, 6.2, 50.3], [4.2, 51.0, 4.4, 51.2], [4.2, 49.0, 4.4, 49.9], [f64::NAN, 50.0, 4.5, 50.1]] {
        let error = GeoidGrid::open_for(&path, None, area).unwrap_err();
        assert!(matches!(error, super::open::GeoidError::Elsewhere { .. }), "{area:?}: {error}");
    }
    let error = GeoidGrid::open_for(&path, None, [6.0, 50.1, 6.2, 50.3]).unwrap_err().to_string();
    assert_eq!(
        error,
        format!(
            "{}: the grid covers latitudes 50.000 to 50.500 and longitudes 4.000 to 5.000, and none of the bases, which lie \
             within latitudes 50.100 to 50.300 and longitudes 6.000 to 6.200; name the grid of their region",
            path.display()
        )
    );
    // Part of the area is enough, also one point on the edge.
    let window = GeoidGrid::open_for(&path, None, [3.0, 50.3, 4.1, 50.35]).unwrap();
    near(window.undulation_m(50.32, 4.05), plane_m(50.32, 4.05));
    let window = GeoidGrid::open_for(&path, None, [5.0, 50.5, 5.0, 50.5]).unwrap();
    near(window.undulation_m(50.5, 5.0), plane_m(50.5, 5.0));
}

#[test]
fn sources_in_order() {
    let folder = tempfile::tempdir().unwrap();
    let at = |lat: f64, lon: f64| Geodetic { lat_rad: lat.to_radians(), lon_rad: lon.to_radians(), ellipsoid_height_m: 0.0 };
    let (inside, outside) = (at(50.05, 4.125), at(46.874_319, 102.448_729));
    let grid = |sigma_m| GeoidGrid::open(&written(&folder, "region.gtx", &REGION.gtx(bumped_m)), sigma_m).unwrap();
    let of = |undulation: Option<Undulation>| undulation.map(|u| (u.source, (u.metres * 10.0).round() / 10.0, u.sigma_m));

    let none = GeoidSteps::default();
    let all = Geoids::new().with_grid(grid(Some(0.02))).with_log(None).with_global(GlobalGeoid::default());
    assert_eq!(of(all.undulation_m(&inside, Some(45.1), &none)), Some((UndulationSource::Grid, 40.0, Some(0.02))));
    assert_eq!(of(all.undulation_m(&outside, Some(45.1), &none)), Some((UndulationSource::Log, 45.1, Some(1.0))));
    // Published as -43.575 m; see the test of the model.
    assert_eq!(of(all.undulation_m(&outside, None, &none)), Some((UndulationSource::Global, -43.6, Some(SIGMA_M))));
    assert_eq!(of(all.undulation_m(&outside, Some(f64::NAN), &none)), Some((UndulationSource::Global, -43.6, Some(SIGMA_M))));
    assert_eq!(all.name(UndulationSource::Grid).unwrap(), "region.gtx");
    assert_eq!(all.name(UndulationSource::Log).unwrap(), "separation in the log (the receiver's own table)");
    assert_eq!(all.name(UndulationSource::Global).unwrap(), NAME);

    // Each from the ellipsoid of a frame of its own.
    let steps = GeoidSteps { grid_m: 1.0, log_m: 2.0, global_m: 3.0 };
    assert_eq!(of(all.undulation_m(&inside, Some(45.1), &steps)), Some((UndulationSource::Grid, 41.0, Some(0.02))));
    assert_eq!(of(all.undulation_m(&outside, Some(45.1), &steps)), Some((UndulationSource::Log, 47.1, Some(1.0))));
    assert_eq!(of(all.undulation_m(&outside, None, &steps)), Some((UndulationSource::Global, -40.6, Some(SIGMA_M))));

    let log = Geoids::new().with_log(Some(0.4));
    assert_eq!(of(log.undulation_m(&inside, Some(45.1), &none)), Some((UndulationSource::Log, 45.1, Some(0.4))));
    assert_eq!(of(log.undulation_m(&inside, None, &none)), None);
    let unstated = Geoids::new().with_grid(grid(None));
    assert_eq!(of(unstated.undulation_m(&inside, Some(45.1), &none)), Some((UndulationSource::Grid, 40.0, None)));
    assert_eq!(of(unstated.undulation_m(&outside, Some(45.1), &none)), None);
    assert_eq!((unstated.name(UndulationSource::Log), unstated.name(UndulationSource::Global)), (None, None));
    assert_eq!(of(Geoids::new().undulation_m(&inside, Some(45.1), &none)), None);
    assert_eq!(
        [UndulationSource::Grid, UndulationSource::Log, UndulationSource::Global].map(UndulationSource::word),
        ["grid", "log", "global"]
    );
}
