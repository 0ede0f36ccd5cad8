//! What is said when two files cannot be compared.

use super::*;

#[test]
fn files_that_do_not_belong_together() {
    let (a, b) = moved();
    let other: Vec<Point> = b.into_iter().enumerate().map(|(i, point)| Point { feature: format!("M{i}"), ..point }).collect();
    let folder = site(&a, &other, [&[], &[]]);
    compare(folder.path(), &[]).fails(
        "none of the 7 points of A belongs to one of the 7 points of B by the feature's name; name the field of the names, or match by \
         distance (--field, --within)",
    );
    standoff(folder.path(), &["compare", "a.gpkg", "a.gpkg"]).fails("a.gpkg and a.gpkg are one file; name two mappings");
    let ran = standoff(folder.path(), &["compare", "a.gpkg", "none.gpkg"]).exits(1);
    assert!(ran.err.starts_with("error: none.gpkg: cannot be read: "), "{}", ran.err);
    compare(folder.path(), &["--layer", "trees"]).fails("a.gpkg: has no layer \"trees\": it has \"features\" (points)");
}

#[test]
fn datums_without_a_way_between() {
    let (a, b) = moved();
    let folder = site(&a, &b, [&[], &[]]);
    fs::remove_file(folder.path().join("b.gpkg")).unwrap();
    mapping::write(&folder.path().join("b.gpkg"), "+proj=longlat +ellps=bessel +type=crs", &b, &[]);
    let ran = compare(folder.path(), &[]).exits(1);
    assert!(ran.err.contains("bring both into one CRS first") && ran.err.starts_with("error: B from "), "{}", ran.err);
}

#[test]
fn another_datum_adds_its_accuracy() {
    let (a, b) = moved();
    let folder = site(&a, &b, [&[], &[]]);
    fs::remove_file(folder.path().join("b.gpkg")).unwrap();
    // ETRS89: one with WGS 84 within a metre, so that a movement of 0.35 m is nothing, and of 5 m is something.
    mapping::write(&folder.path().join("b.gpkg"), "EPSG:4937", &b, &[]);
    let found = found(folder.path(), &[]);
    assert!(number(&found["changes"][0]["sigma_east_m"]) > 0.9, "{found}");
    assert_eq!(found["changes"][1]["mark"], "moved");
    assert_eq!(found["changes"][5]["mark"], "no significant change");
    assert!(found["notes"].to_string().contains("The transformation from "), "{found}");
}
