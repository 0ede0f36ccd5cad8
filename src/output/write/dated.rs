//! The date that files are given: from SOURCE_DATE_EPOCH, else the latest time in the data, so that
//! the same input gives the same bytes whenever it is run.

use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;

use crate::output::columns::{Batch, Column, Layer};

/// The latest time seen.
#[derive(Debug, Clone, Default)]
pub struct Latest {
    instant: Option<Timestamp>,
    day: Option<Date>,
}

impl Latest {
    /// Looks at the times of a batch.
    pub fn see(&mut self, layer: &Layer, batch: &Batch) {
        for (field, column) in layer.fields.iter().zip(&batch.columns) {
            match column {
                Column::Time(times) => self.instant = self.instant.max(times.iter().flatten().max().copied()),
                Column::Text(texts) if field.name == "time_local" => {
                    // Days alone: ten characters.
                    let days = (0..texts.len()).filter_map(|i| texts.get(i)).filter(|text| text.len() == 10);
                    self.day = self.day.max(days.max().and_then(|day| day.parse().ok()));
                }
                _ => {}
            }
        }
    }

    /// The date to write: SOURCE_DATE_EPOCH, the latest time, or the first second of 1970.
    pub fn instant(&self) -> Timestamp {
        let fixed = std::env::var("SOURCE_DATE_EPOCH").ok().and_then(|text| text.trim().parse().ok());
        if let Some(fixed) = fixed.and_then(|seconds| Timestamp::from_second(seconds).ok()) {
            return fixed;
        }
        let day = self.day.and_then(|day| TimeZone::UTC.to_timestamp(day.to_datetime(jiff::civil::Time::midnight())).ok());
        self.instant.max(day).unwrap_or(Timestamp::UNIX_EPOCH)
    }
}
