//! `standoff schema`: the JSON Schemas of what goes in and comes out.

use clap::ValueEnum;
use serde_json::{Value, json};

use super::{CommandOutcome, Failure, print_as_is};
use crate::job::catalogue::GeometryKind;
use crate::job::catalogue::file::CatalogueFile;
use crate::job::{Job, LayerName};
use crate::output::columns::FieldKind;
use crate::output::layers::{self, values};
use crate::output::order;
use crate::output::report::summary::Summary;
use crate::units::{AngleShown, AreaShown, LengthShown, Units, VolumeShown};

/// Print the JSON Schema of the job file, the catalogue, the layers or the summary.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  standoff schema job > job.schema.json")]
pub struct Args {
    /// Of what
    #[arg(value_enum)]
    of: Of,
}

/// What has a schema.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum Of {
    /// The job file.
    Job,
    /// The catalogue of feature codes.
    Catalogue,
    /// The records of each layer, as properties of GeoJSON features.
    Layers,
    /// summary.json.
    Summary,
}

/// Runs the command.
pub fn run(args: &Args) -> Result<CommandOutcome, Failure> {
    let schema = match args.of {
        Of::Job => with_column_names(serde_json::to_value(schemars::schema_for!(Job))?),
        Of::Catalogue => serde_json::to_value(schemars::schema_for!(CatalogueFile))?,
        Of::Layers => layer_schema(),
        Of::Summary => serde_json::to_value(schemars::schema_for!(Summary))?,
    };
    print_as_is(&(serde_json::to_string_pretty(&schema)? + "\n"))?;
    Ok(CommandOutcome::Done)
}

/// The canonical column names beside the job's schema.
fn with_column_names(mut schema: Value) -> Value {
    use crate::intake::columns::{LogKind, names};
    let list = |kind| names(kind).into_iter().map(|(name, _, _)| name).collect::<Vec<_>>();
    schema["x-canonical-columns"] = json!({ "bases": list(LogKind::Bases), "shots": list(LogKind::Shots) });
    schema
}

/// What a field is called under other `[units]`.
fn in_other_units(name: &str) -> Vec<String> {
    let of = |length, angle| Units { length, angle, ..Units::default() };
    let shown = [
        of(LengthShown::Ft, AngleShown::Gon),
        of(LengthShown::Usft, AngleShown::Gon),
        Units { area: Some(AreaShown::Ha), volume: Some(VolumeShown::Yd3), ..Units::default() },
        Units { area: Some(AreaShown::Acre), ..Units::default() },
    ];
    let mut names: Vec<String> = shown.iter().map(|units| units.name(name)).filter(|shown| shown != name).collect();
    names.dedup();
    names
}

/// One schema for the properties of each layer's records.
fn layer_schema() -> Value {
    let mut definitions = serde_json::Map::new();
    for layer in layers::all("as summary.json says in third_coordinate") {
        let layer = order::in_order(&layer, &order::arranged(&layer));
        let mut properties = serde_json::Map::new();
        for field in &layer.fields {
            let mut property = match field.kind {
                FieldKind::Real => json!({ "type": ["number", "null"] }),
                FieldKind::Integer => json!({ "type": ["integer", "null"] }),
                FieldKind::Text => json!({ "type": ["string", "null"] }),
                FieldKind::Time => json!({ "type": ["string", "null"], "format": "date-time" }),
            };
            property["description"] = json!(field.description);
            property["x-short-name"] = json!(field.short);
            let others = in_other_units(&field.name);
            if !others.is_empty() {
                property["x-in-other-units"] = json!(others);
            }
            properties.insert(field.name.clone(), property);
        }
        // Of the table of values only what the job can measure is there.
        let is_there = |name: &&String| layer.key != LayerName::Values.into() || !values::is_of_a_kind(name);
        let required: Vec<&String> = properties.keys().filter(is_there).collect();
        let geometry = match layer.geometry {
            GeometryKind::None => "none",
            GeometryKind::Point => "Point",
            GeometryKind::Line => "LineString",
            GeometryKind::Area => "Polygon",
        };
        let definition = json!({
            "title": layer.title,
            "description": layer.description,
            "type": "object",
            "x-geometry": geometry,
            "required": required,
            "properties": properties,
            "additionalProperties": true,
        });
        definitions.insert(layer.id.to_owned(), definition);
    }
    json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Records of the layers",
        "description": "Properties of the records of each layer, the same in every format; further ones are carried from the logs. \
                        With [units] in the job, fields end with the unit that they are in (x-in-other-units). \
                        Formats with short field names use x-short-name.",
        "$defs": definitions,
    })
}
