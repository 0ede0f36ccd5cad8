//! Faults of single readings: distances, azimuths and inclinations, in every unit.

use crate::common::{BASES, Field, HEAD, Run, good, shot};

/// Heights and distances are printed to 0.1 mm; two of them may be off by half of that each.
const PRINTED_M: f64 = 0.000_11;
/// Directions are printed to a millionth of a degree.
const PRINTED_DEG: f64 = 1.1e-6;
/// A sight of 100 m bends by 0.1 mm and the earth falls away by 0.8 mm under it (curvature and
/// refraction together 0.0675 K² m over K km, general levelling texts); shots of nearly one length
/// share all but a part of it.
const BENT_M: f64 = 0.001;

const STEEP: &str = "the sight is so steep that its azimuth means little";

/// A log with these columns behind base and shot.
fn log(columns: &str, rows: &[&str]) -> Field {
    let rows: String = rows.iter().enumerate().map(|(i, row)| format!("A,{},{row}\n", i + 1)).collect();
    Field::new(format!("base,shot,{columns}\n{rows}"))
}

/// Maps one held row behind a good one: azimuth, inclination, distance.
fn held(azimuth: &str, inclination: &str, distance: &str) -> [String; 6] {
    let row = shot("A", 2, azimuth, inclination, distance);
    let run = Field::new(good(1) + &row).map();
    assert_eq!((run.mapped(), run.held_rows.as_slice()), (1, [row.trim_end().to_owned()].as_slice()));
    run.held[0].clone()
}

#[test]
fn empty_distance_and_its_sentinels() {
    let say = |text: &str| match text {
        "" => "slope_distance_m is empty: no echo came back".to_owned(),
        _ => format!("slope_distance_m \"{text}\" is no reading: no echo came back"),
    };
    let numbers = ["0", "0.0", "0.00", "9999", "9999.0", "99999", "-999", "-999.25"];
    for text in ["", "---", "NaN", "NAN", "n/a", "NA", "1.#QNAN", "null"].into_iter().chain(numbers) {
        assert_eq!(held("10.5", "0", text), ["shots.csv", "3", "no_distance", "slope_distance_m", text, &say(text)]);
    }
    // In feet, too, the number is what was written.
    let run = log("true_azimuth_deg,horizontal_distance_ft", &["10,9999", "10,328.1"]).map();
    let say = "horizontal_distance_ft \"9999\" is no reading: no echo came back";
    assert_eq!(run.held, [["shots.csv", "2", "no_distance", "horizontal_distance_ft", "9999", say]]);
}

#[test]
fn sentinels_of_a_log_are_declared_in_the_job() {
    // Without a word about it 8888 is a distance.
    let rows = good(1) + &shot("A", 5, "9", "0", "8888");
    assert_eq!(Field::new(&rows).map().mapped(), 2);
    let run = Field::new(&rows).with("SHOTS", "no_reading = [\"8888\"]").map();
    let say = "slope_distance_m \"8888\" is no reading: no echo came back";
    assert_eq!(run.held, [["shots.csv", "3", "no_distance", "slope_distance_m", "8888", say]]);
}

#[test]
fn distance_that_is_no_number() {
    for text in ["far", "45.2.7", "12 m", "1e999", "inf", "0x20"] {
        let say = format!("slope_distance_m \"{text}\" is not a number");
        assert_eq!(held("10.5", "0", text), ["shots.csv", "3", "not_a_number", "slope_distance_m", text, &say]);
    }
}

#[test]
fn negative_distance() {
    let say = "slope_distance_m -20.5 is not above zero; a sign never means \"behind\"";
    assert_eq!(held("10.5", "0", "-20.5"), ["shots.csv", "3", "distance_not_positive", "slope_distance_m", "-20.5", say]);
}

#[test]
fn distance_out_of_the_range_of_the_instrument() {
    let rows = ["4.99", "5", "700", "700.01"].map(|distance| shot("A", 1, "9", "0", distance)).concat();
    let of = |limits: &str| Field::new(HEAD.to_owned() + &rows).with("INSTRUMENT", limits).map().held;
    let row = |line: &str, value: &str, measures: &str| {
        let say = format!("slope_distance_m {value} is {value} m; the instrument measures {measures}");
        ["shots.csv", line, "distance_range", "slope_distance_m", value, &say].map(str::to_owned)
    };
    let (short, far) = (|measures| row("2", "4.99", measures), |measures| row("5", "700.01", measures));
    assert_eq!(of("least_distance_m = 5\ngreatest_distance_m = 700"), [short("5 to 700 m"), far("5 to 700 m")]);
    assert_eq!(of("greatest_distance_m = 700"), [far("up to 700 m")]);
    assert_eq!(of("least_distance_m = 5"), [short("5 m and more")]);
    // The range is in metres, whatever the log is in: 2300 ft are 701.04 m.
    let field = log("true_azimuth_deg,horizontal_distance_ft", &["10,2300", "10,2290"]);
    let say = "horizontal_distance_ft 2300 is 701.04 m; the instrument measures up to 700 m";
    assert_eq!(
        field.with("INSTRUMENT", "greatest_distance_m = 700").map().held,
        [["shots.csv", "2", "distance_range", "horizontal_distance_ft", "2300", say]]
    );
}

#[test]
fn distance_that_is_already_horizontal() {
    // Four standard errors of 0.2 m on two distances, and the inclination's part, are allowed.
    let columns = "true_azimuth_deg,inclination_deg,slope_distance_m,horizontal_distance_m";
    let run = log(columns, &["10,60,100,50", "11,60,100,50.9", "12,60,100,100", "13,-60,100,47", "14,60,,50"]).map();
    let say =
        |read: &str| format!("horizontal_distance_m is {read} m, but 50.00 m follow from the slope distance and the inclination");
    assert_eq!(
        run.held,
        [
            ["shots.csv", "4", "distances_disagree", "horizontal_distance_m", "100", &say("100.00")],
            ["shots.csv", "5", "distances_disagree", "horizontal_distance_m", "47", &say("47.00")],
        ]
    );
    assert_eq!(run.held_rows, ["A,3,12,60,100,100", "A,4,13,-60,100,47"]);
    assert_eq!(run.mapped(), 3);
}

#[test]
fn distance_that_is_already_vertical() {
    let columns = "true_azimuth_deg,inclination_deg,slope_distance_m,vertical_distance_m";
    let run = log(columns, &["10,30,100,50", "11,30,100,100", "12,30,100,-50"]).map();
    let say =
        |read: &str| format!("vertical_distance_m is {read} m, but 50.00 m follow from the slope distance and the inclination");
    assert_eq!(
        run.held,
        [
            ["shots.csv", "3", "distances_disagree", "vertical_distance_m", "100", &say("100.00")],
            ["shots.csv", "4", "distances_disagree", "vertical_distance_m", "-50", &say("-50.00")],
        ]
    );
    let columns = "true_azimuth_deg,slope_distance_m,horizontal_distance_m,vertical_distance_m";
    let run = log(columns, &["10,50,40,30", "11,40,40,30"]).map();
    let say = "slope_distance_m is 40.00 m, but 50.00 m follow from the horizontal and the vertical distance";
    assert_eq!(run.held, [["shots.csv", "3", "distances_disagree", "slope_distance_m", "40", say]]);
}

#[test]
fn feet_among_metres() {
    let columns = "true_azimuth_deg,inclination_deg,slope_distance_m,horizontal_distance_m";
    let run = log(columns, &["12,0,328.08,100", "13,0,100,328.08"]).map();
    let say = |read: &str, follows: &str| {
        format!(
            "horizontal_distance_m is {read} m, but {follows} m follow from the slope distance and the inclination; is one of them \
             in feet?"
        )
    };
    assert_eq!(
        run.held,
        [
            ["shots.csv", "2", "distances_disagree", "horizontal_distance_m", "100", &say("100.00", "328.08")],
            ["shots.csv", "3", "distances_disagree", "horizontal_distance_m", "328.08", &say("328.08", "100.00")],
        ]
    );
}

#[test]
fn distances_in_feet_survey_feet_and_yards() {
    // 0.3048 m, 1200/3937 m and 0.9144 m by definition; 100 m in each, printed to 0.1 mm.
    for (unit, text) in [("m", "100"), ("ft", "328.0839895"), ("usft", "328.0833333"), ("yd", "109.3613298")] {
        let run = log(&format!("true_azimuth_deg,horizontal_distance_{unit}"), &[&format!("90,{text}")]).map();
        assert_eq!(run.column("horizontal_distance_m"), ["100"], "{unit}");
    }
}

#[test]
fn horizontal_distance_and_azimuth_alone_give_no_height() {
    let mut field = log("true_azimuth_deg,horizontal_distance_m", &["90,100", "0,50"]);
    field.job = field.job.replace("[\"csv\"]", "[\"csv\", \"geojson\"]");
    let run = field.map();
    for field in ["ellipsoid_height_m", "orthometric_height_m", "geoid_undulation_m", "sigma_up_m", "sigma_geoid_m", "height95_m"]
    {
        assert_eq!(run.column(field), ["", ""], "{field}");
    }
    assert_eq!((run.column("height_kind"), &run.summary["shots"]["without_height"]), (vec!["none", "none"], &2.into()));
    let said = String::from_utf8_lossy(&run.output.stdout);
    assert!(said.contains("\n  2 mapped without a height: nothing vertical was measured\n"), "{said}");
    // Two-dimensional points where the format allows.
    let text = std::fs::read_to_string(field.path("t-layers/geojson/t.features.geojson")).unwrap();
    let collection: serde_json::Value = serde_json::from_str(&text).unwrap();
    for feature in collection["features"].as_array().unwrap() {
        assert_eq!(feature["geometry"]["coordinates"].as_array().unwrap().len(), 2);
    }
    // East goes by the sine, north by the cosine: 90 degrees moves a shot east, 0 degrees north.
    assert_eq!(run.column("true_azimuth_deg"), ["90", "0"]);
    let at = |record: &std::collections::BTreeMap<String, String>| -> [f64; 2] {
        ["lon_deg", "lat_deg"].map(|field| record[field].parse().unwrap())
    };
    let (base, east, north) = (at(&run.bases[0]), at(&run.features[0]), at(&run.features[1]));
    assert!(east[0] > base[0] && north[1] > base[1] && north[0] == base[0], "{base:?} {east:?} {north:?}");
}

#[test]
fn one_shot_without_an_inclination_among_others_gets_no_height() {
    let columns = "true_azimuth_deg,inclination_deg,horizontal_distance_m";
    let run = log(columns, &["90,0,100", "91,,100", "92,---,100", "93,9999,100"]).map();
    assert_eq!(run.column("height_kind"), ["ellipsoidal", "none", "none", "none"]);
    let heights = run.column("ellipsoid_height_m");
    assert!(!heights[0].is_empty());
    assert_eq!(heights[1..], ["", "", ""]);
}

#[test]
fn slope_distance_without_an_inclination() {
    let say = "the slope distance has neither an inclination nor a vertical distance beside it";
    assert_eq!(held("10.5", "", "20"), ["shots.csv", "3", "no_inclination", "inclination_deg", "", say]);
}

#[test]
fn slope_distance_with_an_inclination_that_stands_for_no_reading() {
    let say = "the slope distance has neither an inclination nor a vertical distance beside it";
    for text in ["---", "NaN", "9999"] {
        assert_eq!(held("10.5", text, "20"), ["shots.csv", "3", "no_inclination", "inclination_deg", text, say]);
    }
}

#[test]
fn inclination_as_percent_zenith_angle_gon_or_mil() {
    // 20 % is 11.31 degrees: of 100 m, 98.058 m along (100 / √1.04) and a fifth of that up.
    let along = 100.0 / 1.04f64.sqrt();
    for (column, values) in [
        ("inclination_deg", ["0", "11.309932", "-11.309932"]),
        ("inclination_pct", ["0", "20", "-20"]),
        ("inclination_gon", ["0", "12.566591", "-12.566591"]),
        ("inclination_mil", ["0", "201.06546", "-201.06546"]),
        ("zenith_deg", ["90", "78.690068", "101.309932"]),
        ("zenith_gon", ["100", "87.433409", "112.566591"]),
        ("zenith_mil", ["1600", "1398.93454", "1801.06546"]),
        // The second face of a circle counts on past half a turn.
        ("zenith_deg", ["270", "281.309932", "258.690068"]),
    ] {
        let rows = values.map(|value| format!("10,{value},100"));
        let run = log(&format!("true_azimuth_deg,{column},slope_distance_m"), &rows.each_ref().map(String::as_str)).map();
        let (heights, lengths) = (run.numbers("ellipsoid_height_m"), run.numbers("horizontal_distance_m"));
        for (i, (up, length)) in [(0.0, 100.0), (0.2 * along, along), (-0.2 * along, along)].into_iter().enumerate() {
            assert!((heights[i] - heights[0] - up).abs() < BENT_M, "{column}: {heights:?}");
            assert!((lengths[i] - length).abs() < BENT_M, "{column}: {lengths:?}");
        }
    }
}

#[test]
fn inclination_beyond_the_upright() {
    let other = "; a zenith angle is read as zenith_deg, a slope in percent as inclination_pct";
    for (text, hint) in [("90.1", other), ("120", other), ("-90.1", ""), ("200", "")] {
        let say = format!("inclination_deg {text} is outside -90 to 90 degrees{hint}");
        assert_eq!(held("10.5", text, "20"), ["shots.csv", "3", "inclination_range", "inclination_deg", text, &say]);
    }
    for (column, text, say) in [
        ("inclination_gon", "-101", "inclination_gon -101 is outside -100 to 100 gons"),
        ("inclination_mil", "1601", &format!("inclination_mil 1601 is outside -1600 to 1600 mils{other}")),
    ] {
        let run = log(&format!("true_azimuth_deg,{column},slope_distance_m"), &[&format!("10,{text},100")]).map();
        assert_eq!(run.held, [["shots.csv", "2", "inclination_range", column, text, say]]);
    }
    // A slope in percent has no end.
    let run = log("true_azimuth_deg,inclination_pct,slope_distance_m", &["10,150,100", "10,-400,100"]).map();
    assert_eq!(run.mapped(), 2);
}

#[test]
fn zenith_angle_out_of_its_circle() {
    for (column, text, say) in [
        ("zenith_deg", "-10", "zenith_deg -10 is outside 0 to 360 degrees"),
        ("zenith_deg", "361", "zenith_deg 361 is outside 0 to 360 degrees"),
        ("zenith_gon", "401", "zenith_gon 401 is outside 0 to 400 gons"),
    ] {
        let run = log(&format!("true_azimuth_deg,{column},slope_distance_m"), &[&format!("10,{text},100")]).map();
        assert_eq!(run.held, [["shots.csv", "2", "inclination_range", column, text, say]]);
    }
}

#[test]
fn a_whole_column_of_zenith_angles_is_asked_about() {
    // Held beyond 90, flagged as steep below: neither says it as plainly as the note.
    let rows: Vec<String> = (0..10).map(|i| format!("{i},{}.5,100", 85 + i)).collect();
    let rows: Vec<&str> = rows.iter().map(String::as_str).collect();
    let run = log("true_azimuth_deg,inclination_deg,slope_distance_m", &rows).map();
    assert_eq!((run.mapped(), run.summary["shots"]["flags"]["steep"].as_u64()), (5, Some(5)));
    let note = "Most inclinations lie near 90 degrees or beyond: if the instrument shows zenith angles (90 is level), claim the column \
                as zenith_deg.";
    assert_eq!(run.summary["notes"], serde_json::json!([note]));
    // One such row proves nothing.
    let run = log("true_azimuth_deg,inclination_deg,slope_distance_m", &["10,88,50", "11,1,50", "12,2,50"]).map();
    assert_eq!(run.summary["notes"], serde_json::json!([]));
}

#[test]
fn azimuth_360_0_negative_and_over_360() {
    for text in ["-5", "-0.1", "360.1", "371.4"] {
        let say = format!("true_azimuth_deg {text} is outside 0 to 360 degrees");
        assert_eq!(held(text, "0", "20"), ["shots.csv", "3", "azimuth_range", "true_azimuth_deg", text, &say]);
    }
    let run = log("true_azimuth_deg,horizontal_distance_m", &["360,20", "0,21", "0.0,22", "359.9999,23"]).map();
    assert_eq!(run.column("true_azimuth_deg"), ["0", "0", "0", "359.9999"]);
    for (column, text, say) in [
        ("true_azimuth_gon", "401", "true_azimuth_gon 401 is outside 0 to 400 gons"),
        ("true_azimuth_mil", "6401", "true_azimuth_mil 6401 is outside 0 to 6400 mils"),
    ] {
        let run = log(&format!("{column},horizontal_distance_m"), &[&format!("{text},20"), "100,20"]).map();
        assert_eq!(run.held, [["shots.csv", "2", "azimuth_range", column, text, say]]);
    }
}

#[test]
fn azimuth_that_was_not_read() {
    for text in ["", "---", "NaN", "9999", "-999"] {
        let say = match text {
            "" => "true_azimuth_deg is empty: the shot has no direction".to_owned(),
            _ => format!("true_azimuth_deg \"{text}\" is no reading: the shot has no direction"),
        };
        assert_eq!(held(text, "0", "20"), ["shots.csv", "3", "no_azimuth", "true_azimuth_deg", text, &say]);
    }
    let say = "true_azimuth_deg \"NNE\" is not a number";
    assert_eq!(held("NNE", "0", "20"), ["shots.csv", "3", "not_a_number", "true_azimuth_deg", "NNE", say]);
}

#[test]
fn azimuth_in_gon_or_mil() {
    for (unit, rows) in [("deg", ["45,20", "270,20"]), ("gon", ["50,20", "300,20"]), ("mil", ["800,20", "4800,20"])] {
        let azimuths = log(&format!("true_azimuth_{unit},horizontal_distance_m"), &rows).map().numbers("true_azimuth_deg");
        assert!((azimuths[0] - 45.0).abs() < PRINTED_DEG && (azimuths[1] - 270.0).abs() < PRINTED_DEG, "{unit} {azimuths:?}");
    }
}

/// A run of shots with one azimuth and distances that change, between others; it begins on line 5.
fn frozen(count: u32) -> String {
    let same: String = (11..11 + count).map(|id| shot("A", id, "76.7", "0", &format!("{}", 10 + id))).collect();
    good(3) + &same + &shot("A", 40, "80.5", "0", "20")
}

/// Lines flagged for azimuths that repeat, and for nothing else.
fn frozen_lines(run: &Run) -> Vec<&str> {
    let sentence = "the azimuth repeats exactly over many shots while distances change: was the compass frozen?";
    let line = |row: [&'_ str; 4]| assert_eq!(row[2..], ["azimuth_repeats", sentence]);
    run.flagged().into_iter().for_each(line);
    run.flagged().into_iter().map(|row| row[1]).collect()
}

#[test]
fn azimuth_constant_across_many_shots() {
    let run = Field::new(frozen(7)).map();
    assert_eq!(frozen_lines(&run), ["5", "6", "7", "8", "9", "10", "11"]);
    assert_eq!(run.mapped(), 11, "flagged, not held");
    assert_eq!(frozen_lines(&Field::new(frozen(6)).map()).len(), 6);
    assert!(frozen_lines(&Field::new(frozen(5)).map()).is_empty());
    for (repeats, flagged) in [(8, 0), (7, 7), (3, 7), (0, 0)] {
        let mut field = Field::new(frozen(7));
        field.job += &format!("[checks]\nazimuth_repeats = {repeats}\n");
        assert_eq!(frozen_lines(&field.map()).len(), flagged, "a limit of {repeats}");
    }
    // From two bases in turn it is no run.
    let base = |id: u32| if id.is_multiple_of(2) { "A" } else { "B" };
    let turns: String = (1..=10).map(|id| shot(base(id), id, "76.7", "0", &format!("{}", 10 + id))).collect();
    assert!(frozen_lines(&Field::new(HEAD.to_owned() + &turns).map()).is_empty());
    // Rows held in between have no say.
    let gap = frozen(7).replacen("76.7,0,23,", "76.7,0,---,", 1);
    assert_eq!(frozen_lines(&Field::new(gap).map()), ["5", "6", "8", "9", "10", "11"]);
}

#[test]
fn steep_shots() {
    let columns = "true_azimuth_deg,inclination_deg,slope_distance_m";
    let rows = ["10.5,79.9,20", "11.5,80.1,20", "12.5,-85,20", "13.5,90,20"];
    let run = log(columns, &rows).map();
    assert_eq!(run.flagged(), ["3", "4", "5"].map(|line| ["shots.csv", line, "steep", STEEP]));
    // The height is kept: straight up it is the base's, the instrument's 1.5 m and the distance.
    let up = run.numbers("ellipsoid_height_m")[3];
    assert!((up - (512.3 + 1.5 + 20.0)).abs() < PRINTED_M, "{up}");
    let mut field = log(columns, &rows);
    field.job += "[checks]\nsteep_deg = 86\n";
    assert_eq!(field.map().flagged(), [["shots.csv", "5", "steep", STEEP]]);
}

#[test]
fn steep_shots_by_their_vertical_distance() {
    // No inclination was logged, but 19.9 m up on a slope of 20 m is 84 degrees, and as much over 2 m too.
    for (columns, rows) in [
        ("true_azimuth_deg,slope_distance_m,vertical_distance_m", ["10,20,19.9", "10,20,10"]),
        ("true_azimuth_deg,horizontal_distance_m,vertical_distance_m", ["10,2,-19.9", "10,20,10"]),
    ] {
        assert_eq!(log(columns, &rows).map().flagged(), [["shots.csv", "2", "steep", STEEP]]);
    }
}

#[test]
fn spreadsheet_damage_to_ids() {
    let sentence = "the name looks like a date or a rounded number: did a spreadsheet rewrite it?";
    let rows = ["3-Dec,", "Mar-12,", "1.2E+15,", "4,12-may", "3-12,N07"].map(|names| format!("A,{names},10,20\n"));
    let run = Field::new(format!("base,shot,feature,true_azimuth_deg,horizontal_distance_m\n{}", rows.concat())).map();
    assert_eq!(run.flagged(), ["2", "3", "4", "5"].map(|line| ["shots.csv", line, "damaged_id", sentence]));
    assert_eq!(run.column("shot"), ["3-Dec", "Mar-12", "1.2E+15", "4", "3-12"], "reported, not mended");
    // A base's name, too.
    let field = Field::new("base,shot,true_azimuth_deg,horizontal_distance_m\n3-Dec,1,10,20\n");
    field.write("bases.csv", BASES.replace("A,", "3-Dec,"));
    assert_eq!(field.map().flagged(), [["bases.csv", "2", "damaged_id", sentence]]);
}
