//! The vertices layer: the shots that make lines and areas, each with its own height and uncertainty.

use super::place::{self, HasPlace};
use super::{Definition, Get};
use crate::geodesy::covariance::Covariance;
use crate::job::LayerName;
use crate::job::catalogue::GeometryKind;
use crate::output::columns::{Layer, LayerKey};
use crate::shots::locate::Placed;

/// A vertex.
#[derive(Debug, Clone)]
pub struct VertexRecord {
    /// Name of its string.
    pub string: String,
    /// Number in it, from 1.
    pub number: u64,
    /// The shot id of the log.
    pub shot: Option<String>,
    /// Name of the feature.
    pub feature: Option<String>,
    /// Label of the base.
    pub base: String,
    /// Position and heights.
    pub placed: Placed,
    /// Whether the layers' CRS has eastings and northings.
    pub projected: bool,
    /// Whether its height is known.
    pub has_height: bool,
    /// Whole covariance.
    pub covariance: Covariance,
    /// Name of the input file.
    pub source_file: String,
    /// Line in it.
    pub source_line: u64,
}

impl HasPlace for VertexRecord {
    fn placed(&self) -> &Placed {
        &self.placed
    }

    fn projected(&self) -> bool {
        self.projected
    }
}

/// The fields, in the order of the layer.
pub fn definitions() -> Vec<Definition<VertexRecord>> {
    use Get::*;
    type V = VertexRecord;
    let d = Definition::new;
    let mut fields = vec![
        d("string", "STRING", "Name of the string.", Text(|v: &V| Some(&v.string))),
        d("number", "NUMBER", "Number of the vertex in its string, from 1.", Integer(|v: &V| Some(v.number as i64))),
        d("shot", "SHOT", "Shot id of the log.", Text(|v: &V| v.shot.as_deref())),
        d("feature", "FEATURE", "Feature that the vertex is, or is joined to.", Text(|v: &V| v.feature.as_deref())),
        d("base", "BASE", "Base that the shot was taken from.", Text(|v: &V| Some(&v.base))),
    ];
    fields.extend(place::definitions());
    fields.extend([
        d("sigma_east_m", "SIG_EAST_M", "Standard error eastwards, metres.", Real(|v: &V| v.covariance.ee.sqrt())),
        d("sigma_north_m", "SIG_NORT_M", "Standard error northwards, metres.", Real(|v: &V| v.covariance.nn.sqrt())),
        d(
            "sigma_up_m",
            "SIG_UP_M",
            "Standard error of the height, metres; null where none is known.",
            Real(|v: &V| if v.has_height { v.covariance.uu.sqrt() } else { f64::NAN }),
        ),
        d("source_file", "SRC_FILE", "Input file.", Text(|v: &V| Some(&v.source_file))),
        d("source_line", "SRC_LINE", "Line in the input file, from 1.", Integer(|v: &V| Some(v.source_line as i64))),
    ]);
    fields
}

/// The layer.
pub fn layer(third: &str) -> Layer {
    Layer {
        key: LayerKey::Own(LayerName::Vertices),
        id: "vertices".into(),
        title: "Vertices".into(),
        description: format!("The shots that make lines and areas. Third coordinate: {third}."),
        geometry: GeometryKind::Point,
        fields: definitions().iter().map(Definition::field).collect(),
    }
}
