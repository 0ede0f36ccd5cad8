//! The parts layer: the points that composed measurements give, such as the foot and the top of a height.

use super::place::{self, HasPlace};
use super::{Definition, Get};
use crate::geodesy::covariance::{Covariance, INTERVAL95};
use crate::job::LayerName;
use crate::job::catalogue::GeometryKind;
use crate::output::columns::{Layer, LayerKey};
use crate::shots::locate::Placed;

/// A point of a composed measurement.
#[derive(Debug, Clone)]
pub struct PartRecord {
    /// Kind of measurement.
    pub measure: String,
    /// Name of what was measured.
    pub name: String,
    /// What the point is.
    pub role: &'static str,
    /// Label of the base.
    pub base: String,
    /// Position and heights.
    pub placed: Placed,
    /// Whether the layers' CRS has eastings and northings.
    pub projected: bool,
    /// Whole covariance.
    pub covariance: Covariance,
}

impl HasPlace for PartRecord {
    fn placed(&self) -> &Placed {
        &self.placed
    }

    fn projected(&self) -> bool {
        self.projected
    }
}

/// The fields, in the order of the layer.
pub fn definitions() -> Vec<Definition<PartRecord>> {
    use Get::*;
    type P = PartRecord;
    let d = Definition::new;
    let mut fields = vec![
        d("measure", "MEASURE", "Kind of measurement, as the log names it.", Text(|p: &P| Some(&p.measure))),
        d("name", "NAME", "What was measured: the feature of its rows.", Text(|p: &P| Some(&p.name))),
        d("role", "ROLE", "What the point is.", Text(|p: &P| Some(p.role))),
        d("base", "BASE", "Base that it was shot from.", Text(|p: &P| Some(&p.base))),
    ];
    fields.extend(place::definitions());
    fields.extend([
        d("sigma_east_m", "SIG_EAST_M", "Standard error eastwards, metres.", Real(|p: &P| p.covariance.ee.sqrt())),
        d("sigma_north_m", "SIG_NORT_M", "Standard error northwards, metres.", Real(|p: &P| p.covariance.nn.sqrt())),
        d("sigma_up_m", "SIG_UP_M", "Standard error of the height, metres.", Real(|p: &P| p.covariance.uu.sqrt())),
        d("radius95_m", "RADIUS95_M", "Radius of the 95 % circle, metres.", Real(|p: &P| p.covariance.radius95_m())),
        d(
            "height95_m",
            "HEIGHT95_M",
            "Half of the 95 % interval of the height, metres.",
            Real(|p: &P| INTERVAL95 * p.covariance.uu.sqrt()),
        ),
    ]);
    fields
}

/// The layer.
pub fn layer(third: &str) -> Layer {
    Layer {
        key: LayerKey::Own(LayerName::Parts),
        id: "parts".into(),
        title: "Points of composed measurements".into(),
        description: format!("Feet and tops of heights, lowest points of spans, centres. Third coordinate: {third}."),
        geometry: GeometryKind::Point,
        fields: definitions().iter().map(Definition::field).collect(),
    }
}
