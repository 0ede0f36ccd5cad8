//! The ellipses layer: 95 % error ellipses as areas, for the eye.

use std::f64::consts::PI;

use super::features::{self, Feature};
use super::{Definition, Get};
use crate::geodesy::covariance::Ellipse;
use crate::job::LayerName;
use crate::job::catalogue::GeometryKind;
use crate::output::columns::{Layer, LayerKey};

/// Corners of the drawn ellipse.
pub const CORNERS: usize = 36;

/// The ring of an ellipse about the origin, `[east, north]` in metres, counter-clockwise and closed.
pub fn ring(ellipse: &Ellipse) -> Vec<[f64; 2]> {
    let (sin, cos) = ellipse.azimuth_rad.sin_cos();
    (0..=CORNERS)
        .map(|i| {
            // Closed exactly: the last corner is the first.
            let angle = 2.0 * PI * (i % CORNERS) as f64 / CORNERS as f64;
            let (along, across) = (ellipse.major_m * angle.cos(), ellipse.minor_m * angle.sin());
            // Along the azimuth is (sin, cos); a quarter turn to the left of it is (-cos, sin).
            [along * sin - across * cos, along * cos + across * sin]
        })
        .collect()
}

/// The fields, in the order of the layer; the numbers stand in the features layer.
pub fn definitions<'r>() -> Vec<Definition<Feature<'r>>> {
    use Get::*;
    let d = Definition::new;
    vec![
        features::name(),
        d("shot", "SHOT", "Shot id of the log.", Text(|f| f.shot)),
        d("ellipse_major95_m", "ELL_MAJ_M", "Semi-major axis, metres.", Real(|f| f.ellipse.major_m)),
        d("ellipse_minor95_m", "ELL_MIN_M", "Semi-minor axis, metres.", Real(|f| f.ellipse.minor_m)),
        d(
            "ellipse_azimuth_deg",
            "ELL_AZ",
            "Azimuth of the major axis, degrees from true north.",
            Real(|f| f.ellipse.azimuth_rad.to_degrees()),
        ),
        features::source_file(),
        features::source_line(),
    ]
}

/// The layer.
pub fn layer() -> Layer {
    Layer {
        key: LayerKey::Own(LayerName::Ellipses),
        id: "ellipses".into(),
        title: "95 % error ellipses".into(),
        description: "Horizontal error ellipses that hold the feature with 95 % probability.".into(),
        geometry: GeometryKind::Area,
        fields: definitions().iter().map(Definition::field).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_ring_is_closed_counter_clockwise_and_points_along_its_azimuth() {
        let ellipse = Ellipse { major_m: 3.0, minor_m: 1.0, azimuth_rad: 30f64.to_radians() };
        let ring = ring(&ellipse);
        assert_eq!(ring.first(), ring.last());
        assert!((ring[0][0] - 1.5).abs() < 1e-12 && ring[0][1] > 2.5, "{:?}", ring[0]);
        let doubled: f64 = ring.windows(2).map(|w| w[0][0] * w[1][1] - w[1][0] * w[0][1]).sum();
        assert!(doubled > 0.0);
    }
}
