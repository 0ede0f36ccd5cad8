//! Edits put to the records of a run, as they come.

use std::collections::HashMap;

use super::read::is_same;
use super::{EditKey, EditKind, EditOutcome, Edits, NAMES, NotCarried, is_persons};
use crate::output::columns::{Batch, Cell, Column, FieldKind, Layer, Texts};
use crate::output::write::gpkg::journal::GEOMETRY;
use crate::output::write::number::iso_utc;

/// A value to be put in: the field, the record, the value.
type Put = (usize, usize, Option<String>);

impl Edits {
    /// Records with the edits of them; `before` are the records of the layer that were written already.
    pub fn apply(&mut self, layer: &Layer, mut batch: Batch, before: u64) -> Batch {
        let Some(rows) = self.rows.get_mut(&layer.id) else { return batch };
        let columns = RecordColumns::find(layer);
        let (mut puts, mut deleted, mut carried): (Vec<Put>, Vec<usize>, Vec<(usize, usize)>) = Default::default();
        for i in 0..batch.len {
            let Some(of_key) = rows.get_mut(&columns.key(&batch, i)) else { continue };
            let line = columns.line(&batch, i);
            let Some(row) = of_key.iter_mut().find(|row| row.line.is_none() || row.line == line) else { continue };
            for index in &row.edits {
                let edit = &mut self.edits[*index];
                if row.is_found {
                    if edit.kind == EditKind::Deleted || matches!(edit.outcome, EditOutcome::Carried(_)) {
                        edit.outcome = EditOutcome::Left(NotCarried::Twice);
                    }
                    continue;
                }
                match &edit.kind {
                    EditKind::Deleted => {
                        deleted.push(i);
                        edit.outcome = EditOutcome::Carried(0);
                    }
                    EditKind::Changed { field, old, new } => match fit(layer, &batch, i, field, old.as_deref(), new.as_deref()) {
                        Ok(at) => {
                            puts.push((at, i, new.clone()));
                            carried.push((*index, i));
                        }
                        Err(why) => edit.outcome = EditOutcome::Left(why),
                    },
                    EditKind::Added => {}
                }
            }
            row.is_found = true;
        }
        for (index, i) in carried {
            let gone = deleted.partition_point(|row| *row < i);
            self.edits[index].outcome = EditOutcome::Carried((before as usize + i + 1 - gone) as i64);
        }
        put(&mut batch, puts);
        if deleted.is_empty() {
            return batch;
        }
        let kept: Vec<usize> = (0..batch.len).filter(|i| deleted.binary_search(i).is_err()).collect();
        batch.select(&kept)
    }
}

/// Where the values that tell a record stand.
struct RecordColumns {
    name: Option<usize>,
    shot: Option<usize>,
    file: Option<usize>,
    line: Option<usize>,
}

impl RecordColumns {
    fn find(layer: &Layer) -> RecordColumns {
        let at = |name: &str| layer.fields.iter().position(|field| field.name == name);
        RecordColumns { name: NAMES.into_iter().find_map(at), shot: at("shot"), file: at("source_file"), line: at("source_line") }
    }

    fn key(&self, batch: &Batch, i: usize) -> EditKey {
        let text = |index: Option<usize>| match index.map(|index| batch.cell(index, i)) {
            Some(Cell::Text(text)) => Some(text.to_owned()),
            _ => None,
        };
        EditKey { feature: text(self.name), shot: text(self.shot), file: text(self.file) }
    }

    fn line(&self, batch: &Batch, i: usize) -> Option<i64> {
        match self.line.map(|index| batch.cell(index, i)) {
            Some(Cell::Integer(line)) => Some(line),
            _ => None,
        }
    }
}

/// The place of a field that takes a person's value; why it does not.
fn fit(layer: &Layer, batch: &Batch, i: usize, field: &str, old: Option<&str>, new: Option<&str>) -> Result<usize, NotCarried> {
    if field == GEOMETRY {
        return Err(NotCarried::Moved);
    }
    let at = layer.fields.iter().position(|known| known.name == field).ok_or(NotCarried::NoField)?;
    let known = &layer.fields[at];
    if !is_persons(known) {
        return Err(NotCarried::Computed);
    }
    let now = match batch.cell(at, i) {
        Cell::Null => None,
        Cell::Real(value) => Some(value.to_string()),
        Cell::Integer(value) => Some(value.to_string()),
        Cell::Text(text) => Some(text.to_owned()),
        Cell::Time(instant) => Some(iso_utc(instant)),
    };
    if !is_same(field, now.as_deref(), old) && !is_same(field, now.as_deref(), new) {
        return Err(NotCarried::LogDiffers);
    }
    let reads = |text: &str| match known.kind {
        FieldKind::Text => true,
        FieldKind::Real => text.parse::<f64>().is_ok_and(f64::is_finite),
        FieldKind::Integer => text.parse::<i64>().is_ok(),
        FieldKind::Time => text.parse::<jiff::Timestamp>().is_ok(),
    };
    if new.is_none_or(reads) { Ok(at) } else { Err(NotCarried::NoValue) }
}

/// Puts values in; each reads as its field's type.
fn put(batch: &mut Batch, puts: Vec<Put>) {
    let mut by_column: HashMap<usize, HashMap<usize, Option<String>>> = HashMap::new();
    for (at, row, value) in puts {
        by_column.entry(at).or_default().entry(row).or_insert(value);
    }
    for (at, values) in by_column {
        match &mut batch.columns[at] {
            Column::Text(texts) => {
                let mut made = Texts::default();
                for i in 0..texts.len() {
                    made.push(values.get(&i).map_or_else(|| texts.get(i), |value| value.as_deref()));
                }
                *texts = made;
            }
            Column::Real(known) => values.iter().for_each(|(i, value)| known[*i] = read_as(value).unwrap_or(f64::NAN)),
            Column::Integer(known) => values.iter().for_each(|(i, value)| known[*i] = read_as(value)),
            Column::Time(known) => values.iter().for_each(|(i, value)| known[*i] = read_as(value)),
        }
    }
}

fn read_as<T: std::str::FromStr>(value: &Option<String>) -> Option<T> {
    value.as_ref()?.parse().ok()
}
