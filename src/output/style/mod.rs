//! Styles that travel with the layers, so that a map can be read the moment it is opened: for each layer
//! with geometry a document in Styled Layer Descriptor 1.1.0 (OGC 05-078r4) with Symbology Encoding 1.1.0
//! (OGC 05-077r4); the numbers are from memory. Everything here is pure: layers in, text out.
//!
//! | file | subject |
//! | --- | --- |
//! | `look` | colours, marks, widths and the scales of labels, by layer |
//! | `sld` | a look as a document of that standard |
//! | `qml` | a look as a document that the most used open desktop GIS loads by itself |
//! | `symbols` | its marks, lines, areas and ellipses |
//! | `labels` | its labels, and what they keep clear of |
//! | `project` | the layers of a GeoPackage grouped and ordered, for the same GIS |
//! | `ground` | what is measured in metres, in units of the map |
//! | `names` | what a record is called, and by what it is labelled |
//! | `words` | titles of fields |
//!
//! A field has two names, so a layer may have two documents: Shapefiles know the names of ten
//! characters only, and a label by a name that a file does not have stays away without a word.

mod ground;
mod labels;
mod look;
mod names;
mod project;
mod qml;
mod sld;
mod symbols;
mod words;

pub use ground::Ground;
#[cfg(test)]
pub(crate) use look::Colour;
pub use look::{Look, Mark};
pub use names::naming_fields;
pub use project::{Project, is_shown, project};
pub use qml::qml;
pub use sld::{FieldNames, sld};
pub use words::title_of;

use crate::job::LayerName;
use crate::job::catalogue::GeometryKind;
use crate::output::columns::{Field, Layer, LayerKey};
use crate::output::layers::cells;

/// Fields that tell a reader which record is which; the first of them in a layer's own order labels it.
/// A vertex is labelled by its number, since the line or area that it is of has the name; a coarse cell by its count.
const LABEL_FIELDS: [&str; 5] = ["feature", "base", "name", "number", "features"];

/// Scale of the counts in coarse cells: one of 500 m is 10 mm wide there. Common practice, no source.
const CELL_LABELS: u32 = 50_000;

/// The field that is not null in rows of a measurement: many may have its name.
const MEASURE_FIELD: &str = "measure";

/// The field that is not null where something is suspicious about a record.
const FLAGS_FIELD: &str = "flags";

/// Which names of the fields a document uses.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Naming {
    /// The full names.
    Full,
    /// The names of at most ten characters that Shapefiles have.
    Short,
}

/// What a style is told beside its layer.
#[derive(Debug, Clone, Copy)]
pub struct Beside<'s> {
    /// Which names of the fields.
    pub naming: Naming,
    /// A metre in the layers' CRS, where that is projected: ellipses can be drawn then.
    pub ground: Option<&'s Ground>,
    /// The catalogue's layers of points ([`coded_points`]): the rows of one measurement may stand in one of them and in `features`.
    pub coded_points: &'s [String],
}

/// Names in files of the catalogue's layers of points, as patterns.
pub fn coded_points<'l>(layers: impl Iterator<Item = &'l Layer>) -> Vec<String> {
    let of_points = |layer: &&Layer| matches!(layer.key, LayerKey::Coded(_)) && layer.geometry == GeometryKind::Point;
    // Identities of layers keep letters and digits of the name alone.
    let pattern = |layer: &Layer| layer.id.chars().map(|sign| if sign.is_ascii_alphanumeric() { sign } else { '.' }).collect();
    layers.filter(of_points).map(pattern).collect()
}

/// What each layer looks like, in the order of the layers. Layers that this program does not know by name get a look
/// each, by their order among each other.
pub fn looks(layers: &[Layer]) -> Vec<Look> {
    let mut others = 0;
    let mut look_of = |layer: &Layer| {
        let look = Look::standard(&layer.id).unwrap_or_else(|| {
            others += 1;
            Look::other(others - 1)
        });
        match layer.key {
            LayerKey::Cells(_) => Look { labels_to_scale: Some(CELL_LABELS), label_is_off_middle: true, ..look },
            _ => look,
        }
    };
    layers.iter().map(&mut look_of).collect()
}

/// The field that labels a record of a layer.
pub fn label_of(layer: &Layer) -> Option<&Field> {
    names::label_field(layer)
}

/// The document of a layer in Styled Layer Descriptor; none for a table.
pub fn document(layer: &Layer, look: &Look, naming: Naming) -> Option<String> {
    sld(&layer.id, &layer.title, layer.geometry, look, &field_names(layer, naming))
}

/// The fields that the style of a layer names.
fn field_names(layer: &Layer, naming: Naming) -> FieldNames<'_> {
    let named = |field| name_of(field, naming);
    let own = |name: &str| layer.fields.iter().find(|field| field.is_own() && field.name == name).map(named);
    let measure = measure_field(layer).map(named);
    let counted = matches!(layer.key, LayerKey::Cells(_)).then(|| cells::counted(&layer.title));
    FieldNames {
        label: label_of(layer).map(named),
        before: counted,
        behind: (layer.key == LayerName::Parts.into()).then(|| own("role")).flatten(),
        flags: layer.fields.iter().find(|field| field.name == FLAGS_FIELD).map(named),
        measure,
        role: measure.and_then(|_| own("role")),
        string: measure.and_then(|_| own("string")),
    }
}

/// The kind of measurement that a feature is a row of; none in layers of measurements themselves.
fn measure_field(layer: &Layer) -> Option<&Field> {
    let is_of_features = layer.fields.iter().any(|field| field.name == LABEL_FIELDS[0]);
    layer.fields.iter().find(|field| is_of_features && field.is_own() && field.name == MEASURE_FIELD)
}

fn name_of(field: &Field, naming: Naming) -> &str {
    match naming {
        Naming::Full => &field.name,
        Naming::Short => &field.short,
    }
}

#[cfg(test)]
mod tests;
