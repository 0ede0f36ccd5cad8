//! Groups of shots that share all that they share: one base, one declination, one calibration. What each group says of the mean, and how they go
//! together.

use std::collections::BTreeMap;

use super::Repeat;
use super::linear::{Matrix3, Vector3, apply, dot, matrix, plus, product, transposed};
use super::row::{ShotDeviation, inverse_in};
use super::stand::BaseInFrame;
use crate::geodesy::covariance::Covariance;
use crate::geodesy::register::{Arm, ErrorId, Origin, Shares, add_arm};
use crate::numeric::cholesky::Lower;

/// The groups of shots, and the group of each shot.
pub(super) fn group(shots: &[Repeat]) -> (Vec<(usize, Shares)>, Vec<usize>) {
    let (mut groups, mut group_of, mut known) = (Vec::new(), Vec::with_capacity(shots.len()), BTreeMap::new());
    for shot in shots {
        let shares = shot.vector.shares;
        let key = (shot.base, shares.declination, shares.declination_rad.to_bits(), shares.calibration);
        let group = *known.entry(key).or_insert_with(|| {
            groups.push((shot.base, shares));
            groups.len() - 1
        });
        group_of.push(group);
    }
    (groups, group_of)
}

/// What a group's shots give.
#[derive(Default)]
pub(super) struct ShotGroup {
    weights: Matrix3,
    /// Σ Wᵢ times what a radian of azimuth, a radian of inclination, a metre of distance move, and times the residuals.
    by: [Vector3; 3],
    residuals: Vector3,
    has_height: bool,
    /// A⁻¹, in the base's axes.
    pub(super) own: Matrix3,
    /// The same in the frame, and the arms there.
    own_in_frame: Matrix3,
    arms: Vec<Arm>,
}

impl ShotGroup {
    pub(super) fn add(&mut self, row: &ShotDeviation) {
        self.weights = std::array::from_fn(|r| plus(self.weights[r], row.weight[r]));
        self.by = std::array::from_fn(|k| plus(self.by[k], apply(&row.weight, row.by[k])));
        self.residuals = plus(self.residuals, apply(&row.weight, row.residual));
        self.has_height |= row.weight[2][2] > 0.0;
    }

    /// Once all rows are added; the arms are wanted beside other groups alone.
    pub(super) fn settle(&mut self, stand: &BaseInFrame, origin: &Origin, shares: &Shares, wants_arms: bool) {
        self.own = inverse_in(&self.weights, self.has_height, f64::MIN_POSITIVE);
        if !wants_arms {
            return;
        }
        let turn = &stand.turn;
        self.own_in_frame = product(&product(turn, &self.own), &transposed(turn));
        let mut arms = origin.errors.position().to_vec();
        let by = self.by.map(|sum| apply(&self.own, sum));
        for (id, radians) in origin.errors.azimuth(shares) {
            add_arm(&mut arms, id, by[0].map(|metres| metres * radians));
        }
        for ((id, sigma), by) in [(shares.inclination(), by[1]), (shares.distance(), by[2])] {
            if sigma != 0.0 {
                add_arm(&mut arms, id, by.map(|metres| metres * sigma));
            }
        }
        self.arms = arms.into_iter().map(|(id, arm)| (id, apply(turn, arm))).collect();
    }
}

/// By group the matrix P with which what it says enters the mean, in the frame: P = Qxx V⁻¹ + Qxz aᵀ V⁻¹, Q the inverse of the normal equations.
pub(super) fn enters(bases: &[Origin], groups: &mut [ShotGroup], has_height: bool) -> Vec<Matrix3> {
    if let Some(base) = bases.first() {
        base.errors.register().independent(&mut groups.iter_mut().map(|group| &mut group.arms).collect::<Vec<_>>());
    }
    let mut users: BTreeMap<ErrorId, usize> = BTreeMap::new();
    groups.iter().flat_map(|group| &group.arms).for_each(|(id, _)| *users.entry(*id).or_default() += 1);
    let shared: Vec<ErrorId> = users.into_iter().filter(|(_, users)| *users > 1).map(|(id, _)| id).collect();
    let size = 3 + shared.len();
    let mut normal = vec![0.0; size * size];
    (3..size).for_each(|k| normal[k * size + k] = 1.0);
    let mut weighted: Vec<(Matrix3, Vec<Vector3>)> = Vec::with_capacity(groups.len());
    for group in groups.iter() {
        let (mut alone, mut arms) = (Covariance::default(), vec![[0.0; 3]; shared.len()]);
        for (id, arm) in &group.arms {
            match shared.binary_search(id) {
                Ok(k) => arms[k] = *arm,
                Err(_) => alone += Covariance::from_arm(*arm),
            }
        }
        let alone = matrix(&alone);
        let whole: Matrix3 = std::array::from_fn(|r| plus(group.own_in_frame[r], alone[r]));
        let weight = inverse_in(&whole, group.has_height, f64::MIN_POSITIVE);
        let turned: Vec<Vector3> = arms.iter().map(|arm| apply(&weight, *arm)).collect();
        for r in 0..3 {
            (0..3).for_each(|c| normal[r * size + c] += weight[r][c]);
            for (k, turned) in turned.iter().enumerate() {
                normal[r * size + 3 + k] += turned[r];
                normal[(3 + k) * size + r] += turned[r];
            }
        }
        for (k, arm) in arms.iter().enumerate() {
            turned.iter().enumerate().for_each(|(l, turned)| normal[(3 + k) * size + 3 + l] += dot(*arm, *turned));
        }
        weighted.push((weight, turned));
    }
    if !has_height {
        normal[2 * size + 2] = 1.0;
    }
    let of_place = first_rows_of_inverse(&normal, size);
    let entered = weighted.into_iter().map(|(weight, turned)| {
        std::array::from_fn(|r| {
            let row = &of_place[r];
            std::array::from_fn(|c| {
                let direct: f64 = (0..3).map(|k| row[k] * weight[k][c]).sum();
                direct + turned.iter().enumerate().map(|(k, turned)| row[3 + k] * turned[c]).sum::<f64>()
            })
        })
    });
    entered.collect()
}

/// The first three rows of the inverse of a positive definite matrix.
fn first_rows_of_inverse(matrix: &[f64], size: usize) -> [Vec<f64>; 3] {
    // Every pivot is given.
    let factor = Lower::with(matrix, size, |left| Some(left.max(f64::MIN_POSITIVE).sqrt()));
    std::array::from_fn(|unit| factor.as_ref().map_or_else(|| vec![0.0; size], |factor| factor.inverse_column(unit)))
}
