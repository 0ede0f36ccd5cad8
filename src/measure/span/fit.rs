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

use super::curve::{Curve, CurveKind};
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
    pub kind: CurveKind,
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
pub fn fit(kind: CurveKind, measured: &CorrelatedPoints, wires: usize) -> Option<Fit> {
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
        let step = CurveStep::solve(&conditions, causes.size)?;
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
fn gradient(kind: CurveKind, points: &[[f64; 3]], wire: usize, p: f64, nominal_span_m: f64) -> ([[f64; 3]; 3], f64) {
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
    fn adjusted(&self, measured: &CorrelatedPoints, wires: usize, step: &CurveStep, parameter_m: f64) -> CorrelatedPoints {
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
struct CurveStep {
    solution: Vec<f64>,
    root: Vec<f64>,
}

impl CurveStep {
    fn solve(conditions: &[Condition], causes: usize) -> Option<CurveStep> {
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
        Some(CurveStep { solution: factor.solve(&right), root: semi_root(&inverse, size) })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::fixture::{Scene, sigmas};
    use crate::numeric::monte_carlo::Normal;
    use crate::shots::located;
    use crate::shots::reduce::Vector;

    /// Step of the differences below in metres, and what they leave of a derivative.
    const DIFFERENCE_M: f64 = 1e-3;
    const SLOPE: f64 = 1e-6;

    const WIRES: usize = 4;
    const SPAN_M: f64 = 150.0;

    /// Supports, wire shots beside the plane as well, an object; from two bases, with errors drawn.
    fn measured(seed: u64) -> CorrelatedPoints {
        shot(Scene::new(&[[0.0; 3], [70.0, 15.0, 1.0]], sigmas()), seed)
    }

    /// The same from one base without errors of its own, so that the shots share nothing.
    fn apart(seed: u64) -> CorrelatedPoints {
        let mut scene = Scene::new(&[[0.0; 3]], sigmas()).turned(0.0);
        scene.place_base(&Default::default());
        let apart = shot(scene, seed);
        assert_eq!(apart.entries(), 0);
        apart
    }

    fn shot(mut scene: Scene, seed: u64) -> CorrelatedPoints {
        let last = scene.bases.len() - 1;
        let (sin, cos) = 65f64.to_radians().sin_cos();
        let at = |x: f64, right: f64, up: f64| [-50.0 + x * sin + right * cos, 35.0 + x * cos - right * sin, up];
        let hung = |x: f64| 14.0 + 6.0 * x / SPAN_M - 4.0 * 5.0 * x * (SPAN_M - x) / (SPAN_M * SPAN_M);
        scene.row(0, "support_a", "A", at(0.0, 0.0, hung(0.0)));
        scene.row(last, "support_b", "B", at(SPAN_M, 0.0, hung(SPAN_M)));
        for (i, (x, right)) in [(30.0, 0.4), (70.0, -1.5), (95.0, 2.5), (125.0, 0.0)].into_iter().enumerate() {
            scene.row(i % 2 * last, "wire", &format!("W{i}"), at(x, right, hung(x)));
        }
        scene.row(last, "object", "Oak", at(80.0, 5.0, 3.0));
        let group = scene.drawn("span", "Mill line", &mut Normal::seeded(seed));
        let vectors: Vec<(usize, Vector)> = group.sightings.iter().map(|row| (row.base, row.vector.unwrap())).collect();
        let shots: Vec<(usize, &Vector)> = vectors.iter().map(|(base, vector)| (*base, vector)).collect();
        located::correlated(group.bases, &shots).unwrap()
    }

    /// How much higher than the curve a wire shot is.
    fn gap(kind: CurveKind, points: &[[f64; 3]], wire: usize, p: f64, nominal_span_m: f64) -> f64 {
        let (a, b, shot) = (points[0], points[1], points[wire]);
        let (east, north) = (b[0] - a[0], b[1] - a[1]);
        let span = east.hypot(north);
        let along = ((shot[0] - a[0]) * east + (shot[1] - a[1]) * north) / span;
        shot[2] - Curve::new(kind, [0.0, 0.0, a[2]], [span, 0.0, b[2]], p, nominal_span_m).up_m(along)
    }

    #[test]
    fn gradients_are_differences_of_the_gap() {
        let points = measured(1).points().to_vec();
        for kind in [CurveKind::Catenary, CurveKind::Parabola] {
            for wire in 2..2 + WIRES {
                let (by_points, by_parameter) = gradient(kind, &points, wire, 5.2, SPAN_M);
                for (point, by) in [0, 1, wire].into_iter().zip(by_points) {
                    for (axis, by) in by.into_iter().enumerate() {
                        let at = |step: f64| {
                            let mut moved = points.clone();
                            moved[point][axis] += step;
                            gap(kind, &moved, wire, 5.2, SPAN_M)
                        };
                        let slope = (at(DIFFERENCE_M) - at(-DIFFERENCE_M)) / (2.0 * DIFFERENCE_M);
                        assert!((by - slope).abs() < SLOPE, "{kind:?} {wire} {point} {axis}: {by} {slope}");
                    }
                }
                let at = |step: f64| gap(kind, &points, wire, 5.2 + step, SPAN_M);
                let slope = (at(DIFFERENCE_M) - at(-DIFFERENCE_M)) / (2.0 * DIFFERENCE_M);
                assert!((by_parameter - slope).abs() < SLOPE, "{kind:?} {wire}: {by_parameter} {slope}");
            }
        }
    }

    type Rows = Vec<Vec<f64>>;

    fn times(a: &Rows, b: &Rows) -> Rows {
        let of = |row: &Vec<f64>, c: usize| row.iter().zip(b).map(|(x, other)| x * other[c]).sum();
        a.iter().map(|row| (0..b[0].len()).map(|c| of(row, c)).collect()).collect()
    }

    fn turned(a: &Rows) -> Rows {
        (0..a[0].len()).map(|c| a.iter().map(|row| row[c]).collect()).collect()
    }

    /// By Gauss and Jordan; it is positive definite.
    fn inverted(a: &Rows) -> Rows {
        let size = a.len();
        let unit = |k: usize| (0..size).map(move |c| if c == k { 1.0 } else { 0.0 });
        let mut whole: Rows = a.iter().enumerate().map(|(k, row)| row.iter().copied().chain(unit(k)).collect()).collect();
        for k in 0..size {
            let pivot = whole[k][k];
            whole[k].iter_mut().for_each(|x| *x /= pivot);
            let row = whole[k].clone();
            for (_, other) in whole.iter_mut().enumerate().filter(|(i, _)| *i != k) {
                let share = other[k];
                other.iter_mut().zip(&row).for_each(|(x, y)| *x -= share * y);
            }
        }
        whole.into_iter().map(|row| row[size..].to_vec()).collect()
    }

    /// The combined case by whole matrices: V = G C Gᵀ, Δp = −(Aᵀ V⁻¹ A)⁻¹ Aᵀ V⁻¹ w, adjusted l − C Gᵀ V⁻¹ w at the last p, G and A by differences.
    #[test]
    fn as_by_whole_matrices() {
        for (kind, measured) in [
            (CurveKind::Catenary, measured(3)),
            (CurveKind::Parabola, measured(4)),
            (CurveKind::Catenary, measured(5)),
            (CurveKind::Catenary, apart(6)),
        ] {
            let found = fit(kind, &measured, WIRES).unwrap();
            let (points, whole) = (measured.points(), measured.covariance());
            let size = 3 * points.len();
            let c: Rows = whole.chunks(size).map(<[f64]>::to_vec).collect();
            let nominal = (points[1][0] - points[0][0]).hypot(points[1][1] - points[0][1]);
            assert!((found.nominal_span_m - nominal).abs() < 1e-9);
            let mut p = 5.0;
            let step = |points: &[[f64; 3]], k: usize, by: f64| {
                let mut moved = points.to_vec();
                moved[k / 3][k % 3] += by;
                moved
            };
            let (mut g, mut a, mut w);
            let (mut v_inverse, mut q);
            let mut rounds = 0;
            loop {
                let of = |points: &[[f64; 3]], p: f64| -> Vec<f64> {
                    (2..2 + WIRES).map(|wire| gap(kind, points, wire, p, nominal)).collect()
                };
                let difference = |plus: Vec<f64>, minus: Vec<f64>| -> Vec<f64> {
                    plus.iter().zip(minus).map(|(x, y)| (x - y) / (2.0 * DIFFERENCE_M)).collect()
                };
                let columns: Rows = (0..size)
                    .map(|k| difference(of(&step(points, k, DIFFERENCE_M), p), of(&step(points, k, -DIFFERENCE_M), p)))
                    .collect();
                g = turned(&columns);
                a = turned(&vec![difference(of(points, p + DIFFERENCE_M), of(points, p - DIFFERENCE_M))]);
                w = turned(&vec![of(points, p)]);
                let mut v = times(&times(&g, &c), &turned(&g));
                (0..WIRES).for_each(|i| v[i][i] += ROUNDING_M2);
                for (got, want) in found.expected_m.iter().zip((0..WIRES).map(|i| v[i][i].sqrt())) {
                    assert!(rounds == 0 || (got / want - 1.0).abs() < 1e-3, "{got} {want}");
                }
                v_inverse = inverted(&v);
                q = 1.0 / times(&times(&turned(&a), &v_inverse), &a)[0][0];
                let moves = -q * times(&times(&turned(&a), &v_inverse), &w)[0][0];
                p += moves;
                rounds += 1;
                if moves.abs() < 1e-9 {
                    break;
                }
                assert!(rounds < 30);
            }
            let got = found.adjusted.points();
            let parameter = got.len() - 1;
            assert!((got[parameter][0] - p).abs() < 1e-6, "{kind:?}: {:?} {p}", got[parameter]);
            // C Gᵀ V⁻¹ w, and the covariance of what is left: C − C Gᵀ (V⁻¹ − V⁻¹ A q Aᵀ V⁻¹) G C, with that of p −C Gᵀ V⁻¹ A q.
            let gain = times(&times(&c, &turned(&g)), &v_inverse);
            let (found_errors, with_p) = (times(&gain, &w), times(&gain, &a));
            let known = times(&gain, &times(&g, &c));
            let kept = [0, 1, 2 + WIRES];
            for (i, point) in kept.into_iter().enumerate() {
                for r in 0..3 {
                    let want = points[point][r] - found_errors[3 * point + r][0];
                    assert!((got[i][r] - want).abs() < 1e-6, "{kind:?} {point} {r}: {} {want}", got[i][r]);
                    let crossed = found.adjusted.covariance_between(i, parameter)[r][0];
                    let want = -q * with_p[3 * point + r][0];
                    assert!((crossed - want).abs() < 1e-6, "{kind:?} {point} {r}: {crossed} {want}");
                    for (j, other) in kept.into_iter().enumerate() {
                        for s in 0..3 {
                            let (row, column) = (3 * point + r, 3 * other + s);
                            let want = c[row][column] - known[row][column] + q * with_p[row][0] * with_p[column][0];
                            let is = found.adjusted.covariance_between(i, j)[r][s];
                            assert!((is - want).abs() < 1e-6, "{kind:?} {point} {other}: {is} {want}");
                        }
                    }
                }
            }
            let variance = found.adjusted.covariance_between(parameter, parameter)[0][0];
            assert!((variance / q - 1.0).abs() < 1e-4, "{variance} {q}");
            // What the wire shots are off the adjusted curve by.
            for (k, misfit) in found.misfits_m.iter().enumerate() {
                let want = gap(kind, &[got[0], got[1], points[2 + k]], 2, p, nominal);
                assert!((misfit - want).abs() < 1e-6, "{misfit} {want}");
            }
            let curve = found.curve(got);
            let again = Curve::new(kind, got[0], got[1], p, nominal);
            assert!((curve.sag_m() - again.sag_m()).abs() < 1e-6);
        }
    }
}
