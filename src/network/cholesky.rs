//! Sparse Cholesky decomposition of the normal equations.
//!
//! N is first scaled to a unit diagonal, D N D = L Lᵀ after a minimum-degree ordering (P. R. Amestoy, T. A. Davis, I. S.
//! Duff, SIAM J. Matrix Anal. 17, 1996; by the crate `faer`). The square of a pivot of the scaled matrix is the share of
//! an unknown's own information that the others leave it: near zero the network does not determine it.
//!
//! Neighbouring columns of L with one pattern stand together as a dense block (a supernode: C. Ashcraft, R. Grimes, "The influence of
//! relaxed supernode partitions on the multifrontal method", ACM Trans. Math. Software 15, 1989). [`super::inverse`] has the part of the
//! inverse that stands in the same blocks.

use std::sync::Arc;

use faer::dyn_stack::{MemBuffer, MemStack};
use faer::linalg::solvers::LltError;
use faer::sparse::linalg::SupernodalThreshold;
use faer::sparse::linalg::cholesky::{
    CholeskySymbolicParams, LltRef, SymbolicCholesky, SymbolicCholeskyRaw, SymmetricOrdering, factorize_symbolic_cholesky,
};
use faer::sparse::{SparseColMatRef, SymbolicSparseColMatRef};
use faer::{Conj, MatMut, MatRef, Par, Side};

use super::normals::Pattern;

/// Share of an unknown's information below which it is not determined: rounding of the sums, with two digits to
/// spare (1e-12).
const SINGULAR: f64 = 1e-12;

/// The ordering and blocks of the factor: one for all iterations.
#[derive(Debug, Clone)]
pub(crate) struct Ordering {
    blocks: Arc<Blocks>,
}

/// Which columns of L stand together, and in which order.
#[derive(Debug)]
pub(crate) struct Blocks {
    symbolic: SymbolicCholesky<usize>,
    /// New place → old.
    perm: Vec<usize>,
    /// Old place → new.
    place: Vec<usize>,
    /// By new place: its block.
    block_of: Vec<u32>,
    /// First column of each block, and the end.
    starts: Vec<usize>,
    /// Where the values of each block begin, by columns.
    values: Vec<usize>,
}

/// A block of columns: a triangle, and rows below it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct ColumnBlock<'a> {
    /// Its first column, which is also its first row.
    pub start: usize,
    /// Its number of columns.
    pub width: usize,
    /// The rows below the triangle, ascending.
    pub below: &'a [usize],
}

impl ColumnBlock<'_> {
    /// Number of rows.
    pub fn height(&self) -> usize {
        self.width + self.below.len()
    }

    /// Where a row (by its place in L) stands in it.
    pub fn local(&self, row: usize) -> Option<usize> {
        match row.checked_sub(self.start)? {
            within if within < self.width => Some(within),
            _ => self.below.binary_search(&row).ok().map(|k| self.width + k),
        }
    }
}

impl Blocks {
    fn from_symbolic(symbolic: SymbolicCholesky<usize>, size: usize) -> Blocks {
        let perm: Vec<usize> = match symbolic.perm() {
            Some(perm) => perm.arrays().0.to_vec(),
            None => (0..size).collect(),
        };
        let mut place = vec![0; size];
        for (new, old) in perm.iter().enumerate() {
            place[*old] = new;
        }
        let (mut starts, mut values) = match symbolic.raw() {
            SymbolicCholeskyRaw::Supernodal(s) => (s.supernode_begin().to_vec(), s.col_ptr_for_val().to_vec()),
            // Never chosen: see `Ordering::find`.
            SymbolicCholeskyRaw::Simplicial(_) => (Vec::new(), Vec::new()),
        };
        values.truncate(starts.len());
        starts.push(size);
        let mut block_of = vec![0; size];
        for (k, columns) in starts.windows(2).enumerate() {
            block_of[columns[0]..columns[1]].fill(k as u32);
        }
        Blocks { symbolic, perm, place, block_of, starts, values }
    }

    /// Number of blocks.
    pub fn len(&self) -> usize {
        self.values.len()
    }

    /// A block.
    pub fn get(&self, k: usize) -> ColumnBlock<'_> {
        let below = match self.symbolic.raw() {
            SymbolicCholeskyRaw::Supernodal(s) => s.supernode(k).pattern(),
            SymbolicCholeskyRaw::Simplicial(_) => &[],
        };
        ColumnBlock { start: self.starts[k], width: self.starts[k + 1] - self.starts[k], below }
    }

    /// The block that holds a column of L.
    pub fn holding(&self, column: usize) -> usize {
        self.block_of[column] as usize
    }

    /// The values of a block, by columns, out of those of all.
    pub fn values<'a>(&self, k: usize, all: &'a [f64]) -> MatRef<'a, f64> {
        let ColumnBlock { width, .. } = self.get(k);
        let height = self.get(k).height();
        MatRef::from_column_major_slice(&all[self.values[k]..][..height * width], height, width)
    }

    /// The same to be written, with the values of all later blocks.
    pub fn values_and_later<'a>(&self, k: usize, all: &'a mut [f64]) -> (MatMut<'a, f64>, Later<'a>) {
        let (width, height) = (self.get(k).width, self.get(k).height());
        let from = self.values[k];
        let (own, later) = all[from..].split_at_mut(height * width);
        let first = from + own.len();
        (MatMut::from_column_major_slice_mut(own, height, width), Later { first, values: later })
    }
}

/// The values of blocks after a certain one.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Later<'a> {
    /// Place of its first value among all.
    first: usize,
    values: &'a [f64],
}

impl<'a> Later<'a> {
    /// The values of one of them.
    pub fn block(&self, blocks: &Blocks, k: usize) -> MatRef<'a, f64> {
        let (width, height) = (blocks.get(k).width, blocks.get(k).height());
        MatRef::from_column_major_slice(&self.values[blocks.values[k] - self.first..][..height * width], height, width)
    }
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
    pub fn find(pattern: &Pattern) -> Result<Ordering, NoFactor> {
        let size = pattern.starts.len() - 1;
        let matrix = SymbolicSparseColMatRef::new_checked(size, size, &pattern.starts, None, &pattern.rows);
        let params = CholeskySymbolicParams {
            // In blocks always, even where nothing is to be eliminated: a ratio of 0 is not above one of 0.
            supernodal_flop_ratio_threshold: SupernodalThreshold(-1.0),
            ..Default::default()
        };
        let symbolic =
            factorize_symbolic_cholesky(matrix, Side::Lower, SymmetricOrdering::Amd, params).map_err(|_| NoFactor::Memory)?;
        Ok(Ordering { blocks: Arc::new(Blocks::from_symbolic(symbolic, size)) })
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
        let Blocks { symbolic, perm, .. } = &*self.blocks;
        let mut lower = vec![0.0; symbolic.len_val()];
        let scratch = symbolic.factorize_numeric_llt_scratch::<f64>(Par::Seq, Default::default());
        let mut memory = MemBuffer::try_new(scratch).map_err(|_| NoFactor::Memory)?;
        let stack = MemStack::new(&mut memory);
        let done = symbolic.factorize_numeric_llt(
            &mut lower,
            matrix,
            Side::Lower,
            Default::default(),
            Par::Seq,
            stack,
            Default::default(),
        );
        if let Err(LltError::NonPositivePivot { index }) = done {
            return Err(NoFactor::Singular(perm.get(index).copied().unwrap_or(0)));
        }
        let factor = Factor { blocks: self.blocks.clone(), lower, scale };
        match (0..size).find(|&column| factor.pivot(column).powi(2) < SINGULAR) {
            Some(column) => Err(NoFactor::Singular(perm[column])),
            None => Ok(factor),
        }
    }
}

/// A decomposed N.
#[derive(Debug, Clone)]
pub(crate) struct Factor {
    blocks: Arc<Blocks>,
    lower: Vec<f64>,
    scale: Vec<f64>,
}

impl Factor {
    /// Number of unknowns.
    pub fn size(&self) -> usize {
        self.scale.len()
    }

    /// The blocks of L.
    pub fn blocks(&self) -> &Blocks {
        &self.blocks
    }

    /// The values of L, block after block, each by columns.
    pub fn lower(&self) -> &[f64] {
        &self.lower
    }

    /// An element of the diagonal of L.
    fn pivot(&self, column: usize) -> f64 {
        let k = self.blocks.holding(column);
        let at = column - self.blocks.get(k).start;
        self.blocks.values(k, &self.lower)[(at, at)]
    }

    /// N⁻¹ b.
    pub fn solve(&self, b: &[f64]) -> Vec<f64> {
        let Blocks { symbolic, .. } = &*self.blocks;
        let mut x: Vec<f64> = b.iter().zip(&self.scale).map(|(b, scale)| b * scale).collect();
        let mut memory = MemBuffer::new(symbolic.solve_in_place_scratch::<f64>(1, Par::Seq));
        let size = x.len();
        let right = MatMut::from_column_major_slice_mut(&mut x, size, 1);
        LltRef::new(symbolic, &self.lower).solve_in_place_with_conj(Conj::No, right, Par::Seq, MemStack::new(&mut memory));
        x.iter_mut().zip(&self.scale).for_each(|(x, scale)| *x *= scale);
        x
    }

    /// An element of N⁻¹ out of those of [`Factor::inverse`]; None outside the pattern.
    pub fn element(&self, inverse: &[f64], a: usize, b: usize) -> Option<f64> {
        let (p, q) = (*self.blocks.place.get(a)?, *self.blocks.place.get(b)?);
        let (row, column) = (p.max(q), p.min(q));
        let k = self.blocks.holding(column);
        let block = self.blocks.get(k);
        let at = self.blocks.values[k] + (column - block.start) * block.height() + block.local(row)?;
        Some(inverse.get(at)? * self.scale[a] * self.scale[b])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A band matrix with a border.
    fn bordered(size: usize, seed: u64) -> (Pattern, Vec<f64>, Vec<f64>) {
        random(size, seed, 3 * size, |k| [k % size, (k * 7 + 3) % size, (k + 1) % size])
    }

    /// A square of `side` by `side` unknowns, each with its neighbours: its factor has many small blocks, with rows below them in several others.
    fn grid(side: usize, seed: u64) -> (Pattern, Vec<f64>, Vec<f64>) {
        let size = side * side;
        random(size, seed, size, |k| [k, if (k + 1) % side == 0 { k } else { k + 1 }, if k + side < size { k + side } else { k }])
    }

    /// N = B Bᵀ + 1 of a random sparse B, whose columns name three unknowns each, and its dense inverse by Gauss and Jordan.
    fn random(size: usize, seed: u64, columns: usize, named: impl Fn(usize) -> [usize; 3]) -> (Pattern, Vec<f64>, Vec<f64>) {
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
        for k in 0..columns {
            let ends: Vec<(usize, f64)> = named(k).iter().map(|&i| (i, number())).collect();
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
        let bands = [(1, 1), (2, 2), (7, 3), (40, 4), (90, 5)].map(|(size, seed)| bordered(size, seed));
        for (pattern, values, want) in bands.into_iter().chain([grid(5, 6), grid(11, 7)]) {
            let size = pattern.starts.len() - 1;
            let factor = Ordering::find(&pattern).unwrap().factor(&pattern, &values).unwrap();
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
    fn what_stands_in_no_block_has_no_element() {
        // Two pairs that nothing joins.
        let pattern = Pattern { starts: vec![0, 2, 3, 5, 6], rows: vec![0, 2, 1, 2, 2, 3] };
        let pattern = Pattern { rows: vec![0, 2, 1, 2, 3, 3], ..pattern };
        let factor = Ordering::find(&pattern).unwrap().factor(&pattern, &[2.0, 1.0, 4.0, 5.0, 0.0, 8.0]).unwrap();
        let inverse = factor.inverse();
        let element = |a: usize, b: usize| factor.element(&inverse, a, b);
        // 1/(2·5 − 1) of [5 −1; −1 2].
        for (a, b, want) in
            [(0, 0, 5.0 / 9.0), (2, 2, 2.0 / 9.0), (0, 2, -1.0 / 9.0), (2, 0, -1.0 / 9.0), (1, 1, 0.25), (3, 3, 0.125)]
        {
            assert!((element(a, b).unwrap() - want).abs() < 1e-12, "{a} {b}: {:?} {want}", element(a, b));
        }
        assert_eq!((element(0, 1), element(1, 2), element(0, 4), element(4, 0)), (None, None, None, None));
        assert_eq!((factor.size(), factor.lower().len() >= 5), (4, true));
    }

    /// The share of an unknown's information that another one leaves it, 1 − c², just over and just under the least.
    #[test]
    fn an_unknown_is_determined_from_a_billionth_of_a_thousandth_on() {
        let pattern = Pattern { starts: vec![0, 2, 3], rows: vec![0, 1, 1] };
        let of = |share: f64| {
            // On the diagonal 4 and 1e6: it is a share, whatever the units are.
            let between = (1.0f64 - share).sqrt() * 2e3;
            Ordering::find(&pattern).unwrap().factor(&pattern, &[4.0, between, 1e6]).map(|factor| factor.size())
        };
        assert_eq!((of(1.02e-12), of(0.5)), (Ok(2), Ok(2)));
        assert!(matches!(of(0.98e-12), Err(NoFactor::Singular(0 | 1))));
        // No number is no information.
        for value in [f64::NAN, f64::INFINITY, -1.0] {
            let named = Ordering::find(&pattern).unwrap().factor(&pattern, &[1.0, 0.0, value]).unwrap_err();
            assert_eq!(named, NoFactor::Singular(1));
        }
    }

    #[test]
    fn names_the_unknown_that_is_not_determined() {
        // Unknowns 0 and 1 stand in their sum only: either of them is right to name; 2 stands alone.
        let pattern = Pattern { starts: vec![0, 2, 3, 4], rows: vec![0, 1, 1, 2] };
        let named = Ordering::find(&pattern).unwrap().factor(&pattern, &[1.0, 1.0, 1.0, 5.0]).unwrap_err();
        assert!(matches!(named, NoFactor::Singular(0 | 1)), "{named:?}");
        let empty = Ordering::find(&pattern).unwrap().factor(&pattern, &[1.0, 0.0, 0.0, 5.0]).unwrap_err();
        assert_eq!(empty, NoFactor::Singular(1));
    }
}
