//! The mean against another method: least squares on the readings themselves (azimuth, inclination, range), with numeric
//! derivatives and one whole covariance matrix, solved by plain elimination.

use super::*;
use crate::shots::repeats::mean;

/// Step of the derivatives in metres.
const STEP_M: f64 = 1e-3;

/// x of A x = b, rows and columns of b, by elimination with pivots.
pub fn solve(mut a: Vec<Vec<f64>>, mut b: Vec<Vec<f64>>) -> Vec<Vec<f64>> {
    let n = a.len();
    for k in 0..n {
        let pivot = (k..n).max_by(|i, j| a[*i][k].abs().total_cmp(&a[*j][k].abs())).unwrap();
        a.swap(k, pivot);
        b.swap(k, pivot);
        for i in 0..n {
            if i != k {
                let factor = a[i][k] / a[k][k];
                for rows in [&mut a, &mut b] {
                    let pivot = rows[k].clone();
                    rows[i].iter_mut().zip(pivot).for_each(|(x, p)| *x -= factor * p);
                }
            }
        }
    }
    for k in 0..n {
        let pivot = a[k][k];
        b[k].iter_mut().for_each(|x| *x /= pivot);
    }
    b
}

/// Readings that a shot of `base` to the earth-centred point gives, its station moved by `shift`; without height
/// azimuth and horizontal distance.
fn readings(base: &Origin, point: [f64; 3], shift: [f64; 3], has_height: bool) -> Vec<f64> {
    let p = base.frame.from_earth_centred(point);
    let [e, n, u]: [f64; 3] = std::array::from_fn(|k| p[k] - shift[k]);
    let h = e.hypot(n);
    if has_height { vec![e.atan2(n), h.hypot(u), u.atan2(h)] } else { vec![e.atan2(n), h] }
}

/// The point and its covariance, in the frame of the first base.
fn by_readings(site: &Site, shots: &[Repeat]) -> ([f64; 3], Vec<Vec<f64>>) {
    let (s, frame) = (site.sigmas, site.bases[0].frame);
    let mut x = [0.0; 3];
    let start: Vec<[f64; 3]> = shots
        .iter()
        .filter(|shot| shot.vector.up_m.is_some())
        .map(|shot| {
            let v = shot.vector;
            frame.from_earth_centred(site.bases[shot.base].frame.to_earth_centred([v.east_m, v.north_m, v.up_m.unwrap()]))
        })
        .collect();
    for point in &start {
        x = std::array::from_fn(|k| x[k] + point[k] / start.len() as f64);
    }
    let mut covariance = Vec::new();
    for _ in 0..8 {
        let (mut misses, mut by_point, mut by_shared, mut own) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
        for shot in shots {
            let base = &site.bases[shot.base];
            let has_height = shot.vector.up_m.is_some();
            let at = |moved: [f64; 3], shift| {
                readings(base, frame.to_earth_centred(std::array::from_fn(|k| x[k] + moved[k])), shift, has_height)
            };
            let v = shot.vector;
            let measured =
                readings(base, base.frame.to_earth_centred([v.east_m, v.north_m, v.up_m.unwrap_or(0.0)]), [0.0; 3], has_height);
            let fitted = at([0.0; 3], [0.0; 3]);
            let unit = |k: usize, step: f64| -> [f64; 3] { std::array::from_fn(|i| if i == k { step } else { 0.0 }) };
            for r in 0..measured.len() {
                let slope = |plus: Vec<f64>, minus: Vec<f64>| (plus[r] - minus[r]) / (2.0 * STEP_M);
                misses.push(vec![measured[r] - fitted[r]]);
                by_point.push(
                    (0..3).map(|k| slope(at(unit(k, STEP_M), [0.0; 3]), at(unit(k, -STEP_M), [0.0; 3]))).collect::<Vec<f64>>(),
                );
                // By one standard error of east, north, up of each base, and of its orientation.
                let mut row = vec![0.0; 4 * site.bases.len()];
                let c = base.errors.covariance();
                for (k, sigma) in [c.ee, c.nn, c.uu].map(f64::sqrt).into_iter().enumerate() {
                    row[4 * shot.base + k] = sigma * slope(at([0.0; 3], unit(k, STEP_M)), at([0.0; 3], unit(k, -STEP_M)));
                }
                row[4 * shot.base + 3] = if r == 0 { s.orientation_rad } else { 0.0 };
                by_shared.push(row);
                own.push([s.azimuth_rad, s.distance_m, s.inclination_rad][r].powi(2));
            }
        }
        let n = own.len();
        let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
        let whole: Vec<Vec<f64>> = (0..n)
            .map(|i| (0..n).map(|j| dot(&by_shared[i], &by_shared[j]) + if i == j { own[i] } else { 0.0 }).collect())
            .collect();
        let right: Vec<Vec<f64>> = (0..n).map(|i| [by_point[i].clone(), misses[i].clone()].concat()).collect();
        let weighted = solve(whole, right);
        let normal: Vec<Vec<f64>> =
            (0..3).map(|r| (0..4).map(|c| (0..n).map(|i| by_point[i][r] * weighted[i][c]).sum()).collect()).collect();
        let matrix: Vec<Vec<f64>> = normal.iter().map(|row| row[..3].to_vec()).collect();
        let step = solve(matrix.clone(), normal.iter().map(|row| vec![row[3]]).collect());
        x = std::array::from_fn(|k| x[k] + step[k][0]);
        covariance = solve(matrix, (0..3).map(|r| (0..3).map(|c| f64::from(u8::from(r == c))).collect()).collect());
    }
    (x, covariance)
}

#[test]
fn the_mean_is_that_of_the_readings_with_their_whole_covariance() {
    // Derivatives by steps of a millimetre at 50 m: 1e-10 of the weights, times deviations of metres.
    const POINT_M: f64 = 1e-7;
    const VARIANCE_SHARE: f64 = 1e-6;
    let site = Site::new(&[[0.0; 3], [140.0, -60.0, 8.0], [-30.0, 180.0, -3.0]], [0.4, 0.7], HANDHELD);
    let mut normal = Normal(11);
    for round in 0..40 {
        let mut shots = site.drawn(&[0, 1, 0, 2, 0, 1, 2, 0], [60.0, 90.0, 15.0], &mut normal);
        // One without height, of another base each time; in the plane its range is the horizontal distance, with the
        // standard error of a distance.
        let flat = &mut shots[round % 8];
        let h = flat.vector.horizontal_m;
        let sight = Sight {
            true_azimuth_rad: flat.vector.east_m.atan2(flat.vector.north_m),
            triangle: Triangle::Level { horizontal_m: h },
            instrument_height_m: 0.0,
            target_height_m: 0.0,
            refraction: 0.0,
        };
        flat.vector = reduce(&sight, &site.sigmas.of_readings(), 6_371_000.0);
        let got = mean(&site.bases, &shots).unwrap();
        let (want, covariance) = by_readings(&site, &shots);
        let point = site.bases[0].frame.from_earth_centred(got.at);
        for k in 0..3 {
            assert!((point[k] - want[k]).abs() < POINT_M, "round {round}: {point:?} {want:?}");
        }
        assert_eq!(got.base, 0);
        let c = got.parts.total();
        let greatest = c.ee + c.nn + c.uu;
        for (got, r, k) in [(c.ee, 0, 0), (c.en, 0, 1), (c.eu, 0, 2), (c.nn, 1, 1), (c.nu, 1, 2), (c.uu, 2, 2)] {
            assert!((got - covariance[r][k]).abs() < VARIANCE_SHARE * greatest, "{got} {}", covariance[r][k]);
        }
    }
}

#[test]
fn with_small_errors_it_is_that_of_the_correlated_points() {
    // Points and covariance as `correlated` has them, in the frame of the first point: there each ellipse leans by its own azimuth
    // error. Readings off by a thousandth of their standard error: 5e-6 rad · (0.57 m/0.05 m)² · 0.6 mm across = 4e-7 m.
    const SECOND_ORDER_M: f64 = 4e-7;
    let site = Site::new(&[[0.0; 3], [140.0, -60.0, 8.0]], [0.4, 0.7], HANDHELD);
    let mut normal = Normal(5);
    let shots: Vec<Repeat> = [0, 1, 0, 1, 0]
        .iter()
        .map(|base| site.off(*base, [60.0, 90.0, 15.0], [0.0; 3].map(|_: f64| 0.001 * normal.draw())))
        .collect();
    let correlated =
        crate::shots::located::correlated(&site.bases, &shots.iter().map(|s| (s.base, &s.vector)).collect::<Vec<_>>()).unwrap();
    let n = 3 * shots.len();
    let whole: Vec<Vec<f64>> = (0..n).map(|i| correlated.covariance()[i * n..(i + 1) * n].to_vec()).collect();
    let right: Vec<Vec<f64>> = (0..n)
        .map(|i| {
            let unit = |k: usize| f64::from(u8::from(i % 3 == k));
            vec![unit(0), unit(1), unit(2), correlated.points()[i / 3][i % 3]]
        })
        .collect();
    let weighted = solve(whole, right);
    let normal: Vec<Vec<f64>> =
        (0..3).map(|r| (0..4).map(|c| (0..n).filter(|i| i % 3 == r).map(|i| weighted[i][c]).sum()).collect()).collect();
    let want = solve(normal.iter().map(|row| row[..3].to_vec()).collect(), normal.iter().map(|row| vec![row[3]]).collect());
    let got = correlated.frame().from_earth_centred(mean(&site.bases, &shots).unwrap().at);
    for k in 0..3 {
        assert!((got[k] - want[k][0]).abs() < SECOND_ORDER_M, "{got:?} {want:?}");
    }
}
