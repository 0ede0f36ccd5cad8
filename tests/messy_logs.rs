//! What goes wrong in field logs, each named after what breaks: run through the program, and every
//! row accounted for. All values are invented.

#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used)]

mod fieldwork;

use fieldwork::{BASES, Field, HEAD, good, shot};

fn utf16(text: &str, little: bool) -> Vec<u8> {
    text.encode_utf16().flat_map(|unit| if little { unit.to_le_bytes() } else { unit.to_be_bytes() }).collect()
}

#[test]
fn utf8_byte_order_mark() {
    let field = Field::new([b"\xef\xbb\xbf".as_slice(), good(3).as_bytes()].concat());
    assert_eq!(field.map().mapped(), 3);
}

#[test]
fn utf16_with_and_without_byte_order_mark() {
    let log = good(5);
    for bytes in [
        utf16(&log, true),
        utf16(&log, false),
        [vec![0xff, 0xfe], utf16(&log, true)].concat(),
        [vec![0xfe, 0xff], utf16(&log, false)].concat(),
    ] {
        let run = Field::new(bytes).map();
        assert_eq!(run.mapped(), 5);
    }
}

#[test]
fn old_code_page_keeps_its_letters() {
    let log = format!("{HEAD}{}", shot("A", 1, "10", "0", "20")).replace(",x\n", ",caf\u{e9} 5\u{b0}\n");
    let latin1: Vec<u8> = log.chars().map(|c| c as u8).collect();
    let run = Field::new(latin1).map();
    assert_eq!(run.column("note"), ["café 5°"]);
    assert_eq!(run.summary["inputs"][1]["encoding"], "windows-1252");
}

#[test]
fn semicolon_tab_or_pipe_separator() {
    for separator in [";", "\t", "|"] {
        let run = Field::new(good(4).replace(',', separator)).map();
        assert_eq!(run.mapped(), 4);
        assert_eq!(run.summary["inputs"][1]["separator"], separator);
    }
}

#[test]
fn decimal_comma() {
    let run = Field::new(good(4).replace(',', ";").replace('.', ",")).map();
    assert_eq!((run.mapped(), run.summary["inputs"][1]["decimal"].as_str()), (4, Some(",")));
    assert_eq!(run.column("true_azimuth_deg"), ["1.5", "2.5", "3.5", "4.5"]);
    let mixed = good(2).replace(',', ";").replace('.', ",") + "A;3;2026-05-04T09:00:00Z;10.5;0;20,5;x\n";
    let run = Field::new(mixed).map();
    assert_eq!(run.held_short(), [(4, "not_a_number", "true_azimuth_deg", "10.5")]);
    assert_eq!(run.sentence(0), "true_azimuth_deg \"10.5\" is not a number; the file's decimal sign is a comma");
    let refused = Field::new(good(1)).with("SHOTS", "decimal = \",\"").refusal();
    assert_eq!(refused, "./shots.csv:1: the decimal sign and the separator are both a comma; name the separator in the job");
}

#[test]
fn crlf_blank_lines_and_comments() {
    let log = good(3).replace('\n', "\r\n") + "\r\n# wind rising\r\n,,,,,,\r\n" + &shot("B", 9, "5", "1", "30");
    let run = Field::new(log).map();
    assert_eq!(run.mapped(), 4);
    let input = &run.summary["inputs"][1];
    assert_eq!((input["blank_lines"].as_u64(), input["comment_lines"].as_u64()), (Some(2), Some(1)));
    assert_eq!(run.column("source_line"), ["2", "3", "4", "8"]);
    assert_eq!(run.column("note"), ["x", "x", "x", "x"], "no carriage return in a value");
}

#[test]
fn quoted_fields_and_inch_marks() {
    let log = HEAD.to_owned()
        + "A,1,2026-05-04T08:00:01Z,10,0,20,\"by the gate, left\"\nA,2,2026-05-04T08:00:02Z,10,0,21,5' 10\"\nA,3,2026-05-04T08:00:03Z,10,0,22,\"two\nlines\"\nA,4,2026-05-04T08:00:04Z,10,0,23,\"said \"\"here\"\"\"\n";
    let run = Field::new(log).map();
    assert_eq!(run.column("note"), ["by the gate, left", "5' 10\"", "two\nlines", "said \"here\""]);
    assert_eq!(run.column("source_line"), ["2", "3", "4", "6"]);
}

#[test]
fn unclosed_quote_costs_its_own_row() {
    let mut log = HEAD.to_owned() + "A,1,2026-05-04T08:00:01Z,10,0,20,\"never closed\n";
    (2..40).for_each(|id| log += &shot("A", id, "11.5", "0", &id.to_string()));
    let run = Field::new(log).map();
    assert_eq!(run.held_short(), [(2, "unclosed_quote", "", "")]);
    assert_eq!(run.mapped(), 38);
}

#[test]
fn units_row_under_the_header() {
    let units = ",,,deg,deg,m,\n";
    let run = Field::new(good(3).replacen(HEAD, &format!("{HEAD}{units}"), 1)).map();
    assert_eq!((run.mapped(), run.summary["inputs"][1]["units_lines"].as_u64()), (3, Some(1)));
    let refused = Field::new(good(3).replacen(HEAD, &format!("{HEAD}{}", units.replace(",m,", ",ft,")), 1)).refusal();
    assert_eq!(
        refused,
        "./shots.csv:2: the units line says \"ft\" for \"slope_distance_m\", but the job reads it as slope_distance_m; claim it with the unit it has"
    );
}

#[test]
fn header_repeated_mid_file() {
    let run = Field::new(good(3) + "\u{feff}" + HEAD + &shot("B", 1, "5", "0", "9")).map();
    assert_eq!((run.mapped(), run.summary["inputs"][1]["repeated_headers"].as_u64()), (4, Some(1)));
    let other = "shot,base,time,true_azimuth_deg,inclination_deg,slope_distance_m,note\n";
    let refused = Field::new(good(3) + other + "1,B,2026-05-04T08:00:01Z,5,0,9,x\n").refusal();
    assert_eq!(
        refused,
        "./shots.csv:5: the header stands here again with its columns in another order; split the file at this line"
    );
}

#[test]
fn duplicate_or_blank_column_names() {
    let refused = Field::new(good(1).replacen("note", "shot", 1)).refusal();
    assert_eq!(refused, "./shots.csv:1: columns 2 and 7 are both named \"shot\"; give each its own name");
    let refused = Field::new(good(1).replacen(",shot,", ",,", 1)).refusal();
    assert_eq!(refused, "./shots.csv:1: column 2 has no name; name every column");
}

#[test]
fn rows_with_fewer_or_more_fields() {
    let run = Field::new(
        good(2) + "A,3,2026-05-04T09:00:00Z,10,0\n" + "A,4,2026-05-04T09:00:01Z,10,0,20,x,more\n" + &shot("A", 5, "9", "0", "20"),
    )
    .map();
    assert_eq!(run.held_short(), [(4, "field_count", "", ""), (5, "field_count", "", "")]);
    assert_eq!([run.sentence(0), run.sentence(1)], ["the row has 5 fields, the header 7", "the row has 8 fields, the header 7"]);
    assert_eq!(run.mapped(), 3);
}

#[test]
fn truncated_last_line_that_still_parses() {
    // The distance 45.27 cut to 45.2.
    let head = "base,shot,time,true_azimuth_deg,inclination_deg,slope_distance_m\n";
    let run = Field::new(format!("{head}A,1,2026-05-04T08:00:01Z,10,0,44.13\nA,2,2026-05-04T08:00:02Z,11,0,45.2")).map();
    assert_eq!(run.held_short(), [(3, "cut_last_line", "slope_distance_m", "45.2")]);
    assert_eq!(run.mapped(), 1);
    // Where the last field is a remark, nothing measured can be cut.
    let log = good(2);
    let run = Field::new(log.trim_end()).map();
    assert_eq!((run.mapped(), run.flags()), (2, [("no_line_end".to_owned(), 1)].into()));
}

#[test]
fn missing_base_and_base_that_was_held() {
    let field =
        Field::new(good(1) + &shot("C", 2, "9", "0", "20") + &shot("", 3, "9", "0", "20") + &shot("D", 4, "9", "0", "20"));
    field.write("bases.csv", BASES.to_owned() + "D,46.1,8.9,\n");
    let run = field.map();
    assert_eq!(
        run.held_short(),
        [
            (4, "no_height", "ellipsoid_height_m", ""),
            (3, "unknown_base", "base", "C"),
            (4, "no_base", "base", ""),
            (5, "base_held", "base", "D"),
        ]
    );
    assert_eq!(run.sentence(3), "base D was held: ellipsoid_height_m is empty: the base has no height");
}

#[test]
fn two_positions_under_one_base_name() {
    let field = Field::new(good(1) + &shot("B", 2, "9", "0", "20"));
    field.write("bases.csv", BASES.to_owned() + "B,46.1011,8.9010,514.0\n");
    let run = field.map();
    assert_eq!(
        run.held_short(),
        [(3, "ambiguous_base", "", "B"), (4, "ambiguous_base", "", "B"), (3, "ambiguous_base", "base", "B")]
    );
    // 0.0001° of latitude is 11.1 m.
    assert_eq!(run.sentence(2), "positions 11.1 m apart bear the name B");
    // Within the standard errors it is one place: the first is used, the other flagged.
    field.write("bases.csv", BASES.to_owned() + "B,46.101005,8.9010,514.0\n");
    let run = field.map();
    assert_eq!((run.mapped(), run.base_flags()), (2, vec!["repeated_base"]));
}

#[test]
fn same_coordinate_for_all_bases() {
    let field = Field::new(good(1));
    field.write("bases.csv", "base,lat_deg,lon_deg,ellipsoid_height_m\nA,46.1,8.9,500\nB,46.1,8.9,500\n");
    assert_eq!(field.map().base_flags(), ["same_position", "same_position"]);
}

#[test]
fn repeated_rows_and_repeated_shot_ids() {
    let one = shot("A", 1, "10.5", "0", "20");
    let log = HEAD.to_owned()
        + &one
        + &one
        + &shot("A", 1, "99", "0", "33")
        + &shot("A", 1, "12", "0", "20").replace("05-04", "05-05")
        + &shot("B", 1, "13", "0", "20").replace("05-04", "05-05");
    let run = Field::new(log).map();
    assert_eq!(run.held_short(), [(3, "repeated_row", "", "")]);
    // The counter starts again on the next day, and at another base: no suspicion.
    assert_eq!(run.flags(), [("repeated_shot_id".to_owned(), 1)].into());
    assert_eq!(run.column("flags"), ["", "repeated_shot_id", "", ""]);
    // With neither id nor time the same reading may be two shots.
    let run = Field::new("base,true_azimuth_deg,horizontal_distance_m\nA,10,20\nA,10,20\n").map();
    assert_eq!((run.mapped(), run.flags()), (2, [("repeated_reading".to_owned(), 1)].into()));
}

#[test]
fn local_time_and_daylight_saving() {
    let log = |time: &str| format!("base,shot,time,true_azimuth_deg,horizontal_distance_m\nA,1,{time},10,20\n");
    let refused = Field::new(log("2026-05-04T08:00:01")).refusal();
    assert_eq!(
        refused,
        "./shots.csv:1: \"time\" has times without a zone, such as \"2026-05-04T08:00:01\"; write time_zone = \"Europe/Oslo\" \
         (or \"UTC\", \"+02:00\": the clock the log was kept by) under [shots]"
    );
    let oslo = |log: String| Field::new(log).with("SHOTS", "time_zone = \"Europe/Oslo\"");
    let run = oslo(log("2026-05-04T08:00:01")).map();
    assert_eq!(
        (run.column("time"), run.column("time_local")),
        (vec!["2026-05-04T06:00:01.000Z"], vec!["2026-05-04T08:00:01+02:00"])
    );
    // Summer time ended on 25 October 2026: 2:30 came twice.
    let run = oslo(log("2026-10-25T02:30:00") + "A,2,2026-10-25T02:30:00+01:00,10,20\n").map();
    assert_eq!(run.held_short(), [(2, "ambiguous_time", "time", "2026-10-25T02:30:00")]);
    assert_eq!(run.column("time"), ["2026-10-25T01:30:00.000Z"]);
    let run = Field::new("base,shot,date,time,true_azimuth_deg,horizontal_distance_m\nA,1,2026-05-04,08:00,10,20\n")
        .with("SHOTS", "time_zone = \"-03:30\"")
        .map();
    assert_eq!(run.column("time"), ["2026-05-04T11:30:00.000Z"]);
    let refused = Field::new(good(1)).with("SHOTS", "time_zone = \"Mars/Olympus\"").refusal();
    assert_eq!(
        refused,
        "\"Mars/Olympus\" is no time zone; write an IANA name such as Europe/Oslo, UTC, or an offset such as +02:00"
    );
}

#[test]
fn out_of_order_timestamps_and_dates_alone() {
    let run = Field::new(good(3) + &shot("A", 9, "7", "0", "20").replace("T08", "T07")).map();
    assert_eq!(run.flags(), [("time_goes_back".to_owned(), 1)].into());
    let run =
        Field::new("base,shot,date,true_azimuth_deg,horizontal_distance_m\nA,1,2026-05-04,10,20\nA,2,04/05/2026,10,20\n").map();
    assert_eq!((run.column("time"), run.column("time_local")), (vec![""], vec!["2026-05-04"]));
    assert_eq!(run.held_short(), [(3, "not_a_time", "date", "04/05/2026")]);
}

#[test]
fn empty_distance_sentinels_and_words() {
    let mut log = HEAD.to_owned();
    for (id, distance) in (1..).zip(["", "0", "9999", "-999.25", "---", "NaN", "1.#QNAN", "n/a", "25.5"]) {
        log += &shot("A", id, "10.5", "0", distance);
    }
    log += &shot("A", 20, "NaN", "0", "20");
    log += &shot("A", 21, "-999", "0", "20");
    log += &shot("A", 22, "10", "---", "20");
    let run = Field::new(log).map();
    let reasons: Vec<(u64, &str, &str)> =
        run.held_short().iter().map(|(line, reason, _, value)| (*line, *reason, *value)).collect();
    let none = "no_distance";
    let want = [
        (2, none, ""),
        (3, none, "0"),
        (4, none, "9999"),
        (5, none, "-999.25"),
        (6, none, "---"),
        (7, none, "NaN"),
        (8, none, "1.#QNAN"),
        (9, none, "n/a"),
        (11, "no_azimuth", "NaN"),
        (12, "no_azimuth", "-999"),
        (13, "no_inclination", ""),
    ];
    assert_eq!(reasons, want);
    assert_eq!(run.mapped(), 1);
    let run = Field::new(good(1) + &shot("A", 5, "9", "0", "8888")).with("SHOTS", "no_reading = [\"8888\"]").map();
    assert_eq!(run.held_short(), [(3, "no_distance", "slope_distance_m", "8888")]);
}

#[test]
fn negative_distance_and_distance_beyond_the_instrument() {
    let log = good(1) + &shot("A", 2, "9", "0", "-20") + &shot("A", 3, "9", "0", "900");
    let run = Field::new(log).with("INSTRUMENT", "greatest_distance_m = 700").map();
    assert_eq!(
        run.held_short(),
        [(3, "distance_not_positive", "slope_distance_m", "-20"), (4, "distance_range", "slope_distance_m", "900")]
    );
    assert_eq!(run.sentence(1), "slope_distance_m 900 is 900.00 m; the instrument measures up to 700 m");
}

#[test]
fn distance_that_is_already_horizontal_and_feet_among_metres() {
    let head = "base,shot,true_azimuth_deg,inclination_deg,slope_distance_m,horizontal_distance_m\n";
    let run = Field::new(format!("{head}A,1,10,60,100,50\nA,2,11,60,100,100\nA,3,12,0,328.08,100\n")).map();
    assert_eq!(
        run.held_short(),
        [(3, "distances_disagree", "horizontal_distance_m", "100"), (4, "distances_disagree", "horizontal_distance_m", "100")]
    );
    assert_eq!(
        run.sentence(0),
        "horizontal_distance_m is 100.00 m, but 50.00 m follow from the slope distance and the inclination"
    );
    assert!(run.sentence(1).ends_with("; is one of them in feet?"), "{}", run.sentence(1));
}

#[test]
fn inclination_as_zenith_angle_percent_gon_or_mil() {
    let of = |column: &str, values: [&str; 3]| {
        let rows: String = values.iter().enumerate().map(|(i, v)| format!("A,{i},10,{v},100\n")).collect();
        Field::new(format!("base,shot,true_azimuth_deg,{column},slope_distance_m\n{rows}")).map()
    };
    // 20 % is 11.31°.
    for (column, values) in [
        ("inclination_deg", ["0", "11.309932", "-11.309932"]),
        ("inclination_pct", ["0", "20", "-20"]),
        ("zenith_deg", ["90", "78.690068", "101.309932"]),
        ("inclination_gon", ["0", "12.566591", "-12.566591"]),
        ("inclination_mil", ["0", "201.06546", "-201.06546"]),
    ] {
        let run = of(column, values);
        let heights: Vec<f64> = run.column("ellipsoid_height_m").iter().map(|h| h.parse().unwrap()).collect();
        assert!(
            (heights[1] - heights[0] - 19.6116).abs() < 0.001 && (heights[0] - heights[2] - 19.6116).abs() < 0.001,
            "{column} {heights:?}"
        );
    }
    let run = of("inclination_deg", ["91", "-95", "88"]);
    assert_eq!(
        run.held_short(),
        [(2, "inclination_range", "inclination_deg", "91"), (3, "inclination_range", "inclination_deg", "-95")]
    );
    assert_eq!(
        run.sentence(0),
        "inclination_deg 91 is outside -90 to 90 degrees; a zenith angle is read as zenith_deg, a slope in percent as inclination_pct"
    );
    assert_eq!(run.flags(), [("steep".to_owned(), 1)].into());
    // A whole column near 90 is a zenith angle: the run asks.
    let rows: String = (0..10).map(|i| format!("A,{i},{i},{}.5,100\n", 85 + i)).collect();
    let run = Field::new(format!("base,shot,true_azimuth_deg,inclination_deg,slope_distance_m\n{rows}")).map();
    assert!(run.summary["notes"].to_string().contains("claim the column as zenith_deg"), "{}", run.summary["notes"]);
}

#[test]
fn azimuth_360_0_negative_and_over_360() {
    let log = HEAD.to_owned()
        + &shot("A", 1, "360", "0", "20")
        + &shot("A", 2, "0", "0", "21")
        + &shot("A", 3, "-5", "0", "22")
        + &shot("A", 4, "371", "0", "23");
    let run = Field::new(log).map();
    assert_eq!(
        run.held_short(),
        [(4, "azimuth_range", "true_azimuth_deg", "-5"), (5, "azimuth_range", "true_azimuth_deg", "371")]
    );
    assert_eq!(run.column("true_azimuth_deg"), ["0", "0"]);
    let run = Field::new("base,shot,true_azimuth_gon,horizontal_distance_m\nA,1,100,20\nA,2,401,20\n").map();
    assert_eq!(run.sentence(0), "true_azimuth_gon 401 is outside 0 to 400 gons");
    assert_eq!(run.column("true_azimuth_deg"), ["90"]);
}

#[test]
fn azimuth_constant_across_many_shots() {
    let frozen: String = (11..=17).map(|id| shot("A", id, "76.7", "0", &format!("{}", 10 + id))).collect();
    let run = Field::new(good(3).replace("A,", "B,") + &frozen).map();
    assert_eq!(run.flags(), [("azimuth_repeats".to_owned(), 7)].into());
    let five: String = (1..=5).map(|id| shot("A", id, "76.7", "0", &format!("{}", 10 + id))).collect();
    assert!(Field::new(HEAD.to_owned() + &five).map().flags().is_empty());
}

#[test]
fn latitude_and_longitude_swapped_or_without_their_sign() {
    let field = Field::new(good(1));
    field.write("bases.csv", BASES.to_owned() + "S,8.9000,46.1000,500\nM,46.1,-8.9,500\nX,146.1,8.9,500\nR,4607.40,8.9,500\n");
    let run = field.map();
    assert_eq!(run.base_flags(), ["outside_area maybe_swapped", "outside_area maybe_sign_lost"]);
    assert_eq!(run.held_short(), [(6, "position_range", "lat_deg", "146.1"), (7, "position_range", "lat_deg", "4607.40")]);
    assert_eq!(run.sentence(0), "lat_deg 146.1 is outside -90 to 90 degrees; are latitude and longitude swapped?");
    assert_eq!(
        run.sentence(1),
        "lat_deg 4607.40 is outside -90 to 90 degrees; degrees and minutes run together, as in 4607.40, must be split"
    );
}

#[test]
fn degrees_minutes_seconds_with_letters() {
    let field = Field::new(good(1));
    field.write(
        "bases.csv",
        "base,lat_deg,lon_deg,ellipsoid_height_m\nA,46°06'00.0\"N,8 54.0 E,512.3\nW,46 70 00 N,8 54 E,1\nE,46 6 E,8 54 E,1\n",
    );
    let run = field.map();
    let reasons: Vec<&str> = run.held.iter().map(|row| row[2].as_str()).collect();
    assert_eq!((run.mapped(), reasons), (1, vec!["not_an_angle", "not_an_angle"]));
    assert_eq!(run.sentence(1), "lat_deg \"46 6 E\": the hemisphere letter belongs to the other axis");
}

#[test]
fn spreadsheet_damage_to_ids() {
    let log = "base,shot,true_azimuth_deg,horizontal_distance_m\nA,3-Dec,10,20\nA,1.2E+15,11,20\nA,3-12,12,20\n";
    let run = Field::new(log).map();
    assert_eq!((run.column("flags"), run.flags()), (vec!["damaged_id", "damaged_id", ""], [("damaged_id".to_owned(), 2)].into()));
}

#[test]
fn several_files_with_other_columns_and_orders() {
    let mut field = Field::new(good(2));
    field.write("day2/a.csv", "species;slope_distance_m;base;shot;inclination_deg;true_azimuth_deg\noak;33,5;B;1;0;10\n");
    field.write("day2/b.csv", "Species;slope_distance_m;base;shot;inclination_deg;true_azimuth_deg\nash;34,5;B;2;0;11\n");
    field.job = field.job.replace("files = [\"shots.csv\"]", "files = [\"shots.csv\", \"day2/*.csv\"]");
    let run = field.map();
    assert_eq!(run.column("species"), ["", "", "oak", "ash"]);
    assert_eq!(run.column("note"), ["x", "x", "", ""]);
    assert_eq!(run.column("source_file"), ["shots.csv", "shots.csv", "day2/a.csv", "day2/b.csv"]);
}

#[test]
fn base_named_by_two_columns_in_several_zones() {
    let mut field = Field::new("plot,point,shot,true_azimuth_deg,horizontal_distance_m\nP,1,1,0,100\nP,2,2,0,100\n")
        .with("SHOTS", "[shots.columns]\nbase = [\"plot\", \"point\"]");
    field.write("bases.csv", "plot,point,east_m,north_m,zone\nP,1,500000,5100000,32\nP,2,500000,5100000,33\nP,3,1,1,99\n");
    field.job = field.job.replace("crs = \"EPSG:4979\"", "crs_column = \"zone\"").replace(
        "#BASES\n",
        "[bases.columns]\nbase = [\"plot\", \"point\"]\n[bases.crs_by_value]\n32 = \"EPSG:32632\"\n33 = \"EPSG:32633\"\n",
    );
    field.job = field.job.replace("crs = \"EPSG:32632\"\nformats", "crs = \"EPSG:4326\"\nformats");
    let run = field.map();
    assert_eq!(run.column("base"), ["P/1", "P/2"]);
    let lon: Vec<f64> = run.column("lon_deg").iter().map(|lon| lon.parse().unwrap()).collect();
    assert!((lon[0] - 9.0).abs() < 1e-7 && (lon[1] - 15.0).abs() < 1e-7, "{lon:?}");
    assert_eq!(run.column("easting"), ["", ""], "null in a geographic CRS");
    assert_eq!(run.held_short(), [(4, "unknown_crs", "zone", "99")]);
}

#[test]
fn no_date_for_the_declination_and_a_date_outside_the_models() {
    let head = "base,shot,date,magnetic_azimuth_deg,horizontal_distance_m\n";
    let run = Field::new(format!("{head}A,1,2026-05-04,10,20\nA,2,,11,20\nA,3,2017-05-04,12,20\n")).map();
    let reasons: Vec<&str> = run.held.iter().map(|row| row[2].as_str()).collect();
    assert_eq!(reasons, ["no_date", "no_declination"]);
    assert!(run.sentence(1).starts_with("the World Magnetic Models built in cover 2020-01-01 to 2029-12-31, not 2017-05-04"));
    assert_eq!(run.summary["magnetic_models"], serde_json::json!(["WMM2025"]));
    let mut field = Field::new(format!("{head}A,2,,11,20\n"));
    field.job += "[north]\ndeclination = -1.5\n";
    let run = field.map();
    assert_eq!((run.column("declination_deg"), run.column("true_azimuth_deg")), (vec!["-1.5"], vec!["9.5"]));
}

#[test]
fn horizontal_distance_and_azimuth_alone_give_no_height() {
    let run = Field::new("base,shot,true_azimuth_deg,horizontal_distance_m\nA,1,90,100\n").map();
    for field in ["ellipsoid_height_m", "orthometric_height_m", "geoid_undulation_m", "sigma_up_m", "sigma_geoid_m", "height95_m"]
    {
        assert_eq!(run.column(field), [""], "{field}");
    }
    assert_eq!((run.column("height_kind"), run.summary["shots"]["without_height"].as_u64()), (vec!["none"], Some(1)));
}

#[test]
fn bare_azimuth_height_or_distance_says_what_to_write() {
    let refused = Field::new("base,AZ,slope_distance_m,inclination_deg\nA,1,2,3\n").refusal();
    assert_eq!(
        refused,
        "./shots.csv:1: no column is claimed as an azimuth with its north and unit named (it may be \"AZ\"); write magnetic_azimuth_deg, \
         true_azimuth_deg or grid_azimuth_deg (or _gon, _mil) = \"…\" under [shots.columns]"
    );
    let refused = Field::new("base,true_azimuth_deg,Dist,inclination_deg\nA,1,2,3\n").refusal();
    assert_eq!(
        refused,
        "./shots.csv:1: no column is claimed as a distance with its kind and unit named (it may be \"Dist\"); write slope_distance_m or \
         horizontal_distance_m (or _ft, _usft, _yd) = \"…\" under [shots.columns]"
    );
    let field = Field::new(good(1));
    field.write("bases.csv", "base,lat_deg,lon_deg,Elevation\nA,46.1,8.9,500\n");
    assert_eq!(
        field.refusal(),
        "./bases.csv:1: \"Elevation\" looks like a height, but its kind is not named; write ellipsoid_height_m or orthometric_height_m (or \
         _ft, _usft) = \"Elevation\" under [bases.columns]"
    );
    let refused = Field::new(good(1)).with("SHOTS", "[shots.columns]\nslope_distanse_m = \"note\"").refusal();
    assert_eq!(
        refused,
        "./shots.csv:1: [shots.columns]: slope_distanse_m is no canonical column name; did you mean slope_distance_m?"
    );
}

#[test]
fn extra_columns_have_the_type_of_all_their_values() {
    let head = "base,shot,true_azimuth_deg,horizontal_distance_m,count,girth,plot,tag,empty,fid,Code\n";
    let mut field = Field::new(format!("{head}A,1,1,20,3,1.5,007,12,,5,red\nA,2,2,20,NA,2,12,x9,,6,blue\n"));
    field.job =
        field.job.replace("[\"csv\"]", "[\"csv\", \"gpkg\"]").replace("#SHOTS", "[shots.values]\ncode = \"stem\"\n#SHOTS");
    let run = field.map();
    assert_eq!(
        (run.column("count"), run.column("girth"), run.column("plot")),
        (vec!["3", ""], vec!["1.5", "2"], vec!["007", "12"])
    );
    assert_eq!(
        (run.column("log_fid"), run.column("log_Code"), run.column("code")),
        (vec!["5", "6"], vec!["red", "blue"], vec!["stem", "stem"])
    );
    let package = rusqlite::Connection::open(field.path("t-layers/t.gpkg")).unwrap();
    let mut statement = package.prepare("SELECT name, type FROM pragma_table_info('features')").unwrap();
    let types: std::collections::HashMap<String, String> =
        statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?))).unwrap().map(|row| row.unwrap()).collect();
    for (name, kind) in [
        ("count", "INTEGER"),
        ("girth", "REAL"),
        ("plot", "TEXT"),
        ("tag", "TEXT"),
        ("empty", "TEXT"),
        ("log_fid", "INTEGER"),
        ("fid", "INTEGER"),
    ] {
        assert_eq!(types[name], kind, "{name}");
    }
    let nulls: i64 =
        package.query_row("SELECT count(*) FROM features WHERE count IS NULL AND empty IS NULL", [], |row| row.get(0)).unwrap();
    assert_eq!(nulls, 1);
}

#[test]
fn one_bad_row_of_200_gives_199_mapped_and_one_held() {
    let log = good(200).replacen("A,117,", "A,117,bad-", 1);
    let first = Field::new(&log).map();
    assert_eq!((first.mapped(), first.held.len()), (199, 1));
    assert_eq!(
        first.sentence(0),
        "time \"bad-2026-05-04T08:01:57Z\" is no date or time in a form that means one thing; write 2026-05-04T08:00:01+02:00"
    );
    assert_eq!(first.held, Field::new(&log).map().held, "the same text each run");
    assert_eq!(String::from_utf8_lossy(&first.output.stderr), "held: 1 row was set aside; see ./t-layers/held.csv\n");
}

#[test]
fn a_file_that_cannot_be_read_fails_before_anything_is_written() {
    let mut field = Field::new("");
    assert_eq!(field.refusal(), "./shots.csv:1: the file is empty; a log needs a header line and rows");
    field.job = field.job.replace("shots.csv", "nowhere.csv");
    assert_eq!(field.refusal(), "job.toml:12: no file ./nowhere.csv");
}
