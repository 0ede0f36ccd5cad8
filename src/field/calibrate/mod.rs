//! Corrections of an instrument from calibration shots, with their standard errors.
//!
//! Three kinds, told by the `measure` and `role` columns of a log: shots over a line of known values
//! ([`known_line`]), a line shot from both ends ([`two_way`]), and two marks shot from the middle and
//! from beside one of them ([`two_peg`]). [`log`] reads the shots, [`averaged`] averages repeats and
//! finds outliers, [`report`] says what was found.
//!
//! A correction is what is added to a reading: true value − mean reading. Readings are taken as they
//! stand: a correction that a job already has is not applied to them, so that what is found here
//! takes its place and is not added to it.

pub mod averaged;
pub mod error;
pub mod known_line;
pub mod log;
pub mod page;
pub mod report;
pub mod shot;
pub mod two_peg;
pub mod two_way;

use jiff::civil::Date;

use crate::job::Instrument;
use crate::records::kit::{ASSUMED_SIGMA_AZIMUTH_DEG, ASSUMED_SIGMA_DISTANCE_M, ASSUMED_SIGMA_INCLINATION_DEG};
use crate::shots::reduce::Bend;
use crate::units::{Shown, Units};
pub use error::{CalibrateError, NoInstrument, ShotFlaw};
use known_line::KnownLine;
use log::CalibrationRows;
use shot::{CalibrationShot, HeldRow};

/// Mean radius of the earth in metres, (2a + b)/3 of GRS 80 (IUGG). Curvature over a calibration line
/// does not feel the difference to the radius of the place.
pub const EARTH_RADIUS_M: f64 = 6_371_008.8;

/// Two estimates further apart than this many standard errors of their difference contradict each other.
const AGREEMENT_SIGMAS: f64 = 3.0;

/// A correction of more than this many standard errors of a reading is likelier a wrong line or unit.
const LARGE_SIGMAS: f64 = 5.0;

/// A compass that is off by more than this is withdrawn from use: US Army map-reading training text,
/// as quoted in field practice. Degrees.
pub const WITHDRAW_COMPASS_DEG: f64 = 3.0;

/// What a calibration needs beside its shots.
#[derive(Debug, Clone, Default)]
pub struct CalibrationSettings {
    /// The true values of the known line, where shots over one are in the log.
    pub line: KnownLine,
    /// Coefficient of refraction.
    pub refraction: f64,
    /// Standard errors of one reading, used where repeats give none.
    pub assumed: ReadingSigmas,
    /// Use outliers all the same.
    pub keep_all: bool,
    /// The units of what is said.
    pub units: Units,
}

impl CalibrationSettings {
    /// How sights bend.
    fn bend(&self) -> Bend {
        Bend::from_refraction(self.refraction, EARTH_RADIUS_M)
    }
}

/// Standard errors of one reading of an instrument.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReadingSigmas {
    /// Of an azimuth, in radians.
    pub azimuth_rad: f64,
    /// Of an inclination, in radians.
    pub inclination_rad: f64,
    /// Of a distance, in metres.
    pub distance_m: f64,
}

impl Default for ReadingSigmas {
    fn default() -> ReadingSigmas {
        ReadingSigmas::from(&Instrument::default())
    }
}

impl From<&Instrument> for ReadingSigmas {
    fn from(instrument: &Instrument) -> ReadingSigmas {
        ReadingSigmas {
            azimuth_rad: instrument.sigma_azimuth_deg.unwrap_or(ASSUMED_SIGMA_AZIMUTH_DEG).to_radians(),
            inclination_rad: instrument.sigma_inclination_deg.unwrap_or(ASSUMED_SIGMA_INCLINATION_DEG).to_radians(),
            distance_m: instrument.sigma_distance_m.unwrap_or(ASSUMED_SIGMA_DISTANCE_M),
        }
    }
}

/// The kind of calibration that a shot belongs to: the `measure` column.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Measure {
    /// A line of known azimuth, inclination or distance.
    KnownLine,
    /// A line shot from both ends, or from one end with the instrument turned over.
    TwoWay,
    /// Two marks shot from the middle and from beside one of them.
    TwoPeg,
}

impl Measure {
    /// Every kind.
    pub const ALL: [Measure; 3] = [Measure::KnownLine, Measure::TwoWay, Measure::TwoPeg];

    /// The word in the log.
    pub fn word(self) -> &'static str {
        match self {
            Measure::KnownLine => "known_line",
            Measure::TwoWay => "two_way",
            Measure::TwoPeg => "two_peg",
        }
    }

    /// The roles of its shots.
    pub fn roles(self) -> &'static [CalibrationRole] {
        match self {
            Measure::KnownLine => &[],
            Measure::TwoWay => &[CalibrationRole::Forth, CalibrationRole::Back],
            Measure::TwoPeg => &[CalibrationRole::MidA, CalibrationRole::MidB, CalibrationRole::NearA, CalibrationRole::NearB],
        }
    }
}

/// The part that a shot plays: the `role` column.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum CalibrationRole {
    /// From the first end of a line.
    Forth,
    /// From its other end, or with the instrument turned over.
    Back,
    /// From the middle to mark A.
    MidA,
    /// From the middle to mark B.
    MidB,
    /// From beside one mark to mark A.
    NearA,
    /// From the same place to mark B.
    NearB,
}

impl CalibrationRole {
    /// The word in the log.
    pub fn word(self) -> &'static str {
        match self {
            CalibrationRole::Forth => "forth",
            CalibrationRole::Back => "back",
            CalibrationRole::MidA => "mid_a",
            CalibrationRole::MidB => "mid_b",
            CalibrationRole::NearA => "near_a",
            CalibrationRole::NearB => "near_b",
        }
    }
}

/// What is corrected.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Corrected {
    /// Azimuths, in radians.
    Azimuth,
    /// Inclinations, in radians.
    Inclination,
    /// Distances, in metres.
    Distance,
}

impl Corrected {
    /// Every one.
    pub const ALL: [Corrected; 3] = [Corrected::Azimuth, Corrected::Inclination, Corrected::Distance];

    /// Its name.
    pub fn word(self) -> &'static str {
        match self {
            Corrected::Azimuth => "azimuth",
            Corrected::Inclination => "inclination",
            Corrected::Distance => "distance",
        }
    }

    /// The unit that it is shown in: degrees or metres.
    pub fn unit(self) -> &'static str {
        if self == Corrected::Distance { "m" } else { "deg" }
    }

    /// The unit that a reader has for it.
    pub fn unit_for(self, units: &Units) -> Shown {
        if self == Corrected::Distance { units.length() } else { units.angle() }
    }

    /// A value in that unit, from radians or metres.
    pub fn shown(self, value: f64) -> f64 {
        if self == Corrected::Distance { value } else { value.to_degrees() }
    }
}

/// One reading of a calibration and how well it agrees.
#[derive(Debug, Clone, PartialEq)]
pub struct CalibrationReading {
    /// File.
    pub file: String,
    /// Line.
    pub line: u64,
    /// The part it plays.
    pub role: Option<CalibrationRole>,
    /// As it was read, in radians or metres.
    pub reading: f64,
    /// Reading minus what it should be by the mean of its group, in radians or metres.
    pub residual: f64,
    /// Whether it lies beyond what the other repeats allow.
    pub is_outlier: bool,
    /// Whether it was used.
    pub is_used: bool,
}

/// One correction from one kind of calibration.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundCorrection {
    /// What is corrected.
    pub quantity: Corrected,
    /// By which kind of shots.
    pub measure: Measure,
    /// The correction, in radians or metres.
    pub correction: f64,
    /// Its standard error.
    pub sigma: f64,
    /// Standard error of one reading.
    pub sigma_reading: f64,
    /// Whether that is the instrument's assumed or stated one, for want of repeats.
    pub is_assumed: bool,
    /// The part of the standard error that repeats do not lessen: of the known values.
    pub sigma_known: f64,
    /// The readings.
    pub readings: Vec<CalibrationReading>,
    /// What a person must know about it, in sentences.
    pub notes: Vec<String>,
}

/// The correction of one quantity from all its findings.
#[derive(Debug, Clone, PartialEq)]
pub struct Correction {
    /// What is corrected.
    pub quantity: Corrected,
    /// In radians or metres.
    pub value: f64,
    /// Standard error.
    pub sigma: f64,
    /// What it means, in sentences: beginning with a warning where one is due.
    pub notes: Vec<String>,
}

/// The azimuths of a line shot both ways.
#[derive(Debug, Clone, PartialEq)]
pub struct AzimuthCheck {
    /// Back minus forth minus 180°, convergence of the meridians taken off where it is known, in radians.
    pub misfit_rad: f64,
    /// Its standard error.
    pub sigma_rad: f64,
    /// What it says, in sentences.
    pub notes: Vec<String>,
}

/// All that a calibration found.
#[derive(Debug, Clone, PartialEq)]
pub struct CalibrationResult {
    /// What each kind of shots says.
    pub findings: Vec<FoundCorrection>,
    /// The corrections.
    pub corrections: Vec<Correction>,
    /// The check of azimuths shot both ways.
    pub azimuth_check: Option<AzimuthCheck>,
    /// First and last local date of the shots.
    pub dates: Option<(Date, Date)>,
    /// Shots used.
    pub shots: usize,
    /// Rows of other measures.
    pub others: u64,
    /// Rows that could not be read.
    pub held: Vec<HeldRow>,
}

/// Computes the corrections that the shots of a log give.
///
/// # Errors
/// When no row is a calibration shot, a kind of calibration lacks a part, or its shots contradict
/// each other or the known values; the message says what is missing, and where.
pub fn calibrate(log: CalibrationRows, settings: &CalibrationSettings) -> Result<CalibrationResult, CalibrateError> {
    let mut findings = Vec::new();
    let mut azimuth_check = None;
    for measure in Measure::ALL {
        let shots: Vec<&CalibrationShot> = log.shots.iter().filter(|shot| shot.measure == measure).collect();
        let Some(first) = shots.first() else { continue };
        check_groups(&shots)?;
        for role in measure.roles() {
            if !shots.iter().any(|shot| shot.role == Some(*role)) {
                return Err(CalibrateError::at(
                    first,
                    ShotFlaw::MissingRole { measure, role: *role, has: counted_roles(measure, &shots) },
                ));
            }
        }
        match measure {
            Measure::KnownLine => findings.extend(known_line::findings(&shots, settings)?),
            Measure::TwoWay => {
                let (finding, check) = two_way::finding(&shots, settings)?;
                findings.push(finding);
                azimuth_check = check;
            }
            Measure::TwoPeg => findings.push(two_peg::finding(&shots, settings)?),
        }
    }
    if findings.is_empty() {
        return Err(CalibrateError::NoShots { rows: log.others + log.held.len() as u64, held: log.held });
    }
    if settings.line.is_given() && !log.shots.iter().any(|shot| shot.measure == Measure::KnownLine) {
        return Err(CalibrateError::NoKnownLine);
    }
    let corrections = Corrected::ALL.into_iter().filter_map(|quantity| combine(quantity, &findings, settings)).collect();
    let dates = log.shots.iter().filter_map(|shot| shot.readings.when.map(|when| when.date));
    Ok(CalibrationResult {
        findings,
        corrections,
        azimuth_check,
        dates: dates.clone().min().zip(dates.max()),
        shots: log.shots.len(),
        others: log.others,
        held: log.held,
    })
}

/// Shots that are averaged must be of one line: one base, one target.
fn check_groups(shots: &[&CalibrationShot]) -> Result<(), CalibrateError> {
    for (i, shot) in shots.iter().enumerate() {
        let Some(first) = shots[..i].iter().find(|earlier| earlier.role == shot.role) else { continue };
        let kind =
            shot.role.map_or_else(|| shot.measure.word().to_owned(), |role| format!("{} {}", shot.measure.word(), role.word()));
        for (what, one, other) in [("base", &first.base, &shot.base), ("feature", &first.feature, &shot.feature)] {
            if one != other {
                let (here, there) = (other.clone(), one.clone());
                return Err(CalibrateError::at(shot, ShotFlaw::SeveralLines { kind, what, here, there, line: first.line }));
            }
        }
    }
    Ok(())
}

/// How many shots play which part.
fn counted_roles(measure: Measure, shots: &[&CalibrationShot]) -> String {
    let counts: Vec<String> = measure
        .roles()
        .iter()
        .map(|role| (role, shots.iter().filter(|shot| shot.role == Some(*role)).count()))
        .filter(|(_, count)| *count > 0)
        .map(|(role, count)| format!("{count} {}", role.word()))
        .collect();
    counts.join(", ")
}

/// The weighted mean of what several kinds of shots say of one quantity. Where they differ by more
/// than their standard errors explain, the mean's standard error is widened by the ratio of R. T. Birge
/// ("The calculation of errors by the method of least squares", Physical Review 40, 1932), √(χ²/(m−1)).
fn combine(quantity: Corrected, findings: &[FoundCorrection], settings: &CalibrationSettings) -> Option<Correction> {
    let (assumed, units) = (&settings.assumed, &settings.units);
    let found: Vec<&FoundCorrection> = findings.iter().filter(|finding| finding.quantity == quantity).collect();
    let mut notes = Vec::new();
    let (value, sigma) = match found.as_slice() {
        [] => return None,
        [one] => (one.correction, one.sigma),
        several => {
            // A finding that is exact on paper must not become an infinite weight.
            let weight = |finding: &FoundCorrection| finding.sigma.max(1e-9).powi(-2);
            let total: f64 = several.iter().map(|finding| weight(finding)).sum();
            let mean = several.iter().map(|finding| weight(finding) * finding.correction).sum::<f64>() / total;
            let chi2: f64 = several.iter().map(|finding| weight(finding) * (finding.correction - mean).powi(2)).sum();
            let birge = (chi2 / (several.len() - 1) as f64).sqrt().max(1.0);
            for (i, a) in several.iter().enumerate() {
                for b in &several[i + 1..] {
                    if (a.correction - b.correction).abs() > AGREEMENT_SIGMAS * a.sigma.hypot(b.sigma) {
                        notes.push(format!(
                            "{} and {} contradict each other: {} against {}; find out which is wrong before you use either",
                            a.measure.word(),
                            b.measure.word(),
                            report::signed(quantity, a.correction, units),
                            report::signed(quantity, b.correction, units)
                        ));
                    }
                }
            }
            (mean, birge / total.sqrt())
        }
    };
    if quantity == Corrected::Azimuth && value.abs() > WITHDRAW_COMPASS_DEG.to_radians() {
        notes.push(format!(
            "the compass is off by more than {} {}: withdraw it, and look for iron near the line before you trust the correction",
            units.angle().given(WITHDRAW_COMPASS_DEG),
            units.angle().words
        ));
    }
    let reading = match quantity {
        Corrected::Azimuth => f64::INFINITY,
        Corrected::Inclination => assumed.inclination_rad,
        Corrected::Distance => assumed.distance_m,
    };
    if value.abs() > LARGE_SIGMAS * reading {
        notes.push(format!(
            "the correction is more than {LARGE_SIGMAS} standard errors of a reading: check that these are the shots of this line, \
             the known values, and the units"
        ));
    }
    if value.abs() <= sigma {
        notes.push("the standard error is larger than the correction: it is not different from zero".into());
    } else if value.abs() <= 2.0 * sigma {
        notes.push("the correction is less than two standard errors: it may well be zero; more repeats would tell".into());
    }
    Some(Correction { quantity, value, sigma, notes })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// An instrument so coarse that no correction here is too large for it.
    fn wide() -> CalibrationSettings {
        let assumed = ReadingSigmas { azimuth_rad: 10.0, inclination_rad: 10.0, distance_m: 10.0 };
        CalibrationSettings { assumed, ..CalibrationSettings::default() }
    }

    fn finding(measure: Measure, correction: f64, sigma: f64) -> FoundCorrection {
        FoundCorrection {
            quantity: Corrected::Inclination,
            measure,
            correction,
            sigma,
            sigma_reading: sigma,
            is_assumed: false,
            sigma_known: 0.0,
            readings: Vec::new(),
            notes: Vec::new(),
        }
    }

    #[test]
    fn two_estimates_are_weighted() {
        // Weights 1/1² and 1/2²: (1·2 + ¼·4.5)/1.25 = 2.5, σ = 1/√1.25. They differ by 2.5 of √5: no contradiction.
        let found = [finding(Measure::TwoWay, 2.0, 1.0), finding(Measure::TwoPeg, 4.5, 2.0)];
        let correction = combine(Corrected::Inclination, &found, &wide()).unwrap();
        assert!((correction.value - 2.5).abs() < 1e-12, "{correction:?}");
        // χ² = 0.25 + 1 = 1.25, one degree of freedom.
        assert!((correction.sigma - (1.25f64).sqrt() / 1.25f64.sqrt()).abs() < 1e-12, "{correction:?}");
        assert!(correction.notes.is_empty(), "{correction:?}");
        assert_eq!(combine(Corrected::Azimuth, &found, &wide()), None);
    }

    #[test]
    fn estimates_that_contradict_each_other_widen_the_error() {
        let found = [finding(Measure::TwoWay, 0.0, 0.1), finding(Measure::TwoPeg, 1.0, 0.1)];
        let correction = combine(Corrected::Inclination, &found, &wide()).unwrap();
        // χ² = 2·(0.5/0.1)² = 50: σ = √50 · 0.1/√2 = 0.5.
        assert!((correction.value - 0.5).abs() < 1e-12 && (correction.sigma - 0.5).abs() < 1e-9, "{correction:?}");
        assert!(correction.notes[0].starts_with("two_way and two_peg contradict each other"), "{correction:?}");
    }
}
