//! A look as a document in the XML that QGIS, the most used open desktop GIS, reads by itself: from the column
//! `styleQML` of a GeoPackage's `layer_styles`, and from `LAYER.qml` beside a file. Its element and attribute names are
//! those of that program's own files, version 3.22; there is no published schema, so a test loads each document with it.
//!
//! Symbols and labels are those of the SLD. What SLD cannot say comes with it: points with flags are outlined through an
//! expression, labels keep clear of each other, fields have titles with their units, the form has its fields in groups, lineage is kept back in the table,
//! a tip under the mouse gives the values, and 95 % ellipses are drawn from the fields of the points.

use super::labels::{self, labels};
use super::look::Look;
use super::names::{is_called, named_by};
use super::symbols::renderer;
use super::words::title_of;
use super::{Beside, Naming, name_of};
use crate::job::catalogue::{GeometryKind, Values};
use crate::output::columns::{Field, FieldKind, Layer};
use crate::output::order::{self, FieldGroup};
use crate::output::xml::Document;

/// The version that the documents are written for.
pub(super) const VERSION: &str = "3.22.16-Białowieża";

/// The style of a layer, a table's too: it has titles of fields and no symbols.
pub fn qml(layer: &Layer, look: &Look, beside: &Beside) -> String {
    let mut document = Document::typed("qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'");
    let labelled = if labels::has_any(layer, look) { "1" } else { "0" };
    let categories = "Symbology|Labeling|Fields|Forms|MapTips|AttributeTable|Rendering";
    let root = [
        ("version", VERSION),
        ("styleCategories", categories),
        ("labelsEnabled", labelled),
        ("hasScaleBasedVisibilityFlag", "0"),
    ];
    document.within("qgis", &root, |document| {
        style_of(document, layer, look, beside);
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
pub(super) fn style_of(document: &mut Document, layer: &Layer, look: &Look, beside: &Beside) {
    if layer.geometry != GeometryKind::None {
        renderer(document, layer, look, beside);
        labels(document, layer, look, beside);
    }
    fields(document, layer, beside.naming);
    tip(document, layer, beside.naming);
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
