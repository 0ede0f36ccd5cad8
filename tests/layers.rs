//! The written layers, read back through GDAL: the same records, fields, values, nulls and places in
//! every format, each format by its own rules, and nothing beside the finished files.

use crate::support;

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use gdal::spatial_ref::{AxisMappingStrategy, CoordTransform, SpatialRef};
use gdal::vector::{FieldValue, Geometry, LayerAccess, OGRFieldType, OGRwkbGeometryType, field_type_to_name};
use gdal::{Dataset, DatasetOptions, GdalOpenFlags};
use jiff::Timestamp;
use serde_json::Value as Json;
use support::*;
use tempfile::TempDir;

/// Rounding of printed decimals, in units of the last one: half a unit, and a thousandth for the
/// binary form of the number.
const PRINTED: f64 = 0.501;
/// Decimals of coordinates in GeoJSON: degrees and metres.
const GEOJSON_DEGREES: i32 = 9;
const GEOJSON_METRES: i32 = 4;
/// Decimals of coordinates in metres or feet in DXF.
const DXF_DECIMALS: i32 = 4;
/// What a projection and its inverse lose, in degrees: a thousandth of a millimetre on the ground.
const PROJ_ROUND_TRIP_DEG: f64 = 1e-11;

const TYPES_2D: [OGRwkbGeometryType::Type; 3] =
    [OGRwkbGeometryType::wkbPoint, OGRwkbGeometryType::wkbLineString, OGRwkbGeometryType::wkbPolygon];
const TYPES_3D: [OGRwkbGeometryType::Type; 3] =
    [OGRwkbGeometryType::wkbPoint25D, OGRwkbGeometryType::wkbLineString25D, OGRwkbGeometryType::wkbPolygon25D];

/// Decimals that mean something in a field of the layers, as the layers' documentation has it: a
/// tenth of a millimetre, a millionth of a degree of direction, 1e-9 of a degree of position. None
/// for columns carried from the logs, which keep their own.
fn decimals(field: &str) -> i32 {
    match field {
        "lat_deg" | "lon_deg" | "grid_scale" => 9,
        _ if field.ends_with("_deg") => 6,
        _ => 4,
    }
}

/// Decimals of carried numbers in a Shapefile, whose columns have a fixed count.
const CARRIED_IN_SHAPEFILE: i32 = 9;

#[derive(Debug, Clone, PartialEq)]
enum Value {
    Real(f64),
    Integer(i64),
    Text(String),
    Time(Timestamp),
}

#[derive(Debug, Clone, PartialEq)]
struct Shape {
    kind: OGRwkbGeometryType::Type,
    /// The z of a shape of two dimensions is 0.
    points: Vec<[f64; 3]>,
}

impl Shape {
    fn has_z(&self) -> bool {
        TYPES_3D.contains(&self.kind)
    }

    fn flat(&self) -> Vec<[f64; 2]> {
        self.points.iter().map(|[x, y, _]| [*x, *y]).collect()
    }
}

#[derive(Debug, Clone)]
struct Record {
    values: BTreeMap<String, Option<Value>>,
    shape: Option<Shape>,
}

impl Record {
    fn text(&self, field: &str) -> &str {
        match &self.values[field] {
            Some(Value::Text(text)) => text,
            other => panic!("{field} is {other:?}"),
        }
    }

    fn source_line(&self) -> i64 {
        match self.values["source_line"] {
            Some(Value::Integer(line)) => line,
            // Whether it is typed as an integer is a matter of its own.
            Some(Value::Real(line)) if line.fract() == 0.0 => line as i64,
            ref other => panic!("source_line is {other:?}"),
        }
    }
}

/// A layer as GDAL reads it.
struct Table {
    fields: Vec<(String, OGRFieldType::Type)>,
    geometry: OGRwkbGeometryType::Type,
    crs: Option<SpatialRef>,
    records: Vec<Record>,
}

impl Table {
    fn field_names(&self) -> Vec<&str> {
        self.fields.iter().map(|(name, _)| name.as_str()).collect()
    }

    /// Records by what tells them apart: the row they come from, the base's name, or their place.
    fn by_key(&self, layer: &str) -> BTreeMap<String, &Record> {
        let keyed: BTreeMap<String, &Record> = self
            .records
            .iter()
            .enumerate()
            .map(|(i, record)| {
                let key = match layer {
                    "bases" => record.text("base").to_owned(),
                    // Several of one row, or of several rows: their order tells them apart.
                    "ledger" | "measurements" => format!("{i:06}"),
                    // FlatGeobuf has records in the order of its index.
                    "parts" => ["measure", "name", "role"].map(|field| record.text(field)).join(" "),
                    _ if !record.values.contains_key("source_line") => record.text("name").to_owned(),
                    _ => format!("{}:{}", record.text("source_file"), record.source_line()),
                };
                (key, record)
            })
            .collect();
        assert_eq!(keyed.len(), self.records.len(), "{layer}: two records with one key");
        keyed
    }
}

/// Opens a written file, without GDAL's own files beside it.
fn open(path: &Path, options: &[&str]) -> Dataset {
    // Of every record without a geometry GDAL would say that it has none.
    standoff::inside::geodesy::crs::seclude_gdal();
    let options = DatasetOptions { open_flags: GdalOpenFlags::GDAL_OF_VECTOR, open_options: Some(options), ..Default::default() };
    Dataset::open_ex(path, options).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

fn read_layer(path: &Path, layer: Option<&str>, options: &[&str]) -> Table {
    let dataset = open(path, options);
    let mut layer = match layer {
        Some(name) => dataset.layer_by_name(name).unwrap(),
        None => {
            assert_eq!(dataset.layer_count(), 1, "{}", path.display());
            dataset.layer(0).unwrap()
        }
    };
    let fields: Vec<(String, OGRFieldType::Type)> =
        layer.defn().fields().map(|field| (field.name(), field.field_type())).collect();
    let (geometry, crs) = (layer.defn().geometry_type(), layer.spatial_ref());
    // Formats say nothing in two ways, null and not set; a filter knows both, the crate's field() only one.
    let present: Vec<BTreeSet<Option<u64>>> = fields
        .iter()
        .map(|(name, _)| {
            layer.set_attribute_filter(&format!("\"{name}\" IS NOT NULL")).unwrap();
            layer.features().map(|feature| feature.fid()).collect()
        })
        .collect();
    layer.clear_attribute_filter();
    let records = layer
        .features()
        .map(|feature| {
            let value = |(i, (name, _)): (usize, &(String, OGRFieldType::Type))| {
                let is_present = present[i].contains(&feature.fid());
                let value = is_present.then(|| match feature.field(i).unwrap().unwrap() {
                    FieldValue::RealValue(value) => Value::Real(value),
                    FieldValue::IntegerValue(value) => Value::Integer(value.into()),
                    FieldValue::Integer64Value(value) => Value::Integer(value),
                    FieldValue::StringValue(text) => Value::Text(text),
                    // The crate's time type has whole seconds only; GDAL's text has all of it.
                    FieldValue::DateTimeValue(_) => Value::Time(gdal_time(&feature.field_as_string(i).unwrap().unwrap())),
                    other => panic!("{name} of {} is {other:?}", path.display()),
                });
                (name.clone(), value)
            };
            let values = fields.iter().enumerate().map(value).collect();
            Record { values, shape: feature.geometry().and_then(shape) }
        })
        .collect();
    Table { fields, geometry, crs, records }
}

/// `2026/06/15 08:41:58.25+00`, as GDAL prints a time in UTC.
fn gdal_time(text: &str) -> Timestamp {
    let utc = text.strip_suffix("+00").unwrap_or_else(|| panic!("{text} is not in UTC"));
    utc.replace('/', "-").replace(' ', "T").parse::<jiff::civil::DateTime>().unwrap().in_tz("UTC").unwrap().timestamp()
}

fn shape(geometry: &Geometry) -> Option<Shape> {
    let mut points = Vec::new();
    if geometry.geometry_count() == 1 {
        geometry.get_geometry(0).get_points(&mut points);
    } else {
        assert_eq!(geometry.geometry_count(), 0, "{}", geometry.geometry_name());
        geometry.get_points(&mut points);
    }
    let points: Vec<[f64; 3]> = points.into_iter().map(|(x, y, z)| [x, y, z]).collect();
    (!points.is_empty()).then(|| Shape { kind: geometry.geometry_type(), points })
}

/// The layers of a run in a folder.
struct Written {
    folder: TempDir,
    name: String,
    layers: &'static [Layer],
}

impl Written {
    fn example(example: &Example) -> Written {
        Written { folder: example.mapped_in_all_formats(), name: example.name.to_owned(), layers: example.layers }
    }

    fn is_table(&self, layer: &str) -> bool {
        self.layers.iter().any(|(name, geometry)| *name == layer && geometry.is_empty())
    }

    /// Maps logs with canonical headers in all formats.
    fn logs(bases: &str, shots: &str, crs: &str) -> Written {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("bases.csv"), bases).unwrap();
        fs::write(folder.path().join("shots.csv"), shots).unwrap();
        let mut arguments = vec!["map", "--bases", "bases.csv", "--shots", "shots.csv", "--crs", crs, "--out", "out", "--quiet"];
        arguments.extend(["--instrument-height", "1.5", "--target-height", "0"]);
        FORMATS.iter().for_each(|format| arguments.extend(["--format", format]));
        standoff(folder.path(), &arguments).exits(0);
        Written { folder, name: "out".to_owned(), layers: &PLAIN }
    }

    fn out(&self) -> PathBuf {
        self.folder.path().join("out")
    }

    fn path(&self, layer: &str, extension: &str) -> PathBuf {
        let folder = match extension {
            "dbf" | "shx" | "prj" | "cpg" | "fields.csv" => "shp",
            "csvt" => "csv",
            other => other,
        };
        self.out().join(folder).join(format!("{}.{layer}.{extension}", self.name))
    }

    fn gpkg(&self, layer: &str) -> Table {
        read_layer(&self.out().join(format!("{}.gpkg", self.name)), Some(layer), &[])
    }

    fn fgb(&self, layer: &str) -> Table {
        read_layer(&self.path(layer, "fgb"), None, &[])
    }

    /// Empty text in CSV is null: the format has one way to say nothing, and no log has empty text.
    fn csv(&self, layer: &str) -> Table {
        let mut table = read_layer(&self.path(layer, "csv"), None, &["KEEP_GEOM_COLUMNS=NO"]);
        for value in table.records.iter_mut().flat_map(|record| record.values.values_mut()) {
            if *value == Some(Value::Text(String::new())) {
                *value = None;
            }
        }
        table
    }

    /// A Shapefile under its full field names, by the file that maps them.
    fn shp(&self, layer: &str) -> Table {
        let extension = if self.is_table(layer) { "dbf" } else { "shp" };
        let mut table = read_layer(&self.path(layer, extension), None, &[]);
        let full: BTreeMap<String, String> = self
            .short_names(layer)
            .into_iter()
            .map(|mut row| (row.remove("short_name").unwrap(), row.remove("name").unwrap()))
            .collect();
        table.fields.iter_mut().for_each(|(name, _)| *name = full[name].clone());
        for record in &mut table.records {
            record.values =
                std::mem::take(&mut record.values).into_iter().map(|(name, value)| (full[&name].clone(), value)).collect();
        }
        table
    }

    fn short_names(&self, layer: &str) -> Vec<BTreeMap<String, String>> {
        table(&self.path(layer, "fields.csv"))
    }

    fn geojson(&self, layer: &str) -> Table {
        read_layer(&self.path(layer, "geojson"), None, &["DATE_AS_STRING=YES"])
    }

    fn geojson_text(&self, layer: &str) -> Json {
        json(&self.path(layer, "geojson"))
    }
}

/// A run with heights known and unknown side by side, times to the millisecond, and the names that
/// layers trip over; invented.
fn mixed() -> Written {
    Written::logs(
        "base,lat_deg,lon_deg,ellipsoid_height_m,sigma_horizontal_m,sigma_vertical_m\n\
         A,58.6,-2.9,60.5,0.5,1\n\
         B,58.61,-2.91,70.25,0.5,1\n",
        "shot,base,time,horizontal_distance_m,inclination_deg,true_azimuth_deg,fid,height of the tree,height of the tripod,Größe\n\
         1,A,2026-05-04T08:00:01.250Z,100,5,90,7,3.25,1.5,klein\n\
         2,A,2026-05-04T08:00:02.5Z,120,,180,8,4.5,1.5,\"groß, \"\"alt\"\"\"\n\
         3,B,2026-05-04T08:00:03Z,50,-3,10,,,1.25,\n",
        "EPSG:32630",
    )
}

/// The examples, and the mixed run.
fn all() -> Vec<Written> {
    EXAMPLES.iter().map(Written::example).chain([mixed()]).collect()
}

/// The layer whose fields a layer has: itself, or for a layer of a catalogue the general one of its geometry.
fn general((layer, geometry): Layer) -> &'static str {
    match (layer, geometry) {
        _ if GENERAL.contains(&layer) => layer,
        (_, "POINT") => "features",
        (_, "LINESTRING") => "lines",
        _ => "areas",
    }
}

/// Layers of every run; others are a catalogue's.
const GENERAL: [&str; 12] = [
    "features",
    "bases",
    "sight_lines",
    "ellipses",
    "lines",
    "areas",
    "vertices",
    "measurements",
    "values",
    "parts",
    "profiles",
    "ledger",
];

/// What features of a catalogue's layers are measured for.
const SIZES: [&str; 2] = ["height_m", "height_sigma_m"];

/// The fields of a layer by `standoff schema layers`, in order, and their types. Points of a catalogue have the
/// title of their code behind it; of the table of values `has` tells which it has.
fn documented_of(layer: Layer, has: impl Fn(&str) -> bool) -> Vec<(String, OGRFieldType::Type)> {
    let schema: Json = serde_json::from_str(&standoff(Path::new("."), &["schema", "layers"]).exits(0).out).unwrap();
    let properties = schema["$defs"][general(layer)]["properties"].as_object().unwrap();
    let mut fields: Vec<(String, OGRFieldType::Type)> = properties
        .iter()
        .map(|(name, property)| {
            let kind = match (property["type"][0].as_str().unwrap(), property["format"].as_str()) {
                ("number", None) => OGRFieldType::OFTReal,
                ("integer", None) => OGRFieldType::OFTInteger64,
                ("string", None) => OGRFieldType::OFTString,
                ("string", Some("date-time")) => OGRFieldType::OFTDateTime,
                other => panic!("{name}: {other:?}"),
            };
            (name.clone(), kind)
        })
        .collect();
    fields.retain(|(name, _)| layer.0 != "values" || has(name));
    if general(layer) == "features" && layer.0 != "features" {
        let code = fields.iter().position(|(name, _)| name == "code").unwrap();
        fields.insert(code + 1, ("code_title".to_owned(), OGRFieldType::OFTString));
    }
    fields
}

fn documented(layer: Layer) -> Vec<(String, OGRFieldType::Type)> {
    documented_of(layer, |_| true)
}

/// Whether a printed value is the value, by the decimals printed; none where all are.
fn is_printed(value: &Option<Value>, printed: &Option<Value>, decimals: Option<i32>) -> bool {
    match (value, printed, decimals) {
        (Some(Value::Real(value)), Some(Value::Real(printed)), Some(decimals)) => {
            (value - printed).abs() <= PRINTED * 10f64.powi(-decimals)
        }
        // Whether it is typed as an integer is a matter of its own.
        (Some(Value::Integer(value)), Some(Value::Real(printed)), _) => *value as f64 == *printed,
        _ => value == printed,
    }
}

fn iso(time: Timestamp) -> String {
    time.strftime("%Y-%m-%dT%H:%M:%S%.3fZ").to_string()
}

/// As formats without a time type have it.
fn time_as_text(value: &Option<Value>) -> Option<Value> {
    match value {
        Some(Value::Time(time)) => Some(Value::Text(iso(*time))),
        other => other.clone(),
    }
}

fn json_value(value: &Json) -> Option<Value> {
    match value {
        Json::Null => None,
        Json::Number(number) if number.is_f64() => number.as_f64().map(Value::Real),
        Json::Number(number) => number.as_i64().map(Value::Integer),
        Json::String(text) => Some(Value::Text(text.clone())),
        other => panic!("{other}"),
    }
}

fn features_of(collection: &Json) -> &Vec<Json> {
    collection["features"].as_array().unwrap()
}

/// All positions of a GeoJSON geometry.
fn positions(geometry: &Json) -> Vec<Vec<f64>> {
    fn walk(value: &Json, into: &mut Vec<Vec<f64>>) {
        let items = value.as_array().unwrap();
        if items.iter().all(Json::is_number) {
            into.push(items.iter().map(|item| item.as_f64().unwrap()).collect());
        } else {
            items.iter().for_each(|item| walk(item, into));
        }
    }
    let mut all = Vec::new();
    if !geometry.is_null() {
        walk(&geometry["coordinates"], &mut all);
    }
    all
}

#[test]
fn every_format_has_every_record_and_every_field_in_order() {
    for written in all() {
        for &(layer, _) in written.layers {
            let gpkg = written.gpkg(layer);
            let place = format!("{} {layer}", written.name);
            for (format, table) in [("fgb", written.fgb(layer)), ("csv", written.csv(layer)), ("shp", written.shp(layer))] {
                assert_eq!(table.records.len(), gpkg.records.len(), "{place} {format}");
                assert_eq!(table.field_names(), gpkg.field_names(), "{place} {format}");
            }
            assert_eq!(written.geojson(layer).records.len(), gpkg.records.len(), "{place} geojson");
            let text = written.geojson_text(layer);
            assert_eq!(features_of(&text).len(), gpkg.records.len(), "{place} geojson");
            for feature in features_of(&text) {
                let names: Vec<&String> = feature["properties"].as_object().unwrap().keys().collect();
                assert_eq!(names, gpkg.field_names(), "{place} geojson");
            }
        }
    }
}

#[test]
fn what_a_person_wants_stands_first_and_how_it_came_about_last() {
    let written = Written::example(&EXAMPLES[1]);
    let gpkg = written.gpkg("poles");
    let names = gpkg.field_names();
    let first = ["feature", "code", "code_title", "class", "size", "lean", "height_ft", "height_sigma_ft"];
    let first = if names.contains(&"height_m") {
        first.map(|name| name.trim_end_matches("_ft").to_owned())
    } else {
        first.map(str::to_owned)
    };
    for (have, want) in names.iter().zip(&first) {
        assert!(have.starts_with(want.as_str()), "{names:?}");
    }
    let at =
        |start: &str| names.iter().position(|name| name.starts_with(start)).unwrap_or_else(|| panic!("{start} in {names:?}"));
    let order = [
        "ellipsoid_height",
        "radius95",
        "sigma_east",
        "flags",
        "easting",
        "REMARKS",
        "base",
        "shot",
        "time_local",
        "source_file",
    ];
    assert!(order.map(at).is_sorted(), "{names:?}");
    assert_eq!(names.last(), Some(&"source_line"));
    // The same in every format is held by `every_format_has_every_record_and_every_field_in_order`; the schema says the same.
    let documented: Vec<String> = documented(("poles", "POINT")).into_iter().map(|(name, _)| name).collect();
    let own: Vec<&&str> = names.iter().filter(|name| documented.iter().any(|known| known == **name)).collect();
    assert_eq!(own, documented.iter().collect::<Vec<_>>());
}

#[test]
fn the_examples_have_the_records_that_their_readmes_say() {
    for example in &EXAMPLES {
        let written = Written::example(example);
        let count = |layer: &str| written.gpkg(layer).records.len();
        let features: usize = of_features(example.layers).into_iter().map(count).sum();
        assert_eq!(features, example.mapped, "{}", example.folder);
        // Every shot has its line of sight, every feature its ellipse.
        assert_eq!(
            ["sight_lines", "ellipses", "bases"].map(count),
            [example.mapped + example.repeats, example.mapped, example.bases],
            "{}",
            example.folder
        );
        let ledger = written.gpkg("ledger");
        let held = ledger.records.iter().filter(|record| record.text("record") == "held").count();
        assert_eq!(held, example.held, "{}", example.folder);
    }
}

#[test]
fn fields_have_the_documented_types_in_every_format() {
    for written in all() {
        for &(layer, geometry) in written.layers {
            let gpkg = written.gpkg(layer);
            let documented = documented_of((layer, geometry), |name| gpkg.fields.iter().any(|(known, _)| known == name));
            // Columns of the log and attributes of a catalogue stand between them.
            let is_documented = |(name, _): &&(String, OGRFieldType::Type)| documented.iter().any(|(known, _)| known == name);
            let own: Vec<_> = gpkg.fields.iter().filter(is_documented).cloned().collect();
            assert_eq!(own, documented, "{} {layer}", written.name);
            assert_eq!(written.fgb(layer).fields, gpkg.fields, "{} {layer}", written.name);
            assert_eq!(written.csv(layer).fields, gpkg.fields, "{} {layer}", written.name);
            // A .dbf has no time type with a time of day: text. Its whole numbers are of 32 or 64 bits by their width.
            for ((name, kind), (_, in_shapefile)) in gpkg.fields.iter().zip(&written.shp(layer).fields) {
                let expected: &[OGRFieldType::Type] = match *kind {
                    OGRFieldType::OFTDateTime => &[OGRFieldType::OFTString],
                    OGRFieldType::OFTInteger64 => &[OGRFieldType::OFTInteger64, OGRFieldType::OFTInteger],
                    _ => std::slice::from_ref(kind),
                };
                assert!(
                    expected.contains(in_shapefile),
                    "{name} of {} {layer} is {} in the Shapefile, {} in the GeoPackage",
                    written.name,
                    field_type_to_name(*in_shapefile),
                    field_type_to_name(*kind)
                );
            }
        }
    }
}

#[test]
fn carried_columns_have_the_type_of_all_their_values() {
    use OGRFieldType::{OFTInteger64, OFTReal, OFTString};
    let behind_own = |written: &Written, layer: &'static str| {
        let own = documented((layer, "POINT"));
        let mut fields = written.gpkg(layer).fields;
        fields.retain(|(name, _)| !own.iter().any(|(known, _)| known == name));
        fields
    };
    let carried = |written: &Written| behind_own(written, "features");
    let fields = |list: &[(&str, OGRFieldType::Type)]| -> Vec<(String, OGRFieldType::Type)> {
        list.iter().map(|(name, kind)| ((*name).to_owned(), *kind)).collect()
    };
    let [cliff, line, plot] = EXAMPLES.each_ref().map(Written::example);
    assert_eq!(
        carried(&cliff),
        fields(&[("Species", OFTString), ("Chicks", OFTInteger64), ("AirTemp", OFTReal), ("Note", OFTString)])
    );
    assert_eq!(
        carried(&line),
        fields(&[("CLASS", OFTInteger64), ("LEAN", OFTString), ("TALL", OFTString), ("REMARKS", OFTString)])
    );
    // In a layer of the catalogue its attributes stand first, and columns that they come from are not there twice.
    assert_eq!(
        behind_own(&line, "poles"),
        fields(&[
            ("class", OFTInteger64),
            ("size", OFTString),
            ("lean", OFTString),
            ("height_m", OFTReal),
            ("height_sigma_m", OFTReal),
            ("REMARKS", OFTString)
        ])
    );
    // A column named fid keeps its values under another name: the GeoPackage's own is the row number.
    assert_eq!(
        carried(&plot),
        fields(&[("log_fid", OFTInteger64), ("species", OFTString), ("dbh_mm", OFTInteger64), ("remarks", OFTString)])
    );
    assert_eq!(
        behind_own(&plot, "stems"),
        fields(&[
            ("species", OFTString),
            ("dbh_mm", OFTInteger64),
            ("height_m", OFTReal),
            ("height_sigma_m", OFTReal),
            ("log_fid", OFTInteger64),
            ("remarks", OFTString)
        ])
    );
    assert_eq!(
        carried(&mixed()),
        fields(&[
            ("log_fid", OFTInteger64),
            ("height of the tree", OFTReal),
            ("height of the tripod", OFTReal),
            ("Größe", OFTString)
        ])
    );
}

#[test]
fn values_and_nulls_are_the_same_in_every_format() {
    for written in all() {
        for &(layer, geometry) in written.layers {
            let gpkg = written.gpkg(layer);
            let (gpkg, own) = (gpkg.by_key(layer), documented((layer, geometry)));
            let is_own = |name: &str| own.iter().any(|(own, _)| own == name) || SIZES.contains(&name);
            let check =
                |format: &str, key: &str, name: &str, expected: &Option<Value>, got: &Option<Value>, carried: Option<i32>| {
                    let decimals = if is_own(name) { Some(decimals(name)) } else { carried };
                    assert!(
                        is_printed(expected, got, decimals),
                        "{name} of {} {layer} {key} is {got:?} in {format}, {expected:?} in the GeoPackage",
                        written.name
                    );
                };
            let (fgb, csv, shp) = (written.fgb(layer), written.csv(layer), written.shp(layer));
            let (fgb, csv, shp) = (fgb.by_key(layer), csv.by_key(layer), shp.by_key(layer));
            for (key, record) in &gpkg {
                for (name, value) in &record.values {
                    assert_eq!(fgb[key].values[name], *value, "{name} of {} {layer} {key} in fgb", written.name);
                    check("csv", key, name, value, &csv[key].values[name], None);
                    check("shp", key, name, &time_as_text(value), &shp[key].values[name], Some(CARRIED_IN_SHAPEFILE));
                }
            }
            // GDAL guesses types in GeoJSON from what it sees; the text itself has them.
            let text = written.geojson_text(layer);
            let records = written.gpkg(layer).records;
            for (i, (feature, record)) in features_of(&text).iter().zip(&records).enumerate() {
                for (name, value) in &record.values {
                    check("geojson", &i.to_string(), name, &time_as_text(value), &json_value(&feature["properties"][name]), None);
                }
            }
        }
    }
}

#[test]
fn values_are_those_of_the_log() {
    let written = Written::example(&EXAMPLES[0]);
    let features = written.gpkg("features");
    let features = features.by_key("features");
    let text = |text: &str| (!text.is_empty()).then(|| Value::Text(text.to_owned()));
    // File and line, then feature, code, shot, base, local time, species, chicks, air temperature, note. The last
    // file is in Windows-1252.
    let check = |row: &str, texts: [&str; 5], species: &str, chicks: Option<i64>, air: f64, note: &str| {
        let values = &features[row].values;
        for (field, expected) in ["feature", "code", "shot", "base", "time_local"].iter().zip(texts) {
            assert_eq!(values[*field], text(expected), "{field} of {row}");
        }
        assert_eq!(values["time"], Some(Value::Time(texts[4].parse().unwrap())), "{row}");
        assert_eq!(values["Species"], text(species), "{row}");
        assert_eq!(values["Chicks"], chicks.map(Value::Integer), "{row}");
        assert_eq!(values["AirTemp"], Some(Value::Real(air)), "{row}");
        assert_eq!(values["Note"], text(note), "{row}");
    };
    let first = ["M1", "mark", "1", "SK-W1", "2026-06-15T09:41:58+01:00"];
    check("monday.csv:2", first, "", None, 11.3, "white mark, first shot of the day");
    let second = ["N04", "nest", "2", "SK-W1", "2026-06-15T09:42:47+01:00"];
    check("monday.csv:3", second, "kittiwake", Some(1), 11.5, "");
    let from_east = ["N01", "nest", "2", "SK-E1", "2026-06-16T08:20:01+01:00"];
    check("tuesday/east-morning.csv:3", from_east, "fulmar", Some(0), 9.7, "ledge café, as the crew calls it");
    // 0 chicks is a number, no chicks is none.
    let chicks: BTreeSet<String> = features.values().map(|record| format!("{:?}", record.values["Chicks"])).collect();
    assert!(chicks.contains("Some(Integer(0))") && chicks.contains("None"), "{chicks:?}");
}

#[test]
fn a_shot_with_nothing_vertical_has_no_height_in_any_format() {
    let plot = Written::example(&EXAMPLES[2]);
    let heights =
        ["ellipsoid_height_m", "orthometric_height_m", "geoid_undulation_m", "sigma_up_m", "sigma_geoid_m", "height95_m"];
    for (layer, records) in [("features", 10), ("stems", 53)] {
        for (format, table) in
            [("gpkg", plot.gpkg(layer)), ("fgb", plot.fgb(layer)), ("shp", plot.shp(layer)), ("csv", plot.csv(layer))]
        {
            assert_eq!(table.records.len(), records, "{layer}");
            for record in &table.records {
                assert_eq!(record.text("height_kind"), "none", "{format}");
                for height in heights {
                    assert_eq!(record.values[height], None, "{height} in {format}");
                }
            }
        }
        for feature in features_of(&plot.geojson_text(layer)) {
            for height in heights {
                assert!(feature["properties"][height].is_null(), "{feature}");
            }
            assert_eq!(positions(&feature["geometry"])[0].len(), 2, "{feature}");
        }
    }
}

#[test]
fn places_are_the_same_to_the_last_bit_in_gpkg_fgb_shp_and_csv() {
    for written in all() {
        for (layer, kind) in written.layers.iter().filter_map(|(layer, geometry)| Some((*layer, kind_of(geometry)?))) {
            let (gpkg, fgb, shp, csv) = (written.gpkg(layer), written.fgb(layer), written.shp(layer), written.csv(layer));
            let (fgb, shp, csv) = (fgb.by_key(layer), shp.by_key(layer), csv.by_key(layer));
            for (key, record) in gpkg.by_key(layer) {
                let place = format!("{} {layer} {key}", written.name);
                let shape = record.shape.as_ref().unwrap();
                assert!([TYPES_2D[kind], TYPES_3D[kind]].contains(&shape.kind), "{place}: {}", shape.kind);
                for (format, other) in [("fgb", fgb[&key]), ("shp", shp[&key])] {
                    let other = other.shape.as_ref().unwrap();
                    // GDAL turns the rings of a Shapefile, which go clockwise, as other formats have them.
                    let canonical = if kind == 2 { canonical } else { |points| points };
                    assert_eq!(canonical(other.flat()), canonical(shape.flat()), "{place} in {format}");
                }
                if kind == 0 {
                    let [x, y, _] = shape.points[0];
                    assert_eq!(record.values["easting"], Some(Value::Real(x)), "{place}");
                    assert_eq!(record.values["northing"], Some(Value::Real(y)), "{place}");
                } else {
                    assert_eq!(csv[&key].shape.as_ref(), Some(shape), "{place} in csv");
                }
                if kind == 2 {
                    assert_eq!(shape.points.first(), shape.points.last(), "{place}");
                    let corners = shape.points.len();
                    assert!(layer != "ellipses" || corners > 30, "{place}: an ellipse of {corners} corners");
                }
            }
        }
    }
}

/// Place of a geometry in the lists of types; none of a table.
fn kind_of(geometry: &str) -> Option<usize> {
    ["POINT", "LINESTRING", "POLYGON"].iter().position(|kind| *kind == geometry)
}

/// A ring in one direction from one corner.
fn canonical(points: Vec<[f64; 2]>) -> Vec<[f64; 2]> {
    let mut ring = points[1..].to_vec();
    if doubled_area(&points) < 0.0 {
        ring.reverse();
    }
    let least = (0..ring.len()).min_by(|a, b| ring[*a].partial_cmp(&ring[*b]).unwrap()).unwrap();
    ring.rotate_left(least);
    ring
}

/// Positive for a ring that goes counter-clockwise.
fn doubled_area(ring: &[[f64; 2]]) -> f64 {
    let [x0, y0] = ring[0];
    ring.windows(2).map(|w| (w[0][0] - x0) * (w[1][1] - y0) - (w[1][0] - x0) * (w[0][1] - y0)).sum()
}

#[test]
fn heights_stand_in_the_geometry_where_they_are_known_and_the_bases_where_a_format_wants_one() {
    for written in all() {
        let bases = written.gpkg("bases");
        let bases = bases.by_key("bases");
        let height = |record: &Record| match record.values["ellipsoid_height_m"] {
            Some(Value::Real(height)) => Some(height),
            _ => None,
        };
        let tables: Vec<Table> = of_features(written.layers).into_iter().map(|layer| written.gpkg(layer)).collect();
        let features: BTreeMap<String, &Record> = tables.iter().flat_map(|table| table.by_key("features")).collect();
        for layer in [of_features(written.layers).as_slice(), &["bases", "sight_lines"]].concat() {
            let gpkg = written.gpkg(layer);
            let (fgb, shp) = (written.fgb(layer), written.shp(layer));
            let (fgb, shp) = (fgb.by_key(layer), shp.by_key(layer));
            for (key, record) in gpkg.by_key(layer) {
                let place = format!("{} {layer} {key}", written.name);
                let base = height(bases[record.text("base")]).unwrap();
                let shape = record.shape.as_ref().unwrap();
                let z = |shape: &Shape| -> Vec<f64> { shape.points.iter().map(|point| point[2]).collect() };
                // A shot of several to one feature ends at its own height, which no other layer has.
                let is_alone = features.get(&key).is_some_and(|feature| feature.values["shots_used"] == Some(Value::Integer(1)));
                let own = match layer {
                    "sight_lines" if is_alone => height(features[&key]),
                    "sight_lines" => shape.has_z().then(|| shape.points[1][2]),
                    _ => height(record),
                };
                assert_eq!(shape.has_z(), own.is_some(), "{place} in gpkg");
                let ends = |end: f64| if layer == "sight_lines" { vec![base, end] } else { vec![end] };
                if let Some(own) = own {
                    assert_eq!(z(shape), ends(own), "{place} in gpkg");
                }
                for (format, other) in [("fgb", fgb[&key]), ("shp", shp[&key])] {
                    let other = other.shape.as_ref().unwrap();
                    assert!(other.has_z(), "{place} in {format}");
                    assert_eq!(z(other), ends(own.unwrap_or(base)), "{place} in {format}");
                }
            }
        }
        for table in [written.gpkg("ellipses"), written.fgb("ellipses"), written.shp("ellipses")] {
            assert_eq!(table.geometry, OGRwkbGeometryType::wkbPolygon, "{}", written.name);
        }
    }
}

#[test]
fn the_types_of_layers_are_those_of_their_geometries() {
    use OGRwkbGeometryType::{wkbLineString, wkbLineString25D, wkbNone, wkbPoint, wkbPoint25D};
    // Features, bases, sight lines, ledger: all with heights; no feature with one.
    let types = |written: &Written| ["features", "bases", "sight_lines", "ledger"].map(|layer| written.gpkg(layer).geometry);
    let [cliff, line, plot] = EXAMPLES.each_ref().map(Written::example);
    assert_eq!(types(&cliff), [wkbPoint25D, wkbPoint25D, wkbLineString25D, wkbNone]);
    assert_eq!(types(&line), [wkbPoint25D, wkbPoint25D, wkbLineString25D, wkbNone]);
    assert_eq!(types(&plot), [wkbPoint, wkbPoint25D, wkbLineString, wkbNone]);
    // Heights known and unknown side by side.
    let shapes: Vec<bool> =
        mixed().gpkg("features").records.iter().map(|record| record.shape.as_ref().unwrap().has_z()).collect();
    assert_eq!(shapes, [true, false, true]);
}

#[test]
fn a_base_without_a_height_is_no_false_zero() {
    // Two base logs, one without heights; invented.
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &str| fs::write(folder.path().join(name), text).unwrap();
    write("high.csv", "base,lat_deg,lon_deg,ellipsoid_height_m\nA,58.6,-2.9,60.5\n");
    write("flat.csv", "base,lat_deg,lon_deg\nB,58.61,-2.91\n");
    write("shots.csv", "shot,base,slope_distance_m,inclination_deg,true_azimuth_deg\n1,A,100,5,90\n2,B,120,5,180\n");
    let arguments = [
        "map",
        "--bases",
        "high.csv",
        "--bases",
        "flat.csv",
        "--shots",
        "shots.csv",
        "--crs",
        "EPSG:32630",
        "--out",
        "out",
        "--format",
        "gpkg",
        "--format",
        "fgb",
        "--format",
        "shp",
        "--quiet",
    ];
    standoff(folder.path(), &arguments).exits(0);
    let written = Written { folder, name: "out".to_owned(), layers: &PLAIN };
    for layer in ["bases", "features", "sight_lines"] {
        for (format, table) in [("gpkg", written.gpkg(layer)), ("fgb", written.fgb(layer)), ("shp", written.shp(layer))] {
            for record in table.records.iter().filter(|record| record.text("base") == "B") {
                let shape = record.shape.as_ref().unwrap();
                let is_zero = shape.has_z() && shape.points.iter().any(|point| point[2] == 0.0);
                assert!(!is_zero, "{layer} in {format}: a height that nobody measured is written as 0");
            }
        }
    }
}

#[test]
fn layers_name_their_crs_by_its_code() {
    for example in &EXAMPLES {
        let written = Written::example(example);
        for layer in drawn(example.layers) {
            for (format, table) in [("gpkg", written.gpkg(layer)), ("fgb", written.fgb(layer)), ("shp", written.shp(layer))] {
                let crs = table.crs.unwrap_or_else(|| panic!("{} {layer} in {format} has no CRS", written.name));
                assert_eq!(
                    crs.authority().ok(),
                    Some(format!("EPSG:{}", example.epsg)),
                    "{} {layer} in {format}: {}",
                    written.name,
                    crs.to_wkt().unwrap()
                );
            }
            let geojson = written.geojson(layer).crs.unwrap();
            assert!(geojson.is_geographic() && geojson.name().unwrap().starts_with("WGS 84"), "{:?}", geojson.name());
        }
        for (layer, _) in example.layers.iter().filter(|(_, geometry)| geometry.is_empty()) {
            for table in [written.gpkg(layer), written.fgb(layer), written.shp(layer)] {
                assert!(table.crs.is_none() && table.records.iter().all(|record| record.shape.is_none()), "{layer}");
            }
        }
    }
}

#[test]
fn layers_of_a_geographic_crs_have_longitude_first_and_no_easting() {
    let written = Written::logs(
        "base,lat_deg,lon_deg,ellipsoid_height_m\nA,58.6,-2.9,60.5\n",
        "shot,base,slope_distance_m,inclination_deg,true_azimuth_deg\n1,A,100,5,90\n",
        "EPSG:4326",
    );
    for (format, table) in [("gpkg", written.gpkg("bases")), ("fgb", written.fgb("bases")), ("shp", written.shp("bases"))] {
        let [base] = table.records.as_slice() else { panic!("{} bases", table.records.len()) };
        assert_eq!(base.values["easting"], None, "{format}");
        assert_eq!(base.values["northing"], None, "{format}");
        let shape = base.shape.as_ref().unwrap();
        let [lon, lat, height] = shape.points[0];
        // The base's own numbers, there and back through the earth-centred frame.
        assert!((lon + 2.9).abs() < PROJ_ROUND_TRIP_DEG && (lat - 58.6).abs() < PROJ_ROUND_TRIP_DEG, "{format}: {lon} {lat}");
        assert!((height - 60.5).abs() < 1e-6, "{format}: {height}");
        assert_eq!(table.crs.unwrap().authority().unwrap(), "EPSG:4326", "{format}");
    }
}

#[test]
fn a_vertical_datum_stands_in_z_and_the_ellipsoid_in_geojson() {
    let folder = EXAMPLES[0].copy();
    let job = read(&folder.path().join("job-with-heights.toml")).replace("# allow_global_geoid", "allow_global_geoid");
    fs::write(folder.path().join("job.toml"), job).unwrap();
    let mut arguments = vec!["map", "job.toml", "--out", "out", "--quiet"];
    FORMATS.iter().for_each(|format| arguments.extend(["--format", format]));
    standoff(folder.path(), &arguments).exits(0);
    let written = Written { folder, name: "skerrow-heights".to_owned(), layers: &PLAIN };
    let number = |record: &Record, field: &str| match record.values[field] {
        Some(Value::Real(value)) => value,
        ref other => panic!("{field} is {other:?}"),
    };
    for layer in ["features", "bases"] {
        let gpkg = written.gpkg(layer);
        let (fgb, shp) = (written.fgb(layer), written.shp(layer));
        let (fgb, shp) = (fgb.by_key(layer), shp.by_key(layer));
        for (key, record) in gpkg.by_key(layer) {
            let orthometric = number(record, "orthometric_height_m");
            for (format, record) in [("gpkg", record), ("fgb", fgb[&key]), ("shp", shp[&key])] {
                assert_eq!(record.shape.as_ref().unwrap().points[0][2], orthometric, "{layer} {key} in {format}");
            }
        }
        for (feature, record) in features_of(&written.geojson_text(layer)).iter().zip(&gpkg.records) {
            let height = positions(&feature["geometry"])[0][2];
            let ellipsoidal = number(record, "ellipsoid_height_m");
            assert!((height - ellipsoidal).abs() <= PRINTED * 10f64.powi(-GEOJSON_METRES), "{height} {ellipsoidal}");
        }
    }
    assert!(written.gpkg("features").crs.unwrap().is_compound());
    assert!(written.fgb("features").crs.unwrap().is_compound());
}

#[test]
fn geojson_has_the_members_of_rfc_7946_and_no_crs() {
    for written in all() {
        for &(layer, geometry) in written.layers {
            let path = written.path(layer, "geojson");
            let text = read(&path);
            assert!(!text.starts_with('\u{feff}') && !text.contains("\"crs\""), "{}", path.display());
            let collection = written.geojson_text(layer);
            let members: Vec<&String> = collection.as_object().unwrap().keys().collect();
            assert_eq!(collection["type"], "FeatureCollection");
            // The last three are foreign members (section 6.1), none of those that section 7.1 forbids.
            let allowed = ["type", "features", "bbox", "title", "description", "fields"];
            assert!(members.iter().all(|member| allowed.contains(&member.as_str())), "{members:?}");
            let kind = match geometry {
                "LINESTRING" => Json::from("LineString"),
                "POLYGON" => Json::from("Polygon"),
                "" => Json::Null,
                _ => Json::from("Point"),
            };
            for feature in features_of(&collection) {
                // Section 3.2: these members stand in every feature, null where there is nothing.
                let feature = feature.as_object().unwrap();
                let members: Vec<&str> = feature.keys().map(String::as_str).collect();
                assert_eq!(members, ["type", "geometry", "properties"]);
                assert_eq!(feature["type"], "Feature");
                assert!(feature["properties"].is_object());
                let geometry = &feature["geometry"];
                assert_eq!(geometry.get("type").unwrap_or(&Json::Null), &kind, "{}", path.display());
            }
        }
    }
}

#[test]
fn geojson_has_longitude_first_as_the_log_of_an_asymmetric_place_has_it() {
    // SK-W2 of bases-west.csv: 58,60222069 -2,87471344, antenna at 83,170, 2,000 over the ground.
    let written = Written::example(&EXAMPLES[0]);
    let bases = written.geojson_text("bases");
    let base = features_of(&bases).iter().find(|base| base["properties"]["base"] == "SK-W2").unwrap();
    assert_eq!(base["geometry"]["coordinates"], serde_json::json!([-2.87471344, 58.60222069, 81.17]));
}

#[test]
fn geojson_coordinates_are_those_of_the_geopackage_on_wgs84() {
    let mut wgs84 = SpatialRef::from_epsg(4326).unwrap();
    wgs84.set_axis_mapping_strategy(AxisMappingStrategy::TraditionalGisOrder);
    let tolerance = PRINTED * 10f64.powi(-GEOJSON_DEGREES) + PROJ_ROUND_TRIP_DEG;
    for written in all() {
        for layer in drawn(written.layers) {
            let gpkg = written.gpkg(layer);
            let mut crs = gpkg.crs.unwrap();
            crs.set_axis_mapping_strategy(AxisMappingStrategy::TraditionalGisOrder);
            let transform = CoordTransform::new(&crs, &wgs84).unwrap();
            for (feature, record) in features_of(&written.geojson_text(layer)).iter().zip(&gpkg.records) {
                let shape = record.shape.as_ref().unwrap();
                let (mut x, mut y): (Vec<f64>, Vec<f64>) = shape.flat().into_iter().map(|[x, y]| (x, y)).unzip();
                transform.transform_coords(&mut x, &mut y, &mut []).unwrap();
                let expected: Vec<[f64; 2]> = x.into_iter().zip(y).map(|(x, y)| [x, y]).collect();
                let got: Vec<[f64; 2]> = positions(&feature["geometry"]).iter().map(|p| [p[0], p[1]]).collect();
                // A ring may begin elsewhere, but it has the same corners.
                assert_eq!(got.len(), expected.len());
                for (got, expected) in got.iter().zip(&expected) {
                    let off = (got[0] - expected[0]).abs().max((got[1] - expected[1]).abs());
                    assert!(off <= tolerance, "{} {layer}: {got:?} against {expected:?}", written.name);
                }
            }
        }
    }
}

#[test]
fn geojson_coordinates_have_seven_decimals_and_more() {
    // Trailing zeros are not written: of random digits one number in a hundred ends in two of them.
    const SHORT_ONES: f64 = 0.03;
    for example in &EXAMPLES {
        let written = Written::example(example);
        let text = read(&written.path("ellipses", "geojson"));
        let (mut all, mut short) = (0, 0);
        for coordinates in text.split("\"coordinates\":").skip(1) {
            let coordinates = coordinates.split('}').next().unwrap();
            for number in coordinates.split(['[', ']', ',']).filter(|number| !number.is_empty()) {
                let decimals = number.split_once('.').map_or(0, |(_, decimals)| decimals.len());
                assert!(decimals <= GEOJSON_DEGREES as usize, "{number}");
                all += 1;
                short += usize::from(decimals < 8);
            }
        }
        assert!(all >= 60 * example.mapped, "{all} numbers of {} ellipses", example.mapped);
        assert!((short as f64) < SHORT_ONES * all as f64, "{short} of {all} numbers have fewer than eight decimals");
    }
}

#[test]
fn the_bbox_of_geojson_is_that_of_its_coordinates() {
    for written in all() {
        for &(layer, _) in written.layers {
            let collection = written.geojson_text(layer);
            let all: Vec<Vec<f64>> =
                features_of(&collection).iter().flat_map(|feature| positions(&feature["geometry"])).collect();
            if all.is_empty() {
                assert!(collection.get("bbox").is_none(), "{layer}");
                continue;
            }
            // Heights bound it where there are any (section 5: as many numbers as the geometries have axes, twice).
            let axes = all.iter().map(Vec::len).max().unwrap();
            let edge = |axis: usize, choose: fn(f64, f64) -> f64| {
                all.iter().filter_map(|position| position.get(axis).copied()).reduce(choose).unwrap()
            };
            let expected: Vec<f64> =
                (0..axes).map(|axis| edge(axis, f64::min)).chain((0..axes).map(|axis| edge(axis, f64::max))).collect();
            assert_eq!(collection["bbox"], serde_json::json!(expected), "{} {layer}", written.name);
        }
    }
}

#[test]
fn rings_of_geojson_are_closed_and_go_counter_clockwise() {
    for written in all() {
        for (layer, _) in written.layers.iter().filter(|(_, geometry)| *geometry == "POLYGON") {
            for feature in features_of(&written.geojson_text(layer)) {
                assert_eq!(feature["geometry"]["coordinates"].as_array().unwrap().len(), 1);
                let ring: Vec<[f64; 2]> = positions(&feature["geometry"]).iter().map(|p| [p[0], p[1]]).collect();
                assert_eq!(ring.first(), ring.last());
                assert!(ring.len() >= 4 && doubled_area(&ring) > 0.0, "{} {layer} {ring:?}", written.name);
            }
        }
    }
}

/// A base 50 m west of the antimeridian with a shot 200 m eastwards across it; invented.
fn across_the_antimeridian() -> Written {
    Written::logs(
        "base,lat_deg,lon_deg,ellipsoid_height_m\nA,-16.5,179.9995,60.5\n",
        "shot,base,slope_distance_m,inclination_deg,true_azimuth_deg\n1,A,200,5,90\n2,A,20,5,90\n",
        "EPSG:32760",
    )
}

#[test]
fn no_geojson_line_goes_round_the_earth_at_the_antimeridian() {
    // RFC 7946, section 3.1.9: such geometries should be cut in two.
    let written = across_the_antimeridian();
    let collection = written.geojson_text("sight_lines");
    for feature in features_of(&collection) {
        let geometry = &feature["geometry"];
        let lines = match geometry["type"].as_str().unwrap() {
            "MultiLineString" => geometry["coordinates"].as_array().unwrap().clone(),
            _ => vec![geometry["coordinates"].clone()],
        };
        for line in lines {
            let longitudes: Vec<f64> = line.as_array().unwrap().iter().map(|position| position[0].as_f64().unwrap()).collect();
            assert!(longitudes.windows(2).all(|w| (w[0] - w[1]).abs() < 180.0), "{geometry}");
        }
    }
}

#[test]
fn the_bbox_of_geojson_across_the_antimeridian_is_the_narrow_one() {
    // RFC 7946, section 5.2: west is then greater than east.
    let bbox = across_the_antimeridian().geojson_text("features")["bbox"].clone();
    let (west, east) = (bbox[0].as_f64().unwrap(), bbox[3].as_f64().unwrap());
    assert!(west > 179.9 && east < -179.9, "{bbox}");
}

#[test]
fn geojson_properties_are_valid_against_the_layers_schema() {
    let schema: Json = serde_json::from_str(&standoff(Path::new("."), &["schema", "layers"]).exits(0).out).unwrap();
    for written in all() {
        for &(layer, geometry) in written.layers {
            let mut schema = schema.clone();
            schema["$ref"] = Json::from(format!("#/$defs/{}", general((layer, geometry))));
            let documented = documented((layer, geometry));
            let (first, _) = documented.first().unwrap();
            let is_number = |kind: OGRFieldType::Type| [OGRFieldType::OFTReal, OGRFieldType::OFTInteger64].contains(&kind);
            let (number, _) = documented.iter().find(|(_, kind)| is_number(*kind)).unwrap();
            let validator = jsonschema::options().should_validate_formats(true).build(&schema).unwrap();
            for feature in features_of(&written.geojson_text(layer)) {
                let properties = &feature["properties"];
                let faults: Vec<String> = validator.iter_errors(properties).map(|fault| fault.to_string()).collect();
                assert_eq!(faults, Vec::<String>::new(), "{} {layer} {properties}", written.name);
                // And what is wrong is refused.
                let mut without = properties.clone();
                without.as_object_mut().unwrap().remove(first);
                let mut wrong = properties.clone();
                wrong[number.as_str()] = Json::from("7");
                assert!(!validator.is_valid(&without) && !validator.is_valid(&wrong));
            }
        }
    }
}

#[test]
fn a_drawing_opens_with_every_shape_on_the_layer_of_its_name() {
    let tolerance = PRINTED * 10f64.powi(-DXF_DECIMALS);
    for written in all() {
        let mut drawing = read_layer(&written.out().join(format!("dxf/{}.dxf", written.name)), None, &[]);
        // The names beside the points are shapes of their own to GDAL; `make test-gis` holds them to the records.
        drawing.records.retain(|record| record.values["Text"].is_none());
        let mut on_layers: BTreeMap<&str, Vec<&Shape>> = BTreeMap::new();
        for record in &drawing.records {
            on_layers.entry(record.text("Layer")).or_default().push(record.shape.as_ref().unwrap());
        }
        let bases = written.fgb("bases");
        let bases = bases.by_key("bases");
        let layers: BTreeSet<&str> = on_layers.keys().copied().collect();
        let filled = drawn(written.layers).into_iter().filter(|layer| !written.gpkg(layer).records.is_empty());
        assert_eq!(layers, filled.collect(), "{}", written.name);
        let height_of_base = |base: &str| bases[base].shape.as_ref().unwrap().points[0][2];
        // Of a string: the bases of its vertices, in its order.
        let mut strings: BTreeMap<String, Vec<f64>> = BTreeMap::new();
        if layers.contains("vertices") {
            for vertex in &written.gpkg("vertices").records {
                let heights = strings.entry(vertex.text("string").to_owned()).or_default();
                heights.push(height_of_base(vertex.text("base")));
            }
        }
        for (layer, shapes) in on_layers {
            let gpkg = written.gpkg(layer);
            assert_eq!(shapes.len(), gpkg.records.len(), "{} {layer}", written.name);
            for (drawn, record) in shapes.iter().zip(&gpkg.records) {
                let shape = record.shape.as_ref().unwrap();
                assert_eq!(drawn.points.len(), shape.points.len(), "{} {layer}", written.name);
                // Areas are drawn flat; where no height is known, that of the base stands in.
                let is_area = written.layers.contains(&(layer, "POLYGON"));
                let stand_in: Vec<f64> = match record.values.get("base") {
                    _ if is_area || shape.has_z() => vec![0.0; shape.points.len()],
                    Some(_) => vec![height_of_base(record.text("base")); shape.points.len()],
                    None => strings[record.text("name")].clone(),
                };
                for ((drawn, point), stand_in) in drawn.points.iter().zip(&shape.points).zip(stand_in) {
                    let z = if shape.has_z() && !is_area { point[2] } else { stand_in };
                    let off = (drawn[0] - point[0]).abs().max((drawn[1] - point[1]).abs()).max((drawn[2] - z).abs());
                    assert!(off <= tolerance, "{} {layer}: {drawn:?} against {point:?}, z {z}", written.name);
                }
            }
        }
    }
}

#[test]
fn shapefiles_have_their_companions_and_short_names() {
    for written in all() {
        for &(layer, _) in written.layers {
            assert_eq!(read(&written.path(layer, "cpg")), "UTF-8");
            if !written.is_table(layer) {
                let prj = read(&written.path(layer, "prj"));
                assert!(prj.starts_with("PROJCS[\"") && prj.lines().count() == 1, "{prj}");
            }
            let gpkg = written.gpkg(layer);
            let extension = if written.is_table(layer) { "dbf" } else { "shp" };
            let short = read_layer(&written.path(layer, extension), None, &[]);
            let unique: BTreeSet<String> = short.fields.iter().map(|(name, _)| name.to_uppercase()).collect();
            assert_eq!(unique.len(), gpkg.fields.len(), "{} {layer}", written.name);
            let mapping = written.short_names(layer);
            assert_eq!(mapping.len(), gpkg.fields.len());
            for ((row, (short, _)), (full, _)) in mapping.iter().zip(&short.fields).zip(&gpkg.fields) {
                assert!(short.len() <= 10 && short.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'_'), "{short}");
                assert_eq!((&row["short_name"], &row["name"]), (short, full));
                assert_eq!(row["values_cut"], "0", "{full}");
                assert!(!row["description"].is_empty(), "{full}");
            }
        }
    }
}

#[test]
fn text_too_long_for_a_shapefile_is_cut_between_letters_and_counted() {
    // A .dbf holds 254 bytes of text; ö takes two of them. Invented.
    let long = format!("a{}", "ö".repeat(200));
    let written = Written::logs(
        "base,lat_deg,lon_deg,ellipsoid_height_m\nA,58.6,-2.9,60.5\n",
        &format!(
            "shot,base,slope_distance_m,inclination_deg,true_azimuth_deg,remark\n1,A,100,5,90,{long}\n2,A,120,5,180,short\n"
        ),
        "EPSG:32630",
    );
    let remarks = |table: Table| -> Vec<String> { table.records.iter().map(|record| record.text("remark").to_owned()).collect() };
    assert_eq!(remarks(written.gpkg("features")), [long.clone(), "short".to_owned()]);
    assert_eq!(remarks(written.fgb("features")), [long, "short".to_owned()]);
    assert_eq!(remarks(written.shp("features")), [format!("a{}", "ö".repeat(126)), "short".to_owned()]);
    let cut: Vec<(String, String)> = written
        .short_names("features")
        .into_iter()
        .map(|mut row| (row.remove("name").unwrap(), row.remove("values_cut").unwrap()))
        .filter(|(_, cut)| cut != "0")
        .collect();
    assert_eq!(cut, [("remark".to_owned(), "1".to_owned())]);
}

#[test]
fn nothing_but_the_finished_files_is_left() {
    for example in &EXAMPLES {
        let folder = example.copy();
        let before = names(folder.path());
        for formats in FORMATS.iter().map(std::slice::from_ref).chain([FORMATS.as_slice()]) {
            let mut arguments = vec!["map", "job.toml", "--out", "out", "--quiet"];
            formats.iter().for_each(|format| arguments.extend(["--format", format]));
            standoff(folder.path(), &arguments).exits(0);
            assert_eq!(files(&folder.path().join("out")), expected_files_of(example.layers, example.name, formats));
            let mut after = names(folder.path());
            assert!(after.remove("out"));
            assert_eq!(after, before, "beside the output folder");
        }
    }
}
