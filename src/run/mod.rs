//! The way through the house: logs → rows → sightings → vectors → points → features → layers.
//!
//! [`run`] takes a job through its five steps and hands batches to a [`Sink`] while it computes:
//! `prepare` reads the logs and settles the bases, `adjust` finds orientations and
//! adjusts the network, `stream` maps what needs no other row, `settle` what waited
//! for others, `account` says what became of it all. No formula and no format lives here.

mod account;
mod adjust;
mod areas_of_ellipses;
mod backsights;
mod base_entries;
mod batches;
mod block;
mod carried;
mod coded;
mod collected;
mod composed;
mod computed;
mod datums;
mod described;
mod error;
mod geoids;
mod guarded;
mod local;
mod map_block;
mod mapped_feature;
mod network;
mod notes;
mod prepare;
mod raw_arms;
mod records;
mod repeated;
mod settle;
mod settlement;
mod shared;
mod sighting;
mod sizes;
mod stage;
mod standing;
mod stands;
mod stream;
mod tally;
mod tie;
mod waiting;
mod windows;

use crate::job::Job;
use crate::output::contract::{Account, Sink};
use crate::stations::join::Joiner;
pub use error::{NoBase, OutsideClue, RunError};
use tally::Tally;
pub use tie::error::FitError;

/// Runs a job.
///
/// `progress` is told how many bytes of the shot logs there are and how many are done.
///
/// # Errors
/// See [`RunError`]. Rows that cannot be used are no errors: they are held.
pub fn run(job: &Job, sink: &mut dyn Sink, progress: &(dyn Fn(u64, u64) + Sync)) -> Result<Account, RunError> {
    if let Some(fit) = job.local_fit() {
        let (on_earth, tie) = tie::settled(job, fit)?;
        let mut account = run_through(&on_earth, Some(&tie), sink, progress)?;
        account.local_fit = Some(tie.summary);
        return Ok(account);
    }
    run_through(job, None, sink, progress)
}

/// All steps of a job; `tie` is what moved its local frame.
fn run_through(
    job: &Job,
    tie: Option<&tie::tied::Tie>,
    sink: &mut dyn Sink,
    progress: &(dyn Fn(u64, u64) + Sync),
) -> Result<Account, RunError> {
    let asked = local::settled(job)?;
    let job = &*areas_of_ellipses::limited(&asked);
    let (prepared, surveyed) = prepare::prepare(job, tie)?;
    let adjusted = adjust::adjust(&prepared, surveyed)?;
    let joiner = Joiner::new(&adjusted.table, &job.join);
    let stage = adjusted.stage(&prepared, &joiner);
    let mut tally = Tally::new(&prepared, &stage);
    described::begin(&prepared, &adjusted, &stage, sink)?;
    let streamed = stream::stream(&prepared, &stage, sink, &mut tally, progress)?;
    let notes = settle::settle(&prepared, &adjusted, &stage, streamed, sink, &mut tally)?;
    let mut account = account::account(&prepared, &adjusted, &stage, tally, notes, sink)?;
    account.notes.extend(areas_of_ellipses::note(&asked));
    Ok(account)
}
