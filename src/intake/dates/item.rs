//! What a date is made of, once its text is taken apart.

/// A number or a month of a date, and the sign before it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum DateItem {
    Number { value: i64, digits: u8, sign: char },
    Month { month: u8, is_also_a_day: bool },
}
