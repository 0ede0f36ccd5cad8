use super::*;
use crate::geodesy::frame::Ellipsoid;
use crate::measure::trial::{EXACT, Errors, Field, HANDHELD, assert_sigmas, scatter};
use crate::numeric::monte_carlo::Normal;
use crate::shots::reduce::Vector;

/// Rounding of differences of earth-centred coordinates, in metres.
const ROUNDING_M: f64 = 1e-7;

fn correlated(field: &Field) -> CorrelatedPoints {
    let shots: Vec<_> = field.sightings.iter().map(|s| (s.base, s.vector.as_ref().unwrap())).collect();
    crate::shots::located::correlated(&field.bases, &shots).unwrap()
}

fn distance(p: &[[f64; 3]]) -> f64 {
    (0..3).map(|k| (p[1][k] - p[0][k]).powi(2)).sum::<f64>().sqrt()
}

#[test]
fn one_base_cancels_in_a_distance_and_its_orientation_too() {
    let turning = Errors { orientation_deg: 2.0, ..EXACT };
    let mut field = Field::new(turning, [5.0, 8.0]);
    field.shot(0, "from", [80.0, 40.0, 5.0]);
    field.shot(0, "to", [-20.0, 90.0, 30.0]);
    let correlated = correlated(&field);
    let between = correlated.estimate(distance);
    // √(100² + 50² + 25²), the frames of points of one base being one frame turned.
    assert!((between.value - 13_125f64.sqrt()).abs() < ROUNDING_M, "{between:?}");
    // A turn about the base's vertical keeps every distance.
    assert!(between.sigma < 1e-6, "{between:?}");
    // Each point alone has all of it.
    let one = correlated.covariance_of(1);
    let turn = 2f64.to_radians();
    let horizontal = 2.0 * 25.0 + turn * turn * (20.0f64.powi(2) + 90.0f64.powi(2));
    assert!((one.horizontal_variance() - horizontal).abs() < 0.01, "{one:?}");
}

#[test]
fn two_bases_do_not_cancel() {
    let mut field = Field::new(EXACT, [3.0, 1.0]).with_base([0.0, -50.0, 0.0], [4.0, 1.0]);
    field.shot(0, "from", [10.0, 0.0, 0.0]);
    field.shot(1, "to", [70.0, 0.0, 0.0]);
    let between = correlated(&field).estimate(distance);
    assert!((between.value - 60.0).abs() < ROUNDING_M);
    // 3² + 4² = 5², the line lying along an axis of both.
    assert!((between.sigma - 5.0).abs() < 1e-4, "{between:?}");
}

#[test]
fn standard_errors_are_those_of_a_trial() {
    let mut field = Field::new(HANDHELD, [0.4, 0.7]).with_base([150.0, -60.0, 4.0], [0.3, 0.5]);
    field.instrument_height_m = 1.6;
    field.shot(0, "a", [80.0, 40.0, 15.0]);
    field.shot(0, "b", [-20.0, 90.0, 30.0]);
    field.shot(1, "c", [60.0, 120.0, -10.0]);
    // A distance within a base, one across bases, a rise, the angle at b, and a coordinate.
    let values = |p: &[[f64; 3]]| {
        let across = distance(&[p[0], p[2]]);
        let (u, v): ([f64; 3], [f64; 3]) =
            (std::array::from_fn(|k| p[0][k] - p[1][k]), std::array::from_fn(|k| p[2][k] - p[1][k]));
        let angle = (u[0] * v[0] + u[1] * v[1] + u[2] * v[2]) / (distance(&[p[0], p[1]]) * distance(&[p[2], p[1]]));
        [distance(p), across, p[1][2] - p[0][2], angle.acos(), p[2][0]]
    };
    let told = correlated(&field);
    let estimates = told.estimates(values);
    let frame = *told.frame();
    let shown = scatter(estimates.map(|e| e.value), 11, |normal| {
        let drawn = correlated(&field.disturbed(normal));
        let points: Vec<[f64; 3]> =
            drawn.points().iter().map(|p| frame.from_earth_centred(drawn.frame().to_earth_centred(*p))).collect();
        values(&points)
    });
    assert_sigmas(estimates.map(|e| e.sigma), shown);
}

#[test]
fn turning_all_azimuths_turns_the_points_and_keeps_the_errors() {
    let of = |turn_deg: f64| {
        let mut field = Field::new(HANDHELD, [0.4, 0.7]);
        field.reading(0, "a", 20.0 + turn_deg, 12.0, 90.0);
        field.reading(0, "b", 75.0 + turn_deg, -4.0, 140.0);
        let correlated = correlated(&field);
        let azimuth = correlated.estimate(|p| (p[1][0] - p[0][0]).atan2(p[1][1] - p[0][1]));
        (correlated.estimate(distance), azimuth)
    };
    let (first, first_azimuth) = of(0.0);
    let (turned, turned_azimuth) = of(37.0);
    assert!((first.value - turned.value).abs() < ROUNDING_M);
    assert!((first.sigma - turned.sigma).abs() < 1e-6);
    // The frame stands at the first point: 0.1 km from the base it is turned by some 1e-5 rad.
    assert!((turned_azimuth.value - first_azimuth.value - 37f64.to_radians()).abs() < 3e-5);
    assert!((turned_azimuth.sigma - first_azimuth.sigma).abs() < 1e-6);
}

#[test]
fn frames_of_two_bases_a_kilometre_apart() {
    // Both bases see one point, 1 km east of the first and 30 m north of the second.
    let mut field = Field::new(EXACT, [0.0, 1.0]).with_base([1000.0, 0.0, 0.0], [0.0, 2.0]);
    field.shot(0, "near", [30.0, 0.0, 0.0]);
    field.shot(0, "far", [1000.0, 30.0, 0.0]);
    field.shot(1, "far", [1000.0, 30.0, 0.0]);
    let correlated = correlated(&field);
    let apart = correlated.estimate(|p| distance(&[p[1], p[2]]));
    assert!(apart.value < ROUNDING_M, "{apart:?}");
    // The vertical of the second base leans by d/ν from that of the frame, ν the radius in the prime
    // vertical: its vertical error shows in the east by that share.
    let nu = Ellipsoid::WGS84.prime_vertical_radius_m(46f64.to_radians());
    let lean = 970.0 / nu;
    let second = correlated.covariance_of(2);
    assert!((second.ee.sqrt() - 2.0 * lean).abs() < 2.0 * lean * 0.01, "{second:?}");
    assert!((second.uu - 4.0).abs() < 1e-6);
    // Its position is no part of the first base's error, and the first base's moves both of its points.
    let size = 9;
    assert_eq!(correlated.covariance()[2 * size + 8], 0.0);
    assert!((correlated.covariance()[2 * size + 5] - 1.0).abs() < 1e-6);
    assert_eq!(correlated.covariance_between(0, 1)[2][2], correlated.covariance()[2 * size + 5]);
}

#[test]
fn no_points_or_no_height_is_none() {
    let mut field = Field::new(HANDHELD, [0.4, 0.7]);
    assert!(crate::shots::located::correlated(&field.bases, &[]).is_none());
    let mut vector = field.shot(0, "a", [1.0, 2.0, 3.0]).vector.unwrap();
    vector.up_m = None;
    assert!(crate::shots::located::correlated(&field.bases, &[(0, &vector)]).is_none());
}

/// The plain product g C gᵀ with the whole matrix, against the sums over the register; and a gradient that is built, changed and taken back.
#[test]
fn sums_over_the_register_are_the_whole_product() {
    let mut field = Field::new(HANDHELD, [0.4, 0.7]).with_base([150.0, -60.0, 4.0], [0.3, 0.5]);
    let covariance = Covariance { ee: 0.09, en: 0.05, nn: 0.2, nu: -0.1, uu: 0.25, ..Covariance::default() };
    // The first base's orientation was found by a sight that its own position moves too; the second's is as read.
    let position = position_arms(0, &Covariance { en: 0.02, ..Covariance::from_sigmas(0.4, 0.7) });
    let found = vec![(ErrorId::new(Cause::Sights, 0, 0), 0.004), (ErrorId::new(Cause::Position, 0, 0), -0.003)];
    field.bases[0].errors = BaseErrors::new(0, position.clone(), Some(found), 0.0, Default::default());
    field.bases[1].errors = BaseErrors::from_covariance(1, &covariance, 0.006);
    let shares = Shares {
        declination: 3,
        declination_rad: 0.005,
        calibration: 1,
        azimuth_rad: 0.002,
        inclination_rad: 0.004,
        distance_m: 0.3,
    };
    for (i, base) in [0, 1, 1, 0, 1].into_iter().enumerate() {
        field.shot(base, "a", [40.0 + 17.0 * i as f64, 90.0 - 11.0 * i as f64, 3.0 * i as f64]).vector.as_mut().unwrap().shares =
            shares;
    }
    let told = correlated(&field);
    let (whole, size) = (told.covariance(), 15);
    // What two shots of the first base share, by the definition, in the frame of the first point, which is turned by 2·10⁻⁵ at most.
    let [a, b] = [0, 3].map(|i: usize| field.sightings[i].vector.unwrap());
    let east = |v: &Vector| std::array::from_fn::<f64, 3, _>(|k| position[0].1[k] - 0.003 * v.by_azimuth_m()[k]);
    for (r, c) in [(0, 0), (0, 1), (1, 0), (2, 1), (2, 2)] {
        let by = |one: [f64; 3], other: [f64; 3], variance: f64| variance * one[r] * other[c];
        let want = by(east(&a), east(&b), 1.0)
            + position[1..].iter().map(|(_, arm)| by(*arm, *arm, 1.0)).sum::<f64>()
            + by(a.by_azimuth_m(), b.by_azimuth_m(), 0.004f64.powi(2))
            + by(a.by_inclination_m, b.by_inclination_m, 0.004f64.powi(2))
            + by(a.by_distance_m, b.by_distance_m, 0.09);
        assert!((told.covariance_between(0, 3)[r][c] - want).abs() < 1e-4, "{r} {c} {want}");
    }
    // And shots of two bases: one declination and one calibration.
    let other = field.sightings[1].vector.unwrap();
    let up =
        0.004f64.powi(2) * a.by_inclination_m[2] * other.by_inclination_m[2] + 0.09 * a.by_distance_m[2] * other.by_distance_m[2];
    assert!((told.covariance_between(0, 1)[2][2] - up).abs() < 1e-4, "{up}");
    let gradient: Vec<[f64; 3]> = (0..5).map(|i| [1.0 - i as f64, 0.3 * i as f64, 2.0 - 0.7 * i as f64]).collect();
    let flat = gradient.as_flattened();
    let want: f64 = (0..size * size).map(|k| flat[k / size] * whole[k] * flat[k % size]).sum();
    let mut running = RunningSigma::begin(&told);
    gradient.iter().enumerate().for_each(|(i, g)| running.add(i, *g));
    assert!((running.sigma().powi(2) / want - 1.0).abs() < 1e-12, "{} {want}", running.sigma().powi(2));
    running.add(2, [5.0, 5.0, 5.0]);
    running.add(2, [-5.0, -5.0, -5.0]);
    assert!((running.sigma().powi(2) / want - 1.0).abs() < 1e-10);
    // Closed forms are the sums over the arms.
    for sighting in &field.sightings {
        let (vector, origin) = (sighting.vector.unwrap(), &field.bases[sighting.base]);
        let (closed, summed) = (vector.covariance(origin), vector.located(origin).covariance(origin.errors.register()));
        for (closed, summed) in [(closed.ee, summed.ee), (closed.en, summed.en), (closed.nu, summed.nu), (closed.uu, summed.uu)] {
            assert!((closed - summed).abs() < 1e-12, "{closed} {summed}");
        }
    }
    // The same by points made of the matrix, and by some of the points.
    let by_matrix = CorrelatedPoints::from_covariance(*told.frame(), told.points().to_vec(), &whole).unwrap();
    let few = |correlated: &CorrelatedPoints| correlated.subset(&[4, 1]).estimate(distance).sigma;
    assert!((few(&told) / few(&by_matrix) - 1.0).abs() < 1e-9);
    let among = told.estimate(|p| distance(&[p[4], p[1]])).sigma;
    assert!((few(&told) / among - 1.0).abs() < 1e-9);
    let apart = Covariance::from_sigmas(0.0, 0.25);
    for correlated in [&told, &by_matrix] {
        let more = correlated.with_point([0.0; 3], &apart);
        assert_eq!((more.covariance_of(5).uu, more.covariance_between(5, 0)), (0.0625, [[0.0; 3]; 3]));
        assert!((few(&more) - few(correlated)).abs() < 1e-12);
    }
}

/// A base whose height is not known errs in plan alone.
#[test]
fn a_base_without_an_error_in_one_direction() {
    let flat = Covariance { ee: 0.09, en: 0.12, nn: 0.16, ..Covariance::default() };
    let arms = position_arms(0, &flat);
    for (r, s, want) in [(0, 0, 0.09), (0, 1, 0.12), (1, 1, 0.16), (2, 2, 0.0)] {
        assert!((arms.iter().map(|(_, arm)| arm[r] * arm[s]).sum::<f64>() - want).abs() < 1e-15);
    }
    assert!(position_arms(0, &Covariance::UNKNOWN)[0].1[0].is_nan());
}

/// A network's unknowns have a covariance of their own; what hangs on them has it too, and its draws show it.
#[test]
fn unknowns_that_hang_together() {
    #[derive(Debug)]
    struct Four;
    /// East and north of two bases, by rows.
    const C: [f64; 16] = [0.25, 0.05, 0.10, 0.02, 0.05, 0.36, -0.03, 0.12, 0.10, -0.03, 0.16, 0.04, 0.02, 0.12, 0.04, 0.49];
    impl Correlated for Four {
        fn covariance(&self, which: &[usize]) -> Vec<f64> {
            which.iter().flat_map(|r| which.iter().map(move |c| C[4 * r + c])).collect()
        }
    }
    let register = std::sync::Arc::new(Register { networks: vec![std::sync::Arc::new(Four)] });
    let mut field = Field::new(EXACT, [0.0, 0.0]).with_base([1.0, 0.0, 0.0], [0.0, 0.0]);
    for base in 0..2 {
        let unit = |axis: usize| std::array::from_fn(|k| if k == axis { 1.0 } else { 0.0 });
        let arms = (0..2).map(|axis| (ErrorId::new(Cause::Network, 0, 2 * base + axis), unit(axis))).collect();
        field.bases[base].errors = BaseErrors::new(base, arms, None, 0.0, register.clone());
        field.shot(base, "a", [30.0, 40.0 * base as f64, 0.0]);
    }
    let correlated = correlated(&field);
    for (i, j) in [(0, 0), (0, 1), (1, 0), (1, 1)] {
        for (r, c) in [(0, 0), (0, 1), (1, 0), (1, 1)] {
            let want = C[4 * (2 * i + r) + 2 * j + c];
            assert!((correlated.covariance_between(i, j)[r][c] - want).abs() < 1e-5, "{i} {j} {r} {c}");
        }
    }
    let (roots, mut normal, mut product, draws) = (correlated.roots(), Normal::seeded(4), 0.0, 40_000);
    for _ in 0..draws {
        let drawn = correlated.drawn(&roots, &mut normal);
        product += (drawn[0][0] - correlated.points()[0][0]) * (drawn[1][0] - correlated.points()[1][0]) / f64::from(draws);
    }
    // A covariance c of n draws has the standard error √((c₁₁ c₂₂ + c²)/n) = 0.0011.
    assert!((product - 0.10).abs() < 4.0 * ((0.25f64 * 0.16 + 0.01) / f64::from(draws)).sqrt(), "{product}");
}
