//! A line shot from both ends, or twice from one end with the instrument turned over: the index error
//! of inclinations, and a check of azimuths.
//!
//! Let c be what the instrument reads too high, d the horizontal distance, i the inclination of the
//! chord from the horizon half-way along the line. The horizon of each end is tilted against that by
//! d/2R, so that either end sees the other lower by it, and refraction lifts it by k·d/2R:
//!
//! ```text
//! forth =  i − (1−k) d/2R + c
//! back  = −i − (1−k) d/2R + c
//! c     = (forth + back)/2 + (1−k) d/2R,   correction = −c
//! ```
//!
//! (Reciprocal trigonometric levelling: C. D. Ghilani, "Elementary Surveying", ch. 4, solved for the
//! index error.) Turned over at one end, the instrument reads the same sight as −i' + c in place of
//! i' + c: c = (forth + back)/2, with no term of curvature.
//!
//! Where a shot has both an instrument and a target height, its inclination is first brought to the
//! ground line: tan i = (S sin I + instrument height − target height) / (S cos I). Else the two sights
//! are taken to be along one line.
//!
//! Azimuths of the two ends differ by 180° and the convergence of the meridians d sin A tan φ / R.

use super::averaged::{Averaged, LEAST_TO_TEST, about_their_mean_rad, half_turn_rad, pooled_sigma};
use super::known_line::{both_heights, few};
use super::shot::CalibrationShot;
use super::{
    AzimuthCheck, CalibrateError, CalibrationReading, CalibrationRole, CalibrationSettings, Corrected, EARTH_RADIUS_M,
    FoundCorrection, Measure, ShotFlaw,
};
use crate::geodesy::north::NorthKind;

/// What fore and back azimuths of hand compass work may differ by, in degrees (common practice as
/// published in field manuals: 1° to 2°).
const AZIMUTHS_AGREE_DEG: f64 = 2.0;
/// Distances of the two directions that differ by more than this many standard errors are of two lines.
const ONE_LINE_SIGMAS: f64 = 5.0;
/// Standard errors beyond which a misfit is more than chance.
const CHANCE_SIGMAS: f64 = 3.0;

/// One direction of the line.
struct Direction<'s> {
    shots: Vec<&'s CalibrationShot>,
    inclinations: Averaged,
    /// As read, and as brought to the ground line.
    readings: Vec<(f64, f64)>,
    /// Mean horizontal distance in metres.
    horizontal_m: Option<f64>,
}

/// The index error, and the check of azimuths where both directions have them.
///
/// # Errors
/// When the shots have no inclination, or the two directions are not of one line.
pub fn finding(
    shots: &[&CalibrationShot],
    settings: &CalibrationSettings,
) -> Result<(FoundCorrection, Option<AzimuthCheck>), CalibrateError> {
    let of = |role| shots.iter().copied().filter(|shot| shot.role == Some(role)).collect::<Vec<_>>();
    let (forth, back) = (of(CalibrationRole::Forth), of(CalibrationRole::Back));
    // One base for both: the instrument was turned over there.
    let turned_over = match (forth.first(), back.first()) {
        (Some(forth), Some(back)) => !forth.base.is_empty() && forth.base == back.base,
        _ => false,
    };
    if turned_over {
        look_alike(&forth, &back)?;
    }
    let forth = direction(forth, turned_over, settings)?;
    let back = direction(back, turned_over, settings)?;
    one_line(&forth, &back, settings)?;
    let horizontal_m = match (forth.horizontal_m, back.horizontal_m) {
        (Some(forth), Some(back)) => Some(0.5 * (forth + back)),
        (one, other) => one.or(other),
    };
    let mut notes = Vec::new();
    let curvature_rad = if turned_over {
        notes.push("both roles are from one base: taken as shots with the instrument turned over".into());
        0.0
    } else if let Some(d) = horizontal_m {
        d / (2.0 * EARTH_RADIUS_M) - settings.bend().angle_rad(d)
    } else {
        notes.push("no distance is known: curvature of the earth is left out, 0.004 deg for each kilometre".into());
        0.0
    };
    let (sigma_reading, is_assumed) = pooled_sigma(&[&forth.inclinations, &back.inclinations], settings.assumed.inclination_rad);
    let heights = forth.shots.iter().chain(&back.shots).filter(|shot| both_heights(shot).is_some()).count();
    if !turned_over && heights < forth.shots.len() + back.shots.len() {
        notes.push("instrument and target heights are not all given: the two sights are taken to be along one line".into());
    }
    for (direction, word) in [(&forth, "forth"), (&back, "back")] {
        if direction.shots.len() < LEAST_TO_TEST {
            notes.push(format!("{word}: {}", few(direction.shots.len())));
        }
    }
    let share = |direction: &Direction| 1.0 / direction.inclinations.used as f64;
    let finding = FoundCorrection {
        quantity: Corrected::Inclination,
        measure: Measure::TwoWay,
        correction: -(0.5 * (forth.inclinations.mean + back.inclinations.mean) + curvature_rad),
        sigma: 0.5 * sigma_reading * (share(&forth) + share(&back)).sqrt(),
        sigma_reading,
        is_assumed,
        sigma_known: 0.0,
        readings: [&forth, &back].into_iter().flat_map(readings).collect(),
        notes,
    };
    let check = if turned_over { None } else { check_azimuths(&forth.shots, &back.shots, horizontal_m, settings)? };
    Ok((finding, check))
}

/// Refuses shots from one base that look opposite ways.
fn look_alike(forth: &[&CalibrationShot], back: &[&CalibrationShot]) -> Result<(), CalibrateError> {
    for shot in back {
        for other in forth {
            if let (Some((_, back_rad)), Some((_, forth_rad))) = (shot.readings.bearing(), other.readings.bearing())
                && half_turn_rad(back_rad - forth_rad).abs() > std::f64::consts::FRAC_PI_2
            {
                return Err(CalibrateError::at(
                    shot,
                    ShotFlaw::OtherWay {
                        back_deg: back_rad.to_degrees(),
                        base: shot.base.clone(),
                        line: other.line,
                        forth_deg: forth_rad.to_degrees(),
                    },
                ));
            }
        }
    }
    Ok(())
}

fn direction<'s>(
    shots: Vec<&'s CalibrationShot>,
    turned_over: bool,
    settings: &CalibrationSettings,
) -> Result<Direction<'s>, CalibrateError> {
    let mut reduced = Vec::with_capacity(shots.len());
    let mut read = Vec::with_capacity(shots.len());
    let mut distances = Vec::new();
    for shot in &shots {
        let Some(inclination_rad) = shot.readings.inclination_rad else {
            return Err(CalibrateError::at(shot, ShotFlaw::NoInclination));
        };
        let (sin, cos) = inclination_rad.sin_cos();
        let horizontal = shot.readings.slope_m.map(|slope_m| slope_m * cos).or(shot.readings.horizontal_m);
        distances.extend(horizontal);
        read.push(inclination_rad);
        reduced.push(match (turned_over, horizontal, both_heights(shot)) {
            (false, Some(h), Some((instrument_m, target_m))) => (h * sin / cos + instrument_m - target_m).atan2(h),
            _ => inclination_rad,
        });
    }
    let horizontal_m = (!distances.is_empty()).then(|| distances.iter().sum::<f64>() / distances.len() as f64);
    let inclinations = Averaged::average(&reduced, settings.assumed.inclination_rad, settings.keep_all);
    let readings = read.into_iter().zip(reduced).collect();
    Ok(Direction { shots, inclinations, readings, horizontal_m })
}

/// Refuses directions whose distances or inclinations cannot be of one line.
fn one_line(forth: &Direction, back: &Direction, settings: &CalibrationSettings) -> Result<(), CalibrateError> {
    let (Some(there), Some(here), Some(first)) = (forth.horizontal_m, back.horizontal_m, back.shots.first()) else {
        return Ok(());
    };
    let allowed = ONE_LINE_SIGMAS * std::f64::consts::SQRT_2 * settings.assumed.distance_m.max(0.01 * there);
    if (there - here).abs() > allowed {
        return Err(CalibrateError::at(first, ShotFlaw::TwoLines { forth_m: there, back_m: here }));
    }
    Ok(())
}

fn readings<'d>(direction: &'d Direction<'d>) -> impl Iterator<Item = CalibrationReading> + 'd {
    let repeats = &direction.inclinations;
    direction.shots.iter().enumerate().map(|(i, shot)| CalibrationReading {
        file: shot.file.clone(),
        line: shot.line,
        role: shot.role,
        reading: direction.readings[i].0,
        residual: direction.readings[i].1 - repeats.mean,
        is_outlier: repeats.is_outlier[i],
        is_used: repeats.is_used[i],
    })
}

/// Back against forth azimuths; none where either direction has none.
fn check_azimuths(
    forth: &[&CalibrationShot],
    back: &[&CalibrationShot],
    horizontal_m: Option<f64>,
    settings: &CalibrationSettings,
) -> Result<Option<AzimuthCheck>, CalibrateError> {
    let azimuths = |shots: &[&CalibrationShot]| {
        let angles: Vec<f64> =
            shots.iter().filter_map(|shot| shot.readings.bearing().map(|(_, azimuth_rad)| azimuth_rad)).collect();
        Averaged::average(&about_their_mean_rad(&angles), settings.assumed.azimuth_rad, settings.keep_all)
    };
    let mut norths = forth.iter().chain(back).filter_map(|shot| shot.readings.bearing().map(|(north, _)| (shot, north)));
    let Some((_, north)) = norths.next() else { return Ok(None) };
    if let Some((shot, other)) = norths.find(|(_, other)| *other != north) {
        return Err(CalibrateError::at(
            shot,
            ShotFlaw::TwoNorths { here: super::known_line::word(other), others: super::known_line::word(north) },
        ));
    }
    let (out, home) = (azimuths(forth), azimuths(back));
    if out.used == 0 || home.used == 0 {
        return Ok(None);
    }
    let mut notes = Vec::new();
    let angle = settings.units.angle();
    let latitude = settings.line.points.map(|points| points.from.lat_rad);
    let convergence_rad = match (north, horizontal_m, latitude) {
        // A grid has one north for both ends.
        (NorthKind::Grid, _, _) => 0.0,
        (_, Some(d), Some(lat_rad)) => d * out.mean.sin() * lat_rad.tan() / EARTH_RADIUS_M,
        (_, Some(d), None) => {
            // At 60° of latitude, along a parallel.
            let most = (d * 60f64.to_radians().tan() / EARTH_RADIUS_M).to_degrees();
            notes.push(format!(
                "the convergence of the meridians is left out: up to {:.3} {} at latitude 60°",
                angle.value(most),
                angle.word()
            ));
            0.0
        }
        _ => 0.0,
    };
    let misfit_rad = half_turn_rad(home.mean - out.mean - std::f64::consts::PI - convergence_rad);
    let (sigma_reading, _) = pooled_sigma(&[&out, &home], settings.assumed.azimuth_rad);
    let sigma_rad = sigma_reading * (1.0 / out.used as f64 + 1.0 / home.used as f64).sqrt();
    if misfit_rad.abs() > AZIMUTHS_AGREE_DEG.to_radians() {
        notes.push(format!(
            "forth and back differ by more than {} {} from a straight line: look for iron at one end, and shoot again",
            angle.given(AZIMUTHS_AGREE_DEG),
            angle.words
        ));
    } else if misfit_rad.abs() > CHANCE_SIGMAS * sigma_rad {
        notes.push(
            "forth and back differ by more than chance: one end is disturbed, or the repeats are better than the aim".into(),
        );
    } else {
        notes.push("forth and back agree; an error that is the same at both ends does not show in them".into());
    }
    Ok(Some(AzimuthCheck { misfit_rad, sigma_rad, notes }))
}
