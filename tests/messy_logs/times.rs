//! Faults of dates and times: zones, changed clocks, clocks that were reset, dates without a model.

use crate::common::{BASES, Field, good, shot};

const HEAD: &str = "base,shot,time,true_azimuth_deg,horizontal_distance_m\n";
const REMEDY: &str = "is no date or time in a form that is known; write 2026-05-04T08:00:01+02:00";

fn times(times: &[&str]) -> Field {
    let rows: String = times.iter().enumerate().map(|(i, time)| format!("A,{},{time},{}.5,20\n", i + 1, 10 + i)).collect();
    Field::new(HEAD.to_owned() + &rows)
}

fn in_oslo(field: Field) -> Field {
    field.with("SHOTS", "time_zone = \"Europe/Oslo\"")
}

/// What the ledger says of a row whose time cannot be read and that needs none.
fn unread(why: &str) -> String {
    format!("the date or time cannot be read; nothing in this row needs it; {why}")
}

/// What the note of a file says, and the refusal where a time is needed.
fn without_zone(place: &str, header: &str, time: &str, table: &str) -> String {
    format!(
        "{place}: \"{header}\" has times without a zone, such as \"{time}\"; write time_zone = \"Europe/Oslo\" (or \"UTC\", \
         \"+02:00\": the clock the log was kept by) under [{table}]"
    )
}

fn no_model(date: &str) -> String {
    format!(
        "the World Magnetic Models built in cover 2020-01-01 to 2029-12-31, not {date}; write the declination of that date in \
         degrees: declination = -1.5 under [north]"
    )
}

#[test]
fn times_with_an_offset() {
    let run = times(&["2026-05-04T08:00:01Z", "2026-05-04T10:00:02+02:00", "2026-05-04 04:30:03.5-03:30"]).map();
    assert_eq!(run.column("time"), ["2026-05-04T08:00:01.000Z", "2026-05-04T08:00:02.000Z", "2026-05-04T08:00:03.500Z"]);
    assert_eq!(
        run.column("time_local"),
        ["2026-05-04T08:00:01+00:00", "2026-05-04T10:00:02+02:00", "2026-05-04T04:30:03.5-03:30"]
    );
    assert_eq!((run.types["time"].as_str(), run.flagged().len()), ("DateTime", 0));
}

#[test]
fn times_with_the_zone_in_the_job() {
    // Summer time and winter time by the zone's own rules; an offset in the row goes before them.
    let run = in_oslo(times(&["2026-01-04T08:00:01", "2026-05-04T08:00:01", "2026-05-04T08:00:01Z"])).map();
    assert_eq!(run.column("time"), ["2026-01-04T07:00:01.000Z", "2026-05-04T06:00:01.000Z", "2026-05-04T08:00:01.000Z"]);
    assert_eq!(run.column("time_local")[..2], ["2026-01-04T08:00:01+01:00", "2026-05-04T08:00:01+02:00"]);
    let run = times(&["2026-05-04T08:00:01"]).with("SHOTS", "time_zone = \"-03:30\"").map();
    assert_eq!(run.column("time"), ["2026-05-04T11:30:01.000Z"]);
    assert_eq!(
        times(&["2026-05-04T08:00:01"]).with("SHOTS", "time_zone = \"Mars/Olympus\"").refusal(),
        "\"Mars/Olympus\" is no time zone; write an IANA name such as Europe/Oslo, UTC, or an offset such as +02:00"
    );
}

#[test]
fn date_and_time_in_two_columns() {
    let log = "base,shot,DATE,TIME,true_azimuth_deg,horizontal_distance_m\n\
               A,1,2026-05-04,08:00,10,20\n\
               A,2,2026-05-04,08:00:30,11,20\n";
    let run = in_oslo(Field::new(log)).map();
    assert_eq!(run.column("time"), ["2026-05-04T06:00:00.000Z", "2026-05-04T06:00:30.000Z"]);
    // Without a zone nothing is wrong where nothing needs the time of day: the day is kept.
    let run = Field::new(log).map();
    assert_eq!((run.column("time"), run.column("time_local")), (vec!["", ""], vec!["2026-05-04", "2026-05-04"]));
}

#[test]
fn time_without_date() {
    // A time alone does not say its day; the job may.
    let run = in_oslo(times(&["08:00:01"])).map();
    let say = unread(
        "time \"08:00:01\" is a time of day without its day; map the column of dates as date, or write date = \"2026-05-04\" under \
         [shots.values]",
    );
    assert_eq!((run.flagged(), run.column("time")), (vec![["shots.csv", "2", "time_unread", say.as_str()]], vec![""]));
    let run = in_oslo(times(&["08:00:01"])).with("SHOTS", "[shots.values]\ndate = \"2026-05-04\"").map();
    assert_eq!(run.column("time"), ["2026-05-04T06:00:01.000Z"]);
}

/// The clock is asked for where shots find their bases by the time, or bases are made of a receiver's fixes; else their days are enough
/// for all that is computed, the declination too, and it is said once.
#[test]
fn times_without_a_zone_say_what_to_write() {
    let local = times(&["2026-05-04T08:00:01"]);
    let output = local.command(&["check", "job.toml"]);
    let said = String::from_utf8(output.stdout).unwrap();
    let note = without_zone("note     shots.csv", "time", "2026-05-04T08:00:01", "shots");
    assert!(said.contains(&format!("{note}. Nothing here needs the time of day, so that the day alone is kept.\n")), "{said}");
    let run = local.map();
    assert_eq!((run.flagged().len(), run.column("time"), run.column("time_local")), (0, vec![""], vec!["2026-05-04"]));
    // By a clock: no column names the base.
    let by_time = |zone: &str| {
        let mut field = Field::new("shot,time,true_azimuth_deg,horizontal_distance_m\n1,,9,20\n2,2026-05-04T07:10:02,10,20\n");
        field.job = field.job.replace("[shots]", "[join]\nby = \"last_before\"\n[shots]");
        field.write("bases.csv", "base,lat_deg,lon_deg,ellipsoid_height_m,time\nA,46.1,8.9,512.3,2026-05-04T07:00:00Z\n");
        field.with("SHOTS", zone)
    };
    // The first row that has a time decides.
    assert_eq!(by_time("").refusal(), without_zone("./shots.csv:1", "time", "2026-05-04T07:10:02", "shots"));
    assert_eq!(by_time("time_zone = \"UTC\"").map().mapped(), 1);
    let field = Field::new(good(1));
    field.write("bases.csv", "base,lat_deg,lon_deg,ellipsoid_height_m,time\nA,46.1,8.9,512.3,2026-05-04T07:00:00\n");
    assert_eq!(field.refusal(), without_zone("./bases.csv:1", "time", "2026-05-04T07:00:00", "bases"));
}

#[test]
fn one_time_without_a_zone_among_others_gives_its_day_alone() {
    let run = times(&["2026-05-04T08:00:01Z", "2026-05-04T08:00:02"]).map();
    let say = "time \"2026-05-04T08:00:02\" names no zone; write time_zone in the job";
    assert_eq!(run.flagged(), [["shots.csv", "3", "time_unread", &unread(say)]]);
    assert_eq!((run.column("time"), run.column("time_local")[1]), (vec!["2026-05-04T08:00:01.000Z", ""], "2026-05-04"));
}

#[test]
fn local_hours_that_came_twice_or_not_at_all() {
    // In Oslo summer time begins on 29 March 2026 at 2 h and ends on 25 October at 3 h.
    let (spring, autumn) = ("2026-03-29T02:30:00", "2026-10-25T02:30:00");
    let field = times(&[
        "2026-03-29T01:59:59",
        spring,
        "2026-10-25T01:59:59",
        autumn,
        "2026-10-25T02:30:00+02:00",
        "2026-10-25T02:30:00+01:00",
        "2026-10-25T03:00:00",
    ]);
    let run = in_oslo(field).map();
    let say =
        |time: &str| format!("time \"{time}\" came twice or not at all when the clocks were changed; write the offset from UTC");
    let unread = [spring, autumn].map(|time| unread(&say(time)));
    assert_eq!(
        run.flagged(),
        [["shots.csv", "3", "time_unread", unread[0].as_str()], ["shots.csv", "5", "time_unread", unread[1].as_str()]],
        "and no clock goes back in UTC"
    );
    assert_eq!(
        run.column("time"),
        [
            "2026-03-29T00:59:59.000Z",
            "",
            "2026-10-24T23:59:59.000Z",
            "",
            "2026-10-25T00:30:00.000Z",
            "2026-10-25T01:30:00.000Z",
            "2026-10-25T02:00:00.000Z"
        ]
    );
}

#[test]
fn times_that_go_back() {
    let sentence = "the time is earlier than that of the row before: was the clock reset?";
    let run = times(&[
        "2026-05-04T08:00:01Z",
        "2026-05-04T08:00:01Z",
        "2026-05-04T07:00:00Z",
        "2026-05-04T07:00:05Z",
        "2026-05-04T09:00:00Z",
    ])
    .map();
    // A repeated time is no step back; after the reset the clock runs on.
    assert_eq!(run.flagged(), [["shots.csv", "4", "time_goes_back", sentence]]);
    // The order of the log is kept.
    assert_eq!(run.column("shot"), ["1", "2", "3", "4", "5"]);
    // Each file has its own clock.
    let mut field = Field::new(good(2));
    field.write("earlier.csv", good(2).replace("05-04", "05-03"));
    field.job = field.job.replace("files = [\"shots.csv\"]", "files = [\"shots.csv\", \"earlier.csv\"]");
    assert!(field.map().flagged().is_empty());
}

#[test]
fn date_without_time() {
    let head = "base,shot,date,true_azimuth_deg,horizontal_distance_m\n";
    let run = Field::new(format!("{head}A,1,2026-05-04,10,20\nA,2,31/04/2026,10,20\nA,3,2026-02-30,10,20\nA,4,,11,20\n")).map();
    assert_eq!((run.column("time"), run.column("time_local")), (vec![""; 4], vec!["2026-05-04", "", "", ""]));
    let say = |date: &str| unread(&format!("date \"{date}\" {REMEDY}"));
    assert_eq!(
        run.flagged(),
        [["shots.csv", "3", "time_unread", &say("31/04/2026")], ["shots.csv", "4", "time_unread", &say("2026-02-30")],]
    );
}

#[test]
fn no_date_for_the_declination_model() {
    let say = "a magnetic azimuth needs the date for its declination; map a date or time column, write date under [shots.values], or \
               the declination under [north]";
    let head = "base,shot,date,magnetic_azimuth_deg,horizontal_distance_m\n";
    let run = Field::new(format!("{head}A,1,2026-05-04,10,20\nA,2,,11,20\n")).map();
    assert_eq!(run.held, [["shots.csv", "3", "no_date", "date", "", say]]);
    assert_eq!((run.mapped(), &run.summary["magnetic_models"]), (1, &serde_json::json!(["WMM2025"])));
}

#[test]
fn no_date_column_for_the_declination_model() {
    let say = "a magnetic azimuth needs the date for its declination; map a date or time column, write date under [shots.values], or \
               the declination under [north]";
    let none = "base,shot,magnetic_azimuth_deg,horizontal_distance_m\nA,1,10,20\n";
    assert_eq!(Field::new(none).map().held, [["shots.csv", "2", "no_date", "", "", say]]);
    // A declination in the job needs no date.
    let mut field = Field::new(none);
    field.job += "[north]\ndeclination = -1.5\n";
    let run = field.map();
    assert_eq!((run.column("declination_deg"), run.column("true_azimuth_deg")), (vec!["-1.5"], vec!["8.5"]));
    assert_eq!(run.summary["magnetic_models"], serde_json::json!([]));
    // Nor does a true azimuth.
    assert_eq!(Field::new(none.replace("magnetic", "true")).map().mapped(), 1);
}

#[test]
fn a_date_outside_the_models() {
    let head = "base,shot,date,magnetic_azimuth_deg,horizontal_distance_m\n";
    let dates = ["2019-12-31,10", "2020-01-01,11", "2029-12-31,12", "2030-01-01,13"];
    let rows: String = dates.iter().enumerate().map(|(i, date)| format!("A,{i},{date},20\n")).collect();
    let run = Field::new(head.to_owned() + &rows).map();
    assert_eq!(
        run.held,
        [
            ["shots.csv", "2", "no_declination", "date", "2019-12-31", &no_model("2019-12-31")],
            ["shots.csv", "5", "no_declination", "date", "2030-01-01", &no_model("2030-01-01")],
        ]
    );
    assert_eq!(run.summary["magnetic_models"], serde_json::json!(["WMM2020", "WMM2025"]));
}

#[test]
fn a_date_that_a_week_rollover_set_back() {
    // 4 May 2026 less 1024 weeks: no model covers it, so that it is not taken in silence.
    let head = "base,shot,time,magnetic_azimuth_deg,horizontal_distance_m\n";
    let run = Field::new(format!("{head}A,1,2006-09-18T08:00:01Z,10,20\n")).map();
    assert_eq!(run.held, [["shots.csv", "2", "no_declination", "time", "2006-09-18T08:00:01Z", &no_model("2006-09-18")]]);
}

#[test]
fn time_of_a_base_that_is_none() {
    let field = Field::new(good(1) + &shot("B", 2, "9", "0", "20"));
    let bases = BASES.replacen('\n', ",time\n", 1).replace(".3\n", ".3,2026-05-04T07:00:00Z\n").replace(".1\n", ".1,noon\n");
    field.write("bases.csv", bases);
    let run = field.map();
    assert!(run.held.is_empty(), "shots find their bases by name: {:?}", run.held);
    assert_eq!(
        (run.base_column("time"), run.base_column("flags")),
        (vec!["2026-05-04T07:00:00.000Z", ""], vec!["", "time_unread"])
    );
}
