//! Repeated shots of one named feature: one point of them, and the echoes that came from something else.
//!
//! [`settle`] is the whole way: [`judge()`] finds the shots that belong together and names the others, [`mean()`]
//! makes one point of those kept. [`pull()`] makes one of the readings of one trigger pull. What shots share stands in the
//! register ([`crate::geodesy::register`]): repetition takes none of it off.
//!
//! The mean of shots that share all that they share is again a [`Vector`] ([`Mean::one`]); every mean says what moves it
//! ([`Mean::arms`]). A network takes the same shots instead of their mean; nothing here adjusts bases.
//!
//! Metres, radians, square metres. Cost: n log n for n shots.

mod deviation;
mod groups;
mod judge;
mod linear;
mod look;
mod mean;
mod middle;
mod pull;
mod row;
mod sight;
mod spread;
mod stand;
#[cfg(test)]
mod tests;

use thiserror::Error;

use crate::records::echo::Echo;

pub use deviation::Deviation;
pub use judge::{JudgedShot, Judgement, Verdict, judge};
pub use mean::mean;
#[cfg(test)]
pub(crate) use middle::CRITICAL;
pub use pull::pull;
pub use spread::{Separation, Spread};

use crate::geodesy::covariance::Covariance;
use crate::geodesy::frame::EarthCentred;
use crate::geodesy::register::{Arm, BySource, Located, Origin};
use crate::shots::located::CovarianceParts;
use crate::shots::reduce::Vector;

/// One of several shots of a feature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Repeat {
    /// Index of its base.
    pub base: usize,
    /// From the base's ground point to the feature.
    pub vector: Vector,
    /// The echo that was kept, where the log says it.
    pub echo: Option<Echo>,
    /// Height of the instrument's axis over the base minus height of the sighted spot over the feature's ground point,
    /// both contained in `vector.up_m`, in metres: taken off again, what is left is the sight. Left at 0, a hit on
    /// something nearer seems to be at a wrong inclination too.
    pub rise_m: f64,
}

/// Why shots cannot be taken together. Numbers of shots count from 1, in the order given.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum RepeatsFault {
    /// An empty group.
    #[error("There is no shot to take together; give at least one.")]
    NoShots,
    /// The shot names a base that is not there.
    #[error("Shot {shot} names base number {base}, but there are only {bases} bases; check how shots and bases were joined.")]
    NoBase {
        /// Number of the shot.
        shot: usize,
        /// What it names.
        base: usize,
        /// How many there are.
        bases: usize,
    },
    /// A value that is not finite.
    #[error("Shot {shot} or its base has a coordinate or a standard error that is not a finite number; correct that row.")]
    NotFinite {
        /// Number of the shot.
        shot: usize,
    },
    /// Readings of one pull from two bases.
    #[error("Reading {shot} of the pull is from another base than the first; a pull has one base, so part the readings by base.")]
    TwoBases {
        /// Number of the reading.
        shot: usize,
    },
}

/// One point of several shots.
#[derive(Debug, Clone, PartialEq)]
pub struct Mean {
    /// Base of the first shot given; `east_m` to `arms` are in its frame.
    pub base: usize,
    /// Earth-centred coordinates. Without height: level with the base (with the mean level of several).
    pub at: EarthCentred,
    /// East of that base's ground point in metres.
    pub east_m: f64,
    /// North in metres.
    pub north_m: f64,
    /// Up in metres; none where no shot has a height.
    pub up_m: Option<f64>,
    /// Covariance by cause: own readings shrink with repetition, what is shared does not.
    pub parts: CovarianceParts,
    /// Its variance by source.
    pub by_source: BySource,
    /// Covariance of the own readings alone.
    pub own: Covariance,
    /// What moves it that other points share.
    pub arms: Vec<Arm>,
    /// The mean as a single shot, where all shots share all that they share.
    pub one: Option<Vector>,
    /// How far the shots used lie apart.
    pub spread: Spread,
    /// Shots used.
    pub used: usize,
    /// Shots set aside before, by [`settle`] or [`pull()`].
    pub set_aside: usize,
}

impl Mean {
    /// The point with all that it errs by, in the axes of its base.
    pub fn located(&self, bases: &[Origin]) -> Located {
        Located { at: self.at, frame: bases[self.base].frame, own: self.own, arms: self.arms.clone() }
    }
}

/// What became of the shots of one name.
#[derive(Debug, Clone, PartialEq)]
pub enum SettledRepeats {
    /// One point of the shots kept, and what was found of each.
    Point {
        /// The point.
        mean: Box<Mean>,
        /// By shot.
        findings: Vec<JudgedShot>,
    },
    /// Two shots that disagree, and no third to tell which is wrong: keep them apart.
    Disagreeing {
        /// By shot.
        findings: Vec<JudgedShot>,
        /// How far they lie apart.
        apart: Separation,
    },
    /// No more than half of the shots agree: the name stands for several features, or the stated accuracy is wrong.
    NotOneFeature {
        /// The greatest separation.
        apart: Separation,
        /// The most shots that agree with one of them, itself included.
        agreeing: usize,
    },
}

/// Judges the shots of one name and makes one point of those kept.
///
/// # Errors
/// [`RepeatsFault`], naming the shot.
pub fn settle(bases: &[Origin], shots: &[Repeat]) -> Result<SettledRepeats, RepeatsFault> {
    let findings = match judge(bases, shots)? {
        Judgement::NotOneFeature { apart, agreeing } => return Ok(SettledRepeats::NotOneFeature { apart, agreeing }),
        Judgement::Disagreeing { findings, apart } => return Ok(SettledRepeats::Disagreeing { findings, apart }),
        Judgement::OneFeature { findings } => findings,
    };
    let kept: Vec<Repeat> =
        shots.iter().zip(&findings).filter(|(_, finding)| finding.verdict == Verdict::Kept).map(|(shot, _)| *shot).collect();
    let mut mean = Box::new(mean(bases, &kept)?);
    mean.set_aside = shots.len() - kept.len();
    Ok(SettledRepeats::Point { mean, findings })
}

/// Refuses what cannot be computed with.
fn check(bases: &[Origin], shots: &[Repeat]) -> Result<(), RepeatsFault> {
    if shots.is_empty() {
        return Err(RepeatsFault::NoShots);
    }
    for (i, shot) in shots.iter().enumerate() {
        let Some(base) = bases.get(shot.base) else {
            return Err(RepeatsFault::NoBase { shot: i + 1, base: shot.base, bases: bases.len() });
        };
        let v = &shot.vector;
        let of = |c: &Covariance| c.ee + c.en + c.eu + c.nn + c.nu + c.uu;
        let sum = v.east_m + v.north_m + v.up_m.unwrap_or(0.0) + shot.rise_m + base.errors.azimuth_rad2(&v.shares);
        let errors =
            of(&v.direction) + of(&v.distance) + of(&base.errors.covariance()) + v.shares.inclination_rad + v.shares.distance_m;
        if !(sum + errors + base.frame.to_earth_centred([0.0; 3]).iter().sum::<f64>()).is_finite() {
            return Err(RepeatsFault::NotFinite { shot: i + 1 });
        }
    }
    Ok(())
}
