//! The short text of a run for the terminal, with or without colour.

use std::collections::BTreeMap;
use std::fmt::Write;

use super::styled::{FAINT, HELD, STRONG, WRONG};
use super::values::{self, ValuesShown};
use super::written;
use crate::numeric::words::{counted, grouped};
use crate::output::contract::Account;
use crate::records::ledger::{Flag, Reason};
use crate::records::shown::{message, visible};
use crate::units::Units;

/// What a run says first: counts, how the logs were read, what the network found, notes.
pub fn opening(account: &Account, units: &Units) -> String {
    let mut text = String::new();
    // Writing to a String does not fail.
    let _ = write_opening(&mut text, account, units);
    text
}

/// What it ends with: the values that were asked for, what needs a decision, and what all of it is in. `rows` says of each reason which rows
/// were held, where they are known.
pub fn ending(account: &Account, look: &ValuesShown, rows: &BTreeMap<Reason, String>) -> String {
    let mut text = values::told(&account.things, look);
    let _ = write_ending(&mut text, account, look, rows);
    text
}

fn write_opening(text: &mut String, account: &Account, units: &Units) -> std::fmt::Result {
    let shots = &account.shots;
    if let Some(why) = account.nothing_mapped() {
        writeln!(text, "{WRONG}{}{WRONG:#}", visible(&why))?;
    }
    writeln!(
        text,
        "{STRONG}{}{STRONG:#}, {} held, {} flagged; {}",
        account.came_of_it(),
        grouped(shots.held_total()),
        grouped(shots.flagged),
        bases(account)
    )?;
    if shots.repeats > 0 {
        writeln!(
            text,
            "  {} to features mapped already: joined in their points or left out by a test",
            counted(shots.repeats, "further shot", "further shots")
        )?;
    }
    if shots.composed > 0 {
        writeln!(
            text,
            "  {} measurements without being points of their own",
            counted(shots.composed, "row served", "rows served")
        )?;
    }
    if shots.without_height > 0 {
        writeln!(text, "  {} mapped without a height: nothing vertical was measured", grouped(shots.without_height))?;
    }
    for sentence in written::sentences(&account.files) {
        writeln!(text, "reads    {}", visible(&sentence))?;
    }
    for sentence in account.network.iter().flat_map(|network| network.lines(units)) {
        writeln!(text, "network  {}", visible(&message(&sentence)))?;
    }
    for sentence in account.local_fit.iter().flat_map(|fit| fit.lines(units)) {
        writeln!(text, "fit      {}", visible(&message(&sentence)))?;
    }
    for note in &account.notes {
        writeln!(text, "note     {}", visible(&message(note)))?;
    }
    Ok(())
}

fn write_ending(text: &mut String, account: &Account, look: &ValuesShown, rows: &BTreeMap<Reason, String>) -> std::fmt::Result {
    let shots = &account.shots;
    let mut held: BTreeMap<Reason, u64> = shots.held.clone();
    account.bases.held.iter().for_each(|(reason, count)| *held.entry(*reason).or_default() += count);
    let mut flags: BTreeMap<Flag, u64> = shots.flags.clone();
    account.bases.flags.iter().for_each(|(flag, count)| *flags.entry(*flag).or_default() += count);
    // Of totals and notes beside a table nothing is to be decided.
    let beside = held.remove(&Reason::NoRow);
    let held = held.iter().map(|(reason, count)| (*count, Some(*reason), reason.code(), reason.advice()));
    let flags = flags.iter().map(|(flag, count)| (*count, None, flag.code(), flag.sentence()));
    let mut waiting: Vec<(u64, Option<Reason>, &str, &str)> = held.chain(flags).collect();
    // The most frequent first; of the same number what is not mapped at all.
    waiting.sort_by_key(|(count, reason, ..)| (std::cmp::Reverse(*count), reason.is_none()));
    if !waiting.is_empty() {
        writeln!(text, "{STRONG}Needs a decision{STRONG:#}")?;
    }
    for (count, reason, code, advice) in waiting {
        let word = if reason.is_some() { format!("{HELD}held{HELD:#}") } else { "flag".to_owned() };
        writeln!(text, "  {word} {:>9}  {code:<22} {FAINT}{advice}{FAINT:#}", grouped(count))?;
        text.push_str(reason.and_then(|reason| rows.get(&reason)).map_or("", String::as_str));
    }
    if let Some(count) = beside {
        let is_one = if count == 1 { "row is" } else { "rows are" };
        writeln!(text, "beside   {} {is_one} held as totals or notes beside the table; nothing is to be done", grouped(count))?;
        text.push_str(rows.get(&Reason::NoRow).map_or("", String::as_str));
    }
    for sentence in account.uncertainty_sources.lines() {
        writeln!(text, "errors   {sentence}")?;
    }
    writeln!(text, "CRS      {}", visible(&account.crs))?;
    writeln!(text, "height   {}", visible(&account.third))?;
    if !look.units.are_metric() {
        let [length, area, volume, angle] = [look.units.length(), look.units.area(), look.units.volume(), look.units.angle()];
        writeln!(text, "units    {}, {}, {}, {}; {CRS_AND_NOTES}", length.words, area.words, volume.words, angle.words)?;
    }
    let mut models: Vec<&str> = account.magnetic_models.clone();
    models.extend(account.geoids.iter().map(|geoid| geoid.name.as_str()));
    if !models.is_empty() {
        writeln!(text, "models   {}", visible(&models.join(", ")))?;
    }
    Ok(())
}

/// What is not in the units of the crew.
pub const CRS_AND_NOTES: &str = "places in the unit of the CRS; a key of the job is in the unit that its name ends with";

/// How many bases there are, and what they are of.
fn bases(account: &Account) -> String {
    let (used, placed, rows) = (account.bases_used, account.bases_placed, &account.bases);
    let more = if placed > 0 { format!(", {} more placed by their shots", grouped(placed)) } else { String::new() };
    if rows.read == 0 && rows.mapped == 0 && placed == 0 {
        return "no bases".to_owned();
    }
    if rows.outside_occupations == 0 && used == rows.mapped {
        return format!("{} of {} used{more}", grouped(rows.mapped), counted(rows.read, "base", "bases"));
    }
    format!(
        "{} of {}, {} held, {} outside every occupation{more}",
        counted(used, "base", "bases"),
        counted(rows.mapped, "fix or point", "fixes and points"),
        grouped(rows.held_total()),
        grouped(rows.outside_occupations)
    )
}
