//! The journal of edits that a GeoPackage keeps by itself: triggers on each layer write down every value that is changed, every record that
//! is deleted or added, with what the record was, whichever program does it. It costs nothing while nobody edits: no copy of the values is
//! written, and no trigger is there while records are packed. `map --keep-edits` reads it (`output/edits`).
//!
//! The table is registered as an extension of the GeoPackage (OGC 12-128r17, clause 2.3); the layers are not, since a program that does not
//! know the extension loses nothing by it, and would warn of each. A row `written` for each layer has the number of its records instead.

use rusqlite::{Connection, params};

use super::schema::quoted;
use crate::job::catalogue::GeometryKind;
use crate::output::columns::{Field, Layer};
use crate::output::edits::edit::{Edit, EditKind, EditOutcome};

/// The table.
pub const TABLE: &str = "standoff_edits";
/// The name of the extension.
pub const EXTENSION: &str = "standoff_edits";
/// What the journal calls a geometry, whose values are hexadecimal digits.
pub const GEOMETRY: &str = "geom";

/// What the journal says of a layer as the run wrote it; in place of a record's number stands how many there are.
pub const WRITTEN: &str = "written";

/// What the extension is, where a file must say it.
const DEFINITION: &str = "A journal of what is edited in the layers, kept by triggers: layer, fid, edit (changed, deleted, added; written: as the run left it), what told the \
                          record (feature, shot, source_file, source_line), field, old and new value as text.";

/// SQLite joins 500 selections at most.
const MOST_AT_ONCE: usize = 200;

/// The trigger of a layer for an event: `update`, `delete` or `insert`.
pub fn trigger_of(layer: &str, event: &str) -> String {
    format!("standoff_edits_{layer}_{event}")
}

/// Creates the table with what was carried over to this file, and the triggers of the layers that have records, each with their number.
pub fn fill(connection: &Connection, layers: &[(&Layer, i64)], carried: &[&Edit]) -> Result<(), rusqlite::Error> {
    connection.execute_batch(&format!(
        "CREATE TABLE {TABLE} (id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, layer TEXT NOT NULL, fid INTEGER NOT NULL, edit TEXT NOT NULL,
            feature TEXT, shot TEXT, source_file TEXT, source_line INTEGER, field TEXT, old_value TEXT, new_value TEXT);"
    ))?;
    let extension = "INSERT INTO gpkg_extensions VALUES (?1, NULL, ?2, ?3, 'read-write')";
    connection.execute(extension, params![TABLE, EXTENSION, DEFINITION])?;
    for (layer, records) in layers {
        let written = format!("INSERT INTO {TABLE} (layer, fid, edit) VALUES (?1, ?2, '{WRITTEN}')");
        connection.execute(&written, params![layer.id, records])?;
        connection.execute_batch(&triggers(layer))?;
    }
    for edit in carried {
        put(connection, edit)?;
    }
    Ok(())
}

fn put(connection: &Connection, edit: &Edit) -> Result<(), rusqlite::Error> {
    let (word, field, old, new) = match &edit.kind {
        EditKind::Changed { field, old, new } => ("changed", Some(field), old.as_ref(), new.as_ref()),
        EditKind::Deleted => ("deleted", None, None, None),
        EditKind::Added => ("added", None, None, None),
    };
    let fid = match edit.outcome {
        EditOutcome::Carried(fid) => fid,
        EditOutcome::Left(_) => 0,
    };
    connection.execute(
        &format!(
            "INSERT INTO {TABLE} (layer, fid, edit, feature, shot, source_file, source_line, field, old_value, new_value)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)"
        ),
        params![edit.layer, fid, word, edit.key.feature, edit.key.shot, edit.key.file, edit.line, field, old, new],
    )?;
    Ok(())
}

fn triggers(layer: &Layer) -> String {
    let has = |name: &str| layer.fields.iter().any(|field| field.name == name);
    let of = |record: &str, name: Option<&str>| name.map_or("NULL".to_owned(), |name| format!("{record}.{}", quoted(name)));
    let told = |record: &str| {
        let name = crate::output::edits::edit::NAMES.into_iter().find(|name| has(name));
        let fields =
            [name].into_iter().chain(["shot", "source_file", "source_line"].map(|name| Some(name).filter(|name| has(name))));
        fields.map(|name| of(record, name)).collect::<Vec<_>>().join(", ")
    };
    let literal = |text: &str| format!("'{}'", text.replace('\'', "''"));
    let into = format!("INSERT INTO {TABLE} (layer, fid, edit, feature, shot, source_file, source_line");
    let (table, name) = (quoted(&layer.id), literal(&layer.id));
    let of_field = |field: &Field| {
        let column = quoted(&field.name);
        format!("SELECT {} AS field, OLD.{column} AS was, NEW.{column} AS is_now", literal(&field.name))
    };
    let mut values: Vec<String> = layer.fields.iter().map(of_field).collect();
    if layer.geometry != GeometryKind::None {
        values.push(format!("SELECT '{GEOMETRY}' AS field, hex(OLD.geom) AS was, hex(NEW.geom) AS is_now"));
    }
    let of_some = |some: &[String]| {
        format!(
            "{into}, field, old_value, new_value) SELECT {name}, OLD.fid, 'changed', {}, field, was, is_now FROM ({}) WHERE was IS NOT is_now",
            told("OLD"),
            some.join(" UNION ALL ")
        )
    };
    let changed: Vec<String> = values.chunks(MOST_AT_ONCE).map(of_some).collect();
    let trigger = |event: &str, action: String| {
        let trigger = quoted(&trigger_of(&layer.id, event));
        format!("CREATE TRIGGER {trigger} AFTER {} ON {table} BEGIN {action}; END;\n", event.to_uppercase())
    };
    [
        trigger("update", changed.join("; ")),
        trigger("delete", format!("{into}) VALUES ({name}, OLD.fid, 'deleted', {})", told("OLD"))),
        trigger("insert", format!("{into}) VALUES ({name}, NEW.fid, 'added', {})", told("NEW"))),
    ]
    .concat()
}
