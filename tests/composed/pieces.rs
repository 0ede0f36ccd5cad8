//! Pieces of measurements as records of their own: legs, residuals, shots of a profile; and repeated shots taken as one.

use super::*;

fn targets(run: &Run, quantity: &str) -> Vec<(String, f64)> {
    let records = run.layer("measurements").into_iter().filter(|record| record["quantity"] == quantity);
    records.map(|record| (record["target"].clone(), record["value"].parse().unwrap())).collect()
}

fn assert_targets(run: &Run, quantity: &str, want: &[(&str, f64)]) {
    let got = targets(run, quantity);
    assert_eq!(got.len(), want.len(), "{got:?}");
    for ((target, value), (want_target, want)) in got.iter().zip(want) {
        assert_eq!(target, want_target);
        assert_near(*value, *want, PLANE_M);
    }
}

#[test]
fn each_leg_of_a_chain_has_its_own_values_and_the_sums() {
    // From (0, 50) 30 m east, then 40 m north: straight 50 m.
    let points = [[0.0, 50.0, 0.0], [30.0, 50.0, 0.0], [30.0, 90.0, 0.0]];
    let rows: String =
        points.iter().enumerate().map(|(i, at)| shot(i + 1, "missing_line", &(i + 1).to_string(), "C1", *at) + "\n").collect();
    let run = Run::new(&rows, "");
    assert_targets(&run, "horizontal_distance_m", &[("", 50.0), ("shot 1 to shot 2", 30.0), ("shot 2 to shot 3", 40.0)]);
    assert_targets(
        &run,
        "cumulated_horizontal_distance_m",
        &[("", 70.0), ("shot 1 to shot 2", 30.0), ("shot 2 to shot 3", 70.0)],
    );
    assert_near(targets(&run, "azimuth_deg")[1].1, 90.0, 0.01);
    let lines: Vec<String> = run.layer("measurements").into_iter().map(|r| r["source_line"].clone()).collect();
    // The records of a leg name the row that it ends at.
    assert_eq!((lines.first().unwrap().as_str(), lines.last().unwrap().as_str()), ("2", "4"));
}

#[test]
fn each_shot_of_a_plane_has_its_residual() {
    // An upright square of 20 m facing the base, two opposite corners 0.4 m nearer: residuals of 0.2 m in turn (about, since the
    // corners differ in weight by their distances).
    let corners = [[-10.0, 50.0, 0.0], [10.0, 50.4, 0.0], [10.0, 50.0, 20.0], [-10.0, 50.4, 20.0]];
    let rows: String = corners.iter().enumerate().map(|(i, at)| shot(i + 1, "plane", "face", "F1", *at) + "\n").collect();
    let run = Run::new(&rows, "");
    let got = targets(&run, "residual_m");
    let labels: Vec<&str> = got.iter().map(|(target, _)| target.as_str()).collect();
    assert_eq!(labels, ["plane to shot 1", "plane to shot 2", "plane to shot 3", "plane to shot 4"]);
    for (i, (_, residual)) in got.iter().enumerate() {
        assert_near(residual.abs(), 0.2, 0.02);
        assert_eq!(residual.signum(), if i % 2 == 0 { got[0].1.signum() } else { -got[0].1.signum() });
    }
}

#[test]
fn a_profile_is_a_layer_of_distance_and_height() {
    // From (10, 40) towards (40, 80): 50 m, d = (0.6, 0.8), right of it (0.8, −0.6).
    let at = |chainage: f64, right: f64, up: f64| [10.0 + 0.6 * chainage + 0.8 * right, 40.0 + 0.8 * chainage - 0.6 * right, up];
    let shots = [
        ("start", at(0.0, 0.0, 0.0)),
        ("end", at(50.0, 0.0, 1.0)),
        ("point", at(35.0, 5.0, 2.0)),
        ("point", at(12.5, -3.0, -1.0)),
    ];
    let rows: String = shots.iter().enumerate().map(|(i, (role, at))| shot(i + 1, "profile", role, "P1", *at) + "\n").collect();
    let run = Run::new(&rows, "");
    let records = run.layer("profiles");
    let told: Vec<[&str; 4]> =
        records.iter().map(|r| ["number", "shot", "role", "source_line"].map(|field| r[field].as_str())).collect();
    assert_eq!(told, [["1", "1", "start", "2"], ["2", "4", "point", "5"], ["3", "3", "point", "4"], ["4", "2", "end", "3"]]);
    let features = run.layer("features");
    // Chainage, offset, and height: the axis is at 61.5 m.
    for (record, want) in records.iter().zip([[0.0, 0.0, 61.5], [12.5, -3.0, 60.5], [35.0, 5.0, 63.5], [50.0, 0.0, 62.5]]) {
        let number = |field: &str| record[field].parse::<f64>().unwrap();
        for (field, want) in ["chainage_m", "offset_m", "height_m"].into_iter().zip(want) {
            assert_near(number(field), want, PLANE_M);
        }
        assert_eq!((record["profile"].as_str(), record["height_kind"].as_str()), ("P1", "ellipsoidal"));
        // Place and standard error of the height are those of the feature of the same shot.
        let id = record["shot"].trim_start_matches("shot ");
        let feature = features.iter().find(|feature| feature["shot"] == id).unwrap();
        assert_near(number("sigma_height_m"), feature["sigma_up_m"].parse().unwrap(), PRINTED);
        assert_near(number("easting"), feature["easting"].parse().unwrap(), PRINTED);
    }
    // The first point is where chainages count from; the last one's error is that of the length.
    let sigma = |i: usize| records[i]["sigma_chainage_m"].parse::<f64>().unwrap();
    assert_eq!((sigma(0), sigma(3)), (0.0, run.value("P1", "length_m").1));
    // A shot farther off than the job says is warned of.
    let limited = Run::new(&rows, "[measures]\nprofile_offset_limit_m = 4");
    let warnings = limited.layer("measurements")[0]["warnings"].clone();
    assert_eq!(warnings, "shot 3 lies 5.0 m to the right of the line, beyond the limit of 4 m");
}

#[test]
fn three_shots_to_a_top_count_as_one() {
    // 40 (tan 30.1 + tan 3): the mean of 30.0, 30.1 and 30.2 degrees.
    let rows = "1,A,height,foot,T1,,,90,-3,\n2,A,height,top,T1,,,90,30.0,\n3,A,height,top,T1,,,90,30.1,\n4,A,height,top,T1,,,90,30.2,\n\
                5,A,height,distance,T1,,,90,0,40\n";
    let run = Run::new(rows, "");
    let (height, sigma) = run.value("T1", "height_m");
    let (top, foot, rad) = (30.1f64.to_radians(), 3f64.to_radians(), 0.1f64.to_radians());
    assert_near(height, 40.0 * (top.tan() + foot.tan()), PRINTED);
    // σ_I of the top is that of one reading by √3.
    let term = |angle: f64, readings: f64| 40.0 * rad / angle.cos().powi(2) / readings.sqrt();
    assert_near(sigma, (0.2 * (top.tan() + foot.tan())).hypot(term(top, 3.0)).hypot(term(foot, 1.0)), PRINTED);
    let method = run.layer("measurements")[0]["method"].clone();
    assert!(method.ends_with("; top is the mean of shot 2, shot 3 and shot 4"), "{method}");
    assert_eq!(run.summary["shots"]["composed"], json!(4));
}

#[test]
fn repeated_shots_that_hit_two_things_are_refused() {
    let rows = "1,A,missing_line,from,L1,,,0,0,100\n2,A,missing_line,to,L1,,,60,0,100\n3,A,missing_line,to,L1,,,60,0,112.4\n";
    let run = Run::new(rows, "");
    assert_eq!(run.layer("measurements").len(), 0);
    let notes = run.summary["notes"].to_string();
    let want = "missing_line of L1: 2 shots have the role to, and the slope distance (m) of shot 2 lies 6.20 from their mean";
    assert!(notes.contains(want), "{notes}");
    // A wider limit of the job takes them together: 106.2 m.
    let taken = Run::new(rows, "agreement_sigmas = 100");
    assert_near(taken.value("L1", "slope_distance_m").0, (100f64.powi(2) + 106.2f64.powi(2) - 100.0 * 106.2).sqrt(), 0.01);
}
