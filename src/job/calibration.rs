//! Corrections of an instrument that hold for a range of dates, and their checks.

use std::borrow::Cow;
use std::fmt;

use jiff::civil::Date;
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{self, Deserializer};
use serde::{Deserialize, Serialize, Serializer};

/// Corrections found by a calibration, for the shots of a range of dates.
///
/// A correction that is left out is the instrument's own. The standard errors are of the corrections
/// themselves: all shots of the range share the error, so that repeats do not lessen it.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Calibration {
    /// First day, as `2026-04-01`, in the log's local dates. Default: from the beginning.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from: Option<Day>,
    /// Last day, as `2026-06-30`, in the log's local dates. Default: without end.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to: Option<Day>,
    /// Added to every azimuth reading, in degrees.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub azimuth_correction_deg: Option<f64>,
    /// Standard error of that correction, in degrees. Default: 0.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sigma_azimuth_correction_deg: Option<f64>,
    /// Added to every inclination reading, in degrees, up positive.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub inclination_correction_deg: Option<f64>,
    /// Standard error of that correction, in degrees. Default: 0.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sigma_inclination_correction_deg: Option<f64>,
    /// Added to every measured distance, in metres.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub distance_correction_m: Option<f64>,
    /// Standard error of that correction, in metres. Default: 0.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sigma_distance_correction_m: Option<f64>,
}

/// A day in a job file, written `2026-04-01`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Day(pub Date);

impl Calibration {
    /// The range of dates in words, for messages.
    pub fn range(&self) -> String {
        match (self.from, self.to) {
            (Some(from), Some(to)) => format!("{from} to {to}"),
            (Some(from), None) => format!("from {from} on"),
            (None, Some(to)) => format!("up to {to}"),
            (None, None) => "every date".to_owned(),
        }
    }
}

/// What is wrong with the calibrations of an instrument. `range` is what they count for, in words.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CalibrationFault {
    /// A range that ends before it begins.
    #[error("the calibration {range} ends before it begins; change from or to")]
    Backwards {
        /// The range.
        range: String,
    },
    /// A value that no instrument has.
    #[error("the calibration {range}: {key} = {value} must lie between {least} and {greatest}")]
    Outside {
        /// The range.
        range: String,
        /// The key.
        key: &'static str,
        /// The value.
        value: f64,
        /// The least.
        least: f64,
        /// The greatest.
        greatest: f64,
    },
    /// A calibration without a value.
    #[error("the calibration {range} corrects nothing; write azimuth_correction_deg or another, or take it out")]
    Empty {
        /// The range.
        range: String,
    },
    /// Two calibrations for one day.
    #[error("the calibrations \"{first}\" and \"{next}\" overlap; end the first the day before the next begins")]
    Overlap {
        /// The range of one.
        first: String,
        /// The range of the other.
        next: String,
    },
}

/// Checks the calibrations of one instrument.
///
/// # Errors
/// When a range ends before it begins, two ranges share a day, a value is out of range, or a
/// calibration has no value.
pub fn check(calibrations: &[Calibration]) -> Result<(), CalibrationFault> {
    for calibration in calibrations {
        let range = calibration.range();
        if let (Some(from), Some(to)) = (calibration.from, calibration.to)
            && to < from
        {
            return Err(CalibrationFault::Backwards { range });
        }
        let corrections = [
            ("azimuth_correction_deg", calibration.azimuth_correction_deg, 360.0),
            ("inclination_correction_deg", calibration.inclination_correction_deg, 90.0),
            ("distance_correction_m", calibration.distance_correction_m, 1000.0),
        ];
        let sigmas = [
            ("sigma_azimuth_correction_deg", calibration.sigma_azimuth_correction_deg, 180.0),
            ("sigma_inclination_correction_deg", calibration.sigma_inclination_correction_deg, 90.0),
            ("sigma_distance_correction_m", calibration.sigma_distance_correction_m, 1000.0),
        ];
        let limits = corrections.map(|(key, value, limit)| (key, value, -limit, limit));
        for (key, value, least, greatest) in limits.into_iter().chain(sigmas.map(|(key, value, limit)| (key, value, 0.0, limit)))
        {
            if let Some(value) = value
                && !(least..=greatest).contains(&value)
            {
                return Err(CalibrationFault::Outside { range, key, value, least, greatest });
            }
        }
        if corrections.iter().chain(&sigmas).all(|(_, value, _)| value.is_none()) {
            return Err(CalibrationFault::Empty { range });
        }
    }
    let mut ordered: Vec<&Calibration> = calibrations.iter().collect();
    ordered.sort_by_key(|calibration| calibration.from);
    for pair in ordered.windows(2) {
        let (first, next) = (pair[0], pair[1]);
        let apart = matches!((first.to, next.from), (Some(to), Some(from)) if to < from);
        if !apart {
            return Err(CalibrationFault::Overlap { first: first.range(), next: next.range() });
        }
    }
    Ok(())
}

impl fmt::Display for Day {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl Serialize for Day {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(&self.0)
    }
}

impl<'de> Deserialize<'de> for Day {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        let day = if text.len() == 10 { text.parse().ok() } else { None };
        day.map(Day).ok_or_else(|| de::Error::custom(format!("\"{text}\" is no day of the calendar; write it as \"2026-04-01\"")))
    }
}

impl JsonSchema for Day {
    fn schema_name() -> Cow<'static, str> {
        "Day".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "description": "A day, as 2026-04-01.",
            "type": "string",
            "format": "date",
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lasting(from: &str, to: &str) -> Calibration {
        let day = |text: &str| (!text.is_empty()).then(|| Day(text.parse().unwrap()));
        Calibration { from: day(from), to: day(to), azimuth_correction_deg: Some(0.5), ..Calibration::default() }
    }

    fn problem(calibrations: &[Calibration]) -> String {
        check(calibrations).unwrap_err().to_string()
    }

    #[test]
    fn ranges_that_follow_each_other_in_any_order() {
        let spring = lasting("2026-04-01", "2026-06-30");
        assert_eq!(check(&[]), Ok(()));
        assert_eq!(check(&[lasting("", "")]), Ok(()));
        assert_eq!(check(&[lasting("2026-07-01", ""), lasting("", "2026-03-31"), spring.clone()]), Ok(()));
        // One day long.
        assert_eq!(check(&[spring, lasting("2026-07-01", "2026-07-01"), lasting("2026-07-02", "")]), Ok(()));
    }

    #[test]
    fn ranges_that_share_a_day() {
        assert_eq!(
            problem(&[lasting("2026-06-30", "2026-08-01"), lasting("2026-04-01", "2026-06-30")]),
            "the calibrations \"2026-04-01 to 2026-06-30\" and \"2026-06-30 to 2026-08-01\" overlap; end the first the day \
             before the next begins"
        );
        assert!(problem(&[lasting("", "2026-06-30"), lasting("", "2026-01-01")]).contains("overlap"));
        assert!(problem(&[lasting("2026-04-01", ""), lasting("2026-07-01", "")]).contains("overlap"));
        assert!(problem(&[lasting("", ""), lasting("2026-07-01", "")]).contains("overlap"));
        // A range inside another.
        assert!(problem(&[lasting("2026-01-01", "2026-12-31"), lasting("2026-03-01", "2026-04-01")]).contains("overlap"));
    }

    #[test]
    fn ranges_and_values_that_cannot_be() {
        assert_eq!(
            problem(&[lasting("2026-06-30", "2026-06-29")]),
            "the calibration 2026-06-30 to 2026-06-29 ends before it begins; change from or to"
        );
        assert_eq!(
            problem(&[Calibration { azimuth_correction_deg: None, ..lasting("2026-06-30", "") }]),
            "the calibration from 2026-06-30 on corrects nothing; write azimuth_correction_deg or another, or take it out"
        );
        assert_eq!(
            problem(&[Calibration { sigma_distance_correction_m: Some(-0.1), ..lasting("", "") }]),
            "the calibration every date: sigma_distance_correction_m = -0.1 must lie between 0 and 1000"
        );
        assert!(check(&[Calibration { inclination_correction_deg: Some(f64::NAN), ..lasting("", "") }]).is_err());
    }
}
