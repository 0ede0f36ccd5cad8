//! A CRS of the layers with a vertical part: by whose grid, in what unit, and the refusal without one.

use super::common::{Field, Run};
use super::support;
use super::{field, gtx, heights, number};

/// The International foot and the US survey foot in metres (exact by their definitions).
const FOOT_M: f64 = 0.3048;
const US_SURVEY_FOOT_M: f64 = 1200.0 / 3937.0;
/// Of heights below 1000 m: some roundings of a 52-bit number.
const ROUNDING_M: f64 = 1e-11;

/// A base with an orthometric height in another CRS, level shot included.
fn job(crs: &str, bases_crs: &str, place: &str, lines: &str) -> Field {
    let mut field = field(&format!("base,lat_deg,lon_deg,orthometric_height_m\nA,{place},133.66\n"), &["A"]);
    field.job = field.job.replace("EPSG:32632", crs).replace("EPSG:4979", bases_crs);
    heights(field, lines)
}

/// Third coordinates of the sight line: of the base and of the feature.
fn thirds(field: &Field) -> [f64; 2] {
    let lines = support::table(&field.path("t-layers/csv/t.sight_lines.csv"));
    let corners = lines[0]["WKT"].strip_prefix("LINESTRING Z (").unwrap().strip_suffix(')').unwrap().split(", ");
    let thirds: Vec<f64> = corners.map(|corner| corner.split(' ').nth(2).unwrap().parse().unwrap()).collect();
    thirds.try_into().unwrap()
}

#[test]
fn feet_are_metres_by_the_factor_exactly() {
    for (crs, factor_m, name) in [
        ("EPSG:6543+6360", US_SURVEY_FOOT_M, "NAVD88 height (ftUS)"),
        ("EPSG:6543+8228", FOOT_M, "NAVD88 height (ft)"),
        ("EPSG:6543+5703", 1.0, "NAVD88 height"),
    ] {
        let field = job(crs, "EPSG:6319", "35.5,-79.0", "allow_global_geoid = true");
        let run = field.map();
        let [base, feature] = thirds(&field);
        // The two feet, 2e-6 of their length apart, are told apart.
        assert!((base * factor_m - 133.66).abs() < ROUNDING_M, "{crs}: {base}");
        let metres = number(&run.features[0], "orthometric_height_m");
        assert!((feature * factor_m - metres).abs() < super::WRITTEN_M, "{crs}: {feature}, {metres} m");
        let words = format!("{name}, by EGM96 (degree and order 360, built in) in place of its own grid");
        assert_eq!(run.summary["third_coordinate"], words);
    }
}

#[test]
fn without_its_grid_the_job_is_refused() {
    let message = job("EPSG:25832+7837", "EPSG:4937", "50.0,8.9", "").refusal();
    assert_eq!(
        message,
        "crs: from ETRS89 (EPSG:4937) to ETRS89 / UTM zone 32N + DHHN2016 height at base A: the best transformation (ETRS89 to DHHN2016 \
         height (1) + UTM zone 32N, accuracy 0.1 m) needs the grid file de_bkg_gcg2016.tif, which is not installed. Grid files \
         come from the national mapping agency or from PROJ's data collection; put the file in a folder and name the folder in \
         the environment variable PROJ_DATA. Or write allow_global_geoid = true under [heights] in the job to use the built-in \
         global geoid in its place, good to about a metre, or name a CRS without a vertical part: ellipsoidal and orthometric \
         heights are written as attributes all the same."
    );
    // A geoid that the job does not want cannot stand in.
    let message = job("EPSG:25832+7837", "EPSG:4937", "50.0,8.9", "geoid = \"none\"\nallow_global_geoid = true").refusal();
    assert!(message.contains("needs the grid file de_bkg_gcg2016.tif"), "{message}");
}

fn by(lines: &str) -> (Field, Run) {
    let bases = "base,lat_deg,lon_deg,ellipsoid_height_m\nA,50.0,8.9,180.0\n";
    let mut field = field(bases, &["A"]);
    field.job = field.job.replace("EPSG:32632", "EPSG:25832+7837").replace("EPSG:4979", "EPSG:4937");
    field.write("geoid.gtx", gtx([49.5, 8.0], 0.5, 3, 4, |_, _| 47.5));
    let field = heights(field, lines);
    let run = field.map();
    (field, run)
}

#[test]
fn a_grid_of_the_job_stands_in() {
    let (field, run) = by("geoid_grid = \"geoid.gtx\"\nsigma_geoid_grid_m = 0.02");
    let [base, feature] = thirds(&field);
    assert!((base - (180.0 - 47.5)).abs() < ROUNDING_M, "{base}");
    super::assert_written(feature, number(&run.features[0], "ellipsoid_height_m") - 47.5);
    let words = run.summary["third_coordinate"].as_str().unwrap();
    assert!(words.starts_with("DHHN2016 height, by ") && words.contains("geoid.gtx"), "{words}");
    assert!(words.ends_with(" in place of its own grid"), "{words}");
    assert_eq!(run.column("sigma_geoid_m"), ["0.02"]);
}

#[test]
fn the_built_in_geoid_stands_in_where_the_job_allows_it() {
    let (field, run) = by("allow_global_geoid = true");
    let undulation = number(&run.bases[0], "geoid_undulation_m");
    // Around 48 m in that part of Germany.
    assert!((46.0..50.0).contains(&undulation), "{undulation}");
    super::assert_written(thirds(&field)[0], 180.0 - undulation);
    assert_eq!(run.column("sigma_geoid_m"), ["1"]);
}
