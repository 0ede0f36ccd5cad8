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

    fn window(name: &str, from: f64, to: f64) -> Window {
        Window { name: name.into(), from: at(from), to: at(to), ..Window::default() }
    }

    /// An epoch each second that stands at a place.
    fn standing(seconds: std::ops::RangeInclusive<u32>) -> Vec<Epoch> {
        seconds.map(|second| epoch(fix(f64::from(second), 0.0, 0.0))).collect()
    }

    /// Why fixes are held, each sentence with the number of its fixes, by the first line.
    fn reasons(gathered: &BasesFromFixes) -> Vec<(Option<&str>, Reason, &str, usize)> {
        let mut held: Vec<&HeldBase> = gathered.held.iter().collect();
        held.sort_by_key(|held| (held.place.0, held.place.1));
        let told = held.chunk_by(|a, b| a.fault.sentence == b.fault.sentence);
        told.map(|of| (of[0].name.as_deref(), of[0].fault.reason, &of[0].fault.sentence[..], of.len())).collect()
    }

    #[test]
    fn a_base_wants_its_epochs() {
        let (occupations, quality) = (Occupations::default(), Quality { least_epochs: 4, ..Quality::default() });
        let windows = vec![
            window("A", 0.0, 3.0),
            window("B", 10.0, 12.0),
            window("C", 20.0, 29.0),
            window("B", 30.0, 30.0),
            window("A", 40.0, 41.0),
            window("C", 50.0, 51.0),
        ];
        let epochs = [standing(0..=4), standing(10..=12), standing(30..=30), standing(40..=41)].concat();
        let gathered = gather(epochs, Some(windows), &rules(&occupations, &quality), 2);
        assert_eq!(gathered.rows.iter().map(|row| row.name.as_str()).collect::<Vec<_>>(), ["A"]);
        assert_eq!((&gathered.used, &gathered.outside), (&vec![4, 0], &vec![1, 0]));
        let few = |name: &str, count: &str| format!("base {name} has {count}; the job wants 4");
        assert_eq!(
            reasons(&gathered),
            [
                (Some("B"), Reason::FewEpochs, few("B", "3 epochs").as_str(), 3),
                (Some("B"), Reason::FewEpochs, few("B", "1 epoch").as_str(), 1),
                (Some("A"), Reason::FewEpochs, few("A", "2 epochs").as_str(), 2)
            ]
        );
        // A base that has another position is not absent; each is told once, by its first window.
        let none = |from: &str, to: &str| format!("no usable fix of a receiver lies between {from} and {to}");
        let of_c = none("2026-05-04T08:00:20Z", "2026-05-04T08:00:29Z");
        assert_eq!(gathered.absent, [("B".to_owned(), few("B", "3 epochs")), ("C".to_owned(), of_c.clone())]);
        let unserved: Vec<(usize, &str)> = gathered.unserved.iter().map(|(index, why)| (*index, why.as_str())).collect();
        let last = none("2026-05-04T08:00:50Z", "2026-05-04T08:00:51Z");
        let (b3, b1, a2) = (few("B", "3 epochs"), few("B", "1 epoch"), few("A", "2 epochs"));
        assert_eq!(unserved, [(1, b3.as_str()), (2, of_c.as_str()), (3, b1.as_str()), (4, a2.as_str()), (5, last.as_str())]);
        assert_eq!(gathered.empty.len(), 5);
        assert_eq!((gathered.empty[1].from, gathered.empty[1].to), (at(20.0), at(29.0)));
        assert_eq!(gathered.empty[1].say, format!("base C was occupied then, and has no position: {of_c}"));
    }

    #[test]
    fn what_tells_the_occupations() {
        let by = |from: Option<OccupationSource>| {
            let mut epochs = [standing(0..=29), standing(200..=200)].concat();
            epochs.iter_mut().take(10).for_each(|epoch| epoch.name = Some("M".into()));
            let (occupations, quality) = (Occupations { from, ..Occupations::default() }, Quality::default());
            let gathered = gather(epochs, None, &rules(&occupations, &quality), 1);
            let names: Vec<String> = gathered.rows.iter().map(|row| row.name.clone()).collect();
            (names.len(), names[0].clone(), gathered.used[0], gathered.outside[0])
        };
        assert_eq!(by(Some(OccupationSource::Column)), (1, "M".to_owned(), 10, 21));
        assert_eq!(by(Some(OccupationSource::Each)), (22, "M".to_owned(), 31, 0));
        assert_eq!(by(Some(OccupationSource::Stops)), (1, "stop 1".to_owned(), 30, 1));
        assert_eq!(by(None), (1, "stop 1".to_owned(), 30, 1));
    }

    #[test]
    fn poor_and_outlying_fixes_are_held() {
        let mut epochs = standing(0..=19);
        epochs[3].fix.kind = crate::job::FixKind::Manual;
        epochs[4].fix.hdop = Some(5.1);
        epochs[5].fix.pdop = Some(7.1);
        (epochs[6].fix.hdop, epochs[6].fix.pdop) = (Some(5.0), Some(7.0));
        epochs[8] = epoch(fix(8.0, 40.0, 0.0));
        let quality = Quality { greatest_hdop: Some(5.0), greatest_pdop: Some(7.0), ..Quality::default() };
        let occupations = Occupations::default();
        let gathered = gather(epochs, Some(vec![window("A", 0.0, 19.0)]), &rules(&occupations, &quality), 1);
        let held = reasons(&gathered);
        let names: Vec<(Option<&str>, Reason, usize)> = held.iter().map(|(name, why, _, count)| (*name, *why, *count)).collect();
        let poor = (None, Reason::PoorFix, 1);
        assert_eq!(names, [poor, poor, poor, (None, Reason::OutlyingEpoch, 1)]);
        assert!(
            held[0].2.starts_with("the fix is manual") && held[1].2.starts_with("hdop 5.1") && held[2].2.starts_with("pdop 7.1")
        );
        assert_eq!(held[3].2, "40.00 m from the mean of base A: set aside as outlying");
        assert_eq!(gathered.held[3].place, (0, 9, "line 9".to_owned()));
        assert_eq!((gathered.used[0], gathered.rows[0].occupation.as_ref().unwrap().aside), (16, 1));
    }

    /// A receiver that states 5 cm and walks off by a metre in half a minute.
    #[test]
    fn receivers_that_are_contradicted_are_told_up_to_five() {
        let bases = |count: u32| {
            let epochs = (0..count).flat_map(|base| {
                (0..40).map(move |k| {
                    let second = f64::from(100 * base + k);
                    let mut of = fix(second, 0.05 * f64::from(k), 0.0);
                    of.sigma_m = Some([0.05, 0.05, 0.1]);
                    epoch(of)
                })
            });
            let windows = (0..count).map(|base| window(&format!("B{base}"), f64::from(100 * base), f64::from(100 * base + 40)));
            let (occupations, quality) = (Occupations::default(), Quality::default());
            gather(epochs.collect(), Some(windows.collect()), &rules(&occupations, &quality), 1).notes
        };
        let notes = bases(5);
        assert_eq!(notes.len(), 5);
        assert!(
            notes[4].starts_with("Base B4: its epochs drift apart ")
                && notes[4].contains(" times as much in plan as the receiver's own")
        );
        let more = |notes: &[String]| notes[5..].to_vec();
        assert_eq!(more(&bases(6)), ["And at 1 more base the receiver's own standard errors are contradicted by its epochs."]);
        assert_eq!(more(&bases(7)), ["And at 2 more bases the receiver's own standard errors are contradicted by its epochs."]);
    }

    #[test]
    fn a_contradiction_says_where() {
        let standing = standing(0..=3);
        let mut mean = average::average(&standing.iter().map(|epoch| &epoch.fix).collect::<Vec<_>>(), 90.0);
        let mut said = |contradicted| {
            mean.contradicted = contradicted;
            contradiction("A\u{1f}1", &mean, 90.0)
        };
        assert_eq!(said([None, None]), None);
        let sentence = |words: &str| {
            format!(
                "Base A/1: its epochs drift apart {words} as the receiver's own standard errors say, with errors that fade over 90 s: the receiver \
                 is contradicted, and its figures are taken so much larger."
            )
        };
        assert_eq!(said([Some(2.04), None]).unwrap(), sentence("2.0 times as much in plan"));
        assert_eq!(said([None, Some(3.06)]).unwrap(), sentence("3.1 times as much in height"));
        let both = sentence("2.0 times as much in plan and 3.1 times as much in height");
        assert_eq!(said([Some(2.04), Some(3.06)]).unwrap(), both);
    }

    #[test]
    fn seconds_have_a_sign() {
        assert_eq!((seconds(at(1.0), at(3.5)), seconds(at(3.5), at(1.0))), (2.5, -2.5));
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
