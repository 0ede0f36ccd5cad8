//! A small field for tests: bases, and shots to one place with readings as they are or with errors drawn.

mod dense;
mod mean;
mod properties;
mod robust;
mod trials;

use super::Repeat;
use crate::geodesy::covariance::Covariance;
use crate::geodesy::frame::{Ellipsoid, Geodetic, LocalFrame};
use crate::geodesy::register::{BaseErrors, Origin, Shares};
use crate::measure::trial::Normal;
use crate::records::echo::Echo;
use crate::records::triangle::Triangle;
use crate::shots::reduce::{Sight, SightSigmas, Vector, reduce};

/// Standard errors of readings, and of the orientation of each base.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sigmas {
    pub azimuth_rad: f64,
    pub orientation_rad: f64,
    pub inclination_rad: f64,
    pub distance_m: f64,
}

impl Sigmas {
    pub fn of_readings(&self) -> SightSigmas {
        SightSigmas { azimuth_rad: self.azimuth_rad, inclination_rad: self.inclination_rad, distance_m: self.distance_m }
    }
}

/// A good handheld laser with a compass.
pub const HANDHELD: Sigmas =
    Sigmas { azimuth_rad: 0.3 * DEGREE, orientation_rad: 0.4 * DEGREE, inclination_rad: 0.2 * DEGREE, distance_m: 0.05 };
pub const DEGREE: f64 = std::f64::consts::PI / 180.0;

/// What one reading is off by.
#[derive(Debug, Clone, Copy, Default)]
pub struct Off {
    pub azimuth_rad: f64,
    pub inclination_rad: f64,
    pub distance_m: f64,
}

#[derive(Debug, Clone)]
pub struct Site {
    pub bases: Vec<Origin>,
    pub sigmas: Sigmas,
    pub rise_m: f64,
    pub shares: Shares,
}

impl Site {
    /// Bases at places in the frame of the first, with standard errors in plan and in height.
    pub fn new(places: &[[f64; 3]], [plan_m, up_m]: [f64; 2], sigmas: Sigmas) -> Site {
        let ellipsoid = Ellipsoid::WGS84;
        let first = Geodetic { lat_rad: 47.0 * DEGREE, lon_rad: 11.0 * DEGREE, ellipsoid_height_m: 600.0 };
        let frame = LocalFrame::at(&first, &ellipsoid);
        let at = |place| LocalFrame::at(&Geodetic::from_earth_centred(frame.to_earth_centred(place), &ellipsoid), &ellipsoid);
        let bases = places.iter().enumerate().map(|(i, place)| Origin {
            label: format!("B{}", i + 1),
            frame: at(*place),
            ellipsoid,
            errors: BaseErrors::from_covariance(i, &Covariance::from_sigmas(plan_m, up_m), sigmas.orientation_rad),
            earth_radius_m: 6_371_000.0,
        });
        Site { bases: bases.collect(), sigmas, rise_m: 0.0, shares: Shares::default() }
    }

    /// A shot to a place in the frame of the first base, from a station moved by `shift`, with readings that are off.
    pub fn shot(&self, base: usize, place: [f64; 3], off: Off, shift: [f64; 3]) -> Repeat {
        self.shot_over(base, place, off, shift, self.rise_m)
    }

    /// The same with the instrument so much higher over its mark than the sighted spot over the feature.
    pub fn shot_over(&self, base: usize, place: [f64; 3], off: Off, shift: [f64; 3], rise_m: f64) -> Repeat {
        let seen = self.bases[base].frame.from_earth_centred(self.bases[0].frame.to_earth_centred(place));
        let [e, n, u] = [seen[0] - shift[0], seen[1] - shift[1], seen[2] - shift[2] - rise_m];
        let sight = Sight {
            true_azimuth_rad: e.atan2(n) + off.azimuth_rad,
            triangle: Triangle::Slope {
                slope_m: e.hypot(n).hypot(u) + off.distance_m,
                inclination_rad: u.atan2(e.hypot(n)) + off.inclination_rad,
            },
            instrument_height_m: rise_m,
            target_height_m: 0.0,
            refraction: 0.0,
        };
        let vector = reduce(&sight, &self.sigmas.of_readings(), self.bases[base].earth_radius_m);
        let vector = Vector { shares: self.shares, ..vector };
        Repeat { base, vector, echo: None, rise_m }
    }

    /// A shot with readings off by so many standard errors.
    pub fn off(&self, base: usize, place: [f64; 3], [azimuth, inclination, distance]: [f64; 3]) -> Repeat {
        let s = self.sigmas;
        let off = Off {
            azimuth_rad: azimuth * s.azimuth_rad,
            inclination_rad: inclination * s.inclination_rad,
            distance_m: distance * s.distance_m,
        };
        self.shot(base, place, off, [0.0; 3])
    }

    /// Shots from bases with all errors drawn, those of each base once.
    pub fn drawn(&self, from: &[usize], place: [f64; 3], normal: &mut Normal) -> Vec<Repeat> {
        self.drawn_over(&[self.rise_m], from, place, normal)
    }

    /// The same over one rise after the other, again from the first where there are fewer than shots.
    pub fn drawn_over(&self, rises_m: &[f64], from: &[usize], place: [f64; 3], normal: &mut Normal) -> Vec<Repeat> {
        let s = self.sigmas;
        let shared: Vec<([f64; 3], f64)> = self
            .bases
            .iter()
            .map(|base| {
                let c = base.errors.covariance();
                ([c.ee, c.nn, c.uu].map(|variance| variance.sqrt() * normal.draw()), normal.draw() * s.orientation_rad)
            })
            .collect();
        let shots = from.iter().zip(rises_m.iter().cycle()).map(|(base, rise_m)| {
            let (shift, turn) = shared[*base];
            let off = Off {
                azimuth_rad: turn + normal.draw() * s.azimuth_rad,
                inclination_rad: normal.draw() * s.inclination_rad,
                distance_m: normal.draw() * s.distance_m,
            };
            self.shot_over(*base, place, off, shift, *rise_m)
        });
        shots.collect()
    }
}

/// The same shot without height, as a horizontal distance and an azimuth give it.
pub fn level(shot: Repeat) -> Repeat {
    let mut flat = shot;
    flat.vector.up_m = None;
    for c in [&mut flat.vector.direction, &mut flat.vector.distance] {
        *c = Covariance { ee: c.ee, en: c.en, nn: c.nn, ..Covariance::default() };
    }
    flat.vector.by_inclination_m = [0.0; 3];
    flat.vector.by_distance_m[2] = 0.0;
    flat
}

pub fn with_echo(shot: Repeat, echo: Echo) -> Repeat {
    Repeat { echo: Some(echo), ..shot }
}
