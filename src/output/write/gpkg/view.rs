//! How the project is looked at where longitudes and latitudes would tear it apart: across ±180° its parts would lie at both edges of the
//! whole globe, and round a pole along one edge. There the project is in the plane of UTM (zones 1 and 60 meet at ±180°, and either goes on
//! over it), or of UPS beyond 84° N and 80° S; the layers stay in longitudes and latitudes.
//!
//! EPSG Dataset: 32601 and 32701 are UTM zone 1 north and south, 5041 and 5042 UPS north and south with the easting first.

use super::super::antimeridian::Longitudes;
use crate::geodesy::crs::{Crs, CrsError, Rules, Transform};

/// Latitudes that UTM ends at.
const UTM_DEG: [f64; 2] = [-80.0, 84.0];
/// Points along each edge of the box that is brought to the plane.
const ALONG: usize = 8;

/// The plane that a project is looked at in.
pub struct View {
    /// Authority and code of its CRS.
    pub authority: &'static str,
    /// Least easting and northing, greatest easting and northing of what is drawn.
    pub bounds: [f64; 4],
}

impl View {
    /// That of points on WGS 84 or a datum near it; none where longitudes and latitudes serve.
    ///
    /// # Errors
    /// When PROJ fails as a whole.
    pub fn choose(longitudes: &Longitudes, [south, north]: [f64; 2]) -> Result<Option<View>, CrsError> {
        let Some((west, east)) = longitudes.edges() else { return Ok(None) };
        let is_across = west > east;
        let authority = match ([south, north], is_across) {
            ([south, _], _) if south > UTM_DEG[1] => "EPSG:5041",
            ([_, north], _) if north < UTM_DEG[0] => "EPSG:5042",
            (_, false) => return Ok(None),
            ([south, north], true) if south + north >= 0.0 => "EPSG:32601",
            (_, true) => "EPSG:32701",
        };
        let width = if is_across { east + 360.0 - west } else { east - west };
        let share = |i: usize| i as f64 / ALONG as f64;
        let mut points: Vec<[f64; 3]> = (0..=ALONG)
            .flat_map(|i| (0..=ALONG).map(move |j| [west + width * share(i), south + (north - south) * share(j), 0.0]))
            .collect();
        Transform::new(&Crs::new("EPSG:4326")?, &Crs::new(authority)?, None, Rules::default())?.apply(&mut points)?;
        let nothing = [f64::INFINITY, f64::INFINITY, f64::NEG_INFINITY, f64::NEG_INFINITY];
        let join = |[w, s, e, n]: [f64; 4], [x, y, _]: &[f64; 3]| [w.min(*x), s.min(*y), e.max(*x), n.max(*y)];
        let bounds = points.iter().fold(nothing, join);
        Ok(bounds.iter().all(|edge| edge.is_finite()).then_some(View { authority, bounds }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn view(lons: &[f64], lats: [f64; 2]) -> Option<(&'static str, [f64; 4])> {
        let mut longitudes = Longitudes::default();
        lons.iter().for_each(|lon| longitudes.see(*lon));
        View::choose(&longitudes, lats).unwrap().map(|view| (view.authority, view.bounds))
    }

    #[test]
    fn longitudes_that_hang_together_are_looked_at_as_they_are() {
        assert_eq!(view(&[], [0.0, 0.0]), None);
        assert_eq!(view(&[179.98, 179.99], [-17.0, -16.9]), None);
        assert_eq!(view(&[-10.0, 20.0], [50.0, 83.9]), None);
    }

    /// A tenth of a degree on either side: eastings by the equator's length of a degree, 111 319.5 m, times cos φ and the scale of UTM
    /// there, 0.9996 (1 + λ² cos² φ / 2) at λ = 3° from the central meridian (J. P. Snyder, "Map Projections", 1987, eq. 8-11); and the box is
    /// turned by the convergence, tan γ = tan λ sin φ, so that each side adds to the other.
    #[test]
    fn both_sides_of_180_degrees_lie_side_by_side() {
        for (lat, authority) in [(17.0f64, "EPSG:32601"), (-17.0, "EPSG:32701")] {
            let (known, [west, south, east, north]) = view(&[179.9, -179.9], [lat - 0.1, lat + 0.1]).unwrap();
            assert_eq!(known, authority);
            let scale = 0.9996 * (1.0 + (3f64.to_radians() * lat.to_radians().cos()).powi(2) / 2.0);
            let turned = (3f64.to_radians().tan() * lat.to_radians().sin().abs()).atan();
            let (wide_m, high_m) = (0.2 * 111_319.5 * lat.to_radians().cos() * scale, 22_130.0);
            let want_m = wide_m * turned.cos() + high_m * turned.sin();
            // The northern and the southern edge differ by 1 part in 500, and the ellipsoid from a sphere by 1 in 300.
            assert!((east - west - want_m).abs() < 0.005 * want_m, "{} of {want_m}", east - west);
            let want_m = high_m * turned.cos() + wide_m * turned.sin();
            assert!((north - south - want_m).abs() < 0.01 * want_m, "{} of {want_m}", north - south);
            // The edge of zone 1, half of its width west of the easting of 500 km.
            assert!((165_000.0..200_000.0).contains(&((west + east) / 2.0)), "{west} {east}");
        }
    }

    /// A pole lies at 2 000 000, 2 000 000 in the plane of UPS.
    #[test]
    fn a_pole_lies_in_the_middle_of_what_is_round_it() {
        for (lats, authority) in [([89.999, 89.9999], "EPSG:5041"), ([-89.9999, -89.999], "EPSG:5042")] {
            let (known, [west, south, east, north]) = view(&[-170.0, -80.0, 0.0, 10.0, 100.0, 170.0], lats).unwrap();
            assert_eq!(known, authority);
            for (low, high) in [(west, east), (south, north)] {
                assert!(low < 2_000_000.0 && high > 2_000_000.0 && high - low < 250.0, "{low} to {high}");
            }
        }
    }
}
