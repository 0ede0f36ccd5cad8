//! What is handed on to globes, receivers and services: KML, KMZ, GPX and JSON-FG. Places against pyproj, against the GeoJSON of the same
//! run (whose places `layers` holds to PROJ), and read back by the program's own intake; elements in the order of the published schemas
//! (OGC 07-147r2 `ogckml22.xsd` and GPX 1.1 `gpx.xsd`, both from memory here; `make test-gis` validates KML by the schema itself).

use std::collections::BTreeMap;
use std::fs;
use std::io::Read;
use std::path::Path;

use quick_xml::Reader;
use quick_xml::events::Event;
use serde_json::Value as Json;

use crate::support::small::Small;
use crate::support::{EXAMPLES, drawn, json, read, standoff, table};

/// An element with its texts and what is in it.
#[derive(Debug, Default, Clone)]
struct Element {
    name: String,
    attributes: BTreeMap<String, String>,
    text: String,
    inside: Vec<Element>,
}

impl Element {
    fn children(&self, name: &str) -> Vec<&Element> {
        self.inside.iter().filter(|child| child.name == name).collect()
    }

    fn child(&self, name: &str) -> Option<&Element> {
        self.inside.iter().find(|child| child.name == name)
    }

    fn text_of(&self, name: &str) -> Option<&str> {
        self.child(name).map(|child| child.text.as_str())
    }

    /// All elements of a name, at any depth.
    fn all<'e>(&'e self, name: &str, into: &mut Vec<&'e Element>) {
        for child in &self.inside {
            if child.name == name {
                into.push(child);
            }
            child.all(name, into);
        }
    }
}

fn parsed(document: &str) -> Element {
    let mut reader = Reader::from_str(document);
    let mut open = vec![Element::default()];
    loop {
        match reader.read_event().unwrap() {
            Event::Start(start) => {
                let attributes = start.attributes().map(|attribute| {
                    let attribute = attribute.unwrap();
                    (attribute.key.as_ref().to_owned(), attribute.value.into_owned())
                });
                open.push(Element {
                    name: start.name().as_ref().to_owned(),
                    attributes: attributes.collect(),
                    ..Element::default()
                });
            }
            Event::Empty(_) => panic!("no element is empty"),
            Event::Text(text) => open.last_mut().unwrap().text.push_str(&text),
            Event::GeneralRef(reference) => {
                let word: &str = &reference;
                let sign = match word {
                    "lt" => "<",
                    "gt" => ">",
                    "amp" => "&",
                    "quot" => "\"",
                    "apos" => "'",
                    other => panic!("&{other};"),
                };
                open.last_mut().unwrap().text.push_str(sign);
            }
            Event::End(_) => {
                let done = open.pop().unwrap();
                open.last_mut().unwrap().inside.push(done);
            }
            Event::Eof => return open.pop().unwrap().inside.remove(0),
            _ => {}
        }
    }
}

/// The document of an archive.
fn unpacked(path: &Path) -> String {
    let mut archive = zip::ZipArchive::new(fs::File::open(path).unwrap()).unwrap();
    assert_eq!(archive.len(), 1);
    let mut text = String::new();
    archive.by_name("doc.kml").unwrap().read_to_string(&mut text).unwrap();
    text
}

/// The places of an element, in their order: longitude, latitude and altitude where there is one.
fn coordinates(element: &Element) -> Vec<Vec<f64>> {
    let mut found = Vec::new();
    element.all("coordinates", &mut found);
    let tuples = found.iter().flat_map(|element| element.text.split_whitespace());
    tuples.map(|tuple| tuple.split(',').map(|number| number.parse().unwrap()).collect()).collect()
}

fn positions(geometry: &Json) -> Vec<Vec<f64>> {
    match geometry.as_array() {
        Some(items) if items.iter().all(Json::is_number) => vec![items.iter().map(|item| item.as_f64().unwrap()).collect()],
        Some(items) => items.iter().flat_map(positions).collect(),
        None => Vec::new(),
    }
}

fn data(placemark: &Element) -> BTreeMap<&str, &str> {
    let mut found = Vec::new();
    placemark.all("SimpleData", &mut found);
    found.iter().map(|element| (element.attributes["name"].as_str(), element.text.as_str())).collect()
}

/// Each child is one of those known, in their order.
#[track_caller]
fn is_in_order(element: &Element, known: &[&str]) {
    let places: Vec<usize> = element
        .inside
        .iter()
        .map(|child| {
            known.iter().position(|name| *name == child.name).unwrap_or_else(|| panic!("{} in {}", child.name, element.name))
        })
        .collect();
    assert!(places.is_sorted(), "{}: {places:?}", element.name);
}

#[test]
fn the_document_for_a_globe_has_every_record_of_every_layer_in_its_place() {
    for example in &EXAMPLES {
        let folder = example.mapped_in_all_formats();
        let out = folder.path().join("out");
        let text = read(&out.join(format!("kml/{}.kml", example.name)));
        assert_eq!(unpacked(&out.join(format!("kmz/{}.kmz", example.name))), text, "the archive has the same document");
        let kml = parsed(&text);
        let document = kml.child("Document").unwrap();
        is_in_order(document, &["name", "open", "description", "Style", "Schema", "Folder"]);
        let layers = drawn(example.layers);
        assert_eq!(document.children("Folder").len(), layers.len());
        for (layer, folder) in layers.iter().zip(document.children("Folder")) {
            let collection = json(&out.join(format!("geojson/{}.{layer}.geojson", example.name)));
            let (features, placemarks) = (collection["features"].as_array().unwrap(), folder.children("Placemark"));
            assert_eq!(features.len(), placemarks.len(), "{layer}");
            is_in_order(folder, &["name", "description", "Placemark"]);
            for (feature, placemark) in features.iter().zip(placemarks) {
                is_in_order(
                    placemark,
                    &[
                        "name",
                        "visibility",
                        "description",
                        "styleUrl",
                        "ExtendedData",
                        "MultiGeometry",
                        "Point",
                        "LineString",
                        "Polygon",
                    ],
                );
                let (want, have) = (positions(&feature["geometry"]["coordinates"]), coordinates(placemark));
                assert_eq!(want.len(), have.len(), "{layer}");
                for (want, have) in want.iter().zip(&have) {
                    // Both print 9 decimals of a degree.
                    assert_eq!(want[..2], have[..2], "{layer}");
                }
                let (values, properties) = (data(placemark), feature["properties"].as_object().unwrap());
                let known = properties.iter().filter(|(_, value)| !value.is_null());
                assert_eq!(known.clone().count(), values.len(), "{layer}");
                for (name, value) in known {
                    let shown = values[name.as_str()];
                    match value {
                        Json::String(text) => assert_eq!(text, shown),
                        number => assert_eq!(number.as_f64().unwrap(), shown.parse::<f64>().unwrap(), "{layer} {name}"),
                    }
                }
            }
        }
    }
}

#[test]
fn an_altitude_is_absolute_only_above_the_geoid() {
    let folder = EXAMPLES[0].mapped_in_all_formats();
    let kml = parsed(&read(&folder.path().join("out/kml/skerrow.kml")));
    let mut placemarks = Vec::new();
    kml.all("Placemark", &mut placemarks);
    let (mut absolute, mut on_the_ground) = (0, 0);
    for placemark in placemarks.iter().filter(|placemark| placemark.child("Point").is_some()) {
        let values = data(placemark);
        let point = placemark.child("Point").unwrap();
        is_in_order(point, &["altitudeMode", "coordinates"]);
        let place = &coordinates(placemark)[0];
        match values.get("ellipsoid_height_m") {
            Some(height) => {
                assert_eq!(point.text_of("altitudeMode"), Some("absolute"));
                // The format's geoid is EGM96, and so is the program's own, which the example uses: the altitude is its height above that.
                let above: f64 = values["orthometric_height_m"].parse().unwrap();
                assert_eq!(values["geoid"], "global");
                // Both print a tenth of a millimetre.
                assert!((place[2] - above).abs() < 1.01e-4, "{} {above} {height}", place[2]);
                absolute += 1;
            }
            None => {
                assert_eq!((place.len(), point.text_of("altitudeMode")), (2, Some("clampToGround")));
                on_the_ground += 1;
            }
        }
    }
    assert!(absolute > 10, "{absolute} {on_the_ground}");
    // A level shot has no height, and none in the balloon.
    let small =
        Small::new("shot,base,horizontal_distance_m,inclination_deg,true_azimuth_deg\n1,A,100,,90\n2,A,100,3,90\n", "", "");
    small.map();
    let kml = parsed(&read(&small.folder.path().join("out/kml/cove.kml")));
    let mut placemarks = Vec::new();
    kml.all("Placemark", &mut placemarks);
    let of = |shot: &str| (*placemarks.iter().find(|placemark| data(placemark).get("shot") == Some(&shot)).unwrap()).clone();
    let [level, steep] = ["1", "2"].map(of);
    assert_eq!(level.child("Point").unwrap().text_of("altitudeMode"), Some("clampToGround"));
    assert_eq!(steep.child("Point").unwrap().text_of("altitudeMode"), Some("absolute"));
    assert!(!level.text_of("description").unwrap().contains("height ("));
    // The balloon's standard errors are those of the fields: two digits of each.
    let (values, said) = (data(&steep), steep.text_of("description").unwrap().to_owned());
    let number = |name: &str| values[name].parse::<f64>().unwrap();
    assert_eq!(values["height_kind"], "ellipsoidal");
    let digits = |sigma: f64| (1.0 - sigma.log10().floor()) as usize;
    for (title, name, sigma) in [
        ("ellipsoid height (m)", "ellipsoid_height_m", number("sigma_up_m")),
        ("orthometric height (m)", "orthometric_height_m", number("sigma_up_m").hypot(number("sigma_geoid_m"))),
    ] {
        let d = digits(sigma);
        let line = format!("{title}: {:.d$} ± {sigma:.d$} (σ)", number(name));
        assert!(said.split("<br/>").any(|known| known == line), "{line} in {said}");
    }
}

/// Foot and top of a thing have its name; each placemark tells which it is, in its name and in its balloon.
#[test]
fn points_of_a_measurement_are_told_apart_on_a_globe() {
    let rows = "shot,base,feature,measure,role,true_azimuth_deg,inclination_deg,slope_distance_m\n\
                1,A,Mast,height,foot,90,-2,40\n2,A,Mast,height,top,90,25,\n";
    let small = Small::new(rows, "", "");
    small.map();
    let kml = parsed(&read(&small.folder.path().join("out/kml/cove.kml")));
    let mut placemarks = Vec::new();
    kml.all("Placemark", &mut placemarks);
    let parts = placemarks.iter().filter(|placemark| placemark.text_of("styleUrl") == Some("#look_parts"));
    let told: Vec<(&str, bool)> = parts
        .map(|placemark| {
            let role = data(placemark)["role"];
            (
                placemark.text_of("name").unwrap(),
                placemark.text_of("description").unwrap().contains(&format!("role: {role}<br/>")),
            )
        })
        .collect();
    assert_eq!(told, [("foot Mast", true), ("top Mast", true)]);
}

#[test]
fn places_on_wgs84_agree_with_pyproj_and_those_in_the_crs_with_the_log() {
    let known = table(Path::new("tests/reference/wgs84_of_grids.csv"));
    assert_eq!(known.len(), 4);
    for row in known {
        let (epsg, unit) = (&row["epsg"], &row["unit"]);
        let folder = tempfile::tempdir().unwrap();
        let bases = format!("base,east_{unit},north_{unit},ellipsoid_height_m\nA,{},{},60\n", row["east"], row["north"]);
        fs::write(folder.path().join("bases.csv"), bases).unwrap();
        fs::write(
            folder.path().join("shots.csv"),
            "shot,base,horizontal_distance_m,inclination_deg,true_azimuth_deg\n1,A,50,2,90\n",
        )
        .unwrap();
        let crs = format!("EPSG:{epsg}");
        let mut arguments = vec!["map", "--bases", "bases.csv", "--shots", "shots.csv", "--crs", &crs, "--out", "out", "--quiet"];
        arguments.extend(["--instrument-height", "1.5", "--target-height", "0", "--format", "kml", "--format", "gpx"]);
        arguments.extend(["--format", "jsonfg"]);
        standoff(folder.path(), &arguments).exits(0);
        let number = |name: &str| row[name].parse::<f64>().unwrap();
        // The table prints 10 decimals of a degree, the files 9: a tenth of a millimetre.
        let is_there = |lon: f64, lat: f64| {
            assert!((lon - number("lon_deg")).abs() < 1.1e-9 && (lat - number("lat_deg")).abs() < 1.1e-9, "{epsg}: {lon} {lat}");
        };
        let kml = parsed(&read(&folder.path().join("out/kml/out.kml")));
        let mut placemarks = Vec::new();
        kml.all("Placemark", &mut placemarks);
        let base = placemarks.iter().find(|placemark| placemark.text_of("name") == Some("A")).unwrap();
        let place = &coordinates(base)[0];
        is_there(place[0], place[1]);
        let gpx = parsed(&read(&folder.path().join("out/gpx/out.gpx")));
        let base = *gpx.children("wpt").iter().find(|point| point.text_of("name") == Some("A")).unwrap();
        is_there(base.attributes["lon"].parse().unwrap(), base.attributes["lat"].parse().unwrap());
        let collection = json(&folder.path().join("out/jsonfg/out.bases.json"));
        assert_eq!(collection["coordRefSys"], format!("http://www.opengis.net/def/crs/EPSG/0/{epsg}"));
        let base = &collection["features"][0];
        let [geometry, place] = ["geometry", "place"].map(|member| positions(&base[member]["coordinates"])[0].clone());
        is_there(geometry[0], geometry[1]);
        // In the order of the authority: EPSG:2180 counts the northing first (EPSG Dataset; pyproj says the same).
        let want = if epsg == "2180" { [number("north"), number("east")] } else { [number("east"), number("north")] };
        // Four decimals are printed.
        assert!(place.len() == 2 && (0..2).all(|axis| (place[axis] - want[axis]).abs() < 1e-4), "{epsg}: {place:?}");
    }
}

#[test]
fn json_fg_has_the_members_that_its_core_wants() {
    for example in &EXAMPLES {
        let folder = example.mapped_in_all_formats();
        let out = folder.path().join("out");
        for (layer, geometry) in example.layers {
            let of = |format: &str, ending: &str| json(&out.join(format!("{format}/{}.{layer}.{ending}", example.name)));
            let (fg, plain) = (of("jsonfg", "json"), of("geojson", "geojson"));
            assert!(fg["conformsTo"].as_array().unwrap().iter().any(|class| class.as_str().unwrap().ends_with("/conf/core")));
            assert_eq!(fg["featureType"], *layer);
            let dimension = [("", Json::Null), ("POINT", 0.into()), ("LINESTRING", 1.into()), ("POLYGON", 2.into())];
            assert_eq!(fg["geometryDimension"], dimension.iter().find(|(name, _)| name == geometry).unwrap().1, "{layer}");
            let (features, others) = (fg["features"].as_array().unwrap(), plain["features"].as_array().unwrap());
            assert_eq!(features.len(), others.len());
            for (feature, other) in features.iter().zip(others) {
                // Whoever reads GeoJSON alone finds the same.
                assert_eq!((&feature["geometry"], &feature["properties"]), (&other["geometry"], &other["properties"]));
                let object = feature.as_object().unwrap();
                assert!(["type", "time", "place", "geometry", "properties"].iter().all(|member| object.contains_key(*member)));
                assert_eq!(feature["place"].is_null(), geometry.is_empty());
                let time = feature["properties"].get("time").cloned().unwrap_or_default();
                assert_eq!(feature["time"].get("timestamp").cloned().unwrap_or_default(), time, "{layer}");
                if let Some(east) = feature["properties"].get("easting").filter(|_| *geometry == "POINT") {
                    let place = &positions(&feature["place"]["coordinates"])[0];
                    // Both print four decimals.
                    assert_eq!([east, &feature["properties"]["northing"]], [&Json::from(place[0]), &Json::from(place[1])]);
                }
            }
        }
    }
}

#[test]
fn receivers_get_every_feature_and_base_with_its_height_above_the_geoid() {
    for example in &EXAMPLES {
        let folder = example.mapped_in_all_formats();
        let out = folder.path().join("out");
        let gpx = parsed(&read(&out.join(format!("gpx/{}.gpx", example.name))));
        assert_eq!((gpx.name.as_str(), gpx.attributes["version"].as_str()), ("gpx", "1.1"));
        let points = gpx.children("wpt");
        assert_eq!(points.len(), example.mapped + example.bases, "{}", example.name);
        for point in &points {
            is_in_order(point, &["ele", "time", "name", "desc", "type"]);
        }
        let layers: Vec<&str> = crate::support::of_features(example.layers).into_iter().chain(["bases"]).collect();
        let mut found = 0;
        for layer in layers {
            let collection = json(&out.join(format!("geojson/{}.{layer}.geojson", example.name)));
            for feature in collection["features"].as_array().unwrap() {
                let place = &positions(&feature["geometry"]["coordinates"])[0];
                let at = |point: &&&Element| {
                    ["lon", "lat"].map(|axis| point.attributes[axis].parse::<f64>().unwrap()) == [place[0], place[1]]
                };
                let name = feature["properties"].get("feature").or(feature["properties"].get("base")).unwrap();
                let same: Vec<&&Element> =
                    points.iter().filter(at).filter(|point| point.text_of("name") == name.as_str()).collect();
                assert!(!same.is_empty(), "{layer} {name}");
                let elevation = same[0].text_of("ele").map(|text| text.parse::<f64>().unwrap());
                assert_eq!(elevation, height_in_metres(&feature["properties"]), "{layer} {name}");
                found += 1;
            }
        }
        assert_eq!(found, points.len());
    }
}

/// The height above the geoid of a record, in the digits of the files.
fn height_in_metres(properties: &Json) -> Option<f64> {
    properties["orthometric_height_m"].as_f64()
}

#[test]
fn the_programs_own_intake_reads_them_back() {
    let folder = EXAMPLES[0].mapped_in_all_formats();
    let out = folder.path().join("out");
    let collection = json(&out.join("geojson/skerrow.features.geojson"));
    let features = collection["features"].as_array().unwrap();
    for (file, heights) in
        [("kml/skerrow.kml", ""), ("kmz/skerrow.kmz", ""), ("gpx/skerrow.gpx", "gpx_heights = \"orthometric\"\n")]
    {
        let name = features[0]["properties"]["feature"].as_str().unwrap();
        let small = Small::new(
            &format!("shot,base,horizontal_distance_m,inclination_deg,true_azimuth_deg\n1,{name},50,2,90\n"),
            "",
            "antenna_height_m = 0\n",
        );
        let read_name = file.rsplit('/').next().unwrap();
        fs::copy(out.join(file), small.folder.path().join(read_name)).unwrap();
        let job = read(&small.folder.path().join("job.toml"))
            .replace("\"bases.csv\"", &format!("\"{read_name}\""))
            .replace("crs = \"EPSG:4979\"\n", &format!("crs = \"EPSG:4979\"\n{heights}"));
        small.write("job.toml", &job);
        standoff(small.folder.path(), &["map", "job.toml", "--out", "out", "--quiet", "--format", "csv"]).exits(0);
        let bases = table(&small.folder.path().join("out/csv/cove.bases.csv"));
        let (base, want) = (bases.iter().find(|base| base["base"] == name).unwrap(), &features[0]);
        let place = &positions(&want["geometry"]["coordinates"])[0];
        let number = |field: &str| base[field].parse::<f64>().unwrap();
        // 9 decimals of a degree on the way.
        assert!((number("lon_deg") - place[0]).abs() < 1.1e-9 && (number("lat_deg") - place[1]).abs() < 1.1e-9, "{file}");
        let height = want["properties"]["ellipsoid_height_m"].as_f64().unwrap();
        // The files have the height above the geoid, to which the same geoid is added again. A tenth of a millimetre is printed on each way.
        assert!((number("ellipsoid_height_m") - height).abs() < 3.1e-4, "{file}: {} {height}", number("ellipsoid_height_m"));
    }
}

#[test]
fn a_local_frame_is_refused_with_what_to_do() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("shots.csv"), "shot,horizontal_distance_m,inclination_deg,true_azimuth_deg\n1,50,2,90\n")
        .unwrap();
    for format in ["kml", "kmz", "gpx", "jsonfg"] {
        let job = format!(
            "name = \"yard\"\ncrs = \"local\"\nformats = [\"{format}\"]\n[shots]\nfiles = [\"shots.csv\"]\n[heights]\n\
             instrument_height_m = 1.5\ntarget_height_m = 0\n[north]\n"
        );
        fs::write(folder.path().join("job.toml"), job).unwrap();
        let refused = standoff(folder.path(), &["map", "job.toml", "--out", "out"]).exits(1);
        assert!(refused.err.contains("a local frame does not have; take "), "{}", refused.err);
    }
}
