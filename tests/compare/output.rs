//! The layer of changes.

use gdal::Dataset;
use gdal::vector::LayerAccess;

use super::*;

#[test]
fn lines_from_a_to_b_with_their_fields_and_the_values_beside() {
    let (a, b) = moved();
    let values: [&[Measured]; 2] = [&[("height", "T1", "height_m", 20.0, 0.3)], &[("height", "T1", "height_m", 22.0, 0.4)]];
    let folder = site(&a, &b, values);
    compare(folder.path(), &["--out", "changes.gpkg"]).exits(0);
    standoff::inside::geodesy::crs::seclude_gdal();
    let dataset = Dataset::open(folder.path().join("changes.gpkg")).unwrap();
    let mut layer = dataset.layer_by_name("changes").unwrap();
    assert_eq!(layer.spatial_ref().unwrap().auth_code().unwrap(), 32630);
    assert_eq!(layer.feature_count(), MOVEMENTS.len() as u64);
    // A's own points in the zone, to compare the beginning of each line with.
    let points = Dataset::open(folder.path().join("a.gpkg")).unwrap();
    let mut points = points.layer_by_name("features").unwrap();
    for ((feature, point), (by, mark)) in layer.features().zip(points.features()).zip(MOVEMENTS) {
        let text = |name: &str| {
            let index = feature.fields().position(|(field, _)| field == name).unwrap();
            feature.field_as_string(index).unwrap()
        };
        assert_eq!(text("mark").as_deref(), Some(mark));
        assert!((text("up_m").unwrap().parse::<f64>().unwrap() - by[2]).abs() < DIFFERENCE_M);
        let line = feature.geometry().unwrap();
        assert_eq!((line.geometry_name().as_str(), line.point_count()), ("LINESTRING", 2));
        let ((ax, ay, _), (bx, by_, _), (x, y, _)) =
            (line.get_point(0), line.get_point(1), point.geometry().unwrap().get_point(0));
        assert!((ax - x).hypot(ay - y) < 1e-3, "{ax} {ay} {x} {y}");
        // The grid's length, within its 0.02 % at the edge of the zone and its height.
        assert!(((bx - ax).hypot(by_ - ay) - by[0].hypot(by[1])).abs() < 0.002);
    }
    let mut table = dataset.layer_by_name("value_changes").unwrap();
    assert_eq!(table.features().count(), 1);
}

#[test]
fn the_same_input_gives_the_same_bytes_and_a_folder_gets_a_file() {
    let (a, b) = moved();
    let a: Vec<Point> = a.into_iter().map(|point| Point { time: Some("2026-05-04T08:00:00Z"), ..point }).collect();
    let folder = site(&a, &b, [&[], &[]]);
    compare(folder.path(), &["--out", "one"]).exits(0);
    compare(folder.path(), &["--out", "other"]).exits(0);
    assert_eq!(support::names(&folder.path().join("one")), ["changes.gpkg".to_owned()].into());
    support::assert_same_files(&folder.path().join("one"), &folder.path().join("other"));
    // Written anew over its like.
    compare(folder.path(), &["--out", "one"]).exits(0);
    support::assert_same_files(&folder.path().join("one"), &folder.path().join("other"));
}

#[test]
fn what_is_no_layer_of_changes_is_not_replaced() {
    let (a, b) = moved();
    let folder = site(&a, &b, [&[], &[]]);
    let before = fs::read(folder.path().join("a.gpkg")).unwrap();
    compare(folder.path(), &["--out", "a.gpkg"])
        .fails("a.gpkg: holds something else than changes, and is not replaced; name another (--out)");
    assert_eq!(fs::read(folder.path().join("a.gpkg")).unwrap(), before);
    fs::write(folder.path().join("changes.gpkg"), "notes").unwrap();
    let ran = compare(folder.path(), &["--out", "."]).exits(1);
    assert!(ran.err.contains("changes.gpkg: holds something else than changes"), "{}", ran.err);
    assert_eq!(support::names(folder.path()), ["a.gpkg", "b.gpkg", "changes.gpkg"].map(str::to_owned).into());
}
