//! Shots along curved rays, run through the program, against light traced through layered air: tests/reference/curved_rays.csv, which
//! curved_rays.py there prints. 2,400 shots to 2 km and 70°, every way of giving a triangle, six CRSs on six datums.

use std::collections::BTreeMap;

use crate::common::Field;

/// Two millimetres: the target height is taken along the base's vertical, which at 2 km leans 0.3 mm for each metre of it; that the
/// inclination changes along the ray is left out, up to 0.1 mm; layers have four decimals.
const WITHIN_M: f64 = 0.002;
/// Metres in a US survey foot, the unit of EPSG:6543.
const SURVEY_FOOT_M: f64 = 1200.0 / 3937.0;

type Row = BTreeMap<String, String>;

fn number(row: &Row, field: &str) -> f64 {
    row[field].parse().unwrap_or_else(|_| panic!("{field} \"{}\"", row[field]))
}

/// Maps the shots of one CRS and gives how far each lies from its traced place, in metres.
fn misses(crs: &str, rows: &[&Row]) -> Vec<f64> {
    let columns = ["true_azimuth_deg", "inclination_deg", "slope_distance_m", "horizontal_distance_m", "vertical_distance_m"];
    let mut log = format!("base,shot,{},target_height_m\n", columns.join(","));
    let mut bases = BTreeMap::new();
    for (i, row) in rows.iter().enumerate() {
        let read: Vec<&str> = columns.iter().map(|column| row[*column].as_str()).collect();
        log += &format!("{},{i},{},{}\n", row["base"], read.join(","), row["target_height_m"]);
        bases.insert(&row["base"], format!("{},{},{},{}\n", row["base"], row["lat_deg"], row["lon_deg"], row["height_m"]));
    }
    let mut field = Field::new(log);
    let bases: String = bases.into_values().collect();
    field.write("bases.csv", format!("base,lat_deg,lon_deg,ellipsoid_height_m\n{bases}"));
    field.job =
        field.job.replace("EPSG:32632", crs).replace("EPSG:4979", &rows[0]["bases_crs"]).replace("target_height_m = 0\n", "");
    let run = field.map();
    assert_eq!(run.features.len(), rows.len(), "{crs}");
    let unit_m = if crs == "EPSG:6543" { SURVEY_FOOT_M } else { 1.0 };
    let apart = |(feature, row): (&Row, &&Row)| {
        let off = |field: &str| number(feature, field) - number(row, field);
        (off("easting") * unit_m).hypot(off("northing") * unit_m).hypot(off("ellipsoid_height_m"))
    };
    run.features.iter().zip(rows).map(apart).collect()
}

#[test]
fn shots_end_where_light_does() {
    let path = format!("{}/tests/reference/curved_rays.csv", env!("CARGO_MANIFEST_DIR"));
    let rows: Vec<Row> = csv::Reader::from_path(path).unwrap().deserialize().map(|row| row.unwrap()).collect();
    let mut by_crs: BTreeMap<&str, Vec<&Row>> = BTreeMap::new();
    rows.iter().for_each(|row| by_crs.entry(&row["crs"]).or_default().push(row));
    let mut compared = 0;
    for (crs, rows) in &by_crs {
        let misses = misses(crs, rows);
        compared += misses.len();
        for (miss, row) in misses.iter().zip(rows) {
            assert!(*miss < WITHIN_M, "{crs}: {:.1} mm off: {row:?}", 1000.0 * miss);
        }
    }
    assert_eq!((by_crs.len(), compared), (6, 2400));
}
