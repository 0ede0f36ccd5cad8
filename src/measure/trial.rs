//! A small field for tests: bases, shots to known points, and the same field with errors drawn at random.

use crate::geodesy::covariance::Covariance;
use crate::geodesy::frame::{Ellipsoid, Geodetic, LocalFrame};
use crate::geodesy::register::{BaseErrors, Origin, Shares};
use crate::measure::{Group, RoleShot};
use crate::records::triangle::Triangle;
use crate::shots::reduce::{Sight, SightSigmas, reduce};

/// Normal deviates: splitmix64 of a seed, and the transform of Box and Muller.
pub struct Normal(pub u64);

impl Normal {
    fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    pub fn draw(&mut self) -> f64 {
        let (u, v) = (1.0 - self.uniform(), self.uniform());
        (-2.0 * u.ln()).sqrt() * (2.0 * std::f64::consts::PI * v).cos()
    }
}

/// Standard errors of readings, in degrees and metres.
#[derive(Clone, Copy)]
pub struct Errors {
    pub azimuth_deg: f64,
    pub orientation_deg: f64,
    pub inclination_deg: f64,
    pub distance_m: f64,
}

/// A handheld instrument with a good compass.
pub const HANDHELD: Errors = Errors { azimuth_deg: 0.3, orientation_deg: 0.4, inclination_deg: 0.2, distance_m: 0.05 };

/// No errors at all.
pub const EXACT: Errors = Errors { azimuth_deg: 0.0, orientation_deg: 0.0, inclination_deg: 0.0, distance_m: 0.0 };

#[derive(Clone)]
pub struct Field {
    places: Vec<Geodetic>,
    sigmas: Vec<[f64; 2]>,
    pub errors: Errors,
    pub refraction: f64,
    pub instrument_height_m: f64,
    pub bases: Vec<Origin>,
    pub sightings: Vec<RoleShot>,
}

fn origin(number: usize, place: &Geodetic, [horizontal, up]: [f64; 2], errors: &Errors) -> Origin {
    Origin {
        label: format!("B{}", number + 1),
        frame: LocalFrame::at(place, &Ellipsoid::WGS84),
        ellipsoid: Ellipsoid::WGS84,
        errors: BaseErrors::from_covariance(
            number,
            &Covariance::from_sigmas(horizontal, up),
            errors.orientation_deg.to_radians(),
        ),
        earth_radius_m: Ellipsoid::WGS84.mean_radius_m(place.lat_rad),
    }
}

impl Field {
    /// One base at 46° N 8° E, 500 m over the ellipsoid.
    pub fn new(errors: Errors, base_sigma_m: [f64; 2]) -> Field {
        let empty = Field {
            places: Vec::new(),
            sigmas: Vec::new(),
            errors,
            refraction: 0.0,
            instrument_height_m: 0.0,
            bases: Vec::new(),
            sightings: Vec::new(),
        };
        empty.with_place(
            Geodetic { lat_rad: 46f64.to_radians(), lon_rad: 8f64.to_radians(), ellipsoid_height_m: 500.0 },
            base_sigma_m,
        )
    }

    fn with_place(mut self, place: Geodetic, sigma_m: [f64; 2]) -> Field {
        self.bases.push(origin(self.places.len(), &place, sigma_m, &self.errors));
        self.places.push(place);
        self.sigmas.push(sigma_m);
        self
    }

    /// A further base at a place in the frame of the first.
    pub fn with_base(self, at: [f64; 3], sigma_m: [f64; 2]) -> Field {
        let place = Geodetic::from_earth_centred(self.bases[0].frame.to_earth_centred(at), &Ellipsoid::WGS84);
        self.with_place(place, sigma_m)
    }

    /// A shot by its readings.
    pub fn reading(&mut self, base: usize, role: &str, azimuth_deg: f64, inclination_deg: f64, slope_m: f64) -> &mut RoleShot {
        let sighting = RoleShot {
            role: role.to_owned(),
            label: format!("S{}", self.sightings.len() + 1),
            shot: None,
            place: (0, self.sightings.len() as u64 + 2),
            base,
            instant: None,
            true_azimuth_rad: Some(azimuth_deg.to_radians()),
            inclination_rad: Some(inclination_deg.to_radians()),
            slope_m: Some(slope_m),
            horizontal_m: None,
            sigma_azimuth_rad: self.errors.azimuth_deg.to_radians(),
            sigma_inclination_rad: self.errors.inclination_deg.to_radians(),
            sigma_distance_m: self.errors.distance_m,
            shares: Shares::default(),
            instrument_height_m: Some(self.instrument_height_m),
            target_height_m: 0.0,
            refraction: self.refraction,
            vector: None,
        };
        self.sightings.push(sighting);
        let last = self.sightings.len() - 1;
        self.reduce(last);
        &mut self.sightings[last]
    }

    /// A shot to a point in the frame of the first base.
    pub fn shot(&mut self, base: usize, role: &str, point: [f64; 3]) -> &mut RoleShot {
        let [e, n, u] = self.bases[base].frame.from_earth_centred(self.bases[0].frame.to_earth_centred(point));
        let u = u - self.instrument_height_m;
        let slope = (e * e + n * n + u * u).sqrt();
        let bend = self.refraction * e.hypot(n) / (2.0 * self.bases[base].earth_radius_m);
        self.reading(base, role, e.atan2(n).to_degrees(), (u.atan2(e.hypot(n)) + bend).to_degrees(), slope)
    }

    fn reduce(&mut self, i: usize) {
        let s = &self.sightings[i];
        let (Some(true_azimuth_rad), Some(inclination_rad), Some(slope_m)) = (s.true_azimuth_rad, s.inclination_rad, s.slope_m)
        else {
            self.sightings[i].vector = None;
            return;
        };
        let sight = Sight {
            true_azimuth_rad,
            triangle: Triangle::Slope { slope_m, inclination_rad },
            instrument_height_m: s.instrument_height_m.unwrap(),
            target_height_m: s.target_height_m,
            refraction: s.refraction,
        };
        let sigmas = SightSigmas {
            azimuth_rad: s.sigma_azimuth_rad,
            inclination_rad: s.sigma_inclination_rad,
            distance_m: s.sigma_distance_m,
        };
        self.sightings[i].vector = Some(reduce(&sight, &sigmas, self.bases[s.base].earth_radius_m));
    }

    /// The same field with errors drawn: each base moved, its orientation turned, each reading changed.
    pub fn disturbed(&self, normal: &mut Normal) -> Field {
        let mut other = self.clone();
        let mut turns = Vec::new();
        for (i, base) in self.bases.iter().enumerate() {
            let [h, v] = self.sigmas[i];
            let moved = base.frame.to_earth_centred([h * normal.draw(), h * normal.draw(), v * normal.draw()]);
            other.bases[i] = origin(i, &Geodetic::from_earth_centred(moved, &Ellipsoid::WGS84), self.sigmas[i], &self.errors);
            turns.push(normal.draw() * self.errors.orientation_deg.to_radians());
        }
        for i in 0..other.sightings.len() {
            let s = &mut other.sightings[i];
            let by_azimuth = s.sigma_azimuth_rad * normal.draw() + turns[s.base];
            s.true_azimuth_rad = s.true_azimuth_rad.map(|a| a + by_azimuth);
            let (by_inclination, by_distance) = (s.sigma_inclination_rad * normal.draw(), s.sigma_distance_m * normal.draw());
            s.inclination_rad = s.inclination_rad.map(|i| i + by_inclination);
            s.slope_m = s.slope_m.map(|d| d + by_distance);
            other.reduce(i);
        }
        other
    }

    pub fn group(&self, measure: &str) -> Group<'_> {
        Group {
            measure: measure.to_owned(),
            name: "North wall".to_owned(),
            sightings: self.sightings.clone(),
            bases: &self.bases,
            units: Default::default(),
        }
    }
}

/// Runs of a Monte Carlo trial; the standard error of a standard deviation is then 1/√(2·6000) = 0.9 %.
pub const RUNS: usize = 6000;

/// Five times that: what a right standard error may differ by, as a share.
pub const RUNS_TOLERANCE: f64 = 0.05;

/// Standard deviations of the values about those given, over the runs.
pub fn scatter<const N: usize>(about: [f64; N], seed: u64, mut values: impl FnMut(&mut Normal) -> [f64; N]) -> [f64; N] {
    let mut normal = Normal(seed);
    let (mut sums, mut squares) = ([0.0; N], [0.0; N]);
    for _ in 0..RUNS {
        let drawn = values(&mut normal);
        for n in 0..N {
            let d = drawn[n] - about[n];
            sums[n] += d;
            squares[n] += d * d;
        }
    }
    std::array::from_fn(|n| (squares[n] / RUNS as f64 - (sums[n] / RUNS as f64).powi(2)).sqrt())
}

/// Asserts that standard errors are those that a trial shows.
pub fn assert_sigmas<const N: usize>(told: [f64; N], shown: [f64; N]) {
    for n in 0..N {
        assert!((told[n] / shown[n] - 1.0).abs() < RUNS_TOLERANCE, "value {n}: told {told:?}, shown {shown:?}");
    }
}
