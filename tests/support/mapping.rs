//! A finished layer made by hand: points that are displaced from true places by stated errors, with the fields of a features layer.
//!
//! Places are found by the geodesic direct problem on WGS 84 (geographiclib), scaled to the ground, and written to a projected CRS by PROJ:
//! a way that shares nothing with the program's own earth-centred differences.

#![allow(dead_code)]

use std::path::Path;

use gdal::spatial_ref::{AxisMappingStrategy, CoordTransform, SpatialRef};
use gdal::vector::{Feature, FieldDefn, Geometry, LayerAccess, LayerOptions, OGRFieldType, OGRwkbGeometryType};
use gdal::{Dataset, DriverManager};
use geographiclib_rs::{DirectGeodesic, Geodesic};

/// Gaussian mean radius at latitude 58° in metres, for lengths at a height above the ellipsoid; the radii in all directions differ from
/// it by 0.3 % there, which is 0.3 µm in a metre at 1000 m.
const RADIUS_M: f64 = 6_387_000.0;

/// A place on WGS 84.
#[derive(Debug, Clone, Copy)]
pub struct Place {
    pub lat_deg: f64,
    pub lon_deg: f64,
    pub height_m: f64,
}

impl Place {
    /// The place some metres east, north and up on the ground.
    pub fn moved(&self, east_m: f64, north_m: f64, up_m: f64) -> Place {
        let on_the_ellipsoid = east_m.hypot(north_m) / (1.0 + self.height_m / RADIUS_M);
        let azimuth_deg = east_m.atan2(north_m).to_degrees();
        let (lat_deg, lon_deg) = Geodesic::wgs84().direct(self.lat_deg, self.lon_deg, azimuth_deg, on_the_ellipsoid);
        Place { lat_deg, lon_deg, height_m: self.height_m + up_m }
    }
}

/// A place of an invented bay, far from the central meridian of UTM zone 30: 2.6° of convergence.
pub fn place(i: usize) -> Place {
    Place {
        lat_deg: 58.2 + 0.000_9 * (i / 20) as f64,
        lon_deg: 0.02 + 0.001_1 * (i % 20) as f64,
        height_m: 40.0 + i as f64 % 7.0,
    }
}

/// A mapped point.
#[derive(Debug, Clone)]
pub struct Point {
    pub feature: String,
    pub shot: String,
    pub base: String,
    pub place: Place,
    pub orthometric_m: Option<f64>,
    /// Semi-axes in metres and azimuth in degrees of the 95 % ellipse.
    pub ellipse: Option<[f64; 3]>,
    pub sigma_up_m: Option<f64>,
    pub sigma_geoid_m: Option<f64>,
    pub time: Option<&'static str>,
    /// Role in a composed measurement.
    pub role: &'static str,
}

/// Standard error of one axis to the 95 % ellipse: √5.991465, the 95 % point of χ² with two degrees of freedom.
pub const TO_95: f64 = 2.447_746_83;

impl Point {
    pub fn new(feature: impl Into<String>, place: Place) -> Point {
        Point {
            feature: feature.into(),
            shot: String::new(),
            base: String::new(),
            place,
            orthometric_m: None,
            ellipse: None,
            sigma_up_m: None,
            sigma_geoid_m: None,
            time: None,
            role: "",
        }
    }

    /// With standard errors, horizontally the same on both axes.
    pub fn with_sigma(mut self, horizontal_m: f64, up_m: f64) -> Point {
        self.ellipse = Some([TO_95 * horizontal_m, TO_95 * horizontal_m, 0.0]);
        self.sigma_up_m = Some(up_m);
        self
    }
}

/// A record of the measurements table: measure, name, quantity, value, sigma.
pub type Measured<'m> = (&'m str, &'m str, &'m str, f64, f64);

fn reference(definition: &str) -> SpatialRef {
    let mut reference = SpatialRef::from_definition(definition).unwrap();
    reference.set_axis_mapping_strategy(AxisMappingStrategy::TraditionalGisOrder);
    reference
}

/// A dataset for points and tables.
fn dataset(path: &Path) -> Dataset {
    standoff::inside::geodesy::crs::seclude_gdal();
    let driver = match path.extension().unwrap().to_str().unwrap() {
        "gpkg" => "GPKG",
        "geojson" => "GeoJSON",
        "shp" => "ESRI Shapefile",
        other => panic!("{other}"),
    };
    DriverManager::get_driver_by_name(driver).unwrap().create_vector_only(path).unwrap()
}

const TEXTS: [&str; 4] = ["feature", "shot", "base", "time"];
const REALS: [&str; 7] = [
    "ellipsoid_height_m",
    "orthometric_height_m",
    "ellipse_major95_m",
    "ellipse_minor95_m",
    "ellipse_azimuth_deg",
    "sigma_up_m",
    "sigma_geoid_m",
];

/// Writes points in a CRS as the layer `features`, with the measurements that are given.
pub fn write(path: &Path, crs: &str, points: &[Point], measured: &[Measured]) {
    let mut dataset = dataset(path);
    let target = reference(crs);
    let to_target = CoordTransform::new(&reference("EPSG:4326"), &target).unwrap();
    {
        let options = LayerOptions { name: "features", srs: Some(&target), ty: OGRwkbGeometryType::wkbPoint, options: None };
        let layer = dataset.create_layer(options).unwrap();
        let define = |name: &str, kind| FieldDefn::new(name, kind).unwrap().add_to_layer(&layer).unwrap();
        TEXTS.iter().chain(&["height_kind", "role"]).for_each(|name| define(name, OGRFieldType::OFTString));
        REALS.iter().for_each(|name| define(name, OGRFieldType::OFTReal));
        for point in points {
            let (mut x, mut y) = ([point.place.lon_deg], [point.place.lat_deg]);
            to_target.transform_coords(&mut x, &mut y, &mut []).unwrap();
            let mut feature = Feature::new(layer.defn()).unwrap();
            let mut geometry = Geometry::empty(OGRwkbGeometryType::wkbPoint).unwrap();
            geometry.add_point_2d((x[0], y[0]));
            feature.set_geometry(geometry).unwrap();
            let texts =
                [point.feature.as_str(), &point.shot, &point.base, point.time.unwrap_or_default(), "ellipsoidal", point.role];
            for (index, text) in texts.into_iter().enumerate().filter(|(_, text)| !text.is_empty()) {
                feature.set_field_string(index, text).unwrap();
            }
            let axis = |i: usize| point.ellipse.map(|ellipse| ellipse[i]);
            let reals = [
                Some(point.place.height_m),
                point.orthometric_m,
                axis(0),
                axis(1),
                axis(2),
                point.sigma_up_m,
                point.sigma_geoid_m,
            ];
            for (index, value) in reals.into_iter().enumerate() {
                match value {
                    Some(value) => feature.set_field_double(texts.len() + index, value).unwrap(),
                    None => feature.set_field_null(texts.len() + index).unwrap(),
                }
            }
            feature.create(&layer).unwrap();
        }
    }
    if !measured.is_empty() {
        let options = LayerOptions { name: "measurements", srs: None, ty: OGRwkbGeometryType::wkbNone, options: None };
        let layer = dataset.create_layer(options).unwrap();
        for name in ["measure", "name", "quantity"] {
            FieldDefn::new(name, OGRFieldType::OFTString).unwrap().add_to_layer(&layer).unwrap();
        }
        for name in ["value", "sigma"] {
            FieldDefn::new(name, OGRFieldType::OFTReal).unwrap().add_to_layer(&layer).unwrap();
        }
        for (measure, name, quantity, value, sigma) in measured {
            let mut feature = Feature::new(layer.defn()).unwrap();
            for (index, text) in [measure, name, quantity].into_iter().enumerate() {
                feature.set_field_string(index, text).unwrap();
            }
            feature.set_field_double(3, *value).unwrap();
            feature.set_field_double(4, *sigma).unwrap();
            feature.create(&layer).unwrap();
        }
    }
    dataset.close().unwrap();
}

/// Standard normal numbers from a seed: SplitMix64 and the transform of Box and Muller.
pub struct Normal(pub u64);

impl Normal {
    fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^= z >> 31;
        ((z >> 11) + 1) as f64 / (1u64 << 53) as f64
    }

    pub fn next(&mut self) -> f64 {
        (-2.0 * self.uniform().ln()).sqrt() * (std::f64::consts::TAU * self.uniform()).cos()
    }
}
