//! Documents: well-formed, in the order of the schemas, with the fields that a layer has.

use proptest::prelude::*;

use super::xml::{Element, assert_in_order};
use super::*;
use crate::job::catalogue::GeometryKind;

const WITH_GEOMETRY: [GeometryKind; 3] = [GeometryKind::Point, GeometryKind::Line, GeometryKind::Area];

fn styled(geometry: GeometryKind, look: &Look, fields: FieldNames) -> Element {
    Element::read(&sld("layer", "A layer", geometry, look, &fields).unwrap())
}

#[test]
fn every_look_gives_a_document_in_the_order_of_the_schemas() {
    let names = [None, Some("feature")];
    let mut documents = 0;
    for look in looks() {
        for geometry in WITH_GEOMETRY {
            for (label, flags) in names.iter().flat_map(|label| names.map(|flags| (*label, flags))) {
                let document = styled(
                    geometry,
                    &look,
                    FieldNames { label, flags, measure: flags, role: flags, string: label, ..FieldNames::default() },
                );
                assert_in_order(&document);
                let has_labels = label.is_some() && look.labels_to_scale.is_some();
                let has_flagged = flags.is_some() && geometry == GeometryKind::Point;
                assert_eq!(document.all("se:Rule").len(), 1 + usize::from(has_labels) + usize::from(has_flagged));
                documents += 1;
            }
        }
    }
    assert_eq!(documents, (STANDARD.len() + OTHERS) * 3 * 4);
}

#[test]
fn the_document_of_a_line_by_hand() {
    let look = Look { dashes_px: &[8, 4], ..Look::standard("lines").unwrap() };
    let expected = r##"<?xml version="1.0" encoding="UTF-8"?>
<StyledLayerDescriptor version="1.1.0" xmlns="http://www.opengis.net/sld" xmlns:se="http://www.opengis.net/se" xmlns:ogc="http://www.opengis.net/ogc" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" xsi:schemaLocation="http://www.opengis.net/sld http://schemas.opengis.net/sld/1.1.0/StyledLayerDescriptor.xsd">
  <NamedLayer>
    <se:Name>lines</se:Name>
    <se:Description>
      <se:Title>Walls &amp; fences</se:Title>
    </se:Description>
    <UserStyle>
      <se:Name>lines</se:Name>
      <se:Description>
        <se:Title>Walls &amp; fences</se:Title>
      </se:Description>
      <IsDefault>1</IsDefault>
      <se:FeatureTypeStyle>
        <se:Rule>
          <se:Name>symbol</se:Name>
          <se:Description>
            <se:Title>Walls &amp; fences</se:Title>
          </se:Description>
          <se:LineSymbolizer>
            <se:Stroke>
              <se:SvgParameter name="stroke">#540060</se:SvgParameter>
              <se:SvgParameter name="stroke-width">2</se:SvgParameter>
              <se:SvgParameter name="stroke-linejoin">round</se:SvgParameter>
              <se:SvgParameter name="stroke-dasharray">8 4</se:SvgParameter>
            </se:Stroke>
          </se:LineSymbolizer>
        </se:Rule>
        <se:Rule>
          <se:Name>label</se:Name>
          <se:Description>
            <se:Title>Labels, to 1 : 5000</se:Title>
          </se:Description>
          <se:MaxScaleDenominator>5000</se:MaxScaleDenominator>
          <se:TextSymbolizer>
            <se:Label>
              <ogc:PropertyName>name</ogc:PropertyName>
            </se:Label>
            <se:Font>
              <se:SvgParameter name="font-family">sans-serif</se:SvgParameter>
              <se:SvgParameter name="font-size">12</se:SvgParameter>
            </se:Font>
            <se:LabelPlacement>
              <se:LinePlacement>
                <se:PerpendicularOffset>4</se:PerpendicularOffset>
              </se:LinePlacement>
            </se:LabelPlacement>
            <se:Halo>
              <se:Radius>1.5</se:Radius>
              <se:Fill>
                <se:SvgParameter name="fill">#ffffff</se:SvgParameter>
              </se:Fill>
            </se:Halo>
            <se:Fill>
              <se:SvgParameter name="fill">#222222</se:SvgParameter>
            </se:Fill>
          </se:TextSymbolizer>
        </se:Rule>
      </se:FeatureTypeStyle>
    </UserStyle>
  </NamedLayer>
</StyledLayerDescriptor>
"##;
    let fields = FieldNames { label: Some("name"), flags: Some("flags"), ..FieldNames::default() };
    assert_eq!(sld("lines", "Walls & fences", GeometryKind::Line, &look, &fields).unwrap(), expected);
}

#[test]
fn points_have_the_mark_and_with_flags_a_dark_outline() {
    let fields = FieldNames { flags: Some("FLAGS"), ..FieldNames::default() };
    for look in looks() {
        let document = styled(GeometryKind::Point, &look, fields.clone());
        let [plain, flagged] = document.all("se:Rule")[..] else { panic!("two rules") };
        assert!(plain.all("ogc:Filter").is_empty());
        assert_eq!(flagged.the("ogc:PropertyName").text, "FLAGS");
        let marks = |rule: &Element| -> Vec<[String; 4]> {
            rule.all("se:Graphic")
                .iter()
                .map(|graphic| {
                    let (fill, stroke) = (graphic.the("se:Fill"), graphic.the("se:Stroke"));
                    assert_eq!(graphic.the("se:WellKnownName").text, look.mark.word());
                    assert_eq!(fill.parameter("fill"), Some(&*look.colour.to_string()));
                    let width = stroke.parameter("stroke-width").unwrap();
                    let stroke = stroke.parameter("stroke").unwrap();
                    [stroke, width, &graphic.the("se:Size").text, ""].map(str::to_owned)
                })
                .collect()
        };
        let row = |stroke: &str, width: &str, size: f64| [stroke, width, &size.to_string(), ""].map(str::to_owned);
        let (colour, size) = (look.colour.to_string(), look.size_px);
        if look.mark.is_stroked() {
            assert_eq!(marks(plain), [row(&colour, "2.5", size)]);
            assert_eq!(marks(flagged), [row("#222222", "6.5", size + 4.0), row(&colour, "2.5", size)]);
        } else {
            assert_eq!(marks(plain), [row("#ffffff", "1", size)]);
            assert_eq!(marks(flagged), [row("#222222", "2", size)]);
        }
    }
}

#[test]
fn areas_let_what_lies_under_them_through() {
    for look in looks() {
        let document = styled(GeometryKind::Area, &look, FieldNames::default());
        let opacity: f64 = document.the("se:Fill").parameter("fill-opacity").unwrap().parse().unwrap();
        assert!(opacity > 0.0 && opacity <= 0.2);
        assert_eq!(document.the("se:Stroke").parameter("stroke"), Some(&*look.colour.to_string()));
    }
    let without = Look { fill_opacity: 0.0, ..Look::other(0) };
    assert!(styled(GeometryKind::Area, &without, FieldNames::default()).all("se:Fill").is_empty());
    let ellipses = Look::standard("ellipses").unwrap();
    assert!(ellipses.fill_opacity <= 0.1, "next to none");
}

#[test]
fn labels_stand_above_or_below_their_points_and_in_the_middle_of_areas() {
    let fields = FieldNames { label: Some("feature"), ..FieldNames::default() };
    let at = |geometry, look: &Look| {
        let document = styled(geometry, look, fields.clone());
        ["se:AnchorPointX", "se:AnchorPointY", "se:DisplacementX", "se:DisplacementY"]
            .map(|name| document.the(name).text.parse::<f64>().unwrap())
    };
    // A mark 9 px wide; a gap of 3 px beside its edge, and half its radius up.
    let look = Look::other(0);
    assert_eq!(at(GeometryKind::Point, &look), [0.0, 0.0, 7.5, 2.25]);
    assert_eq!(at(GeometryKind::Point, &Look { label_is_below: true, ..look }), [0.0, 1.0, 7.5, -2.25]);
    assert_eq!(at(GeometryKind::Area, &look), [0.5, 0.5, 0.0, 0.0]);
    // Over the middle, where other layers have a mark up to 13 px high.
    assert_eq!(at(GeometryKind::Area, &Look { label_is_off_middle: true, ..look }), [0.5, 0.0, 0.0, 12.0]);
}

/// The label rule of a layer by its name in files, among all that a run may have.
fn label_rule(id: &str, naming: Naming) -> Element {
    let all = crate::output::layers::all("z");
    let layer = all.iter().find(|layer| layer.id == id).unwrap();
    let document = Element::read(&document(layer, &Look::standard(id).unwrap(), naming).unwrap());
    assert_in_order(&document);
    let rules = document.the("se:FeatureTypeStyle").children.iter();
    let mut named = rules.filter(|rule| rule.children[0].text == "label");
    Element::clone(named.next().unwrap())
}

/// What a record with those values is to a filter, where a comparison with null is not known, as in SQL. OGC 04-095 leaves it open.
fn holds(condition: &Element, record: &[(&str, &str)]) -> Option<bool> {
    let value = |operand: &Element| match operand.name.as_str() {
        "ogc:Literal" => Some(operand.text.clone()),
        _ => record.iter().find(|(name, _)| *name == operand.text).map(|(_, value)| (*value).to_owned()),
    };
    let each = || condition.children.iter().map(|inside| holds(inside, record));
    match condition.name.as_str() {
        "ogc:Filter" => holds(&condition.children[0], record),
        "ogc:And" if each().any(|holds| holds == Some(false)) => Some(false),
        "ogc:Or" if each().any(|holds| holds == Some(true)) => Some(true),
        "ogc:And" | "ogc:Or" => each().collect::<Option<Vec<bool>>>().map(|_| condition.name == "ogc:And"),
        "ogc:PropertyIsNull" => Some(value(&condition.children[0]).is_none()),
        _ => {
            let (one, other) = (value(&condition.children[0])?, value(&condition.children[1])?);
            let is_equal = match condition.attributes[0].1.as_str() {
                "false" => one.to_lowercase() == other.to_lowercase(),
                _ => one == other,
            };
            Some(is_equal == (condition.name == "ogc:PropertyIsEqualTo"))
        }
    }
}

#[test]
fn sights_to_bases_corners_of_a_line_and_most_rows_of_a_measurement_have_no_name() {
    for naming in [Naming::Full, Naming::Short] {
        let rule = label_rule("features", naming);
        let is_labelled = |record: &[(&str, &str)]| {
            let called = |name: &str| if naming == Naming::Short { name.to_uppercase() } else { name.to_owned() };
            let named: Vec<(String, &str)> = record.iter().map(|(name, value)| (called(name), *value)).collect();
            let record: Vec<(&str, &str)> = named.iter().map(|(name, value)| (name.as_str(), *value)).collect();
            holds(rule.the("ogc:Filter"), &record).unwrap()
        };
        assert!(is_labelled(&[("feature", "N1")]));
        // A table that has no null.
        assert!(is_labelled(&[("feature", "N1"), ("role", ""), ("measure", ""), ("string", "")]));
        assert!(!is_labelled(&[("feature", "B2"), ("role", "backsight")]));
        assert!(!is_labelled(&[("feature", "B2"), ("role", "foresight")]));
        assert!(!is_labelled(&[("feature", "Hedge"), ("string", "hedge"), ("role", "start")]));
        assert!(is_labelled(&[("feature", "gate"), ("string", "hedge")]));
        for (measure, role, named) in
            [("height", "foot", true), ("height", "top", false), ("width", "left", true), ("span", "wire", false)]
        {
            assert_eq!(is_labelled(&[("feature", "T1"), ("measure", measure), ("role", role)]), named, "{measure} {role}");
        }
    }
}

/// A reader that takes the first field alone has the name.
#[test]
fn a_point_of_a_measurement_is_named_with_what_it_is() {
    let label = label_rule("parts", Naming::Short);
    let label = label.the("se:Label");
    let fields: Vec<&str> = label.children.iter().map(|field| field.text.as_str()).collect();
    assert_eq!((fields, label.text.trim()), (vec!["NAME", "ROLE"], "()"));
}

#[test]
fn a_count_says_of_what() {
    let fields = FieldNames { label: Some("features"), before: Some("Nests: ".into()), ..FieldNames::default() };
    let text = sld("nests_cells", "Nests: cells", GeometryKind::Area, &Look::other(0), &fields).unwrap();
    assert!(text.contains("<se:Label>Nests: <ogc:PropertyName>features</ogc:PropertyName>"), "{text}");
    assert_in_order(&Element::read(&text));
}

#[test]
fn a_table_has_no_document() {
    assert_eq!(sld("ledger", "The ledger", GeometryKind::None, &Look::other(0), &FieldNames::default()), None);
    for table in ["ledger", "measurements"] {
        assert_eq!(Look::standard(table), None);
    }
}

#[test]
fn no_two_of_the_first_36_other_layers_look_the_same_and_neighbours_differ_in_mark_and_colour() {
    let looks: Vec<Look> = (0..37).map(Look::other).collect();
    for i in 0..36 {
        for j in 0..i {
            let (one, other) = (looks[i], looks[j]);
            assert!((one.colour, one.mark) != (other.colour, other.mark), "points {i} and {j}");
            assert!((one.colour, one.dashes_px) != (other.colour, other.dashes_px), "lines {i} and {j}");
            if i / 6 == j / 6 {
                assert!(one.colour != other.colour && one.mark != other.mark, "{i} and {j} of one turn");
            }
        }
    }
    assert_eq!(looks[36], looks[0]);
    // Any index has a look.
    assert_eq!(Look::other(usize::MAX).dashes_px, Look::other(usize::MAX % 36).dashes_px);
}

#[test]
fn the_known_layers_of_points_have_marks_of_their_own_and_only_names_on_the_map_once() {
    let marks: Vec<Mark> = ["features", "bases", "vertices", "parts"].iter().map(|id| Look::standard(id).unwrap().mark).collect();
    assert!((0..4).all(|i| (0..i).all(|j| marks[i] != marks[j])), "{marks:?}");
    // Sight lines and ellipses have the feature's name too; it is written at the feature.
    for id in STANDARD {
        let is_labelled = Look::standard(id).unwrap().labels_to_scale.is_some();
        assert_eq!(is_labelled, !["sight_lines", "ellipses"].contains(&id), "{id}");
    }
}

proptest! {
    #[test]
    fn any_title_and_any_field_come_back(title in any::<String>(), field in any::<String>()) {
        // XML reads a line end as a line feed, and holds no other control characters (sections 2.2, 2.11).
        let held = |text: &str| -> String {
            text.chars().filter(|sign| matches!(sign, '\t' | '\n' | '\r') || *sign >= ' ').filter(|sign| !matches!(sign, '\u{fffe}' | '\u{ffff}')).collect()
        };
        prop_assume!(!title.contains('\r') && !field.contains('\r'));
        let fields = FieldNames { label: Some(&field), ..FieldNames::default() };
        let document = sld("layer", &title, GeometryKind::Point, &Look::other(0), &fields).unwrap();
        let document = Element::read(&document);
        assert_in_order(&document);
        prop_assert_eq!(&document.all("se:Title")[0].text, &held(&title));
        prop_assert_eq!(&document.the("ogc:PropertyName").text, &held(&field));
    }
}
