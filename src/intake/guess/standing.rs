//! Where shots were taken from when no column of theirs says it: the only base that there is, the name of the file or of its sheet,
//! the time. And the plot that the name of a file says, where numbers begin again in each.

use super::columns::{Ask, candidate};
use super::{Guess, GuessedLog, quoted, times, words};
use crate::intake::columns::LogKind;

/// What a log's name says: the key of the job, its pattern, and why.
#[derive(Debug, Clone, PartialEq)]
pub struct NamedStand {
    /// `file_name` or `sheet_name`.
    pub key: &'static str,
    /// The pattern.
    pub pattern: String,
    /// Why.
    pub reason: String,
}

/// Settles what can be without a question.
pub(super) fn settle(logs: &mut [GuessedLog], base_names: &[String]) {
    let mut names: Vec<&String> = base_names.iter().collect();
    names.sort_unstable();
    names.dedup();
    let is_open = |log: &GuessedLog| log.guesses.iter().any(|guess| guess.asks.contains(&Ask::BaseColumn));
    let open: Vec<usize> = (0..logs.len()).filter(|at| is_open(&logs[*at])).collect();
    if !open.is_empty() {
        let has_one = names.len() == 1 && !logs.iter().any(|log| log.sample.whole.is_some_and(|whole| whole.has_fixes()));
        match names[..] {
            [only] if has_one => open.iter().for_each(|at| logs[*at].base = Some(only.clone())),
            _ if by_name(logs, &open, &names) || by_time(logs, &open) => {}
            _ => return plots(logs),
        }
        for at in open {
            logs[at].guesses.retain(|guess| !guess.asks.contains(&Ask::BaseColumn));
        }
    }
    plots(logs);
}

/// The name of a log's file without its folder and ending, or of its sheet.
fn name_of(log: &GuessedLog, key: &str) -> Option<String> {
    match key {
        "sheet_name" => log.sample.sheet.as_ref().map(|(sheet, _)| sheet.clone()),
        _ => std::path::Path::new(&log.sample.name).file_stem().map(|stem| stem.to_string_lossy().into_owned()),
    }
}

/// The shots' logs where all are written alike, so that one key serves them.
fn all_alike(logs: &[GuessedLog]) -> Option<Vec<usize>> {
    let shots: Vec<usize> = (0..logs.len()).filter(|at| logs[*at].sample.kind == LogKind::Shots).collect();
    let first = *shots.first()?;
    shots.iter().all(|at| logs[*at].sample.headers == logs[first].sample.headers).then_some(shots)
}

/// Files or sheets that have the name of a base in theirs, all at one place.
fn by_name(logs: &mut [GuessedLog], open: &[usize], names: &[&String]) -> bool {
    if all_alike(logs).as_deref() != Some(open) {
        return false;
    }
    for key in ["sheet_name", "file_name"] {
        let cut = |at: &usize| {
            let own = name_of(&logs[*at], key)?;
            // The longest name: "K1" is in "K10" too.
            let base =
                names.iter().filter(|name| !name.is_empty() && own.contains(name.as_str())).max_by_key(|name| name.len())?;
            let (before, behind) = own.split_once(base.as_str())?;
            Some((before.to_owned(), behind.to_owned()))
        };
        let cuts: Option<Vec<(String, String)>> = open.iter().map(cut).collect();
        let Some((first, rest)) = cuts.as_deref().and_then(<[_]>::split_first) else { continue };
        if rest.iter().all(|other| other == first) && !first.0.contains(['{', '*']) && !first.1.contains(['{', '*']) {
            let what = if key == "sheet_name" { "sheets" } else { "files" };
            let named = NamedStand {
                key,
                pattern: format!("{}{{base}}{}", first.0, first.1),
                reason: format!("the {what} have the names of the bases: each row was shot from there"),
            };
            open.iter().for_each(|at| logs[*at].named = Some(named.clone()));
            return true;
        }
    }
    false
}

/// Bases that say when the crew came to them, and shots with their times.
fn by_time(logs: &mut [GuessedLog], open: &[usize]) -> bool {
    if !open.iter().all(|at| logs[*at].has("time")) {
        return false;
    }
    let bases: Vec<usize> = (0..logs.len()).filter(|at| logs[*at].sample.kind == LogKind::Bases).collect();
    let came = |at: &usize| {
        let sample = logs[*at].sample;
        let is_time = |column: &usize| times::has_times(sample, *column) && !sample.is_numeric(*column);
        let means = |column: &usize, concept: &str| words::means(&sample.words(*column), concept);
        let of = |concept: &'static str| (0..sample.headers.len()).filter(is_time).find(move |column| means(column, concept));
        let time = of("arrival").or_else(|| of("time")).or_else(|| of("date"))?;
        let is_day = |column: &usize| *column != time && means(column, "date") && times::has_days(sample, *column);
        let day = (0..sample.headers.len()).find(is_day).filter(|_| !times::has_days(sample, time));
        (day.is_some() || times::has_days(sample, time)).then_some((*at, time, day))
    };
    let Some(found) = bases.iter().map(came).collect::<Option<Vec<_>>>().filter(|found| !found.is_empty()) else { return false };
    for (at, time, day) in found {
        let sample = logs[at].sample;
        let mut add = |canonical: &str, column: usize, why: &str| {
            let guess = candidate(canonical, why, Vec::new());
            logs[at].guesses.push(Guess { headers: vec![sample.headers[column].clone()], ..guess });
        };
        add("time", time, "when the base was occupied: no column of the shots names theirs, so that the time tells");
        if let Some(day) = day {
            add("date", day, "the day of that time");
        }
    }
    true
}

/// Numbers of trees or stands that begin again in each file or sheet, whose name says the plot.
fn plots(logs: &mut [GuessedLog]) {
    let Some(shots) = all_alike(logs).filter(|shots| shots.len() > 1) else { return };
    let first = &logs[shots[0]];
    let Some(feature) = first.guesses.iter().position(|guess| guess.canonical == "feature" && guess.headers.len() == 1) else {
        return;
    };
    let header = first.guesses[feature].headers[0].clone();
    let taken = |own: &String| own.eq_ignore_ascii_case("plot");
    if first.named.is_some() || first.sample.headers.iter().any(taken) {
        return;
    }
    let values = |at: &usize| -> Vec<&str> {
        let sample = logs[*at].sample;
        sample.column_of(&header).map(|column| sample.filled(column).collect()).unwrap_or_default()
    };
    let comes_again = shots[1..].iter().any(|at| values(at).iter().any(|name| values(&shots[0]).contains(name)));
    let composes = |at: &usize| logs[*at].wide.is_some() || logs[*at].has("role");
    let begins_at_one = |at: &usize| {
        let numbers: Option<Vec<u32>> = values(at).iter().map(|name| name.parse().ok()).collect();
        numbers.is_some_and(|numbers| numbers.iter().min() == Some(&1))
    };
    for key in ["sheet_name", "file_name"] {
        let own: Option<Vec<String>> = shots.iter().map(|at| name_of(&logs[*at], key)).collect();
        let Some(own) = own.filter(|own| (1..own.len()).all(|at| !own[..at].contains(&own[at]))) else { continue };
        let are_plots = own.iter().all(|name| words::means(&words::split(name), "plot"));
        if !comes_again || !(are_plots || shots.iter().all(|at| composes(at) && begins_at_one(at))) {
            return;
        }
        let what = if key == "sheet_name" { "sheet" } else { "file" };
        for at in &shots {
            let reason = format!("the names in {} come again in each {what}, whose name makes them unique", quoted(&header));
            logs[*at].named = Some(NamedStand { key, pattern: "{plot}".into(), reason });
            if let Some(guess) = logs[*at].guesses.iter_mut().find(|guess| guess.canonical == "feature") {
                guess.headers.insert(0, "plot".into());
                guess.reason = format!("feature by its header; the {what}'s name before it, see {key}");
            }
        }
        return;
    }
}
