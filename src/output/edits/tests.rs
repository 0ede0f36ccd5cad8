//! Edits put to made records.

use super::*;
use crate::job::LayerName;
use crate::job::catalogue::GeometryKind;
use crate::output::columns::{Batch, Cell, Column, FieldKind, Geometries, Layer, LayerKey, Texts};

fn field(name: &str, kind: FieldKind, is_carried: bool) -> Field {
    Field {
        name: name.into(),
        short: name.to_uppercase(),
        kind,
        decimals: None,
        description: String::new(),
        domain: None,
        is_carried,
        is_attribute: false,
    }
}

fn layer() -> Layer {
    let fields = vec![
        field("feature", FieldKind::Text, false),
        field("shot", FieldKind::Text, false),
        field("source_file", FieldKind::Text, false),
        field("source_line", FieldKind::Integer, false),
        field("sigma_up_m", FieldKind::Real, false),
        field("girth", FieldKind::Real, true),
    ];
    Layer {
        key: LayerKey::Own(LayerName::Features),
        id: "features".into(),
        title: String::new(),
        description: String::new(),
        geometry: GeometryKind::None,
        fields,
    }
}

/// Records with the name, the line and the girth told.
fn batch(rows: &[(&str, i64, f64)]) -> Batch {
    let texts = |of: &dyn Fn(&(&str, i64, f64)) -> String| {
        let mut texts = Texts::default();
        rows.iter().for_each(|row| texts.push(Some(&of(row))));
        Column::Text(texts)
    };
    Batch {
        len: rows.len(),
        geometries: Geometries::None,
        columns: vec![
            texts(&|row| row.0.to_owned()),
            texts(&|_| "7".to_owned()),
            texts(&|_| "a.csv".to_owned()),
            Column::Integer(rows.iter().map(|row| Some(row.1)).collect()),
            Column::Real(vec![0.5; rows.len()]),
            Column::Real(rows.iter().map(|row| row.2).collect()),
        ],
    }
}

fn edit(feature: &str, line: i64, kind: EditKind) -> Edit {
    let key = EditKey { feature: Some(feature.into()), shot: Some("7".into()), file: Some("a.csv".into()) };
    Edit {
        layer: "features".into(),
        key,
        line: Some(line),
        kind,
        outcome: EditOutcome::Left(NotCarried::NoRecord),
        follows: false,
    }
}

fn changed(field: &str, old: &str, new: &str) -> EditKind {
    EditKind::Changed { field: field.into(), old: Some(old.into()), new: Some(new.into()) }
}

fn outcomes(edits: &Edits) -> Vec<EditOutcome> {
    edits.told().map(|edit| edit.outcome).collect()
}

#[test]
fn what_a_person_may_change_is_carried_and_everything_else_is_told() {
    let list = vec![
        edit("oak", 2, changed("feature", "oak", "old oak")),
        edit("oak", 2, changed("girth", "1.5", "1.75")),
        edit("oak", 2, changed("sigma_up_m", "0.5", "0")),
        edit("oak", 2, changed("geom", "00", "01")),
        edit("ash", 3, EditKind::Deleted),
        edit("elm", 4, changed("girth", "9", "2")),
        edit("fir", 5, changed("girth", "3", "thick")),
        edit("gone", 6, changed("girth", "3", "4")),
        edit("mine", 7, EditKind::Added),
        edit("yew", 8, changed("log_note", "a", "b")),
    ];
    let mut edits = Edits::new("old.gpkg".into(), list, &[]);
    // The lines have moved by one, which does no harm where a name is alone.
    let records = batch(&[("oak", 3, 1.5), ("ash", 4, 1.0), ("elm", 5, 8.0), ("fir", 6, 3.0), ("yew", 7, 1.0)]);
    let made = edits.apply(&layer(), records, 10);
    assert_eq!(made.len, 4);
    assert_eq!([made.cell(0, 0), made.cell(5, 0), made.cell(4, 0)], [Cell::Text("old oak"), Cell::Real(1.75), Cell::Real(0.5)]);
    assert_eq!([made.cell(0, 1), made.cell(5, 1), made.cell(5, 2)], [Cell::Text("elm"), Cell::Real(8.0), Cell::Real(3.0)]);
    use EditOutcome::*;
    let want = [
        Carried(11),
        Carried(11),
        Left(NotCarried::Computed),
        Left(NotCarried::Moved),
        Carried(0),
        Left(NotCarried::LogDiffers),
        Left(NotCarried::NoValue),
        Left(NotCarried::NoRecord),
        Left(NotCarried::NoRecord),
        Left(NotCarried::NoField),
    ];
    assert_eq!(outcomes(&edits), want);
    assert_eq!(
        edits.sentence().unwrap(),
        "Edits of old.gpkg: 2 values and 1 deletion carried over, 7 not; edits.csv lists each, and why."
    );
    // An output that keeps places coarse says nothing of values that do not stand in it.
    edits.withhold();
    let values: Vec<&EditKind> = edits.told().map(|edit| &edit.kind).collect();
    assert_eq!(values[1], &changed("girth", "1.5", "1.75"));
    assert_eq!(values[3], &EditKind::Changed { field: "geom".into(), old: None, new: None });
}

#[test]
fn records_with_one_name_are_told_by_their_line() {
    let list = vec![edit("oak", 3, EditKind::Deleted)];
    let key = list[0].key.clone();
    let mut edits = Edits::new("old.gpkg".into(), list.clone(), &[("features".into(), key)]);
    let made = edits.apply(&layer(), batch(&[("oak", 2, 1.0), ("oak", 3, 2.0)]), 0);
    assert_eq!((made.len, made.cell(5, 0)), (1, Cell::Real(1.0)));
    assert_eq!(outcomes(&edits), [EditOutcome::Carried(0)]);
    // One that had the name alone and no longer has: the first goes, and that is told.
    let mut edits = Edits::new("old.gpkg".into(), list, &[]);
    let made = edits.apply(&layer(), batch(&[("oak", 2, 1.0), ("oak", 3, 2.0)]), 0);
    assert_eq!((made.len, outcomes(&edits)), (1, vec![EditOutcome::Left(NotCarried::Twice)]));
}

#[test]
fn the_ellipse_of_a_feature_goes_with_it() {
    let mut ellipses = layer();
    (ellipses.key, ellipses.id) = (LayerKey::Own(LayerName::Ellipses), "ellipses".into());
    let list = vec![edit("oak", 2, EditKind::Deleted), edit("ash", 3, changed("feature", "ash", "old ash"))];
    let mut edits = Edits::new("old.gpkg".into(), list, &[]);
    let made = edits.apply(&ellipses, batch(&[("oak", 2, 1.0), ("ash", 3, 2.0)]), 0);
    assert_eq!((made.len, made.cell(0, 0)), (1, Cell::Text("old ash")));
    assert_eq!(edits.told().count(), 2);
}
