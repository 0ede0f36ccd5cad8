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

    /// The next standard normal number.
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
