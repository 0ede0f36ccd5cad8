//! When a receiver stood at a base: by a list, by the shots, by a column of its log, or by itself.

use jiff::{SignedDuration, Timestamp};

use super::average::{apart_m, in_space};
use super::seconds;
use crate::job::Occupations;
use crate::records::base_row::Window;
use crate::records::fix::Epoch;
use crate::records::when::ShotTime;

/// A receiver's gap longer than this ends a stop, in seconds.
const LARGEST_PAUSE_S: f64 = 60.0;
/// Where the log gives no speed, it is taken over so many seconds to each side.
const SPEED_ARM_S: f64 = 5.0;
/// So many outlying epochs in a row do not end a stop.
const STRAY_EPOCHS: usize = 3;

/// The epochs of one receiver in one occupation.
pub struct ReceiverEpochs {
    /// The occupation.
    pub window: Window,
    /// Indexes of epochs, in order of time; at least one.
    pub members: Vec<usize>,
}

/// Occupations by the times of the shots: runs of shots that name one base; without names, runs of shots.
pub fn from_shots(shots: &[ShotTime], rules: &Occupations) -> Vec<Window> {
    let mut sorted: Vec<&ShotTime> = shots.iter().collect();
    sorted.sort_by(|a, b| a.instant.cmp(&b.instant).then(a.base.cmp(&b.base)));
    let mut runs: Vec<(Option<&str>, Timestamp, Timestamp)> = Vec::new();
    for shot in sorted {
        match runs.last_mut() {
            Some((base, _, to)) if *base == shot.base.as_deref() && seconds(*to, shot.instant) <= rules.break_s => {
                *to = shot.instant
            }
            _ => runs.push((shot.base.as_deref(), shot.instant, shot.instant)),
        }
    }
    let margin = SignedDuration::try_from_secs_f64(rules.margin_s).unwrap_or_default();
    let half = |from: Timestamp, to: Timestamp| from + to.duration_since(from) / 2;
    (0..runs.len())
        .map(|i| {
            let (base, from, to) = runs[i];
            let mut window = Window {
                name: base.map_or_else(|| format!("setup {}", i + 1), str::to_owned),
                from: from.checked_sub(margin).unwrap_or(from),
                to: to.checked_add(margin).unwrap_or(to),
                ..Window::default()
            };
            // Between two bases the crew walks: neither has more than half of the way.
            if let Some((_, _, before)) = i.checked_sub(1).map(|i| runs[i]) {
                window.from = window.from.max(half(before, from));
            }
            if let Some((_, next, _)) = runs.get(i + 1) {
                window.to = window.to.min(half(to, *next));
            }
            window
        })
        .collect()
}

/// Epochs by windows, each receiver's on its own. Epochs at which the receiver says that it moves are left
/// out; an epoch in two windows belongs to the first of them.
pub fn by_windows(epochs: &[Epoch], windows: &[Window], rules: &Occupations) -> Vec<ReceiverEpochs> {
    let mut order: Vec<&Window> = windows.iter().collect();
    order.sort_by(|a, b| a.from.cmp(&b.from).then_with(|| a.name.cmp(&b.name)));
    let mut taken = vec![false; epochs.len()];
    let mut groups = Vec::new();
    for window in order {
        let first = epochs.partition_point(|epoch| epoch.fix.instant < window.from);
        let last = epochs.partition_point(|epoch| epoch.fix.instant <= window.to);
        let mut by_file: std::collections::BTreeMap<usize, Vec<usize>> = Default::default();
        for index in first..last {
            let moves = epochs[index].fix.speed_m_s.is_some_and(|speed| speed > rules.greatest_speed_m_s);
            if !taken[index] && !moves {
                taken[index] = true;
                by_file.entry(epochs[index].fix.file).or_default().push(index);
            }
        }
        groups.extend(by_file.into_values().map(|members| ReceiverEpochs { window: window.clone(), members }));
    }
    groups
}

/// Epochs by the base that the log names; a long gap begins another occupation.
pub fn by_name(epochs: &[Epoch], rules: &Occupations) -> Vec<ReceiverEpochs> {
    let mut open: std::collections::BTreeMap<(usize, &str), usize> = Default::default();
    let mut groups: Vec<ReceiverEpochs> = Vec::new();
    for (index, epoch) in epochs.iter().enumerate() {
        let Some(name) = epoch.name.as_deref() else { continue };
        let instant = epoch.fix.instant;
        match open.get(&(epoch.fix.file, name)) {
            Some(group) if seconds(groups[*group].window.to, instant) <= rules.break_s => {
                groups[*group].members.push(index);
                groups[*group].window.to = instant;
            }
            _ => {
                open.insert((epoch.fix.file, name), groups.len());
                let window = Window { name: name.to_owned(), from: instant, to: instant, ..Window::default() };
                groups.push(ReceiverEpochs { window, members: vec![index] });
            }
        }
    }
    groups
}

/// Each epoch on its own, named by its time.
pub fn each(epochs: &[Epoch]) -> Vec<ReceiverEpochs> {
    let group = |(index, epoch): (usize, &Epoch)| {
        let instant = epoch.fix.instant;
        let name = epoch.name.clone().unwrap_or_else(|| super::track::name_at(instant));
        ReceiverEpochs { window: Window { name, from: instant, to: instant, ..Window::default() }, members: vec![index] }
    };
    epochs.iter().enumerate().map(group).collect()
}

/// Epochs by the receiver's own stops: it stays slow and near the middle of its epochs for long
/// enough. Stops of all receivers are named in order of time.
pub fn by_stops(epochs: &[Epoch], rules: &Occupations) -> Vec<ReceiverEpochs> {
    let mut files: Vec<usize> = epochs.iter().map(|epoch| epoch.fix.file).collect();
    files.sort_unstable();
    files.dedup();
    let mut groups = Vec::new();
    for file in files {
        let track: Vec<usize> = (0..epochs.len()).filter(|index| epochs[*index].fix.file == file).collect();
        let points: Vec<EpochPoint> = with_speeds(&track, epochs);
        let mut begin = 0;
        while begin < points.len() {
            let members = stop_from(&points[begin..], rules);
            match members {
                Some((members, length)) => {
                    let members: Vec<usize> = members.into_iter().map(|i| track[begin + i]).collect();
                    let window = Window {
                        from: epochs[members[0]].fix.instant,
                        to: epochs[members[members.len() - 1]].fix.instant,
                        ..Window::default()
                    };
                    groups.push(ReceiverEpochs { window, members });
                    begin += length;
                }
                None => begin += 1,
            }
        }
    }
    groups.sort_by_key(|group| (group.window.from, epochs[group.members[0]].fix.file));
    let mut number = 0;
    let mut until = None;
    for group in &mut groups {
        // What two receivers logged at one time is one stop.
        if until.is_none_or(|until| group.window.from > until) {
            number += 1;
            until = Some(group.window.to);
        }
        until = until.max(Some(group.window.to));
        group.window.name = format!("stop {number}");
    }
    groups
}

/// When the receivers stood still: beginnings and ends of their stops, in any order of the epochs.
pub fn stops(epochs: &[Epoch], rules: &Occupations) -> Vec<(Timestamp, Timestamp)> {
    let mut sorted = epochs.to_vec();
    sorted.sort_by_key(|epoch| (epoch.fix.instant, epoch.fix.file, epoch.fix.line));
    by_stops(&sorted, rules).iter().map(|group| (group.window.from, group.window.to)).collect()
}

/// An epoch in space.
struct EpochPoint {
    second: f64,
    at: [f64; 3],
    speed_m_s: f64,
}

fn with_speeds(track: &[usize], epochs: &[Epoch]) -> Vec<EpochPoint> {
    let first = epochs[track[0]].fix.instant;
    let placed: Vec<(f64, [f64; 3])> =
        track.iter().map(|i| (seconds(first, epochs[*i].fix.instant), in_space(epochs[*i].fix.coordinates))).collect();
    let (mut low, mut high) = (0, 0);
    (0..placed.len())
        .map(|i| {
            let (second, at) = placed[i];
            while placed[low].0 < second - SPEED_ARM_S {
                low += 1;
            }
            while high + 1 < placed.len() && placed[high + 1].0 <= second + SPEED_ARM_S {
                high += 1;
            }
            let speed_m_s = epochs[track[i]].fix.speed_m_s.unwrap_or_else(|| {
                // The mean of the later half less that of the earlier: single jumps count little.
                let middle = |range: std::ops::RangeInclusive<usize>| {
                    let count = (range.end() - range.start() + 1) as f64;
                    let sum = range.fold((0.0, [0.0; 3]), |sum, k| (sum.0 + placed[k].0, added(sum.1, placed[k].1)));
                    (sum.0 / count, sum.1.map(|part| part / count))
                };
                let (before, behind) = (middle(low..=i), middle(i..=high));
                let seconds = behind.0 - before.0;
                if seconds > 0.0 { apart_m(behind.1, before.1) / seconds } else { 0.0 }
            });
            EpochPoint { second, at, speed_m_s }
        })
        .collect()
}

fn added(one: [f64; 3], other: [f64; 3]) -> [f64; 3] {
    [one[0] + other[0], one[1] + other[1], one[2] + other[2]]
}

/// The stop that begins with the first point: its members, and how many points it spans.
fn stop_from(points: &[EpochPoint], rules: &Occupations) -> Option<(Vec<usize>, usize)> {
    let stands = |point: &EpochPoint| point.speed_m_s <= rules.greatest_speed_m_s;
    if !stands(&points[0]) {
        return None;
    }
    let mut members = vec![0];
    let mut sum = points[0].at;
    let mut strays = 0;
    for (i, point) in points.iter().enumerate().skip(1) {
        let count = members.len() as f64;
        let near = apart_m(point.at, sum.map(|part| part / count)) <= rules.greatest_spread_m;
        let last = points[members[members.len() - 1]].second;
        if point.second - last > LARGEST_PAUSE_S {
            break;
        }
        if near && stands(point) {
            members.push(i);
            sum = added(sum, point.at);
            strays = 0;
        } else {
            strays += 1;
            if strays > STRAY_EPOCHS {
                break;
            }
        }
    }
    let last = members[members.len() - 1];
    let long_enough = members.len() > 1 && points[last].second - points[0].second >= rules.least_duration_s;
    // Strays inside belong to it, for the mean to set aside by name.
    long_enough.then(|| ((0..=last).collect(), last + 1))
}

#[cfg(test)]
mod tests {
    use super::super::invented::*;
    use super::*;

    /// A minute at (0, 0), a walk of 100 m at 1.25 m/s, two minutes at (100, 0).
    fn two_stands() -> Vec<Epoch> {
        (0..260)
            .map(|second| {
                let second = f64::from(second);
                let east = (1.25 * (second - 60.0)).clamp(0.0, 100.0);
                epoch(fix(second, east + 0.3 * (second * 0.7).sin(), 0.3 * (second * 1.3).cos()))
            })
            .collect()
    }

    #[test]
    fn stops_of_a_walk() {
        let groups = by_stops(&two_stands(), &Occupations::default());
        let found: Vec<(&str, f64, f64)> = groups
            .iter()
            .map(|group| (group.window.name.as_str(), seconds(at(0.0), group.window.from), seconds(at(0.0), group.window.to)))
            .collect();
        assert_eq!(found.len(), 2, "{found:?}");
        // The edges are blurred by the time over which the speed is taken.
        assert!(found[0].0 == "stop 1" && found[0].1 == 0.0 && (found[0].2 - 60.0).abs() <= 5.0, "{found:?}");
        assert!(found[1].0 == "stop 2" && (found[1].1 - 140.0).abs() <= 5.0 && found[1].2 == 259.0, "{found:?}");
    }

    #[test]
    fn a_named_window_reaches_from_its_first_epoch_to_its_last() {
        let rules = Occupations::default();
        let named = |second: f64| Epoch { name: Some("A".to_owned()), ..epoch(fix(second, 0.0, 0.0)) };
        // The second of them a long gap later.
        let seconds_of = [0.0, 1.0, 2.0, 3.0 + rules.break_s, 4.0 + rules.break_s];
        let groups = by_name(&seconds_of.map(named), &rules);
        let found = groups.iter().map(|of| (seconds(at(0.0), of.window.from), seconds(at(0.0), of.window.to), of.members.len()));
        assert_eq!(found.collect::<Vec<_>>(), [(0.0, 2.0, 3), (seconds_of[3], seconds_of[4], 2)]);
    }

    #[test]
    fn a_slow_walk_is_no_stop_by_the_receivers_own_speed() {
        let walk: Vec<Epoch> = (0..120)
            .map(|second| {
                let mut fix = fix(f64::from(second), 0.05 * f64::from(second), 0.0);
                fix.speed_m_s = Some(0.8);
                epoch(fix)
            })
            .collect();
        assert!(by_stops(&walk, &Occupations::default()).is_empty());
    }

    /// A first fix on the other side of the earth must not shorten the way of those that follow.
    #[test]
    fn a_walk_is_no_stop_because_the_log_begins_far_off() {
        let mut epochs = vec![epoch(fix(0.0, 0.0, 0.0))];
        epochs.extend((1..120).map(|second| {
            let mut fix = fix(f64::from(second), 0.0, 0.0);
            let lat_deg = 85.0 + 0.8 * f64::from(second) / 111_000.0;
            fix.coordinates = crate::records::base_row::Coordinates::Geographic { lat_deg, lon_deg: 10.0 };
            epoch(fix)
        }));
        assert!(by_stops(&epochs, &Occupations::default()).is_empty());
    }

    #[test]
    fn two_receivers_at_one_time_make_one_stop() {
        let mut epochs = two_stands();
        let other: Vec<Epoch> = epochs
            .iter()
            .cloned()
            .map(|mut epoch| {
                epoch.fix.file = 1;
                epoch
            })
            .collect();
        epochs.extend(other);
        epochs.sort_by_key(|epoch| (epoch.fix.instant, epoch.fix.file));
        let names: Vec<String> = by_stops(&epochs, &Occupations::default()).into_iter().map(|group| group.window.name).collect();
        assert_eq!(names, ["stop 1", "stop 1", "stop 2", "stop 2"]);
    }

    fn shot(second: f64, base: Option<&str>) -> ShotTime {
        ShotTime { instant: at(second), base: base.map(str::to_owned) }
    }

    #[test]
    fn the_shots_own_windows() {
        let shots = [shot(100.0, Some("A")), shot(160.0, Some("A")), shot(200.0, Some("B")), shot(2000.0, Some("A"))];
        let windows = from_shots(&shots, &Occupations::default());
        let seen: Vec<(&str, f64, f64)> =
            windows.iter().map(|w| (w.name.as_str(), seconds(at(0.0), w.from), seconds(at(0.0), w.to))).collect();
        // 30 s to each side, but half the way between A and B.
        assert_eq!(seen, [("A", 70.0, 180.0), ("B", 180.0, 230.0), ("A", 1970.0, 2030.0)]);
        let unnamed = from_shots(&[shot(0.0, None), shot(500.0, None), shot(5000.0, None)], &Occupations::default());
        assert_eq!(unnamed.iter().map(|w| w.name.as_str()).collect::<Vec<_>>(), ["setup 1", "setup 2"]);
    }

    #[test]
    fn a_base_named_by_the_log_is_left_and_occupied_again() {
        let mut epochs = two_stands();
        for epoch in &mut epochs {
            let second = seconds(at(0.0), epoch.fix.instant);
            epoch.name = if second < 60.0 {
                Some("A".into())
            } else if second > 150.0 {
                Some("B".into())
            } else {
                None
            };
        }
        let mut again = epochs[3].clone();
        again.fix.instant = at(4000.0);
        epochs.push(again);
        let groups = by_name(&epochs, &Occupations::default());
        let sizes: Vec<(&str, usize)> = groups.iter().map(|group| (group.window.name.as_str(), group.members.len())).collect();
        assert_eq!(sizes, [("A", 60), ("B", 109), ("A", 1)]);
    }

    /// Epochs at seconds and places east, of speeds that the receiver tells.
    fn told(of: &[(f64, f64, Option<f64>)]) -> Vec<Epoch> {
        let one = |(second, east_m, speed_m_s): &(f64, f64, Option<f64>)| {
            epoch(crate::records::fix::Fix { speed_m_s: *speed_m_s, ..fix(*second, *east_m, 0.0) })
        };
        of.iter().map(one).collect()
    }

    /// Sizes of the stops of epochs that stand at places east, each a second after the other but for those after a pause.
    fn sizes(of: &[(f64, f64, Option<f64>)]) -> Vec<usize> {
        by_stops(&told(of), &Occupations::default()).iter().map(|group| group.members.len()).collect()
    }

    fn standing(count: usize) -> Vec<(f64, f64, Option<f64>)> {
        (0..count).map(|k| (k as f64, 0.0, Some(0.0))).collect()
    }

    #[test]
    fn what_ends_a_stop() {
        // Twenty seconds are a stop, less are none.
        assert_eq!((sizes(&standing(21)), sizes(&standing(20))), (vec![21], vec![]));
        // One epoch alone is none, however short a stop may be.
        let short = Occupations { least_duration_s: 0.0, ..Occupations::default() };
        let of = |count: usize| by_stops(&told(&standing(count)), &short).len();
        assert_eq!((of(1), of(2)), (0, 1));
        // A pause of a minute does not end it, a longer one does: what comes after is a stop of its own.
        let with_pause = |pause_s: f64| {
            let later = standing(31).into_iter().map(|(second, east, speed)| (30.0 + pause_s + second, east, speed));
            sizes(&standing(31).into_iter().chain(later).collect::<Vec<_>>())
        };
        assert_eq!((with_pause(60.0), with_pause(60.5)), (vec![62], vec![31, 31]));
        // Three epochs that stray in a row stay in it, four end it; by their place, or by their speed.
        let with_strays = |strays: usize, east: f64, speed: f64| {
            let mut of = standing(64);
            of[30..30 + strays].iter_mut().for_each(|(_, at, is)| (*at, *is) = (east, Some(speed)));
            sizes(&of)
        };
        assert_eq!((with_strays(3, 6.0, 0.0), with_strays(4, 6.0, 0.0)), (vec![64], vec![30, 30]));
        assert_eq!((with_strays(3, 0.0, 0.6), with_strays(4, 0.0, 0.6)), (vec![64], vec![30, 30]));
        assert_eq!((with_strays(4, 4.99, 0.5), with_strays(4, 5.01, 0.5)), (vec![64], vec![30, 30]));
        assert_eq!(with_strays(4, 0.0, 0.51), [30, 30]);
        // Strays that are not in a row are counted anew; those at its end are not of it.
        let mut apart = standing(64);
        [20, 21, 22, 24, 25, 26].into_iter().for_each(|k: usize| apart[k].1 = 9.0);
        assert_eq!(sizes(&apart), [64]);
        let mut at_end = standing(40);
        at_end[37..].iter_mut().for_each(|of| of.1 = 9.0);
        assert_eq!(sizes(&at_end), [37]);
        // The spread is from the mean of those before: 21 at 0 and 21 at 3 m have 1.5 m, so that 6.4 m is near and 6.6 m is not.
        let from_mean = |east: f64| {
            let at = |k: usize| {
                if k < 21 {
                    0.0
                } else if k < 42 {
                    3.0
                } else {
                    east
                }
            };
            sizes(&(0..63).map(|k| (k as f64, at(k), Some(0.1))).collect::<Vec<_>>())
        };
        assert_eq!((from_mean(6.4), from_mean(6.6)), (vec![63], vec![42, 21]));
    }

    /// Speeds by differences of means over five seconds to each side, against sums over all epochs.
    #[test]
    fn speeds_are_those_of_the_means_to_each_side() {
        let seconds_at = [0.0, 0.5, 2.0, 3.0, 5.5, 6.0, 7.0, 12.0, 12.5, 17.5, 30.0];
        let epochs: Vec<Epoch> =
            seconds_at.iter().map(|second| epoch(fix(*second, 0.1 * second * second, (3.0 * second).sin()))).collect();
        let points = with_speeds(&(0..epochs.len()).collect::<Vec<_>>(), &epochs);
        for (i, point) in points.iter().enumerate() {
            let middle = |is: &dyn Fn(usize) -> bool| {
                let of: Vec<usize> =
                    (0..epochs.len()).filter(|k| is(*k) && (seconds_at[*k] - seconds_at[i]).abs() <= SPEED_ARM_S).collect();
                let mean = |value: &dyn Fn(usize) -> f64| of.iter().map(|k| value(*k)).sum::<f64>() / of.len() as f64;
                let at = |axis: usize| mean(&|k: usize| in_space(epochs[k].fix.coordinates)[axis]);
                (mean(&|k: usize| seconds_at[k]), [at(0), at(1), at(2)])
            };
            let (before, behind) = (middle(&|k| k <= i), middle(&|k| k >= i));
            let apart = (0..3).map(|axis| (behind.1[axis] - before.1[axis]).powi(2)).sum::<f64>().sqrt();
            let want = if behind.0 > before.0 { apart / (behind.0 - before.0) } else { 0.0 };
            assert!((point.speed_m_s - want).abs() < 1e-6 && point.second == seconds_at[i], "{i}: {} {want}", point.speed_m_s);
        }
        assert_eq!(points[10].speed_m_s, 0.0);
    }

    #[test]
    fn shots_within_the_break_are_of_one_run() {
        let rules = Occupations { break_s: 100.0, margin_s: 10.0, ..Occupations::default() };
        let runs = |later: f64, base: Option<&str>| {
            let windows = from_shots(&[shot(0.0, Some("A")), shot(later, base)], &rules);
            windows.iter().map(|w| (seconds(at(0.0), w.from), seconds(at(0.0), w.to))).collect::<Vec<_>>()
        };
        assert_eq!(runs(100.0, Some("A")), [(-10.0, 110.0)]);
        assert_eq!(runs(100.5, Some("A")), [(-10.0, 10.0), (90.5, 110.5)]);
        // Half of the way between two bases where it is shorter than the margin.
        assert_eq!(runs(12.0, Some("B")), [(-10.0, 6.0), (6.0, 22.0)]);
        assert_eq!(runs(30.0, None), [(-10.0, 10.0), (20.0, 40.0)]);
    }

    #[test]
    fn epochs_by_windows_and_by_names() {
        let rules = Occupations { break_s: 100.0, ..Occupations::default() };
        let window =
            |name: &str, from: f64, to: f64| Window { name: name.into(), from: at(from), to: at(to), ..Window::default() };
        // Both ends are inside; an epoch in two windows is of the first; faster than half a metre a second it is of none.
        let epochs = told(&[
            (0.0, 0.0, None),
            (1.0, 0.0, None),
            (2.0, 0.0, Some(0.5)),
            (3.0, 0.0, Some(0.51)),
            (4.0, 0.0, None),
            (5.0, 0.0, None),
        ]);
        let windows = [window("later", 2.0, 4.0), window("first", 1.0, 2.0), window("also", 1.0, 2.0)];
        let found: Vec<(String, Vec<usize>)> =
            by_windows(&epochs, &windows, &rules).into_iter().map(|group| (group.window.name, group.members)).collect();
        assert_eq!(found, [("also".to_owned(), vec![1, 2]), ("later".to_owned(), vec![4])]);
        // One name after another gap is another occupation; one name in two logs is two.
        let named = |of: &[(f64, usize, &str)]| -> Vec<Vec<usize>> {
            let epochs: Vec<Epoch> = of
                .iter()
                .map(|(second, file, name)| {
                    let mut epoch = epoch(crate::records::fix::Fix { file: *file, ..fix(*second, 0.0, 0.0) });
                    epoch.name = Some((*name).into());
                    epoch
                })
                .collect();
            by_name(&epochs, &rules).into_iter().map(|group| group.members).collect()
        };
        assert_eq!(
            named(&[(0.0, 0, "A"), (100.0, 0, "A"), (200.5, 0, "A"), (210.0, 0, "B"), (220.0, 0, "A")]),
            [vec![0, 1], vec![2, 4], vec![3]]
        );
        assert_eq!(named(&[(0.0, 0, "A"), (1.0, 1, "A"), (2.0, 0, "A")]), [vec![0, 2], vec![1]]);
    }

    /// Stops of two receivers are one where they overlap, whichever ends later.
    #[test]
    fn stops_are_numbered_in_time() {
        let stand = |file: usize, from: usize, to: usize| {
            (from..=to).map(move |k| {
                let mut of = fix(k as f64, 0.0, 0.0);
                (of.file, of.speed_m_s) = (file, Some(0.0));
                epoch(of)
            })
        };
        let names = |of: &[(usize, usize, usize)]| {
            let mut epochs: Vec<Epoch> = of.iter().flat_map(|(file, from, to)| stand(*file, *from, *to)).collect();
            epochs.sort_by_key(|epoch| (epoch.fix.instant, epoch.fix.file));
            let groups = by_stops(&epochs, &Occupations::default());
            groups.into_iter().map(|group| group.window.name).collect::<Vec<_>>()
        };
        // The long one holds two of the other receiver; the next begins as it ends.
        assert_eq!(names(&[(0, 0, 200), (1, 10, 40), (1, 120, 150)]), ["stop 1"; 3]);
        assert_eq!(names(&[(0, 0, 50), (1, 50, 90)]), ["stop 1"; 2]);
        assert_eq!(names(&[(0, 0, 50), (1, 51, 90)]), ["stop 1", "stop 2"]);
        let mut turned: Vec<Epoch> = stand(0, 0, 50).chain(stand(1, 51, 90)).collect();
        turned.reverse();
        assert_eq!(stops(&turned, &Occupations::default()), [(at(0.0), at(50.0)), (at(51.0), at(90.0))]);
    }
}
