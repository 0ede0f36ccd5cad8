//! Shots over a line whose true azimuth, inclination or distance is known.
//!
//! Correction C = mean of (known − measured), azimuths on the circle; σ_C = √(s²/n + σ_known²), s the
//! standard error of one reading from the repeats. (The law of propagation of variances; C. D. Ghilani,
//! "Adjustment Computations", ch. 3 and 6.)
//!
//! Refraction makes the target seem higher, which is taken off the measured inclination ([`crate::shots::reduce::Bend`]). Of
//! two known points the line is that of [`crate::geodesy::frame`], exact: from the height of the instrument over
//! the first to that of the target over the second, its inclination from the horizon of the first. A
//! magnetic azimuth of it is the true one less the declination of the shot's date, so that the
//! correction holds the error of that declination at the place too.

use super::averaged::{Averaged, LEAST_TO_TEST, about_their_mean_rad, half_turn_rad, pooled_sigma};
use super::shot::CalibrationShot;
use super::{CalibrateError, CalibrationReading, CalibrationSettings, Corrected, FoundCorrection, Measure, ShotFlaw};
use crate::geodesy::frame::{Ellipsoid, Geodetic, LocalFrame, full_circle_rad};
use crate::geodesy::north::{self, NorthKind};

/// What is known of the line.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct KnownLine {
    /// Slope distance from the instrument's axis to the sighted spot, and its standard error, in metres.
    pub slope_m: Option<(f64, f64)>,
    /// Horizontal distance and its standard error, in metres.
    pub horizontal_m: Option<(f64, f64)>,
    /// Azimuth, its north, and its standard error, in radians.
    pub azimuth: Option<(f64, NorthKind, f64)>,
    /// Inclination from the instrument's axis to the sighted spot, and its standard error, in radians.
    pub inclination_rad: Option<(f64, f64)>,
    /// Two known points in place of the above.
    pub points: Option<Points>,
}

/// What is said where the known value has a standard error of 0.
pub const TAKEN_AS_EXACT: &str = "the known value is taken as exact; give its standard error where it has one";

/// What is said where measured inclinations join two kinds of distance.
pub const JOINED_BY_MEASURED: &str = "slope and horizontal distance are joined by the measured inclinations, whose standard error is in \
                                      that of the correction; give a known one where there is one";

/// The known points at the ends of a line, on WGS 84.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Points {
    /// Where the instrument stood.
    pub from: Geodetic,
    /// What was sighted.
    pub to: Geodetic,
    /// Standard error of each coordinate of either, in metres.
    pub sigma_m: f64,
}

impl KnownLine {
    /// Whether anything is known.
    pub fn is_given(&self) -> bool {
        *self != KnownLine::default()
    }
}

/// The line as one shot meets it.
struct LineMet {
    azimuth: Option<(f64, NorthKind, f64)>,
    inclination_rad: Option<(f64, f64)>,
    slope_m: Option<(f64, f64)>,
    horizontal_m: Option<(f64, f64)>,
}

/// The corrections that shots over the known line give.
///
/// # Errors
/// When nothing is known of the line, or the shots lack what is known of it.
pub fn findings(shots: &[&CalibrationShot], settings: &CalibrationSettings) -> Result<Vec<FoundCorrection>, CalibrateError> {
    let Some(first) = shots.first() else { return Ok(Vec::new()) };
    if !settings.line.is_given() {
        return Err(CalibrateError::at(first, ShotFlaw::NothingKnown));
    }
    let known = shots.iter().map(|shot| known(shot, &settings.line)).collect::<Result<Vec<LineMet>, CalibrateError>>()?;
    let line = &settings.line;
    let mut found = Vec::new();
    let by_points = line.points.is_some();
    if line.azimuth.is_some() || by_points {
        found.push((azimuths(shots, &known, settings)?, "azimuth", line.azimuth.is_some()));
    }
    if line.inclination_rad.is_some() || by_points {
        found.push((inclinations(shots, &known, settings), "inclination", line.inclination_rad.is_some()));
    }
    if line.slope_m.is_some() || line.horizontal_m.is_some() || by_points {
        found.push((distances(shots, &known, settings)?, "distance", !by_points));
    }
    let mut findings = Vec::new();
    for (finding, what, is_asked) in found {
        match finding {
            Some(finding) => findings.push(finding),
            None if is_asked => {
                return Err(CalibrateError::at(first, ShotFlaw::NoReadingFor(what)));
            }
            None => {}
        }
    }
    if findings.is_empty() {
        return Err(CalibrateError::at(first, ShotFlaw::NoReading));
    }
    Ok(findings)
}

/// What is known of the line for one shot.
fn known(shot: &CalibrationShot, line: &KnownLine) -> Result<LineMet, CalibrateError> {
    let Some(points) = line.points else {
        return Ok(LineMet {
            azimuth: line.azimuth,
            inclination_rad: line.inclination_rad,
            slope_m: line.slope_m,
            horizontal_m: line.horizontal_m,
        });
    };
    // Heights count where both ends have one; else the sight is taken to be parallel to the ground line.
    let (over_from, over_to) = both_heights(shot).unwrap_or((0.0, 0.0));
    let raised = |at: Geodetic, by: f64| Geodetic { ellipsoid_height_m: at.ellipsoid_height_m + by, ..at };
    let frame = LocalFrame::at(&raised(points.from, over_from), &Ellipsoid::WGS84);
    let [east, north, up] = frame.from_earth_centred(raised(points.to, over_to).to_earth_centred(&Ellipsoid::WGS84));
    let horizontal = east.hypot(north);
    let slope = horizontal.hypot(up);
    // Two points, each with its error.
    let across = std::f64::consts::SQRT_2 * points.sigma_m;
    let azimuth = match shot.readings.bearing() {
        None => None,
        Some((NorthKind::True, _)) => Some((east.atan2(north), NorthKind::True, across / horizontal)),
        Some((NorthKind::Grid, _)) => {
            return Err(CalibrateError::at(shot, ShotFlaw::GridAzimuth));
        }
        Some((NorthKind::Magnetic, _)) => {
            let Some(when) = shot.readings.when else {
                return Err(CalibrateError::at(shot, ShotFlaw::NoDate));
            };
            let declination = north::declination(&points.from, when.date).map_err(|source| CalibrateError::North {
                file: shot.file.clone(),
                line: shot.line,
                source,
            })?;
            let azimuth = east.atan2(north) - declination.declination_rad;
            Some((azimuth, NorthKind::Magnetic, declination.sigma_rad.hypot(across / horizontal)))
        }
    };
    Ok(LineMet {
        azimuth,
        inclination_rad: Some((up.atan2(horizontal), across / slope)),
        slope_m: Some((slope, across)),
        horizontal_m: None,
    })
}

/// Instrument and target height, where the shot has both.
pub(super) fn both_heights(shot: &CalibrationShot) -> Option<(f64, f64)> {
    shot.readings.instrument_height_m.zip(shot.readings.target_height_m)
}

/// A reading that was compared: its shot, the reading, known − measured, and the known value's σ.
type Compared<'s> = (&'s CalibrationShot, f64, f64, f64);

fn azimuths(
    shots: &[&CalibrationShot],
    known: &[LineMet],
    settings: &CalibrationSettings,
) -> Result<Option<FoundCorrection>, CalibrateError> {
    let mut compared: Vec<Compared> = Vec::new();
    for (shot, known) in shots.iter().zip(known) {
        let (Some((north, azimuth_rad)), Some((known_rad, known_north, sigma_rad))) = (shot.readings.bearing(), known.azimuth)
        else {
            continue;
        };
        if north != known_north {
            return Err(CalibrateError::at(shot, ShotFlaw::OtherNorth { shot: word(north), known: word(known_north) }));
        }
        compared.push((shot, azimuth_rad, known_rad - azimuth_rad, sigma_rad));
    }
    let turned = about_their_mean_rad(&compared.iter().map(|row| row.2).collect::<Vec<f64>>());
    compared.iter_mut().zip(turned).for_each(|(row, difference)| row.2 = difference);
    let mut finding = finding(Corrected::Azimuth, &compared, settings.assumed.azimuth_rad, settings.keep_all);
    if let Some(finding) = &mut finding {
        finding.correction = half_turn_rad(finding.correction);
        let is_magnetic = shots.iter().any(|shot| matches!(shot.readings.bearing(), Some((NorthKind::Magnetic, _))));
        if let (true, Some(points)) = (is_magnetic, settings.line.points) {
            let azimuth = known.iter().find_map(|known| known.azimuth).map_or(0.0, |(azimuth_rad, _, _)| azimuth_rad);
            let angle = settings.units.angle();
            finding.notes.push(format!(
                "the line's magnetic azimuth is {:.2} {}, by the declination of the model at {:.4} {:.4}; the correction holds the \
                 error of that declination here too (it is in the standard error), so that it is best for work near this line",
                angle.value(full_circle_rad(azimuth).to_degrees()),
                angle.word(),
                points.from.lat_rad.to_degrees(),
                points.from.lon_rad.to_degrees()
            ));
        }
    }
    Ok(finding)
}

fn inclinations(shots: &[&CalibrationShot], known: &[LineMet], settings: &CalibrationSettings) -> Option<FoundCorrection> {
    let compared: Vec<Compared> = shots
        .iter()
        .zip(known)
        .filter_map(|(shot, known)| {
            let ((known_rad, sigma_rad), measured_rad) = (known.inclination_rad?, shot.readings.inclination_rad?);
            let slope = shot.readings.slope_m.or(known.slope_m.map(|(metres, _)| metres));
            let horizontal = shot.readings.horizontal_m.or(known.horizontal_m.map(|(metres, _)| metres));
            let horizontal_m = horizontal.or(slope.map(|slope_m| slope_m * measured_rad.cos())).unwrap_or(0.0);
            let bend_rad = settings.bend().angle_rad(horizontal_m);
            Some((*shot, measured_rad, known_rad - (measured_rad - bend_rad), sigma_rad))
        })
        .collect();
    finding(Corrected::Inclination, &compared, settings.assumed.inclination_rad, settings.keep_all)
}

fn distances(
    shots: &[&CalibrationShot],
    known: &[LineMet],
    settings: &CalibrationSettings,
) -> Result<Option<FoundCorrection>, CalibrateError> {
    let mut compared: Vec<Compared> = Vec::new();
    let mut turned_by_measured = false;
    for (shot, known) in shots.iter().zip(known) {
        // The slope distance where both stand there: the other one was computed from it.
        let (measured_m, is_slope) = match (shot.readings.slope_m, shot.readings.horizontal_m) {
            (Some(slope_m), _) => (slope_m, true),
            (None, Some(horizontal_m)) => (horizontal_m, false),
            (None, None) => continue,
        };
        let (known_m, sigma_m) = match (is_slope, known.slope_m, known.horizontal_m) {
            (true, Some(slope), _) => slope,
            (false, _, Some(horizontal)) => horizontal,
            (_, None, None) => continue,
            (_, slope, horizontal) => {
                let measured = shot.readings.inclination_rad.map(|inclination_rad| {
                    let horizontal_m = if is_slope { measured_m * inclination_rad.cos() } else { measured_m };
                    (inclination_rad - settings.bend().angle_rad(horizontal_m), settings.assumed.inclination_rad)
                });
                turned_by_measured |= known.inclination_rad.is_none();
                let Some((inclination_rad, sigma_rad)) = known.inclination_rad.or(measured) else {
                    return Err(CalibrateError::at(shot, ShotFlaw::OtherDistance));
                };
                let (sin, cos) = inclination_rad.sin_cos();
                match (slope, horizontal) {
                    // dH/dI = −S sin I.
                    (Some((slope_m, sigma_m)), _) => (slope_m * cos, (sigma_m * cos).hypot(slope_m * sin * sigma_rad)),
                    // S = H / cos I, dS/dI = H sin I / cos² I.
                    (None, Some((h, sigma_m))) => (h / cos, (sigma_m / cos).hypot(h * sin / (cos * cos) * sigma_rad)),
                    (None, None) => continue,
                }
            }
        };
        compared.push((shot, measured_m, known_m - measured_m, sigma_m));
    }
    let mut finding = finding(Corrected::Distance, &compared, settings.assumed.distance_m, settings.keep_all);
    if let (Some(finding), true) = (&mut finding, turned_by_measured) {
        finding.notes.push(JOINED_BY_MEASURED.to_owned());
    }
    Ok(finding)
}

/// The correction from compared readings; none for no reading.
fn finding(quantity: Corrected, compared: &[Compared], assumed: f64, keep_all: bool) -> Option<FoundCorrection> {
    if compared.is_empty() {
        return None;
    }
    let differences: Vec<f64> = compared.iter().map(|row| row.2).collect();
    let repeats = Averaged::average(&differences, assumed, keep_all);
    let (sigma_reading, is_assumed) = pooled_sigma(&[&repeats], assumed);
    // The error of a known value is one for all shots; the shots' own dates hardly change it.
    let sigma_known = compared.iter().map(|row| row.3).sum::<f64>() / compared.len() as f64;
    let readings = compared
        .iter()
        .enumerate()
        .map(|(i, (shot, reading, difference, _))| CalibrationReading {
            file: shot.file.clone(),
            line: shot.line,
            role: None,
            reading: *reading,
            residual: repeats.mean - difference,
            is_outlier: repeats.is_outlier[i],
            is_used: repeats.is_used[i],
        })
        .collect();
    let mut notes = Vec::new();
    if compared.len() < LEAST_TO_TEST {
        notes.push(few(compared.len()));
    }
    if sigma_known == 0.0 {
        notes.push(TAKEN_AS_EXACT.to_owned());
    }
    Some(FoundCorrection {
        quantity,
        measure: Measure::KnownLine,
        correction: repeats.mean,
        sigma: (sigma_reading * sigma_reading / repeats.used as f64 + sigma_known * sigma_known).sqrt(),
        sigma_reading,
        is_assumed,
        sigma_known,
        readings,
        notes,
    })
}

/// What too few repeats leave open.
pub(super) fn few(count: usize) -> String {
    match count {
        1 => "one shot tells nothing of its own error and cannot be tested for a blunder; shoot three or more".into(),
        _ => format!("{count} repeats cannot be tested for blunders; shoot three or more"),
    }
}

/// The name of a north.
pub fn word(north: NorthKind) -> &'static str {
    match north {
        NorthKind::Magnetic => "magnetic",
        NorthKind::True => "true",
        NorthKind::Grid => "grid",
    }
}
