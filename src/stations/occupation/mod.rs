//! From a receiver's fixes to bases: when it stood where, and the mean of what it logged there.
//!
//! [`windows`] finds the occupations, [`average`] takes the robust weighted mean of one, [`merge`] joins
//! several of one base. Every fix ends in exactly one place: used for a base, set aside as outlying,
//! held as too poor, or outside every occupation; [`BasesFromFixes`] accounts for all of them.

pub mod average;
pub mod merge;
pub mod track;
pub mod windows;

use crate::numeric::words::counted;
use crate::records::fix::Epoch;
use std::collections::{BTreeMap, HashMap, HashSet};

use jiff::Timestamp;

use crate::intake::fixes;
use crate::job::{OccupationSource, Occupations, Quality};
use crate::records::base_row::HeldBase;
use crate::records::base_row::{BaseRow, Window};
use crate::records::fix::Fix;
use crate::records::ledger::{Fault, Reason};
use crate::units::Units;

/// How fixes become bases.
#[derive(Debug, Clone, Copy)]
pub struct OccupationRules<'j> {
    /// The `[bases.occupations]` table.
    pub occupations: &'j Occupations,
    /// The `[bases.quality]` table.
    pub quality: &'j Quality,
    /// Antenna height over the ground point in metres, where no list gives another.
    pub antenna_height_m: f64,
    /// The units of what is said.
    pub units: Units,
}

/// Bases made of fixes, and where every fix went.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct BasesFromFixes {
    /// The bases, in order of time.
    pub rows: Vec<BaseRow>,
    /// Fixes that were held or set aside, one entry each.
    pub held: Vec<HeldBase>,
    /// By file: fixes used.
    pub used: Vec<u64>,
    /// By file: fixes outside every occupation.
    pub outside: Vec<u64>,
    /// Bases that shots may name although no fix makes them, and why there is none.
    pub absent: Vec<(String, String)>,
    /// By index: windows that made no base, and why.
    pub unserved: BTreeMap<usize, String>,
    /// The same windows in time: a shot taken then belongs to none of the other bases.
    pub empty: Vec<EmptyWindow>,
    /// Warnings in sentences.
    pub notes: Vec<String>,
}

/// An occupation without a usable fix.
#[derive(Debug, Clone, PartialEq)]
pub struct EmptyWindow {
    /// Beginning.
    pub from: Timestamp,
    /// End.
    pub to: Timestamp,
    /// Name of the base, and why it has no position.
    pub say: String,
}

/// What is wrong with a fix by the job's rules.
pub fn poor(fix: &Fix, rules: &Quality) -> Option<Fault> {
    fixes::poor(Some(fix.kind), [("hdop", fix.hdop), ("pdop", fix.pdop)], "fix_kind", rules)
}

/// Makes bases of fixes. `windows` are the occupations that a list or the shots tell; none where the
/// fixes themselves tell them. `files` is the number of input files.
pub fn gather(epochs: Vec<Epoch>, windows: Option<Vec<Window>>, rules: &OccupationRules, files: usize) -> BasesFromFixes {
    let mut gathered = BasesFromFixes { used: vec![0; files], outside: vec![0; files], ..BasesFromFixes::default() };
    let mut sound = Vec::with_capacity(epochs.len());
    for epoch in epochs {
        match poor(&epoch.fix, rules.quality) {
            Some(fault) => gathered.held.push(held(&epoch, epoch.name.clone(), fault)),
            None => sound.push(epoch),
        }
    }
    // The outcome must not hang on the order of the logs' lines.
    sound.sort_by(|a, b| a.fix.instant.cmp(&b.fix.instant).then((a.fix.file, a.fix.line).cmp(&(b.fix.file, b.fix.line))));
    let groups = match &windows {
        Some(windows) => windows::by_windows(&sound, windows, rules.occupations),
        None => match rules.occupations.from {
            Some(OccupationSource::Column) => windows::by_name(&sound, rules.occupations),
            Some(OccupationSource::Each) => windows::each(&sound),
            _ => windows::by_stops(&sound, rules.occupations),
        },
    };
    let mut inside = vec![false; sound.len()];
    let mut parts = Vec::new();
    let mut contradictions = Vec::new();
    let key = |window: &Window| (window.name.clone(), window.from, window.to);
    let (mut served, mut few) = (HashSet::new(), HashMap::new());
    for group in groups {
        group.members.iter().for_each(|index| inside[*index] = true);
        let members: Vec<&Epoch> = group.members.iter().map(|index| &sound[*index]).collect();
        let least = rules.quality.least_epochs as usize;
        if members.len() < least {
            let label = crate::records::names::label(&group.window.name);
            let say = format!("base {label} has {}; the job wants {least}", counted(members.len() as u64, "epoch", "epochs"));
            few.insert(key(&group.window), say.clone());
            for epoch in members {
                let fault = Fault::new(Reason::FewEpochs, "", "", say.clone());
                gathered.held.push(held(epoch, Some(group.window.name.clone()), fault));
            }
            continue;
        }
        let fixes: Vec<&Fix> = members.iter().map(|epoch| &epoch.fix).collect();
        let mean = average::average(&fixes, rules.occupations.correlation_s);
        for (epoch, aside) in members.iter().zip(&mean.aside) {
            match aside {
                None => gathered.used[epoch.fix.file] += 1,
                Some(apart_m) => {
                    let label = crate::records::names::label(&group.window.name);
                    let say = format!(
                        "{} from the mean of base {label}: set aside as outlying",
                        rules.units.length().said(*apart_m, 2)
                    );
                    gathered.held.push(held(epoch, None, Fault::new(Reason::OutlyingEpoch, "", "", say)));
                }
            }
        }
        contradictions.extend(contradiction(&group.window.name, &mean, rules.occupations.correlation_s));
        served.insert(key(&group.window));
        parts.push(merge::OccupationPart::new(&group.window, &members, &mean, rules));
    }
    for (epoch, inside) in sound.iter().zip(inside) {
        gathered.outside[epoch.fix.file] += u64::from(!inside);
    }
    let why = |window: &Window| {
        (!served.contains(&key(window))).then(|| {
            let none = || format!("no usable fix of a receiver lies between {} and {}", window.from, window.to);
            few.get(&key(window)).cloned().unwrap_or_else(none)
        })
    };
    gathered.note_unserved(windows.as_deref().unwrap_or_default(), &parts, why);
    let (rows, notes) = merge::merge(parts, rules.occupations, &rules.units);
    gathered.rows = rows;
    gathered.notes = notes;
    gathered.note_contradictions(contradictions);
    gathered
}

impl BasesFromFixes {
    /// Notes the first contradictions and counts the others.
    fn note_contradictions(&mut self, mut contradictions: Vec<String>) {
        let more = contradictions.len().saturating_sub(TOLD);
        contradictions.truncate(TOLD);
        self.notes.append(&mut contradictions);
        if more > 0 {
            self.notes.push(format!(
                "And at {} the receiver's own standard errors are contradicted by its epochs.",
                counted(more as u64, "more base", "more bases")
            ));
        }
    }

    /// Notes the occupations that no base came of; `why` gives the reason.
    fn note_unserved(&mut self, windows: &[Window], parts: &[merge::OccupationPart], why: impl Fn(&Window) -> Option<String>) {
        let mut known: HashSet<&str> = parts.iter().map(|part| part.row.name.as_str()).collect();
        for (index, window) in windows.iter().enumerate() {
            let Some(why) = why(window) else { continue };
            if known.insert(&window.name) {
                self.absent.push((window.name.clone(), why.clone()));
            }
            let say =
                format!("base {} was occupied then, and has no position: {why}", crate::records::names::label(&window.name));
            self.empty.push(EmptyWindow { from: window.from, to: window.to, say });
            self.unserved.insert(index, why);
        }
    }
}

/// Bases at which a receiver is contradicted that are told each; more are counted.
const TOLD: usize = 5;

/// A sentence where the epochs contradict the standard errors that the receiver states.
fn contradiction(name: &str, mean: &average::PlaceMean, correlation_s: f64) -> Option<String> {
    let [horizontal, vertical] = mean.contradicted;
    let words = match (horizontal, vertical) {
        (Some(plan), Some(up)) => format!("{plan:.1} times as much in plan and {up:.1} times as much in height"),
        (Some(plan), None) => format!("{plan:.1} times as much in plan"),
        (None, Some(up)) => format!("{up:.1} times as much in height"),
        (None, None) => return None,
    };
    Some(format!(
        "Base {}: its epochs drift apart {words} as the receiver's own standard errors say, with errors that fade over {correlation_s:.0} s: the receiver is contradicted, and its figures are taken so much larger.",
        crate::records::names::label(name)
    ))
}

fn held(epoch: &Epoch, name: Option<String>, fault: Fault) -> HeldBase {
    HeldBase { name, place: (epoch.fix.file, epoch.fix.line, epoch.raw.to_string()), fault }
}

/// Seconds between two instants, negative where `to` is the earlier.
pub(crate) fn seconds(from: Timestamp, to: Timestamp) -> f64 {
    to.duration_since(from).as_secs_f64()
}

#[cfg(test)]
pub(crate) mod invented {
    //! Fixes of an invented receiver.

    use super::*;
    use crate::job::FixKind;
    use crate::records::base_row::{Coordinates, Height};
    use crate::records::fix::Beside;

    pub fn at(second: f64) -> Timestamp {
        Timestamp::from_millisecond(1_777_881_600_000 + (second * 1000.0) as i64).unwrap()
    }

    /// A fix so many metres east and north of a place on the equator.
    pub fn fix(second: f64, east_m: f64, north_m: f64) -> Fix {
        Fix {
            file: 0,
            line: second as u64 + 1,
            instant: at(second),
            coordinates: Coordinates::Geographic { lat_deg: north_m / 110_574.0, lon_deg: 10.0 + east_m / 111_319.5 },
            height: Some(Height::Orthometric(20.0)),
            separation_m: Some(12.0),
            kind: FixKind::Single,
            satellites: Some(9),
            hdop: Some(1.0),
            pdop: Some(1.8),
            sigma_m: None,
            speed_m_s: None,
        }
    }

    pub fn epoch(fix: Fix) -> Epoch {
        Epoch { raw: format!("line {}", fix.line).into(), name: None, beside: Beside::default(), fix }
    }
}

#[cfg(test)]
mod tests {
    use super::invented::*;
    use super::*;
    use proptest::prelude::*;

    fn rules<'j>(occupations: &'j Occupations, quality: &'j Quality) -> OccupationRules<'j> {
        OccupationRules { occupations, quality, antenna_height_m: 1.5, units: Units::default() }
    }

    /// A walk of stands and moves; every second a fix.
    fn walk() -> impl Strategy<Value = Vec<Epoch>> {
        let leg = (any::<bool>(), 5u32..60, -2.0f64..2.0, -2.0f64..2.0);
        (proptest::collection::vec(leg, 1..8), 0u64..1000).prop_map(|(legs, seed)| {
            let (mut second, mut e, mut n) = (0.0, 0.0, 0.0);
            let mut noise = seed;
            let mut epochs = Vec::new();
            for (stands, seconds, east_m_s, north_m_s) in legs {
                for _ in 0..seconds {
                    noise = noise.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                    let jitter = (noise >> 40) as f64 / f64::from(1 << 24) - 0.5;
                    let outlier = if noise.is_multiple_of(37) { 30.0 } else { 0.0 };
                    let mut fix = fix(second, e + jitter + outlier, n - jitter);
                    fix.file = (noise % 2) as usize;
                    if noise.is_multiple_of(23) {
                        fix.kind = crate::job::FixKind::Simulated;
                    }
                    epochs.push(epoch(fix));
                    second += 1.0;
                    if !stands {
                        e += east_m_s;
                        n += north_m_s;
                    }
                }
            }
            epochs
        })
    }

    proptest! {
        #[test]
        fn no_epoch_is_lost(epochs in walk(), from_windows in any::<bool>()) {
            let total = epochs.len() as u64;
            let windows = from_windows.then(|| vec![
                Window { name: "A".into(), from: at(3.0), to: at(20.0), ..Window::default() },
                Window { name: "B".into(), from: at(25.0), to: at(26.0), ..Window::default() },
            ]);
            let (occupations, quality) = (Occupations::default(), Quality { least_epochs: 4, ..Quality::default() });
            let gathered = gather(epochs, windows, &rules(&occupations, &quality), 2);
            let used: u64 = gathered.used.iter().sum();
            let outside: u64 = gathered.outside.iter().sum();
            prop_assert_eq!(used + outside + gathered.held.len() as u64, total);
            let in_bases: u64 = gathered.rows.iter().filter_map(|row| row.occupation.as_ref()).map(|made| made.epochs).sum();
            prop_assert_eq!(in_bases, used);
        }

        #[test]
        fn the_order_of_the_lines_does_not_matter(epochs in walk(), turn in 0usize..400) {
            let (occupations, quality) = (Occupations::default(), Quality::default());
            let mut turned = epochs.clone();
            turned.rotate_left(turn % epochs.len());
            turned.reverse();
            let mut one = gather(epochs, None, &rules(&occupations, &quality), 2);
            let mut other = gather(turned, None, &rules(&occupations, &quality), 2);
            let by_place = |held: &HeldBase| (held.place.0, held.place.1);
            one.held.sort_by_key(by_place);
            other.held.sort_by_key(by_place);
            prop_assert_eq!(one, other);
        }
    }
}
