//! The geoid: a grid of the job goes before the separation in the log, and that before the built-in model.

use serde_json::json;

use super::common::{Field, HEAD};
use super::support::{self, standoff};
use super::{WRITTEN_M, assert_written, field, gtx, heights, number};

/// A plane, which interpolation between nodes meets everywhere.
fn plane_m(lat_deg: f64, lon_deg: f64) -> f64 {
    48.5 + 2.0 * (lat_deg - 46.1) - 1.5 * (lon_deg - 8.9)
}

/// A grid of latitudes 45.6 to 46.6 and longitudes 8.4 to 9.4.
fn grid() -> Vec<u8> {
    gtx([45.6, 8.4], 0.25, 5, 5, plane_m)
}

/// A in the grid and with a separation, B outside with one, C outside without.
const THREE: &str = "base,lat_deg,lon_deg,ellipsoid_height_m,separation_m\n\
    A,46.1000,8.9000,512.3,47.25\nB,47.1000,8.9000,600.0,46.5\nC,47.2000,8.9000,700.0,\n";

fn three() -> Field {
    let field = field(THREE, &["A", "B", "C"]);
    field.write("geoid.gtx", grid());
    field
}

#[test]
fn the_log_goes_before_the_built_in_model() {
    let run = three().map();
    assert_eq!(run.base_column("geoid"), ["log", "log", "global"]);
    assert_eq!(run.column("geoid"), ["log", "log", "global"]);
    assert_eq!(run.numbers("sigma_geoid_m"), [1.0; 3]);
    assert_written(number(&run.bases[0], "orthometric_height_m"), 512.3 - 47.25);
    assert_written(number(&run.bases[1], "orthometric_height_m"), 600.0 - 46.5);
    let names: Vec<_> = run.summary["geoids"].as_array().unwrap().iter().map(|geoid| &geoid["source"]).collect();
    assert_eq!(names, ["log", "global"]);
    // A receiver's table whose quality is known.
    let run = heights(three(), "sigma_separation_m = 0.4").map();
    assert_eq!(run.numbers("sigma_geoid_m"), [0.4, 0.4, 1.0]);
}

#[test]
fn a_grid_goes_before_both() {
    let run = heights(three(), "geoid_grid = \"geoid.gtx\"\nsigma_geoid_grid_m = 0.03").map();
    assert_eq!(run.base_column("geoid"), ["grid", "log", "global"]);
    assert_eq!(run.column("geoid"), ["grid", "log", "global"]);
    assert_eq!(run.numbers("sigma_geoid_m"), [0.03, 1.0, 1.0]);
    assert_written(number(&run.bases[0], "geoid_undulation_m"), 48.5);
    assert_written(number(&run.bases[0], "orthometric_height_m"), 512.3 - 48.5);
    // The feature has the undulation of its own place.
    let (lat_deg, lon_deg) = (number(&run.features[0], "lat_deg"), number(&run.features[0], "lon_deg"));
    let undulation = number(&run.features[0], "geoid_undulation_m");
    assert_written(undulation, plane_m(lat_deg, lon_deg));
    assert!(48.5 - undulation > 10.0 * WRITTEN_M);
    // Which geoids were used, best first.
    let geoids = run.summary["geoids"].as_array().unwrap();
    assert_eq!(geoids.len(), 3);
    assert!(geoids[0]["name"].as_str().unwrap().contains("geoid.gtx"), "{}", geoids[0]["name"]);
    assert_eq!((&geoids[0]["source"], &geoids[0]["sigma_m"]), (&json!("grid"), &json!(0.03)));
    assert_eq!(geoids[0]["sha256"].as_str().unwrap().len(), 64);
    assert_eq!((&geoids[1]["source"], &geoids[1]["sha256"]), (&json!("log"), &json!(null)));
    assert_eq!(geoids[2]["name"], "EGM96 (degree and order 360, built in)");
    let note = "WARNING: 2 of 3 bases with heights lie outside the geoid grid ./geoid.gtx, the first B; they have the built-in \
                global geoid or the log's separation in its place.";
    assert!(run.summary["notes"].as_array().unwrap().contains(&json!(note)), "{}", run.summary["notes"]);
    // A standard error that the job does not state.
    let run = heights(three(), "geoid_grid = \"geoid.gtx\"").map();
    assert_eq!(run.numbers("sigma_geoid_m"), [0.1, 1.0, 1.0]);
}

#[test]
fn what_a_receiver_took_off_is_added_back() {
    let recorded = "base,lat_deg,lon_deg,orthometric_height_m,separation_m\nA,46.1,8.9,465.05,47.25\n";
    let same = "base,lat_deg,lon_deg,ellipsoid_height_m\nA,46.1,8.9,512.3\n";
    for lines in ["geoid_grid = \"geoid.gtx\"", ""] {
        let of = |bases: &str| {
            let field = heights(field(bases, &["A"]), lines);
            field.write("geoid.gtx", grid());
            field.map()
        };
        let run = of(recorded);
        assert_written(number(&run.bases[0], "ellipsoid_height_m"), 465.05 + 47.25);
        assert_eq!(run.base_column("height_kind"), ["ellipsoidal"]);
        let undulation = if lines.is_empty() { 47.25 } else { 48.5 };
        assert_written(number(&run.bases[0], "orthometric_height_m"), 512.3 - undulation);
        if !lines.is_empty() {
            run.assert_same_features(&of(same));
        }
    }
}

/// The same of a receiver's own sentences: altitude above its geoid, and the separation.
#[test]
fn what_a_receiver_took_off_is_added_back_in_its_own_log() {
    let sentence = |second: u32| {
        let body = format!("GNGGA,0800{second:02}.00,4606.00000,N,00854.00000,E,1,12,0.80,467.05,M,47.25,M,,");
        let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
        format!("${body}*{sum:02X}\r\n")
    };
    let receiver: String = (0..40).map(sentence).collect();
    let field = Field::new(HEAD.to_owned() + "A,1,2026-05-04T08:00:05Z,90,0,100,x\nA,2,2026-05-04T08:00:30Z,90,0,100,x\n");
    field.write("receiver.nmea", receiver);
    field.write("geoid.gtx", grid());
    let field = heights(field, "antenna_height_m = 2.0\ngeoid_grid = \"geoid.gtx\"").with("BASES", "date = \"2026-05-04\"");
    std::fs::write(field.path("job.toml"), field.job.replace("bases.csv", "receiver.nmea")).unwrap();
    standoff(field.folder.path(), &["map", "job.toml"]).exits(0);
    let bases = support::table(&field.path("t-layers/csv/t.bases.csv"));
    assert_eq!(bases.len(), 1);
    // The altitude is the antenna's, 2 m over the ground point.
    assert_written(number(&bases[0], "ellipsoid_height_m"), 467.05 - 2.0 + 47.25);
    assert_written(number(&bases[0], "orthometric_height_m"), 467.05 - 2.0 + 47.25 - 48.5);
    assert_eq!((bases[0]["geoid"].as_str(), bases[0]["height_kind"].as_str()), ("grid", "ellipsoidal"));
    let features = support::table(&field.path("t-layers/csv/t.features.csv"));
    assert_eq!(features.len(), 2);
    assert!(features.iter().all(|feature| feature["geoid"] == "grid"));
}

#[test]
fn without_a_geoid_heights_stay_of_their_kind() {
    let none = |bases: &str| heights(field(bases, &["A"]), "geoid = \"none\"").map();
    let run = none("base,lat_deg,lon_deg,ellipsoid_height_m,separation_m\nA,46.1,8.9,512.3,47.25\n");
    assert_written(number(&run.bases[0], "ellipsoid_height_m"), 512.3);
    for record in [&run.bases[0], &run.features[0]] {
        let empty = ["orthometric_height_m", "geoid_undulation_m", "geoid", "sigma_geoid_m"].map(|field| record[field].as_str());
        assert_eq!(empty, [""; 4]);
    }
    assert_eq!(run.summary["geoids"], json!([]));
    // And an orthometric height is not turned into the other by the separation beside it.
    let run = none("base,lat_deg,lon_deg,orthometric_height_m,separation_m\nA,46.1,8.9,465.05,47.25\n");
    assert_written(number(&run.bases[0], "orthometric_height_m"), 465.05);
    assert_eq!((run.bases[0]["ellipsoid_height_m"].as_str(), run.bases[0]["height_kind"].as_str()), ("", "orthometric"));
    assert_eq!((run.features[0]["ellipsoid_height_m"].as_str(), run.features[0]["height_kind"].as_str()), ("", "orthometric"));
    assert_eq!(run.summary["third_coordinate"], "height of the kind the bases have, above their vertical datum, metres");
    // A grid is used all the same, and nothing where it ends.
    let run = heights(three(), "geoid = \"none\"\ngeoid_grid = \"geoid.gtx\"").map();
    assert_eq!(run.base_column("geoid"), ["grid", "", ""]);
    assert_eq!(run.summary["geoids"].as_array().unwrap().len(), 1);
    let note = "WARNING: 2 of 3 bases with heights lie outside the geoid grid ./geoid.gtx, the first B; they have no geoid in its \
                place.";
    assert!(run.summary["notes"].as_array().unwrap().contains(&json!(note)), "{}", run.summary["notes"]);
}

#[test]
fn a_grid_of_another_region_is_refused() {
    let field = |bases: &str| {
        let field = heights(super::field(bases, &["A"]), "geoid_grid = \"geoid.gtx\"");
        field.write("geoid.gtx", grid());
        field
    };
    let message = field("base,lat_deg,lon_deg,ellipsoid_height_m\nA,50.1,8.9,512.3\n").refusal();
    assert_eq!(
        message,
        "./geoid.gtx: the grid covers latitudes 45.600 to 46.600 and longitudes 8.400 to 9.400, and none of the bases, which lie \
         within latitudes 49.600 to 50.600 and longitudes 8.400 to 9.400; name the grid of their region"
    );
    // Just outside, where the margin for the sights still touches the grid; and bases in a projection.
    let message = field("base,lat_deg,lon_deg,ellipsoid_height_m\nA,46.7,8.9,512.3\n").refusal();
    let beside = "./geoid.gtx: the grid covers none of the bases; the first, A, lies at latitude 46.700, longitude 8.900. Name \
                  the grid of their region";
    assert_eq!(message, beside);
    let mut projected = field("base,east_m,north_m,ellipsoid_height_m\nA,500000,5600000,512.3\n");
    projected.job = projected.job.replace("EPSG:4979", "EPSG:32632");
    let message = projected.refusal();
    assert!(
        message.starts_with("./geoid.gtx: the grid covers none of the bases; the first, A, lies at latitude 50."),
        "{message}"
    );
}

#[test]
fn a_file_that_is_no_grid_is_refused() {
    let field =
        heights(field("base,lat_deg,lon_deg,ellipsoid_height_m\nA,46.1,8.9,512.3\n", &["A"]), "geoid_grid = \"geoid.gtx\"");
    assert_eq!(field.refusal(), "job.toml:22: ./geoid.gtx: cannot be read: No such file or directory (os error 2)");
    field.write("geoid.gtx", "lat,lon,N\n46,8,48.5\n");
    let no_grid =
        "./geoid.gtx: not a grid that can be read; a geoid grid is a GeoTIFF file, or a GTX file whose name ends in .gtx";
    assert_eq!(field.refusal(), no_grid);
    // Heights of the ground in place of undulations.
    field.write("geoid.gtx", gtx([45.6, 8.4], 0.25, 5, 5, |_, _| 1812.0));
    assert_eq!(
        field.refusal(),
        "./geoid.gtx: the value at latitude 46.6000, longitude 8.4000 is 1812; a geoid grid holds the height of the geoid above \
         the ellipsoid in metres. Name another file, or convert this one"
    );
    let field = heights(field, "sigma_geoid_grid_m = 0");
    assert!(field.refusal().ends_with("sigma_geoid_grid_m must be above 0"), "{}", field.refusal());
}
