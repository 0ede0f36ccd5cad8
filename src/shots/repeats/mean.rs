//! The weighted mean of repeated shots, by generalised least squares with their joint covariance.
//!
//! Shot i gives yᵢ = x + Σ aᵢₖ zₖ + eᵢ in its three coordinates (two without height): eᵢ its own readings with the covariance Cᵢ = Wᵢ⁻¹, zₖ the
//! entries of the register with the variance 1, aᵢₖ its arms. Shots of one base under one declination and one calibration (a group g) have the same
//! arms where they are taken at the mean. So a group says ξ = A⁻¹ Σ Wᵢ yᵢ, A = Σ Wᵢ, with the covariance A⁻¹ and the arms a_g. Entries of one group alone
//! are eliminated first, V_g = A⁻¹ + Σ a aᵀ; with those of several groups, z, x follows from
//!
//! | Σ V⁻¹      Σ V⁻¹ a         | x |   | Σ V⁻¹ ξ    |
//! | Σ aᵀ V⁻¹   1 + Σ aᵀ V⁻¹ a | z | = | Σ aᵀ V⁻¹ ξ |
//!
//! It is the solution with the inverse of the whole matrix (own derivation; a test compares), at a cost linear in the number of shots.
//!
//! Cᵢ and aᵢ are taken at the mean, not at the shot: turned from the shot's sight to the sight of the mean, and residuals
//! are differences of azimuth, inclination and range. Otherwise each shot's error ellipse would lean by its own azimuth
//! error, and the mean would lie off the arc that a poor azimuth and a good distance spread the shots along. So it is
//! repeated until the mean stands still. The covariance is that of the weights used, so that it splits by cause.
//!
//! Range: any; sights of more than 20° difference in azimuth (steep ones) are taken as they are, without turning.

use std::collections::BTreeMap;

use super::groups::{ShotGroup, enters};
use super::linear::{Matrix3, Vector3, apply, carried, plus, product, transposed};
use super::row::{ShotDeviation, UNIT, row};
use super::spread::spread;
use super::stand::{BaseInFrame, point, stands};
use super::{Mean, Repeat, RepeatsFault, check};
use crate::geodesy::covariance::Covariance;
use crate::geodesy::register::{Arm, BySource, Cause, ErrorSource, Origin, Shares, add_arm, covariance_of};
use crate::shots::located::CovarianceParts;
use crate::shots::reduce::Vector;

/// Steps towards the mean; three do for shots that agree.
const MOST_STEPS: usize = 20;
/// A step in metres below which the mean stands still: rounding of earth-centred coordinates.
const STILL_M: f64 = 1e-10;

/// One step: the rows at a place, the matrix by which each enters the mean, from its base's axes to the frame, and the move.
struct MeanStep {
    rows: Vec<(ShotDeviation, Matrix3)>,
    moved: Vector3,
}

fn step(
    bases: &[Origin],
    stands: &BTreeMap<usize, BaseInFrame>,
    (shots, group_of): (&[Repeat], &[usize]),
    groups: &[(usize, Shares)],
    at: Vector3,
    has_height: bool,
) -> MeanStep {
    let mut rows: Vec<(ShotDeviation, Matrix3)> = Vec::with_capacity(shots.len());
    for (shot, group) in shots.iter().zip(group_of) {
        if let Some(stand) = stands.get(&shot.base) {
            rows.push((row(shot, *group, stand.seen(at)), UNIT));
        }
    }
    let mut sums: Vec<ShotGroup> = groups.iter().map(|_| ShotGroup::default()).collect();
    rows.iter().for_each(|(row, _)| sums[row.group].add(row));
    for (sum, (base, shares)) in sums.iter_mut().zip(groups) {
        if let (Some(stand), Some(origin)) = (stands.get(base), bases.get(*base)) {
            sum.settle(stand, origin, shares, groups.len() > 1);
        }
    }
    // By group: from its base's axes to the frame.
    let by_group = match &sums[..] {
        [_] => vec![UNIT],
        _ => enters(bases, &mut sums, has_height),
    };
    let mut moved = [0.0; 3];
    for (row, enters) in &mut rows {
        let (sum, base) = (&sums[row.group], groups[row.group].0);
        let Some(stand) = stands.get(&base) else { continue };
        let own = product(&sum.own, &row.weight);
        *enters = product(&by_group[row.group], &product(&stand.turn, &own));
        moved = plus(moved, apply(enters, row.residual));
    }
    MeanStep { rows, moved }
}

/// The weighted mean of shots of one feature, with the covariance of all that they share. Heights come from the shots
/// that have one. It averages whatever it is given: [`super::settle`] judges first.
///
/// # Errors
/// [`RepeatsFault`], naming the shot.
pub fn mean(bases: &[Origin], shots: &[Repeat]) -> Result<Mean, RepeatsFault> {
    check(bases, shots)?;
    let (Some(first), Some((frame, stands))) = (shots.first(), stands(bases, shots)) else {
        return Err(RepeatsFault::NoShots);
    };
    let has_height = shots.iter().any(|shot| shot.vector.up_m.is_some());
    let points: Vec<(Vector3, bool)> = shots.iter().filter_map(|shot| point(&stands, shot)).collect();
    let mut at = start(&points, has_height);
    let (groups, group_of) = super::groups::group(shots);
    let next = |at: Vector3| step(bases, &stands, (shots, &group_of), &groups, at, has_height);
    let mut last = next(at);
    for _ in 1..MOST_STEPS {
        at = plus(at, last.moved);
        let still = last.moved.iter().all(|x| x.abs() < STILL_M);
        last = next(at);
        if still {
            break;
        }
    }
    let Some(stand) = stands.get(&first.base) else {
        return Err(RepeatsFault::NoShots);
    };
    let split = split(bases, &last, &groups, &transposed(&stand.turn));
    let [east_m, north_m, up_m] = stand.seen(at);
    let up_m = has_height.then_some(up_m);
    let one = match groups[..] {
        [(_, shares)] => Some(split.vector([east_m, north_m], up_m, shares)),
        _ => None,
    };
    Ok(Mean {
        base: first.base,
        at: frame.to_earth_centred(at),
        east_m,
        north_m,
        up_m,
        parts: split.parts(bases, first.base),
        by_source: split.by_source(bases, first.base),
        own: split.direction + split.distance,
        arms: split.arms(),
        one,
        spread: spread(&stands, shots, at),
        used: shots.len(),
        set_aside: 0,
    })
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

/// What a mean errs by, in the axes that `out` turns the frame to.
struct Split {
    direction: Covariance,
    inclination: Covariance,
    distance: Covariance,
    /// Arms by the positions of bases, and by all else.
    position: Vec<Arm>,
    others: Vec<Arm>,
    /// Of all shots together, as of one.
    by: [Vector3; 3],
}

fn split(bases: &[Origin], step: &MeanStep, groups: &[(usize, Shares)], out: &Matrix3) -> Split {
    let mut split = Split {
        direction: Covariance::default(),
        inclination: Covariance::default(),
        distance: Covariance::default(),
        position: Vec::new(),
        others: Vec::new(),
        by: [[0.0; 3]; 3],
    };
    // By group: the sum of the matrices by which its shots enter, and what readings move.
    let mut sums: Vec<(Matrix3, [Vector3; 3])> = vec![([[0.0; 3]; 3], [[0.0; 3]; 3]); groups.len()];
    for (row, enters) in &step.rows {
        let enters = product(out, enters);
        split.direction += carried(&enters, &row.direction);
        split.inclination += carried(&enters, &row.inclination);
        split.distance += carried(&enters, &row.distance);
        let (sum, by) = &mut sums[row.group];
        *sum = std::array::from_fn(|r| plus(sum[r], enters[r]));
        *by = std::array::from_fn(|k| plus(by[k], apply(&enters, row.by[k])));
    }
    for ((enters, by), (base, shares)) in sums.iter().zip(groups) {
        split.by = std::array::from_fn(|k| plus(split.by[k], by[k]));
        let Some(origin) = bases.get(*base) else { continue };
        for (id, arm) in origin.errors.position() {
            add_arm(&mut split.position, *id, apply(enters, *arm));
        }
        for (id, radians) in origin.errors.azimuth(shares) {
            add_arm(&mut split.others, id, by[0].map(|metres| metres * radians));
        }
        for ((id, sigma), by) in [(shares.inclination(), by[1]), (shares.distance(), by[2])] {
            if sigma != 0.0 {
                add_arm(&mut split.others, id, by.map(|metres| metres * sigma));
            }
        }
    }
    split
}

impl Split {
    fn arms(&self) -> Vec<Arm> {
        let mut arms = self.position.clone();
        self.others.iter().for_each(|(id, arm)| add_arm(&mut arms, *id, *arm));
        arms
    }

    /// The covariance by cause: what an entry moves both by a base's position and by its orientation is shared out half and half.
    fn parts(&self, bases: &[Origin], base: usize) -> CovarianceParts {
        let (mut position, mut others) = (self.position.clone(), self.others.clone());
        if let Some(origin) = bases.get(base) {
            origin.errors.register().independent(&mut [&mut position, &mut others]);
        }
        let mut half = Covariance::default();
        for (id, arm) in &others {
            if let Some((_, other)) = position.iter().find(|(known, _)| known == id) {
                half += Covariance::from_arms(other.map(|metres| metres / 2.0), *arm);
            }
        }
        let (of_distance, of_direction): (Vec<Arm>, Vec<Arm>) =
            others.into_iter().partition(|(id, _)| id.cause() == Cause::DistanceCorrection);
        CovarianceParts {
            base: covariance_of(&position) + half,
            direction: self.direction + covariance_of(&of_direction) + half,
            distance: self.distance + covariance_of(&of_distance),
        }
    }

    /// The variance by source.
    fn by_source(&self, bases: &[Origin], base: usize) -> BySource {
        let mut made = BySource::default();
        made.add_covariance(ErrorSource::AzimuthReadings, &self.direction.less(&self.inclination));
        made.add_covariance(ErrorSource::InclinationReadings, &self.inclination);
        made.add_covariance(ErrorSource::DistanceReadings, &self.distance);
        if let Some(origin) = bases.get(base) {
            made.add_arms(&self.arms(), origin.errors.register());
        }
        made
    }

    /// As one shot.
    fn vector(&self, [east_m, north_m]: [f64; 2], up_m: Option<f64>, shares: Shares) -> Vector {
        let [_, by_inclination_m, by_distance_m] = self.by;
        let exact = Vector::exact(east_m, north_m, up_m);
        Vector { direction: self.direction, distance: self.distance, by_inclination_m, by_distance_m, shares, ..exact }
    }
}
