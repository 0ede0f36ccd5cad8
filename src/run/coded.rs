//! The catalogue at work: which layer a row's feature goes to, the values of its attributes, and the layers themselves.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use super::sizes::{PLACES, sizes};
use super::{RunError, carried};
use crate::geodesy::crs::{Crs, CrsKind};
use crate::intake::carried::Carried;
use crate::intake::shot_logs::ShotLogs;
use crate::job::catalogue::GeometryKind;
use crate::job::catalogue::{self, Attribute, AttributeKind, AttributeValue, Catalogue, Code, CodedLayer, ValueProblem};
use crate::job::{Job, LayerName};
use crate::numeric::signs::Signs;
use crate::output::columns::{Column, Field, FieldKind, Layer, LayerKey, Texts};
use crate::output::disclosure::Disclosure;
use crate::output::layers::features::Feature;
use crate::output::layers::{self, coarse, features, strings, values};
use crate::records::ledger::{Fault, Flag, Flags, Reason};
use crate::records::roles::{BACKSIGHT, FORESIGHT};
use crate::records::shot::Words;

/// A catalogue joined with the columns of the logs.
pub struct Coded {
    /// The catalogue.
    pub catalogue: Arc<Catalogue>,
    /// By layer.
    layers: Vec<FieldSources>,
}

/// Where the fields of a layer come from: indexes of carried columns.
struct FieldSources {
    /// By attribute.
    attributes: Vec<Vec<usize>>,
    /// Carried columns that are no attribute of the layer.
    carried: Vec<usize>,
}

/// What the catalogue says of a row.
#[derive(Clone, Copy)]
pub struct RowCoding<'c> {
    /// The layer of its feature.
    pub layer: LayerKey,
    /// Its code.
    pub code: Option<&'c Code>,
    /// Suspicions.
    pub flags: Flags,
}

impl Default for RowCoding<'_> {
    fn default() -> Self {
        RowCoding { layer: LayerKey::Own(LayerName::Features), code: None, flags: Flags::default() }
    }
}

/// Values of a row's attributes, in the order of its layer.
#[derive(Debug, Clone, Default)]
pub struct AttributeValues {
    /// The values.
    pub values: Vec<AttributeValue>,
    /// Suspicions.
    pub flags: Flags,
    /// What is wrong with which, in words.
    pub detail: String,
}

/// The catalogue of a job.
///
/// # Errors
/// When it cannot be used, or asks for what the layers' CRS cannot do.
pub fn load(job: &Job, output: &Crs) -> Result<Option<Arc<Catalogue>>, RunError> {
    let Some(path) = &job.catalogue else { return Ok(None) };
    let name = path.file_name().unwrap_or(path.as_os_str()).to_string_lossy();
    let catalogue = catalogue::load(path, &name)?;
    let catalogue = if job.exact_places { catalogue.exact() } else { catalogue };
    if let Some(fault) = Disclosure::new(Some(&catalogue), output.unit_factor()).fault_of(job) {
        return Err(fault.into());
    }
    if catalogue.has_coarse() && output.kind() != CrsKind::Projected {
        return Err(RunError::CellsInDegrees { catalogue: name.into_owned(), crs: output.label() });
    }
    Ok(Some(Arc::new(catalogue)))
}

impl Coded {
    /// What there is to say of codes that the catalogue does not have.
    pub fn unknown_note(&self, rows: &BTreeMap<String, u64>) -> Option<String> {
        let word = |(code, rows): (&String, &u64)| match code.as_str() {
            "" => format!("no code ({rows})"),
            code => format!("{code} ({rows})"),
        };
        let words: Vec<String> = rows.iter().take(12).map(word).collect();
        let more = if rows.len() > words.len() { format!(" and {} more", rows.len() - words.len()) } else { String::new() };
        let layer = self.catalogue.unknown_layer.map_or("features", |layer| self.catalogue.layers[layer].id.as_str());
        (!words.is_empty()).then(|| {
            let (words, name) = (words.join(", "), &self.catalogue.name);
            format!("Codes that {name} does not have, with their rows, mapped to {layer}: {words}{more}.")
        })
    }

    /// Joins a catalogue with the carried columns of the shot logs.
    pub fn new(catalogue: Arc<Catalogue>, carried: &[Carried]) -> Coded {
        let layers = catalogue
            .layers
            .iter()
            .map(|layer| {
                let of = |attribute: &Attribute| {
                    (0..carried.len()).filter(|index| attribute.is_in(&carried[*index].header)).collect::<Vec<_>>()
                };
                let attributes: Vec<Vec<usize>> = layer.attributes.iter().map(of).collect();
                let is_free = |index: &usize| !attributes.iter().any(|columns| columns.contains(index));
                // Whatever else a log has may tell the exact place.
                let others = if layer.coarse_cell_m.is_some() { 0 } else { carried.len() };
                let carried = (0..others).filter(is_free).collect();
                FieldSources { attributes, carried }
            })
            .collect();
        Coded { catalogue, layers }
    }

    /// The layer of a row's feature.
    ///
    /// # Errors
    /// When the catalogue holds what it does not know.
    pub fn class(&self, row: &Words, header: &str) -> Result<RowCoding<'_>, Fault> {
        let mut flags = Flags::default();
        let features = LayerKey::Own(LayerName::Features);
        let Some(code) = row.code.and_then(|code| self.catalogue.find(code)) else {
            // A part of something measured or drawn, and a sight to a base or known point, need none.
            let is_sight = row.role.is_some_and(|role| [BACKSIGHT, FORESIGHT].contains(&role));
            if row.code.is_none() && (row.measure.is_some() || row.string.is_some() || is_sight) {
                return Ok(RowCoding { layer: features, code: None, flags });
            }
            if self.catalogue.holds_unknown {
                let value = row.code.unwrap_or_default();
                let say = match row.code {
                    Some(code) => format!("the catalogue {} has no code \"{code}\"", self.catalogue.name),
                    None => format!("the row has no code, and the catalogue {} holds such rows", self.catalogue.name),
                };
                return Err(Fault::new(Reason::UnknownCode, header, value, say));
            }
            flags.raise(Flag::UnknownCode);
            let layer = self.catalogue.unknown_layer.map_or(features, LayerKey::Coded);
            return Ok(RowCoding { layer, code: None, flags });
        };
        let layer = &self.catalogue.layers[code.layer];
        if layer.geometry != GeometryKind::Point {
            if row.string.is_none() && row.measure.is_none() {
                flags.raise(Flag::NoString);
            }
            return Ok(RowCoding { layer: features, code: Some(code), flags });
        }
        let stands_there = row.measure.is_none() || row.role.is_some_and(|role| PLACES.contains(&role));
        let layer = if stands_there || layer.coarse_cell_m.is_some() { LayerKey::Coded(code.layer) } else { features };
        Ok(RowCoding { layer, code: Some(code), flags })
    }

    /// The values of a code's attributes; `cell` gives the text of a carried column.
    pub fn values<'t>(&self, code: &Code, cell: impl Fn(usize) -> (&'t str, Signs)) -> AttributeValues {
        let layer = &self.catalogue.layers[code.layer];
        let mut read =
            AttributeValues { values: vec![AttributeValue::Missing; layer.attributes.len()], ..AttributeValues::default() };
        for (index, required) in &code.attributes {
            let attribute = &layer.attributes[*index];
            let columns = self.layers[code.layer].attributes[*index].iter();
            let written = columns.map(|column| cell(*column)).find(|(text, _)| !text.trim().is_empty());
            let mut say = |flag, sentence: String| {
                read.flags.raise(flag);
                if !read.detail.is_empty() {
                    read.detail.push_str("; ");
                }
                read.detail.push_str(&sentence);
            };
            let (value, problem) = written.map_or((AttributeValue::Missing, None), |(text, signs)| attribute.read(text, signs));
            if let (Some(problem), Some((text, _))) = (problem, written) {
                let kind = if problem == ValueProblem::Type { ", and is left empty" } else { "" };
                say(Flag::AttributeValue, format!("{} \"{text}\" is not one of: {}{kind}", attribute.name, attribute.allowed()));
            } else if value == AttributeValue::Missing && *required {
                say(Flag::AttributeMissing, format!("{} is empty, and {} needs it", attribute.name, code.code));
            }
            read.values[*index] = value;
        }
        read
    }

    /// The carried columns that a layer keeps beside its attributes.
    pub fn carried_of(&self, layer: usize) -> &[usize] {
        &self.layers[layer].carried
    }

    /// Carried columns of any attribute of a code.
    pub fn columns_of(&self, code: &Code) -> impl Iterator<Item = usize> {
        code.attributes.iter().flat_map(|(index, _)| self.layers[code.layer].attributes[*index].iter().copied())
    }

    /// The layers, with all their fields.
    pub fn layers(&self, third: &str, logs: &ShotLogs) -> Vec<Layer> {
        self.catalogue.layers.iter().enumerate().map(|(index, layer)| self.layer(index, layer, third, logs)).collect()
    }

    fn layer(&self, index: usize, layer: &CodedLayer, third: &str, logs: &ShotLogs) -> Layer {
        let (mut fields, what): (Vec<Field>, String) = match (layer.geometry, layer.coarse_cell_m) {
            (_, Some(cell_m)) => (
                coarse::definitions().iter().map(|field| field.field()).collect(),
                format!(
                    "Each position is moved to the middle of a square cell of {cell_m} m in the grid; the exact places are \
                     withheld and stand nowhere in this output."
                ),
            ),
            (GeometryKind::Line, _) => (strings::layer(third, false).fields, format!("Third coordinate: {third}.")),
            (GeometryKind::Area, _) => (strings::layer(third, true).fields, format!("Third coordinate: {third}.")),
            (GeometryKind::Point | GeometryKind::None, None) => {
                (features::coded_definitions().iter().map(|field| field.field()).collect(), format!("Third coordinate: {third}."))
            }
        };
        let mut names = layers::Names::from_fields(&fields);
        for attribute in &layer.attributes {
            let kind = match attribute.kind {
                AttributeKind::Text => FieldKind::Text,
                AttributeKind::Integer => FieldKind::Integer,
                AttributeKind::Real => FieldKind::Real,
            };
            let mut field = names.field(&attribute.name, kind);
            field.description.clone_from(&attribute.description);
            field.domain.clone_from(&attribute.domain);
            (field.is_carried, field.is_attribute) = (false, true);
            fields.push(field);
        }
        if layer.geometry == GeometryKind::Point {
            if layer.coarse_cell_m.is_none() {
                fields.extend(size_fields(&mut names, &logs.kinds));
            }
            for column in self.carried_of(index) {
                let known = &logs.carried[*column];
                fields.push(names.field(&known.header, carried::kind(known)));
            }
        }
        Layer {
            key: LayerKey::Coded(index),
            id: layer.id.clone(),
            title: layer.title.clone(),
            description: format!("{} {what} Mapping grade; no licensed survey.", layer.description),
            geometry: layer.geometry,
            fields,
        }
    }
}

/// The fields of what the features of a layer are measured for.
fn size_fields(names: &mut layers::Names, kinds: &BTreeSet<String>) -> Vec<Field> {
    let mut fields = Vec::new();
    for size in sizes(kinds) {
        let [value, sigma, ..] = values::columns_of(size);
        let stem = size.rsplit_once('_').map_or(size, |(stem, _)| stem);
        let said = [
            format!(
                "Measured {stem} of the feature, in the unit behind its name; null where none was. The values layer has its interval."
            ),
            format!("Standard error of the measured {stem}."),
        ];
        for (name, description) in [value, sigma].into_iter().zip(said) {
            // An attribute of the catalogue keeps its name.
            let name = if names.has(&name) { format!("measured_{name}") } else { name };
            let field = names.field(&name, FieldKind::Real);
            fields.push(Field { description, decimals: Some(4), is_carried: false, ..field });
        }
    }
    fields
}

/// The columns of attributes; `values` gives those of a record.
pub fn attribute_columns<'v>(layer: &CodedLayer, len: usize, values: impl Fn(usize) -> &'v [AttributeValue]) -> Vec<Column> {
    let of = |index: usize, attribute: &Attribute| {
        let value = |i: usize| values(i).get(index).unwrap_or(&AttributeValue::Missing);
        match attribute.kind {
            AttributeKind::Text => {
                let mut texts = Texts::default();
                (0..len).for_each(|i| texts.push(if let AttributeValue::Text(text) = value(i) { Some(text) } else { None }));
                Column::Text(texts)
            }
            AttributeKind::Integer => Column::Integer(
                (0..len).map(|i| if let AttributeValue::Integer(number) = value(i) { Some(*number) } else { None }).collect(),
            ),
            AttributeKind::Real => Column::Real(
                (0..len).map(|i| if let AttributeValue::Real(number) = value(i) { *number } else { f64::NAN }).collect(),
            ),
        }
    };
    layer.attributes.iter().enumerate().map(|(index, attribute)| of(index, attribute)).collect()
}

/// Whether a feature is beyond the tolerance of its code.
pub fn misses(code: &Code, feature: &Feature) -> bool {
    let beyond = |tolerance_m: Option<f64>, reached_m: f64| tolerance_m.is_some_and(|tolerance_m| reached_m > tolerance_m);
    beyond(code.tolerance_horizontal95_m, feature.covariance.radius95_m())
        || beyond(code.tolerance_vertical95_m, features::height95_m(feature))
}
