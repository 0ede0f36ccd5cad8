//! What the readings check of each other: residuals with their standard errors, redundancy numbers, normalised
//! residuals and smallest detectable blunders.
//!
//! With whitened rows a (weight w) and Q = N⁻¹, the whitened residuals of one observation have the covariance
//! R = 1 − w a Q aᵀ. For a reading: redundancy number r = R, σ_v = σ√r, normalised residual w = v / σ_v (W. Baarda, "A
//! testing procedure for use in geodetic networks", 1968), blunder −v / r, smallest detectable blunder δ₀ σ / √r. For a
//! position with covariance Σ = L Lᵀ the coordinates go together: P v = L⁻ᵀ ṽ, P Q_v P = L⁻ᵀ R L⁻¹,
//! w_i = (P v)_i / √(P Q_v P)_ii, and the position as a whole has T = ṽᵀ R⁻¹ ṽ, chi-square with as many degrees of
//! freedom as R has rank.
//!
//! Residuals are adjusted minus observed.

use rayon::prelude::*;

use super::cholesky::Factor;
use super::equations::{EquationRow, Equations, Source, WeightedRows};
use super::quantiles;
use super::types::Settings;
use crate::numeric::cholesky::decompose;

/// Redundancy below which nothing checks a reading. Own choice: a blunder shows in the residual by a hundredth of
/// itself.
pub const LEAST_REDUNDANCY: f64 = 0.01;

/// What an adjustment says of one reading, or of one coordinate of a position.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Residual {
    /// What it is of.
    pub source: Source,
    /// East, north or up (0, 1, 2) of a position; 0 for a reading.
    pub axis: usize,
    /// Adjusted minus observed, in metres or radians.
    pub residual: f64,
    /// Prior standard error of the observation.
    pub sigma: f64,
    /// Standard error of the residual; 0 where nothing checks it.
    pub sigma_residual: f64,
    /// Redundancy number, 0 (unchecked) to 1.
    pub redundancy: f64,
    /// Normalised residual; none where nothing checks it.
    pub normalised: Option<f64>,
    /// The error of the observation if it alone is wrong.
    pub blunder: Option<f64>,
    /// The smallest blunder that the test finds with the set power.
    pub detectable: Option<f64>,
    /// Whether it took part; not after it was taken out.
    pub used: bool,
    /// Weight factor of robust estimation, else 1; 0 when taken out.
    pub weight: f64,
}

/// A test of one observation: of a reading by its normalised residual, of a position as a whole.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Test {
    /// Item in the equations.
    pub item: usize,
    /// w² for a reading, T for a position.
    pub statistic: f64,
    /// What the statistic is held to.
    pub critical: f64,
    /// Redundancy number of a reading; of a position that of its first whitened row.
    pub redundancy: f64,
}

impl Test {
    /// The statistic over its critical value: above 1 the test fails.
    pub fn quotient(&self) -> f64 {
        self.statistic / self.critical
    }
}

/// δ₀ = z(1 − α/2) + z(power): the shift of a normalised residual that is found with that power (Baarda 1968). The far
/// tail of the two-sided test is left out (1e-13 at the default).
pub fn shift(settings: &Settings) -> f64 {
    quantiles::two_sided(settings.alpha) + quantiles::normal(settings.power)
}

/// Residuals and tests of all items, in their order.
pub(crate) fn judge(equations: &Equations, factor: &Factor, inverse: &[f64], settings: &Settings) -> (Vec<Residual>, Vec<Test>) {
    let delta = shift(settings);
    let critical: [f64; 4] = std::array::from_fn(|freedom| quantiles::chi_square(1.0 - settings.alpha, freedom));
    let judged: Vec<(Vec<Residual>, Option<Test>)> = equations
        .items
        .par_iter()
        .with_min_len(64)
        .enumerate()
        .map(|(k, item)| {
            let rows = &equations.rows[item.first as usize..item.first as usize + item.rows as usize];
            one(k, item, rows, factor, inverse, delta, &critical)
        })
        .collect();
    let tests = judged.iter().filter_map(|(_, test)| *test).collect();
    (judged.into_iter().flat_map(|(residuals, _)| residuals).collect(), tests)
}

fn one(
    k: usize,
    item: &WeightedRows,
    rows: &[EquationRow],
    factor: &Factor,
    inverse: &[f64],
    delta: f64,
    critical: &[f64; 4],
) -> (Vec<Residual>, Option<Test>) {
    let count = rows.len().min(3);
    let used = item.weight > 0.0;
    // What is taken out is predicted: its residual varies by its own error and the prediction's.
    let sign = if used { -item.weight } else { 1.0 };
    let mut r = [[0.0; 3]; 3];
    for (i, a) in rows.iter().enumerate().take(count) {
        for (j, b) in rows.iter().enumerate().take(i + 1) {
            let product = |(c, p): (usize, f64), (d, q): (usize, f64)| p * q * factor.element(inverse, c, d).unwrap_or(0.0);
            let mut sum = 0.0;
            for (k, x) in a.entries().enumerate() {
                if i == j {
                    sum += product(x, x) + 2.0 * a.entries().take(k).map(|y| product(x, y)).sum::<f64>();
                } else {
                    sum += b.entries().map(|y| product(x, y)).sum::<f64>();
                }
            }
            let value = sign * sum + if i == j { 1.0 } else { 0.0 };
            r[i][j] = value;
            r[j][i] = value;
        }
    }
    let v: [f64; 3] = std::array::from_fn(|i| rows.get(i).map_or(0.0, |row| -row.misclosure));
    let l = &item.lower;
    // Columns of L⁻¹.
    let unit = |c: usize| super::equations::forward(l, count, &|i| if i == c { 1.0 } else { 0.0 });
    let inverse_l: [[f64; 3]; 3] = std::array::from_fn(unit);
    let product =
        |x: &[f64; 3], y: &[f64; 3]| -> f64 { (0..count).map(|i| (0..count).map(|j| x[i] * r[i][j] * y[j]).sum::<f64>()).sum() };
    let residuals = (0..count)
        .map(|i| {
            let row = l[i];
            let sigma = row.iter().take(count).map(|x| x * x).sum::<f64>().sqrt();
            let redundancy = product(&row, &inverse_l[i]);
            let checked = redundancy >= LEAST_REDUNDANCY;
            let information = product(&inverse_l[i], &inverse_l[i]);
            let pull: f64 = (0..count).map(|j| inverse_l[i][j] * v[j]).sum();
            Residual {
                source: item.source,
                axis: i,
                residual: (0..count).map(|j| row[j] * v[j]).sum(),
                sigma,
                sigma_residual: product(&row, &row).max(0.0).sqrt(),
                redundancy: redundancy.clamp(0.0, 1.0),
                normalised: checked.then(|| pull / information.sqrt()),
                blunder: checked.then(|| -pull / information),
                detectable: (checked && used).then(|| delta / information.sqrt()),
                used,
                weight: item.weight,
            }
        })
        .collect();
    let test = used.then(|| whole(k, &r, &v, count, critical)).flatten();
    (residuals, test)
}

/// T = vᵀ R⁻¹ v by Cholesky's decomposition, directions without redundancy left out.
fn whole(item: usize, r: &[[f64; 3]; 3], v: &[f64; 3], count: usize, critical: &[f64; 4]) -> Option<Test> {
    let mut lower = [[0.0; 3]; 3];
    let mut x = [0.0; 3];
    let (mut statistic, mut freedom) = (0.0, 0);
    let root = |left: f64| Some(if left < LEAST_REDUNDANCY { 0.0 } else { left.sqrt() });
    decompose(lower.as_flattened_mut(), 3, count, |i, j| r[i][j], root);
    for i in (0..count).filter(|i| lower[*i][*i] > 0.0) {
        x[i] = (v[i] - (0..i).map(|k| lower[i][k] * x[k]).sum::<f64>()) / lower[i][i];
        statistic += x[i] * x[i];
        freedom += 1;
    }
    (freedom > 0).then(|| Test { item, statistic, critical: critical[freedom], redundancy: r[0][0] })
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::geodesy::frame::{Geodetic, LocalFrame};
    use crate::network::adjust;
    use crate::network::by_station::tests::sample;
    use crate::network::solution::Solver;

    type Matrix = [[f64; 3]; 3];

    /// Rounding of an elimination of forty unknowns.
    const ROUNDING: f64 = 1e-7;

    /// (AᵀWA)⁻¹ by Gauss and Jordan, without pivoting: it is positive definite.
    pub(crate) fn inverse_of_normals(equations: &Equations, size: usize) -> Vec<Vec<f64>> {
        let mut whole = vec![vec![0.0; 2 * size]; size];
        (0..size).for_each(|k| whole[k][size + k] = 1.0);
        for item in &equations.items {
            for row in &equations.rows[item.first as usize..][..item.rows as usize] {
                for (i, p) in row.entries() {
                    row.entries().for_each(|(j, q)| whole[i][j] += item.weight * p * q);
                }
            }
        }
        for k in 0..size {
            let pivot = whole[k][k];
            whole[k].iter_mut().for_each(|x| *x /= pivot);
            let row = whole[k].clone();
            for (i, other) in whole.iter_mut().enumerate().filter(|(i, _)| *i != k) {
                let share = other[k];
                assert!(i < size);
                other.iter_mut().zip(&row).for_each(|(x, y)| *x -= share * y);
            }
        }
        whole.into_iter().map(|row| row[size..].to_vec()).collect()
    }

    fn times(a: &Matrix, b: &Matrix) -> Matrix {
        std::array::from_fn(|i| std::array::from_fn(|j| (0..3).map(|k| a[i][k] * b[k][j]).sum()))
    }

    fn along(a: &Matrix, v: &[f64; 3]) -> [f64; 3] {
        std::array::from_fn(|i| (0..3).map(|k| a[i][k] * v[k]).sum())
    }

    fn transposed(a: &Matrix) -> Matrix {
        std::array::from_fn(|i| std::array::from_fn(|j| a[j][i]))
    }

    /// By cofactors.
    fn inverted(a: &Matrix) -> Matrix {
        let minor = |i: usize, j: usize| {
            let (p, q, r, s) = ((i + 1) % 3, (i + 2) % 3, (j + 1) % 3, (j + 2) % 3);
            a[p][r] * a[q][s] - a[p][s] * a[q][r]
        };
        let determinant: f64 = (0..3).map(|j| a[0][j] * minor(0, j)).sum();
        std::array::from_fn(|i| std::array::from_fn(|j| minor(j, i) / determinant))
    }

    /// Residuals and tests of a network with errors, by the formulas above in full matrices, from the covariances as they were given.
    #[test]
    fn as_by_full_matrices() {
        let mut network = sample();
        for (k, o) in network.observations.iter_mut().enumerate() {
            o.value += o.sigma * (((5 * k) % 7) as f64 - 3.0) / 2.0;
        }
        let settings = Settings::default();
        let adjustment = adjust(&network, &settings).unwrap();
        let inner = &adjustment.solved[0].inner;
        let local: Vec<u32> = (0..network.stations.len() as u32).collect();
        let mut equations = Equations::list(&network, &inner.component, &inner.layout, &local, &inner.state);
        equations.linearise(&inner.state);
        // One reading is taken out, one counts half.
        let count = equations.items.len();
        (equations.items[count - 1].weight, equations.items[count - 5].weight) = (0.0, 0.5);
        let mut solver = Solver::prepare(&equations, &inner.layout).unwrap();
        let (factor, inverse) = solver.with_more(&mut equations, 0.0, |_| false).unwrap();
        let (residuals, tests) = judge(&equations, &factor, &inverse, &settings);
        let q = inverse_of_normals(&equations, inner.layout.size);
        let mut tests = tests.into_iter();
        let mut residuals = residuals.into_iter();
        for (k, item) in equations.items.iter().enumerate() {
            let rows = &equations.rows[item.first as usize..][..item.rows as usize];
            // R = I − W A Q Aᵀ of the item's rows; of what is taken out I + A Q Aᵀ.
            let mut r = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
            let sign = if item.weight > 0.0 { -item.weight } else { 1.0 };
            for (i, a) in rows.iter().enumerate() {
                for (j, b) in rows.iter().enumerate() {
                    let sum: f64 = a.entries().map(|(c, x)| b.entries().map(|(d, y)| x * y * q[c][d]).sum::<f64>()).sum();
                    r[i][j] += sign * sum;
                }
            }
            let (sigma2, v): (Matrix, [f64; 3]) = match item.source {
                Source::Control(s) => {
                    let control = network.stations[s].control.unwrap();
                    let c = control.covariance;
                    let at = Geodetic::from_earth_centred(control.position, &network.ellipsoid);
                    let v = LocalFrame::at(&at, &network.ellipsoid).from_earth_centred(inner.state.positions[s]);
                    ([[c.ee, c.en, c.eu], [c.en, c.nn, c.nu], [c.eu, c.nu, c.uu]], v)
                }
                _ => {
                    let sigma = item.lower[0][0];
                    ([[sigma * sigma, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]], [-rows[0].misclosure * sigma, 0.0, 0.0])
                }
            };
            let p = inverted(&sigma2);
            let lower =
                if item.rows == 3 { item.lower } else { [[item.lower[0][0], 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]] };
            let q_v = times(&times(&lower, &r), &transposed(&lower));
            let information = times(&times(&p, &q_v), &p);
            let pull = along(&p, &v);
            let near =
                |got: f64, want: f64| assert!((got - want).abs() < ROUNDING * (1.0 + want.abs()), "item {k}: {got} {want}");
            for axis in 0..rows.len() {
                let got = residuals.next().unwrap();
                assert_eq!((got.source, got.axis, got.used, got.weight), (item.source, axis, item.weight > 0.0, item.weight));
                near(got.residual, v[axis]);
                near(got.sigma, sigma2[axis][axis].sqrt());
                near(got.sigma_residual, q_v[axis][axis].sqrt());
                near(got.redundancy, times(&q_v, &p)[axis][axis].clamp(0.0, 1.0));
                let root = information[axis][axis].sqrt();
                near(got.normalised.unwrap(), pull[axis] / root);
                near(got.blunder.unwrap(), -pull[axis] / (root * root));
                assert_eq!(got.detectable.is_some(), got.used);
                got.detectable.into_iter().for_each(|detectable| near(detectable, shift(&settings) / root));
            }
            if item.weight > 0.0 {
                let test = tests.next().unwrap();
                assert_eq!(test.item, k);
                let whole = along(&inverted(&q_v), &v);
                near(test.statistic, (0..rows.len()).map(|i| v[i] * whole[i]).sum());
                near(test.critical, quantiles::chi_square(1.0 - settings.alpha, rows.len()));
                near(test.redundancy, r[0][0]);
                near(test.quotient(), test.statistic / test.critical);
            }
        }
        assert!(residuals.next().is_none() && tests.next().is_none());
    }

    /// Baarda's δ₀: 4.13 at a thousandth and 80 %, 2.80 at a twentieth and 80 %.
    #[test]
    fn the_shift_that_is_found() {
        let of = |alpha: f64, power: f64| shift(&Settings { alpha, power, ..Settings::default() });
        for (alpha, power, want) in [(0.001, 0.8, 4.132), (0.05, 0.8, 2.802), (0.05, 0.5, 1.960)] {
            assert!((of(alpha, power) - want).abs() < 1e-3, "{alpha} {power}: {}", of(alpha, power));
        }
    }

    #[test]
    fn nothing_is_said_of_what_nothing_checks() {
        // A hundredth is the least: below it no blunder shows.
        let r = |redundancy: f64| [[redundancy, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
        let critical = [0.0, 10.8, 13.8, 16.3];
        assert!(whole(3, &r(0.0099), &[0.1, 0.0, 0.0], 1, &critical).is_none());
        let test = whole(3, &r(0.01), &[0.2, 0.0, 0.0], 1, &critical).unwrap();
        assert_eq!((test.item, test.critical), (3, 10.8));
        assert!((test.statistic - 4.0).abs() < 1e-9 && (test.redundancy - 0.01).abs() < 1e-12);
        // Of a position the direction that nothing checks is left out.
        let test = whole(0, &r(0.0), &[0.2, 1.0, 2.0], 3, &critical).unwrap();
        assert!((test.statistic - 5.0).abs() < 1e-9 && test.critical == 13.8, "{test:?}");
    }
}
