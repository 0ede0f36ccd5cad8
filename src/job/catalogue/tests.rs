use super::*;
use crate::numeric::signs::Signs;

const STEMS: &str = r#"
title = "Stems and tracks"
[[codes]]
code = "STEM"
title = "Living stem"
layer = "stems"
geometry = "point"
aliases = ["ST", "TREE?"]
target_height_m = 1.3
face_diameter_m = 0.3
tolerance_horizontal95_m = 2.0
attributes = ["species", "girth_cm"]
required = ["species"]
[[codes]]
code = "STEM*"
title = "Other stem"
layer = "stems"
geometry = "point"
attributes = ["girth_cm"]
[[codes]]
code = "TRACK"
title = "Track"
layer = "tracks"
geometry = "line"
[layers.stems]
title = "Stems"
[attributes.species]
type = "text"
list = { oak = "any oak", ash = "ash" }
[attributes.girth_cm]
type = "real"
unit = "cm"
columns = ["Girth", "GBH"]
least = 5
greatest = 900
"#;

fn problem(text: &str) -> String {
    parse(text, "catalogue.toml").unwrap_err().to_string()
}

fn with(from: &str, to: &str) -> String {
    assert!(STEMS.contains(from), "{from}");
    problem(&STEMS.replacen(from, to, 1))
}

#[test]
fn a_code_goes_before_an_alias_and_a_family() {
    let catalogue = parse(STEMS, "catalogue.toml").unwrap();
    let title = |code: &str| catalogue.find(code).map(|code| code.title.as_str());
    assert_eq!(title("stem"), Some("Living stem"));
    assert_eq!(title(" ST "), Some("Living stem"));
    assert_eq!(title("TREE7"), Some("Living stem"));
    assert_eq!(title("TREE77"), None);
    assert_eq!(title("STEM-DEAD"), Some("Other stem"));
    assert_eq!(title("BUSH"), None);
    // One layer for both codes, with the attributes of both.
    let stems = &catalogue.layers[0];
    assert_eq!((stems.id.as_str(), stems.title.as_str(), catalogue.layers.len()), ("stems", "Stems", 2));
    assert_eq!(stems.attributes.iter().map(|a| a.name.as_str()).collect::<Vec<_>>(), ["species", "girth_cm"]);
    assert_eq!(catalogue.codes[1].attributes, [(1, false)]);
}

#[test]
fn brackets_in_a_family_stand_for_themselves() {
    let catalogue = parse(&STEMS.replace("\"STEM*\"", "\"S[1]*\""), "c").unwrap();
    assert!(catalogue.find("S[1]x").is_some());
    assert!(catalogue.find("S1x").is_none());
}

#[test]
fn values_are_typed_and_judged() {
    let catalogue = parse(STEMS, "catalogue.toml").unwrap();
    let [species, girth] = catalogue.layers[0].attributes.as_slice() else { panic!("two attributes") };
    assert_eq!(species.read("oak", Signs::POINT), (AttributeValue::Text("oak".into()), None));
    // The list's spelling.
    assert_eq!(species.read(" OAK ", Signs::POINT), (AttributeValue::Text("oak".into()), None));
    assert_eq!(species.read("yew", Signs::POINT), (AttributeValue::Text("yew".into()), Some(ValueProblem::Domain)));
    assert_eq!(species.read("", Signs::POINT), (AttributeValue::Missing, None));
    assert_eq!(girth.read("44,5", Signs { decimal_comma: true, thousands: None }), (AttributeValue::Real(44.5), None));
    assert_eq!(girth.read("4", Signs::POINT), (AttributeValue::Real(4.0), Some(ValueProblem::Domain)));
    assert_eq!(girth.read("thick", Signs::POINT), (AttributeValue::Missing, Some(ValueProblem::Type)));
    assert_eq!((species.allowed(), girth.allowed()), ("ash, oak".to_owned(), "5 to 900".to_owned()));
    assert!(girth.is_in("gbh") && girth.is_in("Girth") && !girth.is_in("girth_cm"));
    assert!(species.is_in("Species"));
}

#[test]
fn mistakes_name_their_line() {
    assert_eq!(
        with("required = [\"species\"]", "required = [\"age\"]"),
        "catalogue.toml:13: age is required and not among the attributes of STEM"
    );
    assert_eq!(
        with("\"girth_cm\"]\nrequired", "\"girt_cm\"]\nrequired"),
        "catalogue.toml:12: there is no [attributes.girt_cm]; the catalogue has: girth_cm, species"
    );
    assert_eq!(
        with("layer = \"tracks\"", "layer = \"stems\""),
        "catalogue.toml:24: the layer stems has points of STEM and cannot have lines too; name another layer"
    );
    assert_eq!(
        with("code = \"TRACK\"", "code = \"st\""),
        "catalogue.toml:21: \"st\" stands for STEM already; capitals do not tell codes apart"
    );
    assert_eq!(
        with("layer = \"tracks\"", "layer = \"bases\""),
        "catalogue.toml:23: \"bases\" is one of the program's own layers; name the layer otherwise"
    );
    assert_eq!(
        with("layer = \"tracks\"", "layer = \"My tracks\""),
        "catalogue.toml:23: \"My tracks\" cannot name a layer; use small letters, digits and _, a letter first, 40 at most"
    );
    assert_eq!(with("[layers.stems]", "[layers.stem]"), "catalogue.toml:25: no code has the layer stem");
    assert_eq!(with("least = 5", "least = 950"), "catalogue.toml:34: least (950) of girth_cm is above greatest (900)");
    assert_eq!(
        with("title = \"Stems\"", "titel = \"Stems\""),
        "catalogue.toml:26: unknown key titel in [layers.stems]; did you mean title?"
    );
    assert!(with("geometry = \"line\"", "geometry = \"curve\"").contains("catalogue.toml:24"));
    assert!(
        with("title = \"Stems\"", "title = \"Stems\"\ncoarse_cell_m = 0")
            .contains("coarse_cell_m is 0; write the side of a cell in metres, above zero")
    );
    let line = STEMS.replace("[layers.stems]\ntitle = \"Stems\"", "[layers.tracks]\ncoarse_cell_m = 100");
    assert_eq!(
        problem(&line),
        "catalogue.toml:26: coarse_cell_m is for layers of points; a line or area would still show its shape"
    );
    assert_eq!(problem("codes = []\n"), "catalogue.toml:1: the catalogue has no codes; write at least one [[codes]]");
    assert_eq!(problem("title = \"empty\"\n"), "catalogue.toml:1: the catalogue lacks the key `codes`");
}

#[test]
fn coarse_layers_can_be_asked_for_in_full() {
    let text = STEMS.replace("title = \"Stems\"", "title = \"Stems\"\ncoarse_cell_m = 500");
    let catalogue = parse(&text, "c").unwrap();
    assert!(catalogue.has_coarse());
    assert_eq!(catalogue.greatest_cell_m(), Some(500.0));
    assert!(!catalogue.exact().has_coarse());
}

#[test]
fn unknown_codes_go_where_the_catalogue_says() {
    let plain = parse(STEMS, "c").unwrap();
    assert!(!plain.holds_unknown && plain.unknown_layer.is_none());
    assert!(parse(&format!("unknown = {{ action = \"hold\" }}\n{STEMS}"), "c").unwrap().holds_unknown);
    let own = parse(&format!("unknown = {{ layer = \"uncoded\" }}\n{STEMS}"), "c").unwrap();
    assert_eq!(own.unknown_layer, Some(2));
    assert_eq!(own.layers[2].id, "uncoded");
    assert_eq!(
        problem(&format!("unknown = {{ action = \"hold\", layer = \"uncoded\" }}\n{STEMS}")),
        "c:1: rows of unknown codes are held (action = \"hold\"), and so need no layer".replace("c:1", "catalogue.toml:1")
    );
}
