//! How numbers are written: the decimal sign, signs between thousands, and words for a number that is missing.

/// The sign between thousands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Thousands {
    /// A comma.
    Comma,
    /// A point.
    Point,
    /// A blank, of any width.
    Blank,
    /// An apostrophe.
    Apostrophe,
}

impl Thousands {
    /// The separator that a job writes as a sign.
    pub fn from_sign(sign: char) -> Option<Thousands> {
        match sign {
            ',' => Some(Thousands::Comma),
            '.' => Some(Thousands::Point),
            '\'' | '\u{2019}' => Some(Thousands::Apostrophe),
            ' ' | '\u{a0}' | '\u{202f}' | '\u{2009}' => Some(Thousands::Blank),
            _ => None,
        }
    }

    /// As a job writes it.
    pub fn sign(self) -> char {
        match self {
            Thousands::Comma => ',',
            Thousands::Point => '.',
            Thousands::Blank => ' ',
            Thousands::Apostrophe => '\'',
        }
    }

    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Thousands::Comma => "a comma",
            Thousands::Point => "a point",
            Thousands::Blank => "a blank",
            Thousands::Apostrophe => "an apostrophe",
        }
    }
}

/// How numbers are written.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Signs {
    /// Decimal comma in place of the point.
    pub decimal_comma: bool,
    /// The sign between thousands, where there are any.
    pub thousands: Option<Thousands>,
}

impl Signs {
    /// Point decimals without thousands.
    pub const POINT: Signs = Signs { decimal_comma: false, thousands: None };

    /// The decimal sign.
    pub fn decimal(self) -> char {
        if self.decimal_comma { ',' } else { '.' }
    }

    /// A finite number.
    pub fn number(self, cell: &str) -> Option<f64> {
        let value: f64 = match cell.parse() {
            Ok(value) if !self.decimal_comma => value,
            Ok(value) if !cell.contains('.') => value,
            _ => self.plain(cell)?.parse().ok()?,
        };
        // `parse` also takes "inf" and "infinity".
        value.is_finite().then_some(value)
    }

    /// The number with a decimal point and nothing between thousands; none where a sign stands in the wrong place.
    fn plain(self, cell: &str) -> Option<String> {
        let (minus, digits) = match cell.strip_prefix(['-', '\u{2212}']) {
            Some(rest) => ("-", rest),
            None => ("", cell.strip_prefix('+').unwrap_or(cell)),
        };
        let (whole, part) = match digits.split_once(self.decimal()) {
            Some((whole, part)) => (whole, Some(part)),
            None => (digits, None),
        };
        let whole = match self.thousands {
            Some(sign) if whole.chars().any(|c| Thousands::from_sign(c) == Some(sign)) => ungrouped(whole, sign)?,
            _ => whole.to_owned(),
        };
        if whole.starts_with(['+', '-'])
            || (self.decimal_comma && (whole.contains('.') || part.is_some_and(|part| part.contains('.'))))
        {
            return None;
        }
        Some(match part {
            Some(part) => format!("{minus}{whole}.{part}"),
            None => format!("{minus}{whole}"),
        })
    }
}

/// Digits in groups of three, put together.
pub(crate) fn ungrouped(whole: &str, sign: Thousands) -> Option<String> {
    let groups: Vec<&str> = whole.split(|c| Thousands::from_sign(c) == Some(sign)).collect();
    let is_group = |(at, group): (usize, &&str)| {
        let digits = group.bytes().all(|byte| byte.is_ascii_digit());
        digits && if at == 0 { (1..=3).contains(&group.len()) } else { group.len() == 3 }
    };
    groups.iter().enumerate().all(is_group).then(|| groups.concat())
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

    #[test]
    fn signs_in_wrong_places_are_no_numbers() {
        let point = Signs { decimal_comma: false, thousands: Some(Thousands::Comma) };
        for text in ["1,26.5", "1,2645", ",264", "12,4", "1,264,5", "1.264,5", "inf", "--1", "+-1", "1e999"] {
            assert_eq!(point.number(text), None, "{text}");
        }
        assert_eq!(point.number("-1,264.5"), Some(-1264.5));
        assert_eq!(point.number("\u{2212}3.7"), Some(-3.7));
        let comma = Signs { decimal_comma: true, thousands: None };
        assert_eq!((comma.number("12,4"), comma.number("12.4"), comma.number("1.234,5")), (Some(12.4), None, None));
        assert_eq!((comma.number("1e3"), comma.number("12")), (Some(1000.0), Some(12.0)));
        assert_eq!(Signs::POINT.number("12,4"), None);
    }
}
