//! The values layer: a table with one record for each measured thing, its values side by side, each with its standard error and the
//! ends of its 95 % interval. The measurements layer has the same values with a record each.

use std::collections::BTreeSet;

use super::{Definition, Get, Names, Times, or_null, time_definitions};
use crate::geodesy::register::Estimate;
use crate::job::LayerName;
use crate::job::catalogue::GeometryKind;
use crate::output::columns::{Column, Field, FieldKind, Layer, LayerKey};
use crate::units::Units;

/// A line drawn through shots.
pub const LINE: &str = "line";
/// An area drawn through shots.
pub const AREA: &str = "area";

/// The values of each kind of thing, the ones that it is measured for first.
pub const KINDS: [(&str, &[&str]); 10] = [
    ("height", &["height_m", "length_m", "lean_deg", "lean_azimuth_deg", "horizontal_offset_m", "distance_m"]),
    ("width", &["width_m", "distance_m", "angle_deg", "turned_deg"]),
    (
        "missing_line",
        &["slope_distance_m", "horizontal_distance_m", "vertical_distance_m", "azimuth_deg", "grade_pct", "inclination_deg"],
    ),
    ("plane_sight", &["height_m", "width_m", "area_m2", "distance_m", "incidence_deg"]),
    ("plane", &["dip_deg", "dip_direction_deg", "strike_deg", "rms_m"]),
    (
        "span",
        &[
            "span_m",
            "sag_m",
            "least_vertical_distance_m",
            "least_straight_distance_m",
            "lowest_height_difference_m",
            "wire_rms_m",
        ],
    ),
    ("volume", &["volume_m3", "height_m", "depth_m", "plan_area_m2", "surface_area_m2"]),
    ("profile", &["length_m", "points"]),
    (LINE, &["length_ellipsoid_m"]),
    (AREA, &["area_ellipsoid_m2", "perimeter_ellipsoid_m"]),
];

/// How many of a kind's values, the first, the thing is measured for.
pub fn asked_for(measure: &str) -> usize {
    match measure {
        "missing_line" | "span" | "volume" => 3,
        "plane_sight" => 4,
        "plane" | "area" => 2,
        _ => 1,
    }
}

/// The title of a kind of measured things.
pub fn kind_title(measure: &str) -> String {
    match measure {
        "height" => "Heights".into(),
        "width" => "Widths".into(),
        "missing_line" => "Missing lines".into(),
        "plane_sight" => "Sights onto planes".into(),
        "plane" => "Planes".into(),
        "span" => "Spans".into(),
        "volume" => "Volumes".into(),
        "profile" => "Profiles".into(),
        LINE => "Lines".into(),
        AREA => "Areas".into(),
        other => other.replace('_', " "),
    }
}

/// A value's name as people say it, and the sign of the unit that it is shown in.
pub fn said_name(quantity: &str, units: &Units) -> (String, &'static str) {
    let (words, sign) = units.title(quantity);
    // Of what is drawn through shots there is one length: that on the ellipsoid.
    (words.strip_suffix(" ellipsoid").map(str::to_owned).unwrap_or(words), sign)
}

/// A measured thing.
#[derive(Debug, Clone)]
pub struct Thing {
    /// Kind of measurement, or [`LINE`] or [`AREA`].
    pub measure: String,
    /// Name.
    pub name: String,
    /// Feature code of the first of its rows that has one.
    pub code: Option<String>,
    /// Its values by name, with the unit behind it.
    pub values: Vec<(&'static str, Estimate)>,
    /// Of spans: what the least distances of the wire are to.
    pub least_to: Option<String>,
    /// The user's threshold in metres, and how the least distance lies to it.
    pub threshold: Option<(f64, &'static str)>,
    /// Labels of the bases, with commas between.
    pub bases: String,
    /// When its shots were taken.
    pub times: Times,
    /// Warnings in sentences.
    pub warnings: String,
    /// Conditions of the day, for spans.
    pub conditions: Option<String>,
    /// What must be read with it, for spans.
    pub caution: Option<&'static str>,
    /// Name of the input file of its first row.
    pub source_file: String,
    /// Line of that row.
    pub source_line: u64,
}

impl Thing {
    /// A value by its name.
    pub fn value(&self, quantity: &str) -> Option<Estimate> {
        self.values.iter().find(|(name, _)| *name == quantity).map(|(_, estimate)| *estimate)
    }
}

/// The values that things of some kinds can have, in the order of the layer.
pub fn quantities(kinds: &BTreeSet<String>) -> Vec<&'static str> {
    let mut found: Vec<&'static str> = Vec::new();
    for (_, names) in KINDS.iter().filter(|(kind, _)| kinds.contains(*kind)) {
        found.extend(names.iter().filter(|name| !found.contains(name)).copied().collect::<Vec<_>>());
    }
    found
}

/// What each value is of which it is not plain.
fn meaning(quantity: &str) -> &'static str {
    match quantity {
        "length_ellipsoid_m" => "length of a line along geodesics of the ellipsoid",
        "perimeter_ellipsoid_m" => "perimeter of an area along geodesics of the ellipsoid",
        "area_ellipsoid_m2" => "area on the ellipsoid",
        "least_vertical_distance_m" => "least vertical distance from the wire to a shot",
        "least_straight_distance_m" => "least straight distance from the wire to a shot",
        "rms_m" | "wire_rms_m" => "root mean square distance of the shots from what was fitted",
        "distance_m" => "horizontal distance from the base",
        "points" => "number of shots",
        _ => "",
    }
}

/// The names of the four columns of a value: itself, its standard error, the ends of its 95 % interval.
pub fn columns_of(quantity: &str) -> [String; 4] {
    let (stem, unit) = match quantity.rsplit_once('_') {
        Some((stem, unit)) if matches!(unit, "m" | "m2" | "m3" | "deg" | "pct") => (stem, format!("_{unit}")),
        _ => (quantity, String::new()),
    };
    [quantity.to_owned(), format!("{stem}_sigma{unit}"), format!("{stem}_low95{unit}"), format!("{stem}_high95{unit}")]
}

/// Whether a field of the layer is there only where the job measures things of a kind.
pub fn is_of_a_kind(field: &str) -> bool {
    !head().iter().chain(&tail()).any(|known| known.name == field)
}

fn head() -> Vec<Definition<Thing>> {
    use Get::*;
    type T = Thing;
    let d = Definition::new;
    vec![
        d(
            "measure",
            "MEASURE",
            "Kind of measurement, as the log names it; line or area for what is drawn through shots.",
            Text(|t: &T| Some(&t.measure)),
        ),
        d("name", "NAME", "What was measured: the feature of its rows, or the string.", Text(|t: &T| Some(&t.name))),
        d("code", "CODE", "Feature code of the first of its rows that has one.", Text(|t: &T| t.code.as_deref())),
    ]
}

fn tail() -> Vec<Definition<Thing>> {
    use Get::*;
    type T = Thing;
    let d = Definition::new;
    let mut fields = vec![
        d("least_to", "LEAST_TO", "Spans: what the least distances of the wire are to.", Text(|t: &T| t.least_to.as_deref())),
        d(
            "user_threshold_m",
            "USER_THR_M",
            "Spans: the user threshold of the job, metres; null where it has none.",
            Real(|t: &T| or_null(t.threshold.map(|(metres, _)| metres))),
        ),
        d(
            "against_user_threshold",
            "USER_THR",
            "How the least distance lies to the user threshold after half of its 95 % interval is taken off: above, below, or cannot tell.",
            Text(|t: &T| t.threshold.map(|(_, words)| words)),
        ),
        d("bases", "BASES", "Bases that its rows were shot from.", Text(|t: &T| Some(&t.bases))),
    ];
    fields.extend(time_definitions!(T));
    fields.extend([
        d(
            "warnings",
            "WARNINGS",
            "Warnings in sentences.",
            Text(|t: &T| (!t.warnings.is_empty()).then_some(t.warnings.as_str())),
        ),
        d(
            "conditions",
            "CONDITIONS",
            "Spans: conditions of the day as the crew entered them, and which are not known.",
            Text(|t: &T| t.conditions.as_deref()),
        ),
        d("caution", "CAUTION", "Spans and volumes: what must be read with the values.", Text(|t: &T| t.caution)),
        d("source_file", "SRC_FILE", "Input file of its first row.", Text(|t: &T| Some(&t.source_file))),
        d("source_line", "SRC_LINE", "Line of that row, from 1.", Integer(|t: &T| Some(t.source_line as i64))),
    ]);
    fields
}

/// The layer, with columns for some values.
pub fn layer(quantities: &[&str]) -> Layer {
    let mut fields: Vec<Field> = head().iter().map(Definition::field).collect();
    let tail: Vec<Field> = tail().iter().map(Definition::field).collect();
    let mut names = Names::from_fields(&fields.iter().chain(&tail).cloned().collect::<Vec<_>>());
    for quantity in quantities {
        let what = match meaning(quantity) {
            "" => quantity.rsplit_once('_').map_or(*quantity, |(stem, _)| stem).replace('_', " "),
            words => words.to_owned(),
        };
        let said = [
            format!("Value: {what}; in the unit behind its name."),
            format!("Standard error of {quantity}."),
            format!("Lower end of the 95 % interval of {quantity}."),
            format!("Upper end of the 95 % interval of {quantity}."),
        ];
        for (name, description) in columns_of(quantity).into_iter().zip(said) {
            let decimals = Some(super::decimals(&name));
            fields.push(Field { description, decimals, is_carried: false, ..names.field(&name, FieldKind::Real) });
        }
    }
    fields.extend(tail);
    Layer {
        key: LayerKey::Own(LayerName::Values),
        id: "values".into(),
        title: "Values".into(),
        description: "One row for each measured thing: heights, widths, missing lines, spans, planes, volumes, profiles, lines and areas, each \
                      value with its standard error and 95 % interval. Mapping grade, valid at the time of measurement; no finding of \
                      compliance and no approach distance."
            .into(),
        geometry: GeometryKind::None,
        fields,
    }
}

/// The columns of things, in the order of the layer with those values.
pub fn columns(quantities: &[&str], things: &[Thing]) -> Vec<Column> {
    let mut columns: Vec<Column> = super::columns(&head(), things);
    for quantity in quantities {
        let of = |read: fn(&Estimate) -> f64| {
            Column::Real(things.iter().map(|thing| or_null(thing.value(quantity).as_ref().map(read))).collect())
        };
        columns.extend([
            of(|estimate| estimate.value),
            of(|estimate| estimate.sigma),
            of(|estimate| estimate.value - estimate.half95()),
            of(|estimate| estimate.value + estimate.half95()),
        ]);
    }
    columns.extend(super::columns(&tail(), things));
    columns
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_say_their_unit() {
        assert_eq!(columns_of("height_m"), ["height_m", "height_sigma_m", "height_low95_m", "height_high95_m"]);
        assert_eq!(columns_of("volume_m3")[1], "volume_sigma_m3");
        assert_eq!(columns_of("points")[2], "points_low95");
    }

    #[test]
    fn every_value_is_a_column_of_its_kind_alone() {
        let of = |kind: &str| quantities(&BTreeSet::from([kind.to_owned()]));
        assert_eq!(of("width"), ["width_m", "distance_m", "angle_deg", "turned_deg"]);
        assert_eq!(of("nothing"), Vec::<&str>::new());
        let all = KINDS.iter().map(|(kind, _)| (*kind).to_owned()).collect();
        let layer = layer(&quantities(&all));
        let mut shorts: Vec<&str> = layer.fields.iter().map(|field| field.short.as_str()).collect();
        shorts.sort_unstable();
        shorts.dedup();
        assert_eq!(shorts.len(), layer.fields.len());
        assert!(KINDS.iter().all(|(kind, names)| asked_for(kind) <= names.len()));
    }
}
