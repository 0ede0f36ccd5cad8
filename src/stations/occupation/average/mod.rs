//! The robust weighted mean of a receiver's epochs at one place, and its standard error.
//!
//! Weights are the inverse squares of the standard errors that the receiver states (GST); else of
//! errors by fix kind and HDOP ([`sigma_of`]). Epochs far from the median, by the median distance
//! of all, are set aside and named. The standard error of the mean takes the errors of epochs τ
//! apart to be correlated by exp(−|τ|/T) (a first-order Gauss-Markov process; T is `correlation_s` of
//! the job): var = Σᵢ Σⱼ uᵢ uⱼ σᵢ σⱼ exp(−|tᵢ − tⱼ|/T), uᵢ = wᵢ/Σw. It is scaled up, never down, where the
//! epochs scatter more than their standard errors say. Correlated errors hide in a small scatter: what they are shows in how fast epochs
//! drift apart.

use crate::geodesy::frame::{Ellipsoid, Geodetic, LocalFrame};
use crate::job::FixKind;
use crate::numeric::robust::median;
use crate::records::base_row::{Coordinates, Fading, Height};
use crate::records::fix::Fix;
use crate::stations::occupation::seconds;

/// Epochs further from the median than this many robust standard errors are set aside: one in three
/// thousand good ones.
const ASIDE_SIGMAS: f64 = 4.0;
/// Median distance from the centre of a bivariate normal distribution, in standard errors of an axis: √(2 ln 2).
const MEDIAN_RADIUS: f64 = 1.177_410_022_515_474_7;
/// Median absolute deviation of a normal distribution, in standard errors.
const MEDIAN_DEVIATION: f64 = 0.674_489_750_196_081_7;
/// HDOP where the log does not give it.
const ASSUMED_HDOP: f64 = 1.5;
/// Vertical over horizontal standard error of GNSS.
const VERTICAL_RATIO: f64 = 1.8;

/// The mean of a place's epochs.
#[derive(Debug, Clone, PartialEq)]
pub struct PlaceMean {
    /// Position of the antenna.
    pub coordinates: Coordinates,
    /// Its height: above the ellipsoid where the log gives that or the separation, else as the log has it.
    pub height: Option<Height>,
    /// Mean of the separations that the receiver took off, in metres.
    pub separation_m: Option<f64>,
    /// Standard error of each horizontal axis in metres.
    pub sigma_horizontal_m: f64,
    /// Standard error of the height in metres.
    pub sigma_vertical_m: f64,
    /// Root mean square horizontal distance of the epochs used from their mean, in metres.
    pub spread_m: f64,
    /// How it hangs together with other occupations.
    pub fading: Option<Fading>,
    /// How many times as large as stated the errors are, horizontally and in height, where the scatter under the correlation model contradicts
    /// what the receiver states.
    pub contradicted: [Option<f64>; 2],
    /// For each epoch, its distance from the median in metres where it is set aside.
    pub aside: Vec<Option<f64>>,
}

/// Standard errors of east, north and height of one fix in metres: as the receiver states them, else
/// by fix kind times HDOP (common practice, no source).
pub fn sigma_of(fix: &Fix) -> [f64; 3] {
    const LEAST_M: f64 = 1e-4;
    if let Some(sigma) = fix.sigma_m {
        return sigma.map(|sigma| sigma.max(LEAST_M));
    }
    let at_unit_dilution = match fix.kind {
        FixKind::Fixed => 0.015,
        FixKind::Float => 0.25,
        FixKind::Differential => 0.8,
        FixKind::Single => 2.0,
        FixKind::Unknown => 2.5,
        FixKind::Estimated | FixKind::Manual | FixKind::Simulated => 10.0,
    };
    let horizontal = at_unit_dilution * fix.hdop.filter(|hdop| *hdop > 0.0).unwrap_or(ASSUMED_HDOP);
    [horizontal, horizontal, VERTICAL_RATIO * horizontal]
}

/// The mean of the fixes of one place, in order of time; there is at least one.
pub fn average(fixes: &[&Fix], correlation_s: f64) -> PlaceMean {
    let plane = LocalPlane::amid(fixes);
    let flat: Vec<[f64; 2]> = fixes.iter().map(|fix| plane.flat(fix.coordinates)).collect();
    let heights: Vec<Option<f64>> = heights_of_one_kind(fixes);
    let aside = outlying(fixes, &flat, &heights);
    let used: Vec<usize> = (0..fixes.len()).filter(|i| aside[*i].is_none()).collect();
    let sigmas: Vec<[f64; 3]> = used.iter().map(|i| sigma_of(fixes[*i])).collect();
    // One weight for both axes, so that the mean does not depend on how they are turned.
    let horizontal: Vec<f64> = sigmas.iter().map(|[e, n, _]| (0.5 * (e * e + n * n)).sqrt()).collect();
    let times: Vec<f64> = used.iter().map(|i| seconds(fixes[used[0]].instant, fixes[*i].instant)).collect();
    let mean_of = |axis: usize| weighted_mean(used.iter().map(|i| flat[*i][axis]), &horizontal);
    let (east, north) = (mean_of(0), mean_of(1));
    let squares: Vec<f64> = used.iter().map(|i| (flat[*i][0] - east).powi(2) + (flat[*i][1] - north).powi(2)).collect();
    let count = used.len() as f64;
    let along = |axis: usize| used.iter().map(|i| flat[*i][axis]).collect::<Vec<f64>>();
    let drifts = drift(&[along(0), along(1)], &horizontal, &times, correlation_s);
    let scale = scatter(squares.iter().map(|r2| 0.5 * r2), &horizontal).max(drifts.unwrap_or(1.0));
    let sigma_horizontal_m = sigma_of_mean(&horizontal, &times, correlation_s) * scale;
    let tall: Vec<usize> = (0..used.len()).filter(|k| heights[used[*k]].is_some()).collect();
    let vertical: Vec<f64> = tall.iter().map(|k| sigmas[*k][2]).collect();
    let tall_heights: Vec<f64> = tall.iter().filter_map(|k| heights[used[*k]]).collect();
    let tall_times: Vec<f64> = tall.iter().map(|k| times[*k]).collect();
    let height = (!tall.is_empty()).then(|| weighted_mean(tall_heights.iter().copied(), &vertical));
    let drifts_up = drift(std::slice::from_ref(&tall_heights), &vertical, &tall_times, correlation_s);
    let scale_up = height.map_or(1.0, |mean| {
        scatter(tall_heights.iter().map(|height| (height - mean).powi(2)), &vertical).max(drifts_up.unwrap_or(1.0))
    });
    let sigma_vertical_m = height.map_or(f64::NAN, |_| sigma_of_mean(&vertical, &tall_times, correlation_s) * scale_up);
    let is_stated = used.iter().all(|i| fixes[*i].sigma_m.is_some());
    let ends =
        |sigmas: &[f64], times: &[f64], scale: f64| ends_of_mean(sigmas, times, correlation_s).map(|metres| metres * scale);
    let ([head, tail], [head_up, tail_up]) = (ends(&horizontal, &times, scale), ends(&vertical, &tall_times, scale_up));
    let span = used.first().zip(used.last()).map(|(first, last)| (fixes[*first].instant, fixes[*last].instant));
    let separations: Vec<f64> = used.iter().filter_map(|i| fixes[*i].separation_m).collect();
    let is_ellipsoid = kind_is_ellipsoid(fixes);
    PlaceMean {
        coordinates: plane.back([east, north]),
        height: height.map(|height| if is_ellipsoid { Height::Ellipsoid(height) } else { Height::Orthometric(height) }),
        separation_m: (!separations.is_empty()).then(|| separations.iter().sum::<f64>() / separations.len() as f64),
        sigma_horizontal_m,
        sigma_vertical_m,
        spread_m: (squares.iter().sum::<f64>() / count).sqrt(),
        fading: span.map(|span| Fading { span, head_m: [head, head_up], tail_m: [tail, tail_up], correlation_s }),
        contradicted: [drifts, drifts_up].map(|factor| factor.filter(|_| is_stated)),
        aside,
    }
}

/// Standard error of the weighted mean of values with standard errors `sigmas` at `times` in seconds,
/// in order, whose errors are correlated by exp(−|τ|/T). One pass: the correlations of all earlier
/// epochs with the present one fade by one factor from epoch to epoch.
pub fn sigma_of_mean(sigmas: &[f64], times: &[f64], correlation_s: f64) -> f64 {
    let whole: f64 = sigmas.iter().map(|sigma| sigma.powi(-2)).sum();
    let (mut variance, mut earlier, mut last) = (0.0, 0.0, f64::NAN);
    for (sigma, time) in sigmas.iter().zip(times) {
        // uᵢ σᵢ
        let part = 1.0 / (sigma * whole);
        let fade = if correlation_s > 0.0 { (-(time - last).abs() / correlation_s).exp() } else { 0.0 };
        if last.is_finite() {
            earlier *= fade;
        }
        variance += part * part + 2.0 * part * earlier;
        earlier += part;
        last = *time;
    }
    variance.sqrt()
}

/// What the error of the weighted mean has in common with an error at its first epoch and with one at its last, in metres:
/// Σ uᵢ σᵢ exp(−|tᵢ − t|/T).
fn ends_of_mean(sigmas: &[f64], times: &[f64], correlation_s: f64) -> [f64; 2] {
    let (Some(first), Some(last)) = (times.first(), times.last()) else { return [0.0; 2] };
    let whole: f64 = sigmas.iter().map(|sigma| sigma.powi(-2)).sum();
    let with = |at: f64| {
        let fade = |time: &f64| if correlation_s > 0.0 { (-(time - at).abs() / correlation_s).exp() } else { 0.0 };
        sigmas.iter().zip(times).map(|(sigma, time)| fade(time) / (sigma * whole)).sum()
    };
    [with(*first), with(*last)]
}

/// By how many times the errors of epochs drift apart faster than their standard errors and the correlation model let them; none where
/// that is not significant, or there are too few epochs.
///
/// With x the deviations over their standard errors, the model gives ½E(x(t + τ) − x(t))² = s² (1 − exp(−τ/T)) + w², s 1 where the standard errors are
/// right and w² an error that is new at each epoch: E x² = s² + w² of either, less E x(t + τ)x(t) = s² exp(−τ/T). The
/// difference of two lags has no w², and so s² = (γ(k) − γ(1))/(exp(−τ₁/T) − exp(−τₖ/T)) is told from epochs that jump about. The longer lag is
/// a twelfth of T, long enough to differ and short enough to be seen often. γ(k) of n epochs in m axes has about 3 m n/2k degrees of freedom
/// (overlapping increments); significant above the 99.9 % point of χ² (E. B. Wilson and M. M. Hilferty, 1931, from memory).
fn drift(axes: &[Vec<f64>], sigmas: &[f64], times: &[f64], correlation_s: f64) -> Option<f64> {
    let count = times.len();
    if count < LEAST_TO_DRIFT || correlation_s <= 0.0 {
        return None;
    }
    let step_s = (times[count - 1] - times[0]) / (count - 1) as f64;
    let lag = ((correlation_s / LAGS_IN_T / step_s).round() as usize).max(2);
    if step_s <= 0.0 || count < 4 * lag {
        return None;
    }
    // γ of a lag, and the mean of exp(−τ/T).
    let of_lag = |lag: usize| {
        let pairs = (count - lag) as f64;
        let apart = |x: &Vec<f64>, i: usize| (x[i + lag] - x[i]).powi(2) / (sigmas[i] * sigmas[i + lag]);
        let squares: f64 = axes.iter().map(|x| (0..count - lag).map(|i| apart(x, i)).sum::<f64>()).sum();
        let fade: f64 = (0..count - lag).map(|i| (-(times[i + lag] - times[i]) / correlation_s).exp()).sum();
        (0.5 * squares / (pairs * axes.len() as f64), fade / pairs)
    };
    let ((near, fade_near), (far, fade_far)) = (of_lag(1), of_lag(lag));
    let square = (far - near) / (fade_near - fade_far);
    let freedom = 1.5 * (axes.len() * count) as f64 / lag as f64;
    let two_ninths = 2.0 / (9.0 * freedom);
    let limit = (1.0 - two_ninths + NORMAL_999 * two_ninths.sqrt()).powi(3);
    (square > limit).then(|| square.sqrt())
}

/// Epochs below which nothing is said of their drift.
const LEAST_TO_DRIFT: usize = 20;
/// The longer lag is so many times shorter than the correlation time.
const LAGS_IN_T: f64 = 12.0;
/// Φ⁻¹(0.999).
const NORMAL_999: f64 = 3.090_232_306_167_813_6;

/// By how much the scatter exceeds the standard errors, at least 1; `squares` are squared deviations of an axis.
fn scatter(squares: impl Iterator<Item = f64>, sigmas: &[f64]) -> f64 {
    if sigmas.len() < 2 {
        return 1.0;
    }
    let sum: f64 = squares.zip(sigmas).map(|(square, sigma)| square / (sigma * sigma)).sum();
    (sum / (sigmas.len() - 1) as f64).sqrt().max(1.0)
}

fn weighted_mean(values: impl Iterator<Item = f64>, sigmas: &[f64]) -> f64 {
    let (sum, weights) = values.zip(sigmas).fold((0.0, 0.0), |(sum, weights), (value, sigma)| {
        let weight = sigma.powi(-2);
        (sum + weight * value, weights + weight)
    });
    sum / weights
}

/// Distances from the median, horizontal or vertical, of the fixes that lie too far off.
fn outlying(fixes: &[&Fix], flat: &[[f64; 2]], heights: &[Option<f64>]) -> Vec<Option<f64>> {
    // Of two epochs none can be called the wrong one.
    if fixes.len() < 3 {
        return vec![None; fixes.len()];
    }
    let centre = [0, 1].map(|axis| middle(flat.iter().map(|point| point[axis])));
    let radii: Vec<f64> = flat.iter().map(|[e, n]| (e - centre[0]).hypot(n - centre[1])).collect();
    let robust = middle(radii.iter().copied()) / MEDIAN_RADIUS;
    let level = middle(heights.iter().flatten().copied());
    let deviation = |height: f64| (height - level).abs();
    let robust_up = middle(heights.iter().flatten().map(|height| deviation(*height))) / MEDIAN_DEVIATION;
    fixes
        .iter()
        .enumerate()
        .map(|(i, fix)| {
            // Scatter smaller than the stated errors is no reason to throw epochs out.
            let [e, n, up] = sigma_of(fix);
            let stated = (0.5 * (e * e + n * n)).sqrt();
            let limit = ASIDE_SIGMAS * robust.max(stated);
            let off = heights[i].map(deviation).filter(|off| *off > ASIDE_SIGMAS * robust_up.max(up));
            (radii[i] > limit).then_some(radii[i]).or(off)
        })
        .collect()
}

/// The median; NaN of none.
fn middle(values: impl Iterator<Item = f64>) -> f64 {
    median(values.collect()).unwrap_or(f64::NAN)
}

/// Whether most heights are, or with the separation can be brought, above the ellipsoid.
fn kind_is_ellipsoid(fixes: &[&Fix]) -> bool {
    let (known, all) = fixes.iter().fold((0, 0), |(known, all), fix| match (fix.height, fix.separation_m) {
        (None, _) => (known, all),
        (Some(Height::Ellipsoid(_)), _) | (_, Some(_)) => (known + 1, all + 1),
        _ => (known, all + 1),
    });
    all > 0 && 2 * known >= all
}

fn heights_of_one_kind(fixes: &[&Fix]) -> Vec<Option<f64>> {
    let is_ellipsoid = kind_is_ellipsoid(fixes);
    fixes
        .iter()
        .map(|fix| match (is_ellipsoid, fix.height?, fix.separation_m) {
            (true, Height::Ellipsoid(metres), _) | (false, Height::Orthometric(metres), _) => Some(metres),
            (true, Height::Orthometric(metres), Some(separation)) => Some(metres + separation),
            _ => None,
        })
        .collect()
}

/// A plane at a place, for the few metres around it.
pub(super) enum LocalPlane {
    /// East and north of a geodetic position; which ellipsoid does not matter to a mean.
    Tangent(LocalFrame),
    /// The grid itself.
    Grid,
}

impl LocalPlane {
    pub(super) fn at(origin: Coordinates) -> LocalPlane {
        match origin {
            Coordinates::Geographic { lat_deg, lon_deg } => {
                LocalPlane::Tangent(LocalFrame::at(&on_ellipsoid(lat_deg, lon_deg), &Ellipsoid::WGS84))
            }
            Coordinates::Projected { .. } => LocalPlane::Grid,
        }
    }

    /// At the fix nearest to the median of some: the plane bends with the square of the distance, so that it
    /// must not stand at one that lies far off.
    fn amid(fixes: &[&Fix]) -> LocalPlane {
        let places: Vec<[f64; 3]> = fixes.iter().map(|fix| in_space(fix.coordinates)).collect();
        let centre = [0, 1, 2].map(|axis| middle(places.iter().map(|place| place[axis])));
        let nearest = places.iter().enumerate().min_by(|a, b| apart_m(*a.1, centre).total_cmp(&apart_m(*b.1, centre)));
        nearest.map_or(LocalPlane::Grid, |(index, _)| LocalPlane::at(fixes[index].coordinates))
    }

    pub(super) fn flat(&self, point: Coordinates) -> [f64; 2] {
        match (self, point) {
            (LocalPlane::Tangent(frame), Coordinates::Geographic { lat_deg, lon_deg }) => {
                let [e, n, _] = frame.from_earth_centred(on_ellipsoid(lat_deg, lon_deg).to_earth_centred(&Ellipsoid::WGS84));
                [e, n]
            }
            (LocalPlane::Grid, Coordinates::Projected { east_m, north_m }) => [east_m, north_m],
            // One log has one kind of coordinates, and one base's fixes come from logs of one table.
            _ => [f64::NAN; 2],
        }
    }

    pub(super) fn back(&self, [e, n]: [f64; 2]) -> Coordinates {
        match self {
            LocalPlane::Tangent(frame) => {
                let at = Geodetic::from_earth_centred(frame.to_earth_centred([e, n, 0.0]), &Ellipsoid::WGS84);
                Coordinates::Geographic { lat_deg: at.lat_rad.to_degrees(), lon_deg: at.lon_rad.to_degrees() }
            }
            LocalPlane::Grid => Coordinates::Projected { east_m: e, north_m: n },
        }
    }
}

/// Coordinates in which distances are right however far places lie apart: earth-centred on the ellipsoid, or
/// those of the grid.
pub(super) fn in_space(point: Coordinates) -> [f64; 3] {
    match point {
        Coordinates::Geographic { lat_deg, lon_deg } => on_ellipsoid(lat_deg, lon_deg).to_earth_centred(&Ellipsoid::WGS84),
        Coordinates::Projected { east_m, north_m } => [east_m, north_m, 0.0],
    }
}

/// Distance of two such places in metres.
pub(super) fn apart_m(one: [f64; 3], other: [f64; 3]) -> f64 {
    (one[0] - other[0]).hypot(one[1] - other[1]).hypot(one[2] - other[2])
}

fn on_ellipsoid(lat_deg: f64, lon_deg: f64) -> Geodetic {
    Geodetic { lat_rad: lat_deg.to_radians(), lon_rad: lon_deg.to_radians(), ellipsoid_height_m: 0.0 }
}

#[cfg(test)]
mod tests;
