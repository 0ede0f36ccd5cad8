//! Dates and times in 10,000 drawn forms, against Python's own parsers: `reference/dates.py` draws, writes and reads them, and says how.

use jiff::tz::TimeZone;
use standoff::inside::intake::cell::CellFormat;
use standoff::inside::intake::dates::Style;
use standoff::job::DateOrder;

const DRAWN: &str = include_str!("reference/dates.tsv");
/// Rows of the table; of these, forms that no calendar and no clock has.
const ROWS: (usize, usize) = (10_000, 500);

/// The instant in milliseconds since 1970 that a row's cells say in UTC.
fn read(order: &str, date: &str, time: &str) -> Option<i64> {
    let order = match order {
        "d" => Some(DateOrder::DayMonthYear),
        "m" => Some(DateOrder::MonthDayYear),
        "y" => Some(DateOrder::YearMonthDay),
        _ => None,
    };
    let style = Style { order, ..Style::default() };
    let format = CellFormat { time_zone: Some(TimeZone::UTC), ..CellFormat::default() };
    let cell = |text: &'static str| (!text.is_empty()).then_some((text, style));
    let (date, time): (&'static str, &'static str) = (date.to_owned().leak(), time.to_owned().leak());
    let when = format.when(cell(date), cell(time)).ok()??;
    Some(when.instant?.0.as_millisecond())
}

#[test]
fn every_drawn_form_is_read_as_python_reads_it() {
    let (mut rows, mut none, mut wrong) = (0, 0, Vec::new());
    for line in DRAWN.lines() {
        let [order, date, time, wanted] = line.split('\t').collect::<Vec<_>>()[..] else { panic!("{line}") };
        rows += 1;
        none += usize::from(wanted == "-");
        let got = read(order, date, time);
        if got != wanted.parse().ok() {
            wrong.push(format!("{line}: {got:?}"));
        }
    }
    assert_eq!((rows, none), ROWS);
    assert!(wrong.is_empty(), "{} of {rows}:\n{}", wrong.len(), wrong[..wrong.len().min(40)].join("\n"));
}
