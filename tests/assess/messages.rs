//! What is said when something cannot be used.

use super::*;

fn small() -> TempDir {
    let (points, checks) = displaced(&ERRORS[..2]);
    site(&points, &checks)
}

#[test]
fn names_that_do_not_meet_are_shown() {
    let folder = small();
    fs::write(folder.path().join("checks.csv"), "name,lat_deg,lon_deg\nA1,58.2,0.02\n").unwrap();
    assess(folder.path(), &[]).fails(
        "none of the 1 check points belongs to one of the 2 points of the layer by the feature's name or the shot; the layer has \"P0\", \
         \"P1\"; the check points \"A1\"; name the field of the layer that has these names, or match by distance (--field, \
         --within)",
    );
    fs::write(folder.path().join("checks.csv"), "lat_deg,lon_deg\n58.2,0.02\n").unwrap();
    assess(folder.path(), &[])
        .fails("checks.csv: no column of names; call it name, say which it is, or match by distance (--check-name, --within)");
}

#[test]
fn coordinates_that_do_not_fit_their_crs() {
    let folder = small();
    assess(folder.path(), &["--check-crs", "EPSG:32631"]).fails(
        "the check points have latitudes and longitudes, but WGS 84 / UTM zone 31N (EPSG:32631) is projected; name a geographic CRS for \
         them (--check-crs)",
    );
    fs::write(folder.path().join("checks.csv"), "name,east_m,north_m\nP0,1,2\n").unwrap();
    assess(folder.path(), &["--check-crs", "EPSG:4326"]).fails(
        "the check points have eastings and northings, but WGS 84 (EPSG:4326) is geographic; name the projected CRS that they are in \
         (--check-crs)",
    );
    fs::write(folder.path().join("checks.csv"), "name,x,y\nP0,1,2\n").unwrap();
    assess(folder.path(), &[]).fails(
        "checks.csv:1: has no position; name the columns lat_deg and lon_deg, or east_m and north_m (or _ft, _usft); it has: name, x, y",
    );
}

#[test]
fn rows_that_cannot_be_used_are_held_and_listed() {
    let folder = small();
    let mut text = fs::read_to_string(folder.path().join("checks.csv")).unwrap();
    text += "P8,95,0,1,,\nP9,,,1,,\n";
    fs::write(folder.path().join("checks.csv"), text).unwrap();
    let out = assess(folder.path(), &[]).exits(0).out;
    assert!(
        out.contains(
            "held     2\n           line 4: lat_deg 95 is outside -90 to 90 degrees; are latitude and longitude swapped?\n"
        ),
        "{out}"
    );
    assert!(out.contains("line 5: the check point has no position\n"), "{out}");
}

#[test]
fn files_and_layers_that_are_not_there() {
    let folder = small();
    assess(folder.path(), &["--layer", "trees"]).fails("layer.gpkg: has no layer \"trees\": it has \"features\" (points)");
    let ran = standoff(folder.path(), &["assess", "none.gpkg", "--check", "checks.csv"]).exits(1);
    assert!(ran.err.starts_with("error: none.gpkg: cannot be read: "), "{}", ran.err);
    let ran = standoff(folder.path(), &["assess", "layer.gpkg", "--check", "none.csv"]).exits(1);
    assert!(ran.err.starts_with("error: none.csv: cannot be read: "), "{}", ran.err);
    assess(folder.path(), &["--out", "checks.csv"]).fails("--out checks.csv is a file that is read; name another");
    assert!(standoff(folder.path(), &["assess", "layer.gpkg"]).exits(2).err.contains("--check <FILE>"));
    assert!(assess(folder.path(), &["--within", "-1"]).exits(2).err.contains("must be a number of metres above 0"));
}

#[test]
fn another_datum_is_reached_and_told_with_its_accuracy() {
    let folder = small();
    let found = found(folder.path(), &["--check-crs", "EPSG:4937"]);
    let notes = found["notes"].to_string();
    assert!(notes.contains("The transformation from ETRS89 (EPSG:4937) to WGS 84"), "{notes}");
    assert!(notes.contains("in the uncertainties"), "{notes}");
}
