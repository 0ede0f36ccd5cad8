//! How logs are written: their sheets, their clock, the order of their dates, the signs of their numbers.

use super::ask::Draft;
use super::columns::name_column;
use super::sample::Whole;
use super::{GuessedLog, open_signs, quoted, times};
use crate::intake::columns::{self, ColumnUnit, LogKind};
use crate::job::{DateOrder, UNDECIDED};
use crate::numeric::words::counted;

/// Which sheets of workbooks are meant.
pub(super) fn sheets(draft: &mut Draft, logs: &[&GuessedLog]) {
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
pub(super) fn about(draft: &mut Draft, log: &GuessedLog) {
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
    if let Some([first, last]) = sample.table_above {
        draft.push(format!(
            "# {}: lines {first} to {last} read like a table of their own and are not read: save each table as a file of its own",
            sample.label()
        ));
    }
    if sample.sheet.is_some() {
        draft.push(format!("# {}: {} looked at", sample.label(), counted(sample.rows.len() as u64, "row", "rows")));
        return;
    }
    let separator = match sample.separator {
        b'\t' => "tab".to_owned(),
        sign => format!("\"{}\"", sign as char),
    };
    let decimal = if sample.decimal_comma { "comma" } else { "point" };
    draft.push(format!(
        "# {}: separator {separator}, decimal {decimal}, {}, {} looked at; all found again on each run",
        sample.name,
        sample.encoding,
        counted(sample.rows.len() as u64, "row", "rows")
    ));
}

/// Whether instants of shots are needed: to find their bases, or to make bases of a receiver's fixes.
fn needs_instants(all: &[GuessedLog]) -> bool {
    let bases = || all.iter().filter(|log| log.sample.kind == LogKind::Bases);
    let is_of_fixes = |log: &GuessedLog| log.sample.whole.is_some_and(Whole::has_fixes);
    // A base that was occupied more than once is told by the time.
    let is_repeated = |log: &GuessedLog| {
        log.sample.base_columns.is_empty()
            && name_column(log.sample).is_some_and(|column| {
                let (different, filled) = log.sample.variety(column);
                different < filled
            })
    };
    let finds_by_time = || all.iter().filter(|log| log.sample.kind == LogKind::Shots).any(|log| !log.has("base"));
    bases().any(|log| is_of_fixes(log) || is_repeated(log)) || (bases().next().is_some() && finds_by_time())
}

/// The clock of times that name none.
pub(super) fn zone(draft: &mut Draft, kind: LogKind, logs: &[&GuessedLog], all: &[GuessedLog]) {
    let Some(log) = logs.iter().find(|log| log.wants_zone()) else { return };
    if log.column_of("time").is_some_and(|column| times::is_utc(&log.sample.headers[column])) {
        draft.push("time_zone = \"UTC\"            # the header says so");
        return;
    }
    if kind == LogKind::Shots && !needs_instants(all) {
        draft.push(
            "# time_zone = \"Europe/Oslo\"   # the clock the log was kept by; nothing here needs it, and without it the days alone are kept",
        );
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
pub(super) fn order(draft: &mut Draft, logs: &[&GuessedLog]) {
    let column = |log: &&GuessedLog| log.column_of("date").or_else(|| log.column_of("time"));
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

/// Numbers that may be read in two ways.
pub(super) fn signs(draft: &mut Draft, logs: &[&GuessedLog]) {
    let found = logs.iter().filter(|log| log.sample.whole.is_none()).find_map(|log| {
        let of_guesses = log.guesses.iter().filter(|guess| guess.canonical.contains('_') && guess.headers.len() == 1);
        let mut measured: Vec<usize> = of_guesses.filter_map(|guess| log.sample.column_of(&guess.headers[0])).collect();
        measured.extend(log.wide.iter().flat_map(|wide| wide.columns.iter().copied()));
        let is_own = |column: &usize| columns::parse(&log.sample.headers[*column].to_lowercase(), log.sample.kind);
        measured.extend(
            (0..log.sample.headers.len()).filter(|column| is_own(column).is_some_and(|(_, unit)| unit != ColumnUnit::None)),
        );
        let is_small = |column: usize| {
            let header = &log.sample.headers[column];
            let guess = log.guesses.iter().find(|guess| guess.headers.contains(header));
            let name = guess.map_or_else(|| header.to_lowercase(), |guess| guess.canonical.clone());
            ["_deg", "_gon", "_pct"].iter().any(|unit| name.ends_with(unit))
        };
        Some((log, open_signs::find(log.sample, &measured, &is_small)?))
    });
    let Some((log, open)) = found else { return };
    let (line, value) = &open.example;
    let (point, comma) = (open.with_point, open.with_comma);
    draft.push(format!(
        "decimal = {}                # \"{value}\" in {} line {line} (\"{}\") is {point} with a decimal point (\".\"), {comma} with a decimal \
         comma (\",\"), and no other value tells",
        quoted(UNDECIDED),
        log.sample.label(),
        open.header,
    ));
    draft.ask(
        "Which sign begins the decimals?",
        format!("\"{value}\" in {} line {line} (\"{}\"), and no other value tells", log.sample.label(), open.header),
        &[(".", "a point: a comma parts the thousands"), (",", "a comma: a point parts the thousands")],
        false,
    );
}
