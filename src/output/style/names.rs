//! What a record is called: in lists and tips, and on the map, where a name that many records have is written once.
//! Expressions are those of QGIS; the fields in them are called as the file beside the style calls them.

use super::{LABEL_FIELDS, Naming, measure_field, name_of};
use crate::job::LayerName;
use crate::output::columns::{Field, Layer};
use crate::records::roles::{BACKSIGHT, FORESIGHT};

/// What labels a record: a field, or an expression.
pub struct Label {
    /// The field's name, or the expression.
    pub text: String,
    /// Whether it is an expression.
    pub is_expression: bool,
}

/// The field that labels a record.
pub fn label_field(layer: &Layer) -> Option<&Field> {
    layer.fields.iter().find(|field| LABEL_FIELDS.contains(&&*field.name))
}

/// What a record is called in lists and in its tip, as an expression.
pub fn named_by(layer: &Layer, naming: Naming) -> Option<String> {
    part_name(layer, naming).or_else(|| Some(format!("\"{}\"", name_of(label_field(layer)?, naming))))
}

/// The label of a record; null where its name is written elsewhere or is that of many rows: sights to a base have its name, corners that of
/// their line or area, and of the rows that one base has of a measurement only the first is labelled, since foot and top stand in one
/// place. The points that a measurement gives are told apart by what each is, and one of a kind is labelled.
pub fn label_of(layer: &Layer, naming: Naming) -> Option<Label> {
    let name = name_of(label_field(layer)?, naming);
    let expression = |text: String| Some(Label { text, is_expression: true });
    let base = called(layer, "base", naming);
    let of_one = |of: &str| base.map_or_else(|| of.to_owned(), |base| format!("concat({of}, ' ', \"{base}\")"));
    if let Some(part) = part_name(layer, naming) {
        return expression(format!("CASE WHEN $id = minimum($id, group_by:={}) THEN {part} END", of_one(&part)));
    }
    let measure = measure_field(layer).map(|field| name_of(field, naming));
    let (Some(measure), Some(role)) = (measure, called(layer, "role", naming)) else {
        return Some(Label { text: name.to_owned(), is_expression: false });
    };
    let of_string = called(layer, "string", naming)
        .map_or_else(String::new, |string| format!("WHEN lower(\"{name}\") = lower(\"{string}\") THEN NULL "));
    let of_one = of_one(&format!("\"{name}\""));
    expression(format!(
        "CASE WHEN \"{role}\" IN ('{BACKSIGHT}', '{FORESIGHT}') THEN NULL {of_string}\
         WHEN coalesce(\"{measure}\", '') = '' THEN \"{name}\" \
         WHEN $id = minimum($id, group_by:={of_one}, filter:=coalesce(\"{measure}\", '') <> '') THEN \"{name}\" END"
    ))
}

/// The fields that a record is called by, in this order: that which labels it, and before it what a point of a measurement is.
pub fn naming_fields(layer: &Layer) -> Vec<&Field> {
    part_fields(layer).map_or_else(|| label_field(layer).into_iter().collect(), Vec::from)
}

/// Of a point of a measurement: what it is, and of what.
fn part_fields(layer: &Layer) -> Option<[&Field; 2]> {
    (layer.key == LayerName::Parts.into()).then(|| Some([own(layer, "role")?, own(layer, "name")?])).flatten()
}

/// What a point of a measurement is called, as an expression.
fn part_name(layer: &Layer, naming: Naming) -> Option<String> {
    let [role, name] = part_fields(layer)?.map(|field| name_of(field, naming));
    Some(format!("concat(\"{role}\", ' ', \"{name}\")"))
}

/// One of the program's own fields.
fn own<'l>(layer: &'l Layer, name: &str) -> Option<&'l Field> {
    layer.fields.iter().find(|field| field.is_own() && field.name == name)
}

/// One of them as it is called in the file.
fn called<'l>(layer: &'l Layer, name: &str, naming: Naming) -> Option<&'l str> {
    own(layer, name).map(|field| name_of(field, naming))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::output::layers;

    #[test]
    fn a_record_is_called_by_what_tells_it_apart() {
        let all = layers::all("z");
        let of = |id: &str| all.iter().find(|layer| layer.id == id).unwrap();
        let names = |id: &str| naming_fields(of(id)).iter().map(|field| field.name.clone()).collect::<Vec<_>>();
        assert_eq!(names("parts"), ["role", "name"]);
        assert_eq!(
            (names("features"), names("lines"), names("vertices")),
            (vec!["feature".into()], vec!["name".into()], vec!["number".into()])
        );
        assert_eq!(named_by(of("parts"), Naming::Short).unwrap(), "concat(\"ROLE\", ' ', \"NAME\")");
        assert_eq!(named_by(of("bases"), Naming::Full).unwrap(), "\"base\"");
    }

    /// A plain field where each record has a name of its own; else an expression with the names of the file's fields alone.
    #[test]
    fn labels_name_the_fields_of_the_file() {
        for layer in &layers::all("z") {
            let Some(label) = label_of(layer, Naming::Short) else { continue };
            assert_eq!(label.is_expression, ["features", "parts"].contains(&&*layer.id), "{}", layer.id);
            let named: Vec<&str> = label.text.split('"').skip(1).step_by(2).collect();
            let known = |name: &str| layer.fields.iter().any(|field| field.short == name);
            assert!(
                named.iter().all(|name| known(name)) && (label.is_expression || known(&label.text)),
                "{}: {}",
                layer.id,
                label.text
            );
        }
    }
}
