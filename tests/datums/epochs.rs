//! Positions on a datum that moves: the epoch of the job and of the row.

use super::common::{Field, Run};
use super::{field, number};

/// Degrees are written to nine decimals, and the reference values have twelve.
const WRITTEN_DEG: f64 = 6e-10;
/// Metres are written to four decimals.
const WRITTEN_M: f64 = 0.000_06;
/// The plate moves by hardly more than a metre: what curvature does to that is far below a tenth of a
/// millimetre, which is what two written coordinates can be off by.
const DISPLACED_M: f64 = 0.0003;

/// Rows of the reference table of one epoch, ITRF2014 to GDA2020: position, and position on GDA2020.
fn references(epoch: &str) -> Vec<[[f64; 3]; 2]> {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/epochs.csv");
    let rows = csv::Reader::from_path(path).unwrap().into_records().map(|row| row.unwrap()).collect::<Vec<_>>();
    let of = rows.iter().filter(|row| (&row[0], &row[1], &row[2]) == ("EPSG:7912", "EPSG:7843", epoch));
    let number = |row: &csv::StringRecord, i: usize| row[i].parse::<f64>().unwrap();
    let found: Vec<_> = of.map(|row| [[4, 3, 5], [7, 6, 8]].map(|columns| columns.map(|i| number(row, i)))).collect();
    assert_eq!(found.len(), 3, "places of {epoch}");
    found
}

/// The places of the table as bases, on ITRF2014, to a CRS on GDA2020.
fn australia(crs: &str) -> Field {
    let places = references("2010.0");
    let bases: Vec<_> = ["A", "B", "C"].into_iter().zip(&places).map(|(name, [at, _])| (name, at[0], at[1], at[2])).collect();
    field("EPSG:7912", crs, &bases)
}

fn assert_references(run: &Run, epoch: &str) {
    for (base, [_, want]) in run.bases.iter().zip(references(epoch)) {
        assert!((number(base, "lat_deg") - want[0]).abs() < WRITTEN_DEG, "{base:?}");
        assert!((number(base, "lon_deg") - want[1]).abs() < WRITTEN_DEG, "{base:?}");
        assert!((number(base, "ellipsoid_height_m") - want[2]).abs() < WRITTEN_M, "{base:?}");
        assert_eq!(base["coordinate_epoch"].parse::<f64>(), epoch.parse());
        assert_eq!(number(base, "sigma_datum_m"), 0.03);
    }
    assert_eq!(run.bases.len(), 3);
    let operation = &run.summary["operations"][0];
    assert_eq!((&operation["time_dependent"], &operation["accuracy_m"]), (&true.into(), &0.03.into()));
}

#[test]
fn the_epoch_of_the_job() {
    for epoch in ["2010.0", "2026.0"] {
        assert_references(&australia("EPSG:7844").with("BASES", &format!("epoch = {epoch}")).map(), epoch);
    }
}

#[test]
fn the_epoch_of_a_row_goes_before_that_of_the_job() {
    let dated = |epochs: [&str; 3]| {
        let field = australia("EPSG:7844");
        let log = std::fs::read_to_string(field.path("bases.csv")).unwrap();
        let ends = ["coordinate_epoch"].into_iter().chain(epochs);
        field.write("bases.csv", log.lines().zip(ends).map(|(line, end)| format!("{line},{end}\n")).collect::<String>());
        field
    };
    assert_references(&dated(["2026.0"; 3]).map(), "2026.0");
    assert_references(&dated(["2026.0"; 3]).with("BASES", "epoch = 2010.0").map(), "2026.0");
    assert_references(&dated([""; 3]).with("BASES", "epoch = 2010.0").map(), "2010.0");
    // Each row by its own.
    let run = dated(["2026.0", "", "2010.0"]).with("BASES", "epoch = 2026.0").map();
    let (late, early) = (references("2026.0"), references("2010.0"));
    for (base, [_, want]) in run.bases.iter().zip([late[0], late[1], early[2]]) {
        assert!((number(base, "lat_deg") - want[0]).abs() < WRITTEN_DEG, "{base:?}");
    }
    // A year that is none is held, and so is one beyond what is believed; the others are used.
    let run = dated(["2026.0", "26.0", "2150"]).map();
    assert_eq!(run.bases.len(), 1);
    let sentences: Vec<&str> = run.held.iter().filter(|row| row[0] == "bases.csv").map(|row| row[5].as_str()).collect();
    let say = |year: &str| format!("coordinate_epoch {year} is no year with its fraction, such as 2026.4");
    assert_eq!(sentences, [say("26"), say("2150")]);
}

/// EPSG 8049, the plate motion of the GDA2020 Technical Manual (ICSM): turns of the frame about the
/// earth's axes in milliseconds of arc a year. The ground moves by turn × position a year.
#[test]
fn layers_in_a_projection_move_as_the_plate_does() {
    const TURN_MAS: [f64; 3] = [1.50379, 1.18346, 1.20716];
    // The third place of the table lies in zone 50.
    let [at, _] = references("2010.0")[2];
    let map = |epoch: &str| {
        field("EPSG:7912", "EPSG:7850", &[("C", at[0], at[1], at[2])]).with("BASES", &format!("epoch = {epoch}")).map()
    };
    let (early, late) = (map("2010.0"), map("2026.0"));
    let (sin_lat, cos_lat) = at[0].to_radians().sin_cos();
    let (sin_lon, cos_lon) = at[1].to_radians().sin_cos();
    // GRS 1980.
    let (a, f) = (6_378_137.0, 1.0 / 298.257_222_101);
    let e2 = f * (2.0 - f);
    let n = a / f64::sqrt(1.0 - e2 * sin_lat * sin_lat);
    let [x, y, z] = [(n + at[2]) * cos_lat * cos_lon, (n + at[2]) * cos_lat * sin_lon, (n * (1.0 - e2) + at[2]) * sin_lat];
    let [wx, wy, wz] = TURN_MAS.map(|mas| (mas / 3_600_000.0).to_radians());
    let [dx, dy, dz] = [wy * z - wz * y, wz * x - wx * z, wx * y - wy * x];
    let east_m = -sin_lon * dx + cos_lon * dy;
    let north_m = -sin_lat * cos_lon * dx - sin_lat * sin_lon * dy + cos_lat * dz;
    assert!((0.03..0.05).contains(&east_m) && (0.05..0.06).contains(&north_m), "{east_m} {north_m} m a year");
    // A position of 2010 is carried ten years on to 2020, one of 2026 six years back.
    let years = 2010.0 - 2026.0;
    let base = &early.bases[0];
    let (s, c) = number(base, "convergence_deg").to_radians().sin_cos();
    let want = [years * (east_m * c - north_m * s), years * (east_m * s + north_m * c)].map(|m| m * number(base, "grid_scale"));
    for (one, other) in [(&early.bases[0], &late.bases[0]), (&early.features[0], &late.features[0])] {
        let moved = ["easting", "northing"].map(|field| number(other, field) - number(one, field));
        assert!((moved[0] - want[0]).abs() < DISPLACED_M && (moved[1] - want[1]).abs() < DISPLACED_M, "{moved:?}, not {want:?}");
    }
}

#[test]
fn without_an_epoch_the_message_says_what_to_write() {
    let message = "crs: from ITRF2014 (EPSG:7912) to GDA2020 (EPSG:7843): the transformation (Conversion from ITRF2014 (geog3D) to \
        ITRF2014 (geocentric) + ITRF2014 to GDA2020 (1) + Conversion from GDA2020 (geocentric) to GDA2020 (geog3D)) depends on \
        the date, because the ground moves in one of the two. Write epoch = 2026.4 under [bases] (the year and fraction when \
        the positions were fixed)";
    assert_eq!(australia("EPSG:7844").refusal(), message);
    // One base without is enough.
    let field = australia("EPSG:7844");
    let log = std::fs::read_to_string(field.path("bases.csv")).unwrap();
    let ends = ["coordinate_epoch", "2026.0", "", "2026.0"];
    field.write("bases.csv", log.lines().zip(ends).map(|(line, end)| format!("{line},{end}\n")).collect::<String>());
    assert_eq!(field.refusal(), message);
}

#[test]
fn points_to_shoot_back_to_have_their_own_epoch() {
    let [[early, early_moved], [late, late_moved]] = [references("2010.0")[2], references("2026.0")[2]];
    let mut field = field("EPSG:7912", "EPSG:7844", &[("C", late[0], late[1], late[2])]).with("BASES", "epoch = 2026.0");
    field.write("known.csv", format!("base,lat_deg,lon_deg,ellipsoid_height_m\nK,{},{},{}\n", early[0], early[1], early[2]));
    field.job += "[known]\nfiles = [\"known.csv\"]\ncrs = \"EPSG:7912\"\nepoch = 2010.0\nsigma_horizontal_m = 0.1\n";
    let run = field.map();
    let latitudes: Vec<f64> = run.bases.iter().map(|base| number(base, "lat_deg")).collect();
    assert_eq!(run.base_column("coordinate_epoch"), ["2026", "2010"]);
    for (got, want) in latitudes.into_iter().zip([late_moved[0], early_moved[0]]) {
        assert!((got - want).abs() < WRITTEN_DEG, "{got}, not {want}");
    }
}

/// WGS 84 as receivers name it is an ensemble: good to 2 m, so that a date would mean nothing.
#[test]
fn plain_wgs84_positions_need_no_epoch() {
    let mut checked = 0;
    for (crs, lat_deg, lon_deg) in [
        ("EPSG:6339", 44.0, -123.0),  // NAD83(2011) / UTM zone 10N
        ("EPSG:6319", 40.05, -105.1), // NAD83(2011)
        ("EPSG:6543", 35.5, -79.0),   // NAD83(2011) / North Carolina, feet
        ("EPSG:22811", 51.0, -114.0), // NAD83(CSRS)v8 / UTM zone 11N
        ("EPSG:7850", -29.05, 115.25),
        ("EPSG:7844", -23.67, 133.885),
        ("EPSG:25832", 46.1, 8.9),
        ("EPSG:7931", 46.1, 8.9), // ETRF2000
        ("EPSG:8403", 46.1, 8.9), // ETRF2014
        ("EPSG:7912", 46.1, 8.9), // ITRF2014
        ("EPSG:2193", -41.0, 175.0),
        ("EPSG:6677", 35.7, 139.7),
        ("EPSG:31983", -22.9, -43.2),
    ] {
        let bases = [("A", lat_deg, lon_deg, 100.0)];
        let run = field("EPSG:4979", crs, &bases).map();
        assert_eq!(run.mapped(), 1, "{crs}");
        for operation in run.summary["operations"].as_array().unwrap() {
            assert_eq!(operation["time_dependent"], false, "{crs}: {}", operation["name"]);
            checked += 1;
        }
        // And one that is stated changes nothing.
        let dated = field("EPSG:4979", crs, &bases).with("BASES", "epoch = 2026.4").map();
        run.assert_same_features(&dated);
    }
    assert_eq!(checked, 13);
}

#[test]
fn geojson_of_layers_on_a_datum_that_moves() {
    let layer = |epoch: &str| {
        let field = field("EPSG:7912", "EPSG:7912", &[("A", 46.1, 8.9, 512.3)]).with("BASES", epoch);
        std::fs::write(field.path("job.toml"), field.job.replace("[\"csv\"]", "[\"geojson\"]")).unwrap();
        let mut program = std::process::Command::new(env!("CARGO_BIN_EXE_standoff"));
        let output = program.args(["map", "job.toml"]).current_dir(field.folder.path()).output().unwrap();
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        let text = std::fs::read_to_string(field.path("t-layers/geojson/t.bases.geojson")).unwrap();
        serde_json::from_str::<serde_json::Value>(&text).unwrap()
    };
    let (without, with) = (layer(""), layer("epoch = 2026.0"));
    // ITRF2014 and WGS 84 are one within what the ensemble is known to.
    for layer in [&without, &with] {
        assert_eq!(layer["features"][0]["geometry"]["coordinates"], serde_json::json!([8.9, 46.1, 512.3]));
    }
    let epoch = |layer: &serde_json::Value| layer["features"][0]["properties"]["coordinate_epoch"].clone();
    assert_eq!((epoch(&without), epoch(&with).as_f64()), (serde_json::Value::Null, Some(2026.0)));
}
