//! A reader of small documents, and what this program writes of the elements of Styled Layer Descriptor 1.1.0 and Symbology
//! Encoding 1.1.0, in the order of their schemas: tests/reference/schema_order.csv.

use quick_xml::events::Event;
use quick_xml::{Reader, XmlVersion};

/// An element.
#[derive(Debug, Default, Clone)]
pub struct Element {
    pub name: String,
    pub attributes: Vec<(String, String)>,
    pub text: String,
    pub children: Vec<Element>,
}

impl Element {
    /// Reads a document; every end is checked against its start.
    pub fn read(document: &str) -> Element {
        let mut reader = Reader::from_str(document);
        let mut open = vec![Element::default()];
        loop {
            match reader.read_event().unwrap_or_else(|error| panic!("{error}\n{document}")) {
                Event::Start(start) => open.push(Element {
                    name: start.name().as_ref().to_owned(),
                    attributes: start
                        .attributes()
                        .map(|attribute| {
                            let attribute = attribute.unwrap();
                            let key = attribute.key.as_ref().to_owned();
                            (key, attribute.normalized_value(XmlVersion::Implicit1_0).unwrap().into_owned())
                        })
                        .collect(),
                    ..Element::default()
                }),
                Event::End(_) => {
                    let done = open.pop().unwrap();
                    open.last_mut().unwrap().children.push(done);
                }
                Event::Text(text) => open.last_mut().unwrap().text += &*text,
                Event::GeneralRef(name) => {
                    open.last_mut().unwrap().text += quick_xml::escape::resolve_predefined_entity(&name).unwrap();
                }
                Event::Decl(_) => {}
                Event::Eof => break,
                other => panic!("{other:?}"),
            }
        }
        assert_eq!(open.len(), 1, "elements left open");
        let mut top = open.pop().unwrap();
        assert_eq!((top.children.len(), top.text.trim()), (1, ""), "one element at the top");
        top.children.remove(0)
    }

    /// Every element with a name, at any depth, in order.
    pub fn all(&self, name: &str) -> Vec<&Element> {
        let mut found: Vec<&Element> = self.children.iter().filter(|child| child.name == name).collect();
        found.extend(self.children.iter().flat_map(|child| child.all(name)));
        found
    }

    /// The only element with a name, at any depth.
    pub fn the(&self, name: &str) -> &Element {
        let found = self.all(name);
        assert_eq!(found.len(), 1, "{name} in {}", self.name);
        found[0]
    }

    /// The value of an `SvgParameter` of this element.
    pub fn parameter(&self, name: &str) -> Option<&str> {
        let is_it = |child: &&Element| child.attributes == [("name".to_owned(), name.to_owned())];
        self.children.iter().find(is_it).map(|child| child.text.as_str())
    }
}

/// How often an element may come.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Often {
    Once,
    Perhaps,
    Some,
}
use Often::{Once, Perhaps, Some as Several};

/// What may stand in an element, in order; text where there is nothing.
fn model(name: &str) -> Option<&'static [(&'static str, Often)]> {
    Some(match name {
        "StyledLayerDescriptor" => &[("se:Name", Perhaps), ("se:Description", Perhaps), ("NamedLayer", Several)],
        "NamedLayer" => &[("se:Name", Once), ("se:Description", Perhaps), ("UserStyle", Several)],
        "UserStyle" => {
            &[("se:Name", Perhaps), ("se:Description", Perhaps), ("IsDefault", Perhaps), ("se:FeatureTypeStyle", Several)]
        }
        "se:Description" => &[("se:Title", Perhaps), ("se:Abstract", Perhaps)],
        "se:FeatureTypeStyle" => {
            &[("se:Name", Perhaps), ("se:Description", Perhaps), ("se:FeatureTypeName", Perhaps), ("se:Rule", Several)]
        }
        "se:Rule" => &[
            ("se:Name", Perhaps),
            ("se:Description", Perhaps),
            ("se:LegendGraphic", Perhaps),
            ("ogc:Filter", Perhaps),
            ("se:MinScaleDenominator", Perhaps),
            ("se:MaxScaleDenominator", Perhaps),
            ("a symbolizer", Several),
        ],
        "ogc:Filter" => &[("a condition", Once)],
        "ogc:Not" => &[("ogc:PropertyIsNull", Once)],
        // Two conditions at least (BinaryLogicOpType), each of any kind.
        "ogc:And" | "ogc:Or" => &[("a condition", Several)],
        "ogc:PropertyIsEqualTo" | "ogc:PropertyIsNotEqualTo" => &[("an operand", Several)],
        "ogc:PropertyIsNull" => &[("ogc:PropertyName", Once)],
        "se:PointSymbolizer" => &[("se:Geometry", Perhaps), ("se:Graphic", Perhaps)],
        "se:LineSymbolizer" => &[("se:Geometry", Perhaps), ("se:Stroke", Perhaps), ("se:PerpendicularOffset", Perhaps)],
        "se:PolygonSymbolizer" => &[("se:Geometry", Perhaps), ("se:Fill", Perhaps), ("se:Stroke", Perhaps)],
        "se:TextSymbolizer" => &[
            ("se:Geometry", Perhaps),
            ("se:Label", Perhaps),
            ("se:Font", Perhaps),
            ("se:LabelPlacement", Perhaps),
            ("se:Halo", Perhaps),
            ("se:Fill", Perhaps),
        ],
        "se:Graphic" => &[("se:Mark", Several), ("se:Opacity", Perhaps), ("se:Size", Perhaps), ("se:Rotation", Perhaps)],
        "se:Mark" => &[("se:WellKnownName", Perhaps), ("se:Fill", Perhaps), ("se:Stroke", Perhaps)],
        "se:Fill" | "se:Stroke" | "se:Font" => &[("se:SvgParameter", Several)],
        "se:Label" => &[("ogc:PropertyName", Several)],
        "se:LabelPlacement" => &[("se:PointPlacement", Perhaps), ("se:LinePlacement", Perhaps)],
        "se:PointPlacement" => &[("se:AnchorPoint", Perhaps), ("se:Displacement", Perhaps), ("se:Rotation", Perhaps)],
        "se:LinePlacement" => &[("se:PerpendicularOffset", Perhaps)],
        "se:AnchorPoint" => &[("se:AnchorPointX", Once), ("se:AnchorPointY", Once)],
        "se:Displacement" => &[("se:DisplacementX", Once), ("se:DisplacementY", Once)],
        "se:Halo" => &[("se:Radius", Perhaps), ("se:Fill", Perhaps)],
        "se:Name"
        | "se:Title"
        | "IsDefault"
        | "ogc:PropertyName"
        | "ogc:Literal"
        | "se:MaxScaleDenominator"
        | "se:WellKnownName"
        | "se:Size"
        | "se:SvgParameter"
        | "se:Radius"
        | "se:AnchorPointX"
        | "se:AnchorPointY"
        | "se:DisplacementX"
        | "se:DisplacementY"
        | "se:PerpendicularOffset" => &[],
        _ => return None,
    })
}

/// What a filter may hold.
const CONDITIONS: [&str; 6] =
    ["ogc:Not", "ogc:And", "ogc:Or", "ogc:PropertyIsNull", "ogc:PropertyIsEqualTo", "ogc:PropertyIsNotEqualTo"];

/// Asserts that the elements are those of the schemas and stand in their order.
pub fn assert_in_order(element: &Element) {
    let Some(model) = model(&element.name) else { panic!("no schema has {}", element.name) };
    if model.is_empty() {
        assert!(element.children.is_empty(), "{} holds text only", element.name);
        return;
    }
    // A label mixes words and fields (ParameterValueType).
    assert!(element.name == "se:Label" || element.text.trim().is_empty(), "{} holds elements only", element.name);
    if ["ogc:And", "ogc:Or"].contains(&&*element.name) {
        assert!(element.children.len() >= 2, "{} joins {} conditions", element.name, element.children.len());
    }
    // Two expressions are compared (BinaryComparisonOpType), and the capitals count or not.
    if model[0].0 == "an operand" {
        assert_eq!((element.children.len(), element.attributes.len()), (2, 1), "{}", element.name);
        assert!(element.attributes[0].0 == "matchCase" && ["true", "false"].contains(&&*element.attributes[0].1));
    }
    let mut rest = element.children.as_slice();
    for (name, often) in model {
        let is_it = |child: &&Element| match *name {
            "a symbolizer" => child.name.ends_with("Symbolizer"),
            "a condition" => CONDITIONS.contains(&&*child.name),
            "an operand" => ["ogc:PropertyName", "ogc:Literal"].contains(&&*child.name),
            name => child.name == name,
        };
        let count = rest.iter().take_while(is_it).count();
        let is_right = match often {
            Once => count == 1,
            Perhaps => count <= 1,
            Several => count >= 1,
        };
        assert!(is_right, "{name} comes {count} times here in {}", element.name);
        rest = &rest[count..];
    }
    assert!(rest.is_empty(), "{} is out of place in {}", rest[0].name, element.name);
    element.children.iter().for_each(assert_in_order);
}

/// Elements that this program writes.
const WRITTEN: [&str; 25] = [
    "StyledLayerDescriptor",
    "NamedLayer",
    "UserStyle",
    "se:Description",
    "se:FeatureTypeStyle",
    "se:Rule",
    "ogc:PropertyIsNull",
    "se:PointSymbolizer",
    "se:LineSymbolizer",
    "se:PolygonSymbolizer",
    "se:TextSymbolizer",
    "se:Graphic",
    "se:Mark",
    "se:Fill",
    "se:Stroke",
    "se:Font",
    "se:LabelPlacement",
    "se:PointPlacement",
    "se:LinePlacement",
    "se:AnchorPoint",
    "se:Displacement",
    "se:Halo",
    // Not in the list of types, since their contents are given where they stand: a choice, a logic operator, an expression.
    "ogc:Filter",
    "ogc:Not",
    "se:Label",
];

/// The order above is that of the published schemas.
#[test]
fn the_order_is_that_of_the_published_schemas() {
    let text = include_str!("../../../../tests/reference/schema_order.csv");
    let mut compared = 0;
    for line in text.lines().skip(1) {
        let (element, rest) = line.split_once(',').unwrap();
        if !WRITTEN.contains(&element) {
            continue;
        }
        let published: Vec<Vec<&str>> =
            rest.split(',').next().unwrap().split(' ').map(|names| names.split('|').collect()).collect();
        let mut behind = 0;
        for (name, _) in model(element).unwrap() {
            let name = if *name == "a symbolizer" { "se:Symbolizer" } else { name };
            let found = published[behind..].iter().position(|names| names.contains(&name));
            behind += 1 + found.unwrap_or_else(|| panic!("{element} has no {name} here: {published:?}"));
        }
        compared += 1;
    }
    assert_eq!(compared, WRITTEN.len() - 3);
}
