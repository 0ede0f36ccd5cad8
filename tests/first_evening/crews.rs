//! Five crews' files, from `init` to the truth. Edits are those that a crew makes of the job that `init` wrote.

use super::*;

/// Trees: heights from a log with a row a tree, without any base: no edit.
#[test]
fn heights_without_bases_from_a_wide_log() {
    let evening = Evening::with(&["2-trees/heights_wide.csv"]);
    let job = evening.run(&["init", "heights_wide.csv"]).exits(0).out;
    evening.write("job.toml", job.replacen("name  = \"job\"", "formats = [\"csv\"]\nname  = \"job\"", 1));
    let checked = evening.run(&["check", "job.toml"]).exits(0);
    evening.map();
    // Three remarks have a comma of their own without quotes.
    assert!(checked.out.contains("39 of 39 measurements composed, 3 held"), "{}", checked.out);
    expect_heights(&evening, 3);
}

/// And from one with a row a shot: the unit of the distance is the one edit.
#[test]
fn heights_without_bases_from_a_long_log() {
    let evening = Evening::with(&["2-trees/heights_long.csv"]);
    let job = evening.run(&["init", "heights_long.csv"]).exits(0).out;
    let job = edited(job, &[("horizontal_distance_??", "horizontal_distance_m")]);
    evening.write("job.toml", job.replacen("name  = \"job\"", "formats = [\"csv\"]\nname  = \"job\"", 1));
    evening.map();
    expect_heights(&evening, 0);
}

/// `expected` is what the rounded readings themselves give, by HD (tan I_top - tan I_foot) alone; the program's own reduction
/// holds refraction and the curvature of the Earth too, less than a millimetre at 30 m; values are printed to the millimetre.
const READINGS_M: f64 = 0.002;

fn expect_heights(evening: &Evening, held: usize) {
    let truth: serde_json::Value = serde_json::from_str(&fs::read_to_string(data().join("2-trees/truth.json")).unwrap()).unwrap();
    let found = evening.values("height_m");
    let truth = truth["heights"].as_object().unwrap();
    assert_eq!(found.len(), truth.len() - held, "{found:?}");
    for (name, of) in truth {
        // The parts of a name stand apart with a blank or a stroke, as the program joins them.
        let own = found.iter().find(|(own, _)| own.replace(['/', ' ', '_'], "-") == *name);
        let Some((_, height)) = own else { continue };
        let expected = of["expected"].as_f64().unwrap();
        assert!((height - expected).abs() < READINGS_M, "{name}: {height} for {expected}");
    }
}

/// A workbook with two sheets, a title, real dates and times, a total and a formula at its end: the CRS, the kind of height, the
/// clock, the share of the accuracy's radius and the column of names are edits.
#[test]
fn poles_from_a_workbook() {
    let evening = Evening::with(&["1-poles/feeder.xlsx"]);
    let job = evening.run(&["init", "feeder.xlsx"]).exits(0).out;
    let edits = [
        ("crs   = \"EPSG:32616\"", "formats = [\"csv\"]\ncrs = \"EPSG:6447\""),
        ("\"??_height_ft\"", "orthometric_height_ft"),
        ("radius_share = \"??\"", "radius_share = 0.68"),
        ("time_zone = \"??\"", "time_zone = \"America/New_York\""),
        ("code = \"Class\"", "feature = \"Pole Tag\"\ncode = \"Class\""),
    ];
    let job = edited(job, &edits);
    evening.write("job.toml", &job);
    evening.run(&["check", "job.toml"]).exits(0);
    let ran = evening.map();
    let held = evening.held();
    // The sight without a return, the total, and the row of the formula.
    assert_eq!(held.iter().filter(|(_, _, reason)| reason == "no_row").count(), 1, "{held:?}\n{}", ran.out);
    assert_eq!(held.len(), 3, "{held:?}\n{}", ran.out);
    let truth: serde_json::Value = serde_json::from_str(&fs::read_to_string(data().join("1-poles/truth.json")).unwrap()).unwrap();
    let features = evening.layer("features");
    let mut worst: f64 = 0.0;
    for (name, at) in truth["poles"].as_object().unwrap().iter().filter(|(_, at)| at.is_array()) {
        let feature = features.iter().find(|feature| feature["feature"] == *name).unwrap_or_else(|| panic!("no pole {name}"));
        let (lat, lon) = (number(feature, "lat_deg"), number(feature, "lon_deg"));
        let north_m = (lat - at[0].as_f64().unwrap()) * 111_000.0;
        let east_m = (lon - at[1].as_f64().unwrap()) * 111_000.0 * lat.to_radians().cos();
        let off = north_m.hypot(east_m);
        let radius95 = number(feature, "radius95_m");
        worst = worst.max(off / radius95);
    }
    // 38 poles or so within their 95 % circles, a few beyond: none twice as far.
    assert!(worst < 2.0, "a pole lies {worst} times its 95 % radius off");
    let heights = evening.values("height_m");
    for (name, height) in truth["poles"].as_object().unwrap().iter().filter(|(name, _)| name.ends_with("_H")) {
        let own = heights[name.trim_end_matches("_H")] / 0.3048;
        // Angles to a tenth of a degree over 100 to 440 ft: 1.8 thousandths of the distance, each way.
        assert!((own - height.as_f64().unwrap()).abs() < 2.0, "{name}: {own}");
    }
}

/// Each edit must find its place.
fn edited(mut job: String, edits: &[(&str, &str)]) -> String {
    for (from, to) in edits {
        assert!(job.contains(from), "no {from} in\n{job}");
        job = job.replacen(from, to, 1);
    }
    assert!(
        !job.lines().any(|line| line.split("  #").next().is_some_and(|body| body.contains("??") && !body.starts_with('#'))),
        "{job}"
    );
    job
}
