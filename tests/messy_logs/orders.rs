//! Dates in the forms that people write, the order of day, month and year, and times that cannot be read.

use crate::common::{BASES, Field, good};

const HEAD: &str = "base,shot,date,true_azimuth_deg,horizontal_distance_m\n";

fn dates(dates: &[&str]) -> Field {
    let rows: String = dates.iter().enumerate().map(|(i, date)| format!("A,{},\"{date}\",{}.5,20\n", i + 1, 10 + i)).collect();
    Field::new(HEAD.to_owned() + &rows)
}

#[test]
fn twelve_ways_to_write_one_time() {
    let mut field = Field::new(include_str!("forms/dates.csv"));
    field.write("bases.csv", include_str!("forms/bases.csv"));
    field.job = field.job.replace("EPSG:32632", "EPSG:32616");
    let run = field.with("SHOTS", "time_zone = \"UTC\"").map();
    assert!(run.held.is_empty(), "{:?}", run.held);
    let times = run.column("time");
    assert_eq!(times.len(), 12);
    // The last has no time of day.
    assert_eq!((times[11], run.column("time_local")[11]), ("", "2026-10-14"));
    for (i, time) in times[..11].iter().enumerate() {
        // The day number has three decimals: 0.545 of a day.
        let wanted = if i == 10 { "2026-10-14T13:04:48.000Z" } else { "2026-10-14T13:05:00.000Z" };
        assert_eq!(*time, wanted, "row {}", i + 1);
    }
}

#[test]
fn one_day_above_twelve_settles_the_order_of_its_column() {
    let run = dates(&["04/05/2026", "05/05/2026", "13/05/2026"]).map();
    assert_eq!(run.column("time_local"), ["2026-05-04", "2026-05-05", "2026-05-13"]);
    let settled = &run.input("shots.csv")["dates"][0];
    assert_eq!((&settled["column"], &settled["order"], &settled["line"]), (&"date".into(), &"day_month_year".into(), &4.into()));
    let said = String::from_utf8(run.output.stdout.clone()).unwrap();
    assert!(said.contains("dates in \"date\": day, month, year (13/05/2026 in line 4)"), "{said}");
    let run = dates(&["04/05/2026", "05/13/2026"]).map();
    assert_eq!(run.column("time_local"), ["2026-04-05", "2026-05-13"]);
}

#[test]
fn an_order_that_nothing_tells_is_asked_for_and_each_answer_is_taken() {
    let log = ["12/05/2026", "04/05/2026"];
    assert_eq!(
        dates(&log).refusal(),
        "./shots.csv:2: \"date\" is \"12/05/2026\": that may be 2026-05-12 (day, month, year) or 2026-12-05 (month, day, year), and no \
         other date of the file tells; write date_order = \"day_month_year\" or \"month_day_year\" under [shots]"
    );
    for (order, wanted) in [("day_month_year", ["2026-05-12", "2026-05-04"]), ("month_day_year", ["2026-12-05", "2026-04-05"])] {
        let run = dates(&log).with("SHOTS", &format!("date_order = \"{order}\"")).map();
        assert_eq!(run.column("time_local"), wanted, "{order}");
    }
}

#[test]
fn a_column_of_two_orders_is_asked_for_where_a_date_hangs_on_it() {
    // Each by itself can be read in one way alone.
    assert_eq!(dates(&["10/14/2026", "14/10/2026"]).map().column("time_local"), ["2026-10-14", "2026-10-14"]);
    assert_eq!(
        dates(&["10/14/2026", "14/10/2026", "04/05/2026"]).refusal(),
        "./shots.csv:4: \"date\" has dates of two orders, \"14/10/2026\" in line 3 and \"10/14/2026\" in line 2, so that \"04/05/2026\" \
         may be of either; mend those of one order, or write date_order = \"day_month_year\" or \"month_day_year\" under [shots]: dates \
         that are none in that order are then not read"
    );
    let run = dates(&["10/14/2026", "14/10/2026", "04/05/2026"]).with("SHOTS", "date_order = \"day_month_year\"").map();
    assert_eq!(run.column("time_local"), ["", "2026-10-14", "2026-05-04"]);
    let say = "date \"10/14/2026\" is no date in the order that date_order under [shots] names; mend the date, or the key";
    assert!(run.flagged()[0][3].contains(say), "{:?}", run.flagged());
}

#[test]
fn names_of_months_in_the_crews_languages() {
    // 4 May 2026; names as in Unicode CLDR.
    let written = [
        "4 May 2026",
        "May 4, 2026",
        "4. Mai 2026",
        "4 mai 2026",
        "4 de mayo de 2026",
        "4 de maio de 2026",
        "4 maggio 2026",
        "4 mei 2026",
        "4 maja 2026",
        "4 maj 2026",
        "4. maj 2026",
        "4. toukokuuta 2026",
        "den 4 maj 2026",
        "Monday, 4 May 2026",
        "04-may-26",
    ];
    assert_eq!(dates(&written).map().column("time_local"), vec!["2026-05-04"; written.len()]);
}

#[test]
fn date_and_time_in_two_cells_with_the_signs_of_other_countries() {
    let head = "base;shot;date;time;true_azimuth_deg;horizontal_distance_m\n";
    let times = ["12h30", "12.30", "12:30 Uhr", "kl. 12.30", "klo 12.30", "12:30 PM", "12 h 30", "1230", "12:30"];
    let rows: String = times.iter().enumerate().map(|(i, time)| format!("A;{i};14.10.2026;{time};{}.5;20\n", 10 + i)).collect();
    let run = Field::new(head.to_owned() + &rows).with("SHOTS", "time_zone = \"UTC\"").map();
    assert_eq!(run.column("time"), vec!["2026-10-14T12:30:00.000Z"; times.len()]);
    // A spreadsheet's day number and part of the day, in two cells as well.
    let rows = "A;1;46309;0,5;10,5;20\nA;2;46309;0,25;11,5;20\nA;3;46309;0,125;11,5;20\n";
    let run = Field::new(head.to_owned() + rows).with("SHOTS", "time_zone = \"UTC\"").map();
    let hours: Vec<&str> = run.column("time").iter().map(|time| &time[11..16]).collect();
    assert_eq!(hours, ["12:00", "06:00", "03:00"], "0,25 is a part of the day as its neighbours are");
}

#[test]
fn what_no_calendar_and_no_clock_has_is_not_read() {
    let odd = ["31/02/2026", "14/13/2026", "soon", "14/10", "2026", "00/05/2026"];
    let run = dates(&odd).map();
    assert_eq!((run.mapped(), run.column("time_local")), (odd.len(), vec![""; odd.len()]));
    assert_eq!(run.column("flags"), vec!["time_unread"; odd.len()]);
}

#[test]
fn a_time_that_cannot_be_read_holds_a_row_only_where_something_needs_it() {
    let log = good(2).replacen("2026-05-04T08:00:02Z", "noon", 1);
    // From true north nothing needs it.
    let run = Field::new(&log).map();
    assert_eq!(run.column("flags"), ["", "time_unread"]);
    let say = "the date or time cannot be read; nothing in this row needs it; time \"noon\" is no date or time in a form that is known; \
               write 2026-05-04T08:00:01+02:00";
    assert_eq!(run.flagged(), [["shots.csv", "3", "time_unread", say]]);
    // The declination by the model does.
    let run = Field::new(log.replace("true_azimuth", "magnetic_azimuth")).map();
    let say = "time \"noon\" is no date or time in a form that is known; write 2026-05-04T08:00:01+02:00";
    assert_eq!(run.held, [["shots.csv", "3", "not_a_time", "time", "noon", say]]);
    // One in degrees does not.
    let mut field = Field::new(log.replace("true_azimuth", "magnetic_azimuth"));
    field.job += "[north]\ndeclination = -1.5\n";
    assert!(field.map().held.is_empty());
    // Corrections by date do.
    let run = Field::new(&log)
        .with("INSTRUMENT", "[[instrument.calibrations]]\nfrom = \"2026-01-01\"\nazimuth_correction_deg = 1.0")
        .map();
    assert_eq!(run.held[0][2..5], ["not_a_time", "time", "noon"]);
}

#[test]
fn a_join_by_time_needs_the_time_of_shots_and_bases() {
    let bases = BASES.replacen('\n', ",time\n", 1).replace(".3\n", ".3,2026-05-04T07:00:00Z\n").replace(".1\n", ".1,noon\n");
    let log = good(2).replacen("2026-05-04T08:00:02Z", "noon", 1).replace("base,", "stand,");
    let mut field = Field::new(log);
    field.write("bases.csv", &bases);
    field.job += "[join]\nby = \"last_before\"\nlimit_s = 36000\n";
    let run = field.map();
    let say = "time \"noon\" is no date or time in a form that is known; write 2026-05-04T08:00:01+02:00";
    assert_eq!(
        run.held,
        [["bases.csv", "3", "not_a_time", "time", "noon", say], ["shots.csv", "3", "not_a_time", "time", "noon", say]]
    );
}

#[test]
fn a_time_of_day_without_its_day_says_what_to_map() {
    let field = Field::new(good(1).replace("2026-05-04T", "").replace('Z', "").replace("true_azimuth", "magnetic_azimuth"));
    let run = field.with("SHOTS", "time_zone = \"Europe/Oslo\"").map();
    let say = "time \"08:00:01\" is a time of day without its day; map the column of dates as date, or write date = \"2026-05-04\" under \
               [shots.values]";
    assert_eq!(run.held, [["shots.csv", "2", "not_a_time", "time", "08:00:01", say]]);
}
