//! How a project is looked at where longitudes and latitudes would tear it apart: across ±180° its parts would lie at both edges of the
//! whole globe, and round a pole along one edge. There the project in the GeoPackage is in the plane of UTM (zones 1 and 60 meet at ±180°, and
//! either goes on over it), or of UPS beyond 84° N and 80° S; the layers stay in longitudes and latitudes, and a note says what that means for
//! a layer that is opened alone.
//!
//! EPSG Dataset: 32601 and 32701 are UTM zone 1 north and south, 32660 and 32760 zone 60, 5041 and 5042 UPS north and south with the easting
//! first.

use super::WriteError;
use super::antimeridian::{Globe, Longitudes};
use crate::geodesy::crs::{Crs, CrsError, OperationRules, Transform};
use crate::job::{Format, Job, LayerName};
use crate::output::columns::{Batch, LayerKey};
use crate::output::contract::Setup;

/// Latitudes that UTM ends at.
const UTM_DEG: [f64; 2] = [-80.0, 84.0];
/// Points along each edge of the box that is brought to the plane.
const ALONG: usize = 8;

/// Where all that is drawn lies, in degrees from Greenwich.
pub struct MappedBreadth {
    longitudes: Longitudes,
    /// Least and greatest latitude.
    latitudes: Option<[f64; 2]>,
    /// How many bases, as they are drawn, lie in eastern and in western longitudes, and how many other places.
    bases: [u64; 2],
    others: [u64; 2],
}

impl MappedBreadth {
    /// Whether a run of a job can need one: its layers have longitudes and latitudes. A CRS that is none is told of by the run.
    pub fn is_for(job: &Job) -> bool {
        let name = job.local_fit().map_or(&job.crs, |fit| &fit.crs);
        Crs::new(name).is_ok_and(|crs| Globe::from_crs(&crs).is_some())
    }

    /// Nothing yet; none where the layers have other coordinates.
    pub fn from_setup(setup: &Setup) -> Option<MappedBreadth> {
        Globe::from_crs(setup.crs).filter(|_| setup.crs.is_plain())?;
        Some(MappedBreadth { longitudes: Longitudes::default(), latitudes: None, bases: [0; 2], others: [0; 2] })
    }

    /// Takes records in.
    pub fn see(&mut self, key: LayerKey, batch: &Batch) {
        let sides = if key == LayerName::Bases.into() { &mut self.bases } else { &mut self.others };
        for position in (0..batch.len).flat_map(|i| batch.positions(i)) {
            self.longitudes.see(position.x);
            sides[usize::from(position.x < 0.0)] += 1;
            let [south, north] = self.latitudes.get_or_insert([position.y, position.y]);
            (*south, *north) = (south.min(position.y), north.max(position.y));
        }
    }

    /// The plane that it is looked at in, where longitudes and latitudes do not serve, and what a person must know of the layers in some formats.
    ///
    /// # Errors
    /// When PROJ fails as a whole.
    pub fn told(&self, formats: &[Format]) -> Result<(Option<View>, Option<String>), WriteError> {
        let view = self.view().map_err(WriteError::Plane)?;
        let note = view.as_ref().and_then(|view| self.note(view, formats.contains(&Format::Gpkg)));
        Ok((view, note))
    }

    fn view(&self) -> Result<Option<View>, CrsError> {
        self.latitudes.map_or(Ok(None), |latitudes| View::choose(&self.longitudes, latitudes))
    }

    /// What a person must know who opens a layer alone, where the project is looked at in `view`; none where a layer is as wide as what was
    /// mapped.
    fn note(&self, view: &View, has_project: bool) -> Option<String> {
        if self.longitudes.breadth()? <= 180.0 {
            return None;
        }
        // The bases must not lie outside of the area of the CRS. Nothing is taken from places that are not drawn.
        let [east, west] = if self.bases == [0; 2] { self.others } else { self.bases };
        let crs = match (view.authority, east >= west) {
            ("EPSG:32601", true) => "EPSG:32660",
            ("EPSG:32701", true) => "EPSG:32760",
            (authority, _) => authority,
        };
        let project = if has_project { " The project in the GeoPackage opens in one piece." } else { "" };
        Some(format!(
            "Longitudes end at ±180°, and what was mapped lies on both sides of it: a layer that is opened alone is as wide as the globe.{project} \
             With crs = \"{crs}\" in the job every layer opens in one piece, but for GeoJSON, JSON-FG and KML, which are in longitudes by their standards."
        ))
    }
}

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
        Transform::new(&Crs::new("EPSG:4326")?, &Crs::new(authority)?, None, OperationRules::default())?.apply(&mut points)?;
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

    /// What is said of a job with bases there.
    fn note(lons: &[f64], lats: [f64; 2], is_in_the_east: bool) -> Option<String> {
        let bases = if is_in_the_east { [2, 1] } else { [1, 2] };
        let mut spread = MappedBreadth { longitudes: Longitudes::default(), latitudes: Some(lats), bases, others: [3, 4] };
        lons.iter().for_each(|lon| spread.longitudes.see(*lon));
        spread.note(&spread.view().unwrap()?, true)
    }

    /// The zone that the bases lie in, since they must not lie outside the area of the CRS.
    #[test]
    fn a_crs_is_named_in_which_every_layer_is_whole() {
        let across = [179.999, -179.999];
        for (lat, is_in_the_east, crs) in [(17.0, true, "EPSG:32660"), (17.0, false, "EPSG:32601"), (-17.0, true, "EPSG:32760")] {
            let said = note(&across, [lat, lat], is_in_the_east).unwrap();
            assert!(
                said.contains(&format!("With crs = \"{crs}\" in the job")) && said.contains("The project in the GeoPackage"),
                "{said}"
            );
        }
        assert!(note(&[-170.0, -80.0, 10.0, 170.0], [89.99, 89.999], true).unwrap().contains("EPSG:5041"));
        // Near a pole, but on one side of it.
        assert_eq!(note(&[10.0, 11.0], [89.99, 89.999], true), None);
        assert_eq!(note(&[179.998, 179.999], [-17.0, -17.0], true), None);
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
