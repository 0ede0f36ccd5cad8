//! The clocks that logs are kept by: UTC, GPS time, local zones, an instrument's clock that is off.
//!
//! GPS time runs ahead of UTC by the leap seconds since 1980: GPS − UTC = (TAI − UTC) − 19 s. The steps
//! are a table, `leap_seconds.csv`, which a test holds to the IERS's own list (Bulletin C), and which a job can replace with the
//! newer `leap-seconds.list` that the IERS publishes. Local zones are settled where logs are read.

use std::sync::{Arc, OnceLock};

use jiff::civil::{Date, Time};
use jiff::tz::Offset;
use jiff::{SignedDuration, Timestamp};

/// TAI − GPS time, a constant, in seconds.
const TAI_MINUS_GPS_S: i64 = 19;
/// No difference of two clocks of the world comes near to this, in seconds.
const GREATEST_STEP_S: i64 = 3600;
/// Seconds from 1900, where the list of the IERS counts from, to 1970.
const FROM_1900_TO_1970_S: i64 = 2_208_988_800;

/// The steps of UTC.
#[derive(Debug, Clone, PartialEq)]
pub struct LeapSeconds {
    /// Instants from which on GPS − UTC has a value, in seconds; in order of time.
    steps: Vec<(Timestamp, i64)>,
}

/// Why a text is no table of leap seconds.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum LeapSecondsError {
    /// A line that cannot be read, by its number from 1.
    #[error("line {number}: \"{line}\" is no step; write 2017-01-01,37")]
    NoStep {
        /// Its number.
        number: usize,
        /// The line.
        line: String,
    },
    /// No line.
    #[error("the table has no steps")]
    Empty,
    /// A step that is earlier than the one ahead of it.
    #[error("the steps are not in order of time")]
    Unordered,
}

impl LeapSeconds {
    /// The table inside the program.
    pub fn builtin() -> Arc<LeapSeconds> {
        static BUILTIN: OnceLock<Arc<LeapSeconds>> = OnceLock::new();
        // Were the table inside damaged, which a test rules out, no GPS time could be read at all.
        BUILTIN
            .get_or_init(|| {
                Arc::new(LeapSeconds::parse(include_str!("leap_seconds.csv")).unwrap_or(LeapSeconds { steps: vec![] }))
            })
            .clone()
    }

    /// A table from text: lines `date,TAI−UTC` as inside the program, or the IERS's list (seconds since 1900, TAI − UTC).
    ///
    /// # Errors
    /// When no line or not every line can be read.
    pub fn parse(text: &str) -> Result<LeapSeconds, LeapSecondsError> {
        let mut steps = Vec::new();
        for (i, line) in text.lines().enumerate() {
            let line = line.split('#').next().unwrap_or("").trim();
            if line.is_empty() || line.starts_with("utc_from") {
                continue;
            }
            let wrong = || LeapSecondsError::NoStep { number: i + 1, line: line.to_owned() };
            let (from, tai_minus_utc_s) = line.split_once([',', ' ', '\t']).ok_or_else(wrong)?;
            let tai_minus_utc_s: i64 = tai_minus_utc_s.trim().parse().map_err(|_| wrong())?;
            if !(-GREATEST_STEP_S..=GREATEST_STEP_S).contains(&tai_minus_utc_s) {
                return Err(wrong());
            }
            let from = match from.parse::<i64>() {
                Ok(seconds) => Timestamp::from_second(seconds.saturating_sub(FROM_1900_TO_1970_S)).map_err(|_| wrong())?,
                Err(_) => {
                    let date: Date = from.parse().map_err(|_| wrong())?;
                    Offset::UTC.to_timestamp(date.to_datetime(Time::midnight())).map_err(|_| wrong())?
                }
            };
            steps.push((from, tai_minus_utc_s - TAI_MINUS_GPS_S));
        }
        if steps.is_empty() {
            return Err(LeapSecondsError::Empty);
        }
        if !steps.is_sorted() {
            return Err(LeapSecondsError::Unordered);
        }
        Ok(LeapSeconds { steps })
    }

    /// UTC of an instant that a GPS clock shows; none before the first step (GPS time begins in 1980).
    /// The leap second itself, which UTC counts as 23:59:60, gives the second after it.
    pub fn gps_to_utc(&self, gps: Timestamp) -> Option<Timestamp> {
        let (_, ahead_s) = self.steps.iter().rev().find(|(from, ahead_s)| gps.as_second() - ahead_s >= from.as_second())?;
        gps.checked_sub(SignedDuration::from_secs(*ahead_s)).ok()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn utc_of(gps: &str) -> String {
        LeapSeconds::builtin().gps_to_utc(gps.parse().unwrap()).unwrap().to_string()
    }

    /// From the IERS's list below, less the 19 s of 1980: 0 at the beginning of GPS time, 13 s from 1999, 14 s from 2006, 17 s from
    /// July 2015, 18 s since 2017.
    #[test]
    fn published_differences() {
        for (gps, utc) in [
            ("1980-01-06T00:00:00Z", "1980-01-06T00:00:00Z"),
            ("1999-01-01T00:00:13Z", "1999-01-01T00:00:00Z"),
            ("2005-12-31T23:59:59Z", "2005-12-31T23:59:46Z"),
            ("2006-01-01T00:00:14Z", "2006-01-01T00:00:00Z"),
            ("2015-07-01T00:00:17Z", "2015-07-01T00:00:00Z"),
            ("2017-01-01T00:00:18Z", "2017-01-01T00:00:00Z"),
            ("2026-05-04T08:00:18.5Z", "2026-05-04T08:00:00.5Z"),
        ] {
            assert_eq!(utc_of(gps), utc, "{gps}");
        }
    }

    /// `tests/reference/leap_seconds.csv`: all steps since GPS time began, and no others.
    #[test]
    fn the_table_inside_is_that_of_the_iers() {
        let list = include_str!("../../tests/reference/leap_seconds.csv");
        let published: Vec<(i64, i64)> = (list.lines().skip(1))
            .map(|line| line.split(',').take(2).map(|cell| cell.parse().unwrap()).collect::<Vec<i64>>())
            .map(|cells| (cells[0] - 2_208_988_800, cells[1] - 19))
            .collect();
        assert_eq!(published.len(), 28);
        let inside: Vec<_> = LeapSeconds::builtin().steps.iter().map(|(from, ahead_s)| (from.as_second(), *ahead_s)).collect();
        assert_eq!(inside, published[published.len() - inside.len()..]);
        assert_eq!(inside[0].1, 0, "the oldest is that of the year in which GPS time began");
    }

    #[test]
    fn the_leap_second_itself() {
        // 2016-12-31T23:59:59 UTC was 17 s behind; the next GPS second was 23:59:60, then came 18 s.
        assert_eq!(utc_of("2017-01-01T00:00:16Z"), "2016-12-31T23:59:59Z");
        assert_eq!(utc_of("2017-01-01T00:00:17Z"), "2017-01-01T00:00:00Z");
        assert_eq!(utc_of("2017-01-01T00:00:18Z"), "2017-01-01T00:00:00Z");
    }

    #[test]
    fn the_list_of_the_iers_says_the_same() {
        let list = "#\tcomment\n3644697600\t36\t# 1 Jul 2015\n3692217600\t37\t# 1 Jan 2017\n";
        let read = LeapSeconds::parse(list).unwrap();
        let builtin = LeapSeconds::builtin();
        assert_eq!(read.steps, builtin.steps[builtin.steps.len() - 2..]);
    }

    #[test]
    fn damaged_tables() {
        for text in [
            "",
            "2017-01-01",
            "2017-13-01,37",
            "2017-01-01,37\n2015-07-01,36",
            "999999999999999999,3",
            "2017-01-01,-9223372036854775808",
        ] {
            assert!(LeapSeconds::parse(text).is_err(), "{text}");
        }
        assert_eq!(LeapSeconds::builtin().gps_to_utc("1979-01-01T00:00:00Z".parse().unwrap()), None);
    }
}
