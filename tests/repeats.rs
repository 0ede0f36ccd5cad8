//! Features shot more than once: one point of several shots, wrong echoes left out and named, readings of one pull, and
//! names that stand for more than one thing. Logs are invented; the values are worked out by hand.

use crate::support;

use serde_json::json;
use support::small::Small;

const HEADER: &str = "shot,base,code,feature,return,time,true_azimuth_deg,inclination_deg,slope_distance_m\n";

/// Layers have four decimals.
const PRINTED: f64 = 1e-4;

fn small(rows: &str, checks: &str) -> Small {
    Small::new(&format!("{HEADER}{rows}"), "", &format!("[checks]\n{checks}"))
}

fn number(record: &support::small::Record, field: &str) -> f64 {
    record[field].parse().unwrap_or_else(|_| panic!("{field} is \"{}\"", record[field]))
}

#[track_caller]
fn assert_near(got: f64, want: f64, within: f64) {
    assert!((got - want).abs() <= within, "{got} is not {want} within {within}");
}

#[test]
fn four_shots_make_one_point_and_share_the_error_of_their_base() {
    let job = small(
        "1,A,pole,P1,,,90,0,99.9\n2,A,pole,P1,,,90,0,100.1\n3,A,pole,P1,,,90,0,99.8\n4,A,pole,P1,,,90,0,100.2\n5,A,pole,P2,,,90,0,100\n",
        "",
    );
    let summary = job.map();
    assert_eq!((summary["shots"]["mapped"].clone(), summary["shots"]["repeats"].clone()), (json!(2), json!(3)));
    let (of_four, of_one) = (job.feature("features", "P1"), job.feature("features", "P2"));
    assert_eq!((of_four["shots_used"].as_str(), of_four["shots_aside"].as_str(), of_one["shots_used"].as_str()), ("4", "0", "1"));
    // The mean distance is 100 m: both points are one.
    for field in ["easting", "northing", "ellipsoid_height_m"] {
        assert_near(number(&of_four, field), number(&of_one, field), 3.0 * PRINTED);
    }
    // Scatter of 99.8, 99.9, 100.1, 100.2 about 100: sqrt((0.04 + 0.01 + 0.01 + 0.04) / 4).
    assert_near(number(&of_four, "spread_m"), 0.025f64.sqrt(), PRINTED);
    // Along the sight: sigma_east² = 0.5² + 0.2² / n. The base's half metre stays.
    assert_near(number(&of_one, "sigma_east_m"), 0.5f64.hypot(0.2), PRINTED);
    assert_near(number(&of_four, "sigma_east_m"), 0.5f64.hypot(0.1), PRINTED);
    // Across it: the azimuth's 0.5° over 100 m, halved.
    let across = 100.0 * 0.5f64.to_radians();
    assert_near(number(&of_four, "sigma_north_m"), 0.5f64.hypot(across / 2.0), PRINTED);
    // Every shot keeps its line of sight.
    assert_eq!(job.layer("sight_lines").len(), 5);
    assert_eq!(job.layer("ellipses").len(), 2);
    assert_eq!(job.layer("bases")[0]["shots"], "5");
}

#[test]
fn a_twig_before_and_a_hillside_behind_are_left_out_and_named() {
    let job = small(
        "1,A,stem,S1,first,,90,0,50.1\n2,A,stem,S1,first,,90,0,41.0\n3,A,stem,S1,last,,90,0,49.9\n4,A,stem,S1,last,,90,0,72\n5,A,stem,S1,first,,90,0,50.0\n",
        "",
    );
    let summary = job.map();
    assert_eq!(summary["shots"]["flags"], json!({"background_hit": 1, "foreground_hit": 1}));
    let stem = job.feature("features", "S1");
    assert_eq!((stem["shots_used"].as_str(), stem["shots_aside"].as_str(), stem["flags"].as_str()), ("3", "2", ""));
    assert_near(number(&stem, "horizontal_distance_m"), 50.0, PRINTED);
    let ledger = job.ledger();
    assert_eq!(ledger.keys().copied().collect::<Vec<_>>(), [3, 5]);
    assert_eq!(ledger[&3].0, "foreground_hit");
    assert!(ledger[&3].1.contains("9.00 m nearer along the sight than the others"), "{}", ledger[&3].1);
    assert_eq!(ledger[&5].0, "background_hit");
    assert!(ledger[&5].1.contains("22.00 m farther"), "{}", ledger[&5].1);
    // The lines of sight show which.
    let flags: Vec<String> = job.layer("sight_lines").iter().map(|line| line["flags"].clone()).collect();
    assert_eq!(flags, ["", "foreground_hit", "", "background_hit", ""]);
}

#[test]
fn a_prism_is_no_leaf() {
    let job = small("1,A,stem,S1,prism,,90,0,50.1\n2,A,stem,S1,prism,,90,0,41.0\n3,A,stem,S1,prism,,90,0,50\n", "");
    let summary = job.map();
    assert_eq!(summary["shots"]["flags"], json!({"outlying_shot": 1}));
    assert_eq!(job.feature("features", "S1")["shots_used"], "2");
}

#[test]
fn the_reflector_constant_is_for_prisms_alone() {
    let job = Small::new(&format!("{HEADER}1,A,,P1,prism,,90,0,50\n2,A,,P2,last,,90,0,50\n3,A,,P3,R,,90,0,50\n"), "", "");
    let text = std::fs::read_to_string(job.folder.path().join("job.toml")).unwrap();
    let text = text
        .replace("#INSTRUMENT", "reflector_constant_m = -0.034")
        .replace("[instrument]", "[shots.returns]\nR = \"prism\"\n[instrument]");
    job.write("job.toml", &text);
    job.map();
    let distances: Vec<String> = job.layer("features").iter().map(|record| record["horizontal_distance_m"].clone()).collect();
    assert_eq!(distances, ["49.966", "50", "49.966"]);
    job.write("job.toml", &text.replace("R = \"prism\"", "R = \"glass\""));
    let refused = job.ran(&[]).exits(1);
    assert_eq!(refused.err, "error: [shots.returns] R = \"glass\": write first, last, single, prism or tracking\n");
}

#[test]
fn two_that_disagree_stay_apart_and_three_places_are_no_feature() {
    let job = small(
        "1,A,stem,S1,,,90,0,50\n2,A,stem,S1,,,90,0,58\n3,A,tree,oak,,,10,0,30\n4,A,tree,oak,,,100,0,40\n5,A,tree,oak,,,200,0,80\n",
        "",
    );
    let summary = job.map();
    assert_eq!((summary["shots"]["mapped"].clone(), summary["shots"]["repeats"].clone()), (json!(5), json!(0)));
    let flags: Vec<String> = job.layer("features").iter().map(|record| record["flags"].clone()).collect();
    assert_eq!(flags, ["repeats_disagree", "repeats_disagree", "not_one_feature", "not_one_feature", "not_one_feature"]);
    let notes = summary["notes"].to_string();
    assert!(notes.contains("1 feature names, such as \\\"oak\\\", stand for shots to several places"), "{notes}");
}

#[test]
fn one_name_under_two_codes_is_two_features() {
    let job = small("1,A,pole,7,,,90,0,50\n2,A,tree,7,,,180,0,50\n", "");
    let summary = job.map();
    assert_eq!(summary["shots"]["mapped"], json!(2));
    assert_eq!(summary["shots"]["flagged"], json!(0));
}

#[test]
fn shots_stay_apart_where_the_job_says_so() {
    let job = small("1,A,pole,P1,,,90,0,99.9\n2,A,pole,P1,,,90,0,100.1\n", "combine_repeats = false");
    assert_eq!(job.map()["shots"]["mapped"], json!(2));
    assert_eq!(job.layer("features").len(), 2);
}

#[test]
fn two_bases_see_one_point() {
    // B stands 111 m north of A; the pole 100 m east of the middle between them.
    let half = 111.381_8 / 2.0;
    let distance = 100f64.hypot(half);
    let azimuth = (100.0 / half).atan().to_degrees();
    let rows = format!("1,A,pole,P1,,,{azimuth:.4},0,{distance:.3}\n2,B,pole,P1,,,{:.4},0,{distance:.3}\n", 180.0 - azimuth);
    let job = small(&rows, "");
    let summary = job.map();
    assert_eq!((summary["shots"]["mapped"].clone(), summary["shots"]["repeats"].clone()), (json!(1), json!(1)));
    let pole = job.feature("features", "P1");
    // Two independent bases of 0.5 m: the mean is better than either.
    assert!(number(&pole, "sigma_east_m") < 0.45, "{}", pole["sigma_east_m"]);
    let shots: Vec<String> = job.layer("bases").iter().map(|base| base["shots"].clone()).collect();
    assert_eq!(shots, ["1", "1"]);
}

#[test]
fn the_readings_of_one_pull_are_one_point_with_their_spread() {
    let pull = "9,A,bird,,tracking,2026-05-04T08:00:01Z,90,10,100.0\n9,A,bird,,tracking,2026-05-04T08:00:02Z,90,10,100.4\n9,A,bird,,tracking,2026-05-04T08:00:03Z,90,10,100.2\n";
    // Another pull a minute later, a single reading.
    let job = small(&format!("{pull}10,A,bird,,tracking,2026-05-04T08:01:00Z,90,10,130\n"), "");
    let summary = job.map();
    assert_eq!((summary["shots"]["mapped"].clone(), summary["shots"]["repeats"].clone()), (json!(2), json!(2)));
    let birds = job.layer("features");
    assert_eq!(birds.iter().map(|bird| bird["shots_used"].as_str()).collect::<Vec<_>>(), ["3", "1"]);
    assert_near(number(&birds[0], "horizontal_distance_m"), 100.2 * 10f64.to_radians().cos(), 0.01);
    assert!(number(&birds[0], "spread_m") > 0.1);
    // No better than one reading: what is wrong with the first is wrong with the next.
    assert!(number(&birds[0], "sigma_east_m") >= 0.5f64.hypot(0.2 * 10f64.to_radians().cos()) - PRINTED);
}

#[test]
fn attributes_of_a_feature_are_those_of_the_first_row_that_has_them() {
    let job = Small::new(
        "shot,base,feature,true_azimuth_deg,inclination_deg,slope_distance_m,girth\n1,A,T1,90,0,50,\n2,A,T1,90,0,50.1,44\n3,A,T2,90,0,60,12\n",
        "",
        "",
    );
    job.map();
    assert_eq!((job.feature("features", "T1")["girth"].as_str(), job.feature("features", "T2")["girth"].as_str()), ("44", "12"));
}

/// Rows of shots to poles on level ground at some distances (m), each at spots so high over their feet: instrument height 1.5.
fn poles(distances_m: &[f64], targets_m: &[f64]) -> String {
    let mut rows = String::from("shot,base,feature,true_azimuth_deg,inclination_deg,slope_distance_m,target_height_m\n");
    for (pole, distance_m) in distances_m.iter().enumerate() {
        for target_m in targets_m {
            let rise_m = target_m - 1.5;
            let (inclination, slope) = (rise_m.atan2(*distance_m).to_degrees(), distance_m.hypot(rise_m));
            rows += &format!("{},A,P{pole},{},{inclination:.4},{slope:.3},{target_m}\n", rows.lines().count(), 30 * pole);
        }
    }
    rows
}

#[test]
fn shots_to_several_spots_of_one_pole_are_one_feature() {
    let job = Small::new(&poles(&[40.0], &[0.0, 1.6, 1.3]), "", "");
    let summary = job.map();
    assert_eq!((summary["shots"]["mapped"].clone(), summary["shots"]["flagged"].clone()), (json!(1), json!(0)));
    let pole = job.feature("features", "P0");
    assert_eq!((pole["shots_used"].as_str(), pole["shots_aside"].as_str()), ("3", "0"));
    assert_near(number(&pole, "horizontal_distance_m"), 40.0, 1e-3);
    // On the ground of its base; the earth falls by 0.1 mm.
    assert_near(number(&pole, "ellipsoid_height_m"), 60.0, 1e-3);
    // Six poles and four spots, near by and far off, with and without the network.
    let log = poles(&[8.0, 15.0, 25.0, 40.0, 70.0, 110.0], &[0.0, 0.7, 1.6, 4.2]);
    for network in ["", "[network]"] {
        let job = Small::new(&log, "", network);
        let summary = job.map();
        assert_eq!((summary["shots"]["mapped"].clone(), summary["shots"]["flagged"].clone()), (json!(6), json!(0)), "{network}");
        assert!(job.layer("features").iter().all(|pole| pole["shots_used"] == "4"));
    }
}

#[test]
fn a_wrong_target_height_and_a_twig_are_found_among_several_spots() {
    let with = |rows: &str| {
        let job = Small::new(&format!("{}{rows}", poles(&[40.0], &[0.0, 1.6, 1.3])), "", "");
        let summary = job.map();
        (summary["shots"]["flags"].clone(), job.feature("features", "P0")["shots_used"].clone())
    };
    // 0.1 degrees at 40 m are 0.07 m: a spot 0.9 m high booked as 0.8 m is within what the inclination errs by; as 0.3 m it is not.
    let spot =
        |booked_m: f64| format!("9,A,P0,0,{:.4},{:.3},{booked_m}\n", (-0.6f64 / 40.0).atan().to_degrees(), 40f64.hypot(0.6));
    assert_eq!(with(&spot(0.8)), (json!({}), "4".to_owned()));
    assert_eq!(with(&spot(0.3)), (json!({"outlying_shot": 1}), "3".to_owned()));
    // The sight to that spot, stopped by a twig after 25 m.
    let twig = format!("9,A,P0,0,{:.4},25.0,0.9\n", (-0.6f64 / 40.0).atan().to_degrees());
    assert_eq!(with(&twig), (json!({"foreground_hit": 1}), "3".to_owned()));
}

/// Nine shots of an instrument to a feature of its own, 200 m off at 30 degrees, under a calibration whose corrections are known within
/// 0.3 degrees and 0.5 m; `off` says by what those of an instrument are off and what each reading is off by.
fn nine_shots(instruments: usize, mut off: impl FnMut(bool) -> [f64; 2]) -> Small {
    let mut rows = String::from("shot,base,feature,instrument,true_azimuth_deg,inclination_deg,slope_distance_m\n");
    let mut job = String::new();
    for i in 0..instruments {
        let [tilt, length] = off(true);
        job += &format!(
            "[instruments.I{i}]\nsigma_distance_m = 0.2\nsigma_azimuth_deg = 0.5\nsigma_inclination_deg = 0.1\nrefraction = 0.0\n\
             [[instruments.I{i}.calibrations]]\nsigma_inclination_correction_deg = 0.3\nsigma_distance_correction_m = 0.5\n"
        );
        for _ in 0..9 {
            let [own_tilt, own_length] = off(false);
            let (inclination, slope) = (30.0 + tilt + own_tilt, 200.0 + length + own_length);
            rows += &format!("{},A,F{i},I{i},{:.2},{inclination:.5},{slope:.4}\n", rows.lines().count(), 0.36 * i as f64);
        }
    }
    let small = Small::new(&rows, "", &job);
    // Each row names its instrument.
    let text = std::fs::read_to_string(small.folder.path().join("job.toml")).unwrap();
    let (before, rest) = text.split_once("[instrument]\n").unwrap();
    let (_, behind) = rest.split_once("#INSTRUMENT\n").unwrap();
    small.write("job.toml", &format!("{before}{behind}"));
    small
}

#[test]
fn nine_shots_do_not_better_the_corrections_of_their_instrument() {
    let job = nine_shots(1, |_| [0.0; 2]);
    job.map();
    let feature = job.feature("features", "F0");
    assert_eq!(feature["shots_used"], "9");
    // By hand: heights answer to the inclination with 200 cos 30 = 173.205 m a radian and to the distance with sin 30. Whole: 0.3 degrees
    // and 0.5 m; by three: 0.1 degrees and 0.2 m; the base's 1 m.
    let (by_angle, by_length) = (173.205 * 1f64.to_radians(), 0.5);
    let of = |tilt_deg: f64, length_m: f64| (by_angle * tilt_deg).hypot(by_length * length_m);
    assert_near(of(0.3, 0.5), 0.940_7, 1e-4);
    assert_near(number(&feature, "sigma_up_m"), of(0.3, 0.5).hypot(of(0.1, 0.2) / 3.0).hypot(1.0), 1e-3);
}

#[test]
fn intervals_of_heights_hold_what_they_say_under_a_calibration() {
    const INSTRUMENTS: usize = 1000;
    let mut normal = standoff::inside::numeric::monte_carlo::Normal::seeded(77);
    let job = nine_shots(INSTRUMENTS, |of_calibration| {
        let sigmas = if of_calibration { [0.3, 0.5] } else { [0.1, 0.2] };
        sigmas.map(|sigma| sigma * normal.next())
    });
    // A base that is known: what is left are readings and corrections.
    let text = std::fs::read_to_string(job.folder.path().join("job.toml")).unwrap();
    let known = "sigma_horizontal_m = 0.001\nsigma_vertical_m = 0.001";
    job.write("job.toml", &text.replace("sigma_horizontal_m = 0.5\nsigma_vertical_m = 1.0", known));
    job.map();
    let features = job.layer("features");
    assert_eq!(features.len(), INSTRUMENTS);
    // 100 m over the axis, 1.5 m over the base, and what the earth falls over 173 m.
    let height = 60.0 + 1.5 + 100.0 + 173.205f64.powi(2) / 2.0 / 6_378_000.0;
    let inside = features
        .iter()
        .filter(|feature| (number(feature, "ellipsoid_height_m") - height).abs() <= 1.959_964 * number(feature, "sigma_up_m"));
    // 950, and three standard errors of a binomial count, 6.9.
    let inside = inside.count();
    assert!((929..=971).contains(&inside), "{inside} of {INSTRUMENTS}");
}
