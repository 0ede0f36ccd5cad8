//! Areas round a pole and shapes over ±180°, in every format, against GeographicLib.

use std::path::Path;

use gdal::Dataset;
use gdal::vector::{Geometry, LayerAccess, OGRwkbGeometryType};
use geographiclib_rs::{DirectGeodesic, Geodesic, PolygonArea, Winding};

use super::*;

/// Rounding of an area by GeographicLib beside the whole ellipsoid, 0.1 m² by its documentation, and of coordinates with nine decimals
/// of a degree along a few hundred metres of edges.
const AREA_M2: f64 = 0.5;

/// A five-cornered field about a base; corners by azimuth and distance.
const CORNERS: [(f64, f64); 5] = [(10.0, 60.0), (80.0, 90.0), (150.0, 70.0), (200.0, 85.0), (290.0, 80.0)];

fn mapped(crs: &str, lat: &str, lon: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &str| fs::write(folder.path().join(name), text).unwrap();
    write("bases.csv", &format!("base,lat_deg,lon_deg,ellipsoid_height_m\nA,{lat},{lon},60\n"));
    let mut rows = "shot,base,role,string,true_azimuth_deg,inclination_deg,slope_distance_m\n".to_owned();
    for (i, (azimuth, distance)) in CORNERS.iter().enumerate() {
        let role = if i == 4 { "close" } else { "" };
        rows += &format!("{i},A,{role},field,{azimuth},0,{distance}\n");
    }
    rows += "7,A,,path,90,0,100\n8,A,end,path,270,0,100\n";
    write("shots.csv", &rows);
    write(
        "job.toml",
        &format!(
            "name = \"ice\"\ncrs = \"{crs}\"\nformats = [\"csv\", \"gpkg\", \"geojson\", \"shp\", \"fgb\", \"dxf\", \"jsonfg\", \"kml\"]\n\
             [bases]\nfiles = [\"bases.csv\"]\ncrs = \"EPSG:4979\"\nsigma_horizontal_m = 0.02\nsigma_vertical_m = 0.02\n\
             [shots]\nfiles = [\"shots.csv\"]\n[instrument]\nsigma_distance_m = 0.02\nsigma_azimuth_deg = 0.01\n\
             sigma_inclination_deg = 0.01\n[heights]\ninstrument_height_m = 1.5\ntarget_height_m = 1.5\n"
        ),
    );
    standoff(folder.path(), &["map", "job.toml", "--out", "out", "--quiet"]).exits(0);
    folder
}

/// The rings of a geometry, whatever it is made of.
fn rings(geometry: &Geometry) -> Vec<Vec<(f64, f64)>> {
    let kind = geometry.geometry_type();
    let is_line = [OGRwkbGeometryType::wkbLineString, OGRwkbGeometryType::wkbLineString25D].contains(&kind);
    if is_line || geometry.geometry_count() == 0 {
        return vec![(0..geometry.point_count()).map(|i| geometry.get_point(i as i32)).map(|(x, y, _)| (x, y)).collect()];
    }
    (0..geometry.geometry_count()).flat_map(|i| rings(&geometry.get_geometry(i))).collect()
}

/// The rings of a layer's records in a file.
fn of_file(path: &Path, layer: Option<&str>) -> Vec<Vec<(f64, f64)>> {
    standoff::inside::geodesy::crs::seclude_gdal();
    let dataset = Dataset::open(path).unwrap();
    let mut layer = match layer {
        Some(name) => dataset.layer_by_name(name).unwrap(),
        None => dataset.layer(0).unwrap(),
    };
    layer.features().flat_map(|feature| rings(feature.geometry().unwrap())).collect()
}

/// Parts of a geometry by RFC 7946, from its coordinates.
fn of_coordinates(value: &Value) -> Vec<Vec<(f64, f64)>> {
    let items = value.as_array().unwrap();
    let number = |value: &Value| value.as_f64().unwrap();
    match items[0][0].is_number() {
        true => vec![items.iter().map(|position| (number(&position[0]), number(&position[1]))).collect()],
        false => items.iter().flat_map(of_coordinates).collect(),
    }
}

/// The parts of a layer's records in a collection of features.
fn of_collection(collection: &Value) -> Vec<Vec<(f64, f64)>> {
    collection["features"]
        .as_array()
        .unwrap()
        .iter()
        .flat_map(|feature| of_coordinates(&feature["geometry"]["coordinates"]))
        .collect()
}

/// The parts of a layer's placemarks.
fn of_kml(text: &str, layer: &str) -> Vec<Vec<(f64, f64)>> {
    let style = format!("<styleUrl>#look_{layer}</styleUrl>");
    let place = |tuple: &str| {
        let numbers: Vec<f64> = tuple.split(',').map(|number| number.parse().unwrap()).collect();
        (numbers[0], numbers[1])
    };
    let placemarks = text.split("<Placemark>").filter(|placemark| placemark.contains(&style));
    let parts = placemarks.flat_map(|placemark| placemark.split("<coordinates>").skip(1));
    parts.map(|part| part.split('<').next().unwrap().split_whitespace().map(place).collect()).collect()
}

/// By format, the rings of a layer as longitudes and latitudes.
fn formats(out: &Path, layer: &str) -> Vec<(&'static str, Vec<Vec<(f64, f64)>>)> {
    let file = |ending: &str| out.join(format!("{ending}/ice.{layer}.{ending}"));
    let wkt: Vec<Vec<(f64, f64)>> =
        table(&file("csv")).iter().flat_map(|row| rings(&Geometry::from_wkt(&row["WKT"]).unwrap())).collect();
    let drawing = {
        standoff::inside::geodesy::crs::seclude_gdal();
        let dataset = Dataset::open(out.join("dxf/ice.dxf")).unwrap();
        let mut entities = dataset.layer(0).unwrap();
        let of_layer = entities.features().filter(|feature| {
            let index = feature.fields().position(|(name, _)| name == "Layer").unwrap();
            feature.field_as_string(index).unwrap().as_deref() == Some(layer)
        });
        of_layer.flat_map(|feature| rings(feature.geometry().unwrap())).collect()
    };
    vec![
        ("gpkg", of_file(&out.join("ice.gpkg"), Some(layer))),
        ("geojson", of_file(&file("geojson"), None)),
        ("shp", of_file(&file("shp"), None)),
        ("fgb", of_file(&file("fgb"), None)),
        ("csv", wkt),
        ("dxf", drawing),
        ("jsonfg", of_collection(&json(&out.join(format!("jsonfg/ice.{layer}.json"))))),
        ("kml", of_kml(&read(&out.join("kml/ice.kml")), layer)),
    ]
}

fn area_m2(ring: &[(f64, f64)]) -> f64 {
    let geodesic = Geodesic::wgs84();
    let mut polygon = PolygonArea::new(&geodesic, Winding::CounterClockwise);
    let open = if ring.first() == ring.last() { &ring[1..] } else { ring };
    open.iter().for_each(|(lon, lat)| polygon.add_point(*lat, *lon));
    polygon.compute(true).1.abs()
}

/// The field by GeographicLib alone: corners by the direct problem (levelled shots of a hundred metres differ from it by 10⁻⁸), their
/// area; and, for a field at 60 m height, what the ellipsoid under it has less, 2·60/R.
fn truth_m2(lat: f64, lon: f64) -> f64 {
    let geodesic = Geodesic::wgs84();
    let corners: Vec<(f64, f64)> = CORNERS
        .iter()
        .map(|(azimuth, distance)| {
            let (lat, lon): (f64, f64) = geodesic.direct(lat, lon, *azimuth, *distance);
            (lon, lat)
        })
        .collect();
    area_m2(&corners) * (1.0 - 2.0 * 60.0 / 6_378_000.0)
}

#[test]
fn areas_and_lines_in_longitudes_in_every_format() {
    for (lat, lon) in [("90", "0"), ("-89.9996", "75"), ("-16.8", "179.9997"), ("71", "-179.9999"), ("89.9998", "180")] {
        let folder = mapped("EPSG:4326", lat, lon);
        let out = folder.path().join("out");
        let want = truth_m2(lat.parse().unwrap(), lon.parse().unwrap());
        let areas = table(&out.join("csv/ice.areas.csv"));
        assert_eq!(areas.len(), 1, "{lat} {lon}: {}", json(&out.join("summary.json"))["notes"]);
        assert_near(areas[0]["area_ellipsoid_m2"].parse().unwrap(), want, AREA_M2);
        for (format, rings) in formats(&out, "areas") {
            let sum: f64 = rings.iter().map(|ring| area_m2(ring)).sum();
            assert!((sum - want).abs() < AREA_M2, "{format} {lat} {lon}: {sum} {want} {rings:?}");
        }
        for layer in ["lines", "sight_lines", "ellipses", "areas"] {
            for (format, rings) in formats(&out, layer) {
                for ring in &rings {
                    for pair in ring.windows(2) {
                        let along_pole = pair.iter().all(|(_, lat)| lat.abs() == 90.0);
                        assert!(along_pole || (pair[0].0 - pair[1].0).abs() < 1.001, "{format} {layer} {lat} {lon}: {pair:?}");
                    }
                    assert!(ring.iter().all(|(lon, lat)| lon.abs() <= 180.0 && lat.abs() <= 90.0), "{format} {layer}");
                }
            }
        }
    }
}

/// RFC 7946, sections 5.2 and 5.3: the bbox holds every edge of its layer; across ±180° it is as narrow as what was mapped, and round a pole
/// it goes up to the pole.
#[test]
fn the_bbox_of_geojson_holds_every_edge() {
    for (lat, lon, pole) in [("90", "0", 90.0), ("-89.9996", "75", -90.0), ("-16.8", "179.9997", 0.0), ("71", "-179.9999", 0.0)] {
        let folder = mapped("EPSG:4326", lat, lon);
        for (format, ending) in [("geojson", "geojson"), ("jsonfg", "json")] {
            for layer in ["features", "bases", "lines", "sight_lines", "ellipses", "areas"] {
                let collection = json(&folder.path().join(format!("out/{format}/ice.{layer}.{ending}")));
                let bbox: Vec<f64> = collection["bbox"].as_array().unwrap().iter().map(|edge| edge.as_f64().unwrap()).collect();
                let [west, south, east, north] = match bbox[..] {
                    [west, south, _, east, north, _] | [west, south, east, north] => [west, south, east, north],
                    _ => panic!("{bbox:?}"),
                };
                let holds = |lon: f64| if west <= east { (west..=east).contains(&lon) } else { lon >= west || lon <= east };
                if !["features", "bases"].contains(&layer) {
                    for part in of_collection(&collection) {
                        for pair in part.windows(2).filter(|pair| (pair[0].0 - pair[1].0).abs() < 180.0) {
                            let middle = 0.5 * (pair[0].0 + pair[1].0);
                            assert!(holds(pair[0].0) && holds(middle) && holds(pair[1].0), "{layer} {bbox:?}: {pair:?}");
                            assert!(pair.iter().all(|(_, lat)| (south..=north).contains(lat)), "{layer} {bbox:?}: {pair:?}");
                        }
                    }
                }
                if pole == 0.0 {
                    // A few hundred metres are less than a hundredth of a degree.
                    let width = (east - west).rem_euclid(360.0);
                    assert!(width < 0.01 && (layer == "bases" || west > east), "{layer} {bbox:?}");
                } else if layer == "areas" {
                    assert_eq!((west, east, if pole > 0.0 { north } else { south }), (-180.0, 180.0, pole));
                }
            }
        }
    }
}

/// What a person is told whose layers open as wide as the globe; a CRS that is named serves.
#[test]
fn layers_as_wide_as_the_globe_are_told_of() {
    let note = |crs: &str, lat: &str, lon: &str| {
        let summary = json(&mapped(crs, lat, lon).path().join("out/summary.json"));
        let notes = summary["notes"].as_array().unwrap().iter().map(|note| note.as_str().unwrap().to_owned());
        notes.into_iter().find(|note| note.contains("as wide as the globe"))
    };
    for (lat, lon, crs) in [("-16.8", "179.9997", "EPSG:32760"), ("71", "-179.9999", "EPSG:32601"), ("90", "0", "EPSG:5041")] {
        let said = note("EPSG:4326", lat, lon).unwrap();
        assert!(said.contains(&format!("crs = \"{crs}\"")), "{said}");
        assert_eq!(note(crs, lat, lon), None);
    }
    assert_eq!(note("EPSG:4326", "-16.8", "179.99"), None);
}

/// `check` says what `map` says, by all layers of the job: a base and its shots lie on either side of ±180°, and alone neither is across it.
#[test]
fn check_tells_of_layers_as_wide_as_the_globe_as_map_does() {
    let place = |crs: &str, lon: &str, layers: &str| {
        let folder = tempfile::tempdir().unwrap();
        let write = |file: &str, text: &str| std::fs::write(folder.path().join(file), text).unwrap();
        write("bases.csv", &format!("base,lat_deg,lon_deg,ellipsoid_height_m\nA,-16.8,{lon},60\n"));
        write("shots.csv", "shot,base,true_azimuth_deg,inclination_deg,slope_distance_m\n1,A,88,0,80\n2,A,92,0,90\n");
        write(
            "job.toml",
            &format!(
                "name = \"islet\"\ncrs = \"{crs}\"\n{layers}\n[bases]\nfiles = [\"bases.csv\"]\ncrs = \"EPSG:4979\"\n[shots]\n\
                 files = [\"shots.csv\"]\n[heights]\ninstrument_height_m = 1.5\ntarget_height_m = 1.5\n"
            ),
        );
        folder
    };
    // 80 m east are 0.00075° there.
    let told = [
        ("EPSG:4326", "179.9995", "", true),
        ("EPSG:4326", "179.9995", "layers = [\"features\"]", false),
        ("EPSG:4326", "179.9985", "", false),
        ("EPSG:32760", "179.9995", "", false),
    ];
    for (crs, lon, layers, is_wide) in told {
        let folder = place(crs, lon, layers);
        let said = |arguments: &[&str]| {
            let out = standoff(folder.path(), arguments).exits(0).out;
            out.lines().find(|line| line.contains("as wide as the globe")).map(str::to_owned)
        };
        let by_map = said(&["map", "job.toml", "--out", "out"]);
        assert_eq!(by_map.is_some(), is_wide, "{crs} {lon} {layers}");
        assert_eq!(said(&["check", "job.toml"]), by_map, "{crs} {lon} {layers}");
        assert_eq!(said(&["check", "job.toml", "--report", "page.html"]), by_map);
        assert_eq!(read(&folder.path().join("page.html")).contains("as wide as the globe"), is_wide);
        let job = standoff::Job::from_path(folder.path().join("job.toml")).unwrap();
        let notes = standoff::check(&job).unwrap().account.notes;
        assert_eq!(notes.iter().any(|note| note.contains("as wide as the globe")), is_wide);
    }
}

/// In a projected CRS shapes are whole; GeoJSON, which is in longitudes, is cut.
#[test]
fn a_field_round_a_pole_in_a_polar_projection() {
    // The field's base stands 40 m from the pole.
    let folder = mapped("EPSG:32661", "89.99964", "20");
    let out = folder.path().join("out");
    let want = truth_m2(89.99964, 20.0);
    let of_geojson: f64 = of_file(&out.join("geojson/ice.areas.geojson"), None).iter().map(|ring| area_m2(ring)).sum();
    assert_near(of_geojson, want, AREA_M2);
    let plain = of_file(&out.join("ice.gpkg"), Some("areas"));
    assert_eq!((plain.len(), plain[0].len()), (1, 6));
    let areas = table(&out.join("csv/ice.areas.csv"));
    assert_near(areas[0]["area_ellipsoid_m2"].parse().unwrap(), want, AREA_M2);
    // The scale of the polar projection at the pole is 0.994.
    assert_near(areas[0]["area_grid_m2"].parse::<f64>().unwrap() / want, 0.994f64.powi(2), 1e-4);
}

/// Z of areas: in the Shapefile's and the FlatGeobuf's geometry, as in the others.
#[test]
fn areas_have_their_heights() {
    let folder = mapped("EPSG:32632", "47", "9");
    standoff::inside::geodesy::crs::seclude_gdal();
    for file in ["shp/ice.areas.shp", "fgb/ice.areas.fgb"] {
        let dataset = Dataset::open(folder.path().join("out").join(file)).unwrap();
        let mut layer = dataset.layer(0).unwrap();
        let feature = layer.features().next().unwrap();
        let ring = feature.geometry().unwrap().get_geometry(0);
        let heights: Vec<f64> = (0..ring.point_count()).map(|i| ring.get_point(i as i32).2).collect();
        // Level shots over some 90 m: the earth falls by less than a millimetre.
        assert!(heights.len() == 6 && heights.iter().all(|height| (height - 60.0).abs() < 0.002), "{file}: {heights:?}");
    }
    let ellipses = Dataset::open(folder.path().join("out/shp/ice.ellipses.shp")).unwrap();
    let mut layer = ellipses.layer(0).unwrap();
    assert_eq!(layer.features().next().unwrap().geometry().unwrap().geometry_type(), OGRwkbGeometryType::wkbPolygon);
}
