//! Decimal signs and thousands separators: decided where the values tell, asked for where they do not.

use crate::common::{Field, Run, good, shot};

const FEET_M: f64 = 0.3048;
/// Layers have four decimals.
const PRINTED_M: f64 = 0.0001;

/// One of the forms of the same four distances: 804, 1204, 1310 and 640 in the unit of the header.
fn form(text: &str) -> Field {
    let field = Field::new(text);
    field.write("bases.csv", include_str!("forms/bases.csv"));
    Field { job: field.job.replace("EPSG:32632", "EPSG:32616"), ..field }
}

/// Slope distances, from the horizontal distance and the inclination of the log.
fn slopes(run: &Run, inclinations_deg: &[f64]) -> Vec<f64> {
    run.numbers("horizontal_distance_m")
        .iter()
        .zip(inclinations_deg)
        .map(|(horizontal, deg)| horizontal / deg.to_radians().cos())
        .collect()
}

fn assert_near(got: &[f64], wanted: &[f64], within: f64) {
    assert_eq!(got.len(), wanted.len(), "{got:?}");
    for (got, wanted) in got.iter().zip(wanted) {
        // Curvature and refraction move a sight of 400 m by less than its hundredth.
        assert!((got - wanted).abs() < within, "{got} {wanted}");
    }
}

const BENT_M: f64 = 0.02;

#[test]
fn groups_of_three_digits_alone_are_asked_for_and_each_answer_is_taken() {
    let forms = [
        (include_str!("forms/thousands_comma.csv"), ",", FEET_M),
        (include_str!("forms/thousands_semicolon.csv"), ",", FEET_M),
        (include_str!("forms/thousands_tab.txt"), ",", FEET_M),
        (include_str!("forms/point_or_thousands.csv"), ".", 1.0),
    ];
    for (text, sign, unit_m) in forms {
        let (header, name) = if unit_m < 1.0 { ("slope_distance_ft", "comma") } else { ("slope_distance_m", "point") };
        let say = format!(
            "./shots.csv:3: \"{header}\" is \"1{sign}204\": the {name} before three digits may part the thousands (1204) or begin the \
             decimals (1.204), and no other value of the file tells; write thousands = \"{sign}\" or decimal = \"{sign}\" under [shots]"
        );
        assert_eq!(form(text).refusal(), say);
        let values: Vec<f64> =
            [804.0, 1204.0, 1310.0, 640.0][..text.lines().count() - 1].iter().map(|value| value * unit_m).collect();
        let run = form(text).with("SHOTS", &format!("thousands = \"{sign}\"")).map();
        assert_near(&slopes(&run, &[0.0, 0.0, 1.0, 0.0]), &values, BENT_M);
        assert_eq!(run.input("shots.csv")["thousands"], sign);
        let run = form(text).with("SHOTS", &format!("decimal = \"{sign}\"")).map();
        assert_near(&slopes(&run, &[0.0, 0.0, 1.0, 0.0])[1..2], &[1.204 * unit_m], PRINTED_M);
    }
}

#[test]
fn one_value_with_both_signs_decides_for_its_column() {
    let run = form(include_str!("forms/thousands_and_point.txt")).map();
    assert_near(&slopes(&run, &[0.1, 0.0, 1.0]), &[804.2 * FEET_M, 1204.6 * FEET_M, 1310.0 * FEET_M], BENT_M);
    let input = run.input("shots.csv");
    assert_eq!((&input["decimal"], &input["thousands"]), (&".".into(), &",".into()));
    let column = &input["columns"][0];
    assert_eq!((&column["column"], &column["line"]), (&"slope_distance_ft".into(), &3.into()));
    let said = String::from_utf8(run.output.stdout.clone()).unwrap();
    assert!(
        said.contains(
            "reads    shots.csv: separator a tab, decimal point, thousands parted by a comma; \
             thousands parted by a comma in \"slope_distance_ft\" (1,204.6 in line 3)"
        ),
        "{said}"
    );
}

#[test]
fn columns_of_one_log_may_have_different_signs() {
    // The girth was typed by one, the distance by another.
    let log = "base;shot;true_azimuth_deg;horizontal_distance_m;girth\nA;1;10;18,8;34.1\nA;2;11;25,6;9.25\n";
    let run = Field::new(log).map();
    assert_near(&run.numbers("horizontal_distance_m"), &[18.8, 25.6], PRINTED_M);
    assert_eq!((run.column("girth"), run.types["girth"].as_str()), (vec!["34.1", "9.25"], "Real"));
    assert_eq!(run.input("shots.csv")["decimal"], ",");
    assert_eq!(run.input("shots.csv")["columns"][0]["column"], "girth");
}

#[test]
fn the_signs_of_other_columns_decide_where_they_agree() {
    // Angles have decimal points, and whole numbers below 1000 stand beside the groups of three.
    let log = "base;shot;true_azimuth_deg;horizontal_distance_m\nA;1;10.5;804\nA;2;11.5;1,204\n";
    assert_near(&Field::new(log).map().numbers("horizontal_distance_m"), &[804.0, 1204.0], PRINTED_M);
    // Three decimals in every value, of a file whose decimal sign is the same.
    let log = "base;shot;true_azimuth_deg;horizontal_distance_m\nA;1;10,5;80,125\nA;2;11,25;120,500\n";
    assert_near(&Field::new(log).map().numbers("horizontal_distance_m"), &[80.125, 120.5], PRINTED_M);
    // An angle of three decimals is no angle in the thousands.
    let log = "base;shot;true_azimuth_deg;horizontal_distance_m\nA;1;101,125;80,125\nA;2;11,250;120,500\n";
    assert_near(&Field::new(log).map().numbers("horizontal_distance_m"), &[80.125, 120.5], PRINTED_M);
}

#[test]
fn a_value_at_the_end_of_a_long_log_decides_too() {
    let rows: String = (1..900).map(|i| format!("A;{i};{};{}\n", i % 360, 100 + i % 800)).collect();
    let log = |last: &str| format!("base;shot;true_azimuth_deg;horizontal_distance_m\n{rows}A;900;10;1,204\nA;901;11;{last}\n");
    assert!(Field::new(log("640")).refusal().contains("./shots.csv:901: \"horizontal_distance_m\" is \"1,204\""));
    let run = Field::new(log("1,264.5")).map();
    assert_near(&run.numbers("horizontal_distance_m")[899..], &[1204.0, 1264.5], PRINTED_M);
    let run = Field::new(log("640,25")).map();
    assert_near(&run.numbers("horizontal_distance_m")[899..], &[1.204, 640.25], PRINTED_M);
}

#[test]
fn blanks_and_apostrophes_between_thousands() {
    let log = "base;shot;true_azimuth_deg;horizontal_distance_m\nA;1;10;1 204,5\nA;2;11;1\u{a0}310,25\nA;3;11;640,125\n";
    assert_near(&Field::new(log).map().numbers("horizontal_distance_m"), &[1204.5, 1310.25, 640.125], PRINTED_M);
    let log = "base;shot;true_azimuth_deg;horizontal_distance_m\nA;1;10;1'204.5\nA;2;11;1'310\n";
    let run = Field::new(log).map();
    assert_near(&run.numbers("horizontal_distance_m"), &[1204.5, 1310.0], PRINTED_M);
    assert_eq!(run.input("shots.csv")["thousands"], "'");
}

#[test]
fn a_sign_in_the_wrong_place_says_which_sign_stands_where() {
    let log = good(3).replace(',', ";") + &shot("A", 9, "10.5", "0", "1,26.5").replace(',', ";").replace("1;26.5", "1,26.5");
    let say = "slope_distance_m \"1,26.5\" is not a number; the decimal sign of the column is a point, and a sign between thousands \
               stands before three digits each";
    assert_eq!(Field::new(log).map().held, [["shots.csv", "5", "not_a_number", "slope_distance_m", "1,26.5", say]]);
}

#[test]
fn keys_that_contradict_are_refused() {
    let of = |keys: &str| Field::new(good(1)).with("SHOTS", keys).refusal();
    assert_eq!(of("thousands = \"x\""), "./shots.csv:1: thousands = \"x\": write \",\" \".\" \" \" or \"'\"");
    assert_eq!(
        of("thousands = \".\"\ndecimal = \".\""),
        "./shots.csv:1: decimal and thousands are both \".\"; change one of them"
    );
}
