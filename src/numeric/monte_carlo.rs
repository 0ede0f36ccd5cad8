//! Normal draws by a generator that is the same everywhere: Monte Carlo.
//!
//! L x with x standard normal has the covariance L Lᵀ. The generator is SplitMix64 (G. L. Steele and others, OOPSLA 2014) with the
//! transform of G. E. P. Box and M. E. Muller (1958): the same seed gives the same draws on every machine. No more is asked of it than
//! the moments that the tests hold.

use std::f64::consts::TAU;

pub use super::cholesky::Lower;

impl Lower {
    /// L x for a draw x of standard normal numbers.
    pub fn draw(&self, normal: &mut Normal) -> Vec<f64> {
        let x: Vec<f64> = (0..self.size()).map(|_| normal.next()).collect();
        (0..self.size()).map(|i| self.row(i).iter().zip(&x).map(|(l, x)| l * x).sum()).collect()
    }
}

/// A generator of standard normal numbers.
#[derive(Debug, Clone)]
pub struct Normal {
    state: u64,
    spare: Option<f64>,
}

impl Normal {
    /// A generator that starts from a seed.
    pub fn seeded(seed: u64) -> Normal {
        Normal { state: seed, spare: None }
    }

    /// A number above 0 and up to 1.
    fn uniform(&mut self) -> f64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^= z >> 31;
        ((z >> 11) + 1) as f64 / (1u64 << 53) as f64
    }

    /// The next standard normal number; there is always one.
    #[allow(clippy::should_implement_trait)]
    pub fn next(&mut self) -> f64 {
        if let Some(spare) = self.spare.take() {
            return spare;
        }
        let radius = (-2.0 * self.uniform().ln()).sqrt();
        let (sin, cos) = (TAU * self.uniform()).sin_cos();
        self.spare = Some(radius * sin);
        radius * cos
    }
}

/// The standard deviation of numbers about their mean; 0 of fewer than two.
pub fn deviation(numbers: &[f64]) -> f64 {
    if numbers.len() < 2 {
        return 0.0;
    }
    let mean = numbers.iter().sum::<f64>() / numbers.len() as f64;
    (numbers.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / (numbers.len() - 1) as f64).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn normal_numbers_have_the_moments_of_the_normal_law() {
        let mut normal = Normal::seeded(7);
        let numbers: Vec<f64> = (0..100_000).map(|_| normal.next()).collect();
        let moment = |power: i32| numbers.iter().map(|x| x.powi(power)).sum::<f64>() / numbers.len() as f64;
        // Four standard errors of each moment at 100 000 numbers: √(1, 2, 15, 96) / √100 000 times 4.
        for (power, want, error) in [(1, 0.0, 0.013), (2, 1.0, 0.018), (3, 0.0, 0.05), (4, 3.0, 0.124)] {
            assert!((moment(power) - want).abs() < error, "moment {power}: {}", moment(power));
        }
        let beyond = numbers.iter().filter(|x| x.abs() > 1.959_964).count() as f64 / numbers.len() as f64;
        assert!((beyond - 0.05).abs() < 0.003, "{beyond}");
    }

    #[test]
    fn draws_have_the_covariance_even_where_it_is_singular() {
        // Second number twice the first.
        let lower = Lower::decompose(&[1.0, 2.0, 2.0, 4.0], 2).unwrap();
        let mut normal = Normal::seeded(3);
        for _ in 0..100 {
            let x = lower.draw(&mut normal);
            assert!((x[1] - 2.0 * x[0]).abs() < 1e-4, "{x:?}");
        }
        assert_eq!(Lower::decompose(&[0.0; 9], 3).unwrap().draw(&mut normal), vec![0.0; 3]);
        assert_eq!(deviation(&[1.0, 3.0]), 2f64.sqrt());
    }
}
