//! Edits made in a GeoPackage by hand, through GDAL and through SQLite, and carried over to a new run: nothing is lost in silence.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use gdal::vector::LayerAccess;
use gdal::{Dataset, DatasetOptions, GdalOpenFlags};
use rusqlite::Connection;

use crate::support::small::Small;
use crate::support::{EXAMPLES, names, read, standoff, table};

type Row = BTreeMap<String, String>;

fn update(path: &Path) -> Dataset {
    let open_flags = GdalOpenFlags::GDAL_OF_VECTOR | GdalOpenFlags::GDAL_OF_UPDATE;
    Dataset::open_ex(path, DatasetOptions { open_flags, ..Default::default() }).unwrap()
}

/// Sound by SQLite's own checks, with a spatial index of every record, and nothing beside it that another program waits for.
#[track_caller]
fn is_sound(path: &Path, layers: &[&str]) {
    let connection = Connection::open(path).unwrap();
    let text = |query: &str| -> String { connection.query_row(query, [], |row| row.get(0)).unwrap() };
    assert_eq!(text("PRAGMA integrity_check"), "ok");
    assert_ne!(text("PRAGMA journal_mode"), "wal");
    let count = |query: &str| -> i64 { connection.query_row(query, [], |row| row.get(0)).unwrap() };
    assert_eq!(count("SELECT count(*) FROM pragma_foreign_key_check"), 0);
    for layer in layers {
        assert_eq!(text(&format!("SELECT rtreecheck('rtree_{layer}_geom')")), "ok");
        let strangers = format!("SELECT count(*) FROM rtree_{layer}_geom WHERE id NOT IN (SELECT fid FROM {layer})");
        assert_eq!(count(&strangers), 0);
        assert_eq!(count(&format!("SELECT count(*) FROM {layer}")), count(&format!("SELECT count(*) FROM rtree_{layer}_geom")));
    }
    connection.close().unwrap();
    let beside = names(path.parent().unwrap());
    assert!(
        !beside.iter().any(|name| name.ends_with("-wal") || name.ends_with("-shm") || name.ends_with("-journal")),
        "{beside:?}"
    );
}

fn by_feature(folder: &Path) -> BTreeMap<String, Row> {
    table(&folder.join("csv/skerrow.features.csv")).into_iter().map(|row| (row["feature"].clone(), row)).collect()
}

/// What edits.csv says: outcome, feature, kind, field, reason.
fn told(folder: &Path) -> Vec<[String; 5]> {
    let of = |row: Row| ["outcome", "feature", "edit", "field", "reason"].map(|column| row[column].clone());
    table(&folder.join("edits.csv")).into_iter().map(of).collect()
}

fn map(folder: &Path, out: &str, more: &[&str]) -> String {
    let arguments = [&["map", "job.toml", "--out", out, "--format", "gpkg", "--format", "csv"], more].concat();
    standoff(folder, &arguments).exits(0).out
}

#[test]
fn what_is_edited_through_gdal_comes_back_in_the_next_run_and_the_one_after() {
    let folder = EXAMPLES[0].copy();
    map(folder.path(), "first", &[]);
    let path = folder.path().join("first/skerrow.gpkg");
    let as_written = by_feature(&folder.path().join("first"));
    {
        let dataset = update(&path);
        let mut layer = dataset.layer_by_name("features").unwrap();
        let field = |name: &str| layer.defn().field_index(name).unwrap();
        let [name, code, note, sigma] = ["feature", "code", "Note", "sigma_up_m"].map(field);
        layer.set_attribute_filter("feature = 'N11'").unwrap();
        // As a GIS does: the whole record is written again.
        let number = layer.features().next().unwrap().fid().unwrap();
        let mut feature = layer.feature(number).unwrap();
        for (index, value) in [(name, "N11a"), (code, "empty"), (note, "moved in \"May\"")] {
            feature.set_field_string(index, value).unwrap();
        }
        feature.set_field_double(sigma, 0.001).unwrap();
        layer.set_feature(feature).unwrap();
        layer.clear_attribute_filter();
        dataset.execute_sql("DELETE FROM features WHERE feature = 'N17'", None, gdal::vector::sql::Dialect::DEFAULT).unwrap();
        dataset.close().unwrap();
    }
    is_sound(&path, &["features", "bases", "ellipses", "sight_lines"]);
    let mut source = "first".to_owned();
    for out in ["second", "third"] {
        let said = map(folder.path(), out, &["--keep-edits", &format!("{source}/skerrow.gpkg")]);
        let (now, out_folder) = (by_feature(&folder.path().join(out)), folder.path().join(out));
        assert!(!now.contains_key("N17") && !now.contains_key("N11"), "{out}");
        let edited = &now["N11a"];
        assert_eq!([&*edited["code"], &*edited["Note"]], ["empty", "moved in \"May\""]);
        // Everything else is as it was.
        for (name, row) in as_written.iter().filter(|(name, _)| *name != "N17") {
            let known = if name == "N11" { edited } else { &now[name] };
            for (field, value) in
                row.iter().filter(|(field, _)| name != "N11" || !["feature", "code", "Note"].contains(&field.as_str()))
            {
                assert_eq!(&known[field], value, "{name} {field}");
            }
        }
        let mut have = told(&out_folder);
        have.sort();
        let row = |outcome: &str, feature: &str, edit: &str, field: &str, reason: &str| {
            [outcome, feature, edit, field, reason].map(str::to_owned)
        };
        assert_eq!(
            have,
            [
                row("carried", "N11", "changed", "Note", ""),
                row("carried", "N11", "changed", "code", ""),
                row("carried", "N11", "changed", "feature", ""),
                row("carried", "N17", "deleted", "", ""),
                row("not_carried", "N11", "changed", "sigma_up_m", "the value is computed from the logs; change it there"),
            ]
        );
        let sentence = "3 values and 1 deletion carried over, 1 not; edits.csv lists each, and why.";
        assert!(said.contains(sentence), "{said}");
        assert!(read(&out_folder.join("skerrow.report.html")).contains("1 deletion carried over, 1 not"));
        // Its ellipse went with it.
        let ellipses = table(&out_folder.join("csv/skerrow.ellipses.csv"));
        assert!(ellipses.iter().all(|row| row["feature"] != "N17" && row["feature"] != "N11"));
        assert_eq!(ellipses.len(), now.len());
        is_sound(&out_folder.join("skerrow.gpkg"), &["features", "bases", "ellipses", "sight_lines"]);
        source = out.to_owned();
    }
    // Where nothing was edited, nothing is said.
    let plain = map(folder.path(), "plain", &[]);
    assert!(!plain.contains("edits.csv") && !folder.path().join("plain/edits.csv").exists());
}

/// A job with a column of the log.
fn cove(girth: &str) -> Small {
    let rows = format!(
        "shot,base,feature,horizontal_distance_m,inclination_deg,true_azimuth_deg,girth\n1,A,oak,50,2,90,{girth}\n2,A,ash,60,2,95,2.5\n"
    );
    Small::new(&rows, "", "")
}

fn ran(job: &Small, out: &str, more: &[&str]) -> crate::support::Ran {
    standoff(job.folder.path(), &[&["map", "job.toml", "--out", out, "--quiet"], more].concat())
}

/// Statements through GDAL, which has the functions that the triggers of the standard call.
fn edit(job: &Small, statements: &[&str]) {
    let dataset = update(&job.folder.path().join("out/cove.gpkg"));
    for statement in statements {
        dataset.execute_sql(statement, None, gdal::vector::sql::Dialect::DEFAULT).unwrap();
    }
    dataset.close().unwrap();
}

fn without(job: &Small, statement: &str) {
    Connection::open(job.folder.path().join("out/cove.gpkg")).unwrap().execute_batch(statement).unwrap();
}

#[test]
fn what_no_longer_fits_is_listed_with_its_reason() {
    let job = cove("1.5");
    ran(&job, "out", &[]).exits(0);
    edit(
        &job,
        &[
            "UPDATE features SET girth = 1.75 WHERE feature = 'oak'",
            "UPDATE features SET girth = 3 WHERE feature = 'ash'",
            "UPDATE features SET girth = 2.5 WHERE feature = 'ash'",
            "UPDATE bases SET base = 'A1' WHERE base = 'A'",
        ],
    );
    // Meanwhile the log was corrected, and the base has another name in it.
    let corrected = cove("1.6");
    fs::copy(job.folder.path().join("out/cove.gpkg"), corrected.folder.path().join("old.gpkg")).unwrap();
    ran(&corrected, "out", &["--keep-edits", "old.gpkg"]).exits(0);
    assert_eq!(corrected.feature("features", "oak")["girth"], "1.6");
    let rows = table(&corrected.folder.path().join("out/edits.csv"));
    let told: Vec<[&str; 4]> =
        rows.iter().map(|row| ["layer", "field", "new_value", "reason"].map(|column| &*row[column])).collect();
    // What was changed and changed back is no edit.
    assert_eq!(
        told,
        [
            ["features", "girth", "1.75", "the log says something else now than when it was edited, and that stands"],
            ["bases", "base", "A1", "the value is computed from the logs; change it there"],
        ]
    );
}

#[test]
fn columns_and_layers_that_a_person_added_are_told() {
    let job = cove("1.5");
    ran(&job, "out", &[]).exits(0);
    edit(
        &job,
        &[
            "ALTER TABLE features ADD COLUMN \"my \"\"own\"\" note\" TEXT",
            "UPDATE features SET \"my \"\"own\"\" note\" = 'seen again' WHERE feature = 'ash'",
            "UPDATE features SET feature = 'old ash' WHERE feature = 'ash'",
            "CREATE TABLE sketch (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, word TEXT)",
            "INSERT INTO gpkg_contents (table_name, data_type, identifier) VALUES ('sketch', 'attributes', 'sketch')",
        ],
    );
    let told = |folder: &str| -> Vec<[String; 6]> {
        let rows = table(&job.folder.path().join(folder).join("edits.csv"));
        rows.iter()
            .map(|row| ["outcome", "layer", "feature", "edit", "field", "new_value"].map(|column| row[column].clone()))
            .collect()
    };
    ran(&job, "next", &["--keep-edits", "out/cove.gpkg"]).exits(0);
    // The record is known by what it was when the run wrote it.
    let want = [
        ["carried", "features", "ash", "changed", "feature", "old ash"],
        ["not_carried", "features", "ash", "changed", "my \"own\" note", "seen again"],
        ["not_carried", "sketch", "", "added", "", ""],
    ];
    assert_eq!(told("next"), want);
    // And told again by the run after that.
    ran(&job, "third", &["--keep-edits", "next/cove.gpkg"]).exits(0);
    assert_eq!(told("third"), want);
}

/// Time for 20,000 edits, seconds: they take one or two; looking each up among the others took many minutes.
const FOR_MANY_S: u64 = 120;

#[test]
fn a_value_put_into_every_record_of_a_large_layer_comes_back() {
    let folder = tempfile::tempdir().unwrap();
    let invented = crate::support::invent_logs(folder.path(), 20_000, "a remark");
    let arguments = |out| [crate::support::map_invented(out), vec!["--layers", "features", "--quiet"]].concat();
    standoff(folder.path(), &arguments("out")).exits(0);
    let name = names(&folder.path().join("out")).into_iter().find(|name| name.ends_with(".gpkg")).unwrap();
    let path = folder.path().join("out").join(&name);
    let dataset = update(&path);
    dataset.execute_sql("UPDATE features SET remark = 'checked'", None, gdal::vector::sql::Dialect::DEFAULT).unwrap();
    dataset.close().unwrap();
    let began = std::time::Instant::now();
    standoff(folder.path(), &[arguments("next"), vec!["--keep-edits", path.to_str().unwrap()]].concat()).exits(0);
    assert!(began.elapsed().as_secs() < FOR_MANY_S, "{:?}", began.elapsed());
    let told = table(&folder.path().join("next/edits.csv"));
    assert_eq!(told.len() as u64, invented.mapped);
    assert!(told.iter().all(|row| row["outcome"] == "carried"), "{:?}", told.iter().find(|row| row["outcome"] != "carried"));
}

#[test]
fn a_file_without_a_record_of_edits_is_refused() {
    let job = cove("1.5");
    ran(&job, "out", &[]).exits(0);
    edit(&job, &["UPDATE features SET girth = 1.75 WHERE feature = 'oak'"]);
    // The edited file stands in the output folder: replacing it wants to be asked for.
    let refused = ran(&job, "out", &["--keep-edits", "out/cove.gpkg"]).exits(1);
    assert!(refused.err.contains("was changed since this program wrote it"), "{}", refused.err);
    ran(&job, "out", &["--keep-edits", "out/cove.gpkg", "--replace"]).exits(0);
    assert_eq!(job.feature("features", "oak")["girth"], "1.75");
    without(&job, "DROP TRIGGER standoff_edits_features_update");
    let refused = ran(&job, "next", &["--keep-edits", "out/cove.gpkg"]).exits(1);
    assert!(refused.err.contains("the layer features of out/cove.gpkg was rebuilt by another program"), "{}", refused.err);
    without(&job, "DROP TABLE standoff_edits");
    let refused = ran(&job, "next", &["--keep-edits", "out/cove.gpkg"]).exits(1);
    assert!(refused.err.contains("out/cove.gpkg keeps no record of what was edited in it"), "{}", refused.err);
    let refused = ran(&job, "next", &["--keep-edits", "nowhere.gpkg"]).exits(1);
    assert!(refused.err.contains("nowhere.gpkg: no such file"), "{}", refused.err);
    assert!(!job.folder.path().join("next").exists());
}
