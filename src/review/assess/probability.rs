//! The few distributions that tests of positions need: normal, Student's t, chi-squared with two degrees
//! of freedom, and the binomial interval of a share.
//!
//! Normal tails: erfc(|z|/√2). Regularised incomplete beta I_x(a, b): continued fraction (DLMF 8.17.22, from memory), by the method of
//! W. J. Lentz; that of the crate `statrs` gives up after 140 steps. erfc and ln Γ are that crate's. Held by tests to closed forms, to integrals, to
//! sums of the binomial law and to published quantiles, within 1e-10.

use statrs::function::erf::erfc;
use statrs::function::gamma::ln_gamma;

/// Steps after which a series or fraction is taken as it is: it settles within a few dozen.
const MOST_STEPS: usize = 500;
/// Stands for 0 in a continued fraction.
const TINY: f64 = 1e-300;

fn not_zero(value: f64) -> f64 {
    value.abs().max(TINY).copysign(value)
}

/// I_x(a, b), 0 ≤ x ≤ 1, a and b > 0.
fn incomplete_beta(a: f64, b: f64, x: f64) -> f64 {
    // 0 at both ends.
    let front = (ln_gamma(a + b) - ln_gamma(a) - ln_gamma(b) + a * x.ln() + b * (-x).ln_1p()).exp();
    // The fraction settles quickly on this side of the mean alone.
    if x < a / (a + b) { front * beta_fraction(a, b, x) / a } else { 1.0 - front * beta_fraction(b, a, 1.0 - x) / b }
}

fn beta_fraction(a: f64, b: f64, x: f64) -> f64 {
    let mut c = 1.0;
    let mut d = 1.0 / not_zero(1.0 - (a + b) * x / (a + 1.0));
    let mut fraction = d;
    for m in (1u16..).take(MOST_STEPS) {
        let (m, before) = (f64::from(m), fraction);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        for term in [even, odd] {
            d = 1.0 / not_zero(1.0 + term * d);
            c = not_zero(1.0 + term / c);
            fraction *= d * c;
        }
        if fraction == before {
            break;
        }
    }
    fraction
}

/// Probability that a standard normal number lies farther from 0 than `z`, on either side.
pub fn normal_two_sided(z: f64) -> f64 {
    erfc(z.abs() / std::f64::consts::SQRT_2)
}

/// Probability that chi-squared with two degrees of freedom exceeds `square`: exp(−square / 2), exact.
pub fn chi_squared_two(square: f64) -> f64 {
    (-0.5 * square.max(0.0)).exp()
}

/// Probability that Student's t with `freedom` degrees of freedom lies farther from 0 than `t`, on either side:
/// I_x(ν/2, ½), x = ν / (ν + t²).
pub fn student_two_sided(t: f64, freedom: f64) -> f64 {
    incomplete_beta(0.5 * freedom, 0.5, freedom / (freedom + t * t))
}

/// The exact interval of C. J. Clopper and E. S. Pearson (Biometrika 26, 1934) for a share of which `inside` of `of` were
/// seen: the shares at which so many or more, and so few or fewer, have half of `1 − confidence` each.
/// It covers the true share at least as often as it says. 0 to 1 where nothing was seen.
pub fn clopper_pearson(inside: usize, of: usize, confidence: f64) -> [f64; 2] {
    let half = 0.5 * (1.0 - confidence);
    let (k, n) = (inside as f64, of as f64);
    // P(X ≥ k) = I_p(k, n − k + 1); P(X ≤ k) = 1 − I_p(k + 1, n − k).
    let low = if inside == 0 { 0.0 } else { solve(|p| incomplete_beta(k, n - k + 1.0, p), half) };
    let high = if inside == of { 1.0 } else { solve(|p| incomplete_beta(k + 1.0, n - k, p), 1.0 - half) };
    [low, high]
}

/// Where a rising function of 0 to 1 has a value, by halving.
fn solve(rising: impl Fn(f64) -> f64, value: f64) -> f64 {
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if rising(middle) < value {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use std::f64::consts::PI;

    use super::*;
    use proptest::prelude::*;

    /// Of a probability; the approximations behind are good to 1e-13.
    const PROBABILITY: f64 = 1e-10;

    #[test]
    fn normal_tails_by_their_quantiles() {
        // Φ⁻¹(0.975) and Φ⁻¹(0.995), any table of the normal law.
        assert!((normal_two_sided(1.959_963_984_540_054) - 0.05).abs() < PROBABILITY);
        assert!((normal_two_sided(-2.575_829_303_548_901) - 0.01).abs() < PROBABILITY);
        assert_eq!(normal_two_sided(0.0), 1.0);
        assert!((normal_two_sided(3f64.sqrt()) - 0.083_264_516_663_550_4).abs() < PROBABILITY);
    }

    /// Normal tails by integration (Simpson), for any z.
    fn integrated(z: f64) -> f64 {
        let steps = 2000;
        let h = z / steps as f64;
        let density = |x: f64| (-0.5 * x * x).exp() / (2.0 * PI).sqrt();
        let sum: f64 = (0..=steps)
            .map(|i| {
                let weight = if i == 0 || i == steps { 1.0 } else { 2.0 + 2.0 * (i % 2) as f64 };
                weight * density(i as f64 * h)
            })
            .sum();
        1.0 - 2.0 * sum * h / 3.0
    }

    #[test]
    fn student_by_closed_forms() {
        // One degree of freedom: 1 − (2/π) arctan t; two: 1 − t / √(2 + t²).
        for t in [0.1, 1.0, 2.5, 12.7] {
            assert!((student_two_sided(t, 1.0) - (1.0 - 2.0 / PI * f64::atan(t))).abs() < PROBABILITY, "{t}");
            assert!((student_two_sided(-t, 2.0) - (1.0 - t / (2.0 + t * t).sqrt())).abs() < PROBABILITY, "{t}");
        }
        // Student's table: 2.228 for 10 degrees of freedom, 5 % on both sides. Half of its last digit is worth 0.0005 · 2 · 0.045,
        // the density there.
        assert!((student_two_sided(2.228, 10.0) - 0.05).abs() < 4.5e-5);
    }

    fn binomial(n: usize, k: usize, p: f64) -> f64 {
        let choose: f64 = (0..k).map(|i| (n - i) as f64 / (i + 1) as f64).product();
        choose * p.powi(k as i32) * (1.0 - p).powi((n - k) as i32)
    }

    /// I_p(k, n − k + 1) is the chance of k or more of n: from far below the mean to far above it.
    #[test]
    fn the_incomplete_beta_function_by_sums_of_the_binomial_law() {
        for (k, n) in [(1, 1), (1, 20), (5, 20), (19, 20), (20, 20), (30, 40), (3, 60), (57, 60)] {
            for p in [0.001, 0.05, 0.2, 0.4, 0.5, 0.6, 0.75, 0.9, 0.98, 0.999] {
                let sum: f64 = (k..=n).map(|i| binomial(n, i, p)).sum();
                let got = incomplete_beta(k as f64, (n - k + 1) as f64, p);
                assert!((got - sum).abs() < PROBABILITY, "{k} of {n} at {p}: {got} {sum}");
            }
        }
        assert_eq!([0.0, 1.0].map(|x| incomplete_beta(2.5, 0.5, x)), [0.0, 1.0]);
        assert_eq!([0.0, 1.0].map(|x| incomplete_beta(0.5, 7.0, x)), [0.0, 1.0]);
    }

    /// Of many degrees of freedom Student's law is the normal one, but for (t³ + t) φ(t) / 2ν (the first term of its expansion).
    #[test]
    fn student_of_many_degrees_of_freedom() {
        for t in [0.01f64, 0.5, 1.0, 2.0, 3.5] {
            let freedom = 20_000.0;
            let density = (-0.5 * t * t).exp() / (2.0 * PI).sqrt();
            let want = normal_two_sided(t) + density * (t * t * t + t) / (2.0 * freedom);
            assert!((student_two_sided(t, freedom) - want).abs() < 1e-8, "{t}");
        }
        assert_eq!(student_two_sided(0.0, 7.0), 1.0);
    }

    #[test]
    fn what_is_0_stands_for_the_least() {
        assert_eq!([0.0, -0.0, 2.5, -2.5].map(not_zero), [TINY, -TINY, 2.5, -2.5]);
    }

    #[test]
    fn chi_squared_of_two_by_its_exponential() {
        // 5.991 is the 95 % point (any table).
        assert!((chi_squared_two(5.991_464_547_107_98) - 0.05).abs() < 1e-12);
        assert_eq!([0.0, -1.0].map(chi_squared_two), [1.0, 1.0]);
    }

    #[test]
    fn an_interval_by_closed_forms() {
        // All inside: (1 − c)/2 = lowⁿ.
        let [low, high] = clopper_pearson(20, 20, 0.95);
        assert!((low - 0.025f64.powf(0.05)).abs() < PROBABILITY && high == 1.0);
        let [low, high] = clopper_pearson(0, 7, 0.9);
        assert!((high - (1.0 - 0.05f64.powf(1.0 / 7.0))).abs() < PROBABILITY && low == 0.0);
        assert_eq!(clopper_pearson(0, 0, 0.95), [0.0, 1.0]);
    }

    proptest! {
        #[test]
        fn tails_agree_with_the_integral(z in 0.0f64..6.0) {
            prop_assert!((normal_two_sided(z) - integrated(z)).abs() < PROBABILITY);
        }

        /// The ends of the interval against the sums of the binomial law that define them.
        #[test]
        fn intervals_agree_with_the_binomial_law(n in 2usize..120, share in 0.0f64..1.0) {
            let k = ((share * n as f64) as usize).clamp(1, n - 1);
            let [low, high] = clopper_pearson(k, n, 0.95);
            let so_many: f64 = (k..=n).map(|i| binomial(n, i, low)).sum();
            let so_few: f64 = (0..=k).map(|i| binomial(n, i, high)).sum();
            prop_assert!((so_many - 0.025).abs() < 1e-9 && (so_few - 0.025).abs() < 1e-9, "{so_many} {so_few}");
        }
    }
}
