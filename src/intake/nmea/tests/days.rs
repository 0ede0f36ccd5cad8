//! Days: told, carried over midnight, counted back, lacking, and a round of weeks behind.

use jiff::civil::{Date, date};

use super::{gga, instants, log, read_all, rmc};
use crate::records::fix::FixLog;
use crate::records::ledger::Reason;

fn logged(bodies: &[String], day: Option<Date>) -> FixLog {
    read_all(&log(&bodies.iter().map(String::as_str).collect::<Vec<_>>()), day)
}

#[test]
fn a_day_is_carried_over_midnight_until_the_next_dated_sentence() {
    let bodies =
        [rmc("235958", "310726"), gga("235959.5"), gga("000000.5"), gga("120000"), gga("000000"), rmc("000001", "050826")];
    let log = logged(&bodies, None);
    let expected = [
        "2026-07-31T23:59:58Z",
        "2026-07-31T23:59:59.5Z",
        "2026-08-01T00:00:00.5Z",
        "2026-08-01T12:00:00Z",
        // From noon to midnight the time falls by 12 h exactly: a clock that was set back, not a new day.
        "2026-08-01T00:00:00Z",
        "2026-08-05T00:00:01Z",
    ];
    assert_eq!(instants(&log), expected);
}

#[test]
fn a_small_step_back_stays_in_its_day() {
    let log = logged(&[rmc("101500", "140625"), gga("101000"), gga("220001"), gga("100000")], None);
    let expected = ["2025-06-14T10:15:00Z", "2025-06-14T10:10:00Z", "2025-06-14T22:00:01Z", "2025-06-15T10:00:00Z"];
    assert_eq!(instants(&log), expected);
}

#[test]
fn epochs_before_the_first_date_count_back_from_it_over_midnights() {
    let zda = "GNZDA,000002.00,01,03,2028,00,00".to_owned();
    let log = logged(&[gga("235958"), gga("000000"), gga("235959"), gga("000001"), gga("000002"), zda], Some(date(2020, 1, 1)));
    let expected =
        ["2028-02-28T23:59:58Z", "2028-02-29T00:00:00Z", "2028-02-29T23:59:59Z", "2028-03-01T00:00:01Z", "2028-03-01T00:00:02Z"];
    assert_eq!(instants(&log), expected);
    assert_eq!(log.other_lines, 1);
}

#[test]
fn the_clue_is_the_day_of_the_first_epoch_where_no_sentence_tells_one() {
    let log = logged(&[gga("235959"), gga("000000")], Some(date(2026, 12, 31)));
    assert_eq!(instants(&log), ["2026-12-31T23:59:59Z", "2027-01-01T00:00:00Z"]);
}

#[test]
fn without_any_day_every_epoch_is_held_once() {
    let log =
        logged(&[gga("101530.00"), gga("101531.00"), "GPRMC,101531.00,A,1230.6000,S,07715.3000,W,0.0,,,,,A".to_owned()], None);
    assert_eq!((log.fixes.len(), log.other_lines), (0, 1));
    let told: Vec<_> = log.held.iter().map(|held| (held.line, held.fault.reason, &*held.fault.value)).collect();
    assert_eq!(told, [(1, Reason::FixWithoutDate, "101530.00"), (2, Reason::FixWithoutDate, "101531.00")]);
}

#[test]
fn years_of_two_digits_turn_at_eighty() {
    let years = ["010180", "311299", "010100", "311279"].map(|day| instants(&logged(&[rmc("000000", day)], None)));
    assert_eq!(years.concat(), ["1980-01-01T00:00:00Z", "1999-12-31T00:00:00Z", "2000-01-01T00:00:00Z", "2079-12-31T00:00:00Z"]);
}

/// 2006-09-30 is 7168 days, 1024 weeks, before 2026-05-16.
#[test]
fn a_date_whole_rounds_of_weeks_behind_the_job_or_the_log_is_held() {
    let by_clue = logged(&[gga("101529"), rmc("101530", "300906"), gga("101531")], Some(date(2026, 5, 16)));
    assert_eq!((by_clue.fixes.len(), by_clue.held.len()), (0, 3));
    let fault = &by_clue.held[0].fault;
    assert_eq!((fault.reason, &*fault.column, &*fault.value), (Reason::Sentence, "date", "2006-09-30"));
    assert!(fault.sentence.starts_with("RMC says 2006-09-30, which is 1024 weeks before the 2026-05-16 of the job"), "{fault:?}");

    // The day after, and two rounds: 1987-02-15 is 2048 weeks before 2026-05-17.
    let twice = logged(&[rmc("101530", "150287")], Some(date(2026, 5, 16)));
    assert!(twice.held[0].fault.sentence.contains("2048 weeks"), "{twice:?}");

    let zda = |day: &str| format!("GPZDA,101531,{day},00,00");
    let by_log = logged(&[rmc("101530", "300906"), gga("101531"), zda("16,05,2026"), gga("101532")], None);
    assert_eq!(instants(&by_log), ["2026-05-16T10:15:31Z", "2026-05-16T10:15:32Z"]);
    assert_eq!(by_log.held[0].line, 1);
    assert!(by_log.held[0].fault.sentence.contains("1024 weeks before the 2026-05-16 that this log has"), "{by_log:?}");

    // Years that are not whole rounds are the log's own affair.
    assert_eq!(logged(&[rmc("101530", "140625")], Some(date(2026, 5, 16))).fixes.len(), 1);
}

#[test]
fn two_dates_at_one_time_are_held() {
    let bodies = [rmc("101530", "140625"), "GPZDA,101530,15,06,2025,00,00".to_owned(), rmc("101531", "140625")];
    let log = logged(&bodies, None);
    assert_eq!(instants(&log), ["2025-06-14T10:15:31Z"]);
    let fault = &log.held[0].fault;
    assert_eq!(
        fault.sentence,
        "RMC says 2025-06-14 and ZDA says 2025-06-15 at the same time of day: which is right cannot be told"
    );
}

#[test]
fn a_leap_second_ends_its_day_and_keeps_its_epochs_apart() {
    let log = logged(&[rmc("235959.50", "311216"), gga("235960.00"), gga("235960.50"), gga("000000.00")], None);
    let expected =
        ["2016-12-31T23:59:59.5Z", "2016-12-31T23:59:59.999999999Z", "2016-12-31T23:59:59.999999999Z", "2017-01-01T00:00:00Z"];
    assert_eq!(instants(&log), expected);
    assert_eq!(logged(&[rmc("225960", "311216")], None).held[0].fault.column, "time");
}

#[test]
fn nanoseconds_are_kept() {
    assert_eq!(instants(&logged(&[rmc("010203.1234567891", "140625")], None)), ["2025-06-14T01:02:03.123456789Z"]);
}

#[test]
fn midnight_without_reception_counts_once_a_fix_has_set_the_clock() {
    let void = |time: &str| format!("GPGGA,{time},,,,,0,00,99.99,,,,,,");
    // Before the first fix the time is not the receiver's own yet.
    let log = logged(&[void("235950"), gga("100000"), gga("230000"), void("000001"), gga("120000")], Some(date(2026, 5, 16)));
    assert_eq!(instants(&log), ["2026-05-16T10:00:00Z", "2026-05-16T23:00:00Z", "2026-05-17T12:00:00Z"]);
    assert!(log.held.iter().all(|held| held.fault.reason == Reason::NoFix) && log.held.len() == 2);
}

#[test]
fn dates_that_are_none_hold_their_sentence() {
    for (body, value) in [
        (rmc("101530", "310225"), "310225"),
        (rmc("101530", "14062"), "14062"),
        ("GPZDA,101530,14,06,25,00,00".to_owned(), "25-06-14"),
        ("GPZDA,101530,06,01,1900,00,00".to_owned(), "1900-01-06"),
        ("GPZDA,101530,,06,2025,00,00".to_owned(), "2025-06-"),
    ] {
        let log = logged(&[body], None);
        assert_eq!((&*log.held[0].fault.column, &*log.held[0].fault.value), ("date", value));
    }
    let log = logged(&["GPZDA,101530,,,,,".to_owned(), "GPZDA,,,,,,".to_owned()], None);
    assert_eq!(log.other_lines, 2);
    let end_of_time = logged(&["GPZDA,235959,31,12,9999,00,00".to_owned(), gga("235959")], None);
    assert_eq!((end_of_time.held.len(), end_of_time.fixes.len()), (1, 0));
}
