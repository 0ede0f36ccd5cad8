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
