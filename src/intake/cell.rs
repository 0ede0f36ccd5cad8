//! Values of single fields: numbers, "no reading", dates and times.

use std::sync::Arc;

use jiff::civil::{Date, DateTime, Time};
use jiff::fmt::temporal::DateTimeParser;
use jiff::tz::{AmbiguousOffset, Offset, TimeZone};
use jiff::{SignedDuration, Timestamp};

use super::dates::{self, DayWritten, Style};
use crate::records::when::When;
use crate::units::gps_time::LeapSeconds;

/// Words that stand for "no reading" in any column, in small letters.
const NO_READING: [&str; 16] =
    ["", "-", "--", "---", "----", "nan", "n/a", "na", "null", "none", "nil", "#n/a", "1.#qnan", "-1.#ind", "1.#ind", "*"];

/// Bytes of the longest of [`NO_READING`].
const LONGEST_NO_READING: usize = 7;

fn is_no_reading_word(cell: &str) -> bool {
    NO_READING.iter().any(|word| word.eq_ignore_ascii_case(cell))
}

/// Numbers that stand for "no reading" in columns of measured values (common practice, no source).
const NO_READING_NUMBERS: [f64; 8] = [9999.0, 99999.0, 999999.0, 9999.9, -999.0, -9999.0, -99999.0, -999.25];

/// How a file writes its values.
#[derive(Debug, Clone, Default)]
pub struct CellFormat {
    /// The job's further words for "no reading".
    pub no_reading: Vec<String>,
    /// The zone of times that name none.
    pub time_zone: Option<TimeZone>,
    /// Times that name no zone are GPS time, which these steps bring to UTC.
    pub gps: Option<Arc<LeapSeconds>>,
    /// Added to every time.
    pub clock_offset: SignedDuration,
}

/// Why a text is no date or time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WhenError {
    /// Not a date or time in a form that means one thing only.
    NotATime,
    /// A time of day, and nothing says the day.
    NoDay,
    /// A date that is none in the order that the job names.
    OtherOrder,
    /// A time with no zone, and the job names none.
    NoZone,
    /// A local time that was there twice or not at all.
    Ambiguous,
}

/// A name that is no time zone.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("\"{0}\" is no time zone; write an IANA name such as Europe/Oslo, UTC, or an offset such as +02:00")]
pub struct NoTimeZone(pub String);

impl CellFormat {
    /// Whether a field says that there is no reading.
    pub fn is_no_reading(&self, cell: &str) -> bool {
        let is_known = match cell.as_bytes() {
            [] => true,
            bytes if bytes.len() > LONGEST_NO_READING => false,
            // Nearly every cell is a number, or a word that begins as none of these do.
            [b'0'..=b'9', ..] | [b'-', b'0'..=b'9', ..] => cell.bytes().any(|byte| byte == b'#') && is_no_reading_word(cell),
            [b'-' | b'n' | b'N' | b'#' | b'*', ..] => is_no_reading_word(cell),
            _ => false,
        };
        is_known || self.no_reading.iter().any(|word| word == cell)
    }

    /// The date and time of a row, each with how its column is written.
    ///
    /// # Errors
    /// See [`WhenError`].
    pub fn when(&self, date: Option<(&str, Style)>, time: Option<(&str, Style)>) -> Result<Option<When>, WhenError> {
        match (date, time) {
            (None, None) => Ok(None),
            (Some(date), None) => Ok(Some(When { date: day(date)?, instant: None })),
            (Some(date), Some(time)) => {
                let date = day(date)?;
                let (time, offset) = time_of_day(time)?;
                self.at(date.to_datetime(time), offset).map(Some)
            }
            (None, Some(time)) => match date_time(time)? {
                Moment::Local(date, None, _) => Ok(Some(When { date, instant: None })),
                Moment::Local(date, Some(time), offset) => self.at(date.to_datetime(time), offset).map(Some),
                Moment::Instant(instant) => self.corrected(instant, Offset::UTC).map(Some),
            },
        }
    }

    /// The day of a row whose instant cannot be told.
    pub fn day_of(&self, date: Option<(&str, Style)>, time: Option<(&str, Style)>) -> Option<Date> {
        match (date, time) {
            (Some(date), _) => day(date).ok(),
            (None, Some(time)) => match date_time(time) {
                Ok(Moment::Local(date, _, _)) => Some(date),
                _ => None,
            },
            (None, None) => None,
        }
    }

    fn at(&self, local: DateTime, offset: Option<Offset>) -> Result<When, WhenError> {
        if let (None, Some(leap_seconds)) = (offset, &self.gps) {
            let gps = Offset::UTC.to_timestamp(local).map_err(|_| WhenError::NotATime)?;
            let instant = leap_seconds.gps_to_utc(gps).ok_or(WhenError::NotATime)?;
            return self.corrected(instant, Offset::UTC);
        }
        let offset = match (offset, &self.time_zone) {
            (Some(offset), _) => offset,
            (None, None) => return Err(WhenError::NoZone),
            (None, Some(zone)) => match zone.to_ambiguous_timestamp(local).offset() {
                AmbiguousOffset::Unambiguous { offset } => offset,
                _ => return Err(WhenError::Ambiguous),
            },
        };
        let instant = offset.to_timestamp(local).map_err(|_| WhenError::NotATime)?;
        if self.clock_offset.is_zero() {
            return Ok(When { date: local.date(), instant: Some((instant, offset)) });
        }
        self.corrected(instant, offset)
    }

    /// With the clock's offset added.
    fn corrected(&self, instant: Timestamp, offset: Offset) -> Result<When, WhenError> {
        let instant = instant.checked_add(self.clock_offset).map_err(|_| WhenError::NotATime)?;
        Ok(When { date: offset.to_datetime(instant).date(), instant: Some((instant, offset)) })
    }
}

/// Whether a number stands for "no reading" in a column of measured values.
pub fn is_no_reading_number(value: f64) -> bool {
    NO_READING_NUMBERS.contains(&value)
}

/// A time zone by IANA name or offset.
///
/// # Errors
/// When it is neither.
pub fn time_zone(name: &str) -> Result<TimeZone, NoTimeZone> {
    let no_zone = || NoTimeZone(name.to_owned());
    if name.starts_with(['+', '-']) {
        let pieces = format!("2000-01-01T00:00{name}");
        let offset = DateTimeParser::new().parse_pieces(&pieces).ok().and_then(|pieces| pieces.to_numeric_offset());
        return offset.map(TimeZone::fixed).ok_or_else(no_zone);
    }
    TimeZone::get(name).map_err(|_| no_zone())
}

/// What a text of a date and time says.
enum Moment {
    /// By a clock, with an offset where the text has one; no time of day where it has none.
    Local(Date, Option<Time>, Option<Offset>),
    /// Epoch seconds.
    Instant(Timestamp),
}

/// A day: `2026-05-04`, or a date and time of which the day counts.
fn day((text, style): (&str, Style)) -> Result<Date, WhenError> {
    let is_all_digits = text.bytes().all(|byte| byte.is_ascii_digit());
    if let (Ok(date), false) = (text.parse::<Date>(), is_all_digits)
        && text.len() <= 10
    {
        return Ok(date);
    }
    match date_time((text, style))? {
        Moment::Local(date, _, _) => Ok(date),
        Moment::Instant(instant) => Ok(Offset::UTC.to_datetime(instant).date()),
    }
}

fn date_time((text, style): (&str, Style)) -> Result<Moment, WhenError> {
    if let Some(quick) = quick_utc(text.as_bytes()) {
        return Ok(Moment::Local(quick.date(), Some(quick.time()), Some(Offset::UTC)));
    }
    // Digits alone mean something else to ISO 8601 where the year does not stand first.
    let is_number = text.bytes().all(|byte| byte.is_ascii_digit() || matches!(byte, b'.' | b','));
    if let (Ok(pieces), false) = (DateTimeParser::new().parse_pieces(text), is_number) {
        return Ok(Moment::Local(pieces.date(), pieces.time(), pieces.to_numeric_offset()));
    }
    let said = dates::parse(text).ok_or(WhenError::NotATime)?;
    match said.day {
        DayWritten::Known(date) => Ok(Moment::Local(date, said.time, said.offset)),
        DayWritten::Instant(instant) => Ok(Moment::Instant(instant)),
        DayWritten::None => Err(WhenError::NoDay),
        DayWritten::Numbers(numbers) => match numbers.settled(&style) {
            Some(date) => Ok(Moment::Local(date, said.time, said.offset)),
            None if style.by_job && numbers.readings().next().is_some() => Err(WhenError::OtherOrder),
            None => Err(WhenError::NotATime),
        },
    }
}

/// The commonest form, `2026-05-04T08:00:01Z`, without the general parser.
fn quick_utc(text: &[u8]) -> Option<DateTime> {
    let [y1, y2, y3, y4, b'-', m1, m2, b'-', d1, d2, b'T' | b' ', h1, h2, b':', n1, n2, b':', s1, s2, b'Z'] = text else {
        return None;
    };
    let digits = |digits: &[u8]| {
        digits.iter().try_fold(0i16, |sum, digit| digit.is_ascii_digit().then(|| sum * 10 + i16::from(digit - b'0')))
    };
    let two = |a: &u8, b: &u8| digits(&[*a, *b]).map(|n| n as i8);
    DateTime::new(digits(&[*y1, *y2, *y3, *y4])?, two(m1, m2)?, two(d1, d2)?, two(h1, h2)?, two(n1, n2)?, two(s1, s2)?, 0).ok()
}

/// A time of day, with an offset where it has one.
fn time_of_day((text, style): (&str, Style)) -> Result<(Time, Option<Offset>), WhenError> {
    if text.contains(':')
        && let Ok(time) = text.parse::<Time>()
    {
        // `Time` reads "08:00:01+02:00" too and drops the offset.
        if !text.contains(['+', 'Z', 'z']) && text.rfind('-').is_none() {
            return Ok((time, None));
        }
    }
    if let Ok(pieces) = DateTimeParser::new().parse_pieces(text)
        && let Some(time) = pieces.time()
    {
        return Ok((time, pieces.to_numeric_offset()));
    }
    dates::parse_time(text, &style).ok_or(WhenError::NotATime)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn format(zone: Option<&str>) -> CellFormat {
        CellFormat { time_zone: zone.map(|zone| time_zone(zone).unwrap()), ..CellFormat::default() }
    }

    /// With columns whose style nothing has settled.
    fn when(format: &CellFormat, date: Option<&str>, time: Option<&str>) -> Result<Option<When>, WhenError> {
        let open = |text| (text, Style::default());
        format.when(date.map(open), time.map(open))
    }

    fn utc(when: Result<Option<When>, WhenError>) -> String {
        when.unwrap().unwrap().instant.unwrap().0.to_string()
    }

    #[test]
    fn no_reading_in_words() {
        let format = CellFormat { no_reading: vec!["8888".into()], ..CellFormat::default() };
        for word in ["", "---", "NaN", "NA", "n/a", "1.#QNAN", "8888"] {
            assert!(format.is_no_reading(word), "{word:?}");
        }
        for word in ["0", "12.5", "9999", "north", "-12.5", "-", "#3", "n", "12.5 no reading"] {
            assert_eq!(format.is_no_reading(word), word == "-", "{word:?}");
        }
        for word in NO_READING {
            assert!(word.len() <= LONGEST_NO_READING && format.is_no_reading(word), "{word:?}");
            assert!(format.is_no_reading(&word.to_uppercase()), "{word:?}");
        }
        assert!(is_no_reading_number(9999.0) && !is_no_reading_number(999.0));
        assert!(!CellFormat::default().is_no_reading("12"));
        assert!(CellFormat::default().is_no_reading("1.#QNAN"));
    }

    #[test]
    fn times_as_people_write_them() {
        let none = format(None);
        let oslo = format(Some("Europe/Oslo"));
        assert_eq!(utc(when(&none, None, Some("2026-05-04T08:00:01Z"))), "2026-05-04T08:00:01Z");
        assert_eq!(utc(when(&none, None, Some("2026-05-04 08:00:01+02:00"))), "2026-05-04T06:00:01Z");
        assert_eq!(utc(when(&none, None, Some("2026-05-04T08:00:01.5Z"))), "2026-05-04T08:00:01.5Z");
        assert_eq!(utc(when(&oslo, None, Some("2026-05-04T08:00:01"))), "2026-05-04T06:00:01Z");
        assert_eq!(utc(when(&oslo, Some("2026-05-04"), Some("08:00"))), "2026-05-04T06:00:00Z");
        assert_eq!(utc(when(&none, Some("2026-05-04"), Some("08:00:00Z"))), "2026-05-04T08:00:00Z");
        assert_eq!(utc(when(&format(Some("-03:30")), Some("2026-05-04"), Some("08:00:00"))), "2026-05-04T11:30:00Z");
        let day = when(&none, Some("2017-03-29T00:00:00Z"), None).unwrap().unwrap();
        assert_eq!((day.date.to_string().as_str(), day.instant), ("2017-03-29", None));
    }

    #[test]
    fn times_of_gps_clocks_and_clocks_that_are_off() {
        let gps = CellFormat { gps: Some(LeapSeconds::builtin()), ..CellFormat::default() };
        assert_eq!(utc(when(&gps, None, Some("2026-05-04T08:00:18"))), "2026-05-04T08:00:00Z");
        // What the text itself says goes before.
        assert_eq!(utc(when(&gps, None, Some("2026-05-04T08:00:18Z"))), "2026-05-04T08:00:18Z");
        let early = CellFormat { clock_offset: SignedDuration::from_secs(-3600), ..format(Some("Europe/Oslo")) };
        let when = when(&early, None, Some("2026-05-04T00:30:00")).unwrap().unwrap();
        assert_eq!(
            (when.instant.unwrap().0.to_string().as_str(), when.date.to_string().as_str()),
            ("2026-05-03T21:30:00Z", "2026-05-03")
        );
    }

    #[test]
    fn times_that_cannot_be_known() {
        let none = format(None);
        assert_eq!(when(&none, None, Some("2026-05-04T08:00:01")), Err(WhenError::NoZone));
        assert_eq!(when(&none, Some("2026-05-04"), Some("08:00")), Err(WhenError::NoZone));
        for text in ["04/05/2026 08:00", "yesterday", "2026-13-01T00:00:00Z", "2026-02-30T00:00:00Z"] {
            assert_eq!(when(&none, None, Some(text)), Err(WhenError::NotATime), "{text}");
        }
        let oslo = format(Some("Europe/Oslo"));
        // Summer time ended on 25 October 2026 at 3 h, and began on 29 March at 2 h.
        assert_eq!(when(&oslo, None, Some("2026-10-25T02:30:00")), Err(WhenError::Ambiguous));
        assert_eq!(when(&oslo, None, Some("2026-03-29T02:30:00")), Err(WhenError::Ambiguous));
        assert!(time_zone("Mars/Olympus").unwrap_err().to_string().contains("IANA"));
    }
}
