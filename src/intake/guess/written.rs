//! How logs are written: their sheets, their clock, the order of their dates.

use super::ask::Draft;
use super::{Log, quoted, times};
use crate::job::{DateOrder, UNDECIDED};

/// Which sheets of workbooks are meant.
pub(super) fn sheets(draft: &mut Draft, logs: &[&Log]) {
    let named: Vec<&str> = logs
        .iter()
        .filter_map(|log| log.sample.sheet.as_ref())
        .filter(|(_, only)| !only)
        .map(|(sheet, _)| sheet.as_str())
        .collect();
    match named.as_slice() {
        [] => {}
        [one] => draft.push(format!("sheet = {}", quoted(one))),
        several => {
            draft.push(format!("sheet = \"*\"                   # of the sheets {}; or the name of one", several.join(", ")))
        }
    }
}

/// What was found about how a log is written.
pub(super) fn about(draft: &mut Draft, log: &Log) {
    let sample = log.sample;
    if let Some(whole) = sample.whole {
        draft.push(format!("# {}: {}", sample.name, whole.words()));
        return;
    }
    if let Some((line, title)) = &sample.title {
        draft.push(format!(
            "# {}: the header is in line {line}, below the title \"{}\"",
            sample.label(),
            title.replace('\n', " ")
        ));
    }
    if sample.sheet.is_some() {
        draft.push(format!("# {}: {} rows looked at", sample.label(), sample.rows.len()));
        return;
    }
    let separator = match sample.separator {
        b'\t' => "tab".to_owned(),
        sign => format!("\"{}\"", sign as char),
    };
    let decimal = if sample.decimal_comma { "comma" } else { "point" };
    draft.push(format!(
        "# {}: separator {separator}, decimal {decimal}, {}, {} rows looked at; all found again on each run",
        sample.name,
        sample.encoding,
        sample.rows.len()
    ));
}

pub(super) fn zone(draft: &mut Draft, logs: &[&Log]) {
    let Some(log) = logs.iter().find(|log| log.wants_zone()) else { return };
    if log.column_of("time").is_some_and(|column| times::is_utc(&log.sample.headers[column])) {
        draft.push("time_zone = \"UTC\"            # the header says so");
        return;
    }
    draft.push(format!(
        "time_zone = {}              # the clock the log was kept by: \"Europe/Oslo\", \"UTC\", \"+02:00\"",
        quoted(UNDECIDED)
    ));
    draft.ask(
        "By which clock were the times kept?",
        format!("{} has times without a zone; a place such as Europe/Oslo, UTC, or an offset such as +02:00", log.sample.label()),
        &[],
        false,
    );
}

/// Dates whose order no value tells.
pub(super) fn order(draft: &mut Draft, logs: &[&Log]) {
    let column = |log: &&Log| log.column_of("date").or_else(|| log.column_of("time"));
    let open = logs.iter().find_map(|log| Some((log, times::open_order(log.sample, column(log)?)?)));
    let Some((log, (value, line, days))) = open else { return };
    let named = |order: &DateOrder| serde_json::to_value(order).ok().and_then(|name| name.as_str().map(str::to_owned));
    // Where people write in other languages than English, the day stands first, as far as the table of words goes.
    if log.sample.language().is_some() && days.iter().any(|(order, _)| *order == DateOrder::DayMonthYear) {
        let (_, day) = days.iter().find(|(order, _)| *order == DateOrder::DayMonthYear).unwrap_or(&days[0]);
        draft.push(format!(
            "date_order = \"day_month_year\"   # no value tells; logs in this language have the day first: \"{value}\" in {} line {line} is {day}",
            log.sample.label()
        ));
        return;
    }
    let each: Vec<String> = days.iter().map(|(order, day)| format!("{day} ({})", named(order).unwrap_or_default())).collect();
    draft.push(format!(
        "date_order = {}             # \"{value}\" in {} line {line} is {}",
        quoted(UNDECIDED),
        log.sample.label(),
        each.join(" or ")
    ));
    draft.ask(
        "In which order are day, month and year?",
        format!("\"{value}\" in {} line {line} is {}", log.sample.label(), each.join(" or ")),
        &[("day_month_year", "the day first"), ("month_day_year", "the month first"), ("year_month_day", "the year first")],
        false,
    );
}
