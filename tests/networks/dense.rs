//! Generalised least squares by dense matrices, as an oracle: places are the only unknowns, and what readings share
//! (orientations of bases, declination, corrections) stands in their full covariance matrix V instead. Covariance of
//! the places: (Aᵀ V⁻¹ A)⁻¹ (A. C. Aitken, 1935; any text on least squares). A by differences of the true readings.

use std::collections::BTreeMap;

use standoff::network::Kind;

use super::{Site, frame};

/// Step of the differences in metres.
const STEP_M: f64 = 1e-3;

/// The covariance of the places of all stations, 3n × 3n by rows: east, north and up of each at its own place. All have
/// heights, no control is fixed, and no prior is without limit.
pub fn covariance(site: &Site) -> Vec<Vec<f64>> {
    let Readings { design, by_source } = Readings::of(site);
    let whole = by_source.values().fold(zeros(design.len(), design.len()), |sum, part| plus(&sum, part));
    inverse(times(&transposed(&design), &times(&inverse(whole), &design)))
}

/// The variance of each station's place by what it comes from, horizontally (east and north together) and in height: of x = G l, G = (Aᵀ V⁻¹ A)⁻¹ Aᵀ V⁻¹,
/// the part of errors with the covariance Vₛ is G Vₛ Gᵀ.
pub fn by_source(site: &Site) -> BTreeMap<&'static str, Vec<[f64; 2]>> {
    let Readings { design, by_source } = Readings::of(site);
    let whole = by_source.values().fold(zeros(design.len(), design.len()), |sum, part| plus(&sum, part));
    let weighted = times(&transposed(&design), &inverse(whole));
    let gain = times(&inverse(times(&weighted, &design)), &weighted);
    let stations = site.network.stations.len();
    let of = |part: &Vec<Vec<f64>>| -> Vec<[f64; 2]> {
        let moved = times(&gain, part);
        let variance = |k: usize| moved[k].iter().zip(&gain[k]).map(|(a, b)| a * b).sum::<f64>();
        (0..stations).map(|s| [variance(3 * s) + variance(3 * s + 1), variance(3 * s + 2)]).collect()
    };
    by_source.iter().map(|(source, part)| (*source, of(part))).collect()
}

/// The readings and known positions: how they answer to the places, and the covariance of their errors by what these come from.
struct Readings {
    design: Vec<Vec<f64>>,
    by_source: BTreeMap<&'static str, Vec<Vec<f64>>>,
}

impl Readings {
    fn of(site: &Site) -> Readings {
        let network = &site.network;
        let size = 3 * network.stations.len();
        let controls: Vec<usize> = (0..network.stations.len()).filter(|s| network.stations[*s].control.is_some()).collect();
        let rows = network.observations.len() + 3 * controls.len();
        let mut design = zeros(rows, size);
        let mut by_source: BTreeMap<&'static str, Vec<Vec<f64>>> = BTreeMap::new();
        let mut put = |source: &'static str, i: usize, j: usize, covariance: f64| {
            by_source.entry(source).or_insert_with(|| zeros(rows, rows))[i][j] += covariance;
        };
        for (i, o) in network.observations.iter().enumerate() {
            for station in [o.from, o.to] {
                for axis in 0..3 {
                    design[i][3 * station + axis] = slope(site, i, station, axis);
                }
            }
            for (j, p) in network.observations.iter().enumerate() {
                if o.kind == Kind::Azimuth && p.kind == Kind::Azimuth && o.from == p.from {
                    put("orientations", i, j, network.stations[o.from].sigma_orientation_rad.powi(2));
                }
                for k in o.shared.iter().flatten().filter(|k| p.shared.contains(&Some(**k))) {
                    put(
                        network.shared[*k].label.strip_prefix("the ").map_or("other", shared_source),
                        i,
                        j,
                        network.shared[*k].sigma.powi(2),
                    );
                }
            }
            let own = match o.kind {
                Kind::Azimuth | Kind::Direction => "azimuth_readings",
                Kind::Inclination => "inclination_readings",
                _ => "distance_readings",
            };
            put(own, i, i, o.sigma * o.sigma);
        }
        for (k, station) in controls.into_iter().enumerate() {
            let c = network.stations[station].control.unwrap().covariance;
            let full = [[c.ee, c.en, c.eu], [c.en, c.nn, c.nu], [c.eu, c.nu, c.uu]];
            let first = network.observations.len() + 3 * k;
            for r in 0..3 {
                design[first + r][3 * station + r] = 1.0;
                (0..3).for_each(|c| put("base_positions", first + r, first + c, full[r][c]));
            }
        }
        Readings { design, by_source }
    }
}

fn shared_source(label: &str) -> &'static str {
    match label {
        "declination" => "declination",
        "inclination correction" => "inclination_corrections",
        "distance correction" => "distance_corrections",
        _ => "other",
    }
}

fn zeros(rows: usize, columns: usize) -> Vec<Vec<f64>> {
    vec![vec![0.0; columns]; rows]
}

fn plus(a: &[Vec<f64>], b: &[Vec<f64>]) -> Vec<Vec<f64>> {
    a.iter().zip(b).map(|(a, b)| a.iter().zip(b).map(|(a, b)| a + b).collect()).collect()
}

fn transposed(m: &[Vec<f64>]) -> Vec<Vec<f64>> {
    (0..m[0].len()).map(|c| m.iter().map(|row| row[c]).collect()).collect()
}

fn times(a: &[Vec<f64>], b: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let columns = b[0].len();
    let product = |row: &Vec<f64>| {
        let mut sum = vec![0.0; columns];
        for (x, row) in row.iter().zip(b).filter(|(x, _)| **x != 0.0) {
            sum.iter_mut().zip(row).for_each(|(sum, y)| *sum += x * y);
        }
        sum
    };
    a.iter().map(product).collect()
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
