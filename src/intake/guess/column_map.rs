//! The column map of a log, and its readings.

use super::ask::Draft;
use super::wide::Wide;
use super::{GuessedLog, key, quoted, roles};
use crate::job::UNDECIDED;

/// The column map of a log, its readings, and what it carries along.
pub(super) fn columns_of(draft: &mut Draft, log: &GuessedLog, table: &str) {
    for guess in &log.guesses {
        let header = match guess.headers.as_slice() {
            [one] => quoted(one),
            several => format!("[{}]", several.iter().map(|header| quoted(header)).collect::<Vec<_>>().join(", ")),
        };
        draft.push(format!("{} = {header}  # {}", key(&guess.canonical), guess.reason));
        for ask in &guess.asks {
            let (what, choices) = ask.question(guess.headers.last().map_or("", String::as_str));
            draft.ask(what, log.evidence(&guess.headers[0]), choices, false);
        }
    }
    let carried = log.carried();
    if !carried.is_empty() {
        let carried: Vec<String> = carried.iter().map(|header| header.replace('\n', " ")).collect();
        draft.push(format!("# carried along as attributes: {}", carried.join(", ")));
    }
    for (canonical, words) in [("measure", "measures"), ("role", "roles")] {
        let Some(guess) = log.guesses.iter().find(|guess| guess.canonical == canonical && !guess.translated.is_empty()) else {
            continue;
        };
        draft.push("");
        draft.push(format!("[{table}.{words}]                   # the log's own word = what it means"));
        for (word, meaning) in &guess.translated {
            draft.push(format!("{} = {}", key(word), quoted(meaning)));
        }
    }
    let mut values: Vec<String> = Vec::new();
    if let Some(base) = &log.base {
        values.push(format!("base = {}               # the only base that there is", quoted(base)));
    }
    match &log.wide {
        Some(wide) => values.push(format!("measure = \"{}\"               # {}", wide.measure, wide.reason)),
        None if log.has("role") && !log.has("measure") => values.extend(measure_of_roles(log)),
        None => {}
    }
    if !values.is_empty() {
        draft.push("");
        draft.push(format!("[{table}.values]"));
        values.into_iter().for_each(|value| draft.push(value));
    }
    if let Some(wide) = &log.wide {
        readings(draft, log, wide, table);
    }
}

fn readings(draft: &mut Draft, log: &GuessedLog, wide: &Wide, table: &str) {
    let mut asks = wide.asks.iter();
    for reading in &wide.readings {
        draft.push("");
        draft.push(format!("[[{table}.readings]]"));
        let columns: Vec<String> =
            reading.columns.iter().map(|(name, header)| format!("{} = {}", key(name), quoted(header))).collect();
        draft.push(format!("columns = {{ {} }}", columns.join(", ")));
        for (name, header) in &reading.columns {
            for _ in 0..name.matches(UNDECIDED).count() {
                if let Some(ask) = asks.next() {
                    let (what, choices) = ask.question(header);
                    draft.ask(what, log.evidence(header), choices, false);
                }
            }
        }
        draft.push(format!("values = {{ role = \"{}\" }}", reading.role));
    }
}

/// Roles without kinds: which measurement they are of is told by the roles themselves, where only one has them.
fn measure_of_roles(log: &GuessedLog) -> Option<String> {
    let header = log.guesses.iter().find(|guess| guess.canonical == "role").map(|guess| guess.headers[0].clone())?;
    let column = log.sample.headers.iter().position(|own| *own == header)?;
    let measure = roles::measure_of(&roles::roles_in(log.sample, column))?;
    Some(format!("measure = \"{measure}\"               # the roles in \"{header}\" are those of a {measure}"))
}
