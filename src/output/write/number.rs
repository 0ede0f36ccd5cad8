//! Numbers and times as text, for text formats.

use jiff::Timestamp;

use crate::output::times::{digit, push_date_time};

/// A number rounded to some decimals, as the shortest text that reads back the same.
pub fn rounded(value: f64, decimals: Option<u8>) -> f64 {
    let Some(decimals) = decimals else { return value };
    let factor = 10f64.powi(decimals.into());
    let scaled = value * factor;
    // Beyond 2^53 there are no decimals left to round.
    if scaled.abs() < 9e15 { scaled.round() / factor } else { value }
}

/// An instant as ISO 8601 in UTC with milliseconds: `2026-05-04T08:00:01.000Z`.
pub fn iso_utc(instant: Timestamp) -> String {
    let mut text = String::with_capacity(24);
    push_iso_utc(&mut text, instant);
    text
}

/// As [`iso_utc`], behind what is there.
pub fn push_iso_utc(text: &mut String, instant: Timestamp) {
    let at = jiff::tz::Offset::UTC.to_datetime(instant);
    push_date_time(text, &at);
    let thousandths = at.subsec_nanosecond() / 1_000_000;
    text.push('.');
    text.push(digit(thousandths / 100));
    text.push(digit(thousandths / 10));
    text.push(digit(thousandths));
    text.push('Z');
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_and_numbers() {
        let at: Timestamp = "2026-05-04T08:00:01.0567Z".parse().unwrap();
        assert_eq!(iso_utc(at), "2026-05-04T08:00:01.056Z");
        assert_eq!(rounded(0.872_664_625_997_164_8, Some(4)), 0.8727);
        assert_eq!(rounded(1e18 + 0.5, Some(9)), 1e18 + 0.5);
        assert_eq!(rounded(0.1 + 0.2, None), 0.1 + 0.2);
    }
}
