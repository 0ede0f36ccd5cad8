//! How one log is written, in the job's words.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{DateOrder, SignFault};
use crate::units::gps_time::LeapSeconds;

/// How a delimited log is written. What is left out is found from the file and reported.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LogFormat {
    /// Canonical name = the log's own header; several headers together make one base name.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub columns: BTreeMap<String, Headers>,
    /// Canonical name = one value for every row, for what the log does not carry.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub values: BTreeMap<String, String>,
    /// For shots: the log's own word for an echo = what it means: `first`, `last`, `single`, `prism` or `tracking`.
    /// Words such as `first return` need no entry.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub returns: BTreeMap<String, String>,
    /// For shots: the log's own word for a role = the role: `base = "foot"`. Capitals, blanks, hyphens and underscores make no other word.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub roles: BTreeMap<String, String>,
    /// For shots: the log's own word for a kind of measurement = the kind: `Baumhöhe = "height"`. As for roles.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub measures: BTreeMap<String, String>,
    /// For shots: the log's own code = the feature code that is meant. As for roles.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub codes: BTreeMap<String, String>,
    /// For shots: several readings in one row, each with columns and values of its own beside those of all; a reading whose
    /// columns are all blank in a row is none.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub readings: Vec<Reading>,
    /// The sheet of a workbook, or a pattern such as `Day *` for several. Default: the one that has the columns.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sheet: Option<String>,
    /// What the name of the file says, without its folder and ending: `{plot}_{date}_*` makes two columns `plot` and `date`
    /// that stand in every row; `*` is anything.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub file_name: Option<String>,
    /// The same of the name of the sheet.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sheet_name: Option<String>,
    /// The line of the header, the last where it stands over two. Default: found.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub header_line: Option<u64>,
    /// The separator: `,` `;` a tab or `|`. Default: counted on the header line.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub separator: Option<char>,
    /// The decimal sign, `.` or `,`. Default: found for each column from its values; asked for where none tells.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub decimal: Option<char>,
    /// The sign between thousands: `,` `.` a blank or `'`. Default: found likewise.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub thousands: Option<char>,
    /// The order of dates in numbers whose year does not stand first with four digits: `day_month_year`, `month_day_year` or
    /// `year_month_day`. Default: found for each column from its values (one day above 12 tells); asked for where none tells.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub date_order: Option<DateOrder>,
    /// The text encoding, by its WHATWG label: `utf-8`, `windows-1252`, `utf-16le`. Default: found
    /// from a byte order mark, NUL bytes, or invalid UTF-8.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub encoding: Option<String>,
    /// Lines that begin so are comments. Default: `#`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub comment: Option<String>,
    /// The time zone of times that name none: an IANA name such as `Europe/Oslo`, `UTC`, `+02:00`, or
    /// `GPS` for GPS time, which runs ahead of UTC by the leap seconds.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub time_zone: Option<String>,
    /// Added to every time of the log, in seconds, where its clock was off by a constant.
    #[serde(default)]
    pub clock_offset_s: f64,
    /// Whether rows that name no base stand somewhere all the same: in jobs without bases, set on loading.
    #[serde(skip)]
    pub has_no_bases: bool,
    /// The steps of GPS time, found on loading.
    #[serde(skip)]
    pub leap_seconds: Option<std::sync::Arc<LeapSeconds>>,
    /// For bases: the share of positions that lie within the accuracy's radius in a column `radius_m`: 0.68 on most phones, 0.95,
    /// 0.5 (circular error probable), 0.632 (drms), 0.982 (2drms).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub radius_share: Option<f64>,
    /// Further values that mean "no reading", beside empty, `---`, `NaN`, `NA` and the like.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub no_reading: Vec<String>,
}

impl LogFormat {
    /// All headers that it names.
    pub fn headers(&self) -> impl Iterator<Item = &str> {
        let columns = std::iter::once(&self.columns).chain(self.readings.iter().map(|reading| &reading.columns));
        columns.flat_map(|columns| columns.values()).flat_map(Headers::as_slice).map(|header| header.trim())
    }

    /// What is wrong with the signs of numbers.
    pub(crate) fn fault_of_signs(&self) -> Option<SignFault> {
        if let Some(sign) = self.decimal.filter(|sign| !matches!(sign, '.' | ',')) {
            return Some(SignFault::Decimal(sign));
        }
        let sign = self.thousands?;
        if !matches!(sign, '.' | ',' | ' ' | '\'') {
            return Some(SignFault::Thousands(sign));
        }
        (self.decimal == Some(sign)).then_some(SignFault::Same(sign))
    }
}

/// One of several readings in a row.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Reading {
    /// Canonical name = the log's own header.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub columns: BTreeMap<String, Headers>,
    /// Canonical name = one value in every row, such as the role.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub values: BTreeMap<String, String>,
}

/// One header, or several whose values together make one name.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum Headers {
    /// The log's header.
    One(String),
    /// The log's headers, in order.
    Several(Vec<String>),
}

impl Headers {
    /// The headers as a slice.
    pub fn as_slice(&self) -> &[String] {
        match self {
            Headers::One(header) => std::slice::from_ref(header),
            Headers::Several(headers) => headers,
        }
    }
}
