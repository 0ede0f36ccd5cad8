//! Columns that nothing claims: they become attributes, with a type found from all their values.

use crate::numeric::signs::{Signs, integer, is_missing, real};

/// The type of an attribute.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum ExtraType {
    /// No value seen yet.
    #[default]
    Empty,
    /// Whole numbers, written without leading zeros.
    Integer,
    /// Numbers.
    Real,
    /// Anything.
    Text,
}

impl ExtraType {
    /// The type that holds what this one held, and `cell` too.
    pub fn with(self, cell: &str, signs: Signs) -> ExtraType {
        if self == ExtraType::Text || is_missing(cell) {
            return self;
        }
        self.max(ExtraType::recognise(cell, signs))
    }

    fn recognise(cell: &str, signs: Signs) -> ExtraType {
        let digits = cell.strip_prefix('-').unwrap_or(cell);
        let leading_zero = digits.len() > 1 && digits.starts_with('0') && digits.as_bytes()[1].is_ascii_digit();
        // An id such as 007 must keep its zeros, and +5 its sign.
        if leading_zero || cell.starts_with('+') {
            return ExtraType::Text;
        }
        if digits.bytes().all(|byte| byte.is_ascii_digit()) {
            // Longer ones lose digits as integers or as reals.
            return if cell.parse::<i64>().is_ok() { ExtraType::Integer } else { ExtraType::Text };
        }
        match real(cell, signs) {
            Some(_) if integer(cell, signs).is_some() => ExtraType::Integer,
            Some(_) => ExtraType::Real,
            None => ExtraType::Text,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn recognised(cells: &[&str]) -> ExtraType {
        cells.iter().fold(ExtraType::Empty, |kind, cell| kind.with(cell, Signs::POINT))
    }

    #[test]
    fn the_type_holds_every_value() {
        assert_eq!(recognised(&["", "NA"]), ExtraType::Empty);
        assert_eq!(recognised(&["12", "", "-3", "0"]), ExtraType::Integer);
        assert_eq!(recognised(&["12", "3.5"]), ExtraType::Real);
        assert_eq!(recognised(&["12", "oak"]), ExtraType::Text);
        assert_eq!(recognised(&["007", "12"]), ExtraType::Text);
        assert_eq!(recognised(&["0.5", "1e3"]), ExtraType::Real);
        assert_eq!(recognised(&["99999999999999999999"]), ExtraType::Text);
        assert_eq!(recognised(&["infinity"]), ExtraType::Text);
        assert_eq!(ExtraType::Empty.with("3,5", Signs { decimal_comma: true, thousands: None }), ExtraType::Real);
        assert_eq!(ExtraType::Empty.with("3,5", Signs::POINT), ExtraType::Text);
    }
}
