//! What stands on top: one sentence that anybody can repeat, the days, the accuracy, what waits.

use super::collect::Collected;
use super::table::clean;
use crate::numeric::quantiles::at_shares;
use crate::numeric::words::{counted, grouped};
use crate::output::contract::Account;
use crate::output::numbers::two_digits;
use crate::output::report::terminal::CRS_AND_NOTES;

/// Codes that the sentence names.
const MOST_CODES: usize = 6;

/// The days of the shots, as a sentence has them.
pub fn days(collected: &Collected) -> String {
    match &collected.days {
        None => String::new(),
        Some((first, last)) if first == last => words_of(first),
        // Within one month: 15 to 16 June 2026.
        Some((first, last)) if first.get(..7) == last.get(..7) => {
            let day = first.get(8..10).unwrap_or_default().trim_start_matches('0');
            format!("{} to {}", clean(day), words_of(last))
        }
        Some((first, last)) => format!("{} to {}", words_of(first), words_of(last)),
    }
}

/// `2026-06-15` as 15 June 2026.
fn words_of(day: &str) -> String {
    match day.parse::<jiff::civil::Date>() {
        Ok(date) => date.strftime("%-d %B %Y").to_string(),
        Err(_) => clean(day),
    }
}

/// What was mapped, with what accuracy, in which system.
pub fn sentences(collected: &Collected, account: &Account) -> Vec<String> {
    let mut list = vec![mapped_sentence(collected)];
    list.extend(accuracy(collected));
    list.push(format!("Coordinates: {}. Third coordinate of the layers: {}.", clean(&account.crs), clean(&account.third)));
    let units = &collected.units;
    if !units.are_metric() {
        let [length, area, volume, angle] = [units.length(), units.area(), units.volume(), units.angle()];
        list.push(format!("Units: {}, {}, {}, {}; {CRS_AND_NOTES}.", length.words, area.words, volume.words, angle.words));
    }
    list
}

fn mapped_sentence(collected: &Collected) -> String {
    let mut text = counted(collected.features.seen, "feature", "features");
    let mut codes: Vec<(&String, &u64)> = collected.codes.iter().collect();
    codes.sort_by(|a, b| b.1.cmp(a.1).then(a.0.cmp(b.0)));
    if !codes.is_empty() {
        let mut named: Vec<String> =
            codes.iter().take(MOST_CODES).map(|(code, count)| format!("{} {}", clean(code), grouped(**count))).collect();
        if codes.len() > MOST_CODES {
            named.push(counted((codes.len() - MOST_CODES) as u64, "further code", "further codes"));
        }
        text = format!("{text} ({})", named.join(", "));
    }
    if collected.bases.seen > 0 {
        text = format!("{text} from {}", counted(collected.bases.seen, "base", "bases"));
    }
    let others = [
        (things(collected), "measurement", "measurements"),
        (collected.lines.kept.iter().filter(|line| line.origin == "string").count() as u64, "line", "lines"),
        (collected.areas.kept.iter().filter(|area| area.origin == "string").count() as u64, "area", "areas"),
    ];
    for (count, one, several) in others.into_iter().filter(|(count, ..)| *count > 0) {
        text = format!("{text}, {}", counted(count, one, several));
    }
    text + "."
}

/// Measured things.
fn things(collected: &Collected) -> u64 {
    let mut names: Vec<(&str, &str)> =
        collected.measurements.kept.iter().map(|value| (value.measure.as_str(), value.name.as_str())).collect();
    names.sort_unstable();
    names.dedup();
    names.len() as u64
}

/// The 95 % radius that half of the features, and 95 % of them, keep within.
fn accuracy(collected: &Collected) -> Option<String> {
    let length = collected.units.length();
    let m = length.sign;
    let quantiles =
        |values: &[f32]| at_shares(values, [0.5, 0.95]).map(|shares| shares.map(|share| two_digits(length.value(share))));
    let [half, most] = quantiles(&collected.radii_m)?;
    let mut text = match collected.radii_m.len() {
        1 => format!("Its place is within {half} {m} (95 %)"),
        _ => format!("Half of their places are within {half} {m}, 95 % of them within {most} {m}"),
    };
    if let Some([half, most]) = quantiles(&collected.heights_m) {
        text = match collected.heights_m.len() {
            1 => format!("{text}, its height within {half} {m}"),
            _ => format!("{text}; heights within {half} {m} and {most} {m}"),
        };
    }
    Some(match collected.radii_m.len() {
        1 => text + ".",
        _ => text + ", each at 95 % probability.",
    })
}

/// What waits for a decision.
pub fn waiting(account: &Account) -> String {
    let (held, flagged) = (account.held_total(), account.shots.flagged + account.bases.flagged);
    match (held, flagged) {
        (0, 0) => String::new(),
        (held, 0) => format!("{} held: see what to do", counted(held, "row is", "rows are")),
        (0, flagged) => format!("{} to look at: see what to do", counted(flagged, "row is", "rows are")),
        (held, flagged) => {
            format!("{} held and {} flagged: see what to do", counted(held, "row is", "rows are"), grouped(flagged))
        }
    }
}
