//! Shots of known points for tests: exact, or with errors drawn for each reading, for each base's
//! orientation and for each base's position. The draws know nothing of the joint covariance.

use crate::geodesy::covariance::Covariance;
use crate::geodesy::frame::{Ellipsoid, Geodetic, LocalFrame};
use crate::geodesy::register::{BaseErrors, Origin, Shares};
use crate::measure::{Group, RoleShot};
use crate::numeric::monte_carlo::Normal;
use crate::records::triangle::Triangle;
use crate::shots::reduce::{Sight, SightSigmas, reduce};

/// Points and the bases that they are shot from, all in the frame of the first base.
pub struct Scene {
    pub bases: Vec<Origin>,
    pub sigmas: SightSigmas,
    /// Standard error of each base's orientation.
    orientation_rad: f64,
    rows: Vec<(usize, String, String, [f64; 3])>,
}

/// A good handheld laser on a tripod.
pub fn sigmas() -> SightSigmas {
    SightSigmas { azimuth_rad: 0.1f64.to_radians(), inclination_rad: 0.1f64.to_radians(), distance_m: 0.1 }
}

/// Readings without error.
pub fn exact() -> SightSigmas {
    SightSigmas { azimuth_rad: 0.0, inclination_rad: 0.0, distance_m: 0.0 }
}

impl Scene {
    /// Bases at places in the frame of the first, 0.02 m good in plan and 0.03 m in height.
    pub fn new(bases: &[[f64; 3]], sigmas: SightSigmas) -> Scene {
        let ellipsoid = Ellipsoid::WGS84;
        let first = Geodetic { lat_rad: 47f64.to_radians(), lon_rad: 11f64.to_radians(), ellipsoid_height_m: 600.0 };
        let frame = LocalFrame::at(&first, &ellipsoid);
        // Readings without error are of a base that is turned right.
        let orientation_rad = if sigmas == exact() { 0.0 } else { 0.5f64.to_radians() };
        let bases = bases.iter().enumerate().map(|(i, at)| Origin {
            label: format!("base {i}"),
            frame: LocalFrame::at(&Geodetic::from_earth_centred(frame.to_earth_centred(*at), &ellipsoid), &ellipsoid),
            ellipsoid,
            errors: BaseErrors::from_covariance(i, &Covariance::from_sigmas(0.02, 0.03), orientation_rad),
            earth_radius_m: 6_371_000.0,
        });
        Scene { bases: bases.collect(), sigmas, orientation_rad, rows: Vec::new() }
    }

    /// Another standard error of the bases' orientations.
    pub fn turned(mut self, orientation_rad: f64) -> Scene {
        self.orientation_rad = orientation_rad;
        for (i, base) in self.bases.iter_mut().enumerate() {
            base.errors = BaseErrors::from_covariance(i, &base.errors.covariance(), orientation_rad);
        }
        self
    }

    /// Another covariance of the first base's position.
    pub fn place_base(&mut self, covariance: &Covariance) {
        self.bases[0].errors = BaseErrors::from_covariance(0, covariance, self.orientation_rad);
    }

    pub fn row(&mut self, base: usize, role: &str, label: &str, at: [f64; 3]) {
        self.rows.push((base, role.to_owned(), label.to_owned(), at));
    }

    /// The shots without error.
    pub fn group(&self, measure: &str, name: &str) -> Group<'_> {
        self.shot(measure, name, || 0.0)
    }

    /// The shots with errors drawn.
    pub fn drawn(&self, measure: &str, name: &str, normal: &mut Normal) -> Group<'_> {
        self.shot(measure, name, || normal.next())
    }

    fn shot(&self, measure: &str, name: &str, mut error: impl FnMut() -> f64) -> Group<'_> {
        let s = self.sigmas;
        let shared: Vec<([f64; 3], f64)> = self
            .bases
            .iter()
            .map(|base| {
                let c = base.errors.covariance();
                ([error() * c.ee.sqrt(), error() * c.nn.sqrt(), error() * c.uu.sqrt()], error() * self.orientation_rad)
            })
            .collect();
        let sightings = self.rows.iter().enumerate().map(|(i, (base, role, label, at))| {
            let origin = &self.bases[*base];
            let [e, n, u] = origin.frame.from_earth_centred(self.bases[0].frame.to_earth_centred(*at));
            let (shift, turn) = shared[*base];
            let azimuth = e.atan2(n) + turn + error() * s.azimuth_rad;
            let inclination_rad = u.atan2(e.hypot(n)) + error() * s.inclination_rad;
            let slope_m = e.hypot(n).hypot(u) + error() * s.distance_m;
            let sight = Sight {
                true_azimuth_rad: azimuth,
                triangle: Triangle::Slope { slope_m, inclination_rad },
                instrument_height_m: 0.0,
                target_height_m: 0.0,
                refraction: 0.0,
            };
            let mut vector = reduce(&sight, &s, origin.earth_radius_m);
            vector.east_m += shift[0];
            vector.north_m += shift[1];
            vector.up_m = vector.up_m.map(|up| up + shift[2]);
            RoleShot {
                role: role.clone(),
                label: label.clone(),
                shot: None,
                place: (0, i as u64 + 2),
                base: *base,
                instant: None,
                true_azimuth_rad: Some(azimuth),
                inclination_rad: Some(inclination_rad),
                slope_m: Some(slope_m),
                horizontal_m: None,
                sigma_azimuth_rad: s.azimuth_rad,
                sigma_inclination_rad: s.inclination_rad,
                sigma_distance_m: s.distance_m,
                shares: Shares::default(),
                instrument_height_m: Some(0.0),
                target_height_m: 0.0,
                refraction: 0.0,
                vector: Some(vector),
            }
        });
        let sightings = sightings.collect();
        Group { measure: measure.to_owned(), name: name.to_owned(), sightings, bases: &self.bases, units: Default::default() }
    }
}
