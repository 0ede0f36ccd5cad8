//! What an uncertainty comes from: the variance of points by its source.
//!
//! A point's variance is the sum of the squares of its arms and of the variances of its own readings ([`super::Located`]), so that each entry of
//! the register, with all that it moves, belongs to one source, and the parts of all sources add up to the whole. What an entry moves both by
//! a base's place and by its orientation, as with backsights, is one arm and one part: that of its cause.
//!
//! The share of a source in what was mapped is the mean of its shares in the variances of the points, horizontally (east and north together) and
//! in height: each point counts alike, however poor it is.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Arm, Cause, ErrorId, Register};
use crate::geodesy::covariance::Covariance;

/// What an uncertainty comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
#[schemars(rename = "Source")]
pub enum ErrorSource {
    /// Positions of bases, and of known points that oriented them.
    BasePositions,
    /// Steps between datums.
    DatumSteps,
    /// The known points that moved a local frame to a CRS.
    LocalFit,
    /// An adjusted network whose readings, bases and shared errors cannot be told apart.
    Network,
    /// Orientations of bases: set-ups, sights to known points.
    Orientations,
    /// The declination.
    Declination,
    /// Readings of azimuths.
    AzimuthReadings,
    /// Readings of inclinations.
    InclinationReadings,
    /// Readings of distances, and widths by which points were moved to a centre.
    DistanceReadings,
    /// Corrections of azimuths by a calibration.
    AzimuthCorrections,
    /// Corrections of inclinations by a calibration.
    InclinationCorrections,
    /// Corrections of distances by a calibration.
    DistanceCorrections,
}

/// A share below it is rounding: tan² of what a level sight reads.
const LEAST_SHARE: f64 = 1e-12;
/// How many there are.
const SOURCES: usize = 12;

impl ErrorSource {
    /// All of them.
    pub const ALL: [ErrorSource; SOURCES] = [
        ErrorSource::BasePositions,
        ErrorSource::DatumSteps,
        ErrorSource::LocalFit,
        ErrorSource::Network,
        ErrorSource::Orientations,
        ErrorSource::Declination,
        ErrorSource::AzimuthReadings,
        ErrorSource::InclinationReadings,
        ErrorSource::DistanceReadings,
        ErrorSource::AzimuthCorrections,
        ErrorSource::InclinationCorrections,
        ErrorSource::DistanceCorrections,
    ];

    /// That of an entry of the register.
    pub fn from_cause(cause: Cause) -> ErrorSource {
        match cause {
            Cause::Position => ErrorSource::BasePositions,
            Cause::Datum => ErrorSource::DatumSteps,
            Cause::Setup | Cause::Sights => ErrorSource::Orientations,
            Cause::Declination => ErrorSource::Declination,
            Cause::AzimuthCorrection => ErrorSource::AzimuthCorrections,
            Cause::InclinationCorrection => ErrorSource::InclinationCorrections,
            Cause::DistanceCorrection => ErrorSource::DistanceCorrections,
            Cause::Network | Cause::Root => ErrorSource::Network,
            Cause::Tie => ErrorSource::LocalFit,
        }
    }

    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            ErrorSource::BasePositions => "positions of the bases",
            ErrorSource::DatumSteps => "step between datums",
            ErrorSource::LocalFit => "fit of the local frame",
            ErrorSource::Network => "adjustment of the network",
            ErrorSource::Orientations => "orientations of the bases",
            ErrorSource::Declination => "declination",
            ErrorSource::AzimuthReadings => "azimuth readings",
            ErrorSource::InclinationReadings => "inclination readings",
            ErrorSource::DistanceReadings => "distance readings",
            ErrorSource::AzimuthCorrections => "calibration of azimuths",
            ErrorSource::InclinationCorrections => "calibration of inclinations",
            ErrorSource::DistanceCorrections => "calibration of distances",
        }
    }
}

/// The variance of a point by source: horizontally (east and north together) and in height, in square metres.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct BySource([[f64; 2]; SOURCES]);

impl BySource {
    /// Adds a part by its variances in east, north and up.
    pub fn add(&mut self, source: ErrorSource, [east, north, up]: [f64; 3]) {
        let part = &mut self.0[source as usize];
        part[0] += east + north;
        part[1] += up;
    }

    /// Adds a part by its covariance.
    pub fn add_covariance(&mut self, source: ErrorSource, part: &Covariance) {
        self.add(source, [part.ee, part.nn, part.uu]);
    }

    /// Adds what one standard error of an error moves.
    pub fn add_arm(&mut self, source: ErrorSource, arm: [f64; 3]) {
        self.add(source, arm.map(|metres| metres * metres));
    }

    /// Adds the entries that a point hangs on.
    pub fn add_arms(&mut self, arms: &[Arm], register: &Register) {
        let of = |id: &ErrorId| (id.cause() == Cause::Network).then(|| id.owner());
        arms.iter()
            .filter(|(id, _)| of(id).is_none())
            .for_each(|(id, arm)| self.add_arm(ErrorSource::from_cause(id.cause()), *arm));
        for network in 0..register.networks.len() {
            let arms: Vec<&Arm> = arms.iter().filter(|(id, _)| of(id) == Some(network)).collect();
            if arms.is_empty() {
                continue;
            }
            let which: Vec<usize> = arms.iter().map(|(id, _)| id.which()).collect();
            for (source, matrix) in register.parted(network, &which) {
                let mut part = [0.0; 3];
                for ((_, one), row) in arms.iter().zip(matrix.chunks(which.len())) {
                    for ((_, other), element) in arms.iter().zip(row) {
                        part = std::array::from_fn(|k| part[k] + one[k] * element * other[k]);
                    }
                }
                self.add(source, part);
            }
        }
    }

    /// The variance of all sources: horizontally and in height.
    pub fn total(&self) -> [f64; 2] {
        self.0.iter().fold([0.0; 2], |sum, part| [sum[0] + part[0], sum[1] + part[1]])
    }
}

/// Shares of sources in the variances of points, summed up.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct SourceShares([Sum; 2]);

/// Of one direction.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
struct Sum {
    points: u64,
    shares: [f64; SOURCES],
}

impl SourceShares {
    /// Adds a point; `has_height` says whether it has a height that was measured. A point without any error has no shares.
    pub fn add(&mut self, point: &BySource, has_height: bool) {
        for (axis, (sum, total)) in self.0.iter_mut().zip(point.total()).enumerate() {
            if total > 0.0 && total.is_finite() && (axis == 0 || has_height) {
                let scale = 1.0 / total;
                sum.points += 1;
                sum.shares.iter_mut().zip(&point.0).for_each(|(share, part)| *share += part[axis] * scale);
            }
        }
    }

    /// Adds the points of others.
    pub fn join(&mut self, other: &SourceShares) {
        for (sum, more) in self.0.iter_mut().zip(&other.0) {
            sum.points += more.points;
            sum.shares.iter_mut().zip(more.shares).for_each(|(share, more)| *share += more);
        }
    }

    /// The points counted, horizontally and in height, and the mean shares of the sources that have one, the greatest first.
    pub fn means(&self) -> [(u64, Vec<(ErrorSource, f64)>); 2] {
        self.0.map(|sum| {
            let means = sum.shares.map(|share| share / sum.points as f64);
            let mut shares: Vec<(ErrorSource, f64)> =
                ErrorSource::ALL.into_iter().zip(means).filter(|(_, share)| *share > LEAST_SHARE).collect();
            shares.sort_by(|(_, a), (_, b)| b.total_cmp(a));
            (sum.points, shares)
        })
    }
}
