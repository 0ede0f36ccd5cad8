//! Operations between datums, chosen for the place of each base: by PROJ's own ranking there, told where they differ, refused where
//! the best lacks its grid and too much is lost without it.

use standoff::inside::geodesy::crs::{ByPlace, Crs, CrsError, OperationRules};

use super::common::{Field, Run};
use super::{field, number};

/// Degrees are written to nine decimals.
const WRITTEN_DEG: f64 = 1e-9;
const ALLOWED: OperationRules = OperationRules { ballpark: false, missing_grids: true, greatest_loss_m: 0.0 };

/// A row of the reference table.
struct Place {
    datum: String,
    at_deg: [f64; 2],
    best: (String, f64),
    missing: String,
    used: (String, f64),
    to_deg: [f64; 2],
}

fn places() -> Vec<Place> {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/operations.csv");
    let rows = csv::Reader::from_path(path).unwrap().into_records().map(|row| row.unwrap());
    let places: Vec<Place> = rows
        .map(|row| {
            let number = |i: usize| row[i].parse::<f64>().unwrap();
            Place {
                datum: row[0].to_owned(),
                at_deg: [number(2), number(3)],
                best: (row[4].to_owned(), number(5)),
                missing: row[6].to_owned(),
                used: (row[7].to_owned(), number(8)),
                to_deg: [number(9), number(10)],
            }
        })
        .collect();
    let mut datums: Vec<&str> = places.iter().map(|place| place.datum.as_str()).collect();
    datums.dedup();
    assert_eq!((places.len(), datums.len()), (20, 6));
    places
}

fn ways(datum: &str, rules: OperationRules) -> ByPlace {
    ByPlace::new(Crs::new(datum).unwrap(), Crs::new("EPSG:4979").unwrap(), rules, None)
}

fn assert_as_ranked(ways: &ByPlace, place: &Place) {
    let [lat, lon] = place.at_deg;
    let transform = ways.at(lon, lat, [lon, lat, 0.0]).unwrap();
    let operation = transform.operation();
    assert_eq!((operation.name.as_str(), operation.accuracy_m), (place.used.0.as_str(), Some(place.used.1)), "{lat} {lon}");
    let mut point = [[lon, lat, 0.0]];
    transform.apply(&mut point).unwrap();
    let apart = [point[0][1] - place.to_deg[0], point[0][0] - place.to_deg[1]];
    assert!(apart.iter().all(|degrees| degrees.abs() < WRITTEN_DEG), "{lat} {lon}: {point:?}");
    let better = format!("{} (accuracy {} m) for want of {}", place.best.0, place.best.1, place.missing);
    assert_eq!(operation.passed_over, (!place.missing.is_empty()).then_some(better), "{lat} {lon}");
}

/// Twenty places on six datums against PROJ's ranking as another binding asks for it; `tests/reference/operations_pyproj.py` made the
/// table and names its versions.
#[test]
fn operations_are_those_that_proj_ranks_first_at_the_place() {
    let places = places();
    let mut refused = 0;
    for datum in ["EPSG:4230", "EPSG:4267", "EPSG:4277", "EPSG:4301", "EPSG:4202", "EPSG:4314"] {
        let of = || places.iter().filter(|place| place.datum == datum);
        // Whatever the order in which places are asked for.
        let (there, back) = (ways(datum, ALLOWED), ways(datum, ALLOWED));
        of().for_each(|place| assert_as_ranked(&there, place));
        of().rev().for_each(|place| assert_as_ranked(&back, place));
        let strict = ways(datum, OperationRules::default());
        for place in of() {
            let [lat, lon] = place.at_deg;
            match strict.at(lon, lat, [lon, lat, 0.0]) {
                Ok(transform) => {
                    assert!(place.missing.is_empty() && transform.operation().name == place.best.0, "{lat} {lon}");
                }
                Err(CrsError::MissingGrid { operation, grids, .. }) => {
                    assert_eq!((operation, grids), (place.best.0.clone(), place.missing.clone()), "{lat} {lon}");
                    refused += 1;
                }
                Err(error) => panic!("{lat} {lon}: {error}"),
            }
        }
    }
    assert_eq!(refused, places.iter().filter(|place| !place.missing.is_empty()).count());
}

/// Bases on ED50 without heights, which would ask for their frame.
fn old_datum(crs: &str, bases: &[(&str, f64, f64)]) -> Field {
    let full: Vec<_> = bases.iter().map(|(name, lat_deg, lon_deg)| (*name, *lat_deg, *lon_deg, 0.0)).collect();
    let field = field("EPSG:4230", crs, &full);
    let log = std::fs::read_to_string(field.path("bases.csv")).unwrap();
    let plane: String = log.lines().map(|line| line.rsplit_once(',').unwrap().0.to_owned() + "\n").collect();
    field.write("bases.csv", plane);
    field
}

fn allow(mut field: Field, line: &str) -> Field {
    field.job = field.job.replace("formats", &format!("{line}\nformats"));
    field
}

const PORTUGAL: (&str, f64, f64) = ("P", 39.5, -8.0);
const NORWAY: (&str, f64, f64) = ("N", 61.0, 8.0);
const GREECE: (&str, f64, f64) = ("G", 37.5, 22.5);
const SPAIN: (&str, f64, f64) = ("S", 40.0, -4.0);

#[test]
fn bases_far_apart_go_by_operations_of_their_own() {
    let field = old_datum("EPSG:4326", &[PORTUGAL, NORWAY, GREECE]);
    let run = field.map();
    assert_eq!(run.base_column("sigma_datum_m"), ["1", "1", "10"]);
    for (base, place) in run.bases.iter().zip([PORTUGAL, NORWAY, GREECE]) {
        let of = |reference: &&Place| reference.datum == "EPSG:4230" && reference.at_deg == [place.1, place.2];
        let want = places().into_iter().find(|reference| of(&reference)).unwrap().to_deg;
        assert!((number(base, "lat_deg") - want[0]).abs() < WRITTEN_DEG, "{base:?}");
        assert!((number(base, "lon_deg") - want[1]).abs() < WRITTEN_DEG, "{base:?}");
    }
    let operations = run.summary["operations"].as_array().unwrap();
    let told: Vec<_> = operations.iter().map(|one| (one["name"].as_str().unwrap(), one["base_names"].clone())).collect();
    let names = |name: &str| serde_json::json!([name]);
    assert_eq!(
        told,
        [("ED50 to WGS 84 (34)", names("P")), ("ED50 to WGS 84 (24)", names("N")), ("ED50 to WGS 84 (1)", names("G"))]
    );
    assert!(operations.iter().all(|operation| operation["bases"] == 1));
    let note = "The transformation from ED50 (EPSG:4230) to WGS 84 (EPSG:4979) (ED50 to WGS 84 (1)) is good to 10 m, which is in the \
        standard errors of the features. It serves 1 of 3 bases, by their place: G.";
    assert!(run.summary["notes"].as_array().unwrap().contains(&note.into()), "{}", run.summary["notes"]);
    // In the base's block of `check`.
    let out = field.command(&["check", "job.toml", "--bases"]).stdout;
    let text = String::from_utf8_lossy(&out);
    let line = "  datum   ED50 (EPSG:4230) to WGS 84 (EPSG:4979) by ED50 to WGS 84 (24), good to 1 m\n";
    assert!(text.contains(line), "{text}");
}

#[test]
fn a_better_operation_whose_grid_is_missing_is_refused_by_name() {
    let message = old_datum("EPSG:4326", &[SPAIN]).refusal();
    assert!(message.contains("(ED50 to WGS 84 (41), accuracy 1 m) needs the grid file es_ign_SPED2ETV2.tif"), "{message}");
    assert!(message.contains("allow_missing_grids = true in the job to use ED50 to WGS 84 (28) (accuracy 1.5 m)"), "{message}");
    // Beside bases that lack nothing, too.
    let message = old_datum("EPSG:4326", &[PORTUGAL, SPAIN]).refusal();
    assert!(message.contains("es_ign_SPED2ETV2.tif"), "{message}");
    // In Kansas it is not a grid of Canada that is asked for.
    let mut kansas = old_datum("EPSG:4326", &[("K", 38.5, -98.0)]);
    kansas.job = kansas.job.replace("EPSG:4230", "EPSG:4267");
    let message = kansas.refusal();
    assert!(message.contains("needs the grid file us_noaa_conus.tif and us_noaa_kshpgn.tif"), "{message}");
    // Allowed by name, it is named with its accuracy beside the one used.
    let field = allow(old_datum("EPSG:4326", &[SPAIN]), "allow_missing_grids = true");
    let run = field.map();
    let better = "ED50 to WGS 84 (41) (accuracy 1 m) for want of es_ign_SPED2ETV2.tif";
    assert_eq!(run.summary["operations"][0]["passed_over"], better);
    let out = field.command(&["check", "job.toml", "--bases"]).stdout;
    assert!(String::from_utf8_lossy(&out).contains(&format!("ED50 to WGS 84 (28), good to 1.5 m, in place of {better}\n")));
}

/// √(1.5² − 1²) m is lost on each axis: 2.737 m in the radius of the 95 % circle.
#[test]
fn what_the_tolerances_bear_may_be_lost() {
    let with_tolerance = |metres: f64| {
        let field = allow(old_datum("EPSG:4326", &[SPAIN]), "catalogue = \"catalogue.toml\"");
        let codes = format!(
            "[[codes]]\ncode = \"x\"\ntitle = \"mark\"\nlayer = \"marks\"\ngeometry = \"point\"\ntolerance_horizontal95_m = {metres}\n[[codes]]\ncode = \"y\"\ntitle = \"post\"\nlayer = \"posts\"\ngeometry = \"point\"\ntolerance_horizontal95_m = 50\n"
        );
        field.write("catalogue.toml", codes);
        field
    };
    let message = with_tolerance(2.73).refusal();
    assert!(message.contains("es_ign_SPED2ETV2.tif"), "{message}");
    let run: Run = with_tolerance(2.74).map();
    assert_eq!(run.summary["operations"][0]["name"], "ED50 to WGS 84 (28)");
    assert!(run.summary["operations"][0]["passed_over"].as_str().unwrap().starts_with("ED50 to WGS 84 (41) (accuracy 1 m)"));
}

#[test]
fn a_base_that_comes_back_to_its_datum_has_lost_nothing() {
    let run = old_datum("EPSG:23032", &[GREECE]).map();
    assert_eq!(run.base_column("sigma_datum_m"), ["0"]);
    assert_eq!(run.summary["operations"], serde_json::json!([]));
    // Without a height it goes at the ellipsoid's level and comes back from that of the other: a millimetre.
    assert!((number(&run.bases[0], "lat_deg") - GREECE.1).abs() < 1e-8);
    assert!((number(&run.bases[0], "lon_deg") - GREECE.2).abs() < 1e-8);
}

/// Layers on an old datum in two places, by two operations, and back for a format that knows WGS 84 alone.
#[test]
fn layers_go_back_to_wgs84_by_the_way_they_came() {
    let bases = [("P", 39.5, -8.0, 100.0), ("N", 61.0, 8.0, 100.0)];
    let field = field("EPSG:4979", "EPSG:4230", &bases);
    let field = Field { job: field.job.replace("[\"csv\"]", "[\"geojson\", \"csv\"]"), ..field };
    let run = field.map();
    assert_eq!(run.summary["operations"].as_array().unwrap().len(), 2);
    // The datums differ by 130 m here.
    assert!((number(&run.bases[0], "lat_deg") - 39.5).abs() > 1e-3);
    let text = std::fs::read_to_string(field.path("t-layers/geojson/t.bases.geojson")).unwrap();
    let layer: serde_json::Value = serde_json::from_str(&text).unwrap();
    for (feature, (_, lat_deg, lon_deg, _)) in layer["features"].as_array().unwrap().iter().zip(bases) {
        let at = |i: usize| feature["geometry"]["coordinates"][i].as_f64().unwrap();
        // There and back through a Helmert transformation, which PROJ inverts by reversing its signs.
        assert!((at(0) - lon_deg).abs() < 1e-8 && (at(1) - lat_deg).abs() < 1e-8, "{feature}");
    }
}

/// A base log in eastings and northings of a zone of WGS 84.
fn projected(crs: &str, east_m: f64, north_m: f64) -> Field {
    let mut field = field(crs, crs, &[("A", 0.0, 0.0, 0.0)]);
    field.write("bases.csv", format!("base,east_m,north_m,ellipsoid_height_m\nA,{east_m},{north_m},100\n"));
    field.job = field.job.replace("[bases]", "#TOP\n[bases]");
    field
}

#[test]
fn positions_far_outside_the_area_of_their_crs_end_the_run() {
    // Local coordinates of a site in the name of a UTM zone.
    let message = projected("EPSG:32630", 5000.0, 1000.0).refusal();
    assert_eq!(
        message,
        "bases.crs: the only base lies far outside the area that WGS 84 / UTM zone 30N (EPSG:32630) is meant for (Between 6°W and 0°W, \
         northern hemisphere between equator and 84°N, onshore and offshore); the first, A (line 2: 5000 1000), would lie at latitude \
         0.009, longitude -7.444, 161 km outside: such small numbers look like local coordinates of a site, which have no place on \
         earth by themselves: give the bases in the CRS that they were tied to. Name the CRS that the positions are in, or write \
         allow_outside_area = true in the job to map them all the same"
    );
    let swapped = projected("EPSG:32630", 6_500_000.0, 440_000.0).refusal();
    assert!(swapped.contains("with easting and northing swapped it would lie inside"), "{swapped}");
    let run = allow(projected("EPSG:32630", 5000.0, 1000.0), "allow_outside_area = true").map();
    assert_eq!((run.mapped(), run.base_column("flags")), (1, vec!["outside_area"]));
    // Beside others: the first is told, and how many.
    let mut several = field("EPSG:4937", "EPSG:25832", &[("A", 46.1, 8.9, 0.0), ("B", 8.9, 46.1, 0.0), ("C", -46.1, 8.9, 0.0)]);
    let message = several.refusal();
    assert!(message.starts_with("bases.crs: 2 of 3 bases lie far outside the area that ETRS89 (EPSG:4937)"), "{message}");
    assert!(message.contains("; the first, B (line 3: 46.1 8.9), would lie at latitude 8.900, longitude 46.100, "), "{message}");
    assert!(message.contains("with latitude and longitude swapped it would lie inside"), "{message}");
    several.job = several.job.replace("EPSG:4937", "EPSG:4979");
    assert_eq!(several.map().bases.len(), 3);
}

/// The limit is 100 km: 0.8993 degrees of latitude north of the zone's 84th parallel, on a sphere with 111.2 km to a degree.
#[test]
fn just_inside_the_limit_positions_are_flagged_alone() {
    let at = |lat_deg: f64| {
        let crs = Crs::new("EPSG:32630").unwrap();
        let transform = standoff::inside::geodesy::crs::Transform::new(
            &Crs::new("EPSG:4326").unwrap(),
            &crs,
            None,
            OperationRules::default(),
        )
        .unwrap();
        let mut point = [[-3.0, lat_deg, 0.0]];
        transform.apply(&mut point).unwrap();
        projected("EPSG:32630", point[0][0], point[0][1])
    };
    assert_eq!(at(84.89).map().base_column("flags"), ["outside_area"]);
    assert!(at(84.91).refusal().contains("lies far outside"));
}
