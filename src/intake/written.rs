//! How the columns of a log were found to be written: what the account says of it.

use super::numbers::NumberExample;
use crate::job::DateOrder;
use crate::numeric::signs::Signs;

/// How a file's values are written, for the account.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Written {
    /// The signs of most of its columns.
    pub signs: Signs,
    /// Columns whose numbers are written in another way, or whose thousands are parted.
    pub columns: Vec<WrittenNumbers>,
    /// Columns of dates and times that hang on an order, or are counted.
    pub dates: Vec<WrittenDates>,
}

/// How the numbers of a column are written.
#[derive(Debug, Clone, PartialEq)]
pub struct WrittenNumbers {
    /// The log's header.
    pub header: String,
    /// Its signs.
    pub signs: Signs,
    /// The value that tells, and its line; none where the job says so.
    pub told_by: Option<NumberExample>,
}

/// How the dates of a column are written.
#[derive(Debug, Clone, PartialEq)]
pub struct WrittenDates {
    /// The log's header.
    pub header: String,
    /// The order of day, month and year.
    pub order: Option<DateOrder>,
    /// The value that tells, and its line; none where the job says so.
    pub told_by: Option<NumberExample>,
    /// The first day number of a spreadsheet, and its line.
    pub serial: Option<NumberExample>,
    /// The first epoch seconds, and their line.
    pub epoch: Option<NumberExample>,
}
