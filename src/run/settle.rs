//! The fourth step of a run: what waited for other rows. The network's features, shots of one feature, measurements and
//! strings.

use std::collections::BTreeSet;

use super::adjust::Adjusted;
use super::prepare::Prepared;
use super::sizes::Sizes;
use super::stage::Stage;
use super::stream::Streamed;
use super::tally::Tally;
use super::{RunError, composed, guarded, network, standing, waiting};
use crate::output::contract::Sink;

/// Settles what waited; gives what is to be said of it.
///
/// # Errors
/// When PROJ fails as a whole or the output cannot be written.
pub fn settle(
    prepared: &Prepared,
    adjusted: &Adjusted,
    stage: &Stage,
    streamed: Streamed,
    sink: &mut dyn Sink,
    tally: &mut Tally,
) -> Result<Vec<String>, RunError> {
    let Streamed { collected, mut joinable, waiting, standing, audited } = streamed;
    let (job, mut notes) = (prepared.job, Vec::new());
    let measured = composed::measure(stage, stage.origins, &collected, job).map_err(RunError::crs("crs"))?;
    let sizes = Sizes::from_things(measured.things());
    sink.guard(guarded::guarded(stage, &collected));
    let mut stood = BTreeSet::new();
    if let Some(network) = &adjusted.network {
        let mut settled = network::settle::settle(stage, network, &audited, &sizes).map_err(RunError::crs("crs"))?;
        joinable.append(&mut settled.joinable);
        stood.append(&mut settled.standing);
        notes.extend(tally.settle(settled, sink)?);
    }
    let mut repeats = waiting::settle(stage, &prepared.shot_rules, &waiting, job.checks.combine_repeats, &sizes, sink)?;
    drop(waiting);
    joinable.append(&mut repeats.joinable);
    stood.append(&mut repeats.standing);
    notes.extend(tally.settle(repeats, sink)?);
    for (layer, batch) in standing::settle(standing, &sizes, &stage.logs.kinds, &stood) {
        sink.write(layer, batch)?;
    }
    let settled = measured.settle(collected, joinable, job).map_err(RunError::crs("crs"))?;
    notes.extend(tally.settle(settled, sink)?);
    Ok(notes)
}
