//! The journal of a GeoPackage: what was edited in it, several edits of one record taken together.

use std::collections::HashMap;
use std::path::Path;

use rusqlite::{Connection, OpenFlags, OptionalExtension};

use super::own::{self, KeyColumns};
use super::record::{EditedRecord, rows};
use super::{Edit, EditKey, EditKind, EditOutcome, EditsError, NotCarried};
use crate::output::write::gpkg::journal::{GEOMETRY, TABLE, WRITTEN, trigger_of};

/// A row of the journal.
struct JournalRow {
    layer: String,
    fid: i64,
    edit: String,
    key: EditKey,
    line: Option<i64>,
    field: Option<String>,
    old: Option<String>,
    new: Option<String>,
}

/// The edits, in the order of the first of each record, and the keys that several records of a layer have.
pub type EditsRead = (Vec<Edit>, Vec<(String, EditKey)>);

/// Reads the edits of a GeoPackage.
pub fn read(path: &Path) -> Result<EditsRead, EditsError> {
    let failed = |source: rusqlite::Error| EditsError::Unreadable { path: path.to_owned(), source };
    if !path.is_file() {
        return Err(EditsError::NoFile { path: path.to_owned() });
    }
    let connection = Connection::open_with_flags(path, OpenFlags::SQLITE_OPEN_READ_ONLY).map_err(failed)?;
    let exists = |kind: &str, name: &str| -> Result<bool, EditsError> {
        let query = "SELECT 1 FROM sqlite_master WHERE type = ?1 AND name = ?2";
        Ok(connection.query_row(query, [kind, name], |_| Ok(())).optional().map_err(failed)?.is_some())
    };
    if !exists("table", TABLE)? || !exists("table", "gpkg_extensions")? {
        return Err(EditsError::NoJournal { path: path.to_owned() });
    }
    let query = format!("SELECT layer, fid FROM {TABLE} WHERE edit = '{WRITTEN}'");
    let written = rows(&connection, &query, |row| Ok((row.get::<_, String>(0)?, row.get::<_, i64>(1)?))).map_err(failed)?;
    for (layer, records) in &written {
        let has_triggers = ["update", "delete", "insert"]
            .iter()
            .try_fold(true, |all, event| Ok::<bool, EditsError>(all && exists("trigger", &trigger_of(layer, event))?))?;
        if !has_triggers || !accounts_for(&connection, layer, *records).map_err(failed)? {
            return Err(EditsError::Rebuilt { path: path.to_owned(), layer: layer.clone() });
        }
    }
    let query = format!(
        "SELECT layer, fid, edit, feature, shot, source_file, source_line, field, old_value, new_value FROM {TABLE} \
             WHERE edit <> '{WRITTEN}' ORDER BY id"
    );
    let entries = rows(&connection, &query, |row| {
        Ok(JournalRow {
            layer: row.get(0)?,
            fid: row.get(1)?,
            edit: row.get(2)?,
            key: EditKey { feature: row.get(3)?, shot: row.get(4)?, file: row.get(5)? },
            line: row.get(6)?,
            field: row.get(7)?,
            old: row.get(8)?,
            new: row.get(9)?,
        })
    });
    let mut records = together(entries.map_err(failed)?);
    for (layer, count) in &written {
        own::columns(&connection, layer, *count, &mut records).map_err(failed)?;
    }
    let shared = shared(&connection, &records).map_err(failed)?;
    let mut edits: Vec<Edit> = records.into_iter().flat_map(edits).collect();
    edits.extend(own::layers(&connection, &written).map_err(failed)?);
    Ok((edits, shared))
}

/// Whether each record that the run wrote is there, or its deletion is recorded.
fn accounts_for(connection: &Connection, layer: &str, records: i64) -> rusqlite::Result<bool> {
    let table = layer.replace('"', "\"\"");
    let query = format!(
        "SELECT (SELECT count(*) FROM \"{table}\" WHERE fid BETWEEN 1 AND ?1) + (SELECT count(DISTINCT fid) FROM {TABLE} \
         WHERE layer = ?2 AND edit = 'deleted' AND fid BETWEEN 1 AND ?1)"
    );
    let found: i64 = connection.query_row(&query, rusqlite::params![records, layer], |row| row.get(0))?;
    Ok(found == records)
}

/// A layer, a record's number in it, and the key and line of an edit that fitted no record.
type RecordKey = (String, i64, Option<(EditKey, Option<i64>)>);

/// Several edits of one record are taken together: it was what it was before the first, and is what it is after the last.
fn together(entries: Vec<JournalRow>) -> Vec<EditedRecord> {
    let mut records: Vec<EditedRecord> = Vec::new();
    let mut known: HashMap<RecordKey, usize> = HashMap::new();
    for entry in entries {
        // Edits that fitted no record of a run have the number 0.
        let strayed = (entry.fid == 0).then(|| (entry.key.clone(), entry.line));
        let index = *known.entry((entry.layer.clone(), entry.fid, strayed)).or_insert(records.len());
        if index == records.len() {
            records.push(EditedRecord {
                layer: entry.layer,
                fid: entry.fid,
                key: entry.key,
                line: entry.line,
                ..EditedRecord::default()
            });
        }
        let record = &mut records[index];
        match (entry.edit.as_str(), entry.field) {
            ("deleted", _) => record.is_deleted = true,
            ("added", _) => record.is_added = true,
            (_, Some(field)) => {
                record.changes.entry(field).and_modify(|known| known.1.clone_from(&entry.new)).or_insert((entry.old, entry.new));
            }
            (_, None) => {}
        }
    }
    records
}

fn edits(record: EditedRecord) -> Vec<Edit> {
    let EditedRecord { layer, key, line, changes, is_deleted, is_added, .. } = record;
    let edit = |kind: EditKind, why: NotCarried| Edit {
        layer: layer.clone(),
        key: key.clone(),
        line,
        kind,
        outcome: EditOutcome::Left(why),
        follows: false,
    };
    match (is_added, is_deleted) {
        (true, true) => Vec::new(),
        (true, false) => vec![edit(EditKind::Added, NotCarried::Drawn)],
        (false, true) => vec![edit(EditKind::Deleted, NotCarried::NoRecord)],
        (false, false) => {
            let changed = changes.into_iter().filter(|(field, (old, new))| !is_same(field, old.as_deref(), new.as_deref()));
            let of = |(field, (old, new)): (String, (Option<String>, Option<String>))| {
                let why = if field == GEOMETRY { NotCarried::Computed } else { NotCarried::NoRecord };
                edit(EditKind::Changed { field, old, new }, why)
            };
            changed.map(of).collect()
        }
    }
}

/// Whether two values are one: a GIS writes all values of a record, some in another form.
pub fn is_same(field: &str, one: Option<&str>, other: Option<&str>) -> bool {
    let (Some(one), Some(other)) = (one, other) else { return one == other };
    if one == other {
        return true;
    }
    if field == GEOMETRY {
        return matches!((well_known(one), well_known(other)), (Some(one), Some(other)) if one == other);
    }
    if let (Ok(one), Ok(other)) = (one.parse::<f64>(), other.parse::<f64>()) {
        // The journal has 15 digits of a number.
        return (one - other).abs() <= 1e-14 * one.abs().max(other.abs());
    }
    matches!((one.parse::<jiff::Timestamp>(), other.parse::<jiff::Timestamp>()), (Ok(one), Ok(other)) if one == other)
}

/// The well-known binary within a geometry of a GeoPackage, as hexadecimal digits (OGC 12-128, clause 2.1.3): behind 8 bytes and the envelope,
/// whose size the flags tell.
pub fn well_known(hex: &str) -> Option<&str> {
    let flags = u8::from_str_radix(hex.get(6..8)?, 16).ok()?;
    let doubles = match flags >> 1 & 7 {
        0 => 0,
        1 => 4,
        2 | 3 => 6,
        4 => 8,
        _ => return None,
    };
    hex.get(2 * (8 + 8 * doubles)..)
}

/// Keys of edited records that other records of their layer have, too: edited ones, and those that are as they were.
fn shared(connection: &Connection, records: &[EditedRecord]) -> rusqlite::Result<Vec<(String, EditKey)>> {
    // By layer and key: the record, and whether there are several.
    let mut edited: HashMap<&str, HashMap<&EditKey, (i64, bool)>> = HashMap::new();
    for record in records.iter().filter(|record| !record.is_added) {
        let of_layer = edited.entry(&record.layer).or_default();
        of_layer.entry(&record.key).and_modify(|(_, is_shared)| *is_shared = true).or_insert((record.fid, false));
    }
    let mut shared = Vec::new();
    for (layer, mut keys) in edited {
        let columns = KeyColumns::read(connection, layer)?;
        if let Some(query) = columns.query(layer, "", "") {
            let mut statement = connection.prepare(&query)?;
            let mut found = statement.query([])?;
            while let Some(row) = found.next()? {
                let fid: i64 = row.get(0)?;
                if let Some((of, is_shared)) = keys.get_mut(&KeyColumns::key(row)?) {
                    *is_shared |= *of != fid;
                }
            }
        }
        let several = keys.into_iter().filter(|(_, (_, is_shared))| *is_shared);
        shared.extend(several.map(|(key, _)| (layer.to_owned(), key.clone())));
    }
    Ok(shared)
}
