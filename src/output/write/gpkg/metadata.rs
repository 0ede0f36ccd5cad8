//! The metadata extension (annex F.8): one document by ISO 19115 for the file, to which each layer refers.

use rusqlite::{Connection, params};

use super::super::number::iso_utc;
use crate::output::columns::Layer;
use crate::output::metadata::{Metadata, iso};
use crate::output::style::Look;

const TABLES: &str = "
    CREATE TABLE gpkg_metadata (
        id INTEGER CONSTRAINT m_pk PRIMARY KEY ASC NOT NULL, md_scope TEXT NOT NULL DEFAULT 'dataset', md_standard_uri TEXT NOT NULL,
        mime_type TEXT NOT NULL DEFAULT 'text/xml', metadata TEXT NOT NULL DEFAULT '');
    CREATE TABLE gpkg_metadata_reference (
        reference_scope TEXT NOT NULL, table_name TEXT, column_name TEXT, row_id_value INTEGER,
        timestamp DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')), md_file_id INTEGER NOT NULL, md_parent_id INTEGER,
        CONSTRAINT crmr_mfi_fk FOREIGN KEY (md_file_id) REFERENCES gpkg_metadata(id),
        CONSTRAINT crmr_mpi_fk FOREIGN KEY (md_parent_id) REFERENCES gpkg_metadata(id));
    INSERT INTO gpkg_extensions VALUES
        ('gpkg_metadata', NULL, 'gpkg_metadata', 'http://www.geopackage.org/spec120/#extension_metadata', 'read-write'),
        ('gpkg_metadata_reference', NULL, 'gpkg_metadata', 'http://www.geopackage.org/spec120/#extension_metadata', 'read-write');
";
/// The standard of the document.
const STANDARD: &str = "http://www.isotc211.org/2005/gmd";

/// Puts the document in.
pub fn fill(connection: &Connection, metadata: &Metadata, layers: &[(&Layer, Look)]) -> Result<(), rusqlite::Error> {
    connection.execute_batch(TABLES)?;
    connection.execute(
        "INSERT INTO gpkg_metadata (id, md_scope, md_standard_uri, mime_type, metadata) VALUES (1, 'dataset', ?1, 'text/xml', ?2)",
        params![STANDARD, iso::document(metadata)],
    )?;
    let mut refer = connection.prepare(
        "INSERT INTO gpkg_metadata_reference (reference_scope, table_name, timestamp, md_file_id) VALUES (?1, ?2, ?3, 1)",
    )?;
    let dated = iso_utc(metadata.dated);
    refer.execute(params!["geopackage", None::<&str>, dated])?;
    layers.iter().try_for_each(|(layer, _)| refer.execute(params!["table", layer.id, dated]).map(|_| ()))
}
