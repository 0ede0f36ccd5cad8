//! Why there is no calibration: of the log as a whole, or of one of its shots.

use super::shot::{CalibrationShot, HeldRow};
use super::{CalibrationRole, Measure};
use crate::geodesy::north::NorthError;
use crate::intake::IntakeError;
use crate::numeric::words::counted;

/// Why there is no calibration.
#[derive(Debug, thiserror::Error)]
pub enum CalibrateError {
    /// A log cannot be used.
    #[error(transparent)]
    Intake(#[from] IntakeError),
    /// Something is missing or contradictory in the log.
    #[error("{file}:{line}: {flaw}")]
    Log {
        /// File.
        file: String,
        /// Line.
        line: u64,
        /// What is wrong and what to do.
        flaw: ShotFlaw,
    },
    /// No declination for a shot.
    #[error("{file}:{line}: {source}")]
    North {
        /// File.
        file: String,
        /// Line.
        line: u64,
        /// Why.
        source: NorthError,
    },
    /// No row is a calibration shot.
    #[error(
        "no row is a calibration shot: of {} none has measure = known_line, two_way or two_peg; add a column \
         measure (and role), or claim yours under [shots.columns] of a job{}",
        counted(*rows, "row", "rows"),
        and_first_held(held)
    )]
    NoShots {
        /// Rows of the logs.
        rows: u64,
        /// Those that could not be read.
        held: Vec<HeldRow>,
    },
    /// The values of a known line without a shot over one.
    #[error("the values of a known line are given, but no row has measure = known_line; mark the shots over it so")]
    NoKnownLine,
    /// No shot is of the instrument that is asked for.
    #[error("no calibration shot is of instrument \"{wanted}\"; the log has: {}", has.join(", "))]
    OtherInstruments {
        /// The instrument.
        wanted: String,
        /// Those of the log.
        has: Vec<String>,
    },
    /// Shots of several instruments, and none is chosen.
    #[error("the calibration shots are of several instruments ({}); choose one", .0.join(", "))]
    SeveralInstruments(Vec<String>),
}

fn and_first_held(held: &[HeldRow]) -> String {
    let first = held.first().map(|first| {
        let rows = counted(held.len() as u64, "row", "rows");
        format!("; {rows} could not be read, the first at {}:{}: {}", first.file, first.line, first.sentence)
    });
    first.unwrap_or_default()
}

impl CalibrateError {
    /// Something wrong with a row.
    pub(super) fn at(shot: &CalibrationShot, flaw: ShotFlaw) -> CalibrateError {
        CalibrateError::Log { file: shot.file.clone(), line: shot.line, flaw }
    }
}

/// A job that does not tell whose corrections the lines are.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NoInstrument {
    /// It has no instrument of that name.
    #[error("the job has no [instruments.{name}]; it has: {}", has.join(", "))]
    Unknown {
        /// The name.
        name: String,
        /// Those that it has.
        has: Vec<String>,
    },
    /// It has several, and none is chosen.
    #[error("the job has several instruments ({}); choose one", .0.join(", "))]
    Several(Vec<String>),
}

/// What is wrong with a calibration shot, or with the shots that begin with it.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ShotFlaw {
    /// Nothing is known of the line.
    #[error(
        "the true values of the known line are not given; give its slope or its horizontal distance, its azimuth with the north that \
         it is from, its inclination, or the two points at its ends"
    )]
    NothingKnown,
    /// A known value that no shot has a reading for.
    #[error(
        "the {0} of the known line is given, but none of its shots has one that names its unit (and an \
         azimuth its north); claim the column under [shots.columns] of a job, or leave it out"
    )]
    NoReadingFor(&'static str),
    /// Shots over a known line without any reading.
    #[error("the known_line shots have no azimuth, inclination or distance")]
    NoReading,
    /// A grid azimuth between two points.
    #[error(
        "the azimuth is from grid north, which two points on WGS 84 do not have; give the line's grid azimuth \
         in place of the points"
    )]
    GridAzimuth,
    /// A magnetic azimuth without a date.
    #[error(
        "a magnetic azimuth between two known points needs the date for its declination; map a date or time \
         column, or write date under [shots.values]"
    )]
    NoDate,
    /// Azimuths from two norths.
    #[error(
        "the shot's azimuth is from {shot} north, the line's known azimuth from {known} north; give the line's azimuth from \
         {shot} north, or the two points at its ends"
    )]
    OtherNorth {
        /// The north of the shot.
        shot: &'static str,
        /// That of the known azimuth.
        known: &'static str,
    },
    /// Distances of two kinds, which nothing joins.
    #[error(
        "the known and the measured distance are not of one kind (slope, horizontal), and neither a known nor a \
         measured inclination joins them; give the known inclination"
    )]
    OtherDistance,
    /// A part of a calibration that no shot plays.
    #[error("the {} shots that begin here ({has}) have none with role = {}: {}", measure.word(), role.word(), how_to_shoot(*role))]
    MissingRole {
        /// The kind of calibration.
        measure: Measure,
        /// The part.
        role: CalibrationRole,
        /// How many shots play which part.
        has: String,
    },
    /// Shots over several lines.
    #[error(
        "the {kind} shots are over several lines: {what} \"{here}\" here, \"{there}\" at line {line}; calibrate one line at a time"
    )]
    SeveralLines {
        /// The kind of calibration, and the part.
        kind: String,
        /// What differs.
        what: &'static str,
        /// Its name here.
        here: String,
        /// Its name at the other line.
        there: String,
        /// The other line.
        line: u64,
    },
    /// Marks from several setups.
    #[error("the two marks must be shot from one setup: base \"{here}\" here, \"{there}\" at line {line}")]
    SeveralSetups {
        /// The base here.
        here: String,
        /// The base at the other line.
        there: String,
        /// The other line.
        line: u64,
    },
    /// Setups that tell no index error; distances in metres.
    #[error(
        "the two setups are too alike to tell an index error: from the middle the marks are {:.1} m and {:.1} m away, \
         from beside one {:.1} m and {:.1} m; stand close to one mark",
        middle_m[0], middle_m[1], near_m[0], near_m[1]
    )]
    SetupsAlike {
        /// To both marks from the middle.
        middle_m: [f64; 2],
        /// To both from beside one.
        near_m: [f64; 2],
    },
    /// A shot of a two-peg test that lacks what it needs.
    #[error("the two_peg shot {0} needs an inclination and a distance, each with its unit named")]
    HalfPeg(&'static str),
    /// A shot back from the base of the shots forth; azimuths in degrees.
    #[error(
        "the two_way shot back looks the other way (azimuth {back_deg:.1}) from base \"{base}\", where line {line} looks forth \
         ({forth_deg:.1}); name the base at the other end of the line, or leave base out"
    )]
    OtherWay {
        /// Azimuth of the shot back.
        back_deg: f64,
        /// Its base.
        base: String,
        /// The line of the shot forth.
        line: u64,
        /// Azimuth of that.
        forth_deg: f64,
    },
    /// Azimuths of a line both ways from two norths.
    #[error("the azimuth is from {here} north, that of other two_way shots from {others} north; use one north for the line")]
    TwoNorths {
        /// The north of the shot.
        here: &'static str,
        /// That of others.
        others: &'static str,
    },
    /// A shot of a line both ways without an inclination.
    #[error(
        "the two_way shot has no inclination; claim the column with its unit (inclination_deg, inclination_pct, \
         zenith_deg), or take the row out"
    )]
    NoInclination,
    /// Directions that cannot be of one line; distances in metres.
    #[error(
        "two_way shots forth are over {forth_m:.2} m, back over {back_m:.2} m: these are two lines; both directions must be over one"
    )]
    TwoLines {
        /// Of the shots forth.
        forth_m: f64,
        /// Of those back.
        back_m: f64,
    },
}

fn how_to_shoot(role: CalibrationRole) -> &'static str {
    match role {
        CalibrationRole::Forth => "shoot the line from its first end",
        CalibrationRole::Back => "shoot the line from its other end too, or from the same base with the instrument turned over",
        CalibrationRole::MidA | CalibrationRole::MidB => "shoot both marks from the middle between them",
        CalibrationRole::NearA | CalibrationRole::NearB => "shoot both marks from beside one of them",
    }
}
