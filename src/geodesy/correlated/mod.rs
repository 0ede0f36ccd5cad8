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
//! propagation of variances, any text on adjustment, e.g. C. D. Ghilani, "Adjustment Computations", ch. 6).

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
    /// Their covariance, 3n × 3n by rows, in square metres.
    covariance: Vec<f64>,
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
        let size = 3 * points.len();
        let mut joint = Joint { frame, points, covariance: vec![0.0; size * size] };
        let turns: Vec<[[f64; 3]; 3]> = shots.iter().map(|(base, _)| turn(&bases[*base], &frame)).collect();
        for (i, (base, vector)) in shots.iter().enumerate() {
            for (j, (other, other_vector)) in shots.iter().enumerate() {
                let mut block = [[0.0; 3]; 3];
                if base == other {
                    let shared = turned(&turns[i], &matrix(&bases[*base].covariance));
                    let (a, b) = (apply(&turns[i], vector.orientation_arm_m), apply(&turns[j], other_vector.orientation_arm_m));
                    let pull = apply(&turns[i], bases[*base].orientation_pull_m);
                    block = std::array::from_fn(|r| {
                        std::array::from_fn(|c| shared[r][c] + a[r] * b[c] + pull[r] * b[c] + a[r] * pull[c])
                    });
                }
                if i == j {
                    let own = turned(&turns[i], &matrix(&(vector.direction + vector.distance)));
                    block = std::array::from_fn(|r| std::array::from_fn(|c| block[r][c] + own[r][c]));
                }
                joint.set_block(i, j, &block);
            }
        }
        Some(joint)
    }

    /// Points of any origin in a frame, in metres, with their covariance (3n × 3n by rows).
    pub fn of_points(frame: LocalFrame, points: Vec<[f64; 3]>, covariance: Vec<f64>) -> Option<Joint> {
        (covariance.len() == 9 * points.len() * points.len()).then_some(Joint { frame, points, covariance })
    }

    fn set_block(&mut self, i: usize, j: usize, block: &[[f64; 3]; 3]) {
        let size = 3 * self.points.len();
        for (r, row) in block.iter().enumerate() {
            for (c, value) in row.iter().enumerate() {
                self.covariance[(3 * i + r) * size + 3 * j + c] = *value;
            }
        }
    }

    /// The frame that the points stand in.
    pub fn frame(&self) -> &LocalFrame {
        &self.frame
    }

    /// East, north, up of the points in metres.
    pub fn points(&self) -> &[[f64; 3]] {
        &self.points
    }

    /// The covariance, 3n × 3n by rows, in square metres.
    pub fn covariance(&self) -> &[f64] {
        &self.covariance
    }

    /// The covariance of one point.
    pub fn covariance_of(&self, i: usize) -> Covariance {
        let size = 3 * self.points.len();
        let at = |r: usize, c: usize| self.covariance[(3 * i + r) * size + 3 * i + c];
        Covariance { ee: at(0, 0), en: at(0, 1), eu: at(0, 2), nn: at(1, 1), nu: at(1, 2), uu: at(2, 2) }
    }

    /// A value of the points with its standard error. The function must be smooth about the points;
    /// an angle must not jump between two turns there.
    pub fn estimate(&self, value: impl Fn(&[[f64; 3]]) -> f64) -> Estimate {
        let [estimate] = self.estimates(|points| [value(points)]);
        estimate
    }

    /// Several values at once.
    pub fn estimates<const N: usize>(&self, values: impl Fn(&[[f64; 3]]) -> [f64; N]) -> [Estimate; N] {
        let mut moved = self.points.clone();
        let size = 3 * self.points.len();
        // Gradients, one row for each coordinate.
        let gradients: Vec<[f64; N]> = (0..size)
            .map(|k| {
                let (i, axis) = (k / 3, k % 3);
                let kept = moved[i][axis];
                moved[i][axis] = kept + STEP_M;
                let above = values(&moved);
                moved[i][axis] = kept - STEP_M;
                let below = values(&moved);
                moved[i][axis] = kept;
                std::array::from_fn(|n| (above[n] - below[n]) / (2.0 * STEP_M))
            })
            .collect();
        let at = values(&self.points);
        std::array::from_fn(|n| {
            let mut variance = 0.0;
            for (r, row) in gradients.iter().enumerate() {
                if row[n] == 0.0 {
                    continue;
                }
                let sum: f64 = gradients.iter().enumerate().map(|(c, other)| self.covariance[r * size + c] * other[n]).sum();
                variance += row[n] * sum;
            }
            Estimate { value: at[n], sigma: variance.max(0.0).sqrt() }
        })
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

fn matrix(c: &Covariance) -> [[f64; 3]; 3] {
    [[c.ee, c.en, c.eu], [c.en, c.nn, c.nu], [c.eu, c.nu, c.uu]]
}

#[cfg(test)]
mod tests;
