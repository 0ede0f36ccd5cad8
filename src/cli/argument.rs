//! Values on the command line, and why one is refused.

use crate::units::{AngleError, Hemispheres, parse_angle_deg};

/// Why a value on the command line is refused.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ArgumentError {
    /// No number at all, or not a finite one.
    #[error("not a number")]
    NotANumber,
    /// Below or above what makes sense, in a unit or without one.
    #[error("must lie between {least} and {greatest}{unit}")]
    Outside {
        /// The least.
        least: f64,
        /// The greatest.
        greatest: f64,
        /// The unit with a blank ahead; empty without one.
        unit: &'static str,
    },
    /// An angle beyond a limit in degrees.
    #[error("must lie within {0} degrees")]
    Beyond(f64),
    /// No number of metres above 0.
    #[error("must be a number of metres above 0")]
    NoMetres,
    /// A length of 0 or less.
    #[error("must be above 0 metres")]
    NoLength,
    /// A length that is as good as none.
    #[error("must be a millimetre or more")]
    TooShort,
    /// A standard error below 0.
    #[error("must not be below 0")]
    BelowZero,
    /// A word behind a number that is no unit of length.
    #[error("\"{0}\" is no unit of length here; write m, ft or usft, or metres without one")]
    UnknownUnit(String),
    /// No angle.
    #[error(transparent)]
    Angle(#[from] AngleError),
    /// Not three coordinates.
    #[error("write latitude, longitude and height with commas between: 58.6,-2.9,61.2")]
    NoPoint,
    /// No date.
    #[error("write the date as 2026-05-04")]
    NoDate,
}

/// A finite number.
pub fn number(text: &str) -> Result<f64, ArgumentError> {
    text.trim().parse().ok().filter(|number: &f64| number.is_finite()).ok_or(ArgumentError::NotANumber)
}

/// A number between two others; `unit` has a blank ahead, or is empty.
pub fn between(value: f64, least: f64, greatest: f64, unit: &'static str) -> Result<f64, ArgumentError> {
    if (least..=greatest).contains(&value) { Ok(value) } else { Err(ArgumentError::Outside { least, greatest, unit }) }
}

/// An angle in degrees no farther from 0 than a limit.
pub fn angle_within(text: &str, letters: Hemispheres, limit: f64) -> Result<f64, ArgumentError> {
    let degrees = parse_angle_deg(text, letters)?;
    if degrees.abs() <= limit { Ok(degrees) } else { Err(ArgumentError::Beyond(limit)) }
}

/// A length in metres, above 0.
pub fn above_zero_m(text: &str) -> Result<f64, ArgumentError> {
    number(text).ok().filter(|metres| *metres > 0.0).ok_or(ArgumentError::NoMetres)
}
