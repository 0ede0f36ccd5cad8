//! The curve of `curve.rs` that fits shots best, weighted by their joint covariance.
//!
//! Unknown is one parameter p; the curve passes through both supports, which are observations with errors of
//! their own. Each wire shot i gives the condition zᵢ − z(xᵢ; a, b, p) = 0 on the observations l:
//! B v + A Δp + w = 0 with vᵀ C⁻¹ v least (the combined case of least squares, e.g. E. M. Mikhail,
//! "Observations and Least Squares", ch. 9, from memory), repeated until p stands still. B is taken at the points as
//! measured: there a shift or turn that all shots share changes no condition, and cancels; what the residuals would
//! change in it is of their square times the curvature, far below a millimetre. With M = B C Bᵀ and N = Aᵀ M⁻¹ A:
//! Δp = −N⁻¹ Aᵀ M⁻¹ w, v = −C Bᵀ M⁻¹ (w + A Δp), var p = N⁻¹, cov(l̂) = C − C Bᵀ Q B C with
//! Q = M⁻¹ − M⁻¹ A N⁻¹ Aᵀ M⁻¹, cov(l̂, p) = −C Bᵀ M⁻¹ A N⁻¹.
//!
//! Objects shot beside the wire are observations without a condition: they ride along, so that what they
//! share with the wire's shots cancels. A wire that swings in the wind leaves the plane, so the distance from
//! the plane is no condition: wire shots count by their heights.

use super::curve::{Curve, Kind};
use crate::geodesy::correlated::Joint;
use crate::numeric::monte_carlo::Lower;

/// Step of differences in metres.
const STEP_M: f64 = 1e-4;

/// The adjustment stands still when nothing moves by more than this, in metres.
const STILL_M: f64 = 1e-7;

/// Rounds before it is given up.
const ROUNDS: usize = 50;

/// Variance added to each condition, a tenth of a millimetre squared: errorless shots still have weights.
const ROUNDING_M2: f64 = 1e-8;

/// An adjusted curve.
#[derive(Debug, Clone)]
pub struct Fit {
    /// Which curve.
    pub kind: Kind,
    /// The span that the parameter refers to.
    pub nominal_span_m: f64,
    /// The adjusted points in the order given, and behind them the parameter as the east of one more.
    pub adjusted: Joint,
    /// How much higher each measured wire shot is than the curve.
    pub misfits_m: Vec<f64>,
    /// The standard errors of these misfits before the adjustment, in metres.
    pub expected_m: Vec<f64>,
}

impl Fit {
    /// The curve of points that are ordered as `adjusted` has them: supports first, parameter last.
    pub fn curve(&self, points: &[[f64; 3]]) -> Curve {
        let parameter_m = points.last().map_or(f64::NAN, |p| p[0]);
        Curve::new(self.kind, points[0], points[1], parameter_m, self.nominal_span_m)
    }
}

/// Fits a curve to points: two supports, `wires` wire shots, then any others. None where it does not settle.
pub fn fit(kind: Kind, measured: &Joint, wires: usize) -> Option<Fit> {
    let observed = measured.points();
    let (size, covariance) = (3 * observed.len(), measured.covariance());
    let nominal = Curve::new(kind, observed[0], observed[1], 0.0, 1.0);
    let nominal_span_m = nominal.span_m;
    let gap = |points: &[[f64; 3]], p: f64, i: usize| {
        let curve = Curve::new(kind, points[0], points[1], p, nominal_span_m);
        let (along, _) = curve.along_across_m(points[2 + i]);
        points[2 + i][2] - curve.up_m(along)
    };
    // The parabola through the shots as they are, to start from.
    let (mut p, mut weight) = (0.0, 0.0);
    for point in &observed[2..2 + wires] {
        let (along, _) = nominal.along_across_m(*point);
        let share = 4.0 * along * (nominal_span_m - along) / (nominal_span_m * nominal_span_m);
        p += share * (nominal.chord_m(along) - point[2]);
        weight += share * share;
    }
    p /= weight;
    for _ in 0..ROUNDS {
        let mut b = vec![0.0; wires * size];
        let mut a = vec![0.0; wires];
        for i in 0..wires {
            let row = &mut b[i * size..(i + 1) * size];
            a[i] = gradient(kind, observed, 2 + i, p, nominal_span_m, row);
        }
        let w: Vec<f64> = (0..wires).map(|i| gap(observed, p, i)).collect();
        let step = Step::of(&a, &b, &w, &covariance, size)?;
        p += step.parameter_m;
        if !p.is_finite() {
            return None;
        }
        if step.parameter_m.abs() < STILL_M {
            let mut points: Vec<[f64; 3]> =
                observed.iter().zip(step.residuals_m.chunks(3)).map(|(o, v)| [o[0] + v[0], o[1] + v[1], o[2] + v[2]]).collect();
            let curve = Curve::new(kind, points[0], points[1], p, nominal_span_m);
            let misfits_m = observed[2..2 + wires].iter().map(|o| o[2] - curve.up_m(curve.along_across_m(*o).0)).collect();
            points.push([p, 0.0, 0.0]);
            let expected_m = step.variances_m2.iter().map(|v| v.sqrt()).collect();
            let adjusted = Joint::of_points(*measured.frame(), points, step.covariance(&covariance, size))?;
            return Some(Fit { kind, nominal_span_m, adjusted, misfits_m, expected_m });
        }
    }
    None
}

/// The gradient of a wire shot's gap: by the coordinates into `row`, by the parameter as the result.
///
/// The gap is z − za − g(x, L, h, p). How x, L and h answer to the points is exact, so that shifts and turns of all points
/// cancel to rounding, however large their errors; only g is differenced.
fn gradient(kind: Kind, points: &[[f64; 3]], wire: usize, p: f64, nominal_span_m: f64, row: &mut [f64]) -> f64 {
    let curve = Curve::new(kind, points[0], points[1], p, nominal_span_m);
    let (along, across) = curve.along_across_m(points[wire]);
    let g = |x: f64, l: f64, h: f64, p: f64| Curve::new(kind, [0.0; 3], [l, 0.0, h], p, nominal_span_m).up_m(x);
    let (l, h) = (curve.span_m, curve.rise_m);
    let half = 1.0 / (2.0 * STEP_M);
    let by_x = (g(along + STEP_M, l, h, p) - g(along - STEP_M, l, h, p)) * half;
    let by_l = (g(along, l + STEP_M, h, p) - g(along, l - STEP_M, h, p)) * half;
    let by_h = (g(along, l, h + STEP_M, p) - g(along, l, h - STEP_M, p)) * half;
    let by_p = (g(along, l, h, p + STEP_M) - g(along, l, h, p - STEP_M)) * half;
    let [de, dn] = [(points[1][0] - points[0][0]) / l, (points[1][1] - points[0][1]) / l];
    // Moving b to the right by ε turns the plane by ε/L and moves the shot's place along it by ε · across / L.
    let turn = across / l;
    let of_b = [-by_x * turn * dn - by_l * de, by_x * turn * de - by_l * dn, -by_h];
    let of_wire = [-by_x * de, -by_x * dn, 1.0];
    for axis in 0..3 {
        row[axis] = -of_b[axis] - of_wire[axis];
        row[3 + axis] = of_b[axis];
        row[3 * wire + axis] = of_wire[axis];
    }
    -by_p
}

/// One round.
struct Step {
    parameter_m: f64,
    residuals_m: Vec<f64>,
    /// Diagonal of M.
    variances_m2: Vec<f64>,
    /// C Bᵀ, by wire shots.
    shared: Vec<Vec<f64>>,
    /// M⁻¹ A.
    weighted: Vec<f64>,
    /// M.
    lower: Lower,
    parameter_variance_m2: f64,
}

impl Step {
    fn of(a: &[f64], b: &[f64], w: &[f64], c: &[f64], size: usize) -> Option<Step> {
        let wires = a.len();
        // Only nine columns of a row of B differ from zero.
        let rows: Vec<Vec<(usize, f64)>> =
            b.chunks(size).map(|row| row.iter().copied().enumerate().filter(|(_, value)| *value != 0.0).collect()).collect();
        let shared: Vec<Vec<f64>> = rows
            .iter()
            .map(|row| (0..size).map(|k| row.iter().map(|(j, value)| c[k * size + j] * value).sum()).collect())
            .collect();
        let mut m = vec![0.0; wires * wires];
        for i in 0..wires {
            for j in 0..wires {
                m[i * wires + j] = rows[i].iter().map(|(k, value)| value * shared[j][*k]).sum();
            }
            m[i * wires + i] += ROUNDING_M2;
        }
        let lower = Lower::of(&m, wires)?;
        let dot = |x: &[f64], y: &[f64]| x.iter().zip(y).map(|(x, y)| x * y).sum::<f64>();
        let weighted = lower.solve(a);
        let parameter_variance_m2 = 1.0 / dot(a, &weighted);
        let parameter_m = -parameter_variance_m2 * dot(&weighted, w);
        let left: Vec<f64> = w.iter().zip(a).map(|(w, a)| w + a * parameter_m).collect();
        let multipliers = lower.solve(&left);
        let residuals_m = (0..size).map(|k| -(0..wires).map(|i| shared[i][k] * multipliers[i]).sum::<f64>()).collect();
        let variances_m2 = (0..wires).map(|i| m[i * wires + i]).collect();
        Some(Step { parameter_m, residuals_m, variances_m2, shared, weighted, lower, parameter_variance_m2 })
    }

    /// The covariance of the adjusted points and, as a point behind them, the parameter.
    fn covariance(&self, c: &[f64], size: usize) -> Vec<f64> {
        let (wires, full, v) = (self.shared.len(), size + 3, self.parameter_variance_m2);
        let mut out = vec![0.0; full * full];
        // −C Bᵀ M⁻¹ A, and for each coordinate M⁻¹ B C.
        let with_parameter: Vec<f64> =
            (0..size).map(|k| -(0..wires).map(|i| self.shared[i][k] * self.weighted[i]).sum::<f64>()).collect();
        for k in 0..size {
            let column: Vec<f64> = (0..wires).map(|i| self.shared[i][k]).collect();
            let solved = self.lower.solve(&column);
            for j in 0..size {
                let taken: f64 = (0..wires).map(|i| self.shared[i][j] * solved[i]).sum();
                out[j * full + k] = c[j * size + k] - taken + v * with_parameter[j] * with_parameter[k];
            }
            out[k * full + size] = v * with_parameter[k];
            out[size * full + k] = v * with_parameter[k];
        }
        out[size * full + size] = v;
        out
    }
}
