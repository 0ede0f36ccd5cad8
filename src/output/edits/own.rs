//! What a person added to a GeoPackage beside its records: columns and whole layers. A run has its own, so that they are not carried over, but
//! every value is told.

use std::collections::HashMap;

use rusqlite::{Connection, Row};

use super::record::{EditedRecord, rows};
use super::{Edit, EditKey, EditKind, EditOutcome, NotCarried};
use crate::output::write::gpkg::journal::{GEOMETRY, TABLE, trigger_of};
use crate::output::write::gpkg::schema::quoted;

/// The columns of a layer that tell its records apart.
pub struct KeyColumns {
    name: Option<&'static str>,
    present: Vec<String>,
}

impl KeyColumns {
    /// Of a layer of a file.
    pub fn read(connection: &Connection, layer: &str) -> rusqlite::Result<KeyColumns> {
        let present: Vec<String> = connection
            .prepare("SELECT name FROM pragma_table_info(?1)")?
            .query_map([layer], |row| row.get(0))?
            .collect::<Result<_, _>>()?;
        let name = super::NAMES.into_iter().find(|name| present.iter().any(|column| column == name));
        Ok(KeyColumns { name, present })
    }

    /// Number and key of every record, then `more`; none where nothing names a record.
    pub fn query(&self, layer: &str, more: &str, condition: &str) -> Option<String> {
        let of = |name: &str| if self.present.iter().any(|column| column == name) { quoted(name) } else { "NULL".to_owned() };
        let name = quoted(self.name?);
        let [shot, file, line] = ["shot", "source_file", "source_line"].map(of);
        Some(format!("SELECT fid, {name}, {shot}, {file}, {line}{more} FROM {} {condition}", quoted(layer)))
    }

    /// The key in a row of [`KeyColumns::query`].
    pub fn key(row: &Row) -> rusqlite::Result<EditKey> {
        Ok(EditKey { feature: row.get(1)?, shot: row.get(2)?, file: row.get(3)? })
    }
}

/// Adds what stands in columns that the run did not write: the trigger of a layer names those that it wrote.
pub fn columns(connection: &Connection, layer: &str, count: i64, records: &mut Vec<EditedRecord>) -> rusqlite::Result<()> {
    let query = "SELECT sql FROM sqlite_master WHERE type = 'trigger' AND name = ?1";
    let trigger: String = connection.query_row(query, [trigger_of(layer, "update")], |row| row.get(0))?;
    let key_columns = KeyColumns::read(connection, layer)?;
    let is_own =
        |column: &&String| *column != "fid" && *column != GEOMETRY && !trigger.contains(&format!("OLD.{}", quoted(column)));
    let own: Vec<&String> = key_columns.present.iter().filter(is_own).collect();
    let mut known: HashMap<i64, usize> = HashMap::new();
    for column in own {
        let name = quoted(column);
        let text = format!(", CASE typeof({name}) WHEN 'blob' THEN hex({name}) ELSE CAST({name} AS TEXT) END");
        let condition = format!("WHERE {name} IS NOT NULL AND fid BETWEEN 1 AND {count} ORDER BY fid");
        let Some(query) = key_columns.query(layer, &text, &condition) else { continue };
        if known.is_empty() {
            let of_layer = records.iter().enumerate().filter(|(_, record)| record.layer == layer && record.fid != 0);
            known.extend(of_layer.map(|(index, record)| (record.fid, index)));
        }
        let values = rows(connection, &query, |row| {
            Ok((row.get::<_, i64>(0)?, KeyColumns::key(row)?, row.get::<_, Option<i64>>(4)?, row.get::<_, Option<String>>(5)?))
        })?;
        for (fid, key, line, value) in values {
            // A record that was edited is known by what it was before.
            let index = *known.entry(fid).or_insert(records.len());
            if index == records.len() {
                records.push(EditedRecord { layer: layer.to_owned(), fid, key, line, ..EditedRecord::default() });
            }
            records[index].changes.insert(column.clone(), (None, value));
        }
    }
    Ok(())
}

/// Layers that the run did not write.
pub fn layers(connection: &Connection, written: &[(String, i64)]) -> rusqlite::Result<Vec<Edit>> {
    let all = rows(connection, "SELECT table_name FROM gpkg_contents ORDER BY table_name", |row| row.get::<_, String>(0))?;
    let is_own = |layer: &String| {
        !["layer_styles", "qgis_projects", TABLE].contains(&layer.as_str()) && written.iter().all(|(known, _)| known != layer)
    };
    let told = |layer: String| Edit {
        layer,
        key: EditKey::default(),
        line: None,
        kind: EditKind::Added,
        outcome: EditOutcome::Left(NotCarried::DrawnLayer),
        follows: false,
    };
    Ok(all.into_iter().filter(is_own).map(told).collect())
}
