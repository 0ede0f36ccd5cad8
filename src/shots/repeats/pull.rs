//! The readings of one trigger pull of a tracking instrument, as one shot.
//!
//! Successive readings of a pull are not independent: hand, compass needle and atmosphere stand almost still, and the
//! instrument may smooth. So nothing is taken off by their number: each cause keeps the variance of one reading, plus the
//! variance of the readings' spread along (to the distance), across and normal to the sight (to the direction). It
//! counts the readings' own noise twice, on the safe side. No source; judgement.
//!
//! Azimuth, inclination and range: median, readings beyond [`super::CRITICAL`] of max(robust scale, standard error of one
//! reading) set aside, mean of the rest. Cost n log n.

use super::linear::{Matrix3, Vector3, apply, carried};
use super::look::{PreparedShot, looks};
use super::mean::mean;
use super::middle::{CRITICAL, Middle, half_turn_rad};
use super::sight::{Polar, between, sighted};
use super::spread::spread_about;
use super::{Mean, Repeat, RepeatsFault, check};
use crate::geodesy::covariance::Covariance;
use crate::geodesy::register::Origin;
use crate::numeric::robust::median;
use crate::shots::reduce::Vector;

/// One point of the readings of a pull, all of one base; its parts and spread as the file says. Heights come from the
/// readings that have one.
///
/// # Errors
/// [`RepeatsFault`], naming the reading.
pub fn pull(bases: &[Origin], readings: &[Repeat]) -> Result<Mean, RepeatsFault> {
    check(bases, readings)?;
    let first = readings.first().ok_or(RepeatsFault::NoShots)?;
    if let Some(i) = readings.iter().position(|reading| reading.base != first.base) {
        return Err(RepeatsFault::TwoBases { shot: i + 1 });
    }
    let looks = looks(bases, readings);
    let zero = looks.first().map_or(0.0, |look| look.seen.polar.azimuth_rad);
    let azimuth = |look: &PreparedShot| Some((half_turn_rad(look.seen.polar.azimuth_rad - zero), look.seen.azimuth_rad2));
    let horizontal = |look: &PreparedShot| Some((look.seen.polar.horizontal_m, look.seen.horizontal_m2));
    let range = |look: &PreparedShot| look.has_height.then_some((look.seen.polar.range_m, look.seen.range_m2));
    let inclination =
        |look: &PreparedShot| look.has_height.then_some((look.seen.polar.inclination_rad, look.seen.inclination_rad2));
    let limits = [
        (&azimuth as &dyn Fn(&PreparedShot) -> Option<(f64, f64)>, limit(&looks, azimuth)),
        (&horizontal, limit(&looks, horizontal)),
        (&range, limit(&looks, range)),
        (&inclination, limit(&looks, inclination)),
    ];
    let is_near = |look: &PreparedShot| {
        limits.iter().all(|(value, limit)| match (value(look), limit) {
            (Some((value, _)), Some((middle, limit))) => (value - middle).abs() <= *limit,
            _ => true,
        })
    };
    let (near, kept): (Vec<&PreparedShot>, Vec<Repeat>) =
        looks.iter().zip(readings).filter(|(look, _)| is_near(look)).map(|(look, reading)| (look, *reading)).unzip();
    // Each is within its limit in one thing, but of two or three perhaps none in all.
    let (near, kept) = if kept.is_empty() { (looks.iter().collect(), readings.to_vec()) } else { (near, kept) };

    let spread = |value: &dyn Fn(&PreparedShot) -> Option<(f64, f64)>| scatter(near.iter().filter_map(|look| value(look)));
    let (azimuth, horizontal) = (spread(&azimuth), spread(&horizontal));
    let (range, inclination) = (spread(&range), spread(&inclination));
    let has_height = range.count > 0;
    let polar = Polar {
        azimuth_rad: zero + azimuth.mean,
        inclination_rad: if has_height { inclination.mean } else { 0.0 },
        range_m: if has_height { range.mean } else { horizontal.mean },
        horizontal_m: if has_height { range.mean * inclination.mean.cos() } else { horizontal.mean },
    };
    let one = typical(&kept, &polar, has_height);
    let triad = polar.triad();
    let arm = |direction: Vector3, variance: f64| Covariance::from_arm(direction.map(|x| x * variance.sqrt()));
    let along_m2 = if has_height { range.variance } else { horizontal.variance };
    let direction = one.direction
        + arm(triad.across, azimuth.variance * polar.horizontal_m.powi(2))
        + arm(triad.normal, if has_height { inclination.variance * polar.range_m.powi(2) } else { 0.0 });
    let [east_m, north_m, up_m] = polar.vector();
    let rise_m = median(kept.iter().filter(|r| r.vector.up_m.is_some()).map(|r| r.rise_m).collect()).unwrap_or(0.0);
    let vector = Vector {
        horizontal_m: polar.horizontal_m,
        direction,
        distance: one.distance + arm(triad.along, along_m2),
        by_inclination_m: one.by_inclination_m,
        by_distance_m: one.by_distance_m,
        shares: first.vector.shares,
        ..Vector::exact(east_m, north_m, has_height.then_some(up_m + rise_m))
    };
    let mut point = mean(bases, &[Repeat { base: first.base, vector, echo: first.echo, rise_m }])?;
    point.spread = spread_about(bases, &kept, point.at);
    point.used = kept.len();
    point.set_aside = readings.len() - kept.len();
    Ok(point)
}

/// The median of a value and how far from it a reading may be; none where no reading has it.
fn limit(looks: &[PreparedShot], value: impl Fn(&PreparedShot) -> Option<(f64, f64)>) -> Option<(f64, f64)> {
    let (values, variances): (Vec<f64>, Vec<f64>) = looks.iter().filter_map(value).unzip();
    let (middle, own) = (Middle::find(&values)?, median(variances)?);
    Some((middle.median, CRITICAL * middle.scale.max(own.sqrt())))
}

/// Mean, variance of one about it (0 of fewer than two) and number.
struct Scatter {
    mean: f64,
    variance: f64,
    count: usize,
}

fn scatter(values: impl Iterator<Item = (f64, f64)>) -> Scatter {
    let values: Vec<f64> = values.map(|(value, _)| value).collect();
    let count = values.len();
    let mean = values.iter().sum::<f64>() / count.max(1) as f64;
    let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    Scatter { mean, variance: if count > 1 { squares / (count - 1) as f64 } else { 0.0 }, count }
}

/// The errors of one reading, brought to a sight: the mean of the readings' covariances, of those with a height where any has.
fn typical(readings: &[Repeat], to: &Polar, has_height: bool) -> Vector {
    let mut sum = Vector::exact(0.0, 0.0, None);
    let used: Vec<&Repeat> = readings.iter().filter(|reading| reading.vector.up_m.is_some() == has_height).collect();
    let share = 1.0 / used.len().max(1) as f64;
    for reading in used {
        let from = Polar::from_vector(sighted(reading));
        let (a, b) = (from.triad(), to.triad());
        // An error of direction grows with the distance.
        let ratio = |to_m: f64, from_m: f64| if from_m > 0.0 { to_m / from_m } else { 1.0 };
        let across = between(&a, &b, ratio(to.horizontal_m, from.horizontal_m), 1.0, ratio(to.range_m, from.range_m));
        let turn = between(&a, &b, 1.0, 1.0, 1.0);
        let of_mean = |m: &Matrix3| m.map(|row| row.map(|x| x * share.sqrt()));
        sum.direction += carried(&of_mean(&across), &reading.vector.direction);
        sum.distance += carried(&of_mean(&turn), &reading.vector.distance);
        let (tilted, longer) = (apply(&across, reading.vector.by_inclination_m), apply(&turn, reading.vector.by_distance_m));
        sum.by_inclination_m = std::array::from_fn(|k| sum.by_inclination_m[k] + share * tilted[k]);
        sum.by_distance_m = std::array::from_fn(|k| sum.by_distance_m[k] + share * longer[k]);
    }
    sum
}
