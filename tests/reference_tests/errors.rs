//! The stated covariance against draws of all errors, through the whole way from base to point.

use standoff::inside::geodesy::covariance::{Covariance, ELLIPSE95, INTERVAL95};
use standoff::inside::geodesy::frame::{Ellipsoid, Geodetic, LocalFrame};
use standoff::inside::records::triangle::Triangle;
use standoff::inside::shots::reduce::{Sight, SightSigmas, Vector, reduce};

use crate::reference::{Random, geodetic};

const DRAWS: usize = 200_000;
/// Standard errors that a count or a moment of the draws may be off: one comparison in 150,000 falls outside by chance.
const SIGMAS_ALLOWED: f64 = 4.5;
const EARTH_RADIUS_M: f64 = 6_371_000.0;
/// What the product's formula for the 95 % radius is good for, as it says.
const RADIUS_FORMULA: f64 = 0.003;

/// A base and its errors; invented.
struct Station {
    at: Geodetic,
    sigma_horizontal_m: f64,
    sigma_up_m: f64,
}

const STATION: Station = Station {
    at: Geodetic { lat_rad: 0.95, lon_rad: -0.08, ellipsoid_height_m: 120.0 },
    sigma_horizontal_m: 0.3,
    sigma_up_m: 0.6,
};

impl Station {
    fn covariance(&self) -> Covariance {
        Covariance::from_sigmas(self.sigma_horizontal_m, self.sigma_up_m)
    }

    /// East, north, up from the true base of points shot from a base that is off by `error`.
    fn place<const N: usize>(&self, error: [f64; 3], shots: [&Vector; N]) -> [[f64; 3]; N] {
        let frame = LocalFrame::at(&self.at, &Ellipsoid::WGS84);
        let off = Geodetic::from_earth_centred(frame.to_earth_centred(error), &Ellipsoid::WGS84);
        let off = LocalFrame::at(&off, &Ellipsoid::WGS84);
        shots.map(|shot| {
            let end = off.to_earth_centred([shot.east_m, shot.north_m, shot.up_m.unwrap_or(0.0)]);
            frame.from_earth_centred(end)
        })
    }

    fn draw(&self, random: &mut Random) -> [f64; 3] {
        [self.sigma_horizontal_m, self.sigma_horizontal_m, self.sigma_up_m].map(|sigma| sigma * random.normal())
    }
}

/// Standard errors of readings, and of the orientation that all azimuths of a base share.
#[derive(Clone, Copy)]
struct Sigmas {
    azimuth_rad: f64,
    orientation_rad: f64,
    inclination_rad: f64,
    distance_m: f64,
}

impl Sigmas {
    fn of_readings(&self) -> SightSigmas {
        SightSigmas { azimuth_rad: self.azimuth_rad, inclination_rad: self.inclination_rad, distance_m: self.distance_m }
    }

    /// Metres by which one standard error of the orientation moves a shot.
    fn turned(&self, shot: &Vector) -> [f64; 3] {
        shot.by_azimuth_m().map(|metres| metres * self.orientation_rad)
    }
}

fn shoot(azimuth_rad: f64, triangle: Triangle, sigmas: &Sigmas) -> Vector {
    let sight =
        Sight { true_azimuth_rad: azimuth_rad, triangle, instrument_height_m: 1.6, target_height_m: 0.2, refraction: 0.13 };
    reduce(&sight, &sigmas.of_readings(), EARTH_RADIUS_M)
}

/// The triangle with errors drawn: each measured distance has its own, the inclination its own.
fn drawn(triangle: Triangle, sigmas: &Sigmas, random: &mut Random) -> Triangle {
    let mut length = |metres: f64| metres + sigmas.distance_m * random.normal();
    match triangle {
        Triangle::Slope { slope_m, inclination_rad } => {
            let slope_m = length(slope_m);
            Triangle::Slope { slope_m, inclination_rad: inclination_rad + sigmas.inclination_rad * random.normal() }
        }
        Triangle::Horizontal { horizontal_m, inclination_rad } => {
            let horizontal_m = length(horizontal_m);
            Triangle::Horizontal { horizontal_m, inclination_rad: inclination_rad + sigmas.inclination_rad * random.normal() }
        }
        Triangle::HorizontalVertical { horizontal_m, vertical_m } => {
            Triangle::HorizontalVertical { horizontal_m: length(horizontal_m), vertical_m: length(vertical_m) }
        }
        Triangle::SlopeVertical { slope_m, vertical_m } => {
            Triangle::SlopeVertical { slope_m: length(slope_m), vertical_m: length(vertical_m) }
        }
        Triangle::Level { horizontal_m } => Triangle::Level { horizontal_m: length(horizontal_m) },
    }
}

/// Whether a second moment of the draws is the stated one. Standard error of a moment of normal deviates:
/// √((cᵢᵢcⱼⱼ + cᵢⱼ²)/n). `beyond` is what the Jacobian leaves out.
fn moment_agrees(got: f64, stated: f64, of_i: f64, of_j: f64, beyond: f64) -> bool {
    (got - stated).abs() <= SIGMAS_ALLOWED * ((of_i * of_j + stated * stated) / DRAWS as f64).sqrt() + beyond
}

/// Whether so many draws are 95 % of all, but for `beyond`.
fn is_95_percent(count: usize, beyond: f64) -> bool {
    let share = count as f64 / DRAWS as f64;
    (share - 0.95).abs() <= SIGMAS_ALLOWED * (0.95 * 0.05 / DRAWS as f64).sqrt() + beyond
}

/// Draws every error of one kind of shot and holds the stated numbers to them.
fn stated_numbers_hold(seed: u64, azimuth_rad: f64, triangle: Triangle, sigmas: &Sigmas) {
    let straight = shoot(azimuth_rad, triangle, sigmas);
    let stated = STATION.covariance() + straight.direction + Covariance::from_arm(sigmas.turned(&straight)) + straight.distance;
    let (ellipse, radius) = (stated.ellipse95(), stated.radius95_m());
    let [nominal] = STATION.place([0.0; 3], [&straight]);
    let mut random = Random(seed);
    let (mut moments, mut in_ellipse, mut in_circle, mut in_height) = ([0.0; 6], 0, 0, 0);
    for _ in 0..DRAWS {
        let shared = sigmas.orientation_rad * random.normal();
        let own = sigmas.azimuth_rad * random.normal();
        let shot = shoot(azimuth_rad + shared + own, drawn(triangle, sigmas, &mut random), sigmas);
        let [point] = STATION.place(STATION.draw(&mut random), [&shot]);
        let [e, n, u] = [0, 1, 2].map(|i| point[i] - nominal[i]);
        for (moment, product) in moments.iter_mut().zip([e * e, e * n, n * n, e * u, n * u, u * u]) {
            *moment += product / DRAWS as f64;
        }
        let (sin, cos) = ellipse.azimuth_rad.sin_cos();
        let (along, across) = (e * sin + n * cos, e * cos - n * sin);
        in_ellipse += usize::from((along / ellipse.major_m).hypot(across / ellipse.minor_m) <= 1.0);
        in_circle += usize::from(e.hypot(n) <= radius);
        in_height += usize::from(u.abs() <= INTERVAL95 * stated.uu.sqrt());
    }
    // Second order: an angle off by δ draws the point back by sδ²/2, whose square has the mean ¾s²σ⁴; and δ times the
    // error of the distance.
    let turn = sigmas.azimuth_rad.powi(2) + sigmas.orientation_rad.powi(2) + sigmas.inclination_rad.powi(2);
    let length = straight.horizontal_m.hypot(straight.up_m.unwrap_or(0.0));
    let beyond = (length * turn).powi(2) + turn * sigmas.distance_m.powi(2);
    let checks = [
        ("ee", moments[0], stated.ee, stated.ee, stated.ee),
        ("en", moments[1], stated.en, stated.ee, stated.nn),
        ("nn", moments[2], stated.nn, stated.nn, stated.nn),
        ("eu", moments[3], stated.eu, stated.ee, stated.uu),
        ("nu", moments[4], stated.nu, stated.nn, stated.uu),
        ("uu", moments[5], stated.uu, stated.uu, stated.uu),
    ];
    // A level shot has no height.
    let known = if straight.up_m.is_some() { 6 } else { 3 };
    for (name, got, want, of_i, of_j) in &checks[..known] {
        assert!(moment_agrees(*got, *want, *of_i, *of_j, beyond), "{triangle:?} {name}: {got} drawn, {want} stated");
    }
    // A relative change x of the standard error moves the share inside by r·f(r)·x, and r·f(r) is 0.30 for 95 % of the
    // plane (r² exp(-r²/2)), 0.23 of the line.
    let relative = |variance: f64| {
        let relative = 0.5 * beyond / variance;
        assert!(relative < 0.01, "{triangle:?} is too far from linear to judge: {relative}");
        relative
    };
    let horizontal = relative((ellipse.minor_m / ELLIPSE95).powi(2));
    assert!(is_95_percent(in_ellipse, 0.3 * horizontal), "{triangle:?}: {in_ellipse} in the ellipse");
    assert!(is_95_percent(in_circle, 0.3 * (horizontal + RADIUS_FORMULA)), "{triangle:?}: {in_circle} in the circle");
    if straight.up_m.is_some() {
        assert!(is_95_percent(in_height, 0.3 * relative(stated.uu)), "{triangle:?}: {in_height} in the height interval");
    }
}

/// Standard errors of a hand-held instrument; invented.
fn hand_held() -> Sigmas {
    Sigmas {
        azimuth_rad: 0.5f64.to_radians(),
        orientation_rad: 0.35f64.to_radians(),
        inclination_rad: 0.25f64.to_radians(),
        distance_m: 0.2,
    }
}

#[test]
fn slope_distance_and_inclination() {
    let triangle = Triangle::Slope { slope_m: 150.0, inclination_rad: -17f64.to_radians() };
    stated_numbers_hold(1, 62f64.to_radians(), triangle, &hand_held());
}

#[test]
fn a_steep_slope_distance() {
    let triangle = Triangle::Slope { slope_m: 80.0, inclination_rad: 64f64.to_radians() };
    stated_numbers_hold(2, 215f64.to_radians(), triangle, &hand_held());
}

#[test]
fn horizontal_distance_and_inclination() {
    let triangle = Triangle::Horizontal { horizontal_m: 90.0, inclination_rad: 25f64.to_radians() };
    stated_numbers_hold(3, 140f64.to_radians(), triangle, &hand_held());
}

#[test]
fn horizontal_and_vertical_distance() {
    let triangle = Triangle::HorizontalVertical { horizontal_m: 110.0, vertical_m: 21.0 };
    stated_numbers_hold(4, 331f64.to_radians(), triangle, &hand_held());
}

#[test]
fn slope_and_vertical_distance() {
    let triangle = Triangle::SlopeVertical { slope_m: 95.0, vertical_m: -30.0 };
    stated_numbers_hold(5, 10f64.to_radians(), triangle, &hand_held());
}

#[test]
fn a_horizontal_distance_alone() {
    stated_numbers_hold(6, 275f64.to_radians(), Triangle::Level { horizontal_m: 130.0 }, &hand_held());
}

/// Two shots of one base share its error and the orientation's: the cross-covariance follows from base and arms alone.
#[test]
fn shots_of_one_base_share_its_errors() {
    let sigmas = hand_held();
    let cases = [
        (40f64.to_radians(), Triangle::Slope { slope_m: 120.0, inclination_rad: 5f64.to_radians() }),
        (155f64.to_radians(), Triangle::Slope { slope_m: 70.0, inclination_rad: -20f64.to_radians() }),
    ];
    let straight = cases.map(|(azimuth_rad, triangle)| shoot(azimuth_rad, triangle, &sigmas));
    let nominal = STATION.place([0.0; 3], [&straight[0], &straight[1]]);
    let base = STATION.covariance();
    let whole = straight
        .each_ref()
        .map(|shot| base + shot.direction + shot.distance + Covariance::from_arm(sigmas.turned(shot)))
        .map(|covariance| [covariance.ee, covariance.nn, covariance.uu]);
    let mut random = Random(7);
    let mut moments = [[0.0; 3]; 3];
    for _ in 0..DRAWS {
        let shared = sigmas.orientation_rad * random.normal();
        let shots = cases.map(|(azimuth_rad, triangle)| {
            let own = sigmas.azimuth_rad * random.normal();
            shoot(azimuth_rad + shared + own, drawn(triangle, &sigmas, &mut random), &sigmas)
        });
        let points = STATION.place(STATION.draw(&mut random), [&shots[0], &shots[1]]);
        for (i, row) in moments.iter_mut().enumerate() {
            for (j, moment) in row.iter_mut().enumerate() {
                *moment += (points[0][i] - nominal[0][i]) * (points[1][j] - nominal[1][j]) / DRAWS as f64;
            }
        }
    }
    let of_base = [[base.ee, base.en, base.eu], [base.en, base.nn, base.nu], [base.eu, base.nu, base.uu]];
    let turn = sigmas.azimuth_rad.powi(2) + sigmas.orientation_rad.powi(2) + sigmas.inclination_rad.powi(2);
    let beyond = (120.0 * turn).powi(2) + turn * sigmas.distance_m.powi(2);
    for i in 0..3 {
        for j in 0..3 {
            let stated = of_base[i][j] + sigmas.turned(&straight[0])[i] * sigmas.turned(&straight[1])[j];
            let got = moments[i][j];
            assert!(moment_agrees(got, stated, whole[0][i], whole[1][j], beyond), "{i} {j}: {got} drawn, {stated} stated");
        }
    }
}

/// The crews' rule: an azimuth off by 0.5° moves a point at 100 m by 0.87 m, across the sight. From 100 tan 0.5° = 0.8727.
#[test]
fn half_a_degree_moves_a_point_at_100_m_by_0_87_m() {
    /// The rule has two decimals.
    const RULE_M: f64 = 0.005;
    let half_degree = 0.5f64.to_radians();
    let one = Sigmas { azimuth_rad: half_degree, orientation_rad: 0.0, inclination_rad: 0.0, distance_m: 0.0 };
    let shared = Sigmas { azimuth_rad: 0.0, orientation_rad: half_degree, ..one };
    for azimuth_deg in [0.0f64, 37.0, 90.0, 181.0, 300.0] {
        let azimuth = azimuth_deg.to_radians();
        let level = Triangle::Level { horizontal_m: 100.0 };
        // The point itself, on the ground.
        let ends = [azimuth, azimuth + half_degree].map(|azimuth_rad| {
            let shot = shoot(azimuth_rad, level, &one);
            LocalFrame::at(&geodetic(60.0, 11.0, 5.0), &Ellipsoid::WGS84).to_earth_centred([shot.east_m, shot.north_m, 0.0])
        });
        let moved = (0..3).map(|i| (ends[0][i] - ends[1][i]).powi(2)).sum::<f64>().sqrt();
        assert!((moved - 0.87).abs() < RULE_M, "{azimuth_deg}: {moved}");
        // The standard error across the sight, and none along it, whether the error is the shot's own or the base's.
        let arm = shared.turned(&shoot(azimuth, level, &shared));
        for covariance in [shoot(azimuth, level, &one).direction, Covariance::from_arm(arm)] {
            let (sin, cos) = azimuth.sin_cos();
            let across = covariance.ee * cos * cos - 2.0 * covariance.en * sin * cos + covariance.nn * sin * sin;
            let along = covariance.ee * sin * sin + 2.0 * covariance.en * sin * cos + covariance.nn * cos * cos;
            assert!((across.sqrt() - 0.87).abs() < RULE_M, "{azimuth_deg}: {covariance:?}");
            assert!(along.abs() < 1e-12, "{azimuth_deg}: {covariance:?}");
        }
    }
}
