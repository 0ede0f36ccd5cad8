//! The parts layer: the points that composed measurements give, such as the foot and the top of a height.

use super::{Definition, Get, or_null};
use crate::covariance::{Covariance, INTERVAL95};
use crate::job::LayerName;
use crate::locate::Placed;
use crate::table::{GeometryKind, Layer};

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

/// The fields, in the order of the layer.
pub fn definitions() -> Vec<Definition<PartRecord>> {
    use Get::*;
    type P = PartRecord;
    let d = Definition::new;
    vec![
        d("measure", "MEASURE", "Kind of measurement, as the log names it.", Text(|p: &P| Some(&p.measure))),
        d("name", "NAME", "What was measured: the feature of its rows.", Text(|p: &P| Some(&p.name))),
        d("role", "ROLE", "What the point is.", Text(|p: &P| Some(p.role))),
        d("base", "BASE", "Base that it was shot from.", Text(|p: &P| Some(&p.base))),
        d(
            "easting",
            "EASTING",
            "Easting in the unit of the layers' CRS; null where it is geographic.",
            Real(|p: &P| if p.projected { p.placed.x } else { f64::NAN }),
        ),
        d(
            "northing",
            "NORTHING",
            "Northing in the unit of the layers' CRS; null where it is geographic.",
            Real(|p: &P| if p.projected { p.placed.y } else { f64::NAN }),
        ),
        d("lat_deg", "LAT_DEG", "Latitude in degrees, north positive.", Real(|p: &P| p.placed.lat_deg)),
        d("lon_deg", "LON_DEG", "Longitude in degrees, east positive.", Real(|p: &P| p.placed.lon_deg)),
        d(
            "ellipsoid_height_m",
            "H_ELLIPS_M",
            "Height above the ellipsoid, metres; null where none is known.",
            Real(|p: &P| or_null(p.placed.ellipsoid_height_m)),
        ),
        d(
            "orthometric_height_m",
            "H_ORTHO_M",
            "Height above the geoid, metres; null where none is known.",
            Real(|p: &P| or_null(p.placed.orthometric_height_m)),
        ),
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
    ]
}

/// The layer.
pub fn layer(third: &str) -> Layer {
    Layer {
        name: LayerName::Parts,
        id: "parts",
        title: "Points of composed measurements",
        description: format!("Feet and tops of heights, lowest points of spans, centres. Third coordinate: {third}."),
        geometry: GeometryKind::Point,
        fields: definitions().iter().map(Definition::field).collect(),
    }
}
