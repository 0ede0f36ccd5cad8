//! Feature codes at work: layers by code, typed attributes with domains, tolerances, unknown codes, coarse copies. Logs
//! and catalogues are invented. Domains are read back by GDAL, the library that desktop GIS opens GeoPackages with.

use crate::support;

use std::ffi::{CStr, CString};
use std::fs;

use gdal::Dataset;
use gdal::vector::LayerAccess;
use serde_json::json;
use support::small::{Record, Small};

const HEADER: &str = "shot,base,code,feature,string,role,measure,true_azimuth_deg,inclination_deg,slope_distance_m,target_height_m,Species,GBH,remark\n";

const CATALOGUE: &str = r#"
title = "Shore"
[[codes]]
code = "stem"
title = "Living stem"
layer = "stems"
geometry = "point"
aliases = ["st"]
target_height_m = 1.3
face_diameter_m = 0.4
sigma_face_diameter_m = 0.1
tolerance_horizontal95_m = 1.5
attributes = ["species", "girth_cm"]
required = ["species"]
[[codes]]
code = "post*"
title = "Post"
layer = "posts"
geometry = "point"
[[codes]]
code = "bank"
title = "Top of the bank"
layer = "banks"
geometry = "line"
attributes = ["species"]
[[codes]]
code = "reed"
title = "Reed bed"
layer = "reeds"
geometry = "area"
[layers.stems]
title = "Stems"
description = "Stems over 5 cm of girth."
[attributes.species]
type = "text"
title = "Species"
list = { oak = "any oak", ash = "common ash" }
[attributes.girth_cm]
type = "real"
unit = "cm"
columns = ["GBH"]
least = 5
greatest = 900
"#;

fn small(rows: &str, catalogue: &str) -> Small {
    let job = Small::new(&format!("{HEADER}{rows}"), "catalogue = \"shore.toml\"", "");
    job.write("shore.toml", catalogue);
    job
}

fn number(record: &Record, field: &str) -> f64 {
    record[field].parse().unwrap_or_else(|_| panic!("{field} is \"{}\"", record[field]))
}

#[track_caller]
fn assert_near(got: f64, want: f64, within: f64) {
    assert!((got - want).abs() <= within, "{got} is not {want} within {within}");
}

#[test]
fn each_code_has_its_layer_its_attributes_and_its_heights() {
    let job = small(
        "1,A,ST,T1,,,,90,0,50,,Oak,44,thin\n2,A,post-3,P1,,,,180,0,50,,,,leans\n3,A,stem,T2,,,,0,0,50,0.5,ash,12,\n",
        CATALOGUE,
    );
    let summary = job.map();
    assert_eq!((summary["shots"]["mapped"].clone(), summary["shots"]["flagged"].clone()), (json!(3), json!(0)));
    assert_eq!(job.layer("features").len(), 0);
    let (first, second, post) = (job.feature("stems", "T1"), job.feature("stems", "T2"), job.feature("posts", "P1"));
    // The list's spelling; the log's own code beside what the catalogue calls it.
    assert_eq!((first["species"].as_str(), first["code"].as_str(), first["code_title"].as_str()), ("oak", "ST", "Living stem"));
    assert_eq!((first["girth_cm"].as_str(), first["remark"].as_str(), post["remark"].as_str()), ("44", "thin", "leans"));
    // A column that is an attribute is not carried a second time; another layer carries it.
    assert!(!first.contains_key("GBH") && post.contains_key("GBH"));
    // Level sights from 61.5 m, down to the ground by the target height: the code's, the row's, the job's 0.
    assert_near(number(&first, "ellipsoid_height_m"), 61.5 - 1.3, 0.001);
    assert_near(number(&second, "ellipsoid_height_m"), 61.5 - 0.5, 0.001);
    assert_near(number(&post, "ellipsoid_height_m"), 61.5, 0.001);
    // Half of the diameter on to the centre, and half of its standard error into the distance's.
    assert_near(number(&first, "horizontal_distance_m"), 50.2, 1e-4);
    assert_near(number(&first, "sigma_east_m"), 0.5f64.hypot(0.2).hypot(0.05), 1e-4);
    assert_eq!((first["face_diameter_m"].as_str(), post["face_diameter_m"].as_str()), ("0.4", ""));
    assert_near(number(&post, "horizontal_distance_m"), 50.0, 1e-4);
}

#[test]
fn what_the_catalogue_does_not_allow_is_flagged_and_kept() {
    let job =
        small("1,A,stem,T1,,,,90,0,50,,yew,2,\n2,A,stem,T2,,,,90,0,40,,,thick,\n3,A,stem,T3,,,,90,0,150,,ash,50,\n", CATALOGUE);
    let summary = job.map();
    assert_eq!(summary["shots"]["flags"], json!({"attribute_missing": 1, "attribute_value": 2, "misses_tolerance": 1}));
    let stems = job.layer("stems");
    let of = |field: &str| stems.iter().map(|stem| stem[field].as_str()).collect::<Vec<_>>();
    assert_eq!(of("species"), ["yew", "", "ash"]);
    assert_eq!(of("girth_cm"), ["2", "", "50"]);
    assert_eq!(of("flags"), ["attribute_value", "attribute_value attribute_missing", "misses_tolerance"]);
    let ledger = job.ledger();
    assert!(
        ledger[&2].1.ends_with("species \"yew\" is not one of: ash, oak; girth_cm \"2\" is not one of: 5 to 900"),
        "{}",
        ledger[&2].1
    );
    assert!(ledger[&3].1.contains("species is empty, and stem needs it"), "{}", ledger[&3].1);
    assert!(ledger[&3].1.contains("girth_cm \"thick\" is not one of: 5 to 900, and is left empty"), "{}", ledger[&3].1);
}

#[test]
fn unknown_codes_are_flagged_or_have_a_layer_or_are_held() {
    let rows = "1,A,bush,X1,,,,90,0,50,,,,\n2,A,,X2,,,,90,0,60,,,,\n3,A,bush,X3,,,,90,0,70,,,,\n4,A,stem,T1,,,,90,0,50,,oak,9,\n";
    let kept = small(rows, CATALOGUE);
    let summary = kept.map();
    assert_eq!(summary["shots"]["flags"], json!({"unknown_code": 3}));
    assert_eq!((kept.layer("features").len(), kept.layer("stems").len()), (3, 1));
    let notes = summary["notes"].to_string();
    assert!(
        notes.contains("Codes that shore.toml does not have, with their rows, mapped to features: no code (1), bush (2)."),
        "{notes}"
    );

    let own = small(rows, &format!("unknown = {{ layer = \"uncoded\" }}\n{CATALOGUE}"));
    own.map();
    assert_eq!((own.layer("features").len(), own.layer("uncoded").len()), (0, 3));

    let held = small(rows, &format!("unknown = {{ action = \"hold\" }}\n{CATALOGUE}"));
    assert_eq!(held.map()["shots"]["held_by_reason"], json!({"unknown_code": 3}));
    let ledger = held.ledger();
    assert_eq!(ledger[&2].1, "the catalogue shore.toml has no code \"bush\"");
    assert_eq!(ledger[&3].1, "the row has no code, and the catalogue shore.toml holds such rows");
}

/// A sight to another base orients; it is no feature that a crew would code. One with a code that nobody knows is told all the same.
#[test]
fn a_sight_to_a_base_needs_no_code() {
    let rows = "1,A,,B,,backsight,,0,-0.77,111.4,,,,\n2,B,,A,,foresight,,180,-0.77,111.4,,,,\n3,A,post1,P1,,,,90,0,50,,,,\n";
    for unknown in ["", "unknown = { action = \"hold\" }\n", "unknown = { layer = \"uncoded\" }\n"] {
        let job = small(rows, &format!("{unknown}{CATALOGUE}"));
        let summary = job.map();
        assert_eq!((&summary["shots"]["flags"], &summary["shots"]["held"]), (&json!({}), &json!(0)), "{unknown}");
        assert_eq!(job.layer("features").len(), 2, "{unknown}");
        assert!(!summary["notes"].to_string().contains("no code"), "{unknown}");
    }
    let coded = small(&rows.replace("1,A,,B", "1,A,mark,B"), &format!("unknown = {{ action = \"hold\" }}\n{CATALOGUE}"));
    assert_eq!(coded.map()["shots"]["held_by_reason"], json!({"unknown_code": 1}));
}

#[test]
fn lines_and_areas_have_layers_of_their_codes() {
    let job = small(
        "1,A,bank,,b1,,,80,0,50,,,,\n2,A,bank,,b1,,,90,0,50,,oak,,\n3,A,bank,,b1,end,,100,0,52,,,,\n\
         4,A,reed,,r1,,,180,0,40,,,,\n5,A,reed,,r1,,,200,0,40,,,,\n6,A,reed,,r1,,,190,0,60,,,,\n\
         7,A,bank,L1,,,,10,0,20,,,,\n",
        CATALOGUE,
    );
    let summary = job.map();
    assert_eq!((job.layer("lines").len(), job.layer("areas").len()), (0, 0));
    let banks = job.layer("banks");
    assert_eq!(banks.len(), 1);
    // An attribute of a line is that of its first vertex that has one.
    assert_eq!((banks[0]["name"].as_str(), banks[0]["species"].as_str(), banks[0]["vertices"].as_str()), ("b1", "oak", "3"));
    // The code closes an area that no role closes. A triangle: two sides of 40 and 60 m with 10 degrees between, twice.
    let reeds = job.layer("reeds");
    assert_near(
        number(&reeds[0], "area_ellipsoid_m2"),
        2.0 * 0.5 * 40.0 * 60.0 * 10f64.to_radians().sin() - 0.5 * 40.0 * 40.0 * 20f64.to_radians().sin(),
        0.2,
    );
    assert_eq!(job.layer("vertices").len(), 6);
    // A row that names no string is told.
    assert_eq!(summary["shots"]["flags"], json!({"no_string": 1}));
    assert_eq!(job.feature("features", "L1")["flags"], "no_string");
}

#[test]
fn the_foot_of_a_height_stands_in_the_layer_of_its_code() {
    let job = small("1,A,stem,T1,,foot,height,90,-2,40,0,oak,44,\n2,A,stem,T1,,top,height,90,25,44,0,oak,44,\n", CATALOGUE);
    job.map();
    assert_eq!(job.layer("stems").len(), 1);
    assert_eq!(job.feature("stems", "T1")["role"], "foot");
    assert_eq!(job.feature("features", "T1")["role"], "top");
    // The rows of a measurement keep the face they were shot at.
    assert_eq!(job.feature("stems", "T1")["face_diameter_m"], "");
}

/// Domains as GDAL reads them: of a list code and meaning, of a range its ends.
fn domain(dataset: &Dataset, layer: &str, field: &str) -> Option<Vec<String>> {
    let layer = dataset.layer_by_name(layer).unwrap();
    let index = layer.defn().field_index(field).unwrap();
    let name = CString::new(field).unwrap();
    // SAFETY: handles of an open dataset; texts are copied before it is closed.
    unsafe {
        let defined = gdal_sys::OGR_FD_GetFieldDefn(layer.defn().c_defn(), index as i32);
        let said = CStr::from_ptr(gdal_sys::OGR_Fld_GetDomainName(defined)).to_str().unwrap().to_owned();
        if said.is_empty() {
            return None;
        }
        assert_eq!(said, field);
        let domain = gdal_sys::GDALDatasetGetFieldDomain(dataset.c_dataset(), name.as_ptr());
        assert!(!domain.is_null(), "{field}");
        let mut values = Vec::new();
        if gdal_sys::OGR_FldDomain_GetDomainType(domain) == gdal_sys::OGRFieldDomainType::OFDT_CODED {
            let mut value = gdal_sys::OGR_CodedFldDomain_GetEnumeration(domain);
            while !(*value).pszCode.is_null() {
                let text = |pointer: *mut std::ffi::c_char| CStr::from_ptr(pointer).to_str().unwrap().to_owned();
                values.push(format!("{} = {}", text((*value).pszCode), text((*value).pszValue)));
                value = value.add(1);
            }
        } else {
            for end in [gdal_sys::OGR_RangeFldDomain_GetMin, gdal_sys::OGR_RangeFldDomain_GetMax] {
                let mut inclusive = false;
                let found = end(domain, &raw mut inclusive);
                values.push(if found.is_null() || gdal_sys::OGR_RawField_IsUnset(found) != 0 {
                    "open".to_owned()
                } else {
                    format!("{} {inclusive}", (*found).Real)
                });
            }
        }
        Some(values)
    }
}

#[test]
fn domains_titles_and_descriptions_travel_with_the_geopackage() {
    let open_end = CATALOGUE.replace("greatest = 900\n", "");
    for (catalogue, range) in [(CATALOGUE, ["5 true", "900 true"]), (&open_end, ["5 true", "open"])] {
        let job = small("1,A,stem,T1,,,,90,0,50,,oak,44,\n", catalogue);
        job.map();
        let path = job.folder.path().join("out/cove.gpkg");
        let dataset = Dataset::open(&path).unwrap();
        assert_eq!(domain(&dataset, "stems", "species"), Some(vec!["ash = common ash".into(), "oak = any oak".into()]));
        assert_eq!(domain(&dataset, "stems", "girth_cm"), Some(range.map(str::to_owned).to_vec()));
        assert_eq!(domain(&dataset, "stems", "code"), None);
        // A layer without records is not written.
        assert!(dataset.layer_by_name("banks").is_err());
        let described: String = rusqlite::Connection::open(&path)
            .unwrap()
            .query_row("SELECT description FROM gpkg_contents WHERE table_name = 'stems'", [], |row| row.get(0))
            .unwrap();
        assert!(described.starts_with("Stems. Stems over 5 cm of girth."), "{described}");
    }
}

const COARSE: &str = r#"
[[codes]]
code = "nest"
title = "Nest"
layer = "nests"
geometry = "point"
attributes = ["species"]
[[codes]]
code = "mark"
title = "Mark"
layer = "marks"
geometry = "point"
[layers.nests]
coarse_cell_m = 1000
[attributes.species]
type = "text"
"#;

#[test]
fn a_coarse_layer_gives_no_exact_place_away() {
    let rows = "1,A,nest,N1,,,,90,-3,150,,heron,,shot over 506234 6496112\n2,A,nest,N2,,,,95,-3,,,heron,,\n3,A,mark,M1,,,,170,0,90,,,,\n";
    let job = small(rows, COARSE);
    job.write("bases.csv", &format!("{}C,58.6001,,60\n", support::small::BASES));
    let summary = job.map();
    let nest = job.feature("nests", "N1");
    for (field, cell) in [("easting", 1000.0), ("northing", 1000.0)] {
        assert_eq!(number(&nest, field).rem_euclid(cell), 500.0, "{field}");
    }
    assert_eq!((nest["coarse_cell_m"].as_str(), nest["species"].as_str()), ("1000", "heron"));
    assert!(nest["position"].contains("the exact place is withheld"));
    assert!(summary["notes"].to_string().contains("The exact places of nests are withheld"));

    // The exact run, kept elsewhere, tells what must not be found.
    let exact = small(rows, COARSE);
    exact.ran(&["--exact-places"]).exits(0);
    let (place, mark) = (exact.feature("nests", "N1"), exact.feature("marks", "M1"));
    let base = &exact.layer("bases")[0];
    let mut secret: Vec<String> = Vec::new();
    for record in [&place, base] {
        // Without the last digits, so that another rounding is no hiding place. A round latitude is not looked for.
        let cut = ["easting", "northing", "lat_deg", "lon_deg"].map(|field| record[field][..record[field].len() - 2].to_owned());
        secret.extend(cut.into_iter().filter(|word| word.len() > 7));
    }
    assert!(secret.len() >= 6, "{secret:?}");
    // What a log's other column says of the place.
    secret.push("506234".into());
    // Other places are told to the metre.
    let told = job.feature("marks", "M1");
    assert_near(number(&told, "easting"), number(&mark, "easting"), 0.5);
    assert_eq!(number(&told, "easting").fract(), 0.0);
    let mut read = 0;
    for name in support::files(&job.folder.path().join("out")) {
        let path = job.folder.path().join("out").join(&name);
        if ![".csv", ".geojson", ".json", ".dxf"].iter().any(|ending| name.ends_with(ending)) {
            continue;
        }
        read += 1;
        for line in fs::read_to_string(&path).unwrap().lines() {
            for word in &secret {
                assert!(!line.contains(word.as_str()), "{name} tells {word}: {line}");
            }
        }
    }
    assert!(read >= 10, "{read} files");
    assert!(job.layer("sight_lines").is_empty() && !exact.layer("sight_lines").is_empty());
    // Nothing whose shape or size tells where the crew stood.
    assert!(job.layer("ellipses").is_empty() && !exact.layer("ellipses").is_empty());
    let mark = job.feature("marks", "M1");
    for field in ["radius95_m", "sigma_east_m", "ellipse_azimuth_deg", "horizontal_distance_m", "true_azimuth_deg", "base_share"]
    {
        assert_eq!(mark[field], "", "{field}");
    }
    assert!(job.layer("bases").iter().all(|base| base["convergence_deg"].is_empty() && base["grid_scale"].is_empty()));
    // GeoPackage: no record of any table holds them either.
    let connection = rusqlite::Connection::open(job.folder.path().join("out/cove.gpkg")).unwrap();
    let tables: Vec<String> = connection
        .prepare("SELECT table_name FROM gpkg_contents")
        .unwrap()
        .query_map([], |row| row.get(0))
        .unwrap()
        .collect::<Result<_, _>>()
        .unwrap();
    assert!(tables.contains(&"nests".to_owned()) && !tables.contains(&"sight_lines".to_owned()));
    let secret_numbers: Vec<f64> = [&place, base]
        .iter()
        .flat_map(|record| ["easting", "northing", "lat_deg", "lon_deg"].map(|field| number(record, field)))
        .collect();
    for table in &tables {
        let mut statement = connection.prepare(&format!("SELECT * FROM \"{table}\"")).unwrap();
        let columns = statement.column_count();
        let mut rows = statement.query([]).unwrap();
        while let Some(row) = rows.next().unwrap() {
            for column in 0..columns {
                if let rusqlite::types::Value::Real(value) = row.get(column).unwrap() {
                    assert!(secret_numbers.iter().all(|secret| (secret - value).abs() > 1e-5), "{table} tells {value}");
                }
            }
        }
    }
}

#[test]
fn features_of_a_coarse_layer_are_drawn_as_squares_with_a_count() {
    // A stands at an easting of 505816 m and a northing of 6495517 m (its longitude and latitude by PROJ): two nests lie in its kilometre,
    // one in the next.
    let rows = "1,A,nest,N1,,,,90,-3,150,,heron,,\n2,A,nest,N2,,,,90,-3,100,,heron,,\n3,A,nest,N3,,,,90,0,950,,stork,,\n";
    let job = small(rows, COARSE);
    job.map();
    let (nests, cells) = (job.layer("nests"), job.layer("nests_cells"));
    let told: Vec<[&str; 4]> =
        cells.iter().map(|cell| ["cell", "features", "codes", "coarse_cell_m"].map(|field| &*cell[field])).collect();
    assert_eq!(told, [["505000 6495000", "2", "nest 2", "1000"], ["506000 6495000", "1", "nest 1", "1000"]]);
    // The square is the cell itself, closed and against the clock.
    let square = "POLYGON ((505000 6495000, 506000 6495000, 506000 6496000, 505000 6496000, 505000 6495000))";
    assert_eq!(cells[0]["WKT"], square);
    // The features are a table that names the cells, and nowhere points on one dot.
    assert!(nests.iter().all(|nest| !nest.contains_key("WKT")));
    let of: Vec<(&str, &str)> = nests.iter().map(|nest| (&*nest["feature"], &*nest["cell"])).collect();
    assert_eq!(of, [("N1", "505000 6495000"), ("N2", "505000 6495000"), ("N3", "506000 6495000")]);
    let out = job.folder.path().join("out");
    let collection = support::json(&out.join("geojson/cove.nests.geojson"));
    assert!(collection["features"].as_array().unwrap().iter().all(|feature| feature["geometry"].is_null()));
    assert!(!support::read(&out.join("gpx/cove.gpx")).contains("<name>N1</name>"), "no way leads to the middle of a cell");
    // Those who may know have points, and no squares.
    let exact = small(rows, COARSE);
    exact.ran(&["--exact-places"]).exits(0);
    assert!(exact.layer("nests")[0].contains_key("WKT") && exact.layer("nests_cells").is_empty());
}

#[test]
fn coarse_cells_want_a_grid() {
    let job = small("1,A,nest,N1,,,,90,-3,150,,heron,,\n", COARSE);
    let text = fs::read_to_string(job.folder.path().join("job.toml")).unwrap();
    job.write("job.toml", &text.replace("EPSG:32630", "EPSG:4326"));
    let refused = job.ran(&[]).exits(1);
    assert!(
        refused.err.contains("cells are squares of a grid") && refused.err.contains("name a projected CRS as crs"),
        "{}",
        refused.err
    );
}

#[test]
fn a_catalogue_that_cannot_be_used_names_file_line_and_remedy() {
    let job = small("1,A,nest,N1,,,,90,-3,150,,heron,,\n", &COARSE.replace("layer = \"marks\"", "layer = \"Marks\""));
    let refused = job.ran(&[]).exits(1);
    assert_eq!(
        refused.err,
        "error: shore.toml:11: \"Marks\" cannot name a layer; use small letters, digits and _, a letter first, 40 at most\n"
    );
    let job = Small::new(&format!("{HEADER}1,A,,,,,,90,0,50,,,,\n"), "catalogue = \"nowhere.toml\"", "");
    assert!(job.ran(&[]).exits(1).err.contains("nowhere.toml: cannot be read"));
}
