//! The adjusted layer: the bases and features that a network placed, each with what the network says of it.

use super::place::{self, HasPlace};
use super::{Definition, Get};
use crate::geodesy::covariance::{Covariance, INTERVAL95};
use crate::geodesy::register::Estimate;
use crate::job::LayerName;
use crate::job::catalogue::GeometryKind;
use crate::output::columns::{Layer, LayerKey};
use crate::shots::locate::Placed;

/// An adjusted station.
#[derive(Debug, Clone)]
pub struct AdjustedRecord {
    /// Name.
    pub name: String,
    /// What it is.
    pub kind: &'static str,
    /// Number of the network, from 1.
    pub network: i64,
    /// Position and heights.
    pub placed: Placed,
    /// Whether the layers' CRS has eastings and northings.
    pub projected: bool,
    /// Whether its height is known.
    pub has_height: bool,
    /// Whole covariance.
    pub covariance: Covariance,
    /// Whether another reading checks it.
    pub checked: bool,
    /// Readings at it and to it that took part.
    pub readings: i64,
    /// What the network adds to its azimuths, in radians.
    pub orientation: Option<Estimate>,
}

impl HasPlace for AdjustedRecord {
    fn placed(&self) -> &Placed {
        &self.placed
    }

    fn projected(&self) -> bool {
        self.projected
    }
}

fn sigma_up(a: &AdjustedRecord) -> f64 {
    if a.has_height { a.covariance.uu.sqrt() } else { f64::NAN }
}

/// The fields, in the order of the layer.
pub fn definitions() -> Vec<Definition<AdjustedRecord>> {
    use Get::*;
    type A = AdjustedRecord;
    let d = Definition::new;
    let mut fields = vec![
        d("name", "NAME", "Name of the base or feature.", Text(|a: &A| Some(&a.name))),
        d("kind", "KIND", "base, base without a position of its own, or feature.", Text(|a: &A| Some(a.kind))),
        d(
            "network",
            "NETWORK",
            "Number of the network, from 1; stations of one network check each other.",
            Integer(|a: &A| Some(a.network)),
        ),
        d(
            "checked",
            "CHECKED",
            "yes where a blunder in one of its readings would show, else no.",
            Text(|a: &A| Some(if a.checked { "yes" } else { "no" })),
        ),
        d("readings", "READINGS", "Readings at it and to it that took part.", Integer(|a: &A| Some(a.readings))),
    ];
    fields.extend(place::definitions());
    fields.extend([
        d("sigma_east_m", "SIG_EAST_M", "Standard error eastwards, metres.", Real(|a: &A| a.covariance.ee.sqrt())),
        d("sigma_north_m", "SIG_NORT_M", "Standard error northwards, metres.", Real(|a: &A| a.covariance.nn.sqrt())),
        d("sigma_up_m", "SIG_UP_M", "Standard error of the height, metres; null where it is not known.", Real(sigma_up)),
        d(
            "ellipse_major95_m",
            "ELL_MAJ_M",
            "Semi-major axis of the 95 % error ellipse, metres.",
            Real(|a: &A| a.covariance.ellipse95().major_m),
        ),
        d(
            "ellipse_minor95_m",
            "ELL_MIN_M",
            "Semi-minor axis of the 95 % error ellipse, metres.",
            Real(|a: &A| a.covariance.ellipse95().minor_m),
        ),
        d(
            "ellipse_azimuth_deg",
            "ELL_AZ",
            "Azimuth of the major axis, degrees from true north, 0 to 180.",
            Real(|a: &A| a.covariance.ellipse95().azimuth_rad.to_degrees()),
        ),
        d("radius95_m", "RADIUS95_M", "Radius of the 95 % circle, metres.", Real(|a: &A| a.covariance.radius95_m())),
        d("height95_m", "HEIGHT95_M", "Half of the 95 % interval of the height, metres.", Real(|a: &A| INTERVAL95 * sigma_up(a))),
        d(
            "azimuth_correction_deg",
            "AZ_CORR",
            "What the network adds to the azimuths read here, degrees, east positive; null where they are none of its unknowns.",
            Real(|a: &A| a.orientation.map_or(f64::NAN, |o| o.value.to_degrees())),
        ),
        d(
            "sigma_azimuth_correction_deg",
            "SIG_AZCORR",
            "Its standard error, degrees.",
            Real(|a: &A| a.orientation.map_or(f64::NAN, |o| o.sigma.to_degrees())),
        ),
    ]);
    fields
}

/// The layer.
pub fn layer(third: &str) -> Layer {
    Layer {
        key: LayerKey::Own(LayerName::Adjusted),
        id: "adjusted".into(),
        title: "Adjusted stations".into(),
        description: format!(
            "Bases and features that shots from several sides place together, by least squares. Third coordinate: {third}. Mapping \
             grade; no licensed survey."
        ),
        geometry: GeometryKind::Point,
        fields: definitions().iter().map(Definition::field).collect(),
    }
}
