//! The tables of a GeoPackage: those the standard requires, one a layer, and that of the styles.

use rusqlite::{Connection, params};

use super::super::number::iso_utc;
use super::{projects, styles};
use crate::geodesy::crs::Crs;
use crate::job::catalogue::{GeometryKind, Values};
use crate::output::columns::{FieldKind, Layer};
use crate::output::contract::Setup;
use crate::output::metadata::Metadata;
use crate::output::style::title_of;
use crate::output::write::antimeridian::Globe;

const EPSG_4326: &str = r#"GEOGCS["WGS 84",DATUM["WGS_1984",SPHEROID["WGS 84",6378137,298.257223563,AUTHORITY["EPSG","7030"]],AUTHORITY["EPSG","6326"]],PRIMEM["Greenwich",0,AUTHORITY["EPSG","8901"]],UNIT["degree",0.0174532925199433,AUTHORITY["EPSG","9122"]],AXIS["Latitude",NORTH],AXIS["Longitude",EAST],AUTHORITY["EPSG","4326"]]"#;

/// Required tables (clauses 1.1.2 to 1.1.3, 2.1.5, 2.3) and the schema extension's (annex F.9).
/// The journal is off because a file on its way is thrown away when a run fails.
const BASE: &str = "
    PRAGMA journal_mode = OFF;
    PRAGMA synchronous = OFF;
    PRAGMA page_size = 4096;
    PRAGMA encoding = 'UTF-8';
    BEGIN;
    PRAGMA application_id = 0x47504B47;
    PRAGMA user_version = 10300;
    CREATE TABLE gpkg_spatial_ref_sys (
        srs_name TEXT NOT NULL, srs_id INTEGER NOT NULL PRIMARY KEY, organization TEXT NOT NULL,
        organization_coordsys_id INTEGER NOT NULL, definition TEXT NOT NULL, description TEXT);
    CREATE TABLE gpkg_contents (
        table_name TEXT NOT NULL PRIMARY KEY, data_type TEXT NOT NULL, identifier TEXT UNIQUE, description TEXT DEFAULT '',
        last_change DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')),
        min_x DOUBLE, min_y DOUBLE, max_x DOUBLE, max_y DOUBLE, srs_id INTEGER,
        CONSTRAINT fk_gc_r_srs_id FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys(srs_id));
    CREATE TABLE gpkg_geometry_columns (
        table_name TEXT NOT NULL, column_name TEXT NOT NULL, geometry_type_name TEXT NOT NULL, srs_id INTEGER NOT NULL,
        z TINYINT NOT NULL, m TINYINT NOT NULL,
        CONSTRAINT pk_geom_cols PRIMARY KEY (table_name, column_name),
        CONSTRAINT uk_gc_table_name UNIQUE (table_name),
        CONSTRAINT fk_gc_tn FOREIGN KEY (table_name) REFERENCES gpkg_contents(table_name),
        CONSTRAINT fk_gc_srs FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys (srs_id));
    CREATE TABLE gpkg_extensions (
        table_name TEXT, column_name TEXT, extension_name TEXT NOT NULL, definition TEXT NOT NULL, scope TEXT NOT NULL,
        CONSTRAINT ge_tce UNIQUE (table_name, column_name, extension_name));
    CREATE TABLE gpkg_data_columns (
        table_name TEXT NOT NULL, column_name TEXT NOT NULL, name TEXT, title TEXT, description TEXT, mime_type TEXT,
        constraint_name TEXT, CONSTRAINT pk_gdc PRIMARY KEY (table_name, column_name), CONSTRAINT gdc_tn UNIQUE (table_name, name));
    CREATE TABLE gpkg_data_column_constraints (
        constraint_name TEXT NOT NULL, constraint_type TEXT NOT NULL, value TEXT, min NUMERIC, min_is_inclusive BOOLEAN,
        max NUMERIC, max_is_inclusive BOOLEAN, description TEXT, CONSTRAINT gdcc_ntv UNIQUE (constraint_name, constraint_type, value));
    INSERT INTO gpkg_extensions VALUES
        ('gpkg_data_columns', NULL, 'gpkg_schema', 'http://www.geopackage.org/spec121/#extension_schema', 'read-write'),
        ('gpkg_data_column_constraints', NULL, 'gpkg_schema', 'http://www.geopackage.org/spec121/#extension_schema', 'read-write');
";

/// The domains of all fields, each once (annex F.9).
fn domains<'l>(connection: &Connection, layers: impl Iterator<Item = &'l Layer>) -> Result<(), rusqlite::Error> {
    let mut known: Vec<&str> = Vec::new();
    for domain in layers.flat_map(|layer| &layer.fields).filter_map(|field| field.domain.as_ref()) {
        if known.contains(&domain.name.as_str()) {
            continue;
        }
        known.push(&domain.name);
        match &domain.values {
            Values::List(list) => {
                for (value, meaning) in list {
                    connection.execute(
                        "INSERT INTO gpkg_data_column_constraints VALUES (?1, 'enum', ?2, NULL, NULL, NULL, NULL, ?3)",
                        params![domain.name, value, meaning],
                    )?;
                }
            }
            Values::Range { least, greatest } => {
                // An open end is written as infinity: readers want a number at both.
                connection.execute(
                    "INSERT INTO gpkg_data_column_constraints VALUES (?1, 'range', NULL, ?2, 1, ?3, 1, ?4)",
                    params![
                        domain.name,
                        least.unwrap_or(f64::NEG_INFINITY),
                        greatest.unwrap_or(f64::INFINITY),
                        domain.description
                    ],
                )?;
            }
        }
    }
    Ok(())
}

/// Creates everything but the records; returns the srs_id of the layers.
pub fn create(connection: &Connection, layers: &[Layer], setup: &Setup) -> Result<i32, rusqlite::Error> {
    connection.execute_batch(BASE)?;
    let srs_id = reference_systems(connection, setup.crs)?;
    let is_globe = Globe::from_crs(setup.crs).is_some();
    for layer in layers {
        connection.execute_batch(&create_table(layer, is_globe))?;
        if layer.geometry != GeometryKind::None {
            connection
                .execute_batch(&format!("CREATE VIRTUAL TABLE {} USING rtree(id, minx, maxx, miny, maxy)", index_of(layer)))?;
        }
    }
    styles::create(connection)?;
    projects::create(connection)?;
    connection.execute_batch("COMMIT")?;
    Ok(srs_id)
}

/// The quoted name of a layer's spatial index.
fn index_of(layer: &Layer) -> String {
    quoted(&format!("rtree_{}_geom", layer.id))
}

/// Registers a layer that has records: its contents, its geometry, its fields (clauses 1.1.3, 2.1.5, 2.4; annexes F.3, F.9).
fn register(
    connection: &Connection,
    layer: &Layer,
    table: &FinishedTable,
    (identifier, description): (&str, &str),
    changed: &str,
    is_globe: bool,
) -> Result<(), rusqlite::Error> {
    for field in &layer.fields {
        let constraint = field.domain.as_ref().map(|domain| domain.name.as_str());
        connection.execute(
            "INSERT INTO gpkg_data_columns (table_name, column_name, title, description, constraint_name) \
             VALUES (?1, ?2, ?3, ?4, ?5)",
            params![layer.id, field.name, title_of(&field.name), field.description, constraint],
        )?;
    }
    let is_table = layer.geometry == GeometryKind::None;
    let edge = |i: usize| table.held.bounds.map(|bounds| bounds[i]);
    connection.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change, min_x, min_y, max_x, max_y, srs_id) \
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
        params![
            layer.id,
            if is_table { "attributes" } else { "features" },
            identifier,
            description,
            changed,
            edge(0),
            edge(1),
            edge(2),
            edge(3),
            (!is_table).then_some(table.srs_id),
        ],
    )?;
    connection.execute("INSERT INTO sqlite_sequence (name, seq) VALUES (?1, ?2)", params![layer.id, table.records])?;
    if is_table {
        return Ok(());
    }
    let z = match (table.held.with_z, table.held.without_z) {
        (0, _) => 0,
        (_, 0) => 1,
        _ => 2,
    };
    connection.execute(
        "INSERT INTO gpkg_geometry_columns VALUES (?1, 'geom', ?2, ?3, ?4, 0)",
        params![layer.id, geometry_type(layer.geometry, is_globe), table.srs_id, z],
    )?;
    connection.execute(
        "INSERT INTO gpkg_extensions VALUES (?1, 'geom', 'gpkg_rtree_index', 'http://www.geopackage.org/spec120/#extension_rtree', 'write-only')",
        params![layer.id],
    )?;
    connection.execute_batch(&triggers(&layer.id))
}

/// A layer's table when its last record is written.
pub struct FinishedTable {
    /// The reference system of the layers.
    pub srs_id: i32,
    /// Records.
    pub records: i64,
    /// What they are.
    pub held: Contents,
}

/// What a layer came to hold, for the rows that describe it.
#[derive(Debug, Clone, Default)]
pub struct Contents {
    bounds: Option<[f64; 4]>,
    with_z: u64,
    without_z: u64,
}

impl Contents {
    /// Takes a record's bounds in.
    pub fn see(&mut self, bounds: [f64; 4], has_z: bool) {
        let [west, south, east, north] = self.bounds.get_or_insert(bounds);
        *west = west.min(bounds[0]);
        *south = south.min(bounds[1]);
        *east = east.max(bounds[2]);
        *north = north.max(bounds[3]);
        *(if has_z { &mut self.with_z } else { &mut self.without_z }) += 1;
    }
}

/// What all layers hold together: least x and y, greatest x and y.
pub fn bounds(tables: &[FinishedTable]) -> Option<[f64; 4]> {
    let join = |a: [f64; 4], b: [f64; 4]| [a[0].min(b[0]), a[1].min(b[1]), a[2].max(b[2]), a[3].max(b[3])];
    tables.iter().filter_map(|table| table.held.bounds).reduce(join)
}

/// Registers the layers once their records are there, and takes out those that have none; leaves a transaction open.
pub fn describe(
    connection: &Connection,
    layers: &[Layer],
    tables: &[FinishedTable],
    metadata: &Metadata,
    is_globe: bool,
) -> Result<(), rusqlite::Error> {
    connection.execute_batch("PRAGMA synchronous = OFF; PRAGMA journal_mode = OFF; BEGIN")?;
    let changed = iso_utc(metadata.dated);
    let known = || layers.iter().zip(tables);
    for (layer, _) in known().filter(|(_, table)| table.records == 0) {
        if layer.geometry != GeometryKind::None {
            connection.execute_batch(&format!("DROP TABLE {}", index_of(layer)))?;
        }
        connection.execute_batch(&format!("DROP TABLE {}", quoted(&layer.id)))?;
    }
    domains(connection, known().filter(|(_, table)| table.records > 0).map(|(layer, _)| layer))?;
    let mut titles: Vec<&str> = Vec::new();
    for (index, (layer, table)) in known().enumerate().filter(|(_, (_, table))| table.records > 0) {
        // An identifier is for people and unique (clause 1.1.3): the title, and where two layers have one, the name too.
        let identifier = match titles.contains(&&*layer.title) {
            true => format!("{} ({})", layer.title, layer.id),
            false => layer.title.clone(),
        };
        titles.push(&layer.title);
        register(connection, layer, table, (&identifier, &metadata.of_layer(index, layer)), &changed, is_globe)?;
    }
    Ok(())
}

/// The root page of a table.
pub fn root_page(connection: &Connection, table: &str) -> Result<u32, rusqlite::Error> {
    connection.query_row("SELECT rootpage FROM sqlite_master WHERE type = 'table' AND name = ?1", [table], |row| row.get(0))
}

pub(in crate::output) fn quoted(name: &str) -> String {
    format!("\"{}\"", name.replace('"', "\"\""))
}

fn create_table(layer: &Layer, is_globe: bool) -> String {
    let mut columns = vec!["fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL".to_owned()];
    if layer.geometry != GeometryKind::None {
        columns.push(format!("geom {}", geometry_type(layer.geometry, is_globe)));
    }
    columns.extend(layer.fields.iter().map(|field| {
        let kind = match field.kind {
            FieldKind::Real => "REAL",
            FieldKind::Integer => "INTEGER",
            FieldKind::Text => "TEXT",
            FieldKind::Time => "DATETIME",
        };
        format!("{} {kind}", quoted(&field.name))
    }));
    format!("CREATE TABLE \"{}\" ({})", layer.id, columns.join(", "))
}

/// On a globe lines and areas are of parts, since one may go over ±180°.
fn geometry_type(kind: GeometryKind, is_globe: bool) -> &'static str {
    match (kind, is_globe) {
        (GeometryKind::Line, false) => "LINESTRING",
        (GeometryKind::Area, false) => "POLYGON",
        (GeometryKind::Line, true) => "MULTILINESTRING",
        (GeometryKind::Area, true) => "MULTIPOLYGON",
        (GeometryKind::Point | GeometryKind::None, _) => "POINT",
    }
}

/// The undefined Cartesian reference system of the standard (requirement 11).
const UNDEFINED_CARTESIAN: i32 = -1;

/// The three rows that every GeoPackage has (requirement 11) and the layers' own.
fn reference_systems(connection: &Connection, crs: &Crs) -> Result<i32, rusqlite::Error> {
    let own = crs.id().and_then(|(authority, code)| Some((authority.to_owned(), code.parse::<i32>().ok()?)));
    let wkt1 = crs.wkt1().filter(|_| crs.vertical().is_none() && !crs.has_ellipsoid_height() || crs.is_local());
    if wkt1.is_none() {
        // WKT 1 cannot say it: the extension for WKT 2 (annex F.10).
        connection.execute_batch(
            "ALTER TABLE gpkg_spatial_ref_sys ADD COLUMN definition_12_063 TEXT NOT NULL DEFAULT 'undefined';
             INSERT INTO gpkg_extensions VALUES ('gpkg_spatial_ref_sys', 'definition_12_063', 'gpkg_crs_wkt',
                'http://www.geopackage.org/spec120/#extension_crs_wkt', 'read-write');",
        )?;
    }
    let add = |name: &str, id: i32, organization: &str, code: i32, definition: &str| {
        connection.execute(
            "INSERT INTO gpkg_spatial_ref_sys (srs_name, srs_id, organization, organization_coordsys_id, definition) VALUES (?1, ?2, ?3, ?4, ?5)",
            params![name, id, organization, code, definition],
        )
    };
    add("Undefined Cartesian SRS", -1, "NONE", -1, "undefined")?;
    add("Undefined geographic SRS", 0, "NONE", 0, "undefined")?;
    add("WGS 84 geodetic", 4326, "EPSG", 4326, EPSG_4326)?;
    if crs.is_local() {
        return Ok(UNDEFINED_CARTESIAN);
    }
    let (organization, code) = match &own {
        Some((authority, code)) => (authority.as_str(), *code),
        None => ("NONE", 100_000),
    };
    let srs_id = code;
    if srs_id != 4326 {
        add(crs.name(), srs_id, organization, code, wkt1.as_deref().unwrap_or("undefined"))?;
    }
    if wkt1.is_none() {
        connection.execute(
            "UPDATE gpkg_spatial_ref_sys SET definition_12_063 = ?1 WHERE srs_id = ?2",
            params![crs.wkt2().unwrap_or_else(|| "undefined".to_owned()), srs_id],
        )?;
        let wgs84 = Crs::new("EPSG:4326").ok().and_then(|wgs84| wgs84.wkt2());
        connection.execute(
            "UPDATE gpkg_spatial_ref_sys SET definition_12_063 = ?1 WHERE srs_id = 4326",
            params![wgs84.unwrap_or_else(|| "undefined".to_owned())],
        )?;
    }
    Ok(srs_id)
}

fn triggers(table: &str) -> String {
    let values = "(NEW.fid, ST_MinX(NEW.geom), ST_MaxX(NEW.geom), ST_MinY(NEW.geom), ST_MaxY(NEW.geom))";
    let (filled, empty) = ("NEW.geom NOT NULL AND NOT ST_IsEmpty(NEW.geom)", "NEW.geom IS NULL OR ST_IsEmpty(NEW.geom)");
    let index = format!("rtree_{table}_geom");
    let trigger = |name: &str, event: &str, when: &str, action: &str| {
        format!("CREATE TRIGGER \"{index}_{name}\" AFTER {event} ON \"{table}\" WHEN {when} BEGIN {action} END;\n")
    };
    let put = format!("INSERT OR REPLACE INTO \"{index}\" VALUES {values};");
    let take = format!("DELETE FROM \"{index}\" WHERE id = OLD.fid;");
    let take_both = format!("DELETE FROM \"{index}\" WHERE id IN (OLD.fid, NEW.fid);");
    [
        trigger("insert", "INSERT", &format!("({filled})"), &put),
        trigger("update1", "UPDATE OF geom", &format!("OLD.fid = NEW.fid AND ({filled})"), &put),
        trigger("update2", "UPDATE OF geom", &format!("OLD.fid = NEW.fid AND ({empty})"), &take),
        trigger("update3", "UPDATE", &format!("OLD.fid != NEW.fid AND ({filled})"), &format!("{take} {put}")),
        trigger("update4", "UPDATE", &format!("OLD.fid != NEW.fid AND ({empty})"), &take_both),
        trigger("delete", "DELETE", "OLD.geom NOT NULL", &take),
    ]
    .concat()
}
