//! Sign faces by angles alone, a bar, a wall and a span over a road: a crew's files as they are, against the truth that they were made from.
//!
//! Invented; readings were drawn with the standard errors of the job, which stand below, and rounded to 0.1° and 1 cm.

use super::*;

const JOB: &str = "name = \"signs\"\ncrs = \"EPSG:25832\"\nformats = [\"csv\"]\n\
[bases]\nfiles = [\"pkt.csv\"]\ncrs = \"EPSG:4979\"\n[bases.columns]\nbase = \"Pkt\"\nlat_deg = \"Lat\"\nlon_deg = \"Lon\"\n\
ellipsoid_height_m = \"h_ell\"\nsigma_horizontal_m = \"sH\"\nsigma_vertical_m = \"sV\"\n\
[shots]\nfiles = [\"shots.csv\"]\ntime_zone = \"Europe/Oslo\"\n[shots.columns]\nshot = \"No\"\ntime = \"Tid\"\nbase = \"Fra\"\n\
feature = \"Object\"\nmeasure = \"What\"\nrole = \"Which\"\nslope_distance_m = \"Slope dist (m)\"\nmagnetic_azimuth_deg = \"Bearing\"\n\
inclination_deg = \"Tilt\"\ncode = \"Note\"\n\
[instrument]\nsigma_distance_m = 0.05\nsigma_azimuth_deg = 0.2\nsigma_inclination_deg = 0.1\n\
[heights]\ninstrument_height_m = 1.6\ntarget_height_m = 0\n";

fn mapped(shots: &dyn Fn(String) -> String) -> Run {
    let folder = tempfile::tempdir().unwrap();
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/composed/span_and_signs");
    for name in ["pkt.csv", "shots.csv"] {
        let text = fs::read_to_string(from.join(name)).unwrap();
        // The first row is a backsight, whose measure is a role in their log.
        let text = text.replace(",R2,,backsight,", ",R2,,,");
        fs::write(folder.path().join(name), shots(text)).unwrap();
    }
    fs::write(folder.path().join("job.toml"), JOB).unwrap();
    standoff(folder.path(), &["map", "job.toml", "--out", "out", "--quiet"]).exits(0);
    let summary = json(&folder.path().join("out/summary.json"));
    Run { folder, summary }
}

impl Run {
    fn of_signs(&self, name: &str, quantity: &str) -> (f64, f64) {
        let records = table(&self.folder.path().join("out/csv/signs.measurements.csv"));
        let found =
            records.iter().find(|record| record["name"] == name && record["quantity"] == quantity && record["target"].is_empty());
        let found = found.unwrap_or_else(|| panic!("no {quantity} of {name}: {}", self.summary["notes"]));
        (found["value"].parse().unwrap(), found["sigma"].parse().unwrap())
    }
}

/// Within three standard errors, and these no larger than what would do for a sign's register.
fn assert_told((value, sigma): (f64, f64), truth: f64, most_m: f64) {
    assert!((value - truth).abs() < 3.0 * sigma, "{value} ± {sigma}, true {truth}");
    assert!(sigma < most_m, "{sigma}");
}

#[test]
fn faces_by_four_sights_onto_their_planes() {
    let truth: Value = serde_json::from_str(include_str!("span_and_signs/truth.json")).unwrap();
    let run = mapped(&|text| text);
    let is = |name: &str, i: usize| truth[name][i].as_f64().unwrap();
    for name in ["SG1", "SG2"] {
        assert_told(run.of_signs(name, "width_m"), is(name, 0), 0.4);
        assert_told(run.of_signs(name, "height_m"), is(name, 1), 0.15);
        assert_told(run.of_signs(name, "area_m2"), is(name, 0) * is(name, 1), 0.6);
    }
    // One shot at a turned face says that it is too narrow.
    let records = table(&run.folder.path().join("out/csv/signs.measurements.csv"));
    let width = records.iter().find(|record| record["name"] == "SG1-w" && record["quantity"] == "width_m").unwrap();
    assert!(width["warnings"].contains("a face turned by 20° is"), "{}", width["warnings"]);
    assert_told(run.of_signs("BAR", "height_m"), truth["BAR"].as_f64().unwrap(), 0.2);
}

/// The corners by their role, in any order, and the width by the plane's shots beside the edges.
#[test]
fn corners_and_edges_by_their_roles() {
    let truth: Value = serde_json::from_str(include_str!("span_and_signs/truth.json")).unwrap();
    let run = mapped(&|text| {
        let text = text
            .replace(",sight,,24.9,", ",corner,,@,")
            .replace(",sight,,24.7,", ",corner,,24.9,")
            .replace(",corner,,@,", ",corner,,24.7,");
        let text = text.replace(",sight,", ",corner,");
        // The plane's shots of the first sign stand beside its edges too.
        let planes = "51,2026-08-07 13:51,R1,SG1-w,width,plane_1,24.81,21.9,2.3,\n52,2026-08-07 13:52,R1,SG1-w,width,plane_2,25.40,23.9,2.5,\n";
        if text.contains("SG1-w") { text.replace(",SG1-w,width,plane,", ",SG1-x,width,plane,") + planes } else { text }
    });
    assert_told(run.of_signs("SG1", "width_m"), truth["SG1"][0].as_f64().unwrap(), 0.4);
    assert_told(run.of_signs("SG1", "height_m"), truth["SG1"][1].as_f64().unwrap(), 0.15);
    assert_told(run.of_signs("SG1-w", "width_m"), truth["SG1"][0].as_f64().unwrap(), 0.4);
    let (turned, sigma) = run.of_signs("SG1-w", "turned_deg");
    assert!(turned > sigma && turned < 90.0, "{turned} {sigma}");
}
