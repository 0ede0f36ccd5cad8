//! A local frame onto the Earth by points that are known in both: a turn about the vertical and a shift in east and north, and a shift in
//! height, by least squares.
//!
//! A point (e, n) of the frame lies at E = tE + e cos θ + n sin θ, N = tN − e sin θ + n cos θ of the level plane at the middle of the known
//! points; θ, east positive, is what azimuths of the frame are turned by. Observations are the known coordinates, their errors those of both
//! sides, C = C_known + R C_frame Rᵀ: the parameters are p = (Aᵀ C⁻¹ A)⁻¹ Aᵀ C⁻¹ l, by steps of Gauss and Newton from the unweighted solution
//! (C. D. Ghilani, "Adjustment Computations", 5th ed., ch. 18, two-dimensional conformal transformation, its scale held at 1). So each
//! parameter errs by a known sum of the errors of the points, which [`Fitted::by_observation`] gives.
//!
//! Metres, radians.

use crate::numeric::cholesky::Lower;

/// A point in both frames.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pair {
    /// East and north in the local frame.
    pub local_m: [f64; 2],
    /// East and north on the level plane of the known points.
    pub known_m: [f64; 2],
}

/// A fit: its parameters, and what the residuals say.
#[derive(Debug, Clone, PartialEq)]
pub struct Fitted {
    /// Shift east and north, of the middle of the frame's points.
    pub shift_m: [f64; 2],
    /// The turn.
    pub turn_rad: f64,
    /// The middle of the frame's points.
    pub middle_m: [f64; 2],
    /// By parameter (east, north, turn) and coordinate of the points: what a metre of an error of a known coordinate does to it.
    pub by_observation: [Vec<f64>; 3],
    /// Known less fitted coordinates, east and north of each point in turn.
    pub residuals_m: Vec<f64>,
    /// Each over its standard error; 0 where nothing checks it.
    pub normalised: Vec<f64>,
    /// Weighted sum of the squares of the residuals, and its degrees of freedom.
    pub square: f64,
    /// See `square`.
    pub freedom: usize,
    /// What the scale would be with one more parameter, less 1, and its standard error.
    pub scale: (f64, f64),
}

/// Why points give no fit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoFit {
    /// Fewer than two places.
    TooFew,
    /// Their errors have no inverse, or the steps do not end.
    Singular,
}

/// Steps at most; a fit of sound points takes three.
const STEPS: usize = 20;
/// A step below this is none.
const LAST_STEP: f64 = 1e-12;
/// Points of the frame nearer than this are one place.
const ONE_PLACE_M: f64 = 1e-6;
/// A variance that is added to all, for points that are held to be without error.
const LEAST_VARIANCE_M2: f64 = 1e-10;

/// Fits. `covariance` gives, for a turn, that of the differences of both sides, by rows of east and north of each point in turn.
///
/// # Errors
/// See [`NoFit`].
pub fn fit(pairs: &[Pair], covariance: &dyn Fn(f64) -> Vec<f64>) -> Result<Fitted, NoFit> {
    let count = pairs.len() as f64;
    let mean = |of: &dyn Fn(&Pair) -> [f64; 2]| {
        let sum = pairs.iter().map(of).fold([0.0; 2], |sum, at| [sum[0] + at[0], sum[1] + at[1]]);
        [sum[0] / count, sum[1] / count]
    };
    let (middle, known_middle) = (mean(&|pair| pair.local_m), mean(&|pair| pair.known_m));
    let about = |at: [f64; 2], middle: [f64; 2]| [at[0] - middle[0], at[1] - middle[1]];
    let local: Vec<[f64; 2]> = pairs.iter().map(|pair| about(pair.local_m, middle)).collect();
    if !local.iter().any(|at| at[0].hypot(at[1]) > ONE_PLACE_M) {
        return Err(NoFit::TooFew);
    }
    // The unweighted turn.
    let (sine, cosine) = pairs.iter().zip(&local).fold((0.0, 0.0), |(sine, cosine), (pair, [e, n])| {
        let [ke, kn] = about(pair.known_m, known_middle);
        (sine + ke * n - kn * e, cosine + ke * e + kn * n)
    });
    let mut parameters = [known_middle[0], known_middle[1], f64::atan2(sine, cosine)];
    for _ in 0..STEPS {
        let system = System::new(pairs, &local, parameters, &covariance(parameters[2])).ok_or(NoFit::Singular)?;
        let step: [f64; 3] =
            std::array::from_fn(|k| system.gain[k].iter().zip(&system.misclosures).map(|(gain, off)| gain * off).sum());
        (0..3).for_each(|k| parameters[k] += step[k]);
        if step.iter().all(|step| step.abs() < LAST_STEP * (1.0 + known_middle[0].abs() + known_middle[1].abs())) {
            let system = System::new(pairs, &local, parameters, &covariance(parameters[2])).ok_or(NoFit::Singular)?;
            return system.fitted(parameters, middle).ok_or(NoFit::Singular);
        }
    }
    Err(NoFit::Singular)
}

/// Where a point of the frame comes to lie, about the middle.
fn turned([e, n]: [f64; 2], turn_rad: f64) -> [f64; 2] {
    let (sin, cos) = turn_rad.sin_cos();
    [e * cos + n * sin, n * cos - e * sin]
}

impl Fitted {
    /// A point of the frame on the level plane of the known points.
    pub fn at(&self, local_m: [f64; 2]) -> [f64; 2] {
        let [e, n] = turned([local_m[0] - self.middle_m[0], local_m[1] - self.middle_m[1]], self.turn_rad);
        [self.shift_m[0] + e, self.shift_m[1] + n]
    }

    /// By east and north of that point: what the errors of the three parameters do to it.
    pub fn by_parameters(&self, local_m: [f64; 2]) -> [[f64; 3]; 2] {
        let [e, n] = turned([local_m[0] - self.middle_m[0], local_m[1] - self.middle_m[1]], self.turn_rad);
        [[1.0, 0.0, n], [0.0, 1.0, -e]]
    }
}

/// The linear system at some parameters.
struct System {
    misclosures: Vec<f64>,
    /// (Aᵀ C⁻¹ A)⁻¹ Aᵀ C⁻¹ by parameter.
    gain: [Vec<f64>; 3],
    columns: [Vec<f64>; 3],
    /// About the middle, turned: what a scale would stretch.
    stretched: Vec<f64>,
    covariance: Vec<f64>,
    root: Lower,
    /// (Aᵀ C⁻¹ A)⁻¹.
    cofactors: [[f64; 3]; 3],
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

impl System {
    fn new(pairs: &[Pair], local: &[[f64; 2]], parameters: [f64; 3], covariance: &[f64]) -> Option<System> {
        let size = 2 * pairs.len();
        let mut covariance = covariance.to_vec();
        (0..size).for_each(|i| covariance[i * size + i] += LEAST_VARIANCE_M2);
        let root = Lower::decompose(&covariance, size)?;
        let (mut columns, mut misclosures, mut stretched) = ([vec![], vec![], vec![]], vec![], vec![]);
        for (pair, at) in pairs.iter().zip(local) {
            let [e, n] = turned(*at, parameters[2]);
            for (axis, row) in [[1.0, 0.0, n], [0.0, 1.0, -e]].into_iter().enumerate() {
                (0..3).for_each(|k| columns[k].push(row[k]));
                misclosures.push(pair.known_m[axis] - parameters[axis] - [e, n][axis]);
            }
            stretched.extend([e, n]);
        }
        let weighted: [Vec<f64>; 3] = std::array::from_fn(|k| root.solve(&columns[k]));
        let normal: Vec<f64> = (0..9).map(|i| dot(&columns[i / 3], &weighted[i % 3])).collect();
        let inverse = Lower::decompose(&normal, 3).filter(|lower| (0..3).all(|i| lower.row(i)[i] > 0.0))?;
        let cofactors: [[f64; 3]; 3] = std::array::from_fn(|i| {
            let column = inverse.inverse_column(i);
            [column[0], column[1], column[2]]
        });
        let gain =
            std::array::from_fn(|k| (0..size).map(|i| (0..3).map(|j| cofactors[k][j] * weighted[j][i]).sum::<f64>()).collect());
        Some(System { misclosures, gain, columns, stretched, covariance, root, cofactors })
    }

    fn fitted(self, parameters: [f64; 3], middle_m: [f64; 2]) -> Option<Fitted> {
        let size = self.misclosures.len();
        let weighted = self.root.solve(&self.misclosures);
        let square = dot(&self.misclosures, &weighted);
        // Variance of a residual: C − A (Aᵀ C⁻¹ A)⁻¹ Aᵀ.
        let normalised = (0..size)
            .map(|i| {
                let row: [f64; 3] = std::array::from_fn(|k| self.columns[k][i]);
                let explained: f64 =
                    (0..3).flat_map(|a| (0..3).map(move |b| (a, b))).map(|(a, b)| row[a] * self.cofactors[a][b] * row[b]).sum();
                let own = self.covariance[i * size + i];
                let left = own - explained;
                if left > 1e-9 * own { self.misclosures[i] / left.sqrt() } else { 0.0 }
            })
            .collect();
        // One more parameter: the residuals regressed on the part of the stretch that the others leave.
        let by: [f64; 3] = std::array::from_fn(|k| dot(&self.gain[k], &self.stretched));
        let left: Vec<f64> =
            (0..size).map(|i| self.stretched[i] - (0..3).map(|k| self.columns[k][i] * by[k]).sum::<f64>()).collect();
        let weight = dot(&left, &self.root.solve(&left));
        let scale = if weight > 0.0 { (dot(&left, &weighted) / weight, weight.sqrt().recip()) } else { (0.0, f64::INFINITY) };
        let [e, n, turn_rad] = parameters;
        let fitted = Fitted {
            shift_m: [e, n],
            turn_rad,
            middle_m,
            by_observation: self.gain,
            residuals_m: self.misclosures,
            normalised,
            square,
            freedom: size.saturating_sub(3),
            scale,
        };
        (fitted.square.is_finite() && turn_rad.is_finite()).then_some(fitted)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn diagonal(sigmas: Vec<f64>) -> impl Fn(f64) -> Vec<f64> {
        move |_| {
            let size = sigmas.len();
            (0..size * size).map(|i| if i / size == i % size { sigmas[i / size].powi(2) } else { 0.0 }).collect()
        }
    }

    proptest! {
        /// Turned and shifted there, fitted back: the same turn and the same places, whatever the weights; azimuths east positive.
        #[test]
        fn there_and_back(
            turn in -3.1f64..3.1, east in -1e5f64..1e5, north in -1e5f64..1e5,
            points in prop::collection::vec((-500.0f64..500.0, -500.0f64..500.0, 0.01f64..2.0), 2..7),
        ) {
            prop_assume!(points.iter().any(|p| (p.0 - points[0].0).hypot(p.1 - points[0].1) > 1.0));
            let to = |e: f64, n: f64| [east + e * turn.cos() + n * turn.sin(), north - e * turn.sin() + n * turn.cos()];
            let pairs: Vec<Pair> = points.iter().map(|(e, n, _)| Pair { local_m: [*e, *n], known_m: to(*e, *n) }).collect();
            let sigmas = points.iter().flat_map(|(_, _, sigma)| [*sigma; 2]).collect();
            let fitted = fit(&pairs, &diagonal(sigmas)).unwrap();
            prop_assert!((fitted.turn_rad - turn).sin().abs() < 1e-9);
            for (e, n) in [(0.0, 0.0), (123.0, -77.0)] {
                let (found, wanted) = (fitted.at([e, n]), to(e, n));
                prop_assert!((found[0] - wanted[0]).hypot(found[1] - wanted[1]) < 1e-6, "{:?} {:?}", found, wanted);
            }
            prop_assert!(fitted.square < 1e-6 && fitted.scale.0.abs() < 1e-9);
        }
    }

    #[test]
    fn one_place_gives_no_turn() {
        let pair = Pair { local_m: [3.0, 4.0], known_m: [10.0, 20.0] };
        assert_eq!(fit(&[pair], &diagonal(vec![0.1; 2])), Err(NoFit::TooFew));
        assert_eq!(fit(&[pair, pair], &diagonal(vec![0.1; 4])), Err(NoFit::TooFew));
    }

    /// tests/reference/similarity.csv: parameters, standard errors, residuals and the weighted square of SciPy's least_squares for five points
    /// with unequal weights.
    #[test]
    fn against_scipy() {
        let text = include_str!("../../tests/reference/similarity.csv");
        let rows: Vec<Vec<&str>> = text
            .lines()
            .filter(|line| !line.starts_with('#') && !line.is_empty())
            .map(|line| line.split(',').collect())
            .collect();
        let number = |text: &str| text.parse::<f64>().unwrap();
        let points: Vec<&Vec<&str>> = rows.iter().filter(|row| row[0] == "point").collect();
        let pairs: Vec<Pair> = points
            .iter()
            .map(|row| Pair { local_m: [number(row[1]), number(row[2])], known_m: [number(row[3]), number(row[4])] })
            .collect();
        let sigmas: Vec<f64> = points.iter().flat_map(|row| [number(row[5]), number(row[6])]).collect();
        assert_eq!(pairs.len(), 5);
        let fitted = fit(&pairs, &diagonal(sigmas.clone())).unwrap();
        // Digits of the listing are 12; the variance that is added to all (1e-10 m²) changes the weights of 0.02 m by 2.5e-7.
        let near = |name: &str, found: f64, least: f64| {
            let wanted = number(rows.iter().find(|row| row[0] == name).unwrap_or_else(|| panic!("no {name}"))[1]);
            assert!((found - wanted).abs() < least, "{name}: {found} for {wanted}");
        };
        near("turn_rad", fitted.turn_rad, 1e-9);
        let zero = fitted.at([0.0, 0.0]);
        near("zero_east_m", zero[0], 1e-6);
        near("zero_north_m", zero[1], 1e-6);
        near("square", fitted.square, 1e-5);
        let sigma = |gain: &[f64]| gain.iter().zip(&sigmas).map(|(gain, sigma)| (gain * sigma).powi(2)).sum::<f64>().sqrt();
        near("sigma_turn_rad", sigma(&fitted.by_observation[2]), 1e-9);
        let by = fitted.by_parameters([0.0, 0.0])[0];
        let of_zero: Vec<f64> = (0..10).map(|i| (0..3).map(|k| by[k] * fitted.by_observation[k][i]).sum()).collect();
        near("sigma_zero_east_m", sigma(&of_zero), 1e-7);
        near("scale", fitted.scale.0, 1e-6);
        near("sigma_scale", fitted.scale.1, 1e-6);
        for (i, residual) in fitted.residuals_m.iter().enumerate() {
            near(&format!("residual_{i}"), *residual, 1e-6);
        }
        assert_eq!(fitted.freedom, 7);
    }
}
