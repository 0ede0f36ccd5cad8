//! The styles that travel with the layers: beside the files with the names that the fields have there, in
//! the GeoPackage where desktop GIS look for them, and readable by what reads the layers.

use crate::support;

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

use gdal::Dataset;
use gdal::vector::{LayerAccess, sql};
use quick_xml::Reader;
use quick_xml::events::Event;
use rusqlite::{Connection, OpenFlags};
use standoff::inside::output::columns::Layer as Described;
use standoff::inside::output::layers;
use standoff::inside::output::style::{Naming, document, looks};
use standoff::job::catalogue::GeometryKind;
use support::*;
use tempfile::TempDir;

/// The layers of the examples with geometry.
const SPATIAL: [&str; 4] = ["features", "bases", "sight_lines", "ellipses"];

/// Texts of the elements with a name.
fn texts(document: &str, name: &str) -> Vec<String> {
    let mut reader = Reader::from_str(document);
    let (mut found, mut is_inside) = (Vec::new(), false);
    loop {
        match reader.read_event().unwrap() {
            Event::Start(start) => is_inside = start.name().as_ref() == name,
            Event::Text(text) if is_inside => found.push((*text).to_owned()),
            Event::End(_) => is_inside = false,
            Event::Eof => return found,
            _ => {}
        }
    }
}

/// The fields that a document names.
fn fields_named(document: &str) -> BTreeSet<String> {
    texts(document, "ogc:PropertyName").into_iter().collect()
}

/// Fields of a layer as GDAL reads it.
fn fields_of(path: &Path, layer: usize) -> BTreeSet<String> {
    let dataset = Dataset::open(path).unwrap();
    dataset.layer(layer).unwrap().defn().fields().map(|field| field.name()).collect()
}

/// The document of each layer.
fn documents(layers: &[Described], naming: Naming) -> Vec<Option<String>> {
    layers.iter().zip(looks(layers)).map(|(layer, look)| document(layer, &look, naming)).collect()
}

/// A height, a line and an area. Invented.
fn strings_and_parts(formats: &str) -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &str| fs::write(folder.path().join(name), text).unwrap();
    write("bases.csv", "base,lat_deg,lon_deg,ellipsoid_height_m\nA,58.6,-2.9,60\n");
    write(
        "shots.csv",
        "shot,base,measure,role,feature,string,order,true_azimuth_deg,inclination_deg,slope_distance_m\n\
         1,A,height,foot,T1,,,90,-3,\n2,A,height,top,T1,,,90,30,\n3,A,height,distance,T1,,,90,0,40\n\
         4,A,,,,wall,1,10,0,50\n5,A,,,,wall,2,20,0,55\n6,A,,,,wall,3,30,0,50\n\
         7,A,,,,pond,1,100,0,50\n8,A,,,,pond,2,120,0,55\n9,A,,close,,pond,3,130,0,30\n",
    );
    write(
        "job.toml",
        &format!(
            "name = \"cove\"\ncrs = \"EPSG:32630\"\nformats = [{formats}]\n[bases]\nfiles = [\"bases.csv\"]\n\
             crs = \"EPSG:4979\"\n[shots]\nfiles = [\"shots.csv\"]\n[heights]\ninstrument_height_m = 1.5\ntarget_height_m = 0\n"
        ),
    );
    standoff(folder.path(), &["map", "job.toml", "--out", "out", "--quiet"]).exits(0);
    folder
}

#[test]
fn each_layer_is_labelled_by_what_tells_its_records_apart() {
    let layers = layers::all("z");
    let expected: BTreeMap<&str, (&[&str], &[&str])> = [
        // Sights to bases, corners of a line of their name, and most rows of a measurement have no label.
        (
            "features",
            (
                ["feature", "flags", "measure", "role", "string"].as_slice(),
                ["FEATURE", "FLAGS", "MEASURE", "ROLE", "STRING"].as_slice(),
            ),
        ),
        ("bases", (&["base", "flags"], &["BASE", "FLAGS"])),
        // Written at the feature, not again along the line and in the ellipse.
        ("sight_lines", (&[], &[])),
        ("ellipses", (&[], &[])),
        ("lines", (&["name"], &["NAME"])),
        ("areas", (&["name"], &["NAME"])),
        // The line has the name, its vertices have their numbers.
        ("vertices", (&["number"], &["NUMBER"])),
        // The features and bases have the labels.
        ("adjusted", (&[], &[])),
        ("profiles", (&[], &[])),
        ("parts", (&["name", "role"], &["NAME", "ROLE"])),
    ]
    .into();
    let (full, short) = (documents(&layers, Naming::Full), documents(&layers, Naming::Short));
    assert_eq!((full.len(), short.len()), (layers.len(), layers.len()));
    let mut seen = 0;
    for ((layer, full), short) in layers.iter().zip(&full).zip(&short) {
        if layer.geometry == GeometryKind::None {
            assert_eq!((full, short), (&None, &None), "{}", layer.id);
            continue;
        }
        let set = |names: &[&str]| names.iter().map(|name| (*name).to_owned()).collect::<BTreeSet<String>>();
        let (full_names, short_names) = expected[&*layer.id];
        assert_eq!(fields_named(full.as_ref().unwrap()), set(full_names), "{}", layer.id);
        assert_eq!(fields_named(short.as_ref().unwrap()), set(short_names), "{}", layer.id);
        seen += 1;
    }
    assert_eq!(seen, expected.len());
}

#[test]
fn layers_of_other_names_get_a_look_each() {
    let mut layers = layers::all("z");
    let features = layers[0].clone();
    for name in ["nests", "poles"] {
        let mut layer = features.clone();
        layer.id = name.into();
        layers.insert(1, layer);
    }
    let (alone, documents) = (documents(&layers::all("z"), Naming::Full), documents(&layers, Naming::Full));
    let fills: Vec<Vec<String>> =
        documents[..3].iter().map(|document| texts(document.as_ref().unwrap(), "se:SvgParameter")).collect();
    assert_eq!(fills.iter().map(|fill| fill[0].as_str()).collect::<BTreeSet<&str>>().len(), 3, "three colours");
    // The known ones keep theirs, whatever stands before them.
    assert_eq!(documents[0], alone[0]);
    assert_eq!(documents[3..], alone[1..]);
}

#[test]
fn a_style_names_the_fields_of_the_file_that_it_lies_beside() {
    let (mut with_labels, mut labelled) = (0, 0);
    let all = FORMATS.map(|format| format!("\"{format}\"")).join(", ");
    for (folder, name, spatial) in EXAMPLES
        .iter()
        .map(|example| (example.mapped_in_all_formats(), example.name, drawn(example.layers)))
        .chain([(strings_and_parts(&all), "cove", [SPATIAL.as_slice(), &["lines", "areas", "vertices", "parts"]].concat())])
    {
        let out = folder.path().join("out");
        let written: BTreeSet<String> = files(&out).into_iter().filter(|file| file.ends_with(".sld")).collect();
        let expected: BTreeSet<String> = spatial
            .iter()
            .flat_map(|layer| ["geojson", "jsonfg", "shp", "fgb", "sld"].map(|folder| format!("{folder}/{name}.{layer}.sld")))
            .collect();
        assert_eq!(written, expected);
        // The account of the run lists them, so that the next run may replace them.
        let summary = json(&out.join("summary.json"));
        let listed: BTreeSet<String> =
            summary["files"].as_array().unwrap().iter().map(|file| file["name"].as_str().unwrap().to_owned()).collect();
        assert!(listed.is_superset(&written));
        for layer in &spatial {
            let file = |ending: &str| out.join(format!("{ending}/{name}.{layer}.{ending}"));
            let style = |folder: &str| read(&out.join(format!("{folder}/{name}.{layer}.sld")));
            let (full, short) = (fields_named(&style("sld")), fields_named(&style("shp")));
            assert!(style("sld") == style("geojson") && style("sld") == style("fgb"));
            assert_eq!(full.len(), short.len());
            with_labels += usize::from(!full.is_empty());
            labelled += usize::from(!["sight_lines", "ellipses"].contains(layer));
            for path in [file("geojson"), file("fgb")] {
                let fields = fields_of(&path, 0);
                assert!(full.is_subset(&fields), "{}: {full:?}", path.display());
            }
            assert!(short.is_subset(&fields_of(&file("shp"), 0)), "{layer}: {short:?}");
        }
    }
    assert_eq!(with_labels, labelled);
    assert_eq!(labelled, 2 + 9 + 6 + 6);
}

/// Values of an attribute of the elements with a name.
fn attributes(document: &str, element: &str, attribute: &str) -> Vec<String> {
    let mut reader = Reader::from_str(document);
    let mut found = Vec::new();
    loop {
        match reader.read_event().unwrap() {
            Event::Empty(start) | Event::Start(start) if start.name().as_ref() == element => {
                let value = start.try_get_attribute(attribute).unwrap().unwrap();
                found.push(value.normalized_value(quick_xml::XmlVersion::Implicit1_0).unwrap().into_owned());
            }
            Event::Eof => return found,
            _ => {}
        }
    }
}

/// Titles stand beside each table under the names that its fields have in that file, as GDAL reads it, and nothing that is drawn.
#[test]
fn a_table_has_the_titles_of_its_fields_beside_it() {
    let all = FORMATS.map(|format| format!("\"{format}\"")).join(", ");
    let folder = strings_and_parts(&all);
    let out = folder.path().join("out");
    for table in ["ledger", "measurements", "values"] {
        for (format, ending) in [("geojson", "geojson"), ("jsonfg", "json"), ("fgb", "fgb"), ("csv", "csv"), ("shp", "dbf")] {
            let file = out.join(format!("{format}/cove.{table}.{ending}"));
            let style = read(&file.with_extension("qml"));
            assert!(!style.contains("renderer-v2") && !style.contains("labeling"), "{format} {table}");
            assert_eq!(texts(&style, "layerGeometryType"), ["4"]);
            let titled = attributes(&style, "alias", "field");
            assert_eq!(titled.iter().cloned().collect::<BTreeSet<_>>(), fields_of(&file, 0), "{format} {table}");
            assert!(attributes(&style, "alias", "name").iter().all(|title| !title.is_empty()), "{format} {table}");
        }
        assert!(!out.join(format!("sld/cove.{table}.qml")).exists() && !out.join(format!("geojson/cove.{table}.sld")).exists());
    }
}

#[test]
fn only_formats_that_draw_have_styles_beside_them() {
    for (formats, folders) in [
        ("\"csv\", \"dxf\"", [].as_slice()),
        ("\"shp\"", &["shp"]),
        ("\"gpkg\"", &[]),
        ("\"sld\"", &["sld"]),
        ("\"geojson\"", &["geojson"]),
        ("\"fgb\", \"shp\"", &["fgb", "shp"]),
    ] {
        let folder = strings_and_parts(formats);
        let written = files(&folder.path().join("out"));
        let found: BTreeSet<String> = written.into_iter().filter(|name| name.ends_with(".sld")).collect();
        let layers = ["features", "bases", "sight_lines", "ellipses", "lines", "areas", "vertices", "parts"];
        let expected: BTreeSet<String> =
            layers.iter().flat_map(|layer| folders.iter().map(move |folder| format!("{folder}/cove.{layer}.sld"))).collect();
        assert_eq!(found, expected, "{formats}");
    }
}

#[test]
fn the_geopackage_has_the_style_of_each_layer_that_is_drawn() {
    for example in &EXAMPLES {
        let folder = example.mapped_in_all_formats();
        let out = folder.path().join("out");
        let path = out.join(format!("{}.gpkg", example.name));
        let connection = Connection::open_with_flags(&path, OpenFlags::SQLITE_OPEN_READ_ONLY).unwrap();
        let all = |query: &str| -> Vec<Vec<Option<String>>> {
            let mut statement = connection.prepare(query).unwrap();
            let columns = statement.column_count();
            let rows = statement.query_map([], |row| (0..columns).map(|i| row.get(i)).collect()).unwrap();
            rows.map(|row| row.unwrap()).collect()
        };
        let columns: Vec<Vec<Option<String>>> = all("SELECT name || ' ' || type FROM pragma_table_info('layer_styles')");
        let columns: Vec<&str> = columns.iter().map(|row| row[0].as_deref().unwrap()).collect();
        assert_eq!(
            columns.join(", "),
            "id INTEGER, f_table_catalog TEXT, f_table_schema TEXT, f_table_name TEXT, f_geometry_column TEXT, styleName TEXT, \
             styleQML TEXT, styleSLD TEXT, useAsDefault BOOLEAN, description TEXT, owner TEXT, ui TEXT, update_time DATETIME"
        );
        let rows = all("SELECT CAST(id AS TEXT), f_table_catalog, f_table_schema, f_table_name, f_geometry_column, styleName, \
                        styleQML, CAST(useAsDefault AS TEXT), owner, ui, update_time, styleSLD FROM layer_styles ORDER BY id");
        let changed = all("SELECT DISTINCT last_change FROM gpkg_contents");
        assert_eq!(changed.len(), 1, "one time for all tables");
        let spatial = drawn(example.layers);
        // Tables have titles of fields in the other form, and no SLD.
        let (tables, rows): (Vec<_>, Vec<_>) = rows.into_iter().partition(|row| row[4].as_deref() == Some(""));
        assert_eq!((tables.len() + rows.len(), rows.len()), (example.layers.len(), spatial.len()));
        assert!(tables.iter().all(|row| row[6].is_some() && row[11].is_none()));
        for (row, layer) in rows.iter().zip(&spatial) {
            let expected = [
                row[0].as_deref(),
                Some(""),
                Some(""),
                Some(*layer),
                Some("geom"),
                Some(*layer),
                row[6].as_deref().filter(|document| document.starts_with("<!DOCTYPE qgis")),
                Some("1"),
                Some(""),
                None,
                changed[0][0].as_deref(),
            ];
            assert_eq!(row[..11].iter().map(Option::as_deref).collect::<Vec<_>>(), expected);
            assert_eq!(row[11].as_deref(), Some(&*read(&out.join(format!("sld/{}.{layer}.sld", example.name)))));
        }
        // GDAL has it as a table, behind the layers.
        let dataset = Dataset::open(&path).unwrap();
        let mut styles = dataset.layer_by_name("layer_styles").unwrap();
        let table =
            |style: gdal::vector::Feature| style.field_as_string(style.field_index("f_table_name").unwrap()).unwrap().unwrap();
        let styled: Vec<String> = styles.features().map(table).collect();
        let all: std::collections::BTreeSet<&str> = example.layers.iter().map(|(layer, _)| *layer).collect();
        assert_eq!(styled.iter().map(String::as_str).collect::<std::collections::BTreeSet<_>>(), all);
        // And the project behind it.
        assert_eq!(dataset.layer_count(), example.layers.len() + 2);
        assert!(fields_named(rows[0][11].as_deref().unwrap()).is_subset(&fields_of(&path, 0)));
    }
}

#[test]
fn the_mark_of_flags_is_on_the_records_that_have_them_in_every_format() {
    let example = &EXAMPLES[0];
    let folder = example.mapped_in_all_formats();
    let file =
        |folder_of: &str, ending: &str| folder.path().join("out").join(folder_of).join(format!("{}.{ending}", example.name));
    let count = |path: &Path, layer: &str, field: &str| -> usize {
        let dataset = Dataset::open(path).unwrap();
        let query = format!("SELECT * FROM \"{layer}\" WHERE {field} IS NOT NULL");
        dataset.execute_sql(query, None, sql::Dialect::OGR).unwrap().unwrap().features().count()
    };
    // The one flagged shot of the README.
    assert_eq!(count(&file("", "gpkg"), "features", "flags"), 1);
    assert_eq!(count(&file("geojson", "features.geojson"), "skerrow.features", "flags"), 1);
    assert_eq!(count(&file("fgb", "features.fgb"), "features", "flags"), 1);
    assert_eq!(count(&file("shp", "features.shp"), "skerrow.features", "FLAGS"), 1);
}
