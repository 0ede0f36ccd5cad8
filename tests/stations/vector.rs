//! Points of vector files as bases, in the CRS that the file names itself; projected coordinates in text.

use std::path::Path;

use gdal::spatial_ref::{AxisMappingStrategy, CoordTransform, SpatialRef};
use gdal::vector::{Feature, Geometry, LayerAccess, LayerOptions, OGRFieldType, OGRwkbGeometryType};
use gdal::{Dataset, DriverManager};

use crate::stations::receiver::degrees;
use crate::stations::site::{PRINTED_M, Site, assert_at, assert_near, named, time, unnamed};

fn system(epsg: u32) -> SpatialRef {
    let mut system = SpatialRef::from_epsg(epsg).unwrap();
    system.set_axis_mapping_strategy(AxisMappingStrategy::TraditionalGisOrder);
    system
}

/// Longitude and latitude of a place in another system.
fn placed(epsg: u32, place: [f64; 2]) -> [f64; 2] {
    let [lat, lon] = degrees(place);
    let (mut x, mut y) = ([lon], [lat]);
    if epsg != 4326 {
        let transform = CoordTransform::new(&system(4326), &system(epsg)).unwrap();
        transform.transform_coords(&mut x, &mut y, &mut []).unwrap();
    }
    [x[0], y[0]]
}

/// A (0, 0) and B (100, 50), each with a height of 70 m in field `h`.
fn write(path: &Path, driver: &str, epsg: u32) {
    let driver = DriverManager::get_driver_by_name(driver).unwrap();
    let mut dataset: Dataset = driver.create_vector_only(path).unwrap();
    let system = system(epsg);
    let options = LayerOptions { name: "marks", srs: Some(&system), ty: OGRwkbGeometryType::wkbPoint, options: None };
    let layer = dataset.create_layer(options).unwrap();
    layer.create_defn_fields(&[("base", OGRFieldType::OFTString), ("h", OGRFieldType::OFTReal)]).unwrap();
    for (name, place) in [("A", [0.0, 0.0]), ("B", [100.0, 50.0])] {
        let [x, y] = placed(epsg, place);
        let mut geometry = Geometry::empty(OGRwkbGeometryType::wkbPoint).unwrap();
        geometry.add_point_2d((x, y));
        let mut feature = Feature::new(layer.defn()).unwrap();
        feature.set_geometry(geometry).unwrap();
        feature.set_field_string(0, name).unwrap();
        feature.set_field_double(1, 70.0).unwrap();
        feature.create(&layer).unwrap();
    }
}

fn site(file: &str) -> Site {
    let mut site = Site::new("unused.txt", "", &named(&[("A", 0), ("B", 1)]));
    // 32633 is the zone beside the one that the points lie in.
    site.top = "allow_outside_area = true".into();
    site.bases = format!("files = [\"{file}\"]\n[bases.columns]\nellipsoid_height_m = \"h\"");
    site
}

#[test]
fn points_of_every_format_in_the_files_own_system() {
    for (file, driver) in [("m.gpkg", "GPKG"), ("m.shp", "ESRI Shapefile"), ("m.fgb", "FlatGeobuf"), ("m.geojson", "GeoJSON")] {
        // GeoJSON is in longitude and latitude; 32633 is the zone beside that of the layers.
        for epsg in if driver == "GeoJSON" { &[4326][..] } else { &[4326, 32632, 32633] } {
            let site = site(file);
            write(&site.path(file), driver, *epsg);
            let run = site.map();
            // FlatGeobuf keeps its points in an order of its own.
            let mut names = run.names();
            names.sort_unstable();
            assert_eq!(names, ["A", "B"], "{file} {epsg}");
            assert_at(run.base("A"), [0.0, 0.0]);
            assert_at(run.base("B"), [100.0, 50.0]);
            assert_at(run.shot("2"), [140.0, 50.0]);
            assert_near(run.base("A"), "ellipsoid_height_m", 68.0, PRINTED_M);
            assert_eq!(run.counts(file), [2, 2, 0, 0]);
            let input = &run.summary["inputs"][0];
            assert_eq!((input["kind"].as_str(), input["separator"].as_str()), (Some("vector"), None));
        }
    }
}

/// The file's system goes before the job's, which other logs are in.
#[test]
fn a_file_beside_logs_in_another_system() {
    let mut site = site("m.gpkg");
    write(&site.path("m.gpkg"), "GPKG", 32633);
    site.write("points.csv", "base,lat_deg,lon_deg,h\nC,46.1,8.9,70\n");
    site.bases = site.bases.replace("[\"m.gpkg\"]", "[\"m.gpkg\", \"points.csv\"]\ncrs = \"EPSG:4979\"");
    let run = site.map();
    assert_eq!(run.names(), ["A", "B", "C"]);
    assert_at(run.base("B"), [100.0, 50.0]);
    assert_at(run.base("C"), [0.0, 0.0]);
}

#[test]
fn features_that_are_no_points_are_held_by_number() {
    let feature = |name: &str, geometry: &str| {
        format!("{{\"type\":\"Feature\",\"properties\":{{\"base\":\"{name}\",\"h\":70}},\"geometry\":{geometry}}}")
    };
    let [lat, lon] = degrees([0.0, 0.0]);
    let features = [
        feature("A", &format!("{{\"type\":\"Point\",\"coordinates\":[{lon:.9},{lat:.9}]}}")),
        feature("B", "null"),
        feature("C", "{\"type\":\"LineString\",\"coordinates\":[[8.9,46.1],[8.91,46.1]]}"),
    ];
    let site = site("m.geojson");
    site.write("m.geojson", format!("{{\"type\":\"FeatureCollection\",\"features\":[{}]}}", features.join(",")));
    let run = site.map();
    assert_eq!(run.counts("m.geojson"), [3, 1, 2, 0]);
    assert_eq!(run.held(), [("m.geojson", 2, "no_position"), ("m.geojson", 3, "no_position"), ("shots.csv", 3, "unknown_base")]);
    assert_at(run.shot("1"), [40.0, 0.0]);
}

/// Fixes of a vector file keep its system too.
#[test]
fn points_with_times_and_no_names_are_fixes() {
    let features = |x: f64, y: f64, first: i64| {
        (0..60)
            .map(|i| {
                format!(
                    "{{\"type\":\"Feature\",\"properties\":{{\"seen\":\"{}\",\"h\":70}},\"geometry\":{{\"type\":\"Point\",\"coordinates\":[{x:.9},{y:.9}]}}}}",
                    time(first + i)
                )
            })
            .collect::<Vec<_>>()
            .join(",")
    };
    let [[x, y], [x2, y2]] = [[0.0, 0.0], [100.0, 50.0]].map(|place| placed(32633, place));
    let crs = "\"crs\":{\"type\":\"name\",\"properties\":{\"name\":\"urn:ogc:def:crs:EPSG::32633\"}}";
    let text = format!("{{\"type\":\"FeatureCollection\",{crs},\"features\":[{},{}]}}", features(x, y, 0), features(x2, y2, 200));
    let mut site = Site::new("m.geojson", text, &unnamed(&[30, 230]));
    site.top = "allow_outside_area = true".into();
    site.bases =
        "files = [\"m.geojson\"]\ncrs = \"EPSG:32632\"\n[bases.columns]\nellipsoid_height_m = \"h\"\ntime = \"seen\"".into();
    let run = site.map();
    assert_eq!(run.counts("m.geojson"), [120, 120, 0, 0]);
    assert_at(run.base("stop 1"), [0.0, 0.0]);
    assert_at(run.base("stop 2"), [100.0, 50.0]);
}

#[test]
fn projected_points_and_fixes_in_text() {
    let rows = |name: &str, place: [f64; 2], first: i64, count: i64| {
        let [x, y] = placed(32632, place);
        (0..count).map(|i| format!("{name},{},{x:.4},{y:.4},70\n", time(first + i))).collect::<String>()
    };
    let head = "base,time,east_m,north_m,ellipsoid_height_m\n".to_owned();
    let site = |log: String, rule: &str| {
        let mut site = Site::new("fixes.csv", log, &named(&[("A", 5), ("B", 205)]));
        site.bases = format!("files = [\"fixes.csv\"]\ncrs = \"EPSG:32632\"\n{rule}");
        site
    };
    let run = site(head.clone() + &rows("A", [0.0, 0.0], 0, 1) + &rows("B", [100.0, 50.0], 200, 1), "").map();
    assert_at(run.shot("2"), [140.0, 50.0]);
    let log = head + &rows("A", [0.0, 0.0], 0, 30) + &rows("B", [100.0, 50.0], 200, 30);
    let run = site(log, "[bases.occupations]\nfrom = \"column\"").map();
    assert_eq!((run.base("A")["epochs"].as_str(), run.base("B")["epochs"].as_str()), ("30", "30"));
    assert_at(run.base("B"), [100.0, 50.0]);
    assert_near(run.base("B"), "ellipsoid_height_m", 68.0, PRINTED_M);
}

/// A layer of bases that the program wrote is a log of bases: its geometry tells where they are.
#[test]
fn the_programs_own_bases_again() {
    for (format, file) in [("gpkg", "t.gpkg"), ("geojson", "geojson/t.bases.geojson"), ("fgb", "fgb/t.bases.fgb")] {
        let mut first = Site::new("points.csv", "base,lat_deg,lon_deg,ellipsoid_height_m\nA,46.1,8.9,70\n", &named(&[("A", 0)]));
        first.top = "layers = [\"bases\", \"features\", \"ledger\"]".into();
        let first = first.heights("antenna_height_m = 0.0");
        let folder = first.path("first");
        first.run("check").exits(0);
        let arguments = ["map", "job.toml", "--out", "first", "--format", format];
        crate::support::standoff(first.folder.path(), &arguments).exits(0);
        let mut again = Site::new("unused.txt", "", &named(&[("A", 0)])).heights("antenna_height_m = 0.0");
        let from = folder.join(file);
        let file = from.file_name().unwrap().to_str().unwrap();
        std::fs::copy(&from, again.path(file)).unwrap();
        again.bases =
            format!("files = [\"{file}\"]\nlayer = \"bases\"\n[bases.columns]\nellipsoid_height_m = \"ellipsoid_height_m\"");
        if format != "gpkg" {
            again.bases = again.bases.replace("layer = \"bases\"\n", "");
        }
        let run = again.map();
        assert_at(run.base("A"), [0.0, 0.0]);
        assert_near(run.base("A"), "ellipsoid_height_m", 70.0, 1e-3);
        assert_eq!(run.joined(), [("1", "A")]);
    }
}
