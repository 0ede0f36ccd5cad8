//! Faults of the header, and columns that nothing claims: names, types, orders, what is too bare to
//! be understood.

use crate::common::{BASES, Field, good};

/// A short shot log with these columns behind the usual ones.
fn with_extras(extras: &str, rows: &[&str]) -> String {
    let rows: String = rows.iter().enumerate().map(|(i, row)| format!("A,{},{},2{i},{row}\n", i + 1, 10 + i)).collect();
    format!("base,shot,true_azimuth_deg,horizontal_distance_m,{extras}\n{rows}")
}

#[test]
fn duplicate_column_names() {
    assert_eq!(
        Field::new(good(1).replacen("note", "shot", 1)).refusal(),
        "./shots.csv:1: columns 2 and 7 are both named \"shot\"; give each its own name"
    );
    let field = Field::new(good(1));
    field.write("bases.csv", "# receiver 2\nbase,lat_deg,lon_deg,ellipsoid_height_m,error_m,error_m\nA,46.1,8.9,512.3,1,2\n");
    assert_eq!(field.refusal(), "./bases.csv:2: columns 5 and 6 are both named \"error_m\"; give each its own name");
}

#[test]
fn blank_column_names() {
    assert_eq!(
        Field::new(good(1).replacen(",shot,", ", ,", 1)).refusal(),
        "./shots.csv:1: column 2 has no name; name every column"
    );
}

#[test]
fn column_names_that_differ_in_capitals_alone_lose_no_value() {
    let run = Field::new(with_extras("Note,NOTE", &["first,second"])).map();
    let values: Vec<&str> = run.features[0].values().map(String::as_str).collect();
    assert!(values.contains(&"first") && values.contains(&"second"), "{:?}", run.features[0]);
}

#[test]
fn a_header_that_the_job_names_and_the_file_lacks() {
    let log = good(1).replace("slope_distance_m", "Slope");
    let claimed = |claim: &str| Field::new(&log).with("SHOTS", &format!("[shots.columns]\n{claim}")).refusal();
    assert_eq!(
        claimed("slope_distance_m = \"Slopes\""),
        "./shots.csv:1: [shots.columns] reads slope_distance_m from \"Slopes\", which the file does not have; did you mean \"Slope\"?"
    );
    assert_eq!(
        claimed("slope_distance_m = \"Laser\""),
        "./shots.csv:1: [shots.columns] reads slope_distance_m from \"Laser\", which the file does not have; it has: base, shot, \
         time, true_azimuth_deg, inclination_deg, Slope, note"
    );
    assert_eq!(
        claimed("slope_distanse_m = \"Slope\""),
        "./shots.csv:1: [shots.columns]: slope_distanse_m is no canonical column name; did you mean slope_distance_m?"
    );
}

#[test]
fn feet_and_metres_of_one_quantity_are_not_guessed_apart() {
    let log = "base,shot,true_azimuth_deg,horizontal_distance_m,horizontal_distance_ft\nA,1,10,20,65.6\n";
    assert_eq!(
        Field::new(log).refusal(),
        "./shots.csv:1: \"horizontal_distance_m\" and \"horizontal_distance_ft\" hold the same quantity; choose one in the job's \
         [shots.columns]"
    );
    let run = Field::new(log).with("SHOTS", "[shots.columns]\nhorizontal_distance_ft = \"horizontal_distance_ft\"").map();
    // 65.6 international feet, of 0.3048 m each by definition; printed to 0.1 mm.
    assert_eq!(run.column("horizontal_distance_m"), ["19.9949"]);
    // The column that was not chosen is carried under another name.
    assert_eq!(run.column("log_horizontal_distance_m"), ["20"]);
}

#[test]
fn several_files_with_other_columns_and_orders() {
    let mut field = Field::new(good(2));
    field.write("day2/a.csv", "species;slope_distance_m;base;shot;count;inclination_deg;true_azimuth_deg\noak;33,5;B;1;3;0;10\n");
    field.write("day2/b.csv", "count\tshot\ttrue_azimuth_deg\tslope_distance_m\tbase\tinclination_deg\n2,5\t2\t11\t34\tB\t1,5\n");
    field.job = field.job.replace("files = [\"shots.csv\"]", "files = [\"shots.csv\", \"day2/*.csv\"]");
    let run = field.map();
    assert_eq!(run.column("source_file"), ["shots.csv", "shots.csv", "day2/a.csv", "day2/b.csv"]);
    assert_eq!(run.column("base"), ["A", "A", "B", "B"]);
    assert_eq!(run.column("true_azimuth_deg"), ["1.5", "2.5", "10", "11"]);
    // Columns that a file lacks are null there, and a type holds the values of every file.
    assert_eq!(run.column("note"), ["x", "x", "", ""]);
    assert_eq!(run.column("species"), ["", "", "oak", ""]);
    assert_eq!((run.types["count"].as_str(), run.column("count")), ("Real", vec!["", "", "3", "2.5"]));
}

#[test]
fn extra_columns_have_the_type_of_all_their_values() {
    let extras = "count,girth,plot,tag,empty,long,signed,small";
    let rows = ["3,1.5,007,12,,12345678901234567890,+5,1e-3", "NA,2,12,x9,,1,6,---", "-4,,13,14,NA,2,7,0.5"];
    let run = Field::new(with_extras(extras, &rows)).map();
    for (name, kind, values) in [
        ("count", "Integer64", ["3", "", "-4"]),
        ("girth", "Real", ["1.5", "2", ""]),
        // Leading zeros of an id, digits beyond what a number holds, and a plus sign are kept.
        ("plot", "String", ["007", "12", "13"]),
        ("tag", "String", ["12", "x9", "14"]),
        ("long", "String", ["12345678901234567890", "1", "2"]),
        ("signed", "String", ["+5", "6", "7"]),
        ("small", "Real", ["0.001", "", "0.5"]),
    ] {
        assert_eq!((run.types[name].as_str(), run.column(name)), (kind, values.to_vec()), "{name}");
    }
    assert_eq!(run.types["empty"], "String");
    // All empty: a column of nulls.
    let run = Field::new(with_extras("empty", &["", ""])).map();
    assert_eq!((run.types["empty"].as_str(), run.column("empty")), ("String", vec!["", ""]));
}

#[test]
fn extra_columns_of_bases_with_decimal_commas_keep_their_values() {
    let field = Field::new(good(1));
    let bases = "base;lat_deg;lon_deg;ellipsoid_height_m;pdop;fixes\nA;46,1;8,9;512,3;1,8;60\nB;46,101;8,901;514,1;2,25;\n";
    field.write("bases.csv", bases);
    let run = field.map();
    assert_eq!((run.base_types["pdop"].as_str(), run.base_column("pdop")), ("Real", vec!["1.8", "2.25"]));
    assert_eq!((run.base_types["fixes"].as_str(), run.base_column("fixes")), ("Integer64", vec!["60", ""]));
}

#[test]
fn decimals_are_written_with_a_point_whatever_the_log_has() {
    let log = with_extras("girth", &["1.5"]).replace(',', ";").replace('.', ",");
    let run = Field::new(log).with("SHOTS", "decimal = \",\"").map();
    assert_eq!((run.types["girth"].as_str(), run.column("girth")), ("Real", vec!["1.5"]));
}

#[test]
fn columns_named_fid_or_geom() {
    let mut field = Field::new(with_extras("fid,geom,FID_2", &["7,round,8", "7,square,9"]));
    field.write("bases.csv", BASES.replacen('\n', ",fid\n", 1).replace("512.3\n", "512.3,4\n").replace("514.1\n", "514.1,4\n"));
    field.job = field.job.replace("[\"csv\"]", "[\"csv\", \"gpkg\", \"geojson\", \"shp\", \"fgb\"]");
    let run = field.map();
    // The log's own numbers, repeats and all, under a name that no format keeps for itself.
    assert_eq!((run.types["log_fid"].as_str(), run.column("log_fid")), ("Integer64", vec!["7", "7"]));
    assert_eq!((run.column("log_geom"), run.column("FID_2")), (vec!["round", "square"], vec!["8", "9"]));
    assert_eq!(run.base_column("log_fid"), ["4", "4"]);
    let package = rusqlite::Connection::open(field.path("t-layers/t.gpkg")).unwrap();
    let mut statement = package.prepare("SELECT fid, log_fid, log_geom FROM features ORDER BY fid").unwrap();
    let rows: Vec<(i64, i64, String)> =
        statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?))).unwrap().map(|row| row.unwrap()).collect();
    assert_eq!(rows, [(1, 7, "round".to_owned()), (2, 7, "square".to_owned())]);
}

#[test]
fn columns_named_like_one_of_the_layer() {
    let log = with_extras("flags,Easting,lat_deg,source_line,Code", &["red,1,2,3,oak", "green,4,5,6,ash"]);
    let run = Field::new(log).with("SHOTS", "[shots.values]\ncode = \"stem\"").map();
    for (name, values) in [
        ("log_flags", ["red", "green"]),
        ("log_Easting", ["1", "4"]),
        ("log_lat_deg", ["2", "5"]),
        ("log_source_line", ["3", "6"]),
        ("log_Code", ["oak", "ash"]),
        // The layer's own.
        ("flags", ["", ""]),
        ("source_line", ["2", "3"]),
        ("code", ["stem", "stem"]),
    ] {
        assert_eq!(run.column(name), values, "{name}");
    }
}

#[test]
fn bare_azimuth_says_what_to_write() {
    // A unit alone does not name the north.
    assert_eq!(
        Field::new("base,azimuth_deg,slope_distance_m,inclination_deg\nA,1,2,3\n").refusal(),
        "./shots.csv:1: \"azimuth_deg\" is an azimuth whose north is not named; claim it as magnetic_azimuth_deg, true_azimuth_deg or \
         grid_azimuth_deg (or _gon, _mil) under [shots.columns], or claim the column that says magnetic, true or grid in each row as \
         azimuth_north"
    );
    for header in ["Azimuth", "Bearing"] {
        assert_eq!(
            Field::new(format!("base,{header},slope_distance_m,inclination_deg\nA,1,2,3\n")).refusal(),
            format!(
                "./shots.csv:1: no column is claimed as an azimuth with its north and unit named (it may be \"{header}\"); write \
                 magnetic_azimuth_deg, true_azimuth_deg or grid_azimuth_deg (or _gon, _mil) = \"…\" under [shots.columns]"
            )
        );
    }
}

#[test]
fn bare_distance_says_what_to_write() {
    for (headers, seen) in [("Dist", "\"Dist\""), ("Range,Horizontal", "\"Range\" or \"Horizontal\"")] {
        let values = headers.replace(|c| c != ',', "2");
        assert_eq!(
            Field::new(format!("base,true_azimuth_deg,inclination_deg,{headers}\nA,1,2,{values}\n")).refusal(),
            format!(
                "./shots.csv:1: no column is claimed as a distance with its kind and unit named (it may be {seen}); write \
                 slope_distance_m or horizontal_distance_m (or _ft, _usft, _yd) = \"…\" under [shots.columns]"
            )
        );
    }
}

#[test]
fn bare_inclination_says_what_to_write() {
    assert_eq!(
        Field::new("base,true_azimuth_deg,slope_distance_m,Tilt\nA,1,2,3\n").refusal(),
        "./shots.csv:1: a slope distance needs an inclination with its unit named (it may be \"Tilt\"); write inclination_deg, \
         inclination_pct, zenith_deg or vertical_distance_m = \"…\" under [shots.columns]"
    );
}

#[test]
fn bare_height_says_what_to_write() {
    let field = Field::new(good(1));
    for header in ["Elevation", "height_m", "Z"] {
        field.write("bases.csv", format!("base,lat_deg,lon_deg,{header}\nA,46.1,8.9,500\n"));
        assert_eq!(
            field.refusal(),
            format!(
                "./bases.csv:1: \"{header}\" looks like a height, but its kind is not named; write ellipsoid_height_m or \
                 orthometric_height_m (or _ft, _usft) = \"{header}\" under [bases.columns]"
            )
        );
    }
}

#[test]
fn bare_position_says_what_to_write() {
    let field = Field::new(good(1));
    field.write("bases.csv", "base,Latitude,Longitude,ellipsoid_height_m\nA,46.1,8.9,500\n");
    assert_eq!(
        field.refusal(),
        "./bases.csv:1: no position is claimed (it may be \"Latitude\" or \"Longitude\"); write lat_deg and lon_deg, or east_m and \
         north_m (or _ft, _usft) = \"…\" under [bases.columns]"
    );
}

#[test]
fn no_base_column_says_what_to_write() {
    assert_eq!(
        Field::new("station,true_azimuth_deg,horizontal_distance_m\nA,1,20\n").refusal(),
        "./shots.csv:1: no base is named, and there is no time to tell it (it may be \"station\"); write base = \"…\" under [shots.columns]"
    );
}
