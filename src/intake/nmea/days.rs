//! The day of each epoch: told by RMC and ZDA, carried on over midnight, counted back from the first that is told.
//!
//! A receiver counts weeks modulo 1024 (IS-GPS-200, section 20.3.3.3.1.1); one that is past its round gives dates of years
//! ago. Such dates are held, not mended.

use jiff::civil::Date;
use jiff::{Span, Timestamp};

use super::content::TimeOfDay;
use super::sentence::SentenceKind;
use crate::records::ledger::{Fault, Reason};

const DAY_NS: u64 = 86_400_000_000_000;
/// A fall of the time of day by more than this is midnight; a smaller one is a clock that was set.
const MIDNIGHT_FALL_NS: u64 = DAY_NS / 2;
/// Days in one round of the receivers' week counter.
const ROUND_DAYS: i32 = 1024 * 7;
/// How far apart in days a date and the one it is judged by may stand inside one log, rounds aside.
const LOG_DAYS: i32 = 31;

/// A date that a sentence told.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct DateTold {
    pub(super) date: Date,
    pub(super) by: SentenceKind,
}

/// What an epoch knows of its day.
#[derive(Debug, Clone, Copy)]
pub(super) struct Clock {
    pub(super) time: TimeOfDay,
    pub(super) told: Option<DateTold>,
    /// A date of the same epoch that is another one.
    pub(super) denied: Option<DateTold>,
}

/// The day of an epoch.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum EpochDay {
    Unknown,
    Known(Date),
    /// The fault of the date that the day would have come from.
    Wrong(Fault),
}

impl EpochDay {
    fn moved(self, days: i64) -> EpochDay {
        match self {
            EpochDay::Known(date) => {
                Span::new().try_days(days).and_then(|span| date.checked_add(span)).map_or(EpochDay::Unknown, EpochDay::Known)
            }
            other => other,
        }
    }
}

/// Gives the epochs of a log their days, in order.
pub(super) struct Days {
    clue: Option<Date>,
    latest: Option<DateTold>,
    day: EpochDay,
    before: Option<TimeOfDay>,
}

impl Days {
    /// Looks over the whole log first; `clue` is the first epoch's day where no sentence tells any.
    pub(super) fn new(clocks: impl Iterator<Item = Clock>, clue: Option<Date>) -> Days {
        let mut days = Days { clue, latest: None, day: EpochDay::Unknown, before: None };
        let (mut first, mut midnights, mut before) = (None, 0, None);
        for clock in clocks {
            if first.is_none() {
                midnights += i64::from(is_midnight(before, clock.time));
                before = Some(clock.time);
                first = clock.told.map(|_| clock);
            }
            for told in [clock.told, clock.denied].into_iter().flatten() {
                if days.latest.is_none_or(|latest| told.date > latest.date) {
                    days.latest = Some(told);
                }
            }
        }
        days.day = match first {
            Some(clock) => days.judge(&clock).moved(-midnights),
            None => clue.map_or(EpochDay::Unknown, EpochDay::Known),
        };
        days
    }

    /// The day of the next epoch.
    pub(super) fn next(&mut self, clock: &Clock) -> EpochDay {
        if is_midnight(self.before.replace(clock.time), clock.time) {
            self.day = std::mem::replace(&mut self.day, EpochDay::Unknown).moved(1);
        }
        if clock.told.is_some() {
            self.day = self.judge(clock);
        }
        self.day.clone()
    }

    /// The day that an epoch tells itself.
    fn judge(&self, clock: &Clock) -> EpochDay {
        let Some(told) = clock.told else { return EpochDay::Unknown };
        let date = told.date;
        let wrong = |say: String| EpochDay::Wrong(Fault::new(Reason::Sentence, "date", &date.to_string(), say));
        let of_log = self.latest.map(|latest| (latest.date, "that this log has elsewhere"));
        let of_job = self.clue.map(|clue| (clue, "of the job"));
        for (other, whose) in [of_log, of_job].into_iter().flatten() {
            if let Some(weeks) = rounds_behind(date, other) {
                return wrong(format!(
                    "{} says {date}, which is {weeks} weeks before the {other} {whose}: the receiver's week counter went \
                     round; take RMC and ZDA out of a copy of the log and write the first day as date under [bases]",
                    told.by.word()
                ));
            }
        }
        if let Some(denied) = clock.denied {
            let say = format!(
                "{} says {date} and {} says {} at the same time of day: which is right cannot be told",
                told.by.word(),
                denied.by.word(),
                denied.date
            );
            return wrong(say);
        }
        EpochDay::Known(date)
    }
}

fn is_midnight(before: Option<TimeOfDay>, now: TimeOfDay) -> bool {
    before.is_some_and(|before| before.0 > now.0 + MIDNIGHT_FALL_NS)
}

/// How many weeks a date lies behind another, where these are whole rounds of the week counter but for the span of a log.
fn rounds_behind(date: Date, other: Date) -> Option<i32> {
    let days = other.since(date).ok()?.get_days();
    let rounds = (days + ROUND_DAYS / 2).div_euclid(ROUND_DAYS);
    (rounds >= 1 && (days - rounds * ROUND_DAYS).abs() <= LOG_DAYS).then_some(rounds * 1024)
}

/// The instant of a day and time. Timestamps have no leap seconds: 23:59:60 is put at the last nanosecond of its day.
pub(super) fn instant(date: Date, time: TimeOfDay) -> Option<Timestamp> {
    let nanoseconds = i64::try_from(time.0.min(DAY_NS - 1)).ok()?;
    let midnight = jiff::tz::Offset::UTC.to_timestamp(date.at(0, 0, 0, 0)).ok()?;
    midnight.checked_add(Span::new().try_nanoseconds(nanoseconds).ok()?).ok()
}
