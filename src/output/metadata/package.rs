//! `datapackage.json`: the files of delimited text as a Data Package with Table Schemas (Frictionless Data, specifications of version 1,
//! specs.frictionlessdata.io); `make test-gis` has it validated by frictionless. A reader gets types, titles and meanings of all columns, and the values that a catalogue allows.

use serde_json::{Value, json};

use super::Metadata;
use crate::job::catalogue::Values;
use crate::output::columns::{Field, FieldKind, Layer};
use crate::output::style::title_of;

/// A file of the folder.
pub struct Resource<'l> {
    /// Its name.
    pub path: String,
    /// The layer that it has.
    pub layer: &'l Layer,
    /// The layer's index.
    pub index: usize,
    /// The column of geometries, where it has one.
    pub geometry: Option<&'static str>,
}

/// The document.
pub fn document(metadata: &Metadata, resources: &[Resource]) -> String {
    let package = json!({
        "profile": "tabular-data-package",
        "name": metadata.subject.name.to_lowercase(),
        "title": metadata.subject.title,
        "description": metadata.summary(),
        "created": metadata.dated.to_string(),
        "resources": resources.iter().map(|resource| describe_resource(metadata, resource)).collect::<Vec<Value>>(),
    });
    // Serialising plain data with text keys does not fail.
    serde_json::to_string_pretty(&package).map(|text| text + "\n").unwrap_or_default()
}

fn describe_resource(metadata: &Metadata, resource: &Resource) -> Value {
    let layer = resource.layer;
    let geometry = resource.geometry.map(|name| {
        json!({
            "name": name, "type": "string", "title": "geometry",
            "description": format!("Geometry as well-known text. {}", metadata.reference()),
        })
    });
    let fields: Vec<Value> = geometry.into_iter().chain(layer.fields.iter().map(describe_field)).collect();
    json!({
        "profile": "tabular-data-resource",
        "name": layer.id.to_lowercase(),
        "path": resource.path,
        "title": layer.title,
        "description": metadata.of_layer(resource.index, layer),
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "schema": { "fields": fields, "missingValues": [""] },
    })
}

fn describe_field(field: &Field) -> Value {
    let kind = match field.kind {
        FieldKind::Real => "number",
        FieldKind::Integer => "integer",
        FieldKind::Text => "string",
        FieldKind::Time => "datetime",
    };
    let mut described =
        json!({ "name": field.name, "type": kind, "title": title_of(&field.name), "description": field.description });
    if field.kind == FieldKind::Time {
        // With thousandths of a second where the log has them.
        described["format"] = json!("any");
    }
    // What a catalogue allows is flagged in rows, not enforced: a strict reader must still take the file.
    if let Some(domain) = &field.domain {
        described["allowed"] = match &domain.values {
            Values::List(list) => json!(list.iter().map(|(value, _)| value).collect::<Vec<_>>()),
            Values::Range { least, greatest } => json!({ "minimum": least, "maximum": greatest }),
        };
    }
    described
}
