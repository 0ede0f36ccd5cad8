//! What the numbers of a log leave open: whether a point or a comma before three digits begins decimals or parts thousands.

use std::collections::BTreeSet;

use super::sample::Sample;
use crate::intake::numbers::{Keys, NumberEvidence, NumberExample};
use crate::numeric::signs::{Signs, Thousands};

/// A header, one of its values with its line, and what it is with a decimal point and with a decimal comma.
pub struct OpenSigns {
    /// The log's header.
    pub header: String,
    /// A value that may be either.
    pub example: NumberExample,
    /// What it is where the decimal sign is a point.
    pub with_point: f64,
    /// What it is where it is a comma.
    pub with_comma: f64,
}

/// The first of some columns whose numbers may be read in two ways; `is_small` tells those whose values are below a thousand by what
/// they are. It follows what a run settles, so that `init` asks where a run would.
pub fn find(sample: &Sample, columns: &[usize], is_small: &dyn Fn(usize) -> bool) -> Option<OpenSigns> {
    let seen = |column: usize| {
        let mut seen = NumberEvidence::default();
        sample.rows.iter().zip(&sample.lines).for_each(|(row, line)| seen.take(&row[column], *line));
        if is_small(column) { seen.with_small_values() } else { seen }
    };
    let shown: BTreeSet<bool> = (0..sample.headers.len()).filter_map(|column| seen(column).decimal_comma()).collect();
    let of_file = if shown.len() == 1 { shown.first().copied() } else { None };
    columns.iter().find_map(|column| {
        let example = seen(*column).settle(&Keys::default(), of_file, sample.separator).open?;
        let number = |decimal_comma: bool| {
            let other = if decimal_comma { Thousands::Point } else { Thousands::Comma };
            let signs = Signs { decimal_comma, thousands: Some(other) };
            signs.number(&example.1)
        };
        let (with_point, with_comma) = (number(false)?, number(true)?);
        Some(OpenSigns { header: sample.headers[*column].clone(), example, with_point, with_comma })
    })
}
