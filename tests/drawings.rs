//! Texts of a drawing (DXF) that could be taken for codes of the format, read back by GDAL; that CAD reads them alike is looked at with ezdxf
//! (`make test-gis`).

use gdal::Dataset;
use gdal::vector::LayerAccess;
use serde_json::Value;

use crate::support::small::Small;

/// Names with signs that mean something in texts of the format, and in texts of several lines.
const ODD: [&str; 8] = ["a^b", "^J", "5^", "20% ^", "\\U+0041", "\\M+1", "{\\P} \\~", "Åsa ñandú 5°"];

/// A job with a shot to each name.
fn mapped(names: &[&str]) -> (Small, Value) {
    let mut rows = "shot,base,feature,horizontal_distance_m,inclination_deg,true_azimuth_deg\n".to_owned();
    for (i, name) in names.iter().enumerate() {
        rows += &format!("{i},A,\"{}\",{},2,{}\n", name.replace('"', "\"\""), 50 + i, 10 * i);
    }
    let small = Small::new(&rows, "", "");
    let summary = small.map();
    assert_eq!(summary["shots"]["mapped"], names.len(), "{summary}");
    (small, summary)
}

/// Each thing in a drawing: the layer it is on, its text where it is one, where it stands.
fn drawn(small: &Small) -> Vec<(String, Option<String>, [f64; 2])> {
    standoff::inside::geodesy::crs::seclude_gdal();
    let dataset = Dataset::open(small.folder.path().join("out/dxf/cove.dxf")).unwrap();
    let mut entities = dataset.layer(0).unwrap();
    let thing = |feature: gdal::vector::Feature| {
        let value = |wanted: &str| {
            let index = feature.fields().position(|(name, _)| name == wanted).unwrap();
            feature.field_as_string(index).unwrap().filter(|text| !text.is_empty())
        };
        let (x, y, _) = feature.geometry().unwrap().get_point(0);
        (value("Layer").unwrap(), value("Text"), [x, y])
    };
    entities.features().map(thing).collect()
}

#[test]
fn what_looks_like_a_code_of_the_format_comes_back() {
    let (small, summary) = mapped(&ODD);
    let things = drawn(&small);
    let names: Vec<&str> = things.iter().filter(|thing| thing.0 == "features").filter_map(|thing| thing.1.as_deref()).collect();
    for name in ODD {
        assert_eq!(names.iter().filter(|known| **known == name).count(), 1, "{name} in {names:?}");
    }
    assert!(!summary["notes"].to_string().contains("DXF"), "{summary}");
}

/// A GIS makes a point of each text: where a feature is, not beside it.
#[test]
fn no_text_stands_beside_what_it_names() {
    let (small, _) = mapped(&ODD);
    let things = drawn(&small);
    let places: Vec<[f64; 2]> = small
        .layer("features")
        .into_iter()
        .chain(small.layer("bases"))
        .map(|record| ["easting", "northing"].map(|axis| record[axis].parse().unwrap()))
        .collect();
    let texts: Vec<_> = things.iter().filter(|thing| thing.1.is_some()).collect();
    assert!(texts.len() > ODD.len(), "{things:?}");
    for (_, text, at) in texts {
        // Both print a tenth of a millimetre.
        let is_there = |place: &[f64; 2]| (0..2).all(|axis| (place[axis] - at[axis]).abs() < 1.5e-4);
        assert!(places.iter().any(is_there), "{text:?} at {at:?}");
    }
}

#[test]
fn a_text_that_the_format_cannot_hold_is_told() {
    let longest = "x".repeat(250);
    assert!(!mapped(&[&longest]).1["notes"].to_string().contains("DXF"));
    let (small, summary) = mapped(&[&format!("{longest}y"), "nest \u{1f985}", "N3"]);
    let notes = summary["notes"].to_string();
    assert!(notes.contains("DXF: 2 texts, such as NAME on the layer features, were cut or changed"), "{notes}");
    let texts: Vec<String> = drawn(&small).into_iter().filter_map(|thing| thing.1).collect();
    assert!([longest.as_str(), "nest ?", "N3"].iter().all(|name| texts.iter().any(|text| text == name)), "{texts:?}");
}

/// Foot and top of a thing stand in one place under one name: the drawing says which is which.
#[test]
fn points_of_a_measurement_are_named_by_what_they_are() {
    let rows = "shot,base,feature,measure,role,true_azimuth_deg,inclination_deg,slope_distance_m\n\
                1,A,Mast,height,foot,90,-2,40\n2,A,Mast,height,top,90,25,\n";
    let small = Small::new(rows, "", "");
    small.map();
    let things = drawn(&small);
    let names = things.iter().filter(|thing| thing.0 == "parts").filter_map(|thing| thing.1.as_deref());
    // The others of these texts are heights.
    let names: Vec<&str> = names.filter(|text| text.parse::<f64>().is_err()).collect();
    assert_eq!(names, ["foot Mast", "top Mast"]);
}
