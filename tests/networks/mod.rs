//! Networks with known true places for the tests: an invented valley site, readings computed from the truth by
//! formulas of their own, and a generator of random networks with a fixed seed.

#![allow(dead_code, clippy::should_implement_trait, clippy::unwrap_used)]

pub mod dense;

use standoff::inside::geodesy::covariance::Covariance;
use standoff::inside::geodesy::frame::{EarthCentred, Ellipsoid, Geodetic, LocalFrame};
use standoff::inside::numeric::monte_carlo::{Lower, Normal};
use standoff::network::{Control, Kind, Network, Observation, Station};

/// Coefficient of refraction of the test networks.
pub const REFRACTION: f64 = 0.13;

/// A network under construction, with the true place of each station.
pub struct Site {
    pub frame: LocalFrame,
    pub network: Network,
    pub truth: Vec<EarthCentred>,
    /// True orientation of each base's azimuths and directions.
    pub orientations: Vec<[f64; 2]>,
    pub normal: Normal,
    shots: usize,
}

/// The standard errors of a shot.
#[derive(Clone, Copy)]
pub struct ShotSigmas {
    pub azimuth_rad: f64,
    pub inclination_rad: f64,
    pub slope_m: f64,
}

/// A compass rangefinder.
pub const COMPASS: ShotSigmas = ShotSigmas { azimuth_rad: 0.005, inclination_rad: 0.003, slope_m: 0.15 };

impl Site {
    pub fn new(seed: u64) -> Site {
        let origin = Geodetic { lat_rad: 46.5f64.to_radians(), lon_rad: 11.3f64.to_radians(), ellipsoid_height_m: 1200.0 };
        Site {
            frame: LocalFrame::at(&origin, &Ellipsoid::WGS84),
            network: Network {
                ellipsoid: Ellipsoid::WGS84,
                refraction: REFRACTION,
                stations: vec![],
                instruments: vec![],
                shared: vec![],
                observations: vec![],
            },
            truth: vec![],
            orientations: vec![],
            normal: Normal::seeded(seed),
            shots: 0,
        }
    }

    /// A station without a position of its own; its azimuths hold no orientation error.
    pub fn point(&mut self, label: &str, enu: [f64; 3]) -> usize {
        self.truth.push(self.frame.to_earth_centred(enu));
        self.orientations.push([0.0; 2]);
        self.network.stations.push(Station { label: label.to_string(), start: None, control: None, sigma_orientation_rad: 0.0 });
        self.truth.len() - 1
    }

    /// A base or point with a position of this covariance (east, north, up), at its true place.
    pub fn known(&mut self, label: &str, enu: [f64; 3], covariance: Covariance) -> usize {
        let s = self.point(label, enu);
        self.network.stations[s].control = Some(Control { position: self.truth[s], covariance });
        s
    }

    /// Draws the position of a known station and the orientation of its base.
    pub fn draw_station(&mut self, s: usize) {
        let sigma = self.network.stations[s].sigma_orientation_rad;
        if sigma > 0.0 && sigma.is_finite() {
            self.orientations[s][0] = sigma * self.normal.next();
        }
        let truth = self.truth[s];
        let frame = frame(truth);
        if let Some(control) = &mut self.network.stations[s].control {
            let c = control.covariance;
            let matrix = [c.ee, c.en, c.eu, c.en, c.nn, c.nu, c.eu, c.nu, c.uu];
            let lower = Lower::decompose(&matrix, 3).unwrap();
            let error = lower.draw(&mut self.normal);
            control.position = frame.to_earth_centred([error[0], error[1], error[2]]);
        }
    }

    /// The true value of a reading, without the base's orientation. East, north and up are written out here from the
    /// geodetic place of the base; refraction raises the sight by k·h/2R, h the horizontal distance.
    pub fn true_value(&self, kind: Kind, from: usize, to: usize, heights: [f64; 2]) -> f64 {
        self.true_value_of(&self.truth, kind, from, to, heights)
    }

    /// The same of stations at given places.
    pub fn true_value_of(&self, truth: &[EarthCentred], kind: Kind, from: usize, to: usize, heights: [f64; 2]) -> f64 {
        let (p, q) = (truth[from], truth[to]);
        let at = Geodetic::from_earth_centred(p, &Ellipsoid::WGS84);
        let (sin_lat, cos_lat) = at.lat_rad.sin_cos();
        let (sin_lon, cos_lon) = at.lon_rad.sin_cos();
        let d = [q[0] - p[0], q[1] - p[1], q[2] - p[2]];
        let e = -sin_lon * d[0] + cos_lon * d[1];
        let n = -sin_lat * cos_lon * d[0] - sin_lat * sin_lon * d[1] + cos_lat * d[2];
        let u = cos_lat * cos_lon * d[0] + cos_lat * sin_lon * d[1] + sin_lat * d[2] + heights[1] - heights[0];
        let (h, s) = ((e * e + n * n).sqrt(), (e * e + n * n + u * u).sqrt());
        let bend = self.network.refraction * h / (2.0 * Ellipsoid::WGS84.mean_radius_m(at.lat_rad));
        match kind {
            Kind::Azimuth | Kind::Direction => e.atan2(n),
            Kind::Inclination => (u / s).asin() + bend,
            Kind::Slope => s,
            Kind::Horizontal => h,
            Kind::Vertical => u + bend * s * s / h,
            Kind::VerticalWithSlope => u + bend * h,
            Kind::HeightDifference => {
                let to = Geodetic::from_earth_centred(q, &Ellipsoid::WGS84);
                to.ellipsoid_height_m - at.ellipsoid_height_m + heights[1] - heights[0]
            }
        }
    }

    /// A reading with `noise` standard errors of error, of a shot of its own. Its index.
    pub fn read(&mut self, kind: Kind, from: usize, to: usize, sigma: f64, noise: f64) -> usize {
        self.shots += 1;
        self.read_of(kind, from, to, sigma, noise, self.shots)
    }

    /// A reading of a shot.
    pub fn read_of(&mut self, kind: Kind, from: usize, to: usize, sigma: f64, noise: f64, source: usize) -> usize {
        let heights = [1.5, 0.4];
        let orientation = match kind {
            Kind::Azimuth => self.orientations[from][0],
            Kind::Direction => self.orientations[from][1],
            _ => 0.0,
        };
        let mut value = self.true_value(kind, from, to, heights) - orientation + sigma * noise;
        if kind == Kind::Inclination && value > std::f64::consts::FRAC_PI_2 {
            // Through the zenith the instrument reads down again, on the other side.
            value = std::f64::consts::PI - value;
            for o in self.network.observations.iter_mut().filter(|o| o.source == source && o.kind == Kind::Azimuth) {
                o.value = (o.value + std::f64::consts::PI).rem_euclid(std::f64::consts::TAU);
            }
        }
        if matches!(kind, Kind::Azimuth | Kind::Direction) {
            value = value.rem_euclid(std::f64::consts::TAU);
        }
        self.network.observations.push(Observation {
            kind,
            from,
            to,
            value,
            sigma,
            instrument_height_m: heights[0],
            target_height_m: heights[1],
            instrument: None,
            shared: [None; 2],
            source,
        });
        self.network.observations.len() - 1
    }

    /// A full polar shot with `noise` times drawn errors. The index of its azimuth; inclination and slope follow.
    pub fn shoot(&mut self, from: usize, to: usize, sigmas: ShotSigmas, noise: f64) -> usize {
        self.shots += 1;
        let source = self.shots;
        let draws: [f64; 3] = std::array::from_fn(|_| noise * self.normal.next());
        let first = self.read_of(Kind::Azimuth, from, to, sigmas.azimuth_rad, draws[0], source);
        self.read_of(Kind::Inclination, from, to, sigmas.inclination_rad, draws[1], source);
        self.read_of(Kind::Slope, from, to, sigmas.slope_m, draws[2], source);
        first
    }

    /// Distance of a position from the truth, in east, north and up at the truth.
    pub fn error(&self, s: usize, position: EarthCentred) -> [f64; 3] {
        frame(self.truth[s]).from_earth_centred(position)
    }
}

pub fn frame(position: EarthCentred) -> LocalFrame {
    LocalFrame::at(&Geodetic::from_earth_centred(position, &Ellipsoid::WGS84), &Ellipsoid::WGS84)
}

pub fn horizontal(error: [f64; 3]) -> f64 {
    error[0].hypot(error[1])
}

/// A uniform number in 0..1 out of two normal ones.
pub fn uniform(normal: &mut Normal) -> f64 {
    let (a, b) = (normal.next(), normal.next());
    (b.atan2(a) / std::f64::consts::TAU + 0.5).clamp(0.0, 1.0)
}

/// Covariance of a GNSS position: 2 cm in plane, 3 cm in height, with correlations.
pub const GNSS: Covariance = Covariance { ee: 4e-4, en: 1e-4, eu: -1e-4, nn: 5e-4, nu: 1.5e-4, uu: 9e-4 };

/// A random network: bases about 150 m apart in a square, four in ten of them without GNSS and joined to their
/// neighbours by shots both ways; each point shot from its two to four nearest bases. Base indices come first.
pub fn random(seed: u64, bases_across: usize, points: usize, noise: f64) -> Site {
    let mut site = Site::new(seed);
    let spacing = 150.0;
    let at = |site: &mut Site, i: usize, j: usize| {
        let mut off = || 40.0 * (uniform(&mut site.normal) - 0.5);
        [i as f64 * spacing + off(), j as f64 * spacing + off(), 3.0 * off()]
    };
    for i in 0..bases_across {
        for j in 0..bases_across {
            let place = at(&mut site, i, j);
            let label = format!("B{}", i * bases_across + j + 1);
            let s = if (i * 7 + j * 3) % 10 < 6 || bases_across < 2 {
                site.known(&label, place, GNSS)
            } else {
                site.point(&label, place)
            };
            site.network.stations[s].sigma_orientation_rad = 0.006;
            if noise > 0.0 {
                site.draw_station(s);
            }
        }
    }
    for i in 0..bases_across {
        for j in 0..bases_across {
            let s = i * bases_across + j;
            if j + 1 < bases_across {
                site.shoot(s, s + 1, COMPASS, noise);
                site.shoot(s + 1, s, COMPASS, noise);
            }
            if i + 1 < bases_across {
                site.shoot(s, s + bases_across, COMPASS, noise);
                site.shoot(s + bases_across, s, COMPASS, noise);
            }
        }
    }
    let side = bases_across as f64;
    for k in 0..points {
        let (x, y) = (uniform(&mut site.normal) * (side - 1.0), uniform(&mut site.normal) * (side - 1.0));
        let up = 60.0 * (uniform(&mut site.normal) - 0.5);
        let s = site.point(&format!("P{}", k + 1), [x * spacing, y * spacing, up]);
        let (i, j) = (x.floor() as usize, y.floor() as usize);
        let corners = [(i, j), (i + 1, j + 1), (i + 1, j), (i, j + 1)];
        let shots = 2 + k % 3;
        for (i, j) in corners.into_iter().take(shots) {
            site.shoot(i.min(bases_across - 1) * bases_across + j.min(bases_across - 1), s, COMPASS, noise);
        }
    }
    site
}

/// The network as lines for the comparison script: stations with earth-centred starts and controls, then readings.
pub fn listing(site: &Site) -> String {
    let mut out = String::new();
    let network = &site.network;
    for (k, station) in network.stations.iter().enumerate() {
        let [x, y, z] = site.truth[k];
        out += &format!("station,{k},{x},{y},{z},{}", station.sigma_orientation_rad);
        if let Some(Control { position: [x, y, z], covariance: c }) = station.control {
            out += &format!(",{x},{y},{z},{},{},{},{},{},{}", c.ee, c.en, c.eu, c.nn, c.nu, c.uu);
        }
        out.push('\n');
    }
    for o in &network.observations {
        out += &format!(
            "reading,{:?},{},{},{},{},{},{}\n",
            o.kind, o.from, o.to, o.value, o.sigma, o.instrument_height_m, o.target_height_m
        );
    }
    out
}
