//! Batches read by the names of their fields.

use std::sync::Arc;

use crate::output::columns::{Batch, Cell, Column, Layer};

/// The columns of a batch by name.
pub struct NamedColumns<'b> {
    layer: &'b Layer,
    batch: &'b Batch,
}

impl<'b> NamedColumns<'b> {
    /// The columns of a batch of a layer.
    pub fn new(layer: &'b Layer, batch: &'b Batch) -> NamedColumns<'b> {
        NamedColumns { layer, batch }
    }

    /// A column, where the layer has it.
    pub fn column(&self, name: &str) -> Option<&'b Column> {
        let index = self.layer.fields.iter().position(|field| field.name == name)?;
        self.batch.columns.get(index)
    }
}

/// A real number; NaN for null.
pub fn real(column: Option<&Column>, i: usize) -> f64 {
    match column.map(|column| column.get(i)) {
        Some(Cell::Real(value)) => value,
        Some(Cell::Integer(value)) => value as f64,
        _ => f64::NAN,
    }
}

/// The numbers of a column of reals, NaN for null; none of any other column.
pub fn reals(column: Option<&Column>) -> &[f64] {
    match column {
        Some(Column::Real(values)) => values,
        _ => &[],
    }
}

/// The numbers of a column that are there.
pub fn finite(column: Option<&Column>) -> impl Iterator<Item = f32> {
    reals(column).iter().filter(|value| value.is_finite()).map(|value| *value as f32)
}

/// A whole number.
pub fn integer(column: Option<&Column>, i: usize) -> Option<i64> {
    match column?.get(i) {
        Cell::Integer(value) => Some(value),
        _ => None,
    }
}

/// A text that is not empty.
pub fn text(column: Option<&Column>, i: usize) -> Option<&str> {
    match column?.get(i) {
        Cell::Text(text) if !text.is_empty() => Some(text),
        _ => None,
    }
}

/// The texts that columns had last: of what recurs from row to row one is kept.
#[derive(Default)]
pub struct RecentTexts<const COLUMNS: usize>([Arc<str>; COLUMNS])
where
    [Arc<str>; COLUMNS]: Default;

impl<const COLUMNS: usize> RecentTexts<COLUMNS>
where
    [Arc<str>; COLUMNS]: Default,
{
    /// The text of a column, which has a place of its own.
    pub fn text(&mut self, place: usize, column: Option<&Column>, i: usize) -> Arc<str> {
        let (recent, text) = (&mut self.0[place], text(column, i).unwrap_or_default());
        if **recent != *text {
            *recent = text.into();
        }
        Arc::clone(recent)
    }
}

/// A text of one's own.
pub fn owned(column: Option<&Column>, i: usize) -> String {
    text(column, i).unwrap_or_default().to_owned()
}
