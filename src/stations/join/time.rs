//! The base that was occupied at, before or near an instant.

use jiff::Timestamp;

use crate::stations::base::BaseTable;
use crate::stations::occupation::seconds;

/// Which base in time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TimeRule {
    /// That which was occupied at the instant, else last before it.
    LastBefore,
    /// That which was occupied at the instant, else nearest to it.
    Nearest,
}

/// The occupations of bases in order of time.
#[derive(Debug, Clone, Default)]
pub struct Timeline {
    spans: Vec<TimeSpan>,
    /// For each span, the index of that among it and all before it that ends last.
    last_to_end: Vec<usize>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
struct TimeSpan {
    from: Timestamp,
    to: Timestamp,
    /// Standard error of the base's horizontal axes: of two at one time the better one is used.
    sigma_m: f64,
    base: usize,
}

/// The base nearest in time that is not near enough, and how far off it is in seconds, positive where the
/// shot is later; none without bases in time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TooFar(pub Option<(usize, f64)>);

impl TooFar {
    /// In a sentence.
    pub fn say(&self, table: &BaseTable, rule: TimeRule, limit_s: f64) -> String {
        let Some((base, off_s)) = self.0 else {
            return "no base has a time; map the base log's time column, or name the bases in the shot log".into();
        };
        let label = table.bases.get(base).map_or("one without a usable fix", |base| base.label.as_str());
        let way = if off_s >= 0.0 { "before" } else { "behind" };
        let span = duration_words(off_s.abs());
        match rule {
            TimeRule::LastBefore if off_s < 0.0 => {
                format!("no base was occupied before the shot; the first, {label}, came {span} later: is a clock off?")
            }
            _ => format!(
                "the nearest base in time, {label}, was occupied {span} {way} the shot; limit_s under [join] is {limit_s}"
            ),
        }
    }
}

/// A duration for people.
pub fn duration_words(duration_s: f64) -> String {
    let whole = duration_s.round() as i64;
    match whole {
        ..120 => format!("{duration_s:.0} s"),
        120..7200 => format!("{} min {} s", whole / 60, whole % 60),
        7200..172_800 => format!("{} h {} min", whole / 3600, whole / 60 % 60),
        _ => format!("{} days", whole / 86_400),
    }
}

impl Timeline {
    /// Of some bases of a table; those without a time are left out.
    pub fn from_bases(table: &BaseTable, bases: impl IntoIterator<Item = usize>) -> Timeline {
        let mut spans: Vec<TimeSpan> = bases
            .into_iter()
            .flat_map(|index| {
                let base = &table.bases[index];
                let sigma_m = base.covariance.ee.sqrt();
                base.row.windows.iter().map(move |(from, to)| TimeSpan { from: *from, to: *to, sigma_m, base: index })
            })
            .collect();
        Timeline::sorted(&mut spans)
    }

    /// Of all bases of a table, and of the occupations without a usable fix behind them: the index of one of these is the
    /// number of bases and its own.
    pub fn of_all(table: &BaseTable) -> Timeline {
        let mut spans = Timeline::from_bases(table, 0..table.bases.len()).spans;
        // Of two at one time that with a position is used.
        let empty = table.empty_windows.iter().enumerate();
        spans.extend(empty.map(|(index, window)| TimeSpan {
            from: window.from,
            to: window.to,
            sigma_m: f64::INFINITY,
            base: table.bases.len() + index,
        }));
        Timeline::sorted(&mut spans)
    }

    fn sorted(spans: &mut Vec<TimeSpan>) -> Timeline {
        let mut spans = std::mem::take(spans);
        // Of spans that begin at once the better base stands last, where it is found first.
        spans.sort_by(|a, b| {
            a.from.cmp(&b.from).then(b.sigma_m.total_cmp(&a.sigma_m)).then(a.to.cmp(&b.to)).then(b.base.cmp(&a.base))
        });
        let mut last_to_end = Vec::with_capacity(spans.len());
        for i in 0..spans.len() {
            let before = last_to_end.last().copied().unwrap_or(i);
            last_to_end.push(if spans[i].to >= spans[before].to { i } else { before });
        }
        Timeline { spans, last_to_end }
    }

    /// The base at an instant by a rule; at most `limit_s` away in time.
    ///
    /// # Errors
    /// The nearest base and how far off it is.
    pub fn find(&self, instant: Timestamp, rule: TimeRule, limit_s: f64) -> Result<usize, TooFar> {
        let begun = self.spans.partition_point(|span| span.from <= instant);
        // At the instant: the base that was occupied last, of those that are still occupied.
        let mut at: Option<&TimeSpan> = None;
        for i in (0..begun).rev() {
            if self.spans[self.last_to_end[i]].to < instant {
                break;
            }
            let span = &self.spans[i];
            if at.is_some_and(|best| best.from != span.from) {
                break;
            }
            if span.to >= instant && at.is_none_or(|best| span.sigma_m < best.sigma_m) {
                at = Some(span);
            }
        }
        if let Some(span) = at {
            return Ok(span.base);
        }
        let before = begun.checked_sub(1).map(|i| {
            let span = &self.spans[self.last_to_end[i]];
            (span.base, seconds(span.to, instant))
        });
        let behind = self.spans.get(begun).map(|span| (span.base, seconds(span.from, instant)));
        let found = match (before, behind, rule) {
            (Some(before), _, TimeRule::LastBefore) => before,
            (None, behind, TimeRule::LastBefore) => return Err(TooFar(behind)),
            (Some(before), Some(behind), TimeRule::Nearest) => {
                if before.1 <= -behind.1 {
                    before
                } else {
                    behind
                }
            }
            (one, other, TimeRule::Nearest) => one.or(other).ok_or(TooFar(None))?,
        };
        if found.1.abs() <= limit_s { Ok(found.0) } else { Err(TooFar(Some(found))) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn at(second: i64) -> Timestamp {
        Timestamp::from_second(1_777_881_600 + second).unwrap()
    }

    fn timeline(spans: &[(i64, i64)]) -> Timeline {
        let mut spans: Vec<TimeSpan> = spans
            .iter()
            .enumerate()
            .map(|(base, (from, to))| TimeSpan { from: at(*from), to: at(*to), sigma_m: 1.0, base })
            .collect();
        Timeline::sorted(&mut spans)
    }

    #[test]
    fn before_at_and_behind() {
        let timeline = timeline(&[(0, 100), (200, 300), (250, 260)]);
        let find = |second, rule| timeline.find(at(second), rule, 50.0);
        assert_eq!(find(50, TimeRule::LastBefore), Ok(0));
        assert_eq!(find(130, TimeRule::LastBefore), Ok(0));
        assert_eq!(find(180, TimeRule::LastBefore), Err(TooFar(Some((0, 80.0)))));
        assert_eq!(find(180, TimeRule::Nearest), Ok(1));
        assert_eq!(find(150, TimeRule::Nearest), Ok(0), "the earlier of two as near");
        assert_eq!(find(255, TimeRule::LastBefore), Ok(2));
        assert_eq!(find(290, TimeRule::LastBefore), Ok(1), "the third has ended, the second has not");
        assert_eq!(find(-10, TimeRule::LastBefore), Err(TooFar(Some((0, -10.0)))));
        assert_eq!(find(-10, TimeRule::Nearest), Ok(0));
        assert_eq!(find(1000, TimeRule::Nearest), Err(TooFar(Some((1, 700.0)))));
        assert_eq!(Timeline::default().find(at(0), TimeRule::Nearest, 1.0), Err(TooFar(None)));
    }

    #[test]
    fn durations_for_people() {
        assert_eq!([3.4, 150.0, 8000.0, 1e6].map(duration_words), ["3 s", "2 min 30 s", "2 h 13 min", "11 days"]);
    }

    /// What the rules say, looked at one base after the other.
    fn plainly(spans: &[(i64, i64)], second: i64, rule: TimeRule, limit_s: f64) -> Option<(i64, i64)> {
        let gap = |(from, to): &(i64, i64)| (from - second).max(second - to).max(0) as f64;
        let holding = spans.iter().filter(|(from, to)| *from <= second && second <= *to).max_by_key(|(from, _)| *from);
        if let Some(span) = holding {
            return Some(*span);
        }
        let near = spans.iter().filter(|(from, _)| rule == TimeRule::Nearest || *from <= second);
        // The earlier of two as near.
        let nearest = near.min_by(|a, b| gap(a).total_cmp(&gap(b)).then(a.0.cmp(&b.0)))?;
        (gap(nearest) <= limit_s).then_some(*nearest)
    }

    proptest! {
        /// Bases begin at different seconds, so that no two answers are as good.
        #[test]
        fn the_order_of_the_bases_does_not_matter(
            starts in proptest::collection::btree_set(0i64..2000, 1..20),
            lengths in proptest::collection::vec(0i64..300, 20),
            seconds in proptest::collection::vec(-500i64..2500, 20),
            turn in 0usize..20,
            nearest in any::<bool>(),
        ) {
            let rule = if nearest { TimeRule::Nearest } else { TimeRule::LastBefore };
            let spans: Vec<(i64, i64)> = starts.iter().zip(&lengths).map(|(from, length)| (*from, from + length)).collect();
            let mut turned = spans.clone();
            turned.rotate_left(turn % spans.len());
            let (one, other) = (timeline(&spans), timeline(&turned));
            for second in seconds {
                let a = one.find(at(second), rule, 100.0).ok().map(|base| spans[base]);
                let b = other.find(at(second), rule, 100.0).ok().map(|base| turned[base]);
                prop_assert_eq!(a.map(|span| gap_of(span, second)), b.map(|span| gap_of(span, second)));
                let plain = plainly(&spans, second, rule, 100.0);
                prop_assert_eq!(a.map(|span| gap_of(span, second)), plain.map(|span| gap_of(span, second)));
            }
        }
    }

    fn gap_of((from, to): (i64, i64), second: i64) -> i64 {
        (from - second).max(second - to).max(0)
    }
}
