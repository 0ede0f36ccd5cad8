//! Values of a job that cannot be: a variant a cause, its sentence beside it.

use super::calibration::CalibrationFault;
use super::measures::MeasuresFault;
use super::network::NetworkFault;

/// Letters of a job's name: with the names of layer and format behind it no system finds it too long.
pub(super) const LONGEST_NAME: usize = 100;

/// What is wrong with a value of a job. Words in a variant are keys or tables, but where it says so.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ValueFault {
    /// The name has letters that a file's name should not have.
    #[error("name = \"{0}\": use letters, digits, - and _; files are named after it")]
    NameOfOtherLetters(String),
    /// The name has so many letters.
    #[error("name has {0} letters; files are named after it: use {LONGEST_NAME} at most")]
    NameTooLong(usize),
    /// The name is a device's.
    #[error("name = \"{0}\" is the name of a device on some systems, and files are named after it; use another")]
    NameOfDevice(String),
    /// No CRS of the layers.
    #[error("the job lacks the key `crs`, the CRS of the layers; write crs = \"EPSG:32630\" or the like")]
    NoCrs,
    /// No format.
    #[error("formats is empty; name at least one, such as \"gpkg\"")]
    NoFormat,
    /// No layer.
    #[error("layers is empty; leave the key out for all")]
    NoLayer,
    /// One instrument and several.
    #[error("[instrument] and [instruments] both stand here; keep one")]
    OneInstrumentAndSeveral,
    /// No CRS of positions.
    #[error("[{0}] has no crs; write the one the positions are in, such as crs = \"EPSG:4979\"")]
    NoCrsOfPositions(&'static str),
    /// A column that tells the CRS without its values, or values without the column.
    #[error("crs_column and crs_by_value go together: the column, and what its values stand for")]
    CrsByValue,
    /// Occupations of known points.
    #[error("known points are not occupied: their occupations are not read; write them under [bases.occupations]")]
    KnownOccupied,
    /// A value of 0 or less.
    #[error("{0} must be above 0")]
    NotAboveZero(&'static str),
    /// A value below 0.
    #[error("{0} must be 0 or more")]
    BelowZero(&'static str),
    /// An angle outside the half circle.
    #[error("{0} must be 0 to 180")]
    NotInHalfCircle(&'static str),
    /// A length that is no number.
    #[error("{0} must be a number of metres")]
    NoMetres(&'static str),
    /// A declination that is none.
    #[error("declination = {0}: degrees from -180 to 180, east positive")]
    Declination(f64),
    /// A correction of the north that is none.
    #[error("local_correction_deg must be -180 to 180, east positive")]
    LocalCorrection,
    /// Corners that are none.
    #[error("area_deg is west, south, east, north in degrees")]
    Area,
    /// Bases without a file.
    #[error("files is empty; name at least one log, or leave [bases] out for a job without bases")]
    NoFileOfBases,
    /// A CRS of layers without bases.
    #[error("a job without bases has no place in any crs; name the base logs under [bases], or leave crs out")]
    CrsWithoutBases,
    /// A table that goes with bases alone.
    #[error("[{0}] needs bases; name their logs under [bases], in crs = \"local\" where they have no place")]
    NeedsBases(&'static str),
    /// A CRS of positions in a local frame.
    #[error("crs = \"local\" is for bases in local coordinates; leave the crs of [{0}] out, or name one for the layers")]
    CrsInLocalFrame(&'static str),
    /// A format that has no local frame, in a sentence of [`super::Format::wants_the_earth`].
    #[error("{0}")]
    FormatWantsTheEarth(&'static str),
    /// A fit of no frame.
    #[error("[local.fit] moves the frame of bases in local coordinates: write crs = \"local\" and name their logs under [bases]")]
    FitOfNoFrame,
    /// A fit beside a network.
    #[error("[local.fit] does not go together with [network]; leave one of them out")]
    FitAndNetwork,
    /// A text that is no day.
    #[error("date = \"{0}\": write a day such as \"2026-05-04\"")]
    NoDay(String),
    /// An epoch that is none.
    #[error("epoch is a year with its fraction, such as 2026.4")]
    Epoch,
    /// An offset that no clock has.
    #[error("clock_offset_s = {0}: write seconds that are added to every time")]
    ClockOffset(f64),
    /// A share that is none.
    #[error("radius_share is a share of 1, such as 0.68")]
    RadiusShare,
    /// A list of occupations that is not read.
    #[error("from under [bases.occupations] does not read the list; remove the list or from")]
    ListNotRead,
    /// A list of occupations beside positions at each shot.
    #[error(
        "by = \"interpolated\" under [join] takes the receiver's position at each shot and reads no list of occupations; remove one of the two"
    )]
    ListAndInterpolated,
    /// Of an instrument, with its table.
    #[error("[{table}]: {fault}")]
    Instrument {
        /// `instrument` or `instruments`.
        table: &'static str,
        /// What.
        fault: InstrumentFault,
    },
    /// Of an instrument's calibrations, with their table.
    #[error("[[{table}.calibrations]]: {fault}")]
    Calibrations {
        /// The instrument's table.
        table: String,
        /// What.
        fault: CalibrationFault,
    },
    /// Of the network.
    #[error(transparent)]
    Network(#[from] NetworkFault),
    /// Of composed measurements.
    #[error(transparent)]
    Measures(#[from] MeasuresFault),
}

/// What is wrong with an instrument.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum InstrumentFault {
    /// A standard error of 0 or less.
    #[error("{0} must be above 0")]
    NotAboveZero(&'static str),
    /// A value that no instrument has.
    #[error("{key} = {value} must lie between {least} and {greatest}")]
    Outside {
        /// The key.
        key: &'static str,
        /// The value.
        value: f64,
        /// The least.
        least: f64,
        /// The greatest.
        greatest: f64,
    },
    /// A shortest distance that is not below the longest.
    #[error("least_distance_m = {least} is not below greatest_distance_m = {greatest}")]
    NoReach {
        /// The shortest.
        least: f64,
        /// The longest.
        greatest: f64,
    },
}
