//! Columns that nothing claims: they become attributes, with a type found from all their values.

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
    pub fn with(self, cell: &str, decimal_comma: bool) -> ExtraType {
        if self == ExtraType::Text || is_missing(cell) {
            return self;
        }
        self.max(ExtraType::of(cell, decimal_comma))
    }

    fn of(cell: &str, decimal_comma: bool) -> ExtraType {
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
        match real(cell, decimal_comma) {
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
pub fn real(cell: &str, decimal_comma: bool) -> Option<f64> {
    let plain = |text: &str| text.bytes().all(|byte| byte.is_ascii_digit() || b"+-.eE".contains(&byte));
    let value = if decimal_comma && cell.contains(',') {
        let text = cell.replace(',', ".");
        plain(&text).then(|| text.parse::<f64>().ok())?
    } else {
        plain(cell).then(|| cell.parse::<f64>().ok())?
    };
    value.filter(|value| value.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(cells: &[&str]) -> ExtraType {
        cells.iter().fold(ExtraType::Empty, |kind, cell| kind.with(cell, false))
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
        assert_eq!(ExtraType::Empty.with("3,5", true), ExtraType::Real);
        assert_eq!(ExtraType::Empty.with("3,5", false), ExtraType::Text);
    }
}
