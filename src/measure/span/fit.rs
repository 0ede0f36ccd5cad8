//! The curve of `curve.rs` that fits shots best, weighted by their joint covariance.
//!
//! Unknown is one parameter p; the curve passes through both supports, which are observations with errors of
//! their own. Each wire shot i gives the condition zᵢ − z(xᵢ; a, b, p) = 0 (the combined case of least squares, e.g. E. M. Mikhail,
//! "Observations and Least Squares", ch. 9, from memory). With the errors written by what causes them, ζ of variance 1 each (three of
//! support a alone, three of support b, the entries of the register) and the wire shot's own, it reads wᵢ = uᵢᵀ ζ − Aᵢ Δp + eᵢ, uᵢ and Aᵢ the condition's
//! derivatives, var eᵢ = dᵢ: Σ (wᵢ − uᵢᵀ ζ + Aᵢ Δp)²/dᵢ + ζᵀ ζ is least where N (Δp, ζ) = Σ rᵢ wᵢ/dᵢ, r = (−A, u), N = Σ rᵢ rᵢᵀ/dᵢ + diag(0, 1, …), and N⁻¹ is the
//! covariance of what is then left of Δp and ζ. It is the solution with the whole covariance matrix of the shots, at a cost linear in their number.
//! Derivatives are taken at the points as measured: there a shift or turn that all shots share changes no condition, and cancels; what the
//! residuals would change in them is of their square times the curvature, far below a millimetre. Repeated until p stands still.
//!
//! Objects shot beside the wire are observations without a condition: they share entries with the wire's shots, and what they share cancels. A
//! wire that swings in the wind leaves the plane, so the distance from the plane is no condition: wire shots count by their heights.

use super::curve::{Curve, Kind};
use crate::geodesy::register::CorrelatedPoints;
use crate::numeric::cholesky::{Lower, semi_root};

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
    /// The supports and the points beside the wire, adjusted, in the order given, and behind them the parameter as the east of one more.
    pub adjusted: CorrelatedPoints,
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
pub fn fit(kind: Kind, measured: &CorrelatedPoints, wires: usize) -> Option<Fit> {
    let observed = measured.points();
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
    let causes = Causes::from_points(measured);
    for _ in 0..ROUNDS {
        let conditions: Vec<Condition> = (0..wires)
            .map(|i| {
                let (by_points, by_parameter) = gradient(kind, observed, 2 + i, p, nominal_span_m);
                causes.condition(measured, 2 + i, &by_points, by_parameter, gap(observed, p, i))
            })
            .collect();
        let step = Step::solve(&conditions, causes.size)?;
        let parameter_m = step.solution[0];
        p += parameter_m;
        if !p.is_finite() {
            return None;
        }
        if parameter_m.abs() < STILL_M {
            let adjusted = causes.adjusted(measured, wires, &step, p);
            let ends = adjusted.points();
            let curve = Curve::new(kind, ends[0], ends[1], p, nominal_span_m);
            let misfits_m = observed[2..2 + wires].iter().map(|o| o[2] - curve.up_m(curve.along_across_m(*o).0)).collect();
            let expected_m = conditions.iter().map(|condition| condition.whole_variance_m2().sqrt()).collect();
            return Some(Fit { kind, nominal_span_m, adjusted, misfits_m, expected_m });
        }
    }
    None
}

/// The gradient of a wire shot's gap: by the coordinates of supports and shot, and by the parameter.
///
/// The gap is z − za − g(x, L, h, p). How x, L and h answer to the points is exact, so that shifts and turns of all points
/// cancel to rounding, however large their errors; only g is differenced.
fn gradient(kind: Kind, points: &[[f64; 3]], wire: usize, p: f64, nominal_span_m: f64) -> ([[f64; 3]; 3], f64) {
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
    let of_a = std::array::from_fn(|axis| -of_b[axis] - of_wire[axis]);
    ([of_a, of_b, of_wire], -by_p)
}

/// What the errors of the points are made of: three of each support alone, and the entries that they share.
struct Causes {
    /// Roots of the supports' own covariances.
    roots: [Vec<f64>; 2],
    /// Number of causes.
    size: usize,
}

/// A wire shot's condition.
struct Condition {
    /// Derivatives: by the parameter with its sign turned, then by the causes.
    row: Vec<f64>,
    /// How far the shot is from the curve.
    misclosure_m: f64,
    /// Variance by the shot's own errors.
    own_m2: f64,
}

impl Condition {
    fn whole_variance_m2(&self) -> f64 {
        self.own_m2 + self.row[1..].iter().map(|u| u * u).sum::<f64>()
    }
}

impl Causes {
    fn from_points(measured: &CorrelatedPoints) -> Causes {
        let root = |support: usize| semi_root(measured.own(support).as_flattened(), 3);
        Causes { roots: [root(0), root(1)], size: 6 + measured.entries() }
    }

    /// How a point answers to the causes, by number; its own errors but for those of the supports are left out.
    fn arms(&self, measured: &CorrelatedPoints, point: usize) -> Vec<(usize, [f64; 3])> {
        let mut arms: Vec<(usize, [f64; 3])> = Vec::new();
        if let Some(root) = self.roots.get(point) {
            arms.extend((0..3).map(|k| (3 * point + k, std::array::from_fn(|r| root[3 * r + k]))));
        }
        arms.extend(measured.arms(point).iter().map(|(number, arm)| (6 + number, *arm)));
        arms
    }

    fn condition(
        &self,
        measured: &CorrelatedPoints,
        wire: usize,
        by_points: &[[f64; 3]; 3],
        by_parameter: f64,
        misclosure_m: f64,
    ) -> Condition {
        let mut row = vec![0.0; 1 + self.size];
        row[0] = -by_parameter;
        for (point, by) in [0, 1, wire].into_iter().zip(by_points) {
            for (number, arm) in self.arms(measured, point) {
                row[1 + number] += by[0] * arm[0] + by[1] * arm[1] + by[2] * arm[2];
            }
        }
        let (own, by) = (measured.own(wire), by_points[2]);
        let own_m2: f64 = (0..9).map(|k| by[k / 3] * own[k / 3][k % 3] * by[k % 3]).sum();
        Condition { row, misclosure_m, own_m2: own_m2 + ROUNDING_M2 }
    }

    /// The supports and the points behind the wire shots, less what was found of their errors, and the parameter.
    fn adjusted(&self, measured: &CorrelatedPoints, wires: usize, step: &Step, parameter_m: f64) -> CorrelatedPoints {
        let others = (2 + wires..measured.points().len()).collect::<Vec<_>>();
        let kept: Vec<usize> = [0, 1].into_iter().chain(others).collect();
        let mut correlated = CorrelatedPoints::without_points(*measured.frame(), 1 + self.size);
        for point in kept {
            let arms = self.arms(measured, point);
            let mut place = measured.points()[point];
            for (number, arm) in &arms {
                place = std::array::from_fn(|k| place[k] - arm[k] * step.solution[1 + number]);
            }
            let own = if point < 2 { [[0.0; 3]; 3] } else { *measured.own(point) };
            correlated = correlated.with(place, own, arms.into_iter().map(|(number, arm)| (1 + number, arm)).collect());
        }
        // A parameter that is found too great is off by as much: its error has the other sign.
        correlated.with([parameter_m, 0.0, 0.0], [[0.0; 3]; 3], vec![(0, [-1.0, 0.0, 0.0])]).carried(&step.root)
    }
}

/// One round: Δp and what is found of the causes, and a root of the covariance of what is left of them.
struct Step {
    solution: Vec<f64>,
    root: Vec<f64>,
}

impl Step {
    fn solve(conditions: &[Condition], causes: usize) -> Option<Step> {
        let size = 1 + causes;
        let (mut normal, mut right) = (vec![0.0; size * size], vec![0.0; size]);
        (1..size).for_each(|k| normal[k * size + k] = 1.0);
        for Condition { row, misclosure_m, own_m2 } in conditions {
            let entries: Vec<(usize, f64)> = row.iter().copied().enumerate().filter(|(_, by)| *by != 0.0).collect();
            for (r, by) in &entries {
                right[*r] += by * misclosure_m / own_m2;
                entries.iter().for_each(|(c, other)| normal[r * size + c] += by * other / own_m2);
            }
        }
        let factor = Lower::with(&normal, size, |left| (left > 0.0).then(|| left.sqrt()))?;
        let mut inverse = vec![0.0; size * size];
        for column in 0..size {
            factor.inverse_column(column).into_iter().enumerate().for_each(|(row, x)| inverse[row * size + column] = x);
        }
        Some(Step { solution: factor.solve(&right), root: semi_root(&inverse, size) })
    }
}
