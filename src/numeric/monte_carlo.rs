//! Cholesky's decomposition of a covariance, and normal draws by it.
//!
//! C = L Lᵀ; L x with x standard normal has the covariance C. A covariance of points that share all their
//! errors is singular: a small share of the greatest variance is added to the diagonal first.
//! Source: G. H. Golub, C. F. Van Loan, "Matrix Computations", ch. 4 (from memory). The generator is
//! SplitMix64 (G. L. Steele and others, OOPSLA 2014, from memory) with the transform of G. E. P. Box and
//! M. E. Muller (1958): the same seed gives the same draws on every machine.

use std::f64::consts::TAU;

/// What is added to the diagonal, as a share of its greatest element: a millionth of the standard error.
const JITTER: f64 = 1e-12;

/// A lower triangular matrix, by rows.
#[derive(Debug, Clone)]
pub struct Lower {
    size: usize,
    rows: Vec<f64>,
}

impl Lower {
    /// Decomposes a symmetric matrix, by rows; none where it has a negative or unknown direction.
    pub fn of(matrix: &[f64], size: usize) -> Option<Lower> {
        if matrix.len() != size * size {
            return None;
        }
        let greatest = (0..size).map(|i| matrix[i * size + i]).fold(0.0, f64::max);
        let mut rows = vec![0.0; size * size];
        for i in 0..size {
            for j in 0..=i {
                let done: f64 = (0..j).map(|k| rows[i * size + k] * rows[j * size + k]).sum();
                let left = matrix[i * size + j] - done;
                if i == j {
                    let square = left + JITTER * greatest;
                    // The second clause admits a matrix of zeros: its draws do not move.
                    if !(square > 0.0 || (greatest == 0.0 && square == 0.0)) {
                        return None;
                    }
                    rows[i * size + i] = square.sqrt();
                } else {
                    let pivot = rows[j * size + j];
                    rows[i * size + j] = if pivot > 0.0 { left / pivot } else { 0.0 };
                }
            }
        }
        Some(Lower { size, rows })
    }

    /// Solves L Lᵀ x = b.
    pub fn solve(&self, b: &[f64]) -> Vec<f64> {
        let (n, at) = (self.size, |i: usize, j: usize| self.rows[i * self.size + j]);
        let mut x = b.to_vec();
        for i in 0..n {
            let done: f64 = (0..i).map(|k| at(i, k) * x[k]).sum();
            x[i] = (x[i] - done) / at(i, i);
        }
        for i in (0..n).rev() {
            let done: f64 = (i + 1..n).map(|k| at(k, i) * x[k]).sum();
            x[i] = (x[i] - done) / at(i, i);
        }
        x
    }

    /// L x for a draw x of standard normal numbers.
    pub fn draw(&self, normal: &mut Normal) -> Vec<f64> {
        let x: Vec<f64> = (0..self.size).map(|_| normal.next()).collect();
        let row = |i: usize| &self.rows[i * self.size..i * self.size + i + 1];
        (0..self.size).map(|i| row(i).iter().zip(&x).map(|(l, x)| l * x).sum()).collect()
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
    fn a_hand_decomposition() {
        // [4 2; 2 5] = [2 0; 1 2] [2 1; 0 2]; its inverse times (8, 9) is (11/8, 5/4).
        let lower = Lower::of(&[4.0, 2.0, 2.0, 5.0], 2).unwrap();
        for (got, want) in lower.rows.iter().zip([2.0, 0.0, 1.0, 2.0]) {
            assert!((got - want).abs() < 1e-10, "{lower:?}");
        }
        let x = lower.solve(&[8.0, 9.0]);
        assert!((x[0] - 1.375).abs() < 1e-10 && (x[1] - 1.25).abs() < 1e-10, "{x:?}");
    }

    #[test]
    fn draws_have_the_covariance_even_where_it_is_singular() {
        // Second number twice the first.
        let lower = Lower::of(&[1.0, 2.0, 2.0, 4.0], 2).unwrap();
        let mut normal = Normal::seeded(3);
        for _ in 0..100 {
            let x = lower.draw(&mut normal);
            assert!((x[1] - 2.0 * x[0]).abs() < 1e-4, "{x:?}");
        }
        assert_eq!(Lower::of(&[0.0; 9], 3).unwrap().draw(&mut normal), vec![0.0; 3]);
        assert!(Lower::of(&[1.0, 2.0, 2.0, 1.0], 2).is_none());
        assert!(Lower::of(&[f64::NAN], 1).is_none());
        assert_eq!(deviation(&[1.0, 3.0]), 2f64.sqrt());
    }
}
