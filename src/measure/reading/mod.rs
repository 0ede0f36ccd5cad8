//! What a row was read with, checked, and the law of propagation of variances over the readings of
//! several rows of one base.
//!
//! Each reading (azimuth, inclination, distance of each row) errs on its own; each entry of the register moves all
//! readings that share it together. A value f has the variance Σ (∂f/∂xᵢ σᵢ)² + Σ (Σᵢ ∂f/∂xᵢ sᵢₖ)², sᵢₖ what one standard error of entry k moves
//! reading i by, with central differences (C. D. Ghilani, "Adjustment Computations", ch. 6). The terms under the squares are kept as arms, so that
//! values of one computation keep their common errors. Metres and radians.
//!
//! Where a row has both a slope and a horizontal distance, the slope distance with its inclination is
//! taken as the measured one. A slope distance without an inclination cannot be levelled and counts as none.

use std::collections::BTreeMap;
use std::f64::consts::FRAC_PI_2;
use std::rc::Rc;

use super::{Group, Refusal, RoleShot};
use crate::geodesy::covariance::Covariance;
use crate::geodesy::register::{ErrorId, Estimate, Origin};
use crate::records::triangle::Triangle;
use crate::shots::reduce::{Sight, SightSigmas, Vector, reduce};

#[cfg(test)]
pub mod support;
#[cfg(test)]
mod tests;

/// Steps of the central differences: far above rounding, far below any curvature of interest.
const STEP_RAD: f64 = 1e-6;
const STEP_M: f64 = 1e-4;

/// A distance as it was measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum MeasuredDistance {
    /// Slope distance.
    Slope(f64),
    /// Horizontal distance.
    Horizontal(f64),
}

/// The readings of a row.
#[derive(Debug, Clone, PartialEq)]
pub struct MeasureReading {
    /// True azimuth.
    pub azimuth_rad: Option<f64>,
    /// Apparent inclination.
    pub inclination_rad: Option<f64>,
    /// Distance that can be levelled.
    pub distance: Option<MeasuredDistance>,
    /// Standard errors of azimuth, inclination and distance, each reading's own.
    pub sigmas: [f64; 3],
    /// Entries of the register that each shares, with what one standard error moves it by.
    pub shared: Rc<[Vec<(ErrorId, f64)>; 3]>,
    /// Coefficient of refraction.
    pub refraction: f64,
    /// Mean radius of the earth at the base.
    pub earth_radius_m: f64,
}

impl MeasureReading {
    /// The readings of a row.
    ///
    /// # Errors
    /// When one of them cannot be: not a number, a distance of nothing, an inclination beyond the
    /// vertical.
    pub fn from_row(group: &Group<'_>, row: &RoleShot) -> Result<MeasureReading, Refusal> {
        let refuse = |what: &str| Err(format!("{} of {}: row {} has {what}", group.measure, group.name, row.label).into());
        let distance = match (row.slope_m, row.inclination_rad) {
            (Some(slope_m), Some(_)) => Some(MeasuredDistance::Slope(slope_m)),
            _ => row.horizontal_m.map(MeasuredDistance::Horizontal),
        };
        if let Some(MeasuredDistance::Slope(length_m) | MeasuredDistance::Horizontal(length_m)) = distance
            && !(length_m > 0.0 && length_m.is_finite())
        {
            return refuse(&format!("a distance of {}; measure it again", group.units.length().told(length_m)));
        }
        if row.inclination_rad.is_some_and(|angle| angle.is_nan() || angle.abs() > FRAC_PI_2) {
            return refuse(&format!(
                "an inclination beyond {}; correct its unit or its kind (zenith angles are another kind)",
                group.said_deg(90.0, 0)
            ));
        }
        if row.true_azimuth_rad.is_some_and(|angle| !angle.is_finite()) {
            return refuse("an azimuth that is no number; correct it");
        }
        Ok(MeasureReading {
            azimuth_rad: row.true_azimuth_rad,
            inclination_rad: row.inclination_rad,
            distance,
            sigmas: [row.sigma_azimuth_rad, row.sigma_inclination_rad, row.sigma_distance_m],
            shared: Rc::new([
                group.base(row).errors.azimuth_alone(&row.shares),
                vec![row.shares.inclination()],
                vec![row.shares.distance()],
            ]),
            refraction: row.refraction,
            earth_radius_m: group.base(row).earth_radius_m,
        })
    }

    /// Horizontal distance and rise over the instrument's axis of a triangle of this row.
    fn reduced(&self, triangle: Triangle) -> Vector {
        let sight = Sight {
            true_azimuth_rad: 0.0,
            triangle,
            instrument_height_m: 0.0,
            target_height_m: 0.0,
            refraction: self.refraction,
        };
        let none = SightSigmas { azimuth_rad: 0.0, inclination_rad: 0.0, distance_m: 0.0 };
        reduce(&sight, &none, self.earth_radius_m)
    }

    /// Horizontal distance, and the rise where there is an inclination, by the row's own distance.
    pub fn own(&self) -> Option<(f64, Option<f64>)> {
        let triangle = match (self.distance?, self.inclination_rad) {
            (MeasuredDistance::Slope(slope_m), Some(inclination_rad)) => Triangle::Slope { slope_m, inclination_rad },
            (MeasuredDistance::Slope(_), None) => return None,
            (MeasuredDistance::Horizontal(horizontal_m), Some(inclination_rad)) => {
                Triangle::Horizontal { horizontal_m, inclination_rad }
            }
            (MeasuredDistance::Horizontal(horizontal_m), None) => Triangle::Level { horizontal_m },
        };
        let vector = self.reduced(triangle);
        Some((vector.horizontal_m, vector.up_m))
    }

    /// The rise over the instrument's axis at a horizontal distance that was measured elsewhere.
    pub fn rise_at(&self, horizontal_m: f64) -> Option<f64> {
        self.reduced(Triangle::Horizontal { horizontal_m, inclination_rad: self.inclination_rad? }).up_m
    }

    /// Horizontal distance by the row's own distance, with its standard error.
    pub fn run(&self) -> Option<Estimate> {
        let arms =
            Arms::propagate(std::slice::from_ref(self), |readings| readings[0].own().map(|(horizontal_m, _)| [horizontal_m]))?;
        Some(arms.estimate(0))
    }

    /// The same with one reading (0 azimuth, 1 inclination, 2 distance) changed by so many of its steps; none where there
    /// is no such reading.
    fn moved(&self, which: usize, steps: f64) -> Option<MeasureReading> {
        let mut moved = self.clone();
        match which {
            0 => *moved.azimuth_rad.as_mut()? += steps * STEP_RAD,
            1 => *moved.inclination_rad.as_mut()? += steps * STEP_RAD,
            _ => match moved.distance.as_mut()? {
                MeasuredDistance::Slope(length_m) | MeasuredDistance::Horizontal(length_m) => *length_m += steps * STEP_M,
            },
        }
        Some(moved)
    }
}

/// Values with what one standard error of each cause moves them by.
#[derive(Debug, Clone, PartialEq)]
pub struct Arms<const N: usize> {
    /// The values.
    pub values: [f64; N],
    /// One row for each reading and for each entry of the register.
    arms: Vec<[f64; N]>,
    /// What a radian of all azimuths moves them by.
    by_azimuth: [f64; N],
}

impl<const N: usize> Arms<N> {
    /// Propagates the errors of rows of one base through a computation; none where it gives nothing.
    pub fn propagate(readings: &[MeasureReading], compute: impl Fn(&[MeasureReading]) -> Option<[f64; N]>) -> Option<Arms<N>> {
        let values = compute(readings)?;
        let mut arms = Vec::with_capacity(3 * readings.len() + 4);
        let (mut shared, mut by_azimuth) = (BTreeMap::<ErrorId, [f64; N]>::new(), [0.0; N]);
        let mut moved = readings.to_vec();
        let slope =
            |above: [f64; N], below: [f64; N], scale: f64| -> [f64; N] { std::array::from_fn(|n| (above[n] - below[n]) * scale) };
        for (i, reading) in readings.iter().enumerate() {
            for (which, step) in [STEP_RAD, STEP_RAD, STEP_M].into_iter().enumerate() {
                let (Some(above), Some(below)) = (reading.moved(which, 1.0), reading.moved(which, -1.0)) else { continue };
                moved[i] = above;
                let above = compute(&moved)?;
                moved[i] = below;
                let below = compute(&moved)?;
                let by = slope(above, below, 1.0 / (2.0 * step));
                arms.push(by.map(|x| x * reading.sigmas[which]));
                for (id, size) in &reading.shared[which] {
                    let arm = shared.entry(*id).or_insert([0.0; N]);
                    *arm = std::array::from_fn(|n| arm[n] + by[n] * size);
                }
                if which == 0 {
                    by_azimuth = std::array::from_fn(|n| by_azimuth[n] + by[n]);
                }
            }
            moved[i] = reading.clone();
        }
        arms.extend(shared.into_values());
        Some(Arms { values, arms, by_azimuth })
    }

    /// A linear combination of the values, with its standard error.
    pub fn combined(&self, factors: [f64; N]) -> Estimate {
        let sum = |of: &[f64; N]| -> f64 { of.iter().zip(factors).map(|(value, factor)| value * factor).sum() };
        Estimate { value: sum(&self.values), sigma: self.arms.iter().map(|arm| sum(arm).powi(2)).sum::<f64>().sqrt() }
    }

    /// One of the values, with its standard error.
    pub fn estimate(&self, n: usize) -> Estimate {
        self.combined(std::array::from_fn(|k| if k == n { 1.0 } else { 0.0 }))
    }

    /// East, north, up at `n`, `n + 1`, `n + 2`, and their covariance, that of their base included.
    pub fn point(&self, n: usize, base: &Origin) -> ([f64; 3], Covariance) {
        let at = |of: &[f64; N]| std::array::from_fn(|axis| of[n + axis]);
        let mut covariance =
            base.errors.covariance() + Covariance::from_arms(base.errors.azimuth_with_position(), at(&self.by_azimuth));
        for arm in &self.arms {
            covariance += Covariance::from_arm(at(arm));
        }
        (at(&self.values), covariance)
    }
}

/// The row of a role that need not be there.
///
/// # Errors
/// When there are two.
pub fn at_most_one<'g>(group: &'g Group<'_>, role: &'g str) -> Result<Option<&'g RoleShot>, Refusal> {
    if group.with_role(role).next().is_none() { Ok(None) } else { group.only(role).map(Some) }
}

/// A warning for each row whose role the measurement has no use for.
pub fn unknown_roles(group: &Group<'_>, roles: &[&str]) -> Vec<String> {
    let unknown = group.sightings.iter().filter(|row| !roles.contains(&row.role.as_str()));
    unknown
        .map(|row| {
            let known = roles.join(", ");
            format!("row {} has the role {}, which a {} does not use; its roles are {known}", row.label, row.role, group.measure)
        })
        .collect()
}
