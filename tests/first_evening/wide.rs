//! Several readings in one row.

use super::*;

const JOB: &str = "name = \"trees\"\nformats = [\"csv\"]\n[shots]\nfiles = [\"LOG\"]\n[shots.columns]\nfeature = [\"Plot\", \"Tree\"]\n\
    [shots.values]\nmeasure = \"height\"\n[[shots.readings]]\ncolumns = { horizontal_distance_m = \"HDist_m\" }\nvalues = { role = \"distance\" }\n\
    [[shots.readings]]\ncolumns = { inclination_pct = \"Top_pct\" }\nvalues = { role = \"top\" }\n\
    [[shots.readings]]\ncolumns = { inclination_pct = \"Base_pct\" }\nvalues = { role = \"foot\" }\n";

#[test]
fn the_heights_of_a_wide_log_are_those_of_the_long_one() {
    let evening = Evening::with(&["2-trees/heights_wide.csv", "2-trees/heights_long.csv"]);
    evening.write("job.toml", JOB.replace("LOG", "heights_wide.csv"));
    let ran = evening.map();
    let wide = evening.values("height_m");
    let rows = fs::read_to_string(data().join("2-trees/heights_wide.csv")).unwrap().lines().count() - 1;
    // Three remarks have a comma of their own without quotes: nothing else in the row could have it, and they are flagged.
    assert_eq!(wide.len(), rows);
    assert_eq!(evening.summary()["shots"]["flags"]["remark_joined"], 3, "{}", ran.out);
    // One account a row, though three readings came of each.
    let shots = &evening.summary()["shots"];
    assert_eq!(
        (shots["read"].as_u64(), shots["composed"].as_u64(), shots["held"].as_u64()),
        (Some(rows as u64), Some(rows as u64), Some(0)),
        "{}",
        ran.out
    );
    evening.write(
        "job.toml",
        "name = \"trees\"\nformats = [\"csv\"]\n[shots]\nfiles = [\"heights_long.csv\"]\n[shots.columns]\nfeature = [\"Plot\", \"Tree\"]\nrole = \"What\"\n\
         horizontal_distance_m = \"HD\"\ninclination_pct = \"Angle_pct\"\n[shots.values]\nmeasure = \"height\"\n",
    );
    evening.map();
    let long = evening.values("height_m");
    assert_eq!(long.len(), rows);
    assert!(wide.iter().all(|(name, height)| long.get(name) == Some(height)), "{wide:?} {long:?}");
}

/// H = HD (tan I_top - tan I_foot) with percents: 10 (0.90 + 0.05) = 9.5 m.
#[test]
fn a_blank_group_is_no_reading() {
    let evening = Evening::with(&[]);
    evening.write(
        "trees.csv",
        "Plot,Tree,HDist_m,Top_pct,Base_pct,Remarks\nP1,1,10,90,-5,\nP1,2,10,90,,top only\nP1,3,,,,not measured\nP1,4,ten,90,-5,\n",
    );
    evening.write("job.toml", JOB.replace("LOG", "trees.csv"));
    evening.map();
    let found = evening.values("height_m");
    assert_eq!(found.len(), 1, "{found:?}");
    assert!((found.values().next().unwrap() - 9.5).abs() < 0.005, "{found:?}");
    let held: Vec<(u64, String)> = evening.held().into_iter().map(|(_, line, reason)| (line, reason)).collect();
    // Each row once: the second lacks the foot, the third has nothing, the fourth has no number.
    assert_eq!(held.iter().map(|(line, _)| *line).collect::<Vec<_>>(), [3, 4, 5], "{held:?}");
}

#[test]
fn readings_that_make_points_are_told_apart() {
    let evening = Evening::with(&["forms/bases.csv"]);
    evening.write("faces.csv", "No,From,Face,L az,L dist,R az,R dist,Incl\n1,S1,F1,10,20.5,14,20.7,0\n2,S1,F2,50,30.5,,,0\n");
    evening.write(
        "job.toml",
        "name = \"faces\"\ncrs = \"EPSG:32616\"\nformats = [\"csv\"]\n[bases]\nfiles = [\"bases.csv\"]\ncrs = \"EPSG:4979\"\n[shots]\nfiles = [\"faces.csv\"]\n\
         [shots.columns]\nshot = \"No\"\nbase = \"From\"\nfeature = \"Face\"\ninclination_deg = \"Incl\"\n[shots.values]\nmeasure = \"width\"\n\
         [[shots.readings]]\ncolumns = { true_azimuth_deg = \"L az\", slope_distance_m = \"L dist\" }\nvalues = { role = \"left\" }\n\
         [[shots.readings]]\ncolumns = { true_azimuth_deg = \"R az\", slope_distance_m = \"R dist\" }\nvalues = { role = \"right\" }\n\
         [heights]\ninstrument_height_m = 0\ntarget_height_m = 0\n",
    );
    evening.map();
    let features = evening.layer("features");
    let of: Vec<(&str, &str)> = features.iter().map(|record| (record["feature"].as_str(), record["role"].as_str())).collect();
    assert_eq!(of, [("F1", "left"), ("F1", "right"), ("F2", "left")]);
    let shots = &evening.summary()["shots"];
    assert_eq!((shots["read"].as_u64(), shots["mapped"].as_u64()), (Some(2), Some(2)));
    assert_eq!(features.iter().filter(|record| !record["flags"].is_empty()).count(), 0, "{features:?}");
}
