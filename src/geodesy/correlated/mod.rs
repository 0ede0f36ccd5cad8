//! Points whose errors hang together, in one local frame, and what follows from them with its standard error.
//!
//! Two shots of one base share the base's position error and its orientation error; their own
//! readings are independent. So the covariance of points i and j is
//! C_ij = R Σ_base Rᵀ + aᵢ aⱼᵀ + p aⱼᵀ + aᵢ pᵀ for one base (a the arm of the shared orientation, p what the position goes with
//! one standard error of it; zero but for bases of a network) and 0 for two, with the readings' own
//! covariance added where i = j. What is common cancels in differences by itself. The error of a datum step, common
//! to all, is left out: it moves every point alike.
//!
//! A value f of the points has the variance g C gᵀ, g the gradient of f by central differences (the law of
//! propagation of variances, any text on adjustment, e.g. C. D. Ghilani, "Adjustment Computations", ch. 6). The matrix C is never
//! built: g C gᵀ is the sum of the points' own parts and, for each base, of the squares of what its errors move f by in all.

use std::collections::BTreeMap;

use crate::geodesy::covariance::{Covariance, INTERVAL95};
use crate::geodesy::frame::{Ellipsoid, Geodetic, LocalFrame};
use crate::shots::reduce::Vector;

/// Step of the central differences in metres: far above rounding, far below any curvature of interest.
const STEP_M: f64 = 1e-3;

/// Where shots start from: a base without what only PROJ needs.
#[derive(Debug, Clone)]
pub struct Origin {
    /// Name for people.
    pub label: String,
    /// East, north, up at the base's ground point.
    pub frame: LocalFrame,
    /// The ellipsoid of its datum.
    pub ellipsoid: Ellipsoid,
    /// Covariance of its position, shared by all its shots.
    pub covariance: Covariance,
    /// How far east, north and up the position goes, on the average, with one standard error of the orientation, in metres:
    /// their covariance over the standard error of the orientation.
    pub orientation_pull_m: [f64; 3],
    /// Mean radius of the earth at the base, in metres.
    pub earth_radius_m: f64,
}

/// Points with their joint covariance.
#[derive(Debug, Clone)]
pub struct Joint {
    /// East, north, up of the frame's origin.
    frame: LocalFrame,
    /// Points in that frame, in metres.
    points: Vec<[f64; 3]>,
    /// What they err by.
    errors: Errors,
}

/// A matrix of three by three: a covariance of two points in square metres, a rotation.
pub type Matrix = [[f64; 3]; 3];

/// The errors of points, in metres in their frame.
#[derive(Debug, Clone)]
enum Errors {
    /// Of shots: what each has of its own, and what it shares with the others of its base. Linear in the points.
    OfShots(Vec<Shared>),
    /// Any: 3n × 3n by rows, in square metres.
    Whole(Vec<f64>),
}

/// The errors of one shot's point.
#[derive(Debug, Clone, Copy)]
struct Shared {
    /// Covariance of its own readings.
    own: Matrix,
    /// Which base, counted in the order of the points.
    base: usize,
    /// How far one standard error of each cause moves it: three of the base's position, and its orientation with what goes along.
    arms: [[f64; 3]; 4],
}

/// A value and its standard error, in one unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The value.
    pub value: f64,
    /// Its standard error.
    pub sigma: f64,
}

impl Estimate {
    /// Half of the 95 % interval about the value.
    pub fn half95(&self) -> f64 {
        INTERVAL95 * self.sigma
    }
}

impl Joint {
    /// Points of shots: base index and vector of each, all with a height. The frame stands at the first point.
    /// None without points, or where one has no height.
    pub fn of_shots(bases: &[Origin], shots: &[(usize, &Vector)]) -> Option<Joint> {
        let ends: Vec<[f64; 3]> = shots
            .iter()
            .map(|(base, vector)| Some(bases[*base].frame.to_earth_centred([vector.east_m, vector.north_m, vector.up_m?])))
            .collect::<Option<_>>()?;
        let first = *ends.first()?;
        let ellipsoid = &bases[shots[0].0].ellipsoid;
        let frame = LocalFrame::at(&Geodetic::from_earth_centred(first, ellipsoid), ellipsoid);
        let points: Vec<[f64; 3]> = ends.into_iter().map(|end| frame.from_earth_centred(end)).collect();
        let mut order: BTreeMap<usize, usize> = BTreeMap::new();
        let shared = shots.iter().map(|(base, vector)| {
            let next = order.len();
            let (origin, turn) = (&bases[*base], turn(&bases[*base], &frame));
            // Σ + a aᵀ + p aᵀ + a pᵀ = (Σ − p pᵀ) + (a + p)(a + p)ᵀ.
            let pull = origin.orientation_pull_m;
            let [east, north, up] = root(&without(&origin.covariance, &Covariance::of_arm(pull)));
            let turning = std::array::from_fn(|k| vector.orientation_arm_m[k] + pull[k]);
            Shared {
                own: turned(&turn, &matrix(&(vector.direction + vector.distance))),
                base: *order.entry(*base).or_insert(next),
                arms: [east, north, up, turning].map(|arm| apply(&turn, arm)),
            }
        });
        let errors = Errors::OfShots(shared.collect());
        Some(Joint { frame, points, errors })
    }

    /// Points of any origin in a frame, in metres, with their covariance (3n × 3n by rows).
    pub fn of_points(frame: LocalFrame, points: Vec<[f64; 3]>, covariance: Vec<f64>) -> Option<Joint> {
        let is_square = covariance.len() == 9 * points.len() * points.len();
        is_square.then_some(Joint { frame, points, errors: Errors::Whole(covariance) })
    }

    /// The same points and one more, which shares its errors with none.
    pub fn with_point(&self, point: [f64; 3], covariance: &Covariance) -> Joint {
        let mut joint = self.clone();
        joint.points.push(point);
        match &mut joint.errors {
            Errors::OfShots(shared) => shared.push(Shared { own: matrix(covariance), base: shared.len(), arms: [[0.0; 3]; 4] }),
            Errors::Whole(_) => {
                let (last, size) = (self.points.len(), 3 * joint.points.len());
                let own = matrix(covariance);
                let whole = (0..size * size).map(|k| match (k / size, k % size) {
                    (r, c) if r / 3 == last && c / 3 == last => own[r % 3][c % 3],
                    (r, c) if r / 3 == last || c / 3 == last => 0.0,
                    (r, c) => self.covariance_between(r / 3, c / 3)[r % 3][c % 3],
                });
                joint.errors = Errors::Whole(whole.collect());
            }
        }
        joint
    }

    /// Some of the points by themselves, in the order of `indices`: what follows from few points of many costs no more than
    /// the few.
    pub fn subset(&self, indices: &[usize]) -> Joint {
        let errors = match &self.errors {
            Errors::OfShots(shared) => Errors::OfShots(indices.iter().map(|i| shared[*i]).collect()),
            Errors::Whole(_) => {
                let size = 3 * indices.len();
                let at = |k: usize| (indices[k / 3], k % 3);
                let whole = (0..size * size).map(|k| {
                    let ((i, r), (j, c)) = (at(k / size), at(k % size));
                    self.covariance_between(i, j)[r][c]
                });
                Errors::Whole(whole.collect())
            }
        };
        Joint { frame: self.frame, points: indices.iter().map(|i| self.points[*i]).collect(), errors }
    }

    /// The frame that the points stand in.
    pub fn frame(&self) -> &LocalFrame {
        &self.frame
    }

    /// East, north, up of the points in metres.
    pub fn points(&self) -> &[[f64; 3]] {
        &self.points
    }

    /// The covariance of all points, 3n × 3n by rows, in square metres: for methods that need it whole, which limit the number
    /// of points.
    pub fn covariance(&self) -> Vec<f64> {
        match &self.errors {
            Errors::Whole(whole) => whole.clone(),
            Errors::OfShots(_) => {
                let size = 3 * self.points.len();
                let mut whole = vec![0.0; size * size];
                for i in 0..self.points.len() {
                    for j in 0..self.points.len() {
                        for (r, row) in self.covariance_between(i, j).iter().enumerate() {
                            whole[(3 * i + r) * size + 3 * j..][..3].copy_from_slice(row);
                        }
                    }
                }
                whole
            }
        }
    }

    /// The covariance of two points: rows of the first, columns of the second.
    pub fn covariance_between(&self, i: usize, j: usize) -> Matrix {
        match &self.errors {
            Errors::Whole(whole) => {
                let size = 3 * self.points.len();
                std::array::from_fn(|r| std::array::from_fn(|c| whole[(3 * i + r) * size + 3 * j + c]))
            }
            Errors::OfShots(shared) => {
                let (one, other) = (&shared[i], &shared[j]);
                std::array::from_fn(|r| {
                    std::array::from_fn(|c| {
                        let own = if i == j { one.own[r][c] } else { 0.0 };
                        let arms = one.arms.iter().zip(&other.arms);
                        own + if one.base == other.base { arms.map(|(a, b)| a[r] * b[c]).sum() } else { 0.0 }
                    })
                })
            }
        }
    }

    /// The covariance of one point.
    pub fn covariance_of(&self, i: usize) -> Covariance {
        let at = self.covariance_between(i, i);
        Covariance { ee: at[0][0], en: at[0][1], eu: at[0][2], nn: at[1][1], nu: at[1][2], uu: at[2][2] }
    }

    /// A value of the points with its standard error. The function must be smooth about the points;
    /// an angle must not jump between two turns there.
    pub fn estimate(&self, value: impl Fn(&[[f64; 3]]) -> f64) -> Estimate {
        let [estimate] = self.estimates(|points| [value(points)]);
        estimate
    }

    /// Several values at once. Each point is moved in turn, so that of many points the few that count are taken by
    /// [`Joint::subset`] first.
    pub fn estimates<const N: usize>(&self, values: impl Fn(&[[f64; 3]]) -> [f64; N]) -> [Estimate; N] {
        let mut moved = self.points.clone();
        let mut running: [Running<'_>; N] = std::array::from_fn(|_| Running::of(self));
        for i in 0..self.points.len() {
            let mut gradients = [[0.0; 3]; N];
            for axis in 0..3 {
                let kept = moved[i][axis];
                moved[i][axis] = kept + STEP_M;
                let above = values(&moved);
                moved[i][axis] = kept - STEP_M;
                let below = values(&moved);
                moved[i][axis] = kept;
                for n in 0..N {
                    gradients[n][axis] = (above[n] - below[n]) / (2.0 * STEP_M);
                }
            }
            running.iter_mut().zip(gradients).for_each(|(running, gradient)| running.add(i, gradient));
        }
        let at = values(&self.points);
        std::array::from_fn(|n| Estimate { value: at[n], sigma: running[n].sigma() })
    }
}

/// The standard error of a value whose gradient is put together point by point, and may change as it goes along: sums along a
/// chain of many points cost no more than its length.
pub struct Running<'j> {
    joint: &'j Joint,
    gradient: Vec<[f64; 3]>,
    /// Variance by the points' own errors.
    own: f64,
    /// What one standard error of each cause of a base moves the value by.
    shared: Vec<[f64; 4]>,
    /// The sum of the squares of these.
    squares: f64,
}

impl<'j> Running<'j> {
    /// Of a value that depends on no point yet.
    pub fn of(joint: &'j Joint) -> Running<'j> {
        let bases = match &joint.errors {
            Errors::OfShots(shared) => shared.iter().map(|point| point.base + 1).max().unwrap_or(0),
            Errors::Whole(_) => 0,
        };
        Running { joint, gradient: vec![[0.0; 3]; joint.points.len()], own: 0.0, shared: vec![[0.0; 4]; bases], squares: 0.0 }
    }

    /// Adds to the value's gradient by a point's east, north and up.
    pub fn add(&mut self, point: usize, change: [f64; 3]) {
        let quadratic =
            |m: &Matrix, g: [f64; 3]| (0..3).map(|r| g[r] * (m[r][0] * g[0] + m[r][1] * g[1] + m[r][2] * g[2])).sum::<f64>();
        let before = self.gradient[point];
        let after = std::array::from_fn(|k| before[k] + change[k]);
        self.gradient[point] = after;
        if let Errors::OfShots(shared) = &self.joint.errors {
            let of_point = &shared[point];
            self.own += quadratic(&of_point.own, after) - quadratic(&of_point.own, before);
            for (sum, arm) in self.shared[of_point.base].iter_mut().zip(&of_point.arms) {
                self.squares -= *sum * *sum;
                *sum += arm[0] * change[0] + arm[1] * change[1] + arm[2] * change[2];
                self.squares += *sum * *sum;
            }
        }
    }

    /// The standard error of the value.
    pub fn sigma(&self) -> f64 {
        let variance = match &self.joint.errors {
            Errors::OfShots(_) => self.own + self.squares,
            Errors::Whole(whole) => {
                let gradient = self.gradient.as_flattened();
                let row = |r: usize| {
                    whole[r * gradient.len()..][..gradient.len()].iter().zip(gradient).map(|(c, g)| c * g).sum::<f64>()
                };
                let moved = gradient.iter().enumerate().filter(|(_, g)| **g != 0.0);
                moved.map(|(r, g)| g * row(r)).sum()
            }
        };
        // A value that is not finite stays so.
        if variance < 0.0 { 0.0 } else { variance.sqrt() }
    }
}

/// The variance of a value whose gradient by east, north and up of each point in `frame` is known, without
/// the whole covariance matrix: for strings of many vertices. Vectors without a height take part in the plane.
pub fn gradient_variance(bases: &[Origin], shots: &[(usize, &Vector)], frame: &LocalFrame, gradient: &[[f64; 3]]) -> f64 {
    let quadratic = |g: [f64; 3], c: &Covariance| {
        let m = matrix(c);
        (0..3).map(|r| (0..3).map(|k| g[r] * m[r][k] * g[k]).sum::<f64>()).sum::<f64>()
    };
    let mut variance = 0.0;
    // What the shots of one base share acts on the sum of their gradients.
    let mut shared: BTreeMap<usize, ([f64; 3], f64)> = BTreeMap::new();
    for ((base, vector), g) in shots.iter().zip(gradient) {
        let turn = turn(&bases[*base], frame);
        // In the base's own axes: Rᵀ g.
        let own: [f64; 3] = std::array::from_fn(|c| (0..3).map(|r| turn[r][c] * g[r]).sum());
        variance += quadratic(own, &(vector.direction + vector.distance));
        let (sum, arm) = shared.entry(*base).or_default();
        *sum = std::array::from_fn(|k| sum[k] + own[k]);
        *arm += (0..3).map(|k| own[k] * vector.orientation_arm_m[k]).sum::<f64>();
    }
    for (base, (sum, arm)) in shared {
        let pull: f64 = (0..3).map(|k| sum[k] * bases[base].orientation_pull_m[k]).sum();
        variance += quadratic(sum, &bases[base].covariance) + arm * arm + 2.0 * pull * arm;
    }
    variance.max(0.0)
}

/// The rotation from a base's axes to those of a frame.
fn turn(base: &Origin, frame: &LocalFrame) -> [[f64; 3]; 3] {
    let (own, to) = (base.frame.axes(), frame.axes());
    std::array::from_fn(|r| std::array::from_fn(|c| (0..3).map(|k| to[r][k] * own[c][k]).sum()))
}

fn apply(turn: &[[f64; 3]; 3], vector: [f64; 3]) -> [f64; 3] {
    turn.map(|row| row[0] * vector[0] + row[1] * vector[1] + row[2] * vector[2])
}

/// R C Rᵀ.
fn turned(turn: &[[f64; 3]; 3], c: &[[f64; 3]; 3]) -> [[f64; 3]; 3] {
    let half: [[f64; 3]; 3] = std::array::from_fn(|r| std::array::from_fn(|k| (0..3).map(|j| turn[r][j] * c[j][k]).sum()));
    std::array::from_fn(|r| std::array::from_fn(|k| (0..3).map(|j| half[r][j] * turn[k][j]).sum()))
}

/// A covariance less a part of it.
fn without(c: &Covariance, part: &Covariance) -> Covariance {
    Covariance {
        ee: c.ee - part.ee,
        en: c.en - part.en,
        eu: c.eu - part.eu,
        nn: c.nn - part.nn,
        nu: c.nu - part.nu,
        uu: c.uu - part.uu,
    }
}

/// Three vectors whose products with themselves add up to a covariance: Cholesky's decomposition by columns. A direction without
/// error, or what rounding puts below none, has none.
fn root(c: &Covariance) -> [[f64; 3]; 3] {
    let m = matrix(c);
    let mut columns = [[0.0f64; 3]; 3];
    for k in 0..3 {
        let left = m[k][k] - (0..k).map(|j| columns[j][k] * columns[j][k]).sum::<f64>();
        // Not "if left <= 0": an unknown variance must stay unknown.
        let is_none = left <= 1e-15 * m[k][k];
        let pivot = if is_none { 0.0 } else { left.sqrt() };
        columns[k][k] = pivot;
        for r in k + 1..3 {
            let rest = m[r][k] - (0..k).map(|j| columns[j][r] * columns[j][k]).sum::<f64>();
            columns[k][r] = if is_none { 0.0 } else { rest / pivot };
        }
    }
    columns
}

fn matrix(c: &Covariance) -> [[f64; 3]; 3] {
    [[c.ee, c.en, c.eu], [c.en, c.nn, c.nu], [c.eu, c.nu, c.uu]]
}

#[cfg(test)]
mod tests;
