//! The sight_lines layer: lines from base to feature, for the eye.

use super::features::{self, Feature};
use super::{Definition, Get};
use crate::job::LayerName;
use crate::job::catalogue::GeometryKind;
use crate::output::columns::{Layer, LayerKey};

/// The fields, in the order of the layer; the numbers stand in the features layer.
pub fn definitions<'r>() -> Vec<Definition<Feature<'r>>> {
    use Get::*;
    let d = Definition::new;
    vec![
        features::name(),
        d("shot", "SHOT", "Shot id of the log.", Text(|f| f.shot)),
        d("base", "BASE", "Base that the shot was taken from.", Text(|f| Some(f.base))),
        d("horizontal_distance_m", "HDIST_M", "Horizontal distance, metres.", Real(|f| f.horizontal_m)),
        d("true_azimuth_deg", "TRUE_AZ", "Azimuth, degrees from true north.", Real(|f| f.true_azimuth_rad.to_degrees())),
        features::flags(),
        features::source_file(),
        features::source_line(),
    ]
}

/// The layer.
pub fn layer(third: &str) -> Layer {
    Layer {
        key: LayerKey::Own(LayerName::SightLines),
        id: "sight_lines".into(),
        title: "Sight lines".into(),
        description: format!("Lines from each base's ground point to the features shot from it. Third coordinate: {third}."),
        geometry: GeometryKind::Line,
        fields: definitions().iter().map(Definition::field).collect(),
    }
}
