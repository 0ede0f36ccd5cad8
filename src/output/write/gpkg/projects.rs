//! The table `qgis_projects` of a GeoPackage: a project over its layers, which QGIS lists and opens where it finds the
//! file. The table is that program's own (`make test-gis` opens it there): the content
//! is an archive with the project's document, written as hexadecimal digits. It is registered as a table of attributes.

use std::io::{Cursor, Write};

use jiff::Timestamp;
use rusqlite::{Connection, params};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

use super::super::number::iso_utc;
use super::super::view::View;
use super::StyledLayers;
use crate::output::columns::Layer;
use crate::output::style::{Look, Project, project};

/// The table's name.
const TABLE: &str = "qgis_projects";
/// What the contents say of it.
const DESCRIPTION: &str = "A QGIS project over the layers: grouped, styled, related.";

/// Creates the table.
pub fn create(connection: &Connection) -> Result<(), rusqlite::Error> {
    connection.execute_batch(&format!("CREATE TABLE {TABLE} (name TEXT PRIMARY KEY, metadata BLOB, content BLOB);"))
}

/// Registers the table, and puts the project in, dated as the layers are. `bounds` are those of all that is drawn.
pub fn fill(
    connection: &Connection,
    layers: &[(&Layer, Look)],
    drawn: &StyledLayers,
    (bounds, view): (Option<[f64; 4]>, Option<&View>),
    file: &str,
    changed: Timestamp,
) -> Result<(), rusqlite::Error> {
    let name = file.strip_suffix(".gpkg").unwrap_or(file);
    let document = project(
        layers,
        &Project {
            title: &drawn.title,
            file,
            authority: drawn.authority.as_deref(),
            wkt: drawn.wkt.as_deref(),
            ground: drawn.ground.as_ref(),
            bounds: view.map(|view| view.bounds).or(bounds),
            plane: view.map(|view| view.authority),
        },
    );
    let archive =
        archived(&format!("{name}.qgs"), &document).map_err(|error| rusqlite::Error::ToSqlConversionFailure(Box::new(error)))?;
    let content: String = archive.iter().map(|byte| format!("{byte:02x}")).collect();
    let changed = iso_utc(changed);
    let metadata = format!("{{\"last_modified_time\": \"{changed}\", \"last_modified_user\": \"\"}}");
    connection
        .execute(&format!("INSERT INTO {TABLE} VALUES (?1, ?2, ?3)"), params![name, metadata.as_bytes(), content.as_bytes()])?;
    connection.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change) VALUES (?1, 'attributes', ?1, ?2, ?3)",
        params![TABLE, DESCRIPTION, changed],
    )?;
    Ok(())
}

/// An archive of one file, the same bytes each time.
fn archived(name: &str, document: &str) -> Result<Vec<u8>, zip::result::ZipError> {
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    // Without a date of its own an entry has the first one that the format knows, 1 January 1980.
    let options =
        SimpleFileOptions::default().compression_method(CompressionMethod::Deflated).last_modified_time(zip::DateTime::default());
    writer.start_file(name, options)?;
    writer.write_all(document.as_bytes())?;
    Ok(writer.finish()?.into_inner())
}
