//! Tests of the reader, each on a log of a few sentences; their positions and times are invented.

mod any_text;
mod days;
mod merging;

use std::collections::BTreeSet;

use jiff::civil::Date;

use super::{Clues, read};
use crate::records::fix::FixLog;

/// A sentence of a body: the start sign before it, the checksum behind.
fn sentence(body: &str) -> String {
    format!("${body}*{:02X}", body.bytes().fold(0, |sum, byte| sum ^ byte))
}

/// A log of sentences.
fn log(bodies: &[&str]) -> String {
    bodies.iter().map(|body| sentence(body) + "\r\n").collect()
}

/// A position at 12°30.6' south, 77°15.3' west with a height of 10 m.
fn gga(time: &str) -> String {
    format!("GPGGA,{time},1230.6000,S,07715.3000,W,1,09,0.9,10.0,M,5.0,M,,")
}

/// A valid RMC sentence at the same place.
fn rmc(time: &str, ddmmyy: &str) -> String {
    format!("GPRMC,{time},A,1230.6000,S,07715.3000,W,0.0,,{ddmmyy},,,A")
}

/// Reads a log and checks that each line is accounted for once.
fn read_all(text: &str, date: Option<Date>) -> FixLog {
    let log = read(text, 0, &Clues { date });
    let lines: Vec<u64> = log.fixes.iter().map(|fix| fix.line).chain(log.held.iter().map(|held| held.line)).collect();
    let told: BTreeSet<u64> = lines.iter().copied().collect();
    assert_eq!(told.len(), lines.len(), "a line is told twice: {log:?}");
    assert_eq!(lines.len() as u64 + log.other_lines, text.lines().count() as u64, "lines are lost: {log:?}");
    assert!(told.iter().all(|line| (1..=text.lines().count() as u64).contains(line)));
    for held in &log.held {
        assert_eq!(Some(&*held.raw), text.lines().nth(held.line as usize - 1));
    }
    assert!(log.fixes.is_sorted_by_key(|fix| fix.line) && log.held.is_sorted_by_key(|held| held.line));
    log
}

/// Instants of the fixes, as text.
fn instants(log: &FixLog) -> Vec<String> {
    log.fixes.iter().map(|fix| fix.instant.to_string()).collect()
}
