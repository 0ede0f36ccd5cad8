//! The register of shared errors: what more than one reading errs by together.
//!
//! An error that readings share is one entry, known by its [`ErrorId`]: what it is of tells who shares it. An entry has the standard error 1;
//! an [`Arm`] says how far one standard error of it moves a point in east, north and up. A located point ([`Located`]) is a
//! place, the covariance of its own readings, and its arms. So the covariance of points i and j is
//! C_ij = Σ aᵢ aⱼᵀ over the entries that both have, with the point's own added where i = j, and a value f of them has the variance g C gᵀ, g its
//! gradient (the law of propagation of variances, JCGM 100:2008, 5.2; C. D. Ghilani, "Adjustment Computations", ch. 6).
//! What is shared cancels in differences by itself, and repetition never lessens it.
//!
//! Entries are independent but for those of a network: its unknowns have the covariance that the adjustment gives, and
//! Cov(i, j) = Aᵢ C Aⱼᵀ ([`Register::independent`] brings such arms onto independent entries).
//!
//! | entry | shared by |
//! | --- | --- |
//! | position of a base, three | all that starts there, and a backsight's orientation; occupations of one base have some in common |
//! | step between datums, three | all places that went by it |
//! | orientation of a set-up; sights that oriented a base | azimuths of the base |
//! | declination | azimuths of bases near each other, of one model |
//! | corrections in azimuth, inclination, distance | readings of one calibration of one instrument |
//! | points that tie a local frame to the Earth | all of the frame |
//! | unknown of a network | all that hangs on it |
//!
//! Metres, radians.

mod base;
mod correlated_points;
mod source;
#[cfg(test)]
mod tests;

use std::sync::Arc;

pub use base::{BaseErrors, Origin, position_arms};
pub use correlated_points::{CorrelatedPoints, Estimate, RunningSigma};
pub use source::{BySource, ErrorSource, SourceShares};

use super::covariance::Covariance;
use super::frame::{EarthCentred, LocalFrame};
use crate::numeric::cholesky::semi_root;

/// What an entry of the register is the error of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[repr(u8)]
pub enum Cause {
    /// The measured position of a base or known point.
    Position,
    /// A step between datums.
    Datum,
    /// The orientation of a base: its compass, its set-up.
    Setup,
    /// The readings that oriented a base by known points.
    Sights,
    /// The declination of a model.
    Declination,
    /// The correction of an instrument's azimuths.
    AzimuthCorrection,
    /// The correction of an instrument's inclinations.
    InclinationCorrection,
    /// The correction of an instrument's distances.
    DistanceCorrection,
    /// An unknown of a network.
    Network,
    /// What such unknowns are made of.
    Root,
    /// A point that ties a local frame to the Earth: its known position, or the readings that it was shot by in the frame.
    Tie,
}

/// Which entry of the register. The order is that of the causes, then of their numbers: the same however the entries came up.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct ErrorId(u64);

/// Bits of the second number of an entry.
const BITS: u32 = 28;

impl ErrorId {
    /// The entry of a cause, by which base, step, calibration or network it is of, and which of its errors; both below 2²⁸.
    pub const fn new(cause: Cause, of: usize, which: usize) -> ErrorId {
        let mask = (1 << BITS) - 1;
        ErrorId((cause as u64) << (2 * BITS) | (of as u64 & mask) << BITS | (which as u64 & mask))
    }

    /// What it is the error of.
    pub const fn cause(self) -> Cause {
        const CAUSES: [Cause; 11] = [
            Cause::Position,
            Cause::Datum,
            Cause::Setup,
            Cause::Sights,
            Cause::Declination,
            Cause::AzimuthCorrection,
            Cause::InclinationCorrection,
            Cause::DistanceCorrection,
            Cause::Network,
            Cause::Root,
            Cause::Tie,
        ];
        CAUSES[(self.0 >> (2 * BITS)) as usize % CAUSES.len()]
    }

    /// Which base, step, calibration or network it is of.
    pub const fn owner(self) -> usize {
        (self.0 >> BITS) as usize & ((1 << BITS) - 1)
    }

    /// Which of its errors.
    pub const fn which(self) -> usize {
        self.0 as usize & ((1 << BITS) - 1)
    }
}

/// Metres in east, north and up by which one standard error of an entry moves a point.
pub type Arm = (ErrorId, [f64; 3]);

/// Adds an arm to a list; the arms of one entry are one.
pub fn add_arm(arms: &mut Vec<Arm>, id: ErrorId, arm: [f64; 3]) {
    match arms.iter_mut().find(|(known, _)| *known == id) {
        Some((_, known)) => *known = std::array::from_fn(|k| known[k] + arm[k]),
        None => arms.push((id, arm)),
    }
}

/// The covariance of a point by its arms, all of them on independent entries.
pub fn covariance_of(arms: &[Arm]) -> Covariance {
    arms.iter().fold(Covariance::default(), |sum, (_, arm)| sum + Covariance::from_arm(*arm))
}

/// What readings share beside their base: the declination in an azimuth, the corrections of an instrument.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Shares {
    /// Which declination, and its standard error; 0 where there is none in the azimuth.
    pub declination: u32,
    /// See `declination`.
    pub declination_rad: f64,
    /// Which calibration of which instrument.
    pub calibration: u32,
    /// Standard error of its correction of azimuths.
    pub azimuth_rad: f64,
    /// Standard error of its correction of inclinations.
    pub inclination_rad: f64,
    /// Standard error of its correction of distances.
    pub distance_m: f64,
}

impl Shares {
    /// Whether the entries are the same, whatever their size at each reading: the model's error hangs on the day.
    pub fn are_of(&self, other: &Shares) -> bool {
        (self.declination, self.calibration) == (other.declination, other.calibration)
    }

    /// The entry of the correction of inclinations, with its standard error.
    pub fn inclination(&self) -> (ErrorId, f64) {
        (ErrorId::new(Cause::InclinationCorrection, self.calibration as usize, 0), self.inclination_rad)
    }

    /// The entry of the correction of distances, with its standard error.
    pub fn distance(&self) -> (ErrorId, f64) {
        (ErrorId::new(Cause::DistanceCorrection, self.calibration as usize, 0), self.distance_m)
    }
}

/// A point with all that it errs by.
#[derive(Debug, Clone)]
pub struct Located {
    /// Where it is.
    pub at: EarthCentred,
    /// The axes that `own` and `arms` are in.
    pub frame: LocalFrame,
    /// Covariance of its own readings.
    pub own: Covariance,
    /// What moves it that others share.
    pub arms: Vec<Arm>,
}

impl Located {
    /// Its whole covariance.
    pub fn covariance(&self, register: &Register) -> Covariance {
        let mut arms = self.arms.clone();
        register.independent(&mut [&mut arms]);
        self.own + covariance_of(&arms)
    }
}

/// Errors that have a covariance of their own.
pub trait Correlated: std::fmt::Debug + Send + Sync {
    /// The covariance of some of them, by rows.
    fn covariance(&self, which: &[usize]) -> Vec<f64>;

    /// The same by what it comes from; none where that is not told apart.
    fn parted(&self, _which: &[usize]) -> Option<Vec<(ErrorSource, Vec<f64>)>> {
        None
    }
}

/// The entries that hang together: those of each network.
#[derive(Debug, Clone, Default)]
pub struct Register {
    /// By the number that [`ErrorId::owner`] gives for [`Cause::Network`].
    pub networks: Vec<Arc<dyn Correlated>>,
}

impl Register {
    /// The covariance of some unknowns of a network by what it comes from: all of it from the network where that is not told apart.
    fn parted(&self, network: usize, which: &[usize]) -> Vec<(ErrorSource, Vec<f64>)> {
        let Some(network) = self.networks.get(network) else { return Vec::new() };
        network.parted(which).unwrap_or_else(|| vec![(ErrorSource::Network, network.covariance(which))])
    }

    /// Brings the arms of points onto independent entries: those on unknowns of a network by a root of their covariance, C = R Rᵀ, so that
    /// an arm a on unknown k becomes the arms a R_kr on the roots r. All points that are to be taken together are given together.
    pub fn independent(&self, points: &mut [&mut Vec<Arm>]) {
        for (number, network) in self.networks.iter().enumerate() {
            let is_of = |id: &ErrorId| id.cause() == Cause::Network && id.owner() == number;
            let mut which: Vec<usize> =
                points.iter().flat_map(|arms| arms.iter()).filter(|(id, _)| is_of(id)).map(|(id, _)| id.which()).collect();
            which.sort_unstable();
            which.dedup();
            if which.is_empty() {
                continue;
            }
            let size = which.len();
            let root = semi_root(&network.covariance(&which), size);
            for arms in points.iter_mut() {
                let (own, others): (Vec<Arm>, Vec<Arm>) = arms.iter().partition(|(id, _)| is_of(id));
                **arms = others;
                let mut made = vec![[0.0; 3]; size];
                for (id, arm) in &own {
                    let Ok(row) = which.binary_search(&id.which()) else { continue };
                    for (column, sum) in made.iter_mut().enumerate().take(row + 1) {
                        let share = root[row * size + column];
                        *sum = std::array::from_fn(|k| sum[k] + share * arm[k]);
                    }
                }
                let made = made.into_iter().enumerate().filter(|(_, arm)| *arm != [0.0; 3]);
                arms.extend(made.map(|(column, arm)| (ErrorId::new(Cause::Root, number, column), arm)));
            }
        }
    }
}
