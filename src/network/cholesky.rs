//! Sparse Cholesky decomposition of the normal equations, and the part of their inverse that stands in its pattern.
//!
//! N is first scaled to a unit diagonal, D N D = L Lᵀ after a minimum-degree ordering (P. R. Amestoy, T. A. Davis, I. S.
//! Duff, SIAM J. Matrix Anal. 17, 1996; by the crate `faer`). The square of a pivot of the scaled matrix is the share of
//! an unknown's own information that the others leave it: near zero the network does not determine it.
//!
//! Inverse: K. Takahashi, J. Fagan, M. Chin, "Formation of a sparse bus impedance matrix" (1973), as told by A. M.
//! Erisman, W. F. Tinney, Comm. ACM 18 (1975) (from memory): with Z = N⁻¹, for j from last to first,
//! z_ij = −Σ_k z_ik l_kj / l_jj and z_jj = (1/l_jj − Σ_k z_kj l_kj) / l_jj, k over the pattern of column j. It needs no
//! element outside the pattern. Held to a dense inverse by a test.

use std::sync::Arc;

use faer::Side;
use faer::dyn_stack::{MemBuffer, MemStack};
use faer::linalg::solvers::LltError;
use faer::sparse::linalg::SupernodalThreshold;
use faer::sparse::linalg::cholesky::{
    CholeskySymbolicParams, SymbolicCholesky, SymbolicCholeskyRaw, SymmetricOrdering, factorize_symbolic_cholesky,
};
use faer::sparse::{SparseColMatRef, SymbolicSparseColMatRef};

use super::normals::Pattern;

/// Share of an unknown's information below which it is not determined: rounding of the sums, with two digits to
/// spare (1e-12).
const SINGULAR: f64 = 1e-12;

/// The ordering and pattern of the factor: one for all iterations.
#[derive(Debug, Clone)]
pub(crate) struct Ordering {
    symbolic: Arc<SymbolicCholesky<usize>>,
}

/// Why there is no factor.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum NoFactor {
    /// An unknown that is not determined.
    Singular(usize),
    /// No memory for it.
    Memory,
}

impl Ordering {
    /// Orders a pattern.
    pub fn of(pattern: &Pattern) -> Result<Ordering, NoFactor> {
        let size = pattern.starts.len() - 1;
        let matrix = SymbolicSparseColMatRef::new_checked(size, size, &pattern.starts, None, &pattern.rows);
        let params = CholeskySymbolicParams {
            supernodal_flop_ratio_threshold: SupernodalThreshold::FORCE_SIMPLICIAL,
            ..Default::default()
        };
        let symbolic =
            factorize_symbolic_cholesky(matrix, Side::Lower, SymmetricOrdering::Amd, params).map_err(|_| NoFactor::Memory)?;
        Ok(Ordering { symbolic: Arc::new(symbolic) })
    }

    /// Decomposes N, given by the values of the pattern.
    pub fn factor(&self, pattern: &Pattern, values: &[f64]) -> Result<Factor, NoFactor> {
        let size = pattern.starts.len() - 1;
        let mut scale = vec![0.0; size];
        for (j, s) in scale.iter_mut().enumerate() {
            let diagonal = values[pattern.starts[j]];
            if !(diagonal > 0.0 && diagonal.is_finite()) {
                return Err(NoFactor::Singular(j));
            }
            *s = 1.0 / diagonal.sqrt();
        }
        let mut scaled = values.to_vec();
        for j in 0..size {
            for k in pattern.starts[j]..pattern.starts[j + 1] {
                scaled[k] *= scale[j] * scale[pattern.rows[k]];
            }
        }
        let structure = SymbolicSparseColMatRef::new_checked(size, size, &pattern.starts, None, &pattern.rows);
        let matrix = SparseColMatRef::new(structure, &scaled);
        let mut lower = vec![0.0; self.symbolic.len_val()];
        let scratch = self.symbolic.factorize_numeric_llt_scratch::<f64>(faer::Par::Seq, Default::default());
        let mut memory = MemBuffer::try_new(scratch).map_err(|_| NoFactor::Memory)?;
        let stack = MemStack::new(&mut memory);
        let done = self.symbolic.factorize_numeric_llt(
            &mut lower,
            matrix,
            Side::Lower,
            Default::default(),
            faer::Par::Seq,
            stack,
            Default::default(),
        );
        let perm: Vec<usize> = match self.symbolic.perm() {
            Some(perm) => perm.arrays().0.to_vec(),
            None => (0..size).collect(),
        };
        if let Err(LltError::NonPositivePivot { index }) = done {
            return Err(NoFactor::Singular(perm.get(index.saturating_sub(1)).copied().unwrap_or(0)));
        }
        let mut place = vec![0; size];
        for (new, old) in perm.iter().enumerate() {
            place[*old] = new;
        }
        let factor = Factor { symbolic: self.symbolic.clone(), lower, scale, perm, place };
        let (starts, _) = factor.columns();
        match (0..size).find(|&j| factor.lower[starts[j]].powi(2) < SINGULAR) {
            Some(j) => Err(NoFactor::Singular(factor.perm[j])),
            None => Ok(factor),
        }
    }
}

/// A decomposed N.
#[derive(Debug, Clone)]
pub(crate) struct Factor {
    symbolic: Arc<SymbolicCholesky<usize>>,
    lower: Vec<f64>,
    scale: Vec<f64>,
    /// New place → old.
    perm: Vec<usize>,
    /// Old place → new.
    place: Vec<usize>,
}

impl Factor {
    /// Starts of the columns of L and the rows of its elements, ascending, the diagonal first.
    fn columns(&self) -> (&[usize], &[usize]) {
        match self.symbolic.raw() {
            SymbolicCholeskyRaw::Simplicial(s) => (s.col_ptr(), s.row_idx()),
            // Never chosen: see `Ordering::of`.
            SymbolicCholeskyRaw::Supernodal(_) => (&[], &[]),
        }
    }

    /// Number of unknowns.
    pub fn size(&self) -> usize {
        self.perm.len()
    }

    /// N⁻¹ b.
    pub fn solve(&self, b: &[f64]) -> Vec<f64> {
        let (starts, rows) = self.columns();
        let size = self.perm.len();
        let mut x: Vec<f64> = self.perm.iter().map(|&old| b[old] * self.scale[old]).collect();
        for j in 0..size {
            let column = starts[j]..starts[j + 1];
            let value = x[j] / self.lower[column.start];
            x[j] = value;
            for k in column.skip(1) {
                x[rows[k]] -= self.lower[k] * value;
            }
        }
        for j in (0..size).rev() {
            let column = starts[j]..starts[j + 1];
            let done: f64 = column.clone().skip(1).map(|k| self.lower[k] * x[rows[k]]).sum();
            x[j] = (x[j] - done) / self.lower[column.start];
        }
        self.place.iter().zip(&self.scale).map(|(&new, scale)| x[new] * scale).collect()
    }

    /// The elements of N⁻¹ in the pattern of L.
    pub fn inverse(&self) -> Vec<f64> {
        let (starts, rows) = self.columns();
        let size = self.perm.len();
        let mut z = vec![0.0; self.lower.len()];
        // Column j of L, and the sums that become column j of Z; both by row, empty between columns.
        let mut l_of = vec![0.0; size];
        let mut in_column = vec![false; size];
        let mut sums = vec![0.0; size];
        for j in (0..size).rev() {
            let (start, end) = (starts[j], starts[j + 1]);
            for k in start + 1..end {
                l_of[rows[k]] = self.lower[k];
                in_column[rows[k]] = true;
            }
            for k in start + 1..end {
                let column = rows[k];
                let l_column = self.lower[k];
                let (from, to) = (starts[column], starts[column + 1]);
                let mut sum = z[from] * l_column;
                for (row, value) in rows[from + 1..to].iter().zip(&z[from + 1..to]) {
                    if in_column[*row] {
                        sum += value * l_of[*row];
                        sums[*row] += value * l_column;
                    }
                }
                sums[column] += sum;
            }
            let pivot = self.lower[start];
            let mut diagonal = 1.0 / pivot;
            for k in start + 1..end {
                let row = rows[k];
                z[k] = -sums[row] / pivot;
                diagonal -= z[k] * self.lower[k];
                sums[row] = 0.0;
                l_of[row] = 0.0;
                in_column[row] = false;
            }
            z[start] = diagonal / pivot;
        }
        z
    }

    /// An element of N⁻¹ out of those of [`Factor::inverse`]; None outside the pattern.
    pub fn element(&self, inverse: &[f64], a: usize, b: usize) -> Option<f64> {
        let (starts, rows) = self.columns();
        let (p, q) = (*self.place.get(a)?, *self.place.get(b)?);
        let (row, column) = (p.max(q), p.min(q));
        let from = *starts.get(column)?;
        let found = rows.get(from..*starts.get(column + 1)?)?.binary_search(&row).ok()?;
        Some(inverse.get(from + found)? * self.scale[a] * self.scale[b])
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    /// A band matrix with a border: N = B Bᵀ + 1 of a random sparse B, and its dense inverse by Gauss and Jordan.
    fn random(size: usize, seed: u64) -> (Pattern, Vec<f64>, Vec<f64>) {
        // Numbers between −1 and 1 of SplitMix64 (from memory).
        let mut state = seed;
        let mut number = move || {
            state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
            let mut z = state;
            z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
            z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
            ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 52) as f64 - 1.0
        };
        let mut dense = vec![0.0; size * size];
        for k in 0..3 * size {
            let ends: Vec<(usize, f64)> = [k % size, (k * 7 + 3) % size, (k + 1) % size].iter().map(|&i| (i, number())).collect();
            for (a, x) in &ends {
                for (b, y) in &ends {
                    dense[a * size + b] += x * y;
                }
            }
        }
        for i in 0..size {
            dense[i * size + i] += 1.0;
        }
        let (mut starts, mut rows, mut values) = (vec![0], vec![], vec![]);
        for j in 0..size {
            for i in j..size {
                if dense[i * size + j] != 0.0 {
                    rows.push(i);
                    values.push(dense[i * size + j]);
                }
            }
            starts.push(rows.len());
        }
        let mut inverse: Vec<f64> = (0..size * size).map(|k| if k / size == k % size { 1.0 } else { 0.0 }).collect();
        for p in 0..size {
            let pivot = dense[p * size + p];
            for c in 0..size {
                dense[p * size + c] /= pivot;
                inverse[p * size + c] /= pivot;
            }
            for r in (0..size).filter(|r| *r != p) {
                let share = dense[r * size + p];
                for c in 0..size {
                    dense[r * size + c] -= share * dense[p * size + c];
                    inverse[r * size + c] -= share * inverse[p * size + c];
                }
            }
        }
        (Pattern { starts, rows }, values, inverse)
    }

    #[test]
    fn inverse_and_solution_against_gauss_jordan() {
        for (size, seed) in [(1, 1), (2, 2), (7, 3), (40, 4), (90, 5)] {
            let (pattern, values, want) = random(size, seed);
            let factor = Ordering::of(&pattern).unwrap().factor(&pattern, &values).unwrap();
            let inverse = factor.inverse();
            for j in 0..size {
                for k in pattern.starts[j]..pattern.starts[j + 1] {
                    let got = factor.element(&inverse, pattern.rows[k], j).unwrap();
                    let want = want[pattern.rows[k] * size + j];
                    // Rounding of two eliminations.
                    assert!((got - want).abs() < 1e-11, "{size}: {got} {want}");
                }
                let mut unit = vec![0.0; size];
                unit[j] = 1.0;
                for (i, got) in factor.solve(&unit).iter().enumerate() {
                    assert!((got - want[i * size + j]).abs() < 1e-11);
                }
            }
        }
    }

    #[test]
    fn names_the_unknown_that_is_not_determined() {
        // Unknowns 0 and 1 stand in their sum only: either of them is right to name; 2 stands alone.
        let pattern = Pattern { starts: vec![0, 2, 3, 4], rows: vec![0, 1, 1, 2] };
        let named = Ordering::of(&pattern).unwrap().factor(&pattern, &[1.0, 1.0, 1.0, 5.0]).unwrap_err();
        assert!(matches!(named, NoFactor::Singular(0 | 1)), "{named:?}");
        let empty = Ordering::of(&pattern).unwrap().factor(&pattern, &[1.0, 0.0, 0.0, 5.0]).unwrap_err();
        assert_eq!(empty, NoFactor::Singular(1));
    }
}
