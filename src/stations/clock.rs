//! An estimate of how far an instrument's clock is off, from the logs themselves.
//!
//! A crew shoots while it stands at a base. With the right clock nearly every shot falls into an
//! occupation; with a clock that is off by a constant, fewer do. The offset that brings most shots
//! into occupations is proposed, never applied unasked.

use jiff::Timestamp;

/// Offsets looked at, in seconds: a time zone and a daylight-saving hour to either side.
const GREATEST_OFFSET_S: f64 = 15.0 * 3600.0;
/// Shots looked at; of more, evenly spread ones.
const SHOTS_LOOKED_AT: usize = 1000;
/// A proposal needs this many shots more inside occupations than with the clock as it is, and this share of all.
const LEAST_GAIN: (usize, f64) = (5, 0.2);
/// Weeks until the GPS week counter begins anew, and their seconds.
pub const ROLLOVER_WEEKS: i64 = 1024;
/// See [`ROLLOVER_WEEKS`].
pub const ROLLOVER_S: f64 = 1024.0 * 7.0 * 86_400.0;

/// A proposed correction of a clock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Proposal {
    /// To be added to the shots' times, in seconds.
    pub offset_s: f64,
    /// Half the width of the range of offsets that do as well, in seconds.
    pub half_width_s: f64,
    /// Share of the shots inside occupations with the clock as it is, and with the offset.
    pub shares: (f64, f64),
}

/// A correction of the shots' clock that brings clearly more shots into occupations; none where the clock
/// as it is does as well. `occupations` are start and end; they may overlap.
pub fn propose(shots: &[Timestamp], occupations: &[(Timestamp, Timestamp)]) -> Option<Proposal> {
    let step = shots.len().div_ceil(SHOTS_LOOKED_AT).max(1);
    let shots: Vec<f64> = shots.iter().step_by(step).map(|shot| seconds(*shot)).collect();
    let occupations = joined(occupations);
    // Each shot is inside an occupation for offsets between start − shot and end − shot.
    let mut edges: Vec<(f64, i32)> = Vec::new();
    for shot in &shots {
        for (start, end) in &occupations {
            let (from, to) = (start - shot, end - shot);
            if to >= -GREATEST_OFFSET_S && from <= GREATEST_OFFSET_S {
                edges.push((from, 1));
                edges.push((to, -1));
            }
        }
    }
    // At one offset, what begins counts before what ends: an occupation holds its edges.
    edges.sort_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(&a.1)));
    let inside = |offset: f64| {
        shots.iter().filter(|shot| occupations.iter().any(|(start, end)| (*start..=*end).contains(&(**shot + offset)))).count()
    };
    let now = inside(0.0);
    let (mut depth, mut best) = (0, (0usize, 0.0f64, 0.0f64));
    for (i, (offset, change)) in edges.iter().enumerate() {
        depth += change;
        let until = edges.get(i + 1).map_or(*offset, |next| next.0);
        let middle = 0.5 * (offset + until);
        let count = usize::try_from(depth).unwrap_or(0);
        if count > best.0 || (count == best.0 && middle.abs() < (0.5 * (best.1 + best.2)).abs()) {
            best = (count, *offset, until);
        }
    }
    let (count, from, to) = best;
    let gain = count.saturating_sub(now);
    if shots.is_empty() || gain < LEAST_GAIN.0 || (gain as f64) < LEAST_GAIN.1 * shots.len() as f64 {
        return None;
    }
    let share = |count: usize| count as f64 / shots.len() as f64;
    Some(Proposal { offset_s: 0.5 * (from + to), half_width_s: 0.5 * (to - from), shares: (share(now), share(count)) })
}

/// How many whole turns of the GPS week counter (1024 weeks) the receiver's dates lie behind the shots'; none
/// where that is no explanation.
pub fn week_turns(shots: &[Timestamp], fixes: &[Timestamp]) -> Option<i64> {
    let turns = (middle(shots)? - middle(fixes)?) / ROLLOVER_S;
    let whole = turns.round();
    (whole >= 1.0 && (turns - whole).abs() * ROLLOVER_S < 2.0 * 86_400.0).then_some(whole as i64)
}

fn seconds(instant: Timestamp) -> f64 {
    instant.as_millisecond() as f64 / 1000.0
}

/// The middle instant, of two the later: one that was read, since a mean of two days is none.
fn middle(instants: &[Timestamp]) -> Option<f64> {
    let mut sorted = instants.to_vec();
    sorted.sort_unstable();
    sorted.get(sorted.len() / 2).map(|instant| seconds(*instant))
}

/// Occupations in seconds, those that overlap as one.
fn joined(occupations: &[(Timestamp, Timestamp)]) -> Vec<(f64, f64)> {
    let mut sorted: Vec<(f64, f64)> = occupations.iter().map(|(from, to)| (seconds(*from), seconds(*to))).collect();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut joined: Vec<(f64, f64)> = Vec::new();
    for (from, to) in sorted {
        match joined.last_mut() {
            Some(last) if from <= last.1 => last.1 = last.1.max(to),
            _ => joined.push((from, to)),
        }
    }
    joined
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(second: i64) -> Timestamp {
        Timestamp::from_second(1_777_881_600 + second).unwrap()
    }

    /// Three occupations of different lengths at uneven times, and shots in them.
    fn day() -> (Vec<Timestamp>, Vec<(Timestamp, Timestamp)>) {
        let occupations = vec![(at(0), at(300)), (at(700), at(1100)), (at(2000), at(2200))];
        let shots = [10, 60, 120, 290, 710, 800, 900, 1090, 2010, 2100, 2190].into_iter().map(at).collect();
        (shots, occupations)
    }

    #[test]
    fn a_clock_that_is_right_is_left_alone() {
        let (shots, occupations) = day();
        assert_eq!(propose(&shots, &occupations), None);
        assert_eq!(propose(&[], &occupations), None);
        assert_eq!(propose(&shots, &[]), None);
    }

    #[test]
    fn an_hour_is_found() {
        let (shots, occupations) = day();
        for off in [3600, -3600, 7200, 437, -1500] {
            let late: Vec<Timestamp> = shots.iter().map(|shot| at(shot.as_second() - at(0).as_second() + off)).collect();
            let proposal = propose(&late, &occupations).unwrap();
            // Every shot is at least 10 s inside its occupation, to both sides.
            assert!((proposal.offset_s + off as f64).abs() <= 10.0, "{off}: {proposal:?}");
            assert!(proposal.half_width_s <= 10.0);
            assert_eq!(proposal.shares.1, 1.0);
        }
    }

    #[test]
    fn a_turn_of_the_week_counter() {
        let shots = [at(0), at(100)];
        let turned = 1024 * 7 * 86_400;
        assert_eq!(week_turns(&shots, &[at(-turned), at(50 - turned)]), Some(1));
        assert_eq!(week_turns(&shots, &[at(-2 * turned)]), Some(2));
        assert_eq!(week_turns(&shots, &[at(-86_400), at(5)]), None);
        assert_eq!(week_turns(&shots, &[at(turned)]), None);
    }
}
