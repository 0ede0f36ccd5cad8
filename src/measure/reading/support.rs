//! Rows, bases and random errors for the tests of composed measurements.

use crate::geodesy::covariance::Covariance;
use crate::geodesy::frame::{Ellipsoid, Geodetic, LocalFrame};
use crate::geodesy::register::{BaseErrors, Origin, Shares};
use crate::measure::{Group, RoleShot};
use crate::records::triangle::Triangle;
use crate::shots::reduce::{Sight, SightSigmas, Vector, reduce};

/// An international foot in metres.
pub const FOOT_M: f64 = 0.3048;

/// A base at 47° N 11° E, 600 m over the ellipsoid.
pub fn base(covariance: Covariance) -> Origin {
    base_number(0, covariance)
}

/// Another base at the same place, with errors of its own.
pub fn base_number(number: usize, covariance: Covariance) -> Origin {
    let place = Geodetic { lat_rad: 47f64.to_radians(), lon_rad: 11f64.to_radians(), ellipsoid_height_m: 600.0 };
    Origin {
        label: "B1".to_owned(),
        frame: LocalFrame::at(&place, &Ellipsoid::WGS84),
        ellipsoid: Ellipsoid::WGS84,
        errors: BaseErrors::from_covariance(number, &covariance, 0.0),
        earth_radius_m: Ellipsoid::WGS84.mean_radius_m(place.lat_rad),
    }
}

/// A row without readings and without errors; its label is its role.
pub fn row(role: &str) -> RoleShot {
    RoleShot {
        role: role.to_owned(),
        label: format!("{role}-1"),
        shot: None,
        place: (0, 1),
        base: 0,
        instant: None,
        true_azimuth_rad: None,
        inclination_rad: None,
        slope_m: None,
        horizontal_m: None,
        sigma_azimuth_rad: 0.0,
        sigma_inclination_rad: 0.0,
        sigma_distance_m: 0.0,
        shares: Shares::default(),
        instrument_height_m: Some(1.6),
        target_height_m: 0.0,
        refraction: 0.0,
        vector: None,
    }
}

/// What a row is read with.
pub trait Read {
    fn azimuth(self, deg: f64) -> Self;
    fn inclination(self, deg: f64) -> Self;
    fn slope(self, metres: f64) -> Self;
    fn horizontal(self, metres: f64) -> Self;
    /// Standard errors: azimuth, what all azimuths share, and inclination in degrees, distance in metres.
    fn errors(self, sigmas: [f64; 4]) -> Self;
    /// With the vector that its readings give.
    fn whole(self) -> Self;
}

impl Read for RoleShot {
    fn azimuth(self, deg: f64) -> Self {
        RoleShot { true_azimuth_rad: Some(deg.to_radians()), ..self }
    }

    fn inclination(self, deg: f64) -> Self {
        RoleShot { inclination_rad: Some(deg.to_radians()), ..self }
    }

    fn slope(self, metres: f64) -> Self {
        RoleShot { slope_m: Some(metres), ..self }
    }

    fn horizontal(self, metres: f64) -> Self {
        RoleShot { horizontal_m: Some(metres), ..self }
    }

    fn errors(self, [azimuth, orientation, inclination, distance]: [f64; 4]) -> Self {
        RoleShot {
            sigma_azimuth_rad: azimuth.to_radians(),
            sigma_inclination_rad: inclination.to_radians(),
            sigma_distance_m: distance,
            shares: Shares { declination_rad: orientation.to_radians(), ..Shares::default() },
            ..self
        }
    }

    fn whole(self) -> Self {
        let inclination_rad = self.inclination_rad.unwrap();
        let triangle = match self.slope_m {
            Some(slope_m) => Triangle::Slope { slope_m, inclination_rad },
            None => Triangle::Horizontal { horizontal_m: self.horizontal_m.unwrap(), inclination_rad },
        };
        let sight = Sight {
            true_azimuth_rad: self.true_azimuth_rad.unwrap(),
            triangle,
            instrument_height_m: self.instrument_height_m.unwrap_or(0.0),
            target_height_m: self.target_height_m,
            refraction: self.refraction,
        };
        let sigmas = SightSigmas {
            azimuth_rad: self.sigma_azimuth_rad,
            inclination_rad: self.sigma_inclination_rad,
            distance_m: self.sigma_distance_m,
        };
        let vector = reduce(&sight, &sigmas, base(Covariance::default()).earth_radius_m);
        RoleShot { vector: Some(Vector { shares: self.shares, ..vector }), ..self }
    }
}

/// The rows as one measurement.
pub fn group<'t>(measure: &str, bases: &'t [Origin], rows: &[RoleShot]) -> Group<'t> {
    Group {
        measure: measure.to_owned(),
        name: "Lone Larch".to_owned(),
        sightings: rows.to_vec(),
        bases,
        units: Default::default(),
    }
}

/// Normal deviates with a fixed seed: 64-bit linear congruence (Knuth's multiplier), twelve uniforms
/// summed (variance 1).
pub struct Normal(pub u64);

impl Normal {
    pub fn next(&mut self) -> f64 {
        let mut uniform = || {
            self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (self.0 >> 11) as f64 / (1u64 << 53) as f64
        };
        (0..12).map(|_| uniform()).sum::<f64>() - 6.0
    }
}

/// Standard deviations of simulated values.
pub fn spread<const N: usize>(runs: usize, mut one: impl FnMut() -> [f64; N]) -> [f64; N] {
    let (mut sums, mut squares) = ([0.0; N], [0.0; N]);
    let first = one();
    for _ in 0..runs {
        let values = one();
        for n in 0..N {
            let apart = values[n] - first[n];
            sums[n] += apart;
            squares[n] += apart * apart;
        }
    }
    let count = runs as f64;
    std::array::from_fn(|n| (squares[n] / count - (sums[n] / count).powi(2)).sqrt())
}
