//! An attribute of coded features: from the text of a log to a typed value, and whether that is one it may have.

use super::fault::AttributeFault;
use super::file::{AttributeKind, AttributeSettings};
use crate::numeric::signs::{self, Signs, is_missing};

/// What values a field may have; formats that can tell it do.
#[derive(Debug, Clone, PartialEq)]
pub struct Domain {
    /// Its name, unique in the output.
    pub name: String,
    /// What it is of, for people.
    pub description: String,
    /// The values.
    pub values: Values,
}

/// The values of a domain.
#[derive(Debug, Clone, PartialEq)]
pub enum Values {
    /// These, each with its meaning.
    List(Vec<(String, String)>),
    /// From the least to the greatest, both included.
    Range {
        /// The least.
        least: Option<f64>,
        /// The greatest.
        greatest: Option<f64>,
    },
}

/// A settled attribute.
#[derive(Debug, Clone, PartialEq)]
pub struct Attribute {
    /// Its name in the layer.
    pub name: String,
    /// Title and unit for people.
    pub description: String,
    /// Its type.
    pub kind: AttributeKind,
    /// Headers of the logs that hold it, in small letters.
    pub columns: Vec<String>,
    /// What values it may have.
    pub domain: Option<Domain>,
}

/// A value of an attribute.
#[derive(Debug, Clone, PartialEq)]
pub enum AttributeValue {
    /// None was written.
    Missing,
    /// A text.
    Text(String),
    /// A whole number.
    Integer(i64),
    /// A number.
    Real(f64),
}

/// What is wrong with a value that was written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ValueProblem {
    /// It is not of the attribute's type: the field stays empty, the ledger has the text.
    Type,
    /// It is none that the attribute may have; the layer has it all the same.
    Domain,
}

impl Attribute {
    pub(super) fn new(name: &str, settings: &AttributeSettings) -> Attribute {
        let unit = settings.unit.as_ref().map(|unit| format!(", {unit}")).unwrap_or_default();
        let values = if !settings.list.is_empty() {
            Some(Values::List(settings.list.meanings()))
        } else if settings.least.is_some() || settings.greatest.is_some() {
            Some(Values::Range { least: settings.least, greatest: settings.greatest })
        } else {
            None
        };
        let title = settings.title.clone().unwrap_or_else(|| name.replace('_', " "));
        Attribute {
            name: name.to_owned(),
            description: format!("{title}{unit}."),
            kind: settings.kind,
            columns: match settings.columns.as_slice() {
                [] => vec![name.to_lowercase()],
                columns => columns.iter().map(|column| column.trim().to_lowercase()).collect(),
            },
            domain: values.map(|values| Domain { name: name.to_owned(), description: title, values }),
        }
    }

    /// Whether a header of a log holds it.
    pub fn is_in(&self, header: &str) -> bool {
        let header = header.trim().to_lowercase();
        self.columns.contains(&header)
    }

    /// The value of a field of a log, and what is wrong with it.
    pub fn read(&self, cell: &str, signs: Signs) -> (AttributeValue, Option<ValueProblem>) {
        let cell = cell.trim();
        let missing = if self.kind == AttributeKind::Text { cell.is_empty() } else { is_missing(cell) };
        if missing {
            return (AttributeValue::Missing, None);
        }
        let value = match self.kind {
            AttributeKind::Text => AttributeValue::Text(cell.to_owned()),
            AttributeKind::Integer => match signs::integer(cell, signs) {
                Some(number) => AttributeValue::Integer(number),
                None => return (AttributeValue::Missing, Some(ValueProblem::Type)),
            },
            AttributeKind::Real => match signs::real(cell, signs) {
                Some(number) => AttributeValue::Real(number),
                None => return (AttributeValue::Missing, Some(ValueProblem::Type)),
            },
        };
        self.judged(value)
    }

    /// A value with the spelling of the list, and whether it is one that the attribute may have.
    fn judged(&self, value: AttributeValue) -> (AttributeValue, Option<ValueProblem>) {
        let Some(domain) = &self.domain else { return (value, None) };
        let in_domain = match (&domain.values, &value) {
            (Values::List(list), AttributeValue::Text(text)) => {
                let known = list.iter().find(|(known, _)| known == text);
                match known.or_else(|| list.iter().find(|(known, _)| known.to_lowercase() == text.to_lowercase())) {
                    Some((known, _)) => return (AttributeValue::Text(known.clone()), None),
                    None => false,
                }
            }
            (Values::List(list), AttributeValue::Integer(number)) => {
                list.iter().any(|(known, _)| known.trim() == number.to_string())
            }
            (Values::Range { least, greatest }, AttributeValue::Integer(_) | AttributeValue::Real(_)) => {
                let number = match value {
                    AttributeValue::Integer(number) => number as f64,
                    AttributeValue::Real(number) => number,
                    AttributeValue::Missing | AttributeValue::Text(_) => f64::NAN,
                };
                least.is_none_or(|least| number >= least) && greatest.is_none_or(|greatest| number <= greatest)
            }
            _ => true,
        };
        (value, (!in_domain).then_some(ValueProblem::Domain))
    }

    /// What the attribute may have, in words, for the ledger.
    pub fn allowed(&self) -> String {
        match (self.domain.as_ref().map(|domain| &domain.values), self.kind) {
            (Some(Values::List(list)), _) => {
                let known: Vec<&str> = list.iter().map(|(known, _)| known.as_str()).collect();
                known.join(", ")
            }
            (Some(Values::Range { least, greatest }), _) => match (least, greatest) {
                (Some(least), Some(greatest)) => format!("{least} to {greatest}"),
                (Some(least), None) => format!("{least} and above"),
                (None, Some(greatest)) => format!("up to {greatest}"),
                (None, None) => "any number".into(),
            },
            (None, AttributeKind::Integer) => "a whole number".into(),
            (None, AttributeKind::Real) => "a number".into(),
            (None, AttributeKind::Text) => "any text".into(),
        }
    }
}

/// Checks an attribute's settings: the key at fault and the sentence.
pub(super) fn check(name: &str, settings: &AttributeSettings) -> Result<(), (&'static str, AttributeFault)> {
    let has_range = settings.least.is_some() || settings.greatest.is_some();
    let plain = name.starts_with(|c: char| c.is_alphabetic()) && name.chars().all(|c| c.is_alphanumeric() || c == '_');
    if !plain || name.len() > 60 {
        return Err(("type", AttributeFault::Name(name.to_owned())));
    }
    if has_range && !settings.list.is_empty() {
        return Err(("list", AttributeFault::ListAndRange(name.to_owned())));
    }
    if has_range && settings.kind == AttributeKind::Text {
        return Err(("type", AttributeFault::RangeOfText(name.to_owned())));
    }
    if !settings.list.is_empty() && settings.kind == AttributeKind::Real {
        return Err(("type", AttributeFault::ListOfReal(name.to_owned())));
    }
    if settings.kind == AttributeKind::Integer
        && let Some(word) = settings.list.words().find(|word| word.trim().parse::<i64>().is_err())
    {
        return Err(("list", AttributeFault::WordOfIntegers(name.to_owned(), word.to_owned())));
    }
    let bounds = [settings.least, settings.greatest];
    if bounds.iter().flatten().any(|bound| !bound.is_finite()) {
        return Err(("least", AttributeFault::Bounds(name.to_owned())));
    }
    if let [Some(least), Some(greatest)] = bounds
        && least > greatest
    {
        return Err(("least", AttributeFault::Reversed { name: name.to_owned(), least, greatest }));
    }
    Ok(())
}
