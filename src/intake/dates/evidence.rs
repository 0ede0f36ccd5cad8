//! What all values of a column of dates or times say together of how they are written.
//!
//! A date in numbers is tried in every order. What remains possible for all of them is the column's order: one day above 12 settles
//! between day and month. Two-digit years are settled also where one order gives days of one year and the other scatters them over
//! more than three, since nobody logs one day of the month for years.

use jiff::civil::Date;

use super::parse::{fraction, parse};
use super::{DayWritten, Numbers, Style};
use crate::job::DateOrder;

/// A value and the line that it stands on.
pub type Example = (u64, String);

/// Days that a log may hold, and days over which only a wrong order scatters dates.
const A_YEAR_DAYS: i32 = 366;
/// See [`A_YEAR_DAYS`].
const SCATTERED_DAYS: i32 = 3 * 366;

/// Pairs of orders, by their places in [`DateOrder::ALL`].
const PAIRS: [(usize, usize); 3] = [(0, 1), (0, 2), (1, 2)];

/// What was seen so far.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct DateEvidence {
    /// By order: whether any value in numbers is no day in it, and the first such value.
    excluded: [Option<Example>; 3],
    /// By pair of [`PAIRS`]: the first value that is a different day in each.
    differs: [Option<(Example, Date, Date)>; 3],
    /// By order: the earliest and the latest day.
    span: [Option<(Date, Date)>; 3],
    /// The first value in numbers.
    first: Option<Example>,
    /// Whether times of day were fractions of a day that nothing else can be, and hours with a point before the minutes.
    fractions: bool,
    dotted: bool,
    doubtful: Option<Example>,
    /// The first day number of a spreadsheet, the first epoch seconds.
    serial: Option<Example>,
    epoch: Option<Example>,
}

/// What a column's values leave open.
#[derive(Debug, Clone, PartialEq)]
pub enum OpenDates {
    /// Two orders give different days: the value, and the days.
    Order(Example, [(DateOrder, Date); 2]),
    /// Some values are days in one order alone and others in another: one of each, and the value that hangs on it.
    Contradiction([Example; 2], Example),
    /// Hours and minutes, or a fraction of a day.
    Fraction(Example),
}

/// How a column's dates and times are written, and what tells.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct SettledDates {
    /// For the reading.
    pub style: Style,
    /// What tells the order: a value that is no day in another.
    pub told_by: Option<Example>,
    /// The first day number of a spreadsheet.
    pub serial: Option<Example>,
    /// The first epoch seconds.
    pub epoch: Option<Example>,
}

impl DateEvidence {
    /// Takes a value of a column of dates, or of dates with times.
    pub fn take_date(&mut self, text: &str, line: u64) {
        // Years of four digits in front say all themselves.
        if let [a, b, c, d, b'-' | b'/' | b'.', ..] = text.as_bytes()
            && [a, b, c, d].iter().all(|byte| byte.is_ascii_digit())
        {
            return;
        }
        let Some(said) = parse(text) else { return };
        let example = || (line, text.to_owned());
        match said.day {
            DayWritten::Numbers(numbers) => self.take_numbers(&numbers, example),
            DayWritten::Instant(_) => {
                self.epoch.get_or_insert_with(example);
            }
            DayWritten::Known(_) if text.bytes().all(|byte| byte.is_ascii_digit() || matches!(byte, b'.' | b',')) => {
                if text.split(['.', ',']).next().is_some_and(|head| head.len() == 5) {
                    self.serial.get_or_insert_with(example);
                }
            }
            DayWritten::Known(_) | DayWritten::None => {}
        }
    }

    fn take_numbers(&mut self, numbers: &Numbers, example: impl Fn() -> Example) {
        let mut days: [Option<Date>; 3] = [None; 3];
        numbers.readings().for_each(|(order, date)| days[order as usize] = Some(date));
        if days.iter().all(Option::is_none) {
            return;
        }
        self.first.get_or_insert_with(&example);
        for (at, day) in days.iter().enumerate() {
            match (day, &mut self.span[at]) {
                (None, _) => {
                    self.excluded[at].get_or_insert_with(&example);
                }
                (Some(day), Some((first, last))) => (*first, *last) = ((*first).min(*day), (*last).max(*day)),
                (Some(day), span @ None) => *span = Some((*day, *day)),
            }
        }
        for (pair, (a, b)) in PAIRS.into_iter().enumerate() {
            if let (Some(one), Some(other)) = (days[a], days[b])
                && one != other
            {
                self.differs[pair].get_or_insert_with(|| (example(), one, other));
            }
        }
    }

    /// Takes a value of a column of times that stands beside one of dates.
    pub fn take_time(&mut self, text: &str, line: u64) {
        if text.contains(':') {
            return;
        }
        match fraction(text) {
            Some(fraction) if fraction.is_doubtful => {
                self.doubtful.get_or_insert_with(|| (line, text.to_owned()));
            }
            Some(_) => self.fractions = true,
            None if text.contains('.') => self.dotted = true,
            None => {}
        }
    }

    /// Adds what lines behind say.
    pub fn add(&mut self, later: DateEvidence) {
        for (mine, other) in self.excluded.iter_mut().zip(later.excluded) {
            *mine = mine.take().or(other);
        }
        for (mine, other) in self.differs.iter_mut().zip(later.differs) {
            *mine = mine.take().or(other);
        }
        for (mine, other) in self.span.iter_mut().zip(later.span) {
            *mine = match (*mine, other) {
                (Some(a), Some(b)) => Some((a.0.min(b.0), a.1.max(b.1))),
                (one, other) => one.or(other),
            };
        }
        self.first = self.first.take().or(later.first);
        self.fractions |= later.fractions;
        self.dotted |= later.dotted;
        self.doubtful = self.doubtful.take().or(later.doubtful);
        self.serial = self.serial.take().or(later.serial);
        self.epoch = self.epoch.take().or(later.epoch);
    }

    /// How the column is read; `by_job` is the order that the job names.
    pub fn settle(self, by_job: Option<DateOrder>) -> (SettledDates, Option<OpenDates>) {
        let fractions = match (self.fractions, self.dotted) {
            (true, false) => Some(true),
            (false, true) => Some(false),
            _ => None,
        };
        let open_fraction = self.doubtful.clone().filter(|_| fractions.is_none()).map(OpenDates::Fraction);
        let (order, told_by, open) = match by_job {
            Some(order) => (Some(order), None, None),
            None => self.order(),
        };
        let style = Style { order, by_job: by_job.is_some(), fractions };
        let (serial, epoch) = (self.serial, self.epoch);
        (SettledDates { style, told_by, serial, epoch }, open.or(open_fraction))
    }

    fn order(&self) -> (Option<DateOrder>, Option<Example>, Option<OpenDates>) {
        let Some(first) = &self.first else { return (None, None, None) };
        let mut possible: Vec<usize> = (0..3).filter(|at| self.excluded[*at].is_none()).collect();
        if possible.is_empty() {
            let hangs = self.differs.iter().flatten().next();
            let open = hangs.map(|(example, _, _)| {
                let of = |at: usize| self.excluded[at].clone().unwrap_or_else(|| first.clone());
                OpenDates::Contradiction([of(1), of(0)], example.clone())
            });
            return (None, None, open);
        }
        let days = |at: &usize| self.span[*at].map_or(0, |(first, last)| (last - first).get_days());
        if possible.contains(&2) {
            let others: Vec<usize> = possible.iter().copied().filter(|at| *at != 2).collect();
            let year_first = days(&2);
            if !others.is_empty() && year_first <= A_YEAR_DAYS && others.iter().all(|at| days(at) > SCATTERED_DAYS) {
                possible = vec![2];
            } else if year_first > SCATTERED_DAYS && others.iter().any(|at| days(at) <= A_YEAR_DAYS) {
                possible = others;
            }
        }
        for (pair, (a, b)) in PAIRS.into_iter().enumerate() {
            if let (true, true, Some((example, one, other))) = (possible.contains(&a), possible.contains(&b), &self.differs[pair])
            {
                let open = OpenDates::Order(example.clone(), [(DateOrder::ALL[a], *one), (DateOrder::ALL[b], *other)]);
                return (None, None, Some(open));
            }
        }
        // What tells day from month, where the year does not stand first.
        let others = if possible[0] == 2 { &self.excluded[..] } else { &self.excluded[..2] };
        let told_by = others.iter().flatten().min_by_key(|(line, _)| *line).cloned();
        (Some(DateOrder::ALL[possible[0]]), told_by.or_else(|| Some(first.clone())), None)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn settled(values: &[&str]) -> (Option<DateOrder>, Option<OpenDates>) {
        let mut evidence = DateEvidence::default();
        values.iter().enumerate().for_each(|(i, text)| evidence.take_date(text, i as u64 + 2));
        let (settled, open) = evidence.settle(None);
        (settled.style.order, open)
    }

    #[test]
    fn one_day_above_twelve_decides() {
        assert_eq!(settled(&["04/05/2026", "13/05/2026"]), (Some(DateOrder::DayMonthYear), None));
        assert_eq!(settled(&["04/05/2026", "05/13/2026"]), (Some(DateOrder::MonthDayYear), None));
        assert_eq!(settled(&["5.5.2026"]).1, None, "both orders give one day");
        let (order, open) = settled(&["04/05/2026", "12/05/2026"]);
        assert_eq!(order, None);
        assert!(matches!(open, Some(OpenDates::Order((2, text), _)) if text == "04/05/2026"));
    }

    #[test]
    fn a_column_of_both_orders_is_asked_for_where_a_value_hangs_on_it() {
        assert_eq!(settled(&["14/10/2026", "10/14/2026"]), (None, None), "each can be read in one way alone");
        let (_, open) = settled(&["14/10/2026", "10/14/2026", "04/05/2026"]);
        assert!(matches!(open, Some(OpenDates::Contradiction(_, (4, _)))), "{open:?}");
    }

    #[test]
    fn years_of_two_digits_in_front() {
        // Both are days: 26 October 2014, 14 October 2026.
        assert!(settled(&["26-10-14"]).1.is_some());
        // Three days of one autumn, or one day of the month in six years.
        assert_eq!(settled(&["26-10-14", "26-10-15", "26-10-19"]), (Some(DateOrder::YearMonthDay), None));
        assert_eq!(settled(&["14-10-26", "15-10-26", "19-10-26"]), (Some(DateOrder::DayMonthYear), None));
        assert_eq!(settled(&["261031"]).0, None);
        // With a slash or a point nobody puts two digits of a year in front.
        assert_eq!(settled(&["26/10/14"]), (Some(DateOrder::DayMonthYear), None));
        assert_eq!(settled(&["14.10.26"]), (Some(DateOrder::DayMonthYear), None));
    }
}
