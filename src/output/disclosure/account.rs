//! What an account may say.

use super::{Disclosure, Discreet, rules};
use crate::geodesy::register::Estimate;
use crate::output::asked::Asked;
use crate::output::contract::Account;
use crate::output::layers::values::Thing;
use crate::output::report::shared::SharedArms;
use crate::output::report::sources::UncertaintySources;
use crate::records::ledger::Counts;

impl Disclosure {
    /// An account as it may leave: without hashes and lengths of the logs, by which their places could be found by trial,
    /// without sentences about single rows, bases and networks, and without the bases themselves.
    #[must_use]
    pub fn account(&self, account: &Account) -> Account {
        let mut told = account.clone();
        let Some(discreet) = &self.discreet else { return told };
        [&mut told.shots, &mut told.bases].into_iter().for_each(take_flags);
        for file in &mut told.files {
            take_flags(&mut file.counts);
            file.sha256.clear();
            file.bytes = 0;
        }
        told.notes.truncate(told.notes_on_settings);
        // What was refused, and why, follows from where things are; what left is counted.
        let count = |is_string: bool| discreet.told.iter().filter(|(kind, _)| (kind == "string") == is_string).count() as u64;
        (told.measurements, told.strings) = (Asked::all(count(false)), Asked::all(count(true)));
        told.things = account.things.iter().filter_map(|thing| discreet.thing(thing)).collect();
        // Something came of the logs, whether it may be told or not.
        told.is_adjusted |= account.nothing_mapped().is_none();
        told.stations.clear();
        told.shared_errors.clear();
        told.shared_arms = SharedArms::default();
        // The part of an error that grows with the distance tells the distance.
        told.uncertainty_sources = UncertaintySources::default();
        // The known points of a frame are where the crew stood.
        told.local_fit = None;
        told.network = told.network.map(|network| network.withheld());
        let coarse: Vec<&str> = discreet.cells_m.keys().map(|index| discreet.layers[*index].as_str()).collect();
        told.notes.push(format!(
            "The exact places of {} are withheld: positions there and of the bases are middles of cells; other places are given \
             to the metre, and distances, azimuths and uncertainties are left out, as is what rows say.",
            coarse.join(", ")
        ));
        told.notes.push(
            "Keep private what tells the exact places: the logs, exact copies, and what check prints, notes on single rows among it."
                .to_owned(),
        );
        told.notes_on_settings = told.notes.len();
        told
    }
}

impl Discreet {
    /// A measured thing as it may leave, with the digits of its values that it may have; none where it may not.
    fn thing(&self, thing: &Thing) -> Option<Thing> {
        if self.is_kept_back(&thing.measure, &thing.name) {
            return None;
        }
        let value = |(name, estimate): &(&'static str, Estimate)| {
            let step = rules::value_step(name)?;
            Some((*name, Estimate { value: (estimate.value / step).round() * step, sigma: f64::NAN }))
        };
        Some(Thing {
            values: thing.values.iter().filter_map(value).collect(),
            least_to: None,
            threshold: thing.threshold.map(|(metres, _)| (metres, "")),
            warnings: String::new(),
            ..thing.clone()
        })
    }
}

fn take_flags(counts: &mut Counts) {
    counts.flags.retain(|flag, _| rules::may_be_told(*flag));
    // Of rows that are flagged for something else, not even the number.
    counts.flagged = counts.flags.values().sum();
}
