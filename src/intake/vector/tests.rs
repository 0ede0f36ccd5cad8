//! Layers written through GDAL and read back.

use std::fs;
use std::sync::Once;

use gdal::DriverManager;
use gdal::spatial_ref::SpatialRef;
use gdal::vector::{Feature, FieldDefn, Geometry, LayerOptions, OGRFieldType, OGRwkbGeometryType};
use tempfile::TempDir;

use super::*;
use crate::geodesy::crs::Crs;

/// A place at which a swapped axis shows.
const LON: f64 = -3.123456789012345;
const LAT: f64 = 57.98765432109876;

const FORMATS: [(&str, &str); 4] = [("GPKG", "gpkg"), ("ESRI Shapefile", "shp"), ("GeoJSON", "geojson"), ("FlatGeobuf", "fgb")];

fn seclude() {
    static ONCE: Once = Once::new();
    ONCE.call_once(crate::geodesy::crs::seclude_gdal);
}

struct Written<'w> {
    name: &'w str,
    epsg: Option<u32>,
    kind: OGRwkbGeometryType::Type,
    /// WKT of the geometry (none for null) and a name (none for null).
    features: &'w [(Option<&'w str>, Option<&'w str>)],
}

/// Writes layers with the fields name, count, size, day and at.
fn write(path: &Path, driver: &str, layers: &[Written]) {
    seclude();
    let driver = DriverManager::get_driver_by_name(driver).unwrap();
    let mut dataset = driver.create_vector_only(path).unwrap();
    for layer in layers {
        let reference = layer.epsg.map(|code| SpatialRef::from_epsg(code).unwrap());
        let options = LayerOptions { name: layer.name, srs: reference.as_ref(), ty: layer.kind, options: None };
        let target = dataset.create_layer(options).unwrap();
        let times = if path.extension().unwrap() == "shp" { OGRFieldType::OFTString } else { OGRFieldType::OFTDateTime };
        let fields = [
            ("name", OGRFieldType::OFTString),
            ("count", OGRFieldType::OFTInteger64),
            ("size", OGRFieldType::OFTReal),
            ("day", OGRFieldType::OFTDate),
            ("at", times),
        ];
        for (name, kind) in fields {
            FieldDefn::new(name, kind).unwrap().add_to_layer(&target).unwrap();
        }
        for (geometry, name) in layer.features {
            let mut feature = Feature::new(target.defn()).unwrap();
            if let Some(wkt) = geometry {
                feature.set_geometry(Geometry::from_wkt(wkt).unwrap()).unwrap();
            }
            match name {
                Some(name) => {
                    feature.set_field_string(0, name).unwrap();
                    feature.set_field_integer64(1, 12).unwrap();
                    feature.set_field_double(2, 0.1 + 0.2).unwrap();
                    feature.set_field_string(3, "2026/05/04").unwrap();
                    feature.set_field_string(4, "2026-05-04T08:00:01.500+02:00").unwrap();
                }
                None => (0..5).for_each(|index| feature.set_field_null(index).unwrap()),
            }
            feature.create(&target).unwrap();
        }
    }
    dataset.close().unwrap();
}

fn points<'w>(
    name: &'w str,
    epsg: u32,
    kind: OGRwkbGeometryType::Type,
    features: &'w [(Option<&'w str>, Option<&'w str>)],
) -> Written<'w> {
    Written { name, epsg: Some(epsg), kind, features }
}

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> =
        fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

#[test]
fn each_format_in_two_and_three_dimensions() {
    for (driver, ending) in FORMATS {
        let folder = TempDir::new().unwrap();
        let flat = folder.path().join(format!("flat.{ending}"));
        let wkt = format!("POINT ({LON} {LAT})");
        let features = [(Some(wkt.as_str()), Some("Åse")), (Some("POINT (-4 58.5)"), None)];
        write(&flat, driver, &[points("flat", 4326, OGRwkbGeometryType::wkbPoint, &features)]);
        let before = names(folder.path());
        let layer = read(&flat, None).unwrap();
        assert_eq!(names(folder.path()), before, "{ending}: nothing is left beside the file");
        assert_eq!((layer.name.as_str(), layer.kind, layer.unit_factor), ("flat", Some(CrsKind::Geographic), 1.0), "{ending}");
        let crs = Crs::new(layer.crs_wkt.as_deref().unwrap()).unwrap();
        assert!(crs.same_as(&Crs::new("EPSG:4326").unwrap()), "{ending}: {:?}", layer.crs_wkt);
        assert!(layer.crs_wkt.as_deref().unwrap().starts_with("GEOGCRS["), "{ending}");
        let mut found = layer.points.clone();
        found.sort_by(|a, b| b.x.total_cmp(&a.x));
        // GeoJSON has seven decimals, a hundredth of a metre.
        let rounding = if ending == "geojson" { 6e-8 } else { 0.0 };
        assert!((found[0].x - LON).abs() <= rounding && (found[0].y - LAT).abs() <= rounding, "{ending}: {found:?}");
        assert_eq!((found[1].x, found[1].y, found[1].z), (-4.0, 58.5, None), "{ending}");
        // Shapefile and GeoJSON are written with fifteen digits.
        let size = if matches!(ending, "shp" | "geojson") { "0.3" } else { "0.30000000000000004" };
        // FlatGeobuf has no days, only times.
        let day = if ending == "fgb" { "2026-05-04T00:00:00" } else { "2026-05-04" };
        assert_eq!(found[0].cells, ["Åse", "12", size, day, "2026-05-04T08:00:01.500+02:00"], "{ending}");
        assert_eq!(found[1].cells, ["", "", "", "", ""], "{ending}: null is empty, never 0");

        let tall = folder.path().join(format!("tall.{ending}"));
        let epsg = if ending == "geojson" { 4979 } else { 32630 };
        let features = [(Some("POINT Z (40.25 56.5 212.125)"), Some("A"))];
        write(&tall, driver, &[points("tall", epsg, OGRwkbGeometryType::wkbPoint25D, &features)]);
        let layer = read(&tall, None).unwrap();
        assert_eq!(layer.points.len(), 1, "{ending}");
        let point = &layer.points[0];
        assert_eq!((point.number, point.x, point.y, point.z), (1, 40.25, 56.5, Some(212.125)), "{ending}");
        if epsg == 32630 {
            assert_eq!((layer.kind, layer.unit_factor), (Some(CrsKind::Projected), 1.0));
            let crs = Crs::new(layer.crs_wkt.as_deref().unwrap()).unwrap();
            assert!(crs.same_as(&Crs::new("EPSG:32630").unwrap()), "{ending}: {:?}", layer.crs_wkt);
        }
    }
}

#[test]
fn the_order_of_axes_is_that_of_maps_in_files_that_others_wrote() {
    let folder = TempDir::new().unwrap();
    seclude();
    let json = folder.path().join("bases.json");
    fs::write(
        &json,
        r#"{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"name":"A","size":0.30000000000000004},
            "geometry":{"type":"Point","coordinates":[-3.25,57.5,12.5]}}]}"#,
    )
    .unwrap();
    let point = read(&json, None).unwrap().points.remove(0);
    assert_eq!((point.x, point.y, point.z), (-3.25, 57.5, Some(12.5)));
    assert_eq!(point.cells, ["A", "0.30000000000000004"]);

    // Systems with the northing first: in the file's own index the easting is x.
    for (epsg, x, y) in [(4326, -3.25, 57.5), (3035, 4_321_000.5, 3_210_000.25), (2180, 500_100.5, 200_200.25)] {
        for ending in ["gpkg", "fgb", "shp"] {
            let path = folder.path().join(format!("axes{epsg}.{ending}"));
            let driver = FORMATS.iter().find(|(_, other)| *other == ending).unwrap().0;
            let wkt = format!("POINT ({x} {y})");
            write(&path, driver, &[points("axes", epsg, OGRwkbGeometryType::wkbPoint, &[(Some(&wkt), None)])]);
            let layer = read(&path, None).unwrap();
            assert_eq!((layer.points[0].x, layer.points[0].y), (x, y), "{epsg} {ending}");
        }
        let database = rusqlite::Connection::open(folder.path().join(format!("axes{epsg}.gpkg"))).unwrap();
        let stored = database.query_row("SELECT min_x, min_y FROM gpkg_contents", [], |row| Ok((row.get(0)?, row.get(1)?)));
        assert_eq!(stored, Ok((x, y)));
    }
}

#[test]
fn features_that_are_no_points_are_told() {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("mixed.gpkg");
    let features = [
        (Some("POINT (1 2)"), Some("A")),
        (None, Some("B")),
        (Some("POINT EMPTY"), Some("C")),
        (Some("LINESTRING (1 2, 3 4)"), Some("D")),
        (Some("MULTIPOINT Z ((5 6 7))"), Some("E")),
        (Some("MULTIPOINT ((5 6), (7 8))"), Some("F")),
        (Some("POLYGON ((0 0, 1 0, 1 1, 0 0))"), Some("G")),
        (Some("GEOMETRYCOLLECTION (POINT (1 2))"), Some("H")),
    ];
    write(&path, "GPKG", &[points("mixed", 32630, OGRwkbGeometryType::wkbUnknown, &features)]);
    let layer = read(&path, None).unwrap();
    let found: Vec<(u64, f64, f64, Option<f64>, &str)> =
        layer.points.iter().map(|point| (point.number, point.x, point.y, point.z, point.cells[0].as_str())).collect();
    assert_eq!(found, [(1, 1.0, 2.0, None, "A"), (5, 5.0, 6.0, Some(7.0), "E")]);
    let skipped: Vec<(u64, String)> = layer.skipped.iter().map(|(number, why)| (*number, why.to_string())).collect();
    assert_eq!(
        skipped,
        [
            (2, "it has no geometry"),
            (3, "its geometry is empty"),
            (4, "its geometry is a line, not a point"),
            (6, "it is 2 points in one; make single points of it"),
            (7, "its geometry is an area, not a point"),
            (8, "its geometry is of another kind, not a point"),
        ]
        .map(|(number, why)| (number, why.to_owned()))
    );
}

#[test]
fn one_of_several_layers_must_be_named() {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("layers.gpkg");
    let (first, second) = ([(Some("POINT (1 2)"), Some("A"))], [(Some("POINT (3 4)"), Some("B"))]);
    let paths = [(Some("LINESTRING (1 2, 3 4)"), None)];
    write(
        &path,
        "GPKG",
        &[
            points("bases", 32630, OGRwkbGeometryType::wkbPoint, &first),
            points("old \"bases\"", 32630, OGRwkbGeometryType::wkbMultiPoint, &second),
            points("paths", 32630, OGRwkbGeometryType::wkbLineString, &paths),
            Written { name: "notes", epsg: None, kind: OGRwkbGeometryType::wkbNone, features: &[(None, Some("n"))] },
        ],
    );
    assert_eq!(read(&path, None).unwrap_err().to_string(), "has 2 layers of points: name one of \"bases\", \"old \"bases\"\"");
    let named = read(&path, Some("old \"bases\"")).unwrap();
    assert_eq!((named.name.as_str(), named.points.len(), named.points[0].x), ("old \"bases\"", 1, 3.0));
    assert_eq!(read(&path, Some("bases")).unwrap().points[0].cells[0], "A");
    assert_eq!(read(&path, Some("paths")).unwrap_err().to_string(), "layer \"paths\" holds no points but lines");
    assert_eq!(read(&path, Some("notes")).unwrap_err().to_string(), "layer \"notes\" holds no points but rows without geometry");
    assert_eq!(
        read(&path, Some("Bases")).unwrap_err().to_string(),
        "has no layer \"Bases\": it has \"bases\" (points), \"old \"bases\"\" (points), \"paths\" (lines), \"notes\" (rows without \
         geometry)"
    );

    let only = folder.path().join("paths.gpkg");
    write(&only, "GPKG", &[points("paths", 32630, OGRwkbGeometryType::wkbLineString, &paths)]);
    assert_eq!(read(&only, None).unwrap_err().to_string(), "has no layer of points: it has \"paths\" (lines)");
    let empty = folder.path().join("empty.gpkg");
    write(&empty, "GPKG", &[points("empty", 32630, OGRwkbGeometryType::wkbPoint, &[])]);
    assert_eq!(read(&empty, None).unwrap().points, []);
}

#[test]
fn a_layer_as_rows() {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("rows.gpkg");
    let features = [(Some("POINT Z (-3.25 57.5 12.125)"), Some("A")), (Some("POINT (-3.5 57)"), None)];
    write(&path, "GPKG", &[points("rows", 4326, OGRwkbGeometryType::wkbUnknown, &features)]);
    let (headers, rows) = read(&path, None).unwrap().to_table();
    assert_eq!(headers, ["lat_deg", "lon_deg", "z", "name", "count", "size", "day", "at"]);
    let rows: Vec<(u64, String)> = rows.into_iter().map(|(number, cells)| (number, cells.join("|"))).collect();
    assert_eq!(
        rows,
        [
            (1, "57.5|-3.25|12.125|A|12|0.30000000000000004|2026-05-04|2026-05-04T08:00:01.500+02:00".to_owned()),
            (2, "57|-3.5||||||".to_owned()),
        ]
    );

    // A grid in US survey feet comes in metres, as the header says.
    let feet = folder.path().join("feet.gpkg");
    let features = [(Some("POINT (2000000 500000.5)"), Some("A"))];
    write(&feet, "GPKG", &[points("feet", 2227, OGRwkbGeometryType::wkbPoint, &features)]);
    let layer = read(&feet, None).unwrap();
    let us_survey_foot_m = 1200.0 / 3937.0;
    let (headers, rows) = layer.to_table();
    assert_eq!(headers[..3], ["east_m", "north_m", "name"]);
    let north_m: f64 = rows[0].1[1].parse().unwrap();
    assert!((north_m - 500_000.5 * us_survey_foot_m).abs() < 1e-6, "{north_m}");

    // With no CRS it cannot be told what x and y are, until the caller says.
    let bare = folder.path().join("bare.shp");
    let layers =
        Written { name: "bare", epsg: None, kind: OGRwkbGeometryType::wkbPoint, features: &[(Some("POINT (5 6)"), None)] };
    write(&bare, "ESRI Shapefile", &[layers]);
    let mut layer = read(&bare, None).unwrap();
    assert_eq!((&layer.crs_wkt, layer.kind), (&None, None));
    assert_eq!(layer.to_table().0[..2], ["x", "y"]);
    layer.kind = Some(CrsKind::Geographic);
    let (headers, rows) = layer.to_table();
    assert_eq!((headers[..2].join(","), rows[0].1[..2].join(",")), ("lat_deg,lon_deg".to_owned(), "6,5".to_owned()));
    layer.fields[0].0 = "LON_DEG".to_owned();
    layer.fields[1].0 = "field_LON_DEG".to_owned();
    assert_eq!(layer.to_table().0[2..4], ["field_LON_DEG", "field_field_LON_DEG"]);
}

#[test]
fn undefined_systems_of_a_geopackage_are_none() {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("bare.gpkg");
    let layer =
        Written { name: "bare", epsg: None, kind: OGRwkbGeometryType::wkbPoint, features: &[(Some("POINT (5 6)"), None)] };
    write(&path, "GPKG", &[layer]);
    for id in [-1, 0] {
        let database = rusqlite::Connection::open(&path).unwrap();
        database.execute("UPDATE gpkg_geometry_columns SET srs_id = ?1", [id]).unwrap();
        database.execute("UPDATE gpkg_contents SET srs_id = ?1", [id]).unwrap();
        drop(database);
        let layer = read(&path, None).unwrap();
        assert_eq!((layer.crs_wkt, layer.kind, layer.points.len()), (None, None, 1), "{id}");
    }
}

#[test]
fn files_that_cannot_be_read() {
    let folder = TempDir::new().unwrap();
    seclude();
    let file = |name: &str, text: &str| {
        let path = folder.path().join(name);
        fs::write(&path, text).unwrap();
        read(&path, None).unwrap_err().to_string()
    };
    assert_eq!(file("text.gpkg", "base,lat\n"), "is no GeoPackage, or it is damaged: copy it anew");
    assert_eq!(file("text.fgb", "base,lat\n"), "is no FlatGeobuf file, or it is damaged: copy it anew");
    assert_eq!(file("text.geojson", "base,lat\n"), "is no sound JSON at line 1, column 1");
    assert_eq!(file("other.json", "{\"a\": [1, 2]}"), "is no GeoJSON file, or it is damaged: copy it anew");
    assert_eq!(
        file("cut.json", "{\"type\": \"FeatureCollection\",\n\"features\": [{"),
        "ends in the middle of line 2: it was cut short; copy it anew"
    );
    assert_eq!(file("empty.geojson", ""), "ends in the middle of line 1: it was cut short; copy it anew");
    assert_eq!(
        file("none.geojson", "{\"type\": \"FeatureCollection\", \"features\": []}"),
        "has no layer of points: it has \"none\" (other geometries)"
    );
    assert_eq!(file("lone.shp", "x"), "lone.shx is missing beside it; copy all files of the Shapefile together");
    assert_eq!(file("bases.csv", "x"), "is no vector file by its name: it ends in none of .gpkg, .shp, .geojson, .json, .fgb");
    assert!(read(&folder.path().join("none.gpkg"), None).unwrap_err().to_string().starts_with("cannot be read: "));
    fs::create_dir(folder.path().join("folder.gpkg")).unwrap();
    assert_eq!(
        read(&folder.path().join("folder.gpkg"), None).unwrap_err().to_string(),
        "cannot be read: it is a folder, not a file"
    );
    for name in ["a.GPKG", "a.shp", "a.b.geojson", "a.json", "a.fgb"] {
        assert!(is_vector(Path::new(name)), "{name}");
    }
    for name in ["gpkg", "a.csv", "a.gpx", "a.dbf", "a"] {
        assert!(!is_vector(Path::new(name)), "{name}");
    }
}

#[test]
fn a_file_that_lost_its_end_is_refused() {
    let folder = TempDir::new().unwrap();
    let texts: Vec<String> = (0..500).map(|i| format!("POINT ({i} {})", 2 * i)).collect();
    let features: Vec<(Option<&str>, Option<&str>)> =
        texts.iter().map(|text| (Some(text.as_str()), Some("a name of some length"))).collect();
    for (driver, ending) in FORMATS {
        let path = folder.path().join(format!("whole.{ending}"));
        write(&path, driver, &[points("whole", 4326, OGRwkbGeometryType::wkbPoint, &features)]);
        assert_eq!(read(&path, None).unwrap().points.len(), 500, "{ending}");
        for (part, file) in [(ending, ending), ("dbf", "shp"), ("shx", "shp")] {
            let cut = folder.path().join(format!("whole.{part}"));
            if file != ending {
                continue;
            }
            let bytes = fs::read(&cut).unwrap();
            for length in [bytes.len() / 2, bytes.len() - bytes.len() / 20, bytes.len() - 10] {
                fs::write(&cut, &bytes[..length]).unwrap();
                let told = read(&path, None).map(|layer| layer.points.len());
                assert!(told.is_err(), "{part} cut to {length} of {}: {told:?}", bytes.len());
                let told = told.unwrap_err().to_string();
                assert!(
                    ["copy it anew", "copy the Shapefile anew"].iter().any(|advice| told.ends_with(advice)),
                    "{part}: {told}"
                );
            }
            fs::write(&cut, &bytes).unwrap();
        }
    }
}

#[test]
fn nothing_is_left_beside_a_geopackage_in_write_ahead_mode() {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("bases.gpkg");
    let features = [(Some("POINT (1 2)"), Some("A"))];
    write(&path, "GPKG", &[points("bases", 32630, OGRwkbGeometryType::wkbPoint, &features)]);
    let database = rusqlite::Connection::open(&path).unwrap();
    database.pragma_update(None, "journal_mode", "wal").unwrap();
    drop(database);
    assert_eq!(names(folder.path()), ["bases.gpkg"]);
    let bytes = fs::read(&path).unwrap();
    assert_eq!(bytes[18..20], [2, 2], "the file is in write-ahead mode");
    assert_eq!(read(&path, None).unwrap().points.len(), 1);
    assert_eq!(names(folder.path()), ["bases.gpkg"]);
    assert_eq!(fs::read(&path).unwrap(), bytes);

    // A program that has it open has written a change: it is read, and the program's files stay.
    let database = rusqlite::Connection::open(&path).unwrap();
    database.pragma_update(None, "wal_autocheckpoint", 0).unwrap();
    // The triggers of the spatial index call functions that are not in SQLite itself.
    let mut triggers = database.prepare("SELECT name FROM sqlite_master WHERE type = 'trigger'").unwrap();
    let names_of_triggers: Vec<String> = triggers.query_map([], |row| row.get(0)).unwrap().map(Result::unwrap).collect();
    drop(triggers);
    for name in names_of_triggers {
        database.execute_batch(&format!("DROP TRIGGER \"{name}\"")).unwrap();
    }
    database.execute("UPDATE bases SET name = 'changed'", []).unwrap();
    let open = ["bases.gpkg", "bases.gpkg-shm", "bases.gpkg-wal"];
    assert_eq!(names(folder.path()), open);
    assert_eq!(read(&path, None).unwrap().points[0].cells[0], "changed");
    assert_eq!(names(folder.path()), open);

    // Copied with its log alone, as from a device: the change is not passed over.
    let copy = TempDir::new().unwrap();
    for name in ["bases.gpkg", "bases.gpkg-wal"] {
        fs::copy(folder.path().join(name), copy.path().join(name)).unwrap();
    }
    assert_eq!(
        read(&copy.path().join("bases.gpkg"), None).unwrap_err().to_string(),
        "has changes that are not yet in it but in bases.gpkg-wal beside it; open it in the program that wrote it and close that again"
    );
    assert_eq!(names(copy.path()), ["bases.gpkg", "bases.gpkg-wal"]);
}

#[cfg(unix)]
#[test]
fn a_folder_that_may_not_be_written_to_is_read() {
    use std::os::unix::fs::PermissionsExt;
    for (driver, ending) in FORMATS {
        let folder = TempDir::new().unwrap();
        let path = folder.path().join(format!("bases.{ending}"));
        let features = [(Some("POINT (1 2)"), Some("A"))];
        write(&path, driver, &[points("bases", 4326, OGRwkbGeometryType::wkbPoint, &features)]);
        if ending == "gpkg" {
            let database = rusqlite::Connection::open(&path).unwrap();
            database.pragma_update(None, "journal_mode", "wal").unwrap();
        }
        let before = names(folder.path());
        let mode = |path: &Path, mode: u32| fs::set_permissions(path, fs::Permissions::from_mode(mode)).unwrap();
        before.iter().for_each(|name| mode(&folder.path().join(name), 0o444));
        mode(folder.path(), 0o555);
        let told = read(&path, None).map(|layer| layer.points.len()).map_err(|error| error.to_string());
        let after = names(folder.path());
        mode(folder.path(), 0o755);
        assert_eq!((told, after), (Ok(1), before), "{ending}");
    }
}
