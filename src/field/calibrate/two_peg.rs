//! The two-peg test for an inclinometer: marks A and B shot from the middle between them, where an
//! index error raises both alike, and from beside one of them, where it does not.
//!
//! Let c be what the instrument reads too high. A mark's height over the instrument's axis, less the
//! height of the sighted spot over the mark, is with c taken off
//!
//! ```text
//! h(c) = S sin(I − c) + (1−k) (S cos I)²/2R − t        a slope distance S, or
//! h(c) = H tan(I − c) + (1−k) H²/2R − t                a horizontal distance H
//! ```
//!
//! The height difference of the marks is one from both setups:
//!
//! ```text
//! f(c) = [h_nearB(c) − h_nearA(c)] − [h_midB(c) − h_midA(c)] = 0
//! ```
//!
//! which Newton's method solves, since f'(c) = −E with E = D_nearB − D_nearA − D_midB + D_midA and
//! D = S cos I (or H/cos² I). For small c this is the rule of the text books, c = f(0)/E: what the
//! two differences disagree by, over what the sights differ in length. (C. D. Ghilani, "Elementary
//! Surveying", ch. 4, two-peg test, with unequal sights.) The correction is −c.
//!
//! σ_c² = Σ (D² s²/n + sin² I σ_S²/n) / E² over the four sights, s the standard error of one
//! inclination pooled over all of them, σ_S that of a distance (tan² I in place of sin² I for H).

use super::averaged::{Averaged, LEAST_TO_TEST, pooled_sigma};
use super::known_line::few;
use super::shot::CalibrationShot;
use super::{
    CalibrateError, CalibrationReading, CalibrationRole, CalibrationSettings, Corrected, EARTH_RADIUS_M, FoundCorrection,
    Measure, ShotFlaw,
};
use crate::shots::reduce::Bend;

/// The sights of the second setup must differ more than those of the first by this part of their
/// length, or an index error cannot be told from the errors of the readings.
const LEAST_LEVERAGE: f64 = 0.2;

/// The repeats of one sight.
struct PegSight<'s> {
    shots: Vec<&'s CalibrationShot>,
    inclinations: Averaged,
    /// Mean distance in metres, and whether it is a slope distance.
    distance_m: f64,
    is_slope: bool,
    /// Target height less instrument height, as far as they count.
    over_m: f64,
}

impl PegSight<'_> {
    /// Height of the mark over the instrument's ground, an index error of `c` taken off.
    fn height_m(&self, c: f64, bend: Bend) -> f64 {
        let i = self.inclinations.mean;
        let (rise, horizontal) = match self.is_slope {
            true => (self.distance_m * (i - c).sin(), self.distance_m * i.cos()),
            false => (self.distance_m * (i - c).tan(), self.distance_m),
        };
        rise + horizontal * horizontal / (2.0 * EARTH_RADIUS_M) - horizontal * bend.angle_rad(horizontal) - self.over_m
    }

    /// How far an index error of one radian lifts the mark.
    fn arm_m(&self, c: f64) -> f64 {
        let cos = (self.inclinations.mean - c).cos();
        if self.is_slope { self.distance_m * cos } else { self.distance_m / (cos * cos) }
    }
}

/// The index error from the four sights.
///
/// # Errors
/// When a shot lacks its inclination or distance, a setup has two bases, or the sights are too alike.
pub fn finding(shots: &[&CalibrationShot], settings: &CalibrationSettings) -> Result<FoundCorrection, CalibrateError> {
    let instrument_heights = shots.iter().all(|shot| shot.readings.instrument_height_m.is_some());
    let target_heights = shots.iter().all(|shot| shot.readings.target_height_m.is_some());
    let sight = |role| sight(shots, role, (instrument_heights, target_heights), settings);
    let [mid_a, mid_b, near_a, near_b] = [
        sight(CalibrationRole::MidA)?,
        sight(CalibrationRole::MidB)?,
        sight(CalibrationRole::NearA)?,
        sight(CalibrationRole::NearB)?,
    ];
    for (a, b) in [(&mid_a, &mid_b), (&near_a, &near_b)] {
        if let (Some(a), Some(b)) = (a.shots.first(), b.shots.first())
            && a.base != b.base
        {
            let (here, there) = (b.base.clone(), a.base.clone());
            return Err(CalibrateError::at(b, ShotFlaw::SeveralSetups { here, there, line: a.line }));
        }
    }
    // In the order of their signs in f and E.
    let sights = [(&near_b, 1.0), (&near_a, -1.0), (&mid_b, -1.0), (&mid_a, 1.0)];
    let leverage = |c: f64| sights.iter().map(|(sight, sign)| sign * sight.arm_m(c)).sum::<f64>();
    let longest = sights.iter().map(|(sight, _)| sight.arm_m(0.0)).fold(0.0, f64::max);
    let first = leverage(0.0);
    if first.abs() < LEAST_LEVERAGE * longest
        && let Some(shot) = near_a.shots.first()
    {
        let (middle_m, near_m) = ([mid_a.distance_m, mid_b.distance_m], [near_a.distance_m, near_b.distance_m]);
        return Err(CalibrateError::at(shot, ShotFlaw::SetupsAlike { middle_m, near_m }));
    }
    let mut c = 0.0;
    for _ in 0..8 {
        let f: f64 = sights.iter().map(|(sight, sign)| sign * sight.height_m(c, settings.bend())).sum();
        c += f / leverage(c);
    }
    let repeats: Vec<&Averaged> = sights.iter().map(|(sight, _)| &sight.inclinations).collect();
    let (sigma_reading, is_assumed) = pooled_sigma(&repeats, settings.assumed.inclination_rad);
    let variance: f64 = sights
        .iter()
        .map(|(sight, _)| {
            let n = sight.inclinations.used as f64;
            let i = sight.inclinations.mean - c;
            let slant = if sight.is_slope { i.sin() } else { i.tan() };
            ((sight.arm_m(c) * sigma_reading).powi(2) + (slant * settings.assumed.distance_m).powi(2)) / n
        })
        .sum();
    let mut notes = Vec::new();
    let least = sights.iter().map(|(sight, _)| sight.shots.len()).min().unwrap_or(0);
    if least < LEAST_TO_TEST {
        notes.push(format!("sights of fewer than three repeats: {}", few(least)));
    }
    if !target_heights {
        notes.push("target heights are not all given: the sighted spots are taken to be equally high over both marks".into());
    }
    Ok(FoundCorrection {
        quantity: Corrected::Inclination,
        measure: Measure::TwoPeg,
        correction: -c,
        sigma: variance.sqrt() / leverage(c).abs(),
        sigma_reading,
        is_assumed,
        sigma_known: 0.0,
        readings: [&mid_a, &mid_b, &near_a, &near_b].into_iter().flat_map(readings).collect(),
        notes,
    })
}

fn sight<'s>(
    shots: &[&'s CalibrationShot],
    role: CalibrationRole,
    (instrument_heights, target_heights): (bool, bool),
    settings: &CalibrationSettings,
) -> Result<PegSight<'s>, CalibrateError> {
    let shots: Vec<&CalibrationShot> = shots.iter().copied().filter(|shot| shot.role == Some(role)).collect();
    let is_slope = shots.iter().all(|shot| shot.readings.slope_m.is_some());
    let mut inclinations = Vec::with_capacity(shots.len());
    let (mut distance_m, mut over_m) = (0.0, 0.0);
    for shot in &shots {
        let readings = &shot.readings;
        let distance = if is_slope { readings.slope_m } else { readings.horizontal_m };
        let (Some(inclination_rad), Some(distance)) = (readings.inclination_rad, distance) else {
            return Err(CalibrateError::at(shot, ShotFlaw::HalfPeg(role.word())));
        };
        inclinations.push(inclination_rad);
        distance_m += distance / shots.len() as f64;
        let counted = |height: Option<f64>, counts: bool| height.filter(|_| counts).unwrap_or(0.0);
        over_m += (counted(readings.target_height_m, target_heights) - counted(readings.instrument_height_m, instrument_heights))
            / shots.len() as f64;
    }
    let inclinations = Averaged::average(&inclinations, settings.assumed.inclination_rad, settings.keep_all);
    Ok(PegSight { shots, inclinations, distance_m, is_slope, over_m })
}

fn readings<'d>(sight: &'d PegSight<'d>) -> impl Iterator<Item = CalibrationReading> + 'd {
    let repeats = &sight.inclinations;
    sight.shots.iter().enumerate().map(|(i, shot)| {
        let reading = shot.readings.inclination_rad.unwrap_or(f64::NAN);
        CalibrationReading {
            file: shot.file.clone(),
            line: shot.line,
            role: shot.role,
            reading,
            residual: reading - repeats.mean,
            is_outlier: repeats.is_outlier[i],
            is_used: repeats.is_used[i],
        }
    })
}
