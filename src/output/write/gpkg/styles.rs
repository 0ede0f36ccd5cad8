//! The table `layer_styles` of a GeoPackage: the styles of its layers, where desktop GIS look for them.
//! The table is a convention among these (`make test-gis` sees it read), and no part of the standard; so it is registered
//! as a table of attributes like any other (clause 2.4).

use jiff::Timestamp;
use rusqlite::{Connection, params};

use super::super::number::iso_utc;
use crate::job::catalogue::GeometryKind;
use crate::output::columns::Layer;
use crate::output::style::{Beside, Ground, Look, Naming, coded_points, document, qml};

/// The table's name.
const TABLE: &str = "layer_styles";

/// What the contents say of it.
const DESCRIPTION: &str = "Styles of the layers: Styled Layer Descriptor 1.1.0 with Symbology Encoding 1.1.0, and the XML that \
    QGIS loads by itself.";

/// Creates the table.
pub fn create(connection: &Connection) -> Result<(), rusqlite::Error> {
    connection.execute_batch(&format!(
        "CREATE TABLE {TABLE} (
            id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, f_table_catalog TEXT, f_table_schema TEXT, f_table_name TEXT,
            f_geometry_column TEXT, styleName TEXT, styleQML TEXT, styleSLD TEXT, useAsDefault BOOLEAN, description TEXT,
            owner TEXT, ui TEXT, update_time DATETIME DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')));"
    ))
}

/// Registers the table, and puts in the style of each layer, dated as the layers are. A table has titles of fields and nothing to draw.
pub fn fill(
    connection: &Connection,
    layers: &[(&Layer, Look)],
    changed: Timestamp,
    ground: Option<&Ground>,
) -> Result<(), rusqlite::Error> {
    let changed = iso_utc(changed);
    let coded_points = coded_points(layers.iter().map(|(layer, _)| *layer));
    let beside = Beside { naming: Naming::Full, ground, coded_points: &coded_points };
    for (layer, look) in layers {
        let sld = document(layer, look, Naming::Full);
        let geometry_column = if layer.geometry == GeometryKind::None { "" } else { "geom" };
        connection.execute(
            &format!(
                "INSERT INTO {TABLE} (f_table_catalog, f_table_schema, f_table_name, f_geometry_column, styleName, styleQML, \
                 styleSLD, useAsDefault, description, owner, update_time) VALUES ('', '', ?1, ?2, ?1, ?3, ?4, 1, ?5, '', ?6)"
            ),
            params![layer.id, geometry_column, qml(layer, look, &beside), sld, layer.title, changed],
        )?;
    }
    connection.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change) VALUES (?1, 'attributes', ?1, ?2, ?3)",
        params![TABLE, DESCRIPTION, changed],
    )?;
    Ok(())
}
