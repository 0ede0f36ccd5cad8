//! The GeoPackage against the standard's own requirements (OGC 12-128r17, version 1.3; clauses and
//! annexes are named beside each test), read through SQLite, and its index and triggers through GDAL.

use crate::support;

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use gdal::spatial_ref::SpatialRef;
use gdal::vector::{LayerAccess, sql};
use gdal::{Dataset, DatasetOptions, GdalOpenFlags};
use rusqlite::{Connection, OpenFlags, Row};
use support::*;
use tempfile::TempDir;

/// The layers with geometry of logs without strings, measurements and a catalogue.
const SPATIAL: [&str; 4] = ["features", "bases", "sight_lines", "ellipses"];

/// A written GeoPackage in a folder of its own.
struct Package {
    folder: TempDir,
    name: String,
    layers: &'static [Layer],
}

impl Package {
    fn of_example(example: &Example) -> Package {
        let folder = example.copy();
        standoff(folder.path(), &["map", "job.toml", "--out", "out", "--format", "gpkg", "--quiet"]).exits(0);
        Package { folder, name: example.name.to_owned(), layers: example.layers }
    }

    /// Of logs with canonical headers.
    fn of_logs(bases: &str, shots: &str, crs: &str) -> Package {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("bases.csv"), bases).unwrap();
        fs::write(folder.path().join("shots.csv"), shots).unwrap();
        Package::map(folder, crs)
    }

    /// Of the invented logs in a folder.
    fn map(folder: TempDir, crs: &str) -> Package {
        let arguments = [
            "map",
            "--bases",
            "bases.csv",
            "--shots",
            "shots.csv",
            "--crs",
            crs,
            "--instrument-height",
            "1.5",
            "--target-height",
            "0",
            "--out",
            "out",
            "--format",
            "gpkg",
            "--quiet",
        ];
        // 3 where nothing can be mapped: the layers are written all the same.
        let ran = standoff(folder.path(), &arguments);
        assert!(matches!(ran.status, Some(0 | 3)), "{}{}", ran.out, ran.err);
        Package { folder, name: "out".to_owned(), layers: &PLAIN }
    }

    /// Its layers with geometry.
    fn spatial(&self) -> Vec<&'static str> {
        drawn(self.layers)
    }

    /// All of its layers by name.
    fn names(&self) -> Vec<&'static str> {
        self.layers.iter().map(|(layer, _)| *layer).collect()
    }

    fn path(&self) -> PathBuf {
        self.folder.path().join("out").join(format!("{}.gpkg", self.name))
    }

    /// Opened for reading only.
    fn open(&self) -> Connection {
        Connection::open_with_flags(self.path(), OpenFlags::SQLITE_OPEN_READ_ONLY).unwrap()
    }
}

/// Two bases; shots with and without an inclination: heights known and unknown side by side. Invented.
fn mixed() -> Package {
    Package::of_logs(
        "base,lat_deg,lon_deg,ellipsoid_height_m\nA,58.6,-2.9,60.5\nB,58.61,-2.91,70.25\n",
        "shot,base,time,horizontal_distance_m,inclination_deg,true_azimuth_deg,fid,height of the tree,Größe\n\
         1,A,2026-05-04T08:00:01.250Z,100,5,90,7,3.25,klein\n\
         2,A,2026-05-04T08:00:02.5Z,120,,180,8,4.5,groß\n\
         3,B,2026-05-04T08:00:03Z,50,-3,10,,,\n",
        "EPSG:32630",
    )
}

/// Every row is held; invented.
fn nothing_mapped() -> Package {
    let package = Package::of_logs(
        "base,lat_deg,lon_deg,ellipsoid_height_m\nA,58.6,-2.9,60.5\n",
        "shot,base,slope_distance_m,inclination_deg,true_azimuth_deg\n1,A,---,5,90\n2,Z,100,5,90\n",
        "EPSG:32630",
    );
    Package { layers: &[("bases", "POINT"), ("ledger", "")], ..package }
}

fn all() -> Vec<Package> {
    EXAMPLES.iter().map(Package::of_example).chain([mixed(), nothing_mapped()]).collect()
}

fn rows<T>(connection: &Connection, query: &str, read: impl Fn(&Row) -> rusqlite::Result<T>) -> Vec<T> {
    let mut statement = connection.prepare(query).unwrap_or_else(|error| panic!("{query}: {error}"));
    statement.query_map([], |row| read(row)).unwrap().map(|row| row.unwrap()).collect()
}

fn one<T: rusqlite::types::FromSql>(connection: &Connection, query: &str) -> T {
    connection.query_row(query, [], |row| row.get(0)).unwrap_or_else(|error| panic!("{query}: {error}"))
}

/// A row of the contents: table, data type, identifier, min x, max x, min y, max y, srs_id.
type Content = (String, String, String, [Option<f64>; 4], Option<i64>);

/// A geometry blob taken apart by clause 2.1.3, its WKB by ISO 13249-3 (thousands of the type: z).
#[derive(Debug, Clone, PartialEq)]
struct Blob {
    srs_id: i32,
    /// min x, max x, min y, max y, where the header has them.
    envelope: Option<[f64; 4]>,
    is_empty: bool,
    wkb_type: u32,
    points: Vec<[f64; 3]>,
}

impl Blob {
    fn read(bytes: &[u8]) -> Blob {
        assert_eq!(&bytes[..3], b"GP\0", "magic number and version");
        let flags = bytes[3];
        assert_eq!(flags & 0b1110_0000, 0, "reserved bits and the type: a standard geometry");
        assert_eq!(flags & 1, 1, "this reader knows little-endian only");
        let mut rest = &bytes[4..];
        let srs_id = take_u32(&mut rest) as i32;
        let envelope = match (flags >> 1) & 0b111 {
            0 => None,
            1 => Some([(); 4].map(|()| take_f64(&mut rest))),
            other => panic!("envelope of kind {other}"),
        };
        assert_eq!(rest[0], 1, "byte order of the WKB");
        rest = &rest[1..];
        let wkb_type = take_u32(&mut rest);
        let count = match wkb_type % 1000 {
            1 => 1,
            2 => take_u32(&mut rest),
            3 => {
                assert_eq!(take_u32(&mut rest), 1, "rings");
                take_u32(&mut rest)
            }
            other => panic!("WKB type {other}"),
        };
        let has_z = wkb_type / 1000 == 1;
        let points = (0..count)
            .map(|_| [take_f64(&mut rest), take_f64(&mut rest), if has_z { take_f64(&mut rest) } else { f64::NAN }])
            .collect();
        assert_eq!(rest, &[] as &[u8], "bytes behind the geometry");
        Blob { srs_id, envelope, is_empty: flags & 0b1_0000 != 0, wkb_type, points }
    }

    fn has_z(&self) -> bool {
        self.wkb_type > 1000
    }

    /// min x, max x, min y, max y.
    fn bounds(&self) -> [f64; 4] {
        let edge = |axis: usize, choose: fn(f64, f64) -> f64| self.points.iter().map(|point| point[axis]).reduce(choose).unwrap();
        [edge(0, f64::min), edge(0, f64::max), edge(1, f64::min), edge(1, f64::max)]
    }
}

fn take_u32(rest: &mut &[u8]) -> u32 {
    let (head, tail) = rest.split_first_chunk().unwrap();
    *rest = tail;
    u32::from_le_bytes(*head)
}

fn take_f64(rest: &mut &[u8]) -> f64 {
    let (head, tail) = rest.split_first_chunk().unwrap();
    *rest = tail;
    f64::from_le_bytes(*head)
}

/// The geometries of a layer by row id.
fn blobs(connection: &Connection, layer: &str) -> BTreeMap<i64, Blob> {
    rows(connection, &format!("SELECT fid, geom FROM \"{layer}\" WHERE geom NOT NULL"), |row| {
        Ok((row.get(0)?, Blob::read(&row.get::<_, Vec<u8>>(1)?)))
    })
    .into_iter()
    .collect()
}

#[test]
fn the_file_says_that_it_is_a_geopackage_of_version_1_3() {
    // Requirements 1 and 2; clause 1.1.1.1.1.
    for package in all() {
        let bytes = fs::read(package.path()).unwrap();
        assert_eq!(&bytes[..16], b"SQLite format 3\0");
        assert_eq!(bytes[68..72], *b"GPKG");
        let connection = package.open();
        assert_eq!(one::<i64>(&connection, "PRAGMA application_id"), 0x4750_4B47);
        assert_eq!(one::<i64>(&connection, "PRAGMA user_version"), 10300);
        assert_eq!(one::<String>(&connection, "PRAGMA encoding"), "UTF-8");
        // In the rollback mode a copy of the one file is whole.
        assert_eq!(bytes[18..20], [1, 1], "not in the write-ahead mode");
    }
}

#[test]
fn the_file_is_sound() {
    // Requirements 6 and 7: integrity_check and foreign_key_check.
    for package in all() {
        let connection = package.open();
        assert_eq!(rows(&connection, "PRAGMA integrity_check", |row| row.get::<_, String>(0)), ["ok"]);
        assert_eq!(rows(&connection, "PRAGMA foreign_key_check", |row| row.get::<_, String>(0)), Vec::<String>::new());
        for layer in package.spatial() {
            assert_eq!(one::<String>(&connection, &format!("SELECT rtreecheck('rtree_{layer}_geom')")), "ok", "{layer}");
        }
    }
}

#[test]
fn the_required_tables_have_the_columns_of_the_standard() {
    // Annex C: name, type, not null, default, place in the primary key.
    const SPATIAL_REF_SYS: &str = "srs_name TEXT 1 - 0, srs_id INTEGER 1 - 1, organization TEXT 1 - 0, \
        organization_coordsys_id INTEGER 1 - 0, definition TEXT 1 - 0, description TEXT 0 - 0";
    const CONTENTS: &str = "table_name TEXT 1 - 1, data_type TEXT 1 - 0, identifier TEXT 0 - 0, description TEXT 0 '' 0, \
        last_change DATETIME 1 strftime('%Y-%m-%dT%H:%M:%fZ','now') 0, min_x DOUBLE 0 - 0, min_y DOUBLE 0 - 0, \
        max_x DOUBLE 0 - 0, max_y DOUBLE 0 - 0, srs_id INTEGER 0 - 0";
    const GEOMETRY_COLUMNS: &str = "table_name TEXT 1 - 1, column_name TEXT 1 - 2, geometry_type_name TEXT 1 - 0, \
        srs_id INTEGER 1 - 0, z TINYINT 1 - 0, m TINYINT 1 - 0";
    const EXTENSIONS: &str = "table_name TEXT 0 - 0, column_name TEXT 0 - 0, extension_name TEXT 1 - 0, definition TEXT 1 - 0, \
        scope TEXT 1 - 0";
    for package in all() {
        let connection = package.open();
        for (table, columns) in [
            ("gpkg_spatial_ref_sys", SPATIAL_REF_SYS),
            ("gpkg_contents", CONTENTS),
            ("gpkg_geometry_columns", GEOMETRY_COLUMNS),
            ("gpkg_extensions", EXTENSIONS),
        ] {
            let found = rows(&connection, &format!("PRAGMA table_info({table})"), |row| {
                let default: Option<String> = row.get(4)?;
                Ok(format!(
                    "{} {} {} {} {}",
                    row.get::<_, String>(1)?,
                    row.get::<_, String>(2)?,
                    row.get::<_, i64>(3)?,
                    default.as_deref().unwrap_or("-"),
                    row.get::<_, i64>(5)?
                ))
            });
            assert_eq!(found.join(", "), columns, "{table}");
        }
        // Foreign keys: of the contents to the reference systems, of the geometry columns to both.
        let keys = |table: &str| {
            rows(&connection, &format!("PRAGMA foreign_key_list({table})"), |row| {
                Ok(format!("{} -> {}.{}", row.get::<_, String>(3)?, row.get::<_, String>(2)?, row.get::<_, String>(4)?))
            })
            .into_iter()
            .collect::<BTreeSet<String>>()
        };
        assert_eq!(keys("gpkg_contents"), ["srs_id -> gpkg_spatial_ref_sys.srs_id".to_owned()].into());
        let both = ["srs_id -> gpkg_spatial_ref_sys.srs_id", "table_name -> gpkg_contents.table_name"];
        assert_eq!(keys("gpkg_geometry_columns"), both.map(str::to_owned).into());
    }
}

#[test]
fn the_reference_systems_are_the_three_required_ones_and_the_layers_own() {
    // Requirement 11; clause 1.1.2.1.2.
    for example in &EXAMPLES {
        let package = Package::of_example(example);
        let connection = package.open();
        let systems: Vec<(i64, String, i64)> = rows(
            &connection,
            "SELECT srs_id, organization, organization_coordsys_id FROM gpkg_spatial_ref_sys ORDER BY srs_id",
            |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)),
        );
        let epsg = |code: i64| (code, "EPSG".to_owned(), code);
        let mut expected =
            vec![(-1, "NONE".to_owned(), -1), (0, "NONE".to_owned(), 0), epsg(4326), epsg(i64::from(example.epsg))];
        expected.sort();
        assert_eq!(systems, expected);
        let definitions: BTreeMap<i64, String> =
            rows(&connection, "SELECT srs_id, definition FROM gpkg_spatial_ref_sys", |row| Ok((row.get(0)?, row.get(1)?)))
                .into_iter()
                .collect();
        assert_eq!((definitions[&-1].as_str(), definitions[&0].as_str()), ("undefined", "undefined"));
        for code in [4326, i64::from(example.epsg)] {
            let definition = &definitions[&code];
            assert!(definition.starts_with("GEOGCS[") || definition.starts_with("PROJCS["), "WKT 1: {definition}");
            let read = SpatialRef::from_wkt(definition).unwrap();
            assert_eq!(read.authority().unwrap(), format!("EPSG:{code}"));
            // And the definition is the registered one, not its code alone.
            let registered = SpatialRef::from_epsg(code as u32).unwrap();
            assert_eq!(read.to_proj4().unwrap(), registered.to_proj4().unwrap());
        }
        // Every other table names the layers' own.
        for table in ["gpkg_contents", "gpkg_geometry_columns"] {
            let used: Vec<i64> =
                rows(&connection, &format!("SELECT DISTINCT srs_id FROM {table} WHERE srs_id NOT NULL"), |row| row.get(0));
            assert_eq!(used, [i64::from(example.epsg)], "{table}");
        }
    }
}

#[test]
fn the_contents_have_one_row_a_layer_with_the_extent_of_its_geometries() {
    // Clause 1.1.3: data type, unique identifier, extent; attributes tables have none (2.4).
    for package in all() {
        let connection = package.open();
        let summary = json(&package.folder.path().join("out/summary.json"));
        let contents: Vec<Content> = rows(
            &connection,
            "SELECT table_name, data_type, identifier, min_x, max_x, min_y, max_y, srs_id FROM gpkg_contents ORDER BY rowid",
            |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?, [row.get(3)?, row.get(4)?, row.get(5)?, row.get(6)?], row.get(7)?)),
        );
        let tables: Vec<&str> = contents.iter().map(|(table, ..)| table.as_str()).collect();
        assert_eq!(tables, [package.names().as_slice(), &["layer_styles", "qgis_projects"]].concat());
        for (table, data_type, identifier, extent, srs_id) in &contents {
            // For people: the title.
            let own = ["layer_styles", "qgis_projects"].contains(&table.as_str());
            assert!(
                if own { identifier == table } else { identifier != table && !identifier.contains('_') },
                "{identifier} {table}"
            );
            if !package.spatial().contains(&table.as_str()) {
                assert_eq!((data_type.as_str(), extent, srs_id), ("attributes", &[None; 4], &None));
                continue;
            }
            assert_eq!(data_type, "features");
            let bounds = blobs(&connection, table)
                .values()
                .map(Blob::bounds)
                .reduce(|a, b| [a[0].min(b[0]), a[1].max(b[1]), a[2].min(b[2]), a[3].max(b[3])]);
            assert_eq!(*extent, bounds.map_or([None; 4], |bounds| bounds.map(Some)), "{} {table}", package.name);
            // The summary says the same: least x, least y, greatest x, greatest y.
            let layer = summary["layers"].as_array().unwrap().iter().find(|layer| layer["name"] == table.as_str()).unwrap();
            let order = bounds.map(|[west, east, south, north]| [west, south, east, north]);
            assert_eq!(layer["extent"], serde_json::json!(order), "{} {table}", package.name);
        }
    }
}

#[test]
fn feature_tables_have_an_integer_key_and_one_geometry_column_of_the_named_type() {
    // Clauses 2.1.4 to 2.1.6; requirements 22 to 33.
    for package in all() {
        let connection = package.open();
        let columns: Vec<(String, String, String, i64)> = rows(
            &connection,
            "SELECT table_name, column_name, geometry_type_name, m FROM gpkg_geometry_columns ORDER BY rowid",
            |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?)),
        );
        let expected: Vec<(String, String, String, i64)> = package
            .layers
            .iter()
            .filter(|(_, kind)| !kind.is_empty())
            .map(|(table, kind)| ((*table).to_owned(), "geom".to_owned(), (*kind).to_owned(), 0))
            .collect();
        assert_eq!(columns, expected);
        for (table, _, kind, _) in &columns {
            let info = columns_of(&connection, table);
            assert_eq!(info[0], ("fid".to_owned(), "INTEGER".to_owned(), true), "{table}");
            assert_eq!(info[1], ("geom".to_owned(), kind.clone(), false), "{table}");
            let code = match kind.as_str() {
                "POINT" => 1,
                "LINESTRING" => 2,
                _ => 3,
            };
            assert!(blobs(&connection, table).values().all(|blob| blob.wkb_type % 1000 == code), "{table}");
        }
        for table in package.names() {
            let sql: String = one(&connection, &format!("SELECT sql FROM sqlite_master WHERE name = '{table}'"));
            assert!(sql.contains("fid INTEGER PRIMARY KEY AUTOINCREMENT"), "{sql}");
            // The next record gets a number of its own.
            let (count, last): (i64, Option<i64>) = connection
                .query_row(&format!("SELECT count(*), max(fid) FROM \"{table}\""), [], |row| Ok((row.get(0)?, row.get(1)?)))
                .unwrap();
            assert_eq!(last.unwrap_or(0), count);
            assert_eq!(one::<i64>(&connection, &format!("SELECT seq FROM sqlite_sequence WHERE name = '{table}'")), count);
        }
    }
}

/// Name, type and whether it is the key.
fn columns_of(connection: &Connection, table: &str) -> Vec<(String, String, bool)> {
    rows(connection, &format!("PRAGMA table_info(\"{table}\")"), |row| Ok((row.get(1)?, row.get(2)?, row.get::<_, i64>(5)? == 1)))
}

#[test]
fn values_are_of_the_type_of_their_column() {
    // Clause 1.1.1.1.3, table 1: DATETIME is text, YYYY-MM-DDTHH:MM:SS.SSSZ.
    for package in all() {
        let connection = package.open();
        for table in package.names() {
            for (column, kind, _) in columns_of(&connection, table) {
                let stored = match kind.as_str() {
                    "INTEGER" => "integer",
                    "REAL" => "real",
                    "TEXT" | "DATETIME" => "text",
                    "POINT" | "LINESTRING" | "POLYGON" => "blob",
                    other => panic!("{column} of {table} is {other}"),
                };
                let others = format!(
                    "SELECT count(*) FROM \"{table}\" WHERE \"{column}\" NOT NULL AND typeof(\"{column}\") != '{stored}'"
                );
                assert_eq!(one::<i64>(&connection, &others), 0, "{column} of {} {table}", package.name);
                if kind == "DATETIME" {
                    let others = format!(
                        "SELECT count(*) FROM \"{table}\" WHERE \"{column}\" NOT NULL \
                         AND strftime('%Y-%m-%dT%H:%M:%fZ', \"{column}\") IS NOT \"{column}\""
                    );
                    assert_eq!(one::<i64>(&connection, &others), 0, "{column} of {} {table}", package.name);
                }
            }
        }
    }
    let times: Vec<String> = rows(&mixed().open(), "SELECT time FROM features ORDER BY fid", |row| row.get(0));
    assert_eq!(times, ["2026-05-04T08:00:01.250Z", "2026-05-04T08:00:02.500Z", "2026-05-04T08:00:03.000Z"]);
}

#[test]
fn every_geometry_has_a_header_that_fits_it() {
    // Clause 2.1.3.1.1.
    for package in all() {
        let connection = package.open();
        let srs_id: i32 = one(&connection, "SELECT srs_id FROM gpkg_geometry_columns WHERE table_name = 'bases'");
        for table in package.spatial() {
            for (fid, blob) in blobs(&connection, table) {
                assert_eq!(blob.srs_id, srs_id, "{table} {fid}");
                assert!(!blob.is_empty, "{table} {fid}");
                // A point needs no envelope; one that stands must be right.
                let is_point = package.layers.contains(&(table, "POINT"));
                assert_eq!(blob.envelope, (!is_point).then(|| blob.bounds()), "{table} {fid}");
                assert!(blob.points.iter().flatten().all(|value| value.is_finite() || !blob.has_z()), "{table} {fid}");
            }
        }
    }
}

#[test]
fn the_z_flag_is_that_of_the_geometries() {
    // Clause 2.1.5, table 5: 0 prohibited, 1 mandatory, 2 optional.
    let flags = |package: &Package| -> BTreeMap<String, i64> {
        rows(&package.open(), "SELECT table_name, z FROM gpkg_geometry_columns", |row| Ok((row.get(0)?, row.get(1)?)))
            .into_iter()
            .collect()
    };
    for package in all() {
        let connection = package.open();
        for (table, flag) in flags(&package) {
            let with: BTreeSet<bool> = blobs(&connection, &table).values().map(Blob::has_z).collect();
            let expected = match (with.contains(&true), with.contains(&false)) {
                (true, true) => 2,
                (true, false) => 1,
                (false, _) => 0,
            };
            assert_eq!(flag, expected, "{} {table}", package.name);
        }
    }
    let of = |package: &Package| SPATIAL.map(|table| flags(package)[table]);
    let [cliff, line, plot] = EXAMPLES.each_ref().map(Package::of_example);
    assert_eq!(of(&cliff), [1, 1, 1, 0]);
    assert_eq!(of(&line), [1, 1, 1, 0]);
    assert_eq!(of(&plot), [0, 1, 0, 0]);
    assert_eq!(of(&mixed()), [2, 1, 2, 0]);
}

#[test]
fn extensions_are_registered_and_what_they_name_is_there() {
    // Clause 2.3 and annex F: schema (F.9) and R-tree (F.3).
    for package in all() {
        let connection = package.open();
        let found: BTreeSet<(String, Option<String>, String, String)> =
            rows(&connection, "SELECT table_name, column_name, extension_name, scope FROM gpkg_extensions", |row| {
                Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?))
            })
            .into_iter()
            .collect();
        let mut expected: BTreeSet<(String, Option<String>, String, String)> = [
            ("gpkg_data_columns", "schema"),
            ("gpkg_data_column_constraints", "schema"),
            ("gpkg_metadata", "metadata"),
            ("gpkg_metadata_reference", "metadata"),
        ]
        .map(|(table, extension)| (table.to_owned(), None, format!("gpkg_{extension}"), "read-write".to_owned()))
        .into();
        // The program's own: the journal of edits.
        expected.insert(("standoff_edits".to_owned(), None, "standoff_edits".to_owned(), "read-write".to_owned()));
        expected.extend(
            package
                .spatial()
                .into_iter()
                .map(|table| (table.to_owned(), Some("geom".to_owned()), "gpkg_rtree_index".to_owned(), "write-only".to_owned())),
        );
        assert_eq!(found, expected);
        // Every field of every layer is described, under its own name.
        let described: BTreeSet<(String, String)> =
            rows(&connection, "SELECT table_name, column_name FROM gpkg_data_columns WHERE description != ''", |row| {
                Ok((row.get(0)?, row.get(1)?))
            })
            .into_iter()
            .collect();
        let fields: BTreeSet<(String, String)> = package
            .names()
            .iter()
            .flat_map(|table| columns_of(&connection, table).into_iter().map(|(column, ..)| ((*table).to_owned(), column)))
            .filter(|(_, column)| column != "fid" && column != "geom")
            .collect();
        assert_eq!(described, fields);
    }
}

#[test]
fn every_geometry_is_in_the_index_with_its_box() {
    // Annex F.3. The index keeps single precision, rounded outwards.
    for package in all() {
        let connection = package.open();
        for table in package.spatial() {
            let index: BTreeMap<i64, [f64; 4]> =
                rows(&connection, &format!("SELECT id, minx, maxx, miny, maxy FROM rtree_{table}_geom"), |row| {
                    Ok((row.get(0)?, [row.get(1)?, row.get(2)?, row.get(3)?, row.get(4)?]))
                })
                .into_iter()
                .collect();
            let geometries = blobs(&connection, table);
            assert!(index.keys().eq(geometries.keys()), "{} {table}", package.name);
            for (fid, blob) in geometries {
                let bounds = blob.bounds();
                for (edge, (kept, exact)) in index[&fid].into_iter().zip(bounds).enumerate() {
                    let is_outside = if edge % 2 == 0 { kept <= exact } else { kept >= exact };
                    // One step of single precision either side.
                    let step = f64::from((exact as f32).next_up()) - f64::from((exact as f32).next_down());
                    assert!(is_outside && (kept - exact).abs() <= step, "{table} {fid}: {kept} around {exact}");
                }
            }
        }
    }
}

#[test]
fn the_triggers_of_the_standard_stand_on_every_layer_with_geometry() {
    // Annex F.3, "Triggers".
    for package in all() {
        let connection = package.open();
        let found: BTreeSet<(String, String)> =
            rows(&connection, "SELECT tbl_name, name FROM sqlite_master WHERE type = 'trigger' AND name LIKE 'rtree%'", |row| {
                Ok((row.get(0)?, row.get(1)?))
            })
            .into_iter()
            .collect();
        let parts = ["insert", "update1", "update2", "update3", "update4", "delete"];
        let expected: BTreeSet<(String, String)> = package
            .spatial()
            .iter()
            .flat_map(|table| parts.map(|part| ((*table).to_owned(), format!("rtree_{table}_geom_{part}"))))
            .collect();
        assert_eq!(found, expected, "{}", package.name);
    }
}

/// Opens for editing, as desktop GIS does: GDAL brings the functions that the triggers call.
fn edit(path: &Path) -> Dataset {
    let flags = GdalOpenFlags::GDAL_OF_UPDATE | GdalOpenFlags::GDAL_OF_VECTOR;
    Dataset::open_ex(path, DatasetOptions { open_flags: flags, ..Default::default() }).unwrap()
}

#[test]
fn the_triggers_keep_the_index_while_records_change() {
    // Layers with the five records that the steps name, one of the catalogue among them.
    for layer in ["features", "poles", "bases", "sight_lines", "ellipses", "vertices"] {
        let package = Package::of_example(&EXAMPLES[1]);
        let steps = [
            format!("INSERT INTO \"{layer}\" (geom) SELECT geom FROM \"{layer}\" WHERE fid = 3"),
            format!("UPDATE \"{layer}\" SET geom = (SELECT geom FROM \"{layer}\" WHERE fid = 4) WHERE fid = 1"),
            format!("UPDATE \"{layer}\" SET geom = NULL WHERE fid = 2"),
            format!("UPDATE \"{layer}\" SET geom = (SELECT geom FROM \"{layer}\" WHERE fid = 5) WHERE fid = 2"),
            format!("UPDATE \"{layer}\" SET fid = 9000 WHERE fid = 3"),
            format!("UPDATE \"{layer}\" SET fid = 9001, geom = NULL WHERE fid = 4"),
            format!("DELETE FROM \"{layer}\" WHERE fid = 5"),
        ];
        for step in steps {
            let dataset = edit(&package.path());
            dataset.execute_sql(&step, None, sql::Dialect::DEFAULT).unwrap_or_else(|error| panic!("{step}: {error}"));
            dataset.close().unwrap();
            let connection = package.open();
            let geometries = blobs(&connection, layer);
            let index: BTreeMap<i64, [f64; 2]> =
                rows(&connection, &format!("SELECT id, minx, miny FROM rtree_{layer}_geom"), |row| {
                    Ok((row.get(0)?, [row.get(1)?, row.get(2)?]))
                })
                .into_iter()
                .collect();
            assert!(index.keys().eq(geometries.keys()), "{step}");
            for (fid, blob) in geometries {
                let [west, _, south, _] = blob.bounds();
                let [x, y] = index[&fid];
                // SQLite widens a box by one part in 2^23 beyond its rounding to single precision.
                let near = |kept: f64, exact: f64| (kept - exact).abs() <= exact.abs() * 2.0 * f64::from(f32::EPSILON);
                assert!(near(x, west) && near(y, south), "{step}: {fid} at {x} {y}, not {west} {south}");
            }
            assert_eq!(one::<String>(&connection, &format!("SELECT rtreecheck('rtree_{layer}_geom')")), "ok", "{step}");
            assert_eq!(rows(&connection, "PRAGMA integrity_check", |row| row.get::<_, String>(0)), ["ok"], "{step}");
        }
    }
}

#[test]
fn a_spatial_filter_finds_what_a_walk_finds() {
    // Enough records for an index of three levels.
    const SHOTS: usize = 6000;
    let folder = tempfile::tempdir().unwrap();
    let invented = invent_logs(folder.path(), SHOTS, "");
    let package = Package::map(folder, "EPSG:32630");
    let connection = package.open();
    let points = blobs(&connection, "features");
    assert_eq!(points.len() as u64, invented.mapped);
    let depth: i64 = one(&connection, "SELECT rtreedepth(data) FROM rtree_features_geom_node WHERE nodeno = 1");
    assert!(depth >= 2, "an index of depth {depth}");
    let dataset = Dataset::open(package.path()).unwrap();
    let mut layer = dataset.layer_by_name("features").unwrap();
    let extent = layer.get_extent().unwrap();
    let (width, height) = (extent.MaxX - extent.MinX, extent.MaxY - extent.MinY);
    let mut found_in_all = 0;
    for (west, south, share) in
        [(0.0, 0.0, 1.0), (0.1, 0.1, 0.5), (0.45, 0.45, 0.1), (0.9, 0.88, 0.2), (0.02, 0.97, 0.03), (0.5, 0.5, 0.001)]
    {
        let window = [
            extent.MinX + west * width,
            extent.MinX + (west + share) * width,
            extent.MinY + south * height,
            extent.MinY + (south + share) * height,
        ];
        layer.set_spatial_filter_rect(window[0], window[2], window[1], window[3]);
        let found: BTreeSet<i64> = layer.features().map(|feature| feature.fid().unwrap() as i64).collect();
        let walked: BTreeSet<i64> = points
            .iter()
            .filter(|(_, blob)| {
                let [x, y, _] = blob.points[0];
                (window[0]..=window[1]).contains(&x) && (window[2]..=window[3]).contains(&y)
            })
            .map(|(fid, _)| *fid)
            .collect();
        assert_eq!(found, walked, "{window:?}");
        found_in_all += found.len();
    }
    assert!(found_in_all > SHOTS, "the windows hold next to nothing: {found_in_all}");
}

fn last_change(package: &Package) -> BTreeSet<String> {
    rows(&package.open(), "SELECT DISTINCT last_change FROM gpkg_contents", |row| row.get(0)).into_iter().collect()
}

#[test]
fn the_last_change_is_the_latest_time_in_the_data() {
    // Requirement 15: ISO 8601 with milliseconds. A feature of several shots has the time of its first, and those of
    // the last evening on the cliff are all further shots: tuesday/east-morning.csv, line 20; yard.csv, line 17, in
    // Eastern daylight time; the one date of the forest plot.
    for (example, latest) in
        EXAMPLES.iter().zip(["2026-06-16T08:18:16.000Z", "2026-03-18T18:53:02.000Z", "2026-09-16T00:00:00.000Z"])
    {
        assert_eq!(last_change(&Package::of_example(example)), [latest.to_owned()].into(), "{}", example.folder);
    }
    assert_eq!(last_change(&nothing_mapped()), ["1970-01-01T00:00:00.000Z".to_owned()].into(), "no time in the data");
}

#[test]
fn the_last_change_is_source_date_epoch_where_it_is_set() {
    let folder = EXAMPLES[0].copy();
    let mut command = program();
    command.current_dir(folder.path()).args(["map", "job.toml", "--out", "out", "--format", "gpkg", "--quiet"]);
    // 1 700 000 000 seconds are 2023-11-14T22:13:20Z (date -u -d @1700000000, GNU coreutils).
    command.env("SOURCE_DATE_EPOCH", "1700000000");
    run(command).exits(0);
    let package = Package { folder, name: EXAMPLES[0].name.to_owned(), layers: EXAMPLES[0].layers };
    assert_eq!(last_change(&package), ["2023-11-14T22:13:20.000Z".to_owned()].into());
}

#[test]
fn a_crs_that_wkt_1_cannot_say_stands_as_wkt_2() {
    // Annex F.10. A compound CRS, and a geographic one with a height.
    let compound = {
        let folder = EXAMPLES[0].copy();
        let job = read(&folder.path().join("job-with-heights.toml")).replace("# allow_global_geoid", "allow_global_geoid");
        fs::write(folder.path().join("heights.toml"), job).unwrap();
        standoff(folder.path(), &["map", "heights.toml", "--out", "out", "--format", "gpkg", "--quiet"]).exits(0);
        Package { folder, name: "skerrow-heights".to_owned(), layers: &PLAIN }
    };
    let of = |crs: &str| {
        Package::of_logs(
            "base,lat_deg,lon_deg,ellipsoid_height_m\nA,58.6,-2.9,60.5\n",
            "shot,base,slope_distance_m,inclination_deg,true_azimuth_deg\n1,A,100,5,90\n",
            crs,
        )
    };
    for (package, head) in [(compound, "COMPOUNDCRS[\"WGS 84 / UTM zone 30N + "), (of("EPSG:4979"), "GEOGCRS[\"WGS 84\"")] {
        let connection = package.open();
        let srs_id: i64 = one(&connection, "SELECT srs_id FROM gpkg_geometry_columns WHERE table_name = 'bases'");
        let registered: Vec<(String, String, String)> = rows(
            &connection,
            "SELECT table_name, column_name, scope FROM gpkg_extensions WHERE extension_name = 'gpkg_crs_wkt'",
            |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)),
        );
        assert_eq!(registered, [("gpkg_spatial_ref_sys".to_owned(), "definition_12_063".to_owned(), "read-write".to_owned())]);
        let definition = |column: &str, srs_id: i64| -> String {
            one(&connection, &format!("SELECT {column} FROM gpkg_spatial_ref_sys WHERE srs_id = {srs_id}"))
        };
        assert_eq!(definition("definition", srs_id), "undefined");
        let wkt2 = definition("definition_12_063", srs_id);
        assert!(wkt2.starts_with(head), "{wkt2}");
        assert!(definition("definition_12_063", 4326).starts_with("GEOGCRS[\"WGS 84\""));
        assert_eq!([-1, 0].map(|srs_id| definition("definition_12_063", srs_id)), ["undefined", "undefined"]);
        // Reading it back gives all of it: three axes.
        let dataset = Dataset::open(package.path()).unwrap();
        let crs = dataset.layer_by_name("features").unwrap().spatial_ref().unwrap();
        assert_eq!(crs.axes_count(), 3, "{}", crs.to_wkt().unwrap());
        assert_eq!(rows(&connection, "PRAGMA foreign_key_check", |row| row.get::<_, String>(0)), Vec::<String>::new());
    }
}

#[test]
fn a_crs_of_no_authority_has_a_number_of_its_own() {
    // A local transverse Mercator; invented.
    let package = Package::of_logs(
        "base,lat_deg,lon_deg,ellipsoid_height_m\nA,58.6,-2.9,60.5\n",
        "shot,base,slope_distance_m,inclination_deg,true_azimuth_deg\n1,A,100,5,90\n",
        "+proj=tmerc +lat_0=58.6 +lon_0=-2.9 +k=1 +x_0=10000 +y_0=20000 +datum=WGS84 +units=m +type=crs",
    );
    let connection = package.open();
    let (srs_id, organization): (i64, String) = connection
        .query_row("SELECT srs_id, organization FROM gpkg_spatial_ref_sys WHERE srs_id NOT IN (-1, 0, 4326)", [], |row| {
            Ok((row.get(0)?, row.get(1)?))
        })
        .unwrap();
    assert!(srs_id > 0 && organization.eq_ignore_ascii_case("NONE"), "{srs_id} {organization}");
    let dataset = Dataset::open(package.path()).unwrap();
    let mut bases = dataset.layer_by_name("bases").unwrap();
    let crs = bases.spatial_ref().unwrap();
    assert!(crs.is_projected() && crs.to_proj4().unwrap().contains("+x_0=10000 +y_0=20000"), "{}", crs.to_proj4().unwrap());
    // The base stands at the origin of the projection.
    let (x, y, _) = bases.features().next().unwrap().geometry().unwrap().get_point(0);
    assert!((x - 10_000.0).abs() < 1e-6 && (y - 20_000.0).abs() < 1e-6, "{x} {y}");
}
