//! Faults of the text: encodings, separators, decimal signs, quotes, lines that are no data, lines
//! that are cut.

use crate::common::{BASES, Field, HEAD, Run, good, shot};

const BOM: &str = "\u{feff}";
const CUT: &str = "the last line has no line end and may be cut short; if it is whole, add a line end";
const UNCLOSED: &str = "a quoted field begins here and never ends; add the closing quote";

fn utf16(text: &str, little: bool) -> Vec<u8> {
    text.encode_utf16().flat_map(|unit| if little { unit.to_le_bytes() } else { unit.to_be_bytes() }).collect()
}

/// The usual rows, and one whose remark has letters beyond ASCII.
fn letters() -> String {
    good(4) + "A,9,2026-05-04T09:00:00Z,10.5,0,20,ledge café 5° “under” the crew’s rope\n"
}

/// Code page windows-1252 of text made of Latin-1 letters and curled quotes.
fn windows_1252(text: &str) -> Vec<u8> {
    let byte = |c: char| match c {
        '“' => 0x93,
        '”' => 0x94,
        '’' => 0x92,
        c => u8::try_from(c).unwrap(),
    };
    text.chars().map(byte).collect()
}

fn count(run: &Run, key: &str) -> u64 {
    run.input("shots.csv")[key].as_u64().unwrap()
}

/// What the summary says of both logs.
fn of_both<'r>(run: &'r Run, key: &str) -> [&'r str; 2] {
    ["bases.csv", "shots.csv"].map(|file| run.input(file)[key].as_str().unwrap())
}

#[test]
fn utf8_byte_order_mark() {
    let plain = Field::new(letters()).map();
    let field = Field::new(BOM.to_owned() + &letters());
    field.write("bases.csv", BOM.to_owned() + BASES);
    let run = field.map();
    assert_eq!((run.mapped(), of_both(&run, "encoding")), (5, ["UTF-8"; 2]));
    run.assert_same_features(&plain);
}

#[test]
fn utf16_with_and_without_byte_order_mark() {
    let plain = Field::new(letters()).map();
    for (little, encoding) in [(true, "UTF-16LE"), (false, "UTF-16BE")] {
        for mark in ["", BOM] {
            let field = Field::new(utf16(&(mark.to_owned() + &letters()), little));
            field.write("bases.csv", utf16(&(mark.to_owned() + BASES), little));
            let run = field.map();
            run.assert_same_features(&plain);
            assert_eq!(of_both(&run, "encoding"), [encoding; 2]);
        }
    }
}

#[test]
fn utf16_logs_with_canonical_headers_need_no_job() {
    let field = Field::new(utf16(&good(3), true));
    field.write("bases.csv", utf16(BASES, true));
    let arguments = [
        "map",
        "--bases",
        "bases.csv",
        "--shots",
        "shots.csv",
        "--crs",
        "EPSG:32632",
        "--instrument-height",
        "1.5",
        "--target-height",
        "0",
        "--out",
        "out",
    ];
    let output = field.command(&arguments);
    assert_eq!(String::from_utf8_lossy(&output.stderr), "");
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(said.starts_with("3 of 3 shots mapped, 0 held, 0 flagged; 2 of 2 bases used\n"), "{said}");
}

#[test]
fn old_code_pages_smart_quotes_and_degree_signs() {
    let plain = Field::new(letters()).map();
    assert_eq!(plain.column("note")[4], "ledge café 5° “under” the crew’s rope");
    let run = Field::new(windows_1252(&letters())).map();
    run.assert_same_features(&plain);
    assert_eq!(run.input("shots.csv")["encoding"], "windows-1252");
    // Another code page is named in the job: 0xA4 is the euro sign in ISO 8859-15.
    let mut priced = good(1).into_bytes();
    priced.extend(b"A,9,2026-05-04T09:00:00Z,10.5,0,20,costs 5 \xa4\n");
    let run = Field::new(&priced).with("SHOTS", "encoding = \"iso-8859-15\"").map();
    assert_eq!((run.column("note")[1], &run.input("shots.csv")["encoding"]), ("costs 5 €", &"ISO-8859-15".into()));
    // A held row keeps its letters.
    let run = Field::new(windows_1252(&(good(1) + "A,2,2026-05-04T09:00:00Z,north,0,20,café\n"))).map();
    assert_eq!(run.held_rows, ["A,2,2026-05-04T09:00:00Z,north,0,20,café"]);
}

#[test]
fn text_that_is_not_in_the_encoding_that_the_job_names() {
    let log = good(1) + "A,9,2026-05-04T09:00:00Z,10.5,0,20,café\n";
    let at = log.find('é').unwrap();
    assert_eq!(
        Field::new(windows_1252(&log)).with("SHOTS", "encoding = \"utf-8\"").refusal(),
        format!("./shots.csv: not UTF-8 at byte {at}; name its encoding in the job: encoding = \"windows-1252\"")
    );
    assert_eq!(
        Field::new(log).with("SHOTS", "encoding = \"latin-99\"").refusal(),
        "./shots.csv: \"latin-99\" names no encoding; write utf-8, windows-1252, iso-8859-15 or utf-16le"
    );
}

#[test]
fn power_loss_inside_a_letter_spoils_no_other_row() {
    // The two bytes of é, the second of them lost with the rest of the file.
    let whole = good(2) + "A,8,2026-05-04T09:00:00Z,10.5,0,20,café\nA,9,2026-05-04T09:00:09Z,11.5,0,20,café";
    let run = Field::new(&whole.as_bytes()[..whole.len() - 1]).map();
    assert_eq!(run.input("shots.csv")["encoding"], "UTF-8");
    assert_eq!(run.column("note")[..3], ["x", "x", "café"]);
}

#[test]
fn power_loss_inside_a_letter_of_utf16_spoils_no_other_row() {
    // Two bytes to a letter, the second of the last one lost.
    let whole = utf16(good(3).trim_end(), true);
    let run = Field::new(&whole[..whole.len() - 1]).map();
    assert_eq!(run.input("shots.csv")["encoding"], "UTF-16LE");
    assert_eq!(run.column("note")[..2], ["x", "x"]);
}

#[test]
fn semicolon_tab_or_pipe_separator() {
    let plain = Field::new(good(4)).map();
    assert_eq!(of_both(&plain, "separator"), [","; 2]);
    for separator in [";", "\t", "|"] {
        let field = Field::new(good(4).replace(',', separator));
        field.write("bases.csv", BASES.replace(',', separator));
        let run = field.map();
        run.assert_same_features(&plain);
        assert_eq!(of_both(&run, "separator"), [separator; 2]);
    }
    // Any other separator is named in the job.
    Field::new(good(4).replace(',', "~")).with("SHOTS", "separator = \"~\"").map().assert_same_features(&plain);
    assert_eq!(
        Field::new(good(1)).with("SHOTS", "separator = \"a\"").refusal(),
        "./shots.csv:1: \"a\" cannot be a separator; use , ; | or a tab"
    );
}

#[test]
fn decimal_comma_for_the_whole_file() {
    let plain = Field::new(good(4)).map();
    assert_eq!(of_both(&plain, "decimal"), ["."; 2]);
    for separator in [";", "\t", "|"] {
        let comma = |text: &str| text.replace(',', separator).replace('.', ",");
        for named in ["", "decimal = \",\""] {
            let field = Field::new(comma(&good(4))).with("SHOTS", named).with("BASES", named);
            field.write("bases.csv", comma(BASES));
            let run = field.map();
            run.assert_same_features(&plain);
            assert_eq!(of_both(&run, "decimal"), [","; 2]);
        }
    }
}

#[test]
fn a_decimal_point_among_decimal_commas_is_held() {
    let log = good(2).replace(',', ";").replace('.', ",") + "A;3;2026-05-04T09:00:00Z;10.5;0;20,5;x\n";
    let run = Field::new(log).map();
    let say = "true_azimuth_deg \"10.5\" is not a number; the decimal sign of the column is a comma: write 10,5";
    assert_eq!(run.held, [["shots.csv", "4", "not_a_number", "true_azimuth_deg", "10.5", say]]);
    assert_eq!(run.held_rows, ["A;3;2026-05-04T09:00:00Z;10.5;0;20,5;x"]);
    assert_eq!(run.mapped(), 2);
}

#[test]
fn one_decimal_comma_among_points_costs_one_row_of_200() {
    let log = good(200).replace(',', ";").replacen(";27.25;", ";27,25;", 1);
    let run = Field::new(log).map();
    assert_eq!((run.mapped(), &run.input("shots.csv")["decimal"]), (199, &".".into()));
    let say = "slope_distance_m \"27,25\" is not a number; the decimal sign of the column is a point: write 27.25";
    assert_eq!(run.held, [["shots.csv", "8", "not_a_number", "slope_distance_m", "27,25", say]]);
}

#[test]
fn decimal_comma_beside_a_comma_separator() {
    assert_eq!(
        Field::new(good(1)).with("SHOTS", "decimal = \",\"").refusal(),
        "./shots.csv:1: the decimal sign and the separator are both a comma; name the separator in the job"
    );
    // Where the job says nothing, the comma cuts the row, which has a field too many.
    let run = Field::new(good(2) + "A,3,2026-05-04T09:00:00Z,10,5,0,20,x\n").map();
    assert_eq!(run.held, [["shots.csv", "4", "field_count", "", "", "the row has 8 fields, the header 7"]]);
    assert_eq!(run.mapped(), 2);
    assert_eq!(
        Field::new(good(1)).with("SHOTS", "decimal = \"·\"").refusal(),
        "./shots.csv:1: decimal = \"·\": write \".\" or \",\""
    );
}

#[test]
fn carriage_returns_at_line_ends() {
    let plain = Field::new(good(3)).map();
    for end in ["\r\n", "\r"] {
        let field = Field::new(good(3).replace('\n', end));
        field.write("bases.csv", BASES.replace('\n', end));
        let run = field.map();
        run.assert_same_features(&plain);
        assert_eq!(run.column("source_line"), ["2", "3", "4"]);
        assert_eq!(run.column("note"), ["x", "x", "x"], "no carriage return in a value");
    }
}

#[test]
fn quoted_fields_and_inch_marks() {
    let log = HEAD.to_owned()
        + "A,1,2026-05-04T08:00:01Z,10,0,20,\"by the gate, left\"\n\
           A,2,2026-05-04T08:00:02Z,10,0,21,5' 10\"\n\
           A,3,2026-05-04T08:00:03Z,10,0,22,\"two\nlines\"\n\
           \"A\",\"4\",2026-05-04T08:00:04Z,\"10\",0,\"23\",\"said \"\"here\"\", 2\"\" up\"\n\
           A,5,2026-05-04T08:00:05Z,10,0,24, \n";
    let run = Field::new(log).map();
    assert_eq!(run.column("note"), ["by the gate, left", "5' 10\"", "two\nlines", "said \"here\", 2\" up", ""]);
    assert_eq!(run.column("source_line"), ["2", "3", "4", "6", "7"]);
    assert_eq!((run.column("base"), run.column("shot")), (vec!["A"; 5], vec!["1", "2", "3", "4", "5"]));
}

#[test]
fn unclosed_quote_costs_its_own_row() {
    let row = "A,1,2026-05-04T08:00:01Z,10,0,20,\"never closed";
    let mut log = format!("{HEAD}{row}\n");
    (2..40).for_each(|id| log += &shot("A", id, "11.5", "0", &format!("{id}.5")));
    let run = Field::new(log).map();
    assert_eq!(run.held, [["shots.csv", "2", "unclosed_quote", "", "", UNCLOSED]]);
    assert_eq!((run.held_rows, run.features.len()), (vec![row.to_owned()], 38));
    // At the very end of the file, too.
    let run = Field::new(good(3) + row).map();
    assert_eq!(run.held, [["shots.csv", "5", "unclosed_quote", "", "", UNCLOSED]]);
    assert_eq!(run.mapped(), 3);
}

#[test]
fn unclosed_quote_swallows_no_rows_where_a_quoted_field_follows() {
    let row = "A,1,2026-05-04T08:00:01Z,10,0,20,\"never closed";
    for closed in ["closed", "closed, as it should be"] {
        let log = format!("{HEAD}{row}\n")
            + &shot("A", 2, "11.5", "0", "21")
            + &format!("A,3,2026-05-04T08:00:03Z,12.5,0,22,\"{closed}\"\n")
            + &shot("A", 4, "13.5", "0", "23");
        let run = Field::new(log).map();
        assert_eq!(run.column("shot"), ["2", "3", "4"]);
        assert_eq!(run.column("note"), ["x", closed, "x"]);
        assert_eq!(run.held, [["shots.csv", "2", "unclosed_quote", "", "", UNCLOSED]]);
        assert_eq!(run.held_rows, [row]);
    }
}

#[test]
fn blank_lines_and_comments() {
    let log = good(2) + "\n# wind rising\n   \n,,,,,,\n" + &shot("B", 9, "5", "1", "30") + "#\n";
    let run = Field::new(log).map();
    assert_eq!(run.column("source_line"), ["2", "3", "8"]);
    assert_eq!((count(&run, "blank_lines"), count(&run, "comment_lines")), (3, 2));
}

#[test]
fn lines_above_the_header_are_counted() {
    let run = Field::new("# crew of two\n\n".to_owned() + &good(2)).map();
    assert_eq!(run.column("source_line"), ["4", "5"]);
    assert_eq!((count(&run, "blank_lines"), count(&run, "comment_lines")), (1, 1));
}

#[test]
fn comments_begin_as_the_job_says() {
    let log = good(1).replace("A,1,", "#7,1,") + "// wind rising\n" + &shot("A", 2, "5", "1", "30");
    let field = Field::new(log).with("SHOTS", "comment = \"//\"");
    field.write("bases.csv", BASES.replace("B,", "\"#7\","));
    let run = field.map();
    assert_eq!((run.column("base"), count(&run, "comment_lines")), (vec!["#7", "A"], 1));
}

#[test]
fn units_row_under_the_header() {
    let plain = Field::new(good(3)).map();
    for units in [",,,deg,deg,m,\n", ",,,[deg],(degrees),[m],\n"] {
        let field = Field::new(good(3).replacen(HEAD, &format!("{HEAD}{units}"), 1));
        field.write("bases.csv", BASES.replacen('\n', "\n,°,°,metres\n", 1));
        let run = field.map();
        run.assert_same_features(&plain);
        assert_eq!((count(&run, "units_lines"), &run.input("bases.csv")["units_lines"]), (1, &1.into()));
        assert_eq!(run.column("source_line"), ["3", "4", "5"]);
    }
}

#[test]
fn units_row_that_contradicts_the_job() {
    let refused = Field::new(good(3).replacen(HEAD, &format!("{HEAD},,,deg,deg,ft,\n"), 1)).refusal();
    assert_eq!(
        refused,
        "./shots.csv:2: the units line says \"ft\" for \"slope_distance_m\", but the job reads it as slope_distance_m; claim it with \
         the unit it has"
    );
    let field = Field::new(good(3));
    field.write("bases.csv", BASES.replacen('\n', "\n,deg,deg,ft\n", 1));
    assert_eq!(
        field.refusal(),
        "./bases.csv:2: the units line says \"ft\" for \"ellipsoid_height_m\", but the job reads it as ellipsoid_height_m; claim it \
         with the unit it has"
    );
}

#[test]
fn units_row_does_not_turn_numbers_into_text() {
    let head = "base,shot,true_azimuth_deg,horizontal_distance_m,girth\n";
    let run = Field::new(format!("{head},,deg,m,mm\nA,1,10,20,350\nA,2,11,21,135\n")).map();
    assert_eq!((run.types["girth"].as_str(), run.column("girth")), ("Integer64", vec!["350", "135"]));
}

#[test]
fn units_row_does_not_hide_times_without_a_zone() {
    let log = good(2).replace('Z', "").replacen(HEAD, &format!("{HEAD},,local,deg,deg,m,\n"), 1);
    let output = Field::new(log).command(&["check", "job.toml"]);
    let said = String::from_utf8(output.stdout).unwrap();
    let note = "shots.csv: \"time\" has times without a zone, such as \"2026-05-04T08:00:01\"; write time_zone = \"Europe/Oslo\"";
    assert!(said.contains(note), "{said}");
}

#[test]
fn header_repeated_mid_file() {
    let head = HEAD.replace("note", "fixes");
    let rows = good(3).replace(HEAD, &head).replace(",x\n", ",12\n");
    let base_head = BASES.lines().next().unwrap();
    // An appended file brings its byte order mark along.
    for between in [head.clone(), head.replace('\n', "  \n"), BOM.to_owned() + &head] {
        let field = Field::new(format!("{rows}{between}B,1,2026-05-04T10:00:00Z,5,0,9.5,7\n"));
        field.write("bases.csv", BASES.replace("B,", &format!("{base_head}\nB,")));
        let run = field.map();
        assert_eq!((run.mapped(), run.held.len(), count(&run, "repeated_headers")), (4, 0, 1));
        assert_eq!(run.input("bases.csv")["repeated_headers"], 1);
        // The words of the header are no values.
        assert_eq!((run.types["fixes"].as_str(), run.column("fixes")), ("Integer64", vec!["12", "12", "12", "7"]));
    }
}

#[test]
fn header_repeated_in_another_order() {
    let other = "shot,base,time,true_azimuth_deg,inclination_deg,slope_distance_m,note\n";
    assert_eq!(
        Field::new(good(3) + other + "1,B,2026-05-04T10:00:00Z,5,0,9,x\n").refusal(),
        "./shots.csv:5: the header stands here again with its columns in another order; split the file at this line"
    );
}

#[test]
fn header_of_a_base_log_repeated_in_another_order() {
    let field = Field::new(good(1));
    field.write("bases.csv", BASES.to_owned() + "base,lon_deg,lat_deg,ellipsoid_height_m\nC,8.9020,46.1020,515.0\n");
    assert_eq!(
        field.refusal(),
        "./bases.csv:4: the header stands here again with its columns in another order; split the file at this line"
    );
}

#[test]
fn rows_with_fewer_or_more_fields() {
    let (fewer, more) = ("A,3,2026-05-04T09:00:00Z,10,0", "A,4,2026-05-04T09:00:01Z,10,5,0,20,x");
    let field = Field::new(format!("{}{fewer}\n{more}\n{}", good(2), shot("A", 5, "9", "0", "20").replace("T08", "T10")));
    field.write("bases.csv", BASES.to_owned() + "C,46.1,8.9\n");
    let run = field.map();
    assert_eq!(
        run.held,
        [
            ["bases.csv", "4", "field_count", "", "", "the row has 3 fields, the header 4"],
            ["shots.csv", "4", "field_count", "", "", "the row has 5 fields, the header 7"],
            ["shots.csv", "5", "field_count", "", "", "the row has 8 fields, the header 7"],
        ]
    );
    assert_eq!(run.held_rows, ["C,46.1,8.9", fewer, more]);
    assert_eq!(run.column("shot"), ["1", "2", "5"]);
}

#[test]
fn separators_at_the_ends_of_all_lines() {
    // The column without a name is none, and numbers stay numbers.
    let log = "base,shot,true_azimuth_deg,horizontal_distance_m,girth,\nA,1,10,20,350,\nA,2,11,21,135,\n";
    let run = Field::new(log).map();
    assert_eq!((run.types["girth"].as_str(), run.column("girth")), ("Integer64", vec!["350", "135"]));
}

#[test]
fn separators_at_the_ends_of_some_lines() {
    // Their values count for the type as all others do, and none is lost.
    let log = "base,shot,true_azimuth_deg,horizontal_distance_m,girth\nA,1,10,20,350\nA,2,11,21,hollow,,\n";
    let run = Field::new(log).map();
    assert_eq!((run.types["girth"].as_str(), run.column("girth")), ("String", vec!["350", "hollow"]));
}

#[test]
fn truncated_last_line_that_still_parses() {
    // The distance 45.27 cut to 45.2.
    let head = "base,shot,time,true_azimuth_deg,inclination_deg,slope_distance_m\n";
    let run = Field::new(format!("{head}A,1,2026-05-04T08:00:01Z,10,0,44.13\nA,2,2026-05-04T08:00:02Z,11,0,45.2")).map();
    assert_eq!(run.held, [["shots.csv", "3", "cut_last_line", "slope_distance_m", "45.2", CUT]]);
    assert_eq!(run.held_rows, ["A,2,2026-05-04T08:00:02Z,11,0,45.2"]);
    assert_eq!(run.mapped(), 1);
    // Cut earlier in the row, it has too few fields besides.
    let run = Field::new(good(2) + "A,3,2026-05-04T09:0").map();
    assert_eq!(run.held, [["shots.csv", "4", "cut_last_line", "time", "2026-05-04T09:0", CUT]]);
    // A base whose height 514.1 was cut to 514.
    let field = Field::new(good(2));
    field.write("bases.csv", BASES.trim_end().strip_suffix(".1").unwrap());
    assert_eq!(field.map().held, [["bases.csv", "3", "cut_last_line", "ellipsoid_height_m", "514", CUT]]);
}

#[test]
fn truncated_zone_that_is_another_zone() {
    // Zone 32 cut to 3: the column that chooses the CRS is as good as measured.
    let mut field = Field::new(good(1));
    field.write("bases.csv", "base,east_m,north_m,zone\nA,500000,5100000,32\nB,500100,5100100,3");
    field.job = field.job.replace("crs = \"EPSG:4979\"", "crs_column = \"zone\"");
    let run = field.with("BASES", "[bases.crs_by_value]\n32 = \"EPSG:32632\"\n3 = \"EPSG:32603\"").map();
    assert_eq!(run.held, [["bases.csv", "3", "cut_last_line", "zone", "3", CUT]]);
}

const NO_LINE_END: &str = "the last line has no line end; its last field may be cut, and nothing measured stands there";

#[test]
fn last_line_without_line_end_where_nothing_measured_is_last() {
    let run = Field::new(good(2).trim_end()).map();
    assert_eq!(run.flagged(), [["shots.csv", "3", "no_line_end", NO_LINE_END]]);
    assert_eq!((run.mapped(), run.column("flags")), (2, vec!["", "no_line_end"]));
}

#[test]
fn last_line_of_a_base_log_without_line_end_where_nothing_measured_is_last() {
    let field = Field::new(good(2));
    field.write("bases.csv", "base,lat_deg,lon_deg,ellipsoid_height_m,remark\nA,46.1,8.9,512.3,peg\nB,46.101,8.901,514.1,ro");
    let run = field.map();
    assert_eq!(run.flagged(), [["bases.csv", "3", "no_line_end", NO_LINE_END]]);
    assert_eq!((run.base_column("flags"), run.base_column("remark")), (vec!["", "no_line_end"], vec!["peg", "ro"]));
}

#[test]
fn nmea_lines_mixed_in_are_held() {
    let sentence = "$GPGGA,080001.00,4606.0000,N,00854.0000,E,4,12,0.8,512.3,M,49.0,M,1.0,0001*00";
    let run = Field::new(good(1) + sentence + "\n" + &shot("A", 2, "10", "0", "20")).map();
    assert_eq!(run.held, [["shots.csv", "3", "field_count", "", "", "the row has 15 fields, the header 7"]]);
    assert_eq!((run.held_rows, run.features.len()), (vec![sentence.to_owned()], 2));
}
