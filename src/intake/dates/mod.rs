//! Dates and times as people and programs write them.
//!
//! [`parse`] takes a text apart into a day, a time of day and an offset; where the order of day, month and year cannot be told from
//! one text, [`evidence`] settles it from all values of a column. A column that stays open is no guess: the program asks for
//! `date_order`.

pub mod evidence;
mod item;
mod parse;
mod time_of_day;
mod tokens;
mod words;

use jiff::civil::{Date, Time};
use jiff::tz::Offset;
use jiff::{Timestamp, ToSpan};
pub use parse::{parse, parse_time};

use crate::job::DateOrder;

/// How the dates and times of a column are read, settled from all its values or by the job.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Style {
    /// The order of numbers; none where no value hangs on it.
    pub order: Option<DateOrder>,
    /// Whether the job says so: then a date that is none in this order is held, not read in another.
    pub by_job: bool,
    /// Whether a time of day such as `0.25` is a fraction of a day, not 25 minutes past midnight; none where nothing tells.
    pub fractions: Option<bool>,
}

/// What the text says of the day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum DayWritten {
    /// A time of day alone.
    None,
    /// A day.
    Known(Date),
    /// Three numbers whose order the text does not tell, with the sign between them; a space where there is none.
    Numbers(Numbers),
    /// Seconds since 1970-01-01 in UTC.
    Instant(Timestamp),
}

/// Three numbers of a date.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Numbers {
    /// As they stand.
    pub parts: [i16; 3],
    /// How many digits each has.
    pub digits: [u8; 3],
    /// Whether the year may stand first with two digits: dates with hyphens, or without any sign.
    pub may_begin_with_year: bool,
}

impl Numbers {
    /// The day in an order, where there is one.
    pub fn date(&self, order: DateOrder) -> Option<Date> {
        let (year, month, day) = match order {
            DateOrder::DayMonthYear => (2, 1, 0),
            DateOrder::MonthDayYear => (2, 0, 1),
            DateOrder::YearMonthDay => (0, 1, 2),
        };
        if self.digits[month] > 2 || self.digits[day] > 2 || !matches!(self.digits[year], 2 | 4) {
            return None;
        }
        let of_century = self.parts[year];
        // Two digits as POSIX has them (strptime, %y): 69 to 99 are of the 1900s.
        let year = match self.digits[year] {
            2 if of_century < 69 => 2000 + of_century,
            2 => 1900 + of_century,
            _ => of_century,
        };
        Date::new(year, i8::try_from(self.parts[month]).ok()?, i8::try_from(self.parts[day]).ok()?).ok()
    }

    /// The orders in which it is a day, with the day.
    pub fn readings(&self) -> impl Iterator<Item = (DateOrder, Date)> + '_ {
        let allowed = |order: &DateOrder| *order != DateOrder::YearMonthDay || self.may_begin_with_year;
        DateOrder::ALL.into_iter().filter(allowed).filter_map(|order| Some((order, self.date(order)?)))
    }

    /// The day by a column's style.
    pub fn settled(&self, style: &Style) -> Option<Date> {
        if let Some(order) = style.order {
            return self.date(order);
        }
        let mut readings = self.readings();
        let (_, first) = readings.next()?;
        readings.all(|(_, other)| other == first).then_some(first)
    }
}

/// What a text says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DateSaid {
    /// The day.
    pub day: DayWritten,
    /// The time of day.
    pub time: Option<Time>,
    /// The offset from UTC.
    pub offset: Option<Offset>,
}

/// The first and the last day number of spreadsheets that is taken for one: 1950-01-01 and 2099-12-31.
const SERIALS: std::ops::RangeInclusive<i64> = 18_264..=73_050;

/// The day and the time of a spreadsheet's day number: days since 1899-12-30, as its programs count them since 1900-03-01 (ECMA-376,
/// part 1, 18.17.4.1, date base 1900). To the millisecond.
pub fn from_serial(days: f64) -> Option<(Date, Time)> {
    let milliseconds = (days * 86_400_000.0).round();
    let whole = (milliseconds / 86_400_000.0).floor();
    if !SERIALS.contains(&(whole as i64)) {
        return None;
    }
    let date = Date::constant(1899, 12, 30).checked_add((whole as i64).days()).ok()?;
    Some((date, time_of((milliseconds - whole * 86_400_000.0) as i64)?))
}

/// The time of day some milliseconds after midnight.
fn time_of(milliseconds: i64) -> Option<Time> {
    let seconds = milliseconds / 1000;
    let part = |value: i64| i8::try_from(value).ok();
    let nanoseconds = i32::try_from(milliseconds % 1000).ok()? * 1_000_000;
    Time::new(part(seconds / 3600)?, part(seconds / 60 % 60)?, part(seconds % 60)?, nanoseconds).ok()
}

/// The time of a fraction of a day, to the millisecond.
pub fn time_from_fraction(days: f64) -> Option<Time> {
    (0.0..1.0).contains(&days).then(|| time_of((days * 86_400_000.0).round() as i64))?
}
