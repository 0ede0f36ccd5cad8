//! The weighted mean of repeated shots, by generalised least squares with their joint covariance.
//!
//! Shot i of base b gives yᵢ = x + p + aᵢ τ + eᵢ in its three coordinates (two without height): p the base's position
//! error with the covariance B, τ its orientation error with the variance 1 and aᵢ the arm of it, eᵢ the shot's own
//! readings with the covariance Cᵢ = Wᵢ⁻¹. Base by base, with A = Σ Wᵢ, ā = A⁻¹ Σ Wᵢ aᵢ, αᵢ = aᵢ − ā and q = Σ αᵢᵀ Wᵢ αᵢ, the shots
//! give ξ = A⁻¹ Σ Wᵢ yᵢ for x + p + ā τ, and independently of it, as Σ Wᵢ αᵢ = 0, t = Σ αᵢᵀ Wᵢ yᵢ/(1 + q) for τ, which leaves τ the
//! variance 1/(1 + q). So one base says z = ξ − ā t = Σ Eᵢ yᵢ, Eᵢ = A⁻¹ Wᵢ − ā αᵢᵀ Wᵢ/(1 + q), with the covariance
//! V = A⁻¹ + B + ā āᵀ/(1 + q), and x = (Σ V⁻¹)⁻¹ Σ V⁻¹ z over the bases. It is the solution with the inverse of the whole
//! matrix (own derivation; a test compares), at a cost linear in the number of shots, and nothing cancels.
//!
//! Cᵢ and aᵢ are taken at the mean, not at the shot: turned from the shot's sight to the sight of the mean, and residuals
//! are differences of azimuth, inclination and range. Otherwise each shot's error ellipse would lean by its own azimuth
//! error, and the mean would lie off the arc that a poor azimuth and a good distance spread the shots along. So it is
//! repeated until the mean stands still. The covariance is that of the weights used, not (Σ V⁻¹)⁻¹, so that it splits by cause.
//!
//! Range: any; sights of more than 20° difference in azimuth (steep ones) are taken as they are, without turning.

use std::collections::BTreeMap;

use super::linear::{Matrix3, Vector3, apply, carried, dot, inverse, matrix, minus, plus, product, transposed};
use super::robust::half_turn_rad;
use super::sight::{Polar, between, sighted};
use super::spread::spread;
use super::{Fault, Mean, Parts, Repeat, Share, check};
use crate::geodesy::correlated::Origin;
use crate::geodesy::covariance::Covariance;
use crate::geodesy::frame::LocalFrame;

/// Least variance of a shot's own readings in any direction where weights are made, in square metres: 0.1 mm. It only
/// bounds weights; the covariance of the mean has no floor.
const LEAST_VARIANCE_M2: f64 = 1e-8;
/// Difference of azimuth beyond which a shot's errors are not turned to the mean's sight.
const TURNED_WITHIN_RAD: f64 = 0.35;
/// Steps towards the mean; three do for shots that agree.
const MOST_STEPS: usize = 20;
/// A step in metres below which the mean stands still: rounding of earth-centred coordinates.
const STILL_M: f64 = 1e-10;

/// A base in the frame of the computation.
pub(super) struct Stand {
    /// Its ground point.
    pub(super) at: Vector3,
    /// From its axes to those of the frame.
    pub(super) turn: Matrix3,
    /// Covariance of its position, in its own axes.
    covariance: Covariance,
}

impl Stand {
    pub(super) fn of(base: &Origin, frame: &LocalFrame) -> Stand {
        let (own, to) = (base.frame.axes(), frame.axes());
        Stand {
            at: frame.from_earth_centred(base.frame.to_earth_centred([0.0; 3])),
            turn: std::array::from_fn(|r| std::array::from_fn(|c| (0..3).map(|k| to[r][k] * own[c][k]).sum())),
            covariance: base.covariance,
        }
    }

    /// A point of the frame in the base's own axes.
    pub(super) fn seen(&self, point: Vector3) -> Vector3 {
        apply(&transposed(&self.turn), minus(point, self.at))
    }

    /// A vector from the base as a point of the frame.
    pub(super) fn placed(&self, vector: Vector3) -> Vector3 {
        plus(self.at, apply(&self.turn, vector))
    }
}

/// The bases of shots, in the frame of the one with the lowest index: the same whatever the order of the shots.
pub(super) fn stands(bases: &[Origin], shots: &[Repeat]) -> Option<(LocalFrame, BTreeMap<usize, Stand>)> {
    let frame = bases.get(shots.iter().map(|shot| shot.base).min()?)?.frame;
    let mut stands = BTreeMap::new();
    for shot in shots {
        if let (false, Some(base)) = (stands.contains_key(&shot.base), bases.get(shot.base)) {
            stands.insert(shot.base, Stand::of(base, &frame));
        }
    }
    Some((frame, stands))
}

/// A shot against the mean, in its base's axes.
struct Row {
    /// Shot minus mean.
    residual: Vector3,
    direction: Covariance,
    distance: Covariance,
    arm: Vector3,
    /// Inverse of its own covariance; zeros for a height that it lacks.
    weight: Matrix3,
}

/// A shot against a mean at `at` in its base's axes.
fn row(shot: &Repeat, at: Vector3) -> Row {
    let has_height = shot.vector.up_m.is_some();
    let seen = sighted(shot);
    let target = [at[0], at[1], if has_height { at[2] - shot.rise_m } else { 0.0 }];
    let (from, to) = (Polar::of(seen), Polar::of(target));
    let turned = half_turn_rad(from.azimuth_rad - to.azimuth_rad);
    let (mut residual, mut across, mut turn) = (minus(seen, target), UNIT, UNIT);
    if turned.abs() < TURNED_WITHIN_RAD && from.horizontal_m > 0.0 && to.horizontal_m > 0.0 {
        let (a, b) = (from.triad(), to.triad());
        let parts =
            [to.horizontal_m * turned, from.range_m - to.range_m, to.range_m * (from.inclination_rad - to.inclination_rad)];
        residual = std::array::from_fn(|k| parts[0] * b.across[k] + parts[1] * b.along[k] + parts[2] * b.normal[k]);
        // An error of direction grows with the distance.
        across = between(&a, &b, to.horizontal_m / from.horizontal_m, 1.0, to.range_m / from.range_m);
        turn = between(&a, &b, 1.0, 1.0, 1.0);
    }
    let (direction, distance) = (carried(&across, &shot.vector.direction), carried(&turn, &shot.vector.distance));
    let arm = apply(&across, shot.vector.orientation_arm_m);
    let m = matrix(&(direction + distance));
    let weight = inverse_in(&m, has_height, LEAST_VARIANCE_M2);
    Row { residual, direction, distance, arm, weight }
}

/// The inverse of a symmetric matrix; without height that of its horizontal part, with zeros for the height.
fn inverse_in(m: &Matrix3, has_height: bool, floor: f64) -> Matrix3 {
    if has_height {
        return inverse(m, floor);
    }
    let [[ee, en], [_, nn]] = inverse(&[[m[0][0], m[0][1]], [m[1][0], m[1][1]]], floor);
    [[ee, en, 0.0], [en, nn, 0.0], [0.0; 3]]
}

const UNIT: Matrix3 = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];

/// One step: the rows at a place, the matrix V⁻¹ Eᵢ of each in its base's axes, (Σ V⁻¹)⁻¹ in the frame, and the move.
struct Step {
    rows: Vec<(usize, Row, Matrix3)>,
    inverse: Matrix3,
    moved: Vector3,
}

fn step(stands: &BTreeMap<usize, Stand>, shots: &[Repeat], at: Vector3, has_height: bool) -> Step {
    let mut by_base: BTreeMap<usize, Vec<Row>> = BTreeMap::new();
    for shot in shots {
        if let Some(stand) = stands.get(&shot.base) {
            by_base.entry(shot.base).or_default().push(row(shot, stand.seen(at)));
        }
    }
    let mut step = Step { rows: Vec::with_capacity(shots.len()), inverse: [[0.0; 3]; 3], moved: [0.0; 3] };
    let (mut normal, mut right) = ([[0.0; 3]; 3], [0.0; 3]);
    for (base, rows) in by_base {
        let Some(stand) = stands.get(&base) else { continue };
        // A base none of whose shots has a height says nothing of it.
        let of_height = rows.iter().any(|row| row.weight[2][2] > 0.0);
        let (mut weights, mut arms) = ([[0.0; 3]; 3], [0.0; 3]);
        for row in &rows {
            weights = std::array::from_fn(|r| plus(weights[r], row.weight[r]));
            arms = plus(arms, apply(&row.weight, row.arm));
        }
        let own = inverse_in(&weights, of_height, f64::MIN_POSITIVE);
        let arm = apply(&own, arms);
        let lean = |row: &Row| apply(&row.weight, minus(row.arm, arm));
        let seen: f64 = 1.0 + rows.iter().map(|row| dot(minus(row.arm, arm), lean(row))).sum::<f64>();
        let shared = matrix(&(stand.covariance + Covariance::of_arm(arm.map(|x| x / seen.sqrt()))));
        let whole: Matrix3 = std::array::from_fn(|r| plus(own[r], shared[r]));
        let weight = inverse_in(&whole, of_height, f64::MIN_POSITIVE);
        let mut pull = [0.0; 3];
        for row in rows {
            let (direct, lean) = (product(&own, &row.weight), lean(&row));
            let enters: Matrix3 = std::array::from_fn(|r| std::array::from_fn(|c| direct[r][c] - arm[r] * lean[c] / seen));
            let m = product(&weight, &enters);
            pull = plus(pull, apply(&enters, row.residual));
            step.rows.push((base, row, m));
        }
        let turned = product(&product(&stand.turn, &weight), &transposed(&stand.turn));
        normal = std::array::from_fn(|r| plus(normal[r], turned[r]));
        right = plus(right, apply(&stand.turn, apply(&weight, pull)));
    }
    step.inverse = inverse_in(&normal, has_height, f64::MIN_POSITIVE);
    step.moved = apply(&step.inverse, right);
    step
}

/// The weighted mean of shots of one feature, with the covariance of all that they share. Heights come from the shots
/// that have one. It averages whatever it is given: [`super::settle`] judges first.
///
/// # Errors
/// [`Fault`], naming the shot.
pub fn mean(bases: &[Origin], shots: &[Repeat]) -> Result<Mean, Fault> {
    check(bases, shots)?;
    let (Some(first), Some((frame, stands))) = (shots.first(), stands(bases, shots)) else {
        return Err(Fault::NoShots);
    };
    let has_height = shots.iter().any(|shot| shot.vector.up_m.is_some());
    let points: Vec<(Vector3, bool)> = shots.iter().filter_map(|shot| point(&stands, shot)).collect();
    let mut at = start(&points, has_height);
    let mut last = step(&stands, shots, at, has_height);
    for _ in 1..MOST_STEPS {
        at = plus(at, last.moved);
        let still = last.moved.iter().all(|x| x.abs() < STILL_M);
        last = step(&stands, shots, at, has_height);
        if still {
            break;
        }
    }
    let Some(stand) = stands.get(&first.base) else {
        return Err(Fault::NoShots);
    };
    let (parts, shares) = split(bases, &stands, &last, &transposed(&stand.turn));
    let [east_m, north_m, up_m] = stand.seen(at);
    Ok(Mean {
        base: first.base,
        at: frame.to_earth_centred(at),
        east_m,
        north_m,
        up_m: has_height.then_some(up_m),
        parts,
        shares,
        spread: spread(&stands, shots, at),
        used: shots.len(),
        set_aside: 0,
    })
}

/// The shot's point in the frame, and whether it has a height.
pub(super) fn point(stands: &BTreeMap<usize, Stand>, shot: &Repeat) -> Option<(Vector3, bool)> {
    let v = &shot.vector;
    Some((stands.get(&shot.base)?.placed([v.east_m, v.north_m, v.up_m.unwrap_or(0.0)]), v.up_m.is_some()))
}

/// The plain mean, to start from; the height of the points that have one, where any has.
fn start(points: &[(Vector3, bool)], has_height: bool) -> Vector3 {
    let (mut sum, mut heights) = ([0.0; 3], 0.0);
    for (point, own_height) in points {
        let counts = f64::from(u8::from(*own_height || !has_height));
        sum = plus(sum, [point[0], point[1], counts * point[2]]);
        heights += counts;
    }
    let n = points.len().max(1) as f64;
    [sum[0] / n, sum[1] / n, sum[2] / f64::max(heights, 1.0)]
}

/// The covariance of the mean by cause, and the bases' shares, in the axes that `out` turns the frame to.
fn split(bases: &[Origin], stands: &BTreeMap<usize, Stand>, step: &Step, out: &Matrix3) -> (Parts, Vec<Share>) {
    let (mut parts, mut shares) = (Parts::default(), BTreeMap::new());
    for (base, row, m) in &step.rows {
        let Some(stand) = stands.get(base) else { continue };
        // From the base's axes, in which m stands, to the frame; by the inverse; and out.
        let enters = product(&product(out, &step.inverse), &product(&stand.turn, m));
        parts.direction += carried(&enters, &row.direction);
        parts.distance += carried(&enters, &row.distance);
        let share = shares.entry(*base).or_insert(Share { base: *base, position: [[0.0; 3]; 3], orientation_arm_m: [0.0; 3] });
        share.position = std::array::from_fn(|r| plus(share.position[r], enters[r]));
        share.orientation_arm_m = plus(share.orientation_arm_m, apply(&enters, row.arm));
    }
    for (base, share) in &shares {
        let covariance = bases.get(*base).map_or_else(Covariance::default, |base| base.covariance);
        parts.base += carried(&share.position, &covariance);
        parts.orientation += Covariance::of_arm(share.orientation_arm_m);
    }
    (parts, shares.into_values().collect())
}
