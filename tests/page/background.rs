//! The user's own file under the map: a raster and lines in another CRS than the layers come to lie where they belong.

use gdal::raster::{Buffer, RasterCreationOptions};
use gdal::spatial_ref::{AxisMappingStrategy, CoordTransform, SpatialRef};
use gdal::{Dataset, DriverManager};
use serde_json::Value;

use super::from_base64;
use crate::support::small::Small;
use crate::support::{read, standoff};

/// Four shots around base A, which stands at 58.6° N 2.9° W.
const SHOTS: &str =
    "shot,base,true_azimuth_deg,inclination_deg,slope_distance_m\n1,A,0,0,100\n2,A,90,0,100\n3,A,180,0,100\n4,A,270,0,100\n";

fn job(background: &str) -> Small {
    Small::new(SHOTS, "", &format!("[report]\nbackground = \"{background}\"\n"))
}

fn page(job: &Small) -> String {
    standoff(job.folder.path(), &["map", "job.toml", "--out", "out", "--quiet", "--format", "gpkg"]).exits(0);
    read(&job.folder.path().join("out/cove.report.html"))
}

fn system(definition: &str) -> SpatialRef {
    standoff::inside::geodesy::crs::seclude_gdal();
    let mut system = SpatialRef::from_definition(definition).unwrap();
    system.set_axis_mapping_strategy(AxisMappingStrategy::TraditionalGisOrder);
    system
}

/// A picture of 200 by 200 pixels about the base: red west of it, blue east of it.
fn red_and_blue(job: &Small, system: Option<&SpatialRef>) {
    let path = job.folder.path().join("ortho.tif");
    let driver = DriverManager::get_driver_by_name("GTiff").unwrap();
    let options = RasterCreationOptions::default();
    let mut picture = driver.create_with_band_type_with_options::<u8, _>(&path, 200, 200, 3, &options).unwrap();
    picture.set_geo_transform(&[-2.91, 0.0001, 0.0, 58.61, 0.0, -0.0001]).unwrap();
    if let Some(system) = system {
        picture.set_spatial_ref(system).unwrap();
    }
    for (band, is_lit) in [(1, [true, false]), (2, [false, false]), (3, [false, true])] {
        let pixels = (0..200 * 200).map(|i| if is_lit[usize::from(i % 200 >= 100)] { 230u8 } else { 20 }).collect();
        picture.rasterband(band).unwrap().write((0, 0), (200, 200), &mut Buffer::new((200, 200), pixels)).unwrap();
    }
    picture.close().unwrap();
}

#[test]
fn a_raster_in_degrees_lies_under_the_map_of_a_grid() {
    let job = job("ortho.tif");
    red_and_blue(&job, Some(&system("EPSG:4326")));
    let page = page(&job);
    let picture = page.split("data:image/jpeg;base64,").nth(1).expect("no picture").split('"').next().unwrap();
    let path = job.folder.path().join("shown.jpg");
    std::fs::write(&path, from_base64(picture)).unwrap();
    let shown = Dataset::open(&path).unwrap();
    let (width, height) = shown.raster_size();
    let colour = |x: usize, y: usize| {
        [1, 2, 3].map(|band| {
            shown.rasterband(band).unwrap().read_as::<u8>((x as isize, y as isize), (1, 1), (1, 1), None).unwrap().data()[0]
        })
    };
    // The base is in the middle of its shots. Convergence is 0.09° here: within the map the border runs up the middle.
    for y in [height / 5, height / 2, 4 * height / 5] {
        let (west, east) = (colour(width * 45 / 100, y), colour(width * 55 / 100, y));
        assert!(west[0] > 180 && west[2] < 80, "{west:?} at {y} is not red");
        assert!(east[2] > 180 && east[0] < 80, "{east:?} at {y} is not blue");
    }
    // The picture stays within a megabyte.
    assert!(picture.len() < 1_400_000);
}

#[test]
fn lines_in_degrees_lie_where_they_belong_on_the_grid() {
    let job = job("fence.geojson");
    let ends = [[-2.901, 58.5995], [-2.899, 58.6004]];
    let line = serde_json::json!({"type": "Feature", "properties": {}, "geometry": {"type": "LineString", "coordinates": ends}});
    job.write("fence.geojson", &line.to_string());
    let page = page(&job);
    let data = page.split("id=\"data\">").nth(1).unwrap().split("</script>").next().unwrap();
    let data: Value = serde_json::from_str(data).unwrap();
    let shown: Vec<f64> = data["background"][0].as_array().unwrap().iter().map(|value| value.as_f64().unwrap()).collect();
    let way = CoordTransform::new(&system("EPSG:4326"), &system("EPSG:32630")).unwrap();
    for (i, [lon, lat]) in ends.into_iter().enumerate() {
        let (mut x, mut y) = ([lon], [lat]);
        way.transform_coords(&mut x, &mut y, &mut []).unwrap();
        for (axis, want) in [x[0], y[0]].into_iter().enumerate() {
            let got = shown[2 * i + axis] / data["plane"]["unit_m"][axis].as_f64().unwrap()
                + data["plane"]["origin"][axis].as_f64().unwrap();
            // The page has centimetres.
            assert!((got - want).abs() <= 0.0051, "{got} is not {want}");
        }
    }
}

#[test]
fn a_background_that_cannot_be_placed_is_refused_by_its_name() {
    let job = job("ortho.tif");
    red_and_blue(&job, None);
    let ran = standoff(job.folder.path(), &["map", "job.toml", "--out", "out", "--quiet", "--format", "gpkg"]).exits(1);
    assert!(ran.err.contains("ortho.tif") && ran.err.contains("names no CRS"), "{}", ran.err);
    assert!(!job.folder.path().join("out").exists());
}
