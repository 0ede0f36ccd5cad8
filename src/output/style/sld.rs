//! A look as a document in Styled Layer Descriptor 1.1.0 with Symbology Encoding 1.1.0 and Filter
//! Encoding 1.1.0. Elements stand in the order of their schemas (tests/reference/schema_order.csv).
//!
//! One feature type style with at most three rules, all of which are drawn where they apply, since some
//! readers take only the first style of a document: the symbol of every record; over it, for points with
//! flags, the same mark with a dark outline; and the label, up to its scale.

use super::look::{Colour, DARK, Look, WHITE};
use crate::job::catalogue::GeometryKind;
use crate::output::xml::Document;
use crate::records::roles::{BACKSIGHT, FORESIGHT};

/// Width of the light outline that keeps crowded marks apart, pixels.
const OUTLINE_PX: f64 = 1.0;
/// Width of the outline of points with flags, pixels.
const FLAGGED_OUTLINE_PX: f64 = 2.0;
/// Width of the strokes of marks without an inside, pixels.
const STROKED_MARK_PX: f64 = 2.5;
/// Size of labels, pixels.
const LABEL_PX: f64 = 12.0;
/// Radius of the halo around labels, pixels.
const HALO_PX: f64 = 1.5;
/// From the edge of a mark or line to its label, pixels.
const LABEL_GAP_PX: f64 = 3.0;

/// Roles that a measurement has once, in one place: its name is written there. Spans, profiles and missing lines have it along their line.
const NAMED_ROLES: [&str; 3] = ["foot", "distance", "left"];

/// Fields that a document names, as the file beside it names them.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct FieldNames<'f> {
    /// What labels show; no labels without it.
    pub label: Option<&'f str>,
    /// Words before it.
    pub before: Option<String>,
    /// What labels show in brackets behind it. A reader that takes one field alone has the first.
    pub behind: Option<&'f str>,
    /// What is not null for records with flags; points are then drawn with a dark outline.
    pub flags: Option<&'f str>,
    /// What is not null for rows of a measurement, many of which may have its name: those of [`NAMED_ROLES`] are labelled.
    pub measure: Option<&'f str>,
    /// What a row is in a measurement or string; sights to a base are not labelled.
    pub role: Option<&'f str>,
    /// The line or area that a record is a corner of; a corner of its name is not labelled.
    pub string: Option<&'f str>,
}

/// The style of a layer; none for a table, which is not drawn.
pub fn sld(layer_id: &str, title: &str, geometry: GeometryKind, look: &Look, fields: &FieldNames) -> Option<String> {
    if geometry == GeometryKind::None {
        return None;
    }
    let mut document = Document::declared();
    let root = [
        ("version", "1.1.0"),
        ("xmlns", "http://www.opengis.net/sld"),
        ("xmlns:se", "http://www.opengis.net/se"),
        ("xmlns:ogc", "http://www.opengis.net/ogc"),
        ("xmlns:xsi", "http://www.w3.org/2001/XMLSchema-instance"),
        ("xsi:schemaLocation", "http://www.opengis.net/sld http://schemas.opengis.net/sld/1.1.0/StyledLayerDescriptor.xsd"),
    ];
    document.within("StyledLayerDescriptor", &root, |document| {
        document.within("NamedLayer", &[], |document| {
            document.leaf("se:Name", layer_id);
            titled(document, title);
            document.within("UserStyle", &[], |document| {
                document.leaf("se:Name", layer_id);
                titled(document, title);
                document.leaf("IsDefault", "1");
                document.within("se:FeatureTypeStyle", &[], |document| rules(document, title, geometry, look, fields));
            });
        });
    });
    Some(document.text())
}

fn rules(document: &mut Document, title: &str, geometry: GeometryKind, look: &Look, fields: &FieldNames) {
    document.within("se:Rule", &[], |document| {
        document.leaf("se:Name", "symbol");
        titled(document, title);
        match geometry {
            GeometryKind::None => {}
            GeometryKind::Point => point(document, look, None),
            GeometryKind::Line => document.within("se:LineSymbolizer", &[], |document| stroke(document, look)),
            GeometryKind::Area => document.within("se:PolygonSymbolizer", &[], |document| {
                if look.fill_opacity > 0.0 {
                    fill(document, look.colour, Some(look.fill_opacity));
                }
                stroke(document, look);
            }),
        }
    });
    if let Some(flags) = fields.flags.filter(|_| geometry == GeometryKind::Point) {
        document.within("se:Rule", &[], |document| {
            document.leaf("se:Name", "flagged");
            titled(document, &format!("{title}, with flags"));
            document.within("ogc:Filter", &[], |document| {
                document.within("ogc:Not", &[], |document| is_null(document, flags));
            });
            point(document, look, Some(DARK));
        });
    }
    if let (Some(label), Some(scale)) = (fields.label, look.labels_to_scale) {
        document.within("se:Rule", &[], |document| {
            document.leaf("se:Name", "label");
            titled(document, &format!("Labels, to 1 : {scale}"));
            if fields.measure.is_some() || fields.role.is_some() || fields.string.is_some() {
                document.within("ogc:Filter", &[], |document| labelled(document, label, fields));
            }
            // Labels at larger scales only, so that maps of many records stay readable.
            document.leaf("se:MaxScaleDenominator", &scale.to_string());
            document.within("se:TextSymbolizer", &[], |document| text(document, geometry, look, (label, fields)));
        });
    }
}

/// Which records are labelled. Each condition holds for what is null, too: readers differ in what the opposite of a comparison with null is.
fn labelled(document: &mut Document, label: &str, fields: &FieldNames) {
    let conditions = [fields.measure, fields.role, fields.string].iter().flatten().count();
    let all = |document: &mut Document| {
        if let Some(measure) = fields.measure {
            document.within("ogc:Or", &[], |document| {
                is_null(document, measure);
                // Where a format has no null.
                compared(document, "ogc:PropertyIsEqualTo", measure, &Operand::Text(""));
                for named in fields.role.iter().flat_map(|role| NAMED_ROLES.map(|name| (*role, name))) {
                    compared(document, "ogc:PropertyIsEqualTo", named.0, &Operand::Text(named.1));
                }
            });
        }
        if let Some(role) = fields.role {
            document.within("ogc:Or", &[], |document| {
                is_null(document, role);
                document.within("ogc:And", &[], |document| {
                    for of_base in [BACKSIGHT, FORESIGHT] {
                        compared(document, "ogc:PropertyIsNotEqualTo", role, &Operand::Text(of_base));
                    }
                });
            });
        }
        if let Some(string) = fields.string {
            document.within("ogc:Or", &[], |document| {
                is_null(document, string);
                compared(document, "ogc:PropertyIsNotEqualTo", label, &Operand::Field(string));
            });
        }
    };
    if conditions > 1 { document.within("ogc:And", &[], all) } else { all(document) }
}

/// What a field is compared to.
enum Operand<'o> {
    Text(&'o str),
    Field(&'o str),
}

/// A comparison; of names of records, whatever their capitals.
fn compared(document: &mut Document, how: &str, field: &str, to: &Operand) {
    let match_case = if matches!(to, Operand::Field(_)) { "false" } else { "true" };
    document.within(how, &[("matchCase", match_case)], |document| {
        document.leaf("ogc:PropertyName", field);
        match to {
            Operand::Text(text) => document.leaf("ogc:Literal", text),
            Operand::Field(other) => document.leaf("ogc:PropertyName", other),
        }
    });
}

fn is_null(document: &mut Document, field: &str) {
    document.within("ogc:PropertyIsNull", &[], |document| document.leaf("ogc:PropertyName", field));
}

/// A mark, with a dark outline where one is asked for.
fn point(document: &mut Document, look: &Look, outline: Option<Colour>) {
    let mut mark = |stroke: Colour, width_px: f64, size_px: f64| {
        document.within("se:PointSymbolizer", &[], |document| {
            document.within("se:Graphic", &[], |document| {
                document.within("se:Mark", &[], |document| {
                    document.leaf("se:WellKnownName", look.mark.word());
                    fill(document, look.colour, None);
                    document.within("se:Stroke", &[], |document| {
                        parameter(document, "stroke", stroke);
                        parameter(document, "stroke-width", width_px);
                    });
                });
                document.leaf("se:Size", &size_px.to_string());
            });
        });
    };
    if look.mark.is_stroked() {
        // Strokes alone: the outline is a wider mark below.
        if let Some(outline) = outline {
            mark(outline, STROKED_MARK_PX + 2.0 * FLAGGED_OUTLINE_PX, look.size_px + 2.0 * FLAGGED_OUTLINE_PX);
        }
        mark(look.colour, STROKED_MARK_PX, look.size_px);
    } else {
        mark(outline.unwrap_or(WHITE), if outline.is_some() { FLAGGED_OUTLINE_PX } else { OUTLINE_PX }, look.size_px);
    }
}

fn fill(document: &mut Document, colour: Colour, opacity: Option<f64>) {
    document.within("se:Fill", &[], |document| {
        parameter(document, "fill", colour);
        if let Some(opacity) = opacity {
            parameter(document, "fill-opacity", opacity);
        }
    });
}

fn stroke(document: &mut Document, look: &Look) {
    document.within("se:Stroke", &[], |document| {
        parameter(document, "stroke", look.colour);
        parameter(document, "stroke-width", look.line_width_px);
        parameter(document, "stroke-linejoin", "round");
        if !look.dashes_px.is_empty() {
            let dashes: Vec<String> = look.dashes_px.iter().map(u8::to_string).collect();
            parameter(document, "stroke-dasharray", dashes.join(" "));
        }
    });
}

/// The inside of a text symbolizer: beside a point, along a line, in the middle of an area.
fn text(document: &mut Document, geometry: GeometryKind, look: &Look, (label, fields): (&str, &FieldNames)) {
    document.within("se:Label", &[], |document| {
        if let Some(before) = &fields.before {
            document.words(before);
        }
        document.leaf("ogc:PropertyName", label);
        if let Some(behind) = fields.behind {
            document.words(" (");
            document.leaf("ogc:PropertyName", behind);
            document.words(")");
        }
    });
    document.within("se:Font", &[], |document| {
        parameter(document, "font-family", "sans-serif");
        parameter(document, "font-size", LABEL_PX);
    });
    document.within("se:LabelPlacement", &[], |document| match geometry {
        GeometryKind::Line => document.within("se:LinePlacement", &[], |document| {
            document.leaf("se:PerpendicularOffset", &(look.line_width_px / 2.0 + LABEL_GAP_PX).to_string());
        }),
        GeometryKind::Area if look.label_is_off_middle => place(document, [0.5, 0.0], [0.0, LABEL_PX]),
        GeometryKind::Area => place(document, [0.5, 0.5], [0.0, 0.0]),
        GeometryKind::Point | GeometryKind::None => {
            // To the right, and above or below, clear of the lines that lead to the point.
            let (anchor, up) = if look.label_is_below { ([0.0, 1.0], -1.0) } else { ([0.0, 0.0], 1.0) };
            let edge_px = look.size_px / 2.0;
            place(document, anchor, [edge_px + LABEL_GAP_PX, up * edge_px / 2.0]);
        }
    });
    document.within("se:Halo", &[], |document| {
        document.leaf("se:Radius", &HALO_PX.to_string());
        fill(document, WHITE, None);
    });
    fill(document, DARK, None);
}

/// Where a label stands: which spot of it, 0 to 1 from the left and from below, and how far that spot is to
/// the right of and above the point.
fn place(document: &mut Document, anchor: [f64; 2], right_and_up_px: [f64; 2]) {
    document.within("se:PointPlacement", &[], |document| {
        document.within("se:AnchorPoint", &[], |document| {
            document.leaf("se:AnchorPointX", &anchor[0].to_string());
            document.leaf("se:AnchorPointY", &anchor[1].to_string());
        });
        document.within("se:Displacement", &[], |document| {
            document.leaf("se:DisplacementX", &right_and_up_px[0].to_string());
            document.leaf("se:DisplacementY", &right_and_up_px[1].to_string());
        });
    });
}

fn parameter(document: &mut Document, name: &str, value: impl std::fmt::Display) {
    document.text_within("se:SvgParameter", &[("name", name)], &value.to_string());
}

fn titled(document: &mut Document, title: &str) {
    document.within("se:Description", &[], |document| document.leaf("se:Title", title));
}
