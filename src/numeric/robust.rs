//! The median, and the scale that a few wrong numbers do not move.
//!
//! Scale: 1.4826 c_n MAD, MAD the median of |x − median|. 1.4826 makes it the standard error of a normal
//! distribution, c_n takes off its bias in small samples (C. Croux and P. J. Rousseeuw, "Time-efficient algorithms for
//! two highly robust estimators of scale", Computational Statistics 1, 1992). Cost n log n.

/// Makes the median absolute deviation of many normal numbers their standard error.
pub const TO_SIGMA: f64 = 1.4826;

/// The median; none of no numbers.
pub fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_unstable_by(f64::total_cmp);
    let half = values.len() / 2;
    let upper = *values.get(half)?;
    match values.len() % 2 {
        1 => Some(upper),
        _ => Some(0.5 * (values.get(half.checked_sub(1)?)? + upper)),
    }
}

/// The factor c_n of Croux and Rousseeuw for the median absolute deviation of `n` numbers.
pub fn small_sample(n: usize) -> f64 {
    match n {
        0..=2 => 1.196,
        3 => 1.495,
        4 => 1.363,
        5 => 1.206,
        6 => 1.200,
        7 => 1.140,
        8 => 1.129,
        9 => 1.107,
        _ => n as f64 / (n as f64 - 0.8),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn medians_by_hand() {
        assert_eq!(median(vec![]), None);
        assert_eq!(median(vec![3.0]), Some(3.0));
        assert_eq!(median(vec![3.0, 1.0]), Some(2.0));
        assert_eq!(median(vec![9.0, -1.0, 2.0]), Some(2.0));
    }
}
