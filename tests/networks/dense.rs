//! Generalised least squares by dense matrices, as an oracle: places are the only unknowns, and what readings share
//! (orientations of bases, declination, corrections) stands in their full covariance matrix V instead. Covariance of
//! the places: (Aᵀ V⁻¹ A)⁻¹ (A. C. Aitken, 1935; any text on least squares). A by differences of the true readings.

use standoff::network::Kind;

use super::{Site, frame};

/// Step of the differences in metres.
const STEP_M: f64 = 1e-3;

/// The covariance of the places of all stations, 3n × 3n by rows: east, north and up of each at its own place. All have
/// heights, no control is fixed, and no prior is without limit.
pub fn covariance(site: &Site) -> Vec<Vec<f64>> {
    let network = &site.network;
    let size = 3 * network.stations.len();
    let controls: Vec<usize> = (0..network.stations.len()).filter(|s| network.stations[*s].control.is_some()).collect();
    let rows = network.observations.len() + 3 * controls.len();
    let (mut a, mut v) = (vec![vec![0.0; size]; rows], vec![vec![0.0; rows]; rows]);
    for (i, o) in network.observations.iter().enumerate() {
        for station in [o.from, o.to] {
            for axis in 0..3 {
                a[i][3 * station + axis] = slope(site, i, station, axis);
            }
        }
        for (j, p) in network.observations.iter().enumerate() {
            let turns = o.kind == Kind::Azimuth && p.kind == Kind::Azimuth && o.from == p.from;
            let turn = if turns { network.stations[o.from].sigma_orientation_rad.powi(2) } else { 0.0 };
            let common = o.shared.iter().flatten().filter(|k| p.shared.contains(&Some(**k)));
            v[i][j] = turn + common.map(|k| network.shared[*k].sigma.powi(2)).sum::<f64>();
        }
        v[i][i] += o.sigma * o.sigma;
    }
    for (k, station) in controls.into_iter().enumerate() {
        let c = network.stations[station].control.unwrap().covariance;
        let full = [[c.ee, c.en, c.eu], [c.en, c.nn, c.nu], [c.eu, c.nu, c.uu]];
        for r in 0..3 {
            let row = network.observations.len() + 3 * k + r;
            a[row][3 * station + r] = 1.0;
            for c in 0..3 {
                v[row][row - r + c] = full[r][c];
            }
        }
    }
    let weights = inverse(v);
    let weighted: Vec<Vec<f64>> = weights
        .iter()
        .map(|w| (0..size).map(|c| (0..rows).filter(|r| w[*r] != 0.0).map(|r| w[r] * a[r][c]).sum()).collect())
        .collect();
    let normal = (0..size).map(|i| (0..size).map(|j| (0..rows).map(|r| a[r][i] * weighted[r][j]).sum()).collect()).collect();
    inverse(normal)
}

/// Standard errors of a station's east, north and up.
pub fn sigmas(covariance: &[Vec<f64>], station: usize) -> [f64; 3] {
    std::array::from_fn(|axis| covariance[3 * station + axis][3 * station + axis].sqrt())
}

/// How a reading answers to a move of a station's true place along one of its own axes.
fn slope(site: &Site, reading: usize, station: usize, axis: usize) -> f64 {
    let o = &site.network.observations[reading];
    let own = frame(site.truth[station]);
    let at = |step: f64| {
        let moved = own.to_earth_centred(std::array::from_fn(|k| if k == axis { step } else { 0.0 }));
        let mut truth = site.truth.clone();
        truth[station] = moved;
        site.true_value_of(&truth, o.kind, o.from, o.to, [o.instrument_height_m, o.target_height_m])
    };
    let difference = at(STEP_M) - at(-STEP_M);
    // An azimuth may jump by a turn between the two.
    let turn = std::f64::consts::TAU;
    let difference = if o.kind.is_bearing() { difference - turn * (difference / turn).round() } else { difference };
    difference / (2.0 * STEP_M)
}

/// The inverse by Gauss and Jordan, the greatest pivot of the column first.
fn inverse(mut m: Vec<Vec<f64>>) -> Vec<Vec<f64>> {
    let n = m.len();
    let mut inverse: Vec<Vec<f64>> = (0..n).map(|i| (0..n).map(|j| f64::from(u8::from(i == j))).collect()).collect();
    for p in 0..n {
        let best = (p..n).max_by(|a, b| m[*a][p].abs().total_cmp(&m[*b][p].abs())).unwrap();
        m.swap(p, best);
        inverse.swap(p, best);
        let pivot = m[p][p];
        assert!(pivot != 0.0, "singular at {p}");
        for c in 0..n {
            m[p][c] /= pivot;
            inverse[p][c] /= pivot;
        }
        for r in (0..n).filter(|r| *r != p) {
            let share = m[r][p];
            if share == 0.0 {
                continue;
            }
            for c in 0..n {
                m[r][c] -= share * m[p][c];
                inverse[r][c] -= share * inverse[p][c];
            }
        }
    }
    inverse
}
