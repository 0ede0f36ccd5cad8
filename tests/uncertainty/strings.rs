//! Standard errors of lengths and areas of strings: closed form for arcs and quarter rings about a base, draws of readings for strings of two bases.

use std::f64::consts::PI;

use standoff::inside::geodesy::covariance::Covariance;
use standoff::inside::geodesy::frame::{Ellipsoid, Geodetic, LocalFrame};
use standoff::inside::geodesy::register::{BaseErrors, Located, Origin, Shares};
use standoff::inside::measure::strings::measure::{StringMeasures, measures};
use standoff::inside::numeric::monte_carlo::Normal;
use standoff::inside::records::triangle::Triangle;
use standoff::inside::shots::reduce::{Sight, SightSigmas, Vector, reduce};

fn frame() -> LocalFrame {
    let at = Geodetic { lat_rad: 0.82, lon_rad: 0.15, ellipsoid_height_m: 0.0 };
    LocalFrame::at(&at, &Ellipsoid::WGS84)
}

/// Bases at places in one frame, so good each way in metres, and turned so far from right in radians.
fn bases(places: &[[f64; 3]], sigma_m: f64, setup_rad: f64) -> Vec<Origin> {
    let bases = places.iter().enumerate().map(|(i, place)| {
        let at = Geodetic::from_earth_centred(frame().to_earth_centred(*place), &Ellipsoid::WGS84);
        Origin {
            label: format!("B{i}"),
            frame: LocalFrame::at(&at, &Ellipsoid::WGS84),
            ellipsoid: Ellipsoid::WGS84,
            errors: BaseErrors::from_covariance(i, &Covariance::from_sigmas(sigma_m, sigma_m), setup_rad),
            earth_radius_m: 6_378_000.0,
        }
    });
    bases.collect()
}

fn shot(origin: &Origin, [azimuth, inclination_rad, slope_m]: [f64; 3], sigmas: &SightSigmas, shares: Shares) -> Located {
    let sight = Sight {
        true_azimuth_rad: azimuth,
        triangle: Triangle::Slope { slope_m, inclination_rad },
        instrument_height_m: 0.0,
        target_height_m: 0.0,
        refraction: 0.0,
    };
    Vector { shares, ..reduce(&sight, sigmas, origin.earth_radius_m) }.located(origin)
}

const STEPS: usize = 18;
const NEAR_M: f64 = 40.0;
const FAR_M: f64 = 100.0;

/// A quarter of a circle about a base, in steps of 5°, level.
fn arc(origin: &Origin, radius_m: f64, sigmas: &SightSigmas, shares: Shares) -> Vec<Located> {
    (0..=STEPS).map(|i| shot(origin, [0.5 * PI * i as f64 / STEPS as f64, 0.0, radius_m], sigmas, shares)).collect()
}

fn assert_share(got: f64, want: f64) {
    assert!((got / want - 1.0).abs() < 1e-4, "{got} {want}");
}

#[test]
fn a_quarter_ring_in_closed_form() {
    let none = SightSigmas { azimuth_rad: 0.0, inclination_rad: 0.0, distance_m: 0.0 };
    // A wrong orientation and a wrong base move a quarter ring as it is; a distance that is off by one metre makes the arc of n chords
    // 2 n sin(Δ/2) longer, Δ the step of the angle, and the ring n sin Δ (R − r) larger.
    let base = &bases(&[[0.0; 3]], 3.0, 0.05)[0];
    let shares =
        Shares { calibration: 1, azimuth_rad: 0.02, distance_m: 0.5, declination: 1, declination_rad: 0.01, ..Shares::default() };
    let step = 0.5 * PI / STEPS as f64;
    let n = STEPS as f64;
    let line = measures(base, &arc(base, FAR_M, &none, shares), true, None, false).unwrap();
    assert_share(line.sigma_length_m, 0.5 * 2.0 * n * (step / 2.0).sin());
    let ring = |sigmas: &SightSigmas, shares: Shares| {
        let mut ring = arc(base, FAR_M, sigmas, shares);
        ring.extend(arc(base, NEAR_M, sigmas, shares).into_iter().rev());
        measures(base, &ring, true, None, true).unwrap()
    };
    assert_share(ring(&none, shares).sigma_area_m2.unwrap(), 0.5 * n * step.sin() * (FAR_M - NEAR_M));
    // Readings of their own: an inner vertex of the arc answers along the radius alone, with 2 sin(Δ/2); the ends along their chords.
    let own = SightSigmas { azimuth_rad: 0.004, inclination_rad: 0.0, distance_m: 0.2 };
    let line = measures(base, &arc(base, FAR_M, &own, Shares::default()), true, None, false).unwrap();
    let (sin, cos) = (step / 2.0).sin_cos();
    let across = FAR_M * 0.004;
    let square = (n - 1.0) * (2.0 * sin * 0.2).powi(2) + 2.0 * ((sin * 0.2).powi(2) + (cos * across).powi(2));
    assert_share(line.sigma_length_m, square.sqrt());
    // The area answers to a vertex with half of the chord between its neighbours, square on: along the radius R sin Δ at the inner vertices of the far
    // arc and r sin Δ at those of the near one; at the corners to the chord from the neighbour on the arc to the other corner.
    let inner = (n - 1.0) * 0.04 * step.sin().powi(2) * (FAR_M.powi(2) + NEAR_M.powi(2));
    let corner = |radius: f64, other: f64| {
        // From (other, 0) to (radius cos Δ, radius sin Δ), for the corner at (radius, 0): along and across.
        let (along, aside) = (radius * step.sin(), radius * step.cos() - other);
        0.25 * ((along * 0.2).powi(2) + (aside * radius * 0.004).powi(2))
    };
    let square = inner + 2.0 * (corner(FAR_M, NEAR_M) + corner(NEAR_M, FAR_M));
    assert_share(ring(&own, Shares::default()).sigma_area_m2.unwrap(), square.sqrt());
}

/// A lake shore shot from two bases with one instrument and one declination: all errors drawn, against what is stated.
#[test]
fn lengths_and_areas_hold_what_they_say() {
    const DRAWS: usize = 1000;
    let sigmas = SightSigmas { azimuth_rad: 0.004, inclination_rad: 0.002, distance_m: 0.1 };
    let shares = Shares {
        declination: 1,
        declination_rad: 0.006,
        calibration: 1,
        azimuth_rad: 0.003,
        inclination_rad: 0.002,
        distance_m: 0.25,
    };
    let (sigma_base_m, setup_rad) = (0.3, 0.005);
    for (seed, places) in [(1u64, [[0.0, 0.0, 0.0], [150.0, 40.0, 0.0]]), (2, [[0.0, 0.0, 0.0], [60.0, -140.0, 0.0]])] {
        let bases = bases(&places, sigma_base_m, setup_rad);
        // Corners of the shore, each with the base that sees it.
        let corners: Vec<([f64; 2], usize)> = (0..14)
            .map(|i| {
                let turn = 2.0 * PI * i as f64 / 14.0;
                let radius = 55.0 + 12.0 * (3.0 * turn).sin();
                ([70.0 + radius * turn.cos(), 60.0 + radius * turn.sin()], usize::from(i % 14 > 6))
            })
            .collect();
        let polar = |[e, n]: [f64; 2], base: usize| {
            let (e, n) = (e - places[base][0], n - places[base][1]);
            [e.atan2(n), 0.0, e.hypot(n)]
        };
        let located: Vec<Located> =
            corners.iter().map(|(at, base)| shot(&bases[*base], polar(*at, *base), &sigmas, shares)).collect();
        let area: StringMeasures = measures(&bases[0], &located, true, None, true).unwrap();
        let line = measures(&bases[0], &located, true, None, false).unwrap();
        let of = |points: &[[f64; 2]]| {
            let length = |a: [f64; 2], b: [f64; 2]| (a[0] - b[0]).hypot(a[1] - b[1]);
            let pairs = || (0..points.len()).map(|i| (points[i], points[(i + 1) % points.len()]));
            let open: f64 = points.windows(2).map(|pair| length(pair[0], pair[1])).sum();
            [0.5 * pairs().map(|(a, b)| a[0] * b[1] - a[1] * b[0]).sum::<f64>().abs(), open]
        };
        let truth = of(&corners.iter().map(|(at, _)| *at).collect::<Vec<_>>());
        let sigma = [area.sigma_area_m2.unwrap(), line.sigma_length_m];
        let mut normal = Normal::seeded(seed);
        let (mut inside, mut squares, mut sums) = ([0usize; 2], [0.0; 2], [0.0; 2]);
        for _ in 0..DRAWS {
            let moved = [0, 1].map(|_| [sigma_base_m * normal.next(), sigma_base_m * normal.next()]);
            let turned = [setup_rad * normal.next(), setup_rad * normal.next()];
            let declination = 0.006f64.hypot(0.003) * normal.next();
            let (tilted, longer) = (0.002 * normal.next(), 0.25 * normal.next());
            let drawn: Vec<[f64; 2]> = corners
                .iter()
                .map(|(at, base)| {
                    let [azimuth, _, slope] = polar(*at, *base);
                    let azimuth = azimuth + turned[*base] + declination + 0.004 * normal.next();
                    let run = (slope + longer + 0.1 * normal.next()) * (tilted + 0.002 * normal.next()).cos();
                    [
                        places[*base][0] + moved[*base][0] + run * azimuth.sin(),
                        places[*base][1] + moved[*base][1] + run * azimuth.cos(),
                    ]
                })
                .collect();
            for (k, value) in of(&drawn).into_iter().enumerate() {
                let off = value - truth[k];
                inside[k] += usize::from(off.abs() <= 1.959_964 * sigma[k]);
                sums[k] += off / DRAWS as f64;
                squares[k] += off * off / DRAWS as f64;
            }
        }
        for k in 0..2 {
            // 950 of 1,000, three standard errors of a binomial count are 21; a deviation of 1,000 draws is within 2.2 %, three of them.
            assert!((929..=971).contains(&inside[k]), "{seed} {k}: {inside:?}");
            let shown = (squares[k] - sums[k] * sums[k]).sqrt();
            assert!((sigma[k] / shown - 1.0).abs() < 0.067, "{seed} {k}: {} stated, {shown} drawn", sigma[k]);
        }
    }
}
