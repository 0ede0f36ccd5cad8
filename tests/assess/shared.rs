//! The mean of errors of points that err together: what the layer says that it may be.

use std::fs;

use crate::support::mapping::Normal;
use crate::support::{standoff, table};

/// Points shot from one base whose log is off by a metre where two are stated; the check points are at the true places.
#[test]
fn an_error_of_the_base_within_its_own_figure_is_no_finding() {
    for (off_m, explained) in [(1.9, true), (8.0, false)] {
        let (folder, mut normal) = (tempfile::tempdir().unwrap(), Normal(23));
        let path = folder.path();
        // Metres to a degree of latitude on the ellipsoid at 58.2°: (π / 180) · a (1 − e²) / (1 − e² sin² φ)^1.5.
        let degree_m = 111_360.0;
        let base =
            |off_m: f64| format!("base,lat_deg,lon_deg,ellipsoid_height_m\nQuay,{:.10},-2.9,50\n", 58.2 + off_m / degree_m);
        let (mut drawn, mut true_shots) = (String::new(), String::new());
        for k in 0..40 {
            let (distance_m, azimuth_deg) = (40.0 + 3.0 * f64::from(k), (f64::from(k) * 137.5) % 360.0);
            true_shots.push_str(&format!("F{k},Quay,{distance_m},{azimuth_deg},0\n"));
            let azimuth_deg = (azimuth_deg + 0.2 * normal.next() + 360.0) % 360.0;
            drawn.push_str(&format!("F{k},Quay,{:.4},{azimuth_deg:.5},0\n", distance_m + 0.1 * normal.next()));
        }
        for (name, base, shots) in [("survey", base(off_m), drawn), ("truth", base(0.0), true_shots)] {
            fs::create_dir(path.join(name)).unwrap();
            fs::write(path.join(name).join("bases.csv"), base).unwrap();
            let head = "feature,base,slope_distance_m,true_azimuth_deg,inclination_deg\n";
            fs::write(path.join(name).join("shots.csv"), format!("{head}{shots}")).unwrap();
            let job = format!(
                "name = \"{name}\"\ncrs = \"EPSG:32630\"\nformats = [\"gpkg\", \"csv\"]\n[bases]\nfiles = [\"bases.csv\"]\ncrs = \"EPSG:4979\"\n\
                 sigma_horizontal_m = 2\nsigma_vertical_m = 3\n[shots]\nfiles = [\"shots.csv\"]\n[heights]\ninstrument_height_m = 1.5\n\
                 target_height_m = 1.5\n[instrument]\nsigma_distance_m = 0.1\nsigma_azimuth_deg = 0.2\nsigma_inclination_deg = 0.1\n"
            );
            fs::write(path.join(name).join("job.toml"), job).unwrap();
            standoff(path, &["map", &format!("{name}/job.toml"), "--out", &format!("{name}-map")]).exits(0);
        }
        // The layer of the true places serves as the table of check points, by its own columns.
        let mut checks = "name,east_m,north_m,sigma_horizontal_m\n".to_owned();
        for row in table(&path.join("truth-map/csv/truth.features.csv")) {
            checks.push_str(&format!("{},{},{},0.01\n", row["feature"], row["easting"], row["northing"]));
        }
        fs::write(path.join("checks.csv"), checks).unwrap();
        let ran = standoff(path, &["assess", "survey-map/survey.gpkg", "--check", "checks.csv", "--json"]).exits(0);
        let found: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
        let notes = found["notes"].to_string();
        assert!(notes.contains("North errors have a mean of +"), "{notes}");
        assert_eq!(
            notes.contains("What the points err by together does: a mean of these has a standard error of 2.0"),
            explained,
            "{notes}"
        );
        assert_eq!(notes.contains("nor does what the points err by together (a standard error of 2.0"), !explained, "{notes}");
    }
}
