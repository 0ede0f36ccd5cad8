//! The lines and areas layers: strings of shots, and the lines and areas of composed measurements.

use super::{Definition, Get, Times, or_null, time_definitions};
use crate::job::LayerName;
use crate::job::catalogue::GeometryKind;
use crate::measure::strings::measure::StringMeasures;
use crate::output::columns::{Field, Layer, LayerKey};
use crate::records::ledger::Flags;

/// A line or an area.
#[derive(Debug, Clone)]
pub struct StringRecord {
    /// Name.
    pub name: String,
    /// Feature code.
    pub code: Option<String>,
    /// `string`, or the kind of measurement that it is of.
    pub origin: String,
    /// Vertices.
    pub vertices: u64,
    /// Length, perimeter and area; none for the geometry of a measurement, whose values stand in `measurements`.
    pub measures: Option<StringMeasures>,
    /// Suspicions.
    pub flags: Flags,
    /// Labels of the bases, with commas between.
    pub bases: String,
    /// What is wrong with it, in sentences.
    pub warnings: String,
    /// When its shots were taken.
    pub times: Times,
    /// Conditions of the day, for the wires of spans.
    pub conditions: Option<String>,
    /// What must be read with it, for the wires of spans.
    pub caution: Option<&'static str>,
}

fn some(text: &str) -> Option<&str> {
    (!text.is_empty()).then_some(text)
}

/// The fields of lines, or of areas.
pub fn definitions(areas: bool) -> Vec<Definition<StringRecord>> {
    use Get::*;
    type S = StringRecord;
    let d = Definition::new;
    let mut fields = vec![
        d("name", "NAME", "Name of the string, or of what was measured.", Text(|s: &S| Some(&s.name))),
        d("code", "CODE", "Feature code of the first vertex that has one.", Text(|s: &S| s.code.as_deref())),
        d("origin", "ORIGIN", "string, or the kind of composed measurement that it is of.", Text(|s: &S| Some(&s.origin))),
        d("vertices", "VERTICES", "Number of vertices.", Integer(|s: &S| Some(s.vertices as i64))),
    ];
    if areas {
        fields.extend([
            d(
                "area_ellipsoid_m2",
                "AREA_ELL",
                "Area on the ellipsoid, square metres.",
                Real(|s: &S| or_null(s.measures.and_then(|m| m.area_ellipsoid_m2))),
            ),
            d(
                "area_grid_m2",
                "AREA_GRID",
                "Area in the grid of the layers' CRS, square metres; null where it is geographic.",
                Real(|s: &S| or_null(s.measures.and_then(|m| m.area_grid_m2))),
            ),
            d(
                "sigma_area_m2",
                "SIG_AREA",
                "Standard error of the area, square metres.",
                Real(|s: &S| or_null(s.measures.and_then(|m| m.sigma_area_m2))),
            ),
        ]);
    }
    fields.extend([
        d(
            "length_ellipsoid_m",
            "LEN_ELL_M",
            "Length (of an area, its perimeter) along geodesics of the ellipsoid, metres.",
            Real(|s: &S| or_null(s.measures.map(|m| m.length_ellipsoid_m))),
        ),
        d(
            "length_grid_m",
            "LEN_GRID_M",
            "Length or perimeter in the grid of the layers' CRS, metres; null where it is geographic.",
            Real(|s: &S| or_null(s.measures.and_then(|m| m.length_grid_m))),
        ),
        d(
            "length_space_m",
            "LEN_3D_M",
            "Length or perimeter through space, metres; null where a vertex has no height.",
            Real(|s: &S| or_null(s.measures.and_then(|m| m.length_space_m))),
        ),
        d(
            "sigma_length_m",
            "SIG_LEN_M",
            "Standard error of the horizontal length or perimeter, metres.",
            Real(|s: &S| or_null(s.measures.map(|m| m.sigma_length_m))),
        ),
        d("bases", "BASES", "Bases that the vertices were shot from.", Text(|s: &S| Some(&s.bases))),
        d(
            "flags",
            "FLAGS",
            "Codes of what is suspicious about it, with spaces between; null where nothing is.",
            Show(|s: &S, texts| if s.flags.is_empty() { texts.push(None) } else { texts.push_display(s.flags) }),
        ),
        d("warnings", "WARNINGS", "What is wrong with it, in sentences.", Text(|s: &S| some(&s.warnings))),
    ]);
    fields.extend(time_definitions!(S));
    if !areas {
        fields.extend([
            d(
                "conditions",
                "CONDITIONS",
                "Spans: conditions of the day as the crew entered them, and which are not known.",
                Text(|s: &S| s.conditions.as_deref()),
            ),
            d("caution", "CAUTION", "Spans: what must be read with the wire.", Text(|s: &S| s.caution)),
        ]);
    }
    fields
}

/// The layer of lines, or of areas.
pub fn layer(third: &str, areas: bool) -> Layer {
    let fields: Vec<Field> = definitions(areas).iter().map(Definition::field).collect();
    if areas {
        Layer {
            key: LayerKey::Own(LayerName::Areas),
            id: "areas".into(),
            title: "Areas".into(),
            description:
                "Strings of shots that close, and the areas of composed measurements. The vertices layer has the heights.".into(),
            geometry: GeometryKind::Area,
            fields,
        }
    } else {
        Layer {
            key: LayerKey::Own(LayerName::Lines),
            id: "lines".into(),
            title: "Lines".into(),
            description: format!("Strings of shots, and the lines of composed measurements. Third coordinate: {third}."),
            geometry: GeometryKind::Line,
            fields,
        }
    }
}
