//! A look as a document in the XML that QGIS, the most used open desktop GIS, reads by itself: from the column
//! `styleQML` of a GeoPackage's `layer_styles`, and from `LAYER.qml` beside a file. Its element and attribute names are
//! those of that program's own files, version 3.22; there is no published schema, so a test loads each document with it.
//!
//! Symbols and labels are those of the SLD. What SLD cannot say comes with it: points with flags are outlined through an
//! expression, labels keep clear of each other, fields have titles with their units, the form has its fields in groups, lineage is kept back in the table,
//! a tip under the mouse gives the values, and 95 % ellipses are drawn from the fields of the points.

use super::ground::Ground;
use super::look::{Colour, DARK, Look, Mark, WHITE};
use super::names::{Label, label_of, named_by};
use super::words::title_of;
use super::{FLAGS_FIELD, Naming, name_of};
use crate::job::catalogue::{GeometryKind, Values};
use crate::output::columns::{Field, FieldKind, Layer};
use crate::output::order::{self, FieldGroup};
use crate::output::xml::Document;
use crate::units::computed;

/// The version that the documents are written for.
pub(super) const VERSION: &str = "3.22.16-Białowieża";
/// Millimetres in a pixel of 90 to the inch, in which looks give their sizes.
const MM_PER_PX: f64 = 0.28;
/// Between a mark or a line and its label.
const CLEAR_PX: f64 = 3.0;
/// Opacity of hairlines: they lead the eye and say nothing more.
const FAINT: f64 = 0.45;
/// Fields of the semi-axes and the azimuth of the 95 % ellipse, by which it is drawn.
const ELLIPSE: [&str; 3] = ["ellipse_major95_m", "ellipse_minor95_m", "ellipse_azimuth_deg"];

/// The style of a layer, a table's too: it has titles of fields and no symbols.
///
/// `ground` is there where the layers' CRS is projected: ellipses can be drawn then.
pub fn qml(layer: &Layer, look: &Look, naming: Naming, ground: Option<&Ground>) -> String {
    let mut document = Document::typed("qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'");
    let labelled = if layer.geometry == GeometryKind::None || look.labels_to_scale.is_none() { "0" } else { "1" };
    let categories = "Symbology|Labeling|Fields|Forms|MapTips|AttributeTable|Rendering";
    let root = [
        ("version", VERSION),
        ("styleCategories", categories),
        ("labelsEnabled", labelled),
        ("hasScaleBasedVisibilityFlag", "0"),
    ];
    document.within("qgis", &root, |document| {
        style_of(document, layer, look, naming, ground);
        let number = match layer.geometry {
            GeometryKind::Point => "0",
            GeometryKind::Line => "1",
            GeometryKind::Area => "2",
            GeometryKind::None => "4",
        };
        document.leaf("layerGeometryType", number);
    });
    document.text()
}

/// What a style says, inside its document or inside a layer of a project.
pub(super) fn style_of(document: &mut Document, layer: &Layer, look: &Look, naming: Naming, ground: Option<&Ground>) {
    if layer.geometry != GeometryKind::None {
        renderer(document, layer, look, naming, ground);
        if let (Some(label), Some(scale)) = (label_of(layer, naming), look.labels_to_scale) {
            labels(document, layer, look, &label, scale);
        }
    }
    fields(document, layer, naming);
    tip(document, layer, naming);
}

fn renderer(document: &mut Document, layer: &Layer, look: &Look, naming: Naming, ground: Option<&Ground>) {
    let root = [("type", "singleSymbol"), ("symbollevels", "0"), ("enableorderby", "0"), ("forceraster", "0")];
    document.within("renderer-v2", &root, |document| {
        document.within("symbols", &[], |document| {
            let kind = match layer.geometry {
                GeometryKind::Point | GeometryKind::None => "marker",
                GeometryKind::Line => "line",
                GeometryKind::Area => "fill",
            };
            let symbol = [("type", kind), ("name", "0"), ("alpha", "1"), ("clip_to_extent", "1"), ("force_rhr", "0")];
            document.within("symbol", &symbol, |document| match layer.geometry {
                GeometryKind::Point | GeometryKind::None => {
                    if let (Some(ground), Some(axes)) = (ground, ellipse_fields(layer, naming)) {
                        ellipse(document, look, axes, ground);
                    }
                    mark(document, layer, look, naming);
                }
                GeometryKind::Line => line(document, look),
                GeometryKind::Area => area(document, look),
            });
        });
        document.empty("rotation", &[]);
        document.empty("sizescale", &[]);
    });
}

/// Whether a field is the one of that name, in whatever unit.
fn is_called(field: &Field, name: &str) -> bool {
    field.name == name || (field.is_own() && computed(&field.name).is_some_and(|(metric, _)| metric == name))
}

/// The fields of the ellipse, where the layer has all three, in metres and degrees.
fn ellipse_fields(layer: &Layer, naming: Naming) -> Option<[String; 3]> {
    let of = |name: &str| {
        let field = layer.fields.iter().find(|field| is_called(field, name))?;
        let named = format!("\"{}\"", name_of(field, naming));
        Some(match computed(&field.name).filter(|_| field.name != name) {
            Some((_, factor)) => format!("{named} * {factor}"),
            None => named,
        })
    };
    Some([of(ELLIPSE[0])?, of(ELLIPSE[1])?, of(ELLIPSE[2])?])
}

/// A marker with the axes of the error ellipse in units of the map: true to scale at every scale.
fn ellipse(document: &mut Document, look: &Look, [major, minor, azimuth]: [String; 3], ground: &Ground) {
    let axis = |metres: String| format!("2 * {metres} * {}", ground.map_units_a_metre());
    let set = [
        ("symbol_name", "circle".to_owned()),
        ("color", rgba(look.colour, 0.0)),
        ("outline_color", rgba(look.colour, 0.6)),
        ("outline_style", "solid".into()),
        ("outline_width", millimetres(0.75)),
        ("outline_width_unit", "MM".into()),
        ("symbol_width", "1".into()),
        ("symbol_width_unit", "MapUnit".into()),
        ("symbol_height", "1".into()),
        ("symbol_height_unit", "MapUnit".into()),
        ("size", "1".into()),
        ("size_unit", "MapUnit".into()),
        ("angle", "0".into()),
    ];
    let driven = [("width", axis(minor)), ("height", axis(major)), ("angle", azimuth)];
    symbol_layer(document, "EllipseMarker", &set, &driven);
}

fn mark(document: &mut Document, layer: &Layer, look: &Look, naming: Naming) {
    let flags = layer.fields.iter().find(|field| field.name == FLAGS_FIELD).map(|field| name_of(field, naming));
    let stroked = look.mark.is_stroked();
    let (outline, width_px) = if stroked { (look.colour, 2.5) } else { (WHITE, 1.0) };
    let set = [
        ("name", word(look.mark).to_owned()),
        ("color", rgba(look.colour, 1.0)),
        ("outline_color", rgba(outline, 1.0)),
        ("outline_style", "solid".into()),
        ("outline_width", millimetres(width_px)),
        ("outline_width_unit", "MM".into()),
        ("size", millimetres(look.size_px)),
        ("size_unit", "MM".into()),
        ("angle", "0".into()),
    ];
    let driven: Vec<(&str, String)> = flags
        .map(|flags| {
            let either = |with: String, without: String| format!("CASE WHEN \"{flags}\" <> '' THEN {with} ELSE {without} END");
            vec![
                ("outlineColor", either(format!("'{DARK}'"), format!("'{outline}'"))),
                ("outlineWidth", either(millimetres(width_px.max(2.0) + 0.5), millimetres(width_px))),
            ]
        })
        .unwrap_or_default();
    symbol_layer(document, "SimpleMarker", &set, &driven);
}

fn line(document: &mut Document, look: &Look) {
    let dashes: Vec<String> = look.dashes_px.iter().map(|dash| millimetres(f64::from(*dash))).collect();
    let set = [
        ("line_color", rgba(look.colour, if look.line_width_px < 1.0 { FAINT } else { 1.0 })),
        ("line_width", millimetres(look.line_width_px)),
        ("line_width_unit", "MM".into()),
        ("line_style", "solid".into()),
        ("joinstyle", "round".into()),
        ("capstyle", "round".into()),
        ("use_custom_dash", if dashes.is_empty() { "0".into() } else { "1".into() }),
        ("customdash", if dashes.is_empty() { "5;2".into() } else { dashes.join(";") }),
        ("customdash_unit", "MM".into()),
    ];
    symbol_layer(document, "SimpleLine", &set, &[]);
}

fn area(document: &mut Document, look: &Look) {
    let set = [
        ("color", rgba(look.colour, look.fill_opacity)),
        ("style", if look.fill_opacity > 0.0 { "solid".into() } else { "no".into() }),
        ("outline_color", rgba(look.colour, 1.0)),
        ("outline_style", if look.dashes_px.is_empty() { "solid".into() } else { "dash".into() }),
        ("outline_width", millimetres(look.line_width_px)),
        ("outline_width_unit", "MM".into()),
        ("joinstyle", "round".into()),
    ];
    symbol_layer(document, "SimpleFill", &set, &[]);
}

/// A layer of a symbol: its settings, and those that an expression gives for each record.
fn symbol_layer(document: &mut Document, class: &str, set: &[(&str, String)], driven: &[(&str, String)]) {
    document.within("layer", &[("class", class), ("enabled", "1"), ("locked", "0"), ("pass", "0")], |document| {
        document.within("Option", &[("type", "Map")], |document| {
            for (name, value) in set {
                document.empty("Option", &[("type", "QString"), ("name", name), ("value", value)]);
            }
        });
        document.within("data_defined_properties", &[], |document| {
            document.within("Option", &[("type", "Map")], |document| {
                document.empty("Option", &[("type", "QString"), ("name", "name"), ("value", "")]);
                document.within("Option", &[("type", "Map"), ("name", "properties")], |document| {
                    for (name, expression) in driven {
                        document.within("Option", &[("type", "Map"), ("name", name)], |document| {
                            document.empty("Option", &[("type", "bool"), ("name", "active"), ("value", "true")]);
                            document.empty("Option", &[("type", "QString"), ("name", "expression"), ("value", expression)]);
                            document.empty("Option", &[("type", "int"), ("name", "type"), ("value", "3")]);
                        });
                    }
                });
                document.empty("Option", &[("type", "QString"), ("name", "type"), ("value", "collection")]);
            });
        });
    });
}

fn labels(document: &mut Document, layer: &Layer, look: &Look, label: &Label, scale: u32) {
    let geometry = layer.geometry;
    document.within("labeling", &[("type", "simple")], |document| {
        document.within("settings", &[("calloutType", "simple")], |document| {
            let style = [
                ("fieldName", label.text.as_str()),
                ("isExpression", if label.is_expression { "1" } else { "0" }),
                ("fontFamily", "Sans Serif"),
                ("fontSize", "9"),
                ("fontSizeUnit", "Point"),
                ("textColor", &rgba(DARK, 1.0)),
                ("textOpacity", "1"),
            ];
            document.within("text-style", &style, |document| {
                let buffer = [
                    ("bufferDraw", "1"),
                    ("bufferSize", "0.7"),
                    ("bufferSizeUnits", "MM"),
                    ("bufferColor", &rgba(WHITE, 1.0)),
                    ("bufferOpacity", "1"),
                ];
                document.empty("text-buffer", &buffer);
            });
            // 6: places around the point in the order given; 2: along a line; 4: level, where it is free inside of an area: in its middle another
            // layer may have a mark.
            let order = if look.label_is_below { "BR,BL,TR,TL,R,L" } else { "TR,TL,BR,BL,R,L" };
            let placement = match geometry {
                GeometryKind::Point | GeometryKind::None => "6",
                GeometryKind::Line => "2",
                GeometryKind::Area => "4",
            };
            // From the point and past its mark: past the whole symbol, which the ellipse is part of, nobody would know whose name it is.
            let distance = match geometry {
                GeometryKind::Point | GeometryKind::None => millimetres(look.size_px / 2.0 + CLEAR_PX),
                GeometryKind::Line | GeometryKind::Area => millimetres(CLEAR_PX),
            };
            let place = [
                ("placement", placement),
                ("predefinedPositionOrder", order),
                ("dist", &distance),
                ("distUnits", "MM"),
                ("placementFlags", "10"),
                ("offsetType", "0"),
                ("priority", "5"),
            ];
            document.empty("placement", &place);
            let rendering = [
                ("scaleVisibility", "1"),
                ("scaleMin", "1"),
                ("scaleMax", &scale.to_string()),
                ("displayAll", "0"),
                ("obstacle", "1"),
                ("drawLabels", "1"),
                ("limitNumLabels", "0"),
            ];
            document.empty("rendering", &rendering);
        });
    });
}

/// Titles, choices and the order of the fields in the table and the form.
fn fields(document: &mut Document, layer: &Layer, naming: Naming) {
    document.within("fieldConfiguration", &[], |document| {
        for field in &layer.fields {
            let root = [("name", name_of(field, naming)), ("configurationFlags", "None")];
            document.within("field", &root, |document| edit_widget(document, field));
        }
    });
    document.within("aliases", &[], |document| {
        for (index, field) in layer.fields.iter().enumerate() {
            let alias = [("field", name_of(field, naming)), ("index", &index.to_string()), ("name", &title_of(&field.name))];
            document.empty("alias", &alias);
        }
    });
    document.within("attributetableconfig", &[("actionWidgetStyle", "dropDown"), ("sortExpression", "")], |document| {
        document.within("columns", &[], |document| {
            for field in &layer.fields {
                let hidden = if order::group(layer, field).is_shown() { "0" } else { "1" };
                document
                    .empty("column", &[("type", "field"), ("name", name_of(field, naming)), ("width", "-1"), ("hidden", hidden)]);
            }
        });
    });
    form(document, layer, naming);
    if let Some(named) = named_by(layer, naming) {
        document.leaf("previewExpression", &named);
    }
}

/// The choices of a field with a list, the bounds of one with a range.
fn edit_widget(document: &mut Document, field: &Field) {
    let (kind, options): (&str, Vec<(String, String)>) = match field.domain.as_ref().map(|domain| &domain.values) {
        Some(Values::List(list)) => {
            // Shown is the value with its meaning, kept is the value.
            let shown = |(value, meaning): &(String, String)| {
                let text = if meaning.is_empty() || meaning == value { value.clone() } else { format!("{value}: {meaning}") };
                (text, value.clone())
            };
            ("ValueMap", list.iter().map(shown).collect())
        }
        _ if field.kind == FieldKind::Time => ("DateTime", Vec::new()),
        _ => ("TextEdit", Vec::new()),
    };
    document.within("editWidget", &[("type", kind)], |document| {
        document.within("config", &[], |document| {
            document.within("Option", &[("type", "Map")], |document| {
                if kind != "ValueMap" {
                    return;
                }
                document.within("Option", &[("type", "List"), ("name", "map")], |document| {
                    for (shown, value) in &options {
                        document.within("Option", &[("type", "Map")], |document| {
                            document.empty("Option", &[("type", "QString"), ("name", shown), ("value", value)]);
                        });
                    }
                });
            });
        });
    });
}

/// The form: a tab for each group of fields that the layer has, what is kept back behind what is shown.
fn form(document: &mut Document, layer: &Layer, naming: Naming) {
    document.leaf("editorlayout", "tablayout");
    document.within("attributeEditorForm", &[], |document| {
        for of_group in FieldGroup::ALL {
            let inside: Vec<(usize, &Field)> =
                layer.fields.iter().enumerate().filter(|(_, field)| order::group(layer, field) == of_group).collect();
            if inside.is_empty() {
                continue;
            }
            let tab = [
                ("name", of_group.title()),
                ("groupBox", "0"),
                ("columnCount", "1"),
                ("showLabel", "1"),
                ("visibilityExpressionEnabled", "0"),
                ("visibilityExpression", ""),
            ];
            document.within("attributeEditorContainer", &tab, |document| {
                for (index, field) in inside {
                    let place = [("name", name_of(field, naming)), ("index", &index.to_string()), ("showLabel", "1")];
                    document.empty("attributeEditorField", &place);
                }
            });
        }
    });
}

/// The tip under the mouse: the name, and each value that is there, with its σ where the layer has one.
fn tip(document: &mut Document, layer: &Layer, naming: Naming) {
    let Some(heading) = named_by(layer, naming) else { return };
    let named = |name: &str| layer.fields.iter().find(|field| is_called(field, name));
    let shown = ["code", "quantity", "value", "orthometric_height_m", "ellipsoid_height_m", "radius95_m", "height95_m", "flags"];
    let rows: Vec<String> = shown
        .iter()
        .filter_map(|name| named(name))
        .map(|field| {
            let title = title_of(&field.name);
            let name = name_of(field, naming);
            let value = match field.kind {
                FieldKind::Real => format!("round(\"{name}\", 2)"),
                _ => format!("\"{name}\""),
            };
            format!("[% coalesce('{title}: ' || {value} || '<br>', '') %]")
        })
        .collect();
    document.leaf("mapTip", &format!("<b>[% {heading} %]</b><br>{}", rows.join("")));
}

/// That program's words for the marks.
fn word(mark: Mark) -> &'static str {
    match mark {
        Mark::Circle => "circle",
        Mark::Square => "square",
        Mark::Triangle => "triangle",
        Mark::Star => "star",
        Mark::Cross => "cross",
        Mark::X => "cross2",
    }
}

fn rgba(colour: Colour, opacity: f64) -> String {
    format!("{},{},{},{}", colour.red, colour.green, colour.blue, (opacity * 255.0).round())
}

fn millimetres(px: f64) -> String {
    // Two decimals: finer than any printer.
    format!("{}", (px * MM_PER_PX * 100.0).round() / 100.0)
}
