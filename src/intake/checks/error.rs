//! Why a table of check points is not read, and why a row of one is held.

use std::fmt;
use std::path::PathBuf;

use crate::intake::IntakeError;
use crate::intake::log_layout::HeadersFound;
use crate::intake::vector::{NoPoint, VectorError};
use crate::units::AngleError;

/// A table of check points that cannot be used as a whole.
#[derive(Debug, thiserror::Error)]
pub enum CheckTableError {
    /// The file cannot be read as text.
    #[error(transparent)]
    File(#[from] IntakeError),
    /// What is in it cannot be used.
    #[error("{}{}: {flaw}", path.display(), AtLine(*line))]
    Table {
        /// The file.
        path: PathBuf,
        /// The line, in a file that has lines.
        line: Option<u64>,
        /// What is wrong.
        flaw: TableFlaw,
    },
}

struct AtLine(Option<u64>);

impl fmt::Display for AtLine {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.map_or(Ok(()), |line| write!(f, ":{line}"))
    }
}

/// What is wrong with a table.
#[derive(Debug, thiserror::Error)]
pub enum TableFlaw {
    /// Its layer of points cannot be read.
    #[error(transparent)]
    Vector(#[from] VectorError),
    /// Its layer names no CRS, and none is given.
    #[error("the file names no CRS; name the one of the check points")]
    NoCrs,
    /// It has no line.
    #[error("the file is empty; a table of check points needs a header line and rows")]
    Empty,
    /// No column has the name that is asked for.
    #[error("no column is called \"{wanted}\"{there}")]
    NoNames {
        /// That name.
        wanted: String,
        /// What there is in its stead.
        there: HeadersFound,
    },
    /// One quantity in several columns.
    #[error("{0} stands in several units; leave all but one out")]
    SeveralUnits(&'static str),
    /// Positions of two kinds.
    #[error("has both latitude, longitude and easting, northing; leave one pair out")]
    TwoPositions,
    /// No positions.
    #[error(
        "has no position; name the columns lat_deg and lon_deg, or east_m and north_m (or _ft, _usft); it has: {}", .0.join(", ")
    )]
    NoPosition(Vec<String>),
    /// A sign that may part the thousands or begin the decimals.
    #[error(
        "{header} \"{value}\": the sign before three digits may part the thousands or begin the decimals, and no other value tells; \
         write the numbers without a sign between thousands and with one more decimal"
    )]
    OpenSign {
        /// The column.
        header: String,
        /// The value.
        value: String,
    },
}

/// Why a row of a table is held.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CheckRowFault {
    /// The feature is no point.
    #[error(transparent)]
    NoPoint(#[from] NoPoint),
    /// A quote without its end.
    #[error("a quoted field begins here and never ends; add the closing quote")]
    OpenQuote,
    /// Too many or too few fields.
    #[error("the row has {fields} fields, the header {headers}")]
    FieldCount {
        /// Those of the row.
        fields: usize,
        /// Those of the header.
        headers: usize,
    },
    /// A last line that may be cut.
    #[error("the last line has no line end and may be cut short; if it is whole, add a line end")]
    MaybeCut,
    /// No coordinates.
    #[error("the check point has no position")]
    NoPosition,
    /// A text where a number is wanted.
    #[error("{quantity} \"{text}\" is not a number")]
    NotANumber {
        /// Of what.
        quantity: &'static str,
        /// The text.
        text: String,
    },
    /// A standard error below 0, in metres.
    #[error("{quantity} {metres} is below 0")]
    BelowZero {
        /// Of what.
        quantity: &'static str,
        /// Its value.
        metres: f64,
    },
    /// A text where an angle is wanted.
    #[error("{quantity} \"{text}\": {problem}")]
    NotAnAngle {
        /// Of what.
        quantity: &'static str,
        /// The text.
        text: String,
        /// What is wrong with it.
        problem: AngleError,
    },
    /// An angle that no place has.
    #[error("{quantity} {text} is outside -{limit} to {limit} degrees; are latitude and longitude swapped?")]
    Outside {
        /// Of what.
        quantity: &'static str,
        /// Its text.
        text: String,
        /// The greatest that a place has, in degrees.
        limit: f64,
    },
}
