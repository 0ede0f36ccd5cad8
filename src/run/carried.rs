//! Carried columns as fields of a layer, and their values.

use crate::intake::carried::Carried;
use crate::intake::extras::ExtraType;
use crate::numeric::signs::{self, Signs};
use crate::output::columns::{Column, Field, FieldKind, Texts};
use crate::output::layers::Names;

/// The kind of field that holds a carried column.
pub fn kind(carried: &Carried) -> FieldKind {
    match carried.kind {
        ExtraType::Integer => FieldKind::Integer,
        ExtraType::Real => FieldKind::Real,
        ExtraType::Empty | ExtraType::Text => FieldKind::Text,
    }
}

/// The fields of carried columns, beside a layer's `own`.
pub fn fields(carried: &[Carried], own: &[Field]) -> Vec<Field> {
    let mut names = Names::from_fields(own);
    carried.iter().map(|carried| names.field(&carried.header, kind(carried))).collect()
}

/// A carried column; `cell` gives a record's field, and how its numbers are written.
pub fn carried_column<'c>(carried: &Carried, len: usize, cell: impl Fn(usize) -> (&'c str, Signs)) -> Column {
    match kind(carried) {
        FieldKind::Integer => Column::Integer(
            (0..len)
                .map(|i| {
                    let (cell, signs) = cell(i);
                    signs::integer(cell, signs)
                })
                .collect(),
        ),
        FieldKind::Real => Column::Real(
            (0..len)
                .map(|i| {
                    let (cell, signs) = cell(i);
                    signs::real(cell, signs).unwrap_or(f64::NAN)
                })
                .collect(),
        ),
        FieldKind::Text | FieldKind::Time => {
            let mut texts = Texts::default();
            (0..len).for_each(|i| texts.push(Some(cell(i).0).filter(|text| !text.is_empty())));
            Column::Text(texts)
        }
    }
}
