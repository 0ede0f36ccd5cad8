//! Columns that nothing claims: they become attributes, with a type found from all their values.

use super::numbers::Signs;

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
        self.max(ExtraType::of(cell, signs))
    }

    fn of(cell: &str, signs: Signs) -> ExtraType {
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

/// Whether a field of an attribute is null in a column of numbers.
pub fn is_missing(cell: &str) -> bool {
    matches!(cell, "" | "NA" | "N/A" | "n/a" | "NaN" | "nan" | "-" | "--" | "---" | "null" | "NULL")
}

/// A real attribute.
pub fn real(cell: &str, signs: Signs) -> Option<f64> {
    let is_plain = |byte: u8| byte.is_ascii_digit() || b"+-.,eE'".contains(&byte) || byte == b' ' || !byte.is_ascii();
    if cell.bytes().all(is_plain) { signs.number(cell) } else { None }
}

/// A whole attribute.
pub fn integer(cell: &str, signs: Signs) -> Option<i64> {
    if let Ok(number) = cell.parse() {
        return Some(number);
    }
    let number = signs.thousands.and_then(|_| signs.number(cell))?;
    (number.fract() == 0.0 && number.abs() < 9e15).then_some(number as i64)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(cells: &[&str]) -> ExtraType {
        cells.iter().fold(ExtraType::Empty, |kind, cell| kind.with(cell, Signs::POINT))
    }

    #[test]
    fn the_type_holds_every_value() {
        assert_eq!(of(&["", "NA"]), ExtraType::Empty);
        assert_eq!(of(&["12", "", "-3", "0"]), ExtraType::Integer);
        assert_eq!(of(&["12", "3.5"]), ExtraType::Real);
        assert_eq!(of(&["12", "oak"]), ExtraType::Text);
        assert_eq!(of(&["007", "12"]), ExtraType::Text);
        assert_eq!(of(&["0.5", "1e3"]), ExtraType::Real);
        assert_eq!(of(&["99999999999999999999"]), ExtraType::Text);
        assert_eq!(of(&["infinity"]), ExtraType::Text);
        assert_eq!(ExtraType::Empty.with("3,5", Signs { decimal_comma: true, thousands: None }), ExtraType::Real);
        assert_eq!(ExtraType::Empty.with("3,5", Signs::POINT), ExtraType::Text);
    }
}
