//! How the values of a log are written: keys for what only the crew can say.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::LogFormat;

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

impl LogFormat {
    /// What is wrong with the signs of numbers: the key, and the sentence.
    pub(crate) fn fault_of_signs(&self) -> Option<(&'static str, String)> {
        if let Some(sign) = self.decimal.filter(|sign| !matches!(sign, '.' | ',')) {
            return Some(("decimal", format!("decimal = \"{sign}\": write \".\" or \",\"")));
        }
        let sign = self.thousands?;
        if !matches!(sign, '.' | ',' | ' ' | '\'') {
            return Some(("thousands", format!("thousands = \"{sign}\": write \",\" \".\" \" \" or \"'\"")));
        }
        (self.decimal == Some(sign))
            .then(|| ("thousands", format!("decimal and thousands are both \"{sign}\"; change one of them")))
    }
}
