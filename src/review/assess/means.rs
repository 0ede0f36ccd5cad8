//! How far the mean of errors may lie from 0 by what the points state: what they err by together does not average out.
//!
//! With errors eᵢ of variance σᵢ², and arms aᵢₖ onto shared errors k, the mean of n has the variance
//! (Σ σᵢ² − Σ aᵢₖ² + Σₖ (Σᵢ aᵢₖ)²) / n² (the law of propagation, JCGM 100:2008, 5.2); a step between the datums of layer and check points, that all
//! have in common, counts whole.

use std::collections::BTreeMap;

use super::errors::PointError;

/// The standard error of the mean of errors along an axis (0 east, 1 north, 2 up), with that of the step that all went; none where a point does not
/// say what it errs by, or what it shares.
pub fn sigma_of_mean_m(points: &[PointError], axis: usize, step_m: f64) -> Option<f64> {
    let mut shared: BTreeMap<&str, f64> = BTreeMap::new();
    let (mut variance, mut n) = (0.0, 0.0);
    for point in points.iter().filter(|point| axis < 2 || point.up_m.is_some()) {
        let sigma_m = point.sigmas_m[axis]?;
        variance += sigma_m * sigma_m - step_m * step_m;
        for (error, arm) in point.arms.as_ref()?.each() {
            variance -= arm[axis] * arm[axis];
            *shared.entry(error).or_default() += arm[axis];
        }
        n += 1.0;
    }
    let variance = variance.max(0.0) + shared.values().map(|sum| sum * sum).sum::<f64>();
    (n > 0.0).then(|| (variance / (n * n) + step_m * step_m).sqrt())
}

#[cfg(test)]
mod tests {
    use super::super::standards::tests::point;
    use super::*;
    use crate::review::finished::RecordedPointArms;

    /// Σᵢⱼ Cᵢⱼ / n² of the whole covariance of the errors: what each errs by alone on the diagonal, Σ aᵢ aⱼ of what they share, the step in all.
    #[test]
    fn as_by_the_whole_covariance() {
        let errors = ["base", "declination", "correction"];
        let arm = |i: usize, k: usize, axis: usize| 0.01 * (((3 * i + 5 * k + 7 * axis) % 11) as f64 - 4.0);
        // Which errors a point has: the first two share a base, the fourth has one of its own.
        let has = |i: usize, k: usize| (i + k) % 4 != 3;
        let alone = |i: usize, axis: usize| 0.02 + 0.01 * ((i + axis) % 3) as f64;
        let step = 0.03;
        let points: Vec<PointError> = (0..4)
            .map(|i| {
                let own: Vec<(&str, [f64; 3])> =
                    (0..3).filter(|k| has(i, *k)).map(|k| (errors[k], [0, 1, 2].map(|axis| arm(i, k, axis)))).collect();
                let sigma = |axis: usize| {
                    let shared: f64 = own.iter().map(|(_, arm)| arm[axis] * arm[axis]).sum();
                    Some((alone(i, axis).powi(2) + shared + step * step).sqrt())
                };
                let mut error = point(i as u64, 0.1, 0.1, (i != 2).then_some(0.2), None);
                error.sigmas_m = [0, 1, 2].map(sigma);
                error.arms = Some(RecordedPointArms::from_arms(&own));
                error
            })
            .collect();
        for axis in 0..3 {
            // The third point has no height.
            let of: Vec<usize> = (0..4).filter(|i| axis < 2 || *i != 2).collect();
            let mut sum = 0.0;
            for i in &of {
                for j in &of {
                    let shared: f64 =
                        (0..3).filter(|k| has(*i, *k) && has(*j, *k)).map(|k| arm(*i, k, axis) * arm(*j, k, axis)).sum();
                    sum += shared + step * step + if i == j { alone(*i, axis).powi(2) } else { 0.0 };
                }
            }
            let (got, want) = (sigma_of_mean_m(&points, axis, step).unwrap(), sum.sqrt() / of.len() as f64);
            assert!((got - want).abs() < 1e-12, "{axis}: {got} {want}");
        }
        // A point that does not say what it errs by, or what it shares, leaves it open.
        let mut unknown = points.clone();
        unknown[1].sigmas_m[0] = None;
        assert!(sigma_of_mean_m(&unknown, 0, step).is_none() && sigma_of_mean_m(&unknown, 1, step).is_some());
        unknown[3].arms = None;
        assert_eq!(sigma_of_mean_m(&unknown, 1, step), None);
        assert_eq!(sigma_of_mean_m(&[], 0, step), None);
    }
}
