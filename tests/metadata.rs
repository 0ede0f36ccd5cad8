//! What a data set says of itself in each format: accuracy against the records themselves, fields against the files, elements as the
//! published schemas have them (tests/reference/metadata_order.csv). `make test-gis` holds ISO/TS 19139 to its XSD itself.

use std::collections::BTreeMap;
use std::path::Path;

use gdal::vector::LayerAccess;
use gdal::{Dataset, Metadata};
use quick_xml::Reader;
use quick_xml::events::Event;
use rusqlite::Connection;

use crate::support::{EXAMPLES, drawn, files, invent_logs, json, map_invented, read, records, standoff};

/// Paths of the elements of a document with their texts, in order.
fn elements(document: &str) -> Vec<(String, String)> {
    let mut reader = Reader::from_str(document);
    let (mut open, mut found): (Vec<String>, Vec<(String, String)>) = Default::default();
    loop {
        match reader.read_event().unwrap() {
            Event::Start(start) => {
                open.push(start.name().as_ref().to_owned());
                found.push((open.join("/"), String::new()));
            }
            Event::Empty(start) => found.push((format!("{}/{}", open.join("/"), start.name().as_ref()), String::new())),
            Event::Text(text) => {
                let place = open.join("/");
                if let Some((_, known)) = found.iter_mut().rev().find(|(path, _)| *path == place) {
                    known.push_str(text.trim());
                }
            }
            Event::End(_) => drop(open.pop()),
            Event::Eof => return found,
            _ => {}
        }
    }
}

/// What the schemas allow in the elements of a document that is known by its source: names of a choice, and how often.
fn models(source: &str) -> BTreeMap<String, Vec<(Vec<String>, char)>> {
    let text = include_str!("reference/metadata_order.csv");
    let rows = csv::Reader::from_reader(text.as_bytes()).into_records().map(Result::unwrap);
    let model = |children: &str| -> Vec<(Vec<String>, char)> {
        let of = |group: &str| {
            let often = group.chars().find(|sign| "?*+".contains(*sign)).unwrap_or('1');
            (group.split('|').map(|name| name.trim_end_matches(['?', '*', '+']).to_owned()).collect(), often)
        };
        children.split(' ').map(of).collect()
    };
    rows.filter(|row| row[2].starts_with(source))
        .map(|row| (row[0].rsplit('/').next().unwrap().to_owned(), model(&row[1])))
        .collect()
}

/// Asserts that every element has what its schema allows, in order and as often, but for `exempt`, which may be missing. Elements that
/// no schema of ours describes may have one element inside, as properties have in ISO/TS 19139.
fn assert_by_schema(document: &str, source: &str, exempt: &[&str]) {
    let models = models(source);
    let (mut reader, mut open) = (Reader::from_str(document), vec![(String::new(), Vec::<String>::new())]);
    let mut checked = 0;
    loop {
        match reader.read_event().unwrap() {
            Event::Start(start) => {
                let name = start.name().as_ref().to_owned();
                open.last_mut().unwrap().1.push(name.clone());
                open.push((name, Vec::new()));
            }
            Event::Empty(start) => open.last_mut().unwrap().1.push(start.name().as_ref().to_owned()),
            Event::End(_) => {
                let (name, children) = open.pop().unwrap();
                let Some(model) = models.get(&name) else {
                    assert!(children.len() < 2, "{name} is not described: {children:?}");
                    continue;
                };
                let mut rest = children.as_slice();
                for (names, often) in model {
                    let count = rest.iter().take_while(|child| names.contains(child)).count();
                    let is_right = match often {
                        '1' => count == 1,
                        '?' => count <= 1,
                        '+' => count >= 1,
                        _ => true,
                    };
                    assert!(is_right || exempt.contains(&names[0].as_str()), "{name}: {count} of {names:?} in {children:?}");
                    rest = &rest[count..];
                }
                assert!(rest.is_empty(), "{name}: {rest:?} of {children:?}");
                checked += 1;
            }
            Event::Eof => break,
            _ => {}
        }
    }
    assert!(checked > 2, "{checked}");
}

/// The median (the upper one of an even count) and the greatest of a field.
fn middle_and_greatest(rows: &[BTreeMap<String, String>], field: &str) -> [f64; 2] {
    let mut values: Vec<f64> = rows.iter().filter_map(|row| row.get(field)?.parse().ok()).collect();
    values.sort_by(f64::total_cmp);
    [values[values.len() / 2], *values.last().unwrap()]
}

#[test]
fn each_format_tells_what_it_holds_how_sure_it_is_and_how_it_came_about() {
    let example = &EXAMPLES[0];
    let folder = example.mapped_in_all_formats();
    let out = folder.path().join("out");
    let features = records(&out.join("csv/skerrow.features.csv"));
    let [radius, height] = ["radius95_m", "height95_m"].map(|field| middle_and_greatest(&features, field));
    let sentence = format!(
        "has a radius of {:.2} m in the middle of all and {:.2} m at most; half of the 95 % interval of the height is {:.2} m in the middle \
         and {:.2} m at most.",
        radius[0], radius[1], height[0], height[1]
    );
    let connection = Connection::open(out.join("skerrow.gpkg")).unwrap();
    let text = |query: &str| -> String { connection.query_row(query, [], |row| row.get(0)).unwrap() };
    let described = text("SELECT description FROM gpkg_contents WHERE table_name = 'features'");
    for part in [sentence.as_str(), "EPSG:32630", "height above the ellipsoid", "Computed by standoff"] {
        assert!(described.contains(part), "{part}: {described}");
    }
    assert_eq!(json(&out.join("geojson/skerrow.features.geojson"))["description"], described.as_str());
    let dataset = Dataset::open(out.join("fgb/skerrow.features.fgb")).unwrap();
    let layer = dataset.layer(0).unwrap();
    let told: serde_json::Value = serde_json::from_str(&layer.metadata_item("FIELDS", "").unwrap()).unwrap();
    assert_eq!(told["sigma_up_m"]["title"], "σ up (m)");
    assert_eq!(told.as_object().unwrap().len(), layer.defn().fields().count());

    let iso = text("SELECT metadata FROM gpkg_metadata");
    assert_by_schema(&iso, "pycsw", &[]);
    let iso = elements(&iso);
    let values: Vec<f64> =
        iso.iter().filter(|(path, _)| path.ends_with("gmd:value/gco:Record")).map(|(_, value)| value.parse().unwrap()).collect();
    for (value, want) in values.iter().zip(radius.iter().chain(&height)) {
        assert!((value - want).abs() < 0.002, "{value} {want}");
    }
    assert_eq!(values.len(), 4);
    let steps = iso.iter().filter(|(path, _)| path.ends_with("gmd:LI_ProcessStep")).count();
    let inputs = json(&out.join("summary.json"))["inputs"].as_array().unwrap().len();
    assert!(steps > inputs, "{steps} steps of {inputs} inputs");
    let scopes =
        text("SELECT group_concat(reference_scope || coalesce(' ' || table_name, ''), ',') FROM gpkg_metadata_reference");
    assert!(scopes.starts_with("geopackage,table features,table bases"), "{scopes}");
}

#[test]
fn the_folder_of_delimited_text_and_the_shapefiles_describe_every_column() {
    for example in &EXAMPLES {
        let folder = example.mapped_in_all_formats();
        let out = folder.path().join("out");
        let package = json(&out.join("csv/datapackage.json"));
        let resources = package["resources"].as_array().unwrap();
        assert_eq!(resources.len(), example.layers.len(), "{}", example.name);
        for resource in resources {
            let path = out.join("csv").join(resource["path"].as_str().unwrap());
            let header = csv::Reader::from_path(&path).unwrap().headers().unwrap().clone();
            let fields = resource["schema"]["fields"].as_array().unwrap();
            let names: Vec<&str> = fields.iter().map(|field| field["name"].as_str().unwrap()).collect();
            assert_eq!(names, header.iter().collect::<Vec<_>>(), "{}", path.display());
            // Numbers of the files are numbers.
            for row in csv::Reader::from_path(&path).unwrap().records().map(|row| row.unwrap()) {
                for (field, value) in fields.iter().zip(row.iter()).filter(|(_, value)| !value.is_empty()) {
                    let is_sound = match field["type"].as_str().unwrap() {
                        "number" => value.parse::<f64>().is_ok(),
                        "integer" => value.parse::<i64>().is_ok(),
                        "datetime" => value.parse::<jiff::Timestamp>().is_ok(),
                        _ => true,
                    };
                    assert!(is_sound, "{} {value}", field["name"]);
                }
            }
        }
        assert_by_schema(&read(&out.join(format!("gpx/{}.gpx", example.name))), "gpxpy", &[]);
        for layer in drawn(example.layers) {
            let xml = read(&out.join(format!("shp/{}.{layer}.shp.xml", example.name)));
            // A coarse run does not say where it is.
            let is_exact = elements(&xml).iter().any(|(path, _)| path.ends_with("/westbc"));
            assert_by_schema(&xml, "ckanext-spatial", if is_exact { &[] } else { &["spdom"] });
            assert!(is_exact || example.name == "heron", "{}", example.name);
            let xml = elements(&xml);
            let labels: Vec<&str> =
                xml.iter().filter(|(path, _)| path.ends_with("/attrlabl")).map(|(_, label)| label.as_str()).collect();
            let table = Dataset::open(out.join(format!("shp/{}.{layer}.shp", example.name))).unwrap();
            let fields: Vec<String> = table.layer(0).unwrap().defn().fields().map(|field| field.name()).collect();
            assert_eq!(labels, fields, "{layer}");
            // The text opens as what is drawn, in its place.
            let path = out.join(format!("csv/{}.{layer}.csv", example.name));
            let text = Dataset::open(&path).unwrap();
            let mut layer = text.layer(0).unwrap();
            assert!(
                layer.spatial_ref().is_some() && layer.features().all(|feature| feature.geometry().is_some()),
                "{}",
                path.display()
            );
        }
    }
}

#[test]
fn ellipses_as_areas_are_for_small_jobs_and_for_those_who_ask() {
    let layers = |folder: &Path, more: &[&str]| {
        standoff(folder, &[&map_invented("out"), more].concat()).exits(0);
        let summary = json(&folder.join("out/summary.json"));
        let names: Vec<String> =
            summary["layers"].as_array().unwrap().iter().map(|layer| layer["name"].as_str().unwrap().to_owned()).collect();
        (names.contains(&"ellipses".to_owned()), summary["notes"].to_string().contains("The layer ellipses is left out"))
    };
    // The logs of 2000 shots, just under and just over 5 MB.
    for (remark, is_beyond) in [(2_400, false), (2_600, true)] {
        let folder = tempfile::tempdir().unwrap();
        invent_logs(folder.path(), 2_000, &"x".repeat(remark));
        let bytes = std::fs::metadata(folder.path().join("shots.csv")).unwrap().len();
        assert_eq!(bytes > 5_000_000, is_beyond, "{bytes}");
        assert_eq!(layers(folder.path(), &[]), (!is_beyond, is_beyond));
        assert_eq!(layers(folder.path(), &["--layers", "features,ellipses"]), (true, false));
        assert!(files(&folder.path().join("out")).iter().all(|file| !file.contains('/')), "the formats of a default run");
    }
}
