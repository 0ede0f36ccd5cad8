//! What a record is called: in lists and tips, and on the map, where a name that many records have is written once.
//! Expressions are those of QGIS; the fields in them are called as the file beside the style calls them.

use super::look::Look;
use super::{Beside, LABEL_FIELDS, Naming, measure_field, name_of};
use crate::job::LayerName;
use crate::output::columns::{Field, Layer, LayerKey};
use crate::output::layers::cells;
use crate::records::roles::{BACKSIGHT, FORESIGHT};
use crate::units::computed;

/// Names in files of the layers that a measurement's line and its points are in.
const LINES: &str = "lines";
const PARTS: &str = "parts";

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
/// place; none is where the map shows the name [`elsewhere`]. The points that a measurement gives are told apart by what each is, and one of a
/// kind is labelled. The count of a coarse cell says of what.
pub fn label_of(layer: &Layer, beside: &Beside) -> Option<Label> {
    let naming = beside.naming;
    let name = name_of(label_field(layer)?, naming);
    let expression = |text: String| Some(Label { text, is_expression: true });
    if let LayerKey::Cells(_) = layer.key {
        return expression(format!("concat({}, \"{name}\")", literal(&cells::counted(&layer.title))));
    }
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
    let elsewhere = elsewhere(layer, name, beside);
    expression(format!(
        "CASE WHEN \"{role}\" IN ('{BACKSIGHT}', '{FORESIGHT}') THEN NULL {of_string}\
         WHEN coalesce(\"{measure}\", '') = '' THEN \"{name}\" WHEN {elsewhere} THEN NULL \
         WHEN $id = minimum($id, group_by:={of_one}, filter:=coalesce(\"{measure}\", '') <> '') THEN \"{name}\" END"
    ))
}

/// Whether the map writes the name of a measurement in a better place than at one of its rows: along its line, at the points that it gives
/// where these are labelled, or, of a row that the catalogue has no layer for, in a layer of the catalogue. What is not on the map, or switched
/// off, writes nothing.
fn elsewhere(layer: &Layer, name: &str, beside: &Beside) -> String {
    let mut places = vec![listed(LINES, "lower(name)", name)];
    if let Some(scale) = Look::standard(PARTS).and_then(|look| look.labels_to_scale) {
        places.push(format!("(NOT {} AND {})", is_smaller_than(scale), listed(PARTS, "lower(name)", name)));
    }
    if layer.key == LayerName::Features.into() && !beside.coded_points.is_empty() {
        let of_measures = "lower(feature), coalesce(measure, '') <> ''";
        places.push(listed(&beside.coded_points.join("|"), of_measures, name));
    }
    places.join(" OR ")
}

/// A text as a literal of an expression.
fn literal(text: &str) -> String {
    format!("'{}'", text.replace('\\', "\\\\").replace('\'', "''"))
}

/// Whether a layer on the map, by the end of its identity before what the program adds to it, has a name among its own.
fn listed(layers: &str, names: &str, name: &str) -> String {
    format!(
        "array_length(array_filter(@map_layer_ids, regexp_match(@element, '(^|_)({layers})(_|$)') AND \
         array_contains(try(aggregate(@element, 'array_agg', {names}), array()), lower(\"{name}\")))) > 0"
    )
}

/// Whether the map is of a smaller scale than 1 : this, as an expression; null where there is no map.
pub fn is_smaller_than(scale: u32) -> String {
    format!("round(@map_scale) > {scale}")
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

/// Whether a field is the one of that name, in whatever unit.
pub fn is_called(field: &Field, name: &str) -> bool {
    field.name == name || (field.is_own() && computed(&field.name).is_some_and(|(metric, _)| metric == name))
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

    fn beside(coded_points: &[String]) -> Beside<'_> {
        Beside { naming: Naming::Short, ground: None, coded_points }
    }

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
            let Some(label) = label_of(layer, &beside(&[])) else { continue };
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

    /// Along the line, at the points where these are labelled, and for rows without a layer of the catalogue in one of these.
    #[test]
    fn rows_of_a_measurement_leave_the_name_to_what_reads_better() {
        let all = layers::all("z");
        let features = all.iter().find(|layer| layer.id == "features").unwrap();
        let coded = ["poles".to_owned(), "guy.anchors".to_owned()];
        let label = label_of(features, &beside(&coded)).unwrap().text;
        for part in [
            "'(^|_)(lines)(_|$)') AND array_contains(try(aggregate(@element, 'array_agg', lower(name))",
            "(NOT round(@map_scale) > 1000 AND array_length(array_filter(@map_layer_ids, regexp_match(@element, '(^|_)(parts)(_|$)')",
            "'(^|_)(poles|guy.anchors)(_|$)') AND array_contains(try(aggregate(@element, 'array_agg', lower(feature), coalesce(measure, '') <> '')",
        ] {
            assert!(label.contains(part), "{part} in {label}");
        }
        // One of these layers, and a run without them, has nothing to look up there.
        let pole = Layer { key: LayerKey::Coded(0), id: "poles".into(), ..features.clone() };
        for (layer, coded) in [(&pole, coded.as_slice()), (features, &[])] {
            assert!(!label_of(layer, &beside(coded)).unwrap().text.contains("lower(feature)"));
        }
    }

    #[test]
    fn a_count_says_of_what() {
        let coarse = Layer { id: "nests".into(), title: "Gulls' \\ nests".into(), ..layers::all("z")[0].clone() };
        let cells = layers::cells::layer(0, &coarse, 500.0);
        let label = label_of(&cells, &beside(&[])).unwrap();
        assert_eq!(label.text, "concat('Gulls'' \\\\ nests: ', \"FEATURES\")");
    }
}
