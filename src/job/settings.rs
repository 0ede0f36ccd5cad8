//! Settings in TOML: unknown keys refused with the nearest known one, values of a wrong type named, each with its line.
//!
//! The JSON Schema that the types of the settings give says which keys there are.

use schemars::JsonSchema;
use serde::de::DeserializeOwned;
use serde_json::Value;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::JobError;
use super::fault::{JobFault, TextFault};
use crate::numeric::words::nearest;

/// The mark that a starter job leaves where a person must decide.
pub const UNDECIDED: &str = "??";

/// Settings as they were written, to name lines of.
pub(crate) struct WrittenSettings<'t> {
    text: &'t str,
    name: &'t str,
    table: DeTable<'t>,
}

/// Reads settings. `name` is the file's for messages, `whole` what its text is called, "the job".
///
/// # Errors
/// What is wrong, with its line.
pub(crate) fn read<'t, T: DeserializeOwned + JsonSchema>(
    text: &'t str,
    name: &'t str,
    whole: &str,
) -> Result<(T, WrittenSettings<'t>), JobError> {
    let at = |offset: Option<usize>, problem: TextFault| wrong(text, name, offset, problem.into());
    let table = match DeTable::parse(text) {
        Ok(table) => table.into_inner(),
        // Two keys that are still open may be one key until they are answered.
        Err(error) => {
            let open = error.span().map(|span| span.start).filter(|start| key_at(text, *start).contains(UNDECIDED));
            return Err(match open {
                Some(start) => {
                    let what = key_at(text, start).to_owned();
                    at(Some(start), TextFault::Undecided { what, mark: UNDECIDED.to_owned(), others: Vec::new() })
                }
                None => at(error.span().map(|span| span.start), TextFault::NotToml(error.message().to_owned())),
            });
        }
    };
    let schema = serde_json::to_value(schemars::schema_for!(T)).unwrap_or_default();
    if let Some((offset, problem)) = undecided(text, &table) {
        return Err(at(Some(offset), problem));
    }
    check_keys(&table, &schema, &schema, &mut Vec::new()).map_err(|(offset, problem)| at(Some(offset), problem))?;
    let settings = toml::from_str(text).map_err(|error| {
        let problem = error.message().replace("missing field", &format!("{whole} lacks the key"));
        at(error.span().map(|span| span.start), TextFault::NotRead(problem))
    })?;
    Ok((settings, WrittenSettings { text, name, table }))
}

/// The key that a line of the text begins with.
fn key_at(text: &str, offset: usize) -> &str {
    let start = text[..offset].rfind('\n').map_or(0, |end| end + 1);
    let line = text[start..].lines().next().unwrap_or_default();
    line.split('=').next().unwrap_or_default().trim()
}

impl WrittenSettings<'_> {
    /// An error at a byte of the text.
    pub fn wrong(&self, offset: Option<usize>, problem: JobFault) -> JobError {
        wrong(self.text, self.name, offset, problem)
    }

    /// Byte offset of the key at a path.
    pub fn offset_of(&self, path: &[&str]) -> Option<usize> {
        offset_of(&self.table, path)
    }
}

fn wrong(text: &str, name: &str, offset: Option<usize>, problem: JobFault) -> JobError {
    let line = offset.map(|offset| text[..offset.min(text.len())].matches('\n').count() + 1);
    let place = line.map_or_else(|| name.to_owned(), |line| format!("{name}:{line}"));
    JobError::Wrong { place, problem: Box::new(problem) }
}

type Misplaced = (usize, TextFault);

/// What a starter job still leaves open, all of it at once: the offset of the first mark, and a sentence.
fn undecided(text: &str, table: &DeTable) -> Option<Misplaced> {
    let mut marks: Vec<(usize, String, String)> = Vec::new();
    marks_of(table, &mut Vec::new(), &mut marks);
    marks.sort();
    let mut marks = marks.into_iter();
    let (at, what, mark) = marks.next()?;
    let line = |offset: usize| text[..offset.min(text.len())].matches('\n').count() + 1;
    let others = marks.map(|(offset, what, _)| (line(offset), what)).collect();
    Some((at, TextFault::Undecided { what, mark, others }))
}

fn marks_of(table: &DeTable, path: &mut Vec<String>, marks: &mut Vec<(usize, String, String)>) {
    for (key, value) in table {
        let name = key.get_ref().as_ref();
        if name.contains(UNDECIDED) {
            marks.push((key.span().start, format!("\"{name}\""), UNDECIDED.to_owned()));
        }
        path.push(name.to_owned());
        marks_in(value, path, marks);
        path.pop();
    }
}

fn marks_in(value: &Spanned<DeValue>, path: &mut Vec<String>, marks: &mut Vec<(usize, String, String)>) {
    match value.get_ref() {
        DeValue::String(text) if text.contains(UNDECIDED) => {
            marks.push((value.span().start, path.join("."), format!("\"{text}\"")));
        }
        DeValue::Table(table) => marks_of(table, path, marks),
        DeValue::Array(items) => items.iter().for_each(|item| marks_in(item, path, marks)),
        _ => {}
    }
}

/// Walks the document beside the schema: refuses unknown keys and values of a wrong type.
fn check_keys(table: &DeTable, schema: &Value, root: &Value, path: &mut Vec<String>) -> Result<(), Misplaced> {
    let schema = resolved(schema, root);
    for (key, value) in table {
        let name = key.get_ref().as_ref();
        let inner = match schema.get("properties").and_then(|properties| properties.get(name)) {
            Some(inner) => inner,
            None => match schema.get("additionalProperties") {
                Some(inner @ Value::Object(_)) => inner,
                _ => return Err((key.span().start, unknown_key(name, schema, path))),
            },
        };
        path.push(name.to_owned());
        check_value(value, inner, root, path)?;
        path.pop();
    }
    Ok(())
}

fn unknown_key(name: &str, schema: &Value, path: &[String]) -> TextFault {
    let known: Vec<&str> = schema
        .get("properties")
        .and_then(Value::as_object)
        .map(|properties| properties.keys().map(String::as_str).collect())
        .unwrap_or_default();
    TextFault::UnknownKey {
        name: name.to_owned(),
        path: path.to_vec(),
        nearest: nearest(name, known.iter().copied()).map(str::to_owned),
        known: known.into_iter().map(str::to_owned).collect(),
    }
}

fn check_value(value: &Spanned<DeValue>, schema: &Value, root: &Value, path: &mut Vec<String>) -> Result<(), Misplaced> {
    let schema = resolved(schema, root);
    let at = value.span().start;
    match value.get_ref() {
        DeValue::Table(table) => {
            if let Some(branch) = branch(schema, root, "object") {
                return check_keys(table, branch, root, path);
            }
        }
        DeValue::Array(items) => {
            if let Some(branch) = branch(schema, root, "array") {
                if let Some(inner) = branch.get("items") {
                    items.iter().try_for_each(|item| check_value(item, inner, root, path))?;
                }
                return Ok(());
            }
        }
        _ => {}
    }
    let found = match value.get_ref() {
        DeValue::String(_) => "string",
        DeValue::Integer(_) => "integer",
        DeValue::Float(_) => "number",
        DeValue::Boolean(_) => "boolean",
        DeValue::Array(_) => "array",
        DeValue::Table(_) => "object",
        DeValue::Datetime(_) => "date",
    };
    let wanted = types_of(schema, root);
    let fits = wanted.is_empty() || wanted.iter().any(|kind| kind == found || (kind == "number" && found == "integer"));
    if fits {
        return Ok(());
    }
    let word = |kind: &str| match kind {
        "string" => "a text in quotes",
        "integer" => "a whole number",
        "number" => "a number",
        "boolean" => "true or false",
        "array" => "a list in [ ]",
        "object" => "a table",
        _ => "a date",
    };
    let wanted = wanted.iter().filter(|kind| *kind != "null").map(|kind| word(kind)).collect();
    Err((at, TextFault::WrongType { path: path.clone(), wanted, found: word(found) }))
}

/// Follows `$ref`.
fn resolved<'s>(schema: &'s Value, root: &'s Value) -> &'s Value {
    match schema.get("$ref").and_then(Value::as_str).and_then(|pointer| pointer.strip_prefix('#')) {
        Some(pointer) => root.pointer(pointer).unwrap_or(schema),
        None => schema,
    }
}

/// The schema itself or the alternative in it that has a type.
fn branch<'s>(schema: &'s Value, root: &'s Value, kind: &str) -> Option<&'s Value> {
    let schema = resolved(schema, root);
    let here = match schema.get("type") {
        Some(Value::String(one)) => one == kind,
        Some(Value::Array(several)) => several.iter().any(|one| one == kind),
        _ => false,
    };
    if here {
        return Some(schema);
    }
    ["anyOf", "oneOf"].iter().filter_map(|key| schema.get(*key)?.as_array()).flatten().find_map(|inner| branch(inner, root, kind))
}

/// The types that a schema allows; none named means any.
fn types_of(schema: &Value, root: &Value) -> Vec<String> {
    let schema = resolved(schema, root);
    match schema.get("type") {
        Some(Value::String(one)) => return vec![one.clone()],
        Some(Value::Array(several)) => return several.iter().filter_map(Value::as_str).map(str::to_owned).collect(),
        _ => {}
    }
    if let Some(Value::String(_)) = schema.get("const") {
        return vec!["string".into()];
    }
    ["anyOf", "oneOf"]
        .iter()
        .filter_map(|key| schema.get(*key)?.as_array())
        .flatten()
        .flat_map(|inner| types_of(inner, root))
        .collect()
}

/// Byte offset of the key at a path; the number of a table in a list is a step of it.
fn offset_of(table: &DeTable, path: &[&str]) -> Option<usize> {
    let (first, rest) = path.split_first()?;
    let (key, value) = table.iter().find(|(key, _)| key.get_ref().as_ref() == *first)?;
    match value.get_ref() {
        DeValue::Table(inner) if !rest.is_empty() => offset_of(inner, rest).or(Some(key.span().start)),
        DeValue::Array(items) if !rest.is_empty() => {
            let item = items.get(rest[0].parse::<usize>().ok()?)?;
            match item.get_ref() {
                DeValue::Table(inner) if rest.len() > 1 => offset_of(inner, &rest[1..]).or(Some(item.span().start)),
                _ => Some(item.span().start),
            }
        }
        _ => Some(key.span().start),
    }
}
