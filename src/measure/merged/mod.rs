//! Repeated shots of one spot: where a measurement wants a role once and several rows of one base have it, their readings
//! are taken together before anything is composed.
//!
//! Each reading (azimuth, inclination, distance) is the mean weighted by 1/σ², with the standard error 1/√Σ(1/σ²), which is σ/√n for
//! readings of one quality (e.g. C. D. Ghilani, "Adjustment Computations", chapter on weights of observations, from memory). What
//! repeats share does not lessen, and is no part of these standard errors: base, orientation and the instrument's corrections stand in the register.
//!
//! A reading that is farther from the mean than the job's `agreement_sigmas` standard errors of that difference, √(σ² − 1/Σ(1/σ²)), hit
//! something else, or is of another spot: the measurement is refused and the row named. Azimuths of sights steeper than 80° are not compared. Metres and
//! radians.
//!
//! Sights onto a plane are repeats only where they agree: others are sights of several spots on it.
//!
//! Where it stops: shots of two bases, or with different heights of instrument or target, are no repeats. Of shots by a vertical distance the
//! points are averaged with the standard errors of one shot.

use std::borrow::Cow;
use std::collections::HashMap;
use std::f64::consts::TAU;

use super::{Group, Refusal, RoleShot};
use crate::geodesy::covariance::Covariance;
use crate::geodesy::frame::half_circle_rad;
use crate::geodesy::register::{Origin, Shares};
use crate::records::triangle::Triangle;
use crate::shots::reduce::{Sight, SightSigmas, Vector, reduce};

/// Sights steeper than this have azimuths that mean little.
const STEEP_DEG: f64 = 80.0;

/// Heights of instrument or target that differ by less are one.
const SAME_HEIGHT_M: f64 = 1e-6;

/// So many shots of one spot are named; more are counted.
const NAMED: usize = 8;

/// A vector that its readings give again within this was reduced from them, in metres and square metres.
const SAME_VECTOR: f64 = 1e-9;

/// Whether a kind of measurement wants a role once.
fn is_wanted_once(measure: &str, role: &str) -> bool {
    match measure {
        "height" => ["foot", "top", "distance"].contains(&role),
        "width" => ["left", "right", "near_face", "centre", "plane"].contains(&role) || role.starts_with("plane_"),
        "missing_line" => role == "from" || role == "to" || role.trim().parse::<u32>().is_ok(),
        "plane_sight" => role == "sight" || role.starts_with("plane_") || role.starts_with("corner_"),
        "span" => role == "support_a" || role == "support_b",
        "profile" => role == "start" || role == "end",
        _ => false,
    }
}

/// The group with repeated shots taken together, and what is to be said of them in the method.
///
/// # Errors
/// A sentence, where rows of one role do not agree, or are not of one setup.
pub fn merge<'g, 't>(group: &'g Group<'t>, agreement_sigmas: f64) -> Result<(Cow<'g, Group<'t>>, Vec<String>), Refusal> {
    let mut counts: HashMap<&str, usize> = HashMap::new();
    group.sightings.iter().for_each(|row| *counts.entry(row.role.as_str()).or_default() += 1);
    let is_repeated = |role: &str| counts.get(role).is_some_and(|count| *count > 1) && is_wanted_once(&group.measure, role);
    let repeated = |row: &RoleShot| is_repeated(&row.role);
    if !group.sightings.iter().any(repeated) {
        return Ok((Cow::Borrowed(group), Vec::new()));
    }
    let mut said = Vec::new();
    let mut sightings: Vec<RoleShot> = Vec::with_capacity(group.sightings.len());
    let mut by_role: HashMap<&str, Vec<&RoleShot>> = HashMap::new();
    group.sightings.iter().filter(|row| repeated(row)).for_each(|row| by_role.entry(&row.role).or_default().push(row));
    for row in &group.sightings {
        if !repeated(row) {
            sightings.push(row.clone());
        } else if let Some(rows) = by_role.remove(row.role.as_str()) {
            let mean = match mean_of(group, &rows, agreement_sigmas) {
                // Sights onto a plane that do not agree are sights of several spots on it.
                Err(_) if group.measure == "plane_sight" && row.role == "sight" => {
                    sightings.extend(rows.into_iter().cloned());
                    continue;
                }
                mean => mean?,
            };
            said.push(format!("{} is the {}", mean.role, mean.label));
            sightings.push(mean);
        }
    }
    Ok((Cow::Owned(Group { sightings, ..group.clone() }), said))
}

/// Rows of one role that stand for one sight: from one base, with the same heights.
fn check_same(group: &Group<'_>, rows: &[&RoleShot]) -> Result<(), Refusal> {
    let first = rows[0];
    let refuse = |other: &RoleShot, what: &str| {
        Err(format!(
            "{} of {}: {} and {} both have the role {} {what}",
            group.measure, group.name, first.label, other.label, first.role
        )
        .into())
    };
    for other in &rows[1..] {
        if other.base != first.base {
            return refuse(other, "and were shot from two bases; keep the better one, and give the other a feature of its own");
        }
        let apart = |a: Option<f64>, b: Option<f64>| a.zip(b).is_some_and(|(a, b)| (a - b).abs() > SAME_HEIGHT_M);
        if apart(Some(first.target_height_m), Some(other.target_height_m))
            || apart(first.instrument_height_m, other.instrument_height_m)
        {
            return refuse(
                other,
                "with different heights of instrument or target, and are no repeats of one sight; keep one of them",
            );
        }
    }
    Ok(())
}

/// The weighted mean of readings and its standard error; a refusal where one lies farther from it than their errors allow. `unit` is
/// what a reading is shown in, times its factor.
fn agreeing_mean(
    group: &Group<'_>,
    rows: &[&RoleShot],
    agreement_sigmas: f64,
    what: &str,
    unit: f64,
    readings: Vec<(&RoleShot, f64, f64)>,
) -> Result<Option<(f64, f64)>, Refusal> {
    let Some((value, sigma)) = weighted_mean(&readings) else { return Ok(None) };
    for (row, reading, own) in readings {
        let expected = (own * own - sigma * sigma).max(0.0).sqrt();
        if (reading - value).abs() > agreement_sigmas * expected + SAME_VECTOR {
            return Err(format!(
                "{} of {}: {} shots have the role {}, and the {what} of {} lies {:.2} from their mean, which is more than their \
                 errors allow; take out the one that hit something else, or give each spot a role of its own",
                group.measure,
                group.name,
                rows.len(),
                rows[0].role,
                row.label,
                (reading - value).abs() * unit
            )
            .into());
        }
    }
    Ok(Some((value, sigma)))
}

/// The name of a mean: those of its first rows.
fn label_of(rows: &[&RoleShot]) -> String {
    let labels: Vec<&str> = rows.iter().take(NAMED).map(|row| row.label.as_str()).collect();
    match rows.len().checked_sub(NAMED).filter(|more| *more > 0) {
        Some(more) => format!("mean of {} and {more} more", labels.join(", ")),
        None => format!("mean of {} and {}", labels[..labels.len() - 1].join(", "), labels[labels.len() - 1]),
    }
}

/// Repeated rows as one.
fn mean_of(group: &Group<'_>, rows: &[&RoleShot], agreement_sigmas: f64) -> Result<RoleShot, Refusal> {
    check_same(group, rows)?;
    let first = rows[0];
    let combine = |what: &str, unit: f64, readings: Vec<(&RoleShot, f64, f64)>| {
        agreeing_mean(group, rows, agreement_sigmas, what, unit, readings)
    };
    let (angle, length) = (group.units.angle(), group.units.length());
    let degrees = angle.value(1f64.to_radians().recip());
    let metres = length.value(1.0);
    let inclinations = rows.iter().filter_map(|row| Some((*row, row.inclination_rad?, row.sigma_inclination_rad)));
    let inclination = combine(&format!("inclination ({})", angle.words), degrees, inclinations.collect())?;
    let is_steep = inclination.is_some_and(|(angle, _)| angle.abs() > STEEP_DEG.to_radians());
    // Azimuths are counted from the first that there is, so that none jumps at north.
    let from = rows.iter().find_map(|row| row.true_azimuth_rad).unwrap_or(0.0);
    let azimuths: Vec<_> = rows
        .iter()
        .filter_map(|row| Some((*row, half_circle_rad(row.true_azimuth_rad? - from), row.sigma_azimuth_rad)))
        .collect();
    let azimuth =
        if is_steep { weighted_mean(&azimuths) } else { combine(&format!("azimuth ({})", angle.words), degrees, azimuths)? };
    let distances = |of: fn(&RoleShot) -> Option<f64>| {
        rows.iter().filter_map(|row| Some((*row, of(row)?, row.sigma_distance_m))).collect::<Vec<_>>()
    };
    let slope = combine(&format!("slope distance ({})", length.sign), metres, distances(|row| row.slope_m))?;
    let horizontal = combine(&format!("horizontal distance ({})", length.sign), metres, distances(|row| row.horizontal_m))?;
    let greatest = |of: fn(&RoleShot) -> f64| rows.iter().map(|row| of(row)).fold(0.0, f64::max);
    let shares = Shares {
        declination_rad: greatest(|row| row.shares.declination_rad),
        azimuth_rad: greatest(|row| row.shares.azimuth_rad),
        inclination_rad: greatest(|row| row.shares.inclination_rad),
        distance_m: greatest(|row| row.shares.distance_m),
        ..first.shares
    };
    let mut mean = RoleShot {
        label: label_of(rows),
        true_azimuth_rad: azimuth.map(|(turn, _)| (from + turn).rem_euclid(TAU)),
        inclination_rad: inclination.map(|(value, _)| value),
        slope_m: slope.map(|(value, _)| value),
        horizontal_m: horizontal.map(|(value, _)| value),
        sigma_azimuth_rad: azimuth.map_or(first.sigma_azimuth_rad, |(_, sigma)| sigma),
        sigma_inclination_rad: inclination.map_or(first.sigma_inclination_rad, |(_, sigma)| sigma),
        sigma_distance_m: slope.or(horizontal).map_or(first.sigma_distance_m, |(_, sigma)| sigma),
        shares,
        instrument_height_m: rows.iter().find_map(|row| row.instrument_height_m),
        ..first.clone()
    };
    let base = group.base(first);
    let is_plain = rows.iter().all(|row| row.vector.is_none_or(|vector| is_reduced_from(&vector, row, base)));
    mean.vector = if is_plain { vector_of(&mean, base) } else { mean_vector(rows) };
    Ok(mean)
}

/// The mean of readings with their standard errors, weighted by 1/σ²; plain where one has no error.
fn weighted_mean(readings: &[(&RoleShot, f64, f64)]) -> Option<(f64, f64)> {
    let is_weighted = readings.iter().all(|(_, _, sigma)| *sigma > 0.0);
    let weight = |sigma: f64| if is_weighted { 1.0 / (sigma * sigma) } else { 1.0 };
    let sum: f64 = readings.iter().map(|(_, _, sigma)| weight(*sigma)).sum();
    if sum == 0.0 {
        return None;
    }
    let value = readings.iter().map(|(_, value, sigma)| weight(*sigma) * value).sum::<f64>() / sum;
    let variance = readings.iter().map(|(_, _, sigma)| (weight(*sigma) * sigma / sum).powi(2)).sum::<f64>();
    Some((value, variance.sqrt()))
}

/// The vector of a row's readings; none where they give no point.
fn vector_of(row: &RoleShot, base: &Origin) -> Option<Vector> {
    let triangle = match (row.slope_m, row.horizontal_m, row.inclination_rad) {
        (Some(slope_m), _, Some(inclination_rad)) => Triangle::Slope { slope_m, inclination_rad },
        (None, Some(horizontal_m), Some(inclination_rad)) => Triangle::Horizontal { horizontal_m, inclination_rad },
        (_, Some(horizontal_m), None) => Triangle::Level { horizontal_m },
        _ => return None,
    };
    let is_level = matches!(triangle, Triangle::Level { .. });
    let sight = Sight {
        true_azimuth_rad: row.true_azimuth_rad?,
        triangle,
        instrument_height_m: row.instrument_height_m.or(is_level.then_some(0.0))?,
        target_height_m: row.target_height_m,
        refraction: row.refraction,
    };
    let sigmas = SightSigmas {
        azimuth_rad: row.sigma_azimuth_rad,
        inclination_rad: row.sigma_inclination_rad,
        distance_m: row.sigma_distance_m,
    };
    Some(Vector { shares: row.shares, ..reduce(&sight, &sigmas, base.earth_radius_m) })
}

/// Whether a vector is what the row's azimuth, inclination and distance give, its errors too.
fn is_reduced_from(vector: &Vector, row: &RoleShot, base: &Origin) -> bool {
    vector_of(row, base).is_some_and(|own| {
        let pairs = [
            (own.east_m, vector.east_m),
            (own.north_m, vector.north_m),
            (own.up_m.unwrap_or(0.0), vector.up_m.unwrap_or(0.0)),
            (own.distance.uu, vector.distance.uu),
            (own.direction.uu, vector.direction.uu),
        ];
        own.up_m.is_some() == vector.up_m.is_some() && pairs.iter().all(|(a, b)| (a - b).abs() < SAME_VECTOR)
    })
}

/// The mean of the points, with the errors of one of them.
fn mean_vector(rows: &[&RoleShot]) -> Option<Vector> {
    let vectors = rows.iter().map(|row| row.vector).collect::<Option<Vec<Vector>>>()?;
    let share = 1.0 / vectors.len() as f64;
    let mean = |of: &dyn Fn(&Vector) -> f64| vectors.iter().map(of).sum::<f64>() * share;
    let up_m = vectors.iter().map(|vector| vector.up_m).collect::<Option<Vec<f64>>>().map(|up| up.iter().sum::<f64>() * share);
    let covariance = |of: &dyn Fn(&Vector) -> Covariance| {
        let element = |pick: fn(&Covariance) -> f64| mean(&|vector| pick(&of(vector)));
        Covariance {
            ee: element(|c| c.ee),
            en: element(|c| c.en),
            eu: element(|c| c.eu),
            nn: element(|c| c.nn),
            nu: element(|c| c.nu),
            uu: element(|c| c.uu),
        }
    };
    Some(Vector {
        east_m: mean(&|vector| vector.east_m),
        north_m: mean(&|vector| vector.north_m),
        up_m,
        horizontal_m: mean(&|vector| vector.horizontal_m),
        direction: covariance(&|vector| vector.direction),
        distance: covariance(&|vector| vector.distance),
        by_inclination_m: std::array::from_fn(|k| mean(&|vector| vector.by_inclination_m[k])),
        by_distance_m: std::array::from_fn(|k| mean(&|vector| vector.by_distance_m[k])),
        shares: vectors[0].shares,
    })
}

#[cfg(test)]
mod tests;
