//! Why the layout of a log is not found: what its headers, its values and the job's settings do not tell or contradict.

use std::fmt;

use super::super::cell::NoTimeZone;
use super::super::names::NameError;
use crate::intake::header::WHAT_A_TABLE_NEEDS;
use crate::job::{DateOrder, SignFault};

/// A value of a job's settings that no log can be read with.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SettingError {
    /// The time zone.
    #[error(transparent)]
    TimeZone(#[from] NoTimeZone),
    /// The correction of the clock, in seconds.
    #[error("clock_offset_s = {0}: write seconds")]
    ClockOffset(f64),
    /// A word for an echo.
    #[error("[shots.returns] {word} = \"{echo}\": write first, last, single, prism or tracking")]
    Echo {
        /// The log's word.
        word: String,
        /// What it stands for.
        echo: String,
    },
}

/// Why the layout of a log is not found. `table` is the job's, `bases`, `known` or `shots`.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum LayoutError {
    /// There is no line in the file.
    #[error("the file is empty; a log needs a header line and rows")]
    Empty,
    /// Its lines have no separator in common.
    #[error("{sentence}", sentence = WHAT_A_TABLE_NEEDS)]
    Prose,
    /// The job's separator.
    #[error("\"{0}\" cannot be a separator; use , ; | or a tab")]
    Separator(char),
    /// The job's line of the header.
    #[error("header_line = {0} is no line of text in the first part of the file")]
    NoHeaderLine(u64),
    /// The header once more, with its columns in another order.
    #[error("the header stands here again with its columns in another order; split the file at this line")]
    OtherHeader,
    /// A column without a name, counted from 1.
    #[error("column {0} has no name; name every column")]
    Unnamed(usize),
    /// Two columns of one name, counted from 1.
    #[error("columns {first} and {second} are both named \"{header}\"; give each its own name")]
    SameName {
        /// The first of them.
        first: usize,
        /// The second.
        second: usize,
        /// Their name.
        header: String,
    },
    /// The name of the file or sheet does not say what the job reads from it.
    #[error(transparent)]
    Name(#[from] NameError),
    /// A pattern for the names of sheets, for a file without sheets.
    #[error("sheet_name = \"{0}\" is for workbooks, and this file has no sheets")]
    NoSheets(String),
    /// A part of a name that is a column too.
    #[error("the name of the file says \"{0}\", and there is a column of that name; rename the part")]
    PartIsColumn(String),
    /// Several readings of a row in a log of bases.
    #[error("[[{0}.readings]] is for shots alone")]
    ReadingsOfShots(&'static str),
    /// A reading that stands in no column; counted from 1.
    #[error("[[{table}.readings]] {number}: it has no columns; a reading is what stands in columns of its own")]
    EmptyReading {
        /// The table.
        table: &'static str,
        /// Which of the readings.
        number: usize,
    },
    /// A canonical name that there is not.
    #[error("[{table}.columns]: {name} is no canonical column name{}", did_you_mean(near.as_deref()))]
    UnknownName {
        /// The table.
        table: &'static str,
        /// The name.
        name: String,
        /// The one that is most like it.
        near: Option<String>,
    },
    /// A header of the job that the file does not have.
    #[error("[{table}.columns] reads {name} from \"{wanted}\", which the file does not have{there}")]
    NoSuchHeader {
        /// The table.
        table: &'static str,
        /// The canonical name.
        name: String,
        /// The header.
        wanted: String,
        /// The headers of the file.
        there: HeadersFound,
    },
    /// A canonical name without a header.
    #[error("[{table}.columns]: {name} names no header")]
    NoHeader {
        /// The table.
        table: &'static str,
        /// The canonical name.
        name: String,
    },
    /// Several headers for what is no name.
    #[error("[{table}.columns]: only base, shot and feature can be made of several headers, not {name}")]
    SeveralHeaders {
        /// The table.
        table: &'static str,
        /// The canonical name.
        name: String,
    },
    /// Two columns of one quantity.
    #[error("\"{first}\" and \"{second}\" hold the same quantity; choose one in the job's [{table}.columns]")]
    SameQuantity {
        /// The header of one.
        first: String,
        /// The header of the other.
        second: String,
        /// The table.
        table: &'static str,
    },
    /// Two claims of the job on one quantity.
    #[error("{first} and {second} claim the same quantity; keep one")]
    ClaimedTwice {
        /// Canonical name of one.
        first: String,
        /// Canonical name of the other.
        second: String,
    },
    /// A quantity that every log of the kind must have.
    #[error("{what} ({alike}); write {remedy} under [{table}.columns]")]
    Missing {
        /// What is missing.
        what: &'static str,
        /// What it may be.
        alike: Alike,
        /// What to write.
        remedy: &'static str,
        /// The table.
        table: &'static str,
    },
    /// An azimuth from a north that nothing names, or a north without an azimuth.
    #[error(
        "\"{header}\" is an azimuth whose north is not named; claim it as magnetic_azimuth_deg, true_azimuth_deg or \
         grid_azimuth_deg (or _gon, _mil) under [{table}.columns], or claim the column that says magnetic, true or grid in \
         each row as azimuth_north"
    )]
    NorthNotNamed {
        /// Its header.
        header: String,
        /// The table.
        table: &'static str,
    },
    /// Two angles up.
    #[error("both an inclination and a zenith angle are claimed; keep one")]
    TwoInclinations,
    /// A radius of a share that nothing names.
    #[error(
        "\"{header}\" is the radius of an accuracy, and which share of positions lies within it is not said; write radius_share = 0.68 \
         (most phones), 0.95, 0.5 (circular error probable), 0.632 (drms) or 0.982 (2drms) under [{table}]"
    )]
    ShareNotNamed {
        /// Its header.
        header: String,
        /// The table.
        table: &'static str,
    },
    /// Two kinds of height.
    #[error("both an ellipsoidal and an orthometric height are claimed; keep the one that was measured")]
    TwoHeights,
    /// A height of a kind that nothing names.
    #[error(
        "\"{0}\" looks like a height, but its kind is not named; write ellipsoid_height_m or \
         orthometric_height_m (or _ft, _usft) = \"{0}\" under [bases.columns]"
    )]
    HeightNotNamed(String),
    /// Times without a zone.
    #[error(transparent)]
    NoZone(#[from] NoZone),
    /// A line of units that contradicts the job.
    #[error("the units line says \"{word}\" for \"{header}\", but the job reads it as {name}; claim it with the unit it has")]
    OtherUnit {
        /// The unit of the line.
        word: String,
        /// The header of the column.
        header: String,
        /// The canonical name that the job reads it as.
        name: String,
    },
    /// The job's signs of numbers.
    #[error(transparent)]
    Signs(#[from] SignFault),
    /// One sign for decimals and between fields.
    #[error("the decimal sign and the separator are both a comma; name the separator in the job")]
    CommaTwice,
    /// A sign that may part the thousands or begin the decimals.
    #[error(
        "\"{header}\" is \"{value}\": the {of_sign} before three digits may part the thousands ({as_grouped}) or begin the decimals ({as_decimal}), \
         and no other value of the file tells; write thousands = \"{sign}\" or decimal = \"{sign}\" under [{table}]",
        of_sign = if *sign == ',' { "comma" } else { "point" },
        as_grouped = Number(*grouped),
        as_decimal = Number(*decimal)
    )]
    OpenSign {
        /// The column.
        header: String,
        /// The value.
        value: String,
        /// The sign.
        sign: char,
        /// The number where it parts the thousands.
        grouped: Option<f64>,
        /// The number where it begins the decimals.
        decimal: Option<f64>,
        /// The table.
        table: &'static str,
    },
    /// A date of two orders.
    #[error(
        "\"{header}\" is \"{value}\": that may be {} ({}) or {} ({}), and no other date of the file tells; write date_order = \
         \"{}\" or \"{}\" under [{table}]",
        readings[0].1, readings[0].0.words(), readings[1].1, readings[1].0.words(), readings[0].0.word(), readings[1].0.word()
    )]
    OpenOrder {
        /// The column.
        header: String,
        /// The value.
        value: String,
        /// The day in each order.
        readings: [(DateOrder, jiff::civil::Date); 2],
        /// The table.
        table: &'static str,
    },
    /// Dates of two orders in one column.
    #[error(
        "\"{header}\" has dates of two orders, \"{}\" in line {} and \"{}\" in line {}, so that \"{open}\" may be of either; mend \
         those of one order, or write date_order = \"day_month_year\" or \"month_day_year\" under [{table}]: dates that are none in \
         that order are then not read",
        day_first.1, day_first.0, month_first.1, month_first.0
    )]
    TwoOrders {
        /// The column.
        header: String,
        /// Line and value of one with the day ahead.
        day_first: (u64, String),
        /// Line and value of one with the month ahead.
        month_first: (u64, String),
        /// A value that may be of either.
        open: String,
        /// The table.
        table: &'static str,
    },
    /// A time that may be a fraction of a day.
    #[error(
        "\"{header}\" is \"{value}\": that may be minutes past midnight or a part of the day, as spreadsheets count it, and no \
         other value tells; write such times with a colon"
    )]
    OpenFraction {
        /// The column.
        header: String,
        /// The value.
        value: String,
    },
    /// A column for the CRS that the file does not have.
    #[error("crs_column is \"{wanted}\", which the file does not have; it has: {}", headers.join(", "))]
    NoCrsColumn {
        /// The job's header.
        wanted: String,
        /// The headers of the file.
        headers: Vec<String>,
    },
    /// A column for the CRS in a log of fixes.
    #[error(
        "crs_column chooses the CRS of named points, but the rows of this file are fixes of a receiver, which \
         have one CRS; take crs_column and crs_by_value out of the job and write crs under [bases]"
    )]
    CrsColumnOfFixes,
}

/// Times of a log that have no zone where their instants are needed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "\"{header}\" has times without a zone, such as \"{time}\"; write time_zone = \"Europe/Oslo\" (or \"UTC\", \
     \"+02:00\": the clock the log was kept by) under [{table}]"
)]
pub struct NoZone {
    /// The column.
    pub header: String,
    /// The first of them.
    pub time: String,
    /// The job's table.
    pub table: &'static str,
}

/// The headers of a file in which one is missing: the one that is most like it, else all.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum HeadersFound {
    /// One is like it.
    Near(String),
    /// None is.
    All(Vec<String>),
}

impl fmt::Display for HeadersFound {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            HeadersFound::Near(header) => write!(f, "; did you mean \"{header}\"?"),
            HeadersFound::All(headers) => write!(f, "; it has: {}", headers.join(", ")),
        }
    }
}

/// Headers that may hold what is missing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Alike {
    /// These look like it.
    Some(Vec<String>),
    /// None does, of all.
    NoneOf(Vec<String>),
}

impl fmt::Display for Alike {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Alike::Some(headers) => {
                let quoted: Vec<String> = headers.iter().map(|header| format!("\"{header}\"")).collect();
                write!(f, "it may be {}", quoted.join(" or "))
            }
            Alike::NoneOf(headers) => write!(f, "the file has: {}", headers.join(", ")),
        }
    }
}

/// What a value is when read in one way.
struct Number(Option<f64>);

impl fmt::Display for Number {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.0 {
            Some(number) => write!(f, "{number}"),
            None => f.write_str("no number"),
        }
    }
}

fn did_you_mean(near: Option<&str>) -> String {
    match near {
        Some(near) => format!("; did you mean {near}?"),
        None => "; the canonical names are listed by `standoff schema job`".to_owned(),
    }
}
