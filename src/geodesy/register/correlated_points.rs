//! Points whose errors hang together, in one local frame, and what follows from them with its standard error.
//!
//! C_ij = Σ aᵢ aⱼᵀ over the entries of the register that both points have, and the point's own covariance where i = j. A value f of the
//! points has the variance g C gᵀ, g the gradient of f by central differences. The matrix C is never built: g C gᵀ is the sum of the points'
//! own parts and, for each entry, of the square of what one standard error of it moves f by in all.

use super::{Arm, ErrorId, Located, Register};
use crate::geodesy::covariance::{Covariance, INTERVAL95};
use crate::geodesy::frame::{Ellipsoid, Geodetic, LocalFrame};
use crate::numeric::cholesky::semi_root;
use crate::numeric::monte_carlo::Normal;

/// Step of the central differences in metres: far above rounding, far below any curvature of interest.
const STEP_M: f64 = 1e-3;

/// Points with their joint covariance.
#[derive(Debug, Clone)]
pub struct CorrelatedPoints {
    /// East, north, up of the frame's origin.
    frame: LocalFrame,
    /// Points in that frame, in metres.
    points: Vec<[f64; 3]>,
    /// What they err by, in that frame.
    errors: Vec<PointArms>,
    /// Independent entries that they share.
    entries: usize,
}

/// A matrix of three by three: a covariance of two points in square metres, a rotation.
pub type Matrix = [[f64; 3]; 3];

/// The errors of a point.
#[derive(Debug, Clone)]
struct PointArms {
    /// Covariance of its own readings.
    own: Matrix,
    /// How far one standard error of each entry moves it, by number of the entry, ascending.
    arms: Vec<(usize, [f64; 3])>,
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

impl CorrelatedPoints {
    /// Points on one ellipsoid, with the register that their entries are of. The frame stands at the first point; none without points.
    pub fn from_located(points: &[Located], ellipsoid: &Ellipsoid, register: &Register) -> Option<CorrelatedPoints> {
        let first = points.first()?.at;
        let frame = LocalFrame::at(&Geodetic::from_earth_centred(first, ellipsoid), ellipsoid);
        Some(CorrelatedPoints::in_frame(frame, points, register))
    }

    /// Points in a frame.
    pub fn in_frame(frame: LocalFrame, points: &[Located], register: &Register) -> CorrelatedPoints {
        let turns: Vec<Matrix> = points.iter().map(|point| turn(&point.frame, &frame)).collect();
        let turned_arms = |(point, turn): (&Located, &Matrix)| -> Vec<Arm> {
            point.arms.iter().map(|(id, arm)| (*id, apply(turn, *arm))).collect()
        };
        let mut arms: Vec<Vec<Arm>> = points.iter().zip(&turns).map(turned_arms).collect();
        if !register.networks.is_empty() {
            register.independent(&mut arms.iter_mut().collect::<Vec<_>>());
        }
        let mut ids: Vec<ErrorId> = arms.iter().flatten().map(|(id, _)| *id).collect();
        ids.sort_unstable();
        ids.dedup();
        let number = |id: &ErrorId| ids.partition_point(|known| known < id);
        let errors = points.iter().zip(&turns).zip(arms).map(|((point, turn), arms)| {
            let mut arms: Vec<(usize, [f64; 3])> = arms.iter().map(|(id, arm)| (number(id), *arm)).collect();
            arms.sort_by_key(|(number, _)| *number);
            PointArms { own: turned(turn, &matrix(&point.own)), arms }
        });
        let errors = errors.collect();
        CorrelatedPoints {
            frame,
            points: points.iter().map(|point| frame.from_earth_centred(point.at)).collect(),
            errors,
            entries: ids.len(),
        }
    }

    /// No points yet, to be put to so many entries.
    pub fn without_points(frame: LocalFrame, entries: usize) -> CorrelatedPoints {
        CorrelatedPoints { frame, points: Vec::new(), errors: Vec::new(), entries }
    }

    /// Few points of any origin in a frame, in metres, with their covariance (3n × 3n by rows): as shared errors, the columns of its root.
    pub fn from_covariance(frame: LocalFrame, points: Vec<[f64; 3]>, covariance: &[f64]) -> Option<CorrelatedPoints> {
        let size = 3 * points.len();
        if covariance.len() != size * size {
            return None;
        }
        let root = semi_root(covariance, size);
        let arms = |point: usize| {
            let arm = |k: usize| std::array::from_fn(|r| root[(3 * point + r) * size + k]);
            (0..size.min(3 * point + 3)).map(|k| (k, arm(k))).filter(|(_, arm)| *arm != [0.0; 3]).collect()
        };
        let errors = (0..points.len()).map(|point| PointArms { own: [[0.0; 3]; 3], arms: arms(point) }).collect();
        Some(CorrelatedPoints { frame, points, errors, entries: size })
    }

    /// The same points with arms on errors that hang together by a root of their covariance: entry k becomes Σ root_kr of new entries r.
    #[must_use]
    pub fn carried(&self, root: &[f64]) -> CorrelatedPoints {
        let size = self.entries;
        let carried = |errors: &PointArms| {
            let mut made = vec![[0.0; 3]; size];
            for (row, arm) in &errors.arms {
                for (column, sum) in made.iter_mut().enumerate().take(row + 1) {
                    let share = root[row * size + column];
                    *sum = std::array::from_fn(|k| sum[k] + share * arm[k]);
                }
            }
            let arms = made.into_iter().enumerate().filter(|(_, arm)| *arm != [0.0; 3]).collect();
            PointArms { own: errors.own, arms }
        };
        CorrelatedPoints { errors: self.errors.iter().map(carried).collect(), points: self.points.clone(), ..*self }
    }

    /// The same points and one more, which shares its errors with none.
    pub fn with_point(&self, point: [f64; 3], covariance: &Covariance) -> CorrelatedPoints {
        self.clone().with(point, matrix(covariance), Vec::new())
    }

    /// These points and one more, with its own covariance and its arms by number of the entry; a number that is new is a new entry.
    #[must_use]
    pub fn with(mut self, point: [f64; 3], own: Matrix, mut arms: Vec<(usize, [f64; 3])>) -> CorrelatedPoints {
        arms.sort_by_key(|(number, _)| *number);
        self.entries = self.entries.max(arms.last().map_or(0, |(number, _)| number + 1));
        self.points.push(point);
        self.errors.push(PointArms { own, arms });
        self
    }

    /// Entries that the points share; numbers of arms are below it.
    pub fn entries(&self) -> usize {
        self.entries
    }

    /// The arms of a point by number of the entry.
    pub fn arms(&self, point: usize) -> &[(usize, [f64; 3])] {
        &self.errors[point].arms
    }

    /// The covariance of a point's own errors.
    pub fn own(&self, point: usize) -> &Matrix {
        &self.errors[point].own
    }

    /// Some of the points by themselves, in the order of `indices`: what follows from few points of many costs no more than
    /// the few.
    pub fn subset(&self, indices: &[usize]) -> CorrelatedPoints {
        let mut errors: Vec<PointArms> = indices.iter().map(|i| self.errors[*i].clone()).collect();
        let mut numbers: Vec<usize> = errors.iter().flat_map(|errors| errors.arms.iter().map(|(number, _)| *number)).collect();
        numbers.sort_unstable();
        numbers.dedup();
        for (number, _) in errors.iter_mut().flat_map(|errors| &mut errors.arms) {
            *number = numbers.partition_point(|known| known < number);
        }
        let points = indices.iter().map(|i| self.points[*i]).collect();
        CorrelatedPoints { frame: self.frame, points, errors, entries: numbers.len() }
    }

    /// The frame that the points stand in.
    pub fn frame(&self) -> &LocalFrame {
        &self.frame
    }

    /// East, north, up of the points in metres.
    pub fn points(&self) -> &[[f64; 3]] {
        &self.points
    }

    /// The points with all errors drawn once.
    pub fn drawn(&self, roots: &CovarianceRoots, normal: &mut Normal) -> Vec<[f64; 3]> {
        let shared: Vec<f64> = (0..self.entries).map(|_| normal.next()).collect();
        let moved = self.points.iter().zip(&self.errors).zip(&roots.0).map(|((point, errors), root)| {
            let own = [normal.next(), normal.next(), normal.next()];
            let mut moved: [f64; 3] = std::array::from_fn(|r| point[r] + (0..=r).map(|k| root[3 * r + k] * own[k]).sum::<f64>());
            for (number, arm) in &errors.arms {
                moved = std::array::from_fn(|k| moved[k] + shared[*number] * arm[k]);
            }
            moved
        });
        moved.collect()
    }

    /// What draws of the points' own errors need.
    pub fn roots(&self) -> CovarianceRoots {
        CovarianceRoots(self.errors.iter().map(|errors| semi_root(errors.own.as_flattened(), 3)).collect())
    }

    /// The covariance of all points, 3n × 3n by rows, in square metres: for few points, and to hold other methods to.
    pub fn covariance(&self) -> Vec<f64> {
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

    /// The covariance of two points: rows of the first, columns of the second.
    pub fn covariance_between(&self, i: usize, j: usize) -> Matrix {
        let (one, other) = (&self.errors[i], &self.errors[j]);
        let mut sum = if i == j { one.own } else { [[0.0; 3]; 3] };
        let mut others = other.arms.iter().peekable();
        for (number, a) in &one.arms {
            while others.next_if(|(next, _)| next < number).is_some() {}
            if let Some((_, b)) = others.next_if(|(next, _)| next == number) {
                sum = std::array::from_fn(|r| std::array::from_fn(|c| sum[r][c] + a[r] * b[c]));
            }
        }
        sum
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
    /// [`CorrelatedPoints::subset`] first.
    pub fn estimates<const N: usize>(&self, values: impl Fn(&[[f64; 3]]) -> [f64; N]) -> [Estimate; N] {
        let mut moved = self.points.clone();
        let mut running: [RunningSigma<'_>; N] = std::array::from_fn(|_| RunningSigma::begin(self));
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

    /// The standard error of a value whose gradient by each point's east, north and up is known.
    pub fn sigma_of(&self, gradient: &[[f64; 3]]) -> f64 {
        let mut running = RunningSigma::begin(self);
        gradient.iter().enumerate().for_each(|(point, by)| running.add(point, *by));
        running.sigma()
    }
}

/// The standard error of a value whose gradient is put together point by point, and may change as it goes along: sums along a
/// chain of many points cost no more than its length.
pub struct RunningSigma<'j> {
    correlated: &'j CorrelatedPoints,
    gradient: Vec<[f64; 3]>,
    /// Variance by the points' own errors.
    own: f64,
    /// What one standard error of each entry moves the value by.
    shared: Vec<f64>,
    /// The sum of the squares of these.
    squares: f64,
}

impl<'j> RunningSigma<'j> {
    /// Of a value that depends on no point yet.
    pub fn begin(correlated: &'j CorrelatedPoints) -> RunningSigma<'j> {
        let (gradient, shared) = (vec![[0.0; 3]; correlated.points.len()], vec![0.0; correlated.entries]);
        RunningSigma { correlated, gradient, own: 0.0, shared, squares: 0.0 }
    }

    /// Adds to the value's gradient by a point's east, north and up.
    pub fn add(&mut self, point: usize, change: [f64; 3]) {
        let quadratic =
            |m: &Matrix, g: [f64; 3]| (0..3).map(|r| g[r] * (m[r][0] * g[0] + m[r][1] * g[1] + m[r][2] * g[2])).sum::<f64>();
        let before = self.gradient[point];
        let after = std::array::from_fn(|k| before[k] + change[k]);
        self.gradient[point] = after;
        let errors = &self.correlated.errors[point];
        self.own += quadratic(&errors.own, after) - quadratic(&errors.own, before);
        for (number, arm) in &errors.arms {
            let sum = &mut self.shared[*number];
            self.squares -= *sum * *sum;
            *sum += arm[0] * change[0] + arm[1] * change[1] + arm[2] * change[2];
            self.squares += *sum * *sum;
        }
    }

    /// The standard error of the value.
    pub fn sigma(&self) -> f64 {
        let variance = self.own + self.squares;
        // A value that is not finite stays so.
        if variance < 0.0 { 0.0 } else { variance.sqrt() }
    }
}

/// Roots of the points' own covariances.
pub struct CovarianceRoots(Vec<Vec<f64>>);

/// The rotation from the axes of one frame to those of another.
fn turn(from: &LocalFrame, to: &LocalFrame) -> Matrix {
    let (own, to) = (from.axes(), to.axes());
    std::array::from_fn(|r| std::array::from_fn(|c| (0..3).map(|k| to[r][k] * own[c][k]).sum()))
}

fn apply(turn: &Matrix, vector: [f64; 3]) -> [f64; 3] {
    turn.map(|row| row[0] * vector[0] + row[1] * vector[1] + row[2] * vector[2])
}

/// R C Rᵀ.
fn turned(turn: &Matrix, c: &Matrix) -> Matrix {
    let half: Matrix = std::array::from_fn(|r| std::array::from_fn(|k| (0..3).map(|j| turn[r][j] * c[j][k]).sum()));
    std::array::from_fn(|r| std::array::from_fn(|k| (0..3).map(|j| half[r][j] * turn[k][j]).sum()))
}

fn matrix(c: &Covariance) -> Matrix {
    [[c.ee, c.en, c.eu], [c.en, c.nn, c.nu], [c.eu, c.nu, c.uu]]
}
