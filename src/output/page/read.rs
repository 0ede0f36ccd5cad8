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
pub struct RecentTexts(Vec<Arc<str>>);

impl RecentTexts {
    /// The text of a column, which has a place of its own.
    pub fn text(&mut self, place: usize, column: Option<&Column>, i: usize) -> Arc<str> {
        if self.0.len() <= place {
            self.0.resize(place + 1, Arc::default());
        }
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::output::columns::Texts;

    #[test]
    fn what_recurs_is_kept_once_and_each_column_has_its_own() {
        let column = |texts: &[Option<&str>]| {
            let mut column = Texts::default();
            texts.iter().for_each(|text| column.push(*text));
            Column::Text(column)
        };
        let (bases, codes) = (column(&[Some("B1"), Some("B1"), None, Some("B2")]), column(&[Some("B2"); 4]));
        let mut recent = RecentTexts::default();
        let read: Vec<[Arc<str>; 2]> =
            (0..4).map(|i| [recent.text(3, Some(&bases), i), recent.text(0, Some(&codes), i)]).collect();
        assert_eq!(read.iter().map(|[base, _]| &**base).collect::<Vec<_>>(), ["B1", "B1", "", "B2"]);
        assert!(read.iter().all(|[_, code]| &**code == "B2" && Arc::ptr_eq(code, &read[0][1])));
        assert!(Arc::ptr_eq(&read[0][0], &read[1][0]));
        assert_eq!(&*recent.text(1, None, 0), "");
    }

    #[test]
    fn reals_that_are_there() {
        let reals = Column::Real(vec![1.5, f64::NAN, f64::INFINITY, -2.0]);
        assert_eq!(finite(Some(&reals)).collect::<Vec<_>>(), [1.5, -2.0]);
        assert_eq!(finite(Some(&Column::Integer(vec![Some(3)]))).count() + finite(None).count(), 0);
    }
}
