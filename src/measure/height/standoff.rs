//! From where a height by tangents would have had its least error.
//!
//! Foot, top and the spot of the distance keep their rises over the axis of the instrument; the horizontal distance
//! moves, and the errors go through the same propagation. Golden section on the logarithm of the distance
//! (e.g. W. H. Press et al., "Numerical Recipes", ch. 10); the error has one minimum. The standard errors are
//! taken to stay as they are.

use super::{Ends, profile};
use crate::measure::Group;
use crate::measure::reading::{Arms, MeasureReading, MeasuredDistance};

/// A sight that is steeper is worth a word.
const STEEP_DEG: f64 = 45.0;

/// The error may be so many times the least before a word is said.
const WORTH_MOVING: f64 = 1.1;

/// The distances that are looked at, as multiples of the object's size.
const NEAREST: f64 = 0.05;
const FARTHEST: f64 = 20.0;

/// Golden sections of that range: the width shrinks to a millionth.
const SECTIONS: usize = 40;

/// A warning where foot or top are steep and standing elsewhere would have been clearly better.
pub fn warning(group: &Group<'_>, ends: &Ends<'_>, sigma_m: f64) -> Option<String> {
    if !ends.is_plumb() {
        return None;
    }
    let angle = |i: usize| ends.readings[i].inclination_rad.map_or(0.0, f64::to_degrees);
    let steepest = if angle(1).abs() >= angle(0).abs() { 1 } else { 0 };
    if angle(steepest).abs() <= STEEP_DEG {
        return None;
    }
    let (best_m, least_m, is_inside) = least(ends)?;
    if sigma_m <= WORTH_MOVING * least_m {
        return None;
    }
    let row = ends.rows[steepest];
    let head = format!(
        "the {} (row {}) was seen at {}, where the error grows fast: the standard error of the height is {}",
        row.role,
        row.label,
        group.said_deg(angle(steepest), 0),
        group.said_m(sigma_m, 2)
    );
    let decimals = if best_m < 10.0 { 1 } else { 0 };
    Some(if is_inside {
        let (best, least) = (group.said_m(best_m, decimals), group.said_m(least_m, 2));
        format!("{head}; from about {best} away it would be the least for this object, {least}")
    } else {
        format!("{head}, and falls on with distance; stand farther off")
    })
}

/// The horizontal distance of least error, the standard error of the height there, and whether it lies inside the
/// range that is looked at.
pub fn least(ends: &Ends<'_>) -> Option<(f64, f64, bool)> {
    let source = ends.sources[0];
    let [run_m, foot_m, _, top_m] = profile(&ends.readings, ends.sources)?;
    let mut rises = vec![foot_m, top_m];
    // A row of its own without an inclination is level.
    rises.extend(ends.readings.get(2).map(|reading| reading.rise_at(run_m).unwrap_or(0.0)));
    let error = |log_m: f64| -> Option<f64> {
        let moved = moved(&ends.readings, &rises, log_m.exp());
        Some(Arms::propagate(&moved, |readings| profile(readings, [source, source]))?.combined([0.0, -1.0, 0.0, 1.0]).sigma)
    };
    let size_m = foot_m.abs().max(top_m.abs()).max((top_m - foot_m).abs());
    let range = ((NEAREST * size_m).ln(), (FARTHEST * size_m).ln());
    let ratio = 0.5 * (5f64.sqrt() - 1.0);
    let (mut low, mut high) = range;
    let (mut left, mut right) = (high - ratio * (high - low), low + ratio * (high - low));
    let (mut at_left, mut at_right) = (error(left)?, error(right)?);
    for _ in 0..SECTIONS {
        if at_left <= at_right {
            (high, right, at_right) = (right, left, at_left);
            left = high - ratio * (high - low);
            at_left = error(left)?;
        } else {
            (low, left, at_left) = (left, right, at_right);
            right = low + ratio * (high - low);
            at_right = error(right)?;
        }
    }
    let best = 0.5 * (low + high);
    Some((best.exp(), error(best)?, high < range.1))
}

/// The rows as they would be read from another horizontal distance. Refraction is left out: the rises are true.
fn moved(readings: &[MeasureReading], rises: &[f64], run_m: f64) -> Vec<MeasureReading> {
    let from_there = |(reading, rise): (&MeasureReading, &f64)| MeasureReading {
        inclination_rad: reading.inclination_rad.map(|_| rise.atan2(run_m)),
        distance: reading.distance.map(|distance| match distance {
            MeasuredDistance::Slope(_) => MeasuredDistance::Slope(run_m.hypot(*rise)),
            MeasuredDistance::Horizontal(_) => MeasuredDistance::Horizontal(run_m),
        }),
        refraction: 0.0,
        ..reading.clone()
    };
    readings.iter().zip(rises).map(from_there).collect()
}
