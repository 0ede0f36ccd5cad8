//! The fit of a frame's points to known ones: what both sides err by, whether they agree, and what the parameters err by.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::MovedFrame;
use super::error::FitError;
use super::points::FramePoint;
use crate::geodesy::LOCAL_RADIUS_M;
use crate::geodesy::covariance::Covariance;
use crate::geodesy::frame::{Ellipsoid, Geodetic, LocalFrame};
use crate::geodesy::register::{Arm, Cause, ErrorId};
use crate::geodesy::similarity::{self, Fitted, NoFit, Pair};
use crate::network::quantiles::chi_square;
use crate::numeric::cholesky::semi_root;
use crate::output::report::local_fit::{FittedPoint, LocalFitSummary};
use crate::run::shared::{print, print_of_base};
use crate::stations::base::{BaseTable, HeightKind};
use crate::units::Units;

/// Share of fits of sound points that stay below the critical value.
const CONFIDENCE: f64 = 0.999;

/// A point on both sides.
struct Both<'p> {
    point: &'p FramePoint,
    /// East, north, up about the middle of the frame's points, and about that of the known ones.
    local_m: [f64; 3],
    known_m: [f64; 3],
    /// Known height less that of the frame, where both have one.
    raised_m: Option<f64>,
    /// Arms in the frame, its own readings among them.
    local: Vec<Arm>,
    /// Arms of the known position.
    known: Vec<Arm>,
}

/// Arms of a covariance on entries of its own.
fn own_arms(covariance: &Covariance, of: usize) -> Vec<Arm> {
    let c = covariance;
    let root = semi_root(&[c.ee, c.en, c.eu, c.en, c.nn, c.nu, c.eu, c.nu, c.uu], 3);
    let arms = (0..3).map(|column| (ErrorId::new(Cause::Tie, of, column), std::array::from_fn(|row| root[row * 3 + column])));
    arms.filter(|(_, arm)| *arm != [0.0; 3]).collect()
}

/// Fits the frame.
///
/// # Errors
/// When fewer than two places are known on both sides, or they disagree beyond what their errors explain.
pub(super) fn fit<'k>(
    points: &[FramePoint],
    known: &'k BaseTable,
    units: &Units,
) -> Result<(MovedFrame<'k>, LocalFitSummary), FitError> {
    let mut used: Vec<usize> = points.iter().map(|point| point.known).collect();
    used.sort_unstable();
    used.dedup();
    if used.len() < 2 {
        return Err(too_few(&used, known));
    }
    let first = &known.bases[points[0].known];
    let ellipsoid = known.datums[first.datum].crs.ellipsoid();
    if let Some(other) = used.iter().map(|index| &known.bases[*index]).find(|base| base.datum != first.datum) {
        return Err(FitError::TwoDatums { one: first.label.clone(), other: other.label.clone() });
    }
    let middle = middle(points.iter().map(|point| point.located.at), &frame_ellipsoid());
    let known_middle = middle_of(used.iter().map(|index| &known.bases[*index].at), ellipsoid);
    let both: Vec<Both> = points
        .iter()
        .enumerate()
        .map(|(i, point)| Both::new(point, &known.bases[point.known], (&middle, &known_middle, ellipsoid), known.bases.len() + i))
        .collect();
    let pairs: Vec<Pair> = both
        .iter()
        .map(|both| Pair { local_m: [both.local_m[0], both.local_m[1]], known_m: [both.known_m[0], both.known_m[1]] })
        .collect();
    let fitted = match similarity::fit(&pairs, &|turn| horizontal(&both, turn)) {
        Ok(fitted) => fitted,
        Err(NoFit::TooFew) => return Err(too_few(&used[..1], known)),
        Err(NoFit::Singular) => return Err(FitError::Singular),
    };
    let heights = heights(&both);
    let summary = summary(&both, &fitted, heights.as_ref());
    if fitted.square > summary.critical {
        return Err(disagreement(&summary, units));
    }
    if let Some(found) = heights.as_ref().filter(|found| found.square > chi_square(CONFIDENCE, found.freedom)) {
        return Err(FitError::DisagreeInHeight {
            square: found.square,
            critical: chi_square(CONFIDENCE, found.freedom),
            by_m: both
                .iter()
                .zip(&found.residuals_m)
                .filter_map(|(both, residual)| Some((both.point.name.clone(), (*residual)?)))
                .collect(),
            units: *units,
        });
    }
    let kind = first.heights.kind;
    let by_entry = by_entry(&both, &fitted, heights.as_ref());
    let height = heights.map(|found| (found.shift_m, kind));
    let names = Arc::new(names(&both, known));
    Ok((MovedFrame { fitted, middle, known_middle, ellipsoid, height, by_entry, names }, summary))
}

/// Names of the fit's entries: a known point is known by all that was recorded of it, a sight to it by what it came to.
fn names(both: &[Both], known: &BaseTable) -> BTreeMap<ErrorId, String> {
    let mut names = BTreeMap::new();
    for both in both {
        let axis = |id: ErrorId| ["east", "north", "up"].get(id.which()).copied().unwrap_or_default();
        let of_known = print_of_base(&known.bases[both.point.known].row);
        names.extend(both.known.iter().map(|(id, _)| (*id, format!("known point {of_known} {}", axis(*id)))));
        let (at, own) = (both.point.located.at, both.point.located.own);
        let of_sight = print(&format!("{} {at:?} {own:?}", both.point.name));
        let of_fit = both.local.iter().filter(|(id, _)| id.cause() == Cause::Tie);
        names.extend(of_fit.map(|(id, _)| (*id, format!("sight to a known point {of_sight} {}", axis(*id)))));
    }
    names
}

/// The sphere that a frame is computed on.
fn frame_ellipsoid() -> Ellipsoid {
    Ellipsoid { semi_major_m: LOCAL_RADIUS_M, flattening: 0.0 }
}

fn too_few(used: &[usize], known: &BaseTable) -> FitError {
    FitError::TooFew {
        known: known.bases.iter().take(8).map(|base| base.label.clone()).collect(),
        only: used.first().map(|one| known.bases[*one].label.clone()),
    }
}

fn disagreement(summary: &LocalFitSummary, units: &Units) -> FitError {
    let worst = summary.points.iter().max_by(|a, b| a.normalised.unwrap_or(0.0).total_cmp(&b.normalised.unwrap_or(0.0)));
    let missed = |point: &FittedPoint| {
        let [e, n, _] = point.residual_m.map(|residual| residual.unwrap_or(0.0));
        (point.name.clone(), e.hypot(n))
    };
    FitError::Disagree {
        square: summary.square,
        critical: summary.critical,
        by_m: summary.points.iter().map(missed).collect(),
        worst: worst.filter(|_| summary.points.len() > 2).map(|point| point.name.clone()),
        units: *units,
    }
}

/// The level frame at the mean of some places.
fn middle(places: impl Iterator<Item = [f64; 3]>, ellipsoid: &Ellipsoid) -> LocalFrame {
    let places: Vec<Geodetic> = places.map(|at| Geodetic::from_earth_centred(at, ellipsoid)).collect();
    middle_of(places.iter(), ellipsoid)
}

fn middle_of<'g>(places: impl Iterator<Item = &'g Geodetic>, ellipsoid: &Ellipsoid) -> LocalFrame {
    let (sum, count) = places.fold(([0.0; 3], 0.0), |(sum, count), at| {
        let xyz = at.to_earth_centred(ellipsoid);
        (std::array::from_fn(|i| sum[i] + xyz[i]), count + 1.0)
    });
    LocalFrame::at(&Geodetic::from_earth_centred(sum.map(|sum: f64| sum / count), ellipsoid), ellipsoid)
}

impl<'p> Both<'p> {
    fn new(
        point: &'p FramePoint,
        known: &crate::stations::base::Base,
        (middle, known_middle, ellipsoid): (&LocalFrame, &LocalFrame, &Ellipsoid),
        number: usize,
    ) -> Both<'p> {
        let mut local = point.located.arms.clone();
        local.extend(own_arms(&point.located.own, number));
        let known_height_m = match known.heights.kind {
            HeightKind::None => None,
            HeightKind::Ellipsoid => known.heights.ellipsoid_m,
            HeightKind::Orthometric => known.heights.orthometric_m,
        };
        Both {
            point,
            local_m: middle.from_earth_centred(point.located.at),
            known_m: known_middle.from_earth_centred(known.at.to_earth_centred(ellipsoid)),
            raised_m: known_height_m.zip(point.height_m).map(|(known, own)| known - own),
            local,
            known: own_arms(&known.covariance, point.known),
        }
    }

    /// Arms of the difference of both sides in east, north, up of the known points.
    fn difference(&self, turn_rad: f64) -> impl Iterator<Item = Arm> + '_ {
        let (sin, cos) = turn_rad.sin_cos();
        let turned = move |(id, [e, n, up]): &Arm| (*id, [-(e * cos + n * sin), -(n * cos - e * sin), -up]);
        self.known.iter().copied().chain(self.local.iter().map(turned))
    }
}

/// The covariance of some differences, each an entry's arms along it.
fn covariance(rows: &[Vec<(ErrorId, f64)>]) -> Vec<f64> {
    let size = rows.len();
    let sums: Vec<BTreeMap<ErrorId, f64>> = rows
        .iter()
        .map(|row| {
            row.iter().fold(BTreeMap::new(), |mut sums, (id, arm)| {
                *sums.entry(*id).or_default() += arm;
                sums
            })
        })
        .collect();
    let mut matrix = vec![0.0; size * size];
    for i in 0..size {
        for k in 0..=i {
            let shared: f64 = sums[i].iter().filter_map(|(id, arm)| sums[k].get(id).map(|other| arm * other)).sum();
            (matrix[i * size + k], matrix[k * size + i]) = (shared, shared);
        }
    }
    matrix
}

/// The covariance of the differences in east and north.
fn horizontal(both: &[Both], turn_rad: f64) -> Vec<f64> {
    let rows: Vec<Vec<(ErrorId, f64)>> = both
        .iter()
        .flat_map(|both| (0..2).map(move |axis| both.difference(turn_rad).map(|(id, arm)| (id, arm[axis])).collect()))
        .collect();
    covariance(&rows)
}

/// The shift in height.
struct HeightShift {
    shift_m: f64,
    /// By point; 0 for one without a height.
    weights: Vec<f64>,
    residuals_m: Vec<Option<f64>>,
    square: f64,
    freedom: usize,
}

/// The mean of the differences in height, weighted by the inverse of their covariance.
fn heights(both: &[Both]) -> Option<HeightShift> {
    const LEAST_VARIANCE_M2: f64 = 1e-10;
    let with: Vec<usize> = (0..both.len()).filter(|i| both[*i].raised_m.is_some()).collect();
    let rows: Vec<Vec<(ErrorId, f64)>> =
        with.iter().map(|i| both[*i].difference(0.0).map(|(id, arm)| (id, arm[2])).collect()).collect();
    let size = rows.len();
    let mut matrix = covariance(&rows);
    (0..size).for_each(|i| matrix[i * size + i] += LEAST_VARIANCE_M2);
    let root = crate::numeric::cholesky::Lower::decompose(&matrix, size).filter(|_| size > 0)?;
    let weighted = root.solve(&vec![1.0; size]);
    let whole: f64 = weighted.iter().sum();
    let raised: Vec<f64> = with.iter().filter_map(|i| both[*i].raised_m).collect();
    let shift_m = weighted.iter().zip(&raised).map(|(weight, raised)| weight * raised).sum::<f64>() / whole;
    let off: Vec<f64> = raised.iter().map(|raised| raised - shift_m).collect();
    let square = off.iter().zip(root.solve(&off)).map(|(a, b)| a * b).sum();
    let (mut weights, mut residuals_m) = (vec![0.0; both.len()], vec![None; both.len()]);
    for ((i, weight), off) in with.iter().zip(&weighted).zip(&off) {
        (weights[*i], residuals_m[*i]) = (weight / whole, Some(*off));
    }
    Some(HeightShift { shift_m, weights, residuals_m, square, freedom: size - 1 })
}

/// By entry of the register: what one standard error of it does to the parameters.
fn by_entry(both: &[Both], fitted: &Fitted, heights: Option<&HeightShift>) -> BTreeMap<ErrorId, [f64; 4]> {
    let mut by_entry: BTreeMap<ErrorId, [f64; 4]> = BTreeMap::new();
    for (i, both) in both.iter().enumerate() {
        for (id, [e, n, up]) in both.difference(fitted.turn_rad) {
            let parameters = by_entry.entry(id).or_default();
            for (k, gain) in fitted.by_observation.iter().enumerate() {
                parameters[k] += gain[2 * i] * e + gain[2 * i + 1] * n;
            }
            parameters[3] += heights.map_or(0.0, |heights| heights.weights[i]) * up;
        }
    }
    by_entry
}

fn summary(both: &[Both], fitted: &Fitted, heights: Option<&HeightShift>) -> LocalFitSummary {
    let by_entry = by_entry(both, fitted, heights);
    let sigma = |k: usize| by_entry.values().map(|parameters| parameters[k].powi(2)).sum::<f64>().sqrt();
    let point = |(i, both): (usize, &Both)| {
        let [e, n] = [2 * i, 2 * i + 1].map(|at| fitted.normalised[at].abs());
        FittedPoint {
            name: both.point.name.clone(),
            is_base: both.point.is_base,
            residual_m: [
                Some(fitted.residuals_m[2 * i]),
                Some(fitted.residuals_m[2 * i + 1]),
                heights.and_then(|heights| heights.residuals_m[i]),
            ],
            normalised: Some(e.max(n)).filter(|times| *times > 0.0),
        }
    };
    LocalFitSummary {
        crs: String::new(),
        rotation_deg: fitted.turn_rad.to_degrees().rem_euclid(360.0),
        sigma_rotation_deg: sigma(2).to_degrees(),
        sigma_shift_m: [sigma(0), sigma(1)],
        height_shift_m: heights.map(|heights| heights.shift_m),
        sigma_height_shift_m: heights.map(|_| sigma(3)),
        free_scale_ppm: fitted.scale.0 * 1e6,
        sigma_free_scale_ppm: fitted.scale.1 * 1e6,
        square: fitted.square,
        freedom: fitted.freedom,
        critical: chi_square(CONFIDENCE, fitted.freedom),
        points: both.iter().enumerate().map(point).collect(),
    }
}
