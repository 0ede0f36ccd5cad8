//! The labels of a layer in the XML of QGIS, and what they keep clear of: the marks of all points of ours.

use super::Beside;
use super::look::{DARK, Look, WHITE};
use super::names::{is_smaller_than, label_of};
use super::symbols::{millimetres, rgba};
use crate::job::catalogue::GeometryKind;
use crate::output::columns::Layer;
use crate::output::xml::Document;

/// Between a mark or a line and its label.
const CLEAR_PX: f64 = 3.0;
/// Between a mark and its label where a feature, whose mark is larger, is in the same place.
const CLEAR_OF_FEATURE_PX: f64 = 3.5;
/// How far the name of a short line may run past its ends.
const OVERRUN_MM: &str = "10";
/// Half of a mark on a line, past which the name of the line stands.
const MARK_ON_LINE_PX: f64 = 4.5;
/// Up to this scale labels keep clear of the marks of points, labelled or not: that at which bases are labelled first. Beyond it, points take
/// the program no time.
const MARKS_TO_SCALE: u32 = 10_000;
/// How much a mark is in the way, 0 to 2. That program leaves a label away rather than lay it over what is in the way by more than a fifth of the
/// label's priority, 0 to 10.
const IN_THE_WAY: &str = "1.5";
/// The priority of names of lines and areas: written over a mark where no place is free.
const LINE_PRIORITY: u8 = 8;

/// Whether a layer has labels, or marks that those of other layers keep clear of.
pub(super) fn has_any(layer: &Layer, look: &Look) -> bool {
    match layer.geometry {
        GeometryKind::None => false,
        GeometryKind::Point => true,
        GeometryKind::Line | GeometryKind::Area => look.labels_to_scale.is_some(),
    }
}

/// What is written, where it stands and up to which scale.
pub(super) fn labels(document: &mut Document, layer: &Layer, look: &Look, beside: &Beside) {
    let Some(label) = label_of(layer, beside).filter(|_| has_any(layer, look)) else { return };
    let is_point = layer.geometry == GeometryKind::Point;
    let to_scale = look.labels_to_scale.unwrap_or(MARKS_TO_SCALE);
    // A layer that is out of its scale is in nobody's way: so the names of points have a scale of their own.
    let shown = if is_point && to_scale < MARKS_TO_SCALE {
        let text = if label.is_expression { label.text.clone() } else { format!("\"{}\"", label.text) };
        Some(format!("CASE WHEN {} THEN NULL ELSE {text} END", is_smaller_than(to_scale)))
    } else {
        None
    };
    let (text, is_expression) = shown.as_ref().map_or((&label.text, label.is_expression), |shown| (shown, true));
    document.within("labeling", &[("type", "simple")], |document| {
        document.within("settings", &[("calloutType", "simple")], |document| {
            text_style(document, text, is_expression);
            placement(document, layer.geometry, look);
            rendering(document, layer.geometry, look, if is_point { to_scale.max(MARKS_TO_SCALE) } else { to_scale });
        });
    });
}

fn text_style(document: &mut Document, text: &str, is_expression: bool) {
    let style = [
        ("fieldName", text),
        ("isExpression", if is_expression { "1" } else { "0" }),
        ("fontFamily", "Sans Serif"),
        ("fontSize", "9"),
        ("fontSizeUnit", "Point"),
        ("textColor", &rgba(DARK, 1.0)),
        ("textOpacity", "1"),
    ];
    document.within("text-style", &style, |document| {
        let buffer = [
            ("bufferDraw", "1"),
            ("bufferSize", "0.7"),
            ("bufferSizeUnits", "MM"),
            ("bufferColor", &rgba(WHITE, 1.0)),
            ("bufferOpacity", "1"),
        ];
        document.empty("text-buffer", &buffer);
    });
}

fn placement(document: &mut Document, geometry: GeometryKind, look: &Look) {
    // 6: places around the point in the order given; 2: along a line; 4: level, where it is free inside of an area: in its middle another
    // layer may have a mark.
    let order = if look.label_is_below { "BR,BL,TR,TL,R,L" } else { "TR,TL,BR,BL,R,L" };
    let placement = match geometry {
        GeometryKind::Point | GeometryKind::None => "6",
        GeometryKind::Line => "2",
        GeometryKind::Area => "4",
    };
    // From the point and past its mark: past the whole symbol, which the ellipse is part of, nobody would know whose name it is.
    let distance = match geometry {
        GeometryKind::Point | GeometryKind::None => {
            millimetres(look.size_px / 2.0 + if look.label_is_below { CLEAR_OF_FEATURE_PX } else { CLEAR_PX })
        }
        GeometryKind::Line => millimetres(MARK_ON_LINE_PX + CLEAR_PX),
        GeometryKind::Area => millimetres(CLEAR_PX),
    };
    let priority = match geometry {
        GeometryKind::Point | GeometryKind::None => look.label_priority,
        GeometryKind::Line | GeometryKind::Area => LINE_PRIORITY,
    };
    let place = [
        ("placement", placement),
        ("predefinedPositionOrder", order),
        ("dist", &distance),
        ("distUnits", "MM"),
        ("placementFlags", "10"),
        ("offsetType", "0"),
        ("overrunDistance", OVERRUN_MM),
        ("overrunDistanceUnit", "MM"),
        ("priority", &priority.to_string()),
    ];
    document.empty("placement", &place);
}

fn rendering(document: &mut Document, geometry: GeometryKind, look: &Look, to_scale: u32) {
    let rendering = [
        ("scaleVisibility", "1"),
        ("scaleMin", "1"),
        ("scaleMax", &to_scale.to_string()),
        ("displayAll", "0"),
        // Of two areas one may lie in the other: each would drive the name of the other over its edge.
        ("obstacle", if geometry == GeometryKind::Area { "0" } else { "1" }),
        ("obstacleFactor", if geometry == GeometryKind::Point { IN_THE_WAY } else { "1" }),
        ("drawLabels", if look.labels_to_scale.is_some() { "1" } else { "0" }),
        ("limitNumLabels", "0"),
    ];
    document.empty("rendering", &rendering);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::output::layers;
    use crate::output::style::Naming;

    /// What the labels of a layer say, as text.
    fn written(id: &str) -> String {
        let all = layers::all("z");
        let layer = all.iter().find(|layer| layer.id == id).unwrap();
        let mut document = Document::on_one_line();
        let beside = Beside { naming: Naming::Full, ground: None, coded_points: &[] };
        labels(&mut document, layer, &Look::standard(id).unwrap(), &beside);
        document.text()
    }

    /// Marks are in the way from the scale at which the first labels come, those without a label too; names have a scale of their own.
    #[test]
    fn marks_are_in_the_way_of_labels_that_come_before_their_own() {
        for (id, scale, names) in [
            ("features", "CASE WHEN round(@map_scale) &gt; 2500 THEN NULL ELSE CASE WHEN", "1"),
            ("vertices", "CASE WHEN round(@map_scale) &gt; 1000 THEN NULL ELSE &quot;number&quot; END", "1"),
            ("bases", "fieldName=\"base\" isExpression=\"0\"", "1"),
            ("profiles", "", "0"),
            ("adjusted", "", "0"),
        ] {
            let text = written(id);
            assert!(text.contains(scale), "{scale} in {text}");
            for part in ["scaleMax=\"10000\"", "obstacleFactor=\"1.5\"", &format!("drawLabels=\"{names}\"")] {
                assert!(text.contains(part), "{part} in {text}");
            }
        }
        assert_eq!((written("sight_lines"), written("ellipses")), ("\n".to_owned(), "\n".to_owned()));
    }

    /// The program leaves a label of a point away that has no place off a mark: its priority is less than five times what a mark is in the way.
    #[test]
    fn what_stands_in_one_place_alone_is_written_in_any_case() {
        let in_the_way = 5.0 * IN_THE_WAY.parse::<f64>().unwrap();
        for id in ["features", "vertices", "parts", "bases", "lines", "areas"] {
            let text = written(id);
            let priority: f64 = text.split_once("priority=\"").unwrap().1.split_once('"').unwrap().0.parse().unwrap();
            assert_eq!(priority >= in_the_way, ["bases", "parts", "lines", "areas"].contains(&id), "{id}");
        }
    }
}
