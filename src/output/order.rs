//! The order of a layer's fields in every format, and the groups that they stand in: what a person wants first, how a value came about
//! last. The layers' definitions say what there is; here alone is said in which order it leaves.

use std::borrow::Cow;

use crate::job::LayerName;
use crate::job::catalogue::GeometryKind;
use crate::output::columns::{Batch, Column, Field, Layer, LayerKey};
use crate::units::computed;

/// Behind a layer's first field, which says what a record is of: what tells it from others.
const IDENTITY: [&str; 6] = ["number", "feature", "name", "code", "code_title", "kind"];

/// How high, how well known, and what is suspicious.
const SURE: [&str; 15] = [
    "ellipsoid_height_m",
    "orthometric_height_m",
    "height_kind",
    "radius95_m",
    "height95_m",
    "sigma_horizontal_m",
    "sigma_vertical_m",
    "sigma_east_m",
    "sigma_north_m",
    "sigma_up_m",
    "position",
    "coarse_cell_m",
    "flags",
    "warnings",
    "caution",
];

/// Where it is, in numbers.
const PLACE: [&str; 4] = ["easting", "northing", "lat_deg", "lon_deg"];

/// Who measured it, from where and when; other fields stand between these and the lineage.
const MEASURED: [&str; 7] = ["base", "bases", "shot", "time", "time_last", "horizontal_distance_m", "true_azimuth_deg"];

/// Beginnings of the names of fields that say how a value came about.
const LINEAGE: [&str; 18] = [
    "time_local",
    "geoid",
    "declination",
    "convergence",
    "grid_scale",
    "coordinate_epoch",
    "sigma_geoid",
    "sigma_datum",
    "ellipse_",
    "base_share",
    "direction_share",
    "distance_share",
    "return",
    "shots_aside",
    "spread",
    "placed_by",
    "sha256",
    "source_",
];

/// The groups of fields, in their order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum FieldGroup {
    /// What it is, and what was measured of it.
    Thing,
    /// Heights and how sure.
    Sure,
    /// Eastings, northings, latitudes, longitudes.
    Place,
    /// Columns of the log that only it knows.
    Carried,
    /// How it was measured.
    Measured,
    /// How a value came about.
    Lineage,
}

impl FieldGroup {
    /// Every group.
    pub const ALL: [FieldGroup; 6] =
        [FieldGroup::Thing, FieldGroup::Sure, FieldGroup::Place, FieldGroup::Carried, FieldGroup::Measured, FieldGroup::Lineage];

    /// What a form calls it.
    pub fn title(self) -> &'static str {
        match self {
            FieldGroup::Thing => "What it is",
            FieldGroup::Sure => "Heights and how sure",
            FieldGroup::Place => "Where",
            FieldGroup::Carried => "From the log",
            FieldGroup::Measured => "How it was measured",
            FieldGroup::Lineage => "Lineage",
        }
    }

    /// Whether a table of records shows its fields without being asked.
    pub fn is_shown(self) -> bool {
        !matches!(self, FieldGroup::Place | FieldGroup::Lineage)
    }
}

/// The group of a field of a layer.
pub fn group(layer: &Layer, field: &Field) -> FieldGroup {
    ranked(layer, field).0
}

/// The fields of a layer in the order of the files, by their indexes.
pub fn arranged(layer: &Layer) -> Vec<usize> {
    let mut order: Vec<usize> = (0..layer.fields.len()).collect();
    order.sort_by_key(|index| (ranked(layer, &layer.fields[*index]), *index));
    order
}

/// A layer with its fields in such an order.
#[must_use]
pub fn in_order(layer: &Layer, order: &[usize]) -> Layer {
    Layer { fields: order.iter().filter_map(|index| layer.fields.get(*index).cloned()).collect(), ..layer.clone() }
}

/// Records with their columns in such an order, which is that of the layer that they were made for.
#[must_use]
pub fn columns_in_order(mut batch: Batch, order: &[usize]) -> Batch {
    let mut taken: Vec<Option<Column>> = batch.columns.into_iter().map(Some).collect();
    batch.columns = order.iter().filter_map(|index| taken.get_mut(*index)?.take()).collect();
    batch
}

/// The group of a field and its place within; equal places keep the order of the definitions.
fn ranked(layer: &Layer, field: &Field) -> (FieldGroup, usize) {
    // A catalogue's attributes stand behind the name and the code.
    const ATTRIBUTES: usize = IDENTITY.len() + 1;
    if field.is_carried {
        return (FieldGroup::Carried, 0);
    }
    if field.is_attribute {
        return (FieldGroup::Thing, ATTRIBUTES);
    }
    let name = metric_name(field);
    let is_lineage = LINEAGE.iter().any(|start| name.starts_with(start));
    // Tables are defined in the order in which they are read.
    if let LayerKey::Own(own) = layer.key
        && layer.geometry == GeometryKind::None
    {
        // A row of a log is what the ledger is of.
        return if is_lineage && own != LayerName::Ledger { (FieldGroup::Lineage, 0) } else { (FieldGroup::Thing, 0) };
    }
    let place = |list: &[&str]| list.iter().position(|known| *known == name);
    if layer.fields.first().is_some_and(|first| first.name == field.name) {
        return (FieldGroup::Thing, 0);
    }
    if let Some(place) = place(&IDENTITY) {
        return (FieldGroup::Thing, place + 1);
    }
    if let Some(place) = place(&SURE) {
        return (FieldGroup::Sure, place);
    }
    if let Some(place) = place(&PLACE) {
        return (FieldGroup::Place, place);
    }
    if let Some(place) = place(&MEASURED) {
        return (FieldGroup::Measured, place);
    }
    if is_lineage {
        return (FieldGroup::Lineage, 0);
    }
    match is_measured_of_it(layer, &name) {
        true => (FieldGroup::Thing, ATTRIBUTES + 1),
        false => (FieldGroup::Measured, MEASURED.len()),
    }
}

/// Beginnings of the names of fields that are values of the thing itself: heights, widths and areas of features, lengths and areas of lines
/// and areas, chainages of profiles, counts of cells.
const VALUES: [&str; 17] = [
    "height_",
    "width_",
    "area_",
    "length_",
    "sigma_length",
    "sigma_area",
    "measured_",
    "chainage",
    "sigma_chainage",
    "offset",
    "sigma_offset",
    "sigma_height",
    "features",
    "codes",
    "cell",
    "day",
    "sigma_width",
];

fn is_measured_of_it(layer: &Layer, name: &str) -> bool {
    // Points of measurements have the name of the thing, and a role in it.
    let has_feature = layer.fields.iter().any(|field| field.name == "feature");
    VALUES.iter().any(|start| name.starts_with(start)) || (name == "role" && !has_feature)
}

/// The name of a field in metres and degrees.
fn metric_name(field: &Field) -> Cow<'_, str> {
    match computed(&field.name).filter(|_| field.is_own()) {
        Some((metric, _)) => metric.into(),
        None => Cow::Borrowed(&field.name),
    }
}
