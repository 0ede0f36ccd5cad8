//! The weighted total least-squares plane through points whose errors hang together.
//!
//! Condition for each point: n · (p − e) = d, e its error, the sum eᵀ C⁻¹ e least, C the joint covariance of all points.
//! With B = diag(nᵀ), V = B C Bᵀ and r = n · p − d it is solved by the Gauss-Helmert iteration: x = −(Aᵀ V⁻¹ A)⁻¹ Aᵀ V⁻¹ r,
//! e = C Bᵀ V⁻¹ r, A taken at the adjusted points p − e (A. J. Pope, "Some pitfalls to be avoided in the iterative
//! adjustment of nonlinear problems", 1972; B. Schaffrin and A. Wieser, "On weighted total least-squares adjustment for
//! linear regression", Journal of Geodesy 82 (2008); both from memory). x are two tilts of n and a shift
//! of d; (Aᵀ V⁻¹ A)⁻¹ is their covariance. What the shots of one base share moves the plane as a whole: it weighs
//! nothing among them, and stands in that covariance.
//!
//! Metres and radians. Points in one line have no plane; [`PlaneSolution::spread_m`] tells how near they come.

use geo::{ConvexHull, MultiPoint, Point};

use super::super::located::{cross, dot, from_to, length, moved, unit};
use crate::geodesy::register::CorrelatedPoints;
use crate::numeric::cholesky::Lower;

/// Standard error along the normal that every shot has at least, in metres: the rounding of what a log holds. It keeps
/// shots without errors solvable.
const FLOOR_M: f64 = 1e-4;

/// Steps of the iteration; three or four are usual.
const STEPS: usize = 60;

/// Change of the tilts in radians at which it stands still.
const STILL_RAD: f64 = 1e-11;

/// A plane and how it answers to its points.
#[derive(Debug, Clone)]
pub struct PlaneSolution {
    /// Mean of the points, in the points' frame.
    pub centre: [f64; 3],
    /// The unit normal, up where it is not level.
    pub normal: [f64; 3],
    /// n · (p − centre) of the plane.
    pub offset_m: f64,
    /// Unit vectors that the normal tilts towards: along the strike (it turns the dip direction clockwise), and down the
    /// dip direction (it raises the dip).
    pub tilts: [[f64; 3]; 2],
    /// Covariance of the two tilts in radians and of the offset in metres.
    pub covariance: [[f64; 3]; 3],
    /// Distance of each point from the plane along the normal.
    pub residuals_m: Vec<f64>,
    /// Standard error of each of them.
    pub residual_sigmas_m: Vec<f64>,
    /// rᵀ V⁻¹ r.
    pub weighted_square: f64,
    /// Root mean square extents of the points along their longest line, across it, and across both.
    pub spread_m: [f64; 3],
    /// What tilts and offset lose for each metre that a point moves along the normal.
    gain: Vec<[f64; 3]>,
    points: Vec<[f64; 3]>,
}

impl PlaneSolution {
    /// The plane of correlated points. None where they lie in one line or spot, or the iteration does not stand still.
    pub fn fit(correlated: &CorrelatedPoints) -> Option<PlaneSolution> {
        let points = correlated.points();
        let count = points.len();
        if count < 3 || points.iter().flatten().any(|x| !x.is_finite()) {
            return None;
        }
        let centre = points.iter().fold([0.0; 3], |sum, p| moved(sum, 1.0 / count as f64, *p));
        let (spread_m, mut normal) = extents(points, centre);
        let mut offset_m = 0.0;
        let mut errors = vec![[0.0; 3]; count];
        for _ in 0..STEPS {
            if normal[2] < 0.0 {
                (normal, offset_m) = (normal.map(|x| -x), -offset_m);
            }
            let tilts = tilts(normal);
            let residuals: Vec<f64> = points.iter().map(|p| dot(normal, from_to(centre, *p)) - offset_m).collect();
            let root = |left: f64| (left > 0.0 && left.is_finite()).then(|| left.sqrt());
            let factor = Lower::with(&along_normal(correlated, normal), count, root)?;
            let design: Vec<[f64; 3]> = points
                .iter()
                .zip(&errors)
                .map(|(p, e)| {
                    let at = from_to(*e, from_to(centre, *p));
                    [dot(tilts[0], at), dot(tilts[1], at), -1.0]
                })
                .collect();
            // V⁻¹ A by columns, then the covariance and the gain.
            let weighted: [Vec<f64>; 3] = std::array::from_fn(|k| {
                let column: Vec<f64> = design.iter().map(|row| row[k]).collect();
                factor.solve(&column)
            });
            let square = |j: usize, k: usize| design.iter().zip(&weighted[k]).map(|(row, w)| row[j] * w).sum::<f64>();
            let covariance = inverse(std::array::from_fn(|j| std::array::from_fn(|k| square(j, k))))?;
            let gain: Vec<[f64; 3]> = (0..count)
                .map(|i| covariance.map(|row| row[0] * weighted[0][i] + row[1] * weighted[1][i] + row[2] * weighted[2][i]))
                .collect();
            let step = losses(&gain, residuals.iter().copied());
            if !step.iter().all(|x| x.is_finite()) {
                return None;
            }
            let weights = factor.solve(&residuals);
            if step[0].hypot(step[1]) < STILL_RAD && step[2].abs() < STILL_RAD * (1.0 + spread_m[0]) {
                let residual_sigmas_m = (0..count)
                    .map(|i| {
                        let own: f64 = factor.row(i).iter().map(|l| l * l).sum();
                        let model: f64 =
                            (0..3).map(|j| (0..3).map(|k| design[i][j] * covariance[j][k] * design[i][k]).sum::<f64>()).sum();
                        (own - model).max(0.0).sqrt()
                    })
                    .collect();
                let weighted_square = residuals.iter().zip(&weights).map(|(r, w)| r * w).sum();
                return Some(PlaneSolution {
                    centre,
                    normal,
                    offset_m,
                    tilts,
                    covariance,
                    residuals_m: residuals,
                    residual_sigmas_m,
                    weighted_square,
                    spread_m,
                    gain,
                    points: points.to_vec(),
                });
            }
            // e = C Bᵀ V⁻¹ r with r after the step.
            let after: Vec<f64> = residuals
                .iter()
                .zip(&design)
                .map(|(r, row)| r - row[0] * step[0] - row[1] * step[1] - row[2] * step[2])
                .collect();
            errors = errors_of(correlated, normal, &factor.solve(&after));
            normal = unit(moved(moved(normal, -step[0], tilts[0]), -step[1], tilts[1]));
            offset_m -= step[2];
        }
        None
    }

    /// The plane when its points have moved, to first order: normal and n · (p − centre).
    pub fn when_moved(&self, points: &[[f64; 3]]) -> ([f64; 3], f64) {
        let shifts = self.points.iter().zip(points).map(|(was, is)| dot(self.normal, from_to(*was, *is)));
        let loss = losses(&self.gain, shifts);
        let normal = unit(moved(moved(self.normal, -loss[0], self.tilts[0]), -loss[1], self.tilts[1]));
        (normal, self.offset_m - loss[2])
    }

    /// The ring of the points' convex hull on the plane, anticlockwise as seen against the normal.
    pub fn hull(&self) -> Vec<[f64; 3]> {
        let second = cross(self.normal, self.tilts[0]);
        let flat =
            self.points.iter().map(|p| from_to(self.centre, *p)).map(|p| Point::new(dot(p, self.tilts[0]), dot(p, second)));
        let hull = MultiPoint::from_iter(flat).convex_hull();
        // Closed: its first point again at the end.
        let ring = hull.exterior().0.iter().skip(1).map(|corner| [corner.x, corner.y]);
        let origin = moved(self.centre, self.offset_m, self.normal);
        ring.map(|[x, y]| moved(moved(origin, x, self.tilts[0]), y, second)).collect()
    }
}

/// Derivatives of the normal by the dip direction (made a unit vector) and by the dip.
fn tilts(normal: [f64; 3]) -> [[f64; 3]; 2] {
    let level = normal[0].hypot(normal[1]);
    let towards = if level > 1e-12 { [normal[0] / level, normal[1] / level] } else { [0.0, 1.0] };
    [[towards[1], -towards[0], 0.0], [normal[2] * towards[0], normal[2] * towards[1], -level]]
}

fn losses(gain: &[[f64; 3]], shifts: impl Iterator<Item = f64>) -> [f64; 3] {
    gain.iter().zip(shifts).fold([0.0; 3], |sum, (row, shift)| moved(sum, shift, *row))
}

/// B C Bᵀ with the floor, lower triangle by rows of `count`.
fn along_normal(correlated: &CorrelatedPoints, normal: [f64; 3]) -> Vec<f64> {
    let count = correlated.points().len();
    let mut v = vec![0.0; count * count];
    for i in 0..count {
        for j in 0..=i {
            v[i * count + j] = dot(normal, correlated.covariance_between(i, j).map(|row| dot(row, normal)));
        }
        v[i * count + i] += FLOOR_M * FLOOR_M;
    }
    v
}

/// C Bᵀ w by points.
fn errors_of(correlated: &CorrelatedPoints, normal: [f64; 3], weights: &[f64]) -> Vec<[f64; 3]> {
    let of_point = |i: usize| {
        let parts = weights.iter().enumerate().map(|(j, w)| correlated.covariance_between(i, j).map(|row| w * dot(row, normal)));
        parts.fold([0.0; 3], |sum, part| moved(sum, 1.0, part))
    };
    (0..weights.len()).map(of_point).collect()
}

/// The inverse of a symmetric matrix of three, by its cofactors.
fn inverse(m: [[f64; 3]; 3]) -> Option<[[f64; 3]; 3]> {
    let cofactors = [cross(m[1], m[2]), cross(m[2], m[0]), cross(m[0], m[1])];
    let determinant = dot(m[0], cofactors[0]);
    (determinant.is_finite() && determinant > 0.0)
        .then(|| std::array::from_fn(|r| std::array::from_fn(|c| cofactors[c][r] / determinant)))
}

/// Root mean square extents of points about their centre, longest first, and the direction of the shortest: the
/// eigenvalues of their scatter by Jacobi's rotations.
fn extents(points: &[[f64; 3]], centre: [f64; 3]) -> ([f64; 3], [f64; 3]) {
    let mut m = [[0.0; 3]; 3];
    for p in points {
        let d = from_to(centre, *p);
        m = std::array::from_fn(|r| std::array::from_fn(|c| m[r][c] + d[r] * d[c] / points.len() as f64));
    }
    let mut axes = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
    for _ in 0..30 {
        for (p, q) in [(0, 1), (0, 2), (1, 2)] {
            if m[p][q] == 0.0 {
                continue;
            }
            let angle = 0.5 * (2.0 * m[p][q]).atan2(m[q][q] - m[p][p]);
            let (s, c) = angle.sin_cos();
            for row in [&mut m, &mut axes].into_iter().flatten() {
                (row[p], row[q]) = (c * row[p] - s * row[q], s * row[p] + c * row[q]);
            }
            let (a, b) = (m[p], m[q]);
            m[p] = std::array::from_fn(|k| c * a[k] - s * b[k]);
            m[q] = std::array::from_fn(|k| s * a[k] + c * b[k]);
        }
    }
    let mut order = [0, 1, 2];
    order.sort_by(|a, b| m[*b][*b].total_cmp(&m[*a][*a]));
    let last = order[2];
    let shortest = std::array::from_fn(|r| axes[r][last]);
    (order.map(|k| m[k][k].max(0.0).sqrt()), if length(shortest) > 0.5 { unit(shortest) } else { [0.0, 0.0, 1.0] })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::trial::{Field, HANDHELD};
    use crate::shots::located;
    use crate::shots::reduce::Vector;

    /// What differences leave of a derivative.
    const SLOPE: f64 = 1e-5;

    /// Six shots of a leaning face from two bases, rough by some millimetres.
    fn shots() -> CorrelatedPoints {
        let mut field = Field::new(HANDHELD, [0.2, 0.3]).with_base([60.0, 20.0, 3.0], [0.15, 0.2]);
        let spots = [[0.0, 0.0], [14.0, 1.0], [3.0, 9.0], [-6.0, 5.0], [8.0, -7.0], [-3.0, -9.0]];
        for (i, [x, y]) in spots.into_iter().enumerate() {
            let rough = 0.002 * ((5 * i) % 7) as f64 - 0.006;
            field.shot(i % 2, "face", [25.0 + x, 50.0 + y, 8.0 + 0.4 * x - 0.7 * y + rough]);
        }
        let shots: Vec<(usize, &Vector)> = field.sightings.iter().map(|row| (row.base, row.vector.as_ref().unwrap())).collect();
        located::correlated(&field.bases, &shots).unwrap()
    }

    /// The plane of points that have moved, with the errors as they were.
    fn moved_by(correlated: &CorrelatedPoints, point: usize, by: [f64; 3]) -> PlaneSolution {
        let mut points = correlated.points().to_vec();
        points[point] = moved(points[point], 1.0, by);
        let moved = CorrelatedPoints::from_covariance(*correlated.frame(), points, &correlated.covariance()).unwrap();
        PlaneSolution::fit(&moved).unwrap()
    }

    #[test]
    fn the_plane_moves_with_its_points_as_when_it_is_fitted_anew() {
        let correlated = shots();
        let plane = PlaneSolution::fit(&correlated).unwrap();
        for point in 0..correlated.points().len() {
            for axis in 0..3 {
                let by: [f64; 3] = std::array::from_fn(|k| if k == axis { 1e-3 } else { 0.0 });
                let (plus, minus) = (moved_by(&correlated, point, by), moved_by(&correlated, point, by.map(|x| -x)));
                let at = |sign: f64| {
                    let mut points = correlated.points().to_vec();
                    points[point] = moved(points[point], sign, by);
                    plane.when_moved(&points)
                };
                let ((n_plus, d_plus), (n_minus, d_minus)) = (at(1.0), at(-1.0));
                // Of the plane fitted anew the offset is from a centre that has moved too.
                let offset = |fitted: &PlaneSolution| fitted.offset_m + dot(fitted.normal, from_to(plane.centre, fitted.centre));
                for k in 0..3 {
                    let (got, want) = (n_plus[k] - n_minus[k], plus.normal[k] - minus.normal[k]);
                    // The residuals of some millimetres turn the derivatives by a few thousandths.
                    assert!((got - want).abs() < 2e-3 * 1e-3, "{point} {axis} {k}: {got} {want}");
                }
                assert!((d_plus - d_minus - offset(&plus) + offset(&minus)).abs() < 5e-3 * 1e-3, "{point} {axis}");
            }
        }
    }

    /// The covariance of tilts and offset is K V Kᵀ of what they answer to each point, V that of the points along the normal with the floor.
    #[test]
    fn the_covariance_is_that_of_the_points_along_the_normal() {
        let correlated = shots();
        let plane = PlaneSolution::fit(&correlated).unwrap();
        let count = correlated.points().len();
        let whole = correlated.covariance();
        let v = |i: usize, j: usize| {
            let of = |k: usize| plane.normal[k / 3] * whole[(3 * i + k / 3) * 3 * count + 3 * j + k % 3] * plane.normal[k % 3];
            (0..9).map(of).sum::<f64>() + if i == j { FLOOR_M * FLOOR_M } else { 0.0 }
        };
        for r in 0..3 {
            for c in 0..3 {
                let pairs = (0..count * count).map(|k| (k / count, k % count));
                let want: f64 = pairs.map(|(i, j)| plane.gain[i][r] * v(i, j) * plane.gain[j][c]).sum();
                assert!((plane.covariance[r][c] - want).abs() < 1e-9, "{r} {c}: {} {want}", plane.covariance[r][c]);
            }
        }
        // Residuals are those of the plane, and their covariance is V − A Q Aᵀ, A by the tilts at the adjusted points: near enough those measured.
        for (i, point) in correlated.points().iter().enumerate() {
            let off = from_to(plane.centre, *point);
            assert!((plane.residuals_m[i] - dot(plane.normal, off) + plane.offset_m).abs() < 1e-12);
            let a = [dot(plane.tilts[0], off), dot(plane.tilts[1], off), -1.0];
            let model: f64 = (0..9).map(|k| a[k / 3] * plane.covariance[k / 3][k % 3] * a[k % 3]).sum();
            let want = (v(i, i) - model).max(0.0).sqrt();
            assert!((plane.residual_sigmas_m[i] / want - 1.0).abs() < 2e-3, "{i}: {} {want}", plane.residual_sigmas_m[i]);
        }
    }

    #[test]
    fn tilts_are_derivatives_of_the_normal() {
        // By dip direction δ and dip φ: n = (sin φ sin δ, sin φ cos δ, cos φ).
        let normal = |direction: f64, dip: f64| [dip.sin() * direction.sin(), dip.sin() * direction.cos(), dip.cos()];
        for (direction, dip) in [(0.3, 0.2), (2.0, 1.2), (4.0, 0.7), (5.5, 1.5)] {
            let [by_direction, by_dip] = tilts(normal(direction, dip));
            let slope = |plus: [f64; 3], minus: [f64; 3]| from_to(minus, plus).map(|x| x / 2e-5);
            let direction_slope = unit(slope(normal(direction + 1e-5, dip), normal(direction - 1e-5, dip)));
            let dip_slope = slope(normal(direction, dip + 1e-5), normal(direction, dip - 1e-5));
            assert!(length(from_to(by_direction, direction_slope)) < SLOPE && length(from_to(by_dip, dip_slope)) < SLOPE);
        }
        // A level plane dips towards north, by nothing.
        assert_eq!(tilts([0.0, 0.0, 1.0]), [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]);
    }

    #[test]
    fn extents_are_those_of_three_axes_aslant() {
        // Points at ±a, ±b, ±c along three axes at right angles: 2a²/6 and so on.
        let [first, second] = [unit([1.0, 2.0, -0.5]), unit([2.0, -1.0, 0.0])];
        let third = cross(first, second);
        let centre = [40.0, -20.0, 7.0];
        for lengths in [[9.0, 4.0, 1.0], [1.0, 9.0, 4.0], [4.0, 1.0, 9.0]] {
            let axes = [first, second, third];
            let points: Vec<[f64; 3]> =
                (0..6).map(|k| moved(centre, if k < 3 { 1.0 } else { -1.0 } * lengths[k % 3], axes[k % 3])).collect();
            let (spread, shortest) = extents(&points, centre);
            for (got, want) in spread.iter().zip([9.0, 4.0, 1.0]) {
                assert!((got - want / 3f64.sqrt()).abs() < 1e-12, "{spread:?}");
            }
            let axis = axes[lengths.iter().position(|length| *length == 1.0).unwrap()];
            assert!((dot(shortest, axis).abs() - 1.0).abs() < 1e-12, "{shortest:?} {axis:?}");
        }
    }

    #[test]
    fn inverse_of_three_rows_by_hand() {
        // [2 1 0; 1 3 1; 0 1 4]: its determinant is 2 (12 − 1) − 4 = 18.
        let got = inverse([[2.0, 1.0, 0.0], [1.0, 3.0, 1.0], [0.0, 1.0, 4.0]]).unwrap();
        let want = [[11.0, -4.0, 1.0], [-4.0, 8.0, -2.0], [1.0, -2.0, 5.0]].map(|row| row.map(|x: f64| x / 18.0));
        assert!(got.as_flattened().iter().zip(want.as_flattened()).all(|(a, b)| (a - b).abs() < 1e-15), "{got:?}");
        assert!(inverse([[1.0, 2.0, 3.0], [2.0, 4.0, 6.0], [3.0, 6.0, 9.0]]).is_none());
        assert!(inverse([[f64::NAN, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]).is_none());
    }
}
