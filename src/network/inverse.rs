//! The part of the inverse of the normal equations that stands in the blocks of their factor.
//!
//! K. Takahashi, J. Fagan, M. Chin, "Formation of a sparse bus impedance matrix" (1973), as told by A. M. Erisman, W. F. Tinney, Comm. ACM
//! 18 (1975) (from memory), for blocks of columns. With Z = (L Lᵀ)⁻¹, C the columns of a block and P the rows below it, L_C its triangle
//! and Y = L_P L_C⁻¹: from Lᵀ Z = L⁻¹,
//!
//! Z_PC = −Z_PP Y, Z_CC = (L_C L_Cᵀ)⁻¹ − Yᵀ Z_PC,
//!
//! from the last block to the first. Z_PP stands in later blocks: the rows below a block are among the rows of the block of each of them.
//! It needs no element outside the blocks. Held to a dense inverse by a test.

use faer::linalg::matmul::matmul;
use faer::linalg::triangular_solve::{solve_lower_triangular_in_place, solve_upper_triangular_in_place};
use faer::reborrow::{Reborrow, ReborrowMut};
use faer::{Accum, Mat, MatMut, Par};

use super::cholesky::{Blocks, ColumnBlock, Factor, Later};

impl Factor {
    /// The elements of (D N D)⁻¹ in the blocks of L, in their order; [`Factor::element`] reads them.
    pub fn inverse(&self) -> Vec<f64> {
        let blocks = self.blocks();
        let mut z = vec![0.0; self.lower().len()];
        let tallest = (0..blocks.len()).map(|k| blocks.get(k).below.len()).max().unwrap_or(0);
        let mut memory = vec![0.0; tallest * tallest];
        for k in (0..blocks.len()).rev() {
            let block = blocks.get(k);
            let (c, p) = (block.width, block.below.len());
            let lower = blocks.values(k, self.lower());
            let (triangle, below) = (lower.subrows(0, c), lower.subrows(c, p));
            let (own, later) = blocks.values_and_later(k, &mut z);
            let (mut z_cc, mut z_pc) = own.split_at_row_mut(c);
            let mut root = Mat::<f64>::identity(c, c);
            solve_lower_triangular_in_place(triangle, root.as_mut(), Par::Seq);
            matmul(z_cc.rb_mut(), Accum::Replace, root.transpose(), &root, 1.0, Par::Seq);
            if p == 0 {
                continue;
            }
            let mut y = below.to_owned();
            solve_upper_triangular_in_place(triangle.transpose(), y.as_mut().transpose_mut(), Par::Seq);
            let mut z_pp = MatMut::from_column_major_slice_mut(&mut memory[..p * p], p, p);
            gather(blocks, block, later, z_pp.rb_mut());
            matmul(z_pc.rb_mut(), Accum::Replace, z_pp.rb(), &y, -1.0, Par::Seq);
            matmul(z_cc, Accum::Add, y.transpose(), z_pc.rb(), -1.0, Par::Seq);
        }
        z
    }
}

/// Z between the rows below a block.
fn gather(blocks: &Blocks, block: ColumnBlock<'_>, later: Later<'_>, mut z: MatMut<'_, f64>) {
    let below = block.below;
    let mut locals = vec![0; below.len()];
    let mut first = 0;
    while let Some(&row) = below.get(first) {
        let k = blocks.holding(row);
        let from = blocks.get(k);
        let values = later.block(blocks, k);
        let within = below[first..].partition_point(|row| *row < from.start + from.width);
        // Both ascend, and each row is among those of the later block.
        let mut at = 0;
        for (local, row) in locals.iter_mut().zip(below).skip(first) {
            *local = match row - from.start {
                within if within < from.width => within,
                _ => {
                    at += from.below[at..].iter().take_while(|r| *r < row).count();
                    from.width + at
                }
            };
        }
        for column in first..first + within {
            let values = values.col(locals[column]);
            for line in column..below.len() {
                let value = values[locals[line]];
                z[(line, column)] = value;
                z[(column, line)] = value;
            }
        }
        first += within;
    }
}
