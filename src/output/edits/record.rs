//! What the journal says of one record, and how its rows are read.

use std::collections::BTreeMap;

use rusqlite::Connection;

use super::EditKey;

/// What was done to one record.
#[derive(Default)]
pub(super) struct EditedRecord {
    pub(super) layer: String,
    pub(super) fid: i64,
    pub(super) key: EditKey,
    pub(super) line: Option<i64>,
    /// By field: as the run wrote it, and as the person left it.
    pub(super) changes: BTreeMap<String, (Option<String>, Option<String>)>,
    pub(super) is_deleted: bool,
    pub(super) is_added: bool,
}

pub(super) fn rows<T>(
    connection: &Connection,
    query: &str,
    of: impl FnMut(&rusqlite::Row) -> rusqlite::Result<T>,
) -> rusqlite::Result<Vec<T>> {
    connection.prepare(query)?.query_map([], of)?.collect()
}
