//! Small matrices, by rows.

use crate::geodesy::covariance::Covariance;

pub(super) type Vector3 = [f64; 3];
pub(super) type Matrix3 = [[f64; 3]; 3];

/// R x.
pub(super) fn apply(r: &Matrix3, x: Vector3) -> Vector3 {
    r.map(|row| dot(row, x))
}

/// Rᵀ.
pub(super) fn transposed(r: &Matrix3) -> Matrix3 {
    std::array::from_fn(|i| std::array::from_fn(|j| r[j][i]))
}

/// A B.
pub(super) fn product(a: &Matrix3, b: &Matrix3) -> Matrix3 {
    std::array::from_fn(|i| std::array::from_fn(|j| (0..3).map(|k| a[i][k] * b[k][j]).sum()))
}

/// A C Aᵀ.
pub(super) fn carried(a: &Matrix3, c: &Covariance) -> Covariance {
    let half = product(a, &matrix(c));
    let at = |i: usize, j: usize| dot(half[i], a[j]);
    Covariance { ee: at(0, 0), en: at(0, 1), eu: at(0, 2), nn: at(1, 1), nu: at(1, 2), uu: at(2, 2) }
}

/// gᵀ C g.
pub(super) fn variance(c: &Covariance, g: Vector3) -> f64 {
    dot(g, apply(&matrix(c), g))
}

/// The covariance as a matrix.
pub(super) fn matrix(c: &Covariance) -> Matrix3 {
    [[c.ee, c.en, c.eu], [c.en, c.nn, c.nu], [c.eu, c.nu, c.uu]]
}

/// a · b.
pub(super) fn dot(a: Vector3, b: Vector3) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

/// a − b.
pub(super) fn minus(a: Vector3, b: Vector3) -> Vector3 {
    std::array::from_fn(|k| a[k] - b[k])
}

/// a + b.
pub(super) fn plus(a: Vector3, b: Vector3) -> Vector3 {
    std::array::from_fn(|k| a[k] + b[k])
}

/// The inverse of a symmetric matrix without negative directions, by its root-free decomposition L D Lᵀ; pivots below
/// `floor` are raised to it, so that a singular matrix has an inverse. By comparing
/// elements, m_ij = Σ_k≤j L_ik D_k L_jk gives both row by row.
pub(super) fn inverse<const N: usize>(m: &[[f64; N]; N], floor: f64) -> [[f64; N]; N] {
    let (mut l, mut d) = ([[0.0; N]; N], [0.0; N]);
    for j in 0..N {
        d[j] = (m[j][j] - (0..j).map(|k| l[j][k] * l[j][k] * d[k]).sum::<f64>()).max(floor);
        l[j][j] = 1.0;
        for i in j + 1..N {
            l[i][j] = (m[i][j] - (0..j).map(|k| l[i][k] * l[j][k] * d[k]).sum::<f64>()) / d[j];
        }
    }
    let mut columns = [[0.0; N]; N];
    for (unit, x) in columns.iter_mut().enumerate() {
        x[unit] = 1.0;
        for i in 0..N {
            x[i] -= (0..i).map(|k| l[i][k] * x[k]).sum::<f64>();
        }
        for i in (0..N).rev() {
            x[i] = x[i] / d[i] - (i + 1..N).map(|k| l[k][i] * x[k]).sum::<f64>();
        }
    }
    // Symmetric: its columns are its rows.
    columns
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn inverses_by_hand() {
        // [4 2; 2 5]: determinant 16, inverse [5 −2; −2 4]/16.
        let got = inverse(&[[4.0, 2.0], [2.0, 5.0]], 0.0);
        for (got, want) in got.as_flattened().iter().zip([0.312_5, -0.125, -0.125, 0.25]) {
            assert!((got - want).abs() < 1e-15, "{got} {want}");
        }
        // Singular: the missing direction gets the floor, the others keep their variance.
        let raised = inverse(&matrix(&Covariance { ee: 4.0, ..Covariance::default() }), 1e-2);
        assert!((raised[0][0] - 0.25).abs() < 1e-15 && (raised[1][1] - 100.0).abs() < 1e-9, "{raised:?}");
    }
}
