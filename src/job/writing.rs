//! How the values of a log are written: keys for what only the crew can say.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The order of day, month and year where a date is written in numbers and its year does not stand first with four digits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum DateOrder {
    /// 14/10/2026.
    DayMonthYear,
    /// 10/14/2026.
    MonthDayYear,
    /// 26-10-14.
    YearMonthDay,
}

impl DateOrder {
    /// Every order.
    pub const ALL: [DateOrder; 3] = [DateOrder::DayMonthYear, DateOrder::MonthDayYear, DateOrder::YearMonthDay];

    /// The word in jobs.
    pub fn word(self) -> &'static str {
        match self {
            DateOrder::DayMonthYear => "day_month_year",
            DateOrder::MonthDayYear => "month_day_year",
            DateOrder::YearMonthDay => "year_month_day",
        }
    }

    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            DateOrder::DayMonthYear => "day, month, year",
            DateOrder::MonthDayYear => "month, day, year",
            DateOrder::YearMonthDay => "year, month, day",
        }
    }
}

/// A sign that numbers cannot be written with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum SignFault {
    /// As the decimal sign.
    #[error("decimal = \"{0}\": write \".\" or \",\"")]
    Decimal(char),
    /// Between the thousands.
    #[error("thousands = \"{0}\": write \",\" \".\" \" \" or \"'\"")]
    Thousands(char),
    /// As both.
    #[error("decimal and thousands are both \"{0}\"; change one of them")]
    Same(char),
}

impl SignFault {
    /// The key that has it.
    pub fn key(self) -> &'static str {
        match self {
            SignFault::Decimal(_) => "decimal",
            SignFault::Thousands(_) | SignFault::Same(_) => "thousands",
        }
    }
}
