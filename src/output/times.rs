//! Dates and times as ISO 8601, digit by digit: a million of them are written in a run.

use jiff::civil::DateTime;

/// The last decimal digit of a number that is not negative.
pub fn digit(number: i32) -> char {
    char::from(b'0' + (number % 10) as u8)
}

/// Adds a number from 0 to 99 as two digits.
pub fn push_two_digits(text: &mut String, number: i32) {
    text.push(digit(number / 10));
    text.push(digit(number));
}

/// Adds `2026-05-04T08:00:01`, the fraction of the second left out. Four digits of year are all that the formats have; the parser of times
/// admits no other.
pub fn push_date_time(text: &mut String, at: &DateTime) {
    let year = at.year().clamp(0, 9999);
    let (century, of_century) = ((year / 100) as i8, (year % 100) as i8);
    let mut written = *b"0000-00-00T00:00:00";
    let numbers = [century, of_century, at.month(), at.day(), at.hour(), at.minute(), at.second()];
    for (place, number) in [0, 2, 5, 8, 11, 14, 17].into_iter().zip(numbers) {
        written[place] += number as u8 / 10;
        written[place + 1] += number as u8 % 10;
    }
    // All of it is ASCII.
    text.push_str(std::str::from_utf8(&written).unwrap_or_default());
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn as_the_library_of_times_writes_them() {
        for text in ["2026-05-04T08:00:01", "0000-01-01T00:00:00", "9999-12-31T23:59:59", "1987-10-09T12:34:56"] {
            let at: DateTime = text.parse().unwrap();
            let mut written = String::new();
            push_date_time(&mut written, &at);
            assert_eq!((written.as_str(), at.to_string().as_str()), (text, text));
        }
    }
}
