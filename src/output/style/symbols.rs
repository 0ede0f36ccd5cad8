//! The symbols of a layer in the XML of QGIS: marks, lines, areas, and the 95 % ellipses of points.

use super::ground::Ground;
use super::look::{Colour, DARK, Look, Mark, WHITE};
use super::names::is_called;
use super::{Beside, FLAGS_FIELD, Naming, name_of};
use crate::job::catalogue::GeometryKind;
use crate::output::columns::Layer;
use crate::output::xml::Document;
use crate::units::computed;

/// Millimetres in a pixel of 90 to the inch, in which looks give their sizes.
const MM_PER_PX: f64 = 0.28;
/// Opacity of hairlines: they lead the eye and say nothing more.
const FAINT: f64 = 0.45;
/// Fields of the semi-axes and the azimuth of the 95 % ellipse, by which it is drawn.
const ELLIPSE: [&str; 3] = ["ellipse_major95_m", "ellipse_minor95_m", "ellipse_azimuth_deg"];

/// How the records of a layer are drawn: all by one symbol.
pub(super) fn renderer(document: &mut Document, layer: &Layer, look: &Look, beside: &Beside) {
    let naming = beside.naming;
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
                    if let (Some(ground), Some(axes)) = (beside.ground, ellipse_fields(layer, naming)) {
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

/// The 95 % ellipse as a shape in the layer's CRS, so that it is true to scale in every map. It is no part of the mark: labels keep clear of what
/// is drawn there, and the box round a long ellipse would keep them off half a map.
fn ellipse(document: &mut Document, look: &Look, [major, minor, azimuth]: [String; 3], ground: &Ground) {
    // It lies under the mark where it is smaller; half of it, since a map may be stretched.
    let covered_m_of_scale = look.size_px * MM_PER_PX / 1000.0 / 2.0 / 2.0;
    let shape = ground.ellipse([&major, &minor, &azimuth]);
    let seen = format!("CASE WHEN {major} > {covered_m_of_scale} * coalesce(@map_scale, 1) THEN {shape} END");
    let root = [("class", "GeometryGenerator"), ("enabled", "1"), ("locked", "0"), ("pass", "0")];
    document.within("layer", &root, |document| {
        options(document, &[("SymbolType", "Fill".to_owned()), ("geometryModifier", seen), ("units", "MapUnit".into())]);
        let symbol = [("type", "fill"), ("name", "@0@0"), ("alpha", "1"), ("clip_to_extent", "1"), ("force_rhr", "0")];
        document.within("symbol", &symbol, |document| {
            let set = [
                ("color", rgba(look.colour, 0.0)),
                ("style", "no".to_owned()),
                ("outline_color", rgba(look.colour, 0.6)),
                ("outline_style", "solid".into()),
                ("outline_width", millimetres(0.75)),
                ("outline_width_unit", "MM".into()),
                ("joinstyle", "round".into()),
            ];
            symbol_layer(document, "SimpleFill", &set, &[]);
        });
    });
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
        options(document, set);
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

/// The settings of a layer of a symbol.
fn options(document: &mut Document, set: &[(&str, String)]) {
    document.within("Option", &[("type", "Map")], |document| {
        for (name, value) in set {
            document.empty("Option", &[("type", "QString"), ("name", name), ("value", value)]);
        }
    });
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

/// A colour as that program writes it.
pub(super) fn rgba(colour: Colour, opacity: f64) -> String {
    format!("{},{},{},{}", colour.red, colour.green, colour.blue, (opacity * 255.0).round())
}

/// A length in pixels as that program writes it, in millimetres.
pub(super) fn millimetres(px: f64) -> String {
    // Two decimals: finer than any printer.
    format!("{}", (px * MM_PER_PX * 100.0).round() / 100.0)
}
