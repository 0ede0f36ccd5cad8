//! Decimal signs and thousands separators: how the numbers of a column are written, from all its values.
//!
//! `1,264.5`, `1 264,5` and `18,8` say themselves which sign is the decimal one. `1,264` does not: there a comma stands before three
//! digits, and it may part the thousands or begin the decimals. Where nothing else in the column or in its file tells, the program
//! asks (`decimal`, `thousands`); it does not guess.

use crate::numeric::signs::{Signs, Thousands, ungrouped};

/// A value and the line that it stands on.
pub type NumberExample = (u64, String);

/// What the values of a column show.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct NumberEvidence {
    /// Values whose decimal sign is a point or a comma beyond doubt: how many, and the first.
    decimal: [(u64, Option<NumberExample>); 2],
    /// Values whose thousands are parted beyond doubt, by point, comma, blank, apostrophe.
    thousands: [Option<NumberExample>; 4],
    /// Values with a point or a comma before three digits that may be either.
    either: [Option<NumberExample>; 2],
    /// Whole numbers below 1000.
    has_small_whole: bool,
}

/// Places of the point and of the comma in [`NumberEvidence`].
const POINT: usize = 0;
/// See [`POINT`].
const COMMA: usize = 1;

fn place(sign: Thousands) -> usize {
    match sign {
        Thousands::Point => POINT,
        Thousands::Comma => COMMA,
        Thousands::Blank => 2,
        Thousands::Apostrophe => 3,
    }
}

impl NumberEvidence {
    /// Takes a value.
    pub fn take(&mut self, cell: &str, line: u64) {
        let bytes = cell.as_bytes();
        let bytes = match bytes {
            [b'-' | b'+', rest @ ..] => rest,
            all => all,
        };
        // Nearly every value has digits and at most one point.
        let Some(at) = bytes.iter().position(|byte| !byte.is_ascii_digit()) else {
            self.has_small_whole |= matches!(bytes.len(), 1..=3);
            return;
        };
        let rest = &bytes[at + 1..];
        if let (sign @ (b'.' | b','), true) = (bytes[at], rest.iter().all(u8::is_ascii_digit)) {
            let sign = if sign == b'.' { POINT } else { COMMA };
            let may_be_group = rest.len() == 3 && (1..=3).contains(&at) && bytes[0] != b'0';
            if may_be_group {
                note(&mut self.either[sign], cell, line);
            } else if at + rest.len() > 0 {
                self.decimal(sign, cell, line);
            }
            return;
        }
        self.take_rare(cell.trim_start_matches(['-', '+', '\u{2212}']), cell, line);
    }

    /// Takes a value of several signs.
    fn take_rare(&mut self, digits: &str, cell: &str, line: u64) {
        let is_sign = |c: char| Thousands::from_sign(c).is_some();
        if !digits.chars().all(|c| c.is_ascii_digit() || is_sign(c)) || !digits.starts_with(|c: char| c.is_ascii_digit()) {
            // With an exponent a point can only be a decimal one.
            if digits.contains(['e', 'E']) && digits.parse::<f64>().is_ok() && digits.contains('.') {
                self.decimal(POINT, cell, line);
            }
            return;
        }
        let Some(last) = digits.rfind(is_sign) else { return };
        let sign_at = |at: usize| digits[at..].chars().next().and_then(Thousands::from_sign);
        let Some(sign) = sign_at(last) else { return };
        let others: Vec<Thousands> = digits[..last].chars().filter_map(Thousands::from_sign).collect();
        let tail = &digits[last..].trim_start_matches(is_sign);
        #[allow(clippy::collapsible_match)] // parted wrongly, it is none of the cases below either
        match (sign, others.as_slice()) {
            // A decimal sign behind parted thousands.
            (Thousands::Point | Thousands::Comma, [first, ..]) if others.iter().all(|other| other == first) && *first != sign => {
                if ungrouped(&digits[..last], *first).is_some() {
                    note(&mut self.thousands[place(*first)], cell, line);
                    self.decimal(place(sign), cell, line);
                }
            }
            (sign, others) if others.iter().all(|other| *other == sign) && ungrouped(digits, sign).is_some() => {
                note(&mut self.thousands[place(sign)], cell, line);
            }
            (Thousands::Point, []) if tail.is_empty() => self.decimal(POINT, cell, line),
            _ => {}
        }
    }

    fn decimal(&mut self, sign: usize, cell: &str, line: u64) {
        let (count, example) = &mut self.decimal[sign];
        *count += 1;
        if example.is_none() {
            *example = Some((line, cell.to_owned()));
        }
    }

    /// Adds what lines behind show.
    pub fn add(&mut self, later: NumberEvidence) {
        for ((count, example), (more, other)) in self.decimal.iter_mut().zip(later.decimal) {
            *count += more;
            *example = example.take().or(other);
        }
        for (mine, other) in self.thousands.iter_mut().zip(later.thousands) {
            *mine = mine.take().or(other);
        }
        for (mine, other) in self.either.iter_mut().zip(later.either) {
            *mine = mine.take().or(other);
        }
        self.has_small_whole |= later.has_small_whole;
    }

    /// Whether any value has a comma.
    pub fn has_comma(&self) -> bool {
        self.decimal[COMMA].0 > 0 || self.either[COMMA].is_some() || self.thousands[COMMA].is_some()
    }

    /// The column's values are small by what they are, such as degrees: three digits behind a sign are decimals.
    #[must_use]
    pub fn with_small_values(mut self) -> NumberEvidence {
        for sign in [POINT, COMMA] {
            if let Some((line, cell)) = self.either[sign].take() {
                self.decimal(sign, &cell, line);
            }
        }
        self
    }

    /// The decimal sign that values of the column show beyond doubt: whether it is a comma.
    pub fn decimal_comma(&self) -> Option<bool> {
        match (self.decimal[POINT].0, self.decimal[COMMA].0) {
            (0, 0) => match (&self.thousands[POINT], &self.thousands[COMMA]) {
                (Some(_), None) => Some(true),
                (None, Some(_)) => Some(false),
                _ => None,
            },
            (points, commas) => Some(commas > points),
        }
    }

    /// How the column's numbers are written.
    pub fn settle(&self, by_job: &Keys, of_file: Option<bool>, separator: u8) -> SettledNumbers {
        let decimal_comma = by_job.decimal_comma().or_else(|| self.decimal_comma());
        if let Some(decimal_comma) = decimal_comma {
            let own = usize::from(decimal_comma);
            if let (None, Some(_), Some(example)) = (by_job.decimal_comma(), &self.thousands[own], &self.either[own]) {
                return SettledNumbers { open: Some(example.clone()), ..SettledNumbers::default() };
            }
            let told_by = match by_job.decimal_comma() {
                Some(_) => None,
                None => {
                    self.decimal[usize::from(decimal_comma)].1.clone().or_else(|| self.thousands.iter().flatten().next().cloned())
                }
            };
            return self.settled(decimal_comma, by_job.thousands, told_by);
        }
        let open = match (&self.either[POINT], &self.either[COMMA]) {
            (None, None) => return self.settled(of_file.unwrap_or(false), by_job.thousands, None),
            (Some(example), Some(_)) => return SettledNumbers { open: Some(example.clone()), ..SettledNumbers::default() },
            (Some(example), None) => (example, false),
            (None, Some(example)) => (example, true),
        };
        let (example, is_comma) = open;
        // Blanks or apostrophes part the thousands, so the sign does not.
        if self.thousands.iter().any(Option::is_some) || by_job.thousands.is_some() {
            return self.settled(is_comma, by_job.thousands, Some(example.clone()));
        }
        match of_file {
            Some(of_file) if of_file == is_comma => self.settled(is_comma, None, None),
            // Small whole numbers beside it: the column has no decimals.
            Some(of_file) if self.has_small_whole => self.settled(of_file, None, Some(example.clone())),
            // Every value has three digits behind a point, and the separator of the file is the other sign.
            None if !is_comma && !self.has_small_whole && separator == b',' => self.settled(false, None, None),
            _ => SettledNumbers { open: Some(example.clone()), ..SettledNumbers::default() },
        }
    }

    fn settled(&self, decimal_comma: bool, thousands: Option<Thousands>, told_by: Option<NumberExample>) -> SettledNumbers {
        let other = if decimal_comma { POINT } else { COMMA };
        // Where both signs begin decimals, a group of three is not read either way.
        let is_mixed = self.decimal.iter().all(|(count, _)| *count > 0);
        let either = |at: usize| self.either.get(at).cloned().flatten().filter(|_| !is_mixed);
        let seen = |at: usize| self.thousands[at].clone().or_else(|| either(at));
        let order = [(Thousands::Blank, 2), (Thousands::Apostrophe, 3)];
        let other_sign = if decimal_comma { Thousands::Point } else { Thousands::Comma };
        let found = seen(other).map(|example| (other_sign, example));
        let found = found.or_else(|| order.into_iter().find_map(|(sign, at)| Some((sign, self.thousands[at].clone()?))));
        let (thousands, parted) = match (thousands, found) {
            (Some(sign), _) => (Some(sign), self.thousands[place(sign)].clone().or_else(|| seen(place(sign)))),
            (None, Some((sign, example))) => (Some(sign), Some(example)),
            (None, None) => (None, None),
        };
        let has_decimals = self.decimal[usize::from(decimal_comma)].0 > 0 || self.either[usize::from(decimal_comma)].is_some();
        SettledNumbers { signs: Signs { decimal_comma, thousands }, open: None, told_by, parted, has_decimals }
    }
}

fn note(place: &mut Option<NumberExample>, cell: &str, line: u64) {
    if place.is_none() {
        *place = Some((line, cell.to_owned()));
    }
}

/// What the job says of a log's numbers.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Keys {
    /// The decimal sign.
    pub decimal: Option<char>,
    /// The sign between thousands.
    pub thousands: Option<Thousands>,
}

impl Keys {
    /// Whether the decimal sign is a comma, said or because the other sign parts the thousands.
    fn decimal_comma(&self) -> Option<bool> {
        match (self.decimal, self.thousands) {
            (Some(sign), _) => Some(sign == ','),
            (None, Some(Thousands::Point)) => Some(true),
            (None, Some(Thousands::Comma)) => Some(false),
            (None, _) => None,
        }
    }
}

/// How a column's numbers are written, and what tells.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct SettledNumbers {
    /// The signs.
    pub signs: Signs,
    /// A value that leaves it open; the signs are not to be used then.
    pub open: Option<NumberExample>,
    /// The value that tells the decimal sign.
    pub told_by: Option<NumberExample>,
    /// The first value with parted thousands.
    pub parted: Option<NumberExample>,
    /// Whether any value has decimals.
    pub has_decimals: bool,
}

#[cfg(test)]
mod tests {
    use super::*;

    fn settled(values: &[&str], keys: Keys, of_file: Option<bool>) -> SettledNumbers {
        let mut evidence = NumberEvidence::default();
        values.iter().enumerate().for_each(|(i, text)| evidence.take(text, i as u64 + 2));
        evidence.settle(&keys, of_file, b';')
    }

    fn read(values: &[&str]) -> Vec<Option<f64>> {
        let column = settled(values, Keys::default(), None);
        assert_eq!(column.open, None, "{values:?}");
        values.iter().map(|text| column.signs.number(text)).collect()
    }

    #[test]
    fn other_values_decide() {
        assert_eq!(read(&["804.2", "1,204.6", "1,310"]), [Some(804.2), Some(1204.6), Some(1310.0)]);
        assert_eq!(read(&["18,8", "1.204", "1.204,25"]), [Some(18.8), Some(1204.0), Some(1204.25)]);
        assert_eq!(read(&["1 264,5", "804,250"]), [Some(1264.5), Some(804.25)]);
        assert_eq!(read(&["1\u{202f}264,5", "-1\u{a0}000"]), [Some(1264.5), Some(-1000.0)]);
        assert_eq!(read(&["12'345.5", "1'000"]), [Some(12345.5), Some(1000.0)]);
        assert_eq!(read(&["1,234,567", "1,310"]), [Some(1_234_567.0), Some(1310.0)]);
        // A zero in front, or four digits, cannot be a group.
        assert_eq!(read(&["0,125", "1,310"]), [Some(0.125), Some(1.31)]);
        assert_eq!(read(&["1204,500", "804,125"]), [Some(1204.5), Some(804.125)]);
        assert_eq!(read(&["804", "640"]), [Some(804.0), Some(640.0)]);
    }

    #[test]
    fn groups_of_three_alone_are_asked_for() {
        for values in [&["804", "1,204", "640"][..], &["804", "1.204"], &["1,204", "1,310"], &["1.204", "1,310"], &["-1,204"]] {
            assert!(settled(values, Keys::default(), None).open.is_some(), "{values:?}");
        }
        let number = |keys: Keys| settled(&["804", "1,204"], keys, None).signs.number("1,204");
        assert_eq!(number(Keys { decimal: Some(','), thousands: None }), Some(1.204));
        assert_eq!(number(Keys { decimal: Some('.'), thousands: None }), Some(1204.0));
        assert_eq!(number(Keys { decimal: None, thousands: Some(Thousands::Comma) }), Some(1204.0));
    }

    #[test]
    fn the_rest_of_the_file_decides_where_it_can() {
        // Other columns have decimal points: the comma beside whole numbers parts the thousands.
        let column = settled(&["804", "1,204"], Keys::default(), Some(false));
        assert_eq!((column.open.clone(), column.signs.number("1,204")), (None, Some(1204.0)));
        // Three decimals in each value of a file with decimal commas.
        assert_eq!(settled(&["1,204", "1,310"], Keys::default(), Some(true)).signs.number("1,204"), Some(1.204));
        assert!(settled(&["1,204", "1,310"], Keys::default(), Some(false)).open.is_some());
    }
}
