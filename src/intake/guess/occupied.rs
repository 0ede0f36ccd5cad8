//! What `[bases]` has beside its columns: points that are no bases, accuracies by a radius, occupations.

use super::ask::Draft;
use super::sample::Whole;
use super::{GuessedLog, quoted};
use crate::intake::columns::LogKind;
use crate::job::UNDECIDED;

/// Points that no row of the shots names are no bases: where the car stood, where lunch was.
pub(super) fn except(draft: &mut Draft, logs: &[&GuessedLog], all: &[GuessedLog]) {
    let shots: Vec<&GuessedLog> = all.iter().filter(|log| log.sample.kind == LogKind::Shots).collect();
    if !shots.iter().any(|log| log.has("base")) {
        return;
    }
    let is_named = |name: &str| shots.iter().any(|log| log.sample.rows.iter().flatten().any(|cell| cell == name));
    let names: Vec<&String> = logs.iter().flat_map(|log| &log.sample.names).collect();
    let (used, unused): (Vec<&String>, Vec<&String>) = names.into_iter().partition(|name| is_named(name));
    // A pattern's signs in a name are letters there.
    let plain = |name: &&&String| !name.contains(['*', '?', '[']);
    if used.is_empty() || unused.iter().filter(plain).count() == 0 {
        return;
    }
    let listed: Vec<String> = unused.iter().filter(plain).map(|name| quoted(name)).collect();
    draft.push(format!(
        "except = [{}]  # no row of the shots names them; take out of this list what is a base",
        listed.join(", ")
    ));
}

pub(super) fn bases_only(draft: &mut Draft, logs: &[&GuessedLog]) {
    if let Some(log) = logs.iter().find(|log| log.has("radius_")) {
        draft.push(format!(
            "radius_share = {}           # the share of positions within the accuracy's radius: 0.68 on most phones, 0.95, or 0.5 (CEP)",
            quoted(UNDECIDED)
        ));
        let header =
            log.guesses.iter().find(|guess| guess.canonical.starts_with("radius_")).map(|guess| guess.headers[0].clone());
        draft.ask(
            "Which share of positions lies within the accuracy's radius?",
            header.map(|header| log.evidence(&header)).unwrap_or_default(),
            &[
                ("0.68", "what phones say as a rule"),
                ("0.95", "95 %, where the receiver says so"),
                ("0.5", "half of them: circular error probable (CEP)"),
                ("0.632", "root mean square of the distance (drms)"),
                ("0.982", "twice that (2drms)"),
            ],
            true,
        );
    }
    if logs.iter().any(|log| log.sample.whole.is_some_and(Whole::has_fixes)) {
        draft.push("");
        draft.push("[bases.occupations]");
        draft.push(format!(
            "from = {}   # \"stops\" (where it stood still), \"shots\" (their own times), or \"list\" (base, start, end)",
            quoted(UNDECIDED)
        ));
        draft.ask(
            "What tells when the receiver stood at which base?",
            "",
            &[
                ("stops", "where it stood still"),
                ("shots", "the times of the shots"),
                ("list", "a list with base, start and end"),
            ],
            false,
        );
    }
}
