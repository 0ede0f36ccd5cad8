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
use super::equations::{Equations, Item, Row, Source};
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
    item: &Item,
    rows: &[Row],
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
