//! Quantiles for the tests: of the normal and the chi-square distribution (by the crate `statrs`).

use statrs::distribution::{ChiSquared, ContinuousCDF, Normal};

/// The standard normal quantile: the number that a normal number stays below with probability `p`; infinite at 0 and 1.
pub fn normal(p: f64) -> f64 {
    if p <= 0.0 {
        return f64::NEG_INFINITY;
    }
    if p >= 1.0 {
        return f64::INFINITY;
    }
    Normal::standard().inverse_cdf(p)
}

/// The chi-square quantile of `freedom` degrees of freedom; 0 for none, infinite at 1.
pub fn chi_square(p: f64, freedom: usize) -> f64 {
    if p >= 1.0 {
        return f64::INFINITY;
    }
    match ChiSquared::new(freedom as f64) {
        Ok(law) if p > 0.0 => law.inverse_cdf(p),
        _ => 0.0,
    }
}

/// Critical value of a two-sided test of one normal number at significance `alpha`.
pub fn two_sided(alpha: f64) -> f64 {
    normal(1.0 - 0.5 * alpha)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn against_printed_tables() {
        // Standard normal and chi-square tables of any statistics text, 4 digits; computed again with SciPy 1.17.1.
        for (got, want) in [
            (two_sided(0.05), 1.959_963_984_540),
            (two_sided(0.001), 3.290_526_731_492),
            (normal(0.8), 0.841_621_233_573),
            (chi_square(0.95, 2), 5.991_464_547_108),
            (chi_square(0.999, 3), 16.266_236_196_238),
            (chi_square(0.025, 10), 3.246_972_780_237),
            (chi_square(0.975, 1000), 1_089.530_912_774_9),
        ] {
            // Relative 1e-9: digits of the listing.
            assert!((got / want - 1.0).abs() < 1e-9, "{got} {want}");
        }
        assert_eq!(chi_square(0.5, 0), 0.0);
        assert_eq!(
            [normal(1.0), normal(1.1), normal(0.0), normal(-0.1)],
            [1.0, 1.0, -1.0, -1.0].map(|sign| sign * f64::INFINITY)
        );
        assert_eq!([chi_square(1.0, 2), chi_square(1.1, 2), chi_square(1.0, 0)], [f64::INFINITY; 3]);
        assert_eq!([chi_square(0.0, 3), chi_square(-0.1, 3)], [0.0; 2]);
    }
}
