//! Cholesky's decomposition C = L Lᵀ of a dense symmetric matrix. By comparing elements: C_ij = Σ_k≤j L_ik L_jk gives L row by
//! row, and a test has one by hand. The sparse one of normal equations is the crate `faer`'s, in `network`.

/// What [`Lower::decompose`] adds to the diagonal, as a share of its greatest element: a millionth of the standard error. A covariance of
/// points that share all their errors is singular.
const JITTER: f64 = 1e-12;

/// Decomposes the leading `size` rows and columns of a symmetric matrix into `lower`, by rows that are `stride` apart.
/// `root` gives the pivot for what is left of a diagonal element: its square root, or what stands in its place; 0 leaves the
/// direction out. Whether every pivot was given.
pub fn decompose(
    lower: &mut [f64],
    stride: usize,
    size: usize,
    matrix: impl Fn(usize, usize) -> f64,
    root: impl Fn(f64) -> Option<f64>,
) -> bool {
    for i in 0..size {
        for j in 0..=i {
            let done: f64 = (0..j).map(|k| lower[i * stride + k] * lower[j * stride + k]).sum();
            let left = matrix(i, j) - done;
            lower[i * stride + j] = if i == j {
                let Some(pivot) = root(left) else { return false };
                pivot
            } else {
                let pivot = lower[j * stride + j];
                if pivot > 0.0 { left / pivot } else { 0.0 }
            };
        }
    }
    true
}

/// L of L Lᵀ = C, by rows, of a covariance that may have directions without error: these, and what rounding puts below none, are left
/// out. What is not known stays so.
pub fn semi_root(matrix: &[f64], size: usize) -> Vec<f64> {
    let mut lower = vec![0.0; size * size];
    for i in 0..size {
        for j in 0..=i {
            let done: f64 = (0..j).map(|k| lower[i * size + k] * lower[j * size + k]).sum();
            let left = matrix[i * size + j] - done;
            let pivot = lower[j * size + j];
            lower[i * size + j] = match i == j {
                // Not "if left > …": an unknown variance must stay unknown.
                true if left <= LEAST_SHARE * matrix[i * size + i] => 0.0,
                true => left.sqrt(),
                false if pivot == 0.0 => 0.0,
                false => left / pivot,
            };
        }
    }
    lower
}

/// Share of a variance below which what is left of it is rounding.
const LEAST_SHARE: f64 = 1e-13;

/// A lower triangular matrix, by rows.
#[derive(Debug, Clone)]
pub struct Lower {
    size: usize,
    rows: Vec<f64>,
}

impl Lower {
    /// Decomposes a symmetric matrix, by rows; none where it has a negative or unknown direction.
    pub fn decompose(matrix: &[f64], size: usize) -> Option<Lower> {
        if matrix.len() != size * size {
            return None;
        }
        let greatest = (0..size).map(|i| matrix[i * size + i]).fold(0.0, f64::max);
        let root = |left: f64| {
            let square = left + JITTER * greatest;
            // The second clause admits a matrix of zeros: its draws do not move.
            (square > 0.0 || (greatest == 0.0 && square == 0.0)).then(|| square.sqrt())
        };
        Lower::with(matrix, size, root)
    }

    /// Decomposes a symmetric matrix, by rows, with pivots as [`decompose`] takes them; none where one was not given.
    pub fn with(matrix: &[f64], size: usize, root: impl Fn(f64) -> Option<f64>) -> Option<Lower> {
        let mut rows = vec![0.0; size * size];
        decompose(&mut rows, size, size, |i, j| matrix[i * size + j], root).then_some(Lower { size, rows })
    }

    /// Rows and columns.
    pub fn size(&self) -> usize {
        self.size
    }

    /// A row up to its diagonal.
    pub fn row(&self, i: usize) -> &[f64] {
        &self.rows[i * self.size..i * self.size + i + 1]
    }

    /// Column `i` of the inverse of L Lᵀ.
    pub fn inverse_column(&self, i: usize) -> Vec<f64> {
        let unit: Vec<f64> = (0..self.size).map(|k| if k == i { 1.0 } else { 0.0 }).collect();
        self.solve(&unit)
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
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hand_decomposition() {
        // [4 2; 2 5] = [2 0; 1 2] [2 1; 0 2]; its inverse times (8, 9) is (11/8, 5/4).
        let lower = Lower::decompose(&[4.0, 2.0, 2.0, 5.0], 2).unwrap();
        for (got, want) in lower.rows.iter().zip([2.0, 0.0, 1.0, 2.0]) {
            assert!((got - want).abs() < 1e-10, "{lower:?}");
        }
        let x = lower.solve(&[8.0, 9.0]);
        assert!((x[0] - 1.375).abs() < 1e-10 && (x[1] - 1.25).abs() < 1e-10, "{x:?}");
    }

    #[test]
    fn a_matrix_that_is_no_covariance_has_none() {
        assert!(Lower::decompose(&[1.0, 2.0, 2.0, 1.0], 2).is_none());
        assert!(Lower::decompose(&[f64::NAN], 1).is_none());
    }
}
