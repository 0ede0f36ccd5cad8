//! Documents: well-formed, in the order of the schemas, with the fields that a layer has.

use proptest::prelude::*;

use super::xml::{Element, assert_in_order};
use super::*;
use crate::job::catalogue::GeometryKind;

const WITH_GEOMETRY: [GeometryKind; 3] = [GeometryKind::Point, GeometryKind::Line, GeometryKind::Area];

fn styled(geometry: GeometryKind, look: &Look, fields: FieldNames) -> Element {
    Element::read(&sld("layer", "A layer", geometry, look, fields).unwrap())
}

#[test]
fn every_look_gives_a_document_in_the_order_of_the_schemas() {
    let names = [None, Some("feature")];
    let mut documents = 0;
    for look in looks() {
        for geometry in WITH_GEOMETRY {
            for (label, flags) in names.iter().flat_map(|label| names.map(|flags| (*label, flags))) {
                let document = styled(geometry, &look, FieldNames { label, flags, measure: flags });
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
    let fields = FieldNames { label: Some("name"), flags: Some("flags"), measure: None };
    assert_eq!(sld("lines", "Walls & fences", GeometryKind::Line, &look, fields).unwrap(), expected);
}

#[test]
fn points_have_the_mark_and_with_flags_a_dark_outline() {
    let fields = FieldNames { flags: Some("FLAGS"), ..FieldNames::default() };
    for look in looks() {
        let document = styled(GeometryKind::Point, &look, fields);
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
        let document = styled(geometry, look, fields);
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

#[test]
fn a_table_has_no_document() {
    assert_eq!(sld("ledger", "The ledger", GeometryKind::None, &Look::other(0), FieldNames::default()), None);
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
        let document = sld("layer", &title, GeometryKind::Point, &Look::other(0), fields).unwrap();
        let document = Element::read(&document);
        assert_in_order(&document);
        prop_assert_eq!(&document.all("se:Title")[0].text, &held(&title));
        prop_assert_eq!(&document.the("ogc:PropertyName").text, &held(&field));
    }
}
