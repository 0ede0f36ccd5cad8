//! The sight_lines layer: lines from base to feature, for the eye.

use super::features::Feature;
use super::{Definition, Get};
use crate::job::LayerName;
use crate::table::{GeometryKind, Layer};

/// The fields, in the order of the layer; the numbers stand in the features layer.
pub fn definitions<'r>() -> Vec<Definition<Feature<'r>>> {
    use Get::*;
    let d = Definition::new;
    vec![
        d(
            "feature",
            "FEATURE",
            "Name of the feature, as in the features layer.",
            Show(|f: &Feature, texts| match f.feature.or(f.shot) {
                Some(name) => texts.push(Some(name)),
                None => texts.push_display(format_args!("{}:{}", f.source_file, f.source_line)),
            }),
        ),
        d("shot", "SHOT", "Shot id of the log.", Text(|f| f.shot)),
        d("base", "BASE", "Base that the shot was taken from.", Text(|f| Some(f.base))),
        d("horizontal_distance_m", "HDIST_M", "Horizontal distance, metres.", Real(|f| f.horizontal_m)),
        d("true_azimuth_deg", "TRUE_AZ", "Azimuth, degrees from true north.", Real(|f| f.true_azimuth_rad.to_degrees())),
        d("source_file", "SRC_FILE", "Input file.", Text(|f| Some(f.source_file))),
        d("source_line", "SRC_LINE", "Line in the input file, from 1.", Integer(|f| Some(f.source_line as i64))),
    ]
}

/// The layer.
pub fn layer(third: &str) -> Layer {
    Layer {
        name: LayerName::SightLines,
        id: "sight_lines",
        title: "Sight lines",
        description: format!("Lines from each base's ground point to the features shot from it. Third coordinate: {third}."),
        geometry: GeometryKind::Line,
        fields: definitions().iter().map(Definition::field).collect(),
    }
}
