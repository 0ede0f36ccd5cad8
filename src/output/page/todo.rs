//! The part that says what to do: rows set aside by reason, rows mapped with a suspicion by flag, each with its place and remedy.

use std::collections::BTreeMap;

use super::collect::Collected;
use super::shell::PagePart;
use super::svg::escaped;
use super::table::{Table, TableCell, clean};
use crate::numeric::words::{counted, grouped};
use crate::output::contract::Account;
use crate::records::ledger::{Flag, Reason};

/// The part; none where nothing waits.
pub fn part(collected: &Collected, account: &Account) -> Option<PagePart> {
    let mut html = String::new();
    let mut held: BTreeMap<Reason, u64> = account.shots.held.clone();
    account.bases.held.iter().for_each(|(reason, count)| *held.entry(*reason).or_default() += count);
    let mut reasons: Vec<(Reason, u64)> = held.into_iter().collect();
    reasons.sort_by(|a, b| b.1.cmp(&a.1).then(a.0.cmp(&b.0)));
    if !reasons.is_empty() {
        html.push_str(&format!(
            "<h3>Held: {} set aside</h3><p class=\"note\">Mend the rows and run again; held.csv has every one as it stands in its log.</p>",
            counted(account.held_total(), "row", "rows")
        ));
    }
    for (reason, count) in reasons {
        html.push_str(&table_of_reason(collected, reason, count).html());
    }
    html.push_str(&flagged(collected, account));
    (!html.is_empty()).then_some(PagePart { id: "todo", title: "What to do", html })
}

/// A sentence with a capital and a full stop.
pub fn sentence(text: &str) -> String {
    let mut signs = text.chars();
    let first = signs.next().map(|sign| sign.to_uppercase().to_string()).unwrap_or_default();
    let end = if text.ends_with(['.', '?', '!']) { "" } else { "." };
    format!("{first}{}{end}", signs.as_str())
}

fn table_of_reason(collected: &Collected, reason: Reason, count: u64) -> Table {
    let title = format!("{} ({})", sentence(&reason.code().replace('_', " ")).trim_end_matches('.'), grouped(count));
    let mut table =
        Table::new(&format!("held-{}", reason.code()), &title).text("row").text("column").text("value").text("what is wrong");
    let (_, rows) = collected.held.get(reason.code()).map(|(count, rows)| (*count, rows.as_slice())).unwrap_or_default();
    // What the remedy below says already stands there alone.
    let own = |sentence: &str| if sentence == reason.advice() { String::new() } else { sentence.to_owned() };
    for row in rows {
        table.row(vec![
            TableCell::from(format!("{}:{}", row.file, row.line)),
            TableCell::from(row.column.as_str()),
            TableCell::from(row.value.as_str()),
            TableCell::from(own(&row.sentence)),
        ]);
    }
    table.note = sentence(reason.advice());
    if (rows.len() as u64) < count {
        table.note.push_str(&format!(" The first {} of {}; held.csv has them all.", rows.len(), grouped(count)));
    }
    table.without_empty_columns()
}

/// Rows with suspicions, from the ledger; where that is not written, from the features themselves.
fn flagged(collected: &Collected, account: &Account) -> String {
    let mut flags: BTreeMap<Flag, u64> = account.shots.flags.clone();
    account.bases.flags.iter().for_each(|(flag, count)| *flags.entry(*flag).or_default() += count);
    let mut flags: Vec<(Flag, u64)> = flags.into_iter().collect();
    flags.sort_by(|a, b| b.1.cmp(&a.1).then(a.0.cmp(&b.0)));
    if flags.is_empty() {
        return String::new();
    }
    let features = collected.features.kept.iter().enumerate();
    let features = features.map(|(i, of)| ((&*of.file, of.line), (of.name.as_str(), format!("f{i}"))));
    let bases = collected.bases.kept.iter().enumerate();
    let bases = bases.filter_map(|(i, of)| Some(((of.file.as_str(), of.line?), (of.name.as_str(), format!("b{i}")))));
    let places: BTreeMap<(&str, i64), (&str, String)> = bases.chain(features).collect();
    let mut html = format!(
        "<h3>Flagged: {} mapped, and worth a look</h3>",
        counted(account.shots.flagged + account.bases.flagged, "row is", "rows are")
    );
    for (flag, count) in flags {
        let has = |codes: &str| codes.split(' ').any(|code| code == flag.code());
        let mut rows: Vec<(String, i64, String)> = collected
            .suspects
            .iter()
            .filter(|(codes, _)| has(codes))
            .flat_map(|(_, (_, rows))| rows)
            .map(|row| (row.file.clone(), row.line, own_words(&row.sentence)))
            .collect();
        if collected.suspects.is_empty() {
            let own = collected.features.kept.iter().filter(|feature| has(&feature.flags)).take(50);
            rows.extend(own.map(|feature| (feature.file.to_string(), feature.line, String::new())));
        }
        rows.sort();
        let title = format!("{} ({})", sentence(&flag.code().replace('_', " ")).trim_end_matches('.'), grouped(count));
        let mut table = Table::new(&format!("flag-{}", flag.code()), &title).text("row").text("on the map").text("details");
        let shown = rows.len() as u64;
        for (file, line, detail) in rows {
            let place = match places.get(&(file.as_str(), line)) {
                Some((name, to)) => TableCell::link(name, to.clone()),
                None => TableCell::from(""),
            };
            table.row(vec![TableCell::from(format!("{file}:{line}")), place, TableCell::from(detail)]);
        }
        table.note = sentence(flag.sentence());
        if shown < count {
            table.note.push_str(&format!(" {} of {} rows; the ledger layer has them all.", grouped(shown), grouped(count)));
        }
        let table = table.without_empty_columns();
        match table.rows.is_empty() {
            true => html.push_str(&format!("<p><b>{}</b> {}</p>", escaped(&table.caption), escaped(&table.note))),
            false => html.push_str(&table.html()),
        }
    }
    html
}

/// What a row says of itself beside the sentences of its flags.
fn own_words(text: &str) -> String {
    let own: Vec<&str> = text
        .split("; ")
        .filter(|part| !Flag::ALL.iter().any(|flag| flag.sentence().split("; ").any(|known| known == *part)))
        .collect();
    clean(&own.join("; "))
}
